//! Mountains around the valley, kilometres away.

use super::field::Ray;
use super::noise::{fractal, plane};
use super::vector::{V3, mix, smooth, v3};

/// The range seen from one place.
#[derive(Clone, Copy)]
pub struct Terrain {
    /// Moves the range under the camera, in metres.
    pub shift: [f32; 2],
    /// Height of the summits over the valley, in metres.
    pub relief: f32,
    /// Distance at which the slopes begin.
    pub foot: f32,
}

/// A point on a mountain.
pub struct Slope {
    pub distance: f32,
    pub normal: V3,
    /// Snow, 0…1; the rest is rock.
    pub snow: f32,
    /// Forest, 0…1.
    pub forest: f32,
    /// How much of the sun reaches it, 0…1.
    pub sun: f32,
}

impl Terrain {
    /// Height over the valley floor. Octaves add less where the slope is already steep, which leaves
    /// ridges sharp and valleys smooth.
    fn height(&self, x: f32, z: f32, octaves: u32) -> f32 {
        let r = (x * x + z * z).sqrt();
        let rise = smooth(self.foot, self.foot + 3600.0, r);
        if rise <= 0.0 {
            return 0.0;
        }
        let (mut px, mut pz) = ((x + self.shift[0]) / 1500.0, (z + self.shift[1]) / 1500.0);
        let (mut a, mut sum, mut calm) = (0.5, 0.0, 1.0);
        for o in 0..octaves {
            let n = 1.0 - (2.0 * plane(px, pz, 70 + o) - 1.0).abs();
            let ridge = n * n;
            sum += a * ridge * calm;
            calm = (0.35 + 0.9 * ridge).min(1.0);
            a *= 0.47;
            (px, pz) = (1.6 * px + 1.2 * pz, 1.6 * pz - 1.2 * px);
        }
        // Foothills first, summits behind.
        self.relief * (0.12 * rise.sqrt() + 1.0 * rise * sum) - 4.0
    }

    /// What a ray meets there. `sun` is the way to the sun, for the shadows of ridges.
    pub fn look(&self, ray: &Ray, sun: V3) -> Option<Slope> {
        let (from, to) = (ray.from, ray.to);
        if to.y > 0.5 {
            return None;
        }
        let (mut t, mut before) = (self.foot * 0.9, self.foot * 0.9);
        let over = |t: f32, octaves| {
            let p = from + to * t;
            p.y - self.height(p.x, p.z, octaves)
        };
        let mut met = false;
        for _ in 0..150 {
            let gap = over(t, 5);
            if gap < 0.0005 * t {
                met = true;
                break;
            }
            before = t;
            t += (0.5 * gap).max(0.008 * t);
            if t > 14000.0 {
                break;
            }
        }
        if !met {
            return None;
        }
        for _ in 0..6 {
            let middle = 0.5 * (before + t);
            if over(middle, 6) < 0.0005 * middle {
                t = middle
            } else {
                before = middle
            }
        }
        let p = from + to * t;
        let e = 0.0012 * t;
        let h = |dx: f32, dz: f32| self.height(p.x + dx, p.z + dz, 9);
        let normal = v3(h(-e, 0.0) - h(e, 0.0), 2.0 * e, h(0.0, -e) - h(0.0, e)).unit();
        let wide = 30.0;
        let g = |dx: f32, dz: f32| self.height(p.x + dx, p.z + dz, 4);
        let lie = v3(
            g(-wide, 0.0) - g(wide, 0.0),
            2.0 * wide,
            g(0.0, -wide) - g(0.0, wide),
        )
        .unit();
        let grain = fractal(p.x / 45.0, p.z / 45.0, 4, 3);
        let snow = smooth(0.50, 0.68, normal.y * 0.6 + lie.y * 0.4 + 0.22 * grain);
        let line = 330.0 + 160.0 * fractal(p.x / 260.0, p.z / 260.0, 3, 9);
        let forest = smooth(line + 60.0, line - 80.0, p.y + 90.0 * grain)
            * smooth(
                -0.42,
                -0.02,
                fractal(p.x / 190.0, p.z / 190.0, 4, 12) + 0.25 * grain,
            );
        let mut lit = 1.0f32;
        let mut s = 40.0;
        for _ in 0..14 {
            let q = p + sun * s;
            let gap = q.y - self.height(q.x, q.z, 4);
            lit = lit.min(0.5 + gap / (0.03 * s + 12.0));
            s *= 1.4;
            if lit <= 0.0 {
                break;
            }
        }
        Some(Slope {
            distance: t,
            normal,
            snow,
            forest,
            sun: lit.clamp(0.0, 1.0),
        })
    }

    /// Reflectance of a slope.
    pub fn albedo(slope: &Slope) -> V3 {
        let rock = mix(
            v3(0.10, 0.095, 0.09),
            v3(0.20, 0.19, 0.175),
            slope.normal.x * 0.5 + 0.5,
        );
        let bare = mix(rock, v3(0.86, 0.87, 0.89), slope.snow);
        mix(bare, v3(0.030, 0.038, 0.030), slope.forest * 0.93)
    }
}

/// Light after `distance` metres of air that takes it on a scale of `reach` metres (per colour) and adds
/// `air`, its own glow.
pub fn through_air(light: V3, distance: f32, reach: V3, air: V3) -> V3 {
    let left = v3(
        (-distance / reach.x).exp(),
        (-distance / reach.y).exp(),
        (-distance / reach.z).exp(),
    );
    light * left + air * (V3::all(1.0) - left)
}
