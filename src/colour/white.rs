//! White balance: the white of the working space shifted along the Planckian locus and across it.

use std::sync::LazyLock;

use super::{ACES_WHITE, AP1, Adaptation, Matrix};

/// CIE 1960 (u, v) of a Planckian radiator, and its derivative, at `mired` (10⁶ ÷ kelvin).
///
/// Krystek, *An algorithm to calculate correlated colour temperature*, Color Research & Application 10(1),
/// 1985: rational polynomials for 1000 K to 15 000 K, within about 1e-4 of the locus and smooth, so that a
/// knob never steps.
fn locus(mired: f64) -> ([f64; 2], [f64; 2]) {
    let t = 1e6 / mired;
    let along = |top: [f64; 3], bottom: [f64; 3]| {
        let at = |k: [f64; 3]| k[0] + t * (k[1] + t * k[2]);
        let slope = |k: [f64; 3]| k[1] + 2.0 * t * k[2];
        let (n, d) = (at(top), at(bottom));
        // By the chain rule, since dt/dmired = −t ÷ mired.
        (n / d, (slope(top) * d - n * slope(bottom)) / (d * d) * (-t / mired))
    };
    let (u, du) = along([0.860117757, 1.54118254e-4, 1.28641212e-7], [1.0, 8.42420235e-4, 7.08145163e-7]);
    let (v, dv) = along([0.317398726, 4.22806245e-5, 4.20481691e-8], [1.0, -2.89741816e-5, 1.61456053e-7]);
    ([u, v], [du, dv])
}

/// CIE 1960 (u, v) of a Planckian radiator at `mired` (10⁶ ÷ kelvin), 67 to 1000.
pub fn planckian(mired: f64) -> [f64; 2] {
    locus(mired).0
}

/// At `mired`: the locus's point, and the unit vector across it towards green.
fn across(mired: f64) -> ([f64; 2], [f64; 2]) {
    let (point, [du, dv]) = locus(mired);
    // Warmer goes right and up in (u, v); a quarter turn to the left of that is green.
    let length = du.hypot(dv);
    (point, [-dv / length, du / length])
}

/// Where the ACES white lies: its mired, and its distance from the locus (Duv, + towards green).
pub static WHITE_ON_LOCUS: LazyLock<(f64, f64)> = LazyLock::new(|| {
    let [x, y] = ACES_WHITE;
    let scale = -2.0 * x + 12.0 * y + 3.0;
    let white = [4.0 * x / scale, 6.0 * y / scale];
    // The foot of the perpendicular: what is left of the white along the locus changes sign there.
    let ahead = |mired: f64| {
        let (point, [nu, nv]) = across(mired);
        (white[0] - point[0]) * nv - (white[1] - point[1]) * nu
    };
    let (mut low, mut high) = (100.0, 300.0);
    for _ in 0..64 {
        let middle = 0.5 * (low + high);
        if ahead(middle) > 0.0 { low = middle } else { high = middle }
    }
    let (point, [nu, nv]) = across(low);
    (low, (white[0] - point[0]) * nu + (white[1] - point[1]) * nv)
});

/// CIE xy of the ACES white shifted by `mired` along the Planckian locus (−100 to +100; + is warmer) and by
/// `tint` thousandths of Duv across it (+ is greener, the sign of ANSI C78.377).
pub fn shifted_white(mired: f64, tint: f64) -> [f64; 2] {
    if mired == 0.0 && tint == 0.0 {
        return ACES_WHITE;
    }
    let (white, duv) = *WHITE_ON_LOCUS;
    let ([u, v], [nu, nv]) = across(white + mired);
    let duv = duv + tint / 1000.0;
    let (u, v) = (u + duv * nu, v + duv * nv);
    let scale = 2.0 * u - 8.0 * v + 4.0;
    [3.0 * u / scale, 2.0 * v / scale]
}

/// White balance of ACEScg light: von Kries in CAT16 from the ACES white to [`shifted_white`]. A neutral
/// keeps its luminance. Exactly the identity when both are 0.
pub fn white_shift(mired: f64, tint: f64) -> Matrix {
    if mired == 0.0 && tint == 0.0 {
        return Matrix::IDENTITY;
    }
    // Whites have Y = 1 on both sides, which is what keeps a neutral's luminance.
    let adapt = Adaptation::Cat16.matrix(ACES_WHITE, shifted_white(mired, tint));
    let to_xyz = AP1.to_xyz();
    to_xyz.inverse().after(&adapt).after(&to_xyz)
}
