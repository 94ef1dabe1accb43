//! What a control sends, recognised from its messages.
//!
//! One message says little: 65 is a step up, a step down or half the way of a knob, by coding. So a control is
//! asked to turn each way, and each coding is charged for what it would make of that: large jumps, moves that are
//! none, changes of direction. The cheapest is the guess; how much dearer the next one is says how sure it is.

use super::{Coding, LSB_ABOVE, Mode, Source};
use std::{collections::BTreeMap, fmt};

/// Messages that are kept; the oldest go first.
const MOST: usize = 512;

/// A byte of a pair comes at most this long before or after the other, in microseconds.
const TOGETHER: u64 = 5_000;

/// How much dearer the next guess must be.
const SURE: f64 = 6.0;

/// The share of all messages that the control must have sent.
const MOST_OF_ALL: f64 = 0.7;

/// What a control was recognised as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A controller that tells its position in seven bits.
    Absolute {
        /// Its number.
        cc: u8,
    },
    /// A pair of controllers that tell a position in 14 bits.
    Fine {
        /// The number with the upper seven; the lower come on the one 32 above.
        cc: u8,
        /// Do the lower come first?
        lsb_first: bool,
    },
    /// Pitch bend, 14 bits.
    Bend,
    /// A controller that tells turns.
    Relative {
        /// Its number.
        cc: u8,
        /// How it codes them.
        coding: Coding,
        /// Did it say "down" when it was turned the first way asked for?
        reversed: bool,
    },
    /// Two controllers, one for each way; what they send does not matter.
    Steps {
        /// The one sent first.
        up: u8,
        /// The one sent the other way.
        down: u8,
    },
    /// A button.
    Button {
        /// What it sends.
        source: Source,
        /// How it tells that it was pressed.
        mode: Mode,
    },
    /// A registered or non-registered parameter number.
    Numbered {
        /// Registered?
        registered: bool,
        /// The number, 14 bits.
        number: u16,
        /// How its value comes.
        value: NumberedValue,
    },
}

/// How the value of a numbered parameter comes (MIDI 1.0, "Registered And Non-Registered Parameter Numbers").
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NumberedValue {
    /// By data entry, seven bits (controller 6).
    Coarse,
    /// By data entry, 14 bits (controllers 6 and 38).
    Fine,
    /// By data increment and decrement (controllers 96 and 97).
    Steps,
}

/// What is still needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// More of the same: there is too little yet.
    More,
    /// A turn the other way.
    OtherWay,
    /// A longer way, slowly.
    Further,
    /// More presses, short ones.
    Presses,
    /// One control only: several move.
    OneAtATime,
}

/// What is thought of the messages so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guess {
    /// What it is most likely.
    pub kind: Kind,
    /// Channel 0…15.
    pub channel: u8,
    /// How certain that is, 0…1.
    pub certainty: f64,
    /// What would make it certain; `None` when it is.
    pub need: Option<Need>,
    /// The note by which the control tells that a hand is on it.
    pub touch: Option<u8>,
}

/// Takes messages in and guesses.
#[derive(Clone, Debug, Default)]
pub struct Recogniser {
    heard: Vec<(u64, [u8; 3])>,
}

/// Values of one controller or note, with their times.
type Series = Vec<(u64, u8)>;

#[derive(Clone, Copy)]
struct Candidate {
    kind: Kind,
    channel: u8,
    certainty: f64,
    need: Option<Need>,
    /// Messages it accounts for.
    messages: usize,
    first: u64,
}

impl Recogniser {
    /// Nothing has been heard.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes in a message that came at `at`, in microseconds. What is no controller, note or pitch bend is passed
    /// over.
    pub fn hear(&mut self, at: u64, message: &[u8]) {
        let &[status, first, second] = message else { return };
        if !matches!(status & 0xF0, 0x80 | 0x90 | 0xB0 | 0xE0) {
            return;
        }
        if self.heard.len() == MOST {
            self.heard.remove(0);
        }
        self.heard.push((at, [status, first & 0x7F, second & 0x7F]));
    }

    /// Forgets all that was heard.
    pub fn clear(&mut self) {
        self.heard.clear();
    }

    /// When the last message came.
    pub fn last(&self) -> Option<u64> {
        self.heard.last().map(|(at, _)| *at)
    }

    /// What it is by now; `None` as long as nothing was heard.
    pub fn guess(&self) -> Option<Guess> {
        let mut ccs = BTreeMap::<(u8, u8), Series>::new();
        let mut notes = BTreeMap::<(u8, u8), Series>::new();
        let mut bends = BTreeMap::<u8, Vec<(u64, u16)>>::new();
        let mut found = self.numbered();
        let numbered: Vec<u8> = found.iter().map(|c| c.channel).collect();
        for &(at, [status, first, second]) in &self.heard {
            let channel = status & 0x0F;
            match status & 0xF0 {
                0xB0 if first >= super::FIRST_MODE_MESSAGE => {}
                0xB0 if numbered.contains(&channel) && is_of_numbers(first) => {}
                0xB0 => ccs.entry((channel, first)).or_default().push((at, second)),
                0xE0 => {
                    bends.entry(channel).or_default().push((at, u16::from(second) << 7 | u16::from(first)))
                }
                0x80 => notes.entry((channel, first)).or_default().push((at, 0)),
                _ => notes.entry((channel, first)).or_default().push((at, second)),
            }
        }
        found.extend(bends.iter().map(|(channel, series)| bend(*channel, series)));
        pairs(&mut ccs, &mut found);
        two_ways(&mut ccs, &mut found);
        found.extend(ccs.iter().map(|((channel, cc), series)| single(*channel, *cc, series)));
        let moving = found.iter().copied().max_by_key(|c| c.messages);
        let mut others: usize = found.iter().map(|c| c.messages).sum();
        let mut touch = None;
        for ((channel, note), series) in notes {
            let button = button(channel, Source::Note(note), &series);
            let began = series[0].0;
            // A hand comes before the movement and goes after it.
            let about = moving.is_some_and(|m| {
                let held = !matches!(m.kind, Kind::Button { .. }) && m.messages > series.len();
                held && series[0].1 > 0 && began <= m.first + 100_000 && series[series.len() - 1].0 >= m.first
            });
            if about {
                touch = Some(note);
            } else {
                others += button.messages;
                found.push(button);
            }
        }
        let best = found.into_iter().max_by_key(|c| c.messages)?;
        let alone = best.messages as f64 >= MOST_OF_ALL * others as f64;
        let need = if alone { best.need } else { Some(Need::OneAtATime) };
        let certainty = if alone { best.certainty } else { 0.0 };
        Some(Guess { kind: best.kind, channel: best.channel, certainty, need, touch })
    }

    /// Numbered parameters, which spread over several controllers.
    fn numbered(&self) -> Vec<Candidate> {
        #[derive(Default)]
        struct Heard {
            coarse: Vec<u8>,
            fine: usize,
            steps: [usize; 2],
            messages: usize,
            first: Option<u64>,
        }
        let mut all = BTreeMap::<(u8, bool, u16), Heard>::new();
        // By channel: registered, upper and lower seven bits of the number that is in force, messages that chose it.
        let mut chosen = BTreeMap::<u8, (bool, Option<u8>, Option<u8>, usize)>::new();
        for &(at, [status, cc, value]) in self.heard.iter().filter(|(_, m)| m[0] & 0xF0 == 0xB0) {
            let channel = status & 0x0F;
            let now = chosen.entry(channel).or_insert((false, None, None, 0));
            if let 98..=101 = cc {
                let registered = cc >= 100;
                if now.0 != registered {
                    *now = (registered, None, None, now.3);
                }
                if cc % 2 == 1 {
                    now.1 = Some(value)
                } else {
                    now.2 = Some(value)
                }
                now.3 += 1;
                continue;
            }
            let (registered, Some(upper), Some(lower), choosing) = *now else { continue };
            if !matches!(cc, 6 | 38 | 96 | 97) || (upper, lower) == (127, 127) {
                continue;
            }
            let number = u16::from(upper) << 7 | u16::from(lower);
            let heard = all.entry((channel, registered, number)).or_default();
            now.3 = 0;
            heard.messages += 1 + choosing;
            heard.first = heard.first.or(Some(at));
            match cc {
                6 => heard.coarse.push(value),
                38 => heard.fine += 1,
                _ => heard.steps[usize::from(cc - 96)] += 1,
            }
        }
        all.into_iter()
            .map(|((channel, registered, number), h)| {
                let steps = h.steps[0] + h.steps[1];
                let (value, need) = if steps > h.coarse.len() {
                    let need = match h.steps {
                        [up, down] if up.min(down) >= 2 => None,
                        [up, down] if up.max(down) >= 2 => Some(Need::OtherWay),
                        _ => Some(Need::More),
                    };
                    (NumberedValue::Steps, need)
                } else {
                    let fine = 2 * h.fine >= h.coarse.len().max(1);
                    let enough = h.coarse.len() >= 4 && distinct(h.coarse.iter().copied()) >= 3;
                    (
                        if fine { NumberedValue::Fine } else { NumberedValue::Coarse },
                        (!enough).then_some(Need::Further),
                    )
                };
                Candidate {
                    kind: Kind::Numbered { registered, number, value },
                    channel,
                    certainty: if need.is_none() { 0.95 } else { 0.4 },
                    need,
                    messages: h.messages,
                    first: h.first.unwrap_or_default(),
                }
            })
            .collect()
    }
}

/// Is it one of the controllers that numbered parameters use?
fn is_of_numbers(cc: u8) -> bool {
    matches!(cc, 6 | 38 | 96..=101)
}

fn distinct<T: Ord>(values: impl Iterator<Item = T>) -> usize {
    values.collect::<std::collections::BTreeSet<_>>().len()
}

fn bend(channel: u8, series: &[(u64, u16)]) -> Candidate {
    let enough = distinct(series.iter().map(|(_, v)| *v)) >= 4;
    Candidate {
        kind: Kind::Bend,
        channel,
        certainty: if enough { 0.95 } else { 0.4 },
        need: (!enough).then_some(Need::More),
        messages: series.len(),
        first: series[0].0,
    }
}

/// Takes pairs of 14 bits out of `ccs`.
fn pairs(ccs: &mut BTreeMap<(u8, u8), Series>, found: &mut Vec<Candidate>) {
    let uppers: Vec<(u8, u8)> = ccs.keys().copied().filter(|(_, cc)| *cc < LSB_ABOVE).collect();
    for (channel, cc) in uppers {
        let lower = (channel, cc + LSB_ABOVE);
        let (Some(msbs), Some(lsbs)) = (ccs.get(&(channel, cc)), ccs.get(&lower)) else { continue };
        // The lower halves near an upper one, and whether they came before it.
        let mut beside = (0usize, 0usize);
        for (at, _) in msbs {
            let near =
                lsbs.iter().filter(|(l, _)| l.abs_diff(*at) <= TOGETHER).min_by_key(|(l, _)| l.abs_diff(*at));
            if let Some((l, _)) = near {
                beside.0 += 1;
                beside.1 += usize::from(l < at);
            }
        }
        if msbs.len() < 2 || 5 * beside.0 < 4 * msbs.len() || 5 * lsbs.len() < 4 * msbs.len() {
            continue;
        }
        let (msbs, lsbs) =
            (ccs.remove(&(channel, cc)).unwrap_or_default(), ccs.remove(&lower).unwrap_or_default());
        let most = msbs.iter().map(|(_, v)| *v).max().unwrap_or_default();
        let least = msbs.iter().map(|(_, v)| *v).min().unwrap_or_default();
        let enough = msbs.len() >= 4 && most - least >= 4;
        let first = msbs[0].0.min(lsbs[0].0);
        found.push(Candidate {
            kind: Kind::Fine { cc, lsb_first: 2 * beside.1 > beside.0 },
            channel,
            certainty: if enough { 0.9 } else { 0.5 },
            need: (!enough).then_some(Need::Further),
            messages: msbs.len() + lsbs.len(),
            first,
        });
    }
}

/// Takes two controllers that are one control's two ways out of `ccs`: each sends but one value, never 0, and one
/// begins when the other has ended.
fn two_ways(ccs: &mut BTreeMap<(u8, u8), Series>, found: &mut Vec<Candidate>) {
    let constant = |s: &Series| s.len() >= 3 && s[0].1 != 0 && s.iter().all(|(_, v)| *v == s[0].1);
    let all: Vec<(u8, u8)> = ccs.iter().filter(|(_, s)| constant(s)).map(|(k, _)| *k).collect();
    let &[a, b] = all.as_slice() else { return };
    let (start, end) = (|k| ccs[&k][0].0, |k| ccs[&k][ccs[&k].len() - 1].0);
    let (up, down) = if start(a) <= start(b) { (a, b) } else { (b, a) };
    if a.0 != b.0 || end(up) > start(down) {
        return;
    }
    found.push(Candidate {
        kind: Kind::Steps { up: up.1, down: down.1 },
        channel: a.0,
        certainty: 0.75,
        need: None,
        messages: ccs[&a].len() + ccs[&b].len(),
        first: start(up),
    });
    ccs.retain(|k, _| *k != a && *k != b);
}

/// A controller by itself.
fn single(channel: u8, cc: u8, series: &Series) -> Candidate {
    let values: Vec<u8> = series.iter().map(|(_, v)| *v).collect();
    let high = values.iter().copied().max().unwrap_or_default();
    let two = values.iter().all(|v| *v == 0 || *v == high) && values.windows(2).all(|w| w[0] != w[1]);
    if two && high >= 64 && (values.len() > 1 || high == 127) {
        return button(channel, Source::Cc(cc), series);
    }
    let codings = [Coding::TwosComplement, Coding::BinaryOffset, Coding::SignMagnitude];
    let mut costs: Vec<(f64, Kind)> = codings
        .into_iter()
        .map(|coding| {
            let turns = turns(coding, &values);
            let first: f64 = turns.iter().filter(|t| **t != 0.0).take(3).map(|t| t.signum()).sum();
            (relative_cost(&turns), Kind::Relative { cc, coding, reversed: first < 0.0 })
        })
        .collect();
    costs.push((absolute_cost(&values), Kind::Absolute { cc }));
    costs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let margin = costs[1].0 - costs[0].0;
    let kind = costs[0].1;
    let clear = margin >= SURE;
    let need = match kind {
        _ if values.len() < 4 => Some(Need::More),
        Kind::Relative { coding, .. } => {
            let turns = turns(coding, &values);
            let ways =
                [turns.iter().filter(|t| **t > 0.0).count(), turns.iter().filter(|t| **t < 0.0).count()];
            // A turn one way alone fits two codings, whichever it is.
            match ways {
                [up, down] if up.min(down) < 2 => Some(Need::OtherWay),
                _ => (!clear).then_some(Need::Further),
            }
        }
        _ => {
            let least = values.iter().copied().min().unwrap_or_default();
            (!clear || high - least < 16).then_some(Need::Further)
        }
    };
    Candidate {
        kind,
        channel,
        certainty: margin / (margin + 4.0),
        need,
        messages: values.len(),
        first: series[0].0,
    }
}

fn turns(coding: Coding, values: &[u8]) -> Vec<f64> {
    let turn = |value: &u8| match coding.read(*value) {
        Some(super::Reading::Turned(detents)) => detents,
        _ => 0.0,
    };
    values.iter().map(turn).collect()
}

/// What the turns cost as such: nobody turns by many detents at once, sends that nothing moved, or changes the
/// direction all the time.
fn relative_cost(turns: &[f64]) -> f64 {
    let mut cost = 0.0;
    let mut before: Option<f64> = None;
    let mut changes = 0;
    for &turn in turns {
        if turn == 0.0 {
            cost += 3.0;
            continue;
        }
        cost += 0.5 * turn.abs().log2();
        if let Some(before) = before {
            if before.signum() == turn.signum() {
                cost += 0.25 * (turn.abs().log2() - before.abs().log2()).abs();
            } else {
                changes += 1;
            }
        }
        before = Some(turn);
    }
    cost + 1.5 * f64::from((changes - 1).max(0))
}

/// What the values cost as positions: a position that did not change is not sent, but by encoders at their end;
/// it does not jump; and the last step of a worn one trembles.
fn absolute_cost(values: &[u8]) -> f64 {
    let mut cost = 0.0;
    let mut before = 0.0;
    let mut changes = 0;
    for pair in values.windows(2) {
        let step = f64::from(pair[1]) - f64::from(pair[0]);
        if step == 0.0 {
            cost += if matches!(pair[0], 0 | 127) { 0.8 } else { 2.5 };
            continue;
        }
        cost += 0.5 * step.abs().log2();
        if before * step < 0.0 {
            changes += 1;
            if changes > 1 {
                cost += if step.abs() == 1.0 { 0.8 } else { 1.5 };
            }
        }
        before = step;
    }
    cost
}

/// A button by the times of its presses: short ones, with longer rests, are of one that tells both; one that
/// tells only presses is as often high as low.
fn button(channel: u8, source: Source, series: &Series) -> Candidate {
    let mut highs = Vec::new();
    let mut lows = Vec::new();
    for pair in series.windows(2) {
        let time = pair[1].0.saturating_sub(pair[0].0) as f64;
        if pair[0].1 > 0 { highs.push(time) } else { lows.push(time) }
    }
    let middle = |times: &mut Vec<f64>| {
        times.sort_by(f64::total_cmp);
        times.get(times.len() / 2).copied()
    };
    let (mode, certainty, need) = match (middle(&mut highs), middle(&mut lows)) {
        (Some(high), Some(low)) if high <= 0.7 * low => match series.len() {
            4.. => (Mode::Momentary, 0.9, None),
            _ => (Mode::Momentary, 0.5, Some(Need::Presses)),
        },
        (Some(high), Some(low)) if high >= 250_000.0 && low <= 1.5 * high && series.len() >= 3 => {
            (Mode::Toggle, 0.75, None)
        }
        _ => (Mode::Momentary, 0.3, Some(Need::Presses)),
    };
    Candidate {
        kind: Kind::Button { source, mode },
        channel,
        certainty,
        need,
        messages: series.len(),
        first: series[0].0,
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Absolute { cc } => write!(f, "CC {cc}, a position of 7 bits"),
            Self::Fine { cc, lsb_first } => {
                let order = if *lsb_first { ", the lower bits first" } else { "" };
                write!(f, "CC {cc} and {}, a position of 14 bits{order}", cc + LSB_ABOVE)
            }
            Self::Bend => f.write_str("pitch bend, a position of 14 bits"),
            Self::Relative { cc, coding, reversed } => {
                let way = if *reversed { ", down first" } else { "" };
                write!(f, "CC {cc}, turns in {}{way}", words(*coding))
            }
            Self::Steps { up, down } => write!(f, "CC {up} for steps one way and CC {down} for the other"),
            Self::Button { source, mode } => {
                match source {
                    Source::Cc(cc) => write!(f, "CC {cc}")?,
                    Source::Note(note) => write!(f, "note {note}")?,
                    _ => f.write_str("something else")?,
                }
                f.write_str(match mode {
                    Mode::Momentary => ", a button that tells when it goes down and up",
                    Mode::Toggle => ", a button that is high and low by turns",
                })
            }
            Self::Numbered { registered, number, value } => {
                let kind = if *registered { "RPN" } else { "NRPN" };
                let value = match value {
                    NumberedValue::Coarse => "a position of 7 bits",
                    NumberedValue::Fine => "a position of 14 bits",
                    NumberedValue::Steps => "steps",
                };
                write!(f, "{kind} {number}, {value}")
            }
        }
    }
}

fn words(coding: Coding) -> &'static str {
    match coding {
        Coding::TwosComplement => "two's complement",
        Coding::BinaryOffset => "binary offset",
        Coding::SignMagnitude => "sign and magnitude",
        Coding::Increment => "steps",
        Coding::Absolute => "positions",
    }
}

impl fmt::Display for Need {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::More => "go on",
            Self::OtherWay => "turn it the other way",
            Self::Further => "move it further, slowly",
            Self::Presses => "press it again, shortly",
            Self::OneAtATime => {
                "several controls move: leave the others alone, and start over if this goes on"
            }
        })
    }
}
