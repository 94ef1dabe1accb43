//! Noise from integer hashes: the same on every run, for any pixel or place in any order.

use super::vector::{V3, mix, v3};

/// Integer hash of three words.
pub fn hash(x: u32, y: u32, z: u32) -> u32 {
    let mut h =
        x.wrapping_mul(0x9e37_79b1) ^ y.wrapping_mul(0x85eb_ca77) ^ z.wrapping_mul(0xc2b2_ae3d);
    h = (h ^ (h >> 15)).wrapping_mul(0x2c1b_3c6d);
    h = (h ^ (h >> 12)).wrapping_mul(0x297a_2d39);
    h ^ (h >> 15)
}

/// 0…1 from a hash.
pub fn unit(h: u32) -> f32 {
    (h >> 8) as f32 * (1.0 / 16_777_216.0)
}

/// 0…1 for a cell.
pub fn cell(x: i32, y: i32, seed: u32) -> f32 {
    unit(hash(x as u32, y as u32, seed))
}

/// Nearly Gaussian, mean 0 and deviation 1, from a hash: the sum of its four bytes (Irwin–Hall).
pub fn bell(h: u32) -> f32 {
    let sum = (h & 255) + ((h >> 8) & 255) + ((h >> 16) & 255) + (h >> 24);
    // Four uniform bytes: mean 510, variance 4·(256² − 1)/12.
    (sum as f32 - 510.0) * (1.0 / 147.800_54)
}

/// `f32::floor` is a library call on plain x86-64; this is not.
pub fn floor(x: f32) -> i32 {
    let i = x as i32;
    i - i32::from(x < i as f32)
}

/// Place within its cell, −0.5…0.5, and the cell.
pub fn repeat(x: f32, period: f32) -> (f32, i32) {
    let i = floor(x / period + 0.5);
    (x - i as f32 * period, i)
}

fn fade(t: f32) -> f32 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

/// Value noise in the plane, 0…1, features of size 1.
pub fn plane(x: f32, y: f32, seed: u32) -> f32 {
    let (ix, iy) = (floor(x), floor(y));
    let (tx, ty) = (fade(x - ix as f32), fade(y - iy as f32));
    let c = |dx: i32, dy: i32| cell(ix.wrapping_add(dx), iy.wrapping_add(dy), seed);
    mix(mix(c(0, 0), c(1, 0), tx), mix(c(0, 1), c(1, 1), tx), ty)
}

/// Value noise in space, 0…1, features of size 1.
pub fn space(p: V3, seed: u32) -> f32 {
    let i = [floor(p.x), floor(p.y), floor(p.z)];
    let t = v3(
        fade(p.x - i[0] as f32),
        fade(p.y - i[1] as f32),
        fade(p.z - i[2] as f32),
    );
    let c = |dx: i32, dy: i32, dz: i32| {
        let z = (i[2].wrapping_add(dz) as u32).wrapping_mul(0x1656_67b1) ^ seed;
        unit(hash(
            i[0].wrapping_add(dx) as u32,
            i[1].wrapping_add(dy) as u32,
            z,
        ))
    };
    let layer = |dz| {
        mix(
            mix(c(0, 0, dz), c(1, 0, dz), t.x),
            mix(c(0, 1, dz), c(1, 1, dz), t.x),
            t.y,
        )
    };
    mix(layer(0), layer(1), t.z)
}

/// Sum of octaves of [`plane`], −1…1 about 0. Each octave is turned, so that no lattice shows.
pub fn fractal(x: f32, y: f32, octaves: u32, seed: u32) -> f32 {
    let (mut x, mut y, mut a, mut sum) = (x, y, 0.5, 0.0);
    for o in 0..octaves {
        sum += a * (2.0 * plane(x, y, seed.wrapping_add(o)) - 1.0);
        (x, y) = (1.6 * x + 1.2 * y + 17.3, 1.6 * y - 1.2 * x + 5.1);
        a *= 0.5;
    }
    sum
}

/// Sum of octaves of [`space`], −1…1 about 0.
pub fn cloud(p: V3, octaves: u32, seed: u32) -> f32 {
    let (mut p, mut a, mut sum) = (p, 0.5, 0.0);
    for o in 0..octaves {
        sum += a * (2.0 * space(p, seed.wrapping_add(o)) - 1.0);
        p = v3(
            1.6 * p.x + 1.2 * p.z,
            2.03 * p.y + 3.7,
            1.6 * p.z - 1.2 * p.x,
        ) + V3::all(9.1);
        a *= 0.5;
    }
    sum
}
