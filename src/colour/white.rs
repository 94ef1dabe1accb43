//! White balance: which light becomes the white of the working space.

use std::sync::LazyLock;

use super::planck::{beside_locus, from_locus};
use super::{ACES_WHITE, AP1, Adaptation, Matrix};

/// Where the ACES white lies: its mired, and its distance from the Planckian locus (Duv, + towards green).
pub static WHITE_ON_LOCUS: LazyLock<(f64, f64)> =
    LazyLock::new(|| from_locus(ACES_WHITE).expect("the ACES white is near the Planckian locus"));

/// CIE xy of the light that becomes white: the ACES white, moved along the Planckian locus by `mired`
/// (−250 to 150) and across it by `tint` thousandths of Duv, against the way the picture is to go. What was
/// lit by a colder light than the ACES white gets warmer (+), by a more magenta one greener (+, the sign of
/// ANSI C78.377).
pub fn shifted_light(mired: f64, tint: f64) -> [f64; 2] {
    if mired == 0.0 && tint == 0.0 {
        return ACES_WHITE;
    }
    let (white, duv) = *WHITE_ON_LOCUS;
    beside_locus(white - mired, duv - tint / 1000.0)
}

/// Kelvin (correlated) and Duv of [`shifted_light`].
pub fn light_temperature(mired: f64, tint: f64) -> (f64, f64) {
    let (white, duv) = *WHITE_ON_LOCUS;
    (1e6 / (white - mired), duv - tint / 1000.0)
}

/// White balance of ACEScg light: von Kries from [`shifted_light`] to the ACES white. What has that light's
/// colour becomes neutral and keeps its luminance. Exactly the identity when both are 0.
pub fn white_shift(mired: f64, tint: f64, adaptation: Adaptation) -> Matrix {
    if mired == 0.0 && tint == 0.0 {
        return Matrix::IDENTITY;
    }
    // Whites have Y = 1 on both sides, which is what keeps luminance.
    let adapt = adaptation.matrix(shifted_light(mired, tint), ACES_WHITE);
    let to_xyz = AP1.to_xyz();
    to_xyz.inverse().after(&adapt).after(&to_xyz)
}

/// The `mired` and `tint` of [`white_shift`] that make an ACEScg colour neutral, whatever the adaptation; not
/// held to any range. `None` for what no light near the Planckian locus could have lit a grey to.
pub fn neutral_shift(rgb: [f64; 3]) -> Option<(f64, f64)> {
    let [x, y, z] = AP1.to_xyz().times(rgb);
    let sum = x + y + z;
    if !(y > 0.0 && sum > 0.0 && sum.is_finite()) {
        return None;
    }
    let (white, duv) = *WHITE_ON_LOCUS;
    let (mired, found) = from_locus([x / sum, y / sum])?;
    Some((white - mired, 1000.0 * (duv - found)))
}
