//! Flashes, after Recommendation ITU-R BT.1702-3: an indication, no certificate.
//!
//! A flash is a pair of opposing changes of luminance by 20 cd/m² or more whose darker side is under 160 cd/m², or, from there up,
//! by a Michelson contrast of 1/17 or more; or a pair of opposing changes to or from a saturated red. More than three within a second
//! over more than a quarter of the picture are what the recommendation warns of. A saturated red and how far it has to change are
//! taken from W3C's WCAG 2 (R ≥ 0.8 of R + G + B, 320 (R − G − B) by more than 20), which names Harding and Binnie (2002).
//!
//! Here the picture is a grid of means; each of its places counts its own changes, from one turning point to the next, so that a slow
//! rise is a change as much as a jump. The result is the most flashes that more than a quarter of the places have had within
//! the last second. Places that flash at different moments of that second count together, which can only raise the result.

use std::collections::VecDeque;

use super::super::report::Declared;
use crate::colour::{BT709, CurveValues, Display, Matrix};

const BT1702: &str = "ITU-R BT.1702-3 (2023); red: W3C WCAG 2.2, general flash and red flash thresholds";

/// What is measured here.
pub(super) const ROWS: &[Declared] = &[
    Declared {
        key: "flashes",
        measure: "S4",
        name: "Flashes in a second",
        unit: "",
        digits: 0,
        definition: "Pairs of opposing changes of luminance within one second, over more than a quarter of the picture.",
        source: BT1702,
    },
    Declared {
        key: "red-flashes",
        measure: "S4",
        name: "Red flashes in a second",
        unit: "",
        digits: 0,
        definition: "The same of changes to or from a saturated red.",
        source: BT1702,
    },
];

/// Places across and down.
const GRID: (usize, usize) = (32, 18);
/// The darker side of a flash is under this, cd/m², where the difference counts.
const DARK: f64 = 160.0;
/// The least difference, cd/m².
const DIFFERENCE: f64 = 20.0;
/// The least Michelson contrast where both sides are brighter.
const CONTRAST: f64 = 1.0 / 17.0;
/// The least change of 320 (R − G − B).
const RED: f64 = 20.0;
/// White of displays that are not absolute, cd/m²: homes are brighter than the 100 of a grading room.
const HOME: f64 = 200.0;

/// Flashes within the last second over more than a quarter of the picture.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flashes {
    /// Of luminance.
    pub general: f64,
    /// Of saturated red.
    pub red: f64,
}

/// What a place came from, and when it changed.
#[derive(Clone, Default)]
struct Track {
    /// The least since the last change, where that was a fall or none.
    low: f64,
    /// The greatest since the last change, where that was a rise or none.
    high: f64,
    /// +1 after a rise, −1 after a fall, 0 before any.
    direction: i8,
    /// Frames of the changes within the last second.
    changes: VecDeque<u64>,
}

impl Track {
    /// Takes the next value; `large` says whether the way from one value to another is a change.
    fn take(&mut self, value: f64, frame: u64, second: u64, large: &dyn Fn(f64, f64) -> bool) {
        if frame == 0 {
            (self.low, self.high) = (value, value);
        }
        (self.low, self.high) = (self.low.min(value), self.high.max(value));
        let rises = self.direction <= 0 && value > self.low && large(self.low, value);
        let falls = self.direction >= 0 && value < self.high && large(self.high, value);
        if rises || falls {
            self.direction = if rises { 1 } else { -1 };
            // From here on its turning point is looked for.
            (self.low, self.high) = (value, value);
            self.changes.push_back(frame);
        }
        while self.changes.front().is_some_and(|f| f + second <= frame) {
            self.changes.pop_front();
        }
    }

    fn flashes(&self) -> usize {
        self.changes.len() / 2
    }
}

/// Counts flashes in pictures that follow each other.
pub struct FlashMeter {
    size: (u32, u32),
    curve: CurveValues<f32>,
    to_y: [f64; 3],
    to_709: Matrix,
    white: f64,
    absolute: bool,
    second: u64,
    frame: u64,
    light: Vec<Track>,
    red: Vec<Track>,
}

impl FlashMeter {
    /// For a display's signal at a rate, frames a second, of pictures of a size.
    pub fn new(display: &Display, rate: f64, size: (u32, u32)) -> Self {
        let absolute = display.peak > HOME;
        let xyz = display.primaries.to_xyz();
        let tracks = vec![Track::default(); GRID.0 * GRID.1];
        Self {
            size,
            curve: display.curve.values(),
            to_y: xyz.0[1],
            to_709: BT709.to_xyz().inverse().after(&xyz),
            white: if absolute { display.peak } else { HOME },
            absolute,
            second: rate.round().max(1.0) as u64,
            frame: 0,
            light: tracks.clone(),
            red: tracks,
        }
    }

    /// What luminance is taken for.
    pub fn assumption(&self) -> &'static str {
        if self.absolute {
            "Flashes: luminance is the display's own, absolute."
        } else {
            "Flashes: white is taken for 200 cd/m², as bright as displays in homes are, not for the grading display's."
        }
    }

    /// Takes the next picture's R'G'B' signal.
    pub fn frame(&mut self, pixels: &[[f32; 3]]) -> Flashes {
        let (width, height) = (self.size.0 as usize, self.size.1 as usize);
        let (across, down) = (GRID.0.min(width), GRID.1.min(height));
        let places = across * down;
        for place in 0..places {
            let (column, row) = (place % across, place / across);
            let xs = column * width / across..(column + 1) * width / across;
            let ys = row * height / down..(row + 1) * height / down;
            // Of large pictures a pixel in three either way is enough for a mean.
            let step = if width > 3 * across * 8 { 3 } else { 1 };
            let (mut sum, mut count) = ([0f64; 3], 0u32);
            for y in ys.step_by(step) {
                for x in xs.clone().step_by(step) {
                    let light = self.curve.decode_light(pixels[y * width + x]);
                    for c in 0..3 {
                        sum[c] += f64::from(light[c]);
                    }
                    count += 1;
                }
            }
            let mean = sum.map(|v| v / f64::from(count.max(1)));
            let luminance = (0..3).map(|c| self.to_y[c] * mean[c]).sum::<f64>() * self.white;
            let large = |a: f64, b: f64| {
                let (low, high) = (a.min(b), a.max(b));
                if low < DARK { high - low >= DIFFERENCE } else { (high - low) / (high + low) >= CONTRAST }
            };
            self.light[place].take(luminance, self.frame, self.second, &large);
            // Red is relative to a white of 200 cd/m²; brighter ones count as it.
            let [r, g, b] = self.to_709.times(mean).map(|v| (v * self.white / HOME).clamp(0.0, 1.0));
            let all = r + g + b;
            let saturated = all > 0.0 && r / all >= 0.8;
            let redness = if saturated { (320.0 * (r - g - b)).max(0.0) } else { 0.0 };
            self.red[place].take(redness, self.frame, self.second, &|a, b| (a - b).abs() > RED);
        }
        self.frame += 1;
        Flashes { general: over_a_quarter(&self.light[..places]), red: over_a_quarter(&self.red[..places]) }
    }
}

/// The most flashes that more than a quarter of the places have.
fn over_a_quarter(tracks: &[Track]) -> f64 {
    let mut counts: Vec<usize> = tracks.iter().map(Track::flashes).collect();
    counts.sort_unstable_by(|a, b| b.cmp(a));
    counts.get(counts.len() / 4).map_or(0.0, |n| *n as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::display;

    /// The most flashes of a second of pictures, each of two halves: `share` of the width has `pattern`'s value, the rest is dark grey.
    fn most(id: &str, share: f64, frames: u32, value: &dyn Fn(u32) -> [f32; 3]) -> Flashes {
        let (w, h) = (64usize, 36usize);
        let mut meter = FlashMeter::new(display(id).unwrap(), 24.0, (w as u32, h as u32));
        let mut all = Flashes::default();
        for frame in 0..frames {
            let inside = |i: usize| (i % w) < (share * w as f64) as usize;
            let pixels: Vec<[f32; 3]> =
                (0..w * h).map(|i| if inside(i) { value(frame) } else { [0.1; 3] }).collect();
            let now = meter.frame(&pixels);
            all = Flashes { general: all.general.max(now.general), red: all.red.max(now.red) };
        }
        all
    }

    /// Black and white in turn, each for so many frames.
    fn blink(each: u32) -> impl Fn(u32) -> [f32; 3] {
        move |frame| if frame / each % 2 == 0 { [0.0; 3] } else { [0.9; 3] }
    }

    #[test]
    fn flashes_are_counted_by_area_rate_and_depth() {
        // 24 frames a second: 4 frames each are three flashes a second, 3 are four, 1 is twelve.
        assert_eq!(most("rec709", 1.0, 96, &blink(4)).general, 3.0);
        assert_eq!(most("rec709", 1.0, 96, &blink(3)).general, 4.0);
        assert_eq!(most("rec709", 1.0, 96, &blink(1)).general, 12.0);
        assert_eq!(most("rec709", 0.2, 96, &blink(1)).general, 0.0, "a fifth of the picture");
        assert_eq!(most("rec709", 0.3, 96, &blink(1)).general, 12.0, "three tenths");
        // At 200 cd/m² white, BT.1886: signal 0.38 is 19.6 cd/m², 0.40 is 22.2.
        let faint = |signal: f32| move |frame: u32| if frame % 2 == 0 { [0.0; 3] } else { [signal; 3] };
        assert_eq!(most("rec709", 1.0, 96, &faint(0.37)).general, 0.0);
        assert_eq!(most("rec709", 1.0, 96, &faint(0.40)).general, 12.0);
        // PQ, ST 2084: 0.6 is 244 cd/m², 0.62 is 296 (contrast 0.096), 0.605 is 256 (0.024).
        let bright = |signal: f32| move |frame: u32| if frame % 2 == 0 { [0.6; 3] } else { [signal; 3] };
        assert_eq!(most("rec2100-pq-1000", 1.0, 96, &bright(0.62)).general, 12.0);
        assert_eq!(most("rec2100-pq-1000", 1.0, 96, &bright(0.605)).general, 0.0);
        // A slow swell is a change too: up and down once a second.
        let swell =
            |frame: u32| [0.45 + 0.45 * (f64::from(frame) / 24.0 * std::f64::consts::TAU).sin() as f32; 3];
        assert_eq!(most("rec709", 1.0, 96, &swell).general, 1.0);
        assert_eq!(most("rec709", 1.0, 96, &|_| [0.7; 3]).general, 0.0, "a still");
    }

    #[test]
    fn red_counts_by_itself() {
        // Red and a grey as bright: hardly a change of luminance.
        let red = |frame: u32| if frame / 2 % 2 == 0 { [0.75, 0.0, 0.0] } else { [0.393; 3] };
        let found = most("rec709", 1.0, 96, &red);
        assert_eq!((found.general, found.red), (0.0, 6.0));
        let blue = |frame: u32| if frame / 2 % 2 == 0 { [0.0, 0.0, 0.75] } else { [0.26; 3] };
        assert_eq!(most("rec709", 1.0, 96, &blue).red, 0.0);
    }
}
