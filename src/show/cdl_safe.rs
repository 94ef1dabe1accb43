//! Shows whose balance is held to what an ASC CDL on ACEScct carries exactly, so that what is handed over as
//! decisions is what was seen.

use super::{Show, ShowError, Slot};
use crate::picture::Balance;

/// Why a parameter is not moved in such a show, for people.
pub const NOT_CARRIED: &str = "the show is CDL-safe, and an ASC CDL does not carry this exactly";

const ACCEPTED: &str = "contrast, slope, offset, power and saturation, or a show that is not CDL-safe (`greyhold cdl safe DIR off`)";

/// Refuses a balance that no ASC CDL on ACEScct is.
pub(super) fn check_balance(shot: &str, balance: &Balance) -> Result<(), ShowError> {
    let outside: Vec<_> = balance.outside_cdl().iter().map(|f| f.parameter().key).collect();
    if outside.is_empty() {
        return Ok(());
    }
    let what = format!("the shot {shot:?} has {} in a CDL-safe show", outside.join(", "));
    Err(ShowError::change(what, ACCEPTED))
}

impl Show {
    /// Refuses to move what no ASC CDL carries, in a CDL-safe show.
    pub(super) fn check_carried(&self, slot: Slot, value: f64) -> Result<(), ShowError> {
        let Slot::Balance { shot, field } = slot else { return Ok(()) };
        let stays = self.shots.get(shot).is_some_and(|s| s.balance.get(field) == value);
        if !self.cdl_safe || field.is_carried_by_cdl() || stays || value == field.parameter().default {
            return Ok(());
        }
        Err(ShowError::change(format!("{}: {NOT_CARRIED}", field.parameter().key), ACCEPTED))
    }
}
