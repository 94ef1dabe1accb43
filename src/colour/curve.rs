//! Transfer functions, as data: a family and its constants.
//!
//! A shader switches on the family and reads the constants from a buffer, so that changing a shot's
//! encoding or an output's display compiles nothing.

use super::Real;

/// The shape of a transfer function. The numbers are shared with `shaders/colour/curve.wgsl`; from
/// [`Family::Log`] on, all are logarithms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u32)]
pub enum Family {
    /// The signal is the light.
    Linear = 0,
    /// A power law, with or without an offset and a straight toe; 0 for negative light.
    Power = 1,
    /// `c·log2(a·x + b) + d` from `cut` on, `e·x + f` below it.
    Log = 2,
    /// A logarithm whose argument is straightened near black and held from black down.
    LogFloor = 3,
    /// A logarithm for each sign of the light, straight between the two.
    LogMirrored = 4,
    /// A logarithm over a cube root.
    LogCube = 5,
    /// A logarithm over a square.
    LogSquare = 6,
    /// Perceptual quantisation of absolute light.
    Pq = 7,
    /// Hybrid log-gamma.
    Hlg = 8,
}

const FAMILIES: [Family; 9] = [
    Family::Linear,
    Family::Power,
    Family::Log,
    Family::LogFloor,
    Family::LogMirrored,
    Family::LogCube,
    Family::LogSquare,
    Family::Pq,
    Family::Hlg,
];

/// Light above this is held there when a logarithmic signal is decoded: the largest half float.
pub const LINEAR_MAX: f64 = 65504.0;

/// A cut that no signal and no light is below.
pub(super) const NEVER: f64 = f32::MIN as f64;

/// A transfer function between light x (linear, 0.18 grey or display white 1) and signal y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Curve {
    /// y = x.
    Linear,
    /// y = x^(1/γ).
    Power {
        /// γ.
        gamma: f64,
    },
    /// y = s·x up to `cut`, then (1+o)·x^(1/γ) − o (IEC 61966-2-1's shape).
    PowerToe {
        /// γ.
        gamma: f64,
        /// o.
        offset: f64,
        /// s.
        slope: f64,
        /// Light where the power law begins.
        cut: f64,
        /// Signal where the power law begins.
        signal_cut: f64,
    },
    /// The logarithmic shape; see [`Family::Log`].
    Log {
        /// Scale inside the logarithm.
        a: f64,
        /// Offset inside the logarithm.
        b: f64,
        /// Signal for each doubling.
        c: f64,
        /// Signal offset.
        d: f64,
        /// Light where the logarithm begins.
        cut: f64,
        /// Signal where the logarithm begins.
        signal_cut: f64,
        /// Slope below the cut.
        e: f64,
        /// Offset below the cut.
        f: f64,
    },
    /// y = c·log2(x) + d, and c·log2(slope·max(x, 0) + floor) + d where that is more (ACEScc's shape).
    LogFloor {
        /// Signal for each doubling.
        c: f64,
        /// Signal offset.
        d: f64,
        /// Signal where the plain logarithm begins.
        signal_cut: f64,
        /// Slope of the argument near black.
        slope: f64,
        /// The argument at black.
        floor: f64,
    },
    /// y = c·log2(a·x + 1) + high above `cut`, low − c·log2(1 − a·x) below −`cut`, e·x + f between them
    /// (the Canon logarithms' shape).
    LogMirrored {
        /// Scale inside the logarithms.
        a: f64,
        /// Signal for each doubling.
        c: f64,
        /// Signal offset of the upper logarithm.
        high: f64,
        /// Signal offset of the lower one.
        low: f64,
        /// Light where the upper logarithm begins.
        cut: f64,
        /// Slope between.
        e: f64,
        /// Signal of black.
        f: f64,
    },
    /// y = c·log2(x) + d from `cut` on, scale·∛(x + offset) below it, the root with its argument's sign
    /// (N-Log's shape).
    LogCube {
        /// Signal for each doubling.
        c: f64,
        /// Signal offset.
        d: f64,
        /// Light where the logarithm begins.
        cut: f64,
        /// Signal where the logarithm begins.
        signal_cut: f64,
        /// Scale of the root.
        scale: f64,
        /// Offset inside the root.
        offset: f64,
    },
    /// y = c·log2(x + b) + d from `cut` on, scale·max(x + offset, 0)² below it (Apple Log's shape).
    LogSquare {
        /// Offset inside the logarithm.
        b: f64,
        /// Signal for each doubling.
        c: f64,
        /// Signal offset.
        d: f64,
        /// Light where the logarithm begins.
        cut: f64,
        /// Signal where the logarithm begins.
        signal_cut: f64,
        /// Scale of the square.
        scale: f64,
        /// Offset inside the square.
        offset: f64,
    },
    /// SMPTE ST 2084 (PQ): absolute light; x = 1 is the display's peak.
    Pq {
        /// The display's peak, cd/m².
        peak: f64,
    },
    /// BT.2100's HLG. Alone the curve is the OETF on scene light 0…1; [`CurveValues::encode_light`] takes a
    /// display's light.
    Hlg {
        /// The display's nominal peak, cd/m², which sets the system gamma.
        peak: f64,
    },
}

/// ST 2084's constants: m1, m2, c1, c2, c3.
const PQ: [f64; 5] = [2610.0 / 16384.0, 2523.0 / 32.0, 0.8359375, 18.8515625, 18.6875];

/// BT.2100's HLG constants: a, b = 1 − 4a, c = ½ − a·ln 4a.
const HLG: [f64; 3] = [0.17883277, 1.0 - 4.0 * 0.17883277, 0.559_910_729_529_562_4];

impl Curve {
    /// The family and constants as a twin computes with them.
    pub fn values<T: Real>(&self) -> CurveValues<T> {
        // The same places mean like things in every family, so that a shader selects as little as can be:
        // scale and offset inside, scale and offset outside, the cut in light and in signal, scale and
        // offset of the toe, and the inverses of the scales.
        let log = |[a, b, c, d]: [f64; 4], [cut, signal_cut]: [f64; 2], [e, f]: [f64; 2]| {
            [a, b, c, d, cut, signal_cut, e, f, 1.0 / a, 1.0 / c, 1.0 / e]
        };
        let (family, k) = match *self {
            Self::Linear => (Family::Linear, [0.0; CurveValues::<f32>::CONSTANTS]),
            Self::Power { gamma } => {
                (Family::Power, log([1.0, 0.0, 1.0 / gamma, 0.0], [NEVER; 2], [1.0, 0.0]))
            }
            Self::PowerToe { gamma, offset, slope, cut, signal_cut } => (
                Family::Power,
                log([1.0 + offset, 0.0, 1.0 / gamma, -offset], [cut, signal_cut], [slope, 0.0]),
            ),
            Self::Log { a, b, c, d, cut, signal_cut, e, f } => {
                (Family::Log, log([a, b, c, d], [cut, signal_cut], [e, f]))
            }
            Self::LogFloor { c, d, signal_cut, slope, floor } => {
                (Family::LogFloor, log([1.0, 0.0, c, d], [NEVER, signal_cut], [slope, floor]))
            }
            Self::LogMirrored { a, c, high, low, cut, e, f } => {
                (Family::LogMirrored, log([a, 1.0, c, high], [cut, low], [e, f]))
            }
            Self::LogCube { c, d, cut, signal_cut, scale, offset } => {
                (Family::LogCube, log([1.0, 0.0, c, d], [cut, signal_cut], [scale, offset]))
            }
            Self::LogSquare { b, c, d, cut, signal_cut, scale, offset } => {
                (Family::LogSquare, log([1.0, b, c, d], [cut, signal_cut], [scale, offset]))
            }
            Self::Pq { peak } => (Family::Pq, {
                let mut k = [0.0; CurveValues::<f32>::CONSTANTS];
                (k[0], k[1]) = (peak / 10_000.0, 10_000.0 / peak);
                k
            }),
            Self::Hlg { peak } => (Family::Hlg, {
                let gamma = 1.2 + 0.42 * (peak / 1000.0).log10();
                let mut k = [0.0; CurveValues::<f32>::CONSTANTS];
                k[0] = 1.0 / gamma - 1.0;
                k[1..5].copy_from_slice(&[0.2627, 0.6780, 0.0593, gamma - 1.0]);
                k
            }),
        };
        CurveValues { family, k: k.map(T::of) }
    }
}

/// A [`Curve`] ready for the pixel loop.
#[derive(Clone, Copy, Debug)]
pub struct CurveValues<T> {
    /// Its family.
    pub family: Family,
    /// Its constants: a, b, c, d, cut, signal cut, e, f, 1/a, 1/c, 1/e, or what stands in their places.
    pub k: [T; 11],
}

impl<T: Real> CurveValues<T> {
    /// How many constants a curve takes.
    pub const CONSTANTS: usize = 11;

    /// From a family's number, as a uniform buffer has it, and the constants; linear for a number that is none.
    pub fn of(family: T, k: [T; 11]) -> Self {
        let known = FAMILIES.into_iter().find(|f| T::of(f64::from(*f as u32)) == family);
        Self { family: known.unwrap_or(Family::Linear), k }
    }

    /// Signal to light. Twin: `curve_decode`.
    pub fn decode(&self, y: T) -> T {
        let k = &self.k;
        let power_of_two = |t: T| (t * k[9]).exp_2();
        let held = |e: T| ((e - k[1]) * k[8]).at_most(T::of(LINEAR_MAX));
        let curved = || held(power_of_two(y - k[3]));
        match self.family {
            Family::Linear => y,
            Family::Pq => pq_decode(y) * k[1],
            Family::Hlg => hlg_decode(y),
            Family::Power if y < k[5] => (y - k[7]) * k[10],
            Family::Power => ((y - k[3]) * k[8]).power(k[9]),
            Family::Log if y < k[5] => (y - k[7]) * k[10],
            Family::LogFloor if y < k[5] => (power_of_two(y - k[3]) - k[7]) * k[10],
            Family::LogCube if y < k[5] => {
                let s = y * k[10];
                s * s * s - k[7]
            }
            Family::LogSquare if y < k[5] => (y * k[10]).at_least(T::of(0.0)).root() - k[7],
            Family::Log | Family::LogFloor | Family::LogCube | Family::LogSquare => curved(),
            Family::LogMirrored => {
                let straight = (y - k[7]) * k[10];
                if straight.magnitude() < k[4] {
                    straight
                } else if y < k[7] {
                    -held(power_of_two(k[5] - y))
                } else {
                    curved()
                }
            }
        }
    }

    /// Light to signal. Twin: `curve_encode`.
    pub fn encode(&self, x: T) -> T {
        let k = &self.k;
        let curved = |x: T| k[2] * (k[0] * x + k[1]).log_2();
        match self.family {
            Family::Linear => x,
            Family::Pq => pq_encode(x * k[0]),
            Family::Hlg => hlg_encode(x),
            Family::Power | Family::Log if x < k[4] => k[6] * x + k[7],
            Family::Power => k[0] * x.power(k[2]) + k[3],
            Family::LogCube if x < k[4] => {
                let shifted = x + k[7];
                let root = shifted.magnitude().power(T::of(1.0 / 3.0));
                k[6] * if shifted < T::of(0.0) { -root } else { root }
            }
            Family::LogSquare if x < k[4] => {
                let shifted = (x + k[7]).at_least(T::of(0.0));
                k[6] * (shifted * shifted)
            }
            Family::Log | Family::LogCube | Family::LogSquare => curved(x) + k[3],
            Family::LogFloor => {
                let near_black = (k[6] * x + k[7]).at_least(k[7]);
                k[2] * (k[0] * x + k[1]).at_least(near_black).log_2() + k[3]
            }
            Family::LogMirrored if x.magnitude() < k[4] => k[6] * x + k[7],
            Family::LogMirrored if x < T::of(0.0) => k[5] - curved(-x),
            Family::LogMirrored => curved(x) + k[3],
        }
    }
}

impl<T: Real> CurveValues<T> {
    /// A display's light, by channel, to its signal. Twin: `curve_encode_light`. HLG's signal is that of the scene
    /// whose light its system gamma turned into the display's (BT.2100's inverse OOTF); for all else this is
    /// [`CurveValues::encode`] on each channel.
    pub fn encode_light(&self, rgb: [T; 3]) -> [T; 3] {
        let k = &self.k;
        if self.family != Family::Hlg {
            return rgb.map(|x| self.encode(x));
        }
        let luminance = k[1] * rgb[0] + k[2] * rgb[1] + k[3] * rgb[2];
        let scale = luminance.power(k[0]);
        rgb.map(|x| hlg_encode(x * scale))
    }

    /// A display's signal to its light, by channel: the inverse of [`CurveValues::encode_light`]. Twin:
    /// `curve_decode_light`.
    pub fn decode_light(&self, rgb: [T; 3]) -> [T; 3] {
        let k = &self.k;
        let light = rgb.map(|y| self.decode(y));
        if self.family != Family::Hlg {
            return light;
        }
        let luminance = k[1] * light[0] + k[2] * light[1] + k[3] * light[2];
        let scale = luminance.power(k[4]);
        light.map(|e| e * scale)
    }
}

/// Light over 10,000 cd/m² to signal (ST 2084's inverse EOTF). Twin: `pq_encode`.
fn pq_encode<T: Real>(y: T) -> T {
    let [m1, m2, c1, c2, c3] = PQ.map(T::of);
    let p = y.power(m1);
    ((c1 + c2 * p) / (T::of(1.0) + c3 * p)).power(m2)
}

/// Its inverse. Twin: `pq_decode`.
fn pq_decode<T: Real>(signal: T) -> T {
    let [m1, m2, c1, c2, c3] = PQ.map(T::of);
    let p = signal.power(T::of(1.0) / m2);
    ((p - c1).at_least(T::of(0.0)) / (c2 - c3 * p)).power(T::of(1.0) / m1)
}

/// Scene light 0…1 to signal (BT.2100's HLG OETF). Twin: `hlg_encode`.
fn hlg_encode<T: Real>(e: T) -> T {
    let [a, b, c] = HLG.map(T::of);
    if e <= T::of(1.0 / 12.0) {
        (T::of(3.0) * e.at_least(T::of(0.0))).root()
    } else {
        a * T::of(std::f64::consts::LN_2) * (T::of(12.0) * e - b).log_2() + c
    }
}

/// Its inverse. Twin: `hlg_decode`.
fn hlg_decode<T: Real>(signal: T) -> T {
    let [a, b, c] = HLG.map(T::of);
    if signal <= T::of(0.5) {
        signal.at_least(T::of(0.0)) * signal * T::of(1.0 / 3.0)
    } else {
        (((signal - c) / a * T::of(std::f64::consts::LOG2_E)).exp_2() + b) * T::of(1.0 / 12.0)
    }
}

/// Scene-linear to ACEScct (S-2016-001). Twin: `acescct_encode`.
pub fn acescct_encode<T: Real>(x: T) -> T {
    if x <= T::of(0.0078125) {
        T::of(10.5402377416545) * x + T::of(0.0729055341958355)
    } else {
        (x.log_2() + T::of(9.72)) * T::of(1.0 / 17.52)
    }
}

/// ACEScct to scene-linear, held at 65504 (S-2016-001). Twin: `acescct_decode`.
pub fn acescct_decode<T: Real>(y: T) -> T {
    if y <= T::of(0.155251141552511) {
        (y - T::of(0.0729055341958355)) * T::of(1.0 / 10.5402377416545)
    } else {
        (y * T::of(17.52) - T::of(9.72)).exp_2().at_most(T::of(LINEAR_MAX))
    }
}
