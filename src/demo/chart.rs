//! The colour chart and the grey card.

use super::vector::{V3, v3};
use crate::colour::{AP1, Adaptation};

/// White that the chart's published values refer to: the profile connection space of ICC.1:2022.
pub const D50: [f64; 2] = [0.345_702_9, 0.358_538_6];

/// Names, in the chart's order: rows from the top, left to right.
pub const NAMES: [&str; 24] = [
    "dark skin",
    "light skin",
    "blue sky",
    "foliage",
    "blue flower",
    "bluish green",
    "orange",
    "purplish blue",
    "moderate red",
    "purple",
    "yellow green",
    "orange yellow",
    "blue",
    "green",
    "red",
    "yellow",
    "magenta",
    "cyan",
    "white 9.5",
    "neutral 8",
    "neutral 6.5",
    "neutral 5",
    "neutral 3.5",
    "black 2",
];

/// CIE L*a*b* under D50, 2° observer: the maker's values for charts since November 2014, as the package
/// colour-science 0.4.7 has them under "ColorChecker24 - After November 2014".
pub const LAB: [[f64; 3]; 24] = [
    [37.54, 14.37, 14.92],
    [64.66, 19.27, 17.5],
    [49.32, -3.82, -22.54],
    [43.46, -12.74, 22.72],
    [54.94, 9.61, -24.79],
    [70.48, -32.26, -0.37],
    [62.73, 35.83, 56.5],
    [39.43, 10.75, -45.17],
    [50.57, 48.64, 16.67],
    [30.1, 22.54, -20.87],
    [71.77, -24.13, 58.19],
    [71.51, 18.24, 67.37],
    [28.37, 15.42, -49.8],
    [54.38, -39.72, 32.27],
    [42.43, 51.05, 28.62],
    [81.8, 2.67, 80.41],
    [50.63, 51.28, -14.12],
    [49.57, -29.71, -28.32],
    [95.19, -1.03, 2.93],
    [81.29, -0.57, 0.44],
    [66.89, -0.75, -0.06],
    [50.76, -0.13, 0.14],
    [35.63, -0.46, -0.48],
    [20.64, 0.07, -0.46],
];

/// CIE 15 L*a*b* to XYZ, white at Y = 1.
fn lab_to_xyz(lab: [f64; 3], white: [f64; 2]) -> [f64; 3] {
    let f = |t: f64| {
        if t > 24.0 / 116.0 { t.powi(3) } else { 108.0 / 841.0 * (t - 16.0 / 116.0) }
    };
    let y = (lab[0] + 16.0) / 116.0;
    [
        white[0] / white[1] * f(y + lab[1] / 500.0),
        f(y),
        (1.0 - white[0] - white[1]) / white[1] * f(y - lab[2] / 200.0),
    ]
}

/// The patches as ACEScg reflectances: what they read under a light that makes a perfect diffuser 1, 1, 1.
/// D50 to the ACES white by Bradford, the way to a camera that is balanced to the chart's light.
pub fn patches() -> [V3; 24] {
    let matrix = AP1.to_xyz().inverse().after(&Adaptation::Bradford.matrix(D50, AP1.white));
    LAB.map(|lab| {
        let rgb = matrix.times(lab_to_xyz(lab, D50));
        v3(rgb[0] as f32, rgb[1] as f32, rgb[2] as f32)
    })
}

/// Reflectance of the grey card.
pub const CARD: f32 = 0.18;
/// Reflectance of the chart's frame.
const FRAME: f32 = 0.035;
/// Patch pitch and size, in chart widths of 6.5 pitches by 4.5.
const PITCH: f32 = 1.0 / 6.5;
const PATCH: f32 = 0.86;

/// Height of the chart over its width.
pub const ASPECT: f32 = 4.5 / 6.5;

/// Centre of a patch on the chart: across 0…1 from the left, down 0…[`ASPECT`] from the top.
pub fn centre(patch: usize) -> [f32; 2] {
    let (column, row) = ((patch % 6) as f32, (patch / 6) as f32);
    [(column + 0.75) * PITCH, (row + 0.75) * PITCH]
}

/// Reflectance at a place on the chart, in the coordinates of [`centre`].
pub fn reflectance(patches: &[V3; 24], across: f32, down: f32) -> V3 {
    let (x, y) = (across / PITCH - 0.25, down / PITCH - 0.25);
    let (column, row) = (x.floor(), y.floor());
    let inside = (0.0..6.0).contains(&column) && (0.0..4.0).contains(&row);
    let half = (x - column - 0.5).abs().max((y - row - 0.5).abs());
    if inside && half < 0.5 * PATCH { patches[row as usize * 6 + column as usize] } else { V3::all(FRAME) }
}
