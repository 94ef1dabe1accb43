//! Is a frame read as what it is? What its file says and what its signal shows against its encoding and its range.

use super::signal::{NARROW, SignalStats};
use crate::colour::{ENCODINGS, Encoding, GREY, Range, Reference, encoding};

/// What speaks against how a shot is read, and what it could be read as instead. Nothing is changed by it.
#[derive(Clone, Debug, Default)]
pub struct Doubt {
    /// Another encoding, if anything tells which.
    pub encoding: Option<&'static Encoding>,
    /// Another range.
    pub range: Option<Range>,
    /// Is the encoding in doubt at all?
    pub encoding_doubtful: bool,
    /// How sure that is, 0…1.
    pub sure: f64,
    /// Why, a line each.
    pub reasons: Vec<String>,
}

impl Doubt {
    /// Does nothing speak against how it is read?
    pub fn is_none(&self) -> bool {
        self.range.is_none() && !self.encoding_doubtful
    }
}

impl PartialEq for Doubt {
    fn eq(&self, other: &Self) -> bool {
        let ids = |d: &Self| (d.encoding.map(|e| e.id), d.range, d.encoding_doubtful);
        ids(self) == ids(other) && self.sure == other.sure && self.reasons == other.reasons
    }
}

/// What is known of a shot beside its picture.
#[derive(Clone, Copy, Debug)]
pub struct Read<'a> {
    /// How it is read.
    pub encoding: &'static Encoding,
    /// What its file says: names and values.
    pub tags: &'a [(String, String)],
    /// Encodings of other shots from the same folder.
    pub beside: &'a [&'static Encoding],
    /// Is it a still of a format that is made for displays?
    pub still: bool,
}

/// Words in files' tags that name an encoding (common practice of cameras and recorders).
const WORDS: &[(&str, &str)] = &[
    ("logc4", "logc4"),
    ("logc3", "logc3"),
    ("log3g10", "log3g10"),
    ("slog3cine", "s-log3-cine"),
    ("sgamut3cine", "s-log3-cine"),
    ("slog3", "s-log3"),
    ("canonlog3", "c-log3"),
    ("clog3", "c-log3"),
    ("canonlog2", "c-log2"),
    ("clog2", "c-log2"),
    ("flog2", "f-log2"),
    ("flog", "f-log"),
    ("vlog", "v-log"),
    ("nlog", "n-log"),
    ("applelog", "apple-log"),
    ("dlog", "d-log"),
    ("acescct", "acescct"),
    ("aces2065", "aces2065-1"),
    ("acescg", "acescg"),
];

/// The least of an encoding's black that makes it a log one here.
const LOG_BLACK: f64 = 0.06;
/// Signal under black that noise may take.
const NOISE: f64 = 0.03;
/// Part of the pixels that has to lie at the top: less than that a white thing has, which is not clipped.
const CLIPPED: f64 = 0.02;
/// Stops over grey under which no sensor clips (common practice: cameras have five and more).
const CLIPS_FROM: f64 = 3.5;

/// What speaks against how a frame is read.
pub fn doubt(stats: &SignalStats, read: Read<'_>) -> Doubt {
    let mut out = Doubt { range: range(stats), ..Doubt::default() };
    if let Some(range) = out.range {
        out.sure = 0.7;
        out.reasons.push(match range {
            Range::Full => format!(
                "{:.1} % of its codes lie under narrow range's black: it may be full range",
                100.0 * stats.beyond[0]
            ),
            Range::Narrow => "its codes end at narrow range's black and white: it may be narrow range".into(),
        });
    }
    if let Some((name, value, said)) = named(read.tags)
        && said.id != read.encoding.id
    {
        out.encoding = Some(said);
        (out.encoding_doubtful, out.sure) = (true, 0.9);
        out.reasons.push(format!("its file says {name} = {value:?}"));
        return out;
    }
    // What the range explains is not said against the encoding.
    if out.range.is_some() {
        return out;
    }
    let black = read.encoding.curve.values::<f64>().encode(0.0);
    let scene = read.encoding.reference == Reference::Scene;
    let (low, high) = (stats.low, stats.high);
    if scene && black > LOG_BLACK && stats.float && (stats.top > 1.2 || low < 0.0) {
        out.encoding = encoding("acescg");
        (out.encoding_doubtful, out.sure) = (true, 0.7);
        out.reasons
            .push(format!("a float file with values from {low:.3} to {:.2} is light, not log", stats.top));
    } else if scene && black > LOG_BLACK && low < black - NOISE {
        (out.encoding_doubtful, out.sure) = (true, 0.5);
        out.reasons
            .push(format!("its signal goes down to {low:.3}; black of {} is {black:.3}", read.encoding.id));
        if stats.float {
            out.encoding = encoding("acescg");
            out.reasons.push("a float file is light more often than log".into());
        } else if stats.under_log > 0.01 {
            out.encoding = encoding(if read.still { "srgb" } else { "bt1886" });
            out.reasons.push(format!(
                "{:.0} % of its pixels lie under the black of any log encoding: a display's signal",
                100.0 * stats.under_log
            ));
        }
    } else if !scene && low > 0.08 && high < 0.97 {
        (out.encoding_doubtful, out.sure) = (true, 0.4);
        out.encoding = most_common(read.beside);
        out.reasons.push(format!(
            "a display's signal goes to its ends; this lies between {low:.3} and {high:.3}, as log does"
        ));
        if let Some(beside) = out.encoding {
            out.reasons.push(format!("other shots of its folder are read as {}", beside.id));
        }
    }
    if scene && stats.pile > CLIPPED && !stats.float {
        let light = read.encoding.curve.values::<f64>().decode(stats.top);
        let stops = (light / GREY).log2();
        if stops < CLIPS_FROM {
            (out.encoding_doubtful, out.sure) = (true, out.sure.max(0.4));
            out.reasons.push(format!(
                "it clips at a signal of {:.3}, for {} only {stops:.1} stops over grey",
                stats.top, read.encoding.id
            ));
        }
    }
    out
}

fn range(stats: &SignalStats) -> Option<Range> {
    let code = 1.0 / 255.0;
    if stats.float {
        return None;
    }
    if stats.narrow {
        return (stats.beyond[0] > 0.005).then_some(Range::Full);
    }
    let [low, high] = stats.codes;
    let ends = (low - NARROW[0]).abs() < 2.0 * code && (high - NARROW[1]).abs() < 2.0 * code;
    (ends && stats.beyond[0] + stats.beyond[1] < 0.001).then_some(Range::Narrow)
}

/// The first tag that names an encoding.
fn named(tags: &[(String, String)]) -> Option<(&str, &str, &'static Encoding)> {
    tags.iter().find_map(|(name, value)| {
        let plain: String =
            value.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_lowercase();
        let (_, id) = WORDS.iter().find(|(word, _)| plain.contains(word))?;
        Some((&**name, &**value, encoding(id)?))
    })
}

/// The log encoding that most have; of several the first in the list of all.
fn most_common(all: &[&'static Encoding]) -> Option<&'static Encoding> {
    let count = |e: &Encoding| all.iter().filter(|o| o.id == e.id).count();
    let log = |e: &&Encoding| e.curve.values::<f64>().encode(0.0) > LOG_BLACK;
    let mut best: Option<&'static Encoding> = None;
    for e in ENCODINGS.iter().filter(log).filter(|e| count(e) > 0) {
        if best.is_none_or(|b| count(e) > count(b)) {
            best = Some(e);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stats(low: f64, high: f64) -> SignalStats {
        SignalStats {
            low,
            high,
            pile: 0.0,
            top: high,
            under_log: if low < 0.06 { 0.05 } else { 0.0 },
            codes: [low, high],
            beyond: [0.0; 2],
            float: false,
            narrow: false,
        }
    }

    fn read(id: &str) -> Read<'static> {
        Read { encoding: encoding(id).unwrap(), tags: &[], beside: &[], still: false }
    }

    #[test]
    fn log_as_log_and_video_as_video_are_beyond_doubt() {
        assert!(doubt(&stats(0.10, 0.7), read("logc4")).is_none());
        assert!(doubt(&stats(0.13, 0.62), read("v-log")).is_none());
        assert!(doubt(&stats(0.0, 1.0), read("bt1886")).is_none());
        let light = SignalStats { float: true, top: 12.0, ..stats(0.0, 6.0) };
        assert!(doubt(&light, read("acescg")).is_none());
    }

    #[test]
    fn each_contradiction_is_told_with_what_it_could_be() {
        let found = doubt(&stats(0.01, 0.99), read("logc4"));
        assert_eq!(found.encoding.unwrap().id, "bt1886");
        assert_eq!(
            doubt(&stats(0.01, 0.99), Read { still: true, ..read("logc4") }).encoding.unwrap().id,
            "srgb"
        );
        let log = [encoding("s-log3").unwrap(), encoding("logc4").unwrap(), encoding("logc4").unwrap()];
        let found = doubt(&stats(0.1, 0.7), Read { beside: &log, ..read("bt1886") });
        assert_eq!(found.encoding.unwrap().id, "logc4", "{:?}", found.reasons);
        let light = SignalStats { float: true, top: 12.0, ..stats(-0.01, 6.0) };
        assert_eq!(doubt(&light, read("logc4")).encoding.unwrap().id, "acescg");
        let clipped = SignalStats { pile: 0.03, top: 0.45, ..stats(0.1, 0.45) };
        assert!(doubt(&clipped, read("s-log3")).encoding_doubtful, "grey of S-Log3 is 0.41");
        let tags = [("model".to_owned(), "x".to_owned()), ("gamma".to_owned(), "S-Log3".to_owned())];
        let found = doubt(&stats(0.1, 0.7), Read { tags: &tags, ..read("logc4") });
        assert_eq!((found.encoding.unwrap().id, found.sure), ("s-log3", 0.9));
        assert!(doubt(&stats(0.1, 0.7), Read { tags: &tags, ..read("s-log3") }).is_none());
    }

    #[test]
    fn ranges_that_do_not_fit_are_told() {
        let full_as_narrow = SignalStats { narrow: true, beyond: [0.03, 0.01], ..stats(-0.05, 1.05) };
        assert_eq!(doubt(&full_as_narrow, read("bt1886")).range, Some(Range::Full));
        let narrow_as_full = stats(NARROW[0], NARROW[1]);
        assert_eq!(doubt(&narrow_as_full, read("bt1886")).range, Some(Range::Narrow));
        assert_eq!(doubt(&stats(0.0, 1.0), read("bt1886")).range, None);
        assert_eq!(doubt(&SignalStats { narrow: true, ..stats(0.1, 0.8) }, read("logc4")).range, None);
    }
}
