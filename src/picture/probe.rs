//! What a place of a picture holds, from the camera's code to the display's.

use super::cpu::Grader;
use super::{Area, Frame, Recipe, Tail, Unpack};
use crate::colour::{AP1, GREY};
use crate::look::Reach;

/// Means over an area of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Probed {
    /// The camera's signal, R′G′B′, 0…1 of full range.
    pub camera: [f64; 3],
    /// Scene-linear ACEScg after balance, before the chain.
    pub light: [f64; 3],
    /// Stops of that light's luminance over middle grey; `None` where it has none.
    pub stops: Option<f64>,
    /// What the recipe ends in: a display's signal, 0…1.
    pub signal: [f64; 3],
    /// Are stages left out that look at neighbours or at the place (glow, grain, falloff)?
    pub partial: bool,
}

/// Reads areas of frames through a recipe, by the CPU twin in f64.
pub struct Prober {
    graded: Grader<f64>,
    balanced: Grader<f64>,
    partial: bool,
}

impl Prober {
    /// Prepares a recipe, which takes a while where it has large LUTs.
    pub fn new(recipe: &Recipe) -> Self {
        let mut recipe = recipe.clone();
        let count = recipe.stages.len();
        recipe.stages.retain(|s| {
            let d = s.kind.declaration();
            (d.reach == Reach::Point && !d.spot) || s.strength <= 0.0
        });
        let partial = recipe.stages.len() < count;
        let graded = Grader::new(&recipe);
        recipe.stages.clear();
        recipe.tail = Tail::Light;
        Self { graded, balanced: Grader::new(&recipe), partial }
    }

    /// The mean of each step's values over an area, as a meter that is held over it has it.
    pub fn read(&self, frame: &Frame, area: Area) -> Probed {
        let unpack = Unpack::<f64>::of(&frame.format);
        let (mut sums, mut pixels) = ([[0.0; 3]; 3], 0.0);
        for (x, y) in area.samples() {
            let camera = unpack.at(frame, x, y);
            let all = [camera, self.balanced.pixel(camera), self.graded.pixel(camera)];
            for (sum, value) in sums.as_flattened_mut().iter_mut().zip(all.as_flattened()) {
                *sum += value;
            }
            pixels += 1.0;
        }
        let [camera, light, signal] = sums.map(|sum| sum.map(|s| s / pixels));
        let luminance: f64 = AP1.to_xyz().0[1].iter().zip(light).map(|(w, v)| w * v).sum();
        let stops = (luminance > 0.0).then(|| (luminance / GREY).log2());
        Probed { camera, light, stops, signal, partial: self.partial }
    }
}
