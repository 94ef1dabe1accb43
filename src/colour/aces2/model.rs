//! The appearance model behind the tables: RGB to J, M and h and back, in f64.

use super::super::{Matrix, Primaries};

/// Exponent of the cones' compression.
pub const COMPRESSION: f64 = 0.42;
/// Offset of the cones' compression.
pub const OFFSET: f64 = 27.13;
/// Exponent from achromatic response to J: c (1.48 + √(Y_b ÷ Y_w)) with c = 0.59 (dim) and Y_b = 20.
/// `√0.2` is written out because roots are not constant expressions.
pub const MODEL_GAMMA: f64 = 0.59 * (1.48 + 0.447_213_595_499_957_94);
/// M per opponent response: 43 · N_c (0.9, dim) · 400 of the compression's usual scale.
const CHROMA: f64 = 43.0 * 0.9 * 400.0;
/// Adapting luminance, cd/m².
const ADAPTING: f64 = 100.0;

/// The cones of CIECAM16 as primaries with the equal-energy white.
const CONES: Primaries =
    Primaries { rgb: [[0.8336, 0.1735], [2.3854, -1.4659], [0.087, -0.125]], white: [0.333, 0.333] };

/// A neutral's adapted cone response at `nits`.
pub fn adapted(nits: f64) -> f64 {
    let five = 5.0 * ADAPTING;
    let k_4 = (five + 1.0).powi(-4);
    let f_l = 0.2 * k_4 * five + 0.1 * (1.0 - k_4).powi(2) * five.cbrt();
    f_l * nits / 100.0
}

/// Compressed cone response of a neutral of 100 cd/m².
pub fn white_response() -> f64 {
    super::aces2_cone_compress(adapted(100.0))
}

/// Compressed cone responses to achromatic and opponent responses.
pub fn opponent() -> Matrix {
    let a = 1.0 / (3.05 * white_response());
    Matrix([
        [2.0 * a, a, 0.05 * a],
        [CHROMA, -12.0 / 11.0 * CHROMA, CHROMA / 11.0],
        [CHROMA / 9.0, CHROMA / 9.0, -2.0 / 9.0 * CHROMA],
    ])
}

/// J of a neutral of `nits`.
pub fn lightness(nits: f64) -> f64 {
    100.0 * (super::aces2_cone_compress(adapted(nits)) / white_response()).powf(MODEL_GAMMA)
}

/// The model for light in one RGB space, seen adapted to that space's white. RGB 1 is 100 cd/m².
#[derive(Clone, Debug)]
pub struct Model {
    /// RGB to adapted cone responses.
    pub to_cone: Matrix,
    from_cone: Matrix,
    opponent: Matrix,
    from_opponent: Matrix,
}

/// Lightness, colourfulness, and hue in degrees from 0 to 360.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    pub j: f64,
    pub m: f64,
    pub h: f64,
}

impl Model {
    pub fn of(primaries: &Primaries) -> Self {
        let cone = CONES.to_xyz().inverse().after(&primaries.to_xyz());
        let white = cone.times([1.0; 3]);
        let to_cone = Matrix::diagonal(white.map(|w| adapted(100.0) / w)).after(&cone);
        let opponent = opponent();
        Self { to_cone, from_cone: to_cone.inverse(), opponent, from_opponent: opponent.inverse() }
    }

    /// Achromatic and opponent responses.
    pub fn responses(&self, rgb: [f64; 3]) -> [f64; 3] {
        self.opponent.times(self.to_cone.times(rgb).map(super::aces2_cone_compress))
    }

    pub fn see(&self, rgb: [f64; 3]) -> Seen {
        let [a, p, q] = self.responses(rgb);
        let h = q.atan2(p).to_degrees().rem_euclid(360.0);
        Seen { j: 100.0 * a.max(0.0).powf(MODEL_GAMMA), m: p.hypot(q), h }
    }

    pub fn rgb(&self, seen: Seen) -> [f64; 3] {
        let (sin, cos) = seen.h.to_radians().sin_cos();
        let a = (seen.j / 100.0).powf(1.0 / MODEL_GAMMA);
        let cone = self.from_opponent.times([a, seen.m * cos, seen.m * sin]).map(super::aces2_cone_expand);
        self.from_cone.times(cone)
    }
}
