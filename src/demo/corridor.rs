//! An underpass between platforms, tiled, under LED tubes with a green spike.

use super::Target;
use super::camera::{Plate, Raster, Sample, Sensor, View};
use super::field::{self, Near, Ray, block, limb, pole, slab};
use super::figure::{Cloth, Figure};
use super::moving::{Moving, darken};
use super::noise::{cell, cloud, floor, fractal, plane, repeat};
use super::vector::{V3, mix, smooth, v3};

/// Half the width, the height, and where the stairs begin.
const SIDE: f32 = 1.95;
const HIGH: f32 = 2.62;
const END: f32 = 23.0;
/// A passage to the right that leads up to daylight: from, to, and its height.
const DOOR: [f32; 3] = [10.2, 13.0, 2.25];
/// Light of a good tube at luminance about 1: well on the green side of white.
const TUBE: V3 = v3(0.87, 1.105, 0.76);
/// Snowlight that comes down the stairs, an hour before sunset.
const COLD: V3 = v3(0.62, 0.80, 1.16);
/// Steps of the stairs at the end.
const STEPS: usize = 16;
const TILE: f32 = 0.148;
/// Reflectance of the pale tiles.
const GLAZE: f32 = 0.62;
/// The tube that is going.
const WEAK: usize = 2;

/// The camera's noise, two stops more sensitive than by day.
pub const SENSOR: Sensor = Sensor { shot: 9.0e-5, read: 5.5e-4 };

/// A tube under the ceiling, along z.
struct Tube {
    z: f32,
    power: f32,
    tint: V3,
}

const LONG: f32 = 0.60;
const HANG: f32 = HIGH - 0.10;

#[derive(Clone, Copy, PartialEq, Eq)]
enum M {
    Wall,
    Floor,
    Ceiling,
    Stairs,
    Steel,
    Pipe,
    Fixture,
    Glow,
    Frame,
    Bench,
    Case,
}

/// The set.
pub struct Corridor {
    view: View,
    tubes: Vec<Tube>,
}

/// A point of a surface.
struct Seen {
    p: V3,
    n: V3,
    m: M,
}

impl Corridor {
    pub fn new() -> Self {
        let tube = |z: f32, power: f32, tint: V3| Tube { z, power, tint };
        Self {
            view: View::new(v3(-0.62, 1.52, 0.0), 5.5, -1.2, 56.0),
            tubes: vec![
                tube(1.4, 1.0, v3(0.98, 1.0, 1.05)),
                tube(4.6, 0.86, v3(1.0, 1.0, 1.0)),
                tube(7.8, 1.0, v3(0.93, 1.02, 0.92)),
                tube(11.0, 0.12, v3(1.1, 0.95, 0.80)),
                tube(14.2, 0.92, v3(1.02, 0.99, 1.10)),
                tube(17.4, 0.75, v3(0.95, 1.02, 0.90)),
                tube(20.6, 0.95, v3(1.0, 1.0, 1.0)),
            ],
        }
    }

    /// How bright the weak tube is: it swells and sinks about once a second, never in a flash.
    fn weak(time: f32) -> f32 {
        0.70 + 0.22 * (std::f32::consts::TAU * 0.8 * time).sin()
            + 0.08 * (std::f32::consts::TAU * 1.9 * time + 1.0).sin()
    }

    fn walker(time: f32) -> Figure {
        let pace = 1.15;
        // A step takes 0.62 m.
        let step = std::f32::consts::TAU * pace * time / 1.24 + 0.5;
        Figure {
            // The hips sink as the legs part.
            at: v3(0.42 + 0.02 * step.cos(), -0.045 * step.sin().powi(2), 8.0 - pace * time),
            turn: 0.06,
            height: 1.76,
            bag: true,
            stride: step.sin(),
        }
    }

    /// What a ray meets: the tunnel's planes first, then what stands in it.
    fn meet(&self, ray: &Ray) -> Option<(f32, Seen)> {
        let (from, to) = (ray.from, ray.to);
        let mut best: Option<(f32, Seen)> = None;
        let mut add = |t: f32, n: V3, m: M| {
            if t > 1e-3 && best.as_ref().is_none_or(|b| t < b.0) {
                best = Some((t, Seen { p: from + to * t, n, m }));
            }
        };
        add(-from.y / to.y, V3::UP, M::Floor);
        add((HIGH - from.y) / to.y, -V3::UP, M::Ceiling);
        if to.x < 0.0 {
            add((-SIDE - from.x) / to.x, v3(1.0, 0.0, 0.0), M::Wall);
        } else if to.x > 0.0 {
            let t = (SIDE - from.x) / to.x;
            let p = from + to * t;
            if from.x > SIDE || !(p.z > DOOR[0] && p.z < DOOR[1] && p.y < DOOR[2]) {
                add(t, v3(-1.0, 0.0, 0.0), M::Wall);
            } else {
                // Into the passage: its far wall, its lintel, and stairs.
                add((DOOR[1] - from.z) / to.z, v3(0.0, 0.0, -1.0), M::Wall);
                if to.z < 0.0 {
                    add((DOOR[0] - from.z) / to.z, v3(0.0, 0.0, 1.0), M::Wall);
                }
                add((DOOR[2] - from.y) / to.y, -V3::UP, M::Ceiling);
                add((SIDE + 3.2 - from.x) / to.x, v3(-1.0, 0.0, 0.0), M::Stairs);
            }
        }
        if to.z > 0.0 {
            for k in 0..STEPS {
                let (z, y) = (END + 0.31 * k as f32, 0.165 * k as f32);
                let t = (z - from.z) / to.z;
                let high = from.y + to.y * t;
                if high >= y && (high < y + 0.165 || k + 1 == STEPS) {
                    add(t, v3(0.0, 0.0, -1.0), M::Stairs);
                    break;
                }
                let t = (y + 0.165 - from.y) / to.y;
                let deep = from.z + to.z * t;
                if to.y < 0.0 && deep > z && deep <= z + 0.31 {
                    add(t, V3::UP, M::Stairs);
                    break;
                }
            }
        } else {
            add((-4.0 - from.z) / to.z, v3(0.0, 0.0, 1.0), M::Wall);
        }
        let limit = best.as_ref()?.0;
        if let Some(t) = field::march(ray, 0.05, limit, |p| self.near(p).d) {
            let p = ray.at(t);
            let n = field::normal(p, (t * 0.001).max(0.0008), |p| self.near(p).d);
            return Some((t, Seen { p, n, m: self.near(p).m }));
        }
        best
    }

    /// Everything that is not a plane.
    fn near(&self, p: V3) -> Near<M> {
        let mut n = Near::new(f32::MAX, M::Steel);
        // Tubes and what holds them.
        if p.y > HIGH - 0.5 {
            for tube in &self.tubes {
                let q = p - v3(0.0, HANG, tube.z);
                n.add(block(q - v3(0.0, 0.055, 0.0), v3(0.075, 0.03, LONG + 0.05), 0.01), M::Fixture);
                let r = (q.x * q.x + q.y * q.y).sqrt();
                n.add(slab(r, q.z, 0.026, LONG, 0.01), M::Glow);
                n.add(block(v3(q.x, q.y, q.z.abs() - LONG - 0.02), v3(0.03, 0.04, 0.02), 0.01), M::Fixture);
            }
            // Pipes and a tray of cables along the left.
            for (x, y, r) in [(-SIDE + 0.16, HIGH - 0.15, 0.055f32), (-SIDE + 0.30, HIGH - 0.11, 0.032)] {
                n.add(slab(p.x - x, p.y - y, r, r, r), M::Pipe);
                let (z, _) = repeat(p.z - 0.8, 2.4);
                n.add(slab(p.x - x, p.y - y, r + 0.012, r + 0.012, r + 0.012).max(z.abs() - 0.025), M::Steel);
            }
        } else {
            n.add(HIGH - 0.35 - p.y, M::Fixture);
        }
        // Handrail on the left, with brackets.
        let rail = v3(p.x + SIDE - 0.085, p.y - 0.96, p.z);
        if rail.x.abs() < 0.4 && rail.y.abs() < 0.6 {
            n.add(slab(rail.x, rail.y, 0.022, 0.022, 0.022), M::Steel);
            let (z, _) = repeat(p.z, 1.48);
            let foot = v3(rail.x, rail.y, z);
            n.add(limb(foot, v3(0.0, -0.01, 0.0), v3(-0.09, -0.06, 0.0), 0.010, 0.010), M::Steel);
        } else {
            n.add((rail.x * rail.x + rail.y * rail.y).sqrt() - 0.2, M::Steel);
        }
        // A framed poster on either side, standing off the wall.
        for (side, z) in [(1.0f32, 6.3f32), (-1.0, 9.4), (1.0, 16.2), (-1.0, 15.4)] {
            let q = v3((p.x - side * SIDE).abs(), p.y - POSTER.0, p.z - z);
            let edge = slab(q.y, q.z, POSTER.2 + 0.04, POSTER.1 + 0.04, 0.0);
            n.add(block(q, v3(0.020, POSTER.2, POSTER.1), 0.002), M::Frame);
            n.add((edge.abs() - 0.022).max(q.x - 0.035) * 0.9, M::Steel);
        }
        // A bench along the right wall, and a case that someone put down.
        let b = p - v3(SIDE - 0.27, 0.0, 4.75);
        let hull = block(b - v3(0.0, 0.35, 0.0), v3(0.35, 0.42, 1.0), 0.0);
        if hull > 0.25 {
            n.add(hull, M::Bench);
        } else {
            let (x, _) = repeat(b.x - 0.055, 0.11);
            let seat = block(v3(x, b.y - 0.45, b.z), v3(0.045, 0.018, 0.85), 0.006);
            n.add(seat.max(b.x.abs() - 0.22), M::Bench);
            n.add(block(v3(b.x, b.y - 0.215, b.z.abs() - 0.62), v3(0.19, 0.215, 0.022), 0.01), M::Steel);
            let c = (b - v3(-0.02, 0.61, 0.42)).turned(0.15);
            n.add(block(c, v3(0.11, 0.145, 0.22), 0.025), M::Case);
            n.add((slab(c.z, c.y - 0.16, 0.055, 0.03, 0.02).abs() - 0.009).max(c.x.abs() - 0.012), M::Case);
        }
        // A bin on the left.
        let q = p - v3(-SIDE + 0.26, 0.42, 6.4);
        n.add(pole(q, 0.19, 0.40).max(-pole(q - v3(0.0, 0.3, 0.0), 0.17, 0.3)), M::Steel);
        n
    }

    /// Light of all tubes and both stairs on a surface, and the weak tube's part of it (as luminance).
    fn light(&self, p: V3, n: V3) -> (V3, f32) {
        let (mut sum, mut weak) = (V3::ZERO, 0.0);
        let mut most = 0.0f32;
        for (k, tube) in self.tubes.iter().enumerate() {
            let mut e = 0.0;
            for part in [-0.66f32, 0.0, 0.66] {
                let to = v3(0.0, HANG - 0.02, tube.z + part * LONG) - p;
                let d2 = to.dot(to);
                let d = d2.sqrt();
                // A line shines most across its length; its holder shades the ceiling.
                let across = (1.0 - (to.z / d).powi(2)).sqrt();
                let below = 0.10 + 0.90 * smooth(-0.12, 0.22, to.y / d);
                e += across * below * n.dot(to).max(0.0) / d / (d2 + 0.01);
            }
            let e = tube.power * e * (2.15 / 3.0);
            sum += TUBE * tube.tint * e;
            most = most.max(e);
            if k == WEAK {
                weak = e;
            }
        }
        // What walls and floor throw back, along a slow mean of the tubes.
        let mut room = 0.0;
        for (k, tube) in self.tubes.iter().enumerate() {
            let e = 0.17 * tube.power / (1.0 + 0.30 * (p.z - tube.z).powi(2)).sqrt().max(1.0).powf(1.5);
            room += e;
            if k == WEAK {
                weak += e * 0.9;
            }
        }
        let room = room * (1.0 + 0.25 * n.y.abs());
        sum += TUBE * v3(1.0, 0.985, 0.94) * room;
        let total = sum.luminance();
        // Daylight from both stairs.
        let mut cold = 0.0;
        let to = v3(0.0, 1.9, END + 0.3) - p;
        let d2 = to.dot(to) + 0.4;
        cold += 5.5 * (n.dot(to) / d2.sqrt() + 0.1).max(0.0) / d2;
        let middle = 0.5 * (DOOR[0] + DOOR[1]);
        let to = v3(SIDE + 2.0, 2.1, middle) - p;
        let d2 = to.dot(to) + 0.2;
        // Only what the passage's jambs let through.
        let at = p + to * ((SIDE - p.x) / to.x.max(0.05)).clamp(0.0, 1.0);
        let soft = 0.15 + 0.10 * (SIDE - p.x).max(0.0);
        let jambs =
            smooth(0.5 * (DOOR[1] - DOOR[0]) + soft, 0.5 * (DOOR[1] - DOOR[0]) - soft, (at.z - middle).abs());
        cold += 5.0 * jambs * (n.dot(to) / d2.sqrt() + 0.05).max(0.0) / d2;
        sum += COLD * cold;
        (sum, weak / total.max(1e-5) * (total / sum.luminance().max(1e-5)))
    }

    /// Corners are darker: how much of the room a place on a plane sees.
    fn corner(s: &Seen) -> f32 {
        let p = s.p;
        let gap = |d: f32| 0.52 + 0.48 * smooth(-0.05, 0.55, d);
        let mut open = 1.0;
        if p.x.abs() < SIDE + 0.1 {
            if s.n.y.abs() < 0.5 {
                open *= gap(p.y) * gap(HIGH - p.y);
            }
            if s.n.x.abs() < 0.5 {
                open *= gap(SIDE - p.x.abs());
            }
        }
        open
    }

    /// Light that leaves a point, but for mirror images, and the weak tube's share of it.
    fn matt(&self, s: &Seen, t: f32) -> (V3, f32, V3, f32) {
        let Seen { p, n, m } = *s;
        let far = smooth(14.0, 5.0, t);
        let (albedo, shine, bump) = match m {
            M::Wall => Self::tiles(p, n, t),
            M::Floor => {
                let (sx, i) = repeat(p.x, 0.6);
                let (sz, j) = repeat(p.z, 0.6);
                let joint = smooth(0.3, 0.294, sx.abs()).min(smooth(0.3, 0.294, sz.abs()));
                let chips = plane(52.0 * p.x, 52.0 * p.z, 510) * plane(31.0 * p.x, 31.0 * p.z, 511);
                let stain = fractal(0.7 * p.x, 0.5 * p.z, 5, 512);
                let wet = smooth(
                    -0.02,
                    0.22,
                    fractal(0.8 * p.x + 2.0, 0.42 * p.z, 4, 514) + 0.10 * smooth(1.2, 0.2, p.x.abs()),
                );
                let c = v3(0.150, 0.148, 0.142)
                    * (0.75 + 0.9 * far * (chips - 0.25) + 0.5 * stain + 0.16 * (cell(i, j, 516) - 0.5));
                let c = c * (0.55 + 0.45 * joint) * (1.0 - 0.55 * wet);
                let ripple = v3(
                    fractal(3.0 * p.x, 3.0 * p.z, 2, 518),
                    0.0,
                    fractal(3.0 * p.x + 9.0, 3.0 * p.z, 2, 520),
                ) * (mix(0.030, 0.006, wet) * smooth(18.0, 3.0, t));
                (c, mix(0.25, 1.0, wet), ripple)
            }
            M::Ceiling => {
                let (bx, i) = repeat(p.x, 0.13);
                let board = smooth(0.065, 0.058, bx.abs());
                let c = v3(0.33, 0.33, 0.32)
                    * (0.85 + 0.25 * cell(i, 0, 522) + 0.35 * fractal(1.2 * p.x, 0.7 * p.z, 4, 523));
                let drip = smooth(0.25, 0.5, fractal(0.5 * p.x + 7.0, 0.35 * p.z, 4, 525));
                (mix(c, v3(0.16, 0.15, 0.12), 0.6 * drip) * (0.75 + 0.25 * board), 0.0, V3::ZERO)
            }
            M::Stairs => {
                let side = p.x > SIDE + 1.0;
                let rise = smooth(0.0, 2.6, p.y);
                let u = if side { p.z } else { p.x };
                let snow = smooth(0.05, 0.35, fractal(1.3 * u, 2.0 * p.z + 3.0 * p.y, 4, 527) + 0.25 * rise);
                let stone =
                    v3(0.23, 0.225, 0.215) * (0.8 + 0.6 * fractal(4.0 * u, 6.0 * p.y + 4.0 * p.z, 4, 529));
                // Treads are trodden snow; risers are stone, with snow kicked against them.
                let c = if n.y > 0.5 {
                    mix(stone, V3::all(0.74), 0.35 + 0.65 * snow)
                } else {
                    mix(stone, V3::all(0.70), 0.55 * snow * rise)
                };
                let sky = (0.40 + 5.2 * rise)
                    * (0.42 + 0.58 * n.y)
                    * (1.0 - 0.25 * smooth(0.7, 1.95, p.x.abs().min(2.0)));
                let (e, weak) = self.light(v3(p.x, p.y, p.z.min(END - 0.2)), n);
                let open = 0.6 + 0.4 * smooth(0.0, 0.1, (p.y / 0.165).fract());
                return (c * ((e * 0.7 + COLD * sky) * open), 0.7 * weak, V3::ZERO, 0.0);
            }
            M::Steel => (v3(0.26, 0.26, 0.255) * (1.0 + 0.3 * cloud(p * 11.0, 2, 530)), 2.6, V3::ZERO),
            M::Pipe => {
                (v3(0.30, 0.29, 0.25) * (1.0 + 0.35 * cloud(p * v3(9.0, 9.0, 1.5), 3, 532)), 0.5, V3::ZERO)
            }
            M::Fixture => (v3(0.42, 0.42, 0.41), 0.2, V3::ZERO),
            M::Frame => (Self::poster(p), 0.9, V3::ZERO),
            M::Bench => {
                (v3(0.21, 0.125, 0.066) * (1.0 + 0.5 * fractal(26.0 * p.x, 1.6 * p.z, 4, 534)), 0.4, V3::ZERO)
            }
            M::Case => (
                mix(v3(0.26, 0.05, 0.035), v3(0.09, 0.07, 0.06), smooth(0.25, 0.4, cloud(p * 9.0, 3, 536))),
                0.35,
                V3::ZERO,
            ),
            M::Glow => {
                let k = self
                    .tubes
                    .iter()
                    .enumerate()
                    .min_by(|a, b| (a.1.z - p.z).abs().total_cmp(&(b.1.z - p.z).abs()));
                let (k, tube) = k.expect("there are tubes");
                // Darker towards its ends.
                let along = smooth(LONG, LONG - 0.12, (p.z - tube.z).abs());
                return (
                    TUBE * tube.tint * (tube.power * 30.0 * (0.45 + 0.55 * along)),
                    f32::from(u8::from(k == WEAK)),
                    V3::ZERO,
                    0.0,
                );
            }
        };
        let n = (n + bump).unit();
        let (e, weak) = self.light(p, n);
        let mut open = Self::corner(s);
        // Contact shade of what stands or hangs.
        if matches!(m, M::Floor | M::Wall | M::Bench) {
            let d = self.near(p + n * 0.12).d.min(0.12) / 0.12;
            open *= 0.45 + 0.55 * smooth(-0.2, 1.0, d);
        }
        if m == M::Floor {
            // The bench and the bin take the tubes' light from what is under and beside them.
            let d = slab(p.x - SIDE + 0.22, p.z - 4.75, 0.20, 0.80, 0.1);
            open *= 0.35 + 0.65 * smooth(-0.25, 0.35, d);
        }
        (albedo * e * open, weak, bump, shine)
    }

    /// Glazed tiles: pale over a green dado; grout between; the odd one cracked or missing.
    fn tiles(p: V3, n: V3, t: f32) -> (V3, f32, V3) {
        let u = if n.x.abs() > 0.5 { p.z } else { p.x };
        let row = floor(p.y / TILE);
        let (tu, i) = repeat(u + 0.5 * TILE * (row & 1) as f32, TILE);
        let tv = p.y - (row as f32 + 0.5) * TILE;
        let edge = 0.5 * TILE - tu.abs().max(tv.abs());
        // Joints are thinner than a pixel far away: they fade into the mean.
        let width = 0.0035f32.max(0.0006 * t);
        let joint = smooth(0.2 * width, width * 1.3, edge).max(1.0 - (0.0045 / width).min(1.0));
        let seed = if n.x > 0.5 { 540 } else { 541 };
        let one = cell(i, row, seed);
        let tone = 0.90 + 0.16 * cell(i, row, seed + 2);
        let glaze = match row {
            ..=6 => v3(0.060, 0.125, 0.095) * (0.8 + 0.5 * cell(i, row, seed + 4)),
            7 => v3(0.035, 0.038, 0.040),
            _ => v3(GLAZE, GLAZE, GLAZE) * tone,
        };
        let near_target = (p.z - TARGET.z).abs() < 0.3 && (p.y - TARGET.y).abs() < 0.3;
        let crack = one > 0.955 && !near_target;
        let line = smooth(
            0.004,
            0.001,
            (tu * (one - 0.97) * 40.0 + tv + 0.02 * fractal(40.0 * u, 40.0 * p.y, 2, 546)).abs(),
        );
        let mut c = if crack { mix(glaze, glaze * 0.25, line) } else { glaze };
        let missing = one < 0.006 && !near_target;
        if missing {
            c = v3(0.20, 0.19, 0.17) * (0.8 + 0.6 * fractal(30.0 * u, 30.0 * p.y, 3, 548));
        }
        let grime = smooth(
            0.05,
            0.5,
            fractal(0.8 * u, 1.3 * p.y, 5, 550)
                + 0.35 * smooth(0.5, 0.0, p.y)
                + 0.18 * smooth(2.0, HIGH, p.y),
        );
        let streak = smooth(0.25, 0.6, fractal(5.0 * u, 0.35 * p.y, 3, 552)) * smooth(0.9, 2.4, p.y);
        let clean = if near_target { 0.0 } else { 0.40 * grime + 0.25 * streak };
        c = mix(c, c * v3(0.50, 0.46, 0.38), clean);
        let c = mix(v3(0.12, 0.115, 0.105), c, joint);
        // Each tile leans a little its own way, and its edges are round.
        let tilt = v3(0.0, cell(i, row, seed + 6) - 0.5, cell(i, row, seed + 8) - 0.5) * 0.030;
        let tilt = if n.x.abs() > 0.5 { tilt } else { v3(tilt.z, tilt.y, 0.0) };
        let round = smooth(0.012, 0.003, edge) * 0.12 * smooth(12.0, 4.0, t);
        let lip = if tu.abs() > tv.abs() {
            v3(0.0, 0.0, tu.signum() * round)
        } else {
            v3(0.0, tv.signum() * round, 0.0)
        };
        (c, if missing { 0.0 } else { 0.9 * joint * (1.0 - 0.6 * clean) }, tilt + lip)
    }

    /// Two posters: mountains in flat colours, and a table.
    fn poster(p: V3) -> V3 {
        let z =
            [6.3f32, 9.4, 16.2, 15.4].into_iter().min_by(|a, b| (a - p.z).abs().total_cmp(&(b - p.z).abs()));
        let z = z.expect("there are posters");
        let side = p.x.signum();
        let (u, v) = ((p.z - z) * side, p.y - POSTER.0);
        if z == 9.4 || z == 16.2 {
            let (row, i) = repeat(v, 0.040);
            let (column, j) = repeat(u, 0.16);
            let ink = row.abs() < 0.011 && column.abs() < 0.07 * cell(i, j, 560).sqrt() && v < 0.30;
            let head = v > 0.36;
            return if head {
                v3(0.035, 0.07, 0.16)
            } else if ink {
                V3::all(0.08)
            } else {
                v3(0.62, 0.55, 0.32)
            };
        }
        let ridge = |k: f32, s: u32| 0.16 * fractal(2.2 * u + k, k, 4, s);
        let sun = ((u - 0.12).powi(2) + (v - 0.30).powi(2)).sqrt();
        let sky = mix(v3(0.62, 0.40, 0.18), v3(0.14, 0.26, 0.42), smooth(-0.1, 0.5, v));
        let mut c = if sun < 0.09 { v3(0.72, 0.60, 0.30) } else { sky };
        for (base, colour, seed) in [
            (0.10f32, v3(0.42, 0.45, 0.52), 562),
            (-0.10, v3(0.16, 0.22, 0.33), 566),
            (-0.30, v3(0.045, 0.085, 0.10), 570),
        ] {
            if v < base + ridge(base * 9.0, seed) {
                c = colour;
            }
        }
        if v < -0.44 { v3(0.60, 0.57, 0.50) } else { c }
    }

    fn look(&self, raster: Raster, x: f32, y: f32) -> Sample {
        let ray = self.view.ray(raster, x, y);
        let Some((t, seen)) = self.meet(&ray) else {
            return Sample { light: V3::ZERO, depth: END, mask: 0.0 };
        };
        let (mut light, mut weak, bump, shine) = self.matt(&seen, t);
        if shine > 0.0 {
            let n = (seen.n + bump).unit();
            let facing = 1.0 - n.dot(-ray.to).abs();
            let part = (shine * (0.035 + 0.90 * facing.powi(5))).min(0.85);
            if part > 0.004 {
                let mirror = Ray { from: seen.p + seen.n * 0.004, to: ray.to.reflected(n) };
                if let Some((d, other)) = self.meet(&mirror) {
                    let (seen, share, ..) = self.matt(&other, t + d);
                    let all = light.luminance() * weak + seen.luminance() * part * share;
                    light += seen * part;
                    weak = all / light.luminance().max(1e-6);
                }
            }
        }
        Sample { light, depth: t, mask: weak.clamp(0.0, 1.0) }
    }

    /// What stands still, with every tube at its full light; the mask is the weak tube's share.
    pub fn plate(&self, raster: Raster) -> Plate {
        let mut plate = Plate::expose(raster, 0, |x, y| self.look(raster, x, y));
        let w = raster.width as f32;
        plate.glare(None, &[(w * 0.0025, 0.020), (w * 0.012, 0.010), (w * 0.05, 0.006)]);
        plate
    }

    /// The light of a moment, in seconds.
    pub fn picture(&self, plate: &Plate, time: f32) -> Vec<V3> {
        let weak = Self::weak(time);
        let now: Vec<V3> = plate
            .light
            .iter()
            .zip(&plate.mask)
            .map(|(&l, &share)| l * (1.0 - share * (1.0 - weak)))
            .collect();
        let mut picture = plate.through_lens(&now, plate.raster.blur(), 0.0);
        let walker = Self::walker(time);
        let at = walker.at;
        // Their shadow under the tubes, and their image in the wet floor.
        darken(
            &mut picture,
            plate,
            &self.view,
            0.0,
            [v3(at.x - 1.0, -0.05, at.z - 1.6), v3(at.x + 1.0, 0.05, at.z + 1.6)],
            |p| {
                let near = slab(p.x - at.x, p.z - at.z, 0.10, 0.12, 0.1);
                1.0 - 0.62 * smooth(0.55, -0.05, near) - 0.16 * smooth(1.0, 0.0, near)
            },
        );
        Moving {
            least: v3(at.x - 0.50, -0.01, at.z - 0.50),
            most: v3(at.x + 0.55, 1.92, at.z + 0.50),
            field: |p: V3| walker.near(p).0,
            shade: |ray: &Ray, t: f32| {
                let p = ray.at(t);
                let cloth = walker.near(p).1;
                let mut n = field::normal(p, 0.005, |p| walker.near(p).0);
                if n.dot(ray.to) > 0.0 {
                    n = (n - ray.to * (n.dot(ray.to) + 0.02)).unit();
                }
                let open = field::openness(p + n * 0.008, n, 0.35, |p| walker.near(p).0.min(p.y));
                let (e, share) = self.light(p, n);
                let q = p - at;
                let weave = 1.0 + 0.22 * cloud(q * 55.0, 1, 580) + 0.25 * cloud(q * 5.0, 2, 581);
                let albedo = match cloth {
                    Cloth::Skin => v3(0.41, 0.285, 0.215) * walker.features(p),
                    Cloth::Coat => v3(0.27, 0.155, 0.060) * weave,
                    Cloth::Scarf => v3(0.30, 0.045, 0.040) * weave,
                    Cloth::Hat => v3(0.055, 0.055, 0.065) * weave,
                    Cloth::Trousers => v3(0.04, 0.045, 0.06) * weave,
                    Cloth::Bag => v3(0.10, 0.055, 0.03) * weave,
                };
                let rim = (1.0 - n.dot(-ray.to).abs()).powi(3);
                albedo * e * (open * (1.0 - share * (1.0 - weak)) * (1.0 + 0.5 * rim))
            },
        }
        .draw(&mut picture, plate, &self.view, 0.0);
        picture
    }

    /// A clean tile of the left wall.
    pub fn targets(&self, raster: Raster) -> Vec<Target> {
        let (x, y, d) = self.view.project(raster, TARGET).unwrap_or_default();
        let across = self.view.scale(raster) / d;
        // The wall is seen at a slant: a tile is narrower than it is high.
        let slant = (TARGET.x.abs() - 0.62).abs() / TARGET.z;
        vec![Target {
            name: "white tile",
            reflectance: [GLAZE * 0.98; 3],
            centre: [x, y],
            reach: across * 0.5 * TILE * slant.min(1.0) * 3.0,
        }]
    }
}

/// Middle height and half sizes (along, up) of a poster.
const POSTER: (f32, f32, f32) = (1.62, 0.40, 0.56);
/// Middle of a clean patch of pale tiles on the left wall.
const TARGET: V3 = v3(-SIDE, 1.70, 3.55);
