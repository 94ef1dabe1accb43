//! One control at work: what is remembered of it, and what its messages ask for.

use super::{
    Binding, FINE_MOST, Move, Pair, Reading, Takeover, Target,
    feel::{FINE, Glide, Pace},
    map::Said,
    takeover::{FINE_TOLERANCE, Moved, Pickup, TOLERANCE},
};
use std::{collections::BTreeMap, sync::Arc};

/// Where a parameter stands in its range, 0…1; `None` for one that is not there now.
pub(super) type Position<'a> = &'a dyn Fn(&str) -> Option<f64>;

/// What else is so while a message is read.
#[derive(Clone, Copy)]
pub(super) struct Meanwhile<'a> {
    /// Microseconds on the port's clock.
    pub at: u64,
    /// Is fine mode on?
    pub fine: bool,
    /// Are gangs moved?
    pub gang: bool,
    pub position: Position<'a>,
}

/// What is remembered of one parameter of a control.
#[derive(Clone, Debug, Default)]
struct Grip {
    pickup: Pickup,
    glide: Option<Glide>,
    /// It was moved and it is not known yet where to.
    moved: bool,
}

/// What is remembered of one control.
#[derive(Clone, Debug)]
pub(super) struct Hand {
    /// The last value it sent.
    pub last: Option<u16>,
    /// Of a control whose values come in halves, by channel.
    pairs: BTreeMap<u8, Pair>,
    /// One for each target and then each of the gang: parameters that stand apart are picked up one by one.
    grips: Vec<Grip>,
    pace: Pace,
    /// Was it this control that its last message moved, and not another one with the same message?
    acts: bool,
}

impl Hand {
    pub fn new(binding: &Binding) -> Self {
        let count = binding.targets.len() + binding.gang.len();
        let grips = vec![Grip::default(); count];
        Self { last: None, pairs: BTreeMap::new(), grips, pace: Pace::default(), acts: false }
    }

    /// What a message on `channel` asks for.
    pub fn hear(&mut self, binding: &Binding, channel: u8, said: Said, now: Meanwhile<'_>) -> Vec<Move> {
        self.acts = true;
        let reading = self.reading(binding, channel, said, now.at);
        reading.map_or_else(Vec::new, |reading| self.moves(binding, reading, now))
    }

    /// A message on `channel` moved another control, which is this one in another bank or layer: where it stands is
    /// known, but nothing follows from how it came there.
    pub fn overhear(&mut self, binding: &Binding, channel: u8, said: Said, at: u64) {
        self.acts = false;
        self.reading(binding, channel, said, at);
        self.reset();
    }

    fn reading(&mut self, binding: &Binding, channel: u8, said: Said, at: u64) -> Option<Reading> {
        match said {
            Said::Byte(value) => {
                self.last = Some(value.into());
                binding.coding.read(value)
            }
            Said::Whole(value) => {
                self.last = Some(value);
                Some(whole(value))
            }
            Said::Half(half, value) => {
                let value = self.pairs.entry(channel).or_default().hear(half, value, at);
                self.last = value.or(self.last);
                value.map(whole)
            }
            Said::Steps(0) => None,
            Said::Steps(by) => Some(Reading::Turned(by.into())),
        }
    }

    /// What is due: halves whose other halves have not come in time, and steps of smoothed moves. Nothing is asked for
    /// of what is not in force.
    pub fn settle(&mut self, binding: &Binding, in_force: bool, now: Meanwhile<'_>) -> Vec<Move> {
        let settled: Vec<u16> = self.pairs.values_mut().filter_map(|p| p.settle(now.at)).collect();
        let mut moves = Vec::new();
        for value in settled {
            self.last = Some(value);
            if self.acts && in_force {
                moves.extend(self.moves(binding, whole(value), now));
            }
        }
        for (target, grip) in binding.targets.iter().chain(&*binding.gang).zip(&mut self.grips) {
            let Some(glide) = &mut grip.glide else { continue };
            let Some((place, ends)) = glide.step(now.at) else { continue };
            let parameter = (now.position)(&target.address);
            if let Some(parameter) = parameter {
                grip.pickup.check(parameter);
            }
            if ends || parameter.is_none() || !grip.pickup.is_ours() {
                grip.glide = None;
            }
            if parameter.is_some() && grip.pickup.is_ours() {
                moves.push(grip.set(&target.address, place, binding.hand));
            }
        }
        moves
    }

    /// When something is due.
    pub fn due(&self) -> Option<u64> {
        let pairs = self.pairs.values().filter_map(Pair::due);
        pairs.chain(self.grips.iter().filter_map(|grip| grip.glide.map(|glide| glide.due()))).min()
    }

    /// Lets go of every parameter.
    pub fn reset(&mut self) {
        self.grips.iter_mut().for_each(Grip::reset);
    }

    /// Lets go of every parameter that something else moved or that is gone.
    pub fn refresh(&mut self, binding: &Binding, position: Position<'_>) {
        for (target, grip) in binding.targets.iter().chain(&*binding.gang).zip(&mut self.grips) {
            match position(&target.address) {
                Some(now) => grip.pickup.check(now),
                None => grip.reset(),
            }
        }
    }

    /// Parameters that were moved are where they came to stand.
    pub fn arrived(&mut self, binding: &Binding, position: Position<'_>) {
        for (target, grip) in binding.targets.iter().chain(&*binding.gang).zip(&mut self.grips) {
            if std::mem::take(&mut grip.moved) {
                if let Some(now) = position(&target.address) {
                    grip.pickup.put(now);
                }
            }
        }
    }

    /// Would a turn act on every target at once?
    pub fn picked_up(&self, binding: &Binding) -> bool {
        binding.coding.is_relative()
            || binding.takeover == Takeover::Jump
            || self.grips.iter().take(binding.targets.len()).all(|grip| grip.pickup.holds())
    }

    /// What a reading asks of each target.
    fn moves(&mut self, binding: &Binding, reading: Reading, now: Meanwhile<'_>) -> Vec<Move> {
        let factor = match reading {
            Reading::Turned(_) if now.fine => FINE,
            Reading::Turned(detents) if binding.acceleration > 1.0 => {
                self.pace.gain(now.at, detents, binding.acceleration)
            }
            _ => 1.0,
        };
        let gang = if now.gang { &*binding.gang } else { &[] };
        let mut moves = Vec::new();
        for (Target { address, by }, grip) in binding.targets.iter().chain(gang).zip(&mut self.grips) {
            let Some(parameter) = (now.position)(address) else {
                grip.reset();
                continue;
            };
            match reading {
                Reading::Turned(detents) => {
                    let (target, hand, by) = (address.clone(), binding.hand, detents * by * factor);
                    moves.push(match binding.step {
                        Some(step) => Move::Add { target, amount: by * step, hand },
                        None => Move::Turn { target, detents: by * binding.scale, hand },
                    });
                }
                Reading::At(control) => {
                    let tolerance = if binding.fine { FINE_TOLERANCE } else { TOLERANCE };
                    grip.pickup.check(parameter);
                    // What somebody else took is not brought to where we were going.
                    grip.glide = grip.glide.filter(|_| grip.pickup.is_ours());
                    let bound = grip.glide.map_or(parameter, |glide| glide.goal());
                    let moved = Moved { control, parameter, bound, tolerance, fine: now.fine };
                    let Some(goal) = grip.pickup.goal(binding.takeover, moved) else { continue };
                    if binding.smooth == 0 {
                        moves.push(grip.set(address, goal, binding.hand));
                        continue;
                    }
                    match &mut grip.glide {
                        Some(glide) => glide.turn_to(goal, now.at),
                        None => {
                            grip.pickup.put(parameter);
                            grip.glide = Some(Glide::new(parameter, goal, now.at, binding.smooth));
                        }
                    }
                }
            }
        }
        moves
    }
}

impl Grip {
    fn set(&mut self, address: &Arc<str>, position: f64, hand: usize) -> Move {
        self.pickup.put(position);
        self.moved = true;
        Move::Set { target: address.clone(), position, hand }
    }

    fn reset(&mut self) {
        self.pickup.reset();
        self.glide = None;
    }
}

/// What 14 bits say.
fn whole(value: u16) -> Reading {
    Reading::At(f64::from(value) / f64::from(FINE_MOST))
}
