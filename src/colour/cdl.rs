//! ASC CDL v1.2: slope, offset, power for each channel, then saturation.
//!
//! Pines & Reisner, *ASC CDL Transfer Functions and Interchange Syntax*, version 1.2 (2009). Four styles, as
//! the Common LUT Format (S-2014-006) names them: `Fwd`, `FwdNoClamp`, `Rev`, `RevNoClamp`. Saturation weighs
//! by Rec.709 whatever the primaries.

use super::{LUMA_709, Real};

/// Rec.709's weighted sum of three channels. Twin: `luma_709`.
pub fn luma_709<T: Real>(v: [T; 3]) -> T {
    v[0] * T::of(LUMA_709[0]) + v[1] * T::of(LUMA_709[1]) + v[2] * T::of(LUMA_709[2])
}

/// The ten numbers of a colour decision. Twin: `shaders/colour/cdl.wgsl`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cdl<T> {
    /// A factor for each channel, 0 or more.
    pub slope: [T; 3],
    /// Added to each channel after it.
    pub offset: [T; 3],
    /// An exponent for each channel, more than 0, on what is not negative.
    pub power: [T; 3],
    /// Distance of colours from their luma, 0 or more.
    pub saturation: T,
}

impl Cdl<f64> {
    /// Leaves everything as it is.
    pub const IDENTITY: Self = Self { slope: [1.0; 3], offset: [0.0; 3], power: [1.0; 3], saturation: 1.0 };

    /// As a twin computes with it.
    pub fn prepared<T: Real>(&self) -> Cdl<T> {
        Cdl {
            slope: self.slope.map(T::of),
            offset: self.offset.map(T::of),
            power: self.power.map(T::of),
            saturation: T::of(self.saturation),
        }
    }

    /// Does a way back exist? A slope or saturation of 0 leaves none.
    pub fn is_reversible(&self) -> bool {
        self.slope.iter().chain(&self.power).chain([&self.saturation]).all(|v| *v > 0.0)
    }
}

fn held<T: Real>(v: T) -> T {
    v.at_least(T::of(0.0)).at_most(T::of(1.0))
}

/// `v` to a power; as it is where it is negative.
fn raised<T: Real>(v: T, exponent: T) -> T {
    if v < T::of(0.0) || exponent == T::of(1.0) { v } else { v.power(exponent) }
}

fn saturated<T: Real>(v: [T; 3], amount: T) -> [T; 3] {
    if amount == T::of(1.0) {
        return v;
    }
    let luma = luma_709(v);
    v.map(|v| luma + (v - luma) * amount)
}

/// One over a number; 0 over 0, since what was multiplied by 0 has no way back.
fn inverse<T: Real>(v: T) -> T {
    if v == T::of(0.0) { v } else { T::of(1.0) / v }
}

impl<T: Real> Cdl<T> {
    /// `Fwd`: held to 0…1 before power and at the end.
    pub fn forward(&self, rgb: [T; 3]) -> [T; 3] {
        let v = std::array::from_fn(|c| raised(held(rgb[c] * self.slope[c] + self.offset[c]), self.power[c]));
        saturated(v, self.saturation).map(held)
    }

    /// `FwdNoClamp`: nothing is held, and power leaves negative values alone. The form for ACEScct
    /// (S-2016-001, appendix A). At [`Cdl::IDENTITY`] the very bits. Twin: `cdl_forward_no_clamp`.
    pub fn forward_no_clamp(&self, rgb: [T; 3]) -> [T; 3] {
        let v = std::array::from_fn(|c| raised(rgb[c] * self.slope[c] + self.offset[c], self.power[c]));
        saturated(v, self.saturation)
    }

    /// `Rev`: takes [`Cdl::forward`] back, held to 0…1 before every step but power, and at the end.
    pub fn reverse(&self, rgb: [T; 3]) -> [T; 3] {
        let v = saturated(rgb.map(held), inverse(self.saturation));
        std::array::from_fn(|c| held(self.before_power(held(v[c]), c)))
    }

    /// `RevNoClamp`: takes [`Cdl::forward_no_clamp`] back, negative values too.
    pub fn reverse_no_clamp(&self, rgb: [T; 3]) -> [T; 3] {
        let v = saturated(rgb, inverse(self.saturation));
        std::array::from_fn(|c| self.before_power(v[c], c))
    }

    /// Power, offset and slope of a channel, backwards.
    fn before_power(&self, v: T, c: usize) -> T {
        (raised(v, inverse(self.power[c])) - self.offset[c]) * inverse(self.slope[c])
    }
}
