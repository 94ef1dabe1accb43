//! Curves: one for all channels and one for each, through five points.

use crate::colour::{GREY_ACESCCT, Real, STOP_ACESCCT};

crate::look::declare! {
    /// A curve for all channels, then one for each, through five points: grey, and three and six stops to
    /// either side. They never fold. (Points of your own placing come later, through a knot buffer.)
    Curves "curves", shader "look/curves.wgsl" {
        domain: Acescct,
        reach: Point,
        holds_grey: false,
        monotone: true,
        strength: 1.0,
    }
    parameters {
        /// Lifts all channels six stops under grey, where black is.
        master_low "master-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels three stops under grey.
        master_shade "master-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels at grey.
        master_middle "master-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels three stops over grey.
        master_light "master-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels six stops over grey.
        master_high "master-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red six stops under grey, where black is.
        red_low "red-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red three stops under grey.
        red_shade "red-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red at grey.
        red_middle "red-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red three stops over grey.
        red_light "red-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red six stops over grey.
        red_high "red-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green six stops under grey, where black is.
        green_low "green-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green three stops under grey.
        green_shade "green-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green at grey.
        green_middle "green-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green three stops over grey.
        green_light "green-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green six stops over grey.
        green_high "green-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue six stops under grey, where black is.
        blue_low "blue-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue three stops under grey.
        blue_shade "blue-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue at grey.
        blue_middle "blue-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue three stops over grey.
        blue_light "blue-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue six stops over grey.
        blue_high "blue-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
    }
    derived {
        /// Lift of all channels six stops under grey, where black is, in ACEScct, as far as the curve can follow.
        master_h0;
        /// Lift of all channels three stops under grey, in ACEScct, as far as the curve can follow.
        master_h1;
        /// Lift of all channels at grey, in ACEScct, as far as the curve can follow.
        master_h2;
        /// Lift of all channels three stops over grey, in ACEScct, as far as the curve can follow.
        master_h3;
        /// Lift of all channels six stops over grey, in ACEScct, as far as the curve can follow.
        master_h4;
        /// Slope of that lift there, over one span.
        master_m0;
        /// Slope of that lift there, over one span.
        master_m1;
        /// Slope of that lift there, over one span.
        master_m2;
        /// Slope of that lift there, over one span.
        master_m3;
        /// Slope of that lift there, over one span.
        master_m4;
        /// Lift of red six stops under grey, where black is, in ACEScct, as far as the curve can follow.
        red_h0;
        /// Lift of red three stops under grey, in ACEScct, as far as the curve can follow.
        red_h1;
        /// Lift of red at grey, in ACEScct, as far as the curve can follow.
        red_h2;
        /// Lift of red three stops over grey, in ACEScct, as far as the curve can follow.
        red_h3;
        /// Lift of red six stops over grey, in ACEScct, as far as the curve can follow.
        red_h4;
        /// Slope of that lift there, over one span.
        red_m0;
        /// Slope of that lift there, over one span.
        red_m1;
        /// Slope of that lift there, over one span.
        red_m2;
        /// Slope of that lift there, over one span.
        red_m3;
        /// Slope of that lift there, over one span.
        red_m4;
        /// Lift of green six stops under grey, where black is, in ACEScct, as far as the curve can follow.
        green_h0;
        /// Lift of green three stops under grey, in ACEScct, as far as the curve can follow.
        green_h1;
        /// Lift of green at grey, in ACEScct, as far as the curve can follow.
        green_h2;
        /// Lift of green three stops over grey, in ACEScct, as far as the curve can follow.
        green_h3;
        /// Lift of green six stops over grey, in ACEScct, as far as the curve can follow.
        green_h4;
        /// Slope of that lift there, over one span.
        green_m0;
        /// Slope of that lift there, over one span.
        green_m1;
        /// Slope of that lift there, over one span.
        green_m2;
        /// Slope of that lift there, over one span.
        green_m3;
        /// Slope of that lift there, over one span.
        green_m4;
        /// Lift of blue six stops under grey, where black is, in ACEScct, as far as the curve can follow.
        blue_h0;
        /// Lift of blue three stops under grey, in ACEScct, as far as the curve can follow.
        blue_h1;
        /// Lift of blue at grey, in ACEScct, as far as the curve can follow.
        blue_h2;
        /// Lift of blue three stops over grey, in ACEScct, as far as the curve can follow.
        blue_h3;
        /// Lift of blue six stops over grey, in ACEScct, as far as the curve can follow.
        blue_h4;
        /// Slope of that lift there, over one span.
        blue_m0;
        /// Slope of that lift there, over one span.
        blue_m1;
        /// Slope of that lift there, over one span.
        blue_m2;
        /// Slope of that lift there, over one span.
        blue_m3;
        /// Slope of that lift there, over one span.
        blue_m4;
    }
}

/// Distance from one point to the next.
const SPAN: f64 = 3.0 * STOP_ACESCCT;

/// Least rise from one point to the next, as a share of the span.
const LEAST: f64 = 1.0 / 30.0;

/// Heights that rise from point to point: from grey outwards, each is held a little past the one before.
fn rising(mut y: [f64; 5]) -> [f64; 5] {
    for i in [3, 4] {
        y[i] = y[i].max(y[i - 1] + LEAST);
    }
    for i in [1, 0] {
        y[i] = y[i].min(y[i + 1] - LEAST);
    }
    y
}

/// Slopes at rising points one apart, after Fritsch & Carlson, "Monotone piecewise cubic interpolation", SIAM
/// J. Numer. Anal. 17(2), 1980: the mean of the neighbouring secants (the secant itself at the ends), then
/// drawn into the circle α² + β² ≤ 9 in which a cubic is monotone [formulas from memory].
fn slopes(y: [f64; 5]) -> [f64; 5] {
    let secant: [f64; 4] = std::array::from_fn(|i| y[i + 1] - y[i]);
    let mut m: [f64; 5] = std::array::from_fn(|i| (secant[i.saturating_sub(1)] + secant[i.min(3)]) / 2.0);
    for i in 0..4 {
        let (a, b) = (m[i] / secant[i], m[i + 1] / secant[i]);
        let square = a * a + b * b;
        if square > 9.0 {
            let t = 3.0 / square.sqrt();
            m[i] = t * a * secant[i];
            m[i + 1] = t * b * secant[i];
        }
    }
    m
}

/// Lifts and their slopes over one span, in ACEScct, from lifts in stops.
fn curve(lifts: [f64; 5]) -> [f64; 10] {
    let y = rising(std::array::from_fn(|i| i as f64 + lifts[i] / 3.0));
    let m = slopes(y);
    std::array::from_fn(|i| SPAN * if i < 5 { y[i] - i as f64 } else { m[i - 5] - 1.0 })
}

fn prepare(p: &Curves<f64>) -> [f64; 40] {
    let curves = [
        curve([p.master_low, p.master_shade, p.master_middle, p.master_light, p.master_high]),
        curve([p.red_low, p.red_shade, p.red_middle, p.red_light, p.red_high]),
        curve([p.green_low, p.green_shade, p.green_middle, p.green_light, p.green_high]),
        curve([p.blue_low, p.blue_shade, p.blue_middle, p.blue_light, p.blue_high]),
    ];
    std::array::from_fn(|i| curves[i / 10][i % 10])
}

/// What is added at `v`: a cubic between the points, a straight line outside them.
fn lift<T: Real>(v: T, h: [T; 5], m: [T; 5]) -> T {
    let u = (v - T::of(GREY_ACESCCT)) * T::of(1.0 / SPAN) + T::of(2.0);
    let k = u.at_least(T::of(0.0)).at_most(T::of(4.0));
    let i = if k >= T::of(3.0) {
        3
    } else if k >= T::of(2.0) {
        2
    } else if k >= T::of(1.0) {
        1
    } else {
        0
    };
    let t = k - T::of(i as f64);
    let rise = h[i + 1] - h[i];
    // Hermite's cubic, in powers of t.
    let cubic = m[i] + m[i + 1] - T::of(2.0) * rise;
    let square = rise - m[i] - cubic;
    let inside = h[i] + t * (m[i] + t * (square + t * cubic));
    inside + (u - k) * if u < T::of(0.0) { m[0] } else { m[4] }
}

fn apply<T: Real>(p: &Curves<T>, rgb: [T; 3]) -> [T; 3] {
    let master = (
        [p.master_h0, p.master_h1, p.master_h2, p.master_h3, p.master_h4],
        [p.master_m0, p.master_m1, p.master_m2, p.master_m3, p.master_m4],
    );
    let red = (
        [p.red_h0, p.red_h1, p.red_h2, p.red_h3, p.red_h4],
        [p.red_m0, p.red_m1, p.red_m2, p.red_m3, p.red_m4],
    );
    let green = (
        [p.green_h0, p.green_h1, p.green_h2, p.green_h3, p.green_h4],
        [p.green_m0, p.green_m1, p.green_m2, p.green_m3, p.green_m4],
    );
    let blue = (
        [p.blue_h0, p.blue_h1, p.blue_h2, p.blue_h3, p.blue_h4],
        [p.blue_m0, p.blue_m1, p.blue_m2, p.blue_m3, p.blue_m4],
    );
    let own = [red, green, blue];
    std::array::from_fn(|c| {
        let v = rgb[c] + lift(rgb[c], master.0, master.1);
        v + lift(v, own[c].0, own[c].1)
    })
}
