//! Steam: a drifting cloud, marched through at half the picture's size.

use rayon::prelude::*;

use super::camera::{Plate, View};
use super::field::{Ray, crossing};
use super::vector::{V3, mix};

/// A cloud in a box of air.
pub struct Vapour<D, L> {
    /// Two opposite corners of the box, least first.
    pub least: V3,
    pub most: V3,
    /// Density at a place, a metre.
    pub density: D,
    /// Light it scatters towards the camera at a place of some density.
    pub light: L,
    /// Steps through the box.
    pub steps: u32,
}

impl<D: Fn(V3) -> f32 + Sync, L: Fn(V3, f32) -> V3 + Sync> Vapour<D, L> {
    /// Draws the cloud over `picture`, the plate's raster moved by `dx` pixels.
    pub fn draw(&self, picture: &mut [V3], plate: &Plate, view: &View, dx: f32) {
        let raster = plate.raster;
        let (w, h) = (raster.width as usize, raster.height as usize);
        let (cw, ch) = (w / 2 + 2, h / 2 + 2);
        // Places at pixel corners of the half-size grid: grid (i, j) is picture (2i, 2j).
        let grid: Vec<(V3, f32)> = (0..cw * ch)
            .into_par_iter()
            .with_min_len(64)
            .map(|i| {
                let (x, y) = (2.0 * (i % cw) as f32, 2.0 * (i / cw) as f32);
                let sx = ((x + dx) as i64 + i64::from(plate.margin)).clamp(0, plate.stride() as i64 - 1);
                let sy = (y as i64 + i64::from(plate.margin)).clamp(0, plate.rows() as i64 - 1);
                let limit = plate.depth[sy as usize * plate.stride() + sx as usize];
                self.through(&view.ray(raster, x + dx, y), limit)
            })
            .collect();
        picture.par_iter_mut().enumerate().with_min_len(1024).for_each(|(i, o)| {
            let (x, y) = ((i % w) as f32 * 0.5 + 0.25, (i / w) as f32 * 0.5 + 0.25);
            let (cx, cy) = (x as usize, y as usize);
            let (tx, ty) = (x - cx as f32, y - cy as f32);
            let g = |dx: usize, dy: usize| grid[(cy + dy) * cw + cx + dx];
            let (a, b, c, d) = (g(0, 0), g(1, 0), g(0, 1), g(1, 1));
            let left = mix(mix(a.1, b.1, tx), mix(c.1, d.1, tx), ty);
            *o = *o * left + mix(mix(a.0, b.0, tx), mix(c.0, d.0, tx), ty);
        });
    }

    /// Light added along a ray, and how much passes.
    fn through(&self, ray: &Ray, limit: f32) -> (V3, f32) {
        let (mut sum, mut left) = (V3::ZERO, 1.0f32);
        let Some((near, far)) = crossing(ray, self.least, self.most) else {
            return (sum, left);
        };
        let far = far.min(limit);
        if far <= near {
            return (sum, left);
        }
        let step = (far - near) / self.steps as f32;
        for k in 0..self.steps {
            let p = ray.at(near + (k as f32 + 0.5) * step);
            let d = (self.density)(p);
            if d > 0.0 {
                let passes = (-d * step).exp();
                sum += (self.light)(p, d) * (left * (1.0 - passes));
                left *= passes;
            }
        }
        (sum, left)
    }
}
