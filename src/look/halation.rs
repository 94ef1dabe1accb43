//! Halation: light that a film's base sends back.

use super::Kernel;
use super::diffusion::over;
use super::kernel::{Ring, levels};
use crate::colour::{GREY, Real};

crate::look::declare! {
    /// Halation: bright light passes the emulsion, is totally reflected at the back of the film's base and exposes it
    /// again in a ring about where it came from. The ring's radius is `2 d tan(asin(1/n))` on film, so that a small
    /// gauge shows a large one. What the ring gains its middle loses.
    Halation "halation", shader "look/halation.wgsl", spread {
        nature: Texture,
        domain: Linear,
        reach: Neighbourhood,
        holds_grey: true,
        monotone: true,
        strength: 1.5,
    }
    parameters {
        /// Share of the light over the threshold that comes back (common practice: a few hundredths with an
        /// anti-halation layer, more without).
        amount "amount": Ratio = 0.15 in 0.0..0.66 step 0.01 Even;
        /// Over grey by so much, half of a pixel's light takes part (common practice: about three stops).
        threshold "threshold": Stops = 3.0 in -2.0..6.0 step 0.1 Even;
        /// Stops from where nothing takes part to where everything does.
        softness "softness": Stops = 2.0 in 0.5..6.0 step 0.1 Even;
        /// The film: its gate's width sets how large the ring is.
        gauge "gauge": Choice(GAUGES) = 4.0 in 0.0..6.0 step 1.0 Even;
        /// Thickness of the base, hundredths of a millimetre.
        base "base": Ratio = 12.5 in 5.0..20.0 step 0.1 Even;
        /// Refractive index of the base.
        index "index": Ratio = 1.48 in 1.4..1.7 step 0.01 Even;
        /// How far the ring reaches outwards, in shares of its radius.
        width "width": Ratio = 0.6 in 0.1..2.0 step 0.02 Even;
        /// What the layer for red, the nearest to the base, takes of it.
        red "red": Ratio = 1.0 in 0.0..1.0 step 0.01 Even;
        /// What the layer for green takes.
        green "green": Ratio = 0.3 in 0.0..1.0 step 0.01 Even;
        /// What the layer for blue takes.
        blue "blue": Ratio = 0.05 in 0.0..1.0 step 0.01 Even;
    }
    derived {
        /// 1 over the softness.
        rate;
        /// Added to the logarithm of light times that.
        start;
    }
}

/// Film by the names that the trade has, in the order of [`GATES`].
pub const GAUGES: &[&str] = &["8", "super-8", "16", "super-16", "35-3-perf", "35-4-perf", "65"];

/// Width of each gauge's camera gate, millimetres: SMPTE ST 7 and ISO 466 (16), ST 201 and ISO 5768 (super 16), ST 59 and
/// ISO 2906 (35); 8, super 8, the width of three perforations and 65 from memory.
pub const GATES: [f64; 7] = [4.8, 5.79, 10.26, 12.52, 24.89, 24.89, 52.48];

fn prepare(p: &Halation<f64>) -> [f64; 2] {
    let rate = 1.0 / p.softness;
    [rate, 0.5 - rate * (p.threshold + GREY.log2())]
}

/// Millimetres on film from a point to the light that is sent back at the least angle of total reflection.
fn radius(p: &Halation<f64>) -> f64 {
    2.0 * p.base * 0.01 * (1.0 / p.index).asin().tan()
}

fn kernel(p: &Halation<f64>, raster: (u32, u32)) -> Kernel {
    let gate = GATES[(p.gauge.round() as usize).min(GATES.len() - 1)];
    let pixels = radius(p) / gate * f64::from(raster.0);
    // The level on which the ring is three to six pixels from its middle.
    let level = ((pixels / 3.0).max(1.0).log2().floor() as usize).clamp(1, levels(raster));
    let mut weights = vec![[0.0; 3]; level];
    weights[level - 1] = [1.0; 3];
    let scale = pixels / 2f64.powi(level as i32);
    let ring =
        Ring { radii: [0.0, 0.4, 1.0].map(|out| scale * (1.0 + p.width * out)), shares: [0.5, 0.3, 0.2] };
    Kernel { weights, ring: Some(ring) }
}

fn source<T: Real>(p: &Halation<T>, rgb: [T; 3]) -> [T; 3] {
    over(p.rate, p.start, rgb)
}

fn combine<T: Real>(p: &Halation<T>, rgb: [T; 3], source: [T; 3], spread: [T; 3]) -> [T; 3] {
    let layers = [p.red, p.green, p.blue];
    std::array::from_fn(|c| rgb[c] + p.amount * layers[c] * (spread[c] - source[c]))
}
