//! A display's R'G'B' signal to stored samples: matrix, chroma placed, range, dither. The way back from [`super::Unpack`].
//!
//! Quantisation is BT.2100-2 table 9's. Chroma is made smaller by the triangle that reaches from one chroma sample to the
//! next, zimg's "bilinear": 1 2 1 where a sample sits on a luma sample, 1 3 3 1 where it sits between two. What is black, white
//! or grey in the signal is so in the codes: those get no noise.

use rayon::prelude::*;

use super::{Format, Model, Siting, noise};
use crate::colour::Range;

/// A picture in integer codes, in planes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packed {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// What the codes mean.
    pub format: Format,
    /// R, G, B or Y', C_B, C_R, rows from the top, without padding.
    pub planes: [Vec<u16>; 3],
}

/// Signals as near as this to black, white or grey are taken for it.
const NEAR: f32 = 1e-6;

/// How many code values a signal of 1 spans, its zero, and the codes that video may use.
struct Scale {
    span: f32,
    zero: f32,
    low: f32,
    high: f32,
}

impl Scale {
    fn of(format: &Format, chroma: bool) -> Self {
        let step = (1u32 << (format.depth - 8)) as f32;
        let full = ((1u64 << format.depth) - 1) as f32;
        let half = (1u32 << (format.depth - 1)) as f32;
        // The lowest and the highest 8-bit code, and what they are at other depths, are for synchronisation (BT.2100-2 table 9).
        let (low, high) = match format.range {
            Range::Narrow => (step, full - step),
            Range::Full => (0.0, full),
        };
        let (span, zero) = match (format.range, chroma) {
            (Range::Narrow, false) => (219.0 * step, 16.0 * step),
            (Range::Narrow, true) => (224.0 * step, half),
            (Range::Full, false) => (full, 0.0),
            (Range::Full, true) => (full, half),
        };
        Self { span, zero, low, high }
    }

    fn code(&self, signal: f32, noise: impl FnOnce() -> f32) -> u16 {
        let plain = signal.abs() < NEAR || (signal - 1.0).abs() < NEAR;
        let noise = if plain { 0.0 } else { noise() };
        (signal * self.span + self.zero + 0.5 + noise).floor().clamp(self.low, self.high) as u16
    }
}

/// Weights of the samples around a chroma sample, from the first that is read.
fn taps(divisor: u32, between: bool) -> (i64, &'static [f32]) {
    match (divisor, between) {
        (1, _) => (0, &[1.0]),
        (_, false) => (-1, &[0.25, 0.5, 0.25]),
        (_, true) => (-1, &[0.125, 0.375, 0.375, 0.125]),
    }
}

/// Signal 0…1 of `width × height` pixels to codes of `format`, an integer one. `frame` seeds the noise; without `dither` codes
/// are rounded to the nearest, halves up.
pub fn pack(
    pixels: &[[f32; 3]],
    (width, height): (u32, u32),
    format: Format,
    frame: u32,
    dither: bool,
) -> Packed {
    let drawn = |x: usize, y: usize, channel: u32| {
        if dither { noise(x as u32, y as u32, channel, frame) } else { 0.0 }
    };
    let across = width as usize;
    let mut planes = [0, 1, 2].map(|p| {
        let (w, h) = format.plane_size(p, width, height);
        vec![0u16; w as usize * h as usize]
    });
    let luma = Scale::of(&format, false);
    let weights = match format.model {
        Model::Rgb => {
            for (channel, plane) in planes.iter_mut().enumerate() {
                let rows = plane.par_chunks_mut(across).zip(pixels.par_chunks(across)).enumerate();
                rows.for_each(|(y, (row, pixels))| {
                    for (x, (out, pixel)) in row.iter_mut().zip(pixels).enumerate() {
                        *out = luma.code(pixel[channel], || drawn(x, y, channel as u32));
                    }
                });
            }
            return Packed { width, height, format, planes };
        }
        Model::Ycbcr(matrix) => matrix.weights(),
    };
    let (kr, kb) = (weights.0 as f32, weights.1 as f32);
    let (to_cb, to_cr) = (0.5 / (1.0 - kb), 0.5 / (1.0 - kr));
    let luma_of = |p: &[f32; 3]| kr * p[0] + (1.0 - kr - kb) * p[1] + kb * p[2];
    let [ys, cbs, crs] = &mut planes;
    ys.par_chunks_mut(across).zip(pixels.par_chunks(across)).enumerate().for_each(|(y, (row, pixels))| {
        for (x, (out, pixel)) in row.iter_mut().zip(pixels).enumerate() {
            *out = luma.code(luma_of(pixel), || drawn(x, y, 0));
        }
    });
    let chroma = Scale::of(&format, true);
    let (dx, dy) = format.chroma.divisors();
    let (left, right) = taps(dx, format.siting == Siting::Centre);
    let (above, below) = taps(dy, format.siting != Siting::TopLeft);
    let narrow = width.div_ceil(dx) as usize;
    let rows = cbs.par_chunks_mut(narrow).zip(crs.par_chunks_mut(narrow)).enumerate();
    rows.for_each_init(
        || vec![[0f32; 2]; across],
        |line, (y, (cb, cr))| {
            line.fill([0.0; 2]);
            for (i, weight) in (0i64..).zip(below) {
                let from = ((y as i64 * i64::from(dy)) + above + i).clamp(0, i64::from(height) - 1) as usize;
                for (sum, pixel) in line.iter_mut().zip(&pixels[from * across..][..across]) {
                    let y = luma_of(pixel);
                    sum[0] += weight * (pixel[2] - y) * to_cb;
                    sum[1] += weight * (pixel[0] - y) * to_cr;
                }
            }
            for x in 0..narrow {
                let mut sum = [0f32; 2];
                for (i, weight) in (0i64..).zip(right) {
                    let from = (x as i64 * i64::from(dx) + left + i).clamp(0, across as i64 - 1) as usize;
                    sum = [sum[0] + weight * line[from][0], sum[1] + weight * line[from][1]];
                }
                cb[x] = chroma.code(sum[0], || drawn(x, y, 1));
                cr[x] = chroma.code(sum[1], || drawn(x, y, 2));
            }
        },
    );
    Packed { width, height, format, planes }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::YcbcrMatrix;
    use crate::picture::{Buffer, Chroma, Frame, Sample, Unpack};

    fn narrow(matrix: YcbcrMatrix, chroma: Chroma, siting: Siting) -> Format {
        let model = Model::Ycbcr(matrix);
        Format { model, sample: Sample::U16, depth: 10, range: Range::Narrow, chroma, siting }
    }

    #[test]
    fn bars_have_their_published_codes() {
        // ITU-R BT.709-6 item 5.3 with 3.2, 75 % bars at 10 bits, as EBU and SMPTE RP 219 list them.
        let bars = [
            [0.75, 0.75, 0.75],
            [0.75, 0.75, 0.0],
            [0.0, 0.75, 0.75],
            [0.0, 0.75, 0.0],
            [0.75, 0.0, 0.75],
            [0.75, 0.0, 0.0],
            [0.0, 0.0, 0.75],
        ];
        let wanted = [
            [721, 512, 512],
            [674, 176, 543],
            [581, 589, 176],
            [534, 253, 207],
            [251, 771, 817],
            [204, 435, 848],
            [111, 848, 481],
        ];
        let p = pack(&bars, (7, 1), narrow(YcbcrMatrix::Bt709, Chroma::C444, Siting::Left), 0, false);
        for (i, wanted) in wanted.iter().enumerate() {
            assert_eq!([p.planes[0][i], p.planes[1][i], p.planes[2][i]], *wanted, "bar {i}");
        }
    }

    #[test]
    fn what_is_packed_is_unpacked() {
        // A field of each colour, so that chroma between samples is that colour too; odd sizes.
        for matrix in [YcbcrMatrix::Bt601, YcbcrMatrix::Bt709, YcbcrMatrix::Bt2020] {
            for (chroma, siting) in [
                (Chroma::C444, Siting::Left),
                (Chroma::C422, Siting::Left),
                (Chroma::C420, Siting::Left),
                (Chroma::C420, Siting::Centre),
                (Chroma::C420, Siting::TopLeft),
            ] {
                for colour in [[0.1f32, 0.5, 0.9], [1.0, 0.0, 0.0], [0.0; 3], [1.0; 3], [0.3; 3]] {
                    let format = narrow(matrix, chroma, siting);
                    let p = pack(&[colour; 5 * 7], (7, 5), format, 3, true);
                    let bytes = |p: &Vec<u16>| Buffer::from(bytemuck::cast_slice::<u16, u8>(p).to_vec());
                    let frame = Frame::new(7, 5, format, p.planes.each_ref().map(bytes)).unwrap();
                    let back = Unpack::<f64>::of(&format).at(&frame, 6, 4);
                    // A code of rounding and of noise in each plane.
                    for c in 0..3 {
                        assert!(
                            (back[c] - f64::from(colour[c])).abs() < 6.0 / 876.0,
                            "{format:?} {colour:?} {back:?}"
                        );
                    }
                    if colour[0] == colour[2] {
                        assert!(p.planes[1].iter().chain(&p.planes[2]).all(|c| *c == 512), "grey stays grey");
                    }
                    if colour[0] == colour[2] && [0.0, 1.0].contains(&colour[0]) {
                        let code = if colour[0] == 0.0 { 64 } else { 940 };
                        assert!(p.planes[0].iter().all(|c| *c == code), "ends have no noise");
                    }
                }
            }
        }
    }

    #[test]
    fn noise_moves_no_mean() {
        let pixels = vec![[0.4f32, 0.45, 0.41]; 256 * 256];
        let format = narrow(YcbcrMatrix::Bt709, Chroma::C420, Siting::Left);
        let p = pack(&pixels, (256, 256), format, 11, true);
        let mean = |p: &[u16]| p.iter().map(|c| f64::from(*c)).sum::<f64>() / p.len() as f64;
        let y = 0.2126 * 0.4 + 0.7152 * 0.45 + 0.0722 * 0.41;
        let wanted =
            [64.0 + 876.0 * y, 512.0 + 896.0 * (0.41 - y) / 1.8556, 512.0 + 896.0 * (0.4 - y) / 1.5748];
        for (plane, wanted) in p.planes.iter().zip(wanted) {
            assert!((mean(plane) - wanted).abs() < 0.02, "{} {wanted}", mean(plane));
            assert!(plane.iter().any(|c| *c != plane[0]), "there is noise");
        }
    }
}
