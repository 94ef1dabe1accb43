//! Edit decision lists as CMX3600 has them: a line for each event, what else there is to say in comments.
//!
//! From *CMX 3600 Edit Decision List*, as it is in common use: `TITLE:`, `FCM:`, events of number, reel, track,
//! transition, its frames, source in and out, record in and out; `M2` for speed; comments that begin with `*`. Comments
//! in common use, in no standard: `FROM CLIP NAME`, `TO CLIP NAME`, `SOURCE FILE`, `ASC_SOP (…)(…)(…)` and `ASC_SAT …`.
//! Reels may be longer than the eight characters of the original, tracks and transitions any words; a line
//! that is no event is kept as a note.
//!
//! Nothing here knows a rate: labels stay labels ([`Label`]).

use std::fmt::{self, Write as _};

use super::Error;
use super::text::{excerpt, utf8};
use crate::colour::Cdl;

/// Events of one list that are accepted.
pub const MOST_EVENTS: usize = 100_000;

const MOST_NOTES: usize = 1000;
const EVENT: &str = "number, reel, track, C or D or a wipe's W001 with its frames, then four timecodes";

/// A label of SMPTE ST 12-1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Label {
    /// 0…99; more than 23 where a list goes on past midnight.
    pub hours: u32,
    /// 0…59.
    pub minutes: u32,
    /// 0…59.
    pub seconds: u32,
    /// 0…999.
    pub frames: u32,
    /// Written with a mark (`;` or `.`) that says labels are dropped.
    pub dropping: bool,
}

impl Label {
    /// A label of four parts between `:`, `;`, `,` or `.`.
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = [0u32; 4];
        let mut rest = text;
        let mut last = ':';
        for (i, part) in parts.iter_mut().enumerate() {
            let end = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
            if end == 0 || end > 3 || i < 3 && end > 2 {
                return None;
            }
            *part = rest[..end].parse().ok()?;
            rest = &rest[end..];
            if i < 3 {
                last = rest.chars().next().filter(|c| ":;.,".contains(*c))?;
                rest = &rest[1..];
            }
        }
        let [hours, minutes, seconds, frames] = parts;
        let good = rest.is_empty() && minutes < 60 && seconds < 60;
        good.then_some(Self { hours, minutes, seconds, frames, dropping: last != ':' })
    }
}

impl fmt::Display for Label {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mark = if self.dropping { ';' } else { ':' };
        let Self { hours, minutes, seconds, frames, .. } = self;
        write!(f, "{hours:02}:{minutes:02}:{seconds:02}{mark}{frames:02}")
    }
}

/// How an event begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Transition {
    /// At once.
    Cut,
    /// From the event before it, over so many frames.
    Dissolve(u32),
    /// Anything else (wipes, keys), as it is written, over so many frames.
    Other(String, u32),
}

/// A line of the list with its comments.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its number as written; the lines of one edit have the same.
    pub number: String,
    /// The reel; `BL` and `BLACK` are black, `AX` and `AUX` whatever has no reel.
    pub reel: String,
    /// The tracks: `V`, `A`, `B` (both), `AA/V` and the like.
    pub track: String,
    /// How it begins.
    pub transition: Transition,
    /// The first label of the source.
    pub source_in: Label,
    /// The first label of the source that is not used.
    pub source_out: Label,
    /// The first label of the programme.
    pub record_in: Label,
    /// The first label of the programme that is not its own.
    pub record_out: Label,
    /// Are labels dropped, as `FCM` or the labels' own marks say?
    pub dropping: bool,
    /// The clip's name.
    pub clip: Option<String>,
    /// The clip's file.
    pub file: Option<String>,
    /// Frames a second at which the source runs (`M2`).
    pub speed: Option<f64>,
    /// The colour decision of its comments.
    pub cdl: Option<Cdl<f64>>,
    /// Other comments, without their star.
    pub comments: Vec<String>,
    /// Its line.
    pub line: usize,
}

impl Event {
    /// Does it show a picture: is it on a video track and of some length?
    pub fn is_picture(&self) -> bool {
        let track = self.track.to_ascii_uppercase();
        let video = track.contains('V') || track.starts_with('B');
        video && self.source_in != self.source_out && !self.is_black()
    }

    /// Is it black?
    pub fn is_black(&self) -> bool {
        ["BL", "BLACK"].iter().any(|b| self.reel.eq_ignore_ascii_case(b))
    }
}

/// A list.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Edl {
    /// Its title; empty if there is none.
    pub title: String,
    /// The events, in the file's order.
    pub events: Vec<Event>,
    /// Lines that were not understood, each with its line. At most 1000.
    pub notes: Vec<(usize, String)>,
}

impl Edl {
    /// Reads a list. Line ends may be LF, CR LF or CR.
    ///
    /// # Errors
    /// With the line: a line that begins with a number and is no event; a colour decision that is none; no event at all.
    pub fn read(bytes: &[u8]) -> Result<Self, Error> {
        let text = utf8(bytes)?;
        let mut edl = Self::default();
        let mut dropping = false;
        // An old Mac's line ends count as lines, and CR LF as one.
        let lines = text.split('\n').flat_map(|l| l.strip_suffix('\r').unwrap_or(l).split('\r'));
        for (i, content) in lines.enumerate() {
            let line = i + 1;
            let content = content.replace(|c: char| c.is_control(), " ");
            let content = content.trim();
            let upper = |n: usize| content.get(..n).map(str::to_ascii_uppercase).unwrap_or_default();
            if content.is_empty() {
                continue;
            } else if upper(6) == "TITLE:" {
                edl.title = content[6..].trim().to_owned();
            } else if upper(4) == "FCM:" {
                let word = content[4..].trim().to_ascii_uppercase();
                dropping = word.starts_with("DROP");
                if !dropping && !word.starts_with("NON") {
                    let accepted = "DROP FRAME or NON-DROP FRAME".into();
                    return Err(Error::Value { line, what: "FCM".into(), found: excerpt(&word), accepted });
                }
            } else if let Some(comment) = content.strip_prefix('*') {
                edl.comment(line, comment.trim())?;
            } else if content.starts_with(|c: char| c.is_ascii_digit()) {
                if edl.events.len() == MOST_EVENTS {
                    let (found, what) = (MOST_EVENTS + 1, "events".into());
                    return Err(Error::Count { line, what, found, wanted: MOST_EVENTS });
                }
                edl.events.push(event(line, content, dropping)?);
            } else if upper(2) == "M2" {
                edl.speed(line, content);
            } else if content.to_ascii_uppercase().starts_with("ASC_S") {
                edl.comment(line, content)?;
            } else {
                edl.note(line, content);
            }
        }
        if edl.events.is_empty() {
            let line = 1 + super::text::newlines(text.trim_end().as_bytes());
            return Err(Error::Missing { line, what: "an event".into(), accepted: EVENT.into() });
        }
        Ok(edl)
    }

    fn note(&mut self, line: usize, content: &str) {
        if self.notes.len() < MOST_NOTES {
            self.notes.push((line, excerpt(content)));
        }
    }

    fn speed(&mut self, line: usize, content: &str) {
        // M2, the reel, frames a second, the label that it is for.
        let mut words = content.split_ascii_whitespace().skip(2);
        let speed = words.find_map(|w| w.parse().ok().filter(|s: &f64| s.is_finite()));
        match (speed, self.events.last_mut()) {
            (Some(speed), Some(event)) => event.speed = Some(speed),
            _ => self.note(line, content),
        }
    }

    fn comment(&mut self, line: usize, comment: &str) -> Result<(), Error> {
        let Some(last) = self.events.len().checked_sub(1) else {
            self.note(line, comment);
            return Ok(());
        };
        // Of the two lines of a dissolve, the first is what it comes from.
        let from = match last.checked_sub(1) {
            Some(before) if self.events[before].number == self.events[last].number => before,
            _ => last,
        };
        let value = |names: &[&str]| {
            names.iter().find_map(|name| {
                let head = comment.get(..name.len())?;
                let rest = comment[name.len()..].trim_start();
                let rest = rest.strip_prefix(':').or(name.starts_with("ASC").then_some(rest))?;
                head.eq_ignore_ascii_case(name).then(|| rest.trim())
            })
        };
        let text = |v: &str| (!v.is_empty()).then(|| v.to_owned());
        if let Some(v) = value(&["FROM CLIP NAME"]) {
            self.events[from].clip = text(v);
        } else if let Some(v) = value(&["TO CLIP NAME", "CLIP NAME"]) {
            self.events[last].clip = text(v);
        } else if let Some(v) = value(&["SOURCE FILE PATH", "SOURCE FILE", "FROM FILE", "FROM CLIP"]) {
            self.events[last].file = text(v);
        } else if let Some(v) = value(&["ASC_SOP"]) {
            let nine = numbers::<9>(v).ok_or_else(|| Error::Value {
                line,
                what: "ASC_SOP".into(),
                found: excerpt(v),
                accepted: "(slopes)(offsets)(powers), three numbers each".into(),
            })?;
            let cdl = self.events[last].cdl.get_or_insert(Cdl::IDENTITY);
            cdl.slope = [nine[0], nine[1], nine[2]];
            cdl.offset = [nine[3], nine[4], nine[5]];
            cdl.power = [nine[6], nine[7], nine[8]];
            super::cdl::check(cdl).map_err(|e| e.at(line))?;
        } else if let Some(v) = value(&["ASC_SAT"]) {
            let [saturation] = numbers::<1>(v).ok_or_else(|| Error::Value {
                line,
                what: "ASC_SAT".into(),
                found: excerpt(v),
                accepted: "one number, 0 or more".into(),
            })?;
            let cdl = self.events[last].cdl.get_or_insert(Cdl::IDENTITY);
            cdl.saturation = saturation;
            super::cdl::check(cdl).map_err(|e| e.at(line))?;
        } else {
            self.events[last].comments.push(comment.to_owned());
        }
        Ok(())
    }

    /// The list's text, numbered anew; an event with the number of the one before it keeps that. Colour decisions
    /// have six decimals.
    ///
    /// # Errors
    /// [`Error::Invalid`] for a reel or track that is empty or has a space, or numbers that no colour decision has.
    pub fn write(&self) -> Result<String, Error> {
        let mut out = String::new();
        let plain = |t: &str| t.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>();
        let _ = writeln!(out, "TITLE: {}", plain(&self.title));
        let mut fcm = None;
        let (mut number, mut before) = (0usize, None);
        for event in &self.events {
            for (what, word) in [("reel", &event.reel), ("track", &event.track)] {
                if word.is_empty() || word.chars().any(|c| c.is_whitespace() || c.is_control()) {
                    return Err(Error::invalid(what, excerpt(word), "a word without spaces"));
                }
            }
            if fcm.replace(event.dropping) != Some(event.dropping) {
                let _ =
                    writeln!(out, "FCM: {}", if event.dropping { "DROP FRAME" } else { "NON-DROP FRAME" });
            }
            number += usize::from(before.replace(&event.number) != Some(&event.number));
            let (transition, frames) = match &event.transition {
                Transition::Cut => ("C", None),
                Transition::Dissolve(frames) => ("D", Some(*frames)),
                Transition::Other(word, frames) => (word.as_str(), Some(*frames)),
            };
            let frames = frames.map_or(String::new(), |f| format!("{f:03}"));
            let mark = |l: Label| Label { dropping: event.dropping, ..l };
            let _ = writeln!(
                out,
                "{number:03}  {:<8} {:<5} {transition:<4} {frames:>3} {} {} {} {}",
                event.reel,
                event.track,
                mark(event.source_in),
                mark(event.source_out),
                mark(event.record_in),
                mark(event.record_out)
            );
            if let Some(speed) = event.speed {
                let _ = writeln!(out, "M2   {:<8} {speed:05.1} {}", event.reel, mark(event.source_in));
            }
            if let Some(clip) = &event.clip {
                let name = if event.transition == Transition::Cut { "FROM" } else { "TO" };
                let _ = writeln!(out, "* {name} CLIP NAME: {}", plain(clip));
            }
            if let Some(file) = &event.file {
                let _ = writeln!(out, "* SOURCE FILE: {}", plain(file));
            }
            if let Some(cdl) = &event.cdl {
                super::cdl::check(cdl)?;
                let three = |v: [f64; 3]| v.map(|x| format!("{x:.6}")).join(" ");
                let (slope, offset, power) = (three(cdl.slope), three(cdl.offset), three(cdl.power));
                let _ = writeln!(out, "* ASC_SOP ({slope})({offset})({power})");
                let _ = writeln!(out, "* ASC_SAT {:.6}", cdl.saturation);
            }
            event.comments.iter().for_each(|c| _ = writeln!(out, "* {}", plain(c)));
        }
        Ok(out)
    }
}

/// Exactly `N` numbers between brackets, commas and spaces.
fn numbers<const N: usize>(text: &str) -> Option<[f64; N]> {
    let words = text.split(|c: char| c.is_whitespace() || "(),:".contains(c)).filter(|w| !w.is_empty());
    let found: Option<Vec<f64>> =
        words.take(N + 1).map(|w| w.parse().ok().filter(|x: &f64| x.abs() <= f64::from(f32::MAX))).collect();
    found?.try_into().ok()
}

fn event(line: usize, content: &str, dropping: bool) -> Result<Event, Error> {
    let wrong = |what: &str, found: &str| Error::Value {
        line,
        what: what.into(),
        found: excerpt(found),
        accepted: EVENT.into(),
    };
    let words: Vec<&str> = content.split_ascii_whitespace().collect();
    // Number, reel, track, transition, four labels.
    let Some((head, labels)) = words.split_last_chunk::<4>().filter(|(head, _)| head.len() >= 4) else {
        return Err(wrong("event", content));
    };
    let mut times = [Label { hours: 0, minutes: 0, seconds: 0, frames: 0, dropping: false }; 4];
    for (time, word) in times.iter_mut().zip(labels) {
        *time = Label::parse(word).ok_or_else(|| wrong("timecode", word))?;
    }
    let all_digits = |w: &str| w.bytes().all(|b| b.is_ascii_digit());
    let (number, mut rest) = (head[0], &head[1..]);
    let mut frames = None;
    if rest.len() >= 4 && all_digits(rest[rest.len() - 1]) {
        let word = rest[rest.len() - 1];
        frames = Some(word.parse().ok().filter(|f| *f < 1_000_000).ok_or_else(|| wrong("frames", word))?);
        rest = &rest[..rest.len() - 1];
    }
    let (Some((word, rest)), true) = (rest.split_last(), rest.len() >= 3) else {
        return Err(wrong("event", content));
    };
    let (track, mut reel) = rest.split_last().map_or(("", rest), |(track, reel)| (*track, reel));
    // A key's own word stands between.
    let mut word = (*word).to_owned();
    let mut track = track;
    if track.eq_ignore_ascii_case("K") && reel.len() >= 2 {
        word = format!("{track} {word}");
        (track, reel) = reel.split_last().map_or(("", reel), |(t, r)| (*t, r));
    }
    let transition = match (word.to_ascii_uppercase().as_str(), frames) {
        ("C", _) => Transition::Cut,
        ("D", Some(frames)) => Transition::Dissolve(frames),
        (other, frames) if other != "D" && word.starts_with(|c: char| c.is_ascii_alphabetic()) => {
            Transition::Other(word, frames.unwrap_or(0))
        }
        _ => return Err(wrong("transition", &word)),
    };
    let [source_in, source_out, record_in, record_out] = times;
    Ok(Event {
        number: number.to_owned(),
        reel: reel.join("_"),
        track: track.to_owned(),
        transition,
        source_in,
        source_out,
        record_in,
        record_out,
        dropping: dropping || times.iter().any(|t| t.dropping),
        clip: None,
        file: None,
        speed: None,
        cdl: None,
        comments: vec![],
        line,
    })
}
