//! Monochrome: one silver image out of three channels.

use crate::colour::Real;

crate::look::declare! {
    /// One silver image out of three channels: light weighed as panchromatic or orthochromatic film weighs
    /// it, through a filter of your own. Neutrals keep their brightness.
    Monochrome "monochrome", shader "look/monochrome.wgsl" {
        nature: Colour,
        domain: Linear,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.0,
    }
    parameters {
        /// From colour (0) to monochrome (1).
        amount "amount": Ratio = 0.0 in 0.0..1.0 step 0.01 Even;
        /// From panchromatic (0), which sees every colour, to orthochromatic (1), which is all but blind to red.
        response "response": Ratio = 0.0 in 0.0..1.0 step 0.01 Even;
        /// Red light that the filter lets through.
        red "red": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Green light that the filter lets through.
        green "green": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Blue light that the filter lets through.
        blue "blue": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
    }
    derived {
        /// Weight of red; the three sum to one.
        weight_r;
        /// Weight of green.
        weight_g;
        /// Weight of blue.
        weight_b;
    }
}

/// Broad sensitivity, blue held down a little. Chosen here after common practice: no standard has weights.
const PANCHROMATIC: [f64; 3] = [0.32, 0.43, 0.25];

/// Blue and green with a last trace of orange. Chosen here after common practice.
const ORTHOCHROMATIC: [f64; 3] = [0.02, 0.46, 0.52];

fn prepare(p: &Monochrome<f64>) -> [f64; 3] {
    let film: [f64; 3] =
        std::array::from_fn(|c| PANCHROMATIC[c] + (ORTHOCHROMATIC[c] - PANCHROMATIC[c]) * p.response);
    let filter = [p.red, p.green, p.blue];
    let seen: [f64; 3] = std::array::from_fn(|c| film[c] * filter[c]);
    let sum: f64 = seen.iter().sum();
    // A filter that lets nothing through is no filter.
    if sum > 1e-6 { seen.map(|w| w / sum) } else { film }
}

fn apply<T: Real>(p: &Monochrome<T>, rgb: [T; 3]) -> [T; 3] {
    let silver = rgb[0] * p.weight_r + rgb[1] * p.weight_g + rgb[2] * p.weight_b;
    // The amount 1 gives three channels with the same bits.
    rgb.map(|v| v * (T::of(1.0) - p.amount) + silver * p.amount)
}
