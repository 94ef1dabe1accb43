//! The number a twin is generic over, and our own log2, exp2 and power.
//!
//! The f32 forms are polynomials written with `+ − × /` and bit operations only. `fine_log_2`, `fine_exp_2` and
//! `fine_power` of `shaders/colour/real.wgsl` are the same text; where their error is not seen, shaders use the
//! GPU's built-ins, which are quicker and differ by tens of ULP.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// A number of the picture path: f32 as the GPU computes it, or f64 as a reference.
pub trait Real:
    Copy
    + PartialOrd
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Send
    + Sync
    + 'static
{
    /// The nearest number to `value`.
    fn of(value: f64) -> Self;
    /// The value as f64, exact.
    fn to_f64(self) -> f64;
    /// Base-2 logarithm; arguments below the smallest normal f32 count as that number.
    fn log_2(self) -> Self;
    /// 2 to the power of `self`, held within the normal range of f32.
    fn exp_2(self) -> Self;
    /// Square root.
    fn root(self) -> Self;
    /// Magnitude.
    fn magnitude(self) -> Self;
    /// Largest integer not above.
    fn whole(self) -> Self;

    /// `self` to the power `exponent`; 0 for a base that is not positive.
    fn power(self, exponent: Self) -> Self {
        if self > Self::of(0.0) { (exponent * self.log_2()).exp_2() } else { Self::of(0.0) }
    }
    /// The smaller of two.
    fn at_most(self, limit: Self) -> Self {
        if self > limit { limit } else { self }
    }
    /// The larger of two.
    fn at_least(self, limit: Self) -> Self {
        if self < limit { limit } else { self }
    }
    /// `self + (other − self) · share`.
    fn toward(self, other: Self, share: Self) -> Self {
        self + (other - self) * share
    }
}

impl Real for f64 {
    fn of(value: f64) -> Self {
        value
    }
    fn to_f64(self) -> f64 {
        self
    }
    fn log_2(self) -> Self {
        self.max(f32::MIN_POSITIVE.into()).log2()
    }
    fn exp_2(self) -> Self {
        self.clamp(-125.0, 127.999).exp2()
    }
    fn root(self) -> Self {
        self.sqrt()
    }
    fn magnitude(self) -> Self {
        self.abs()
    }
    fn whole(self) -> Self {
        self.floor()
    }
}

impl Real for f32 {
    fn of(value: f64) -> Self {
        value as f32
    }
    fn to_f64(self) -> f64 {
        self.into()
    }

    fn log_2(self) -> Self {
        let x = self.at_least(f32::MIN_POSITIVE);
        // x = m · 2^e with m in [√½, √2), so that log2 m is small and symmetric about 0.
        let bits = x.to_bits() as i32;
        let e = (bits - 0x3f35_04f3) >> 23;
        let m = f32::from_bits((bits - (e << 23)) as u32);
        let s = (m - 1.0) / (m + 1.0);
        let q = s * s;
        // 2/ln 2 · atanh(s), by its series.
        let series =
            2.885_390_1 + q * (0.961_796_7 + q * (0.577_078_04 + q * (0.412_198_6 + q * 0.320_598_9)));
        e as f32 + s * series
    }

    fn exp_2(self) -> Self {
        let x = self.at_least(-125.0).at_most(127.999);
        let i = (x + 0.5).floor();
        let f = x - i;
        // e^(f ln 2) by its series; |f| ≤ ½ leaves 5e-9.
        let p = 1.0
            + f * (0.693_147_2
                + f * (0.240_226_5
                    + f * (0.055_504_11
                        + f * (0.009_618_129
                            + f * (0.001_333_355_8 + f * (0.000_154_035_3 + f * 0.000_015_252_734))))));
        f32::from_bits((p.to_bits() as i32 + ((i as i32) << 23)) as u32)
    }

    fn root(self) -> Self {
        self.sqrt()
    }
    fn magnitude(self) -> Self {
        self.abs()
    }
    fn whole(self) -> Self {
        self.floor()
    }
}
