//! A function on the lattice of a 3D LUT, and its derivatives there.

use rayon::prelude::*;

use super::Transform;

/// Rows of a 3×3 matrix of derivatives: row = channel that comes out, column = channel that goes in.
pub(super) type Jacobian = [[f64; 3]; 3];

/// The values of a function at `size`³ places between 0 and 1, red fastest, then green, then blue.
pub(super) struct Lattice {
    pub size: usize,
    pub values: Vec<[f64; 3]>,
}

/// The six ways from a cell's first corner to its last along the axes: one tetrahedron each.
const WAYS: [[usize; 3]; 6] = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];

impl Lattice {
    pub fn of(f: &Transform, size: usize) -> Self {
        let at = |i: usize| i as f64 / (size - 1) as f64;
        let values = (0..size.pow(3))
            .into_par_iter()
            .map(|i| f([at(i % size), at(i / size % size), at(i / size / size)]))
            .collect();
        Self { size, values }
    }

    /// The derivatives of each of a cell's six tetrahedra: E · E₀⁻¹ of Karaçalı and Davatzikos 2004. As a
    /// tetrahedron's edges run along the axes one after the other, column by column they are differences over
    /// the lattice's spacing.
    fn cell(&self, [r, g, b]: [usize; 3]) -> [Jacobian; 6] {
        let n = self.size;
        let steps = [1, n, n * n];
        let first = r + g * n + b * n * n;
        let scale = (n - 1) as f64;
        WAYS.map(|way| {
            let mut j = [[0.0; 3]; 3];
            let mut from = first;
            for axis in way {
                let to = from + steps[axis];
                for c in 0..3 {
                    j[c][axis] = (self.values[to][c] - self.values[from][c]) * scale;
                }
                from = to;
            }
            j
        })
    }

    /// What `fold` makes of all cells' derivatives, slice by slice of blue.
    pub fn over_cells<A: Send>(
        &self,
        start: impl Fn() -> A + Sync,
        fold: impl Fn(&mut A, [usize; 3], [Jacobian; 6]) + Sync,
    ) -> Vec<A> {
        let cells = self.size - 1;
        (0..cells)
            .into_par_iter()
            .map(|b| {
                let mut sum = start();
                for g in 0..cells {
                    for r in 0..cells {
                        fold(&mut sum, [r, g, b], self.cell([r, g, b]));
                    }
                }
                sum
            })
            .collect()
    }

    /// Do all of a cell's corners lie between two values, in every channel?
    pub fn within(&self, cell: [usize; 3], low: f64, high: f64) -> bool {
        let last = (self.size - 1) as f64;
        cell.iter().all(|&i| i as f64 / last >= low && (i + 1) as f64 / last <= high)
    }
}

/// The derivatives at one place, by central differences.
pub(super) fn jacobian_at(f: &Transform, x: [f64; 3], h: f64) -> Jacobian {
    let columns: [[f64; 3]; 3] = std::array::from_fn(|axis| {
        let beside = |way: f64| {
            let mut v = x;
            v[axis] += way * h;
            f(v)
        };
        let (low, high) = (beside(-1.0), beside(1.0));
        std::array::from_fn(|c| (high[c] - low[c]) / (2.0 * h))
    });
    std::array::from_fn(|c| std::array::from_fn(|axis| columns[axis][c]))
}

/// The determinant: by how much a small volume grows; below 0 it is turned inside out.
pub(super) fn determinant(j: &Jacobian) -> f64 {
    j[0][0] * (j[1][1] * j[2][2] - j[1][2] * j[2][1]) - j[0][1] * (j[1][0] * j[2][2] - j[1][2] * j[2][0])
        + j[0][2] * (j[1][0] * j[2][1] - j[1][1] * j[2][0])
}

/// The squares of the three singular values, the largest first: the eigenvalues of Jᵀ·J, which is symmetric,
/// by the roots of its characteristic polynomial (the trigonometric solution of the cubic).
pub(super) fn squared_singular_values(j: &Jacobian) -> [f64; 3] {
    let m = |a: usize, b: usize| (0..3).map(|c| j[c][a] * j[c][b]).sum::<f64>();
    let (xx, yy, zz, xy, xz, yz) = (m(0, 0), m(1, 1), m(2, 2), m(0, 1), m(0, 2), m(1, 2));
    let mean = (xx + yy + zz) / 3.0;
    let (a, b, c) = (xx - mean, yy - mean, zz - mean);
    let p = ((a * a + b * b + c * c + 2.0 * (xy * xy + xz * xz + yz * yz)) / 6.0).sqrt();
    if p <= f64::MIN_POSITIVE {
        return [mean; 3];
    }
    let det = a * (b * c - yz * yz) - xy * (xy * c - yz * xz) + xz * (xy * yz - b * xz);
    let angle = (det / (2.0 * p * p * p)).clamp(-1.0, 1.0).acos() / 3.0;
    let third = 2.0 * std::f64::consts::FRAC_PI_3;
    let first = mean + 2.0 * p * angle.cos();
    let last = mean + 2.0 * p * (angle + third).cos();
    [first, 3.0 * mean - first - last, last].map(|v| v.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Matrices whose singular values are known: a diagonal one, that one between two turns, one of rank 1.
    #[test]
    fn singular_values() {
        let near = |j: &Jacobian, expected: [f64; 3]| {
            for (found, e) in squared_singular_values(j).iter().zip(expected) {
                assert!((found.sqrt() - e).abs() < 1e-7, "{found} {e}");
            }
        };
        near(&[[2.0, 0.0, 0.0], [0.0, -3.0, 0.0], [0.0, 0.0, 0.5]], [3.0, 2.0, 0.5]);
        let (s, c) = 0.7f64.sin_cos();
        near(&[[2.0 * c, -3.0 * s, 0.0], [2.0 * s, 3.0 * c, 0.0], [0.0, 0.0, 0.5]], [3.0, 2.0, 0.5]);
        let w = [0.2, 0.5, 0.3];
        near(&[w; 3], [(3.0f64 * (0.04 + 0.25 + 0.09)).sqrt(), 0.0, 0.0]);
    }

    /// det of E·E₀⁻¹ with both edge matrices written out, for one tetrahedron of a crooked cell.
    #[test]
    fn derivatives_are_edges_over_edges() {
        let f: Transform =
            std::sync::Arc::new(|[r, g, b]| [r + 0.3 * g * b, g - 0.2 * r * r, b + 0.1 * r * g]);
        let lattice = Lattice::of(&f, 3);
        let corners = [[0.5, 0.0, 0.5], [0.5, 0.5, 0.5], [0.5, 0.5, 1.0], [1.0, 0.5, 1.0]];
        let edges = |v: [[f64; 3]; 4]| -> Jacobian {
            std::array::from_fn(|c| std::array::from_fn(|k| v[k + 1][c] - v[0][c]))
        };
        let expected = determinant(&edges(corners.map(|v| f(v)))) / determinant(&edges(corners));
        // Along green, then blue, then red.
        let found = determinant(&lattice.cell([1, 0, 1])[3]);
        assert!((found - expected).abs() < 1e-12, "{found} {expected}");
    }
}
