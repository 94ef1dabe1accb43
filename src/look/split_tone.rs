//! Split tone: one colour into the shadows, another into the highlights.

use crate::colour::{GREY_ACESCCT, LUMA_709, POINT_ACESCCT, Real, STOP_ACESCCT};

crate::look::declare! {
    /// One colour into the shadows and another into the highlights, at constant luma of the ACEScct
    /// signal. Middle grey takes neither.
    SplitTone "split-tone", shader "look/split_tone.wgsl" {
        nature: Colour,
        domain: Acescct,
        reach: Point,
        holds_grey: true,
        monotone: false,
        strength: 1.5,
    }
    parameters {
        /// Direction of the shadows' colour; 103° is red, 283° cyan, 355° blue.
        shadow_hue "shadow-hue": Degrees = 230.0 in 0.0..360.0 step 1.0 Circle;
        /// How far deep shadows go that way.
        shadow_amount "shadow-amount": Points = 0.0 in 0.0..24.0 step 0.25 Even;
        /// Direction of the highlights' colour.
        highlight_hue "highlight-hue": Degrees = 130.0 in 0.0..360.0 step 1.0 Circle;
        /// How far bright highlights go that way.
        highlight_amount "highlight-amount": Points = 0.0 in 0.0..24.0 step 0.25 Even;
        /// Distance from grey at which half of the colour is there.
        width "width": Stops = 2.0 in 0.5..5.0 step 0.05 Even;
    }
    derived {
        /// Added to red in full shadow.
        shadow_r;
        /// Added to green in full shadow.
        shadow_g;
        /// Added to blue in full shadow.
        shadow_b;
        /// Added to red in full highlight.
        highlight_r;
        /// Added to green in full highlight.
        highlight_g;
        /// Added to blue in full highlight.
        highlight_b;
        /// Square of the width in ACEScct.
        width_squared;
    }
}

/// `points` in the direction `hue` of the (C_B, C_R) plane, as additions that leave luma alone.
fn push(hue: f64, points: f64) -> [f64; 3] {
    let [kr, kg, kb] = LUMA_709;
    let (sin, cos) = hue.to_radians().sin_cos();
    let r = 2.0 * (1.0 - kr) * sin * points * POINT_ACESCCT;
    let b = 2.0 * (1.0 - kb) * cos * points * POINT_ACESCCT;
    [r, -(kr * r + kb * b) / kg, b]
}

fn prepare(p: &SplitTone<f64>) -> [f64; 7] {
    let s = push(p.shadow_hue, p.shadow_amount);
    let h = push(p.highlight_hue, p.highlight_amount);
    [s[0], s[1], s[2], h[0], h[1], h[2], (p.width * STOP_ACESCCT).powi(2)]
}

fn apply<T: Real>(p: &SplitTone<T>, rgb: [T; 3]) -> [T; 3] {
    let luma = rgb[0] * T::of(LUMA_709[0]) + rgb[1] * T::of(LUMA_709[1]) + rgb[2] * T::of(LUMA_709[2]);
    let d = luma - T::of(GREY_ACESCCT);
    // Nothing at grey, with no slope there; half at the width; all of it far away.
    let share = d * d / (d * d + p.width_squared);
    let colour = if d < T::of(0.0) {
        [p.shadow_r, p.shadow_g, p.shadow_b]
    } else {
        [p.highlight_r, p.highlight_g, p.highlight_b]
    };
    std::array::from_fn(|c| rgb[c] + share * colour[c])
}
