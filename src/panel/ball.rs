//! Balls: two relative controls that together push a point about a plane.
//!
//! A ball rolls to the right and away from you; what it pushes has two directions as well. Between them lies a turn
//! (the ball may be mounted askew, or its colours wanted elsewhere), a mirroring of either axis, and a sensitivity. All of
//! that is linear, so that an axis of the ball is a control with a share for each of the plane's parameters.

use crate::colour::YcbcrMatrix;
use std::sync::Arc;

use super::Target;

/// The parameters that a ball pushes.
#[derive(Clone, Debug, PartialEq)]
pub enum Plane {
    /// One to the right, one away from you.
    Two([Arc<str>; 2]),
    /// Red, green and blue, pushed at constant luma: to the right towards blue (C_B of Rec. 709), away from you
    /// towards red (C_R), as those lie on a vectorscope.
    Colour([Arc<str>; 3]),
}

/// How a ball lies under the hand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lie {
    /// Degrees that what the ball pushes is turned by, counter-clockwise.
    pub rotation: f64,
    /// Is rolling to the right, and rolling away, mirrored before that?
    pub invert: [bool; 2],
    /// Times what the ball turns.
    pub sensitivity: f64,
}

impl Plane {
    /// What a detent of each axis, to the right and away, moves. Both name every parameter of the plane, also
    /// with a share of 0, so that whatever the hand does with the ball is one gesture on the same parameters.
    pub fn axes(&self, lie: &Lie) -> [Arc<[Target]>; 2] {
        let (sin, cos) = sin_cos(lie.rotation);
        let sign = lie.invert.map(|mirrored| if mirrored { -lie.sensitivity } else { lie.sensitivity });
        let axes = [[sign[0] * cos, sign[0] * sin], [-sign[1] * sin, sign[1] * cos]];
        axes.map(|[right, away]| match self {
            Self::Two(names) => {
                let shares = [right, away].into_iter().zip(names);
                shares.map(|(by, address)| Target { address: address.clone(), by: by + 0.0 }).collect()
            }
            Self::Colour(names) => {
                let shares = YcbcrMatrix::Bt709.to_rgb().times([0.0, right, away]).into_iter().zip(names);
                shares.map(|(by, address)| Target { address: address.clone(), by: by + 0.0 }).collect()
            }
        })
    }
}

/// Sine and cosine of an angle in degrees, exact at quarter turns, where a ball has to leave one axis alone.
fn sin_cos(degrees: f64) -> (f64, f64) {
    match degrees.rem_euclid(360.0) {
        0.0 => (0.0, 1.0),
        90.0 => (1.0, 0.0),
        180.0 => (0.0, -1.0),
        270.0 => (-1.0, 0.0),
        other => other.to_radians().sin_cos(),
    }
}
