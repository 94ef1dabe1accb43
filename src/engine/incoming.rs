//! Running orders and colour decisions from elsewhere, laid onto clips and shots by reel, timecode and name.

use std::ops::Range;
use std::path::Path;

use crate::colour::{Cdl, POINT_ACESCCT};
use crate::interchange::cdl::Corrections;
use crate::interchange::edl::{Edl, Label};
use crate::interchange::otio::{Item, Timeline};
use crate::interchange::{self};
use crate::media::ClipInfo;
use crate::media::timecode::Counting;
use crate::picture::{Balance, BalanceField};
use crate::show::{Change, Shot, Show, Slot};

/// Where a piece begins and ends in its source.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Within {
    Labels(Label, Label),
    /// The first frame from midnight and how many, at so many a second.
    Frames(f64, f64, f64),
}

/// What a list says of one piece of a clip, or a file of one decision.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Where it stands: the file and the line or the id.
    pub says: String,
    /// What it calls itself: a clip's name, a file, an id.
    names: Vec<String>,
    reel: Option<String>,
    within: Option<Within>,
    /// Its colour decision.
    pub cdl: Option<Cdl<f64>>,
}

/// Reads a list or decisions: `.edl`, `.otio`, `.cc`, `.ccc`, `.cdl`. Gives the pieces in order and what was left out.
///
/// # Errors
/// With the line, what is wrong and what is accepted.
pub fn pieces(file: &Path, bytes: &[u8]) -> Result<(Vec<Piece>, Vec<String>), interchange::Error> {
    let ending = file.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let noted = |notes: Vec<(usize, String)>| {
        notes.into_iter().map(|(line, what)| format!("{name}:{line}: {what}")).collect::<Vec<_>>()
    };
    match ending.as_str() {
        "otio" => {
            let timeline = Timeline::read(bytes)?;
            let clips = timeline.items.into_iter().filter_map(|i| match i {
                Item::Clip(clip) => Some(clip),
                Item::Gap(_) => None,
            });
            let piece = |(i, c): (usize, interchange::otio::Clip)| Piece {
                says: format!("{name}, clip {} ({})", i + 1, c.name),
                within: Some(Within::Frames(c.shown.start, c.shown.length, c.shown.rate)),
                names: [Some(c.name), c.media].into_iter().flatten().collect(),
                reel: None,
                cdl: c.cdl,
            };
            let notes = timeline.notes.into_iter().map(|n| format!("{name}: {n}")).collect();
            Ok((clips.enumerate().map(piece).collect(), notes))
        }
        "cc" | "ccc" | "cdl" => {
            let all = Corrections::read(bytes)?;
            let stem = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
            let one = all.all.len() == 1;
            let piece = |c: interchange::cdl::Correction| Piece {
                says: format!(
                    "{name}, {}",
                    if c.id.is_empty() { "a correction without an id" } else { &c.id }
                ),
                // A file of one is called as what it is for.
                names: [c.id]
                    .into_iter()
                    .chain(c.media)
                    .chain(one.then(|| stem.clone()))
                    .filter(|n| !n.is_empty())
                    .collect(),
                reel: None,
                within: None,
                cdl: Some(c.cdl),
            };
            Ok((all.all.into_iter().map(piece).collect(), noted(all.notes)))
        }
        _ => {
            let edl = Edl::read(bytes)?;
            let mut notes = noted(edl.notes.clone());
            for event in edl.events.iter().filter(|e| e.is_picture()) {
                if event.transition != interchange::edl::Transition::Cut {
                    notes.push(format!("{name}:{}: a transition, which becomes a cut", event.line));
                }
                if event.speed.is_some() {
                    notes.push(format!("{name}:{}: a speed (M2), which is left out", event.line));
                }
            }
            let piece = |e: interchange::edl::Event| Piece {
                says: format!("{name}:{}, event {}", e.line, e.number),
                names: [e.clip, e.file].into_iter().flatten().collect(),
                reel: (!["AX", "AUX"].iter().any(|a| e.reel.eq_ignore_ascii_case(a))).then_some(e.reel),
                within: Some(Within::Labels(e.source_in, e.source_out)),
                cdl: e.cdl,
            };
            Ok((edl.events.into_iter().filter(|e| e.is_picture()).map(piece).collect(), notes))
        }
    }
}

/// A name without folders, ending and the numbers of a sequence, in capitals.
fn stem(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or(name).replace("%20", " ");
    let whole = Path::new(&last);
    let ending = whole.extension().is_some_and(|e| (2..=5).contains(&e.len()));
    let plain = if ending {
        whole.file_stem().unwrap_or_default().to_string_lossy().into_owned()
    } else {
        last.clone()
    };
    plain.trim_end_matches(|c: char| c == '#' || "._- ".contains(c)).to_uppercase()
}

/// The frame from midnight that a clip's frame 0 is: its timecode's, else its number in its name.
pub fn first_frame(info: &ClipInfo) -> u64 {
    info.timecode_start.unwrap_or(info.first_number)
}

impl Piece {
    /// Does it name a clip: by reel, clip name or file? Reels may be cut off after eight characters.
    fn names_clip(&self, info: &ClipInfo) -> Option<&'static str> {
        let clip = stem(&info.name);
        if let Some(reel) = self.reel.as_deref().map(str::to_uppercase)
            && (reel == clip || reel.len() == 8 && clip.starts_with(&reel))
        {
            return Some("reel");
        }
        self.names.iter().any(|n| stem(n) == clip).then_some("clip name")
    }

    /// Its frames of a clip, counted from the clip's first as 0.
    fn frames(&self, info: &ClipInfo) -> Option<Range<u64>> {
        let first = first_frame(info);
        let (start, end) = match self.within? {
            Within::Labels(a, b) => {
                let counting = Counting::of(info.rate, info.drop_frame);
                let count = |l: Label| counting.count(&l.to_string()).ok();
                let (a, b) = (count(a)?, count(b)?);
                // A piece may end at or after midnight.
                (a, if b <= a { b + counting.day() } else { b })
            }
            Within::Frames(start, length, rate) => {
                let at = |t: f64| (t * info.rate.fps() / rate).round();
                let (a, b) = (at(start), at(start + length));
                if a < 0.0 || b <= a {
                    return None;
                }
                (a as u64, b as u64)
            }
        };
        Some(start.checked_sub(first)?..end.checked_sub(first)?)
            .filter(|r| r.end <= info.frames && !r.is_empty())
    }
}

/// Where in a list of clips a piece lies: which clip, its frames, and what it was found by.
///
/// # Errors
/// Why it lies in none.
pub fn placed(piece: &Piece, clips: &[&ClipInfo]) -> Result<(usize, Range<u64>, String), String> {
    let named: Vec<_> =
        clips.iter().enumerate().filter_map(|(i, c)| Some((i, piece.names_clip(c)?))).collect();
    for (i, by) in &named {
        if let Some(frames) = piece.frames(clips[*i]) {
            return Ok((*i, frames, format!("{by} and timecode")));
        }
    }
    let by_time: Vec<_> = clips.iter().enumerate().filter_map(|(i, c)| Some((i, piece.frames(c)?))).collect();
    match (named.is_empty(), by_time.as_slice()) {
        (true, [(i, frames)]) if piece.reel.is_none() && piece.names.is_empty() => {
            Ok((*i, frames.clone(), "timecode".to_owned()))
        }
        (true, _) => Err(format!("{}: no clip has its reel, name or file", piece.says)),
        (false, _) => {
            let (i, by) = named[0];
            Err(format!("{}: {} has its {by}, and not its timecode", piece.says, clips[i].name))
        }
    }
}

/// A decision that was laid onto a shot.
#[derive(Clone, Debug)]
pub struct Laid {
    /// The shot.
    pub shot: usize,
    /// The numbers.
    pub cdl: Cdl<f64>,
    /// Where it stood.
    pub says: String,
    /// What it was found by.
    pub by: String,
}

/// Decisions laid onto shots: each shot gets the one that fits it best, by reel and timecode, else by the shot's name,
/// else by the clip's name. `infos` are the shots' sources, where they could be opened. What found no shot is named.
pub fn laid(pieces: &[Piece], shots: &[Shot], infos: &[Option<ClipInfo>]) -> (Vec<Laid>, Vec<String>) {
    let mut used = vec![false; pieces.len()];
    let mut all = Vec::new();
    for (shot, own) in shots.iter().enumerate() {
        let info = infos.get(shot).and_then(Option::as_ref);
        let fits = |p: &Piece| -> Option<(u32, String)> {
            let named = p
                .names
                .iter()
                .any(|n| n.eq_ignore_ascii_case(&own.name) || stem(n) == own.name.to_uppercase());
            let by = info.and_then(|i| p.names_clip(i));
            if let (Some(by), Some(info)) = (by, info)
                && p.within.is_some()
            {
                let overlaps = p.frames(info).is_some_and(|r| r.start < own.end && own.start < r.end);
                return overlaps
                    .then(|| (3, format!("{by} and timecode")))
                    .or(named.then(|| (2, "shot name".to_owned())));
            }
            if named {
                return Some((2, "shot name".to_owned()));
            }
            by.map(|by| (1, by.to_owned()))
        };
        let mut best: Option<(u32, String, usize)> = None;
        for (i, piece) in pieces.iter().enumerate().filter(|(_, p)| p.cdl.is_some()) {
            if let Some((rank, by)) = fits(piece)
                && best.as_ref().is_none_or(|b| rank > b.0)
            {
                best = Some((rank, by, i));
            }
        }
        if let Some((_, by, i)) = best
            && let Some(cdl) = pieces[i].cdl
        {
            used[i] = true;
            all.push(Laid { shot, cdl, says: pieces[i].says.clone(), by });
        }
    }
    let left = pieces.iter().zip(&used).filter(|(p, used)| p.cdl.is_some() && !**used);
    (all, left.map(|(p, _)| p.says.clone()).collect())
}

/// One change that gives shots their decisions, on ACEScct: contrast 1, and slope, offset, power and saturation of each.
/// What a shot has of exposure, white balance and zones stays, ahead of it. A decision that a shot's parameters do not
/// reach is left out and named.
pub fn change(show: &Show, laid: &[Laid]) -> (Change, Vec<String>) {
    use BalanceField::*;
    let (mut changes, mut refused) = (Vec::new(), Vec::new());
    for one in laid {
        let Cdl { slope: s, offset, power: p, saturation } = one.cdl;
        let o = offset.map(|o| o / POINT_ACESCCT);
        let values = [
            (Contrast, 1.0),
            (SlopeR, s[0]),
            (SlopeG, s[1]),
            (SlopeB, s[2]),
            (OffsetR, o[0]),
            (OffsetG, o[1]),
            (OffsetB, o[2]),
            (PowerR, p[0]),
            (PowerG, p[1]),
            (PowerB, p[2]),
            (Saturation, saturation),
        ];
        let beyond = values.iter().find(|(field, value)| {
            let parameter = field.parameter();
            !(parameter.min..=parameter.max).contains(value)
        });
        if let Some((field, value)) = beyond {
            let parameter = field.parameter();
            refused.push(format!(
                "{}: {} would be {value:.4}; accepted: {} to {}",
                one.says, parameter.key, parameter.min, parameter.max
            ));
            continue;
        }
        let shot = one.shot;
        let set = |(field, value): (BalanceField, f64)| {
            let slot = Slot::Balance { shot, field };
            Change::SetParameter { slot, value }
        };
        changes.extend(values.into_iter().map(set));
        let kept = show.shots.get(shot).map_or_else(Balance::default, |s| s.balance).outside_cdl();
        if !kept.is_empty() {
            let keys: Vec<_> = kept.iter().map(|f| f.parameter().key).collect();
            refused.push(format!(
                "{} keeps its {} ahead of the decision",
                show.shots[shot].name,
                keys.join(", ")
            ));
        }
    }
    (Change::Together(changes), refused)
}
