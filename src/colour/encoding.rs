//! The encodings that footage comes in and values are converted to.

use super::{AP0, AP1, Adaptation, BT709, Curve, D65, Matrix, Primaries, conversion};

/// What an encoding's light refers to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reference {
    /// The scene: linear 0.18 is middle grey.
    Scene,
    /// A display: linear 1 is its white.
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
    /// Adaptation to the ACES white, as the maker's or the Academy's transform has it.
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
}

const LOG10_2: f64 = std::f64::consts::LOG10_2;

const ACESCCT: Curve = Curve::Log {
    a: 1.0,
    b: 0.0,
    c: 1.0 / 17.52,
    d: 9.72 / 17.52,
    cut: 0.0078125,
    signal_cut: 0.155251141552511,
    e: 10.5402377416545,
    f: 0.0729055341958355,
};

/// LogC4's constants follow from the specification's formulas, which use log2 and a power of 2; the two
/// that are irrational are written out.
const LOGC4: Curve = {
    let a = (262_144.0 - 16.0) / 117.45;
    let b = (1023.0 - 95.0) / 1023.0;
    let c = 95.0 / 1023.0;
    // 2^(7 − 14c/b) and 2^(6 − 14c/b), with c/b = 95/928.
    let two_to_7 = LOGC4_POWER;
    let s = 7.0 * std::f64::consts::LN_2 * two_to_7 / (a * b);
    let t = (two_to_7 / 2.0 - 64.0) / a;
    Curve::Log {
        a,
        b: 64.0,
        c: b / 14.0,
        d: c - 6.0 * b / 14.0,
        cut: t,
        signal_cut: 0.0,
        e: 1.0 / s,
        f: -t / s,
    }
};
/// 2^(7 − 14·95/928).
const LOGC4_POWER: f64 = 47.399_841_993_697_55;

const S_LOG3: Curve = Curve::Log {
    a: 1.0 / 0.19,
    b: 0.01 / 0.19,
    c: 261.5 / 1023.0 * LOG10_2,
    d: 420.0 / 1023.0,
    cut: 0.01125,
    signal_cut: 171.2102946929 / 1023.0,
    e: (171.2102946929 - 95.0) / (0.01125 * 1023.0),
    f: 95.0 / 1023.0,
};

const V_LOG: Curve = Curve::Log {
    a: 1.0,
    b: 0.00873,
    c: 0.241514 * LOG10_2,
    d: 0.598206,
    cut: 0.01,
    signal_cut: 0.181,
    e: 5.6,
    f: 0.125,
};

const AWG4: Primaries =
    Primaries { rgb: [[0.7347, 0.2653], [0.1424, 0.8576], [0.0991, -0.0308]], white: D65 };
const S_GAMUT3_CINE: Primaries =
    Primaries { rgb: [[0.766, 0.275], [0.225, 0.800], [0.089, -0.087]], white: D65 };
const V_GAMUT: Primaries = Primaries { rgb: [[0.730, 0.280], [0.165, 0.840], [0.100, -0.030]], white: D65 };

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
        id: "logc4",
        name: "ARRI LogC4, ARRI Wide Gamut 4",
        source: "Cooper & Brendel, ARRI LogC4 Logarithmic Color Space: Specification, 2022",
        curve: LOGC4,
        primaries: AWG4,
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
        id: "bt1886",
        name: "BT.1886, BT.709 primaries (display light)",
        source: "ITU-R BT.1886 (2011), ITU-R BT.709-6",
        curve: Curve::Power { gamma: 2.4 },
        primaries: BT709,
        adaptation: Adaptation::Bradford,
        reference: Reference::Display,
    },
];

/// The encoding called `id`.
pub fn encoding(id: &str) -> Option<&'static Encoding> {
    ENCODINGS.iter().find(|e| e.id == id)
}
