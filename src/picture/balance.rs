//! Balance: a shot's own technical correction. Exposure acts on scene-linear light, offset on ACEScct.

use crate::colour::{POINT_ACESCCT, Real};
use crate::look::{Parameter, Scale, Unit};

const fn offset(key: &'static str, doc: &'static str) -> Parameter {
    Parameter {
        key,
        doc,
        unit: Unit::Points,
        default: 0.0,
        min: -60.0,
        max: 60.0,
        step: 0.25,
        scale: Scale::Even,
    }
}

/// The parameters of balance, in the order of [`BalanceField`].
pub static BALANCE: &[Parameter] = &[
    Parameter {
        key: "exposure",
        doc: "Light, in stops; + is brighter.",
        unit: Unit::Stops,
        default: 0.0,
        min: -8.0,
        max: 8.0,
        step: 0.05,
        scale: Scale::Even,
    },
    offset("offset-r", "Red, in printer points of ACEScct; + is more."),
    offset("offset-g", "Green, in printer points of ACEScct; + is more."),
    offset("offset-b", "Blue, in printer points of ACEScct; + is more."),
];

/// A parameter of balance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(usize)]
pub enum BalanceField {
    /// Exposure.
    Exposure,
    /// Offset of red.
    OffsetR,
    /// Offset of green.
    OffsetG,
    /// Offset of blue.
    OffsetB,
}

/// How many parameters balance has.
pub const FIELDS: usize = 4;

/// A shot's balance: a number for each of [`BALANCE`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// The numbers, in the declaration's order.
    pub values: [f64; FIELDS],
}

impl Default for Balance {
    fn default() -> Self {
        Self { values: std::array::from_fn(|i| BALANCE[i].default) }
    }
}

impl Balance {
    /// One of its numbers.
    pub fn get(&self, field: BalanceField) -> f64 {
        self.values[field as usize]
    }

    /// As a twin computes with it.
    pub fn prepared<T: Real>(&self) -> BalanceValues<T> {
        let point = |f| T::of(self.get(f) * POINT_ACESCCT);
        BalanceValues {
            gain: T::of(self.get(BalanceField::Exposure).exp2()),
            offset: [
                point(BalanceField::OffsetR),
                point(BalanceField::OffsetG),
                point(BalanceField::OffsetB),
            ],
        }
    }
}

/// Balance ready for the pixel loop. Twin: `shaders/picture/balance.wgsl`.
#[derive(Clone, Copy, Debug)]
pub struct BalanceValues<T> {
    /// Factor on scene-linear light.
    pub gain: T,
    /// Addition to ACEScct.
    pub offset: [T; 3],
}

impl<T: Real> BalanceValues<T> {
    /// The part on scene-linear light.
    pub fn linear(&self, rgb: [T; 3]) -> [T; 3] {
        rgb.map(|v| v * self.gain)
    }

    /// The part on ACEScct.
    pub fn acescct(&self, rgb: [T; 3]) -> [T; 3] {
        std::array::from_fn(|c| rgb[c] + self.offset[c])
    }
}
