//! An engine shed's workshop by tungsten light, as a camera balanced to daylight sees it.

use super::camera::{Plate, Raster, Sample, Sensor, View};
use super::field::{self, Near, Ray, blend, block, egg, limb, pole, slab};
use super::flakes::Fall;
use super::moving::{Moving, darken};
use super::noise::{cell, cloud, floor, fractal, repeat};
use super::vapour::Vapour;
use super::vector::{V3, mix, smooth, v3};
use super::{RATE, Target};

const FAR: f32 = 24.0;
/// A black body at 2900 K in ACEScg at luminance 1, unadapted: CIE 1931 x 0.444, y 0.406.
const TUNGSTEN: V3 = v3(1.3825, 0.8959, 0.3677);
/// Daylight behind the windows, late in the afternoon.
const OUTSIDE: V3 = v3(0.86, 1.02, 1.22);
/// The wall behind the bench, and where it ends towards the shed.
const WALL: f32 = 4.8;
const CORNER: f32 = 1.12;
const END: f32 = 17.0;
const TOP: f32 = 0.935;
const LOCO: V3 = v3(3.55, 0.0, 8.7);
/// A drawing pinned to the wall: middle and half sizes.
const DRAWING: V3 = v3(-0.02, 1.23, WALL);
const DRAWING_HALF: [f32; 2] = [0.23, 0.155];
const PAPER: f32 = 0.78;

/// The camera's noise, a stop more sensitive than by day.
pub const SENSOR: Sensor = Sensor { shot: 6.0e-5, read: 4.5e-4 };

#[derive(Clone, Copy, PartialEq, Eq)]
enum M {
    Floor,
    Wall,
    Wood,
    Steel,
    Iron,
    Brass,
    Green,
    Red,
    White,
    Rubber,
    Glass,
    Bulb(u8),
    Window,
    Coat,
    Trousers,
    Skin,
    Cap,
}

struct Lamp {
    at: V3,
    size: f32,
    face: f32,
    /// Irradiance over π at one metre.
    power: f32,
    axis: V3,
    /// Cosines between which the shade cuts its light off.
    cut: [f32; 2],
    /// Metres about the lamp in which nothing shades it.
    clear: f32,
}

impl Lamp {
    /// The way to it, the distance, and its light on a surface that faces it, before shadows.
    fn from(&self, p: V3) -> (V3, f32, f32) {
        let to = self.at - p;
        let d = to.length();
        let way = to / d;
        let through = 0.03 + 0.97 * smooth(self.cut[0], self.cut[1], -way.dot(self.axis));
        (way, d, self.power * through / (d * d).max(0.02))
    }
}

/// The set.
pub struct Workshop {
    view: View,
    lamps: [Lamp; 3],
}

impl Workshop {
    pub fn new() -> Self {
        let pendant = |at: V3, power: f32| Lamp {
            at,
            size: 0.075,
            face: 46.0,
            power,
            axis: v3(0.0, -1.0, 0.0),
            cut: [0.05, 0.55],
            clear: 0.4,
        };
        Self {
            view: View::new(v3(0.0, 1.55, 0.0), 6.0, -4.2, 42.0),
            lamps: [
                Lamp {
                    at: v3(-0.24, 1.545, 4.08),
                    size: 0.034,
                    face: 84.0,
                    power: 1.25,
                    axis: v3(0.50, -0.74, -0.44).unit(),
                    cut: [-0.25, 0.80],
                    clear: 0.17,
                },
                pendant(v3(2.55, 3.02, 7.5), 4.6),
                pendant(v3(5.4, 3.02, 13.5), 5.2),
            ],
        }
    }

    fn look(&self, raster: Raster, x: f32, y: f32) -> Sample {
        let ray = self.view.ray(raster, x, y);
        match field::march(&ray, 0.4, FAR, |p| self.near(p).d) {
            Some(t) => Sample { light: self.shade(&ray, t), depth: t, mask: 0.0 },
            None => Sample { light: TUNGSTEN * 0.01, depth: FAR, mask: 0.0 },
        }
    }

    fn near(&self, p: V3) -> Near<M> {
        let mut n = Near::new(p.y, M::Floor);
        n.add(block(p - v3(CORNER - 4.0, 2.4, WALL + 0.16), v3(4.0, 2.8, 0.16), 0.01), M::Wall);
        n.add(7.2 - p.x, M::Wall);
        n.add(END - p.z, M::Wall);
        self.bench(p, &mut n);
        self.shed(p, &mut n);
        self.lamp(p, &mut n);
        Self::body(p, &mut n);
        // A wheel in the foreground, its rim seen from above.
        let q = p - v3(-1.02, 0.47, 2.62);
        let hull = q.length() - 0.62;
        if hull > 0.25 {
            n.add(hull, M::Steel);
        } else {
            let q = q.turned(0.35);
            let r = (q.x * q.x + q.y * q.y).sqrt();
            n.add(slab(r - 0.425, q.z, 0.045, 0.062, 0.012), M::Steel);
            n.add(slab(r - 0.465, q.z - 0.055, 0.028, 0.014, 0.012), M::Steel);
            n.add(slab(r, q.z, 0.40, 0.022 + 0.03 * smooth(0.3, 0.1, r), 0.01) * 0.9, M::Iron);
        }
        n
    }

    fn bench(&self, p: V3, n: &mut Near<M>) {
        let hull = block(p - v3(-0.85, 0.72, 4.25), v3(1.75, 0.72, 0.62), 0.0);
        if hull > 0.3 {
            n.add(hull - 0.05, M::Wood);
            return;
        }
        let q = p - v3(-0.85, 0.0, 4.28);
        n.add(block(q - v3(0.0, TOP - 0.035, 0.0), v3(1.62, 0.035, 0.51), 0.008), M::Wood);
        n.add(block(q - v3(-0.1, 0.76, 0.05), v3(1.35, 0.10, 0.44), 0.006), M::Wood);
        let dx = q.x + 0.1 - 0.68 * ((q.x + 0.1) / 0.68).round().clamp(-1.0, 1.0);
        n.add(block(v3(dx, p.y - 0.76, q.z + 0.395), v3(0.30, 0.075, 0.012), 0.006), M::Wood);
        n.add(block(v3(dx, p.y - 0.76, q.z + 0.425), v3(0.05, 0.010, 0.012), 0.008), M::Brass);
        let leg = v3(q.x.abs() - 1.5, p.y - 0.43, q.z.abs() - 0.42);
        n.add(block(leg, v3(0.05, 0.45, 0.05), 0.006), M::Wood);
        if p.y < TOP - 0.1 {
            return;
        }
        // Vice with a workpiece.
        let v = p - v3(0.44, TOP, 3.98);
        let near = (v - v3(0.0, 0.12, 0.0)).length() - 0.34;
        if near > 0.1 {
            n.add(near, M::Iron);
        } else {
            let mut iron = block(v - v3(0.0, 0.025, 0.0), v3(0.10, 0.025, 0.085), 0.01);
            iron = blend(iron, block(v - v3(0.0, 0.09, 0.0), v3(0.055, 0.07, 0.05), 0.02), 0.03);
            let jaws = v3(v.x, v.y - 0.165, v.z.abs() - 0.055);
            iron = blend(iron, block(jaws, v3(0.075, 0.035, 0.030), 0.008), 0.02);
            n.add(iron, M::Iron);
            n.add(limb(v, v3(0.0, 0.105, -0.05), v3(0.0, 0.105, -0.20), 0.016, 0.016), M::Steel);
            n.add(limb(v, v3(-0.10, 0.13, -0.195), v3(0.10, 0.08, -0.195), 0.008, 0.008), M::Steel);
            n.add(block(v - v3(0.0, 0.205, 0.0), v3(0.05, 0.05, 0.020), 0.003), M::Steel);
        }
        // A toolbox, tins, a gear, a mug, an oil can.
        let b = (p - v3(-1.42, TOP + 0.12, 4.36)).turned(0.18);
        n.add(block(b, v3(0.25, 0.115, 0.12), 0.012), M::Red);
        n.add(block(b - v3(0.0, 0.055, 0.0), v3(0.256, 0.006, 0.126), 0.004), M::Red);
        let handle = slab(b.x, b.y - 0.15, 0.10, 0.035, 0.02).abs() - 0.008;
        n.add(handle.max(b.z.abs() - 0.010), M::Steel);
        for (x, z, r, h, m) in
            [(-0.98f32, 4.56f32, 0.055f32, 0.075f32, M::Brass), (-0.85, 4.62, 0.048, 0.10, M::Green)]
        {
            n.add(pole(p - v3(x, TOP + h, z), r, h), m);
            n.add(pole(p - v3(x, TOP + 2.0 * h, z), r + 0.004, 0.006), M::Steel);
        }
        let g = (p - v3(-0.60, TOP + 0.145, 4.60)).turned(-0.25);
        let (r, a) = ((g.x * g.x + g.y * g.y).sqrt(), g.y.atan2(g.x));
        let tooth = 0.008 * (4.0 * (22.0 * a).sin()).clamp(-1.0, 1.0);
        let disc = slab(r - 0.105 - tooth, g.z, 0.035, 0.022, 0.004).min(slab(r, g.z, 0.085, 0.010, 0.004));
        n.add(disc.max(0.026 - r) * 0.8, M::Steel);
        let c = p - v3(-0.62, TOP + 0.05, 3.98);
        let cup = pole(c, 0.042, 0.05).max(-pole(c - v3(0.0, 0.02, 0.0), 0.037, 0.05));
        n.add(cup.min(slab(c.x + 0.055, c.y, 0.018, 0.026, 0.015).abs().max(c.z.abs()) - 0.006), M::White);
        let o = p - v3(0.02, TOP, 4.32);
        n.add(pole(o - v3(0.0, 0.04, 0.0), 0.055, 0.04), M::Brass);
        n.add(limb(o, v3(0.0, 0.07, 0.0), v3(0.0, 0.12, 0.0), 0.052, 0.016), M::Brass);
        n.add(limb(o, v3(0.0, 0.12, 0.0), v3(0.10, 0.23, -0.02), 0.008, 0.004), M::Brass);
        // Offcuts and a spanner that lie about.
        let s = (p - v3(-0.30, TOP + 0.012, 3.93)).turned(0.9);
        n.add(
            block(s, v3(0.11, 0.006, 0.012), 0.004).min(pole(s - v3(0.12, 0.0, 0.0), 0.024, 0.007)),
            M::Steel,
        );
        let s = (p - v3(-1.75, TOP + 0.04, 3.98)).turned(-0.3);
        n.add(block(s, v3(0.32, 0.022, 0.07), 0.003), M::Wood);
        let s = (p - v3(-1.62, TOP + 0.085, 4.02)).turned(0.25);
        n.add(block(s, v3(0.28, 0.022, 0.06), 0.003), M::Wood);
    }

    /// The work lamp on its arm.
    fn lamp(&self, p: V3, n: &mut Near<M>) {
        let l = &self.lamps[0];
        let hull = (p - v3(-0.55, 1.35, 4.3)).length() - 0.72;
        if hull > 0.3 {
            n.add(hull, M::Green);
        } else {
            let q = p - l.at;
            let s = q.dot(l.axis);
            let r = (q.dot(q) - s * s).max(0.0).sqrt();
            let shell = slab((r - 0.050 - 0.72 * (s + 0.085)) * 0.81, s + 0.030, 0.004, 0.060, 0.003);
            n.add(shell.min(slab(r, s + 0.105, 0.045, 0.035, 0.01)) * 0.9, M::Green);
            n.add(q.length() - l.size, M::Bulb(0));
            let (foot, elbow, head) = (v3(-0.98, TOP, 4.62), v3(-0.86, 1.62, 4.55), l.at - l.axis * 0.13);
            n.add(limb(p, foot, elbow, 0.013, 0.013), M::Steel);
            n.add(limb(p, elbow, head, 0.012, 0.012), M::Steel);
            n.add((p - elbow).length() - 0.03, M::Green);
            n.add(pole(p - foot - v3(0.0, 0.015, 0.0), 0.085, 0.016), M::Green);
        }
    }

    /// What stands deeper in the shed: an engine, lamps on cords, windows in the end wall.
    fn shed(&self, p: V3, n: &mut Near<M>) {
        if p.z < 5.6 {
            n.add((6.6 - p.z).max(CORNER - p.x), M::Iron);
        }
        for (k, l) in self.lamps.iter().enumerate().skip(1) {
            let q = p - l.at;
            let r = (q.x * q.x + q.z * q.z).sqrt();
            let hull = r - 0.35;
            if hull > 0.3 {
                n.add(hull, M::Green);
                continue;
            }
            n.add(slab(r - 0.16, q.y - 0.10 + 0.45 * (r - 0.16), 0.15, 0.006, 0.003) * 0.8, M::Green);
            n.add(pole(q - v3(0.0, 1.3, 0.0), 0.009, 1.2), M::Rubber);
            n.add(q.length() - l.size, M::Bulb(k as u8));
        }
        let (wx, i) = repeat(p.x - 1.75, 2.35);
        if p.z > END - 1.0 && (0..3).contains(&i) {
            n.add(block(v3(wx, p.y - 2.6, p.z - END), v3(0.72, 1.15, 0.03), 0.0), M::Window);
            n.add(block(v3(wx, p.y - 1.40, p.z - END + 0.1), v3(0.85, 0.06, 0.14), 0.01), M::Wall);
        }
        let q = p - LOCO;
        let hull = block(q - v3(0.0, 2.0, 3.4), v3(1.6, 2.0, 4.2), 0.0);
        if hull > 0.3 {
            n.add(hull - 0.05, M::Green);
            return;
        }
        let lean = 0.22 * smooth(1.7, 3.4, q.y);
        n.add(
            block(v3(q.x, q.y - 2.35, q.z - 3.5 - 0.5 * lean), v3(1.36, 1.25, 3.5 - 0.5 * lean), 0.16) * 0.9,
            M::Green,
        );
        n.add(block(q - v3(0.0, 1.00, -0.02), v3(1.36, 0.17, 0.07), 0.02), M::Red);
        n.add(block(q - v3(0.0, 0.55, 3.6), v3(1.05, 0.5, 3.4), 0.05), M::Iron);
        let w = v3(q.x.abs() - 0.62, q.y - 2.66, q.z - 0.10);
        n.add(block(w, v3(0.46, 0.36, 0.08), 0.05), M::Glass);
        n.add(
            slab(w.x, w.y, 0.50, 0.40, 0.08).max(-slab(w.x, w.y, 0.45, 0.35, 0.06)).max(w.z.abs() - 0.13),
            M::Rubber,
        );
        // Buffers, drawn along z; hoses; lamps that are off.
        let b = v3(q.x.abs() - 0.88, q.y - 1.02, q.z);
        let r = (b.x * b.x + b.y * b.y).sqrt();
        n.add(slab(r, b.z + 0.30, 0.10, 0.26, 0.02), M::Iron);
        n.add(slab(r, b.z + 0.56, 0.235, 0.025, 0.02), M::Steel);
        n.add(
            limb(v3(q.x.abs(), q.y, q.z), v3(0.42, 0.95, -0.08), v3(0.36, 0.45, -0.22), 0.03, 0.03),
            M::Rubber,
        );
        n.add(block(q - v3(0.0, 0.92, -0.20), v3(0.05, 0.14, 0.12), 0.03), M::Iron);
        let h = v3(q.x.abs() - 0.92, q.y - 1.55, q.z);
        let r = (h.x * h.x + h.y * h.y).sqrt();
        n.add(slab(r - 0.14, h.z, 0.025, 0.07, 0.01), M::Steel);
        n.add(slab(r, h.z, 0.13, 0.03, 0.0), M::Glass);
        n.add(block(q - v3(0.0, 0.38, -0.25 - 0.0), v3(1.15, 0.16, 0.03), 0.01), M::Iron);
        n.add(slab(q.y - 1.95, q.z - 0.0, 0.008, 0.03, 0.004).max(q.x.abs() - 1.2), M::Brass);
    }

    /// The mechanic's trunk and legs, which stand still.
    fn body(p: V3, n: &mut Near<M>) {
        let q = p - v3(1.06, 0.0, 3.92);
        let hull = slab((q.x * q.x + q.z * q.z).sqrt(), q.y - 0.75, 0.40, 0.85, 0.0);
        if hull > 0.25 {
            n.add(hull, M::Coat);
            return;
        }
        let fold = 0.010 * cloud(v3(q.x * 9.0, q.y * 4.0, q.z * 9.0), 2, 410);
        let s = v3(q.x, q.y, q.z * 0.86);
        let mut coat = limb(s, v3(0.08, 0.88, 0.0), v3(-0.05, 1.27, 0.0), 0.158, 0.172);
        coat = blend(coat, egg(q - v3(-0.065, 1.375, 0.0), v3(0.125, 0.10, 0.225)), 0.10);
        coat = blend(coat, limb(s, v3(0.08, 0.84, 0.0), v3(0.075, 0.66, 0.0), 0.162, 0.160), 0.05);
        n.add(coat * 0.85 + fold, M::Coat);
        n.add(egg(q - v3(-0.10, 1.475, 0.0), v3(0.085, 0.045, 0.085)) + fold, M::Coat);
        for side in [-1.0f32, 1.0] {
            let leg =
                limb(q, v3(0.08, 0.7, 0.09 * side), v3(0.03 + 0.06 * side, 0.06, 0.12 * side), 0.10, 0.075);
            n.add(leg + fold, M::Trousers);
        }
        // The apron's ties.
        n.add(slab(coat - 0.004, q.y - 0.95, 0.008, 0.022, 0.004) * 0.8, M::Rubber);
    }

    /// Where the file is in its stroke at a time, in metres.
    fn stroke(time: f32) -> f32 {
        0.085 * (std::f32::consts::TAU * 1.1 * time).cos()
    }

    /// Head, arms and file at a stroke.
    fn worker(p: V3, dx: f32) -> Near<M> {
        let mut n = Near::new(f32::MAX, M::Skin);
        let h = p - v3(0.875 + 0.10 * dx, 1.635 - 0.04 * dx.abs(), 3.92);
        let head_hull = h.length() - 0.22;
        if head_hull > 0.12 {
            n.add(head_hull, M::Skin);
        } else {
            let h = v3(h.x + 0.12 * h.y, h.y - 0.10 * h.x, h.z).turned(-0.22);
            let mut skin = egg(h, v3(0.098, 0.118, 0.076));
            skin = blend(skin, egg(h - v3(-0.040, -0.075, 0.0), v3(0.058, 0.056, 0.055)), 0.05);
            skin = blend(skin, egg(h - v3(-0.104, -0.022, 0.0), v3(0.024, 0.022, 0.014)), 0.022);
            skin = blend(skin, egg(h - v3(-0.088, 0.022, 0.0), v3(0.018, 0.012, 0.055)), 0.02);
            skin = blend(skin, egg(h - v3(-0.090, -0.062, 0.0), v3(0.016, 0.010, 0.026)), 0.012);
            skin = blend(skin, limb(h, v3(0.035, -0.06, 0.0), v3(0.06, -0.17, 0.0), 0.056, 0.062), 0.04);
            skin = skin.min(egg(h - v3(0.018, -0.012, h.z.signum() * 0.076), v3(0.020, 0.032, 0.011)));
            n.add(skin, M::Skin);
            let cap = egg(h - v3(0.006, 0.045, 0.0), v3(0.112, 0.092, 0.089)).max(0.034 - h.y - 0.1 * h.x);
            let peak =
                block(v3(h.x + 0.122, h.y - 0.038 + 0.25 * (h.x + 0.1), h.z), v3(0.050, 0.007, 0.068), 0.007);
            n.add(cap.min(peak) * 0.9, M::Cap);
            n.add(egg(v3(h.x + 0.088, h.y + 0.002, h.z.abs() - 0.034), v3(0.010, 0.0055, 0.013)), M::Rubber);
            // Hair shows under the cap.
            n.add(egg(h - v3(0.034, 0.0, 0.0), v3(0.072, 0.072, 0.078)), M::Rubber);
        }
        let f = p - v3(0.44 + dx, TOP + 0.268, 3.98);
        n.add(block(f - v3(0.02, 0.0, 0.0), v3(0.16, 0.005, 0.014), 0.003), M::Steel);
        n.add(limb(f, v3(0.18, 0.0, 0.0), v3(0.29, 0.004, 0.0), 0.014, 0.018), M::Wood);
        for (shoulder, elbow, hand, grip) in [
            (
                v3(1.0, 1.385, 3.70),
                v3(1.055 + 0.55 * dx, 1.135, 3.63),
                v3(0.715 + dx, TOP + 0.278, 3.955),
                0.0f32,
            ),
            (
                v3(0.97, 1.385, 4.13),
                v3(0.76 + 0.6 * dx, 1.165, 4.20),
                v3(0.315 + dx, TOP + 0.295, 4.005),
                1.0,
            ),
        ] {
            let cuff = mix(elbow, hand, 0.42);
            let fold = 0.006 * cloud(v3(p.x - 0.5 * dx, p.y, p.z) * 14.0, 1, 412);
            let sleeve =
                blend(limb(p, shoulder, elbow, 0.078, 0.060), limb(p, elbow, cuff, 0.060, 0.052), 0.03);
            n.add(sleeve * 0.95 + fold, M::Coat);
            n.add(limb(p, cuff, cuff + (hand - cuff) * 0.05, 0.056, 0.056), M::Coat);
            let wrist = mix(elbow, hand, 0.90);
            let mut skin = limb(p, cuff, wrist, 0.043, 0.029);
            let g = p - hand;
            skin = blend(skin, egg(g, v3(0.050, 0.026, 0.042)), 0.03);
            if g.length() < 0.14 {
                for k in 0..4 {
                    let z = 0.020 * (k as f32 - 1.5);
                    let base = v3(-0.030 + 0.02 * grip, 0.006, z);
                    let tip = v3(-0.048 - 0.01 * grip, -0.030 + 0.012 * grip, 0.8 * z - 0.012 * (1.0 - grip));
                    skin = blend(skin, limb(g, base, tip, 0.0115, 0.009), 0.010);
                }
                skin =
                    blend(skin, limb(g, v3(0.0, 0.0, -0.03), v3(-0.05, 0.004, -0.030), 0.013, 0.010), 0.012);
            }
            n.add(skin, M::Skin);
        }
        n
    }

    /// Light of the lamps, the room and the windows on a surface. `clear` is how much of a lamp shows from
    /// a place: towards it, as far as so many metres.
    fn light(&self, p: V3, n: V3, open: f32, clear: &dyn Fn(usize, V3, f32) -> f32) -> V3 {
        let mut sum = 0.0;
        for (k, lamp) in self.lamps.iter().enumerate() {
            let (way, d, e) = lamp.from(p);
            let e = e * n.dot(way).max(0.0);
            // Too little to be worth a shadow; it fades, so that no rim shows.
            let e = e * smooth(0.002, 0.008, e);
            if e > 0.0 {
                sum += e * clear(k, way, (d - lamp.clear).max(0.05));
            }
        }
        // A lamp behind the camera, so broad that its shadows are soft, and what the bench throws back.
        let to = v3(-1.9, 3.2, 0.6) - p;
        let d2 = to.dot(to);
        sum += 3.4 * ((n.dot(to) / d2.sqrt() + 0.25) / 1.25).max(0.0) / d2 * (0.3 + 0.7 * open);
        let to = v3(0.05, TOP + 0.05, 4.15) - p;
        let d2 = to.dot(to).max(0.06);
        let bounce = 0.12 * ((n.dot(to) / d2.sqrt() + 0.4) / 1.4).max(0.0) / (d2 + 0.12) * (0.4 + 0.6 * open);
        let room = (0.030 + 0.012 * n.y) * open;
        // The windows: near them a cold light from the end of the shed.
        let to = v3(3.8, 2.6, END) - p;
        let d2 = to.dot(to).max(1.0);
        let cold = 1.1 * n.dot(to).max(0.0) / d2.sqrt() / (d2 + 2.0)
            * smooth(4.9, 6.5, p.z + 3.0 * (p.x - CORNER).max(0.0))
            * open;
        TUNGSTEN * (sum + room) + TUNGSTEN * v3(1.06, 0.98, 0.85) * bounce + OUTSIDE * 6.3 * cold
    }

    /// Glints of the lamps in a surface with normal `n`: `tight` is the lobe's exponent.
    fn glint(&self, p: V3, n: V3, to: V3, tight: f32) -> V3 {
        let mirror = to.reflected(n);
        let mut sum = 0.0;
        for lamp in &self.lamps {
            let (way, _, e) = lamp.from(p);
            sum += e * tight * 0.10 * mirror.dot(way).max(0.0).powf(tight);
        }
        let way = (v3(-1.9, 3.2, 0.6) - p).unit();
        sum += 0.2 * tight * 0.10 * mirror.dot(way).max(0.0).powf(0.3 * tight);
        let end = if p.z > 5.0 {
            OUTSIDE * (0.9 * smooth(0.90, 0.99, mirror.dot((v3(3.8, 2.6, END) - p).unit())))
        } else {
            V3::ZERO
        };
        TUNGSTEN * (sum + 0.020 + 0.045 * smooth(0.3, -0.6, mirror.y)) + end
    }

    /// Reflectance of a surface, how much it mirrors, and how sharply.
    fn paint(m: M, p: V3, n: V3) -> (V3, f32, f32) {
        let worn = cloud(p * 9.0, 3, 420);
        match m {
            M::Floor => {
                let stain = fractal(0.9 * p.x, 0.9 * p.z, 5, 422);
                let oil = smooth(0.18, 0.42, fractal(1.7 * p.x + 3.0, 1.7 * p.z, 4, 424));
                let c = v3(0.17, 0.160, 0.150) * (0.9 + 0.7 * stain);
                let rail = smooth(0.06, 0.05, ((p.x - LOCO.x).abs() - 0.55).abs()) * smooth(5.9, 6.0, p.z);
                (
                    mix(mix(c, v3(0.045, 0.042, 0.04), 0.7 * oil), v3(0.10, 0.095, 0.09), rail),
                    0.04 + 0.16 * oil + 0.4 * rail,
                    24.0,
                )
            }
            M::Wood => {
                let (u, v) = if n.y.abs() > 0.6 { (p.x, p.z) } else { (p.x, p.y) };
                let (w, i) = repeat(v, 0.17);
                let gap = smooth(0.085, 0.080, w.abs());
                let grain = fractal(1.6 * u + 20.0 * cell(i, 3, 426), 34.0 * v, 4, 427);
                let c =
                    mix(v3(0.185, 0.105, 0.056), v3(0.30, 0.19, 0.11), cell(i, 1, 426)) * (1.0 + 0.5 * grain);
                let dirt = smooth(0.0, 0.45, fractal(2.1 * u, 2.6 * v + p.z, 4, 429));
                (mix(c, v3(0.07, 0.055, 0.045), 0.55 * dirt) * (0.4 + 0.6 * gap), 0.035, 18.0)
            }
            M::Wall => Self::wall(p, n),
            M::Steel => (v3(0.19, 0.185, 0.18) * (1.0 + 0.5 * worn), 0.50, 70.0 + 40.0 * worn),
            M::Iron => {
                (mix(v3(0.050, 0.050, 0.052), v3(0.115, 0.066, 0.040), smooth(0.0, 0.4, worn)), 0.10, 24.0)
            }
            M::Brass => (v3(0.31, 0.20, 0.075) * (1.0 + 0.5 * worn), 0.35, 50.0),
            M::Green => {
                let chip = smooth(0.30, 0.36, cloud(p * 6.0, 3, 431));
                (mix(v3(0.038, 0.078, 0.055), v3(0.10, 0.09, 0.08), chip), 0.09, 90.0)
            }
            M::Red => {
                let chip = smooth(0.26, 0.32, cloud(p * 7.0, 3, 433));
                (mix(v3(0.27, 0.036, 0.026), v3(0.11, 0.10, 0.09), chip), 0.07, 60.0)
            }
            M::White => (
                mix(
                    v3(0.68, 0.68, 0.66),
                    v3(0.06, 0.09, 0.22),
                    smooth(0.010, 0.006, (p.y - TOP - 0.098).abs()),
                ),
                0.08,
                120.0,
            ),
            M::Rubber => (V3::all(0.022), 0.02, 20.0),
            M::Glass => (V3::all(0.012), 0.45, 400.0),
            M::Coat => {
                let weave = 1.0 + 0.25 * cloud(p * 70.0, 1, 435) + 0.3 * worn;
                (
                    mix(
                        v3(0.068, 0.098, 0.165),
                        v3(0.05, 0.048, 0.05),
                        smooth(0.1, 0.5, cloud(p * 4.0, 3, 437)),
                    ) * weave,
                    0.0,
                    1.0,
                )
            }
            M::Trousers => (v3(0.05, 0.055, 0.07) * (1.0 + 0.3 * worn), 0.0, 1.0),
            M::Cap => (v3(0.045, 0.05, 0.07) * (1.0 + 0.25 * cloud(p * 60.0, 1, 439)), 0.0, 1.0),
            M::Skin => {
                // Blood under the skin, a shadow of beard, grease on the hands.
                let red = smooth(-0.2, 0.5, cloud(p * 22.0, 2, 441));
                let c = mix(v3(0.43, 0.300, 0.225), v3(0.42, 0.255, 0.185), red);
                let grease = smooth(0.12, 0.45, cloud(p * 26.0, 3, 443)) * smooth(1.40, 1.25, p.y);
                let beard = smooth(1.60, 1.56, p.y) * smooth(1.50, 1.54, p.y) * smooth(0.88, 0.82, p.x);
                (
                    mix(mix(c, v3(0.17, 0.125, 0.10), 0.5 * beard), v3(0.06, 0.045, 0.035), 0.5 * grease),
                    0.025,
                    14.0,
                )
            }
            M::Bulb(_) | M::Window => (V3::ZERO, 0.0, 1.0),
        }
    }

    /// Walls: painted boards with tools behind the bench, whitewashed brick elsewhere.
    fn wall(p: V3, n: V3) -> (V3, f32, f32) {
        let behind = p.x < CORNER && (p.z - WALL).abs() < 0.02;
        if behind {
            let (u, v) = (p.x - DRAWING.x, p.y - DRAWING.y);
            if u.abs() < DRAWING_HALF[0] && v.abs() < DRAWING_HALF[1] {
                return (V3::all(PAPER) * Self::drawing(u, v), 0.0, 1.0);
            }
            let (d, wood) = tools(p.x, p.y);
            if d < 0.0 {
                let c =
                    if wood { v3(0.20, 0.105, 0.052) } else { V3::all(0.15 + 0.10 * smooth(-0.004, 0.0, d)) };
                return (
                    c * (1.0 + 0.3 * fractal(20.0 * p.x, 60.0 * p.y, 2, 445)),
                    if wood { 0.03 } else { 0.4 },
                    30.0,
                );
            }
        }
        if behind && p.y < 2.06 {
            let (w, i) = repeat(p.x, 0.145);
            let gap = smooth(0.0725, 0.069, w.abs());
            let grain = fractal(30.0 * p.x, 1.4 * p.y + 9.0 * cell(i, 1, 447), 4, 448);
            let scuff = smooth(0.1, 0.5, fractal(2.2 * p.x, 2.2 * p.y, 5, 449));
            let c = mix(v3(0.165, 0.185, 0.150), v3(0.25, 0.20, 0.145), 0.6 * scuff)
                * (1.0 + 0.25 * grain + 0.12 * (cell(i, 2, 447) - 0.5));
            return (c * (0.35 + 0.65 * gap), 0.03, 20.0);
        }
        let u = if n.x.abs() > 0.6 { p.z } else { p.x };
        let row = floor(p.y / 0.075);
        let (bx, i) = repeat(u + 0.125 * (row & 1) as f32, 0.25);
        let (by, _) = repeat(p.y - 0.0375, 0.075);
        let mortar = smooth(0.125, 0.116, bx.abs()).min(smooth(0.0375, 0.030, by.abs()));
        let brick = mix(v3(0.27, 0.115, 0.068), v3(0.20, 0.10, 0.07), cell(i, row, 451));
        let lime = smooth(-0.25, 0.2, fractal(1.1 * u, 1.1 * p.y, 5, 453)) * 0.85;
        let c = mix(brick, v3(0.46, 0.43, 0.39), lime) * (0.7 + 0.3 * mortar);
        (c * (0.9 + 0.3 * fractal(7.0 * u, 7.0 * p.y, 3, 455)), 0.0, 1.0)
    }

    /// Ink on the drawing, and its creases: 1 where the paper is bare.
    fn drawing(u: f32, v: f32) -> f32 {
        let fold = 1.0 - 0.05 * smooth(0.004, 0.0, (u - 0.075).abs()) - 0.05 * smooth(0.004, 0.0, v.abs());
        // The upper right quarter is bare; a wheel and its section fill the left.
        let r = ((u + 0.09).powi(2) + v * v).sqrt();
        let circle = |at: f32| (r - at).abs();
        let spoke = repeat((v.atan2(u + 0.09)) / std::f32::consts::TAU * 8.0, 1.0).0.abs() * r;
        let mut line = circle(0.105).min(circle(0.095)).min(circle(0.025)).min(if r < 0.095 && r > 0.025 {
            spoke
        } else {
            1.0
        });
        if u > 0.075 && v < -0.02 {
            line = line
                .min(slab(u - 0.15, v + 0.085, 0.055, 0.035, 0.0).abs())
                .min((v + 0.085).abs().max((u - 0.15).abs() - 0.055));
        }
        line = line.min(slab(u, v, DRAWING_HALF[0] - 0.012, DRAWING_HALF[1] - 0.012, 0.0).abs());
        fold * (1.0 - 0.75 * smooth(0.0022, 0.0008, line))
    }

    fn shade(&self, ray: &Ray, t: f32) -> V3 {
        let p = ray.at(t);
        let map = |p: V3| self.near(p).d;
        let m = self.near(p).m;
        match m {
            M::Bulb(k) => return TUNGSTEN * self.lamps[k as usize].face,
            M::Window => {
                let (wx, i) = repeat(p.x - 1.75, 2.35);
                let bars = smooth(0.012, 0.022, repeat(wx + 0.18, 0.36).0.abs())
                    * smooth(0.012, 0.022, repeat(p.y, 0.46).0.abs());
                let grime = 0.75
                    + 0.5 * fractal(2.0 * p.x, 2.0 * p.y, 4, 457)
                    + 0.2 * (cell(floor((wx + 0.18) / 0.36), floor(p.y / 0.46) + 9 * i, 459) - 0.5);
                let hills = smooth(2.05, 2.25, p.y + 0.25 * fractal(1.3 * p.x, 1.0, 4, 461));
                return OUTSIDE * (mix(0.75, 1.55, hills) * grime * (0.06 + 0.94 * bars));
            }
            _ => {}
        }
        let mut n = field::normal(p, (t * 0.0010).max(0.0008), map);
        if n.dot(ray.to) > 0.0 {
            n = (n - ray.to * (n.dot(ray.to) + 0.02)).unit();
        }
        if m == M::Floor || m == M::Wall {
            let k = if m == M::Floor { 3.0 } else { 14.0 };
            n = (n + v3(cloud(p * k, 2, 463), cloud(p * k, 2, 465), 0.0) * 0.06).unit();
        }
        let off = p + n * (0.003 + 0.0004 * t);
        let open = field::openness(off, n, 0.7, map);
        let clear = |k: usize, way: V3, limit: f32| {
            let mut open = field::sunlit(off, way, limit, 0.035, map);
            if k == 0 && m == M::Wall && p.x < CORNER {
                // Tools hang two centimetres off the boards.
                let q = p + way * (0.022 / (-way.z).max(0.15));
                open *= smooth(-0.006, 0.010, tools(q.x, q.y).0);
            }
            open
        };
        self.finish(ray, p, n, m, open, &clear)
    }

    fn finish(&self, ray: &Ray, p: V3, n: V3, m: M, open: f32, clear: &dyn Fn(usize, V3, f32) -> f32) -> V3 {
        let (albedo, shine, tight) = Self::paint(m, p, n);
        let facing = 1.0 - n.dot(-ray.to).abs();
        let mut light = albedo * self.light(p, n, open, clear);
        if shine > 0.0 {
            let tint = if m == M::Brass { v3(1.2, 0.9, 0.45) } else { V3::all(1.0) };
            light += self.glint(p, n, ray.to, tight)
                * tint
                * (shine * (0.6 + 0.9 * facing.powi(4)) * (0.25 + 0.75 * open));
        }
        if matches!(m, M::Coat | M::Cap) {
            light += albedo * self.light(p, -ray.to, open, &|_, _, _| 0.4) * (0.6 * facing.powi(3));
        }
        light
    }

    /// What stands still.
    pub fn plate(&self, raster: Raster) -> Plate {
        let mut plate = Plate::expose(raster, 0, |x, y| self.look(raster, x, y));
        let w = raster.width as f32;
        plate.glare(None, &[(w * 0.0025, 0.024), (w * 0.012, 0.012), (w * 0.05, 0.008)]);
        plate
    }

    /// The light of a moment, in seconds.
    pub fn picture(&self, plate: &Plate, time: f32) -> Vec<V3> {
        let mut picture = plate.through_lens(&plate.light, plate.raster.blur(), 0.0);
        let dx = Self::stroke(time);
        // Hands and file shade vice and bench.
        darken(&mut picture, plate, &self.view, 0.0, [v3(0.1, TOP - 0.01, 3.75), v3(1.0, 1.17, 4.3)], |p| {
            let d = limb(p, v3(0.36 + dx, TOP + 0.24, 4.0), v3(0.80 + dx, TOP + 0.22, 3.96), 0.05, 0.05);
            1.0 - 0.5 * smooth(0.20, 0.0, d)
        });
        let all = |p: V3| {
            let mut n = Self::worker(p, dx);
            Self::body(p, &mut n);
            n.d
        };
        Moving {
            least: v3(0.12, 1.02, 3.5),
            most: v3(1.16, 1.80, 4.32),
            field: |p: V3| Self::worker(p, dx).d,
            shade: |ray: &Ray, t: f32| {
                let p = ray.at(t);
                let m = Self::worker(p, dx).m;
                let mut n = field::normal(p, 0.003, |p| Self::worker(p, dx).d);
                if n.dot(ray.to) > 0.0 {
                    n = (n - ray.to * (n.dot(ray.to) + 0.02)).unit();
                }
                let off = p + n * 0.006;
                let open = field::openness(off, n, 0.25, all);
                let clear = |k: usize, way: V3, limit: f32| {
                    if k == 0 { field::sunlit(off, way, limit.min(0.7), 0.05, all) } else { 0.7 }
                };
                self.finish(ray, p, n, m, open, &clear)
            },
        }
        .draw(&mut picture, plate, &self.view, 0.0);
        // Dust and smoke in the lamps' cones.
        for (k, least, most, thick) in [
            (0, v3(-1.0, TOP, 3.3), v3(1.1, 1.62, WALL), 0.10),
            (1, v3(1.2, 0.0, 5.9), v3(4.3, 3.0, 8.6), 0.035),
        ] {
            let lamp = &self.lamps[k];
            Vapour {
                least,
                most,
                steps: 10,
                density: |p: V3| {
                    let drift = p - v3(0.05, 0.09, -0.03) * time;
                    thick * (0.55 + 1.6 * cloud(drift * v3(2.2, 1.5, 2.2), 3, 467)).max(0.0)
                },
                light: |p: V3, _| TUNGSTEN * (lamp.from(p).2.min(9.0) * 0.30 + 0.02),
            }
            .draw(&mut picture, plate, &self.view, 0.0);
        }
        for (count, corner, size, radius) in [
            (420, v3(-1.1, 0.9, 2.6), v3(2.4, 0.9, 2.0), [0.0004, 0.0011]),
            (700, v3(1.2, 0.2, 5.2), v3(4.0, 2.8, 4.0), [0.0009, 0.0020]),
        ] {
            let motes = Fall {
                count,
                corner,
                size,
                wind: v3(0.04, -0.025, -0.03),
                radius,
                rate: RATE as f32,
                seed: 469,
            };
            motes.draw(&mut picture, plate, &self.view, 0.0, time, |p| {
                let e = self.lamps.iter().map(|l| l.from(p).2.min(12.0)).sum::<f32>();
                TUNGSTEN * (0.55 * e + 0.03)
            });
        }
        picture
    }

    /// The drawing's bare corner.
    pub fn targets(&self, raster: Raster) -> Vec<Target> {
        let at = DRAWING + v3(0.150, 0.070, 0.0);
        let (x, y, d) = self.view.project(raster, at).unwrap_or_default();
        let reach = 0.045 * self.view.scale(raster) / d;
        vec![Target { name: "drawing paper", reflectance: [PAPER; 3], centre: [x, y], reach }]
    }
}

/// Tools on the wall behind the bench, in its plane: distance to the nearest outline, and whether wood.
fn tools(u: f32, v: f32) -> (f32, bool) {
    if !(1.34..2.0).contains(&v) || !(-2.6..0.98).contains(&u) {
        return (0.2, false);
    }
    let (x, i) = repeat(u, 0.155);
    // Behind lamp and drawing the wall is bare.
    let kind = (cell(i, 7, 470) * 5.0) as u32;
    let long = 0.10 + 0.07 * cell(i, 9, 470);
    let y = v - 1.90 + long;
    let lean = 0.05 * (cell(i, 11, 470) - 0.5);
    let x = x - lean * y;
    let (metal, wood) = match kind {
        0 | 1 => {
            let ring = |c: f32, r: f32| ((x * x + (y - c).powi(2)).sqrt() - r).abs() - 0.010;
            let jaw = ring(-long, 0.020).max(-slab(x, y + long + 0.024, 0.011, 0.020, 0.0));
            (slab(x, y, 0.010, long - 0.02, 0.003).min(ring(long, 0.017)).min(jaw), 1.0)
        }
        2 => (slab(x, y - long, 0.055, 0.020, 0.005), slab(x, y + 0.01, 0.013, long, 0.006)),
        3 => (
            slab(x, y + 0.5 * long, 0.006, 0.5 * long, 0.0),
            slab(x, y - 0.55 * long, 0.019, 0.45 * long, 0.012),
        ),
        _ => {
            let leg = (x.abs() - 0.010 - 0.13 * (long * 0.4 - y).max(0.0)).abs() - 0.007;
            let legs = leg.max(y - 0.4 * long).max(-y - long);
            (
                slab(x, y - 0.62 * long, 0.022 - 0.05 * (y - 0.4 * long).max(0.0), 0.28 * long, 0.006)
                    .min(legs),
                1.0,
            )
        }
    };
    if wood < metal { (wood, true) } else { (metal, false) }
}
