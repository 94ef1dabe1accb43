//! What panels, keys and the desk can move by an address: a show's parameters, the stage in focus, the transport.
//!
//! Beside the addresses of [`crate::show::Address`] there are
//! - `focus/strength`, `focus/1` … `focus/9`: of the stage in focus its strength and its parameters in their order;
//! - `focus/on`: whether that stage acts;
//! - `view/frame`: the frame on view, a detent a frame;
//! - `view/shuttle`: how fast and which way it plays, from −8 to 8 times;
//! - `view/look`: the look that is tried, a detent a look of the library; the show's own comes before the first;
//! - `view/wipe`, `view/angle`, `view/difference`, `view/still`: where the line between the picture and its reference is,
//!   how it is turned, what a difference is multiplied by, and which still is the reference.

use std::time::Instant;

use super::comparing::Measure;
use super::core::Engine;
use super::input::{Command, FASTEST};
use super::snapshot::Snapshot;
use crate::look::{Chain, Kind, List, Parameter};
use crate::show::{Address, Change, Show, Slot, check_address};

/// Parameters of the stage in focus that have addresses.
pub const FOCUS_PARAMETERS: usize = 9;

/// A shuttle this near to standing still stands still: rests of a sprung wheel are not all at its centre.
const STILL: f64 = 0.25;

/// A stage that is in hand: which list it is in, and where.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Focus {
    /// The list.
    pub list: List,
    /// Which of its stages, from 0.
    pub at: usize,
}

impl Focus {
    /// Is there such a stage?
    pub fn is_in(self, chain: &Chain) -> bool {
        self.kind(chain).is_some()
    }

    fn kind(self, chain: &Chain) -> Option<Kind> {
        chain.list(self.list).get(self.at).map(|stage| stage.kind)
    }

    /// The first stage of the look; where there is none, the first of all.
    pub fn first(chain: &Chain) -> Option<Self> {
        let lists = [List::Look, List::Before, List::Finish];
        lists.into_iter().map(|list| Self { list, at: 0 }).find(|focus| focus.is_in(chain))
    }

    /// The stage so many further along the chain, round and round.
    pub fn beside(self, chain: &Chain, by: i64) -> Self {
        let all: Vec<Self> = List::ALL
            .into_iter()
            .flat_map(|list| (0..chain.list(list).len()).map(move |at| Self { list, at }))
            .collect();
        let here = all.iter().position(|focus| *focus == self).unwrap_or(0) as i64;
        match all.len() as i64 {
            0 => self,
            count => all[(here + by).rem_euclid(count) as usize],
        }
    }

    /// Where the same stage is after a change to the chain; `None` if it went.
    pub fn after(self, change: &Change) -> Option<Self> {
        let Self { list: mine, at: here } = self;
        let at = match change {
            Change::AddStage { list, at, .. } if *list == mine && *at <= here => here + 1,
            Change::RemoveStage { list, at } if *list == mine && *at == here => return None,
            Change::RemoveStage { list, at } if *list == mine && *at < here => here - 1,
            Change::MoveStage { list, from, to } if *list == mine => match here {
                _ if here == *from => *to,
                _ if *from < here && here <= *to => here - 1,
                _ if *to <= here && here < *from => here + 1,
                _ => here,
            },
            Change::ReplaceLook { .. } if mine == List::Look => return None,
            Change::Together(changes) => {
                return changes.iter().try_fold(self, |focus, change| focus.after(change));
            }
            _ => here,
        };
        Some(Self { list: mine, at })
    }
}

/// What an address leads to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reach {
    /// A parameter of the show.
    Slot(Slot),
    /// Whether the stage in focus acts.
    On(Focus),
    /// The frame on view.
    Frame,
    /// How fast it plays.
    Shuttle,
    /// Which look is tried.
    Look,
    /// How the picture stands beside its reference.
    Measure(Measure),
}

/// Could this address lead anywhere in some show?
///
/// # Errors
/// What is wrong with it and what is accepted, as a sentence.
pub fn known_target(text: &str) -> Result<(), String> {
    if own(text).is_some() {
        return Ok(());
    }
    check_address(text).map_err(|why| {
        format!(
            "{why}; besides focus/strength, focus/1 … focus/{FOCUS_PARAMETERS}, focus/on, view/frame, view/shuttle, view/look, {}",
            Measure::ALL.map(Measure::address).join(", ")
        )
    })
}

/// The addresses that there are besides those of [`crate::show::addresses`].
pub fn own_addresses() -> Vec<String> {
    let numbers = (1..=FOCUS_PARAMETERS).map(|number| format!("focus/{number}"));
    let words = ["focus/strength", "focus/on", "view/frame", "view/shuttle", "view/look"].map(str::to_owned);
    let measures = Measure::ALL.map(|m| m.address().to_owned());
    numbers.chain(words).chain(measures).collect()
}

/// An address that only the engine knows.
enum Own {
    Strength,
    Parameter(usize),
    On,
    Frame,
    Shuttle,
    Look,
    Measure(Measure),
}

fn own(text: &str) -> Option<Own> {
    Some(match text {
        "focus/strength" => Own::Strength,
        "focus/on" => Own::On,
        "view/frame" => Own::Frame,
        "view/shuttle" => Own::Shuttle,
        "view/look" => Own::Look,
        _ if Measure::ALL.iter().any(|m| m.address() == text) => {
            Own::Measure(Measure::ALL.into_iter().find(|m| m.address() == text)?)
        }
        _ => {
            let number = text.strip_prefix("focus/").filter(|n| n.len() == 1)?.parse().ok()?;
            (1..=FOCUS_PARAMETERS).contains(&number).then(|| Own::Parameter(number - 1))?
        }
    })
}

/// Where an address leads now; `None` where there is no such thing at the moment.
pub(super) fn reach(show: &Show, shot: usize, focus: Option<Focus>, text: &str) -> Option<Reach> {
    let in_focus = || {
        let focus = focus?;
        Some((focus, focus.kind(&show.chain)?))
    };
    Some(match own(text) {
        Some(Own::Frame) => Reach::Frame,
        Some(Own::Shuttle) => Reach::Shuttle,
        Some(Own::Look) => Reach::Look,
        Some(Own::Measure(measure)) => Reach::Measure(measure),
        Some(Own::On) => Reach::On(in_focus()?.0),
        Some(Own::Strength) => {
            let (Focus { list, at }, kind) = in_focus()?;
            Reach::Slot(Slot::Strength { list, at, kind })
        }
        Some(Own::Parameter(index)) => {
            let (Focus { list, at }, kind) = in_focus()?;
            kind.declaration().parameters.get(index)?;
            Reach::Slot(Slot::Parameter { list, at, kind, index })
        }
        None => Reach::Slot(show.resolve(&Address::parse(text).ok()?, shot)?),
    })
}

/// What is asked of something that can be moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum To {
    /// So many of its own steps on.
    Turned(f64),
    /// So much on, in its own unit.
    Added(f64),
    /// A place in its range, 0…1.
    At(f64),
    /// A value in its own unit: of a frame or a look its number, from 0; of a switch 0 or 1.
    Is(f64),
    /// Its default.
    Default,
}

impl To {
    pub(super) fn value(self, parameter: &Parameter, value: f64) -> f64 {
        // Of a choice there is no part of a step.
        let whole = |by: f64| match parameter.choices() {
            [] => by,
            _ => by.abs().ceil().copysign(by),
        };
        parameter.held(match self {
            Self::Turned(detents) => value + whole(parameter.step * detents),
            Self::Added(amount) => value + whole(amount),
            Self::At(place) => parameter.at(place),
            Self::Is(value) => value,
            Self::Default => parameter.default,
        })
    }
}

impl Engine {
    pub(super) fn reach(&self, target: &str) -> Option<Reach> {
        reach(self.document.seen(), self.document.shot, self.document.focus, target)
    }

    /// Where what an address leads to stands in its range, 0…1.
    pub(super) fn position(&self, target: &str) -> Option<f64> {
        let show = self.document.seen();
        Some(match self.reach(target)? {
            Reach::Slot(slot) => slot.parameter().position(show.get(slot)?),
            Reach::On(focus) => f64::from(show.chain.list(focus.list)[focus.at].on),
            Reach::Frame => self.frame as f64 / self.shot_frames().saturating_sub(1).max(1) as f64,
            Reach::Shuttle => (self.speed() / FASTEST + 1.0) / 2.0,
            Reach::Look => self.document.look_place(),
            Reach::Measure(measure) => self.measured(measure),
        })
    }

    /// Moves what is not in the document, and gives the change that moves what is.
    pub(super) fn moved(&mut self, target: &str, to: To, now: Instant) -> Option<Change> {
        match self.reach(target)? {
            Reach::Slot(slot) => {
                let value = to.value(slot.parameter(), self.document.seen().get(slot)?);
                Some(Change::SetParameter { slot, value })
            }
            Reach::On(Focus { list, at }) => {
                let is = self.document.seen().chain.list(list)[at].on;
                let on = match to {
                    To::Turned(by) | To::Added(by) => by > 0.0 || (by == 0.0 && is),
                    To::At(place) | To::Is(place) => place >= 0.5,
                    To::Default => true,
                };
                (on != is).then_some(Change::SetStageOn { list, at, on })
            }
            Reach::Frame => {
                match to {
                    To::Turned(by) | To::Added(by) => {
                        // Parts of frames add up; ten tenths, whose sum is a hair less than one, are one.
                        self.jog += by;
                        let frames = (self.jog + 1e-6_f64.copysign(self.jog)).trunc();
                        self.jog -= frames;
                        if frames != 0.0 {
                            self.command(Command::Step(frames as i64), now);
                        }
                    }
                    To::At(place) => {
                        let last = self.shot_frames().saturating_sub(1);
                        self.command(Command::Seek((place * last as f64).round() as u64), now);
                    }
                    To::Is(frame) => self.command(Command::Seek(frame.max(0.0).round() as u64), now),
                    To::Default => self.command(Command::Seek(0), now),
                }
                None
            }
            Reach::Look => {
                match to {
                    To::Turned(by) | To::Added(by) => {
                        self.leafed += by;
                        let looks = (self.leafed + 1e-6_f64.copysign(self.leafed)).trunc();
                        self.leafed -= looks;
                        if looks != 0.0 {
                            self.command(Command::StepLook(looks as i64), now);
                        }
                    }
                    To::At(place) => match self.document.look_of_place(place) {
                        Some(at) => self.command(Command::TryLook(at), now),
                        None => self.command(Command::LeaveLook, now),
                    },
                    To::Is(number) => self.command(Command::TryLook(number.max(0.0).round() as usize), now),
                    To::Default => self.command(Command::LeaveLook, now),
                }
                None
            }
            Reach::Measure(measure) => {
                self.move_measure(measure, to);
                None
            }
            Reach::Shuttle => {
                let speed = match to {
                    To::Turned(by) | To::Added(by) => self.speed() + by,
                    To::At(place) => {
                        let speed = (place * 2.0 - 1.0) * FASTEST;
                        if speed.abs() < STILL { 0.0 } else { speed }
                    }
                    To::Is(speed) => speed.clamp(-FASTEST, FASTEST),
                    To::Default => 0.0,
                };
                self.command(Command::Shuttle(speed), now);
                None
            }
        }
    }
}

/// Where a look stands in the library of so many, 0…1, the show's own before the first.
pub(super) fn look_place(tried: Option<usize>, of: usize) -> f64 {
    tried.map_or(0.0, |at| (at + 1) as f64 / of.max(1) as f64)
}

impl Snapshot {
    /// Where an address leads now; `None` where there is no such thing at the moment.
    pub fn reach(&self, target: &str) -> Option<Reach> {
        reach(&self.show, self.shot, self.focus, target)
    }

    /// What an address leads to, as a person reads it, and where that stands in its range, 0…1.
    pub fn reading(&self, target: &str) -> Option<(String, f64)> {
        Some(match self.reach(target)? {
            Reach::Slot(slot) => {
                let (parameter, value) = (slot.parameter(), self.show.get(slot)?);
                (parameter.show(value), parameter.position(value))
            }
            Reach::On(focus) => {
                let on = self.show.chain.list(focus.list)[focus.at].on;
                (if on { "on" } else { "off" }.to_owned(), f64::from(on))
            }
            Reach::Frame => {
                let last = self.frames.saturating_sub(1).max(1);
                (format!("frame {}", self.frame), self.frame as f64 / last as f64)
            }
            Reach::Shuttle => (format!("{:+.2}×", self.speed), (self.speed / FASTEST + 1.0) / 2.0),
            Reach::Look => match &self.trying {
                Some(trying) => (trying.name.to_string(), look_place(Some(trying.at), trying.of)),
                None => ("the show's own".to_owned(), 0.0),
            },
            Reach::Measure(measure) => self.kept.reading(measure),
        })
    }
}
