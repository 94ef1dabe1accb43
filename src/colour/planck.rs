//! The Planckian locus, and where a white lies beside it: mired along, Duv across.
//!
//! CIE 015:2018: Planck's law with c₂ = 1.4388e-2 m·K through the CIE 1931 2° observer, in CIE 1960 (u, v).

use std::sync::LazyLock;

/// Second radiation constant of CIE 015:2018, m·K.
const C2: f64 = 1.4388e-2;

/// The CIE 1931 2° observer (CIE 018:2019), 360 to 830 nm by 5.
#[rustfmt::skip]
const OBSERVER: [[f64; 3]; 95] = [
    [0.0001299, 3.917e-06, 0.0006061],
    [0.0002321, 6.965e-06, 0.001086],
    [0.0004149, 1.239e-05, 0.001946],
    [0.0007416, 2.202e-05, 0.003486],
    [0.001368, 3.9e-05, 0.006450001],
    [0.002236, 6.4e-05, 0.01054999],
    [0.004243, 0.00012, 0.02005001],
    [0.00765, 0.000217, 0.03621],
    [0.01431, 0.000396, 0.06785001],
    [0.02319, 0.00064, 0.1102],
    [0.04351, 0.00121, 0.2074],
    [0.07763, 0.00218, 0.3713],
    [0.13438, 0.004, 0.6456],
    [0.21477, 0.0073, 1.0390501],
    [0.2839, 0.0116, 1.3856],
    [0.3285, 0.01684, 1.62296],
    [0.34828, 0.023, 1.74706],
    [0.34806, 0.0298, 1.7826],
    [0.3362, 0.038, 1.77211],
    [0.3187, 0.048, 1.7441],
    [0.2908, 0.06, 1.6692],
    [0.2511, 0.0739, 1.5281],
    [0.19536, 0.09098, 1.28764],
    [0.1421, 0.1126, 1.0419],
    [0.09564, 0.13902, 0.8129501],
    [0.05795001, 0.1693, 0.6162],
    [0.03201, 0.20802, 0.46518],
    [0.0147, 0.2586, 0.3533],
    [0.0049, 0.323, 0.272],
    [0.0024, 0.4073, 0.2123],
    [0.0093, 0.503, 0.1582],
    [0.0291, 0.6082, 0.1117],
    [0.06327, 0.71, 0.07824999],
    [0.1096, 0.7932, 0.05725001],
    [0.1655, 0.862, 0.04216],
    [0.2257499, 0.9148501, 0.02984],
    [0.2904, 0.954, 0.0203],
    [0.3597, 0.9803, 0.0134],
    [0.4334499, 0.9949501, 0.008749999],
    [0.5120501, 1.0, 0.005749999],
    [0.5945, 0.995, 0.0039],
    [0.6784, 0.9786, 0.002749999],
    [0.7621, 0.952, 0.0021],
    [0.8425, 0.9154, 0.0018],
    [0.9163, 0.87, 0.001650001],
    [0.9786, 0.8163, 0.0014],
    [1.0263, 0.757, 0.0011],
    [1.0567, 0.6949, 0.001],
    [1.0622, 0.631, 0.0008],
    [1.0456, 0.5668, 0.0006],
    [1.0026, 0.503, 0.00034],
    [0.9384, 0.4412, 0.00024],
    [0.8544499, 0.381, 0.00019],
    [0.7514, 0.321, 0.0001],
    [0.6424, 0.265, 4.999999e-05],
    [0.5419, 0.217, 3e-05],
    [0.4479, 0.175, 2e-05],
    [0.3608, 0.1382, 1e-05],
    [0.2835, 0.107, 0.0],
    [0.2187, 0.0816, 0.0],
    [0.1649, 0.061, 0.0],
    [0.1212, 0.04458, 0.0],
    [0.0874, 0.032, 0.0],
    [0.0636, 0.0232, 0.0],
    [0.04677, 0.017, 0.0],
    [0.0329, 0.01192, 0.0],
    [0.0227, 0.00821, 0.0],
    [0.01584, 0.005723, 0.0],
    [0.01135916, 0.004102, 0.0],
    [0.008110916, 0.002929, 0.0],
    [0.005790346, 0.002091, 0.0],
    [0.004109457, 0.001484, 0.0],
    [0.002899327, 0.001047, 0.0],
    [0.00204919, 0.00074, 0.0],
    [0.001439971, 0.00052, 0.0],
    [0.0009999493, 0.0003611, 0.0],
    [0.0006900786, 0.0002492, 0.0],
    [0.0004760213, 0.0001719, 0.0],
    [0.0003323011, 0.00012, 0.0],
    [0.0002348261, 8.48e-05, 0.0],
    [0.0001661505, 6e-05, 0.0],
    [0.000117413, 4.24e-05, 0.0],
    [8.307527e-05, 3e-05, 0.0],
    [5.870652e-05, 2.12e-05, 0.0],
    [4.150994e-05, 1.499e-05, 0.0],
    [2.935326e-05, 1.06e-05, 0.0],
    [2.067383e-05, 7.4657e-06, 0.0],
    [1.455977e-05, 5.2578e-06, 0.0],
    [1.025398e-05, 3.7029e-06, 0.0],
    [7.221456e-06, 2.6078e-06, 0.0],
    [5.085868e-06, 1.8366e-06, 0.0],
    [3.581652e-06, 1.2934e-06, 0.0],
    [2.522525e-06, 9.1093e-07, 0.0],
    [1.776509e-06, 6.4153e-07, 0.0],
    [1.251141e-06, 4.5181e-07, 0.0],
];

/// For each wavelength: the observer times λ⁻⁵ (as u's numerator, v's numerator and their denominator want
/// it), and the exponent of Planck's law for each mired.
static TERMS: LazyLock<[([f64; 3], f64); 95]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let [x, y, z] = OBSERVER[i];
        let metres = (360.0 + 5.0 * i as f64) * 1e-9;
        // Relative to 560 nm, for numbers near 1.
        let weight = (560e-9 / metres).powi(5);
        ([4.0 * x, 6.0 * y, x + 15.0 * y + 3.0 * z].map(|k| k * weight), C2 * 1e-6 / metres)
    })
});

/// CIE 1960 (u, v) of a Planckian radiator, and its derivative, at `mired` (10⁶ ÷ kelvin; more than 0).
///
/// A sum over wavelengths, smooth in its argument, so that a knob never steps; within 2e-6 of the sum by 1 nm.
fn locus(mired: f64) -> ([f64; 2], [f64; 2]) {
    let (mut sum, mut slope) = ([0.0; 3], [0.0; 3]);
    for (k, a) in TERMS.iter() {
        let e = (a * mired).exp_m1();
        let (radiance, change) = (1.0 / e, -a * (e + 1.0) / (e * e));
        for i in 0..3 {
            sum[i] += k[i] * radiance;
            slope[i] += k[i] * change;
        }
    }
    let [u, v, d] = sum;
    let by_mired = |n: f64, dn: f64| (dn * d - n * slope[2]) / (d * d);
    ([u / d, v / d], [by_mired(u, slope[0]), by_mired(v, slope[1])])
}

/// CIE 1960 (u, v) of a Planckian radiator at `mired` (10⁶ ÷ kelvin), 5 to 1000.
pub fn planckian(mired: f64) -> [f64; 2] {
    locus(mired).0
}

/// At `mired`: the locus's point, and the unit vectors along it towards warmer and across it towards green.
fn frame(mired: f64) -> ([f64; 2], [f64; 2], [f64; 2]) {
    let (point, [du, dv]) = locus(mired);
    // Warmer goes right and up in (u, v); a quarter turn to the left of that is green.
    let length = du.hypot(dv);
    let (du, dv) = (du / length, dv / length);
    (point, [du, dv], [-dv, du])
}

/// CIE xy to CIE 1960 (u, v).
fn uv([x, y]: [f64; 2]) -> [f64; 2] {
    let scale = -2.0 * x + 12.0 * y + 3.0;
    [4.0 * x / scale, 6.0 * y / scale]
}

/// CIE 1960 (u, v) to CIE xy.
fn xy([u, v]: [f64; 2]) -> [f64; 2] {
    let scale = 2.0 * u - 8.0 * v + 4.0;
    [3.0 * u / scale, 2.0 * v / scale]
}

/// Least Z for each Y of a white: with less blue than that, adaptation has next to nothing to work with.
const LEAST_BLUE: f64 = 0.08;

/// CIE xy of the white at `mired` (5 to 500) and `duv` from the Planckian locus, + towards green (the sign of
/// ANSI C78.377). No further towards green than where Z falls to 0.08 of Y: beyond lies no light.
pub fn beside_locus(mired: f64, duv: f64) -> [f64; 2] {
    let ([u, v], _, [nu, nv]) = frame(mired);
    // Z ÷ Y is (4 − u − 10 v) ÷ 2 v.
    let blue = 10.0 + 2.0 * LEAST_BLUE;
    let most = (4.0 - u - blue * v) / (nu + blue * nv);
    let duv = duv.min(most);
    xy([u + duv * nu, v + duv * nv])
}

/// Where a white lies: its mired (10⁶ over its correlated colour temperature) and its Duv. `None` if it is
/// so far from the locus, or has so little blue, that [`beside_locus`] does not lead back to it.
pub fn from_locus(white: [f64; 2]) -> Option<(f64, f64)> {
    let [wu, wv] = uv(white);
    // The foot of the perpendicular: what is left of the white along the locus changes sign there.
    let ahead = |mired: f64| {
        let ([u, v], [du, dv], _) = frame(mired);
        (wu - u) * du + (wv - v) * dv
    };
    let distance = |mired: f64| {
        let [u, v] = planckian(mired);
        (wu - u).hypot(wv - v)
    };
    // Begins beside the nearest of 200 places, since a perpendicular far from the locus may have more feet.
    let place = |i: usize| 5.0 * 200f64.powf(i as f64 / 199.0);
    let nearest = (1..199).min_by(|&a, &b| distance(place(a)).total_cmp(&distance(place(b))))?;
    let (mut low, mut high) = (place(nearest - 1), place(nearest + 1));
    if ahead(low) < 0.0 || ahead(high) > 0.0 {
        return None;
    }
    for _ in 0..64 {
        let middle = 0.5 * (low + high);
        if ahead(middle) > 0.0 { low = middle } else { high = middle }
    }
    let ([u, v], _, [nu, nv]) = frame(low);
    let duv = (wu - u) * nu + (wv - v) * nv;
    let [x, y] = beside_locus(low, duv);
    ((x - white[0]).hypot(y - white[1]) < 1e-9).then_some((low, duv))
}
