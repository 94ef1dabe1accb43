//! Things that move, drawn over the plate for each frame.

use rayon::prelude::*;

use super::camera::{Plate, View};
use super::field::{Ray, crossing};
use super::vector::{V3, mix, smooth, v3};

/// Something solid in a box of space. Its light is its own affair; the plate's depth decides what hides it.
pub struct Moving<F, S> {
    /// Two opposite corners of the box, least first.
    pub least: V3,
    pub most: V3,
    pub field: F,
    /// Light at so many metres along a ray.
    pub shade: S,
}

impl<F: Fn(V3) -> f32 + Sync, S: Fn(&Ray, f32) -> V3 + Sync> Moving<F, S> {
    /// Draws it over `picture`, the plate's raster moved by `dx` pixels.
    pub fn draw(&self, picture: &mut [V3], plate: &Plate, view: &View, dx: f32) {
        let pixel = 1.0 / view.scale(plate.raster);
        within(picture, plate, view, dx, [self.least, self.most], |ray, depth, light| {
            if let Some((t, cover)) = self.meet(ray, pixel, depth) {
                *light = mix(*light, (self.shade)(ray, t), cover);
            }
        });
    }

    /// Where a ray meets it, and how much of the pixel it covers: a near miss covers a part.
    fn meet(&self, ray: &Ray, pixel: f32, limit: f32) -> Option<(f32, f32)> {
        let (near, far) = crossing(ray, self.least, self.most)?;
        let far = far.min(limit);
        let (mut t, mut best, mut at) = (near, f32::MAX, near);
        for _ in 0..70 {
            if t > far {
                break;
            }
            let d = (self.field)(ray.at(t));
            let off = d / (t * pixel);
            if off < best {
                (best, at) = (off, t);
            }
            if off < 0.08 {
                return Some((t, 1.0));
            }
            t += d;
        }
        let cover = smooth(0.8, 0.0, best);
        (cover > 0.0).then_some((at, cover))
    }
}

/// Multiplies what stands still by `factor` of its place, inside a box: the shade of something that moves.
pub fn darken(
    picture: &mut [V3],
    plate: &Plate,
    view: &View,
    dx: f32,
    bounds: [V3; 2],
    factor: impl Fn(V3) -> f32 + Sync,
) {
    within(picture, plate, view, dx, bounds, |ray, depth, light| {
        let p = ray.at(depth);
        let inside = |p: f32, a: f32, b: f32| p >= a && p <= b;
        let [a, b] = bounds;
        if inside(p.x, a.x, b.x) && inside(p.y, a.y, b.y) && inside(p.z, a.z, b.z) {
            *light = *light * factor(p);
        }
    });
}

/// Calls `f` with ray and plate depth for every pixel of the rectangle in which a box lands.
fn within(
    picture: &mut [V3],
    plate: &Plate,
    view: &View,
    dx: f32,
    [a, b]: [V3; 2],
    f: impl Fn(&Ray, f32, &mut V3) + Sync,
) {
    let raster = plate.raster;
    let (mut least, mut most) = ([f32::MAX; 2], [f32::MIN; 2]);
    for i in 0..8 {
        let pick = |bit: u32, a: f32, b: f32| if i >> bit & 1 == 0 { a } else { b };
        let corner = v3(pick(0, a.x, b.x), pick(1, a.y, b.y), pick(2, a.z, b.z));
        // A corner behind the camera: the box may land anywhere.
        let (x, y, _) = view.project(raster, corner).unwrap_or((
            if corner.x < 0.0 { -1e6 } else { 1e6 },
            if corner.y < 1.0 { 1e6 } else { -1e6 },
            0.0,
        ));
        least = [least[0].min(x - dx), least[1].min(y)];
        most = [most[0].max(x - dx), most[1].max(y)];
    }
    let whole = |v: f32, limit: u32| v.clamp(0.0, limit as f32) as usize;
    let (left, right) = (whole(least[0] - 1.0, raster.width), whole(most[0] + 2.0, raster.width));
    let (top, bottom) = (whole(least[1] - 1.0, raster.height), whole(most[1] + 2.0, raster.height));
    picture.par_chunks_mut(raster.width as usize).enumerate().take(bottom).skip(top).for_each(|(y, row)| {
        for (x, light) in row.iter_mut().enumerate().take(right).skip(left) {
            let ray = view.ray(raster, x as f32 + 0.5 + dx, y as f32 + 0.5);
            f(&ray, plate.depth_at(x, y, dx), light);
        }
    });
}
