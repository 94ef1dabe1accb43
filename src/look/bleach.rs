//! Bleach: silver that a skipped bleach leaves over the dyes.

use crate::colour::{GREY_ACESCCT, Real};

crate::look::declare! {
    /// Retained silver: the picture's own silver image stays over its dyes, and their densities add. Contrast rises
    /// and colours fall; the exposure is such that grey stays where it is.
    Bleach "bleach", shader "look/bleach.wgsl" {
        nature: Colour,
        domain: Acescct,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.0,
    }
    parameters {
        /// How much of the silver stays; at 1 all of it, which is as dense as the dyes of a neutral.
        silver "silver": Ratio = 0.6 in 0.0..1.0 step 0.01 Even;
        /// What makes room for it: at 0 exposure alone, so that contrast rises most and colours keep; at 1 lighter dyes,
        /// so that contrast stays and colours fall most.
        lighter_dyes "lighter-dyes": Ratio = 0.5 in 0.0..1.0 step 0.01 Even;
    }
    derived {
        /// Slope of the silver image's distance from grey.
        tone;
        /// Slope of a channel's distance from the silver image.
        colour;
    }
}

/// Silver and dyes together are `dyes · (density + silver · mean density)`, with the dyes at `(1 + silver)^−lighter-dyes`
/// of their strength. ACEScct is negative density; what exposure has to make up is a constant, which grey fixes.
fn prepare(p: &Bleach<f64>) -> [f64; 2] {
    let whole = 1.0 + p.silver;
    let dyes = whole.powf(-p.lighter_dyes);
    [whole * dyes, dyes]
}

/// Every layer leaves the silver of its own image, so the silver image is the mean of their densities.
fn apply<T: Real>(p: &Bleach<T>, rgb: [T; 3]) -> [T; 3] {
    let red = rgb[0] - rgb[1];
    let blue = rgb[2] - rgb[1];
    // From differences, so that a neutral is its own mean to the last bit.
    let above = (red + blue) * T::of(1.0 / 3.0);
    let tone = T::of(GREY_ACESCCT) + (rgb[1] + above - T::of(GREY_ACESCCT)) * p.tone;
    [red - above, -above, blue - above].map(|c| tone + c * p.colour)
}
