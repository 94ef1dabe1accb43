//! Spreading light on the CPU: a pyramid of blurs, each level half as large as the one before.
//!
//! Pixel n of a level lies over pixels 2n and 2n + 1 of the finer one; past the edges the last pixel goes on. The
//! twins are `shaders/pass/spread_*.wgsl`.

use rayon::prelude::*;

use crate::look::{Kernel, Neighbourhood, RING_TAPS, Ring};

/// One level of the pyramid.
#[derive(Clone, Debug)]
struct Level {
    width: usize,
    height: usize,
    pixels: Vec<[f32; 3]>,
}

/// Size of the next coarser level.
pub fn coarser((width, height): (u32, u32)) -> (u32, u32) {
    (width.div_ceil(2), height.div_ceil(2))
}

impl Level {
    fn at(&self, x: i64, y: i64) -> [f32; 3] {
        let x = x.clamp(0, self.width as i64 - 1) as usize;
        let y = y.clamp(0, self.height as i64 - 1) as usize;
        self.pixels[y * self.width + x]
    }

    fn make(width: usize, height: usize, pixel: impl Fn(i64, i64) -> [f32; 3] + Sync) -> Self {
        let mut pixels = vec![[0.0; 3]; width * height];
        pixels.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            for (x, p) in row.iter_mut().enumerate() {
                *p = pixel(x as i64, y as i64);
            }
        });
        Self { width, height, pixels }
    }

    /// The next coarser level, by 1 3 3 1 either way. Twin: `spread_down.wgsl`.
    fn down(&self) -> Self {
        let (w, h) = coarser((self.width as u32, self.height as u32));
        Self::make(w as usize, h as usize, |x, y| {
            let mut sum = [0.0; 3];
            for (j, down) in SHARES.iter().enumerate() {
                for (i, across) in SHARES.iter().enumerate() {
                    let read = self.at(2 * x + i as i64 - 1, 2 * y + j as i64 - 1);
                    sum = std::array::from_fn(|c| sum[c] + across * down * read[c]);
                }
            }
            sum
        })
    }

    /// Between this level's pixels, where pixel (x, y) of the next finer level is. Twin: `spread_between`.
    fn between(&self, x: i64, y: i64) -> [f32; 3] {
        let place = |at: i64| ((at - 1).div_euclid(2), if at % 2 == 0 { 0.75 } else { 0.25 });
        let ((left, across), (top, down)) = (place(x), place(y));
        self.mixed(left, top, across, down)
    }

    fn mixed(&self, left: i64, top: i64, across: f32, down: f32) -> [f32; 3] {
        let [a, b] = [self.at(left, top), self.at(left + 1, top)];
        let [d, e] = [self.at(left, top + 1), self.at(left + 1, top + 1)];
        std::array::from_fn(|c| {
            let upper = a[c] + (b[c] - a[c]) * across;
            let lower = d[c] + (e[c] - d[c]) * across;
            upper + (lower - upper) * down
        })
    }

    /// Means over a ring's circles. Twin: `spread_ring.wgsl`.
    fn ring(&self, ring: &Ring) -> Self {
        let taps = ring_taps(ring);
        Self::make(self.width, self.height, |x, y| {
            let mut sum = [0.0; 3];
            for [dx, dy, share] in &taps {
                let (px, py) = (x as f32 + dx, y as f32 + dy);
                let (left, top) = (px.floor(), py.floor());
                let read = self.mixed(left as i64, top as i64, px - left, py - top);
                sum = std::array::from_fn(|c| sum[c] + share * read[c]);
            }
            sum
        })
    }
}

/// Shares of four pixels of the finer level in one of the coarser, either way.
const SHARES: [f32; 4] = [0.125, 0.375, 0.375, 0.125];

/// Where a ring is read, and the share of each point: across, down, share. Circles are turned against each other.
pub fn ring_taps(ring: &Ring) -> Vec<[f32; 3]> {
    let point = |circle: usize, i: usize| {
        let turn = (i as f64 + circle as f64 / 3.0) / RING_TAPS as f64 * std::f64::consts::TAU;
        let r = ring.radii[circle];
        [(r * turn.cos()) as f32, (r * turn.sin()) as f32, (ring.shares[circle] / RING_TAPS as f64) as f32]
    };
    (0..3).flat_map(|circle| (0..RING_TAPS).map(move |i| (circle, i))).map(|(c, i)| point(c, i)).collect()
}

/// A picture in scene-linear light through a stage that reads its neighbours.
pub(super) fn run(
    stage: &Neighbourhood,
    values: &[f32],
    strength: f32,
    kernel: &Kernel,
    (width, height): (usize, usize),
    picture: &[[f32; 3]],
) -> Vec<[f32; 3]> {
    let source: Vec<[f32; 3]> = picture.par_iter().map(|p| (stage.source)(values, *p)).collect();
    let whole = Level { width, height, pixels: source };
    let mut levels = vec![whole.down()];
    while levels.len() < kernel.weights.len() {
        levels.push(levels[levels.len() - 1].down());
    }
    let weight = |l: usize| kernel.weights[l].map(|w| w as f32);
    let mut sum = levels.pop().expect("a kernel has a level");
    if let Some(ring) = &kernel.ring {
        sum = sum.ring(ring);
    }
    let last = weight(levels.len());
    sum.pixels.par_iter_mut().for_each(|p| *p = std::array::from_fn(|c| p[c] * last[c]));
    while let Some(level) = levels.pop() {
        let own = weight(levels.len());
        sum = Level::make(level.width, level.height, |x, y| {
            let (mine, more) = (level.at(x, y), sum.between(x, y));
            std::array::from_fn(|c| own[c] * mine[c] + more[c])
        });
    }
    let rest = kernel.rest().map(|r| r as f32);
    let finished = Level::make(width, height, |x, y| {
        let (rgb, own, more) = (picture[y as usize * width + x as usize], whole.at(x, y), sum.between(x, y));
        let spread = std::array::from_fn(|c| rest[c] * own[c] + more[c]);
        let made = (stage.combine)(values, rgb, own, spread);
        if strength == 1.0 { made } else { std::array::from_fn(|c| rgb[c] + (made[c] - rgb[c]) * strength) }
    });
    finished.pixels
}
