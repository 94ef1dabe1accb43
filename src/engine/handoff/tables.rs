//! A path as a `.cube` table.

use rayon::prelude::*;

use super::HandoffError;
use super::measure::Path;
use crate::colour::{Curve, Encoding, Interpolation, Lut1, Lut3, Shaped, acescct_decode, acescct_encode};
use crate::interchange::cube::Cube;

/// Where codes lie.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Codes {
    /// 0…1 is the whole signal.
    #[default]
    Full,
    /// 0…1 of the signal lies at the codes 64 to 940 of ten bits (BT.709, BT.2100).
    Legal,
}

impl Codes {
    /// The two, as commands name them.
    pub const ALL: [(Self, &str); 2] = [(Self::Full, "full"), (Self::Legal, "legal")];

    /// A signal's place among the codes, 0…1 of them.
    pub fn place(self, signal: f64) -> f64 {
        match self {
            Self::Full => signal,
            Self::Legal => (64.0 + 876.0 * signal) / 1023.0,
        }
    }

    /// The signal at a place.
    pub fn signal(self, place: f64) -> f64 {
        match self {
            Self::Full => place,
            Self::Legal => (1023.0 * place - 64.0) / 876.0,
        }
    }
}

/// What a table reads and gives.
#[derive(Clone, Copy, Debug)]
pub struct Ends {
    /// The encoding that comes in.
    pub from: &'static Encoding,
    /// Where its codes lie.
    pub input: Codes,
    /// Where the codes that go out lie.
    pub output: Codes,
}

/// Entries of the curve ahead of a cube that reads light.
const CURVE: usize = 65536;

/// A path as a cube of `size` entries along an axis, on codes 0…1. Light, which has no place in 0…1, goes through a curve
/// first, from 0 to `peak`: no published specification has both in one file, common practice does.
///
/// # Errors
/// A size that no cube has.
pub fn cube(path: &Path, ends: Ends, size: usize, peak: f64, title: String) -> Result<Cube, HandoffError> {
    let light = ends.from.curve == Curve::Linear;
    let step = 1.0 / (size.max(2) - 1) as f64;
    let entry = |i: usize| {
        let place = [i % size, i / size % size, i / size / size].map(|n| n as f64 * step);
        let signal = place.map(|p| if light { acescct_decode(p) } else { ends.input.signal(p) });
        path.pixel(signal).map(|v| ends.output.place(v) as f32)
    };
    let values = (0..size.pow(3)).into_par_iter().map(entry).collect();
    let cube = Lut3::new(size, values, [0.0; 3], [1.0; 3], Interpolation::Tetrahedral);
    let shaper = light.then(|| {
        let at = |i: usize| [acescct_encode(peak * i as f64 / (CURVE - 1) as f64) as f32; 3];
        Lut1::even((0..CURVE).map(at).collect(), [0.0; 3], [peak; 3])
    });
    match (cube, shaper) {
        (None, _) | (_, Some(None)) => Err(HandoffError::Size(size)),
        (cube, shaper) => Ok(Cube { title, lut: Shaped { shaper: shaper.flatten(), cube } }),
    }
}
