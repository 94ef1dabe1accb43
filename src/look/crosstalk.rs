//! Crosstalk: each dye layer takes on some of what its neighbours record.

use crate::colour::Real;

crate::look::declare! {
    /// Dye coupling: each channel's density takes on a share of the others', in ACEScct. Below 0 the
    /// layers hold each other back and colours part; above 0 they blend. Neutrals stay exactly.
    Crosstalk "crosstalk", shader "look/crosstalk.wgsl" {
        nature: Colour,
        domain: Acescct,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.5,
    }
    parameters {
        /// What red takes from green.
        red_from_green "red-from-green": Ratio = 0.0 in -0.3..0.3 step 0.005 Even;
        /// What red takes from blue.
        red_from_blue "red-from-blue": Ratio = 0.0 in -0.3..0.3 step 0.005 Even;
        /// What green takes from red.
        green_from_red "green-from-red": Ratio = 0.0 in -0.3..0.3 step 0.005 Even;
        /// What green takes from blue.
        green_from_blue "green-from-blue": Ratio = 0.0 in -0.3..0.3 step 0.005 Even;
        /// What blue takes from red.
        blue_from_red "blue-from-red": Ratio = 0.0 in -0.3..0.3 step 0.005 Even;
        /// What blue takes from green.
        blue_from_green "blue-from-green": Ratio = 0.0 in -0.3..0.3 step 0.005 Even;
    }
    derived {}
}

fn prepare(_: &Crosstalk<f64>) -> [f64; 0] {
    []
}

/// A 3×3 whose rows sum to one, written with differences: a neutral has none and keeps its bits, and
/// where grey lies does not matter.
fn apply<T: Real>(p: &Crosstalk<T>, rgb: [T; 3]) -> [T; 3] {
    let [r, g, b] = rgb;
    [
        r + (p.red_from_green * (g - r) + p.red_from_blue * (b - r)),
        g + (p.green_from_red * (r - g) + p.green_from_blue * (b - g)),
        b + (p.blue_from_red * (r - b) + p.blue_from_green * (g - b)),
    ]
}
