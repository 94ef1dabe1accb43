//! The fixed display rendering T that looks are judged through.

use std::sync::LazyLock;

use super::CODE;
use crate::colour::{
    Aces2, Aces2Values, BT709, CurveValues, Display, Ictcp, Matrix, acescct_decode, display,
};

/// T: ACES 2.0 to BT.709 primaries at 100 cd/m², shown by BT.1886.
pub struct Rendering {
    aces2: Aces2Values<f64>,
    curve: CurveValues<f64>,
    ictcp: Ictcp,
    luminance: [f64; 3],
}

/// A colour as the display shows it.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Linear light, 1 being the display's peak.
    pub light: [f64; 3],
    /// The signal of that light, 0 to 1.
    pub signal: [f64; 3],
    /// I, C_T and C_P of that light.
    pub ictcp: [f64; 3],
}

impl Rendering {
    /// The one that every check uses; worked out once.
    pub fn fixed() -> &'static Self {
        static FIXED: LazyLock<Rendering> = LazyLock::new(|| {
            // The list of displays has it: a test of the colour room says so.
            let display: &Display = display("rec709").expect("Rec. 709 is a display");
            Rendering {
                aces2: Aces2::of(display).values(),
                curve: display.curve.values(),
                ictcp: Ictcp::of(&display.primaries, display.peak),
                luminance: luminance(&BT709.to_xyz()),
            }
        });
        &FIXED
    }

    /// What the display shows of a colour in ACEScct.
    pub fn see(&self, acescct: [f64; 3]) -> Seen {
        self.shown(self.aces2.apply(acescct.map(acescct_decode)))
    }

    /// What the display shows as a light.
    pub fn shown(&self, light: [f64; 3]) -> Seen {
        Seen { light, signal: self.curve.encode_light(light), ictcp: self.ictcp.apply(light) }
    }

    /// The signal alone.
    pub fn signal(&self, acescct: [f64; 3]) -> [f64; 3] {
        self.curve.encode_light(self.aces2.apply(acescct.map(acescct_decode)))
    }

    /// The neutral of the same luminance.
    pub fn neutral_of(&self, seen: &Seen) -> Seen {
        let y = (0..3).map(|c| self.luminance[c] * seen.light[c]).sum();
        self.shown([y; 3])
    }
}

/// The luminance of red, green and blue: the middle row of a normalised primary matrix.
pub(super) fn luminance(to_xyz: &Matrix) -> [f64; 3] {
    to_xyz.0[1]
}

/// Is that signal within half a 10-bit code of the display's ends?
pub(super) fn at_limit(signal: f64) -> bool {
    signal <= 0.5 * CODE || signal >= 1.0 - 0.5 * CODE
}
