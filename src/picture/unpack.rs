//! Stored samples to full-range R'G'B' signal: chroma placed, matrix and range undone, and nothing
//! left that is not a finite number.

use super::{Format, Frame, Model, Sample, Siting};
use crate::colour::{LINEAR_MAX, Matrix, Real, code_to_signal};

/// A format's numbers, ready for the pixel loop. Twin: `shaders/picture/unpack.wgsl`.
#[derive(Clone, Copy, Debug)]
pub struct Unpack<T> {
    /// Chroma samples for each luma sample, across and down.
    pub chroma_scale: [T; 2],
    /// Position of the first chroma sample in luma samples.
    pub chroma_start: [T; 2],
    /// Codes to signal.
    pub matrix: [T; 9],
    /// Added after the matrix.
    pub offset: [T; 3],
}

impl<T: Real> Unpack<T> {
    /// What a format asks for.
    pub fn of(format: &Format) -> Self {
        let (dx, dy) = format.chroma.divisors();
        let (cx, cy) = match format.siting {
            Siting::Left => (0.0, 0.5),
            Siting::Centre => (0.5, 0.5),
            Siting::TopLeft => (0.0, 0.0),
        };
        let start = |divisor: u32, start: f64| if divisor == 1 { 0.0 } else { start };
        let (matrix, offset) = if format.sample.is_float() {
            match format.model {
                Model::Rgb => (Matrix::IDENTITY, [0.0; 3]),
                Model::Ycbcr(m) => (m.to_rgb(), [0.0; 3]),
            }
        } else {
            let model = match format.model {
                Model::Rgb => None,
                Model::Ycbcr(m) => Some(m),
            };
            code_to_signal(format.depth, format.range, model)
        };
        Self {
            chroma_scale: [T::of(1.0 / f64::from(dx)), T::of(1.0 / f64::from(dy))],
            chroma_start: [T::of(start(dx, cx)), T::of(start(dy, cy))],
            matrix: matrix.rows(),
            offset: offset.map(T::of),
        }
    }

    /// The signal at a pixel of a frame that has this format.
    pub fn at(&self, frame: &Frame, x: u32, y: u32) -> [T; 3] {
        self.signal(self.samples(frame, x, y))
    }

    /// A pixel's samples as they are stored, chroma between its own. Twin: `unpack_samples`.
    pub fn samples(&self, frame: &Frame, x: u32, y: u32) -> [T; 3] {
        let first = sample(frame, 0, x, y);
        if frame.planes[1].width == frame.width && frame.planes[1].height == frame.height {
            [first, sample(frame, 1, x, y), sample(frame, 2, x, y)]
        } else {
            [first, self.chroma(frame, 1, x, y), self.chroma(frame, 2, x, y)]
        }
    }

    /// Samples, or a mean of samples, to signal. Twin: `unpack_signal`.
    pub fn signal(&self, samples: [T; 3]) -> [T; 3] {
        let m = &self.matrix;
        std::array::from_fn(|r| {
            clean(
                m[3 * r] * samples[0]
                    + m[3 * r + 1] * samples[1]
                    + m[3 * r + 2] * samples[2]
                    + self.offset[r],
            )
        })
    }

    /// Chroma between its samples, bilinear, held at the edges.
    fn chroma(&self, frame: &Frame, plane: usize, x: u32, y: u32) -> T {
        let place = |axis: usize, at: u32, length: u32| {
            let c = (T::of(at.into()) - self.chroma_start[axis]) * self.chroma_scale[axis];
            let low = c.whole();
            let limit = |v: f64| v.clamp(0.0, f64::from(length - 1)) as u32;
            (limit(low.to_f64()), limit(low.to_f64() + 1.0), c - low)
        };
        let p = &frame.planes[plane];
        let (x0, x1, tx) = place(0, x, p.width);
        let (y0, y1, ty) = place(1, y, p.height);
        // Weights of the corners in turn, as the shader sums them.
        let one = T::of(1.0);
        let across = [one - tx, tx];
        let down = [one - ty, ty];
        let mut sum = T::of(0.0);
        for (row, weight) in [y0, y1].into_iter().zip(down) {
            sum = sum + across[0] * weight * sample(frame, plane, x0, row);
            sum = sum + across[1] * weight * sample(frame, plane, x1, row);
        }
        sum
    }
}

fn sample<T: Real>(frame: &Frame, plane: usize, x: u32, y: u32) -> T {
    let p = &frame.planes[plane];
    let at = (y as usize * p.width as usize + x as usize) * frame.format.sample.bytes();
    let d = &p.data[at..];
    match frame.format.sample {
        Sample::U8 => T::of(d[0].into()),
        Sample::U16 => T::of(u16::from_le_bytes([d[0], d[1]]).into()),
        Sample::F16 => clean(T::of(half::f16::from_le_bytes([d[0], d[1]]).to_f64())),
        Sample::F32 => clean(T::of(f32::from_le_bytes([d[0], d[1], d[2], d[3]]).into())),
    }
}

/// 0 for NaN; everything else held within ±65504.
pub fn clean<T: Real>(v: T) -> T {
    let limit = T::of(LINEAR_MAX);
    if v.to_f64().is_nan() { T::of(0.0) } else { v.at_most(limit).at_least(-limit) }
}
