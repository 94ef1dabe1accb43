//! The displays that a picture is encoded for.

use super::{AP1, Adaptation, BT709, Curve, Matrix, P3_D65, Primaries, conversion};

/// Primaries, white, transfer function and peak luminance of a display.
#[derive(Clone, Copy, Debug)]
pub struct Display {
    /// What files and commands call it.
    pub id: &'static str,
    /// What people call it.
    pub name: &'static str,
    /// The published document that defines it.
    pub source: &'static str,
    /// The inverse of its EOTF: light with peak 1 to signal.
    pub curve: Curve,
    /// Primaries and white.
    pub primaries: Primaries,
    /// Nominal peak, cd/m².
    pub peak: f64,
}

impl Display {
    /// ACEScg to its linear RGB, adapted to its white by Bradford.
    pub fn from_acescg(&self) -> Matrix {
        conversion(&AP1, &self.primaries, Adaptation::Bradford)
    }
}

/// IEC 61966-2-1's curve.
pub(super) const SRGB: Curve =
    Curve::PowerToe { gamma: 2.4, offset: 0.055, slope: 12.92, cut: 0.0031308, signal_cut: 0.04045 };

/// Every display, the default first.
pub static DISPLAYS: &[Display] = &[
    Display {
        id: "rec709",
        name: "Rec. 709, BT.1886 (gamma 2.4)",
        source: "ITU-R BT.709-6, ITU-R BT.1886 (2011) with black at 0",
        curve: Curve::Power { gamma: 2.4 },
        primaries: BT709,
        peak: 100.0,
    },
    Display {
        id: "srgb",
        name: "sRGB",
        source: "IEC 61966-2-1:1999",
        curve: SRGB,
        primaries: BT709,
        peak: 100.0,
    },
    Display {
        id: "display-p3",
        name: "Display P3 (sRGB curve)",
        source: "SMPTE EG 432-1 (primaries), IEC 61966-2-1:1999 (curve)",
        curve: SRGB,
        primaries: P3_D65,
        peak: 100.0,
    },
    Display {
        id: "p3-d65",
        name: "P3-D65, gamma 2.6",
        source: "SMPTE ST 2113 (primaries), SMPTE RP 431-2 (gamma; its 48 nit are 100 here)",
        curve: Curve::Power { gamma: 2.6 },
        primaries: P3_D65,
        peak: 100.0,
    },
];

/// The display called `id`.
pub fn display(id: &str) -> Option<&'static Display> {
    DISPLAYS.iter().find(|d| d.id == id)
}
