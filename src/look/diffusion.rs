//! Diffusion: a part of the light scattered about where it belongs.

use super::Kernel;
use super::kernel::glare_weights;
use crate::colour::{GREY, Real};

crate::look::declare! {
    /// Glow, as of a scattering glass before the lens: a part of the light leaves its place, most of it for close
    /// by, some for far off, in the shape of glare that was measured in the eye (Spencer and others 1995). No light
    /// is lost or won. Widths are shares of the picture's height.
    Diffusion "diffusion", shader "look/diffusion.wgsl", spread {
        nature: Texture,
        domain: Linear,
        reach: Neighbourhood,
        holds_grey: true,
        monotone: true,
        strength: 1.5,
    }
    parameters {
        /// Share of the light over the threshold that is scattered.
        amount "amount": Ratio = 0.2 in 0.0..0.66 step 0.01 Even;
        /// Over grey by so much, half of a pixel's light takes part.
        threshold "threshold": Stops = 0.0 in -8.0..6.0 step 0.1 Even;
        /// Stops from where nothing takes part to where everything does.
        softness "softness": Stops = 4.0 in 0.5..10.0 step 0.1 Even;
        /// How wide it glows: at 1 as the eye sees glare at three picture heights.
        width "width": Ratio = 1.0 in 0.25..4.0 step 0.02 Ratios;
        /// Red wider and blue narrower, so that glows end warm; negative: cool.
        warmth "warmth": Ratio = 0.0 in -1.0..1.0 step 0.02 Even;
    }
    derived {
        /// 1 over the softness.
        rate;
        /// Added to the logarithm of light times that.
        start;
    }
}

/// Picture heights that a degree is, seen at three of them.
const DEGREE: f64 = 3.0 * 0.017_455_064_928_217_585;

fn prepare(p: &Diffusion<f64>) -> [f64; 2] {
    let rate = 1.0 / p.softness;
    [rate, 0.5 - rate * (p.threshold + GREY.log2())]
}

fn kernel(p: &Diffusion<f64>, raster: (u32, u32)) -> Kernel {
    let scale = DEGREE * f64::from(raster.1) * p.width;
    let channels = [0.5, 0.0, -0.5].map(|turn: f64| glare_weights(scale * (turn * p.warmth).exp2(), raster));
    let weights = (0..channels[0].len()).map(|l| std::array::from_fn(|c| channels[c][l])).collect();
    Kernel { weights, ring: None }
}

/// What of a pixel is over a threshold, which rises from nothing to all of it.
pub(super) fn over<T: Real>(rate: T, start: T, rgb: [T; 3]) -> [T; 3] {
    let light = T::of(0.2722287) * rgb[0] + T::of(0.6740818) * rgb[1] + T::of(0.0536895) * rgb[2];
    let t = (rate * light.at_least(T::of(1e-10)).log_2() + start).at_least(T::of(0.0)).at_most(T::of(1.0));
    let share = t * t * (T::of(3.0) - T::of(2.0) * t);
    rgb.map(|x| x * share)
}

fn source<T: Real>(p: &Diffusion<T>, rgb: [T; 3]) -> [T; 3] {
    over(p.rate, p.start, rgb)
}

fn combine<T: Real>(p: &Diffusion<T>, rgb: [T; 3], source: [T; 3], spread: [T; 3]) -> [T; 3] {
    std::array::from_fn(|c| rgb[c] + p.amount * (spread[c] - source[c]))
}
