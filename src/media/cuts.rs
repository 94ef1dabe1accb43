//! Where a movie of many shots is cut, as proposals.
//!
//! B.-L. Yeo and B. Liu, *Rapid Scene Analysis on Compressed Video*, IEEE Trans. Circuits and Systems for Video Technology 5(6),
//! 533–544, 1995, section III: the difference of two frames is the sum of the differences of their blocks' means; a cut is where it
//! is the largest of a window around it and [`RATIO`] times the second largest or more. So the measure adapts to how much a shot
//! moves, and a flash, which makes two large differences, is no cut. Dissolves and fades are not found.

use crate::picture::{Frame, Model, Sample};

/// Pixels of a block either way, as in the paper.
const BLOCK: usize = 8;
/// Differences on either side that belong to the window.
const REACH: usize = 10;
/// How many times the second largest a cut is; the paper's figures are 2 to 3.
pub const RATIO: f64 = 3.0;
/// The least mean difference, of the whole range: under it, it is the noise of a still picture. (Set here.)
const LEAST: f64 = 0.01;

/// A place where a movie may be cut.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Cut {
    /// The first frame after it, counted from the first that was pushed.
    pub frame: u64,
    /// How many times the window's second largest difference it is; at most 999.
    pub score: f64,
}

/// Takes frames one after the other.
#[derive(Default)]
pub struct CutFinder {
    last: Vec<f32>,
    differences: Vec<f64>,
    frames: u64,
}

/// Means of a frame's blocks, of luma or green, 0…1.
fn means(frame: &Frame) -> Vec<f32> {
    let plane = &frame.planes[usize::from(frame.format.model == Model::Rgb)];
    let (width, height) = (plane.width as usize, plane.height as usize);
    let bytes = frame.format.sample.bytes();
    let scale = match frame.format.sample {
        Sample::U8 | Sample::U16 => 1.0 / ((1u64 << frame.format.depth) - 1) as f32,
        Sample::F16 | Sample::F32 => 1.0,
    };
    let value = |x: usize, y: usize| {
        let at = &plane.data[(y * width + x) * bytes..];
        let value = match frame.format.sample {
            Sample::U8 => f32::from(at[0]),
            Sample::U16 => f32::from(u16::from_le_bytes([at[0], at[1]])),
            Sample::F16 => half::f16::from_le_bytes([at[0], at[1]]).to_f32(),
            Sample::F32 => f32::from_le_bytes([at[0], at[1], at[2], at[3]]),
        };
        // Light has no upper end: a root of it is nearer to what is seen.
        if frame.format.sample.is_float() { value.clamp(0.0, 16.0).sqrt() * 0.25 } else { value * scale }
    };
    let (across, down) = (width.div_ceil(BLOCK), height.div_ceil(BLOCK));
    let mut out = Vec::with_capacity(across * down);
    for row in 0..down {
        for column in 0..across {
            let (mut sum, mut count) = (0.0, 0.0);
            for y in (row * BLOCK..((row + 1) * BLOCK).min(height)).step_by(2) {
                for x in (column * BLOCK..((column + 1) * BLOCK).min(width)).step_by(2) {
                    sum += value(x, y);
                    count += 1.0;
                }
            }
            out.push(sum / count);
        }
    }
    out
}

impl CutFinder {
    /// Takes the next frame.
    pub fn push(&mut self, frame: &Frame) {
        let means = means(frame);
        if self.frames > 0 && means.len() == self.last.len() {
            let sum: f64 = means.iter().zip(&self.last).map(|(a, b)| f64::from((a - b).abs())).sum();
            self.differences.push(sum / means.len().max(1) as f64);
        }
        self.last = means;
        self.frames += 1;
    }

    /// The cuts, in order, whose score is `least` or more.
    pub fn cuts(&self, least: f64) -> Vec<Cut> {
        let d = &self.differences;
        let mut found = Vec::new();
        for (i, &here) in d.iter().enumerate() {
            let window = i.saturating_sub(REACH)..(i + REACH + 1).min(d.len());
            let others = window.filter(|j| *j != i).map(|j| d[j]);
            let second = others.fold(0.0, f64::max);
            let score = (here / second.max(1e-6)).min(999.0);
            if here >= LEAST && here > second && score >= least {
                found.push(Cut { frame: i as u64 + 1, score });
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture of one level with a moving band and some noise.
    fn picture(level: f32, shift: u32) -> Frame {
        let pixels: Vec<[f32; 3]> = (0..64u32 * 36)
            .map(|i| {
                let band = if (i % 64 + shift) % 32 < 8 { 0.05 } else { 0.0 };
                let noise =
                    ((i.wrapping_mul(2_654_435_761) ^ shift.wrapping_mul(97)) >> 24) as f32 / 25_600.0;
                [level + band + noise; 3]
            })
            .collect();
        Frame::from_rgb(64, &pixels).unwrap()
    }

    #[test]
    fn cuts_are_found_and_flashes_and_movement_are_not() {
        let mut finder = CutFinder::default();
        for n in 0..120u32 {
            let level = match n {
                0..40 => 0.1,
                40..75 => 0.5,
                75..100 => 0.2,
                _ => 0.2 + 0.02 * (n - 100) as f32,
            };
            // One bright frame: a flash.
            let level = if n == 20 { 0.9 } else { level };
            finder.push(&picture(level, n));
        }
        let cuts = finder.cuts(RATIO);
        assert_eq!(cuts.iter().map(|c| c.frame).collect::<Vec<_>>(), [40, 75], "{cuts:?}");
        assert!(cuts.iter().all(|c| c.score >= 3.0));
        assert!(finder.cuts(900.0).is_empty());
    }
}
