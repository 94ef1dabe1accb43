//! A patch of a frame: which pixels, and the light they hold before any balance.

use super::cpu::Decoder;
use super::{Decode, Frame, Unpack};

/// A rectangle of a frame's pixels; at least one, all inside the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Area {
    /// The first column.
    pub x: u32,
    /// The first row.
    pub y: u32,
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

/// Samples of an area each way, at most; of a larger one every second, third … pixel is taken.
const MOST: u32 = 128;

impl Area {
    /// From one place of a frame to another, in shares 0…1 of its width and height, both included; at least
    /// `least` pixels each way, about the same middle, and pushed into the frame.
    pub fn between(frame: &Frame, from: [f64; 2], to: [f64; 2], least: u32) -> Self {
        let span = |axis: usize, length: u32| {
            let at = |share: f64| ((share.clamp(0.0, 1.0) * f64::from(length)) as u32).min(length - 1);
            let (a, b) = (at(from[axis].min(to[axis])), at(from[axis].max(to[axis])));
            let count = (b - a + 1).max(least).min(length);
            let start = a.saturating_sub((count - (b - a + 1)) / 2);
            (start.min(length - count), count)
        };
        let ((x, width), (y, height)) = (span(0, frame.width), span(1, frame.height));
        Self { x, y, width, height }
    }

    /// `size` × `size` pixels around a pixel of a frame, pushed into the frame; `None` for a pixel outside it.
    pub fn around(frame: &Frame, x: u32, y: u32, size: u32) -> Option<Self> {
        let share = |at: u32, length: u32| (f64::from(at) + 0.5) / f64::from(length);
        let at = [share(x, frame.width), share(y, frame.height)];
        (x < frame.width && y < frame.height).then(|| Self::between(frame, at, at, size.max(1)))
    }

    /// The pixels that stand for it, at least one.
    pub fn samples(self) -> impl Iterator<Item = (u32, u32)> {
        let (dx, dy) = (self.width.div_ceil(MOST) as usize, self.height.div_ceil(MOST) as usize);
        let rows = (self.y..self.y + self.height).skip(dy / 2).step_by(dy);
        rows.flat_map(move |y| (self.x..self.x + self.width).skip(dx / 2).step_by(dx).map(move |x| (x, y)))
    }
}

/// Mean scene-linear ACEScg light of an area of a frame whose values `decode`, or an encoding alone, gives meaning.
pub fn mean_light(frame: &Frame, decode: impl Into<Decode>, area: Area) -> [f64; 3] {
    let unpack = Unpack::<f64>::of(&frame.format);
    let decoder = Decoder::<f64>::new(&decode.into());
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for (x, y) in area.samples() {
        let light = decoder.light(unpack.at(frame, x, y));
        sum = std::array::from_fn(|c| sum[c] + light[c]);
        count += 1.0;
    }
    sum.map(|s| s / count)
}
