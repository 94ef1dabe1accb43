//! Firs with snow on their branches.

use super::field::pole;
use super::noise::{cloud, floor};
use super::vector::{V3, mix, smooth, v3};

/// A fir that stands on the origin.
#[derive(Clone, Copy)]
pub struct Fir {
    /// Metres.
    pub tall: f32,
    /// Reach of the lowest branches, metres.
    pub wide: f32,
    /// 0…1, so that no two are alike.
    pub kind: f32,
}

impl Fir {
    /// Distance to it, never too far.
    pub fn near(&self, q: V3, seed: u32) -> f32 {
        let up = q.y / self.tall;
        let r = (q.x * q.x + q.z * q.z).sqrt();
        let hull = (r - self.wide * (1.05 - up).clamp(0.0, 1.0)).max(q.y - self.tall - 0.1);
        if hull > 0.6 {
            return hull * 0.85 - 0.1;
        }
        let tier = up * (6.0 + 0.75 * self.tall) + 0.35 * (3.0 * q.z.atan2(q.x) + 9.0 * self.kind).sin();
        let saw = tier - floor(tier) as f32;
        let ragged = cloud(q * 2.6 + V3::all(7.0 * self.kind), 3, seed);
        let reach = self.wide * (1.0 - up).max(0.0) * (1.08 - 0.62 * saw) + 0.42 * ragged * (1.1 - up);
        ((r - reach) * 0.42).max(q.y - self.tall).min(pole(q - v3(0.0, 0.5, 0.0), 0.14, 1.0))
    }
}

/// Reflectance of needles, with snow where they face up.
pub fn needles(p: V3, n: V3, seed: u32) -> V3 {
    let dust = smooth(0.10, 0.62, n.y + 0.55 * cloud(p * 1.7, 3, seed));
    let green = v3(0.022, 0.034, 0.020) * (1.0 + 0.8 * cloud(p * 7.0, 2, seed + 3));
    mix(green, v3(0.84, 0.85, 0.87), dust * 0.92)
}
