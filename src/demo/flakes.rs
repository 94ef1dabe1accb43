//! Falling snow: flakes with a place, a path and a size, drawn over the plate as far as it lets them.

use rayon::prelude::*;

use super::camera::{Plate, View};
use super::noise::{hash, unit};
use super::vector::{V3, v3};

/// A fall of snow in a box of air that repeats.
pub struct Fall {
    pub count: u32,
    /// Corner of the box nearest the origin, and its size, in metres.
    pub corner: V3,
    pub size: V3,
    /// Metres a second.
    pub wind: V3,
    /// Radius of a flake in metres, least and greatest.
    pub radius: [f32; 2],
    /// Frames a second.
    pub rate: f32,
    pub seed: u32,
}

impl Fall {
    fn place(&self, i: u32, time: f32) -> (V3, f32) {
        let r = |k: u32| unit(hash(i, k, self.seed));
        let pace = 0.7 + 0.6 * r(4);
        let sway = v3(
            0.10 * (1.9 * time + 40.0 * r(5)).sin(),
            0.03 * (2.3 * time + 30.0 * r(6)).sin(),
            0.10 * (1.6 * time + 50.0 * r(7)).sin(),
        );
        let wrap = |start: f32, moved: f32, size: f32| {
            ((start * size + moved) / size).rem_euclid(1.0) * size
        };
        let w = self.wind * (pace * time);
        let p = v3(
            wrap(r(1), w.x, self.size.x),
            wrap(r(2), w.y, self.size.y),
            wrap(r(3), w.z, self.size.z),
        );
        (
            self.corner + p + sway,
            self.radius[0] + (self.radius[1] - self.radius[0]) * r(8).powi(2),
        )
    }

    /// Draws the flakes of a moment over `picture`, which is the plate's raster moved by `dx` pixels.
    /// `light` is the light that a flake at a place sends to the camera.
    pub fn draw(
        &self,
        picture: &mut [V3],
        plate: &Plate,
        view: &View,
        dx: f32,
        time: f32,
        light: impl Fn(V3) -> V3 + Sync,
    ) {
        let raster = plate.raster;
        let shutter = 0.5 / self.rate;
        let seen: Vec<_> = (0..self.count)
            .into_par_iter()
            .filter_map(|i| {
                let (a, radius) = self.place(i, time);
                let (b, _) = self.place(i, time + shutter);
                if (a - b).length() > 0.5 {
                    return None; // It came round to the top of the box while the shutter was open.
                }
                let (x0, y0, d) = view.project(raster, a)?;
                let (x1, y1, _) = view.project(raster, b)?;
                let off = |x: f32, y: f32| {
                    x < -30.0
                        || y < -30.0
                        || x > raster.width as f32 + 30.0
                        || y > raster.height as f32 + 30.0
                };
                if d < 0.5 || off(x0 - dx, y0) {
                    return None;
                }
                Some((
                    [x0 - dx, y0, x1 - dx, y1],
                    d,
                    radius * view.scale(raster) / d,
                    light(a),
                ))
            })
            .collect();
        for (path, d, radius, light) in seen {
            splat(picture, plate, dx, path, d, radius, light);
        }
    }
}

/// One flake: a soft line as long as its path.
fn splat(
    picture: &mut [V3],
    plate: &Plate,
    dx: f32,
    path: [f32; 4],
    d: f32,
    radius: f32,
    light: V3,
) {
    let (w, h) = (plate.raster.width as i32, plate.raster.height as i32);
    let [x0, y0, x1, y1] = path;
    let wide = radius.max(0.75);
    let (ax, ay) = (x1 - x0, y1 - y0);
    let length = (ax * ax + ay * ay).sqrt();
    // What the flake covers, spread over what is drawn.
    let alpha = (radius / wide).powi(2) * (2.0 * wide) / (2.0 * wide + length) * 0.85;
    let reach = 2.2 * wide;
    let (left, right) = ((x0.min(x1) - reach) as i32, (x0.max(x1) + reach) as i32 + 1);
    let (top, bottom) = ((y0.min(y1) - reach) as i32, (y0.max(y1) + reach) as i32 + 1);
    for y in top.max(0)..bottom.min(h) {
        for x in left.max(0)..right.min(w) {
            let sx = (x as f32 + dx) as i32 + plate.margin as i32;
            let sx = sx.clamp(0, plate.stride() as i32 - 1) as usize;
            let sy = (y + plate.margin as i32) as usize;
            if plate.depth[sy * plate.stride() + sx] < d {
                continue;
            }
            let (px, py) = (x as f32 + 0.5 - x0, y as f32 + 0.5 - y0);
            let t = ((px * ax + py * ay) / (length * length).max(1e-6)).clamp(0.0, 1.0);
            let r2 = ((px - ax * t).powi(2) + (py - ay * t).powi(2)) / (wide * wide);
            let a = alpha * (-0.9 * r2 * r2.sqrt()).exp();
            let o = &mut picture[(y * w + x) as usize];
            *o = *o * (1.0 - a) + light * a;
        }
    }
}
