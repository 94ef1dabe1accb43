//! What is proposed for a shot's balance from what its frame says, and how much of that is taken.

use super::{Change, Shot, Show, ShowError, Slot};
use crate::colour::{GREY, acescct_decode, acescct_encode, neutral_shift};
use crate::picture::{Balance, BalanceField, Reduced, luminance};
use crate::scope::{Difference, Reading};

/// The parameters that a proposal is about.
pub const PROPOSED: [BalanceField; 3] = [BalanceField::Exposure, BalanceField::Warmth, BalanceField::Tint];

/// What a proposal wants.
#[derive(Clone, Debug, PartialEq)]
pub enum Aim {
    /// A grey of 18 % becomes middle grey.
    Grey,
    /// The shot sits with another one.
    Like {
        /// The other one's name.
        other: String,
    },
}

/// A proposal for a shot's exposure and white. It changes nothing until some of it is taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The shot, by number from 0.
    pub shot: usize,
    /// What for.
    pub aim: Aim,
    /// Of [`PROPOSED`]: where they stand.
    pub from: [f64; 3],
    /// Where they would stand; within their ranges.
    pub to: [f64; 3],
    /// Do the ranges hold less than it would take?
    pub held: bool,
    /// What it was taken from, in a word.
    pub evidence: &'static str,
    /// How sure white is, 0…1.
    pub colour_sure: f64,
    /// How sure exposure is, 0…1.
    pub level_sure: f64,
    /// What was measured, a line each.
    pub measured: Vec<String>,
    /// Corners of the chart or card, in shares 0…1 of the frame's width and height.
    pub outline: Vec<[f64; 2]>,
}

impl Proposal {
    /// Does it still start from where the shot stands?
    pub fn is_of(&self, shot: &Shot) -> bool {
        self.from == PROPOSED.map(|f| shot.balance.get(f))
    }

    /// The values at a strength: 0 those that there are, 1 those that are proposed.
    pub fn values(&self, strength: f64) -> [f64; 3] {
        let strength = strength.clamp(0.0, 1.0);
        std::array::from_fn(|i| self.from[i] + strength * (self.to[i] - self.from[i]))
    }

    /// The change that takes so much of it: one step.
    pub fn change(&self, strength: f64) -> Change {
        let set =
            |(field, value)| Change::SetParameter { slot: Slot::Balance { shot: self.shot, field }, value };
        Change::Together(PROPOSED.into_iter().zip(self.values(strength)).map(set).collect())
    }
}

/// What a balance makes of ACEScg light.
fn balanced(balance: &Balance) -> impl Fn([f64; 3]) -> [f64; 3] + use<> {
    let values = balance.prepared::<f64>();
    move |light| values.acescct(values.linear(light).map(acescct_encode)).map(acescct_decode)
}

/// A balance with other values of [`PROPOSED`].
fn with(balance: &Balance, values: [f64; 3]) -> Balance {
    PROPOSED.into_iter().zip(values).fold(*balance, |b, (field, value)| b.with(field, value))
}

/// A picture of light before balance, balanced as a shot is.
pub fn balanced_picture(shot: &Shot, picture: &Reduced) -> Reduced {
    picture.mapped(balanced(&shot.balance))
}

/// Light of a shot's grey after its balance, from a reading of its frame before any.
pub fn balanced_grey(shot: &Shot, reading: &Reading) -> [f64; 3] {
    balanced(&shot.balance)(reading.grey)
}

fn no_shot(show: &Show, shot: usize) -> ShowError {
    let accepted = format!("a shot from 1 to {}", show.shots.len());
    ShowError::change(format!("the show has no shot {}", shot + 1), accepted)
}

impl Show {
    /// Proposes exposure and white for a shot, so that the grey of a reading becomes middle grey as
    /// [`Show::neutral`] would have it. The reading is of the frame before any balance.
    ///
    /// # Errors
    /// [`ShowError::Change`] when no light gives a grey that colour, or when there is no such shot.
    pub fn propose(&self, shot: usize, reading: &Reading) -> Result<Proposal, ShowError> {
        let s = self.shots.get(shot).ok_or_else(|| no_shot(self, shot))?;
        let (warmth, tint) = neutral_shift(reading.grey).ok_or_else(|| {
            let [r, g, b] = reading.grey;
            ShowError::change(
                format!("no light near a black body's or daylight gives a grey of {r:.4} {g:.4} {b:.4}"),
                "a frame with a chart, a card or greys in it",
            )
        })?;
        let wanted = [(GREY / luminance(reading.grey)).log2(), warmth, tint];
        Ok(self.proposal(
            shot,
            s,
            Aim::Grey,
            wanted,
            Told {
                evidence: reading.evidence.name(),
                sure: [reading.colour_sure, reading.level_sure],
                measured: reading.measured.clone(),
                outline: reading.outline(),
            },
        ))
    }

    /// Proposes exposure and white for a shot, so that it sits with `other`: `difference` is that from the shot's picture
    /// to the other's, both balanced and before the look. All else in the shot's balance stays.
    ///
    /// # Errors
    /// [`ShowError::Change`] when no exposure and white do that, or when there is no such shot.
    pub fn propose_match(
        &self,
        shot: usize,
        other: &str,
        difference: &Difference,
    ) -> Result<Proposal, ShowError> {
        let s = self.shots.get(shot).ok_or_else(|| no_shot(self, shot))?;
        let now = PROPOSED.map(|f| s.balance.get(f));
        let [own, others] = difference.greys;
        // A grey of the shot where its tones lie now, and what it is to become. Where the balance is more than linear the
        // light before it is found backwards.
        let seen = own.map(|v| v * GREY);
        let refuse = || {
            ShowError::change(
                format!("exposure and white do not bring {} to {other}", s.name),
                "shots that hold light in every channel, and less of a difference",
            )
        };
        let before = backwards(&s.balance, seen).ok_or_else(refuse)?;
        let aim = others.map(|v| v * GREY * difference.stops.exp2());
        let wanted = solved(&s.balance, now, before, aim).ok_or_else(refuse)?;
        Ok(self.proposal(
            shot,
            s,
            Aim::Like { other: other.to_owned() },
            wanted,
            Told {
                evidence: difference.evidence,
                sure: [difference.colour_sure, difference.level_sure],
                measured: difference.measured.clone(),
                outline: Vec::new(),
            },
        ))
    }

    fn proposal(&self, shot: usize, s: &Shot, aim: Aim, wanted: [f64; 3], told: Told) -> Proposal {
        let to: [f64; 3] = std::array::from_fn(|i| PROPOSED[i].parameter().held(wanted[i]));
        Proposal {
            shot,
            aim,
            from: PROPOSED.map(|f| s.balance.get(f)),
            to,
            held: to != wanted,
            evidence: told.evidence,
            colour_sure: told.sure[0],
            level_sure: told.sure[1],
            measured: told.measured,
            outline: told.outline,
        }
    }

    /// The change that gives one shot's whole balance to others.
    ///
    /// # Errors
    /// [`ShowError::Change`] for shots that there are not, or for none.
    pub fn copy_balance(&self, from: usize, to: &[usize]) -> Result<Change, ShowError> {
        let balance = self.shots.get(from).ok_or_else(|| no_shot(self, from))?.balance;
        if let Some(none) = to.iter().find(|i| **i >= self.shots.len()) {
            return Err(no_shot(self, *none));
        }
        let others: Vec<usize> = to.iter().copied().filter(|i| *i != from).collect();
        if others.is_empty() {
            let what = format!("there is no other shot to give the balance of {} to", self.shots[from].name);
            return Err(ShowError::change(what, "another shot"));
        }
        let set = |shot: usize| {
            BalanceField::ALL.iter().map(move |&field| Change::SetParameter {
                slot: Slot::Balance { shot, field },
                value: balance.get(field),
            })
        };
        Ok(Change::Together(others.into_iter().flat_map(set).collect()))
    }

    /// The other shots of the same camera as one: those that are read the same way (encoding, range and matrix) and whose
    /// files name the same camera; where one of two files names none, those in the same folder. `camera` says what a shot's
    /// file names.
    pub fn same_camera(&self, of: usize, camera: &dyn Fn(usize) -> Option<String>) -> Vec<usize> {
        let Some(shot) = self.shots.get(of) else { return Vec::new() };
        let own = camera(of);
        let same = |i: usize, s: &Shot| {
            i != of
                && s.encoding.id == shot.encoding.id
                && (s.range, s.matrix) == (shot.range, shot.matrix)
                && match (&own, camera(i)) {
                    (Some(a), Some(b)) => *a == b,
                    _ => s.source.parent() == shot.source.parent(),
                }
        };
        self.shots.iter().enumerate().filter(|(i, s)| same(*i, s)).map(|(i, _)| i).collect()
    }

    /// The change that has several shots read in an encoding, and in a range if one is given.
    ///
    /// # Errors
    /// [`ShowError::Change`] for shots that there are not, or for none.
    pub fn encode_shots(
        &self,
        shots: &[usize],
        encoding: &'static crate::colour::Encoding,
        range: Option<Option<crate::colour::Range>>,
    ) -> Result<Change, ShowError> {
        if let Some(none) = shots.iter().find(|i| **i >= self.shots.len()) {
            return Err(no_shot(self, *none));
        }
        if shots.is_empty() {
            return Err(ShowError::change("no shots are given", "one shot or more"));
        }
        let set = |&shot: &usize| {
            let range = range.map(|range| Change::SetSignalRange { shot, range });
            [Change::SetShotEncoding { shot, encoding }].into_iter().chain(range)
        };
        Ok(Change::Together(shots.iter().flat_map(set).collect()))
    }
}

struct Told {
    evidence: &'static str,
    sure: [f64; 2],
    measured: Vec<String>,
    outline: Vec<[f64; 2]>,
}

/// The light that a balance makes `seen` of.
fn backwards(balance: &Balance, seen: [f64; 3]) -> Option<[f64; 3]> {
    let log = |l: [f64; 3]| l.map(f64::log2);
    let mut light = log(seen);
    let balanced = balanced(balance);
    newton(
        &mut light,
        |x| {
            let there = log(balanced(x.map(f64::exp2)));
            let wanted = log(seen);
            std::array::from_fn(|c| there[c] - wanted[c])
        },
        [0.01; 3],
    )?;
    Some(light.map(f64::exp2))
}

/// Exposure, warmth and tint with which a balance makes `aim` of `light`.
fn solved(balance: &Balance, now: [f64; 3], light: [f64; 3], aim: [f64; 3]) -> Option<[f64; 3]> {
    let mut values = now;
    newton(
        &mut values,
        |x| {
            let there = balanced(&with(balance, x))(light);
            std::array::from_fn(|c| (there[c] / aim[c]).log2())
        },
        [0.01, 0.5, 0.25],
    )?;
    Some(values)
}

/// Brings three functions to 0, from where `x` stands; `None` where that fails.
fn newton(x: &mut [f64; 3], f: impl Fn([f64; 3]) -> [f64; 3], steps: [f64; 3]) -> Option<()> {
    for _ in 0..60 {
        let now = f(*x);
        if now.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let size = now.iter().map(|v| v.abs()).fold(0.0, f64::max);
        if size < 1e-9 {
            return Some(());
        }
        let columns: [[f64; 3]; 3] = std::array::from_fn(|i| {
            let mut moved = *x;
            moved[i] += steps[i];
            let there = f(moved);
            std::array::from_fn(|c| (there[c] - now[c]) / steps[i])
        });
        let by = super::push::solve(columns, now.map(|v| -v))?;
        // Half the way, and half of that, as long as the whole leads nowhere better.
        let mut share = 1.0;
        let better = loop {
            let to: [f64; 3] = std::array::from_fn(|i| x[i] + share * by[i]);
            let there = f(to);
            let far = there.iter().map(|v| v.abs()).fold(0.0, f64::max);
            if there.iter().all(|v| v.is_finite()) && far < size {
                break Some(to);
            }
            share *= 0.5;
            if share < 1e-3 {
                break None;
            }
        };
        match better {
            Some(to) => *x = to,
            None => return (size < 1e-4).then_some(()),
        }
    }
    (f(*x).iter().all(|v| v.abs() < 1e-4)).then_some(())
}
