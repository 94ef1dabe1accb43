//! The encodings that footage comes in and values are converted to.

use super::camera::*;
use super::display::SRGB;
use super::{AP0, AP1, Adaptation, BT709, BT2020, Curve, DISPLAYS, Display, Matrix, Primaries, conversion};

/// What an encoding's light refers to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// The scene: linear 0.18 is middle grey.
    Scene,
    /// A display: linear 1 is its white. See [`Encoding::display`].
    Display,
}

/// A transfer function plus primaries, named as its published specification names it.
#[derive(Clone, Copy, Debug)]
pub struct Encoding {
    /// What files and commands call it.
    pub id: &'static str,
    /// The name in its specification.
    pub name: &'static str,
    /// The published document that defines it.
    pub source: &'static str,
    /// Transfer function.
    pub curve: Curve,
    /// Primaries and white.
    pub primaries: Primaries,
    /// Adaptation to the ACES white, as the maker's or the Academy's transform has it; Bradford where there
    /// is none (F-Log, F-Log2, N-Log, Cineon).
    pub adaptation: Adaptation,
    /// Scene or display.
    pub reference: Reference,
}

impl Encoding {
    /// Its linear RGB to ACEScg.
    pub fn to_acescg(&self) -> Matrix {
        conversion(&self.primaries, &AP1, self.adaptation)
    }

    /// ACEScg to its linear RGB.
    pub fn from_acescg(&self) -> Matrix {
        self.to_acescg().inverse()
    }

    /// The display whose signal this is, if it is a display's.
    pub fn display(&self) -> Option<&'static Display> {
        let is_its = |d: &&Display| d.curve == self.curve && d.primaries == self.primaries;
        (self.reference == Reference::Display).then(|| DISPLAYS.iter().find(is_its)).flatten()
    }
}

/// Every encoding, in the order `greyhold encodings` lists them.
pub static ENCODINGS: &[Encoding] = &[
    Encoding {
        id: "acescct",
        name: "ACEScct",
        source: "Academy S-2016-001",
        curve: ACESCCT,
        primaries: AP1,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "acescc",
        name: "ACEScc",
        source: "Academy S-2014-003",
        curve: ACESCC,
        primaries: AP1,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "acescg",
        name: "ACEScg",
        source: "Academy S-2014-004",
        curve: Curve::Linear,
        primaries: AP1,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "aces2065-1",
        name: "ACES2065-1",
        source: "SMPTE ST 2065-1",
        curve: Curve::Linear,
        primaries: AP0,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "logc3",
        name: "ARRI LogC3 EI 800, ARRI Wide Gamut 3",
        source: "ARRI, ALEXA Log C Curve: Usage in VFX, 2012",
        curve: LOGC3,
        primaries: AWG3,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "logc4",
        name: "ARRI LogC4, ARRI Wide Gamut 4",
        source: "Cooper & Brendel, ARRI LogC4 Logarithmic Color Space: Specification, 2022",
        curve: LOGC4,
        primaries: AWG4,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "s-log3",
        name: "S-Log3, S-Gamut3",
        source: "Sony, Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3, V1.00",
        curve: S_LOG3,
        primaries: S_GAMUT3,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "s-log3-cine",
        name: "S-Log3, S-Gamut3.Cine",
        source: "Sony, Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3, V1.00",
        curve: S_LOG3,
        primaries: S_GAMUT3_CINE,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "v-log",
        name: "V-Log, V-Gamut",
        source: "Panasonic, VARICAM V-Log/V-Gamut, 2014",
        curve: V_LOG,
        primaries: V_GAMUT,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "c-log2",
        name: "Canon Log 2, Cinema Gamut",
        source: "Canon, Input Transform v202007 (version 1.2)",
        curve: C_LOG2,
        primaries: CINEMA_GAMUT,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "c-log3",
        name: "Canon Log 3, Cinema Gamut",
        source: "Canon, Input Transform v202007 (version 1.2)",
        curve: C_LOG3,
        primaries: CINEMA_GAMUT,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "log3g10",
        name: "Log3G10 (version 3), REDWideGamutRGB",
        source: "RED, White Paper on REDWideGamutRGB and Log3G10, 2017",
        curve: LOG3G10,
        primaries: RED_WIDE_GAMUT,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "f-log",
        name: "F-Log, F-Gamut (BT.2020 primaries)",
        source: "Fujifilm, F-Log Data Sheet 1.1, 2022",
        curve: F_LOG,
        primaries: BT2020,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "f-log2",
        name: "F-Log2, F-Gamut (BT.2020 primaries)",
        source: "Fujifilm, F-Log2 Data Sheet 1.0, 2022",
        curve: F_LOG2,
        primaries: BT2020,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "n-log",
        name: "N-Log, N-Gamut (BT.2020 primaries)",
        source: "Nikon, N-Log Specification 1.0.0, 2018",
        curve: N_LOG,
        primaries: BT2020,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "apple-log",
        name: "Apple Log, BT.2020 primaries",
        source: "Apple, Apple Log Profile White Paper, 2023",
        curve: APPLE_LOG,
        primaries: BT2020,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "d-log",
        name: "D-Log, D-Gamut",
        source: "DJI, White Paper on D-Log and D-Gamut, 2017",
        curve: D_LOG,
        primaries: D_GAMUT,
        adaptation: Adaptation::Cat02,
        reference: Reference::Scene,
    },
    Encoding {
        id: "cineon",
        name: "Cineon (white 685, black 95), BT.709 primaries",
        source: "Kodak Cineon practice; Academy S-2014-006, appendix B; ITU-R BT.709-6",
        curve: CINEON,
        primaries: BT709,
        adaptation: Adaptation::Bradford,
        reference: Reference::Scene,
    },
    Encoding {
        id: "bt1886",
        name: "BT.1886, BT.709 primaries (display light)",
        source: "ITU-R BT.1886 (2011), ITU-R BT.709-6",
        curve: Curve::Power { gamma: 2.4 },
        primaries: BT709,
        adaptation: Adaptation::Bradford,
        reference: Reference::Display,
    },
    Encoding {
        id: "srgb",
        name: "sRGB (display light)",
        source: "IEC 61966-2-1:1999",
        curve: SRGB,
        primaries: BT709,
        adaptation: Adaptation::Bradford,
        reference: Reference::Display,
    },
];

/// The encoding called `id`.
pub fn encoding(id: &str) -> Option<&'static Encoding> {
    ENCODINGS.iter().find(|e| e.id == id)
}
