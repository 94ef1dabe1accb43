//! Finds a chart of 24 patches in a picture: four rows of six, in any turn, not mirrored.
//!
//! Flat patches of one size that lie on a lattice are looked for, then the lattice's 24 colours are compared with the chart's:
//! neutrals in order of their lightness, and each channel's stops along the chart's own. A detector of our own, in no paper.

use super::flat::{Flat, flats};
use crate::colour::GREY;
use crate::colour::patches::PATCHES;
use crate::picture::{Reduced, luminance};

/// A chart that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// Middles of the patches in the chart's order, in shares 0…1 of the picture's width and height.
    pub places: [[f64; 2]; 24],
    /// Light of each patch.
    pub patches: [[f64; 3]; 24],
    /// The light that a grey of 18 % has there, by the neutral patches that are neither white nor black.
    pub grey: [f64; 3],
    /// Stops that those patches disagree by about it, at most.
    pub spread: f64,
    /// Stops by which the patches' channels lie beside the chart's, in the middle of all.
    pub beside: f64,
}

/// Pixels across at which to look: a chart has to cover an eighth of them.
pub const CHART_ACROSS: u32 = 480;

/// Patches that have to be found as such; the lattice says where the others are.
const LEAST_FOUND: usize = 15;
/// Stops by which channels may lie beside the chart's, in the middle and at nine tenths.
const BESIDE: [f64; 2] = [0.3, 1.0];
/// Correlation of the patches' luminance, and of their colours, with the chart's.
const ALIKE: [f64; 2] = [0.93, 0.85];
/// The neutral patches that count: neither the white, which clips and is not quite neutral, nor the black.
const NEUTRALS: std::ops::Range<usize> = 19..23;

/// Where the patches lie: `[1, i, j, ij]` times this gives a place, i along a row of six, j down the four.
type Lattice = [[f64; 2]; 4];

fn place(lattice: &Lattice, i: f64, j: f64) -> [f64; 2] {
    let terms = [1.0, i, j, i * j];
    std::array::from_fn(|axis| (0..4).map(|k| terms[k] * lattice[k][axis]).sum())
}

/// The chart in a picture, if there is one; the best of several.
pub fn chart(picture: &Reduced) -> Option<Chart> {
    let most = (picture.width * picture.height) as f64 * 0.04;
    let squares: Vec<Flat> = flats(picture, 9)
        .into_iter()
        .filter(|f| f.area <= most && (0.72..1.15).contains(&f.fill) && f.aspect < 1.8)
        .collect();
    let near: Vec<Vec<usize>> = (0..squares.len()).map(|i| neighbours(&squares, i)).collect();
    let mut best: Option<Chart> = None;
    let mut used = vec![false; squares.len()];
    for first in 0..squares.len() {
        if used[first] {
            continue;
        }
        for [along, down] in corners(&squares, &near, first) {
            let Some(nodes) = grown(&squares, &near, first, along, down) else { continue };
            let found =
                windows(&nodes).into_iter().filter_map(|window| read(picture, &squares, &nodes, window));
            for chart in found {
                nodes.iter().for_each(|n| used[n.1] = true);
                if best.as_ref().is_none_or(|b| chart.beside < b.beside) {
                    best = Some(chart);
                }
            }
            if used[first] {
                break;
            }
        }
    }
    best
}

/// The patches nearest to one that could be beside it in a chart.
fn neighbours(squares: &[Flat], of: usize) -> Vec<usize> {
    let from = &squares[of];
    let side = from.side();
    let away = |s: &Flat| (s.middle[0] - from.middle[0]).hypot(s.middle[1] - from.middle[1]);
    let mut found: Vec<usize> = (0..squares.len())
        .filter(|i| *i != of && (0.6..1.7).contains(&(squares[*i].side() / side)))
        .filter(|i| (0.95..2.1).contains(&(away(&squares[*i]) / side)))
        .collect();
    found.sort_by(|a, b| away(&squares[*a]).total_cmp(&away(&squares[*b])));
    found.truncate(8);
    found
}

fn step(squares: &[Flat], from: usize, to: usize) -> [f64; 2] {
    std::array::from_fn(|axis| squares[to].middle[axis] - squares[from].middle[axis])
}

/// Pairs of steps to neighbours of a patch that could be a lattice's: as long as each other, at a right angle or nearly.
fn corners(squares: &[Flat], near: &[Vec<usize>], first: usize) -> Vec<[[f64; 2]; 2]> {
    let steps: Vec<[f64; 2]> = near[first].iter().map(|i| step(squares, first, *i)).collect();
    let mut out = Vec::new();
    for a in &steps {
        for b in &steps {
            let (la, lb) = (a[0].hypot(a[1]), b[0].hypot(b[1]));
            let (cross, dot) = (a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]);
            // b is a quarter turn clockwise from a, on a screen with its rows downwards.
            if cross > 0.0 && dot.abs() < 0.4 * la * lb && (0.65..1.55).contains(&(la / lb)) {
                out.push([*a, *b]);
            }
        }
    }
    out
}

/// Patches that lie on the lattice, with their places in it; `None` where there are too few.
fn grown(
    squares: &[Flat],
    near: &[Vec<usize>],
    first: usize,
    along: [f64; 2],
    down: [f64; 2],
) -> Option<Vec<([i32; 2], usize)>> {
    let reach = 0.3 * along[0].hypot(along[1]).min(down[0].hypot(down[1]));
    let mut nodes = vec![([0, 0], first)];
    let mut next = 0;
    while next < nodes.len() && nodes.len() < 64 {
        let ([i, j], at) = nodes[next];
        next += 1;
        for [di, dj] in [[1, 0], [-1, 0], [0, 1], [0, -1]] {
            let to: [i32; 2] = [i + di, j + dj];
            if to.iter().any(|v| v.abs() > 5) || nodes.iter().any(|n| n.0 == to) {
                continue;
            }
            let off = |s: usize| {
                let by = step(squares, at, s);
                let miss = |axis: usize| by[axis] - f64::from(di) * along[axis] - f64::from(dj) * down[axis];
                miss(0).hypot(miss(1))
            };
            let nearest = near[at].iter().copied().min_by(|a, b| off(*a).total_cmp(&off(*b)));
            if let Some(index) = nearest.filter(|s| off(*s) < reach && !nodes.iter().any(|n| n.1 == *s)) {
                nodes.push((to, index));
            }
        }
    }
    (nodes.len() >= LEAST_FOUND).then_some(nodes)
}

/// Where a chart may lie in a lattice: its first column and row, and whether its rows of six go down.
fn windows(nodes: &[([i32; 2], usize)]) -> Vec<([i32; 2], bool)> {
    let range = |axis: usize| {
        let all = nodes.iter().map(|n| n.0[axis]);
        (all.clone().min().unwrap_or(0), all.max().unwrap_or(0))
    };
    let (columns, rows) = (range(0), range(1));
    let mut out = Vec::new();
    for turned in [false, true] {
        let (across, down) = if turned { (4, 6) } else { (6, 4) };
        for i in columns.0 - 1..=columns.1 {
            for j in rows.0 - 1..=rows.1 {
                let inside = |n: &&([i32; 2], usize)| {
                    (i..i + across).contains(&n.0[0]) && (j..j + down).contains(&n.0[1])
                };
                if nodes.iter().filter(inside).count() >= LEAST_FOUND {
                    out.push(([i, j], turned));
                }
            }
        }
    }
    out
}

/// The chart in a window of a lattice, if its colours are a chart's.
fn read(
    picture: &Reduced,
    squares: &[Flat],
    nodes: &[([i32; 2], usize)],
    (corner, turned): ([i32; 2], bool),
) -> Option<Chart> {
    let (across, down) = if turned { (4, 6) } else { (6, 4) };
    let inside: Vec<([f64; 2], [f64; 2])> = nodes
        .iter()
        .map(|(at, index)| ([at[0] - corner[0], at[1] - corner[1]], squares[*index].middle))
        .filter(|(at, _)| (0..across).contains(&at[0]) && (0..down).contains(&at[1]))
        .map(|(at, middle)| (at.map(f64::from), middle))
        .collect();
    let lattice = fitted(&inside)?;
    let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
    let pitch = apart(place(&lattice, 0.0, 0.0), place(&lattice, 1.0, 0.0))
        .min(apart(place(&lattice, 0.0, 0.0), place(&lattice, 0.0, 1.0)));
    // Patches lie where the lattice says, or it is none.
    let off = inside.iter().map(|(at, middle)| apart(place(&lattice, at[0], at[1]), *middle));
    if off.fold(0.0, f64::max) > 0.3 * pitch {
        return None;
    }
    let turns: &[bool] = &[false, true];
    turns
        .iter()
        .filter_map(|&over| {
            let places: [[f64; 2]; 24] = std::array::from_fn(|patch| {
                let patch = if over { 23 - patch } else { patch };
                let (column, row) = ((patch % 6) as f64, (patch / 6) as f64);
                // A quarter turn: the first row of six is the last column, downwards.
                if turned { place(&lattice, 3.0 - row, column) } else { place(&lattice, column, row) }
            });
            let patches: Vec<[f64; 3]> =
                places.iter().map(|p| sampled(picture, *p, 0.25 * pitch)).collect::<Option<_>>()?;
            judged(picture, places, patches.try_into().ok()?)
        })
        .min_by(|a, b| a.beside.total_cmp(&b.beside))
}

/// The lattice nearest to places, by least squares.
fn fitted(points: &[([f64; 2], [f64; 2])]) -> Option<Lattice> {
    let mut lattice = [[0.0; 2]; 4];
    let (mut normal, mut right) = ([[0.0; 4]; 4], [[0.0; 2]; 4]);
    for ([i, j], to) in points {
        let terms = [1.0, *i, *j, i * j];
        for a in 0..4 {
            for b in 0..4 {
                normal[a][b] += terms[a] * terms[b];
            }
            for axis in 0..2 {
                right[a][axis] += terms[a] * to[axis];
            }
        }
    }
    // Gauss, with the largest first.
    for k in 0..4 {
        let pivot = (k..4).max_by(|a, b| normal[*a][k].abs().total_cmp(&normal[*b][k].abs()))?;
        if normal[pivot][k].abs() < 1e-9 {
            return None;
        }
        normal.swap(k, pivot);
        right.swap(k, pivot);
        for row in k + 1..4 {
            let by = normal[row][k] / normal[k][k];
            for column in k..4 {
                normal[row][column] -= by * normal[k][column];
            }
            for axis in 0..2 {
                right[row][axis] -= by * right[k][axis];
            }
        }
    }
    for k in (0..4).rev() {
        for axis in 0..2 {
            let rest: f64 = (k + 1..4).map(|c| normal[k][c] * lattice[c][axis]).sum();
            lattice[k][axis] = (right[k][axis] - rest) / normal[k][k];
        }
    }
    Some(lattice)
}

/// The mean light of the middle half of the pixels around a place, channel by channel; `None` beside the picture.
fn sampled(picture: &Reduced, [x, y]: [f64; 2], reach: f64) -> Option<[f64; 3]> {
    let (w, h) = (picture.width as f64, picture.height as f64);
    if !(x >= 0.0 && y >= 0.0 && x < w && y < h) {
        return None;
    }
    let span = |at: f64, side: f64| {
        let first = (at - reach).floor().max(0.0) as usize;
        first..((at + reach).floor() as usize + 1).min(side as usize)
    };
    let pixels: Vec<[f64; 3]> = span(y, h)
        .flat_map(|row| span(x, w).map(move |column| row * picture.width + column))
        .map(|i| picture.light[i])
        .collect();
    Some(std::array::from_fn(|c| {
        let mut channel: Vec<f64> = pixels.iter().map(|p| p[c]).collect();
        channel.sort_by(f64::total_cmp);
        let cut = channel.len() / 4;
        let kept = &channel[cut..channel.len() - cut];
        kept.iter().sum::<f64>() / kept.len() as f64
    }))
}

/// A chart, if 24 lights are one's.
fn judged(picture: &Reduced, places: [[f64; 2]; 24], patches: [[f64; 3]; 24]) -> Option<Chart> {
    let neutral: Vec<f64> = (18..24).map(|i| luminance(patches[i])).collect();
    // The white may be clipped to what the next one has, the black lie in noise.
    let falls =
        neutral.windows(2).enumerate().all(|(i, n)| if i == 0 { n[0] >= 0.98 * n[1] } else { n[0] > n[1] });
    if !falls || neutral[5] <= 0.0 || neutral[1] / neutral[4] < 2.5 {
        return None;
    }
    let floor = 0.01 * neutral[1];
    let log = |l: [f64; 3], floor: f64| l.map(|v| (v + floor).log2());
    let seen = patches.map(|p| log(p, floor));
    let known = PATCHES.map(|p| log(p, 0.01 * luminance(PATCHES[19])));
    let differences = |f: &dyn Fn([f64; 3]) -> f64| (seen.map(f), known.map(f));
    let light = differences(&|l| l.iter().sum::<f64>());
    let colours = [differences(&|l| l[0] - l[1]), differences(&|l| l[2] - l[1])];
    if correlation(&light) < ALIKE[0] || colours.iter().any(|c| correlation(c) < ALIKE[1]) {
        return None;
    }
    let mut beside = Vec::with_capacity(72);
    for c in 0..3 {
        let mut ratios: Vec<f64> = (0..24).map(|i| seen[i][c] - known[i][c]).collect();
        let all = ratios.clone();
        ratios.sort_by(f64::total_cmp);
        let middle = 0.5 * (ratios[11] + ratios[12]);
        beside.extend(all.iter().map(|r| (r - middle).abs()));
    }
    beside.sort_by(f64::total_cmp);
    if beside[36] > BESIDE[0] || beside[64] > BESIDE[1] {
        return None;
    }
    let white = |i: usize| -> [f64; 3] { std::array::from_fn(|c| (patches[i][c] / PATCHES[i][c]).log2()) };
    let count = NEUTRALS.len() as f64;
    let mean = NEUTRALS.map(white).fold([0.0; 3], |s, w| std::array::from_fn(|c| s[c] + w[c] / count));
    let spread =
        NEUTRALS.flat_map(|i| (0..3).map(move |c| (i, c))).map(|(i, c)| (white(i)[c] - mean[c]).abs());
    let spread = spread.fold(0.0, f64::max);
    if !spread.is_finite() || spread > 0.7 {
        return None;
    }
    let share = |p: [f64; 2]| [p[0] / picture.width as f64, p[1] / picture.height as f64];
    Some(Chart {
        places: places.map(share),
        patches,
        grey: mean.map(|m| GREY * m.exp2()),
        spread,
        beside: beside[36],
    })
}

/// Pearson's, of two rows of 24.
fn correlation((a, b): &([f64; 24], [f64; 24])) -> f64 {
    let mean = |v: &[f64; 24]| v.iter().sum::<f64>() / 24.0;
    let (ma, mb) = (mean(a), mean(b));
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma).powi(2);
        bb += (y - mb).powi(2);
    }
    if aa * bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}
