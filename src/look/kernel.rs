//! How light is spread: shapes made of a pyramid of blurs, so that a wide skirt costs little more than a narrow one.

use std::sync::Mutex;

/// Levels of the pyramid: level n has 1/2ⁿ of the raster's pixels each way.
pub const MOST_LEVELS: usize = 12;

/// How a source is spread. A point of it becomes a sum of blurs of the pyramid's levels, or a ring; what the weights
/// leave of 1 stays where it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Kernel {
    /// Share of each level's blur, by channel, level 1 first; two levels at least, unless the first has a ring.
    pub weights: Vec<[f64; 3]>,
    /// In place of the last level's blur a ring on that level.
    pub ring: Option<Ring>,
}

impl Kernel {
    /// What stays where it is, by channel.
    pub fn rest(&self) -> [f64; 3] {
        std::array::from_fn(|c| 1.0 - self.weights.iter().map(|w| w[c]).sum::<f64>())
    }

    /// A blur alike in every direction of standard deviation `sigma`, in pixels of the raster.
    pub fn blur(sigma: f64, raster: (u32, u32)) -> Self {
        let mut weights = vec![[0.0; 3]; levels(raster)];
        let squared = sigma * sigma;
        // Two neighbouring levels in the shares that give that variance; level 0 blurs nothing.
        let above = (1..weights.len()).find(|l| level_sigma(*l).powi(2) >= squared).unwrap_or(weights.len());
        let (low, high) = (level_sigma(above - 1).powi(2), level_sigma(above).powi(2));
        let share = ((squared - low) / (high - low)).clamp(0.0, 1.0);
        weights[above - 1] = [share; 3];
        if above > 1 {
            weights[above - 2] = [1.0 - share; 3];
        }
        // What weighs nothing need not be made.
        weights.truncate(above.max(2));
        Self { weights, ring: None }
    }
}

/// Light on a circle about where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct Ring {
    /// Pixels of the ring's level from the centre, one for each of the circles it is made of.
    pub radii: [f64; 3],
    /// Share of each circle.
    pub shares: [f64; 3],
}

/// Points on each of a ring's circles.
pub const RING_TAPS: usize = 16;

/// Levels that a raster has: as many as leave the coarsest two to four pixels along its longer side, so that its blur is
/// as wide in every size of a picture; two at least.
pub fn levels((width, height): (u32, u32)) -> usize {
    let side = width.max(height).max(1);
    (side.ilog2() as usize).saturating_sub(1).clamp(2, MOST_LEVELS)
}

/// Standard deviation of a level's blur along one axis, in pixels of the raster: each way down and each way up adds
/// ¾ of a square pixel of the finer level.
pub fn level_sigma(level: usize) -> f64 {
    (0.5 * (4f64.powi(level as i32) - 1.0)).sqrt()
}

/// The skirt of glare at an angle in degrees, to a constant factor: the parts of Spencer and others' photopic point-spread
/// (SIGGRAPH 1995) that are not its core, 0.478 · 20.91/(θ + 0.02)³ + 0.138 · 72.37/(θ + 0.02)².
pub fn glare(degrees: f64) -> f64 {
    let t = degrees + 0.02;
    0.478 * 20.91 / t.powi(3) + 0.138 * 72.37 / t.powi(2)
}

/// The angle in degrees at which the skirt ends.
const SKIRT: f64 = 10.0;

/// Shares of the levels' blurs that give glare's skirt where a degree is `scale` pixels. They are asked for with every
/// frame, so the last ones are kept.
pub(super) fn glare_weights(scale: f64, raster: (u32, u32)) -> Vec<f64> {
    type Kept = ((u64, usize), Vec<f64>);
    static KEPT: Mutex<Vec<Kept>> = Mutex::new(Vec::new());
    let key = (scale.to_bits(), levels(raster));
    let mut kept = KEPT.lock().unwrap_or_else(|e| e.into_inner());
    if let Some((_, weights)) = kept.iter().find(|(k, _)| *k == key) {
        return weights.clone();
    }
    let weights = fit_glare(scale, key.1);
    if kept.len() == 32 {
        kept.remove(0);
    }
    kept.push((key, weights.clone()));
    weights
}

/// The shares for so many levels, by expectation maximisation over rings of equal ratio.
fn fit_glare(scale: f64, count: usize) -> Vec<f64> {
    // Level 0 stands for what stays where it is: half a pixel about.
    let sigmas: Vec<f64> = (0..=count).map(|l| if l == 0 { 0.4 } else { level_sigma(l) }).collect();
    let inner = 0.3f64;
    let outer = (SKIRT * scale).min(2.0 * sigmas[count]).max(4.0);
    let rings = 80;
    let edge = |i: usize| if i == 0 { 0.0 } else { inner * (outer / inner).powf(i as f64 / rings as f64) };
    let edges: Vec<(f64, f64)> = (0..rings).map(|i| (edge(i), edge(i + 1))).collect();
    let mass = |&(from, to): &(f64, f64)| {
        let steps = 8;
        let step = (to - from) / f64::from(steps);
        (0..steps)
            .map(|k| from + (f64::from(k) + 0.5) * step)
            .map(|r| r * step * glare(r / scale))
            .sum::<f64>()
    };
    let wanted: Vec<f64> = edges.iter().map(mass).collect();
    let whole: f64 = wanted.iter().sum();
    // What of a blur falls into each ring.
    let parts: Vec<Vec<f64>> = sigmas
        .iter()
        .map(|s| {
            let within = |r: f64| 1.0 - (-r * r / (2.0 * s * s)).exp();
            edges.iter().map(|(from, to)| within(*to) - within(*from)).collect()
        })
        .collect();
    let mut weights = vec![1.0 / sigmas.len() as f64; sigmas.len()];
    for _ in 0..150 {
        let found: Vec<f64> = (0..rings)
            .map(|i| weights.iter().zip(&parts).map(|(w, p)| w * p[i]).sum::<f64>().max(1e-300))
            .collect();
        for (w, part) in weights.iter_mut().zip(&parts) {
            let (mut moved, mut inside) = (0.0, 0.0);
            for i in 0..rings {
                moved += wanted[i] / whole * part[i] / found[i];
                inside += part[i];
            }
            *w *= moved / inside.max(1e-12);
        }
    }
    let sum: f64 = weights.iter().sum();
    weights[1..].iter().map(|w| w / sum).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blur_has_the_variance_that_it_was_asked_for() {
        for sigma in [0.3, 1.0, 1.9, 7.0, 60.0] {
            let kernel = Kernel::blur(sigma, (1920, 1080));
            let found: f64 =
                kernel.weights.iter().enumerate().map(|(i, w)| w[0] * level_sigma(i + 1).powi(2)).sum();
            assert!((found.sqrt() - sigma).abs() < 1e-9 * sigma, "{sigma}: {}", found.sqrt());
            assert!(kernel.rest()[0] >= -1e-12);
        }
    }

    #[test]
    fn half_a_raster_has_a_level_less() {
        assert_eq!(
            [(1, 1), (9, 3), (960, 540), (1920, 1080), (3840, 2160), (16384, 1)].map(levels),
            [2, 2, 8, 9, 10, 12]
        );
    }
}
