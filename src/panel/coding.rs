//! What a control's data byte means: the second layer.

use serde::Deserialize;

/// How a control writes its movement into a data byte of 0…127.
///
/// The relative codings are common practice of controllers, not part of MIDI 1.0. They cannot be told
/// apart by one message, so a map says which it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Coding {
    /// Relative: 1…63 are up, 127 is one down, 126 two down, 64 is 64 down; 0 is no move.
    TwosComplement,
    /// Relative: 65 is one up, 63 one down; 64 is no move.
    BinaryOffset,
    /// Relative: 1…63 are up, 65 is one down, 66 two down; 0 and 64 are no move.
    SignMagnitude,
    /// Relative: a message of its own for one up and another for one down, whatever their values, but 0 is no move.
    Increment,
    /// The control's own position, 0 at one end and 127 at the other.
    Absolute,
}

/// What a data byte says: the common form of events, which finer controls fit as well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// Turned by so many detents, down is negative.
    Turned(f64),
    /// Standing at this part of its travel, 0…1.
    At(f64),
}

impl Coding {
    /// As maps spell it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TwosComplement => "twos-complement",
            Self::BinaryOffset => "binary-offset",
            Self::SignMagnitude => "sign-magnitude",
            Self::Increment => "increment",
            Self::Absolute => "absolute",
        }
    }

    /// Does it tell movements and not positions?
    pub const fn is_relative(self) -> bool {
        !matches!(self, Self::Absolute)
    }

    /// What `value` says; its eighth bit is not looked at. `None` where it says "no move". Of
    /// [`Increment`](Self::Increment) it is the message for up.
    pub fn read(self, value: u8) -> Option<Reading> {
        let value = i16::from(value & 0x7F);
        let detents = match self {
            Self::TwosComplement if value >= 64 => value - 128,
            Self::TwosComplement => value,
            Self::BinaryOffset => value - 64,
            Self::SignMagnitude if value >= 64 => 64 - value,
            Self::SignMagnitude => value,
            Self::Increment => i16::from(value != 0),
            Self::Absolute => return Some(Reading::At(f64::from(value) / 127.0)),
        };
        (detents != 0).then(|| Reading::Turned(f64::from(detents)))
    }
}
