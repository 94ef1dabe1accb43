//! Morning sun on the snow-covered platform of a small mountain station.

use super::camera::{Plate, Raster, Sample, Sensor, View};
use super::chart;
use super::field::{self, Near, Ray, block, pole, slab};
use super::figure::{Cloth, Figure};
use super::flakes::Fall;
use super::light::Daylight;
use super::noise::{cell, cloud, floor, fractal, plane, repeat};
use super::snow;
use super::terrain::{Terrain, through_air};
use super::vapour::Vapour;
use super::vector::{V3, mix, smooth, v3};
use super::{RATE, Target};

/// Two thirds of a stop over.
pub const EXPOSURE: f32 = 1.587_401_1;

const FAR: f32 = 130.0;
const EDGE: f32 = 1.75;
const WALL: f32 = -4.0;
const STATION: [f32; 2] = [5.0, 21.0];
const CHART_AT: V3 = v3(0.555, 1.235, 2.15);
const CHART_WIDTH: f32 = 0.30;
/// The board that carries chart and card is turned towards the sun, radians.
const BOARD_TURN: f32 = 0.10;
const BOARD_HALF: V3 = v3(0.262, 0.118, 0.005);
const NOTICE_AT: V3 = v3(-2.05, 1.52, 7.6);
const NOTICE_TURN: f32 = 0.10;

#[derive(Clone, Copy, PartialEq, Eq)]
enum M {
    Snow,
    Kerb,
    Rail,
    Sleeper,
    Wall,
    Plinth,
    Trim,
    Shutter,
    Glass,
    Roof,
    Metal,
    Lamp,
    Wood,
    Fence,
    Fir,
    Notice,
    Board,
    Person(u8, Cloth),
}

/// A point of a surface, as a ray found it.
struct Seen {
    p: V3,
    n: V3,
    /// How much of the sun and of the surroundings it sees, 0…1.
    lit: f32,
    open: f32,
    /// The way the ray went.
    to: V3,
}

/// The set: everything that stands on and around the platform.
pub struct Platform {
    pub view: View,
    pub day: Daylight,
    terrain: Terrain,
    people: [Figure; 3],
    patches: [V3; 24],
}

impl Platform {
    pub fn new() -> Self {
        let to_sun = v3(0.78, 0.47, -0.42).unit();
        let raw = Daylight {
            to_sun,
            sun: v3(1.62, 1.42, 1.14),
            sky: v3(0.175, 0.225, 0.300),
            ground: v3(0.19, 0.20, 0.235),
        };
        Self {
            view: View::new(v3(0.0, 1.66, 0.0), -3.5, -1.2, 52.0),
            day: raw.balanced(board_normal(), EXPOSURE),
            terrain: Terrain { shift: [5200.0, 8100.0], relief: 1020.0, foot: 420.0 },
            people: [
                Figure { at: v3(-0.95, 0.0, 11.6), turn: 0.5, height: 1.74, bag: true, stride: 0.0 },
                Figure { at: v3(-2.1, 0.0, 20.5), turn: 2.2, height: 1.82, bag: false, stride: 0.0 },
                Figure { at: v3(-1.4, 0.0, 21.0), turn: -1.0, height: 1.63, bag: true, stride: 0.0 },
            ],
            patches: chart::patches(),
        }
    }

    /// What the camera sees through a place on the picture.
    pub fn look(&self, raster: Raster, x: f32, y: f32) -> Sample {
        let ray = self.view.ray(raster, x, y);
        let map = |p: V3| self.near(p).d;
        if let Some(t) = field::march(&ray, 0.4, FAR, map) {
            let near = t * 0.0012;
            return Sample { light: self.haze(self.shade(&ray, t, near), t), depth: t, mask: 0.0 };
        }
        if let Some(slope) = self.terrain.look(&ray, self.day.to_sun) {
            let light = Terrain::albedo(&slope) * self.day.on(slope.normal, slope.sun, 0.9);
            return Sample { light: self.haze(light, slope.distance), depth: slope.distance, mask: 0.0 };
        }
        Sample { light: self.day.sky_at(ray.to), depth: 1e5, mask: 0.0 }
    }

    fn haze(&self, light: V3, distance: f32) -> V3 {
        let air = self.day.sky * v3(1.25, 1.3, 1.28) + self.day.sun * 0.05;
        through_air(light, distance, v3(17000.0, 12500.0, 8500.0), air)
    }

    /// Snow's height over the level, for the ground that is not platform.
    fn ground(x: f32, z: f32) -> f32 {
        Self::level(x) + 0.16 * fractal(0.35 * x, 0.22 * z, 3, 21)
    }

    fn level(x: f32) -> f32 {
        let bank = 1.15 * smooth(4.9, 7.2, x) + 0.05 * (x - 7.2).max(0.0);
        let left = 0.8 * smooth(-10.0, -16.0, x);
        -0.72 + bank + left
    }

    fn platform_snow(x: f32, z: f32) -> f32 {
        let swept = smooth(-2.3, -3.4, x) * 0.03;
        0.055 * fractal(0.55 * x, 0.40 * z, 3, 31)
            - 0.026 * snow::prints(x + 0.55 - 0.5 * (0.21 * z).sin(), z)
            - swept
            + 0.10 * smooth(1.0, 1.55, x) * (0.6 + 0.5 * plane(0.6 * z, 1.0, 33))
    }

    fn near(&self, p: V3) -> Near<M> {
        let mut n = Near::new(f32::MAX, M::Snow);
        // The platform, its kerb, and the track beside it.
        if p.y > 1.2 {
            n.add(p.y - 0.6, M::Snow);
        } else {
            let bare = slab(p.x + 20.0, p.y + 0.45, 20.0 + EDGE, 0.45, 0.09);
            let top = if bare < 0.5 { Self::platform_snow(p.x, p.z) } else { 0.22 };
            n.add((bare - top) * 0.85, M::Snow);
            n.add(slab(p.x + 20.0, p.y + 0.62, 19.98 + EDGE, 0.50, 0.015), M::Kerb);
        }
        if p.x > 1.0 || p.x < -10.0 {
            let over = p.y - Self::level(p.x);
            n.add(if over > 0.8 { over * 0.85 - 0.2 } else { (p.y - Self::ground(p.x, p.z)) * 0.8 }, M::Snow);
        }
        if p.x > 1.5 && p.x < 7.0 && p.y < 1.0 {
            for rail in [3.0f32, 4.0] {
                let q = (p.x - rail).abs();
                n.add(
                    slab(q, p.y + 0.53, 0.034, 0.022, 0.008).min(slab(q, p.y + 0.64, 0.009, 0.10, 0.0)),
                    M::Rail,
                );
            }
            let (z, _) = repeat(p.z, 0.66);
            n.add(block(v3(p.x - 3.5, p.y + 0.70, z), v3(0.9, 0.075, 0.12), 0.01), M::Sleeper);
        } else {
            n.add((1.5 - p.x).max(p.x - 7.0).max(p.y - 1.0) + 0.12, M::Rail);
        }
        self.station(p, &mut n);
        self.furniture(p, &mut n);
        self.beyond(p, &mut n);
        for (i, f) in self.people.iter().enumerate() {
            let (d, c) = f.near(p);
            n.add(d, M::Person(i as u8, c));
        }
        n
    }

    fn station(&self, p: V3, n: &mut Near<M>) {
        let middle = 0.5 * (STATION[0] + STATION[1]);
        let half = 0.5 * (STATION[1] - STATION[0]);
        let hull = block(p - v3(-8.0, 3.4, middle), v3(6.2, 4.4, half + 1.6), 0.0);
        if hull > 0.5 {
            n.add(hull - 0.1, M::Wall);
            return;
        }
        let q = v3((p.x + 8.0).abs(), p.y, p.z - middle);
        // Walls up to the roof's underside; log ends and boards are left to the surface.
        let pitch = 0.56f32;
        let (s, c) = pitch.sin_cos();
        let (rx, ry) = (q.x, q.y - 6.55);
        // Along the slope and off it.
        let (along, off) = (c * rx - s * ry, s * rx + c * ry);
        let wall = block(q - v3(0.0, 3.0, 0.0), v3(4.0, 3.6, half), 0.02).max(off);
        n.add(wall, M::Wall);
        n.add(block(q - v3(0.0, 0.1, 0.0), v3(4.07, 0.62, half + 0.07), 0.02), M::Plinth);
        // Roof: boards, then the snow that lies on it and hangs over the eaves.
        let length = 3.55;
        n.add(block(v3(along - length, off - 0.06, q.z), v3(length, 0.07, half + 0.9), 0.0), M::Roof);
        let sag =
            0.07 * fractal(0.45 * along, 0.7 * p.z, 2, 51) + 0.06 * fractal(2.1 * along, 2.3 * p.z, 2, 53);
        let lip = 0.05 * plane(1.7 * p.z, 0.0, 55);
        let snow = block(
            v3(along - length + 0.04 - lip, off - 0.25, q.z),
            v3(length + 0.02, 0.13, half + 0.93),
            0.10,
        );
        n.add((snow - sag) * 0.75, M::Snow);
        // Rafter ends under the eaves, and braces to the wall.
        let (rz, _) = repeat(q.z, 0.95);
        n.add(block(v3(along - 5.6, off + 0.09, rz), v3(1.35, 0.075, 0.055), 0.01), M::Roof);
        let (bz, _) = repeat(q.z, 3.8);
        let brace = v3(p.x - WALL - 0.62, q.y - 2.72, bz);
        let (u, v) = (0.707 * (brace.x + brace.y), 0.707 * (brace.y - brace.x));
        n.add(block(v3(u, v, bz), v3(0.95, 0.06, 0.06), 0.01), M::Roof);
        if p.x > WALL - 0.4 {
            self.front(p, n);
            // Icicles from the eaves.
            let eave = v3(p.x + 8.0 - (2.0 * length + 0.03) * c, p.y - 6.55 + 2.0 * length * s, p.z);
            let (iz, i) = repeat(eave.z, 0.115);
            let long = 0.42 * cell(i, 3, 8).powi(2) * (0.3 + plane(0.9 * p.z, 7.0, 9)) + 0.02;
            let tip = v3(eave.x, eave.y + 0.02, iz - 0.03 * (cell(i, 5, 8) - 0.5));
            let d = field::limb(tip, V3::ZERO, v3(0.0, -long, 0.0), 0.017, 0.002);
            n.add(d.min(0.06 + (iz.abs() - 0.0575).abs().max(d - 0.2)) * 0.8, M::Glass);
        }
    }

    /// The side towards the platform: windows with shutters, a door, a bench, a name board.
    fn front(&self, p: V3, n: &mut Near<M>) {
        let (wz, i) = repeat(p.z - 7.6, 2.9);
        let out = p.x - WALL;
        if (0..5).contains(&i) {
            let door = i == 2;
            let (mid, high, wide) = if door { (1.06, 1.06, 0.52) } else { (1.72, 0.68, 0.5) };
            let q = v3(out, p.y - mid, wz);
            let frame = block(q, v3(0.055, high + 0.09, wide + 0.09), 0.006);
            let opening = block(q, v3(0.2, high, wide), 0.0);
            n.add(frame.max(-opening), M::Trim);
            n.add(
                block(q, v3(0.012, high + 0.02, wide + 0.02), 0.0),
                if door { M::Shutter } else { M::Glass },
            );
            if door {
                n.add(block(v3(out, p.y - 1.5, wz), v3(0.025, 0.4, 0.3), 0.0), M::Glass);
                let (pz, _) = repeat(wz, 0.34);
                n.add(block(v3(out - 0.02, p.y - 0.52, pz), v3(0.025, 0.34, 0.13), 0.012), M::Shutter);
            } else {
                let (bar_y, bar_z) = ((q.y - 0.22).abs(), q.z.abs());
                n.add(block(v3(out - 0.02, bar_y, 0.0), v3(0.02, 0.022, 0.0), 0.0).max(opening), M::Trim);
                n.add(block(v3(out - 0.02, q.y, bar_z), v3(0.022, high, 0.026), 0.0), M::Trim);
                let leaf = v3(out - 0.04, q.y, q.z.abs() - wide - 0.36);
                n.add(block(leaf, v3(0.025, high + 0.06, 0.25), 0.008), M::Shutter);
                let sill = v3(out - 0.08, q.y + high + 0.10, q.z);
                n.add(block(sill, v3(0.12, 0.03, wide + 0.14), 0.008), M::Trim);
                let lie = block(sill - v3(0.0, 0.085, 0.0), v3(0.10, 0.07, wide + 0.12), 0.06);
                n.add((lie - 0.03 * fractal(3.0 * p.z, 2.0 * p.x, 2, 61)) * 0.8, M::Snow);
            }
        }
        // Bench between two windows.
        let b = p - v3(WALL + 0.42, 0.0, 9.05);
        let ends = v3(b.x, b.y - 0.24, b.z.abs() - 0.6);
        n.add(block(b - v3(0.0, 0.47, 0.0), v3(0.21, 0.022, 0.72), 0.008), M::Wood);
        n.add(block(b - v3(-0.22, 0.76, 0.0), v3(0.018, 0.11, 0.72), 0.008), M::Wood);
        n.add(block(ends, v3(0.19, 0.24, 0.03), 0.008), M::Wood);
        n.add(block(b - v3(0.0, 0.53, 0.0), v3(0.19, 0.05, 0.69), 0.045) * 0.9, M::Snow);
    }

    fn furniture(&self, p: V3, n: &mut Near<M>) {
        // Chart and card on their board, which stands on a light stand.
        let q = p - CHART_AT;
        let near = q.length() - 0.5;
        if near > 0.2 && (q.x * q.x + q.z * q.z).sqrt() > 0.6 {
            n.add(((q.x * q.x + q.z * q.z).sqrt() - 0.45).min(near.max(0.2)), M::Board);
        } else {
            n.add(block(q.turned(BOARD_TURN), BOARD_HALF, 0.004), M::Board);
            n.add(pole(q - v3(0.0, -0.72, 0.035), 0.011, 0.66), M::Metal);
            n.add(
                block((q - v3(0.0, -0.1, 0.018)).turned(BOARD_TURN), v3(0.03, 0.06, 0.012), 0.004),
                M::Metal,
            );
            for k in 0..3 {
                let a = 0.5 + 2.094_395 * k as f32;
                let foot = v3(0.36 * a.sin(), -1.24, 0.035 + 0.36 * a.cos());
                n.add(field::limb(q, v3(0.0, -0.72, 0.035), foot, 0.009, 0.009), M::Metal);
            }
        }
        // Timetable.
        let q = (p - NOTICE_AT).turned(NOTICE_TURN);
        let hull = q.length() - 1.75;
        if hull > 0.3 {
            n.add(hull, M::Notice);
        } else {
            n.add(block(q, v3(0.62, 0.46, 0.022), 0.004), M::Notice);
            n.add(block(q, v3(0.65, 0.49, 0.016), 0.004).max(-block(q, v3(0.62, 0.46, 0.1), 0.0)), M::Metal);
            n.add(block(v3(q.x.abs() - 0.68, q.y + 0.4, q.z), v3(0.035, 1.15, 0.035), 0.006), M::Metal);
            n.add(block(q - v3(0.0, 0.55, 0.0), v3(0.76, 0.03, 0.13), 0.006), M::Wood);
            let cap = block(q - v3(0.0, 0.64, 0.0), v3(0.74, 0.085, 0.125), 0.08);
            n.add((cap - 0.03 * fractal(3.0 * q.x, 1.0, 2, 63)) * 0.85, M::Snow);
        }
        // Lamps along the edge.
        let (lz, i) = repeat(p.z - 12.5, 15.0);
        if i >= 0 {
            let q = v3(p.x - 1.15, p.y, lz);
            let hull = slab(q.x + 0.3, (q.y - 2.2).abs(), 0.6, 2.4, 0.0).max(lz.abs() - 0.5);
            if hull > 0.3 {
                n.add((hull - 0.05).min(7.5 - lz.abs() + 0.3), M::Metal);
            } else {
                n.add(pole(q - v3(0.0, 1.2, 0.0), 0.062, 1.2), M::Metal);
                n.add(pole(q - v3(0.0, 3.0, 0.0), 0.042, 1.15), M::Metal);
                n.add(field::limb(q, v3(0.0, 4.1, 0.0), v3(-0.62, 4.28, 0.0), 0.03, 0.025), M::Metal);
                let h = q - v3(-0.68, 4.15, 0.0);
                let r = (h.x * h.x + h.z * h.z).sqrt();
                n.add(slab(r, h.y - 0.02 + 0.35 * r, 0.24, 0.03, 0.02) * 0.8, M::Metal);
                n.add(h.length() - 0.08, M::Lamp);
                n.add(field::egg(h - v3(0.0, 0.12, 0.0), v3(0.2, 0.09, 0.2)), M::Snow);
            }
        }
    }

    fn beyond(&self, p: V3, n: &mut Near<M>) {
        // Fence on the bank.
        let fx = p.x - 7.6;
        if fx.abs() < 0.6 && p.y < 2.5 {
            let (fz, i) = repeat(p.z, 1.7);
            let base = Self::ground(7.6, p.z);
            let lean = 0.06 * (cell(i, 1, 14) - 0.5);
            let post = block(v3(fx - lean * p.y, p.y - base - 0.5, fz), v3(0.055, 0.62, 0.055), 0.01);
            n.add(post * 0.9, M::Fence);
            n.add(field::egg(v3(fx - lean * p.y, p.y - base - 1.15, fz), v3(0.09, 0.075, 0.09)), M::Snow);
            for h in [0.45f32, 0.85] {
                let bow = 0.03 * (p.z * 1.1 + 9.0 * h).sin();
                n.add(slab(fx + 0.06, p.y - base - h - bow, 0.02, 0.05, 0.01) * 0.9, M::Fence);
                n.add(slab(fx + 0.06, p.y - base - h - bow - 0.07, 0.025, 0.03, 0.025) * 0.9, M::Snow);
            }
        } else {
            n.add((fx.abs() - 0.3).max(p.y - 2.2), M::Fence);
        }
        // Masts of the overhead line.
        let (mz, i) = repeat(p.z - 15.5, 22.0);
        if i >= 0 {
            let q = v3(p.x - 5.7, p.y, mz);
            let hull = slab(q.x + 1.2, mz, 1.6, 0.3, 0.0);
            if hull > 0.4 {
                n.add((hull - 0.1).min(11.4 - mz.abs()), M::Metal);
            } else {
                n.add(slab(q.x, q.z, 0.09, 0.09, 0.01).max(p.y - 6.4), M::Metal);
                n.add(field::limb(q, v3(0.0, 5.9, 0.0), v3(-2.3, 5.3, 0.0), 0.03, 0.025), M::Metal);
                n.add(field::limb(q, v3(0.0, 5.0, 0.0), v3(-2.3, 5.2, 0.0), 0.03, 0.025), M::Metal);
            }
        }
        self.firs(p, n);
    }

    /// One fir at most in a cell of the wood; the march is held back at the cell's border.
    fn firs(&self, p: V3, n: &mut Near<M>) {
        let over = p.y - 12.0 - Self::level(p.x);
        let right = (11.5 - p.x).max(p.x - 70.0);
        let left = (p.x + 5.0).max(25.0 - p.z).max(-60.0 - p.x);
        let out = right.min(left).max(over).max(p.z - 95.0);
        if out > 0.5 {
            n.add(out, M::Fir);
            return;
        }
        const CELL: f32 = 4.6;
        let ((x, i), (z, j)) = (repeat(p.x, CELL), repeat(p.z, CELL));
        let border = (0.5 * CELL - x.abs().max(z.abs()) + 0.3).max(0.4);
        let c = [i as f32 * CELL, j as f32 * CELL];
        let wood = plane(0.09 * c[0] + 3.0, 0.045 * c[1], 17) + 0.012 * (c[0] - 12.0).max(0.0);
        let allowed = c[0] > 12.6 || (c[0] < -6.5 && c[1] > 26.0);
        // One stands where its shadow falls across the platform.
        let alone = i == 3 && j == 0;
        if !(alone || allowed && wood >= 0.42) {
            n.add(border, M::Fir);
            return;
        }
        let h = |k| cell(i.wrapping_mul(7).wrapping_add(k), j, 18);
        let tall = if alone { 10.5 } else { 4.5 + 6.5 * h(1) };
        let wide = 0.155 * tall * (0.8 + 0.4 * h(2));
        let base = Self::ground(c[0], c[1]);
        let q = v3(x - 1.6 * (h(3) - 0.5), p.y - base, z - 1.6 * (h(4) - 0.5));
        let up = q.y / tall;
        let r = (q.x * q.x + q.z * q.z).sqrt();
        let hull = (r - wide * (1.05 - up).clamp(0.0, 1.0)).max(q.y - tall - 0.1);
        if hull > 0.6 {
            n.add((hull * 0.85 - 0.1).min(border), M::Fir);
            return;
        }
        let turn = q.z.atan2(q.x);
        let tier = up * (6.0 + 0.75 * tall) + 0.35 * (3.0 * turn + 9.0 * h(5)).sin();
        let saw = tier - floor(tier) as f32;
        let ragged = cloud(q * 2.6, 3, 19);
        let reach = wide * (1.0 - up).max(0.0) * (1.08 - 0.62 * saw) + 0.42 * ragged * (1.1 - up);
        n.add(((r - reach) * 0.42).max(q.y - tall).min(border), M::Fir);
        n.add(pole(q - v3(0.0, 0.5, 0.0), 0.14, 1.0), M::Fence);
    }

    fn shade(&self, ray: &Ray, t: f32, e: f32) -> V3 {
        let p = ray.at(t);
        let m = self.near(p).m;
        let map = |p: V3| self.near(p).d;
        let fine = match m {
            M::Fir => (2.5 * e).max(0.03),
            M::Snow => e.max(0.004),
            _ => e.max(0.0008),
        };
        let mut n = field::normal(p, fine, map);
        if n.dot(ray.to) > 0.0 {
            n = (n - ray.to * (n.dot(ray.to) + 0.02)).unit();
        }
        if m == M::Board {
            if let Some(light) = self.board(p, n) {
                return light;
            }
        }
        let off = p + n * (0.004 + 0.0006 * t);
        let sun = self.day.to_sun;
        let lit = if n.dot(sun) > -0.1 || m == M::Snow || m == M::Fir {
            field::sunlit(off, sun, 40.0, 0.014, map)
        } else {
            0.0
        };
        let open = field::openness(off, n, 1.6, map);
        match m {
            M::Snow => self.snow(&Seen { p, n, lit, open, to: ray.to }, t),
            M::Glass => self.glass(p, n, lit, ray),
            _ => self.solid(m, &Seen { p, n, lit, open, to: ray.to }),
        }
    }

    fn snow(&self, seen: &Seen, t: f32) -> V3 {
        let Seen { p, n, lit, open, to } = *seen;
        let n = snow::grained(p, n, t);
        // Light goes a little way through snow, which softens the turn into shade.
        let ndl = n.dot(self.day.to_sun);
        let wrap = ((ndl + 0.12) / 1.12).max(0.0);
        let through =
            self.day.sun * (wrap * lit) + v3(0.02, 0.03, 0.04) * self.day.sun * smooth(-0.4, 0.3, ndl);
        let up = 0.5 + 0.5 * n.y;
        let fill = (self.day.sky * up + self.day.ground * (1.0 - up)) * (0.25 + 0.75 * open);
        let mut light = v3(0.90, 0.905, 0.91) * (through + fill);
        light = light * (0.96 + 0.05 * fractal(1.1 * p.x, 1.3 * p.z, 3, 87));
        // Crystals that happen to mirror the sun.
        let k = 260.0;
        let (cx, cz) = (floor(p.x * k), floor(p.z * k));
        let chance = cell(cx, cz, 90);
        let near = smooth(9.0, 2.0, t);
        if chance > 0.9965 && lit > 0.5 && near > 0.0 {
            light += self.day.sun * (9.0 * near * (0.2 + cell(cx, cz, 91)));
        }
        let half = (self.day.to_sun - to).unit();
        light + self.day.sun * (0.10 * n.dot(half).max(0.0).powi(12) * lit)
    }

    fn glass(&self, p: V3, n: V3, lit: f32, ray: &Ray) -> V3 {
        let ice = p.y > 2.5;
        let wave = v3(0.0, 0.012, 0.012) * fractal(2.0 * p.z, 2.0 * p.y, 2, 95);
        let n = (n + wave).unit();
        let r = ray.to.reflected(n);
        let mirror = Ray { from: p, to: r };
        let seen = match self.terrain.look(&mirror, self.day.to_sun) {
            Some(s) => self.haze(Terrain::albedo(&s) * self.day.on(s.normal, s.sun, 0.9), s.distance),
            None if r.y > 0.0 => self.day.sky_at(r),
            None => self.day.on(V3::UP, 0.8, 1.0) * 0.85,
        };
        let fresnel = 0.05 + 0.95 * (1.0 - n.dot(-ray.to).abs()).powi(5);
        let glint = self.day.sun * (60.0 * r.dot(self.day.to_sun).max(0.0).powi(900) * lit);
        if ice {
            return seen * (0.25 + fresnel) + self.day.on(n, lit, 1.0) * 0.35 + glint;
        }
        // Lace curtains hang in the upper half.
        let lace = smooth(0.35, 0.6, plane(38.0 * p.z, 38.0 * p.y, 96)) * 0.4 + 0.3;
        let fold = 0.75 + 0.25 * (26.0 * p.z).sin();
        let cloth = smooth(1.62, 1.66, p.y + 0.03 * (9.0 * p.z).sin()) * lace * fold;
        self.day.on(n, lit, 0.4) * (0.012 + 0.26 * cloth) + seen * fresnel + glint
    }

    /// Brown boards, weathered: along `u`, across `v`; tint and depth.
    fn boards(u: f32, v: f32, pitch: f32, seed: u32) -> (V3, f32) {
        let (w, i) = repeat(v, pitch);
        let groove = smooth(0.5 * pitch, 0.46 * pitch, w.abs());
        let tone = cell(i, 2, seed);
        let grain = fractal(1.2 * u + 40.0 * tone, 38.0 * v, 4, seed + 1);
        let streak = fractal(0.5 * u, 2.0 * v, 3, seed + 5);
        let warm = mix(v3(0.145, 0.078, 0.042), v3(0.27, 0.155, 0.083), tone);
        let grey = v3(0.22, 0.19, 0.165);
        let c = mix(warm, grey, smooth(0.0, 0.7, streak + 0.15) * 0.55) * (1.0 + 0.55 * grain);
        (c * (0.3 + 0.7 * groove), groove)
    }

    fn solid(&self, m: M, seen: &Seen) -> V3 {
        let Seen { p, mut n, lit, mut open, to } = *seen;
        let mut gloss = 0.0;
        let mut tight = 20.0;
        let albedo = match m {
            M::Wall => {
                let (c, groove) = Self::boards(p.z, p.y, 0.17, 100);
                let (w, _) = repeat(p.y, 0.17);
                n = (n + v3(0.0, -0.35 * smooth(0.06, 0.085, w.abs()) * w.signum(), 0.0)).unit();
                open *= 0.4 + 0.6 * groove;
                // Splashed wet and a little white near the ground.
                mix(
                    c,
                    v3(0.5, 0.5, 0.52),
                    smooth(1.25, 0.6, p.y + 0.4 * fractal(2.0 * p.z, 3.0 * p.y, 3, 104)) * 0.3,
                )
            }
            M::Plinth => {
                let (z, _) = repeat(p.z + 0.37 * floor(p.y / 0.24) as f32, 0.55);
                let (y, _) = repeat(p.y - 0.12, 0.24);
                let joint = smooth(0.275, 0.262, z.abs()) * smooth(0.12, 0.107, y.abs());
                v3(0.23, 0.225, 0.215)
                    * (0.75 + 0.6 * fractal(7.0 * p.z, 7.0 * p.y, 4, 106))
                    * (0.4 + 0.6 * joint)
            }
            M::Trim => v3(0.58, 0.55, 0.48) * (0.93 + 0.2 * fractal(6.0 * p.z, 20.0 * p.y, 3, 110)),
            M::Shutter => {
                let (w, _) = repeat(p.y, 0.075);
                let slat = 0.55 + 0.45 * smooth(0.037, 0.02, w.abs());
                gloss = 0.03;
                v3(0.058, 0.115, 0.072) * slat * (0.9 + 0.5 * fractal(5.0 * p.z, 9.0 * p.y, 3, 112))
            }
            M::Roof => {
                let grain = fractal(8.0 * p.x + 3.0 * p.y, 30.0 * p.z, 3, 114);
                v3(0.105, 0.062, 0.036) * (1.0 + 0.5 * grain)
            }
            M::Kerb => {
                let (z, _) = repeat(p.z, 2.0);
                let joint = smooth(0.0, 0.015, 1.0 - z.abs());
                v3(0.20, 0.195, 0.185)
                    * (0.8 + 0.6 * fractal(5.0 * p.z, 5.0 * p.y + 5.0 * p.x, 4, 116))
                    * joint
            }
            M::Rail => {
                if p.y > -0.54 {
                    gloss = 0.9;
                    tight = 240.0;
                    v3(0.25, 0.25, 0.26)
                } else {
                    v3(0.105, 0.060, 0.038)
                }
            }
            M::Sleeper | M::Wood => Self::boards(p.z, p.x + 0.5 * p.y, 0.14, 120).0,
            M::Fence => {
                let grain = fractal(4.0 * p.y, 30.0 * (p.x + p.z), 3, 124);
                v3(0.17, 0.145, 0.12) * (1.0 + 0.6 * grain)
            }
            M::Metal => {
                gloss = 0.06;
                v3(0.052, 0.06, 0.062) * (1.0 + 0.4 * cloud(p * 12.0, 2, 126))
            }
            M::Lamp => {
                gloss = 0.2;
                tight = 80.0;
                v3(0.7, 0.68, 0.6)
            }
            M::Fir => {
                let dust = smooth(0.10, 0.62, n.y + 0.55 * cloud(p * 1.7, 3, 130));
                let needles = v3(0.022, 0.034, 0.020) * (1.0 + 0.8 * cloud(p * 7.0, 2, 133));
                mix(needles, v3(0.84, 0.85, 0.87), dust * 0.92)
            }
            M::Notice => self.notice(p, &mut gloss),
            M::Board => V3::all(0.03),
            M::Person(who, cloth) => Self::cloth(who, cloth, p),
            M::Snow | M::Glass => V3::ZERO,
        };
        let mut light = albedo * self.day.on(n, lit, open);
        let facing = 1.0 - n.dot(-to).abs();
        if gloss > 0.0 {
            let half = (self.day.to_sun - to).unit();
            let sky = self.day.sky_at(to.reflected(n)) * (0.5 * open);
            light += self.day.sun * (lit * gloss * tight * 0.12 * n.dot(half).max(0.0).powf(tight))
                + sky * (gloss * (0.25 + facing.powi(4)));
        }
        if let M::Person(_, Cloth::Coat | Cloth::Scarf | Cloth::Hat) = m {
            // Fibres that catch light along the outline.
            light += albedo * self.day.on(self.day.to_sun, lit, open) * (0.5 * facing.powi(3));
        }
        light
    }

    fn cloth(who: u8, cloth: Cloth, p: V3) -> V3 {
        let weave = 1.0 + 0.22 * cloud(p * 60.0, 1, 140) + 0.25 * cloud(p * 5.0, 2, 141);
        let c = match (who, cloth) {
            (_, Cloth::Skin) => return v3(0.40, 0.275, 0.205),
            (0, Cloth::Coat) => v3(0.23, 0.046, 0.034),
            (1, Cloth::Coat) => v3(0.055, 0.07, 0.11),
            (_, Cloth::Coat) => v3(0.32, 0.24, 0.12),
            (0, Cloth::Scarf) => v3(0.55, 0.5, 0.4),
            (_, Cloth::Scarf) => v3(0.10, 0.16, 0.24),
            (0, Cloth::Hat) => v3(0.07, 0.06, 0.065),
            (_, Cloth::Hat) => v3(0.16, 0.07, 0.06),
            (_, Cloth::Trousers) => v3(0.035, 0.037, 0.045),
            (_, Cloth::Bag) => v3(0.13, 0.075, 0.035),
        };
        c * weave
    }

    /// The timetable: a heading, columns of departures, a map of the line.
    fn notice(&self, p: V3, gloss: &mut f32) -> V3 {
        let q = (p - NOTICE_AT).turned(NOTICE_TURN);
        if q.z > -0.01 {
            return V3::all(0.05);
        }
        *gloss = 0.02;
        let (u, v) = (q.x, q.y);
        if v > 0.33 {
            let word = slab(u + 0.18, v - 0.39, 0.34, 0.028, 0.0) < 0.0 && plane(34.0 * u, 2.0, 150) > 0.33;
            return if word { V3::all(0.7) } else { v3(0.035, 0.06, 0.14) };
        }
        let paper = mix(v3(0.74, 0.66, 0.36), v3(0.70, 0.69, 0.66), smooth(-0.02, 0.02, u - 0.18));
        if u > 0.18 {
            let line = (v - 0.10 * (9.0 * u).sin() + 0.05 - 0.4 * (u - 0.4)).abs();
            if line < 0.007 {
                return v3(0.35, 0.03, 0.03);
            }
            let green = smooth(0.05, 0.2, fractal(7.0 * u, 7.0 * v, 3, 152));
            return mix(paper, v3(0.32, 0.42, 0.26), green * 0.6);
        }
        let (row, i) = repeat(v, 0.030);
        let (column, j) = repeat(u, 0.145);
        let long = 0.052 * cell(i, j, 154).sqrt();
        let text = row.abs() < 0.009 && (column + 0.02).abs() < long && plane(150.0 * u, i as f32, 156) > 0.3;
        if text { V3::all(0.07) } else { paper }
    }

    /// The front of the board: chart on the left, card on the right, one light on both. Their light is
    /// computed without the surroundings' shade, so that they are what the camera was balanced to.
    fn board(&self, p: V3, n: V3) -> Option<V3> {
        let q = (p - CHART_AT).turned(BOARD_TURN);
        if q.z > -0.5 * BOARD_HALF.z || n.dot(board_normal()) < 0.9 {
            return None;
        }
        let e = self.day.on(board_normal(), 1.0, 1.0);
        let across = (q.x + BOARD_HALF.x - 0.012) / CHART_WIDTH;
        let down = (0.5 * CHART_WIDTH * chart::ASPECT - q.y) / CHART_WIDTH;
        if (0.0..1.0).contains(&across) && (0.0..chart::ASPECT).contains(&down) {
            return Some(chart::reflectance(&self.patches, across, down) * e);
        }
        let c = card_centre();
        if (q.x - c).abs() < CARD_HALF[0] && q.y.abs() < CARD_HALF[1] {
            return Some(e * chart::CARD);
        }
        Some(e * 0.035)
    }

    /// Where a patch of the chart (0…23) or the card (24) lies in the picture: its middle, and how far from
    /// there it certainly reaches, in pixels.
    pub fn target(&self, raster: Raster, patch: usize) -> (f32, f32, f32) {
        let (x, y, half) = if patch < 24 {
            let c = chart::centre(patch);
            let x = c[0] * CHART_WIDTH + 0.012 - BOARD_HALF.x;
            (x, (0.5 * chart::ASPECT - c[1]) * CHART_WIDTH, 0.40 * CHART_WIDTH / 6.5)
        } else {
            (card_centre(), 0.0, CARD_HALF[0].min(CARD_HALF[1]) * 0.9)
        };
        let p = CHART_AT + v3(x, y, -BOARD_HALF.z).turned(-BOARD_TURN);
        let (px, py, d) = self.view.project(raster, p).unwrap_or_default();
        (px, py, 0.85 * half * self.view.scale(raster) / d)
    }
}

const CARD_HALF: [f32; 2] = [0.088, 0.104];

fn card_centre() -> f32 {
    BOARD_HALF.x - 0.012 - CARD_HALF[0]
}

fn board_normal() -> V3 {
    v3(0.0, 0.0, -1.0).turned(-BOARD_TURN)
}

/// The camera's noise at its base sensitivity.
pub const SENSOR: Sensor = Sensor { shot: 3.0e-5, read: 3.5e-4 };

impl Platform {
    /// What stands still.
    pub fn plate(&self, raster: Raster) -> Plate {
        let mut plate = Plate::expose(raster, 0, |x, y| self.look(raster, x, y));
        let w = raster.width as f32;
        plate.glare(None, &[(w * 0.004, 0.0016), (w * 0.03, 0.0010)]);
        plate
    }

    /// The light of a moment, in seconds.
    pub fn picture(&self, plate: &Plate, time: f32) -> Vec<V3> {
        let mut picture = plate.through_lens(&plate.light, plate.raster.blur(), 0.0);
        let (sun, sky, ground) = (self.day.sun, self.day.sky, self.day.ground);
        // Steam of an engine that stands out of sight beyond the bank.
        Vapour {
            least: v3(4.0, -0.7, 24.0),
            most: v3(22.0, 9.0, 40.0),
            steps: 20,
            density: |p: V3| {
                let drift = p - v3(-0.9, 0.5, 0.1) * time;
                let along = (p.x - 4.0) / 18.0;
                let middle = 0.4 + 4.2 * (1.0 - along) * along.max(0.0).sqrt();
                let body = 1.0
                    - ((p.y - middle) / (0.7 + 2.6 * (1.0 - along))).powi(2)
                    - ((p.z - 32.0) / 6.0).powi(2);
                let edge = smooth(0.0, 0.5, along) * smooth(1.0, 0.8, along);
                let shape = 0.65 * body + 1.7 * cloud(drift * 0.42, 5, 160) - 0.28;
                0.75 * edge * smooth(0.0, 1.1, shape)
            },
            light: |p: V3, d: f32| {
                let shade = (-1.2 * d).exp();
                let up = 0.5 + 0.08 * p.y;
                sun * (0.36 * shade + 0.10) + sky * (0.95 * up) + ground * 0.4
            },
        }
        .draw(&mut picture, plate, &self.view, 0.0);
        let fall = Fall {
            count: 5200,
            corner: v3(-12.0, -1.0, 2.6),
            size: v3(24.0, 8.0, 24.0),
            wind: v3(-0.35, -0.95, -0.12),
            radius: [0.0016, 0.0042],
            rate: RATE as f32,
            seed: 170,
        };
        fall.draw(&mut picture, plate, &self.view, 0.0, time, |p| {
            let lit = field::sunlit(p, self.day.to_sun, 25.0, 0.03, |p| self.near(p).d);
            sun * (0.75 * lit) + sky * 0.7 + ground * 0.3
        });
        picture
    }

    /// The card and the chart.
    pub fn targets(&self, raster: Raster) -> Vec<Target> {
        (0..25)
            .map(|i| {
                let (x, y, reach) = self.target(raster, i);
                let (name, reflectance) = match i {
                    24 => ("grey card", [chart::CARD; 3]),
                    _ => (chart::NAMES[i], self.patches[i].rgb()),
                };
                Target { name, reflectance, centre: [x, y], reach }
            })
            .collect()
    }
}
