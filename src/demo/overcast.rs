//! The line through a snowed-in valley under cloud: flat grey light, falling snow, a train that comes.

use super::RATE;
use super::camera::{Plate, Raster, Sample, Sensor, View};
use super::field::{self, Near, Ray, block, limb, pole, slab};
use super::figure::{Cloth, Figure};
use super::fir::{Fir, needles};
use super::flakes::Fall;
use super::moving::{Moving, darken};
use super::noise::{cell, cloud, fractal, plane, repeat};
use super::snow;
use super::terrain::through_air;
use super::vapour::Vapour;
use super::vector::{V3, mix, smooth, v3};

const FAR: f32 = 165.0;
/// The cloud's light on a level surface, in irradiance over π: so much that a grey card held upright, to
/// which the snow adds, reads 0.18.
const SKY: V3 = v3(1.19, 1.20, 1.225);
/// What the snow throws up.
const BOUNCE: V3 = v3(0.60, 0.61, 0.615);
/// Falling snow's own light, and the distance over which it hides things, per colour.
const AIR: V3 = v3(0.80, 0.815, 0.84);
const REACH: V3 = v3(250.0, 240.0, 228.0);
/// Where the train's front is at the start, and its speed, in metres a second.
const START: f32 = 43.0;
const SPEED: f32 = 10.5;
const LONG: f32 = 62.0;
/// Half the train's width.
const HALF: f32 = 1.36;
const HEADLIGHT: V3 = v3(13.0, 11.2, 8.0);

/// The camera's noise at its base sensitivity.
pub const SENSOR: Sensor = Sensor { shot: 3.0e-5, read: 3.5e-4 };

#[derive(Clone, Copy, PartialEq, Eq)]
enum M {
    Snow,
    Water,
    Rail,
    Wood,
    Fir,
    Twig,
    Person(Cloth),
}

/// The set.
pub struct Overcast {
    view: View,
    worker: Figure,
}

impl Overcast {
    pub fn new() -> Self {
        Self {
            view: View::new(v3(-4.4, 2.75, 0.0), 8.5, -3.6, 47.0),
            worker: Figure { at: v3(-2.45, -0.12, 9.3), turn: -0.75, height: 1.79, bag: true, stride: 0.0 },
        }
    }

    /// On a surface with normal `n` that `open` (0…1) of the surroundings reach.
    fn light(n: V3, open: f32) -> V3 {
        // Cloud is three times as bright overhead as at the horizon.
        (SKY * (0.56 + 0.44 * n.y) + BOUNCE * (0.5 - 0.5 * n.y)) * open
    }

    fn look(&self, raster: Raster, x: f32, y: f32) -> Sample {
        let ray = self.view.ray(raster, x, y);
        let map = |p: V3| self.near(p).d;
        let sample = match field::march(&ray, 0.4, FAR, map) {
            Some(t) => Sample { light: through_air(self.shade(&ray, t), t, REACH, AIR), depth: t, mask: 0.0 },
            None => Sample { light: Self::beyond(ray.to), depth: 1e5, mask: 0.0 },
        };
        Sample { light: sample.light * self.wires(&ray, sample.depth, raster), ..sample }
    }

    /// Cloud, and wooded ridges one behind the other.
    fn beyond(to: V3) -> V3 {
        let flat = (to.x * to.x + to.z * to.z).sqrt();
        let (up, side) = (to.y / flat, to.x.atan2(to.z));
        for (i, (distance, base, rise)) in
            [(190.0, 0.012, 0.20), (330.0, 0.040, 0.16), (560.0, 0.085, 0.22)].into_iter().enumerate()
        {
            let seed = 310 + 10 * i as u32;
            let away = (side - 0.03 + 0.05 * i as f32).abs();
            let crest = base
                + rise * smooth(0.0, 0.75, away)
                + 0.05 * fractal(3.2 * side + 4.0 * i as f32, 1.0, 4, seed);
            let spires = plane(side * 0.45 * distance, 0.5, seed + 5)
                * (0.4 + 0.6 * plane(side * 1.7 * distance, 1.5, seed + 6));
            let crest = crest + 7.0 / distance * spires;
            if up < crest {
                let (u, v) = (side * distance, up * distance);
                let crowns = fractal(0.32 * u, 0.14 * v, 4, seed + 7);
                let glade = smooth(0.16, 0.40, fractal(0.03 * u + 5.0, 0.05 * v, 3, seed + 8) + 0.2 * crowns);
                let wood = v3(0.10, 0.112, 0.115) * (1.0 + 0.9 * crowns);
                let light = mix(wood, v3(0.80, 0.81, 0.82), glade) * 0.95;
                return through_air(light, distance, REACH * 1.15, AIR);
            }
        }
        let y = to.y.max(0.0);
        let pale = mix(AIR, v3(1.17, 1.185, 1.215), smooth(0.02, 0.55, y));
        let k = 1.0 / (y + 0.22);
        pale * (1.0 + 0.14 * smooth(0.03, 0.25, y) * fractal(1.5 * to.x * k, 1.1 * to.z * k, 5, 350))
    }

    /// Telegraph wires beside the line: too thin to march to, so their cover of a pixel is worked out.
    fn wires(&self, ray: &Ray, depth: f32, raster: Raster) -> f32 {
        let mut left = 1.0;
        let pixel = 1.0 / self.view.scale(raster);
        for (x, y) in [(4.25f32, 5.72f32), (5.15, 5.72), (4.35, 5.22), (5.05, 5.22)] {
            // They hang along z: nearest approach in the plane across them, then the sag found there.
            let (mut t, mut gap) = (0.0, 0.0);
            let mut height = y;
            for _ in 0..2 {
                let (ox, oy) = (x - ray.from.x, height - ray.from.y);
                let d2 = (ray.to.x * ray.to.x + ray.to.y * ray.to.y).max(1e-9);
                t = ((ox * ray.to.x + oy * ray.to.y) / d2).max(0.0);
                gap = ((ray.to.x * t - ox).powi(2) + (ray.to.y * t - oy).powi(2)).sqrt();
                let (span, _) = repeat(ray.at(t).z - POLE, POLES);
                height = y - 0.55 * (1.0 - (2.0 * span.abs() / POLES).powi(2)) + 0.55
                    - 0.55 * (1.0 - (1.0 - 2.0 * span.abs() / POLES).powi(2));
            }
            let p = ray.at(t);
            if t > 1.0 && t < depth && p.z > 3.0 && p.z < 140.0 {
                let width = (0.7 * pixel * t).max(0.016);
                left *=
                    1.0 - 0.75 * (0.016 / width) * smooth(width * 1.5, width * 0.3, gap) * (-t / 110.0).exp();
            }
        }
        left
    }

    /// Where the stream's middle is.
    fn stream(z: f32) -> f32 {
        12.2 + 1.8 * (0.085 * z + 0.6).sin() + 0.7 * (0.23 * z).sin()
    }

    fn level(x: f32, z: f32) -> f32 {
        let bed = -0.20;
        let left = 1.15 * smooth(-2.7, -6.4, x) + 0.30 * (-x - 9.0).max(0.0);
        let right = -1.55 * smooth(2.9, 8.2, x) + 0.36 * (x - 17.5).max(0.0);
        let cut = -0.62 * smooth(2.4, 1.1, (x - Self::stream(z)).abs());
        bed + left + right + cut
    }

    fn ground(x: f32, z: f32) -> f32 {
        let wild = smooth(2.3, 4.0, x.abs());
        let drift = fractal(0.33 * x, 0.24 * z, 3, 301);
        let small = fractal(1.3 * x, 0.9 * z, 2, 304);
        // Ploughed: shoulders along the track, the sleepers' tops showing as a shallow rhythm.
        let berm = 0.20 * smooth(0.75, 0.0, (x.abs() - 2.25).abs()) * (0.4 + 0.9 * plane(0.5 * z, x, 307));
        let ties = 0.018 * smooth(1.5, 1.2, x.abs()) * (z * std::f32::consts::TAU / 0.64).cos();
        let path = 0.10 * smooth(0.5, 0.2, (x + 2.45 + 0.2 * (0.3 * z).sin()).abs());
        Self::level(x, z) + wild * (0.30 * drift + 0.07 * small) + 0.02 * small + berm + ties
            - path
            - 0.03 * snow::prints(x + 2.75 + 0.2 * (0.3 * z).sin(), z)
    }

    fn near(&self, p: V3) -> Near<M> {
        let mut n = Near::new(f32::MAX, M::Snow);
        let level = p.y - Self::level(p.x, p.z);
        if level > 1.1 {
            n.add(level * 0.8 - 0.4, M::Snow);
        } else {
            n.add((p.y - Self::ground(p.x, p.z)) * 0.8, M::Snow);
        }
        n.add(p.y + 2.12, M::Water);
        if p.x.abs() < 1.6 && p.y < 0.8 {
            n.add(slab(p.x.abs() - 0.75, p.y + 0.05, 0.036, 0.05, 0.012), M::Rail);
        } else {
            n.add((p.x.abs() - 1.4).max(p.y - 0.6), M::Rail);
        }
        self.posts(p, &mut n);
        self.firs(p, &mut n);
        let (d, c) = self.worker.near(p);
        n.add(d, M::Person(c));
        n
    }

    fn posts(&self, p: V3, n: &mut Near<M>) {
        // Telegraph poles.
        let (z, i) = repeat(p.z - POLE, POLES);
        let q = v3(p.x - 4.7, p.y, z);
        let hull = slab(q.x, q.z, 0.75, 0.2, 0.0);
        if hull > 0.4 || !(0..6).contains(&i) {
            n.add((hull - 0.1).max(0.3).min(0.5 * POLES + 0.5 - z.abs()), M::Wood);
        } else {
            let lean = 0.02 * (cell(i, 2, 361) - 0.5);
            let s = v3(q.x - lean * q.y, q.y, q.z);
            n.add(pole(s - v3(0.0, 2.4, 0.0), 0.115 - 0.008 * q.y.max(0.0), 3.7), M::Wood);
            for h in [5.15f32, 5.65] {
                let half = if h > 5.4 { 0.55 } else { 0.45 };
                n.add(block(s - v3(0.0, h, 0.0), v3(half, 0.045, 0.045), 0.005), M::Wood);
                n.add(block(s - v3(0.0, h + 0.065, 0.0), v3(half, 0.03, 0.05), 0.03), M::Snow);
            }
        }
        // A fence above the stream, half drifted over.
        let fx = p.x - 6.3;
        let base = Self::level(6.3, p.z);
        if fx.abs() < 0.5 && p.y - base < 2.0 {
            let (fz, i) = repeat(p.z, 1.9);
            let lean = 0.16 * (cell(i, 1, 363) - 0.5);
            let tall = 0.75 + 0.35 * cell(i, 5, 363);
            let q = v3(fx - lean * (p.y - base), p.y - base - 0.4, fz - lean * (p.y - base));
            n.add(block(q, v3(0.06, tall, 0.06), 0.012) * 0.9, M::Wood);
            n.add(field::egg(q - v3(0.0, tall + 0.03, 0.0), v3(0.10, 0.10, 0.10)), M::Snow);
            let bow = 0.05 * (p.z * 0.8).sin();
            n.add(slab(fx + 0.07, p.y - base - 0.72 - bow, 0.018, 0.05, 0.01) * 0.85, M::Wood);
            n.add(slab(fx + 0.07, p.y - base - 0.785 - bow, 0.025, 0.03, 0.025) * 0.85, M::Snow);
        } else {
            n.add((fx.abs() - 0.3).max(p.y - base - 1.8), M::Wood);
        }
        // A bare bush in the foreground.
        let q = p - v3(-5.5, Self::level(-5.5, 5.2), 5.2);
        let hull = (q - v3(0.0, 0.5, 0.0)).length() - 1.05;
        if hull > 0.3 {
            n.add(hull, M::Twig);
        } else {
            for k in 0..11 {
                let h = |j| cell(k, j, 365) - 0.5;
                let foot = v3(0.5 * h(1), -0.1, 0.5 * h(2));
                let knee = foot + v3(0.35 * h(3), 0.55 + 0.3 * h(4), 0.35 * h(5));
                let tip = knee + v3(0.6 * h(6), 0.42 + 0.3 * h(7), 0.6 * h(8));
                n.add(
                    limb(q, foot, knee, 0.013, 0.008).min(limb(q, knee, tip, 0.008, 0.0035)) * 0.9,
                    M::Twig,
                );
            }
        }
    }

    fn firs(&self, p: V3, n: &mut Near<M>) {
        let out =
            (p.x + 7.6).max(20.0 - p.z).min(17.0 - p.x).max(p.y - 15.0 - Self::level(p.x, 0.0).max(0.0));
        if out > 0.5 {
            n.add(out, M::Fir);
            return;
        }
        const CELL: f32 = 4.8;
        let ((x, i), (z, j)) = (repeat(p.x, CELL), repeat(p.z, CELL));
        let border = (0.5 * CELL - x.abs().max(z.abs()) + 0.3).max(0.4);
        let c = [i as f32 * CELL, j as f32 * CELL];
        let wood = plane(0.07 * c[0] + 1.0, 0.05 * c[1], 371) + 0.010 * (c[0].abs() - 12.0);
        let allowed = (c[0] < -9.0 && c[1] > 22.0) || c[0] > 18.0;
        if !allowed || wood < 0.30 || cell(i, j, 372) < 0.12 {
            n.add(border, M::Fir);
            return;
        }
        let h = |k| cell(i.wrapping_mul(7).wrapping_add(k), j, 373);
        let tall = 6.0 + 8.0 * h(1);
        let fir = Fir { tall, wide: 0.132 * tall * (0.8 + 0.4 * h(2)), kind: h(5) };
        let q = v3(x - 1.4 * (h(3) - 0.5), p.y - Self::level(c[0], c[1]) + 0.2, z - 1.4 * (h(4) - 0.5));
        n.add(fir.near(q, 375).min(border), M::Fir);
    }

    fn shade(&self, ray: &Ray, t: f32) -> V3 {
        let p = ray.at(t);
        let m = self.near(p).m;
        let map = |p: V3| self.near(p).d;
        let e = t * 0.0012;
        let fine = match m {
            M::Fir => (2.5 * e).max(0.03),
            M::Snow => e.max(0.004),
            _ => e.max(0.0008),
        };
        if m == M::Water {
            return self.water(p, ray);
        }
        let mut n = field::normal(p, fine, map);
        if n.dot(ray.to) > 0.0 {
            n = (n - ray.to * (n.dot(ray.to) + 0.02)).unit();
        }
        let off = p + n * (0.004 + 0.0006 * t);
        let near = field::openness(off, n, 0.9, map);
        // What stands some way off takes light too: woods and banks over several metres.
        let wide = field::openness(p + V3::UP * 0.3, (n + V3::UP).unit(), 6.0, map);
        let open = near * (0.35 + 0.65 * wide);
        let mut shine = 0.0;
        let albedo = match m {
            M::Snow => {
                let n = snow::grained(p, n, t);
                // Light that has gone through snow is a little blue where little else arrives.
                let fill = mix(v3(0.80, 0.86, 0.95), V3::all(1.0), smooth(0.2, 1.0, open));
                let mut light = v3(0.90, 0.905, 0.91) * Self::light(n, 0.18 + 0.82 * open) * fill;
                let grain = smooth(26.0, 5.0, t) * fractal(11.0 * p.x, 9.0 * p.z, 3, 386);
                light = light * (0.97 + 0.08 * fractal(0.9 * p.x, 1.1 * p.z, 3, 381) + 0.07 * grain);
                // Oil and rust between the rails, and what the plough turned up beside them.
                let line =
                    smooth(1.5, 1.0, p.x.abs()) * smooth(-0.1, 0.5, fractal(1.1 * p.x, 0.5 * p.z, 4, 383));
                let by_rail = smooth(0.16, 0.05, (p.x.abs() - 0.75).abs());
                light = mix(light, light * v3(0.60, 0.52, 0.45), (0.55 * line + 0.5 * by_rail).min(0.8));
                return light;
            }
            M::Rail => {
                if p.y > -0.014 {
                    shine = 0.55;
                    v3(0.20, 0.20, 0.205)
                } else {
                    v3(0.105, 0.060, 0.038)
                }
            }
            M::Wood => {
                let grain = fractal(3.0 * p.y, 24.0 * (p.x + p.z), 3, 385);
                let rime = smooth(0.15, 0.5, n.y * 0.5 - n.x * 0.3 + 0.6 * cloud(p * 3.0, 3, 387));
                mix(v3(0.115, 0.092, 0.075) * (1.0 + 0.6 * grain), v3(0.75, 0.76, 0.78), 0.7 * rime)
            }
            M::Twig => v3(0.085, 0.062, 0.048),
            M::Fir => needles(p, n, 389),
            M::Person(c) => self.cloth(c, p),
            M::Water => V3::ZERO,
        };
        let facing = 1.0 - n.dot(-ray.to).abs();
        let mut light = albedo * Self::light(n, open);
        if shine > 0.0 {
            light += Self::beyond(ray.to.reflected(n)) * (shine * (0.35 + 0.65 * facing.powi(4)) * open);
        }
        if let M::Person(Cloth::Coat | Cloth::Scarf | Cloth::Hat) = m {
            light += albedo * SKY * (0.35 * facing.powi(3) * open);
        }
        light
    }

    fn cloth(&self, c: Cloth, p: V3) -> V3 {
        let weave = 1.0 + 0.2 * cloud(p * 50.0, 1, 391) + 0.25 * cloud(p * 5.0, 2, 392);
        let c = match c {
            Cloth::Skin => return v3(0.40, 0.275, 0.205) * self.worker.features(p),
            Cloth::Coat => {
                // Two reflecting bands around an orange coat.
                let y = (p.y - self.worker.at.y) / self.worker.height * 1.75;
                let band = smooth(0.034, 0.028, (y - 1.0).abs()).max(smooth(0.034, 0.028, (y - 0.74).abs()));
                mix(v3(0.62, 0.155, 0.022), v3(0.62, 0.62, 0.52), band)
            }
            Cloth::Trousers => v3(0.05, 0.055, 0.07),
            Cloth::Hat => v3(0.05, 0.045, 0.045),
            Cloth::Scarf => v3(0.10, 0.11, 0.13),
            Cloth::Bag => v3(0.17, 0.10, 0.05),
        };
        c * weave
    }

    /// The stream: black water under ice that grows from its banks.
    fn water(&self, p: V3, ray: &Ray) -> V3 {
        let d = 0.05;
        let swell = |x: f32, z: f32| 0.012 * fractal(1.6 * x, 0.9 * z, 3, 393);
        let n = v3(
            (swell(p.x - d, p.z) - swell(p.x + d, p.z)) / (2.0 * d),
            1.0,
            (swell(p.x, p.z - d) - swell(p.x, p.z + d)) / (2.0 * d),
        )
        .unit();
        let r = ray.to.reflected(n);
        let mirror = Ray { from: p + V3::UP * 0.02, to: v3(r.x, r.y.abs(), r.z) };
        let seen = match field::march(&mirror, 0.1, 45.0, |p: V3| self.near(p).d) {
            Some(t) if t < 3.0 => v3(0.55, 0.57, 0.60),
            Some(_) => v3(0.11, 0.12, 0.12),
            None => Self::beyond(mirror.to),
        };
        let fresnel = 0.03 + 0.97 * (1.0 - n.dot(-ray.to).abs()).powi(5);
        let edge = (p.x - Self::stream(p.z)).abs();
        let ice = smooth(0.9, 1.4, edge + 0.5 * fractal(0.8 * p.x, 0.6 * p.z, 3, 395));
        mix(v3(0.022, 0.028, 0.028) + seen * fresnel, v3(0.62, 0.67, 0.70), 0.8 * ice)
    }

    /// What stands still.
    pub fn plate(&self, raster: Raster) -> Plate {
        let mut plate = Plate::expose(raster, 0, |x, y| self.look(raster, x, y));
        let w = raster.width as f32;
        plate.glare(None, &[(w * 0.004, 0.006), (w * 0.03, 0.012)]);
        plate
    }

    /// The light of a moment, in seconds.
    pub fn picture(&self, plate: &Plate, time: f32) -> Vec<V3> {
        let mut picture = plate.through_lens(&plate.light, plate.raster.blur(), 0.0);
        let front = START - SPEED * time;
        let bounds = [v3(-2.6, -0.4, front - 1.6), v3(2.6, 0.6, front + LONG)];
        darken(&mut picture, plate, &self.view, 0.0, bounds, |p| {
            let out = slab(p.x, p.z - front - 0.5 * LONG, HALF - 0.25, 0.5 * LONG, 0.3);
            1.0 - 0.72 * smooth(1.1, -0.4, out)
        });
        let train = Moving {
            least: v3(-HALF - 0.05, -0.15, front - 0.35),
            most: v3(HALF + 0.05, 3.75, front + LONG),
            field: |p: V3| train(p, front).d,
            shade: |ray: &Ray, t: f32| through_air(livery(ray, t, front), t, REACH, AIR),
        };
        train.draw(&mut picture, plate, &self.view, 0.0);
        // Headlights burn through the falling snow.
        let scale = self.view.scale(plate.raster);
        for (x, y, k) in LIGHTS {
            if let Some((px, py, d)) = self.view.project(plate.raster, v3(x, y, front - 0.2)) {
                halo(&mut picture, plate.raster, [px, py], scale * 0.85 / d, HEADLIGHT * (0.035 * k));
            }
        }
        // Snow that the train whirls up.
        Vapour {
            least: v3(-4.4, -0.3, front - 1.0),
            most: v3(4.4, 3.4, front + LONG),
            steps: 16,
            density: |p: V3| {
                let back = p.z - front;
                let rolled = v3(p.x, p.y - 0.7 * time, p.z + 0.5 * SPEED * time);
                let grow = smooth(-0.8, 14.0, back);
                let edge = (p.x.abs() - HALF).max(0.0);
                let body = smooth(0.5 + 2.6 * grow, 0.0, edge) * smooth(0.7 + 2.6 * grow, -0.2, p.y);
                0.62 * smooth(-0.9, 0.8, back)
                    * smooth(0.05, 0.75, body * (0.75 + 1.3 * cloud(rolled * 0.75, 4, 397)) - 0.22)
            },
            light: |p: V3, d: f32| AIR * (1.02 + 0.06 * p.y) * (1.0 - 0.25 * d),
        }
        .draw(&mut picture, plate, &self.view, 0.0);
        for (count, far, radius, seed) in
            [(4200, 9.0, [0.0024, 0.0056], 398), (14000, 34.0, [0.004, 0.009], 399)]
        {
            let fall = Fall {
                count,
                corner: v3(-4.4 - 0.55 * far, -2.0, 1.2),
                size: v3(1.4 * far, 4.0 + 0.5 * far, far),
                wind: v3(0.55, -1.15, -0.25),
                radius,
                rate: RATE as f32,
                seed,
            };
            fall.draw(&mut picture, plate, &self.view, 0.0, time, |_| v3(1.02, 1.03, 1.05));
        }
        picture
    }
}

/// The first telegraph pole, and from one to the next.
const POLE: f32 = 17.0;
const POLES: f32 = 26.0;

/// The train's lights: place across, height, strength.
const LIGHTS: [(f32, f32, f32); 3] = [(-0.86, 1.02, 1.0), (0.86, 1.02, 1.0), (0.0, 3.28, 0.75)];

#[derive(Clone, Copy, PartialEq, Eq)]
enum T {
    Body,
    Under,
    Plough,
    Snow,
}

fn train(p: V3, front: f32) -> Near<T> {
    let q = v3(p.x, p.y, p.z - front - 0.5 * LONG);
    let nose = 0.34 * smooth(1.5, 3.4, p.y) + 0.10 * (p.x / HALF).powi(2);
    let half = HALF - 0.12 * smooth(2.6, 3.6, p.y);
    let (joint, i) = repeat(p.z - front - 20.0, 20.4);
    let gap = if i >= 0 { 0.16 * smooth(0.5, 0.38, joint.abs()) } else { 0.0 };
    let mut n = Near::new(
        block(v3(q.x, q.y - 2.12, q.z - 0.5 * nose), v3(half - gap, 1.45, 0.5 * LONG - 0.5 * nose), 0.20)
            * 0.85,
        T::Body,
    );
    n.add(block(v3(q.x, q.y - 0.40, q.z - 0.4), v3(1.10, 0.32, 0.5 * LONG - 0.4), 0.05), T::Under);
    if p.z < front + 3.0 {
        let wedge = v3(q.x, q.y - 0.30, p.z - front - 0.05 - 0.22 * q.x.abs());
        n.add((block(wedge, v3(1.22, 0.36, 0.10), 0.03) - 0.03 * cloud(p * 3.0, 2, 401)) * 0.75, T::Plough);
    }
    n.add(
        (block(v3(q.x, q.y - 3.53, q.z - 0.5), v3(0.95, 0.10, 0.5 * LONG - 0.7), 0.09)
            - 0.05 * fractal(1.1 * p.x, 0.8 * (p.z - front), 2, 403))
            * 0.8,
        T::Snow,
    );
    n
}

/// Light of the train where a ray meets it.
fn livery(ray: &Ray, t: f32, front: f32) -> V3 {
    let p = ray.at(t);
    let m = train(p, front).m;
    let n = field::normal(p, (t * 0.0012).max(0.004), |p| train(p, front).d);
    let back = p.z - front;
    // Low parts stand over the dark between train and snow.
    let open = 0.35 + 0.65 * smooth(-0.1, 1.3, p.y);
    let light = Overcast::light(n, open);
    let caked =
        smooth(0.1, 0.55, smooth(1.4, 0.3, p.y) + 0.8 * cloud(v3(p.x, p.y, back) * 1.6, 3, 405) - 0.2);
    let albedo = match m {
        T::Snow => return v3(0.89, 0.90, 0.91) * light,
        T::Plough => mix(v3(0.05, 0.05, 0.052), v3(0.85, 0.86, 0.88), caked),
        T::Under => mix(v3(0.035, 0.034, 0.034), v3(0.80, 0.81, 0.83), 0.7 * caked),
        T::Body => {
            let red = v3(0.235, 0.030, 0.022);
            let cream = v3(0.58, 0.52, 0.41);
            let band = smooth(0.02, 0.0, (p.y - 1.55).abs() - 0.06);
            let coat = if p.y > 3.02 { v3(0.19, 0.19, 0.19) } else { mix(red, cream, band) };
            mix(coat, v3(0.70, 0.70, 0.71), 0.65 * caked * smooth(2.0, 0.6, p.y))
        }
    };
    let mut out = albedo * light;
    if m == T::Body {
        let facing = 1.0 - n.dot(-ray.to).abs();
        let mirror = Overcast::beyond(v3(ray.to.x, ray.to.y, ray.to.z).reflected(n));
        let gloss = 0.04 + 0.5 * facing.powi(5);
        let glass = if n.z < -0.55 {
            // Two panes in front.
            slab(p.x.abs() - 0.60, p.y - 2.45, 0.50, 0.42, 0.07) < 0.0
        } else {
            let (u, _) = repeat(back - 2.6, 1.95);
            let (joint, _) = repeat(back - 20.0, 20.4);
            joint.abs() > 1.2 && back > 1.3 && slab(u, p.y - 2.34, 0.68, 0.44, 0.08) < 0.0
        };
        if glass {
            // Lit faintly inside; most is the cloud mirrored.
            let inside = v3(0.30, 0.225, 0.135) * (0.35 + 0.5 * plane(1.3 * back, 3.0 * p.y, 407));
            out = inside * 0.8 + mirror * (0.05 + 0.95 * facing.powi(4)) * 0.8;
        } else {
            out += mirror * gloss * open;
        }
    }
    for (x, y, k) in LIGHTS {
        let r = ((p.x - x).powi(2) + (p.y - y).powi(2)).sqrt();
        if p.z < front + 0.9 {
            out = mix(out, HEADLIGHT * k, smooth(0.115, 0.085, r));
            out = mix(out, V3::all(0.03), smooth(0.10, 0.115, r) * smooth(0.16, 0.145, r));
        }
    }
    out
}

/// Light scattered around a lamp: falls off with distance, gone at `reach` pixels.
fn halo(picture: &mut [V3], raster: Raster, at: [f32; 2], reach: f32, light: V3) {
    let (w, h) = (raster.width as i32, raster.height as i32);
    let r = reach.ceil() as i32;
    for y in (at[1] as i32 - r).max(0)..(at[1] as i32 + r + 1).min(h) {
        for x in (at[0] as i32 - r).max(0)..(at[0] as i32 + r + 1).min(w) {
            let d = ((x as f32 + 0.5 - at[0]).powi(2) + (y as f32 + 0.5 - at[1]).powi(2)).sqrt() / reach;
            if d < 1.0 {
                picture[(y * w + x) as usize] += light * ((1.0 - d).powi(2) / (0.04 + d));
            }
        }
    }
}
