//! Control events to moves of parameters: a map with the state of its takeovers, pairs and buttons.

use super::{
    Binding, Button, Coding, Event, FINE_MOST, FINE_TOLERANCE, Map, Mode, Pair, Reading, TOLERANCE, Target,
    message::Control, takeover::Pickup,
};
use std::{collections::BTreeMap, sync::Arc};

/// What a control asks of a parameter, or a button of the program.
#[derive(Clone, Debug, PartialEq)]
pub enum Move {
    /// Move by so many of the parameter's own steps.
    Turn {
        /// The parameter's address.
        target: Arc<str>,
        /// Steps of the parameter, down is negative; the map's scale and the target's share are in it, so
        /// it may be fractional.
        detents: f64,
    },
    /// Go to a place in the parameter's range.
    Set {
        /// The parameter's address.
        target: Arc<str>,
        /// 0…1 of the range.
        position: f64,
    },
    /// Do something.
    Press {
        /// The name of what to do.
        action: Arc<str>,
        /// Did the button go down? A button that sends high and low by turns only ever goes down.
        down: bool,
    },
}

/// What a control is and does at this moment, for the panel mirror.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlState {
    /// Its name on the panel mirror.
    pub label: Arc<str>,
    /// The parameters it moves.
    pub targets: Arc<[Target]>,
    /// What its data byte means.
    pub coding: Coding,
    /// Would a turn act on every target at once? False for an absolute control that has yet to be brought
    /// to where a parameter stands.
    pub picked_up: bool,
    /// The last value it sent, 0…127, of a fine control 0…16383; `None` if it has not been touched since
    /// the map was set.
    pub last: Option<u16>,
}

/// What a button is and does at this moment, for the panel mirror.
#[derive(Clone, Debug, PartialEq)]
pub struct ButtonState {
    /// Its name on the panel mirror.
    pub label: Arc<str>,
    /// The name of what it does.
    pub action: Arc<str>,
    /// Is it down? A button that only tells of presses is down from one to the next.
    pub down: bool,
}

/// What is remembered of one control.
#[derive(Clone, Debug)]
struct Memory {
    last: Option<u16>,
    /// Of a fine control, by channel.
    pairs: BTreeMap<u8, Pair>,
    /// One for each target: parameters that stand apart are picked up one by one.
    pickups: Vec<Pickup>,
}

/// One panel at work. One surface serves one port, because takeover remembers where that panel's own
/// controls stand.
#[derive(Clone, Debug)]
pub struct Surface {
    map: Arc<Map>,
    memory: Vec<Memory>,
    /// For each button: was an action begun that is not ended?
    down: Vec<bool>,
}

impl Surface {
    /// A panel of which nothing has been heard yet.
    pub fn new(map: Arc<Map>) -> Self {
        let memory = map
            .controls
            .iter()
            .map(|c| Memory {
                last: None,
                pairs: BTreeMap::new(),
                pickups: vec![Pickup::default(); c.targets.len()],
            })
            .collect();
        let down = vec![false; map.buttons.len()];
        Self { map, memory, down }
    }

    /// The map it works by.
    pub fn map(&self) -> &Arc<Map> {
        &self.map
    }

    /// What `event`, which came at `at`, asks for; nothing if the map does not know the control, it did not
    /// move, takeover holds it back, or it is half of a pair whose other half may still come: see
    /// [`settle`](Self::settle). `at` is in microseconds as [`RawMessage::at`](super::RawMessage::at).
    /// `position` says where a parameter stands in its range, 0…1, and `None` for one that is not there now:
    /// such a target is passed over.
    ///
    /// Carry the moves out before feeding the next event: takeover compares where it set a parameter with
    /// where the parameter is, and takes a difference for somebody else's doing.
    pub fn feed(&mut self, at: u64, event: &Event, position: &dyn Fn(&str) -> Option<f64>) -> Vec<Move> {
        let half = |binding: &Binding| binding.is(event.control);
        let found = self.map.controls.iter().enumerate().find_map(|(i, b)| Some((i, b, half(b)?)));
        let Some((index, binding, half)) = found else {
            return self.press(event);
        };
        let memory = &mut self.memory[index];
        let reading = if binding.fine {
            let (Control::Cc { channel, .. } | Control::Note { channel, .. }) = event.control;
            let value = memory.pairs.entry(channel).or_default().hear(half, event.value, at);
            memory.last = value.or(memory.last);
            value.map(fine)
        } else {
            memory.last = Some(u16::from(event.value));
            binding.coding.read(event.value)
        };
        match reading {
            Some(reading) => memory.moves(binding, reading, position),
            None => Vec::new(),
        }
    }

    /// What halves of pairs ask for whose other halves have not come in time, at `now` on the clock of
    /// [`feed`](Self::feed)'s `at`. To be called when it is [`due`](Self::due).
    pub fn settle(&mut self, now: u64, position: &dyn Fn(&str) -> Option<f64>) -> Vec<Move> {
        let mut moves = Vec::new();
        for (binding, memory) in self.map.controls.iter().zip(&mut self.memory) {
            let settled: Vec<u16> = memory.pairs.values_mut().filter_map(|p| p.settle(now)).collect();
            for value in settled {
                memory.last = Some(value);
                moves.extend(memory.moves(binding, fine(value), position));
            }
        }
        moves
    }

    /// When to [`settle`](Self::settle), on the same clock; `None` if nothing waits.
    pub fn due(&self) -> Option<u64> {
        self.memory.iter().flat_map(|m| m.pairs.values()).filter_map(Pair::due).min()
    }

    /// What a button asks for, if `event` is one's.
    fn press(&mut self, event: &Event) -> Vec<Move> {
        let Some(index) = self.map.buttons.iter().position(|b| b.is(event.control)) else {
            return Vec::new();
        };
        let button = &self.map.buttons[index];
        let pressed = match button.mode {
            Mode::Momentary => button.is_down(event.value),
            Mode::Toggle => true,
        };
        self.down[index] = match button.mode {
            Mode::Momentary => pressed,
            Mode::Toggle => !self.down[index],
        };
        vec![Move::Press { action: button.action.clone(), down: pressed }]
    }

    /// Lets go of every button that is down: when the panel goes away.
    pub fn release(&mut self) -> Vec<Move> {
        let down = self.map.buttons.iter().zip(&mut self.down);
        down.filter_map(|(button, down)| {
            let action = button.action.clone();
            std::mem::take(down).then_some(Move::Press { action, down: false })
        })
        .collect()
    }

    /// Lets go of every parameter that was moved by something else or is gone, so that
    /// [`describe`](Self::describe) does not claim it until the control's next event. `position` is as for
    /// [`feed`](Self::feed).
    pub fn refresh(&mut self, position: &dyn Fn(&str) -> Option<f64>) {
        for (binding, memory) in self.map.controls.iter().zip(&mut self.memory) {
            for (target, pickup) in binding.targets.iter().zip(&mut memory.pickups) {
                match position(&target.address) {
                    Some(now) => pickup.check(now),
                    None => pickup.reset(),
                }
            }
        }
    }

    /// Lets go of every parameter, so that absolute controls have to pick up again: when the shot changes,
    /// or the panel was away.
    pub fn reset(&mut self) {
        self.memory.iter_mut().flat_map(|m| &mut m.pickups).for_each(Pickup::reset);
    }

    /// Works by another map from now on, and forgets all that was heard.
    pub fn set_map(&mut self, map: Arc<Map>) {
        *self = Self::new(map);
    }

    /// Every control, in the map's order.
    pub fn describe(&self) -> Vec<ControlState> {
        let state = |(binding, memory): (&Binding, &Memory)| ControlState {
            label: binding.label.clone(),
            targets: binding.targets.clone(),
            coding: binding.coding,
            picked_up: binding.coding.is_relative()
                || binding.takeover == super::Takeover::Jump
                || memory.pickups.iter().all(Pickup::holds),
            last: memory.last,
        };
        self.map.controls.iter().zip(&self.memory).map(state).collect()
    }

    /// Every button, in the map's order.
    pub fn buttons(&self) -> Vec<ButtonState> {
        let state = |(button, down): (&Button, &bool)| ButtonState {
            label: button.label.clone(),
            action: button.action.clone(),
            down: *down,
        };
        self.map.buttons.iter().zip(&self.down).map(state).collect()
    }
}

impl Memory {
    /// What a reading asks of each target.
    fn moves(
        &mut self,
        binding: &Binding,
        reading: Reading,
        position: &dyn Fn(&str) -> Option<f64>,
    ) -> Vec<Move> {
        let tolerance = if binding.fine { FINE_TOLERANCE } else { TOLERANCE };
        let mut moves = Vec::new();
        for (Target { address, by }, pickup) in binding.targets.iter().zip(&mut self.pickups) {
            let Some(now) = position(address) else {
                pickup.reset();
                continue;
            };
            let target = address.clone();
            match reading {
                Reading::Turned(detents) => {
                    moves.push(Move::Turn { target, detents: detents * binding.scale * by })
                }
                Reading::At(place) if pickup.moved(binding.takeover, place, now, tolerance) => {
                    moves.push(Move::Set { target, position: place });
                }
                Reading::At(_) => {}
            }
        }
        moves
    }
}

/// What 14 bits say.
fn fine(value: u16) -> Reading {
    Reading::At(f64::from(value) / f64::from(FINE_MOST))
}
