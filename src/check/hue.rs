//! M6: do hues keep their order?

use std::sync::LazyLock;

use rayon::prelude::*;

use super::report::{Declared, Found};
use super::{Rendering, Transform};
use crate::colour::{AP1, Adaptation, BT709, acescct_encode, conversion, delta_e_itp, hue_itp};

const SOURCE: &str = "ICtCp: ITU-R BT.2100";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "hue-slope-least",
        measure: "M6",
        name: "Where hues draw together most",
        unit: "",
        digits: 2,
        definition: "the least change of hue through G per change through T, over 2°, on nine rings of hues (Y 0.02, 0.18, 0.9 × chroma 0.2, 0.5, 0.8); hue is atan2(C_P, ½C_T)",
        source: SOURCE,
    },
    Declared {
        key: "hue-slope-most",
        measure: "M6",
        name: "Where hues draw apart most",
        unit: "",
        digits: 2,
        definition: "the largest such change",
        source: SOURCE,
    },
    Declared {
        key: "hue-reversals",
        measure: "M6",
        name: "Pieces of 2° that run backwards",
        unit: "",
        digits: 0,
        definition: "pieces of 2° on those rings that do not go on",
        source: SOURCE,
    },
    Declared {
        key: "hue-winding",
        measure: "M6",
        name: "Rings that do not go round once",
        unit: "",
        digits: 0,
        definition: "of those rings, the ones whose winding number is not 1",
        source: SOURCE,
    },
];

/// Luminances and chromas of the rings.
pub(super) const LUMINANCES: [f64; 3] = [0.02, 0.18, 0.9];
pub(super) const CHROMAS: [f64; 3] = [0.2, 0.5, 0.8];

/// Places on a ring that is measured finely.
pub(super) const FINE: usize = 720;

/// Hues of one ring.
#[derive(Clone, Debug)]
pub struct Ring {
    /// Luminance of the scene.
    pub luminance: f64,
    /// Chroma.
    pub chroma: f64,
    /// Hue through T and hue through G in degrees, both unwound, in order round the ring.
    pub hues: Vec<[f64; 2]>,
    /// Is all of it too pale through G to have a hue? Half of what is just visible.
    pub pale: bool,
}

/// A colour of a ring: in linear BT.709, 1 + chroma · cos(angle − 0°, 120°, 240°) brought to the luminance.
/// So all rings lie within the display's gamut, where T itself bends hues least.
fn on_ring(luminance: f64, chroma: f64, angle: f64) -> [f64; 3] {
    let rgb: [f64; 3] = std::array::from_fn(|c| 1.0 + chroma * (angle - 120.0 * c as f64).to_radians().cos());
    let y: f64 = rgb.iter().zip(BT709.to_xyz().0[1]).map(|(v, w)| v * w).sum();
    conversion(&BT709, &AP1, Adaptation::Bradford).times(rgb.map(|v| v * luminance / y)).map(acescct_encode)
}

struct Bare {
    luminance: f64,
    chroma: f64,
    colours: Vec<[f64; 3]>,
    hues: Vec<f64>,
}

/// The rings and what T makes of them.
fn bare(places: usize) -> Vec<Bare> {
    let t = Rendering::fixed();
    LUMINANCES
        .into_iter()
        .flat_map(|y| CHROMAS.map(|c| (y, c)))
        .map(|(luminance, chroma)| {
            let colours: Vec<[f64; 3]> =
                (0..places).map(|i| on_ring(luminance, chroma, 360.0 * i as f64 / places as f64)).collect();
            let hues = unwound(colours.iter().map(|x| hue_itp(t.see(*x).ictcp)));
            Bare { luminance, chroma, colours, hues }
        })
        .collect()
}

/// Angles in a row, without jumps by a turn; closed by the first one again.
fn unwound(angles: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut out: Vec<f64> = Vec::new();
    for a in angles {
        let next = out.last().map_or(a, |last| last + turn(a - last));
        out.push(next);
    }
    if let (Some(&first), Some(&last)) = (out.first(), out.last()) {
        out.push(last + turn(first - last));
    }
    out
}

/// An angle as −180° to 180°.
pub(super) fn turn(angle: f64) -> f64 {
    (angle + 180.0).rem_euclid(360.0) - 180.0
}

/// Nine rings of [`FINE`] places, or of [`COARSE`] for a coarse look.
pub(super) fn measure(f: &Transform, t: &Rendering, coarse: bool) -> (Vec<Found>, Vec<Ring>) {
    static BARE: LazyLock<Vec<Bare>> = LazyLock::new(|| bare(FINE));
    static BARE_COARSE: LazyLock<Vec<Bare>> = LazyLock::new(|| bare(COARSE));
    let bare = if coarse { &*BARE_COARSE } else { &*BARE };
    let rings: Vec<Ring> = bare
        .par_iter()
        .map(|ring| {
            let seen: Vec<_> = ring.colours.iter().map(|x| t.see(f(*x))).collect();
            let out = unwound(seen.iter().map(|s| hue_itp(s.ictcp)));
            let colourful =
                seen.iter().map(|s| delta_e_itp(s.ictcp, t.neutral_of(s).ictcp)).fold(0.0, f64::max);
            Ring {
                luminance: ring.luminance,
                chroma: ring.chroma,
                hues: ring.hues.iter().zip(out).map(|(a, b)| [*a, b]).collect(),
                pale: colourful < 0.5,
            }
        })
        .collect();
    let (mut least, mut most) = ((f64::INFINITY, String::new()), (f64::NEG_INFINITY, String::new()));
    let (mut reversals, mut winding) = (0, 0);
    for ring in rings.iter().filter(|r| !r.pale) {
        let (Some(first), Some(last)) = (ring.hues.first(), ring.hues.last()) else { continue };
        let way = if last[0] > first[0] { 1.0 } else { -1.0 };
        let piece = if coarse { 0.0 } else { 2.0 };
        let mut from = *first;
        for hue in &ring.hues[1..] {
            let gone = way * (hue[0] - from[0]);
            if gone < piece || gone <= 0.0 {
                continue;
            }
            let slope = way * (hue[1] - from[1]) / gone;
            let place = || format!("hue {:.0}°, Y {}, chroma {}", turn(from[0]), ring.luminance, ring.chroma);
            if slope < least.0 {
                least = (slope, place());
            }
            if slope > most.0 {
                most = (slope, place());
            }
            reversals += usize::from(slope <= 0.0);
            from = *hue;
        }
        let turns = way * (last[1] - first[1]) / 360.0;
        winding += usize::from((turns - 1.0).abs() > 0.01);
    }
    if rings.iter().all(|r| r.pale) {
        return (Vec::new(), rings);
    }
    let pale = rings.iter().filter(|r| r.pale).count();
    let note = if pale > 0 { format!("{pale} rings are too pale to have a hue") } else { String::new() };
    let found = vec![
        Found::new("hue-slope-least", least.0).noted(least.1),
        Found::new("hue-slope-most", most.0).noted(most.1),
        Found::new("hue-reversals", reversals as f64),
        Found::new("hue-winding", winding as f64).noted(note),
    ];
    (found, rings)
}

/// Places on a ring of a coarse look.
pub(super) const COARSE: usize = 72;
