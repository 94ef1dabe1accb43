//! Daylight: a sun, a sky and what the snow throws back.

use super::noise::fractal;
use super::vector::{V3, mix, smooth, v3};

/// The daylight of a scene, in ACEScg irradiance over π: a diffuser of reflectance ρ under it shows
/// ρ × this.
#[derive(Clone, Copy)]
pub struct Daylight {
    /// The way to the sun.
    pub to_sun: V3,
    /// On a surface that faces the sun.
    pub sun: V3,
    /// From the whole sky, on a level surface.
    pub sky: V3,
    /// Thrown up by the ground, on a surface that faces down.
    pub ground: V3,
}

impl Daylight {
    /// On a surface with normal `n` of which `sunlit` and `open` (0…1) see the sun and the surroundings.
    pub fn on(&self, n: V3, sunlit: f32, open: f32) -> V3 {
        let up = 0.5 + 0.5 * n.y;
        self.sun * (n.dot(self.to_sun).max(0.0) * sunlit)
            + (self.sky * up + self.ground * (1.0 - up)) * open
    }

    /// The same light through an exposure and a white balance that make it `wanted` on a surface which
    /// faces `n` in the open: the way a crew sets a camera with a grey card.
    pub fn balanced(&self, n: V3, wanted: f32) -> Self {
        let found = self.on(n, 1.0, 1.0);
        let k = v3(wanted / found.x, wanted / found.y, wanted / found.z);
        Self {
            to_sun: self.to_sun,
            sun: self.sun * k,
            sky: self.sky * k,
            ground: self.ground * k,
        }
    }

    /// The clear sky's own light in a direction, with thin cloud. Averages to about [`Daylight::sky`].
    pub fn sky_at(&self, to: V3) -> V3 {
        let y = to.y.max(0.0);
        let deep = self.sky * v3(0.66, 0.84, 1.06);
        let pale = self.sky * v3(1.9, 1.66, 1.36);
        let mut c = mix(pale, deep, smooth(0.0, 0.5, y.sqrt() * 0.72));
        let near = to.dot(self.to_sun).max(0.0);
        c += self.sun * (0.05 * near.powi(6) + 0.35 * near.powi(64));
        let flat = 1.0 / (y + 0.12);
        let (u, v) = (to.x * flat, to.z * flat);
        let veil = fractal(0.55 * u + 0.25 * v + 3.0, 1.9 * v - 0.7 * u, 6, 40);
        let thin = smooth(-0.05, 0.55, veil + 0.25 * fractal(0.4 * u, 0.4 * v, 2, 49))
            * smooth(0.02, 0.2, y);
        c + (self.sun * 0.26 + self.sky * 0.5) * (0.62 * thin)
    }
}
