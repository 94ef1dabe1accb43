//! Which of balance an ASC CDL on ACEScct carries.

use super::{Balance, BalanceField};

impl BalanceField {
    /// Does an ASC CDL on ACEScct carry it exactly? Contrast folds into slope and offset; slope, offset, power and saturation
    /// are an ASC CDL already. Exposure is not carried: under 0.0078125 ACEScct is a straight line, where a stop is a
    /// factor on the signal less its black, and above it an offset.
    pub fn is_carried_by_cdl(self) -> bool {
        use BalanceField::*;
        matches!(
            self,
            Contrast
                | SlopeR
                | SlopeG
                | SlopeB
                | OffsetR
                | OffsetG
                | OffsetB
                | PowerR
                | PowerG
                | PowerB
                | Saturation
        )
    }
}

impl Balance {
    /// What of it acts and is not carried exactly by an ASC CDL on ACEScct.
    pub fn outside_cdl(&self) -> Vec<BalanceField> {
        use BalanceField::*;
        // All others that are not carried only say how these act.
        let acting = [
            Exposure,
            Warmth,
            Tint,
            ShadowExposure,
            ShadowCb,
            ShadowCr,
            HighlightExposure,
            HighlightCb,
            HighlightCr,
        ];
        acting.into_iter().filter(|f| self.get(*f) != f.parameter().default).collect()
    }
}
