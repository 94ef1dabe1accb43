//! The ASC Color Decision List's four styles in CLF.

use super::{CdlParams, CdlStyle};
use crate::colour::{self, Real};

/// A colour decision in one of the styles.
#[derive(Clone, Debug)]
pub(super) struct Cdl<T> {
    style: CdlStyle,
    decision: colour::Cdl<T>,
    by_channel: bool,
}

impl<T: Real> Cdl<T> {
    /// Reversed styles divide: their slope and saturation must not be 0.
    pub(super) fn new(style: CdlStyle, p: &CdlParams) -> Self {
        let CdlParams { slope, offset, power, saturation } = *p;
        let decision = colour::Cdl { slope, offset, power, saturation }.prepared();
        Self { style, decision, by_channel: saturation == 1.0 }
    }

    /// Whether each channel's output depends on that channel alone.
    pub(super) fn is_by_channel(&self) -> bool {
        self.by_channel
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
