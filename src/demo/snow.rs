//! The surface of snow that people have walked on.

use super::noise::{cell, fractal, repeat};
use super::vector::{V3, smooth, v3};

/// Footprints of three people along x = 0: 1 deep in a clear print, a little below 0 on its rim.
pub fn prints(x: f32, z: f32) -> f32 {
    if x.abs() > 2.2 {
        return 0.0;
    }
    let mut depth = 0.0;
    for (lane, side) in [(0, -0.35f32), (1, 0.22), (2, 0.95)] {
        let (u, i) = repeat(z + 0.2 * lane as f32, 0.58);
        let step = if i & 1 == 0 { 0.09 } else { -0.09 };
        let (jitter, other) = (cell(i, lane, 6) - 0.5, cell(i, lane, 7) - 0.5);
        let (du, dx) = (u - 0.22 * jitter, x - side - step - 0.20 * other - 0.25 * (0.5 * z).sin() * side);
        let (du, dx) = (du + 0.35 * other * dx, dx - 0.3 * other * du);
        let r = ((du / 0.15).powi(2) + (dx / (0.058 + 0.10 * du.abs())).powi(2)).sqrt();
        let clear = 0.4 + 0.6 * cell(i, lane, 8);
        depth += clear * (smooth(1.3, 0.6, r) - 0.2 * smooth(1.9, 1.3, r) * smooth(1.0, 1.3, r));
    }
    depth
}

/// The normal with grain finer than a field carries; it fades where a pixel at `t` metres covers it.
pub fn grained(p: V3, n: V3, t: f32) -> V3 {
    let seen = |scale: f32| smooth(0.55, 0.12, scale * t * 0.0012);
    let bump = |x: f32, z: f32| {
        0.020 * fractal(2.6 * x, 2.2 * z, 2, 81)
            + 0.006 * seen(9.0) * fractal(9.0 * x, 8.0 * z, 2, 83)
            + 0.0028 * seen(34.0) * fractal(34.0 * x, 34.0 * z, 2, 85)
    };
    let d = 0.006 + 0.0006 * t;
    let gx = (bump(p.x + d, p.z) - bump(p.x - d, p.z)) / (2.0 * d);
    let gz = (bump(p.x, p.z + d) - bump(p.x, p.z - d)) / (2.0 * d);
    (n - v3(gx, 0.0, gz) * n.y.max(0.0)).unit()
}
