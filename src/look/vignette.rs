//! Vignette: light that falls off towards the corners, as through a lens.

use super::Spot;
use crate::colour::Real;

crate::look::declare! {
    /// Light falls off towards the corners of the picture by the law of a lens, cos⁴ of the angle to its axis. The
    /// middle keeps its exposure.
    Vignette "vignette", shader "look/vignette.wgsl", spot {
        nature: Texture,
        domain: Linear,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.0,
    }
    parameters {
        /// How much darker the corners are; below 0 brighter, which takes out what a lens did.
        amount "amount": Stops = 1.0 in -2.0..4.0 step 0.05 Even;
        /// Share of the way from the middle to a corner that keeps its light; 0 is a lens's own law.
        clear "clear": Ratio = 0.0 in 0.0..0.9 step 0.01 Even;
        /// From an ellipse of the picture's shape (0) to a circle (1), which a lens draws.
        roundness "roundness": Ratio = 1.0 in 0.0..1.0 step 0.01 Even;
    }
    derived {
        /// Column of the middle.
        middle_x;
        /// Row of the middle.
        middle_y;
        /// Square of the distance from the middle, a column away; a corner's is 1.
        across;
        /// The same, a row away.
        down;
        /// 1 ÷ (1 − clear).
        reach;
        /// Square of the tangent of the corner's angle.
        corner;
    }
}

/// cos⁴ = (1 + tan²)⁻², and tan² rises with the square of the distance from the middle; the corner's is such that
/// it loses the amount.
fn prepare(p: &Vignette<f64>, (width, height): (u32, u32)) -> [f64; 6] {
    let (w, h) = (f64::from(width), f64::from(height));
    let round = 4.0 / (w * w + h * h);
    let mix = |own: f64| own + (round - own) * p.roundness;
    [
        (w - 1.0) / 2.0,
        (h - 1.0) / 2.0,
        mix(2.0 / (w * w)),
        mix(2.0 / (h * h)),
        1.0 / (1.0 - p.clear),
        (p.amount / 2.0).exp2() - 1.0,
    ]
}

fn apply<T: Real>(p: &Vignette<T>, rgb: [T; 3], spot: Spot) -> [T; 3] {
    let x = T::of(spot.x.into()) - p.middle_x;
    let y = T::of(spot.y.into()) - p.middle_y;
    let distance = (x * x * p.across + y * y * p.down).root();
    let t = ((distance - p.clear) * p.reach).at_least(T::of(0.0));
    let inverse = T::of(1.0) + p.corner * (t * t);
    let gain = T::of(1.0) / (inverse * inverse);
    rgb.map(|v| v * gain)
}
