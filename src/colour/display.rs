//! The displays that a picture is encoded for.

use std::borrow::Cow;
use std::sync::Arc;

use super::{ACES_WHITE, AP1, Adaptation, BT709, BT2020, Curve, Matrix, P3_D65, Primaries, conversion};

/// The white of the picture on a display.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum White {
    /// The display's own.
    #[default]
    Own,
    /// The ACES white, about D60, simulated on a display with another white: neutrals keep their chromaticity, and
    /// light is scaled so that no channel passes the peak.
    D60,
}

/// Primaries, white, transfer function and peak luminance of a display.
#[derive(Clone, Debug, PartialEq)]
pub struct Display {
    /// What files and commands call it.
    pub id: Cow<'static, str>,
    /// What people call it.
    pub name: Cow<'static, str>,
    /// The published document that defines it.
    pub source: Cow<'static, str>,
    /// The inverse of its EOTF: light with peak 1 to signal.
    pub curve: Curve,
    /// Primaries and white of its signal.
    pub primaries: Primaries,
    /// Primaries that its colours keep within: those of the signal or narrower ones.
    pub limit: Primaries,
    /// Nominal peak, cd/m².
    pub peak: f64,
    /// White of the picture.
    pub white: White,
}

impl Display {
    /// The gamut that its colours keep within, with the picture's white.
    pub fn limiting(&self) -> Primaries {
        match self.white {
            White::Own => self.limit,
            White::D60 => Primaries { white: ACES_WHITE, ..self.limit },
        }
    }

    /// ACEScg to linear RGB of the gamut that it keeps within, adapted to the picture's white by Bradford.
    pub fn from_acescg(&self) -> Matrix {
        conversion(&AP1, &self.limiting(), Adaptation::Bradford)
    }

    /// From the gamut that it keeps within to the primaries of its signal, if those are others: adapted from white
    /// to white by Bradford, or scaled where the picture's white is simulated.
    pub fn widening(&self) -> Option<Matrix> {
        let limiting = self.limiting();
        match self.white {
            _ if limiting == self.primaries => None,
            White::Own => Some(conversion(&limiting, &self.primaries, Adaptation::Bradford)),
            White::D60 => {
                let seen = self.primaries.to_xyz().inverse().after(&limiting.to_xyz());
                let most = seen.times([1.0; 3]).into_iter().fold(0.0, f64::max);
                Some(Matrix::diagonal([1.0 / most; 3]).after(&seen))
            }
        }
    }

    /// Does a signal mean the same on both, within the same gamut?
    pub fn same_signal(&self, other: &Self) -> bool {
        (self.curve, self.primaries, self.limit, self.peak)
            == (other.curve, other.primaries, other.limit, other.peak)
    }
}

impl From<&Display> for Arc<Display> {
    fn from(display: &Display) -> Self {
        Arc::new(display.clone())
    }
}

const fn hdr(id: &'static str, name: &'static str, peak: f64, limit: Primaries) -> Display {
    Display {
        id: Cow::Borrowed(id),
        name: Cow::Borrowed(name),
        source: Cow::Borrowed("ITU-R BT.2100-2, SMPTE ST 2084:2014 (PQ); SMPTE ST 2113 (P3-D65)"),
        curve: Curve::Pq { peak },
        primaries: BT2020,
        limit,
        peak,
        white: White::Own,
    }
}

/// IEC 61966-2-1's curve.
pub(super) const SRGB: Curve =
    Curve::PowerToe { gamma: 2.4, offset: 0.055, slope: 12.92, cut: 0.0031308, signal_cut: 0.04045 };

/// Every display, the default first.
pub static DISPLAYS: &[Display] = &[
    Display {
        id: Cow::Borrowed("rec709"),
        name: Cow::Borrowed("Rec. 709, BT.1886 (gamma 2.4)"),
        source: Cow::Borrowed("ITU-R BT.709-6, ITU-R BT.1886 (2011) with black at 0"),
        curve: Curve::Power { gamma: 2.4 },
        primaries: BT709,
        limit: BT709,
        peak: 100.0,
        white: White::Own,
    },
    Display {
        id: Cow::Borrowed("srgb"),
        name: Cow::Borrowed("sRGB"),
        source: Cow::Borrowed("IEC 61966-2-1:1999"),
        curve: SRGB,
        primaries: BT709,
        limit: BT709,
        peak: 100.0,
        white: White::Own,
    },
    Display {
        id: Cow::Borrowed("display-p3"),
        name: Cow::Borrowed("Display P3 (sRGB curve)"),
        source: Cow::Borrowed("SMPTE EG 432-1 (primaries), IEC 61966-2-1:1999 (curve)"),
        curve: SRGB,
        primaries: P3_D65,
        limit: P3_D65,
        peak: 100.0,
        white: White::Own,
    },
    Display {
        id: Cow::Borrowed("p3-d65"),
        name: Cow::Borrowed("P3-D65, gamma 2.6"),
        source: Cow::Borrowed("SMPTE ST 2113 (primaries), SMPTE RP 431-2 (gamma; its 48 nit are 100 here)"),
        curve: Curve::Power { gamma: 2.6 },
        primaries: P3_D65,
        limit: P3_D65,
        peak: 100.0,
        white: White::Own,
    },
    Display {
        id: Cow::Borrowed("rec2020"),
        name: Cow::Borrowed("Rec. 2020, BT.1886, within P3-D65"),
        source: Cow::Borrowed(
            "ITU-R BT.2020-2, ITU-R BT.1886 (2011) with black at 0; SMPTE ST 2113 (P3-D65)",
        ),
        curve: Curve::Power { gamma: 2.4 },
        primaries: BT2020,
        limit: P3_D65,
        peak: 100.0,
        white: White::Own,
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
        id: Cow::Borrowed("rec2100-hlg-1000"),
        name: Cow::Borrowed("Rec. 2100 HLG, 1000 cd/m²"),
        source: Cow::Borrowed("ITU-R BT.2100-2 (HLG, system gamma 1.2)"),
        curve: Curve::Hlg { peak: 1000.0 },
        primaries: BT2020,
        limit: BT2020,
        peak: 1000.0,
        white: White::Own,
    },
];

/// The display called `id`.
pub fn display(id: &str) -> Option<&'static Display> {
    DISPLAYS.iter().find(|d| d.id == id)
}
