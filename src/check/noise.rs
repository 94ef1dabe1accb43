//! M9: how much does a look magnify the camera's noise?

use super::lattice::{Lattice, jacobian_at, squared_singular_values};
use super::rendering::at_limit;
use super::report::{Declared, Found};
use super::{BLACK, CODE, Rendering, Transform, spread, stops};

const SOURCE: &str = "first-order propagation of noise";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "noise-gain",
        measure: "M9",
        name: "Noise of colours grows by",
        unit: "×",
        digits: 2,
        definition: "the largest singular value of J over the tetrahedra of the 33³ lattice: 99.9 % have no larger one",
        source: SOURCE,
    },
    Declared {
        key: "noise-gain-neutral",
        measure: "M9",
        name: "Noise of neutrals grows by",
        unit: "×",
        digits: 2,
        definition: "the largest singular value of dF on the neutral axis from black to 8 stops over grey, where the display is not at its limits",
        source: SOURCE,
    },
    Declared {
        key: "noise-rms",
        measure: "M9",
        name: "Noise grows on the whole by",
        unit: "×",
        digits: 2,
        definition: "the mean over those tetrahedra of ‖J‖ ÷ √3 (Frobenius)",
        source: SOURCE,
    },
];

pub(super) fn measure(f: &Transform, t: &Rendering, lattice: &Lattice) -> Vec<Found> {
    let slices = lattice.over_cells(Vec::new, |all: &mut Vec<[f64; 2]>, _, js| {
        all.extend(js.iter().map(|j| {
            let s = squared_singular_values(j);
            [s[0].sqrt(), (s.iter().sum::<f64>() / 3.0).sqrt()]
        }));
    });
    let mut gains: Vec<f64> = slices.iter().flatten().map(|g| g[0]).collect();
    let mean = slices.iter().flatten().map(|g| g[1]).sum::<f64>() / gains.len() as f64;
    let at = (gains.len() as f64 * 0.999) as usize;
    let (_, gain, _) = gains.select_nth_unstable_by(at, f64::total_cmp);
    let neutral = spread(BLACK, stops(8.0), 200)
        .filter(|x| t.signal(f([*x; 3])).iter().all(|s| !at_limit(*s)))
        .map(|x| squared_singular_values(&jacobian_at(f, [x; 3], 0.5 * CODE))[0].sqrt())
        .fold(0.0, f64::max);
    vec![
        Found::new("noise-gain", *gain),
        Found::new("noise-gain-neutral", neutral),
        Found::new("noise-rms", mean),
    ]
}
