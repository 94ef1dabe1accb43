//! When a control that knows its own position may move a parameter that stands elsewhere.

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
    /// Takes the parameter to where the control stands.
    Jump,
}

/// The state of takeover between one control and one parameter. Positions are 0…1 of the travel and of
/// the range.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pickup {
    /// Where the control was last seen.
    seen: Option<f64>,
    /// Where we set the parameter last, while we hold it.
    set: Option<f64>,
}

impl Pickup {
    /// The control stands at `control` while the parameter stands at `parameter`: does it act? If so, the
    /// caller sets the parameter to `control` before it asks again. `tolerance` is how close it must come,
    /// in parts of its travel.
    pub fn moved(&mut self, how: Takeover, control: f64, parameter: f64, tolerance: f64) -> bool {
        self.check(parameter);
        let before = self.seen.replace(control);
        let reached = (control - parameter).abs() <= tolerance;
        let crossed = before.is_some_and(|before| (before - parameter) * (control - parameter) < 0.0);
        if how == Takeover::Pickup && self.set.is_none() && !reached && !crossed {
            return false;
        }
        self.set = Some(control);
        true
    }

    /// Lets go if the parameter, now at `parameter`, was moved by something else since we set it.
    pub fn check(&mut self, parameter: f64) {
        if self.set.is_some_and(|set| (set - parameter).abs() > SAME) {
            self.set = None;
        }
    }

    /// Lets go and forgets where the control was: when the shot or the map changes, or the parameter is
    /// not there.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Is the parameter held?
    pub fn holds(&self) -> bool {
        self.set.is_some()
    }
}
