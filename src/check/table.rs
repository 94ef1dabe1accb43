//! M10: does a 3D LUT hold the look?

use rayon::prelude::*;

use super::lattice::Lattice;
use super::report::{Declared, Found};
use super::{BLACK, CODE, Rendering, Transform, stops};
use crate::colour::{Interpolation, Lut3};

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "lut-error",
        measure: "M10",
        name: "A LUT of 33³ is off by",
        unit: "10-bit codes",
        digits: 2,
        definition: "display signal of F against that of its 33³ LUT on ACEScct 0…1, read in tetrahedra: 8000 seeded colours about the grey axis (black to 6 stops over grey, each channel off by up to ±1.75 stops), the channel that is off most, 99 % are off by no more",
        source: "practice",
    },
    Declared {
        key: "lut-error-65",
        measure: "M10",
        name: "A LUT of 65³ is off by",
        unit: "10-bit codes",
        digits: 2,
        definition: "the same with 65³ entries, measured where 33³ are too few",
        source: "practice",
    },
];

/// Colours about the grey axis, from a fixed seed: SplitMix64 (Steele, Lea and Flood 2014; constants from memory).
fn colours() -> Vec<[f64; 3]> {
    let mut state = 33u64;
    let mut random = move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) as f64 / 2f64.powi(64)
    };
    (0..8000)
        .map(|_| {
            let grey = BLACK + (stops(6.0) - BLACK) * random();
            std::array::from_fn(|_| grey + 0.1 * (2.0 * random() - 1.0))
        })
        .collect()
}

fn error(f: &Transform, t: &Rendering, lattice: &Lattice) -> f64 {
    let lut = Lut3::new(lattice.size, lattice.values.clone(), [0.0; 3], [1.0; 3], Interpolation::Tetrahedral);
    let Some(lut) = lut else { return f64::INFINITY };
    let mut off: Vec<f64> = colours()
        .par_iter()
        .map(|x| {
            let (a, b) = (t.signal(f(*x)), t.signal(lut.apply(*x)));
            (0..3).map(|c| (a[c] - b[c]).abs() / CODE).fold(0.0, f64::max)
        })
        .collect();
    let at = (off.len() as f64 * 0.99) as usize;
    *off.select_nth_unstable_by(at, f64::total_cmp).1
}

/// `enough` says of an error whether a finer lattice need not be tried.
pub(super) fn measure(
    f: &Transform,
    t: &Rendering,
    lattice: &Lattice,
    enough: impl Fn(f64) -> bool,
) -> Vec<Found> {
    let first = error(f, t, lattice);
    let mut found = vec![Found::new("lut-error", first)];
    if !enough(first) {
        found.push(Found::new("lut-error-65", error(f, t, &Lattice::of(f, 65))));
    }
    found
}
