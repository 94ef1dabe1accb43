//! Trim: what one output's version of the picture differs in, in scene-linear light ahead of its output transform.
//!
//! 1. exposure;
//! 2. saturation, about the colour's luminance;
//! 3. roll-off: light over [`ROLL_OFF_FROM`] bends towards an end, by its largest channel, so that the ratios of the
//!    channels, hue among them, stay.
//!
//! Roll-off leaves middle grey and all below its start, keeps light in order and has no kink: with u = light over
//! its start, u becomes 1 + (u − 1) / (1 + k (u − 1)), whose slope begins at 1 and is always above 0. Every
//! parameter at its default leaves the very bits.

use super::parameters::parameters;
use crate::colour::{AP1, GREY, Real};

parameters! {
    /// The parameters of an output's trim, in the order of [`TrimField`].
    TRIM,
    /// A parameter of an output's trim.
    TrimField;

    /// Light on this output, in stops; + is brighter.
    Exposure "exposure": Stops = 0.0 in -4.0..4.0 step 0.05 Even;
    /// Distance of colours from a grey of their luminance, on this output; 0 is monochrome, 1 leaves it.
    Saturation "saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
    /// How much highlights bend on this output, from a stop over middle grey on: 0 not at all, at 1 no light comes out
    /// above four stops over grey.
    RollOff "roll-off": Ratio = 0.0 in 0.0..1.0 step 0.01 Even;
}

/// Scene light at which roll-off begins: a stop over middle grey.
pub const ROLL_OFF_FROM: f64 = 2.0 * GREY;

/// Light over its start that roll-off tends to where it acts in full: three stops.
const ROLL_OFF_END: f64 = 8.0;

/// An output's trim: a number for each of [`TRIM`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trim {
    /// The numbers, in the declaration's order.
    pub values: [f64; TrimField::COUNT],
}

impl Default for Trim {
    fn default() -> Self {
        Self { values: std::array::from_fn(|i| TRIM[i].default) }
    }
}

impl Trim {
    /// One of its numbers.
    pub fn get(&self, field: TrimField) -> f64 {
        self.values[field as usize]
    }

    /// The same with another number; not held to its range.
    pub fn with(mut self, field: TrimField, value: f64) -> Self {
        self.values[field as usize] = value;
        self
    }

    /// As a twin computes with it.
    pub fn prepared<T: Real>(&self) -> TrimValues<T> {
        let bend = self.get(TrimField::RollOff) / (ROLL_OFF_END - 1.0) / ROLL_OFF_FROM;
        TrimValues {
            gain: T::of(self.get(TrimField::Exposure).exp2()),
            saturation: T::of(self.get(TrimField::Saturation)),
            bend: T::of(bend),
            start: T::of(ROLL_OFF_FROM),
            luminance: AP1.to_xyz().0[1].map(T::of),
        }
    }
}

/// Trim ready for the pixel loop. Twin: `shaders/picture/trim.wgsl`.
#[derive(Clone, Copy, Debug)]
pub struct TrimValues<T> {
    /// Factor on light.
    pub gain: T,
    /// Factor on the distance from grey.
    pub saturation: T,
    /// Roll-off's k over its start; 0 where there is none.
    pub bend: T,
    /// Light at which roll-off begins.
    pub start: T,
    /// Luminance of ACEScg's primaries.
    pub luminance: [T; 3],
}

impl<T: Real> TrimValues<T> {
    /// ACEScg light to ACEScg light. Twin: `trim`.
    pub fn apply(&self, rgb: [T; 3]) -> [T; 3] {
        let (zero, one) = (T::of(0.0), T::of(1.0));
        let mut v = rgb.map(|x| x * self.gain);
        if self.saturation != one {
            let [r, g, b] = self.luminance;
            let y = r * v[0] + g * v[1] + b * v[2];
            v = v.map(|x| y + (x - y) * self.saturation);
        }
        let most = v[0].at_least(v[1]).at_least(v[2]);
        if self.bend == zero || most <= self.start {
            return v;
        }
        let over = most - self.start;
        let scale = (self.start + over / (one + self.bend * over)) / most;
        v.map(|x| x * scale)
    }
}
