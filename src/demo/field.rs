//! Solid things as distance fields, and rays through them.

use super::vector::{V3, v3};

/// Distance to the nearest thing, and what it is made of.
#[derive(Clone, Copy)]
pub struct Near<M> {
    pub d: f32,
    pub m: M,
}

impl<M: Copy> Near<M> {
    pub fn new(d: f32, m: M) -> Self {
        Self { d, m }
    }

    /// Keeps the nearer of the two.
    pub fn add(&mut self, d: f32, m: M) {
        if d < self.d {
            *self = Self { d, m };
        }
    }
}

/// A half-line.
#[derive(Clone, Copy)]
pub struct Ray {
    pub from: V3,
    pub to: V3,
}

impl Ray {
    pub fn at(&self, t: f32) -> V3 {
        self.from + self.to * t
    }
}

/// A box of half sizes `h` about the origin, its edges rounded by `r`.
pub fn block(p: V3, h: V3, r: f32) -> f32 {
    let q = p.abs() - h + V3::all(r);
    q.at_least(0.0).length() + q.x.max(q.y).max(q.z).min(0.0) - r
}

/// A rectangle in the plane.
pub fn slab(x: f32, y: f32, hx: f32, hy: f32, r: f32) -> f32 {
    let (x, y) = (x.abs() - hx + r, y.abs() - hy + r);
    (x.max(0.0).powi(2) + y.max(0.0).powi(2)).sqrt() + x.max(y).min(0.0) - r
}

/// An upright cylinder about the origin.
pub fn pole(p: V3, r: f32, half: f32) -> f32 {
    let (a, b) = ((p.x * p.x + p.z * p.z).sqrt() - r, p.y.abs() - half);
    a.max(b).min(0.0) + (a.max(0.0).powi(2) + b.max(0.0).powi(2)).sqrt()
}

/// A rod from `a` to `b` whose radius goes from `ra` to `rb`.
pub fn limb(p: V3, a: V3, b: V3, ra: f32, rb: f32) -> f32 {
    let (pa, ba) = (p - a, b - a);
    let t = (pa.dot(ba) / ba.dot(ba)).clamp(0.0, 1.0);
    (pa - ba * t).length() - (ra + (rb - ra) * t)
}

/// An ellipsoid of half axes `h` (approximate).
pub fn egg(p: V3, h: V3) -> f32 {
    let a = v3(p.x / h.x, p.y / h.y, p.z / h.z);
    let b = v3(a.x / h.x, a.y / h.y, a.z / h.z);
    let (k, l) = (a.length(), b.length());
    if l < 1e-6 { -h.x.min(h.y).min(h.z) } else { k * (k - 1.0) / l }
}

/// Union with a fillet of size `k`.
pub fn blend(a: f32, b: f32, k: f32) -> f32 {
    let h = (k - (a - b).abs()).max(0.0) / k;
    a.min(b) - h * h * k * 0.25
}

/// Where a ray enters a box and where it leaves it, if it meets the box ahead of its start.
pub fn crossing(ray: &Ray, least: V3, most: V3) -> Option<(f32, f32)> {
    let (mut near, mut far) = (0.1f32, f32::MAX);
    for (from, to, least, most) in [
        (ray.from.x, ray.to.x, least.x, most.x),
        (ray.from.y, ray.to.y, least.y, most.y),
        (ray.from.z, ray.to.z, least.z, most.z),
    ] {
        let to = if to.abs() < 1e-6 { 1e-6 } else { to };
        let (a, b) = ((least - from) / to, (most - from) / to);
        near = near.max(a.min(b));
        far = far.min(a.max(b));
    }
    (far > near).then_some((near, far))
}

/// How far along the ray the field is met, if before `limit`.
pub fn march(ray: &Ray, start: f32, limit: f32, field: impl Fn(V3) -> f32) -> Option<f32> {
    let mut t = start;
    let mut d = 0.0;
    for _ in 0..200 {
        d = field(ray.at(t));
        if d < 0.0003 * t.max(0.8) {
            return Some(t);
        }
        t += d;
        if t > limit {
            return None;
        }
    }
    // A ray that grazes a surface runs out of steps close to it.
    (d < 0.002 * t).then_some(t)
}

/// The field's gradient over a distance `e`.
pub fn normal(p: V3, e: f32, field: impl Fn(V3) -> f32) -> V3 {
    let k = [v3(1.0, -1.0, -1.0), v3(-1.0, -1.0, 1.0), v3(-1.0, 1.0, -1.0), v3(1.0, 1.0, 1.0)];
    k.iter().fold(V3::ZERO, |n, &k| n + k * field(p + k * e)).unit()
}

/// How much of a light of half angle `width` (radians) shows from `p` towards `to`, 0…1.
pub fn sunlit(p: V3, to: V3, limit: f32, width: f32, field: impl Fn(V3) -> f32) -> f32 {
    let (mut t, mut open) = (0.02, 1.0f32);
    for _ in 0..90 {
        let d = field(p + to * t);
        open = open.min(0.5 + 0.5 * d / (width * t));
        if open <= 0.0 {
            return 0.0;
        }
        t += d.clamp(0.012 + 0.004 * t, 2.5);
        if t > limit {
            break;
        }
    }
    let open = open.clamp(0.0, 1.0);
    open * open * (3.0 - 2.0 * open)
}

/// How much of the sky shows from `p` about `n`, 0…1, judged over distances up to `reach` metres.
pub fn openness(p: V3, n: V3, reach: f32, field: impl Fn(V3) -> f32) -> f32 {
    let mut shut = 0.0;
    let mut weight = 1.0;
    for i in 0..5 {
        let t = reach * (0.02 + 0.245 * i as f32).powf(1.4);
        let gap = (t - field(p + n * t)).max(0.0) / t;
        shut += weight * gap;
        weight *= 0.72;
    }
    (1.0 - 0.31 * shut).clamp(0.0, 1.0)
}
