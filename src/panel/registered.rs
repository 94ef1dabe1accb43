//! Registered and non-registered parameters: controls that a panel names by a number of 14 bits before it says what
//! they do.
//!
//! MIDI 1.0: controllers 99 and 98 choose a non-registered parameter by the upper and lower half of its number, 101
//! and 100 a registered one; then 6 and 38 carry the halves of its value, 96 raises it by one and 97 lowers it, whatever
//! their own value. What was chosen stays so, on its channel, until something else is; registered parameter 16383
//! is none.

use super::Half;

/// A parameter's number and which kind it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Registered {
    /// Is it one that MIDI registers (RPN), not one of the maker's own (NRPN)?
    pub registered: bool,
    /// Its number, 0…16383.
    pub number: u16,
}

/// What is said of the parameter that was chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Datum {
    /// A half of its value.
    Half(Half, u8),
    /// One up, 1, or one down, −1.
    Step(i8),
}

/// Is this one of the controllers that registered parameters are spoken of with?
pub const fn is_registered(cc: u8) -> bool {
    matches!(cc, 6 | 38 | 96..=101)
}

#[derive(Clone, Copy, Debug, Default)]
struct Chosen {
    registered: bool,
    upper: Option<u8>,
    lower: Option<u8>,
}

/// Which parameters are chosen on the channels of a port.
#[derive(Clone, Debug, Default)]
pub struct Selection([Chosen; 16]);

impl Selection {
    /// Takes in a controller of those that [`is_registered`] names; gives what it says of the parameter that is chosen.
    /// Data for none says nothing.
    pub fn hear(&mut self, channel: u8, cc: u8, value: u8) -> Option<(Registered, Datum)> {
        let chosen = &mut self.0[usize::from(channel & 0x0F)];
        let datum = match cc {
            6 => Datum::Half(Half::Msb, value),
            38 => Datum::Half(Half::Lsb, value),
            96 => Datum::Step(1),
            97 => Datum::Step(-1),
            98..=101 => {
                let registered = cc >= 100;
                if chosen.registered != registered {
                    *chosen = Chosen { registered, ..Chosen::default() };
                }
                let half = if cc % 2 == 1 { &mut chosen.upper } else { &mut chosen.lower };
                *half = Some(value & 0x7F);
                return None;
            }
            _ => return None,
        };
        let number = u16::from(chosen.upper?) << 7 | u16::from(chosen.lower?);
        let null = chosen.registered && number == 0x3FFF;
        (!null).then_some((Registered { registered: chosen.registered, number }, datum))
    }
}
