//! Look-up tables: a curve for each channel, a cube, or the one ahead of the other.

use super::Real;

/// A table of one dimension: a curve for each channel, straight from entry to entry, held at its ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut1 {
    /// At least two entries.
    pub entries: Vec<[f32; 3]>,
    /// The signal, by channel, of the first entry.
    pub min: [f64; 3],
    /// The signal, by channel, of the last entry; more than `min`.
    pub max: [f64; 3],
}

/// A table of three dimensions, read in tetrahedra, held at its faces.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut3 {
    /// Entries along an edge, at least two.
    pub size: usize,
    /// `size³` entries, red fastest, blue slowest.
    pub entries: Vec<[f32; 3]>,
    /// The signal, by channel, of the first entry.
    pub min: [f64; 3],
    /// The signal, by channel, of the last entry; more than `min`.
    pub max: [f64; 3],
}

/// A look-up table as files carry them: a curve, a cube, or a curve ahead of a cube.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut {
    /// The curve.
    pub shaper: Option<Lut1>,
    /// The cube behind it.
    pub cube: Option<Lut3>,
}

/// Signal to place in a table of `last + 1` entries: scale, then what is added.
pub fn lut_places(min: [f64; 3], max: [f64; 3], last: usize) -> ([f64; 3], [f64; 3]) {
    let scale = std::array::from_fn(|c| last as f64 / (max[c] - min[c]));
    (scale, std::array::from_fn(|c| -min[c] * scale[c]))
}

/// Places of a signal, held within the table; what is not a number stands at its start.
fn places<T: Real>(v: [T; 3], min: [f64; 3], max: [f64; 3], last: usize) -> [T; 3] {
    let (scale, start) = lut_places(min, max, last);
    std::array::from_fn(|c| {
        let place = v[c] * T::of(scale[c]) + T::of(start[c]);
        if place > T::of(0.0) { place.at_most(T::of(last as f64)) } else { T::of(0.0) }
    })
}

/// The entry under a place, and how far the place lies from it to the next, 0…1.
fn entry<T: Real>(place: T, last: usize) -> (usize, T) {
    let low = place.whole().at_most(T::of((last - 1) as f64));
    (low.to_f64() as usize, place - low)
}

impl Lut1 {
    /// The curves' values. Twin: `lut_shaper`.
    pub fn apply<T: Real>(&self, v: [T; 3]) -> [T; 3] {
        let last = self.entries.len() - 1;
        let at = places(v, self.min, self.max, last);
        std::array::from_fn(|c| {
            let (i, t) = entry(at[c], last);
            let [low, high] = [i, i + 1].map(|i| T::of(self.entries[i][c].into()));
            low + (high - low) * t
        })
    }
}

impl Lut3 {
    /// The entry at a corner.
    fn at<T: Real>(&self, [r, g, b]: [usize; 3]) -> [T; 3] {
        self.entries[r + self.size * (g + self.size * b)].map(|v| T::of(v.into()))
    }

    /// The cube's value by tetrahedral interpolation (Kasson, Nin, Plouffe & Hafner, J. Electronic Imaging
    /// 4(3), 1995): a cell's six tetrahedra share its grey diagonal, so that greys stay on it. Twin: `lut_cube`.
    pub fn apply<T: Real>(&self, v: [T; 3]) -> [T; 3] {
        let last = self.size - 1;
        let found = places(v, self.min, self.max, last).map(|p| entry(p, last));
        let low = found.map(|f| f.0);
        let t = found.map(|f| f.1);
        // From the corner along the channel that is furthest, then along the next, then to the far corner.
        let first = if t[0] >= t[1] && t[0] >= t[2] {
            0
        } else if t[1] >= t[2] {
            1
        } else {
            2
        };
        let third = if t[2] <= t[0] && t[2] <= t[1] {
            2
        } else if t[1] <= t[0] {
            1
        } else {
            0
        };
        let middle = t[3 - first - third];
        let step = |c: usize, by: usize| if by == c { 1 } else { 0 };
        let corners = [
            self.at::<T>(low),
            self.at(std::array::from_fn(|c| low[c] + step(c, first))),
            self.at(std::array::from_fn(|c| low[c] + 1 - step(c, third))),
            self.at(low.map(|i| i + 1)),
        ];
        let weights = [T::of(1.0) - t[first], t[first] - middle, middle - t[third], t[third]];
        std::array::from_fn(|c| {
            weights[0] * corners[0][c]
                + weights[1] * corners[1][c]
                + weights[2] * corners[2][c]
                + weights[3] * corners[3][c]
        })
    }
}

impl Lut {
    /// The table's value: through the curve if there is one, then through the cube if there is one.
    pub fn apply<T: Real>(&self, v: [T; 3]) -> [T; 3] {
        let v = self.shaper.as_ref().map_or(v, |s| s.apply(v));
        self.cube.as_ref().map_or(v, |c| c.apply(v))
    }
}
