//! A train with lit windows, standing in a snowed-in station after sunset.

use rayon::prelude::*;

use super::RATE;
use super::camera::{Plate, Raster, Sample, Sensor, View};
use super::coach::{self, FIRST, HALF, MIDDLE, PITCH, SIDE};
use super::field::{self, Near, Ray, block, pole, slab};
use super::figure::{Cloth, Figure};
use super::flakes::Fall;
use super::noise::{cell, cloud, floor, fractal, plane, repeat};
use super::snow;
use super::terrain::{Terrain, through_air};
use super::vapour::Vapour;
use super::vector::{V3, mix, smooth, v3};

const FAR: f32 = 110.0;
/// Front of the train, and where it ends.
const FRONT: f32 = 9.6;
const END: f32 = FIRST + 29.6 * PITCH;
const AXIS: f32 = SIDE + 1.32;
/// The sky's light on a level surface, in irradiance over π.
const SKY: V3 = v3(0.0050, 0.0092, 0.0211);
/// Where the sun went down, and the light that is left from there.
const AFTERGLOW: V3 = v3(0.0070, 0.0050, 0.0048);
const HOUSE: V3 = v3(-8.2, 0.0, 31.0);

/// The camera's noise, two and a half stops more sensitive than by day.
pub const SENSOR: Sensor = Sensor { shot: 1.1e-4, read: 6.0e-4 };

#[derive(Clone, Copy, PartialEq, Eq)]
enum M {
    Snow,
    Rail,
    Paint,
    Under,
    Pane,
    Cab,
    Rubber,
    Bulb(u8),
    Metal,
    Wall,
    HouseWindow,
    Fir,
    Person(Cloth),
}

/// A small lamp.
#[derive(Clone, Copy)]
struct Lamp {
    at: V3,
    /// Radius of what shines, in metres.
    size: f32,
    /// Light of the bulb itself.
    face: V3,
    /// Irradiance over π at one metre.
    power: V3,
    /// Which way it throws most of its light; zero for all ways.
    axis: V3,
}

impl Lamp {
    fn towards(&self, p: V3) -> f32 {
        if self.axis == V3::ZERO {
            return 1.0;
        }
        let c = (p - self.at).unit().dot(self.axis);
        0.05 + 0.95 * smooth(0.25, 0.95, c)
    }
}

/// The set.
pub struct BlueHour {
    view: View,
    terrain: Terrain,
    lamps: Vec<Lamp>,
    people: [Figure; 2],
}

impl BlueHour {
    pub fn new() -> Self {
        let sodium = v3(1.0, 0.50, 0.16);
        let halogen = v3(1.0, 0.74, 0.44);
        let mut lamps: Vec<Lamp> = (0..5)
            .map(|i| Lamp {
                at: v3(-2.35, 4.12, 13.0 + 13.0 * i as f32),
                size: 0.10,
                face: sodium * 34.0,
                power: sodium * 2.0,
                axis: v3(0.0, -1.0, 0.0),
            })
            .collect();
        for (x, y, k) in [(-0.82, 0.95, 1.0), (0.82, 0.95, 1.0), (0.0, 3.42, 0.7)] {
            lamps.push(Lamp {
                at: v3(AXIS + x, y, FRONT - 0.05),
                size: 0.085,
                face: halogen * (46.0 * k),
                power: halogen * (4.2 * k),
                axis: v3(-0.12, -0.16, -0.98).unit(),
            });
        }
        lamps.push(Lamp {
            at: HOUSE + v3(3.1, 2.75, -3.35),
            size: 0.07,
            face: halogen * 22.0,
            power: halogen * 1.1,
            axis: V3::ZERO,
        });
        // A signal at danger down the line.
        lamps.push(Lamp {
            at: v3(0.9, 4.3, 64.0),
            size: 0.10,
            face: v3(20.0, 1.9, 0.9),
            power: v3(0.4, 0.027, 0.009),
            axis: V3::ZERO,
        });
        Self {
            view: View::new(v3(0.0, 1.62, 0.0), 8.0, 2.2, 54.0),
            terrain: Terrain { shift: [-9100.0, 2600.0], relief: 640.0, foot: 700.0 },
            lamps,
            people: [
                Figure { at: v3(2.35, 0.0, 16.2), turn: -1.1, height: 1.78, bag: true, stride: 0.0 },
                Figure { at: v3(-1.5, 0.0, 25.2), turn: 2.4, height: 1.66, bag: false, stride: 0.0 },
            ],
        }
    }

    fn west() -> V3 {
        v3(-0.42, 0.09, 0.90).unit()
    }

    fn look(&self, raster: Raster, x: f32, y: f32) -> Sample {
        let ray = self.view.ray(raster, x, y);
        let map = |p: V3| self.near(p).d;
        if let Some(t) = field::march(&ray, 0.4, FAR, map) {
            let (light, mask) = self.shade(&ray, t);
            let air = mix(SKY, self.sky(v3(ray.to.x, 0.03, ray.to.z).unit()), 0.5);
            let light = through_air(light, t, V3::all(1400.0), air) + self.glow(&ray, t);
            return Sample { light, depth: t, mask };
        }
        let glow = self.glow(&ray, FAR);
        if let Some(s) = self.terrain.look(&ray, Self::west()) {
            let up = 0.5 + 0.5 * s.normal.y;
            let e = SKY * up + AFTERGLOW * (s.normal.dot(Self::west()) * 0.6 + 0.4).max(0.0);
            let air = self.sky(v3(ray.to.x, 0.02, ray.to.z).unit()) * 0.55;
            let light = through_air(Terrain::albedo(&s) * e, s.distance, v3(12000.0, 9500.0, 7000.0), air);
            return Sample { light: light + glow, depth: s.distance, mask: 0.0 };
        }
        Sample { light: self.sky(ray.to) + glow + Self::stars(ray.to), depth: 1e5, mask: 0.0 }
    }

    fn sky(&self, to: V3) -> V3 {
        let y = to.y.max(0.0);
        let flat = v3(to.x, 0.0, to.z).unit();
        let west = flat.dot(Self::west()).max(0.0);
        let zenith = v3(0.0066, 0.0150, 0.0420);
        let middle = v3(0.0195, 0.0400, 0.0860);
        let low = mix(v3(0.040, 0.055, 0.092), v3(0.205, 0.120, 0.074), west.powi(4));
        let green = mix(v3(0.030, 0.050, 0.090), v3(0.078, 0.086, 0.104), west.powi(3));
        let mut c = mix(low, green, smooth(0.02, 0.16, y));
        c = mix(c, middle, smooth(0.10, 0.32, y));
        c = mix(c, zenith, smooth(0.22, 0.75, y));
        c = c * 0.46;
        // Streaks of cloud, lit from below near the west, dark against the rest.
        let k = 1.0 / (y + 0.10);
        let streak = fractal(0.35 * to.x * k + 2.0, 1.5 * to.z * k * 0.5 + 3.1 * y, 6, 240);
        let veil = smooth(0.02, 0.5, streak) * smooth(0.03, 0.12, y) * smooth(0.6, 0.25, y);
        mix(
            c,
            mix(v3(0.0066, 0.0105, 0.020), v3(0.070, 0.035, 0.027), west.powi(5) * smooth(0.4, 0.1, y)),
            0.55 * veil,
        )
    }

    fn stars(to: V3) -> V3 {
        if to.y < 0.12 {
            return V3::ZERO;
        }
        let (u, v) = (to.x / (1.0 + to.y) * 46.0, to.z / (1.0 + to.y) * 46.0);
        let (i, j) = (floor(u), floor(v));
        if cell(i, j, 250) < 0.62 {
            return V3::ZERO;
        }
        let (a, b) = (0.2 + 0.6 * cell(i, j, 251), 0.2 + 0.6 * cell(i, j, 252));
        let r2 = (u - i as f32 - a).powi(2) + (v - j as f32 - b).powi(2);
        let bright = 0.16 * cell(i, j, 253).powi(5) + 0.012;
        v3(0.95, 1.0, 1.12) * (bright * smooth(0.10, 0.34, to.y) * (-r2 / 0.0011).exp())
    }

    /// Light that haze scatters out of the lamps' beams along a ray: the integral of 1/d² in closed form.
    fn glow(&self, ray: &Ray, t: f32) -> V3 {
        self.lamps.iter().fold(V3::ZERO, |sum, lamp| {
            let to = lamp.at - ray.from;
            let along = to.dot(ray.to);
            let h = (to.dot(to) - along * along).max(0.0).sqrt().max(0.04);
            let through = (((t - along) / h).atan() + (along / h).atan()) / h;
            sum + lamp.power * (0.0010 * through * (-0.22 * h).exp())
        })
    }

    fn ground(x: f32, z: f32) -> f32 {
        let drift = 0.07 * fractal(0.45 * x, 0.33 * z, 3, 221);
        let ridge = 0.20 * smooth(0.55, 0.0, (x - 2.95).abs()) * (0.5 + 0.7 * plane(0.7 * z, 2.0, 223));
        let track = -0.42 * smooth(3.05, 3.55, x);
        let side = 0.9 * smooth(-3.6, -6.0, x) * (0.35 + 0.65 * plane(0.25 * z, 0.4 * x, 225));
        drift + ridge + track + side * smooth(16.0, 11.0, z).max(0.35)
            - 0.03 * snow::prints(x - 0.55 - 0.5 * (0.19 * z).sin(), z)
    }

    fn near(&self, p: V3) -> Near<M> {
        let mut n = Near::new(f32::MAX, M::Snow);
        let most = if p.x < -3.4 { 1.0 } else { 0.33 };
        if p.y > most + 0.25 {
            n.add(p.y - most, M::Snow);
        } else {
            n.add((p.y - Self::ground(p.x, p.z)) * 0.78, M::Snow);
        }
        if p.y < 0.6 {
            for rail in [AXIS - 0.55, AXIS + 0.55] {
                n.add(slab(p.x - rail, p.y + 0.30, 0.035, 0.07, 0.008), M::Rail);
            }
        }
        self.train(p, &mut n);
        self.lamp_posts(p, &mut n);
        self.house(p, &mut n);
        self.firs(p, &mut n);
        for f in &self.people {
            let (d, c) = f.near(p);
            n.add(d, M::Person(c));
        }
        n
    }

    fn train(&self, p: V3, n: &mut Near<M>) {
        let q = v3(p.x - AXIS, p.y, p.z - 0.5 * (FRONT + END));
        let long = 0.5 * (END - FRONT);
        let hull = block(v3(q.x, q.y - 1.9, q.z), v3(1.55, 2.3, long + 0.5), 0.0);
        if hull > 0.35 {
            n.add(hull - 0.05, M::Paint);
            return;
        }
        // A section that narrows towards the roof, the nose leaning back, coaches kept apart by bellows.
        let nose = 0.30 * smooth(1.6, 3.6, p.y);
        let half = 1.32 - 0.10 * smooth(2.75, 3.7, p.y);
        let (joint, _) = repeat(p.z - (FIRST + 8.0 * PITCH), 9.0 * PITCH);
        let gap = 0.09 * smooth(0.42, 0.34, joint.abs()) * if p.z > FRONT + 6.0 { 1.0 } else { 0.0 };
        let body =
            block(v3(q.x, q.y - 2.03, q.z - 0.5 * nose), v3(half - gap, 1.62, long - 0.5 * nose), 0.22) * 0.9;
        let (u, i) = coach::bay(p.z);
        let pane = if i.is_some() { slab(u, p.y - MIDDLE, HALF[0], HALF[1], 0.08) } else { 1.0 };
        let side = (q.x + half).abs();
        // Panes lie a little behind the paint, in rubber.
        let hole = if i.is_some() && q.x < 0.0 { pane.max(side - 0.018) } else { 1.0 };
        n.add(body.max(-hole), if gap > 0.02 { M::Rubber } else { M::Paint });
        if i.is_some() && q.x < -1.0 {
            n.add((q.x + half - coach::SUNK).abs().max(pane) * 0.9, M::Pane);
            n.add((pane.abs() - 0.028).max(side - 0.004), M::Rubber);
        }
        // Ribs on the roof, snow on top of it, and what hangs below the floor.
        let top = block(v3(q.x, q.y - 3.66, q.z - 0.2), v3(0.98, 0.12, long - 0.4), 0.11);
        n.add((top - 0.05 * fractal(1.3 * p.x, 0.9 * p.z, 3, 227)) * 0.8, M::Snow);
        let under = p.z - FRONT - 3.2;
        let bz = under - 4.4 * repeat(under, 4.4).1.max(0) as f32;
        n.add(block(v3(q.x, p.y - 0.18, bz), v3(1.12, 0.30, 1.15), 0.05), M::Under);
        n.add(block(v3(q.x, p.y - 0.05, bz.abs() - 0.75), v3(0.62, 0.36, 0.34), 0.06), M::Under);
        n.add(block(v3(q.x + 1.26, p.y - 0.30, joint.abs() - 1.25), v3(0.16, 0.025, 0.36), 0.01), M::Under);
        // The front: two windows, lamps, a plough.
        if p.z < FRONT + 1.2 {
            let w = v3(q.x.abs() - 0.6, p.y - 2.46, p.z - FRONT - 0.10);
            n.add(block(w, v3(0.50, 0.46, 0.17), 0.05) * 0.9, M::Cab);
            // A plough bent forward at its middle, a beam over it, and buffers on the beam.
            let plough = v3(q.x, p.y + 0.02, p.z - FRONT + 0.30 - 0.26 * q.x.abs() - 0.35 * (p.y + 0.02));
            n.add(
                (block(plough, v3(1.18, 0.27, 0.035), 0.03) - 0.02 * cloud(p * 4.0, 2, 228)) * 0.7,
                M::Metal,
            );
            n.add(block(v3(q.x, p.y - 0.46, p.z - FRONT + 0.02), v3(1.24, 0.12, 0.09), 0.015), M::Paint);
            let b = v3(q.x.abs() - 0.82, p.y - 0.48, p.z - FRONT);
            let r = (b.x * b.x + b.y * b.y).sqrt();
            n.add(slab(r, b.z + 0.26, 0.085, 0.22, 0.02), M::Under);
            n.add(slab(r, b.z + 0.48, 0.19, 0.022, 0.015), M::Rail);
            n.add(block(v3(q.x, p.y - 0.46, p.z - FRONT + 0.12), v3(0.05, 0.09, 0.10), 0.03), M::Under);
        }
        for (k, lamp) in self.lamps[5..8].iter().enumerate() {
            let d = p - lamp.at;
            n.add(d.length() - lamp.size, M::Bulb(5 + k as u8));
            let ring = slab((d.x * d.x + d.y * d.y).sqrt() - 0.115, d.z - 0.05, 0.022, 0.10, 0.01);
            n.add(ring, M::Under);
        }
    }

    fn lamp_posts(&self, p: V3, n: &mut Near<M>) {
        let (z, i) = repeat(p.z - 13.0, 13.0);
        let q = v3(p.x + 3.0, p.y, z);
        let hull = slab(q.x - 0.3, q.y - 2.2, 0.55, 2.4, 0.0).max(z.abs() - 0.4);
        if hull > 0.3 || !(0..5).contains(&i) {
            n.add(hull.max(0.3).min(6.9 - z.abs()), M::Metal);
        } else {
            n.add(pole(q - v3(0.0, 2.1, 0.0), 0.045, 2.1), M::Metal);
            n.add(field::limb(q, v3(0.0, 4.15, 0.0), v3(0.6, 4.3, 0.0), 0.03, 0.025), M::Metal);
            let h = q - v3(0.65, 4.2, 0.0);
            let r = (h.x * h.x + h.z * h.z).sqrt();
            n.add(slab(r, h.y - 0.02 + 0.35 * r, 0.24, 0.03, 0.02) * 0.8, M::Metal);
            n.add(field::egg(h - v3(0.0, 0.12, 0.0), v3(0.2, 0.10, 0.2)), M::Snow);
            n.add((q - v3(0.65, 4.12, 0.0)).length() - 0.10, M::Bulb(i as u8));
        }
        for k in [8usize, 9] {
            n.add((p - self.lamps[k].at).length() - self.lamps[k].size, M::Bulb(k as u8));
        }
        let s = p - v3(0.9, 0.0, 64.2);
        n.add(
            pole(s - v3(0.0, 2.3, 0.0), 0.07, 2.4).min(block(
                s - v3(0.0, 4.4, 0.0),
                v3(0.25, 0.5, 0.08),
                0.02,
            )),
            M::Metal,
        );
    }

    fn house(&self, p: V3, n: &mut Near<M>) {
        let q = p - HOUSE;
        let hull = block(q - v3(0.0, 2.9, 0.0), v3(5.0, 3.6, 4.6), 0.0);
        if hull > 0.5 {
            n.add(hull - 0.1, M::Wall);
            return;
        }
        let (s, c) = 0.62f32.sin_cos();
        let (x, y) = (q.x.abs(), q.y - 5.3);
        let (along, off) = (c * x - s * y, s * x + c * y);
        n.add(block(q - v3(0.0, 2.5, 0.0), v3(3.4, 2.9, 3.3), 0.02).max(off), M::Wall);
        n.add(block(v3(along - 2.5, off - 0.05, q.z), v3(2.5, 0.06, 4.0), 0.0), M::Wall);
        let sag = 0.06 * fractal(0.7 * along, 0.7 * q.z, 2, 231);
        n.add((block(v3(along - 2.45, off - 0.26, q.z), v3(2.5, 0.17, 4.02), 0.13) - sag) * 0.8, M::Snow);
        n.add(block(q - v3(1.2, 6.0, 0.6), v3(0.3, 0.9, 0.3), 0.02), M::Wall);
        n.add(block(q - v3(1.2, 7.0, 0.6), v3(0.33, 0.13, 0.33), 0.1), M::Snow);
        for (wx, wy) in [(-1.7f32, 1.45f32), (0.2, 1.45), (-0.7, 3.85)] {
            n.add(block(q - v3(wx, wy, -3.3), v3(0.42, 0.52, 0.03), 0.0), M::HouseWindow);
        }
        n.add(block(q - v3(3.4, 1.5, -0.8), v3(0.03, 0.52, 0.42), 0.0), M::HouseWindow);
    }

    fn firs(&self, p: V3, n: &mut Near<M>) {
        let out = (p.x + 7.0).max(34.0 - p.z).max(-60.0 - p.x).max(p.z - 85.0);
        let other = (12.0 - p.x).max(p.x - 50.0).max(p.z - 85.0);
        let out = out.min(other).max(p.y - 13.5);
        if out > 0.5 {
            n.add(out, M::Fir);
            return;
        }
        const CELL: f32 = 4.4;
        let ((x, i), (z, j)) = (repeat(p.x, CELL), repeat(p.z, CELL));
        let border = (0.5 * CELL - x.abs().max(z.abs()) + 0.3).max(0.4);
        let c = [i as f32 * CELL, j as f32 * CELL];
        let allowed = (c[0] < -9.0 && c[1] > 36.0) || c[0] > 13.9;
        if !allowed || cell(i, j, 233) < 0.25 {
            n.add(border, M::Fir);
            return;
        }
        let h = |k| cell(i.wrapping_mul(7).wrapping_add(k), j, 234);
        let tall = 6.0 + 6.0 * h(1);
        let wide = 0.16 * tall * (0.8 + 0.4 * h(2));
        let q = v3(x - 1.4 * (h(3) - 0.5), p.y - Self::ground(c[0], c[1]), z - 1.4 * (h(4) - 0.5));
        let up = q.y / tall;
        let r = (q.x * q.x + q.z * q.z).sqrt();
        let hull = (r - wide * (1.05 - up).clamp(0.0, 1.0)).max(q.y - tall - 0.1);
        if hull > 0.6 {
            n.add((hull * 0.85 - 0.1).min(border), M::Fir);
            return;
        }
        let tier = up * (6.0 + 0.75 * tall) + 0.35 * (3.0 * q.z.atan2(q.x) + 9.0 * h(5)).sin();
        let saw = tier - floor(tier) as f32;
        let reach =
            wide * (1.0 - up).max(0.0) * (1.08 - 0.62 * saw) + 0.42 * cloud(q * 2.6, 3, 236) * (1.1 - up);
        n.add(((r - reach) * 0.42).max(q.y - tall).min(border), M::Fir);
    }

    /// Light from all lamps and windows at a place.
    fn lit(&self, p: V3, n: V3, wrap: f32) -> V3 {
        let map = |p: V3| self.near(p).d;
        let mut sum = V3::ZERO;
        for (k, lamp) in self.lamps.iter().enumerate() {
            let to = lamp.at - p;
            let d = to.length();
            let way = to / d;
            let cos = ((n.dot(way) + wrap) / (1.0 + wrap)).max(0.0);
            let light = lamp.power * (cos * lamp.towards(p) / (d * d).max(0.3));
            // Too little to be worth a shadow; it fades, so that no rim shows.
            let light = light * smooth(0.0004, 0.0012, light.luminance());
            if light.y <= 0.0 {
                continue;
            }
            // The lamp's own housing must not shade it.
            let clear = if k < 5 { 0.45 } else { 0.30 };
            sum += light * field::sunlit(p, way, (d - clear).max(0.05), 0.03, map);
        }
        sum + coach::outside(p, n)
    }

    fn shade(&self, ray: &Ray, t: f32) -> (V3, f32) {
        let p = ray.at(t);
        let mut m = self.near(p).m;
        // Far away a pane lies less deep than a ray's last step: the plane itself decides there.
        if matches!(m, M::Paint | M::Rubber) && (p.x - SIDE).abs() < 0.04 {
            let q = ray.at((SIDE + coach::SUNK - ray.from.x) / ray.to.x);
            if let (u, Some(_)) = coach::bay(q.z) {
                if slab(u, q.y - MIDDLE, HALF[0] - 0.03, HALF[1] - 0.03, 0.06) < 0.0 {
                    m = M::Pane;
                }
            }
        }
        if let M::Bulb(k) = m {
            return (self.lamps[k as usize].face, 0.0);
        }
        let map = |p: V3| self.near(p).d;
        let e = t * 0.0012;
        let fine = match m {
            M::Fir => (2.5 * e).max(0.03),
            M::Snow => e.max(0.004),
            _ => e.max(0.0008),
        };
        let mut n = field::normal(p, fine, map);
        if n.dot(ray.to) > 0.0 {
            n = (n - ray.to * (n.dot(ray.to) + 0.02)).unit();
        }
        if m == M::Pane {
            let r = ray.to.reflected(v3(-1.0, 0.0, 0.0));
            let fresnel = 0.04 + 0.96 * (1.0 - ray.to.x.abs()).powi(5);
            return (self.sky(r) * (0.7 * fresnel), 1.0);
        }
        let off = p + n * (0.004 + 0.0006 * t);
        let open = field::openness(off, n, 1.6, map);
        let facing = 1.0 - n.dot(-ray.to).abs();
        let mirror = ray.to.reflected(n);
        let mut shine = 0.0;
        let albedo = match m {
            M::Snow => {
                let n = snow::grained(p, n, t);
                let up = 0.5 + 0.5 * n.y;
                let west = AFTERGLOW * (0.25 + 0.75 * n.dot(Self::west()).max(0.0)) * 0.5;
                let fill = (SKY * up + west) * (0.2 + 0.8 * open);
                let mut light = v3(0.89, 0.90, 0.92) * (fill + self.lit(off, n, 0.15));
                let k = 240.0;
                let chance = cell(floor(p.x * k), floor(p.z * k), 260);
                if chance > 0.9955 && t < 14.0 {
                    light = light
                        * (1.0 + 7.0 * smooth(14.0, 3.0, t) * cell(floor(p.x * k), floor(p.z * k), 261));
                }
                return (light, 0.0);
            }
            M::Paint => {
                shine = 0.05 + 0.6 * facing.powi(5);
                let band = smooth(0.012, 0.0, (p.y - 1.62).abs() - 0.05);
                let dirt = smooth(1.0, 0.45, p.y + 0.35 * fractal(1.5 * p.z, 2.0 * p.y, 4, 262));
                let (door, _) = repeat(p.z - (FIRST + 8.0 * PITCH), 9.0 * PITCH);
                let seam = smooth(0.02, 0.005, (door.abs() - 0.98).abs()).max(smooth(
                    0.02,
                    0.005,
                    (door.abs() - 0.44).abs(),
                ));
                let base = mix(v3(0.175, 0.026, 0.020), v3(0.52, 0.45, 0.34), band);
                let base = if p.y > 2.95 { v3(0.12, 0.115, 0.11) } else { base };
                mix(base, v3(0.22, 0.21, 0.21), 0.7 * dirt) * (1.0 - 0.7 * seam)
            }
            M::Rail => {
                shine = 0.6;
                v3(0.16, 0.15, 0.14)
            }
            M::Cab => {
                shine = 0.25;
                v3(0.01, 0.01, 0.01)
            }
            M::Metal | M::Under => v3(0.045, 0.045, 0.047) * (1.0 + 0.4 * cloud(p * 8.0, 2, 264)),
            M::Rubber => V3::all(0.02),
            M::Wall => {
                let (w, i) = repeat(p.y, 0.22);
                let groove = 0.4 + 0.6 * smooth(0.11, 0.095, w.abs());
                v3(0.15, 0.09, 0.055) * (groove * (0.7 + 0.6 * cell(i, 1, 266)))
            }
            M::HouseWindow => {
                let q = p - HOUSE;
                let (u, v) = (q.x + 0.3 * q.z, q.y);
                let up = v > 3.0;
                let bars = smooth(0.02, 0.035, (repeat(u + 0.1, 0.42).0).abs())
                    * smooth(0.02, 0.035, (v - 1.6).abs());
                let curtain = 0.55 + 0.45 * (24.0 * u).sin().abs();
                let k = if up { 0.25 } else { 1.15 };
                return (v3(1.0, 0.56, 0.22) * (k * (0.1 + 0.9 * bars) * curtain), 0.0);
            }
            M::Fir => {
                let dust = smooth(0.10, 0.62, n.y + 0.55 * cloud(p * 1.7, 3, 268));
                mix(v3(0.022, 0.034, 0.020), v3(0.84, 0.85, 0.87), dust * 0.92)
            }
            M::Person(Cloth::Skin) => v3(0.40, 0.275, 0.205),
            M::Person(Cloth::Coat) => v3(0.05, 0.055, 0.075),
            M::Person(Cloth::Scarf) => v3(0.30, 0.06, 0.04),
            M::Person(_) => v3(0.035, 0.035, 0.04),
            M::Pane | M::Bulb(_) => V3::ZERO,
        };
        let up = 0.5 + 0.5 * n.y;
        let fill = (SKY * up + SKY * (0.7 * (1.0 - up)) + AFTERGLOW * 0.2) * open;
        // Lit snow lights what stands over it.
        let below = v3(p.x - 0.8 * n.x.abs() * n.x.signum().min(0.0).abs(), 0.05, p.z);
        let bounce = coach::outside(below, V3::UP) * (0.55 * (1.0 - up) * open);
        let mut light = albedo * (fill + bounce + self.lit(off, n, 0.0));
        if shine > 0.0 {
            let seen = if mirror.y > 0.0 {
                self.sky(mirror)
            } else {
                SKY * 0.9 + coach::outside(below, V3::UP) * 0.8
            };
            light += seen * (shine * open);
            for lamp in &self.lamps {
                let to = (lamp.at - p).unit();
                let d2 = (lamp.at - p).dot(lamp.at - p);
                light += lamp.power
                    * (shine * 14.0 * lamp.towards(p) * mirror.dot(to).max(0.0).powi(180) / d2.max(0.2));
            }
        }
        (light, 0.0)
    }

    /// What moves behind the windows, over the whole plate, before it is weighted by the mask.
    fn windows(&self, plate: &Plate, time: f32) -> Vec<V3> {
        let (w, m) = (plate.stride(), plate.margin as f32);
        plate
            .mask
            .par_iter()
            .enumerate()
            .with_min_len(256)
            .map(|(i, &mask)| {
                if mask <= 0.0 {
                    return V3::ZERO;
                }
                let (x, y) = ((i % w) as f32 - m, (i / w) as f32 - m);
                let mut sum = V3::ZERO;
                for (dx, dy) in [(0.125, 0.375), (0.375, 0.875), (0.625, 0.125), (0.875, 0.625)] {
                    sum += coach::inside(&self.view.ray(plate.raster, x + dx, y + dy), time);
                }
                sum * (0.25 * mask)
            })
            .collect()
    }

    /// What stands still, with room for the camera's drift.
    pub fn plate(&self, raster: Raster) -> (Plate, f32) {
        let margin = (raster.width as f32 * DRIFT).ceil() as u32 + 4;
        let mut plate = Plate::expose(raster, margin, |x, y| self.look(raster, x, y));
        let w = raster.width as f32;
        let moving = self.windows(&plate, 0.0);
        let kept = plate.glare(Some(&moving), &[(w * 0.0022, 0.030), (w * 0.010, 0.013), (w * 0.045, 0.006)]);
        (plate, kept)
    }

    /// The light of a moment, in seconds; `kept` is what the plate's glare left of a source.
    pub fn picture(&self, plate: &Plate, kept: f32, time: f32) -> Vec<V3> {
        let raster = plate.raster;
        let mut all = self.windows(plate, time);
        all.iter_mut().zip(&plate.light).for_each(|(a, &b)| *a = *a * kept + b);
        // Two seconds from one side to the other.
        let dx = raster.width as f32 * DRIFT * (time - 1.0);
        let mut picture = plate.through_lens(&all, raster.blur(), dx);
        Vapour {
            least: v3(2.6, -0.4, 18.5),
            most: v3(4.45, 2.6, 25.0),
            steps: 14,
            density: |p: V3| {
                let drift = p - v3(-0.22, 0.55, -0.12) * time;
                let out = (SIDE - p.x) / 1.8;
                let body =
                    1.0 - ((p.z - 21.5) / (1.0 + 1.4 * p.y.max(0.0))).powi(2) - (out - 0.25 * p.y).powi(2);
                let shape = 0.7 * body + 1.5 * cloud(drift * 1.1, 4, 270) - 0.25;
                1.1 * smooth(0.0, 0.9, shape) * smooth(2.6, 0.9, p.y) * smooth(-0.4, 0.1, p.y)
            },
            light: |p: V3, _| {
                SKY * 0.9
                    + coach::outside(p, v3(0.9, 0.43, 0.0)) * 1.3
                    + coach::outside(p, v3(-0.5, 0.8, 0.3)) * 0.4
            },
        }
        .draw(&mut picture, plate, &self.view, dx);
        let fall = Fall {
            count: 3000,
            corner: v3(-9.0, -0.6, 2.4),
            size: v3(22.0, 7.5, 26.0),
            wind: v3(0.12, -0.75, -0.05),
            radius: [0.0016, 0.0040],
            rate: RATE as f32,
            seed: 280,
        };
        fall.draw(&mut picture, plate, &self.view, dx, time, |p| {
            let lamps = self.lamps.iter().fold(V3::ZERO, |sum, lamp| {
                let to = lamp.at - p;
                sum + lamp.power * (lamp.towards(p) * 0.5 / to.dot(to).max(0.15))
            });
            SKY * 0.8 + lamps + coach::outside(p, v3(0.8, 0.6, 0.0)) * 0.6
        });
        picture
    }
}

/// How far the picture moves to either side, in widths.
const DRIFT: f32 = 0.006;
