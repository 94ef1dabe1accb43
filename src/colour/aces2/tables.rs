//! The tables by hue: how colourful ACEScg can be, and the shape of the limiting gamut.

use super::super::AP1;
use super::model::{MODEL_GAMMA, Model, Seen};
use super::{AtHue, Numbers};

/// Where the second part of the row of texels begins.
pub const REACH: usize = 360;
/// Where its third part begins.
pub const CUSP: usize = 720;
/// Hues of the third part: 360, and one more at each end.
pub const ROWS: usize = HUES + 2;
const HUES: usize = 360;
/// The next row's hue where there is none within the degree.
const NEVER: f64 = 1000.0;
/// Hues within one degree where a next row may begin.
const NEXT: usize = 3;

/// Corners of an RGB cube in the order of their hues.
const CORNERS: [[f64; 3]; 6] =
    [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0], [0.0, 1.0, 1.0], [0.0, 0.0, 1.0], [1.0, 0.0, 1.0]];

/// The row of texels; see `Aces2::texels`.
pub fn texels(n: &Numbers, peak: f64) -> Vec<[f64; 4]> {
    let reach_model = Model::of(&AP1);
    let mut reach: Vec<f64> = (0..360).map(|d| reach_m(&reach_model, n.shape.j_max, d as f64)).collect();
    reach.push(reach[0]);
    let gamut = Gamut::new(n, peak);
    let hues = hues(&gamut.corner_hues(), &reach_hues(&reach_model, n));

    let rows: Vec<[f64; 4]> = hues
        .iter()
        .map(|&h| {
            let (j, m) = gamut.cusp(h);
            // The smooth minimum of the hulls rounds the cusp off; this is what it takes, about.
            let m = m * (1.0 + 0.27 * 0.12);
            [h, j, m, 1.0 / gamut.exponent(h, j, m)]
        })
        .collect();
    let (first, last) = (rows[0], rows[HUES - 1]);
    let mut circle = vec![[last[0] - 360.0, last[1], last[2], last[3]]];
    circle.extend(&rows);
    circle.push([first[0] + 360.0, first[1], first[2], first[3]]);

    let mut out: Vec<[f64; 4]> = (0..360).map(|d| degree(&circle, d as f64)).collect();
    out.extend((0..360).map(|d| [reach[d], reach[d + 1], 0.0, 0.0]));
    out.extend(&circle);
    out
}

/// The row that a degree begins in, and the hues within it where next rows begin.
fn degree(circle: &[[f64; 4]], d: f64) -> [f64; 4] {
    let after = circle.partition_point(|row| row[0] <= d);
    let mut out = [(after.max(1) - 1) as f64, NEVER, NEVER, NEVER];
    // The last row ends the circle; nothing begins there.
    let within = circle[after..ROWS - 1].iter().take(NEXT).filter(|row| row[0] < d + 1.0);
    for (to, row) in out[1..].iter_mut().zip(within) {
        *to = row[0];
    }
    out
}

/// The lowest x of `low..high` for which `holds`, to `tolerance`, from above.
fn bisect(mut low: f64, mut high: f64, tolerance: f64, holds: impl Fn(f64) -> bool) -> f64 {
    while high - low > tolerance {
        let middle = 0.5 * (low + high);
        if holds(middle) { high = middle } else { low = middle }
    }
    high
}

/// The first step up from 0 at which `holds`, then the place within it.
fn climb(step: f64, most: f64, tolerance: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let mut high = step;
    while high < most && !holds(high) {
        high += step;
    }
    bisect(high - step, high, tolerance, holds)
}

/// M at which a hue leaves ACEScg at lightness `j`.
fn reach_m(model: &Model, j: f64, h: f64) -> f64 {
    climb(50.0, 1300.0, 1e-2, |m| model.rgb(Seen { j, m, h }).iter().any(|&x| x < 0.0))
}

/// Hues of ACEScg's corners where they are as light as peak white.
fn reach_hues(model: &Model, n: &Numbers) -> [f64; 6] {
    let a_max = (n.shape.j_max / 100.0).powf(1.0 / MODEL_GAMMA);
    CORNERS.map(|corner| {
        let scaled = |k: f64| corner.map(|x| x * k);
        let k = bisect(0.0, n.highest, 1e-3, |k| model.responses(scaled(k))[0] >= a_max);
        model.see(scaled(k)).h
    })
}

/// 360 hues about a degree apart that hit every corner's hue.
fn hues(limit: &[f64; 6], reach: &[f64; 6]) -> [f64; HUES] {
    let mut corners: Vec<f64> = limit.iter().chain(reach).copied().collect();
    corners.sort_by(f64::total_cmp);
    corners.dedup();
    // Which entry each corner is: the nearest degree, and no two the same.
    let mut places: Vec<usize> = corners.iter().map(|h| (h.round() as usize).min(HUES - 1)).collect();
    for i in 1..places.len() {
        if places[i] > places[i - 1] {
            continue;
        }
        let free = if i == 1 { places[0] > 0 } else { places[i - 1] > places[i - 2] + 1 };
        if free && places[i] == places[i - 1] {
            places[i - 1] -= 1;
        } else {
            places[i] = places[i - 1] + 1;
        }
    }
    let mut out = [0.0; HUES];
    let mut from = (0, 0.0);
    for to in places.into_iter().zip(corners).chain([(HUES, 360.0)]) {
        let to = (to.0.min(HUES), to.1);
        for place in from.0..to.0 {
            let share = (place - from.0) as f64 / (to.0 - from.0) as f64;
            out[place] = from.1 + (to.1 - from.1) * share;
        }
        from = to;
    }
    out
}

/// The limiting gamut, with its corners by hue.
struct Gamut<'a> {
    n: &'a Numbers,
    /// Peak over 100 cd/m².
    top: f64,
    corners: Vec<([f64; 3], Seen)>,
}

impl<'a> Gamut<'a> {
    fn new(n: &'a Numbers, peak: f64) -> Self {
        let top = peak / 100.0;
        let mut corners: Vec<_> = CORNERS
            .iter()
            .map(|corner| {
                let rgb = corner.map(|x| x * top);
                (rgb, n.limit.see(rgb))
            })
            .collect();
        corners.sort_by(|a, b| a.1.h.total_cmp(&b.1.h));
        Self { n, top, corners }
    }

    fn corner_hues(&self) -> [f64; 6] {
        std::array::from_fn(|i| self.corners[i].1.h)
    }

    /// J and M of the most colourful point at a hue: it lies on an edge between two corners.
    fn cusp(&self, h: f64) -> (f64, f64) {
        let after = self.corners.partition_point(|(_, seen)| seen.h <= h);
        let (from, start) = &self.corners[(after + 5) % 6];
        let (to, _) = &self.corners[after % 6];
        if start.h == h {
            return (start.j, start.m);
        }
        let at = |share: f64| {
            let rgb = std::array::from_fn(|c| from[c] + (to[c] - from[c]) * share);
            self.n.limit.see(rgb)
        };
        // Hues as seen from the edge's start, so that 360 is not in the way; rounding may put the start's own
        // hue just under it.
        let along = |hue: f64| (hue - start.h + 1.0).rem_euclid(360.0);
        let wanted = along(h);
        let seen = at(bisect(0.0, 1.0, 1e-9, |share| along(at(share).h) >= wanted));
        (seen.j, seen.m)
    }

    /// The exponent of the upper hull: the least with which it encloses the gamut at a hue.
    fn exponent(&self, h: f64, cusp_j: f64, cusp_m: f64) -> f64 {
        let shape = &self.n.shape;
        let at = |exponent: f64| AtHue { reach: 0.0, cusp_j, cusp_m, power_top: 1.0 / exponent };
        let tests = [0.01, 0.1, 0.5, 0.8, 0.99]
            .map(|share| cusp_j + (shape.j_max - cusp_j) * share)
            .map(|j| shape.line(j, cusp_m, j, &at(1.0)));
        climb(0.4, 5.0, 1e-5, |exponent| {
            tests.iter().all(|line| {
                let m = shape.boundary(line, &at(exponent));
                let seen = Seen { j: line.foot + m * line.slope, m, h };
                self.n.limit.rgb(seen).iter().any(|&x| x > self.top)
            })
        })
    }
}
