//! Where a frame's signal lies in its code range: what contradicts an encoding, or narrow against full range.

use crate::colour::Range;
use crate::picture::{Frame, Model, Unpack};

/// Samples of a frame that are looked at, about.
const SAMPLES: u32 = 120_000;
/// Signal that counts as at the top: within this of the highest.
const PILE: f64 = 0.002;

/// Where the signal of a frame lies. Signal is R′G′B′, 0…1 of the range that the frame is read in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SignalStats {
    /// Signal of which a two-thousandth of the samples lies lower.
    pub low: f64,
    /// Signal of which a two-thousandth lies higher.
    pub high: f64,
    /// Part of the pixels whose brightest channel is within two thousandths of the brightest of all: a pile where a sensor
    /// or an encoder clips.
    pub pile: f64,
    /// Where that is.
    pub top: f64,
    /// Part of the pixels whose darkest channel is under 0.06: under the black of any log encoding that is known here.
    pub under_log: f64,
    /// Of luma, or of all channels of RGB, as codes of the full range 0…1 whatever the frame is read in: the lowest and
    /// the highest, a two-thousandth from the ends.
    pub codes: [f64; 2],
    /// Parts of those codes beyond narrow range's black and white (16/255 and 235/255, with a code of 8 bits to spare).
    pub beyond: [f64; 2],
    /// Is it a float, which has no range?
    pub float: bool,
    /// Is it read in narrow range?
    pub narrow: bool,
}

/// Black and white of luma in narrow range, of full range's 0…1 (Rec. ITU-R BT.709-6, item 4.6: 16 and 235 of 8 bits).
pub const NARROW: [f64; 2] = [16.0 / 255.0, 235.0 / 255.0];

/// Where the signal of a frame lies.
pub fn signal_stats(frame: &Frame) -> SignalStats {
    let step =
        ((f64::from(frame.width) * f64::from(frame.height) / f64::from(SAMPLES)).sqrt()).ceil().max(1.0);
    let unpack = Unpack::<f64>::of(&frame.format);
    let narrow = frame.format.range == Range::Narrow && !frame.format.sample.is_float();
    let (mut all, mut darkest, mut brightest, mut codes) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for y in (0..frame.height).step_by(step as usize) {
        for x in (0..frame.width).step_by(step as usize) {
            let signal = unpack.at(frame, x, y);
            darkest.push(signal.iter().copied().fold(f64::INFINITY, f64::min));
            brightest.push(signal.iter().copied().fold(f64::NEG_INFINITY, f64::max));
            all.extend(signal);
            // Back as they lie in the file.
            let code = |v: f64| if narrow { NARROW[0] + v * (NARROW[1] - NARROW[0]) } else { v };
            match frame.format.model {
                Model::Rgb => codes.extend(signal.map(code)),
                Model::Ycbcr(matrix) => codes.push(code(luma(matrix.weights(), signal))),
            }
        }
    }
    all.sort_by(f64::total_cmp);
    codes.sort_by(f64::total_cmp);
    let part = |v: &[f64], p: f64| v[((v.len() - 1) as f64 * p).round() as usize];
    let share =
        |v: &[f64], f: &dyn Fn(f64) -> bool| v.iter().filter(|x| f(**x)).count() as f64 / v.len() as f64;
    let top = brightest.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let spare = 1.0 / 255.0;
    SignalStats {
        low: part(&all, 0.0005),
        high: part(&all, 0.9995),
        pile: share(&brightest, &|v| v > top - PILE),
        top,
        under_log: share(&darkest, &|v| v < 0.06),
        codes: [part(&codes, 0.0005), part(&codes, 0.9995)],
        beyond: [share(&codes, &|v| v < NARROW[0] - spare), share(&codes, &|v| v > NARROW[1] + spare)],
        float: frame.format.sample.is_float(),
        narrow,
    }
}

fn luma((red, blue): (f64, f64), [r, g, b]: [f64; 3]) -> f64 {
    red * r + (1.0 - red - blue) * g + blue * b
}
