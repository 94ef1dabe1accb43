//! What is around the picture, and how large the text is.
//!
//! An eye adapts to what surrounds a picture, so the surround is a neutral of a known share of the display's white. How much is
//! common practice: 1 to 3 % in a suite, where the wall behind the monitor is dim, up to 10 % in a brighter room. Rec. ITU-R
//! BT.2100's reference environment has 5 cd/m² around the picture, 2.5 % of the 203 cd/m² that Report ITU-R BT.2408 gives HDR
//! white, and BT.2035's for HDTV about a tenth of white (both from memory).

use crate::colour::{Curve, Display};

/// A share of the display's white.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Surround(u32);

impl Surround {
    /// Those that can be chosen.
    pub const ALL: [Self; 5] = [Self(1), Self(2), Self(3), Self(5), Self(10)];

    /// Percent of white.
    pub fn percent(self) -> u32 {
        self.0
    }

    /// The next of them, round and round.
    pub fn next(self) -> Self {
        let at = Self::ALL.iter().position(|s| *s == self).unwrap_or(0);
        Self::ALL[(at + 1) % Self::ALL.len()]
    }

    /// The signal that a display shows it with, the same in all channels.
    pub fn signal(self, display: &Display) -> f32 {
        let white = white(display) / display.peak;
        let light = f64::from(self.0) / 100.0 * white;
        display.curve.values::<f64>().encode_light([light; 3])[0] as f32
    }
}

impl Default for Surround {
    fn default() -> Self {
        Self(2)
    }
}

/// What a display's white is, cd/m²: the peak, or where highlights go beyond white, Report ITU-R BT.2408's 203.
fn white(display: &Display) -> f64 {
    match display.curve {
        Curve::Pq { .. } | Curve::Hlg { .. } => display.peak.min(203.0),
        _ => display.peak,
    }
}

/// How the desk is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct View {
    /// Size of the text and all that goes with it, percent: one of [`View::TEXTS`].
    pub text: u32,
    pub surround: Surround,
}

impl View {
    /// The sizes of text that there are.
    pub const TEXTS: [u32; 4] = [100, 125, 150, 200];

    /// The next size up or down, as far as there is one.
    pub fn scaled(self, by: i32) -> Self {
        let at = Self::TEXTS.iter().position(|t| *t == self.text).unwrap_or(0);
        let to = at.saturating_add_signed(by as isize).min(Self::TEXTS.len() - 1);
        Self { text: Self::TEXTS[to], ..self }
    }

    /// How many times as large as made.
    pub fn zoom(self) -> f32 {
        self.text as f32 / 100.0
    }
}

impl Default for View {
    fn default() -> Self {
        Self { text: 100, surround: Surround::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::display;

    /// By each display's own formula, written out: BT.1886 with black at 0, IEC 61966-2-1, ST 2084, BT.2100's HLG.
    #[test]
    fn a_surround_is_its_share_of_white() {
        let of = |id: &str, percent: u32| f64::from(Surround(percent).signal(display(id).unwrap()));
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-5, "{a} {b}");
        for percent in [1u32, 2, 3, 5, 10] {
            let light = f64::from(percent) / 100.0;
            near(of("rec709", percent), light.powf(1.0 / 2.4));
            near(of("p3-d65", percent), light.powf(1.0 / 2.6));
            near(of("srgb", percent), 1.055 * light.powf(1.0 / 2.4) - 0.055);
            // ST 2084's inverse EOTF.
            let y = (light * 203.0 / 10_000.0).powf(2610.0 / 16384.0);
            let pq = ((0.8359375 + 18.8515625 * y) / (1.0 + 18.6875 * y)).powf(2523.0 / 32.0);
            near(of("rec2100-pq-1000", percent), pq);
        }
        assert_eq!((of("rec709", 2) * 255.0).round(), 50.0);
        assert_eq!(View::default().scaled(1).scaled(1).scaled(1).scaled(1).text, 200);
        assert_eq!(View::default().scaled(-1).text, 100);
        assert_eq!((0..5).fold(Surround::default(), |s, _| s.next()), Surround::default());
    }
}
