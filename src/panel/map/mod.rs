//! Which control moves which parameter and what buttons do: maps, and reading them from TOML.
//!
//! A map does not know which parameters and actions there are: whoever reads it brings checkers.

mod read;
mod read_ball;
mod read_button;
mod read_control;
mod target;

use super::feedback_map::{Light, Told};
use super::{Coding, Datum, Half, LSB_ABOVE, Registered, Takeover};
use std::sync::Arc;

/// The maps that come with the program: file name and text.
pub const SHIPPED: &[(&str, &str)] = &[
    ("eight-encoders.toml", include_str!("../../../configs/panels/eight-encoders.toml")),
    ("eight-knobs-and-faders.toml", include_str!("../../../configs/panels/eight-knobs-and-faders.toml")),
    ("three-balls.toml", include_str!("../../../configs/panels/three-balls.toml")),
];

/// Other names that maps which come with the program are known by: the name, and the file.
pub const SHIPPED_ALIASES: &[(&str, &str)] = &[("eight-knobs", "eight-knobs-and-faders.toml")];

/// File name and text of a map that comes with the program, by its name: its file's, without the ending.
pub fn shipped(name: &str) -> Option<(&'static str, &'static str)> {
    let alias = SHIPPED_ALIASES.iter().find(|(alias, _)| *alias == name).map(|(_, file)| *file);
    SHIPPED.iter().copied().find(|(file, _)| Some(*file) == alias || file.strip_suffix(".toml") == Some(name))
}

/// A parameter that a control moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// Its address.
    pub address: Arc<str>,
    /// Its share of the control's turn. 1 for absolute controls.
    pub by: f64,
}

/// What a control or a button sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// A controller by its number, 0…119. As a button it is down from 64 (MIDI 1.0, for its switches).
    Cc(u8),
    /// Two controllers: one for up, one for down.
    Steps {
        /// Up.
        up: u8,
        /// Down.
        down: u8,
    },
    /// A note by its number, 0…127. With any velocity but 0 it is down.
    Note(u8),
    /// The pitch bender.
    Bend,
    /// Pressure on the whole channel.
    Pressure,
    /// Pressure on the key of a note, 0…127.
    KeyPressure(u8),
    /// A registered or non-registered parameter.
    Registered(Registered),
}

/// What a message says, as far as that can be told without a map.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Word {
    Cc(u8, u8),
    Note(u8, u8),
    Bend(u16),
    Pressure(u8),
    KeyPressure(u8, u8),
    Registered(Registered, Datum),
}

/// What a message says of one control.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Said {
    /// A byte that the control's coding reads.
    Byte(u8),
    /// Half of a value of 14 bits.
    Half(Half, u8),
    /// A value of 14 bits.
    Whole(u16),
    /// So many detents.
    Steps(i8),
}

/// One control and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Binding {
    /// Its name on the panel mirror: what the map calls it, else what it sends.
    pub label: Arc<str>,
    /// What it sends.
    pub source: Source,
    /// Has it 14 bits? Of a controller the lower seven are on the one [`LSB_ABOVE`] above. Only absolute ones may.
    pub fine: bool,
    /// Channel 0…15; `None` is any.
    pub channel: Option<u8>,
    /// What its data byte means.
    pub coding: Coding,
    /// How it takes over; only absolute controls look at it.
    pub takeover: Takeover,
    /// The parameters it moves, at least one.
    pub targets: Arc<[Target]>,
    /// The parameters that it moves besides while a button of [`Task::Gang`] is held.
    pub gang: Arc<[Target]>,
    /// Steps of the parameter for one detent; negative turns the other way. Only relative controls look at it.
    pub scale: f64,
    /// In place of that: what one detent adds, in the parameter's own unit.
    pub step: Option<f64>,
    /// What a fast turn may be multiplied by at most, see [`Pace`](super::Pace); 1 is never.
    pub acceleration: f64,
    /// Microseconds that a move is spread over; 0 is at once. Only absolute controls look at it.
    pub smooth: u64,
    /// The note that says a hand is on it, 0…127.
    pub touch: Option<u8>,
    /// The bank that it is in, from 0; `None` is in force in all.
    pub bank: Option<usize>,
    /// The layer that it is in, from 0; `None` is in force also while none is held.
    pub layer: Option<usize>,
    /// Which of the map's controls it is for undo: what one hand does with the axes of a ball is one gesture.
    pub hand: usize,
    /// What it is told back.
    pub feedback: Told,
}

impl Binding {
    /// What the message `word`, on `channel`, says of this control.
    pub(super) fn hears(&self, channel: u8, word: Word) -> Option<Said> {
        if self.channel.is_some_and(|c| c != channel) {
            return None;
        }
        match (self.source, word) {
            (Source::Cc(cc), Word::Cc(number, value)) if number == cc && self.fine => {
                Some(Said::Half(Half::Msb, value))
            }
            (Source::Cc(cc), Word::Cc(number, value)) if self.fine && number == cc + LSB_ABOVE => {
                Some(Said::Half(Half::Lsb, value))
            }
            (Source::Cc(cc), Word::Cc(number, value)) if number == cc => Some(Said::Byte(value)),
            (Source::Steps { up, .. }, Word::Cc(number, value)) if number == up => {
                Some(Said::Steps(i8::from(value != 0)))
            }
            (Source::Steps { down, .. }, Word::Cc(number, value)) if number == down => {
                Some(Said::Steps(-i8::from(value != 0)))
            }
            (Source::Bend, Word::Bend(value)) => Some(Said::Whole(value)),
            (Source::Pressure, Word::Pressure(value)) => Some(Said::Byte(value)),
            (Source::KeyPressure(key), Word::KeyPressure(number, value)) if number == key => {
                Some(Said::Byte(value))
            }
            (Source::Registered(mine), Word::Registered(parameter, datum)) if parameter == mine => {
                match datum {
                    Datum::Step(by) => Some(Said::Steps(by)),
                    Datum::Half(half, byte) if self.fine => Some(Said::Half(half, byte)),
                    Datum::Half(Half::Msb, byte) if self.coding != Coding::Increment => {
                        Some(Said::Byte(byte))
                    }
                    Datum::Half(..) => None,
                }
            }
            _ => None,
        }
    }

    /// What it sends, message by message.
    pub fn sources(&self) -> Vec<Source> {
        match self.source {
            Source::Cc(cc) if self.fine => vec![Source::Cc(cc), Source::Cc(cc + LSB_ABOVE)],
            Source::Steps { up, down } => vec![Source::Cc(up), Source::Cc(down)],
            other => vec![other],
        }
    }

    /// Its controller number; of a fine control that of its upper half, of one with two messages the one for up;
    /// `None` where it sends no controller of its own.
    pub const fn cc(&self) -> Option<u8> {
        match self.source {
            Source::Cc(cc) | Source::Steps { up: cc, .. } => Some(cc),
            _ => None,
        }
    }
}

/// How a button tells that it was pressed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// High when it goes down, low when it comes up.
    #[default]
    Momentary,
    /// High and low by turns, once for each press.
    Toggle,
}

/// What a button does.
#[derive(Clone, Debug, PartialEq)]
pub enum Task {
    /// Something that the map's reader knows, by its name.
    Action(Arc<str>),
    /// While held: controls move a tenth.
    Fine,
    /// Controls move a tenth, or again all: by turns.
    FineLatch,
    /// While held: controls move their gangs too.
    Gang,
    /// So many banks on in the page.
    BankStep(i8),
    /// To a bank, from 0.
    Bank(usize),
    /// To a page, from 0.
    Page(usize),
    /// While held: a layer's controls and buttons are in force.
    Layer(usize),
    /// Nothing but its double press.
    None,
}

/// What buttons do to the panel itself: names that a map's `action` may have besides those that its reader knows, and
/// what they do.
pub const PANEL_ACTIONS: &[(&str, &str)] = &[
    ("fine", "while held: controls move a tenth of what they do else"),
    ("fine-latch", "controls move a tenth of what they do else, or all of it again"),
    ("gang", "while held: a control that is turned moves its whole gang"),
    ("bank-next", "the bank after"),
    ("bank-previous", "the bank before"),
];

/// One button and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Button {
    /// Its name: what the map calls it, else what it sends.
    pub label: Arc<str>,
    /// What it sends: a controller or a note.
    pub source: Source,
    /// Channel 0…15; `None` is any.
    pub channel: Option<u8>,
    /// How it tells that it was pressed.
    pub mode: Mode,
    /// What it does.
    pub task: Task,
    /// What it does as a map says it: an action's name, "bank NAME", "page NAME", "layer NAME", "reset WHAT".
    pub action: Arc<str>,
    /// What two presses in quick succession put at its default.
    pub resets: Option<Resets>,
    /// The bank that it is in, from 0; `None` is in force in all.
    pub bank: Option<usize>,
    /// The layer that it is in, from 0; `None` is in force also while none is held.
    pub layer: Option<usize>,
    /// What its light is told.
    pub light: Light,
}

/// What a double press puts at its default.
#[derive(Clone, Debug, PartialEq)]
pub enum Resets {
    /// The parameter at an address.
    Address(Arc<str>),
    /// What these controls move, from 0: those of them that are in force.
    Controls(Vec<usize>),
}

impl Button {
    /// Is the message `word`, on `channel`, this one's, and with what value?
    pub(super) fn hears(&self, channel: u8, word: Word) -> Option<u8> {
        let value = match (self.source, word) {
            (Source::Cc(mine), Word::Cc(number, value)) if number == mine => value,
            (Source::Note(mine), Word::Note(number, value)) if number == mine => value,
            _ => return None,
        };
        self.channel.is_none_or(|c| c == channel).then_some(value)
    }

    /// Does the data byte `value` say that it is down?
    pub fn is_down(&self, value: u8) -> bool {
        match self.source {
            Source::Note(_) => value > 0,
            _ => value >= 64,
        }
    }
}

/// A set of controls and buttons of which one is in force at a time.
#[derive(Clone, Debug, PartialEq)]
pub struct Bank {
    /// Its name.
    pub name: Arc<str>,
}

/// The banks of one situation.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// Its name.
    pub name: Arc<str>,
    /// Its banks in their order, from 0, at least one.
    pub banks: Arc<[usize]>,
}

/// A map: for which panels it is, and what their controls do.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// The map's own name.
    pub name: String,
    /// Part of the names of the ports it is for, case ignored; empty is any port.
    pub port: String,
    /// Part of the names of the ports that answers go to, case ignored; `None` finds the one beside each port by its
    /// name.
    pub output: Option<String>,
    /// Its controls, those of balls among them: those that are always in force, then those of each bank. No two that
    /// can be in force at a time in one layer mean the same message, these and buttons together.
    pub controls: Vec<Binding>,
    /// Its buttons, in the same order.
    pub buttons: Vec<Button>,
    /// Its banks; the first is in force at first.
    pub banks: Vec<Bank>,
    /// Its pages; none is one of all banks.
    pub pages: Vec<Page>,
    /// The names of its layers.
    pub layers: Vec<Arc<str>>,
}

impl Map {
    /// Is the port called `port_name` one of those this map is for?
    pub fn is_for(&self, port_name: &str) -> bool {
        matches(&self.port, port_name)
    }

    /// Has it registered parameters, so that the controllers they are spoken of with mean nothing else?
    pub fn has_registered(&self) -> bool {
        self.controls.iter().any(|c| matches!(c.source, Source::Registered(_)))
    }
}

/// Is `pattern` a part of `port_name`, case ignored? An empty pattern is a part of every name.
pub fn matches(pattern: &str, port_name: &str) -> bool {
    port_name.to_lowercase().contains(&pattern.to_lowercase())
}
