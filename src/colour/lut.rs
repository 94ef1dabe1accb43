//! Look-up tables: one dimension with a table for each channel, three dimensions, and one before the other.
//!
//! Entries are `[R, G, B]`. Everything here is total: an input that is not a number counts as 0, one outside
//! the domain as the domain's end, and entries are made finite when a table is built.

use super::Real;

/// Entries of a table over every half-float there is.
pub const HALVES: usize = 65536;

/// Largest magnitude of an entry: the difference of two is still finite in f32.
const LARGEST_ENTRY: f64 = 1e38;

/// Position of the largest finite half, 65504, among the halves of one sign.
const LAST_HALF: usize = 0x7bff;

/// How a 3D LUT goes between its entries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Interpolation {
    /// Through the four corners of one of six tetrahedra about the diagonal from black to white: neutral
    /// entries give exactly neutral colours. Kasson, Nin, Plouffe & Hafner 1995; CLF appendix A.
    #[default]
    Tetrahedral,
    /// Through all eight corners, a line along each axis in turn. CLF appendix A.
    Trilinear,
}

/// A 1D LUT: one table for each channel, all of one length, with lines between entries.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut1<T> {
    values: Vec<[T; 3]>,
    inputs: Inputs<T>,
}

/// What inputs the entries stand for.
#[derive(Clone, Debug, PartialEq)]
enum Inputs<T> {
    Even(Span<T>),
    Halves,
}

/// Signal to place in a table of `last + 1` entries from `min` to `max`: scale, then what is added.
pub fn lut_places(min: [f64; 3], max: [f64; 3], last: usize) -> ([f64; 3], [f64; 3]) {
    let scale = std::array::from_fn(|c| last as f64 / (max[c] - min[c]));
    (scale, std::array::from_fn(|c| -min[c] * scale[c]))
}

/// A domain, divided evenly.
#[derive(Clone, Debug, PartialEq)]
struct Span<T> {
    min: [f64; 3],
    max: [f64; 3],
    start: [T; 3],
    /// Steps between entries in one unit of input.
    steps: [T; 3],
}

impl<T: Real> Span<T> {
    fn new(min: [f64; 3], max: [f64; 3], entries: usize) -> Option<Self> {
        let steps: [f64; 3] = std::array::from_fn(|c| (entries - 1) as f64 / (max[c] - min[c]));
        let held = |x: f64| x.is_finite() && x.abs() <= LARGEST_ENTRY;
        let good = (0..3).all(|c| held(min[c]) && held(max[c]) && steps[c] > 0.0 && held(steps[c]));
        good.then(|| Self { min, max, start: min.map(T::of), steps: steps.map(T::of) })
    }

    /// Entry below, entry above and the share of the way between them.
    fn place(&self, c: usize, x: T, last: usize) -> (usize, usize, T) {
        let p = (number(x) - self.start[c]) * self.steps[c];
        let p = p.at_least(T::of(0.0)).at_most(T::of(last as f64));
        // No less than 0, so cutting off is rounding down, and quicker.
        let i = (p.to_f64() as u32 as usize).min(last);
        (i, (i + 1).min(last), p - T::of(i as u32 as f64))
    }

    fn to<U: Real>(&self) -> Span<U> {
        let same = |v: [T; 3]| v.map(|x| U::of(x.to_f64()));
        Span { min: self.min, max: self.max, start: same(self.start), steps: same(self.steps) }
    }
}

/// The number itself, or 0 for what is none.
fn number<T: Real>(x: T) -> T {
    if x.magnitude() >= T::of(0.0) { x } else { T::of(0.0) }
}

fn entry<T: Real>(v: [T; 3]) -> [T; 3] {
    v.map(|x| number(x).at_least(T::of(-LARGEST_ENTRY)).at_most(T::of(LARGEST_ENTRY)))
}

/// Where a value lies among the halves of its sign, which are evenly spaced from one power of two to the next.
fn place_among_halves<T: Real>(x: T) -> (usize, usize, T) {
    let x = number(x).to_f64();
    let size = x.abs().min(65504.0);
    let position = if size < 2f64.powi(-14) {
        size * 2f64.powi(24)
    } else {
        let bits = size.to_bits();
        let octave = (bits >> 52) as f64 - (1023 - 15) as f64;
        1024.0 * octave + (bits & ((1 << 52) - 1)) as f64 / 2f64.powi(42)
    };
    let i = (position as u32 as usize).min(LAST_HALF);
    let sign = if x < 0.0 { 0x8000 } else { 0 };
    (sign + i, sign + (i + 1).min(LAST_HALF), T::of(position - i as f64))
}

impl<T: Real> Lut1<T> {
    /// A table whose entries are spread evenly from `min` to `max`, at least two. None if there are fewer, or
    /// if a channel's `max` is not above its `min`.
    pub fn even(values: Vec<[T; 3]>, min: [f64; 3], max: [f64; 3]) -> Option<Self> {
        if values.len() < 2 {
            return None;
        }
        let inputs = Inputs::Even(Span::new(min, max, values.len())?);
        Some(Self { values: values.into_iter().map(entry).collect(), inputs })
    }

    /// A table with an entry for each of the [`HALVES`], at the place that the half's bits give as an
    /// integer. Entries of infinities and of what is no number are never used. None for another length.
    pub fn halves(values: Vec<[T; 3]>) -> Option<Self> {
        (values.len() == HALVES)
            .then(|| Self { values: values.into_iter().map(entry).collect(), inputs: Inputs::Halves })
    }

    /// The entries, for R, G and B.
    pub fn values(&self) -> &[[T; 3]] {
        &self.values
    }

    /// The first and the last entry's inputs; none for a table over the halves.
    pub fn domain(&self) -> Option<([f64; 3], [f64; 3])> {
        match &self.inputs {
            Inputs::Even(span) => Some((span.min, span.max)),
            Inputs::Halves => None,
        }
    }

    /// The table's value for a colour.
    pub fn apply(&self, v: [T; 3]) -> [T; 3] {
        let last = self.values.len() - 1;
        std::array::from_fn(|c| {
            let (i, j, share) = match &self.inputs {
                Inputs::Even(span) => span.place(c, v[c], last),
                Inputs::Halves => place_among_halves(v[c]),
            };
            self.values[i][c].toward(self.values[j][c], share)
        })
    }

    /// The same table in another kind of number.
    pub fn to<U: Real>(&self) -> Lut1<U> {
        let inputs = match &self.inputs {
            Inputs::Even(span) => Inputs::Even(span.to()),
            Inputs::Halves => Inputs::Halves,
        };
        Lut1 { values: converted(&self.values), inputs }
    }
}

/// A 3D LUT: as many entries along each axis, red fastest in memory, then green, then blue.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut3<T> {
    size: usize,
    values: Vec<[T; 3]>,
    span: Span<T>,
    /// How it goes between entries.
    pub interpolation: Interpolation,
}

impl<T: Real> Lut3<T> {
    /// A table of `size`³ entries, red fastest, spread evenly from `min` to `max`. None if `size` is less
    /// than 2, if there are not as many entries, or if a channel's `max` is not above its `min`.
    pub fn new(
        size: usize,
        values: Vec<[T; 3]>,
        min: [f64; 3],
        max: [f64; 3],
        interpolation: Interpolation,
    ) -> Option<Self> {
        if size < 2 || size.checked_pow(3) != Some(values.len()) {
            return None;
        }
        let span = Span::new(min, max, size)?;
        Some(Self { size, values: values.into_iter().map(entry).collect(), span, interpolation })
    }

    /// Entries along one axis.
    pub fn size(&self) -> usize {
        self.size
    }

    /// The entries, red fastest.
    pub fn values(&self) -> &[[T; 3]] {
        &self.values
    }

    /// The first and the last entries' inputs.
    pub fn domain(&self) -> ([f64; 3], [f64; 3]) {
        (self.span.min, self.span.max)
    }

    /// The table's value for a colour.
    pub fn apply(&self, v: [T; 3]) -> [T; 3] {
        match self.interpolation {
            Interpolation::Tetrahedral => self.tetrahedral(v),
            Interpolation::Trilinear => self.trilinear(v),
        }
    }

    /// First entry of the cell, what leads to its neighbour along each axis, and the shares.
    fn cell(&self, v: [T; 3]) -> (usize, [usize; 3], [T; 3]) {
        let strides = [1, self.size, self.size * self.size];
        let places: [_; 3] = std::array::from_fn(|c| self.span.place(c, v[c], self.size - 1));
        let first = (0..3).map(|c| places[c].0 * strides[c]).sum();
        let steps = std::array::from_fn(|c| (places[c].1 - places[c].0) * strides[c]);
        (first, steps, places.map(|p| p.2))
    }

    /// The value by tetrahedra: from the cell's first corner to its last along the axes, the one with the
    /// largest share first.
    pub fn tetrahedral(&self, v: [T; 3]) -> [T; 3] {
        let (first, steps, f) = self.cell(v);
        let (high, low) = match (f[0] >= f[1], f[1] >= f[2], f[0] >= f[2]) {
            (true, true, _) => (0, 2),
            (true, false, true) => (0, 1),
            (true, false, false) => (2, 1),
            (false, _, true) => (1, 2),
            (false, true, false) => (1, 0),
            (false, false, false) => (2, 0),
        };
        let middle = 3 - high - low;
        let second = first + steps[high];
        let third = second + steps[middle];
        let corners = [first, second, third, third + steps[low]].map(|i| self.values[i]);
        let shares = [T::of(1.0) - f[high], f[high] - f[middle], f[middle] - f[low], f[low]];
        std::array::from_fn(|c| {
            shares[0] * corners[0][c]
                + shares[1] * corners[1][c]
                + shares[2] * corners[2][c]
                + shares[3] * corners[3][c]
        })
    }

    /// The value by lines along red, then green, then blue.
    pub fn trilinear(&self, v: [T; 3]) -> [T; 3] {
        let (first, steps, f) = self.cell(v);
        std::array::from_fn(|c| {
            let along = |i: usize| self.values[i][c].toward(self.values[i + steps[0]][c], f[0]);
            let across = |i: usize| along(i).toward(along(i + steps[1]), f[1]);
            across(first).toward(across(first + steps[2]), f[2])
        })
    }

    /// The same table in another kind of number.
    pub fn to<U: Real>(&self) -> Lut3<U> {
        Lut3 {
            size: self.size,
            values: converted(&self.values),
            span: self.span.to(),
            interpolation: self.interpolation,
        }
    }
}

/// A 1D LUT that shapes the input, then a 3D LUT; either may be missing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shaped<T> {
    /// What comes first.
    pub shaper: Option<Lut1<T>>,
    /// What comes after it.
    pub cube: Option<Lut3<T>>,
}

impl<T: Real> Shaped<T> {
    /// Both tables' value for a colour.
    pub fn apply(&self, v: [T; 3]) -> [T; 3] {
        let v = self.shaper.as_ref().map_or(v, |lut| lut.apply(v));
        self.cube.as_ref().map_or(v, |lut| lut.apply(v))
    }

    /// What a shader needs to know beside the entries, in the order of the struct `Table` in
    /// `shaders/colour/lut.wgsl`: of the curve and then of the cube, whether it is there, the entries along an edge
    /// less one, and [`lut_places`]. All 0 for a table over the halves, which has no such places.
    pub fn numbers(&self) -> [f64; 16] {
        let part = |of: Option<([f64; 3], [f64; 3], usize)>| {
            let Some((min, max, last)) = of else { return [0.0; 8] };
            let (scale, start) = lut_places(min, max, last);
            [1.0, last as f64, scale[0], scale[1], scale[2], start[0], start[1], start[2]]
        };
        let shaper = self.shaper.as_ref();
        let shaper = shaper.and_then(|s| s.domain().map(|(min, max)| (min, max, s.values().len() - 1)));
        let cube = self.cube.as_ref().map(|c| (c.domain().0, c.domain().1, c.size() - 1));
        let (shaper, cube) = (part(shaper), part(cube));
        std::array::from_fn(|i| if i < 8 { shaper[i] } else { cube[i - 8] })
    }

    /// The same tables in another kind of number.
    pub fn to<U: Real>(&self) -> Shaped<U> {
        Shaped { shaper: self.shaper.as_ref().map(Lut1::to), cube: self.cube.as_ref().map(Lut3::to) }
    }
}

fn converted<T: Real, U: Real>(values: &[[T; 3]]) -> Vec<[U; 3]> {
    values.iter().map(|v| v.map(|x| U::of(x.to_f64()))).collect()
}
