//! LUT: a table from a file.

use super::NamedLut;
use crate::colour::{CurveValues, Matrix, Real, Shaped, acescct_decode, acescct_encode, apply as transform};

crate::look::declare! {
    /// A look-up table from a `.cube` or CLF file: a curve, a cube read in tetrahedra, or a curve ahead of a cube;
    /// a CLF is baked into these. The signal is converted to what the table expects and back from what it gives,
    /// ACEScct unless the show or the file says otherwise. Without its file it does nothing.
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
        /// Is the signal converted on the way in? 0 or 1.
        expects_other;
        /// What the table's red light has of the chain's red.
        expects_r_r;
        /// What the table's red light has of the chain's green.
        expects_r_g;
        /// What the table's red light has of the chain's blue.
        expects_r_b;
        /// What the table's green light has of the chain's red.
        expects_g_r;
        /// What the table's green light has of the chain's green.
        expects_g_g;
        /// What the table's green light has of the chain's blue.
        expects_g_b;
        /// What the table's blue light has of the chain's red.
        expects_b_r;
        /// What the table's blue light has of the chain's green.
        expects_b_g;
        /// What the table's blue light has of the chain's blue.
        expects_b_b;
        /// Family of the table's input curve.
        expects_family;
        /// A constant of that curve.
        expects_k0;
        /// A constant of that curve.
        expects_k1;
        /// A constant of that curve.
        expects_k2;
        /// A constant of that curve.
        expects_k3;
        /// A constant of that curve.
        expects_k4;
        /// A constant of that curve.
        expects_k5;
        /// A constant of that curve.
        expects_k6;
        /// A constant of that curve.
        expects_k7;
        /// A constant of that curve.
        expects_k8;
        /// A constant of that curve.
        expects_k9;
        /// A constant of that curve.
        expects_k10;
        /// Is the signal converted on the way out? 0 or 1.
        gives_other;
        /// What the chain's red light has of the table's red.
        gives_r_r;
        /// What the chain's red light has of the table's green.
        gives_r_g;
        /// What the chain's red light has of the table's blue.
        gives_r_b;
        /// What the chain's green light has of the table's red.
        gives_g_r;
        /// What the chain's green light has of the table's green.
        gives_g_g;
        /// What the chain's green light has of the table's blue.
        gives_g_b;
        /// What the chain's blue light has of the table's red.
        gives_b_r;
        /// What the chain's blue light has of the table's green.
        gives_b_g;
        /// What the chain's blue light has of the table's blue.
        gives_b_b;
        /// Family of the table's output curve.
        gives_family;
        /// A constant of that curve.
        gives_k0;
        /// A constant of that curve.
        gives_k1;
        /// A constant of that curve.
        gives_k2;
        /// A constant of that curve.
        gives_k3;
        /// A constant of that curve.
        gives_k4;
        /// A constant of that curve.
        gives_k5;
        /// A constant of that curve.
        gives_k6;
        /// A constant of that curve.
        gives_k7;
        /// A constant of that curve.
        gives_k8;
        /// A constant of that curve.
        gives_k9;
        /// A constant of that curve.
        gives_k10;
    }
}

/// How many LUTs a chain takes: a shader has that many places for their textures.
pub const MAX_LUTS: usize = 4;

fn prepare(_: &Lut<f64>, table: Option<&NamedLut>) -> [f64; DERIVED] {
    let mut all = Vec::with_capacity(DERIVED);
    all.extend(table.map_or([0.0; 16], |t| t.lut.numbers()));
    let [expects, gives] = table.map_or([None; 2], NamedLut::conversions);
    let mut side = |of: Option<(CurveValues<f64>, Matrix)>| {
        let Some((curve, matrix)) = of else { return all.extend([0.0; 22]) };
        all.push(1.0);
        all.extend(matrix.rows::<f64>());
        all.push(f64::from(curve.family as u32));
        all.extend(curve.k);
    };
    side(expects.map(|(curve, matrix)| (curve.values(), matrix)));
    side(gives.map(|(curve, matrix)| (curve.values(), matrix)));
    std::array::from_fn(|i| all[i])
}

/// How many derived values there are: two tables' places and two conversions.
const DERIVED: usize = 2 * 8 + 2 * 22;

fn apply<T: Real>(p: &Lut<T>, rgb: [T; 3], table: Option<&Shaped<T>>) -> [T; 3] {
    let Some(table) = table else { return rgb };
    let mut v = rgb;
    if p.expects_other > T::of(0.0) {
        let curve = CurveValues::of(
            p.expects_family,
            [
                p.expects_k0,
                p.expects_k1,
                p.expects_k2,
                p.expects_k3,
                p.expects_k4,
                p.expects_k5,
                p.expects_k6,
                p.expects_k7,
                p.expects_k8,
                p.expects_k9,
                p.expects_k10,
            ],
        );
        let matrix = [
            p.expects_r_r,
            p.expects_r_g,
            p.expects_r_b,
            p.expects_g_r,
            p.expects_g_g,
            p.expects_g_b,
            p.expects_b_r,
            p.expects_b_g,
            p.expects_b_b,
        ];
        v = transform(&matrix, v.map(acescct_decode)).map(|x| curve.encode(x));
    }
    v = table.apply(v);
    if p.gives_other > T::of(0.0) {
        let curve = CurveValues::of(
            p.gives_family,
            [
                p.gives_k0,
                p.gives_k1,
                p.gives_k2,
                p.gives_k3,
                p.gives_k4,
                p.gives_k5,
                p.gives_k6,
                p.gives_k7,
                p.gives_k8,
                p.gives_k9,
                p.gives_k10,
            ],
        );
        let matrix = [
            p.gives_r_r,
            p.gives_r_g,
            p.gives_r_b,
            p.gives_g_r,
            p.gives_g_g,
            p.gives_g_b,
            p.gives_b_r,
            p.gives_b_g,
            p.gives_b_b,
        ];
        v = transform(&matrix, v.map(|y| curve.decode(y))).map(acescct_encode);
    }
    v
}
