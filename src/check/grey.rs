//! M1: where middle grey goes.

use super::Transform;
use super::rendering::luminance;
use super::report::{Declared, Found};
use crate::colour::{AP1, GREY, GREY_ACESCCT, acescct_decode};

pub(super) const ROWS: &[Declared] = &[Declared {
    key: "grey-shift",
    measure: "M1",
    name: "Middle grey moves by",
    unit: "stops",
    digits: 3,
    definition: "log2(Y(lin F(grey)) ÷ 0.18), Y by ACEScg's luminance weights",
    source: "practice: one printer point",
}];

/// Luminance of scene light in ACEScg, by the primaries' own weights (SMPTE RP 177).
pub(super) fn scene_luminance(acescct: [f64; 3]) -> f64 {
    let weights = luminance(&AP1.to_xyz());
    let light = acescct.map(acescct_decode);
    (0..3).map(|c| weights[c] * light[c]).sum()
}

pub(super) fn measure(f: &Transform) -> Vec<Found> {
    let y = scene_luminance(f([GREY_ACESCCT; 3]));
    // No light is no number of stops: as far down as a half float goes.
    vec![Found::new("grey-shift", (y.max(2f64.powi(-24)) / GREY).log2())]
}
