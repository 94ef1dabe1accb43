//! Contrast about middle grey, with a toe and a shoulder.

use crate::colour::{GREY_ACESCCT, Real};

crate::look::declare! {
    /// Contrast about middle grey, channel by channel in ACEScct, with a toe that eases shadows and a
    /// shoulder that eases highlights. Grey stays where it is.
    Contrast "contrast", shader "look/contrast.wgsl" {
        nature: Tone,
        domain: Acescct,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.5,
    }
    parameters {
        /// Slope at middle grey; 1 leaves it.
        slope "slope": Ratio = 1.0 in 0.5..2.0 step 0.01 Ratios;
        /// How soon shadows level out; at 1 they approach six stops under grey and never pass it.
        toe "toe": Ratio = 0.0 in 0.0..1.0 step 0.01 Even;
        /// How soon highlights level out; at 1 they approach six stops over grey and never pass it.
        shoulder "shoulder": Ratio = 0.0 in 0.0..1.0 step 0.01 Even;
    }
    derived {
        /// Square of toe ÷ six stops of ACEScct.
        toe_bend;
        /// Square of shoulder ÷ six stops of ACEScct.
        shoulder_bend;
    }
}

const SIX_STOPS: f64 = 6.0 / 17.52;

fn prepare(p: &Contrast<f64>) -> [f64; 2] {
    [(p.toe / SIX_STOPS).powi(2), (p.shoulder / SIX_STOPS).powi(2)]
}

/// `t/√(1 + (k·t)²)` has slope 1 and no curvature at grey, so the two halves join smoothly.
fn apply<T: Real>(p: &Contrast<T>, rgb: [T; 3]) -> [T; 3] {
    rgb.map(|v| {
        let t = (v - T::of(GREY_ACESCCT)) * p.slope;
        let bend = if t < T::of(0.0) { p.toe_bend } else { p.shoulder_bend };
        T::of(GREY_ACESCCT) + t / (T::of(1.0) + bend * t * t).root()
    })
}
