//! Which colour a grey has in a picture, from its statistics.
//!
//! Two published methods, and their committee:
//!
//! - **weighted edges**: Gijsenij, Gevers and van de Weijer, "Improving Color Constancy by Photometric Edge Weighting",
//!   IEEE TPAMI 34 (5), 2012: edges that highlights make have the light's colour, so every edge counts by how much of it lies
//!   along the light's colour, which is worked out again from that;
//! - **grey pixels**: Qian, Kämäräinen, Nikkanen and Matas, "On Finding Gray Pixels", CVPR 2019: where the contrast of log red
//!   and log blue is that of the log of their sum, the surface is grey and has the light's colour.
//!
//! They look at different things, so their mean is steadier than either (committees of such methods: Cardei and Funt, Color
//! Imaging Conference 1999). How sure that is, is told by the picture's quarters: where each by itself comes to much the same,
//! the whole errs about half as much as elsewhere; how far the two methods are apart was found to tell nothing
//! (`tests/first/panoramas.rs`). [`grey_world`] (Buchsbaum 1980) is the yardstick.
//! Every answer turns with the light's colour and none depends on its amount.

use crate::picture::{Reduced, luminance};

/// Light this many stops over the median counts as that much: lamps and sun are not to outweigh the rest.
const COMPRESSED: f64 = 3.5;
/// Deviation of the Gaussian that edges are measured behind, in pixels.
const EDGE: f64 = 1.0;
/// Exponent of the edges' weights.
const WEIGHING: i32 = 2;
/// Rounds in which the light's colour is worked out anew.
const ROUNDS: usize = 4;
/// Part of the pixels that are taken for grey.
const GREYEST: f64 = 0.05;
/// Contrast of a log channel under which a place says nothing.
const FLAT: f64 = 1e-3;
/// Part of the median light under which a place says nothing.
const DARK: f64 = 0.02;

/// The colour of grey by one method and another; each a light of luminance 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Neutral {
    /// By weighted edges.
    pub edges: [f64; 3],
    /// By grey pixels.
    pub pixels: [f64; 3],
    /// The committee's: the geometric mean of both.
    pub grey: [f64; 3],
    /// Degrees from the committee's to what it says of the picture's quarters by themselves, in the middle of the four.
    pub apart: f64,
}

/// Angle between two lights in ACEScg, in degrees: the measure of that literature.
pub fn angle(a: [f64; 3], b: [f64; 3]) -> f64 {
    let dot = |a: [f64; 3], b: [f64; 3]| (0..3).map(|c| a[c] * b[c]).sum::<f64>();
    (dot(a, b) / (dot(a, a) * dot(b, b)).sqrt()).clamp(-1.0, 1.0).acos().to_degrees()
}

/// The same colour with luminance 1; `None` without light in every channel.
fn of_luminance_one(light: [f64; 3]) -> Option<[f64; 3]> {
    let y = luminance(light);
    (y > 0.0 && light.iter().all(|v| *v > 0.0)).then(|| light.map(|v| v / y))
}

/// The mean of a picture, as a light of luminance 1; `None` for a picture without light.
pub fn grey_world(picture: &Reduced) -> Option<[f64; 3]> {
    let sum = picture.light.iter().fold([0.0; 3], |s, l| std::array::from_fn(|c| s[c] + l[c]));
    of_luminance_one(sum)
}

/// The colour of grey in a picture; `None` where it has no edge, or no light in a channel. Best on pictures of about 160
/// pixels across, where grain is averaged out.
pub fn neutral(picture: &Reduced) -> Option<Neutral> {
    let mut found = committee(picture)?;
    let mut apart: Vec<f64> =
        quarters(picture).iter().filter_map(|q| Some(angle(committee(q)?.grey, found.grey))).collect();
    apart.sort_by(f64::total_cmp);
    // A quarter that says nothing is as far away as any.
    apart.resize(4, 90.0);
    found.apart = 0.5 * (apart[1] + apart[2]);
    Some(found)
}

fn quarters(picture: &Reduced) -> [Reduced; 4] {
    let (width, height) = (picture.width / 2, picture.height / 2);
    std::array::from_fn(|i| {
        let (left, top) = ((i % 2) * width, (i / 2) * height);
        let row = |y: usize| &picture.light[(top + y) * picture.width + left..][..width];
        Reduced { width, height, light: (0..height).flat_map(|y| row(y).iter().copied()).collect() }
    })
}

fn committee(picture: &Reduced) -> Option<Neutral> {
    if picture.width < 8 || picture.height < 8 {
        return None;
    }
    let mut ys = picture.luminance();
    ys.sort_by(f64::total_cmp);
    let median = ys[ys.len() / 2];
    if median <= 0.0 {
        return None;
    }
    let most = median * COMPRESSED.exp2();
    let calm = picture.mapped(|l| {
        let by = (most / luminance(l).max(f64::MIN_POSITIVE)).min(1.0);
        l.map(|v| v * by)
    });
    let edges = of_luminance_one(weighted_edges(&calm)?)?;
    let pixels = grey_pixels(&calm, median).and_then(of_luminance_one).unwrap_or(edges);
    let grey = of_luminance_one(std::array::from_fn(|c| (edges[c] * pixels[c]).sqrt()))?;
    Some(Neutral { edges, pixels, grey, apart: 0.0 })
}

fn weighted_edges(picture: &Reduced) -> Option<[f64; 3]> {
    let smooth = blurred(picture, EDGE);
    let (w, h) = (smooth.width, smooth.height);
    let at = |x: usize, y: usize| smooth.light[y * w + x];
    let difference = |a: [f64; 3], b: [f64; 3]| std::array::from_fn::<f64, 3, _>(|c| 0.5 * (a[c] - b[c]));
    let mut slopes = Vec::with_capacity(w * h);
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            slopes.push([difference(at(x + 1, y), at(x - 1, y)), difference(at(x, y + 1), at(x, y - 1))]);
        }
    }
    let mut light = [1.0; 3];
    for _ in 0..ROUNDS {
        let mut sum = [0.0; 3];
        for slope in &slopes {
            // With the light taken out, a highlight's edge runs along grey.
            let (mut along, mut whole) = (0.0, 0.0);
            for s in slope {
                let seen: [f64; 3] = std::array::from_fn(|c| s[c] / light[c]);
                along += seen.iter().sum::<f64>().powi(2) / 3.0;
                whole += seen.iter().map(|v| v * v).sum::<f64>();
            }
            let weight = if whole > 0.0 { (along / whole).sqrt().powi(WEIGHING) } else { 0.0 };
            for (c, part) in sum.iter_mut().enumerate() {
                *part += weight * slope[0][c].hypot(slope[1][c]);
            }
        }
        let size = luminance(sum);
        if sum.iter().any(|v| *v <= 0.0) {
            return None;
        }
        light = sum.map(|v| v / size);
    }
    Some(light)
}

fn grey_pixels(picture: &Reduced, median: f64) -> Option<[f64; 3]> {
    let smooth = blurred(picture, 0.5);
    let (w, h) = (smooth.width, smooth.height);
    let floor = 1e-4 * median;
    let log = |f: &dyn Fn(&[f64; 3]) -> f64| -> Vec<f64> { smooth.light.iter().map(|l| f(l).ln()).collect() };
    let sum = log(&|l| l[0] + l[1] + l[2] + 3.0 * floor);
    let channels: [Vec<f64>; 3] = std::array::from_fn(|c| log(&|l| l[c] + floor));
    let against =
        |c: usize| contrast(&channels[c].iter().zip(&sum).map(|(v, s)| v - s).collect::<Vec<_>>(), w, h);
    let (red, blue) = (against(0), against(2));
    let each: [Vec<f64>; 3] = std::array::from_fn(|c| contrast(&channels[c], w, h));
    // As far from grey as counts: what is flat or dark tells nothing.
    const FAR: f64 = 10.0;
    let index: Vec<f64> = (0..w * h)
        .map(|i| {
            let dumb =
                each.iter().any(|e| e[i].abs() < FLAT) || smooth.light[i].iter().any(|v| *v < DARK * median);
            if dumb { FAR } else { red[i].hypot(blue[i]) }
        })
        .collect();
    let index = blurred_plane(&index, w, h, 2.0);
    let inside = |i: &usize| (2..w - 2).contains(&(i % w)) && (2..h - 2).contains(&(i / w));
    let mut order: Vec<usize> = (0..w * h).filter(inside).collect();
    order.sort_by(|a, b| index[*a].total_cmp(&index[*b]).then(a.cmp(b)));
    let count = ((GREYEST * (w * h) as f64) as usize).clamp(8, order.len().max(8));
    let chosen: Vec<_> = order.into_iter().take(count).filter(|i| index[*i] < FAR).collect();
    let sum = chosen.iter().fold([0.0; 3], |s, i| std::array::from_fn(|c| s[c] + smooth.light[*i][c]));
    (!chosen.is_empty()).then_some(sum)
}

/// The Laplacian of a plane behind a Gaussian.
fn contrast(plane: &[f64], w: usize, h: usize) -> Vec<f64> {
    let smooth = blurred_plane(plane, w, h, 1.0);
    let mut out = vec![0.0; w * h];
    for y in 1..h - 1 {
        for x in 1..w - 1 {
            let i = y * w + x;
            out[i] = smooth[i - 1] + smooth[i + 1] + smooth[i - w] + smooth[i + w] - 4.0 * smooth[i];
        }
    }
    out
}

/// Behind a Gaussian of a deviation in pixels; the edges are repeated.
fn blurred_plane(plane: &[f64], w: usize, h: usize, deviation: f64) -> Vec<f64> {
    let reach = (3.0 * deviation).ceil() as isize;
    let mut weights: Vec<f64> =
        (-reach..=reach).map(|i| (-((i * i) as f64) / (2.0 * deviation * deviation)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|v| *v /= sum);
    let taps = |from: &[f64], at: &dyn Fn(isize) -> usize| -> f64 {
        weights.iter().zip(-reach..=reach).map(|(k, i)| k * from[at(i)]).sum()
    };
    let held = |v: isize, side: usize| v.clamp(0, side as isize - 1) as usize;
    let mut across = Vec::with_capacity(w * h);
    for y in 0..h {
        for x in 0..w {
            across.push(taps(plane, &|i| y * w + held(x as isize + i, w)));
        }
    }
    let mut out = Vec::with_capacity(w * h);
    for y in 0..h {
        for x in 0..w {
            out.push(taps(&across, &|i| held(y as isize + i, h) * w + x));
        }
    }
    out
}

fn blurred(picture: &Reduced, deviation: f64) -> Reduced {
    let (w, h) = (picture.width, picture.height);
    let planes: [Vec<f64>; 3] = std::array::from_fn(|c| {
        blurred_plane(&picture.light.iter().map(|l| l[c]).collect::<Vec<_>>(), w, h, deviation)
    });
    let light = (0..w * h).map(|i| std::array::from_fn(|c| planes[c][i])).collect();
    Reduced { width: w, height: h, light }
}
