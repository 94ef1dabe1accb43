//! Curves: one for all channels and one for each, through five points that may be placed.

use crate::colour::{GREY_ACESCCT, Real, STOP_ACESCCT};

crate::look::declare! {
    /// A curve for all channels, then one for each, each through five points. Every point has a place, in
    /// stops from grey, and a lift. Points keep their order and half a stop between them, and no curve folds.
    Curves "curves", shader "look/curves.wgsl" {
        nature: Tone,
        domain: Acescct,
        reach: Point,
        holds_grey: false,
        monotone: true,
        strength: 1.0,
    }
    parameters {
        /// Lifts all channels at the lowest of the curve's points.
        master_low "master-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels at the second of the curve's points.
        master_shade "master-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels at the middle of the curve's points.
        master_middle "master-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels at the fourth of the curve's points.
        master_light "master-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts all channels at the highest of the curve's points.
        master_high "master-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red at the lowest of the curve's points.
        red_low "red-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red at the second of the curve's points.
        red_shade "red-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red at the middle of the curve's points.
        red_middle "red-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red at the fourth of the curve's points.
        red_light "red-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts red at the highest of the curve's points.
        red_high "red-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green at the lowest of the curve's points.
        green_low "green-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green at the second of the curve's points.
        green_shade "green-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green at the middle of the curve's points.
        green_middle "green-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green at the fourth of the curve's points.
        green_light "green-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts green at the highest of the curve's points.
        green_high "green-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue at the lowest of the curve's points.
        blue_low "blue-low": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue at the second of the curve's points.
        blue_shade "blue-shade": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue at the middle of the curve's points.
        blue_middle "blue-middle": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue at the fourth of the curve's points.
        blue_light "blue-light": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Lifts blue at the highest of the curve's points.
        blue_high "blue-high": Stops = 0.0 in -3.0..3.0 step 0.05 Even;
        /// Where the lowest point of the curve for all channels stands, from grey; black stands six under it.
        master_low_at "master-low-at": Stops = -6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the second point of the curve for all channels stands, from grey.
        master_shade_at "master-shade-at": Stops = -3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the middle point of the curve for all channels stands, from grey.
        master_middle_at "master-middle-at": Stops = 0.0 in -8.0..10.0 step 0.05 Even;
        /// Where the fourth point of the curve for all channels stands, from grey.
        master_light_at "master-light-at": Stops = 3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the highest point of the curve for all channels stands, from grey.
        master_high_at "master-high-at": Stops = 6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the lowest point of the curve for red stands, from grey; black stands six under it.
        red_low_at "red-low-at": Stops = -6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the second point of the curve for red stands, from grey.
        red_shade_at "red-shade-at": Stops = -3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the middle point of the curve for red stands, from grey.
        red_middle_at "red-middle-at": Stops = 0.0 in -8.0..10.0 step 0.05 Even;
        /// Where the fourth point of the curve for red stands, from grey.
        red_light_at "red-light-at": Stops = 3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the highest point of the curve for red stands, from grey.
        red_high_at "red-high-at": Stops = 6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the lowest point of the curve for green stands, from grey; black stands six under it.
        green_low_at "green-low-at": Stops = -6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the second point of the curve for green stands, from grey.
        green_shade_at "green-shade-at": Stops = -3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the middle point of the curve for green stands, from grey.
        green_middle_at "green-middle-at": Stops = 0.0 in -8.0..10.0 step 0.05 Even;
        /// Where the fourth point of the curve for green stands, from grey.
        green_light_at "green-light-at": Stops = 3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the highest point of the curve for green stands, from grey.
        green_high_at "green-high-at": Stops = 6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the lowest point of the curve for blue stands, from grey; black stands six under it.
        blue_low_at "blue-low-at": Stops = -6.0 in -8.0..10.0 step 0.05 Even;
        /// Where the second point of the curve for blue stands, from grey.
        blue_shade_at "blue-shade-at": Stops = -3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the middle point of the curve for blue stands, from grey.
        blue_middle_at "blue-middle-at": Stops = 0.0 in -8.0..10.0 step 0.05 Even;
        /// Where the fourth point of the curve for blue stands, from grey.
        blue_light_at "blue-light-at": Stops = 3.0 in -8.0..10.0 step 0.05 Even;
        /// Where the highest point of the curve for blue stands, from grey.
        blue_high_at "blue-high-at": Stops = 6.0 in -8.0..10.0 step 0.05 Even;
    }
    derived {
        /// Place of the lowest point of the curve for all channels, in ACEScct.
        master_x0;
        /// Lift there, in ACEScct, as far as the curve can follow.
        master_h0;
        /// Slope of the lift there.
        master_m0;
        /// What the lift gains from there to the next point by the square of the way.
        master_c0;
        /// And by its cube.
        master_d0;
        /// Place of the second point of the curve for all channels, in ACEScct.
        master_x1;
        /// Lift there, in ACEScct, as far as the curve can follow.
        master_h1;
        /// Slope of the lift there.
        master_m1;
        /// What the lift gains from there to the next point by the square of the way.
        master_c1;
        /// And by its cube.
        master_d1;
        /// Place of the middle point of the curve for all channels, in ACEScct.
        master_x2;
        /// Lift there, in ACEScct, as far as the curve can follow.
        master_h2;
        /// Slope of the lift there.
        master_m2;
        /// What the lift gains from there to the next point by the square of the way.
        master_c2;
        /// And by its cube.
        master_d2;
        /// Place of the fourth point of the curve for all channels, in ACEScct.
        master_x3;
        /// Lift there, in ACEScct, as far as the curve can follow.
        master_h3;
        /// Slope of the lift there.
        master_m3;
        /// What the lift gains from there to the next point by the square of the way.
        master_c3;
        /// And by its cube.
        master_d3;
        /// Place of the highest point of the curve for all channels, in ACEScct.
        master_x4;
        /// Slope of the lift there.
        master_m4;
        /// Place of the lowest point of the curve for red, in ACEScct.
        red_x0;
        /// Lift there, in ACEScct, as far as the curve can follow.
        red_h0;
        /// Slope of the lift there.
        red_m0;
        /// What the lift gains from there to the next point by the square of the way.
        red_c0;
        /// And by its cube.
        red_d0;
        /// Place of the second point of the curve for red, in ACEScct.
        red_x1;
        /// Lift there, in ACEScct, as far as the curve can follow.
        red_h1;
        /// Slope of the lift there.
        red_m1;
        /// What the lift gains from there to the next point by the square of the way.
        red_c1;
        /// And by its cube.
        red_d1;
        /// Place of the middle point of the curve for red, in ACEScct.
        red_x2;
        /// Lift there, in ACEScct, as far as the curve can follow.
        red_h2;
        /// Slope of the lift there.
        red_m2;
        /// What the lift gains from there to the next point by the square of the way.
        red_c2;
        /// And by its cube.
        red_d2;
        /// Place of the fourth point of the curve for red, in ACEScct.
        red_x3;
        /// Lift there, in ACEScct, as far as the curve can follow.
        red_h3;
        /// Slope of the lift there.
        red_m3;
        /// What the lift gains from there to the next point by the square of the way.
        red_c3;
        /// And by its cube.
        red_d3;
        /// Place of the highest point of the curve for red, in ACEScct.
        red_x4;
        /// Slope of the lift there.
        red_m4;
        /// Place of the lowest point of the curve for green, in ACEScct.
        green_x0;
        /// Lift there, in ACEScct, as far as the curve can follow.
        green_h0;
        /// Slope of the lift there.
        green_m0;
        /// What the lift gains from there to the next point by the square of the way.
        green_c0;
        /// And by its cube.
        green_d0;
        /// Place of the second point of the curve for green, in ACEScct.
        green_x1;
        /// Lift there, in ACEScct, as far as the curve can follow.
        green_h1;
        /// Slope of the lift there.
        green_m1;
        /// What the lift gains from there to the next point by the square of the way.
        green_c1;
        /// And by its cube.
        green_d1;
        /// Place of the middle point of the curve for green, in ACEScct.
        green_x2;
        /// Lift there, in ACEScct, as far as the curve can follow.
        green_h2;
        /// Slope of the lift there.
        green_m2;
        /// What the lift gains from there to the next point by the square of the way.
        green_c2;
        /// And by its cube.
        green_d2;
        /// Place of the fourth point of the curve for green, in ACEScct.
        green_x3;
        /// Lift there, in ACEScct, as far as the curve can follow.
        green_h3;
        /// Slope of the lift there.
        green_m3;
        /// What the lift gains from there to the next point by the square of the way.
        green_c3;
        /// And by its cube.
        green_d3;
        /// Place of the highest point of the curve for green, in ACEScct.
        green_x4;
        /// Slope of the lift there.
        green_m4;
        /// Place of the lowest point of the curve for blue, in ACEScct.
        blue_x0;
        /// Lift there, in ACEScct, as far as the curve can follow.
        blue_h0;
        /// Slope of the lift there.
        blue_m0;
        /// What the lift gains from there to the next point by the square of the way.
        blue_c0;
        /// And by its cube.
        blue_d0;
        /// Place of the second point of the curve for blue, in ACEScct.
        blue_x1;
        /// Lift there, in ACEScct, as far as the curve can follow.
        blue_h1;
        /// Slope of the lift there.
        blue_m1;
        /// What the lift gains from there to the next point by the square of the way.
        blue_c1;
        /// And by its cube.
        blue_d1;
        /// Place of the middle point of the curve for blue, in ACEScct.
        blue_x2;
        /// Lift there, in ACEScct, as far as the curve can follow.
        blue_h2;
        /// Slope of the lift there.
        blue_m2;
        /// What the lift gains from there to the next point by the square of the way.
        blue_c2;
        /// And by its cube.
        blue_d2;
        /// Place of the fourth point of the curve for blue, in ACEScct.
        blue_x3;
        /// Lift there, in ACEScct, as far as the curve can follow.
        blue_h3;
        /// Slope of the lift there.
        blue_m3;
        /// What the lift gains from there to the next point by the square of the way.
        blue_c3;
        /// And by its cube.
        blue_d3;
        /// Place of the highest point of the curve for blue, in ACEScct.
        blue_x4;
        /// Slope of the lift there.
        blue_m4;
    }
}

/// The curves, as the keys of their parameters begin.
pub const CURVE_NAMES: [&str; 4] = ["master", "red", "green", "blue"];

/// A curve's points, in their order.
pub const CURVE_POINTS: [&str; 5] = ["low", "shade", "middle", "light", "high"];

/// A point of a curve, in stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Where it stands, from grey.
    pub place: f64,
    /// How far it is lifted.
    pub lift: f64,
}

impl CurvePoint {
    /// Where the curve goes through, from grey.
    pub fn height(self) -> f64 {
        self.place + self.lift
    }
}

/// Which parameters are a point's place and lift, in the declaration's order.
pub const fn curve_point_parameters(curve: usize, point: usize) -> (usize, usize) {
    let lift = curve * CURVE_POINTS.len() + point;
    (CURVE_NAMES.len() * CURVE_POINTS.len() + lift, lift)
}

/// The points that a curve goes through when the stage's parameters are `values`: as they are set, as far
/// as they keep their order and the curve can follow.
pub fn curve_points(values: &[f64], curve: usize) -> [CurvePoint; 5] {
    settled(std::array::from_fn(|i| {
        let (place, lift) = curve_point_parameters(curve, i);
        CurvePoint { place: values[place], lift: values[lift] }
    }))
}

/// Where a curve through `points` leads from `stops` from grey, in stops from grey.
pub fn curve_height(points: &[CurvePoint; 5], stops: f64) -> f64 {
    let n = curve(points);
    let spans = Spans {
        x: std::array::from_fn(|i| n[5 * i]),
        spans: std::array::from_fn(|i| std::array::from_fn(|k| n[5 * i + 1 + k])),
        last_slope: n[21],
    };
    stops + lift(GREY_ACESCCT + STOP_ACESCCT * stops, &spans) / STOP_ACESCCT
}

/// How near to `wanted` one point of a curve can come while its neighbours stay.
pub fn curve_point_within(points: &[CurvePoint; 5], point: usize, wanted: CurvePoint) -> CurvePoint {
    let (before, after) = (point.checked_sub(1).map(|i| points[i]), points.get(point + 1));
    let (mut place, mut height) = (wanted.place, wanted.height());
    if let Some(next) = after {
        place = place.min(next.place - APART);
    }
    if let Some(last) = before {
        place = place.max(last.place + APART);
    }
    if let Some(next) = after {
        let way = next.place - place;
        height = height.clamp(next.height() - MOST * way, next.height() - LEAST * way);
    }
    if let Some(last) = before {
        let way = place - last.place;
        height = height.clamp(last.height() + LEAST * way, last.height() + MOST * way);
    }
    CurvePoint { place, lift: height - place }
}

/// Least distance from one point to the next, in stops.
const APART: f64 = 0.5;

/// Least and greatest rise from one point to the next, as a share of the distance: a curve neither folds nor
/// lifts what rounding leaves into sight.
const LEAST: f64 = 1.0 / 30.0;
const MOST: f64 = 4.0;

/// Points in order, and heights that rise from point to point: from the middle outwards, each is held past
/// the one before. A point that is pushed along keeps its lift, so that no lift at all stays no lift.
fn settled(mut p: [CurvePoint; 5]) -> [CurvePoint; 5] {
    for i in [3, 4] {
        let last = p[i - 1];
        let place = p[i].place.max(last.place + APART);
        let way = place - last.place;
        let (least, most) = (last.height() + LEAST * way - place, last.height() + MOST * way - place);
        p[i] = CurvePoint { place, lift: p[i].lift.clamp(least, most) };
    }
    for i in [1, 0] {
        let next = p[i + 1];
        let place = p[i].place.min(next.place - APART);
        let way = next.place - place;
        let (least, most) = (next.height() - MOST * way - place, next.height() - LEAST * way - place);
        p[i] = CurvePoint { place, lift: p[i].lift.clamp(least, most) };
    }
    p
}

/// Slopes at rising points, after Fritsch & Carlson, "Monotone piecewise cubic interpolation", SIAM J. Numer.
/// Anal. 17(2), 1980: that of the parabola through a point and its neighbours (at the ends the secant), then
/// drawn into the circle α² + β² ≤ 9 in which a cubic is monotone [formulas from memory].
fn slopes(p: &[CurvePoint; 5]) -> [f64; 5] {
    let way: [f64; 4] = std::array::from_fn(|i| p[i + 1].place - p[i].place);
    let secant: [f64; 4] = std::array::from_fn(|i| (p[i + 1].height() - p[i].height()) / way[i]);
    let mut m = [secant[0], 0.0, 0.0, 0.0, secant[3]];
    for i in 1..4 {
        m[i] = (way[i] * secant[i - 1] + way[i - 1] * secant[i]) / (way[i - 1] + way[i]);
    }
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

/// Derived numbers of a curve.
const NUMBERS: usize = 22;

/// For each point in ACEScct: place, lift, the lift's slope there, and the square and cube terms of the lift
/// on the way to the next; of the last point, place and slope.
fn curve(p: &[CurvePoint; 5]) -> [f64; NUMBERS] {
    let m = slopes(p).map(|slope| slope - 1.0);
    let mut out = [0.0; NUMBERS];
    for i in 0..5 {
        out[5 * i] = GREY_ACESCCT + STOP_ACESCCT * p[i].place;
        if i == 4 {
            out[5 * i + 1] = m[i];
            break;
        }
        let way = STOP_ACESCCT * (p[i + 1].place - p[i].place);
        let secant = STOP_ACESCCT * (p[i + 1].lift - p[i].lift) / way;
        out[5 * i + 1] = STOP_ACESCCT * p[i].lift;
        out[5 * i + 2] = m[i];
        out[5 * i + 3] = (3.0 * secant - 2.0 * m[i] - m[i + 1]) / way;
        out[5 * i + 4] = (m[i] + m[i + 1] - 2.0 * secant) / (way * way);
    }
    out
}

fn prepare(p: &Curves<f64>) -> [f64; 4 * NUMBERS] {
    let of =
        |points: [(f64, f64); 5]| curve(&settled(points.map(|(place, lift)| CurvePoint { place, lift })));
    let curves = [
        of([
            (p.master_low_at, p.master_low),
            (p.master_shade_at, p.master_shade),
            (p.master_middle_at, p.master_middle),
            (p.master_light_at, p.master_light),
            (p.master_high_at, p.master_high),
        ]),
        of([
            (p.red_low_at, p.red_low),
            (p.red_shade_at, p.red_shade),
            (p.red_middle_at, p.red_middle),
            (p.red_light_at, p.red_light),
            (p.red_high_at, p.red_high),
        ]),
        of([
            (p.green_low_at, p.green_low),
            (p.green_shade_at, p.green_shade),
            (p.green_middle_at, p.green_middle),
            (p.green_light_at, p.green_light),
            (p.green_high_at, p.green_high),
        ]),
        of([
            (p.blue_low_at, p.blue_low),
            (p.blue_shade_at, p.blue_shade),
            (p.blue_middle_at, p.blue_middle),
            (p.blue_light_at, p.blue_light),
            (p.blue_high_at, p.blue_high),
        ]),
    ];
    std::array::from_fn(|i| curves[i / NUMBERS][i % NUMBERS])
}

/// A curve as a pixel needs it: places, slopes, and for each span what is added at its start with the slope,
/// square and cube terms from there.
struct Spans<T> {
    x: [T; 5],
    spans: [[T; 4]; 4],
    last_slope: T,
}

/// What is added at `v`: a cubic between the points, a straight line outside them.
fn lift<T: Real>(v: T, curve: &Spans<T>) -> T {
    let x = &curve.x;
    let k = v.at_least(x[0]).at_most(x[4]);
    let i = if k >= x[3] {
        3
    } else if k >= x[2] {
        2
    } else if k >= x[1] {
        1
    } else {
        0
    };
    let [height, slope, square, cube] = curve.spans[i];
    let t = k - x[i];
    let inside = height + t * (slope + t * (square + t * cube));
    inside + (v - k) * if v < x[0] { curve.spans[0][1] } else { curve.last_slope }
}

fn apply<T: Real>(p: &Curves<T>, rgb: [T; 3]) -> [T; 3] {
    let master = Spans {
        x: [p.master_x0, p.master_x1, p.master_x2, p.master_x3, p.master_x4],
        spans: [
            [p.master_h0, p.master_m0, p.master_c0, p.master_d0],
            [p.master_h1, p.master_m1, p.master_c1, p.master_d1],
            [p.master_h2, p.master_m2, p.master_c2, p.master_d2],
            [p.master_h3, p.master_m3, p.master_c3, p.master_d3],
        ],
        last_slope: p.master_m4,
    };
    let red = Spans {
        x: [p.red_x0, p.red_x1, p.red_x2, p.red_x3, p.red_x4],
        spans: [
            [p.red_h0, p.red_m0, p.red_c0, p.red_d0],
            [p.red_h1, p.red_m1, p.red_c1, p.red_d1],
            [p.red_h2, p.red_m2, p.red_c2, p.red_d2],
            [p.red_h3, p.red_m3, p.red_c3, p.red_d3],
        ],
        last_slope: p.red_m4,
    };
    let green = Spans {
        x: [p.green_x0, p.green_x1, p.green_x2, p.green_x3, p.green_x4],
        spans: [
            [p.green_h0, p.green_m0, p.green_c0, p.green_d0],
            [p.green_h1, p.green_m1, p.green_c1, p.green_d1],
            [p.green_h2, p.green_m2, p.green_c2, p.green_d2],
            [p.green_h3, p.green_m3, p.green_c3, p.green_d3],
        ],
        last_slope: p.green_m4,
    };
    let blue = Spans {
        x: [p.blue_x0, p.blue_x1, p.blue_x2, p.blue_x3, p.blue_x4],
        spans: [
            [p.blue_h0, p.blue_m0, p.blue_c0, p.blue_d0],
            [p.blue_h1, p.blue_m1, p.blue_c1, p.blue_d1],
            [p.blue_h2, p.blue_m2, p.blue_c2, p.blue_d2],
            [p.blue_h3, p.blue_m3, p.blue_c3, p.blue_d3],
        ],
        last_slope: p.blue_m4,
    };
    let own = [red, green, blue];
    std::array::from_fn(|c| {
        let v = rgb[c] + lift(rgb[c], &master);
        v + lift(v, &own[c])
    })
}
