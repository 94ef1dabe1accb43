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

/// Reads an area of a frame through a recipe, by the CPU twin in f64. The mean of each step's values, as a meter that is
/// held over the area has it.
pub fn probe(frame: &Frame, recipe: &Recipe, area: Area) -> Probed {
    let mut recipe = recipe.clone();
    let count = recipe.stages.len();
    recipe.stages.retain(|s| {
        let d = s.kind.declaration();
        (d.reach == Reach::Point && !d.spot) || s.strength <= 0.0
    });
    let partial = recipe.stages.len() < count;
    let mut balanced = recipe.clone();
    balanced.stages.clear();
    balanced.tail = Tail::Light;
    let unpack = Unpack::<f64>::of(&frame.format);
    let (graded, balanced) = (Grader::<f64>::new(&recipe), Grader::<f64>::new(&balanced));
    let (mut sums, mut pixels) = ([[0.0; 3]; 3], 0.0);
    for (x, y) in area.samples() {
        let camera = unpack.at(frame, x, y);
        let all = [camera, balanced.pixel(camera), graded.pixel(camera)];
        for (sum, value) in sums.as_flattened_mut().iter_mut().zip(all.as_flattened()) {
            *sum += value;
        }
        pixels += 1.0;
    }
    let [camera, light, signal] = sums.map(|sum| sum.map(|s| s / pixels));
    let luminance: f64 = AP1.to_xyz().0[1].iter().zip(light).map(|(w, v)| w * v).sum();
    let stops = (luminance > 0.0).then(|| (luminance / GREY).log2());
    Probed { camera, light, stops, signal, partial }
}
