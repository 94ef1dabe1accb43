//! The camera: where it stands, its lens, its sensor.

use rayon::prelude::*;

use super::field::Ray;
use super::noise::{bell, hash};
use super::vector::{V3, v3};
use crate::colour::{Encoding, apply};

/// Where the camera stands and how wide it sees.
#[derive(Clone, Copy)]
pub struct View {
    eye: V3,
    right: V3,
    up: V3,
    forward: V3,
    /// Focal length in picture widths.
    focal: f32,
}

impl View {
    /// Level to the horizon; angles in degrees: `yaw` to the right of +z, `pitch` upwards, `across` the
    /// horizontal angle of view.
    pub fn new(eye: V3, yaw: f32, pitch: f32, across: f32) -> Self {
        let (sy, cy) = yaw.to_radians().sin_cos();
        let (sp, cp) = pitch.to_radians().sin_cos();
        let forward = v3(sy * cp, sp, cy * cp);
        let right = v3(cy, 0.0, -sy);
        Self { eye, right, up: forward.cross(right), forward, focal: 0.5 / (0.5 * across.to_radians()).tan() }
    }

    /// Through a place on the picture, in pixels of a raster.
    pub fn ray(&self, raster: Raster, x: f32, y: f32) -> Ray {
        let w = raster.width as f32;
        let (u, v) = ((x - 0.5 * w) / w, (0.5 * raster.height as f32 - y) / w);
        let to = (self.right * u + self.up * v + self.forward * self.focal).unit();
        Ray { from: self.eye, to }
    }

    /// Where a place in the scene lands, in pixels, and its distance; `None` behind the camera.
    pub fn project(&self, raster: Raster, p: V3) -> Option<(f32, f32, f32)> {
        let q = p - self.eye;
        let depth = q.dot(self.forward);
        if depth < 0.05 {
            return None;
        }
        let w = raster.width as f32;
        let k = self.focal * w / depth;
        Some((0.5 * w + k * q.dot(self.right), 0.5 * raster.height as f32 - k * q.dot(self.up), q.length()))
    }

    /// Pixels that a metre covers at distance 1.
    pub fn scale(&self, raster: Raster) -> f32 {
        self.focal * raster.width as f32
    }
}

/// Size of a picture in pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Raster {
    pub width: u32,
    pub height: u32,
}

impl Raster {
    /// The lens's blur in pixels: 0.6 at 960 across, and never so little that edges step.
    pub fn blur(self) -> f32 {
        (self.width as f32 * 0.6 / 960.0).clamp(0.45, 1.0)
    }
}

/// What a ray brings back.
#[derive(Clone, Copy, Default)]
pub struct Sample {
    pub light: V3,
    /// Metres to what was hit.
    pub depth: f32,
    /// How much of it is something that is drawn for each frame, 0…1.
    pub mask: f32,
}

/// What stands still, seen once: the raster and a border of `margin` pixels around it.
pub struct Plate {
    pub raster: Raster,
    pub margin: u32,
    pub light: Vec<V3>,
    pub depth: Vec<f32>,
    pub mask: Vec<f32>,
}

impl Plate {
    /// Pixels across, border included.
    pub fn stride(&self) -> usize {
        (self.raster.width + 2 * self.margin) as usize
    }

    /// Rows, border included.
    pub fn rows(&self) -> usize {
        (self.raster.height + 2 * self.margin) as usize
    }

    /// Metres to what stands still behind a pixel of the raster moved by `dx` pixels.
    pub fn depth_at(&self, x: usize, y: usize, dx: f32) -> f32 {
        let sx = ((x as f32 + 0.5 + dx) as i64 + i64::from(self.margin)).clamp(0, self.stride() as i64 - 1);
        self.depth[(y + self.margin as usize) * self.stride() + sx as usize]
    }

    /// Looks once at every pixel's middle, then again around the edges that showed.
    pub fn expose(raster: Raster, margin: u32, look: impl Fn(f32, f32) -> Sample + Sync) -> Self {
        let (w, h) = ((raster.width + 2 * margin) as usize, (raster.height + 2 * margin) as usize);
        let m = margin as f32;
        let at = |x: usize, y: usize, dx: f32, dy: f32| look(x as f32 + dx - m, y as f32 + dy - m);
        let first: Vec<Sample> =
            (0..w * h).into_par_iter().with_min_len(256).map(|i| at(i % w, i / w, 0.5, 0.5)).collect();
        let level = |s: &Sample| (s.light.luminance() + 0.004).log2();
        let edge = |x: usize, y: usize| {
            let s = &first[y * w + x];
            let (a, d) = (level(s), s.depth);
            let differs = |o: &Sample| {
                (level(o) - a).abs() > 0.22
                    || (o.depth - d).abs() > 0.08 * d.min(o.depth)
                    || (o.mask - s.mask).abs() > 0.3
            };
            (x > 0 && differs(&first[y * w + x - 1]))
                || (x + 1 < w && differs(&first[y * w + x + 1]))
                || (y > 0 && differs(&first[y * w + x - w]))
                || (y + 1 < h && differs(&first[y * w + x + w]))
        };
        const MORE: usize = 5;
        let pixels: Vec<Sample> = (0..w * h)
            .into_par_iter()
            .with_min_len(64)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let mut sum = first[i];
                if edge(x, y) {
                    for k in 1..=MORE {
                        // The R2 sequence: even cover from any number of points.
                        let (dx, dy) = (0.5 + 0.754_877_7 * k as f32, 0.5 + 0.569_840_3 * k as f32);
                        let s = at(x, y, dx.fract(), dy.fract());
                        sum.light += s.light;
                        sum.mask += s.mask;
                    }
                    sum.light = sum.light / (MORE + 1) as f32;
                    sum.mask /= (MORE + 1) as f32;
                }
                sum
            })
            .collect();
        Self {
            raster,
            margin,
            light: pixels.iter().map(|s| s.light).collect(),
            depth: pixels.iter().map(|s| s.depth).collect(),
            mask: pixels.iter().map(|s| s.mask).collect(),
        }
    }

    /// Scatters a share of the light over a Gaussian of so many pixels, for each pair (deviation, share).
    /// `moving` is light that is not on the plate but scatters onto it. Returns the share that stays.
    pub fn glare(&mut self, moving: Option<&[V3]>, wide: &[(f32, f32)]) -> f32 {
        let (w, h) = (self.stride(), self.rows());
        let kept = 1.0 - wide.iter().map(|g| g.1).sum::<f32>();
        let mut all = self.light.clone();
        if let Some(moving) = moving {
            all.iter_mut().zip(moving).for_each(|(a, &m)| *a += m);
        }
        let mut out: Vec<V3> = self.light.iter().map(|&v| v * kept).collect();
        for &(sigma, share) in wide {
            let soft = blurred(&all, w, h, sigma);
            out.par_iter_mut().zip(&soft).for_each(|(o, &s)| *o += s * share);
        }
        self.light = out;
        kept
    }

    /// The raster as a lens draws it whose blur is a Gaussian of `sigma` pixels, moved by `dx` pixels.
    pub fn through_lens(&self, light: &[V3], sigma: f32, dx: f32) -> Vec<V3> {
        let (w, width) = (self.stride(), self.raster.width as usize);
        let m = self.margin as i32;
        let (whole, part) = (dx.floor() as i32, dx - dx.floor());
        let (across, down) = (kernel(sigma, part), kernel(sigma, 0.0));
        let rows: Vec<Vec<V3>> = (0..self.rows())
            .into_par_iter()
            .map(|y| {
                let row = &light[y * w..(y + 1) * w];
                (0..width as i32)
                    .map(|x| tap(&across, |k| row[(x + m + whole + k).clamp(0, w as i32 - 1) as usize]))
                    .collect()
            })
            .collect();
        let last = rows.len() as i32 - 1;
        (0..width * self.raster.height as usize)
            .into_par_iter()
            .with_min_len(1024)
            .map(|i| {
                let (x, y) = (i % width, (i / width) as i32 + m);
                tap(&down, |k| rows[(y + k).clamp(0, last) as usize][x])
            })
            .collect()
    }
}

/// Seven taps of a Gaussian about `offset` 0…1.
fn kernel(sigma: f32, offset: f32) -> [f32; 7] {
    let taps: [f32; 7] = std::array::from_fn(|i| {
        let d = i as f32 - 3.0 - offset;
        (-0.5 * d * d / (sigma * sigma)).exp()
    });
    let sum: f32 = taps.iter().sum();
    taps.map(|t| t / sum)
}

fn tap(kernel: &[f32; 7], at: impl Fn(i32) -> V3) -> V3 {
    kernel.iter().enumerate().fold(V3::ZERO, |s, (i, &k)| s + at(i as i32 - 3) * k)
}

/// Nearly Gaussian blur: three running means each way. Edges are held.
fn blurred(light: &[V3], w: usize, h: usize, sigma: f32) -> Vec<V3> {
    let reach = ((sigma * sigma * 4.0 + 1.0).sqrt() * 0.5).max(1.0) as usize;
    let mut a = light.to_vec();
    for _ in 0..3 {
        a.par_chunks_mut(w).for_each(|row| running_mean(row, reach));
    }
    let mut turned = transposed(&a, w, h);
    for _ in 0..3 {
        turned.par_chunks_mut(h).for_each(|row| running_mean(row, reach));
    }
    transposed(&turned, h, w)
}

fn transposed(a: &[V3], w: usize, h: usize) -> Vec<V3> {
    (0..w * h).into_par_iter().with_min_len(1024).map(|i| a[(i % h) * w + i / h]).collect()
}

fn running_mean(row: &mut [V3], reach: usize) {
    let source = row.to_vec();
    let (n, r) = (source.len() as i64, reach as i64);
    let at = |i: i64| source[i.clamp(0, n - 1) as usize];
    // Summed in f64: a running f32 sum past a lamp would leave a trace behind it.
    let add = |s: &mut [f64; 3], v: V3, k: f64| {
        s[0] += k * f64::from(v.x);
        s[1] += k * f64::from(v.y);
        s[2] += k * f64::from(v.z);
    };
    let mut sum = [0.0; 3];
    for i in -r..=r {
        add(&mut sum, at(i), 1.0);
    }
    let scale = 1.0 / (2 * r + 1) as f64;
    for i in 0..n {
        row[i as usize] =
            v3((sum[0] * scale) as f32, (sum[1] * scale) as f32, (sum[2] * scale) as f32).at_least(0.0);
        add(&mut sum, at(i + r + 1), 1.0);
        add(&mut sum, at(i - r), -1.0);
    }
}

/// A sensor's noise, in its own linear light (0.18 = grey).
#[derive(Clone, Copy)]
pub struct Sensor {
    /// Variance of the shot noise at 1.
    pub shot: f32,
    /// Deviation of the read noise.
    pub read: f32,
}

impl Sensor {
    /// What the sensor makes of the light in frame `frame`. Noise is drawn for each pixel in the camera's
    /// primaries and spread a little over its neighbours, as interpolating a colour filter array does.
    pub fn record(
        &self,
        encoding: &Encoding,
        light: &[V3],
        width: usize,
        frame: u32,
        seed: u32,
    ) -> Vec<[f32; 3]> {
        let (to, from) = (encoding.from_acescg().rows::<f32>(), encoding.to_acescg().rows::<f32>());
        let draw = |x: usize, y: usize, c: u32| {
            bell(hash(x as u32 ^ (c << 24), y as u32, seed.wrapping_mul(977).wrapping_add(frame)))
        };
        let height = light.len() / width;
        let rows: Vec<Vec<[f32; 3]>> = (0..height + 2)
            .into_par_iter()
            .map(|y| {
                let raw: Vec<[f32; 3]> =
                    (0..width + 2).map(|x| std::array::from_fn(|c| draw(x, y, c as u32))).collect();
                raw.windows(3)
                    .map(|n| std::array::from_fn(|c| 0.2 * n[0][c] + 0.6 * n[1][c] + 0.2 * n[2][c]))
                    .collect()
            })
            .collect();
        // The spread weights' root of squares, each way.
        let level = 1.0 / (0.2f32.powi(2) * 2.0 + 0.6f32.powi(2));
        light
            .par_iter()
            .enumerate()
            .with_min_len(1024)
            .map(|(i, v)| {
                let (x, y) = (i % width, i / width);
                let camera = apply(&to, v.rgb());
                let noisy = std::array::from_fn(|c| {
                    let n = 0.2 * rows[y][x][c] + 0.6 * rows[y + 1][x][c] + 0.2 * rows[y + 2][x][c];
                    let deviation = (self.shot * camera[c].max(0.0) + self.read * self.read).sqrt();
                    camera[c] + n * level * deviation
                });
                apply(&from, noisy).map(|v| v.max(0.0))
            })
            .collect()
    }
}
