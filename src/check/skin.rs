//! M7: what becomes of skin?

use super::hue::turn;
use super::report::{Declared, Found};
use super::{CODE, Rendering, Transform};
use crate::colour::patches::PATCHES;
use crate::colour::{LUMA_709, acescct_encode};

const SOURCE: &str = "practice: skins of all kinds lie about one line of the C_B, C_R plane, at 123°";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "skin-drift",
        measure: "M7",
        name: "Skin turns by at most",
        unit: "°",
        digits: 1,
        definition: "the largest change of the C_B, C_R angle (BT.709) against T alone, of the ColorChecker's two skins at −2, −1, 0 and +1 stops",
        source: SOURCE,
    },
    Declared {
        key: "skin-spread",
        measure: "M7",
        name: "Skin's turn varies with exposure by",
        unit: "°",
        digits: 1,
        definition: "the difference between the largest and the least change over those exposures, of the skin where it is larger",
        source: SOURCE,
    },
];

/// A skin at an exposure.
#[derive(Clone, Copy, Debug)]
pub struct Skin {
    /// 0 is the dark one, 1 the light one.
    pub which: usize,
    /// Stops of exposure.
    pub stops: f64,
    /// C_B and C_R without the look.
    pub before: [f64; 2],
    /// C_B and C_R with it.
    pub after: [f64; 2],
}

impl Skin {
    /// Degrees that its angle changes by.
    pub fn drift(&self) -> f64 {
        let angle = |v: [f64; 2]| v[1].atan2(v[0]).to_degrees();
        turn(angle(self.after) - angle(self.before))
    }
}

/// C_B and C_R of a signal (BT.709-6).
fn chroma(signal: [f64; 3]) -> [f64; 2] {
    let luma: f64 = (0..3).map(|c| LUMA_709[c] * signal[c]).sum();
    [(signal[2] - luma) / (2.0 * (1.0 - LUMA_709[2])), (signal[0] - luma) / (2.0 * (1.0 - LUMA_709[0]))]
}

pub(super) fn measure(f: &Transform, t: &Rendering) -> (Vec<Found>, Vec<Skin>) {
    let skins: Vec<Skin> = [0, 1]
        .into_iter()
        .flat_map(|which| [-2.0, -1.0, 0.0, 1.0].map(|stops| (which, stops)))
        .map(|(which, stops)| {
            let x = PATCHES[which].map(|v| acescct_encode(v * f64::exp2(stops)));
            Skin { which, stops, before: chroma(t.signal(x)), after: chroma(t.signal(f(x))) }
        })
        .collect();
    // No chroma to a tenth of a 10-bit code has no angle.
    if skins.iter().all(|s| s.after[0].hypot(s.after[1]) < 0.1 * CODE) {
        return (Vec::new(), skins);
    }
    let drifts = |which: usize| skins.iter().filter(move |s| s.which == which).map(Skin::drift);
    let spread = |which: usize| {
        drifts(which).fold(f64::NEG_INFINITY, f64::max) - drifts(which).fold(f64::INFINITY, f64::min)
    };
    let drift = skins.iter().map(|s| s.drift().abs()).fold(0.0, f64::max);
    let found = vec![Found::new("skin-drift", drift), Found::new("skin-spread", spread(0).max(spread(1)))];
    (found, skins)
}
