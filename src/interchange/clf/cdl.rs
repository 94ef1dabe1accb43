//! The ASC Color Decision List's four styles in CLF.

use super::{CdlParams, CdlStyle};
use crate::colour::{self, LUMA_709, Real};

/// A colour decision in one of the styles.
#[derive(Clone, Debug)]
pub(super) struct Cdl<T> {
    style: CdlStyle,
    decision: colour::Cdl<T>,
    params: CdlParams,
}

impl<T: Real> Cdl<T> {
    /// Reversed styles divide: their slope and saturation must not be 0.
    pub(super) fn new(style: CdlStyle, p: &CdlParams) -> Self {
        let CdlParams { slope, offset, power, saturation } = *p;
        let decision = colour::Cdl { slope, offset, power, saturation }.prepared();
        Self { style, decision, params: *p }
    }

    /// Whether each channel's output depends on that channel alone.
    pub(super) fn is_by_channel(&self) -> bool {
        self.params.saturation == 1.0
    }

    /// What works on each channel alone, then saturation as a matrix, then whether the end is held to 0…1: the same
    /// but for rounding. None for reversed styles, where saturation comes first.
    pub(super) fn parts(&self) -> Option<(Self, [[T; 4]; 3], bool)> {
        if self.style.is_reverse() {
            return None;
        }
        let amount = self.params.saturation;
        let first = Self::new(self.style, &CdlParams { saturation: 1.0, ..self.params });
        let row = |r: usize| {
            let own = |c: usize| if r == c { amount } else { 0.0 };
            std::array::from_fn(|c| T::of(if c < 3 { own(c) + (1.0 - amount) * LUMA_709[c] } else { 0.0 }))
        };
        Some((first, [row(0), row(1), row(2)], self.style == CdlStyle::Fwd))
    }

    pub(super) fn apply(&self, v: [T; 3]) -> [T; 3] {
        match self.style {
            CdlStyle::Fwd => self.decision.forward(v),
            CdlStyle::FwdNoClamp => self.decision.forward_no_clamp(v),
            CdlStyle::Rev => self.decision.reverse(v),
            CdlStyle::RevNoClamp => self.decision.reverse_no_clamp(v),
        }
    }
}
