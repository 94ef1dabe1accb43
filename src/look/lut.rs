//! LUT: a table from a file.

use crate::colour::{Real, Shaped};

crate::look::declare! {
    /// A look-up table from a `.cube` file, on the ACEScct signal: what it reads and what it gives are ACEScct. A
    /// curve, a cube read in tetrahedra, or a curve ahead of a cube. Without its file it does nothing.
    Lut "lut", shader "look/lut.wgsl", table {
        nature: Colour,
        domain: Acescct,
        reach: Point,
        holds_grey: false,
        monotone: false,
        strength: 1.0,
    }
    parameters {}
    derived {
        /// Is there a curve? 0 or 1.
        shaped;
        /// The curve's entries less one.
        shaper_last;
        /// Red signal to place in the curve.
        shaper_scale_r;
        /// Green signal to place in the curve.
        shaper_scale_g;
        /// Blue signal to place in the curve.
        shaper_scale_b;
        /// What is then added.
        shaper_start_r;
        /// What is then added.
        shaper_start_g;
        /// What is then added.
        shaper_start_b;
        /// Is there a cube? 0 or 1.
        cubed;
        /// The cube's entries along an edge less one.
        cube_last;
        /// Red signal to place in the cube.
        cube_scale_r;
        /// Green signal to place in the cube.
        cube_scale_g;
        /// Blue signal to place in the cube.
        cube_scale_b;
        /// What is then added.
        cube_start_r;
        /// What is then added.
        cube_start_g;
        /// What is then added.
        cube_start_b;
    }
}

/// How many LUTs a chain takes: a shader has that many places for their textures.
pub const MAX_LUTS: usize = 4;

fn prepare(_: &Lut<f64>, table: Option<&Shaped<f32>>) -> [f64; 16] {
    table.map_or([0.0; 16], Shaped::numbers)
}

fn apply<T: Real>(_: &Lut<T>, rgb: [T; 3], table: Option<&Shaped<T>>) -> [T; 3] {
    table.map_or(rgb, |t| t.apply(rgb))
}
