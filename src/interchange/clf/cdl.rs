//! The ASC Color Decision List's four styles in CLF.

use super::{CdlParams, CdlStyle};
use crate::colour::{LUMA_709, Real};

/// Slope, offset, power and saturation as a twin computes with them. ASC CDL 1.2 (2009); CLF 3.0, ASC_CDL.
#[derive(Clone, Debug)]
pub(super) struct Cdl<T> {
    style: CdlStyle,
    slope: [T; 3],
    offset: [T; 3],
    power: [T; 3],
    saturation: T,
}

impl<T: Real> Cdl<T> {
    /// Reversed styles divide: their slope and saturation must not be 0.
    pub(super) fn new(style: CdlStyle, p: &CdlParams) -> Self {
        let reverse = style.is_reverse();
        let factor = |x: f64| T::of(if reverse { 1.0 / x } else { x });
        Self {
            style,
            slope: p.slope.map(factor),
            offset: p.offset.map(T::of),
            power: p.power.map(factor),
            saturation: factor(p.saturation),
        }
    }

    pub(super) fn apply(&self, v: [T; 3]) -> [T; 3] {
        let clamp = matches!(self.style, CdlStyle::Fwd | CdlStyle::Rev);
        let hold = |v: [T; 3]| if clamp { v.map(held) } else { v };
        let scaled = |c: usize, x: T| x * self.slope[c];
        if self.style.is_reverse() {
            let v = hold(self.saturated(hold(v)));
            let v = self.powered(v);
            hold(std::array::from_fn(|c| scaled(c, v[c] - self.offset[c])))
        } else {
            let v = hold(std::array::from_fn(|c| scaled(c, v[c]) + self.offset[c]));
            hold(self.saturated(self.powered(v)))
        }
    }

    /// What is negative passes; where the style clamps, nothing is.
    fn powered(&self, v: [T; 3]) -> [T; 3] {
        std::array::from_fn(|c| if v[c] < T::of(0.0) { v[c] } else { v[c].power(self.power[c]) })
    }

    fn saturated(&self, v: [T; 3]) -> [T; 3] {
        // A factor of 1 would still cost the small channels of a colour their last digits.
        if self.saturation == T::of(1.0) {
            return v;
        }
        let w = LUMA_709.map(T::of);
        let luma = w[0] * v[0] + w[1] * v[1] + w[2] * v[2];
        v.map(|x| luma + self.saturation * (x - luma))
    }
}

fn held<T: Real>(x: T) -> T {
    x.at_least(T::of(0.0)).at_most(T::of(1.0))
}
