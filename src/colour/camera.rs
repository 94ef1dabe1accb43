//! The logarithmic curves and wide primaries of the encodings, as their documents give them.
//!
//! Documents write logarithms to base 10 or e; ours are to base 2.

use super::curve::NEVER;
use super::{Curve, D65, Primaries};

const LOG10_2: f64 = std::f64::consts::LOG10_2;
const LN_2: f64 = std::f64::consts::LN_2;

/// Academy S-2016-001.
pub(super) const ACESCCT: Curve = Curve::Log {
    a: 1.0,
    b: 0.0,
    c: 1.0 / 17.52,
    d: 9.72 / 17.52,
    cut: 0.0078125,
    signal_cut: 0.155251141552511,
    e: 10.5402377416545,
    f: 0.0729055341958355,
};

/// Academy S-2014-003: the argument of the logarithm is 2⁻¹⁶ + x/2 below 2⁻¹⁵.
pub(super) const ACESCC: Curve = Curve::LogFloor {
    c: 1.0 / 17.52,
    d: 9.72 / 17.52,
    signal_cut: (9.72 - 15.0) / 17.52,
    slope: 0.5,
    floor: 1.0 / 65536.0,
};

/// At EI 800, with the six digits that the document prints.
pub(super) const LOGC3: Curve = Curve::Log {
    a: 5.555556,
    b: 0.052272,
    c: 0.247190 * LOG10_2,
    d: 0.385537,
    cut: 0.010591,
    signal_cut: 5.367655 * 0.010591 + 0.092809,
    e: 5.367655,
    f: 0.092809,
};

/// LogC4's constants follow from the specification's formulas, which use log2 and a power of 2.
pub(super) const LOGC4: Curve = {
    let a = (262_144.0 - 16.0) / 117.45;
    let b = (1023.0 - 95.0) / 1023.0;
    let c = 95.0 / 1023.0;
    let s = 7.0 * LN_2 * LOGC4_POWER / (a * b);
    let t = (LOGC4_POWER / 2.0 - 64.0) / a;
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
/// 2^(7 − 14c/b) with c/b = 95/928, which is irrational.
const LOGC4_POWER: f64 = 47.399_841_993_697_55;

/// Sony's summary.
pub(super) const S_LOG3: Curve = Curve::Log {
    a: 1.0 / 0.19,
    b: 0.01 / 0.19,
    c: 261.5 / 1023.0 * LOG10_2,
    d: 420.0 / 1023.0,
    cut: 0.01125,
    signal_cut: 171.2102946929 / 1023.0,
    e: (171.2102946929 - 95.0) / (0.01125 * 1023.0),
    f: 95.0 / 1023.0,
};

/// Panasonic's manual.
pub(super) const V_LOG: Curve = Curve::Log {
    a: 1.0,
    b: 0.00873,
    c: 0.241514 * LOG10_2,
    d: 0.598206,
    cut: 0.01,
    signal_cut: 0.181,
    e: 5.6,
    f: 0.125,
};

/// Canon writes x/0.9 for our x. Its transfer characteristics have 87.09937546, its input transform
/// 87.099375: 5e-9 apart. Nothing lies between the two logarithms; the slope is theirs at black.
pub(super) const C_LOG2: Curve = Curve::LogMirrored {
    a: 87.09937546 / 0.9,
    c: 0.24136077 * LOG10_2,
    high: 0.092864125,
    low: 0.092864125,
    cut: 0.0,
    e: 0.24136077 * LOG10_2 / LN_2 * 87.09937546 / 0.9,
    f: 0.092864125,
};

/// The straight part reaches to ±0.014 in Canon's x.
pub(super) const C_LOG3: Curve = Curve::LogMirrored {
    a: 14.98325 / 0.9,
    c: 0.36726845 * LOG10_2,
    high: 0.12240537,
    low: 0.12783901,
    cut: 0.014 * 0.9,
    e: 1.9754798 / 0.9,
    f: 0.12512219,
};

/// Version 3, straight below −0.01.
pub(super) const LOG3G10: Curve = Curve::Log {
    a: 155.975327,
    b: 155.975327 * 0.01 + 1.0,
    c: 0.224282 * LOG10_2,
    d: 0.0,
    cut: -0.01,
    signal_cut: 0.0,
    e: 15.1927,
    f: 15.1927 * 0.01,
};

/// Fujifilm's data sheet 1.1.
pub(super) const F_LOG: Curve = Curve::Log {
    a: 0.555556,
    b: 0.009468,
    c: 0.344676 * LOG10_2,
    d: 0.790453,
    cut: 0.00089,
    signal_cut: 0.100537775223865,
    e: 8.735631,
    f: 0.092864,
};

/// Fujifilm's data sheet 1.0.
pub(super) const F_LOG2: Curve = Curve::Log {
    a: 5.555556,
    b: 0.064829,
    c: 0.245281 * LOG10_2,
    d: 0.384316,
    cut: 0.000889,
    signal_cut: 0.100686685370811,
    e: 8.799461,
    f: 0.092864,
};

/// Nikon's specification, which takes a natural logarithm.
pub(super) const N_LOG: Curve = Curve::LogCube {
    c: 150.0 / 1023.0 * LN_2,
    d: 619.0 / 1023.0,
    cut: 0.328,
    signal_cut: 452.0 / 1023.0,
    scale: 650.0 / 1023.0,
    offset: 0.0075,
};

/// Apple's paper: R₀ is our −offset, R_t our cut.
pub(super) const APPLE_LOG: Curve = Curve::LogSquare {
    b: 0.00964052,
    c: 0.08550479,
    d: 0.69336945,
    cut: 0.01,
    signal_cut: 47.28711236 * (0.01 + 0.05641088) * (0.01 + 0.05641088),
    scale: 47.28711236,
    offset: 0.05641088,
};

/// DJI's paper, which rounds the way there (0.256663, 0.584555) and the way back each for itself. Footage is
/// decoded, so we take the way back both ways: 1e-7 of signal from the other.
pub(super) const D_LOG: Curve = Curve::Log {
    a: 0.9892,
    b: 0.0108,
    c: LOG10_2 / 3.89616,
    d: 2.27752 / 3.89616,
    cut: 0.0078,
    signal_cut: 0.14,
    e: 6.025,
    f: 0.0929,
};

/// Printing density codes: 0.002 of density each, film of gamma 0.6, white at 685 and black at 95.
pub(super) const CINEON: Curve = Curve::Log {
    a: 1.0 - CINEON_BLACK,
    b: CINEON_BLACK,
    c: 300.0 / 1023.0 * LOG10_2,
    d: 685.0 / 1023.0,
    cut: NEVER,
    signal_cut: NEVER,
    e: 1.0,
    f: 0.0,
};
/// 10^((95 − 685)/300).
const CINEON_BLACK: f64 = 0.010_797_751_623_277_1;

pub(super) const AWG3: Primaries =
    Primaries { rgb: [[0.684, 0.313], [0.221, 0.848], [0.0861, -0.102]], white: D65 };
pub(super) const AWG4: Primaries =
    Primaries { rgb: [[0.7347, 0.2653], [0.1424, 0.8576], [0.0991, -0.0308]], white: D65 };
pub(super) const S_GAMUT3: Primaries =
    Primaries { rgb: [[0.730, 0.280], [0.140, 0.855], [0.100, -0.050]], white: D65 };
pub(super) const S_GAMUT3_CINE: Primaries =
    Primaries { rgb: [[0.766, 0.275], [0.225, 0.800], [0.089, -0.087]], white: D65 };
pub(super) const V_GAMUT: Primaries =
    Primaries { rgb: [[0.730, 0.280], [0.165, 0.840], [0.100, -0.030]], white: D65 };
pub(super) const CINEMA_GAMUT: Primaries =
    Primaries { rgb: [[0.740, 0.270], [0.170, 1.140], [0.080, -0.100]], white: D65 };
pub(super) const RED_WIDE_GAMUT: Primaries =
    Primaries { rgb: [[0.780308, 0.304253], [0.121595, 1.493994], [0.095612, -0.084589]], white: D65 };
pub(super) const D_GAMUT: Primaries =
    Primaries { rgb: [[0.71, 0.31], [0.21, 0.88], [0.09, -0.08]], white: D65 };
