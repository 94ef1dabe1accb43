//! Does this GPU compute what the CPU twin says? The vectors, the tolerance, and a small cut of both
//! that runs when a GPU is opened.

use super::{Gpu, GpuError};
use crate::colour::{OutputTransform, display, encoding};
use crate::look::{Kind, STAGES};
use crate::picture::{
    BALANCE, Balance, FRAMING, Fitting, Frame, FrameError, Framing, Recipe, StageValues, Tail, cpu,
};

/// How far a GPU value may lie from the CPU's: `abs + rel · |cpu|`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Absolute part.
    pub abs: f64,
    /// Relative part.
    pub rel: f64,
    /// Is the relative part of the pixel's largest channel instead of the channel's own value? For paths
    /// with a matrix, where a small channel is the difference of large ones.
    pub of_pixel: bool,
}

/// The tolerance of a stage on float targets: room for contraction and for divisions and roots within
/// the error WGSL allows, 600 times under one 10-bit code.
pub const TOLERANCE: Tolerance = Tolerance { abs: 1e-5, rel: 2e-5, of_pixel: false };

/// The tolerance of a display's signal: a fiftieth of a 10-bit code. Twice that under a hundredth of the
/// signal, where the display's curve is so steep that rounding of light shows (2.5e-5 at 0.0066 was measured
/// on an H100) is [`DARK_SIGNAL`].
pub const SIGNAL: Tolerance = Tolerance { abs: 2e-5, rel: 0.0, of_pixel: false };

/// The tolerance of a display's signal where colours next to black are among the pixels.
pub const DARK_SIGNAL: Tolerance = Tolerance { abs: 5e-5, rel: 0.0, of_pixel: false };

/// The tolerance of a PQ signal: its exponent of 79 magnifies what rounding leaves (2.06e-5 was measured on an H100 at
/// 3 of 230,400 values).
pub const PQ_SIGNAL: Tolerance = Tolerance { abs: 4e-5, rel: 0.0, of_pixel: false };

/// The tolerance of a signal that is taken from one display's to another's: a fifth of a 10-bit code. PQ's exponents magnify
/// what rounding leaves both ways (1.02e-4 was measured on an H100 at one of 1,161,600 values, more than 4e-5 at seven).
pub const REENCODED_SIGNAL: Tolerance = Tolerance { abs: 2e-4, rel: 0.0, of_pixel: false };

/// The tolerance of a display's signal through ACES 2.0: half a 10-bit code. There a dark channel of a saturated
/// colour is the difference of large cone responses, and a hundred roundings lie between light and signal; the
/// 99.9th percentile over whole pictures is held to 0.15 of a code besides.
pub const ACES2_SIGNAL: Tolerance = Tolerance { abs: 0.5 / 1023.0, rel: 0.0, of_pixel: false };

/// How two pictures compare.
#[derive(Clone, Copy, Debug, Default)]
pub struct Agreement {
    /// Values compared.
    pub count: usize,
    /// Values outside the tolerance.
    pub outside: usize,
    /// Largest difference over what was allowed for it; 1 is the limit.
    pub worst_share: f64,
    /// Largest absolute difference.
    pub worst: f64,
    /// Where the worst share is: pixel and channel, CPU value, GPU value.
    pub at: (usize, usize, f32, f32),
}

impl Agreement {
    /// Were there values, and were all within the tolerance?
    pub fn holds(&self) -> bool {
        self.count > 0 && self.outside == 0
    }

    /// Joins two.
    pub fn and(self, other: Self) -> Self {
        let (a, b) = if other.worst_share > self.worst_share { (other, self) } else { (self, other) };
        Self { count: a.count + b.count, outside: a.outside + b.outside, worst: a.worst.max(b.worst), ..a }
    }
}

/// Compares two pictures value by value. Anything not finite is outside.
pub fn agreement(cpu: &[[f32; 3]], gpu: &[[f32; 3]], tolerance: Tolerance) -> Agreement {
    agreement_within(cpu, gpu, tolerance, &[])
}

/// The same, where each value may lie as much further off as `spread` says; pixels past its end no further.
pub fn agreement_within(
    cpu: &[[f32; 3]],
    gpu: &[[f32; 3]],
    tolerance: Tolerance,
    spread: &[[f32; 3]],
) -> Agreement {
    assert_eq!(cpu.len(), gpu.len(), "the two pictures have the same size");
    let mut result = Agreement::default();
    for (i, (c, g)) in cpu.iter().zip(gpu).enumerate() {
        let largest = c.iter().fold(0f32, |m, v| m.max(v.abs()));
        for channel in 0..3 {
            let (c, g) = (c[channel], g[channel]);
            let difference = (f64::from(c) - f64::from(g)).abs();
            let scale = if tolerance.of_pixel { largest } else { c.abs() };
            let more = spread.get(i).map_or(0.0, |s| s[channel]);
            let allowed = tolerance.abs + tolerance.rel * f64::from(scale) + f64::from(more);
            let share = if difference.is_finite() { difference / allowed } else { f64::INFINITY };
            result.count += 1;
            result.outside += usize::from(share > 1.0);
            result.worst = result.worst.max(if difference.is_finite() { difference } else { f64::INFINITY });
            if share > result.worst_share {
                result.worst_share = share;
                result.at = (i, channel, c, g);
            }
        }
    }
    result
}

fn random(seed: &mut u64) -> f64 {
    // SplitMix64's finaliser (Steele, Lea & Flood 2014), constants from memory.
    *seed = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *seed;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

/// Test pixels: a ramp from −1 to 2 on greys and on each channel, 2⁻¹⁴ to 2⁶ in even ratios, the corners
/// of a cube with a middle, and `extra` random ones from −0.25 to 1.5.
pub fn vectors(extra: usize) -> Vec<[f32; 3]> {
    let mut out = Vec::new();
    for i in 0..=192 {
        let v = -1.0 + 3.0 * i as f32 / 192.0;
        out.extend([[v; 3], [v, 0.4, 0.4], [0.4, v, 0.4], [0.4, 0.4, v]]);
    }
    for i in 0..=160 {
        let v = 2f32.powf(-14.0 + 20.0 * i as f32 / 160.0);
        out.extend([[v; 3], [v, v * 0.5, v * 0.25]]);
    }
    let levels = [0.0, 0.5, 1.0];
    for r in levels {
        for g in levels {
            out.extend(levels.map(|b| [r, g, b]));
        }
    }
    let mut seed = 20_260_101;
    out.extend((0..extra).map(|_| std::array::from_fn(|_| (random(&mut seed) * 1.75 - 0.25) as f32)));
    out
}

/// A recipe that is nothing but one stage, on values of its own domain.
fn one_stage(kind: Kind, values: &[f64], strength: f64) -> Recipe {
    let own = match kind.declaration().domain {
        crate::look::Domain::Acescct => "acescct",
        crate::look::Domain::Linear => "acescg",
    };
    let encoding = encoding(own).expect("the working encodings are in the table");
    let mut recipe = Recipe::conversion(encoding, Tail::Encoding(encoding));
    recipe.balance = Some(Balance::default());
    recipe.stages = vec![StageValues::new(kind, strength, values, None)];
    recipe
}

/// The settings a stage is compared at, with a name for each: defaults, every parameter at each end, and
/// `extra` random settings with random strengths.
pub fn settings(kind: Kind, extra: usize) -> Vec<(String, Recipe)> {
    let d = kind.declaration();
    let mut out = vec![("defaults".to_owned(), one_stage(kind, &d.defaults(), 1.0))];
    for (i, p) in d.parameters.iter().enumerate() {
        for value in [p.min, p.max] {
            let mut values = d.defaults();
            values[i] = value;
            out.push((format!("{} = {value}", p.key), one_stage(kind, &values, 1.0)));
        }
    }
    let mut seed = 7 + kind.0 as u64;
    for n in 0..extra {
        let values: Vec<f64> = d.parameters.iter().map(|p| p.at(random(&mut seed))).collect();
        let strength = random(&mut seed) * d.strength.max;
        out.push((format!("random {n}"), one_stage(kind, &values, strength)));
    }
    out
}

/// The tolerance of a path with a matrix: the relative part is of the pixel.
pub const OF_PIXEL: Tolerance = Tolerance { of_pixel: true, ..TOLERANCE };

/// A thousandth of a 10-bit code: how far a value's rounding may move a signal ahead of a path that magnifies
/// it.
pub const ROUNDING: f32 = 1e-6;

/// How far the CPU's result moves, value by value, when one channel of a pixel moves by `rounding` either way:
/// what is allowed besides a tolerance where powers and slopes magnify the rounding of what they are given.
pub fn spread(recipe: &Recipe, pixels: &[[f32; 3]], rounding: f32) -> Result<Vec<[f32; 3]>, FrameError> {
    let run = |pixels: &[[f32; 3]]| Ok(cpu::signal(recipe, &Frame::from_rgb(128, pixels)?).pixels);
    let still = run(pixels)?;
    let mut out = vec![[0f32; 3]; still.len()];
    for channel in 0..3 {
        for step in [-rounding, rounding] {
            let mut moved = pixels.to_vec();
            for pixel in &mut moved {
                pixel[channel] += step;
            }
            for ((o, a), b) in out.iter_mut().zip(&still).zip(run(&moved)?) {
                for c in 0..3 {
                    o[c] = o[c].max((a[c] - b[c]).abs());
                }
            }
        }
    }
    Ok(out)
}

/// The settings balance is compared at, on ACEScct values: `count` random ones, from near the defaults to
/// the whole of every range.
pub fn balance_settings(count: usize) -> Vec<Recipe> {
    let acescct = encoding("acescct").expect("the working encodings are in the table");
    let mut seed = 404;
    let mut one = |n: usize| {
        let reach = (n + 1) as f64 / count as f64;
        let values = std::array::from_fn(|i| {
            let p = &BALANCE[i];
            p.default + (p.at(random(&mut seed)) - p.default) * reach
        });
        let mut recipe = Recipe::conversion(acescct, Tail::Encoding(acescct));
        recipe.balance = Some(Balance { values });
        recipe
    };
    (0..count).map(&mut one).collect()
}

/// The framings that twins are compared at, on ACEScct values: `count` random ones in a raster of another
/// size, from near the defaults to the whole of every range.
pub fn framing_settings(count: usize) -> Vec<Recipe> {
    let acescct = encoding("acescct").expect("the working encodings are in the table");
    let mut seed = 1981;
    let mut one = |n: usize| {
        let reach = (n + 1) as f64 / count as f64;
        let values = std::array::from_fn(|i| {
            let p = &FRAMING[i];
            p.default + (p.at(random(&mut seed)) - p.default) * reach
        });
        let framing = Framing { values }.fitted(Fitting::ALL[n % 2]);
        Recipe::conversion(acescct, Tail::Encoding(acescct)).framed(framing, Some((96, 54)))
    };
    (0..count).map(&mut one).collect()
}

/// What the check at start-up found.
#[derive(Clone, Debug)]
pub struct CheckReport {
    /// Everything together.
    pub all: Agreement,
    /// What it was that came out worst.
    pub worst: String,
}

/// Runs a small cut of the parity vectors on this GPU: framing, balance and each stage at random settings, and the
/// path to a display.
pub fn self_check(gpu: &Gpu) -> Result<CheckReport, GpuError> {
    let pixels = pad(vectors(256));
    let Ok(frame) = Frame::from_rgb(128, &pixels) else {
        unreachable!("the vectors make a small frame");
    };
    let mut recipes: Vec<(String, Recipe, Tolerance)> = Vec::new();
    recipes.extend(framing_settings(2).into_iter().map(|r| ("framing".to_owned(), r, OF_PIXEL)));
    recipes.extend(balance_settings(2).into_iter().map(|r| ("balance".to_owned(), r, OF_PIXEL)));
    for kind in (0..STAGES.len()).map(Kind) {
        let key = kind.declaration().key;
        recipes.extend(
            settings(kind, 2).into_iter().rev().take(2).map(|(n, r)| (format!("{key}, {n}"), r, TOLERANCE)),
        );
    }
    let (acescct, rec709) = (encoding("acescct"), display("rec709"));
    if let (Some(encoding), Some(display)) = (acescct, rec709) {
        let tail = Tail::display(OutputTransform::Plain, display);
        recipes.push(("display signal".into(), Recipe::conversion(encoding, tail), DARK_SIGNAL));
    }
    let mut report = CheckReport { all: Agreement::default(), worst: String::new() };
    for (name, recipe, tolerance) in recipes {
        let cpu = cpu::signal(&recipe, &frame).pixels;
        let more = if name == "balance" {
            spread(&recipe, &pixels, ROUNDING).unwrap_or_default()
        } else {
            Vec::new()
        };
        let a = agreement_within(&cpu, &gpu.signal(&recipe, &frame)?, tolerance, &more);
        if a.worst_share >= report.all.worst_share {
            report.worst = name;
        }
        report.all = report.all.and(a);
    }
    Ok(report)
}

/// Repeats the last pixel until the rows of 128 are full.
pub fn pad(mut pixels: Vec<[f32; 3]>) -> Vec<[f32; 3]> {
    let last = pixels.last().copied().unwrap_or_default();
    pixels.resize(pixels.len().next_multiple_of(128), last);
    pixels
}
