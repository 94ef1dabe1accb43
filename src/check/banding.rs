//! M5: do smooth ramps stay smooth?

use std::sync::LazyLock;

use rayon::prelude::*;

use super::report::{Declared, Found};
use super::{BLACK, CODE, Rendering, Transform, spread, stops};
use crate::colour::{STOP_ACESCCT, delta_e_itp};

const SOURCE: &str = "ΔE_ITP: ITU-R BT.2124, 1 being just visible where it shows most";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "step",
        measure: "M5",
        name: "Largest step of a smooth ramp",
        unit: "ΔE ITP",
        digits: 2,
        definition: "the largest ΔE_ITP through G of one 10-bit ACEScct code, on seven ramps from black to 8 stops over grey: neutral, and red, yellow, green, cyan, blue, magenta with the other channels 2 stops under",
        source: SOURCE,
    },
    Declared {
        key: "step-ratio",
        measure: "M5",
        name: "The same over that without the look",
        unit: "×",
        digits: 2,
        definition: "that step over the largest one of T alone",
        source: SOURCE,
    },
    Declared {
        key: "slope-jump",
        measure: "M5",
        name: "Sharpest bend of the tone curve",
        unit: "",
        digits: 3,
        definition: "the largest difference of slopes between neighbouring cells of a 25-knot neutral ramp from black to 8 stops over grey, in ACEScct",
        source: "practice",
    },
    Declared {
        key: "bend",
        measure: "M5",
        name: "Largest second difference",
        unit: "10-bit codes",
        digits: 2,
        definition: "of the display signal of the neutral ramp, by steps of one 10-bit ACEScct code",
        source: "practice",
    },
];

/// The ramps: what they are called, and which channels are on.
const RAMPS: [(&str, [bool; 3]); 7] = [
    ("neutral", [true, true, true]),
    ("red", [true, false, false]),
    ("yellow", [true, true, false]),
    ("green", [false, true, false]),
    ("cyan", [false, true, true]),
    ("blue", [false, false, true]),
    ("magenta", [true, false, true]),
];

/// A colour of a ramp: the channels that are on at `x`, the others two stops under.
fn on_ramp(on: [bool; 3], x: f64) -> [f64; 3] {
    on.map(|on| if on { x } else { x - 2.0 * STOP_ACESCCT })
}

fn codes() -> usize {
    ((stops(8.0) - BLACK) / CODE) as usize
}

/// The largest step on any ramp, each `every`th code, with where it is: ramp and code.
fn steps(f: &(dyn Fn([f64; 3]) -> [f64; 3] + Sync), t: &Rendering, every: usize) -> (f64, usize, f64) {
    let places: Vec<(usize, f64)> = (0..RAMPS.len())
        .flat_map(|ramp| (0..codes()).step_by(every).map(move |i| (ramp, BLACK + i as f64 * CODE)))
        .collect();
    let step = |&(ramp, x): &(usize, f64)| {
        let [a, b] = [x, x + CODE].map(|x| t.see(f(on_ramp(RAMPS[ramp].1, x))).ictcp);
        (delta_e_itp(a, b), ramp, x)
    };
    let most = |a: (f64, usize, f64), b: (f64, usize, f64)| if b.0 > a.0 { b } else { a };
    places.par_iter().map(step).reduce(|| (0.0, 0, 0.0), most)
}

/// `every` is 1, or more for a coarse look at each `every`th code.
pub(super) fn measure(f: &Transform, t: &Rendering, every: usize) -> Vec<Found> {
    static BARE: LazyLock<[f64; 2]> =
        LazyLock::new(|| [1, COARSE].map(|every| steps(&|x| x, Rendering::fixed(), every).0));
    let bare = BARE[usize::from(every != 1)];
    let (step, ramp, at) = steps(&**f, t, every);
    let knots: Vec<[f64; 3]> = spread(BLACK, stops(8.0), 25).map(|x| f([x; 3])).collect();
    let cell = (stops(8.0) - BLACK) / 24.0;
    let jump = knots
        .windows(3)
        .flat_map(|k| (0..3).map(move |c| ((k[2][c] - 2.0 * k[1][c] + k[0][c]) / cell).abs()))
        .fold(0.0, f64::max);
    let over_grey = (at - stops(0.0)) / STOP_ACESCCT;
    let mut found = vec![
        Found::new("step", step).noted(format!("{} ramp at {over_grey:+.1} stops in ACEScct", RAMPS[ramp].0)),
        Found::new("step-ratio", step / bare),
        Found::new("slope-jump", jump),
    ];
    if every == 1 {
        let signal: Vec<[f64; 3]> =
            (0..=codes()).map(|i| t.signal(f([BLACK + i as f64 * CODE; 3]))).collect();
        let bend = signal
            .windows(3)
            .flat_map(|s| (0..3).map(move |c| (s[2][c] - 2.0 * s[1][c] + s[0][c]).abs() / CODE))
            .fold(0.0, f64::max);
        found.push(Found::new("bend", bend));
    }
    found
}

/// Codes from one step that a coarse look takes to the next.
pub(super) const COARSE: usize = 9;

/// A ramp as the display shows it.
#[derive(Clone, Debug)]
pub struct Ramp {
    /// Its colour.
    pub name: &'static str,
    /// Linear light without the look, peak 1, from black to 8 stops over grey.
    pub before: Vec<[f64; 3]>,
    /// The same with it.
    pub after: Vec<[f64; 3]>,
}

/// Every ramp, in as many places as there are 10-bit codes.
pub(super) fn ramps(f: &Transform, t: &Rendering) -> Vec<Ramp> {
    RAMPS
        .par_iter()
        .map(|(name, on)| {
            let places = || (0..codes()).map(|i| on_ramp(*on, BLACK + i as f64 * CODE));
            let before = places().map(|x| t.see(x).light).collect();
            Ramp { name, before, after: places().map(|x| t.see(f(x)).light).collect() }
        })
        .collect()
}
