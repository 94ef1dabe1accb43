//! Primaries, white points, chromatic adaptation, and the matrices they give.
//!
//! Normalised primary matrices after SMPTE RP 177:1993; von Kries adaptation.

use super::Matrix;

/// CIE 1931 chromaticities of an RGB space.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Primaries {
    /// xy of red, green, blue.
    pub rgb: [[f64; 2]; 3],
    /// xy of white.
    pub white: [f64; 2],
}

/// A cone-like space for von Kries adaptation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Adaptation {
    /// CIECAM02's (CIE 159:2004).
    Cat02,
    /// Lam's, as in ICC.1:2022 annex E.
    Bradford,
    /// CIECAM16's (Li et al. 2017; CIE 248:2022).
    Cat16,
}

/// CIE D65 as BT.709 and its kin give it.
pub const D65: [f64; 2] = [0.3127, 0.3290];
/// The ACES white point (ST 2065-1).
pub const ACES_WHITE: [f64; 2] = [0.32168, 0.33767];

/// ACES2065-1 primaries (SMPTE ST 2065-1).
pub const AP0: Primaries =
    Primaries { rgb: [[0.7347, 0.2653], [0.0, 1.0], [0.0001, -0.077]], white: ACES_WHITE };
/// ACEScg, ACEScct and ACEScc primaries (Academy S-2014-004).
pub const AP1: Primaries =
    Primaries { rgb: [[0.713, 0.293], [0.165, 0.830], [0.128, 0.044]], white: ACES_WHITE };
/// BT.709-6 primaries.
pub const BT709: Primaries = Primaries { rgb: [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], white: D65 };
/// BT.2020-2 primaries.
pub const BT2020: Primaries = Primaries { rgb: [[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]], white: D65 };
/// P3 primaries with D65 white (SMPTE EG 432-1, ST 2113).
pub const P3_D65: Primaries = Primaries { rgb: [[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]], white: D65 };

fn xyz(xy: [f64; 2]) -> [f64; 3] {
    [xy[0] / xy[1], 1.0, (1.0 - xy[0] - xy[1]) / xy[1]]
}

impl Primaries {
    /// Linear RGB to XYZ with white at Y = 1 (RP 177).
    pub fn to_xyz(&self) -> Matrix {
        let columns = self.rgb.map(xyz);
        let p = Matrix(std::array::from_fn(|r| std::array::from_fn(|c| columns[c][r])));
        p.after(&Matrix::diagonal(p.inverse().times(xyz(self.white))))
    }
}

/// Names of the adaptations that can be chosen, in the order of [`Adaptation::ALL`].
pub const ADAPTATIONS: &[&str] = &["cat16", "cat02", "bradford"];

impl Adaptation {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Cat16, Self::Cat02, Self::Bradford];

    fn cone(self) -> Matrix {
        match self {
            Self::Cat02 => {
                Matrix([[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]])
            }
            Self::Bradford => {
                Matrix([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
            }
            Self::Cat16 => Matrix([
                [0.401288, 0.650173, -0.051461],
                [-0.250268, 1.204414, 0.045854],
                [-0.002079, 0.048952, 0.953127],
            ]),
        }
    }

    /// XYZ under white `from` to the corresponding XYZ under white `to`.
    pub fn matrix(self, from: [f64; 2], to: [f64; 2]) -> Matrix {
        if from == to {
            return Matrix::IDENTITY;
        }
        let cone = self.cone();
        let (a, b) = (cone.times(xyz(from)), cone.times(xyz(to)));
        let scale = Matrix::diagonal(std::array::from_fn(|i| b[i] / a[i]));
        cone.inverse().after(&scale).after(&cone)
    }
}

/// Linear RGB of `from` to linear RGB of `to`.
pub fn conversion(from: &Primaries, to: &Primaries, adaptation: Adaptation) -> Matrix {
    if from == to {
        return Matrix::IDENTITY;
    }
    to.to_xyz().inverse().after(&adaptation.matrix(from.white, to.white)).after(&from.to_xyz())
}
