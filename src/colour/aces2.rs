//! The ACES 2.0 output transform: ACEScg light to a display's linear light.
//!
//! After the Academy's ACES 2 documentation (Output Transforms): a tone scale on lightness, a compression of
//! colourfulness that goes with it, and a compression into the gamut that the picture is limited to, all in
//! lightness J, colourfulness M and hue h of a simplified Hellwig and Fairchild 2022 appearance model
//! (doi 10.1002/col.22792).

// Beside its shader by name.
#[path = "aces2_inverse.rs"]
mod inverse;
mod model;
mod tables;

use std::sync::{Arc, Mutex, MutexGuard};

pub use self::inverse::Aces2InverseValues;
use self::model::{COMPRESSION, MODEL_GAMMA, Model, OFFSET, adapted, lightness};
use super::tone::highest_light;
use super::{AP1, Adaptation, Display, Matrix, Primaries, Real, ToneScale, apply, conversion};

/// How many transforms are kept, of about 60 kB each.
const MOST_KEPT: usize = 64;

/// The constants and tables of the transform for one peak and one gamut.
#[derive(Clone, Debug)]
pub struct Aces2 {
    /// Nominal peak, cd/m².
    pub peak: f64,
    /// The gamut that the picture is held in.
    pub limiting: Primaries,
    /// RGB of that gamut to the primaries that the light is given in.
    pub to_encoding: Matrix,
    numbers: Numbers,
    texels: Vec<[f64; 4]>,
}

/// What tables and pixels compute with, by the names of [`Aces2Values`].
#[derive(Clone, Debug)]
struct Numbers {
    limit: Model,
    highest: f64,
    compress: f64,
    expand: f64,
    expand_floor: f64,
    chroma_scale: f64,
    shape: Shape<f64>,
}

impl Numbers {
    fn new(peak: f64, limiting: &Primaries) -> Self {
        let tens = (peak / 100.0).log10();
        let grey = 0.10013 * (1.0 + 0.14 * (peak / 100.0).log2());
        Self {
            limit: Model::of(limiting),
            highest: 8.0 * highest_light(peak),
            compress: 2.4 + 2.4 * 3.3 * tens,
            expand: (1.3 - 1.3 * 0.69 * tens).max(0.2),
            expand_floor: 0.5 / peak,
            chroma_scale: (0.03379 * peak).powf(0.30596) - 0.45135,
            shape: Shape {
                j_max: lightness(peak),
                j_mid: lightness(100.0 * grey),
                focus: lightness(peak) * (1.35 + 1.35 * 1.75 * tens),
                power_low: 1.0 / (1.14 + 0.07 * tens),
            },
        }
    }
}

impl Aces2 {
    /// Works out the tables: some milliseconds. See [`Aces2::of`] for those of a display.
    ///
    /// `peak` is in cd/m², 100 to 10 000. The picture is limited to the gamut `limiting` with its own white,
    /// and given in `encoding`'s primaries, which hold that gamut.
    pub fn new(peak: f64, limiting: &Primaries, encoding: &Primaries) -> Self {
        Self::through(peak, *limiting, conversion(limiting, encoding, Adaptation::Bradford))
    }

    fn through(peak: f64, limiting: Primaries, to_encoding: Matrix) -> Self {
        let numbers = Numbers::new(peak, &limiting);
        let texels = tables::texels(&numbers, peak);
        Self { peak, limiting, to_encoding, numbers, texels }
    }

    /// The transform to a display's peak and signal, held in the gamut that it keeps within; worked out once and
    /// kept. Displays that differ in nothing that matters here share one.
    pub fn of(display: &Display) -> Arc<Self> {
        let (peak, limiting, to_encoding) = Self::wanted(display);
        Self::kept_through(peak, limiting, to_encoding)
    }

    /// [`Aces2::of`] if it has been worked out, without waiting for anything.
    pub fn ready(display: &Display) -> Option<Arc<Self>> {
        let (peak, limiting, to_encoding) = Self::wanted(display);
        Self::known(&mut Self::keep(), peak, &limiting, &to_encoding)
    }

    fn wanted(display: &Display) -> (f64, Primaries, Matrix) {
        (display.peak, display.limiting(), display.widening().unwrap_or(Matrix::IDENTITY))
    }

    /// Like [`Aces2::new`], but each combination is worked out once and kept.
    pub fn kept(peak: f64, limiting: &Primaries, encoding: &Primaries) -> Arc<Self> {
        Self::kept_through(peak, *limiting, conversion(limiting, encoding, Adaptation::Bradford))
    }

    fn kept_through(peak: f64, limiting: Primaries, to_encoding: Matrix) -> Arc<Self> {
        if let Some(known) = Self::known(&mut Self::keep(), peak, &limiting, &to_encoding) {
            return known;
        }
        // Nobody waits meanwhile for those that are known.
        let made = Arc::new(Self::through(peak, limiting, to_encoding));
        let mut kept = Self::keep();
        Self::known(&mut kept, peak, &limiting, &to_encoding).unwrap_or_else(|| {
            kept.insert(0, made.clone());
            kept.truncate(MOST_KEPT);
            made
        })
    }

    fn keep() -> MutexGuard<'static, Vec<Arc<Self>>> {
        static KEPT: Mutex<Vec<Arc<Aces2>>> = Mutex::new(Vec::new());
        KEPT.lock().unwrap_or_else(|e| e.into_inner())
    }

    /// One that is kept, brought to the front: the last ones are forgotten first.
    fn known(
        kept: &mut [Arc<Self>],
        peak: f64,
        limiting: &Primaries,
        to_encoding: &Matrix,
    ) -> Option<Arc<Self>> {
        let at = kept
            .iter()
            .position(|a| a.peak == peak && a.limiting == *limiting && a.to_encoding == *to_encoding)?;
        kept[..=at].rotate_right(1);
        Some(kept[0].clone())
    }

    /// The tables as a texture of one row, [`Aces2::TEXELS`] across, four single floats a texel:
    ///
    /// - `[0, 360)`, one a degree d of hue: number n of the row of the third part that the hue d is in, then
    ///   up to three hues within the degree where a next row begins (1000 where there are fewer);
    /// - `[360, 720)`, one a degree d: the largest M within ACEScg at `j_max` for hue d, the same for
    ///   d + 1, and two unused;
    /// - `[720, 1082)`, rows of the cusp of the limiting gamut, by hue: the hue, J and M of the cusp, and the
    ///   reciprocal of the upper hull's exponent. Between rows n and n + 1 all three are linear in hue.
    ///   The first row is the last of the circle less 360°, the last row the first one plus 360°.
    pub fn texels(&self) -> Vec<[f32; 4]> {
        self.texels.iter().map(|t| t.map(|x| x as f32)).collect()
    }

    /// Texels of the row.
    pub const TEXELS: usize = tables::CUSP + tables::ROWS;

    /// The numbers of the struct `Aces2` in `shaders/colour/aces2.wgsl`, in its order; a multiple of 16 bytes.
    /// The tone scale is not among them: it is `ToneScale::for_peak(peak)`.
    pub fn uniform(&self) -> [f32; Self::UNIFORM] {
        let v = self.values::<f32>();
        let matrices = [v.to_cone, v.to_opponent, v.from_opponent, v.from_cone, v.to_encoding];
        let rows = matrices.iter().flat_map(|m| m.chunks(3).flat_map(|r| [r[0], r[1], r[2], 0.0]));
        let Shape { j_max, j_mid, focus, power_low } = v.shape;
        let powers = [v.power_j, v.power_a, 1.0 / v.a_max];
        let chroma = [v.compress, v.expand, v.expand_floor, v.chroma_scale];
        let mut out = [0.0; Self::UNIFORM];
        let shape = [j_max, j_mid, focus, power_low, 1.0 / j_max, 1.0 / v.white];
        let light = [v.highest, v.white, v.light_of_cone.log2(), v.cone_of_light];
        let numbers = rows.chain(light).chain(powers).chain(chroma).chain(shape);
        out.iter_mut().zip(numbers).for_each(|(to, from)| *to = from);
        out
    }

    /// Numbers of [`Aces2::uniform`].
    pub const UNIFORM: usize = 5 * 12 + 20;

    /// Everything as numbers of a twin.
    pub fn values<T: Real>(&self) -> Aces2Values<T> {
        let n = &self.numbers;
        let reach = Model::of(&AP1);
        let share = |x: f64| Matrix::diagonal([x; 3]);
        Aces2Values {
            to_cone: reach.to_cone.rows(),
            to_opponent: model::opponent().rows(),
            from_opponent: model::opponent().inverse().rows(),
            from_cone: share(100.0 / self.peak).after(&n.limit.to_cone.inverse()).rows(),
            to_encoding: self.to_encoding.rows(),
            tone: ToneScale::for_peak(self.peak),
            highest: T::of(n.highest),
            white: T::of(model::white_response()),
            light_of_cone: T::of(1.0 / (100.0 * adapted(1.0))),
            cone_of_light: T::of(adapted(self.peak)),
            power_j: T::of(MODEL_GAMMA),
            power_a: T::of(1.0 / MODEL_GAMMA),
            a_max: T::of((n.shape.j_max / 100.0).powf(1.0 / MODEL_GAMMA)),
            compress: T::of(n.compress),
            expand: T::of(n.expand),
            expand_floor: T::of(n.expand_floor),
            chroma_scale: T::of(n.chroma_scale),
            shape: Shape {
                j_max: T::of(n.shape.j_max),
                j_mid: T::of(n.shape.j_mid),
                focus: T::of(n.shape.focus),
                power_low: T::of(n.shape.power_low),
            },
            texels: self.texels.iter().map(|t| t.map(T::of)).collect(),
        }
    }
}

/// The transform's numbers, as a twin computes with them.
#[derive(Clone, Debug)]
pub struct Aces2Values<T> {
    /// ACEScg to adapted cone responses.
    to_cone: [T; 9],
    /// Compressed cone responses to achromatic response (1 for a neutral of 100 cd/m²) and the two opponent
    /// ones (scaled for M).
    to_opponent: [T; 9],
    /// Its inverse.
    from_opponent: [T; 9],
    /// Cone responses to RGB of the limiting gamut with peak 1.
    from_cone: [T; 9],
    /// RGB of the limiting gamut to the encoding primaries.
    to_encoding: [T; 9],
    /// The tone scale.
    tone: ToneScale<T>,
    /// What ACEScg light is held at.
    highest: T,
    /// Compressed cone response of a neutral of 100 cd/m².
    white: T,
    /// A neutral's cone response to light (1 for 100 cd/m²).
    light_of_cone: T,
    /// Light with peak 1 to a neutral's cone response.
    cone_of_light: T,
    /// Exponent from achromatic response to J.
    power_j: T,
    /// Exponent from J to achromatic response.
    power_a: T,
    /// Achromatic response of peak white.
    a_max: T,
    /// How strongly colourfulness is compressed.
    compress: T,
    /// How strongly it is expanded before that.
    expand: T,
    /// Keeps the expansion from dark noise.
    expand_floor: T,
    /// Scale of the norm of colourfulness.
    chroma_scale: T,
    shape: Shape<T>,
    /// See `Aces2::texels`.
    texels: Arc<[[T; 4]]>,
}

/// What the tables say about a hue.
struct AtHue<T> {
    /// The largest M within ACEScg at the J of peak white.
    reach: T,
    /// J of the limiting gamut's cusp.
    cusp_j: T,
    /// M of the cusp.
    cusp_m: T,
    /// Reciprocal of the upper hull's exponent.
    power_top: T,
}

/// The part of the gamut's shape that is the same for every hue.
#[derive(Clone, Copy, Debug)]
struct Shape<T> {
    /// J of peak white.
    j_max: T,
    /// J of middle grey.
    j_mid: T,
    /// How far beyond the J axis the lines point that colours are moved on.
    focus: T,
    /// Reciprocal of the lower hull's exponent.
    power_low: T,
}

/// A line that colours are moved on.
struct Line<T> {
    /// Where it meets the J axis.
    foot: T,
    /// J for each M.
    slope: T,
    /// Where the line through the cusp meets the J axis.
    cusp_foot: T,
}

impl<T: Real> Aces2Values<T> {
    /// ACEScg light to linear light of the display, peak 1, nothing below 0. Twin: `aces2`.
    pub fn apply(&self, acescg: [T; 3]) -> [T; 3] {
        let (zero, one) = (T::of(0.0), T::of(1.0));
        let held = acescg.map(|x| x.at_least(zero).at_most(self.highest));
        let [a, p, q] = apply(&self.to_opponent, apply(&self.to_cone, held).map(aces2_cone_compress));
        if a <= zero {
            return [zero; 3];
        }
        let m = (p * p + q * q).root();
        let has_hue = m > zero;
        let (cos, sin) = if has_hue { (p / m, q / m) } else { (one, zero) };

        // The tone scale goes by way of the light that a neutral of the same J has.
        let light = self.light_of_cone * aces2_cone_expand(self.white * a);
        let a_toned = aces2_cone_compress(self.cone_of_light * self.tone.apply(light)) / self.white;
        let j = T::of(100.0) * a_toned.power(self.power_j);
        let (mut a_out, mut m_out) = (a_toned, zero);
        if has_hue && j <= self.shape.j_max {
            let hue = self.at_hue(aces2_hue(cos, sin));
            m_out = self.compress_chroma(m * a_toned / a, a_toned, j, hue.reach, cos, sin);
            (a_out, m_out) = self.compress_gamut(a_toned, j, m_out, &hue);
        }
        let cone = apply(&self.from_opponent, [a_out, m_out * cos, m_out * sin]).map(aces2_cone_expand);
        let limited = apply(&self.from_cone, cone).map(|x| x.at_least(zero).at_most(one));
        apply(&self.to_encoding, limited)
    }

    /// The tables at a hue in degrees. Twin: `aces2_at_hue`.
    fn at_hue(&self, hue: T) -> AtHue<T> {
        let degree = (hue.whole().to_f64() as usize).min(359);
        let [first, next, after, last] = self.texels[degree];
        let row = first.to_f64() as usize
            + usize::from(hue >= next)
            + usize::from(hue >= after)
            + usize::from(hue >= last);
        let (low, high) = (self.texels[tables::CUSP + row], self.texels[tables::CUSP + row + 1]);
        let share = (hue - low[0]) / (high[0] - low[0]);
        let reach = self.texels[tables::REACH + degree];
        AtHue {
            reach: reach[0].toward(reach[1], hue - T::of(degree as f64)),
            cusp_j: low[1].toward(high[1], share),
            cusp_m: low[2].toward(high[2], share),
            power_top: low[3].toward(high[3], share),
        }
    }

    /// Colourfulness that goes with the lightness the tone scale gave. Twin: `aces2_compress_chroma`.
    fn compress_chroma(&self, m: T, a: T, j: T, reach: T, cos: T, sin: T) -> T {
        let norm = self.chroma_norm(cos, sin);
        let share = j / self.shape.j_max;
        let rest = (T::of(1.0) - share).at_least(T::of(0.0));
        let limit = a / self.a_max * reach / norm;
        let floor = (share * share + self.expand_floor).root();
        let expanded = limit - aces2_toe(limit - m / norm, limit - T::of(0.001), rest * self.expand, floor);
        norm * aces2_toe(expanded, limit, share * self.compress, rest)
    }

    /// What colourfulness is measured by at a hue. Twin: `aces2_chroma_norm`.
    fn chroma_norm(&self, cos: T, sin: T) -> T {
        let (cos_2, sin_2) = (cos * cos - sin * sin, T::of(2.0) * cos * sin);
        let (cos_3, sin_3) = (cos * cos_2 - sin * sin_2, sin * cos_2 + cos * sin_2);
        self.chroma_scale
            * (T::of(77.12896)
                + T::of(11.34072) * cos
                + T::of(16.46899) * cos_2
                + T::of(7.8838) * cos_3
                + T::of(14.66441) * sin
                - T::of(6.37224) * sin_2
                + T::of(9.19364) * sin_3)
    }

    /// Achromatic response and colourfulness moved into the limiting gamut. Twin: `aces2_compress_gamut`.
    fn compress_gamut(&self, a: T, j: T, m: T, hue: &AtHue<T>) -> (T, T) {
        let (zero, one) = (T::of(0.0), T::of(1.0));
        let line = self.shape.line(j, m, j, hue);
        let boundary = self.shape.boundary(&line, hue);
        if boundary <= zero {
            return (a, zero);
        }
        let j_max = self.shape.j_max;
        let reach = aces2_hull(line.foot, line.slope, self.power_a, j_max, hue.reach, j_max);
        let start = (boundary / reach).at_least(T::of(0.75)) * boundary;
        let (over, inner, outer) = (m - start, boundary - start, reach - start);
        if over <= zero || inner <= zero {
            return (a, m);
        }
        let scale = outer / (outer / inner - one);
        let m = start + scale * over / (scale + over);
        (((line.foot + m * line.slope) / T::of(100.0)).power(self.power_a), m)
    }
}

impl<T: Real> Shape<T> {
    /// The line through (J, M) that a colour of lightness `from` is moved on. Twin: `aces2_line`.
    fn line(&self, j: T, m: T, from: T, hue: &AtHue<T>) -> Line<T> {
        let one = T::of(1.0);
        let focus_j = hue.cusp_j.toward(self.j_mid, (T::of(1.3) - hue.cusp_j / self.j_max).at_most(one));
        // Towards white the lines flatten.
        let threshold = self.flattening(hue);
        let mut distance = self.focus;
        if from > threshold {
            let rest = (self.j_max - from).at_least(T::of(1e-4));
            let tens = T::of(std::f64::consts::LOG10_2) * ((self.j_max - threshold) / rest).log_2();
            distance = distance * (one + tens * tens);
        }
        let foot = aces2_foot(j, m, focus_j, self.j_max, distance);
        let way = if foot < focus_j { foot } else { self.j_max - foot };
        Line {
            foot,
            slope: way * (foot - focus_j) / (focus_j * distance),
            cusp_foot: aces2_foot(hue.cusp_j, hue.cusp_m, focus_j, self.j_max, distance),
        }
    }

    /// The J above which lines depend on it. Twin: `aces2_flattening`.
    fn flattening(&self, hue: &AtHue<T>) -> T {
        hue.cusp_j.toward(self.j_max, T::of(0.3))
    }

    /// M where a line leaves the gamut. Twin: `aces2_boundary`.
    fn boundary(&self, line: &Line<T>, hue: &AtHue<T>) -> T {
        let low = aces2_hull(line.foot, line.slope, self.power_low, hue.cusp_j, hue.cusp_m, line.cusp_foot);
        let top = aces2_hull(
            self.j_max - line.foot,
            -line.slope,
            hue.power_top,
            self.j_max - hue.cusp_j,
            hue.cusp_m,
            self.j_max - line.cusp_foot,
        );
        let soft = T::of(0.12) * hue.cusp_m;
        let near = (soft - (low - top).magnitude()).at_least(T::of(0.0)) / soft;
        low.at_most(top) - near * near * near * soft / T::of(6.0)
    }
}

/// Adapted cone response to compressed response, odd about 0. Twin: `aces2_cone_compress`.
fn aces2_cone_compress<T: Real>(x: T) -> T {
    let p = x.magnitude().power(T::of(COMPRESSION));
    let y = p / (p + T::of(OFFSET));
    if x < T::of(0.0) { -y } else { y }
}

/// The inverse; the response is held at 0.99. Twin: `aces2_cone_expand`.
fn aces2_cone_expand<T: Real>(y: T) -> T {
    let held = y.magnitude().at_most(T::of(0.99));
    let x = (T::of(OFFSET) * held / (T::of(1.0) - held)).power(T::of(1.0 / COMPRESSION));
    if y < T::of(0.0) { -x } else { x }
}

/// Hue in degrees, 0 to 360, of a point of the unit circle: an arc tangent of our own, good to 4e-7 rad in f32
/// (minimax fit), because the built-in ones of GPUs may be far worse. Twin: `aces2_hue`.
fn aces2_hue<T: Real>(cos: T, sin: T) -> T {
    let (x, y) = (cos.magnitude(), sin.magnitude());
    let (long, short) = if y > x { (y, x) } else { (x, y) };
    let z = short / long;
    let q = z * z;
    let series = [11.3490421, -7.58214554, 4.56209862, -1.92537849, 0.390286501];
    let inner = series.iter().rev().fold(T::of(0.0), |sum, &k| sum * q + T::of(k));
    let angle = z * (T::of(57.2955567) + q * (T::of(-19.0894457) + q * inner));
    let angle = if y > x { T::of(90.0) - angle } else { angle };
    let angle = if cos < T::of(0.0) { T::of(180.0) - angle } else { angle };
    if sin < T::of(0.0) { T::of(360.0) - angle } else { angle }
}

/// A toe that leaves what is above `limit`. Twin: `aces2_toe`.
fn aces2_toe<T: Real>(x: T, limit: T, k_1: T, k_2: T) -> T {
    if x > limit {
        return x;
    }
    let k_2 = k_2.at_least(T::of(0.001));
    let k_1 = (k_1 * k_1 + k_2 * k_2).root();
    let k_3 = (limit + k_1) / (limit + k_2);
    let minus = k_3 * x - k_1;
    T::of(0.5) * (minus + (minus * minus + T::of(4.0) * k_2 * k_3 * x).at_least(T::of(0.0)).root())
}

/// Where the line through (J, M) that points at the focus meets the J axis. Twin: `aces2_foot`.
fn aces2_foot<T: Real>(j: T, m: T, focus_j: T, j_max: T, distance: T) -> T {
    let share = m / distance;
    let square = share / focus_j;
    let (linear, free, sign) = if j < focus_j {
        (T::of(1.0) - share, j, T::of(4.0))
    } else {
        (T::of(1.0) + share + j_max * square, j_max * share + j, T::of(-4.0))
    };
    let inside = linear * linear + sign * square * free;
    T::of(2.0) * free / (linear + inside.at_least(T::of(0.0)).root())
}

/// M where a line from `foot` with a slope meets a hull of exponent 1/`power` through the cusp, whose own line
/// has its foot at `cusp_foot`. Twin: `aces2_hull`.
fn aces2_hull<T: Real>(foot: T, slope: T, power: T, cusp_j: T, cusp_m: T, cusp_foot: T) -> T {
    cusp_foot * (foot / cusp_foot).power(power) * cusp_m / (cusp_j - slope * cusp_m)
}
