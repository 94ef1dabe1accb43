//! Saturation as dyes have it: deeper, not brighter.

use crate::colour::{LUMA_709, Real, STOP_ACESCCT};

crate::look::declare! {
    /// Saturation as dyes have it: colours deepen as they grow stronger and lighten as they fade, instead of
    /// glowing. Neutrals stay exactly.
    Saturation "saturation", shader "look/saturation.wgsl" {
        nature: Colour,
        domain: Acescct,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.5,
    }
    parameters {
        /// Strength of all colours; 1 leaves them, 0 takes them away.
        saturation "saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// How much darker strong colours become, whatever the saturation.
        density "density": Ratio = 0.0 in 0.0..1.0 step 0.01 Even;
        /// How far a rise spares colours that are strong already.
        roll_off "roll-off": Ratio = 0.5 in 0.0..1.0 step 0.01 Even;
    }
    derived {
        /// Saturation less 1.
        rise;
        /// Roll-off ÷ square of two stops, where saturation rises.
        spare;
        /// Darkening of what comes out.
        depth_after;
        /// Darkening that what comes in has already.
        depth_before;
    }
}

/// Share of a strong colour's distance from neutral by which it is deeper. At 0.6 no colour of BT.709 to 95 %
/// of its purity gains luminance from a rise with the roll-off as it comes; a test says so.
const DEPTH: f64 = 0.6;

/// Distance from neutral at which half of the deepening is there.
const EASE: f64 = 0.5 * STOP_ACESCCT;

fn prepare(p: &Saturation<f64>) -> [f64; 4] {
    let spare = if p.saturation > 1.0 { p.roll_off / (2.0 * STOP_ACESCCT).powi(2) } else { 0.0 };
    [p.saturation - 1.0, spare, DEPTH * (1.0 + p.density), DEPTH]
}

/// With L the luma of the ACEScct signal, c = rgb − L, e = |c| and b(e) = e² ÷ (e + ½ stop):
/// c' = c · (1 + (saturation − 1) ÷ (1 + roll-off · (e ÷ 2 stops)²)), and
/// rgb' = L + c' − 0.6 · ((1 + density) · b(|c'|) − b(|c|)).
///
/// ACEScct is negative density. A mean of logarithms that stays lets luminance rise with the spread of the
/// channels; b takes that away, and is flat at neutral. |c'| rises with |c| (its slope is at least 7/8 of a
/// rise's, and the saturation itself below 1), so no two colours fall together.
fn apply<T: Real>(p: &Saturation<T>, rgb: [T; 3]) -> [T; 3] {
    let red = rgb[0] - rgb[1];
    let blue = rgb[2] - rgb[1];
    // From differences, so that a neutral is its own luma to the last bit.
    let above = red * T::of(LUMA_709[0]) + blue * T::of(LUMA_709[2]);
    let c = [red - above, -above, blue - above];
    let squared = c[0] * c[0] + c[1] * c[1] + c[2] * c[2];
    let before = squared.root();
    let gain = p.rise / (T::of(1.0) + p.spare * squared);
    let after = before + before * gain;
    let ease = T::of(EASE);
    let deeper = p.depth_after * (after * after / (after + ease))
        - p.depth_before * (before * before / (before + ease));
    std::array::from_fn(|i| rgb[i] + (c[i] * gain - deeper))
}
