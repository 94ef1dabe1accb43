//! When a control that knows its own position may move a parameter that stands elsewhere.

use super::feel::FINE;
use serde::Deserialize;

/// How close a control must come to count as having reached the parameter, in parts of its travel: one
/// and a half steps of a 7-bit control, so that a parameter between two steps is reached from either.
pub const TOLERANCE: f64 = 1.5 / 127.0;

/// The same for a 14-bit control.
pub const FINE_TOLERANCE: f64 = 1.5 / 16383.0;

/// How far a parameter may stand from where we set it and still be where we set it. It covers keeping the
/// value in an f32; a person's smallest change is larger.
const SAME: f64 = 1e-4;

/// What an absolute control does when its parameter stands elsewhere.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Takeover {
    /// Nothing, until it has reached the parameter's position or crossed it.
    #[default]
    Pickup,
    /// Moves the parameter by the share of its remaining travel that it makes of its own, so that both come to the
    /// end together, and from where they meet on moves it as one.
    Scaled,
    /// Takes the parameter to where the control stands.
    Jump,
}

/// The state of takeover between one control and one parameter. Positions are 0…1 of the travel and of
/// the range.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pickup {
    /// Where the control was last seen.
    seen: Option<f64>,
    /// Where we put the parameter last, if it is still ours.
    put: Option<f64>,
    /// Does the parameter stand where the control does?
    held: bool,
    /// Did fine mode move them apart?
    apart: bool,
}

/// A move of a control, and what is so meanwhile.
#[derive(Clone, Copy, Debug)]
pub struct Moved {
    /// Where the control stands now.
    pub control: f64,
    /// Where the parameter stands.
    pub parameter: f64,
    /// Where the parameter is going; where it stands if it rests.
    pub bound: f64,
    /// How close they must come, in parts of the travel.
    pub tolerance: f64,
    /// Is fine mode on?
    pub fine: bool,
}

impl Pickup {
    /// Where the parameter has to go, if the control acts. The caller puts it there, or on its way there, and
    /// [says so](Self::put) before it asks again.
    pub fn goal(&mut self, how: Takeover, moved: Moved) -> Option<f64> {
        let Moved { control, parameter, bound, tolerance, fine } = moved;
        self.check(parameter);
        let before = self.seen.replace(control);
        if fine {
            if !self.held && how != Takeover::Jump {
                return None;
            }
            self.apart = true;
            return Some((bound + (control - before?) * FINE).clamp(0.0, 1.0));
        }
        if std::mem::take(&mut self.apart) {
            self.held = false;
        }
        let near = |control: f64| (control - bound).abs() <= tolerance;
        let met = match (how, before) {
            (Takeover::Jump, _) => true,
            (Takeover::Pickup, Some(before)) => near(control) || (before - bound) * (control - bound) < 0.0,
            // Where it was counts, not where it is: one long move does what many short ones do.
            (Takeover::Scaled, Some(before)) => near(before),
            (_, None) => near(control),
        };
        if self.held || met {
            self.held = true;
            return Some(control);
        }
        let goal = match (how, before) {
            (Takeover::Scaled, Some(before)) if control > before => {
                1.0 - (1.0 - bound) * ((1.0 - control) / (1.0 - before))
            }
            (Takeover::Scaled, Some(before)) if control < before => bound * (control / before),
            _ => return None,
        };
        self.held = (control - goal).abs() <= tolerance;
        Some(goal)
    }

    /// The parameter was put somewhere for us.
    pub fn put(&mut self, place: f64) {
        self.put = Some(place);
    }

    /// Was the parameter put somewhere for us, and not elsewhere by anybody since, as far as was
    /// [checked](Self::check)?
    pub fn is_ours(&self) -> bool {
        self.put.is_some()
    }

    /// Lets go if the parameter, now at `parameter`, was moved by something else since we put it.
    pub fn check(&mut self, parameter: f64) {
        if self.put.is_some_and(|put| (put - parameter).abs() > SAME) {
            (self.put, self.held) = (None, false);
        }
    }

    /// Lets go and forgets where the control was: when the shot, the bank or the map changes, or the parameter is
    /// not there.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Does the parameter stand where the control does?
    pub fn holds(&self) -> bool {
        self.held && !self.apart
    }
}
