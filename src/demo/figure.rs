//! People, seen from some way off.

use super::field::{blend, egg, limb};
use super::noise::cloud;
use super::vector::{V3, v3};

/// What a figure is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cloth {
    Coat,
    Trousers,
    Skin,
    Hat,
    Scarf,
    Bag,
}

/// Someone in a winter coat, standing or walking.
#[derive(Clone, Copy)]
pub struct Figure {
    pub at: V3,
    /// Turned about the upright axis, radians.
    pub turn: f32,
    /// Metres.
    pub height: f32,
    pub bag: bool,
    /// How far the legs are apart in a step, −1…1; 0 stands.
    pub stride: f32,
}

impl Figure {
    /// Distance to the figure and what is there.
    pub fn near(&self, p: V3) -> (f32, Cloth) {
        let k = self.height / 1.75;
        let p = (p - self.at).turned(self.turn) / k;
        let far = (p.x * p.x + p.z * p.z).sqrt().max(p.y - 1.4) - 0.5;
        if far > 0.25 {
            return (far * k, Cloth::Coat);
        }
        let fold = 0.012 * cloud(v3(p.x * 9.0, p.y * 3.5, p.z * 9.0), 2, 5);
        let mut best = (f32::MAX, Cloth::Coat);
        let mut add = |d: f32, c| {
            if d < best.0 {
                best = (d, c);
            }
        };
        // Coat: shoulders to knees, wider at the hem, flatter front to back.
        let q = v3(p.x, p.y, p.z * 1.3);
        let mut coat = limb(q, v3(0.0, 1.30, 0.0), v3(0.0, 0.62, 0.0), 0.185, 0.245);
        coat = blend(coat, egg(p - v3(0.0, 1.36, 0.0), v3(0.235, 0.13, 0.14)), 0.1);
        for side in [-1.0f32, 1.0] {
            let shoulder = v3(0.205 * side, 1.36, 0.0);
            let swing = 0.16 * side * self.stride;
            let elbow = v3(0.285 * side, 1.08, -0.03 + 0.4 * swing);
            let hand = v3(0.235 * side, 0.86, -0.13 + swing);
            let arm = limb(p, shoulder, elbow, 0.078, 0.068).min(limb(p, elbow, hand, 0.068, 0.06));
            coat = blend(coat, arm, 0.05);
            add(egg(p - hand - v3(0.0, -0.05, 0.0), v3(0.045, 0.07, 0.05)), Cloth::Hat);
            let hip = v3(0.09 * side, 0.6, 0.0);
            let step = -0.30 * side * self.stride;
            // The foot that comes from behind is off the ground.
            let lift = 0.05 * step.max(0.0) / 0.30;
            add(limb(p, hip, v3(0.10 * side, 0.08 + lift, 0.02 + step), 0.095, 0.065), Cloth::Trousers);
            add(egg(p - v3(0.11 * side, 0.05 + lift, -0.05 + step), v3(0.06, 0.06, 0.14)), Cloth::Hat);
        }
        coat = coat.max(0.52 - p.y);
        add(coat * 0.85 + fold, Cloth::Coat);
        add(egg(p - v3(0.0, 1.63, -0.005), v3(0.083, 0.115, 0.098)), Cloth::Skin);
        add(egg(p - v3(0.0, 1.485, -0.01), v3(0.12, 0.06, 0.11)) + fold, Cloth::Scarf);
        let hat = egg(p - v3(0.0, 1.70, 0.012), v3(0.102, 0.10, 0.112)).max(1.655 - p.y);
        add(hat.min(egg(p - v3(0.0, 1.81, 0.01), v3(0.04, 0.04, 0.04))) + 0.5 * fold, Cloth::Hat);
        if self.bag {
            add(super::field::block(p - v3(0.31, 0.62, -0.12), v3(0.05, 0.15, 0.19), 0.03), Cloth::Bag);
        }
        (best.0 * k * 0.9, best.1)
    }

    /// How much darker the face is where eyes, nose and mouth are: a factor on its reflectance.
    pub fn features(&self, p: V3) -> f32 {
        let p = (p - self.at).turned(self.turn) / (self.height / 1.75);
        if p.z > -0.03 {
            return 1.0;
        }
        let x = p.x.abs();
        let spot = |dx: f32, dy: f32, wx: f32, wy: f32| (-((dx / wx).powi(2) + (dy / wy).powi(2))).exp();
        let eyes = spot(x - 0.033, p.y - 1.632, 0.015, 0.009);
        let sockets = spot(x - 0.033, p.y - 1.638, 0.026, 0.018);
        let nose = spot(x - 0.010, p.y - 1.598, 0.012, 0.010);
        let mouth = spot(x, p.y - 1.572, 0.026, 0.007);
        1.0 - (0.55 * eyes + 0.22 * sockets + 0.28 * nose + 0.32 * mouth).min(0.75)
    }
}
