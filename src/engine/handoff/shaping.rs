//! Where the entries of a cube lie, and what they hold.
//!
//! Between its entries a cube is straight, and a path is not: entries lie closer where the path bends more, by a curve
//! ahead of the cube, and each is moved towards the side to which the path bends around it.

use rayon::prelude::*;

use super::measure::Path;

/// Entries of the curve ahead of a cube.
pub const ENTRIES: usize = 4096;

/// Places at which the path's bend is looked at.
const PLACES: usize = 512;

/// Share of the entries that are spread evenly, whatever the path does.
const EVEN: f64 = 0.1;

/// How far each entry is moved, of the mean difference about it.
const MOVED: f64 = 0.9;

/// A rising curve from 0 to 1.
pub struct Shaping(Vec<f32>);

impl Shaping {
    /// The curve for a path's inputs from `low` to `high`: by the bends of neutrals and of ramps of six hues.
    pub fn of(path: &Path, low: f64, high: f64) -> Self {
        let step = (high - low) / PLACES as f64;
        let hues: [[f64; 3]; 7] = [
            [0.0, 0.0, 0.0],
            [0.0, -0.05, -0.05],
            [-0.05, 0.0, -0.05],
            [-0.05, -0.05, 0.0],
            [0.0, 0.0, -0.05],
            [-0.05, 0.0, 0.0],
            [0.0, -0.05, 0.0],
        ];
        let at = |i: usize, hue: &[f64; 3]| path.pixel(hue.map(|h| low + step * i as f64 + h));
        let ramps: Vec<Vec<[f64; 3]>> =
            hues.par_iter().map(|hue| (0..=PLACES).map(|i| at(i, hue)).collect()).collect();
        // Entries as close as the root of the bend make the difference the same everywhere.
        let bend = |i: usize| {
            let i = i.clamp(1, PLACES - 1);
            let of = |r: &Vec<[f64; 3]>| {
                let one = |c: usize| (r[i + 1][c] - 2.0 * r[i][c] + r[i - 1][c]).abs();
                one(0).max(one(1)).max(one(2))
            };
            ramps.iter().map(of).sum::<f64>().sqrt()
        };
        let raw: Vec<f64> = (0..PLACES).map(bend).collect();
        let wide = PLACES / 24;
        let smooth = |i: usize| {
            let span = &raw[i.saturating_sub(wide)..(i + wide + 1).min(PLACES)];
            span.iter().sum::<f64>() / span.len() as f64
        };
        let density: Vec<f64> = (0..PLACES).map(smooth).collect();
        let mean = (density.iter().sum::<f64>() / PLACES as f64).max(1e-12);
        let mut sum = vec![0.0];
        for d in &density {
            sum.push(sum[sum.len() - 1] + EVEN + (1.0 - EVEN) * d / mean);
        }
        let all = sum[PLACES];
        let value = |i: usize| {
            let p = i as f64 / (ENTRIES - 1) as f64 * PLACES as f64;
            let k = (p as usize).min(PLACES - 1);
            ((sum[k] + (sum[k + 1] - sum[k]) * (p - k as f64)) / all) as f32
        };
        let mut values: Vec<f32> = (0..ENTRIES).map(value).collect();
        (values[0], values[ENTRIES - 1]) = (0.0, 1.0);
        Self(values)
    }

    /// The curve's entries, over its inputs evenly.
    pub fn values(&self) -> &[f32] {
        &self.0
    }

    /// The input, 0…1 of its range, that the curve brings to a place.
    pub fn undone(&self, place: f64) -> f64 {
        let above = self.0.partition_point(|v| f64::from(*v) < place).clamp(1, ENTRIES - 1);
        let (a, b) = (f64::from(self.0[above - 1]), f64::from(self.0[above]));
        let share = if b > a { ((place - a) / (b - a)).clamp(0.0, 1.0) } else { 0.0 };
        (above as f64 - 1.0 + share) / (ENTRIES - 1) as f64
    }
}

/// A cube's entries, red fastest, for what is given at places 0…1. `held` keeps them within 0…1.
pub fn entries(size: usize, held: bool, f: impl Fn([f64; 3]) -> [f64; 3] + Sync) -> Vec<[f32; 3]> {
    let strides = [1, size, size * size];
    let count = size * size * size;
    let at = |i: usize| [i % size, i / size % size, i / size / size];
    let step = 1.0 / (size - 1) as f64;
    let place = |i: usize, half: [bool; 3]| -> [f64; 3] {
        let n = at(i);
        std::array::from_fn(|c| (n[c] as f64 + if half[c] { 0.5 } else { 0.0 }) * step)
    };
    let values: Vec<[f64; 3]> = (0..count).into_par_iter().map(|i| f(place(i, [false; 3]))).collect();
    // Differences half-way along each axis and in the middle of each cell: a tetrahedron is straight from first to last corner.
    let ways = [[true, false, false], [false, true, false], [false, false, true], [true; 3]];
    let differences: [Vec<[f64; 3]>; 4] = ways.map(|half| {
        let one = |i: usize| {
            let n = at(i);
            if (0..3).any(|c| half[c] && n[c] + 1 == size) {
                return [0.0; 3];
            }
            let next = i + (0..3).filter(|c| half[*c]).map(|c| strides[c]).sum::<usize>();
            let there = f(place(i, half));
            std::array::from_fn(|c| there[c] - 0.5 * (values[i][c] + values[next][c]))
        };
        (0..count).into_par_iter().map(one).collect()
    });
    let moved = |i: usize| {
        let n = at(i);
        let (mut sum, mut weight) = ([0.0; 3], 0.0);
        let mut add = |d: [f64; 3]| {
            sum = std::array::from_fn(|c| sum[c] + d[c]);
            weight += 1.0;
        };
        for axis in 0..3 {
            if n[axis] + 1 < size {
                add(differences[axis][i]);
            }
            if n[axis] > 0 {
                add(differences[axis][i - strides[axis]]);
            }
        }
        if n.iter().all(|k| k + 1 < size) {
            add(differences[3][i]);
        }
        if n.iter().all(|k| *k > 0) {
            add(differences[3][i - strides[0] - strides[1] - strides[2]]);
        }
        std::array::from_fn(|c| {
            let v = values[i][c] + MOVED * sum[c] / weight;
            // What the display clips stays clipped.
            let ends = values[i][c] <= 0.0 || values[i][c] >= 1.0;
            (if held && ends {
                values[i][c]
            } else if held {
                v.clamp(0.0, 1.0)
            } else {
                v
            }) as f32
        })
    };
    (0..count).into_par_iter().map(moved).collect()
}
