//! Control events to moves of parameters: a map with the state of its takeovers.

use super::{Coding, Event, Map, Reading, takeover::Pickup};
use std::sync::Arc;

/// What a control asks of a parameter.
#[derive(Clone, Debug, PartialEq)]
pub enum Move {
    /// Move by so many of the parameter's own steps.
    Turn {
        /// The parameter's address.
        target: Arc<str>,
        /// Steps of the parameter, down is negative; the map's scale is in it, so it may be fractional.
        detents: f64,
    },
    /// Go to a place in the parameter's range.
    Set {
        /// The parameter's address.
        target: Arc<str>,
        /// 0…1 of the range.
        position: f64,
    },
}

/// What a control is and does at this moment, for the panel mirror.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlState {
    /// Its name on the panel mirror.
    pub label: Arc<str>,
    /// Addresses of the parameters it moves.
    pub targets: Arc<[Arc<str>]>,
    /// What its data byte means.
    pub coding: Coding,
    /// Would a turn act on every target at once? False for an absolute control that has yet to be brought
    /// to where a parameter stands.
    pub picked_up: bool,
    /// The last data byte it sent, 0…127; `None` if it has not been touched since the map was set.
    pub last: Option<u8>,
}

/// What is remembered of one control.
#[derive(Clone, Debug)]
struct Memory {
    last: Option<u8>,
    /// One for each target: parameters that stand apart are picked up one by one.
    pickups: Vec<Pickup>,
}

/// One panel at work. One surface serves one port, because takeover remembers where that panel's own
/// controls stand.
#[derive(Clone, Debug)]
pub struct Surface {
    map: Arc<Map>,
    memory: Vec<Memory>,
}

impl Surface {
    /// A panel of which nothing has been heard yet.
    pub fn new(map: Arc<Map>) -> Self {
        let memory = map
            .controls
            .iter()
            .map(|c| Memory { last: None, pickups: vec![Pickup::default(); c.targets.len()] })
            .collect();
        Self { map, memory }
    }

    /// The map it works by.
    pub fn map(&self) -> &Arc<Map> {
        &self.map
    }

    /// What `event` asks for; nothing if the map does not know the control, it did not move, or takeover
    /// holds it back. `position` says where a parameter stands in its range, 0…1, and `None` for one
    /// that is not there now: such a target is passed over.
    ///
    /// Carry the moves out before feeding the next event: takeover compares where it set a parameter with
    /// where the parameter is, and takes a difference for somebody else's doing.
    pub fn feed(&mut self, event: &Event, position: &dyn Fn(&str) -> Option<f64>) -> Vec<Move> {
        let Some(index) = self.map.controls.iter().position(|c| c.is(event.control)) else {
            return Vec::new();
        };
        let binding = &self.map.controls[index];
        let memory = &mut self.memory[index];
        memory.last = Some(event.value);
        let Some(reading) = binding.coding.read(event.value) else {
            return Vec::new();
        };
        let mut moves = Vec::new();
        for (target, pickup) in binding.targets.iter().zip(&mut memory.pickups) {
            let Some(now) = position(target) else {
                pickup.reset();
                continue;
            };
            let target = target.clone();
            match reading {
                Reading::Turned(detents) => {
                    moves.push(Move::Turn { target, detents: detents * binding.scale })
                }
                Reading::At(place) if pickup.moved(binding.takeover, place, now) => {
                    moves.push(Move::Set { target, position: place });
                }
                Reading::At(_) => {}
            }
        }
        moves
    }

    /// Lets go of every parameter that was moved by something else or is gone, so that
    /// [`describe`](Self::describe) does not claim it until the control's next event. `position` is as for
    /// [`feed`](Self::feed).
    pub fn refresh(&mut self, position: &dyn Fn(&str) -> Option<f64>) {
        for (binding, memory) in self.map.controls.iter().zip(&mut self.memory) {
            for (target, pickup) in binding.targets.iter().zip(&mut memory.pickups) {
                match position(target) {
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
        let state = |(binding, memory): (&super::Binding, &Memory)| ControlState {
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
}
