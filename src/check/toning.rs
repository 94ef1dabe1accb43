//! M2: what colour neutrals take.

use super::report::{Declared, Found};
use super::{BLACK, Rendering, Transform, spread, stops};
use crate::colour::{GREY_ACESCCT, STOP_ACESCCT, delta_e_itp};

const SOURCE: &str = "ΔE_ITP: ITU-R BT.2124";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "toning-grey",
        measure: "M2",
        name: "Tint of middle grey",
        unit: "ΔE ITP",
        digits: 2,
        definition: "ΔE_ITP between G(grey) and the neutral of equal luminance",
        source: SOURCE,
    },
    Declared {
        key: "toning-most",
        measure: "M2",
        name: "Strongest tint of a neutral",
        unit: "ΔE ITP",
        digits: 2,
        definition: "the largest ΔE_ITP between G(t, t, t) and the neutral of equal luminance, t from black to 8 stops over grey",
        source: SOURCE,
    },
];

/// `steps` places from black to 8 stops over grey; each with its stops over grey and its tint.
pub(super) fn measure(f: &Transform, t: &Rendering, steps: usize) -> (Vec<Found>, Vec<[f64; 2]>) {
    let tint = |x: f64| {
        let seen = t.see(f([x; 3]));
        delta_e_itp(seen.ictcp, t.neutral_of(&seen).ictcp)
    };
    let curve: Vec<[f64; 2]> =
        spread(BLACK, stops(8.0), steps).map(|x| [(x - GREY_ACESCCT) / STOP_ACESCCT, tint(x)]).collect();
    let [at, most] = curve.iter().copied().reduce(|a, b| if b[1] > a[1] { b } else { a }).unwrap_or([0.0; 2]);
    let most = Found::new("toning-most", most).noted(format!("at {at:+.1} stops in ACEScct"));
    (vec![Found::new("toning-grey", tint(GREY_ACESCCT)), most], curve)
}
