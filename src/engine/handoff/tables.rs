//! A path as a `.cube` table.

use super::HandoffError;
use super::measure::Path;
use super::shaping::{Shaping, entries};
use crate::colour::{Encoding, Interpolation, Lut1, Lut3, Shaped, acescct_decode, acescct_encode};
use crate::interchange::cube::Cube;
use crate::picture::Tail;

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

/// What stands ahead of a cube.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ahead {
    /// Nothing: its entries are spread evenly over codes 0…1.
    Nothing,
    /// A curve that brings entries closer where the path bends more.
    Curve,
    /// A curve from light to ACEScct, up to so much light.
    Light(f64),
}

/// A path as a cube of `size` entries along an axis, on codes 0…1. Curves are in the same file, which no published
/// specification has and common practice does.
///
/// # Errors
/// A size that no cube has.
pub fn cube(path: &Path, ends: Ends, size: usize, ahead: Ahead, title: String) -> Result<Cube, HandoffError> {
    let display = matches!(path.recipe.tail, Tail::Display { .. });
    let shaping = (ahead == Ahead::Curve).then(|| {
        // The curve bends on codes, as the cube does.
        Shaping::of(path, ends.input.signal(0.0), ends.input.signal(1.0))
    });
    let at = |place: [f64; 3]| match (&ahead, &shaping) {
        (Ahead::Light(_), _) => place.map(acescct_decode),
        (_, Some(shaping)) => place.map(|p| ends.input.signal(shaping.undone(p))),
        _ => place.map(|p| ends.input.signal(p)),
    };
    // Moved entries are held to the signal, then placed.
    let values = entries(size, display, |place| path.pixel(at(place)));
    let values = values.into_iter().map(|v| v.map(|x| ends.output.place(x.into()) as f32)).collect();
    let cube = Lut3::new(size, values, [0.0; 3], [1.0; 3], Interpolation::Tetrahedral);
    let shaper = match (ahead, shaping) {
        (Ahead::Light(peak), _) => {
            let at = |i: usize| [acescct_encode(peak * i as f64 / (CURVE - 1) as f64) as f32; 3];
            Some(Lut1::even((0..CURVE).map(at).collect(), [0.0; 3], [peak; 3]))
        }
        (_, Some(shaping)) => {
            let values = shaping.values().iter().map(|v| [*v; 3]).collect();
            Some(Lut1::even(values, [0.0; 3], [1.0; 3]))
        }
        _ => None,
    };
    match (cube, shaper) {
        (None, _) | (_, Some(None)) => Err(HandoffError::Size(size)),
        (cube, shaper) => {
            let shaper = shaper.flatten();
            // Readers of files with both know no title.
            let title = if shaper.is_some() { String::new() } else { title };
            Ok(Cube { title, lut: Shaped { shaper, cube } })
        }
    }
}
