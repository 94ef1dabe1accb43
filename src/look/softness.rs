//! Softness: fine detail with less contrast, as through a softer lens.

use super::Kernel;
use crate::colour::Real;

crate::look::declare! {
    /// Contrast of fine detail, lowered as a softer lens does it: the finer the detail, the more. Edges stay
    /// where they are and get no lines along them. Widths are shares of the picture's height, so that every size
    /// of it looks alike.
    Softness "softness", shader "look/softness.wgsl", spread {
        nature: Texture,
        domain: Linear,
        reach: Neighbourhood,
        holds_grey: true,
        monotone: true,
        strength: 1.5,
    }
    parameters {
        /// How much of the finest detail's contrast is lost.
        amount "amount": Ratio = 0.5 in 0.0..0.66 step 0.01 Even;
        /// Standard deviation of the blur that is mixed in, in thousandths of the picture's height.
        size "size": Ratio = 1.5 in 0.3..10.0 step 0.1 Ratios;
    }
    derived {}
}

fn prepare(_: &Softness<f64>) -> [f64; 0] {
    []
}

fn kernel(p: &Softness<f64>, raster: (u32, u32)) -> Kernel {
    Kernel::blur(p.size * 1e-3 * f64::from(raster.1), raster)
}

fn source<T: Real>(_: &Softness<T>, rgb: [T; 3]) -> [T; 3] {
    rgb
}

fn combine<T: Real>(p: &Softness<T>, rgb: [T; 3], source: [T; 3], spread: [T; 3]) -> [T; 3] {
    std::array::from_fn(|c| rgb[c] + p.amount * (spread[c] - source[c]))
}
