//! 3×3 matrices. Composed in f64, applied in whatever the twin computes in.

use super::Real;

/// Rows of a 3×3 matrix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Matrix(pub [[f64; 3]; 3]);

impl Matrix {
    /// Leaves everything as it is.
    pub const IDENTITY: Self = Self([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]);

    /// A matrix with `d` on its diagonal.
    pub const fn diagonal(d: [f64; 3]) -> Self {
        Self([[d[0], 0.0, 0.0], [0.0, d[1], 0.0], [0.0, 0.0, d[2]]])
    }

    /// `self · other`: first `other`, then `self`.
    pub fn after(&self, other: &Self) -> Self {
        Self(std::array::from_fn(|r| {
            std::array::from_fn(|c| (0..3).map(|k| self.0[r][k] * other.0[k][c]).sum())
        }))
    }

    /// `self · v`.
    pub fn times(&self, v: [f64; 3]) -> [f64; 3] {
        apply(&self.rows(), v)
    }

    /// The inverse, by cofactors. Every matrix of this crate is regular.
    pub fn inverse(&self) -> Self {
        let m = &self.0;
        let minor = |r: usize, c: usize| {
            let (r1, r2, c1, c2) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
            m[r1][c1] * m[r2][c2] - m[r1][c2] * m[r2][c1]
        };
        let determinant: f64 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
        Self(std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / determinant)))
    }

    /// The nine numbers, row by row, as a twin computes with them.
    pub fn rows<T: Real>(&self) -> [T; 9] {
        std::array::from_fn(|i| T::of(self.0[i / 3][i % 3]))
    }
}

/// `m · v`, with `m` row by row. Twin: `transform` in `shaders/colour/matrix.wgsl`.
pub fn apply<T: Real>(m: &[T; 9], v: [T; 3]) -> [T; 3] {
    std::array::from_fn(|r| m[3 * r] * v[0] + m[3 * r + 1] * v[1] + m[3 * r + 2] * v[2])
}
