//! Levels, gamut, black and clip of the signal that is delivered.

use rayon::prelude::*;

use super::super::report::Declared;
use super::FrameFigures;
use crate::colour::{Adaptation, BT2020, CurveValues, Display, Range, YcbcrMatrix, apply, conversion};
use crate::picture::{Buffer, Chroma, Format, Frame, Model, Sample, Siting, Unpack, pack};

const R103: &str =
    "EBU R 103 (3.0, 2020): 5 % of the range from black to white either way, 20 to 984 of 10 bits";

/// What is measured here.
pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "signal-least",
        measure: "S1",
        name: "Least of Y', R', G', B'",
        unit: "%",
        digits: 1,
        definition: "The least value of luma and of the R'G'B' that comes of the delivered Y'CbCr: 0 % is code 64 of 10 bits.",
        source: R103,
    },
    Declared {
        key: "signal-most",
        measure: "S1",
        name: "Greatest of Y', R', G', B'",
        unit: "%",
        digits: 1,
        definition: "The greatest: 100 % is code 940 of 10 bits.",
        source: R103,
    },
    Declared {
        key: "signal-past",
        measure: "S1",
        name: "Picture past −5 … 105 %",
        unit: "%",
        digits: 2,
        definition: "Share of a frame's pixels with any of the four past the limits, without the filter that the recommendation allows.",
        source: R103,
    },
    Declared {
        key: "gamut-outside",
        measure: "S2",
        name: "Picture outside the gamut",
        unit: "%",
        digits: 2,
        definition: "Share of a frame's pixels whose light has a channel below −0.5 % of peak in the primaries that the display keeps within.",
        source: "the display's limiting primaries; the tolerance is practice",
    },
    Declared {
        key: "black-share",
        measure: "S3",
        name: "Picture at black",
        unit: "%",
        digits: 1,
        definition: "Share of a frame's pixels with luma at code 64 of 10 bits or below.",
        source: "practice",
    },
    Declared {
        key: "clip-share",
        measure: "S3",
        name: "Picture at the peak",
        unit: "%",
        digits: 1,
        definition: "Share of a frame's pixels with a channel at the display's peak.",
        source: "practice",
    },
];

/// Light below this share of peak is outside a gamut.
const OUTSIDE: f32 = -0.005;

pub(super) struct SignalMeter {
    size: (u32, u32),
    format: Format,
    unpack: Unpack<f32>,
    curve: CurveValues<f32>,
    to_limit: [f32; 9],
    matrix: YcbcrMatrix,
    peak: f32,
}

impl SignalMeter {
    pub fn new(display: &Display, size: (u32, u32)) -> Self {
        let matrix = if display.primaries == BT2020 { YcbcrMatrix::Bt2020 } else { YcbcrMatrix::Bt709 };
        let (model, sample, range) = (Model::Ycbcr(matrix), Sample::U16, Range::Narrow);
        let (chroma, siting) = (Chroma::C422, Siting::Left);
        let format = Format { model, sample, depth: 10, range, chroma, siting };
        let curve: CurveValues<f32> = display.curve.values();
        let to_limit = conversion(&display.primaries, &display.limit, Adaptation::Bradford).rows();
        let peak = curve.encode_light([1.0; 3]).into_iter().fold(0.0, f32::max);
        Self { size, format, unpack: Unpack::of(&format), curve, to_limit, matrix, peak }
    }

    /// All but the flashes of a frame.
    pub fn measure(&self, pixels: &[[f32; 3]]) -> FrameFigures {
        let (width, height) = self.size;
        let packed = pack(pixels, self.size, self.format, 0, false);
        let bytes = packed.planes.map(|p| Buffer::from(bytemuck::cast_slice::<u16, u8>(&p).to_vec()));
        let Ok(frame) = Frame::new(width, height, self.format, bytes) else { return FrameFigures::default() };
        let (kr, kb) = self.matrix.weights();
        let (kr, kb) = (kr as f32, kb as f32);
        // Two thousandths under the peak is where a code of rounding could have brought it from.
        let at_peak = self.peak - 0.002;
        let rows = (0..height).into_par_iter().map(|y| {
            let mut row = Counts::default();
            for x in 0..width {
                let signal = self.unpack.at(&frame, x, y);
                let luma = kr * signal[0] + (1.0 - kr - kb) * signal[1] + kb * signal[2];
                let all = [luma, signal[0], signal[1], signal[2]];
                let (low, high) = all.iter().fold((f32::MAX, f32::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
                row.low = row.low.min(low);
                row.high = row.high.max(high);
                row.past += u32::from(low < -0.05 || high > 1.05);
                row.black += u32::from(luma < 0.0005);
                row.clipped += u32::from(signal.iter().any(|v| *v >= at_peak));
                let light = apply(&self.to_limit, self.curve.decode_light(signal));
                // A negative signal of a power law is light below none.
                let under = signal.iter().any(|v| *v < -0.02);
                row.outside += u32::from(under || light.iter().any(|v| *v < OUTSIDE));
            }
            row
        });
        let sum = rows.reduce(Counts::default, Counts::and);
        let share = |n: u32| 100.0 * f64::from(n) / (f64::from(width) * f64::from(height));
        FrameFigures {
            range: [f64::from(sum.low) * 100.0, f64::from(sum.high) * 100.0],
            past: share(sum.past),
            outside: share(sum.outside),
            black: share(sum.black),
            clipped: share(sum.clipped),
            ..FrameFigures::default()
        }
    }
}

struct Counts {
    low: f32,
    high: f32,
    past: u32,
    outside: u32,
    black: u32,
    clipped: u32,
}

impl Default for Counts {
    fn default() -> Self {
        Self { low: f32::MAX, high: f32::MIN, past: 0, outside: 0, black: 0, clipped: 0 }
    }
}

impl Counts {
    fn and(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
            past: self.past + other.past,
            outside: self.outside + other.outside,
            black: self.black + other.black,
            clipped: self.clipped + other.clipped,
        }
    }
}
