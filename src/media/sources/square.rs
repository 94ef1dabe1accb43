//! Frames whose pixels are not square, made square: squeezed lenses, and standard definition.
//!
//! A frame is enlarged one way and never made smaller: across where its pixels are wide, down where they are tall. Its samples
//! are interpolated by cubic convolution (Keys, as framing does it; [`kernel`]) and stay what they are, rounded where they are whole
//! numbers; smaller chroma is interpolated to luma's size first.

use rayon::prelude::*;

use crate::picture::{Buffer, Chroma, Format, Frame, MAX_SIDE, Sample, Unpack, clean, kernel};

/// Pixels nearer to square than this are taken for it: encoders write such ratios where sizes are rounded.
const NEAR: f64 = 0.01;

/// How frames are made square.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Square {
    across: bool,
    /// Size afterwards.
    pub size: (u32, u32),
}

impl Square {
    /// For frames of a size whose pixels have that ratio of width to height; none where nothing is to be done, or the frame would
    /// become too large.
    pub fn of((x, y): (u32, u32), (width, height): (u32, u32)) -> Option<Self> {
        let aspect = f64::from(x) / f64::from(y.max(1));
        if !(0.1..=10.0).contains(&aspect) || (aspect - 1.0).abs() < NEAR {
            return None;
        }
        let longer = |side: u32, by: f64| (f64::from(side) * by).round() as u32;
        let across = aspect > 1.0;
        let size =
            if across { (longer(width, aspect), height) } else { (width, longer(height, 1.0 / aspect)) };
        (size.0 <= MAX_SIDE && size.1 <= MAX_SIDE).then_some(Self { across, size })
    }

    /// The format of such frames afterwards.
    pub fn format(format: Format) -> Format {
        Format { chroma: Chroma::C444, ..format }
    }

    /// The planes of a frame, made square.
    pub fn planes(self, frame: &Frame) -> [Buffer; 3] {
        let unpack = Unpack::<f32>::of(&frame.format);
        let (from, to) = if self.across { (frame.width, self.size.0) } else { (frame.height, self.size.1) };
        let taps: Vec<(i64, [f32; 4])> = (0..to).map(|at| taps(at, from, to)).collect();
        let held = |at: i64| at.clamp(0, i64::from(from) - 1) as u32;
        let (width, bytes) = (self.size.0 as usize, frame.format.sample.bytes());
        let most = ((1u64 << frame.format.depth) - 1) as f32;
        let mut planes = [0, 1, 2].map(|_| vec![0u8; width * self.size.1 as usize * bytes]);
        let [a, b, c] = &mut planes;
        let rows = a
            .par_chunks_mut(width * bytes)
            .zip(b.par_chunks_mut(width * bytes))
            .zip(c.par_chunks_mut(width * bytes));
        rows.enumerate().for_each(|(y, ((a, b), c))| {
            for x in 0..width {
                let (first, weights) = &taps[if self.across { x } else { y }];
                let mut sum = [0f32; 3];
                for (i, weight) in (0i64..).zip(weights) {
                    let near = held(first + i);
                    let (from_x, from_y) = if self.across { (near, y as u32) } else { (x as u32, near) };
                    let samples = unpack.samples(frame, from_x, from_y);
                    sum = std::array::from_fn(|p| sum[p] + weight * samples[p]);
                }
                for (plane, value) in [&mut *a, &mut *b, &mut *c].into_iter().zip(sum) {
                    put(&mut plane[x * bytes..][..bytes], frame.format.sample, value, most);
                }
            }
        });
        planes.map(Buffer::from)
    }
}

/// The first sample that is read for a place, and the weights of it and the three after it.
fn taps(at: u32, from: u32, to: u32) -> (i64, [f32; 4]) {
    let place = (f64::from(at) + 0.5) * f64::from(from) / f64::from(to) - 0.5;
    let low = place.floor();
    let weights = std::array::from_fn(|i| kernel(place - low - (i as f64 - 1.0)) as f32);
    (low as i64 - 1, weights)
}

fn put(to: &mut [u8], sample: Sample, value: f32, most: f32) {
    let code = (value + 0.5).clamp(0.0, most) as u16;
    match sample {
        Sample::U8 => to[0] = code as u8,
        Sample::U16 => to.copy_from_slice(&code.to_le_bytes()),
        Sample::F16 => to.copy_from_slice(&half::f16::from_f32(clean(value)).to_le_bytes()),
        Sample::F32 => to.copy_from_slice(&value.to_le_bytes()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_enlarged_one_way_and_keep_ramps() {
        assert_eq!(Square::of((2, 1), (96, 54)).unwrap().size, (192, 54));
        assert_eq!(Square::of((8, 9), (720, 480)).unwrap().size, (720, 540));
        assert_eq!(Square::of((572, 573), (255, 143)), None);
        assert_eq!(Square::of((1, 1), (255, 143)), None);
        assert_eq!(Square::of((2, 1), (MAX_SIDE, 143)), None);
        // A ramp stays one: cubic convolution reproduces it (Keys 1981), but for the ends, which are held.
        let pixels: Vec<[f32; 3]> =
            (0..32 * 4).map(|i| [(i % 32) as f32, 0.5, 1.0 - (i % 32) as f32]).collect();
        let frame = Frame::from_rgb(32, &pixels).unwrap();
        let square = Square::of((2, 1), (32, 4)).unwrap();
        let planes = square.planes(&frame);
        let out = Frame::new(64, 4, Square::format(frame.format), planes).unwrap();
        let value = |p: usize, x: usize| {
            f32::from_le_bytes(out.planes[p].data[(64 + x) * 4..][..4].try_into().unwrap())
        };
        for x in 4..60 {
            let wanted = (x as f32 + 0.5) / 2.0 - 0.5;
            assert!(
                (value(0, x) - wanted).abs() < 1e-4 && (value(1, x) - 0.5).abs() < 1e-6,
                "{x}: {}",
                value(0, x)
            );
        }
    }
}
