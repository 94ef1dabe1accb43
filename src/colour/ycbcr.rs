//! Integer codes to full-range R'G'B' signal: quantisation and the Y'CbCr matrices.
//!
//! Sources: BT.709-6, BT.2020-2, BT.601-7 (weights); BT.2100-2 table 9 (both ranges).

use super::Matrix;

/// Which luma weights a Y'CbCr file uses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum YcbcrMatrix {
    /// BT.601.
    Bt601,
    /// BT.709.
    Bt709,
    /// BT.2020, non-constant luminance.
    Bt2020,
}

impl YcbcrMatrix {
    /// Weights of red and blue in Y'.
    pub const fn weights(self) -> (f64, f64) {
        match self {
            Self::Bt601 => (0.299, 0.114),
            Self::Bt709 => (0.2126, 0.0722),
            Self::Bt2020 => (0.2627, 0.0593),
        }
    }

    /// Y'CbCr (Y' 0…1, C ±½) to R'G'B'.
    pub fn to_rgb(self) -> Matrix {
        let (kr, kb) = self.weights();
        let kg = 1.0 - kr - kb;
        let (cr, cb) = (2.0 * (1.0 - kr), 2.0 * (1.0 - kb));
        Matrix([[1.0, 0.0, cr], [1.0, -kb * cb / kg, -kr * cr / kg], [1.0, cb, 0.0]])
    }
}

/// Which codes black and white have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Range {
    /// Black 64, white 940 at 10 bit.
    Narrow,
    /// Black 0, white 1023 at 10 bit.
    Full,
}

/// Integer codes of `depth` bits to full-range R'G'B': a matrix and what is added after it.
///
/// `matrix` is `None` for codes that are R'G'B' already.
pub fn code_to_signal(depth: u32, range: Range, matrix: Option<YcbcrMatrix>) -> (Matrix, [f64; 3]) {
    let step = f64::from(1u32 << (depth - 8));
    let full = f64::from((1u64 << depth) as u32 - 1);
    let half = f64::from(1u32 << (depth - 1));
    let ((y_scale, y_zero), (c_scale, c_zero)) = match range {
        Range::Narrow => ((219.0 * step, 16.0 * step), (224.0 * step, half)),
        Range::Full => ((full, 0.0), (full, half)),
    };
    let (to_rgb, scale, zero) = match matrix {
        None => (Matrix::IDENTITY, [y_scale; 3], [y_zero; 3]),
        Some(m) => (m.to_rgb(), [y_scale, c_scale, c_scale], [y_zero, c_zero, c_zero]),
    };
    let m = to_rgb.after(&Matrix::diagonal(scale.map(|s| 1.0 / s)));
    (m, m.times(zero.map(|z| -z)))
}
