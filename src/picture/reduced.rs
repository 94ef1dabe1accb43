//! A frame made small in light of the scene, before any balance: what statistics are made from.

use std::sync::LazyLock;

use rayon::prelude::*;

use super::cpu::Decoder;
use super::{Decode, Frame, Unpack};
use crate::colour::AP1;

/// Samples each way, at most, that are averaged to a pixel.
const SAMPLES: u32 = 3;

/// A small picture of scene-linear ACEScg light.
#[derive(Clone, Debug, PartialEq)]
pub struct Reduced {
    /// Pixels across.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Row by row; finite, and no channel below 0.
    pub light: Vec<[f64; 3]>,
}

impl Reduced {
    /// A frame, at most `across` pixels wide; never enlarged. Each pixel is the mean light of up to nine samples, spread
    /// evenly over its part of the frame.
    pub fn of(frame: &Frame, decode: impl Into<Decode>, across: u32) -> Self {
        let width = frame.width.min(across.max(1));
        let height = (u64::from(frame.height) * u64::from(width) / u64::from(frame.width)).max(1) as u32;
        let unpack = Unpack::<f32>::of(&frame.format);
        let decoder = Decoder::<f32>::new(&decode.into());
        let light = (0..height)
            .into_par_iter()
            .flat_map_iter(|y| {
                let (unpack, decoder) = (&unpack, &decoder);
                let rows = places(y, height, frame.height);
                (0..width).map(move |x| {
                    let columns = places(x, width, frame.width);
                    let (mut sum, mut count) = ([0.0f64; 3], 0.0);
                    for at_y in rows.clone() {
                        for at_x in columns.clone() {
                            let light = decoder.light(unpack.at(frame, at_x, at_y));
                            sum = std::array::from_fn(|c| sum[c] + f64::from(light[c]));
                            count += 1.0;
                        }
                    }
                    sum.map(|s| if s.is_finite() { (s / count).max(0.0) } else { 0.0 })
                })
            })
            .collect();
        Self { width: width as usize, height: height as usize, light }
    }

    /// The mean over whole blocks of pixels, so that it is at most `across` wide.
    pub fn smaller(&self, across: usize) -> Self {
        let by = self.width.div_ceil(across.max(1)).max(1);
        let (width, height) = ((self.width / by).max(1), (self.height / by).max(1));
        let block = |x: usize, y: usize| {
            let (mut sum, mut count) = ([0.0; 3], 0.0);
            for row in y * by..((y + 1) * by).min(self.height) {
                for column in x * by..((x + 1) * by).min(self.width) {
                    let light = self.light[row * self.width + column];
                    sum = std::array::from_fn(|c| sum[c] + light[c]);
                    count += 1.0;
                }
            }
            sum.map(|s| s / count)
        };
        let light = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| block(x, y));
        Self { width, height, light: light.collect() }
    }

    /// The same picture with every pixel put through a function.
    pub fn mapped(&self, f: impl Fn([f64; 3]) -> [f64; 3]) -> Self {
        let light = self.light.iter().map(|l| f(*l).map(|v| if v.is_finite() { v.max(0.0) } else { 0.0 }));
        Self { light: light.collect(), ..*self }
    }

    /// Luminance of every pixel, row by row.
    pub fn luminance(&self) -> Vec<f64> {
        self.light.iter().map(|l| luminance(*l)).collect()
    }
}

/// Luminance of ACEScg light.
pub fn luminance(light: [f64; 3]) -> f64 {
    static WEIGHTS: LazyLock<[f64; 3]> = LazyLock::new(|| AP1.to_xyz().0[1]);
    WEIGHTS.iter().zip(light).map(|(w, v)| w * v).sum()
}

/// Rows or columns of a frame that stand for a pixel of the small picture.
fn places(at: u32, of: u32, side: u32) -> std::iter::StepBy<std::ops::Range<u32>> {
    let edge = |i: u32| (u64::from(i) * u64::from(side) / u64::from(of)) as u32;
    let (start, end) = (edge(at), edge(at + 1).max(edge(at) + 1));
    let step = (end - start).div_ceil(SAMPLES);
    // In the middle of each step, so that they lie evenly.
    (start + (step - 1) / 2..end).step_by(step as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::encoding;

    #[test]
    fn a_small_picture_is_the_mean_of_the_large_one() {
        let pixels: Vec<[f32; 3]> = (0..36).map(|i| [i as f32 % 6.0, (i / 6) as f32, 0.5]).collect();
        let frame = Frame::from_rgb(6, &pixels).unwrap();
        let small = Reduced::of(&frame, encoding("acescg").unwrap(), 2);
        assert_eq!((small.width, small.height), (2, 2));
        assert_eq!(small.light, [[1.0, 1.0, 0.5], [4.0, 1.0, 0.5], [1.0, 4.0, 0.5], [4.0, 4.0, 0.5]]);
        let whole = Reduced::of(&frame, encoding("acescg").unwrap(), 100);
        assert_eq!((whole.width, whole.height), (6, 6), "never enlarged");
        assert_eq!(whole.smaller(2), small);
        assert_eq!(whole.smaller(1).light, [[2.5, 2.5, 0.5]]);
    }

    #[test]
    fn what_is_no_light_is_none() {
        let frame = Frame::from_rgb(2, &[[f32::NAN, -1.0, 2.0], [f32::INFINITY, 0.0, 1.0]]).unwrap();
        for light in Reduced::of(&frame, encoding("acescg").unwrap(), 2).light {
            assert!(light.iter().all(|v| v.is_finite() && *v >= 0.0), "{light:?}");
        }
    }
}
