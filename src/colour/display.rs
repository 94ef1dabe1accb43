//! The displays that a picture is encoded for.

use super::{AP1, Adaptation, BT709, BT2020, Curve, Matrix, P3_D65, Primaries, conversion};

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
    /// Primaries and white of its signal.
    pub primaries: Primaries,
    /// Primaries that its colours keep within: those of the signal or narrower ones.
    pub limit: Primaries,
    /// Nominal peak, cd/m².
    pub peak: f64,
}

impl Display {
    /// ACEScg to linear RGB of the primaries that it keeps within, adapted to its white by Bradford.
    pub fn from_acescg(&self) -> Matrix {
        conversion(&AP1, &self.limit, Adaptation::Bradford)
    }

    /// From the primaries that it keeps within to those of its signal, if they are others.
    pub fn widening(&self) -> Option<Matrix> {
        (self.limit != self.primaries).then(|| conversion(&self.limit, &self.primaries, Adaptation::Bradford))
    }
}

const fn hdr(id: &'static str, name: &'static str, peak: f64, limit: Primaries) -> Display {
    Display {
        id,
        name,
        source: "ITU-R BT.2100-2, SMPTE ST 2084:2014 (PQ); SMPTE ST 2113 (P3-D65)",
        curve: Curve::Pq { peak },
        primaries: BT2020,
        limit,
        peak,
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
        limit: BT709,
        peak: 100.0,
    },
    Display {
        id: "srgb",
        name: "sRGB",
        source: "IEC 61966-2-1:1999",
        curve: SRGB,
        primaries: BT709,
        limit: BT709,
        peak: 100.0,
    },
    Display {
        id: "display-p3",
        name: "Display P3 (sRGB curve)",
        source: "SMPTE EG 432-1 (primaries), IEC 61966-2-1:1999 (curve)",
        curve: SRGB,
        primaries: P3_D65,
        limit: P3_D65,
        peak: 100.0,
    },
    Display {
        id: "p3-d65",
        name: "P3-D65, gamma 2.6",
        source: "SMPTE ST 2113 (primaries), SMPTE RP 431-2 (gamma; its 48 nit are 100 here)",
        curve: Curve::Power { gamma: 2.6 },
        primaries: P3_D65,
        limit: P3_D65,
        peak: 100.0,
    },
    Display {
        id: "rec2020",
        name: "Rec. 2020, BT.1886, within P3-D65",
        source: "ITU-R BT.2020-2, ITU-R BT.1886 (2011) with black at 0; SMPTE ST 2113 (P3-D65)",
        curve: Curve::Power { gamma: 2.4 },
        primaries: BT2020,
        limit: P3_D65,
        peak: 100.0,
    },
    hdr("rec2100-pq-500", "Rec. 2100 PQ, 500 cd/m²", 500.0, BT2020),
    hdr("rec2100-pq-1000", "Rec. 2100 PQ, 1000 cd/m²", 1000.0, BT2020),
    hdr("rec2100-pq-2000", "Rec. 2100 PQ, 2000 cd/m²", 2000.0, BT2020),
    hdr("rec2100-pq-4000", "Rec. 2100 PQ, 4000 cd/m²", 4000.0, BT2020),
    hdr("rec2100-pq-500-p3", "Rec. 2100 PQ, 500 cd/m², within P3-D65", 500.0, P3_D65),
    hdr("rec2100-pq-1000-p3", "Rec. 2100 PQ, 1000 cd/m², within P3-D65", 1000.0, P3_D65),
    hdr("rec2100-pq-2000-p3", "Rec. 2100 PQ, 2000 cd/m², within P3-D65", 2000.0, P3_D65),
    hdr("rec2100-pq-4000-p3", "Rec. 2100 PQ, 4000 cd/m², within P3-D65", 4000.0, P3_D65),
    Display {
        id: "rec2100-hlg-1000",
        name: "Rec. 2100 HLG, 1000 cd/m²",
        source: "ITU-R BT.2100-2 (HLG, system gamma 1.2)",
        curve: Curve::Hlg { peak: 1000.0 },
        primaries: BT2020,
        limit: BT2020,
        peak: 1000.0,
    },
];

/// The display called `id`.
pub fn display(id: &str) -> Option<&'static Display> {
    DISPLAYS.iter().find(|d| d.id == id)
}
