//! A production's own look-up table in the output transform's place: from log to a display's signal.
//!
//! On the display that it is made for its signal passes as it is. On another display with the same peak or a higher
//! one the signal is decoded, brought to that display's primaries (white to white by Bradford), clipped to the gamut
//! that it keeps within, and encoded: the same light, in cd/m², as far as the display has it. A display whose peak is
//! lower is refused: what lies above it would be cut off, and no table says how to render it instead. `white` of either
//! display does nothing here, since the table's picture has a white of its own.

use std::sync::Arc;

use crate::colour::{
    Adaptation, Curve, CurveValues, Display, Encoding, Matrix, Real, Shaped, White, apply, conversion,
};
use crate::look::NamedLut;

/// A table, what it reads and what it gives. Equal when the encodings' ids and all else are.
#[derive(Clone, Debug)]
pub struct ShowLut {
    /// The table and its file.
    pub lut: NamedLut,
    /// What it reads.
    pub expects: &'static Encoding,
    /// Whose signal it gives.
    pub gives: Arc<Display>,
}

impl PartialEq for ShowLut {
    fn eq(&self, other: &Self) -> bool {
        let Self { lut, expects, gives } = self;
        *lut == other.lut && expects.id == other.expects.id && *gives == other.gives
    }
}

impl ShowLut {
    /// Can its picture be shown on a display? See above.
    pub fn fits(&self, display: &Display) -> bool {
        display.peak >= self.gives.peak
    }

    /// ACEScg to the linear light of what it reads.
    pub fn to_expected(&self) -> Matrix {
        self.expects.from_acescg()
    }

    /// From the gamut that a display keeps within to its primaries, if those are others.
    pub fn widening(display: &Display) -> Option<Matrix> {
        Display { white: White::Own, ..display.clone() }.widening()
    }

    /// As a twin computes with it, for an output with a display.
    pub fn prepared<T: Real>(&self, display: &Display) -> ShowLutValues<T> {
        let share = Matrix::diagonal([self.gives.peak / display.peak; 3]);
        let matrix = conversion(&self.gives.primaries, &display.limit, Adaptation::Bradford).after(&share);
        let passes = self.gives.same_signal(display);
        ShowLutValues {
            to_expected: self.to_expected().rows(),
            expects: self.expects.curve.values(),
            passes,
            // Not read where it passes; then nothing is left to divide by in a twin that looks all the same.
            gives: if passes { Curve::Linear.values() } else { self.gives.curve.values() },
            matrix: matrix.rows(),
            widening: Self::widening(display).map(|m| m.rows()),
            encode: display.curve.values(),
        }
    }
}

/// What stands around a table, ready for the pixel loop. Twin: `shaders/picture/show_lut.wgsl`.
#[derive(Clone, Copy, Debug)]
pub struct ShowLutValues<T> {
    /// ACEScg to the linear light of what the table reads.
    pub to_expected: [T; 9],
    /// That light to its signal.
    pub expects: CurveValues<T>,
    /// Is what the table gives the output's signal?
    pub passes: bool,
    /// The signal that it gives to light.
    pub gives: CurveValues<T>,
    /// That light to the gamut of the output's display, peak 1.
    pub matrix: [T; 9],
    /// From there to its primaries.
    pub widening: Option<[T; 9]>,
    /// Its light to its signal.
    pub encode: CurveValues<T>,
}

impl<T: Real> ShowLutValues<T> {
    /// ACEScg light to the signal of the output's display. Twin: `show_lut`.
    pub fn apply(&self, table: &Shaped<T>, acescg: [T; 3]) -> [T; 3] {
        let held = |v: [T; 3]| v.map(|x| x.at_least(T::of(0.0)).at_most(T::of(1.0)));
        let log = apply(&self.to_expected, acescg).map(|x| self.expects.encode(x));
        let signal = held(table.apply(log));
        if self.passes {
            return signal;
        }
        let mut light = held(apply(&self.matrix, self.gives.decode_light(signal)));
        if let Some(widening) = &self.widening {
            light = held(apply(widening, light));
        }
        self.encode.encode_light(light)
    }
}
