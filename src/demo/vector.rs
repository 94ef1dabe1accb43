//! Three floats: a place, a direction or scene-linear light.

use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub};

/// Three floats.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct V3 {
    pub x: f32,
    pub y: f32,
    pub z: f32,
}

/// Shorthand for [`V3`].
pub const fn v3(x: f32, y: f32, z: f32) -> V3 {
    V3 { x, y, z }
}

impl V3 {
    pub const ZERO: Self = v3(0.0, 0.0, 0.0);
    pub const UP: Self = v3(0.0, 1.0, 0.0);

    pub const fn all(v: f32) -> Self {
        v3(v, v, v)
    }

    pub fn dot(self, o: Self) -> f32 {
        self.x * o.x + self.y * o.y + self.z * o.z
    }

    pub fn cross(self, o: Self) -> Self {
        v3(
            self.y * o.z - self.z * o.y,
            self.z * o.x - self.x * o.z,
            self.x * o.y - self.y * o.x,
        )
    }

    pub fn length(self) -> f32 {
        self.dot(self).sqrt()
    }

    pub fn unit(self) -> Self {
        self / self.length().max(1e-12)
    }

    pub fn reflected(self, n: Self) -> Self {
        self - n * (2.0 * self.dot(n))
    }

    pub fn abs(self) -> Self {
        v3(self.x.abs(), self.y.abs(), self.z.abs())
    }

    pub fn at_least(self, v: f32) -> Self {
        v3(self.x.max(v), self.y.max(v), self.z.max(v))
    }

    /// Turned about the upright axis; positive takes +z towards +x.
    pub fn turned(self, angle: f32) -> Self {
        let (s, c) = angle.sin_cos();
        v3(c * self.x + s * self.z, self.y, c * self.z - s * self.x)
    }

    /// Luminance of ACEScg light (Y row of AP1 to XYZ, from memory to three places).
    pub fn luminance(self) -> f32 {
        0.272 * self.x + 0.674 * self.y + 0.054 * self.z
    }

    pub fn rgb(self) -> [f32; 3] {
        [self.x, self.y, self.z]
    }
}

impl Add for V3 {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        v3(self.x + o.x, self.y + o.y, self.z + o.z)
    }
}

impl AddAssign for V3 {
    fn add_assign(&mut self, o: Self) {
        *self = *self + o;
    }
}

impl Sub for V3 {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        v3(self.x - o.x, self.y - o.y, self.z - o.z)
    }
}

impl Mul for V3 {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        v3(self.x * o.x, self.y * o.y, self.z * o.z)
    }
}

impl Mul<f32> for V3 {
    type Output = Self;
    fn mul(self, k: f32) -> Self {
        v3(self.x * k, self.y * k, self.z * k)
    }
}

impl Div<f32> for V3 {
    type Output = Self;
    fn div(self, k: f32) -> Self {
        self * (1.0 / k)
    }
}

impl Neg for V3 {
    type Output = Self;
    fn neg(self) -> Self {
        self * -1.0
    }
}

/// Between two values: `a` at 0, `b` at 1.
pub fn mix<T: Copy + Add<Output = T> + Sub<Output = T> + Mul<f32, Output = T>>(
    a: T,
    b: T,
    t: f32,
) -> T {
    a + (b - a) * t
}

/// 0 below `a`, 1 above `b`, smooth between; `a` > `b` falls instead.
pub fn smooth(a: f32, b: f32, x: f32) -> f32 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
