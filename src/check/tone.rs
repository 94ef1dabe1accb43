//! M3: the tone that neutrals take.

use super::grey::scene_luminance;
use super::rendering::at_limit;
use super::report::{Declared, Found};
use super::{BLACK, CODE, Rendering, Transform, stops};
use crate::colour::{GREY_ACESCCT, STOP_ACESCCT, acescct_encode};

const SOURCE: &str =
    "monotony and slope < 1.55: requirements of the ACES 2 tone scale, there for a whole rendering";

pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "tone-rise",
        measure: "M3",
        name: "Flattest place of the tone curve",
        unit: "",
        digits: 3,
        definition: "the least dF_c/dt on the neutral axis, by steps of one 10-bit code from black to 8 stops over grey, where the display is not at its limits",
        source: SOURCE,
    },
    Declared {
        key: "slope-most",
        measure: "M3",
        name: "Steepest place within ±4 stops",
        unit: "",
        digits: 3,
        definition: "the largest slope of luminance against light on the neutral axis, both in ACEScct: log-log where ACEScct is logarithmic, linear in its toe, where a log-log slope grows without end towards black",
        source: SOURCE,
    },
    Declared {
        key: "slope-grey",
        measure: "M3",
        name: "Slope at middle grey",
        unit: "",
        digits: 3,
        definition: "the same slope at middle grey",
        source: SOURCE,
    },
    Declared {
        key: "slope-logarithmic",
        measure: "M3",
        name: "Steepest place, in logarithms",
        unit: "",
        digits: 3,
        definition: "the largest log-log slope of linear luminance within ±4 stops, toe and all; what falls to black has no end of it, so it is told and not judged",
        source: "practice",
    },
];

/// The tone curve of a look.
#[derive(Clone, Debug, Default)]
pub struct Curve {
    /// Stops over grey that come in (ACEScct ÷ 17.52 a stop) and each channel's that come out.
    pub points: Vec<(f64, [f64; 3])>,
    /// Stops over grey that come in, and the slope of luminance there.
    pub slopes: Vec<[f64; 2]>,
}

/// Differences are taken over one 10-bit code, every `every` codes.
pub(super) fn measure(f: &Transform, t: &Rendering, every: usize) -> (Vec<Found>, Curve) {
    let in_stops = |x: f64| (x - GREY_ACESCCT) / STOP_ACESCCT;
    let luminance = |v: [f64; 3]| {
        let y = scene_luminance(v);
        (acescct_encode(y), y.max(2f64.powi(-24)).log2())
    };
    let mut curve = Curve::default();
    let mut rise = (f64::INFINITY, 0.0);
    let (mut most, mut most_log): ((f64, f64), f64) = ((f64::NEG_INFINITY, 0.0), f64::NEG_INFINITY);
    let codes = ((stops(8.0) - BLACK) / CODE) as usize;
    for i in (0..codes).step_by(every) {
        let x = BLACK + i as f64 * CODE;
        let (a, b) = (f([x; 3]), f([x + CODE; 3]));
        let visible = |c: usize, v: [f64; 3]| !at_limit(t.signal(v)[c]);
        let middle = x + 0.5 * CODE;
        let least = (0..3).map(|c| (b[c] - a[c]) / CODE).fold(f64::INFINITY, f64::min);
        // Whether it shows costs more to find out than whether it would matter.
        if least < rise.0 {
            for c in 0..3 {
                let slope = (b[c] - a[c]) / CODE;
                if slope < rise.0 && visible(c, a) && visible(c, b) {
                    rise = (slope, in_stops(middle));
                }
            }
        }
        let ((ya, log_a), (yb, log_b)) = (luminance(a), luminance(b));
        let slope = (yb - ya) / CODE;
        if in_stops(x) >= -4.0 && in_stops(x + CODE) <= 4.0 {
            most = if slope > most.0 { (slope, in_stops(middle)) } else { most };
            most_log = most_log.max((log_b - log_a) * STOP_ACESCCT / CODE);
        }
        curve.points.push((in_stops(x), a.map(in_stops)));
        curve.slopes.push([in_stops(middle), slope]);
    }
    let at_grey = [-0.5, 0.5].map(|k| luminance(f([GREY_ACESCCT + k * CODE; 3])).0);
    // Nothing that shows at all does not rise.
    let rise = if rise.0.is_finite() { rise } else { (0.0, 0.0) };
    let found = vec![
        Found::new("tone-rise", rise.0).noted(format!("at {:+.1} stops in ACEScct", rise.1)),
        Found::new("slope-most", most.0).noted(format!("at {:+.1} stops", most.1)),
        Found::new("slope-grey", (at_grey[1] - at_grey[0]) / CODE),
        Found::new("slope-logarithmic", most_log),
    ];
    (found, curve)
}
