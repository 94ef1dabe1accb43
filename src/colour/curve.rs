//! Transfer functions, as data: a family and its constants.
//!
//! A shader switches on the family and reads the constants from a buffer, so that changing a shot's
//! encoding or an output's display compiles nothing.

use super::Real;

/// The shape of a transfer function. The numbers are shared with `shaders/colour/curve.wgsl`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u32)]
pub enum Family {
    /// The signal is the light.
    Linear = 0,
    /// `c·log2(a·x + b) + d` from `cut` on, `e·x + f` below it.
    Log = 1,
    /// `x^(1/γ)`, 0 for negative light.
    Power = 2,
    /// A power law with an offset and a straight toe (IEC 61966-2-1's shape).
    PowerToe = 3,
}

/// Light above this is held there when a signal is decoded: the largest half float.
pub const LINEAR_MAX: f64 = 65504.0;

/// A transfer function between light x (linear, 0.18 grey or display white 1) and signal y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Curve {
    /// y = x.
    Linear,
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
    /// y = x^(1/γ).
    Power {
        /// γ.
        gamma: f64,
    },
    /// y = s·x up to `cut`, then (1+o)·x^(1/γ) − o.
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
}

impl Curve {
    /// The family and constants as a twin computes with them.
    pub fn values<T: Real>(&self) -> CurveValues<T> {
        let (family, k) = match *self {
            Self::Linear => (Family::Linear, [0.0; CurveValues::<f32>::CONSTANTS]),
            Self::Log { a, b, c, d, cut, signal_cut, e, f } => {
                (Family::Log, [a, b, c, d, cut, signal_cut, e, f, 1.0 / a, 1.0 / c, 1.0 / e])
            }
            Self::Power { gamma } => {
                (Family::Power, [gamma, 1.0 / gamma, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
            }
            Self::PowerToe { gamma, offset, slope, cut, signal_cut } => (
                Family::PowerToe,
                [
                    gamma,
                    1.0 / gamma,
                    offset,
                    slope,
                    cut,
                    signal_cut,
                    1.0 + offset,
                    1.0 / (1.0 + offset),
                    1.0 / slope,
                    0.0,
                    0.0,
                ],
            ),
        };
        CurveValues { family, k: k.map(T::of) }
    }
}

/// A [`Curve`] ready for the pixel loop.
#[derive(Clone, Copy, Debug)]
pub struct CurveValues<T> {
    /// Its family.
    pub family: Family,
    /// Its constants, in the family's order, inverses last.
    pub k: [T; 11],
}

impl<T: Real> CurveValues<T> {
    /// How many constants a curve takes.
    pub const CONSTANTS: usize = 11;

    /// Signal to light. Twin: `curve_decode`.
    pub fn decode(&self, y: T) -> T {
        let k = &self.k;
        match self.family {
            Family::Linear => y,
            Family::Log => {
                let x =
                    if y < k[5] { (y - k[7]) * k[10] } else { (((y - k[3]) * k[9]).exp_2() - k[1]) * k[8] };
                x.at_most(T::of(LINEAR_MAX))
            }
            Family::Power => y.power(k[0]),
            Family::PowerToe => {
                if y < k[5] {
                    y * k[8]
                } else {
                    ((y + k[2]) * k[7]).power(k[0])
                }
            }
        }
    }

    /// Light to signal. Twin: `curve_encode`.
    pub fn encode(&self, x: T) -> T {
        let k = &self.k;
        match self.family {
            Family::Linear => x,
            Family::Log => {
                if x < k[4] {
                    k[6] * x + k[7]
                } else {
                    k[2] * (k[0] * x + k[1]).log_2() + k[3]
                }
            }
            Family::Power => x.power(k[1]),
            Family::PowerToe => {
                if x < k[4] {
                    x * k[3]
                } else {
                    k[6] * x.power(k[1]) - k[2]
                }
            }
        }
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
