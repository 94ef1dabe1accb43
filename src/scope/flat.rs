//! Flat patches of a picture: what cards and charts are made of.

use crate::picture::{Reduced, luminance};

/// A region of nearly one colour.
#[derive(Clone, Debug)]
pub(super) struct Flat {
    /// Its middle, in pixels.
    pub middle: [f64; 2],
    /// Pixels.
    pub area: f64,
    /// Over the area of the rectangle that has the same second moments: 1 for rectangles and all that slants like them.
    pub fill: f64,
    /// The longer side over the shorter of that rectangle.
    pub aspect: f64,
    /// Its mean light.
    pub light: [f64; 3],
    /// Deviation of its luminance, in stops.
    pub uneven: f64,
    /// First column and row, and those behind the last.
    pub bounds: [usize; 4],
    /// Its pixels, as places in the picture.
    pub pixels: Vec<usize>,
}

impl Flat {
    /// Side of a square as large, in pixels.
    pub fn side(&self) -> f64 {
        self.area.sqrt()
    }
}

/// Stops of a channel from one pixel to the next but one that still are flat.
const SLOPE: f64 = 0.16;
/// Stops that a pixel may differ from its region's mean.
const REACH: f64 = 0.22;
/// Part of the light of the brightest twentieth that is added to every channel, so that noise in the dark is flat.
const FLOOR: f64 = 0.002;

/// The flat regions of at least `least` pixels, row by row from their first pixel.
pub(super) fn flats(picture: &Reduced, least: usize) -> Vec<Flat> {
    let (w, h) = (picture.width, picture.height);
    let mut ys = picture.luminance();
    ys.sort_by(f64::total_cmp);
    let Some(bright) = ys.get(ys.len().saturating_sub(1 + ys.len() / 20)).filter(|y| **y > 0.0) else {
        return Vec::new();
    };
    let floor = FLOOR * bright;
    let log: Vec<[f64; 3]> = picture.light.iter().map(|l| l.map(|v| (v + floor).log2())).collect();
    let apart = |a: [f64; 3], b: [f64; 3]| (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max);
    let flat = |i: usize| {
        let (x, y) = (i % w, i / w);
        let left = log[i - usize::from(x > 0)];
        let right = log[i + usize::from(x + 1 < w)];
        let over = log[if y > 0 { i - w } else { i }];
        let under = log[if y + 1 < h { i + w } else { i }];
        apart(left, right) < SLOPE && apart(over, under) < SLOPE
    };
    let mut taken: Vec<bool> = (0..w * h).map(|i| !flat(i)).collect();
    let mut out = Vec::new();
    for first in 0..w * h {
        if taken[first] {
            continue;
        }
        taken[first] = true;
        let (mut pixels, mut sum) = (vec![first], log[first]);
        let mut next = 0;
        while next < pixels.len() {
            let i = pixels[next];
            next += 1;
            let mean = sum.map(|s| s / pixels.len() as f64);
            let mut join = |j: usize| {
                if !taken[j] && apart(log[j], mean) < REACH {
                    taken[j] = true;
                    sum = std::array::from_fn(|c| sum[c] + log[j][c]);
                    pixels.push(j);
                }
            };
            let (x, y) = (i % w, i / w);
            if x > 0 {
                join(i - 1);
            }
            if x + 1 < w {
                join(i + 1);
            }
            if y > 0 {
                join(i - w);
            }
            if y + 1 < h {
                join(i + w);
            }
        }
        if pixels.len() >= least {
            out.push(region(picture, pixels));
        }
    }
    out
}

fn region(picture: &Reduced, pixels: Vec<usize>) -> Flat {
    let (w, n) = (picture.width, pixels.len() as f64);
    let places = || pixels.iter().map(|i| [(i % w) as f64, (i / w) as f64]);
    let middle = places().fold([0.0; 2], |s, p| [s[0] + p[0] / n, s[1] + p[1] / n]);
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for [x, y] in places() {
        let (x, y) = (x - middle[0], y - middle[1]);
        (xx, yy, xy) = (xx + x * x / n, yy + y * y / n, xy + x * y / n);
    }
    // A pixel has a size of its own.
    let (xx, yy) = (xx + 1.0 / 12.0, yy + 1.0 / 12.0);
    let root = (0.25 * (xx - yy).powi(2) + xy * xy).sqrt();
    let (large, small) = (0.5 * (xx + yy) + root, (0.5 * (xx + yy) - root).max(1.0 / 12.0));
    let light = pixels.iter().fold([0.0; 3], |s, i| std::array::from_fn(|c| s[c] + picture.light[*i][c] / n));
    let mean = luminance(light).max(f64::MIN_POSITIVE);
    let spread = pixels.iter().map(|i| (luminance(picture.light[*i]) / mean - 1.0).powi(2)).sum::<f64>();
    let bounds = pixels.iter().fold([usize::MAX, usize::MAX, 0, 0], |b, i| {
        let (x, y) = (i % w, i / w);
        [b[0].min(x), b[1].min(y), b[2].max(x + 1), b[3].max(y + 1)]
    });
    Flat {
        middle: middle.map(|v| v + 0.5),
        area: n,
        fill: n / (12.0 * (large * small).sqrt()),
        aspect: (large / small).sqrt(),
        light,
        uneven: (spread / n).sqrt() / std::f64::consts::LN_2,
        bounds,
        pixels,
    }
}
