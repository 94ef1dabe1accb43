//! A panel that is drawn, not built: what the panel of a map would send if a hand did this.

use super::{Coding, FINE_MOST, LSB_ABOVE, Map, Mode, Source};
use std::collections::HashMap;

/// What a hand does on a drawn panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Act {
    /// Turns a control of the map.
    Turn {
        /// Which of the map's controls, from 0.
        control: usize,
        /// Detents, down is negative; parts of them add up. One with ends moves by a 127th of its travel for each.
        by: f64,
    },
    /// Lays a hand on a control, or takes it off. Only a control that tells so says anything.
    Touch {
        /// Which of the map's controls, from 0.
        control: usize,
        /// Laid on, not taken off.
        down: bool,
    },
    /// Presses a button of the map, or lets go of it.
    Button {
        /// Which of the map's buttons, from 0.
        button: usize,
        /// Pressed, not let go.
        down: bool,
    },
    /// Chooses the bank at this place of the page in force, from 0.
    Bank(u8),
}

/// Where an absolute control stands before it was ever moved, of its travel.
const MIDDLE: f64 = 0.5;

/// Detents that one act may send: more than a hand turns at once.
const MOST_DETENTS: f64 = 127.0;

/// One drawn panel. What one source sends is one control under the hand, whatever banks and layers make of it.
#[derive(Clone, Debug, Default)]
pub struct Mimic {
    /// Where absolute controls stand, 0…1, and what relative ones were turned by without having sent a detent.
    stands: HashMap<(Source, u8), f64>,
    /// Buttons that send high and low by turns and sent high.
    high: Vec<(Source, u8)>,
}

impl Mimic {
    /// The messages of what a hand does, each with its status byte; none if nothing is to be told of it, or the map has
    /// no such control.
    pub fn messages(&mut self, map: &Map, act: Act) -> Vec<Vec<u8>> {
        match act {
            Act::Turn { control, by } if by.is_finite() => self.turn(map, control, by).unwrap_or_default(),
            Act::Turn { .. } => Vec::new(),
            Act::Touch { control, down } => {
                let note = map.controls.get(control).and_then(|c| Some((c.touch?, c.channel.unwrap_or(0))));
                let message =
                    note.map(|(note, channel)| vec![0x90 | channel, note, if down { 127 } else { 0 }]);
                message.into_iter().collect()
            }
            Act::Button { button, down } => self.press(map, button, down).into_iter().collect(),
            Act::Bank(at) => vec![vec![0xC0, at & 0x7F]],
        }
    }

    /// Where a control stands, 0…1 of its travel; `None` for one without ends.
    pub fn stands(&self, map: &Map, control: usize) -> Option<f64> {
        let c = map.controls.get(control).filter(|c| !c.coding.is_relative())?;
        Some(self.stands.get(&(c.source, c.channel.unwrap_or(0))).copied().unwrap_or(MIDDLE))
    }

    fn turn(&mut self, map: &Map, control: usize, by: f64) -> Option<Vec<Vec<u8>>> {
        let c = map.controls.get(control)?;
        let channel = c.channel.unwrap_or(0);
        let cc = |number: u8, value: u8| vec![0xB0 | channel, number, value];
        let key = (c.source, channel);
        if !c.coding.is_relative() {
            let stood = self.stands(map, control)?;
            let stand = (stood + by / 127.0).clamp(0.0, 1.0);
            self.stands.insert(key, stand);
            let most = if c.fine { f64::from(FINE_MOST) } else { 127.0 };
            let [value, before] = [stand, stood].map(|at| (at * most).round() as u16);
            let (upper, lower) = ((value >> 7) as u8, (value & 0x7F) as u8);
            let seven = value as u8 & 0x7F;
            return (value != before).then(|| match c.source {
                Source::Cc(number) if c.fine => vec![cc(number, upper), cc(number + LSB_ABOVE, lower)],
                Source::Bend => vec![vec![0xE0 | channel, lower, upper]],
                Source::Pressure => vec![vec![0xD0 | channel, seven]],
                Source::KeyPressure(number) => vec![vec![0xA0 | channel, number, seven]],
                Source::Cc(number) => vec![cc(number, seven)],
                Source::Registered(_) if c.fine => {
                    [chosen(c.source, channel), vec![cc(6, upper), cc(38, lower)]].concat()
                }
                Source::Registered(_) => [chosen(c.source, channel), vec![cc(6, seven)]].concat(),
                Source::Steps { .. } | Source::Note(_) => Vec::new(),
            });
        }
        let turned = self.stands.entry(key).or_insert(0.0);
        // Ten tenths, whose sum is a hair less than one, are one.
        *turned += by.clamp(-MOST_DETENTS, MOST_DETENTS);
        let detents = (*turned + 1e-6_f64.copysign(*turned)).trunc();
        *turned -= detents;
        let mut left = detents as i16;
        let mut all = Vec::new();
        while left != 0 {
            // One detent a message where a message has no number, and as many as its coding has room for otherwise.
            let room = match c.source {
                Source::Cc(_) => 63,
                Source::Registered(_) if c.coding != Coding::Increment => 63,
                _ => 1,
            };
            let part = left.clamp(-room, room);
            left -= part;
            let byte = match c.coding {
                Coding::TwosComplement => (part & 0x7F) as u8,
                Coding::BinaryOffset => (64 + part) as u8,
                Coding::SignMagnitude if part < 0 => (64 - part) as u8,
                Coding::SignMagnitude => part as u8,
                Coding::Increment | Coding::Absolute => 127,
            };
            let up = part > 0;
            match c.source {
                Source::Cc(number) => all.push(cc(number, byte)),
                Source::Steps { up: number, .. } if up => all.push(cc(number, 127)),
                Source::Steps { down: number, .. } => all.push(cc(number, 127)),
                Source::Registered(_) => {
                    all.extend(chosen(c.source, channel));
                    all.push(match c.coding {
                        Coding::Increment => cc(if up { 96 } else { 97 }, 0),
                        _ => cc(6, byte),
                    });
                }
                Source::Note(_) | Source::Bend | Source::Pressure | Source::KeyPressure(_) => break,
            }
        }
        Some(all)
    }

    fn press(&mut self, map: &Map, button: usize, down: bool) -> Option<Vec<u8>> {
        let b = map.buttons.get(button)?;
        let channel = b.channel.unwrap_or(0);
        let high = match b.mode {
            Mode::Momentary => down,
            Mode::Toggle if !down => return None,
            Mode::Toggle => {
                let key = (b.source, channel);
                let was = self.high.contains(&key);
                self.high.retain(|other| *other != key);
                self.high.extend((!was).then_some(key));
                !was
            }
        };
        let value = if high { 127 } else { 0 };
        match b.source {
            Source::Cc(number) => Some(vec![0xB0 | channel, number, value]),
            Source::Note(number) => Some(vec![0x90 | channel, number, value]),
            _ => None,
        }
    }
}

/// The messages that choose a registered parameter.
fn chosen(source: Source, channel: u8) -> Vec<Vec<u8>> {
    let Source::Registered(it) = source else { return Vec::new() };
    let upper = if it.registered { 101 } else { 99 };
    let halves = [(upper, (it.number >> 7) as u8), (upper - 1, (it.number & 0x7F) as u8)];
    halves.map(|(number, value)| vec![0xB0 | channel, number, value]).into()
}
