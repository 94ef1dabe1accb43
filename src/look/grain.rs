//! Grain: the silver and dye clouds that a film image is made of.

use std::f64::consts::{LOG2_10, PI};

use super::{Spot, hash};
use crate::colour::{GREY_ACESCCT, Real, STOP_ACESCCT};

crate::look::declare! {
    /// Film grain in density, new in every frame: as coarse as the gauge makes it, as strong as the film's RMS
    /// granularity says, strongest in the mid-tones of a print. Exposure stays.
    Grain "grain", shader "look/grain.wgsl", spot {
        nature: Grain,
        domain: Acescct,
        reach: Point,
        holds_grey: false,
        monotone: false,
        strength: 1.5,
    }
    parameters {
        /// Width of the film that the picture fills.
        gauge "gauge": Choice(GAUGE_NAMES) = 4.0 in 0.0..6.0 step 1.0 Even;
        /// RMS granularity: a thousand times the deviation of density about 1.0 through an aperture of 48 µm.
        granularity "granularity": Ratio = 4.0 in 0.0..16.0 step 0.1 Even;
        /// Size of the grain on film: how far apart density agrees by 1/e.
        size "size": Micrometres = 8.0 in 2.0..24.0 step 0.1 Even;
        /// How far the three layers' grain agrees: 0 each its own, 1 one silver image.
        correlation "correlation": Ratio = 0.6 in 0.0..1.0 step 0.01 Even;
        /// Which roll: stages of one number have the same grain.
        roll "roll": Ratio = 0.0 in 0.0..255.0 step 1.0 Even;
    }
    derived {
        /// The roll, a whole number.
        seed;
        /// A pixel in 65536ths of a cell of the field.
        step;
        /// Do pixels lie anywhere in their cells (65535), or are they the cells (0)?
        drift;
        /// Where pixels are the cells: a neighbour's share in 512ths.
        beside;
        /// Deviation of a layer's own grain in ACEScct at a density of 1.0, over that of the field.
        own;
        /// The same of what the layers share.
        joint;
        /// What keeps a print's mean, for a density of 1.0 and a unit of ACEScct from where a print is straight.
        lift;
    }
}

/// The gauges, and how wide each one's picture is in millimetres. 16 mm: SMPTE ST 7; Super 16: ST 201; 35 mm: ST 59,
/// full aperture for three perforations and the narrower one beside a sound track for four; these and the others from
/// memory of the standards' camera apertures.
pub(super) const GAUGES: [(&str, f64); 7] = [
    ("8mm", 4.8),
    ("super8", 5.79),
    ("16mm", 10.26),
    ("super16", 12.52),
    ("35mm-3perf", 24.89),
    ("35mm-4perf", 21.95),
    ("65mm", 52.48),
];

pub(super) const GAUGE_NAMES: &[&str] =
    &[GAUGES[0].0, GAUGES[1].0, GAUGES[2].0, GAUGES[3].0, GAUGES[4].0, GAUGES[5].0, GAUGES[6].0];

/// Radius of the aperture that RMS granularity is measured through, in µm (ISO 10505).
const APERTURE: f64 = 24.0;

/// The negative that the picture is taken to be: its gamma, and the net density of middle grey. Common practice, after
/// the printing densities of 10-bit film scans (0.002 a code, black at 95, mid-grey at 445; from memory).
const GAMMA: f64 = 0.6;
const GREY_DENSITY: f64 = 0.7;

/// Net density a unit of ACEScct.
const RISE: f64 = GAMMA / (STOP_ACESCCT * LOG2_10);

/// ACEScct of no light, where density begins.
const BLACK: f64 = 0.072_905_534_195_835_5;

/// ACEScct at which the straight line of density would begin, and at which it does: under it a parabola from black.
const LINE: f64 = GREY_ACESCCT - GREY_DENSITY / RISE;
const TOE: f64 = 2.0 * LINE - BLACK;

/// ACEScct of a density of 2.0, the most that a negative has.
const MOST: f64 = LINE + 2.0 / RISE;

/// Slope of the root of density in the parabola, which meets the line with its slope: √(RISE ÷ 4(LINE − BLACK)).
const TOE_SLOPE: f64 = 2.573_245_475_031_410_7;

/// Where a print is straight, in ACEScct, and how its bend grows from there: as much brighter as a print has to be for its
/// mean to stay is `BEND · (v − STRAIGHT)` times the variance, by half the second derivative of the tone over the first.
/// Fitted to the signal of ACES 2.0 on a display of 100 cd/m².
const STRAIGHT: f64 = 0.477;
const BEND: f64 = 22.0;

/// Deviation of what a cell holds: the difference of two even draws of 5 bits.
const CELL: f64 = 13.057_564_857_200_596; // √((32² − 1) ÷ 6)

/// Integral over all distances of how the field agrees with itself across a line, in cells. Worked out numerically.
const AGREEMENT: f64 = 1.8231;

/// Error function, by 7.1.26 of Abramowitz & Stegun (1.5e-7).
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let series = t
        * (0.254_829_592
            + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (1.0 - series * (-x * x).exp()).copysign(x)
}

/// Mean of exp(−x²), x being `scale` times the distance of a point of a pixel from a point of one `apart` pixels on.
fn pixel_mean(scale: f64, apart: f64) -> f64 {
    let twice = |x: f64| {
        let y = scale * x;
        x * PI.sqrt() / (2.0 * scale) * erf(y) + (-y * y).exp() / (2.0 * scale * scale)
    };
    twice(apart + 1.0) - 2.0 * twice(apart) + twice(apart - 1.0)
}

/// Share of the variance of a grain of a size (in µm) that is left of it in the mean over the aperture: the mean of
/// exp(−r²/size²) over pairs of points of a disc, `(1 − e^−z (I₀(z) + I₁(z))) · size² ÷ radius²` with
/// z = 2 radius² ÷ size², the Bessel functions by their integral.
fn aperture_share(size: f64) -> f64 {
    let share = (size / APERTURE).powi(2);
    let z = 2.0 / share;
    const STEPS: usize = 96;
    // The trapezoid rule: exact to rounding, since the integrand is even and periodic.
    let sum: f64 = (0..=STEPS)
        .map(|i| {
            let cosine = (PI * i as f64 / STEPS as f64).cos();
            let end = if i == 0 || i == STEPS { 0.5 } else { 1.0 };
            end * (z * (cosine - 1.0)).exp() * (1.0 + cosine)
        })
        .sum();
    share * (1.0 - sum / STEPS as f64)
}

/// Grain agrees with itself over a distance r by exp(−r²/size²); a pixel is the mean over its area. What agrees over
/// less than a pixel is a field whose cells are the pixels, each mixed with its neighbours as far as they agree; what
/// agrees over more has cells of that size.
fn prepare(p: &Grain<f64>, (width, _): (u32, u32)) -> [f64; 7] {
    let gate = GAUGES[(p.gauge.round() as usize).min(GAUGES.len() - 1)].1 * 1000.0;
    let pixel = gate / f64::from(width.max(1));
    let scale = pixel / p.size;
    let left = pixel_mean(scale, 0.0);
    let cell = (scale.powi(-2) + 1.0 / 3.0).sqrt() * PI.sqrt() / AGREEMENT;
    let (step, drift, beside) = if cell >= 1.0 {
        (65536.0 / cell, 65535.0, 0.0)
    } else {
        // Of neighbours that are mixed by q : 1 : q, two agree by 2q ÷ (1 + 2q²).
        let agree = pixel_mean(scale, 1.0) / left;
        let q = agree / (1.0 + (1.0 - 2.0 * agree * agree).max(0.0).sqrt());
        (65536.0, 0.0, 512.0 * q / (1.0 + 2.0 * q))
    };
    // A pixel's mean is over both directions, so its variance has the factor twice.
    let density = p.granularity / 1000.0 / aperture_share(p.size).sqrt() * left;
    let deviation = density / RISE;
    let amount = deviation / CELL;
    // The brightness of layers that differ varies less than each of them: weights of AP1's luminance.
    let brightness = 0.531 + 0.469 * p.correlation;
    let own = (1.0 - p.correlation).sqrt();
    let joint = ((1.0 + 2.0 * p.correlation).sqrt() - own) / 3.0;
    [
        p.roll.round(),
        step.round(),
        drift,
        beside.round(),
        amount * own,
        amount * joint,
        BEND * brightness * deviation.powi(2),
    ]
}

/// What the field holds at a cell, of three layers in ten bits each: the difference of two even draws of 5 bits, and 32.
fn cell_values(key: u32, seed: u32) -> u32 {
    const EVERY_OTHER: u32 = 0x01f0_7c1f;
    let drawn = hash(key ^ seed);
    (drawn & EVERY_OTHER) + 0x0200_8020 - (drawn >> 5 & EVERY_OTHER)
}

/// Shares of three cells in a row, in 512ths: a quadratic B-spline at sixteenths of a cell.
fn shares(place: u32) -> [u32; 3] {
    let k = place >> 12 & 15;
    [(16 - k) * (16 - k), 256 + 32 * k - 2 * k * k, k * k]
}

/// Odd multipliers whose multiples lie well apart: 2³² over the plastic number and over its square.
const COLUMN: u32 = 0xc13f_a9a9;
const ROW: u32 = 0x91e1_0da5;

/// The field at a pixel: three layers in whole numbers, the same on every machine, and the sum of squares of the
/// shares that they are made with, over 2³⁶. Twin: `grain_field`.
pub fn field(step: u32, drift: u32, beside: u32, roll: u32, spot: Spot) -> ([i32; 3], f32) {
    let seed = hash(spot.frame ^ (roll << 24) ^ 0x6772_6169);
    let x = spot.x.wrapping_mul(step).wrapping_add(seed & drift);
    let y = spot.y.wrapping_mul(step).wrapping_add(seed >> 16 & drift);
    let still = [beside, 512 - 2 * beside, beside];
    let (across, down) = if drift == 0 { (still, still) } else { (shares(x), shares(y)) };
    let key = (x >> 16).wrapping_mul(COLUMN).wrapping_add((y >> 16).wrapping_mul(ROW));
    let mut sums = [0u32; 3];
    for (j, row) in down.into_iter().enumerate() {
        for (i, column) in across.into_iter().enumerate() {
            let key =
                key.wrapping_add(COLUMN.wrapping_mul(i as u32)).wrapping_add(ROW.wrapping_mul(j as u32));
            let values = cell_values(key, seed);
            let share = row * column;
            for (c, sum) in sums.iter_mut().enumerate() {
                *sum += share * (values >> (10 * c) & 0x3ff);
            }
        }
    }
    let squares = |s: [u32; 3]| s.iter().map(|v| v * v).sum::<u32>() as f32 / 262_144.0;
    (sums.map(|s| s as i32 - (32 << 18)), squares(across) * squares(down))
}

/// Deviation of density goes with its root (Selwyn's law for grains of one size).
fn apply<T: Real>(p: &Grain<T>, rgb: [T; 3], spot: Spot) -> [T; 3] {
    let whole = |v: T| v.to_f64().round() as u32;
    let (sums, squares) = field(whole(p.step), whole(p.drift), whole(p.beside), whole(p.seed), spot);
    let unit = T::of(1.0 / 262_144.0) / T::of(squares.into()).root();
    let layers = sums.map(|s| T::of(s.into()) * unit);
    let joint = (layers[0] + layers[1] + layers[2]) * p.joint;
    std::array::from_fn(|c| {
        let v = rgb[c].at_least(T::of(BLACK)).at_most(T::of(MOST));
        let root = if v < T::of(TOE) {
            (v - T::of(BLACK)) * T::of(TOE_SLOPE)
        } else {
            ((v - T::of(LINE)) * T::of(RISE)).root()
        };
        let lift = p.lift * (root * root) * (v - T::of(STRAIGHT));
        rgb[c] + (root * (layers[c] * p.own + joint) + lift)
    })
}
