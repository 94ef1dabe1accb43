//! M8: how much of a picture is driven to the display's ends?

use std::sync::LazyLock;

use super::rendering::at_limit;
use super::report::{Declared, Found};
use super::{Rendering, Transform};
use crate::colour::acescct_encode;
use crate::colour::patches::PATCHES;

pub(super) const ROWS: &[Declared] = &[Declared {
    key: "clip-excess",
    measure: "M8",
    name: "Colours clipped by the look",
    unit: "%",
    digits: 1,
    definition: "the share of the ColorChecker's 24 patches at −3, −2, … +2 stops with a display channel within half a 10-bit code of its ends, less that share without the look",
    source: "practice",
}];

fn share(f: &dyn Fn([f64; 3]) -> [f64; 3], t: &Rendering) -> f64 {
    let colours =
        || (-3..=2).flat_map(|s| PATCHES.map(|p| p.map(|v| acescct_encode(v * f64::from(s).exp2()))));
    let clipped = colours().filter(|x| t.signal(f(*x)).iter().any(|s| at_limit(*s))).count();
    100.0 * clipped as f64 / colours().count() as f64
}

pub(super) fn measure(f: &Transform, t: &Rendering) -> Vec<Found> {
    static BARE: LazyLock<f64> = LazyLock::new(|| share(&|x| x, Rendering::fixed()));
    vec![Found::new("clip-excess", share(&**f, t) - *BARE)]
}
