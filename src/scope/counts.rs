//! How many pixels have which codes.

use super::codes::System;

/// Levels of a waveform and of a histogram.
pub const LEVELS: u32 = 256;
/// What has a waveform: luma, red, green, blue.
pub const CHANNELS: u32 = 4;
/// Bins of the vectorscope, across and up.
pub const BINS: u32 = 256;
/// Bins from the least to the greatest colour difference of a signal.
pub const SPAN: u32 = 254;
/// The most columns that a waveform has.
const COLUMNS: u32 = 480;
/// The most pixels across that are looked at: of wider pictures every second, third … either way.
const MOST_ACROSS: u32 = 1920;

/// Which codes the levels stand for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// The lowest code of ten bits.
    pub low: u32,
    /// Each level holds 2 to the power of this codes.
    pub shift: u32,
}

impl Window {
    /// Every code, four to a level.
    pub const WHOLE: Self = Self { low: 0, shift: 2 };
    /// The lowest quarter, a code to a level.
    pub const SHADOWS: Self = Self { low: 0, shift: 0 };

    /// The level of a code, if it has one.
    pub fn level(self, code: u32) -> Option<u32> {
        let level = code.checked_sub(self.low)? >> self.shift;
        (level < LEVELS).then_some(level)
    }

    /// Where a code lies between the lowest level's lower edge, 0, and the highest's upper edge, 1.
    pub fn place(self, code: f64) -> f64 {
        (code - f64::from(self.low)) / f64::from(LEVELS << self.shift)
    }
}

/// How is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setting {
    /// Whose luma.
    pub system: System,
    /// Which codes.
    pub window: Window,
}

impl Default for Setting {
    fn default() -> Self {
        Self { system: System::Bt709, window: Window::WHOLE }
    }
}

/// Counts of one picture.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Columns of the waveforms.
    pub columns: u32,
    /// Pixels by column, channel and level.
    pub wave: Vec<u32>,
    /// Pixels by channel and level.
    pub histogram: Vec<u32>,
    /// Pixels by C_R (rows, none first) and C_B.
    pub vector: Vec<u32>,
}

impl Counts {
    /// Pixels of a column with a level.
    pub fn wave_at(&self, column: u32, channel: u32, level: u32) -> u32 {
        self.wave[((column * CHANNELS + channel) * LEVELS + level) as usize]
    }
}

/// Columns of the waveforms of a picture, and from one pixel that is looked at to the next, either way.
pub fn columns(width: u32) -> (u32, u32) {
    let stride = width.div_ceil(MOST_ACROSS).max(1);
    (width.div_ceil(stride).clamp(1, COLUMNS), stride)
}

/// Counts a picture's codes of ten bits, row by row. Twin of `shaders/pass/scope.wgsl`.
///
/// Pixel `n` of the `m` across that are looked at belongs to column `n · columns / m`.
pub fn count(codes: &[[u16; 3]], width: u32, setting: Setting) -> Counts {
    let (columns, stride) = columns(width);
    let across = width.div_ceil(stride);
    let mut counts = Counts {
        columns,
        wave: vec![0; (columns * CHANNELS * LEVELS) as usize],
        histogram: vec![0; (CHANNELS * LEVELS) as usize],
        vector: vec![0; (BINS * BINS) as usize],
    };
    for row in codes.chunks_exact(width as usize).step_by(stride as usize) {
        for (n, pixel) in (0..).zip(row.iter().step_by(stride as usize)) {
            let pixel = pixel.map(u32::from);
            let luma = (setting.system.luma(pixel) + 32768) >> 16;
            let column = n * columns / across;
            for (channel, code) in (0..).zip([luma, pixel[0], pixel[1], pixel[2]]) {
                if let Some(level) = setting.window.level(code) {
                    counts.wave[((column * CHANNELS + channel) * LEVELS + level) as usize] += 1;
                    counts.histogram[(channel * LEVELS + level) as usize] += 1;
                }
            }
            let [across, up] = setting.system.place(pixel);
            counts.vector[(up * BINS + across) as usize] += 1;
        }
    }
    counts
}
