//! What the stages promise: identity as they come, grey, order, finite numbers, and their closed forms.

use greyhold::check::Subject;
use greyhold::colour::{
    AP1, Adaptation, BT709, GREY, GREY_ACESCCT, LUMA_709, POINT_ACESCCT, STOP_ACESCCT, acescct_decode,
    acescct_encode, conversion, encoding,
};
use greyhold::gpu::vectors;
use greyhold::look::{
    CURVE_NAMES, CURVE_POINTS, Chain, CurvePoint, Declaration, Domain, Intent, Reach, STAGES, Spot, Stage,
    curve_point_parameters, curve_point_within, curve_points, stage,
};
use greyhold::picture::{Balance, Recipe, Tail, cpu::Grader};
use greyhold::show::{Look, shipped_looks};

/// The stages whose defaults leave everything as it is.
const SILENT: &[&str] = &["saturation", "crosstalk", "monochrome", "palette", "curves"];

/// SplitMix64 (Steele, Lea & Flood 2014; constants from memory), 0…1.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

/// A stage at a setting, in both numbers.
struct Set {
    d: &'static Declaration,
    values: Vec<f64>,
    single: Vec<f32>,
}

impl Set {
    fn of(d: &'static Declaration, parameters: &[f64]) -> Self {
        let values = d.prepared(parameters, None);
        let single = values.iter().map(|v| *v as f32).collect();
        Self { d, values, single }
    }

    /// By key; the rest at their defaults.
    fn new(key: &str, set: &[(&str, f64)]) -> Self {
        let d = stage(key).unwrap().declaration();
        let mut parameters = d.defaults();
        for (key, value) in set {
            let i = d.index(key).unwrap_or_else(|| panic!("{} has no {key}", d.key));
            assert!((d.parameters[i].min..=d.parameters[i].max).contains(value), "{key} = {value}");
            parameters[i] = *value;
        }
        Self::of(d, &parameters)
    }

    fn at(&self, rgb: [f64; 3]) -> [f64; 3] {
        (self.d.apply_f64)(&self.values, None, Spot::default(), rgb)
    }

    fn at_f32(&self, rgb: [f32; 3]) -> [f32; 3] {
        (self.d.apply_f32)(&self.single, None, Spot::default(), rgb)
    }
}

/// Defaults, every parameter at either end, every parameter at once at either end, and random settings.
fn settings(d: &'static Declaration, extra: usize) -> Vec<Set> {
    let mut out = vec![d.defaults()];
    for (i, p) in d.parameters.iter().enumerate() {
        for end in [p.min, p.max] {
            let mut values = d.defaults();
            values[i] = end;
            out.push(values);
        }
    }
    let mut random = Random(d.key.bytes().map(u64::from).sum());
    for n in 0..extra {
        out.push(
            d.parameters
                .iter()
                .map(|p| if n % 2 == 0 { p.at(random.next()) } else { p.at(random.next().round()) })
                .collect(),
        );
    }
    out.iter().map(|values| Set::of(d, values)).collect()
}

fn grey_of(d: &Declaration) -> f64 {
    match d.domain {
        Domain::Acescct => GREY_ACESCCT,
        Domain::Linear => GREY,
    }
}

fn close(a: [f64; 3], b: [f64; 3], tolerance: f64) -> bool {
    (0..3).all(|c| (a[c] - b[c]).abs() <= tolerance)
}

fn point_stages() -> impl Iterator<Item = &'static Declaration> {
    STAGES.iter().copied().filter(|d| d.reach == Reach::Point)
}

/// Colours as ACEScct of a BT.709 colour at `purity` and `level` of light (Bradford, as for ACES displays).
fn bt709_acescct(rgb: [f64; 3], purity: f64, level: f64) -> [f64; 3] {
    let linear = rgb.map(|v| level * (1.0 - purity + purity * v));
    conversion(&BT709, &AP1, Adaptation::Bradford).times(linear).map(acescct_encode)
}

/// The primaries of BT.709 and what two of them make.
const SIX: [[f64; 3]; 6] =
    [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0], [0.0, 1.0, 1.0], [0.0, 0.0, 1.0], [1.0, 0.0, 1.0]];

/// Luminance of an ACEScct colour: the Y row of AP1 (S-2014-004).
fn luminance(v: [f64; 3]) -> f64 {
    let linear = v.map(acescct_decode);
    0.272_228_7 * linear[0] + 0.674_081_8 * linear[1] + 0.053_689_5 * linear[2]
}

fn luma(v: [f64; 3]) -> f64 {
    (0..3).map(|c| LUMA_709[c] * v[c]).sum()
}

/// (C_B, C_R) after BT.709.
fn chroma(v: [f64; 3]) -> [f64; 2] {
    let y = luma(v);
    [(v[2] - y) / 1.8556, (v[0] - y) / 1.5748]
}

/// The colour at a place of the (C_B, C_R) plane.
fn of_chroma(y: f64, [cb, cr]: [f64; 2]) -> [f64; 3] {
    let (r, b) = (y + 1.5748 * cr, y + 1.8556 * cb);
    [r, (y - LUMA_709[0] * r - LUMA_709[2] * b) / LUMA_709[1], b]
}

fn angle([cb, cr]: [f64; 2]) -> f64 {
    cr.atan2(cb).to_degrees().rem_euclid(360.0)
}

/// Determinant of the derivative at `v`.
fn determinant(f: &dyn Fn([f64; 3]) -> [f64; 3], v: [f64; 3]) -> f64 {
    let h = 1e-6;
    let column = |c: usize| {
        let shifted = |by: f64| f(std::array::from_fn(|i| if i == c { v[i] + by } else { v[i] }));
        let (a, b) = (shifted(h), shifted(-h));
        std::array::from_fn::<f64, 3, _>(|i| (a[i] - b[i]) / (2.0 * h))
    };
    let [a, b, c] = [column(0), column(1), column(2)];
    a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
}

#[test]
fn defaults_leave_everything() {
    for key in SILENT {
        let set = Set::new(key, &[]);
        for v in vectors(2000) {
            let wide = v.map(f64::from);
            assert!(close(set.at(wide), wide, 1e-12), "{key} at {v:?}");
            let out = set.at_f32(v);
            assert!(close(out.map(f64::from), wide, 1e-6), "{key} at {v:?}: {out:?}");
        }
    }
}

#[test]
fn grey_stays_where_that_is_claimed() {
    let mut claimed = 0;
    for d in point_stages().filter(|d| d.holds_grey) {
        claimed += 1;
        let grey = grey_of(d);
        for set in settings(d, 200) {
            assert!(close(set.at([grey; 3]), [grey; 3], 1e-12), "{}: {:?}", d.key, set.values);
            let single = set.at_f32([grey as f32; 3]).map(f64::from);
            assert!(close(single, [grey; 3], 1e-7), "{}: {:?}: {single:?}", d.key, set.values);
        }
    }
    assert!(claimed >= 6, "{claimed}");
    // The curves claim nothing: grey is one of their points.
    assert!(!stage("curves").unwrap().declaration().holds_grey);
}

#[test]
fn a_grey_ramp_stays_in_order_where_that_is_claimed() {
    let mut claimed = 0;
    for d in point_stages().filter(|d| d.monotone) {
        claimed += 1;
        let ramp: Vec<f64> = match d.domain {
            Domain::Acescct => (0..=3000).map(|i| -1.0 + f64::from(i) / 1000.0).collect(),
            Domain::Linear => (-100..0)
                .map(|i| f64::from(i) / 100.0)
                .chain((0..=2000).map(|i| 2f64.powf(-24.0 + 40.0 * f64::from(i) / 2000.0).min(65504.0)))
                .collect(),
        };
        for set in settings(d, 60) {
            let out: Vec<_> = ramp.iter().map(|v| set.at([*v; 3])).collect();
            for (a, b) in out.iter().zip(&out[1..]) {
                assert!((0..3).all(|c| b[c] >= a[c]), "{}: {:?}: {a:?} {b:?}", d.key, set.values);
            }
        }
    }
    assert!(claimed >= 6, "{claimed}");
}

#[test]
fn neutrals_keep_their_bits() {
    for key in ["saturation", "crosstalk", "palette"] {
        for set in settings(stage(key).unwrap().declaration(), 60) {
            for i in 0..=300 {
                let v = [-1.0 + i as f32 * 0.01; 3];
                assert_eq!(set.at_f32(v), v, "{key}: {:?}", set.values);
            }
        }
    }
}

#[test]
fn everything_finite_stays_finite() {
    for d in point_stages() {
        let levels: &[f32] = match d.domain {
            Domain::Acescct => &[-1.0, -0.1, 0.0, 1e-20, 0.413_588_4, 1.0, 2.0],
            Domain::Linear => &[-65504.0, -1.0, 0.0, 6e-8, 0.18, 64.0, 65504.0],
        };
        let mut pixels = vectors(500);
        for r in levels {
            for g in levels {
                pixels.extend(levels.iter().map(|b| [*r, *g, *b]));
            }
        }
        for set in settings(d, 60) {
            for v in &pixels {
                let out = set.at_f32(*v);
                assert!(out.iter().all(|x| x.is_finite()), "{}: {:?}: {v:?} → {out:?}", d.key, set.values);
            }
        }
    }
}

// Saturation.

#[test]
fn saturation_has_its_closed_form() {
    // Worked by hand's way, not the stage's: lumas by their weighted sum, all lengths from scratch.
    let set = Set::new("saturation", &[("saturation", 1.6), ("density", 0.4), ("roll-off", 0.8)]);
    let stop = 1.0 / 17.52;
    let length = |c: [f64; 3]| c.iter().map(|v| v * v).sum::<f64>().sqrt();
    let b = |e: f64| e * e / (e + 0.5 * stop);
    for v in [[0.6, 0.4, 0.3], [0.2, 0.5, 0.45], [0.1, 0.1, 0.4]] {
        let y = luma(v);
        let c = v.map(|x| x - y);
        let gain = 1.0 + 0.6 / (1.0 + 0.8 * (length(c) / (2.0 * stop)).powi(2));
        let after = c.map(|x| x * gain);
        let deeper = 0.6 * (1.4 * b(length(after)) - b(length(c)));
        assert!(close(set.at(v), after.map(|x| y + x - deeper), 1e-12), "{v:?}");
    }
}

#[test]
fn no_saturation_is_neutral() {
    for density in [0.0, 0.7] {
        let set = Set::new("saturation", &[("saturation", 0.0), ("density", density)]);
        let out = set.at([0.6, 0.3, 0.2]);
        assert!((out[0] - out[1]).abs() < 1e-12 && (out[1] - out[2]).abs() < 1e-12, "{out:?}");
    }
}

/// Colours of BT.709 never gain luminance from a rise, and deepen by less than a stop. The same rise at constant
/// luma of the signal (ASC CDL 1.2 saturation) makes some of them glow.
#[test]
fn a_rise_deepens_and_does_not_glow() {
    let mut glow: f64 = 0.0;
    for saturation in [1.1, 1.25, 1.5] {
        let set = Set::new("saturation", &[("saturation", saturation)]);
        for rgb in SIX {
            for purity in [0.1, 0.25, 0.5, 0.75, 0.95] {
                let v = bt709_acescct(rgb, purity, 0.18);
                let change = (luminance(set.at(v)) / luminance(v)).log2();
                assert!((-0.45..=0.0).contains(&change), "{saturation} {rgb:?} {purity}: {change}");
                let y = luma(v);
                let video = v.map(|x| y + saturation * (x - y));
                glow = glow.max((luminance(video) / luminance(v)).log2());
            }
        }
    }
    assert!(glow > 0.3, "{glow}");
}

#[test]
fn density_deepens_strong_colours_most_and_keeps_their_direction() {
    let before = Set::new("saturation", &[]);
    let set = Set::new("saturation", &[("density", 0.5)]);
    for rgb in SIX {
        let mut last = 0.0;
        for purity in [0.1, 0.3, 0.6, 0.9] {
            let v = bt709_acescct(rgb, purity, 0.18);
            let out = set.at(v);
            let darker = luma(v) - luma(out);
            assert!(darker > last, "{rgb:?} {purity}");
            assert!(close(before.at(v), v, 1e-12));
            let (a, b) = (chroma(v), chroma(out));
            assert!((a[0] - b[0]).abs() < 1e-12 && (a[1] - b[1]).abs() < 1e-12);
            last = darker;
        }
    }
}

#[test]
fn roll_off_spares_strong_colours() {
    let gain = |roll_off, distance: f64| {
        let set = Set::new("saturation", &[("saturation", 1.8), ("roll-off", roll_off)]);
        let v = of_chroma(GREY_ACESCCT, [0.0, distance]);
        chroma(set.at(v))[1] / distance
    };
    let (pale, strong) = (0.1 * STOP_ACESCCT, 2.0 * STOP_ACESCCT);
    assert!((gain(0.0, pale) - 1.8).abs() < 1e-9 && (gain(0.0, strong) - 1.8).abs() < 1e-9);
    assert!(gain(1.0, pale) > 1.78, "{}", gain(1.0, pale));
    assert!(gain(1.0, strong) < 1.4, "{}", gain(1.0, strong));
    // A fall takes strong colours along.
    let fall = Set::new("saturation", &[("saturation", 0.5), ("roll-off", 1.0)]);
    let v = of_chroma(0.5, [strong, 0.0]);
    assert!((chroma(fall.at(v))[0] - strong / 2.0).abs() < 1e-12);
}

#[test]
fn saturation_does_not_fold() {
    let mut random = Random(3);
    for _ in 0..4000 {
        let set = Set::new(
            "saturation",
            &[
                ("saturation", random.within(0.1, 2.0)),
                ("density", random.next()),
                ("roll-off", random.next()),
            ],
        );
        let v = std::array::from_fn(|_| random.within(0.05, 0.85));
        assert!(determinant(&|x| set.at(x), v) > 0.005, "{:?} at {v:?}", set.values);
    }
}

// Crosstalk.

const COUPLINGS: [&str; 6] = [
    "red-from-green",
    "red-from-blue",
    "green-from-red",
    "green-from-blue",
    "blue-from-red",
    "blue-from-green",
];

fn coupling_matrix(a: [f64; 6]) -> [[f64; 3]; 3] {
    [[1.0 - a[0] - a[1], a[0], a[1]], [a[2], 1.0 - a[2] - a[3], a[3]], [a[4], a[5], 1.0 - a[4] - a[5]]]
}

#[test]
fn crosstalk_is_a_matrix_in_density_about_grey() {
    let mut random = Random(11);
    for _ in 0..200 {
        let a: [f64; 6] = std::array::from_fn(|_| random.within(-0.3, 0.3));
        let set = Set::new("crosstalk", &std::array::from_fn::<_, 6, _>(|i| (COUPLINGS[i], a[i])));
        let v: [f64; 3] = std::array::from_fn(|_| random.within(-1.0, 2.0));
        let density = v.map(|x| GREY_ACESCCT - x);
        let m = coupling_matrix(a);
        let expected =
            std::array::from_fn(|r| GREY_ACESCCT - (0..3).map(|c| m[r][c] * density[c]).sum::<f64>());
        assert!(close(set.at(v), expected, 1e-12), "{a:?} at {v:?}");
    }
    // Numbers: half a stop of difference, a tenth of it.
    let set = Set::new("crosstalk", &[("red-from-green", 0.1)]);
    let out = set.at([0.5, 0.4, 0.3]);
    assert!(close(out, [0.49, 0.4, 0.3], 1e-15), "{out:?}");
}

/// The determinant is linear in each coupling (each stands in one row), so its least value is at a corner.
#[test]
fn crosstalk_cannot_fold() {
    for corner in 0..64 {
        let a: [f64; 6] = std::array::from_fn(|i| if corner >> i & 1 == 1 { 0.3 } else { -0.3 });
        let m = coupling_matrix(a);
        let minor = |i: usize, j: usize| m[1][i] * m[2][j] - m[1][j] * m[2][i];
        let det = m[0][0] * minor(1, 2) - m[0][1] * minor(0, 2) + m[0][2] * minor(0, 1);
        assert!(det > 0.009, "{a:?}: {det}");
        let set = Set::new("crosstalk", &std::array::from_fn::<_, 6, _>(|i| (COUPLINGS[i], a[i])));
        assert!((determinant(&|x| set.at(x), [0.5, 0.3, 0.4]) - det).abs() < 1e-7);
    }
}

// Monochrome.

/// Weights of red, green and blue: what light of one channel alone gives.
fn weights(set: &[(&str, f64)]) -> [f64; 3] {
    let all: Vec<_> = set.iter().copied().chain([("amount", 1.0)]).collect();
    let set = Set::new("monochrome", &all);
    std::array::from_fn(|c| {
        let out = set.at(std::array::from_fn(|i| if i == c { 1.0 } else { 0.0 }));
        assert!(out[0] == out[1] && out[1] == out[2], "{out:?}");
        out[0]
    })
}

#[test]
fn monochrome_is_a_weighted_sum() {
    let pan = weights(&[]);
    assert!(close(pan, [0.32, 0.43, 0.25], 1e-12), "{pan:?}");
    let ortho = weights(&[("response", 1.0)]);
    assert!(close(ortho, [0.02, 0.46, 0.52], 1e-12), "{ortho:?}");
    // Half-way, through a filter of (2, 1, ½): (0.17 · 2, 0.445, 0.385 ÷ 2) over their sum.
    let mixed = weights(&[("response", 0.5), ("red", 2.0), ("blue", 0.5)]);
    assert!(close(mixed, [0.34 / 0.9775, 0.445 / 0.9775, 0.1925 / 0.9775], 1e-12), "{mixed:?}");
    // Half the amount is half the way, in light.
    let half = Set::new("monochrome", &[("amount", 0.5)]);
    let silver = 0.32 * 0.8 + 0.43 * 0.4 + 0.25 * 0.1;
    let expected = [0.8, 0.4, 0.1].map(|v| (v + silver) / 2.0);
    assert!(close(half.at([0.8, 0.4, 0.1]), expected, 1e-12));
}

#[test]
fn monochrome_weights_sum_to_one_at_any_setting() {
    let d = stage("monochrome").unwrap().declaration();
    for mut set in settings(d, 200) {
        set.values[d.index("amount").unwrap()] = 1.0;
        for level in [0.18, 1.0, 65504.0] {
            assert!(close(set.at([level; 3]), [level; 3], level * 1e-12), "{:?}", set.values);
        }
    }
    // Nothing let through: as without a filter.
    let none = weights(&[("red", 0.0), ("green", 0.0), ("blue", 0.0)]);
    assert!(close(none, [0.32, 0.43, 0.25], 1e-12), "{none:?}");
}

#[test]
fn films_see_colours_as_films_do() {
    let lip = [0.35, 0.12, 0.1];
    let sky = [0.15, 0.22, 0.4];
    let value = |rgb: [f64; 3], set: &[(&str, f64)]| {
        let w = weights(set);
        (0..3).map(|c| w[c] * rgb[c]).sum::<f64>()
    };
    assert!(value(lip, &[("response", 1.0)]) < 0.7 * value(lip, &[]), "red goes dark");
    assert!(value(sky, &[("response", 1.0)]) > 1.1 * value(sky, &[]), "skies go pale");
    let red_filter = [("green", 0.3), ("blue", 0.0)];
    assert!(value(sky, &red_filter) < 0.75 * value(sky, &[]), "a red filter darkens a sky");
}

// Palette.

const SECTORS: [&str; 6] = ["red", "yellow", "green", "cyan", "blue", "magenta"];

/// Angles of the BT.709 bars in the (C_B, C_R) plane, from the matrix of BT.709-6, of red, yellow, green, cyan,
/// blue and magenta.
fn bar_angles() -> [f64; 6] {
    SIX.map(|rgb| angle(chroma(rgb)))
}

#[test]
fn bars_stand_at_the_published_angles() {
    let published = [102.906, 174.761, 229.680, 282.906, 354.761, 49.680];
    for (a, p) in bar_angles().iter().zip(published) {
        assert!((a - p).abs() < 1e-3, "{a} {p}");
    }
}

fn on_ring(degrees: f64, radius: f64) -> [f64; 2] {
    [radius * degrees.to_radians().cos(), radius * degrees.to_radians().sin()]
}

/// Share of hue and saturation, and of density, that acts at a distance from neutral.
fn shares(radius: f64) -> (f64, f64) {
    let square = (0.4 * STOP_ACESCCT).powi(2);
    (radius / (radius + 0.04 * STOP_ACESCCT), radius * radius / (radius * radius + square))
}

#[test]
fn each_sector_answers_to_its_own_knobs_and_no_other() {
    for (i, name) in SECTORS.iter().enumerate() {
        let keys = [format!("{name}-hue"), format!("{name}-saturation"), format!("{name}-density")];
        let set = Set::new("palette", &[(&keys[0], 12.0), (&keys[1], 1.4), (&keys[2], 6.0)]);
        for (j, degrees) in bar_angles().iter().enumerate() {
            for radius in [0.05, 1.0, 3.0].map(|stops| stops * STOP_ACESCCT) {
                let v = of_chroma(0.45, on_ring(*degrees, radius));
                let out = set.at(v);
                if i == j {
                    let (near, dense) = shares(radius);
                    let turn = 2.0 * (near * 6f64.to_radians().tan()).atan();
                    let expected = of_chroma(
                        0.45 - dense * 6.0 * POINT_ACESCCT,
                        on_ring(degrees + turn.to_degrees(), radius * (1.0 + 0.4 * near)),
                    );
                    // Directions are declared to ten digits.
                    assert!(close(out, expected, 1e-9), "{name}: {out:?} {expected:?}");
                } else {
                    assert!(close(out, v, 1e-9), "{name} at {}: {out:?} {v:?}", SECTORS[j]);
                }
            }
        }
    }
}

/// The shares of two neighbours sum to one: the same setting in all six is the same everywhere.
#[test]
fn sectors_share_the_circle_out() {
    let keys: Vec<(String, f64)> = SECTORS
        .iter()
        .flat_map(|n| {
            [(format!("{n}-hue"), 20.0), (format!("{n}-saturation"), 0.7), (format!("{n}-density"), -5.0)]
        })
        .collect();
    let set = Set::new("palette", &keys.iter().map(|(k, v)| (k.as_str(), *v)).collect::<Vec<_>>());
    let radius = 1.5 * STOP_ACESCCT;
    let (near, dense) = shares(radius);
    let turn = (2.0 * (near * 10f64.to_radians().tan()).atan()).to_degrees();
    for degrees in 0..360 {
        let degrees = f64::from(degrees);
        let out = set.at(of_chroma(0.5, on_ring(degrees, radius)));
        let expected = of_chroma(
            0.5 + dense * 5.0 * POINT_ACESCCT,
            on_ring(degrees + turn, radius * (1.0 - 0.3 * near)),
        );
        assert!(close(out, expected, 1e-9), "{degrees}: {out:?} {expected:?}");
    }
}

#[test]
fn sectors_join_without_a_kink() {
    let set = Set::new("palette", &[("red-hue", 10.0), ("yellow-saturation", 1.8), ("green-density", 10.0)]);
    let at = |degrees: f64| set.at(of_chroma(0.5, on_ring(degrees, 2.0 * STOP_ACESCCT)));
    let slope = |degrees: f64, side: f64| {
        let (a, b) = (at(degrees), at(degrees + side * 1e-4));
        std::array::from_fn::<f64, 3, _>(|c| (b[c] - a[c]) / (side * 1e-4))
    };
    for degrees in bar_angles() {
        assert!(close(slope(degrees, 1.0), slope(degrees, -1.0), 1e-6), "{degrees}");
    }
}

fn palette_at(random: &mut Random, hue: f64, saturation: (f64, f64)) -> Set {
    // Half of the draws at an end: neighbours against each other are the hardest case.
    let mut draw = |low: f64, high: f64| {
        let v = random.within(low, high);
        if random.next() < 0.5 { if v < (low + high) / 2.0 { low } else { high } } else { v }
    };
    let keys: Vec<(String, f64)> = SECTORS
        .iter()
        .flat_map(|n| {
            [
                (format!("{n}-hue"), draw(-hue, hue)),
                (format!("{n}-saturation"), draw(saturation.0, saturation.1)),
                (format!("{n}-density"), draw(-12.0, 12.0)),
            ]
        })
        .collect();
    Set::new("palette", &keys.iter().map(|(k, v)| (k.as_str(), *v)).collect::<Vec<_>>())
}

/// Once around the circle, hues go once around, forwards all the way. Also at the ends of the range, since
/// `prepare` draws neighbours back that would cross.
#[test]
fn hues_keep_their_order() {
    let mut random = Random(5);
    for n in 0..300 {
        let (hue, saturation, least) =
            if n % 2 == 0 { (15.0, (0.6, 1.6), 0.2) } else { (30.0, (0.0, 2.0), 0.02) };
        let mut set = palette_at(&mut random, hue, saturation);
        if n % 2 == 1 {
            // Saturation 0 has no hue to ask for.
            for v in &mut set.values[18..] {
                *v = v.max(-0.99);
            }
        }
        for radius in [0.05, 0.5, 2.0, 4.0].map(|stops| stops * STOP_ACESCCT) {
            let hues: Vec<f64> = (0..=720)
                .map(|i| angle(chroma(set.at(of_chroma(0.5, on_ring(f64::from(i) * 0.5, radius))))))
                .collect();
            let mut total = 0.0;
            for (a, b) in hues.iter().zip(&hues[1..]) {
                let step = (b - a + 180.0).rem_euclid(360.0) - 180.0;
                assert!(step > 0.5 * least, "{:?}: {a} → {b} at {radius}", set.values);
                total += step;
            }
            assert!((total - 360.0).abs() < 1e-6, "{total}");
        }
    }
}

/// Orientation is kept everywhere in the plane (metric M4 of the look check, here by the derivative).
#[test]
fn moderate_palettes_do_not_fold() {
    let mut random = Random(6);
    let mut least = f64::INFINITY;
    for _ in 0..4000 {
        let set = palette_at(&mut random, 15.0, (0.6, 1.6));
        let radius = STOP_ACESCCT * 2f64.powf(random.within(-5.0, 2.3));
        let v = of_chroma(random.within(0.2, 0.7), on_ring(random.within(0.0, 360.0), radius));
        least = least.min(determinant(&|x| set.at(x), v));
    }
    assert!(least > 0.02, "{least}");
}

// Curves.

fn curves(curve: &str, lifts: [f64; 5]) -> Set {
    placed(curve, [-6.0, -3.0, 0.0, 3.0, 6.0], lifts)
}

fn placed(curve: &str, places: [f64; 5], lifts: [f64; 5]) -> Set {
    let lift_keys = CURVE_POINTS.map(|p| format!("{curve}-{p}"));
    let place_keys = CURVE_POINTS.map(|p| format!("{curve}-{p}-at"));
    let lifts = lift_keys.iter().map(String::as_str).zip(lifts);
    let places = place_keys.iter().map(String::as_str).zip(places);
    Set::new("curves", &lifts.chain(places).collect::<Vec<_>>())
}

/// Stops from grey, in and out of all channels.
fn stops_out(set: &Set, stops: f64) -> [f64; 3] {
    set.at([GREY_ACESCCT + stops * STOP_ACESCCT; 3]).map(|v| (v - GREY_ACESCCT) / STOP_ACESCCT)
}

#[test]
fn curves_pass_through_their_points() {
    let lifts = [0.5, -0.4, 0.1, 0.8, -0.6];
    for places in [[-6.0, -3.0, 0.0, 3.0, 6.0], [-7.5, -2.0, -0.7, 1.9, 9.3], [-8.0, -6.5, -5.0, -3.25, -1.0]]
    {
        for (c, name) in ["red", "green", "blue"].iter().enumerate() {
            let set = placed(name, places, lifts);
            let all = placed("master", places, lifts);
            for (stops, lift) in places.into_iter().zip(lifts) {
                let expected = std::array::from_fn(|k| stops + if k == c { lift } else { 0.0 });
                assert!(close(stops_out(&set, stops), expected, 1e-12), "{name} {stops}");
                assert!(close(stops_out(&all, stops), [stops + lift; 3], 1e-12), "{stops}");
            }
        }
    }
}

/// Fritsch & Carlson 1980, worked by hand. Points (one apart) at −1/3, 2/3, 2, 3.8, 4 have the secants 1, 4/3, 9/5,
/// 1/5 and the first slopes 1, 7/6, 47/30, 1, 1/5. Only the last span leaves the circle (α 5, β 1): its slopes
/// become 3/√26 and 0.6/√26.
#[test]
fn curves_have_the_slopes_of_fritsch_and_carlson() {
    let set = curves("master", [-1.0, -1.0, 0.0, 2.4, 0.0]);
    let heights = [-1.0 / 3.0, 2.0 / 3.0, 2.0, 3.8, 4.0];
    let slopes = [1.0, 7.0 / 6.0, 47.0 / 30.0, 3.0 / 26f64.sqrt(), 0.6 / 26f64.sqrt()];
    let at = |x: f64| (stops_out(&set, 3.0 * x - 6.0)[0] + 6.0) / 3.0;
    for (i, slope) in slopes.iter().enumerate() {
        let x = i as f64;
        let found = (at(x + 1e-6) - at(x - 1e-6)) / 2e-6;
        assert!((found - slope).abs() < 1e-5, "{i}: {found} {slope}");
    }
    // The middle of a span, by Hermite's formula.
    for i in 0..4 {
        let expected = (heights[i] + heights[i + 1]) / 2.0 + (slopes[i] - slopes[i + 1]) / 8.0;
        assert!((at(i as f64 + 0.5) - expected).abs() < 1e-9, "{i}");
    }
    // Straight on outside.
    assert!((at(-2.0) - (heights[0] - 2.0 * slopes[0])).abs() < 1e-9);
    assert!((at(7.0) - (heights[4] + 3.0 * slopes[4])).abs() < 1e-9);
}

/// The same at uneven places. Points at −5, −4, −2, 1, 2 stops go through −5, −4.4, −2, −1, 2: the ways are 1, 2,
/// 3, 1 and the secants 3/5, 6/5, 1/3, 3. Parabolas through neighbours have the slopes (2·3/5 + 6/5)/3 = 4/5,
/// (3·6/5 + 2·1/3)/5 = 64/75 and (1/3 + 3·3)/4 = 7/3; the ends have their secants. Only the third span leaves the
/// circle, α 64/25 and β 7: both are shortened by 3/√(α² + β²).
#[test]
fn curves_have_those_slopes_at_uneven_places() {
    let places = [-5.0, -4.0, -2.0, 1.0, 2.0];
    let heights = [-5.0, -4.4, -2.0, -1.0, 2.0];
    let set = placed("green", places, std::array::from_fn(|i| heights[i] - places[i]));
    let at = |x: f64| stops_out(&set, x)[1];
    let short = 3.0 / (64.0f64 / 25.0).hypot(7.0);
    let slopes = [0.6, 0.8, 64.0 / 75.0 * short, 7.0 / 3.0 * short, 3.0];
    for (i, slope) in slopes.iter().enumerate() {
        for side in [-1e-6, 1e-6] {
            let found = (at(places[i] + side) - at(places[i])) / side;
            assert!((found - slope).abs() < 1e-5, "{i}: {found} {slope}");
        }
    }
    // Hermite's own four polynomials.
    for i in 0..4 {
        let way = places[i + 1] - places[i];
        for n in 0..=20 {
            let t = f64::from(n) / 20.0;
            let expected = (1.0 + 2.0 * t) * (1.0 - t).powi(2) * heights[i]
                + t * (1.0 - t).powi(2) * way * slopes[i]
                + t * t * (3.0 - 2.0 * t) * heights[i + 1]
                + t * t * (t - 1.0) * way * slopes[i + 1];
            let found = at(places[i] + t * way);
            assert!((found - expected).abs() < 1e-12, "{i} {t}: {found} {expected}");
        }
    }
    assert!((at(-12.0) - (-5.0 - 7.0 * 0.6)).abs() < 1e-12);
    assert!((at(12.0) - (2.0 + 10.0 * 3.0)).abs() < 1e-12);
}

/// At random places and lifts: through every point, rising all the way, one slope on both sides of a point.
#[test]
fn curves_rise_smoothly_wherever_their_points_are() {
    let mut random = Random(12);
    let mut through = 0;
    for n in 0..1000 {
        let name = CURVE_NAMES[n % 4];
        let channel = [0, 0, 1, 2][n % 4];
        // Half of them as a hand would set them, half anywhere.
        let mut places = [0.0; 5].map(|_: f64| random.within(-8.0, 10.0));
        if n % 2 == 0 {
            places.sort_by(f64::total_cmp);
        }
        let lifts = [0.0; 5].map(|_: f64| random.within(-3.0, 3.0) * if n % 2 == 0 { 0.3 } else { 1.0 });
        let set = placed(name, places, lifts);
        let at = |stops: f64| stops_out(&set, stops)[channel];
        let points = curve_points(&set.values, CURVE_NAMES.iter().position(|c| *c == name).unwrap());
        for (i, p) in points.iter().enumerate() {
            assert!((at(p.place) - p.height()).abs() < 1e-12, "{places:?} {lifts:?}: {i}");
            // What was asked for is what is there, where the points are in order and the way is neither too
            // flat nor too steep.
            let steepness = |a: usize, b: usize| {
                (points[b].height() - points[a].height()) / (points[b].place - points[a].place)
            };
            let free = |a: usize, b: usize| {
                places[b] - places[a] >= 0.5
                    && (1.0 / 30.0..=4.0)
                        .contains(&((places[b] + lifts[b] - places[a] - lifts[a]) / (places[b] - places[a])))
            };
            if (0..4).all(|k| free(k, k + 1)) {
                through += 1;
                assert!((p.place - places[i]).abs() < 1e-12 && (p.lift - lifts[i]).abs() < 1e-12);
            }
            if i > 0 {
                assert!(points[i].place - points[i - 1].place > 0.5 - 1e-9);
                assert!((1.0 / 30.0 - 1e-9..4.0 + 1e-9).contains(&steepness(i - 1, i)));
            }
            let h = 1e-6;
            let (left, right) = ((at(p.place) - at(p.place - h)) / h, (at(p.place + h) - at(p.place)) / h);
            assert!((left - right).abs() < 1e-3, "{places:?} {lifts:?}: {left} {right} at {}", p.place);
        }
        let out: Vec<f64> = (0..=3000).map(|i| at(-15.0 + f64::from(i) / 100.0)).collect();
        for (a, b) in out.iter().zip(&out[1..]) {
            assert!(b > a, "{places:?} {lifts:?}: {a} {b}");
        }
    }
    assert!(through > 300, "{through}");
}

/// Without a lift, places change nothing, not a bit.
#[test]
fn places_alone_change_nothing() {
    let d = stage("curves").unwrap().declaration();
    let mut random = Random(77);
    for _ in 0..100 {
        let values: Vec<f64> = d
            .parameters
            .iter()
            .map(|p| if p.key.ends_with("-at") { p.at(random.next()) } else { 0.0 })
            .collect();
        let set = Set::of(d, &values);
        for v in vectors(200) {
            assert_eq!(set.at_f32(v), v);
        }
    }
}

#[test]
fn heights_that_would_fold_are_limited() {
    // Grey to three stops over it may not fall: it rises by a tenth of a stop.
    let set = curves("master", [0.0, 0.0, 1.0, -3.0, -3.0]);
    for (stops, expected) in [(0.0, 1.0), (3.0, 1.1), (6.0, 3.0), (-3.0, -3.0)] {
        assert!(close(stops_out(&set, stops), [expected; 3], 1e-9), "{stops}: {:?}", stops_out(&set, stops));
    }
    // In half a stop it rises by two at most.
    let set = placed("master", [-6.0, -3.0, 0.0, 0.5, 6.0], [0.0, 0.0, 0.0, 3.0, 0.0]);
    for (stops, expected) in [(0.0, 0.0), (0.5, 2.0), (6.0, 6.0)] {
        assert!(close(stops_out(&set, stops), [expected; 3], 1e-9), "{stops}: {:?}", stops_out(&set, stops));
    }
    // A point moved past the next pushes it along, half a stop ahead, with the lift that one has.
    let set = placed("master", [-6.0, -3.0, 0.0, 7.0, 6.0], [0.0, 0.0, 0.0, 0.5, -0.25]);
    for (stops, expected) in [(0.0, 0.0), (7.0, 7.5), (7.5, 7.5 + 0.5 / 30.0)] {
        assert!(close(stops_out(&set, stops), [expected; 3], 1e-9), "{stops}: {:?}", stops_out(&set, stops));
    }
    // Strictly rising at any setting, in every channel.
    let d = stage("curves").unwrap().declaration();
    for set in settings(d, 300) {
        let out: Vec<_> = (0..=1500).map(|i| stops_out(&set, -25.0 + f64::from(i) / 30.0)).collect();
        for (a, b) in out.iter().zip(&out[1..]) {
            assert!((0..3).all(|c| b[c] > a[c]), "{:?}: {a:?} {b:?}", set.values);
        }
    }
}

/// Turning a place past its neighbour's moves the picture smoothly: no two points ever change their roles.
#[test]
fn a_place_that_passes_its_neighbour_makes_no_jump() {
    let at = |place: f64| {
        let set = placed("master", [-6.0, place, 0.0, 3.0, 6.0], [0.0, 1.0, -0.5, 0.0, 0.0]);
        std::array::from_fn::<f64, 121, _>(|i| stops_out(&set, -8.0 + 0.15 * i as f64)[0])
    };
    let mut last = at(-8.0);
    for n in 1..=36_000 {
        let next = at(-8.0 + 0.0005 * f64::from(n));
        for (a, b) in last.iter().zip(next) {
            assert!((a - b).abs() < 0.01, "at {}: {a} {b}", -8.0 + 0.0005 * f64::from(n));
        }
        last = next;
    }
}

/// What a hand may do to one point leaves its neighbours where they are, and the point where it was put.
#[test]
fn a_point_is_held_between_its_neighbours() {
    let d = stage("curves").unwrap().declaration();
    let mut random = Random(4);
    let mut granted = 0;
    for n in 0..2000 {
        let mut values = d.defaults();
        let (curve, point) = (n % 4, n % 5);
        let points = curve_points(&values, curve);
        let wanted = CurvePoint { place: random.within(-12.0, 14.0), lift: random.within(-9.0, 9.0) };
        let held = curve_point_within(&points, point, wanted);
        let (place, lift) = curve_point_parameters(curve, point);
        (values[place], values[lift]) = (held.place, held.lift);
        let found = curve_points(&values, curve);
        for i in 0..5 {
            let expected = if i == point { held } else { points[i] };
            assert!((found[i].place - expected.place).abs() < 1e-9, "{point} {wanted:?}: {found:?}");
            assert!((found[i].lift - expected.lift).abs() < 1e-9, "{point} {wanted:?}: {found:?}");
        }
        // What is possible is done as it was wished.
        let possible = |a: CurvePoint, b: CurvePoint| {
            let way = b.place - a.place;
            way >= 0.5 && (1.0 / 30.0..=4.0).contains(&((b.height() - a.height()) / way))
        };
        let before = point.checked_sub(1).is_none_or(|i| possible(points[i], wanted));
        if before && points.get(point + 1).is_none_or(|next| possible(wanted, *next)) {
            granted += 1;
            assert!((held.place - wanted.place).abs() < 1e-12 && (held.lift - wanted.lift).abs() < 1e-12);
        }
    }
    assert!(granted > 100, "{granted}");
    for (curve, name) in CURVE_NAMES.iter().enumerate() {
        for (point, which) in CURVE_POINTS.iter().enumerate() {
            let (place, lift) = curve_point_parameters(curve, point);
            assert_eq!(d.parameters[place].key, format!("{name}-{which}-at"));
            assert_eq!(d.parameters[lift].key, format!("{name}-{which}"));
        }
    }
}

#[test]
fn a_channels_curve_follows_the_master() {
    let master = curves("master", [0.0, 0.3, -0.2, 0.9, 0.0]);
    let red = placed("red", [-5.0, -2.0, 1.0, 2.5, 4.0], [0.2, 0.0, 0.5, -1.0, 0.0]);
    let mut both = master.values[..40].to_vec();
    for range in [5..10, 25..30] {
        both[range.clone()].copy_from_slice(&red.values[range]);
    }
    let both = Set::of(master.d, &both);
    for i in 0..60 {
        let v = [f64::from(i) * 0.02; 3];
        assert!(close(both.at(v), red.at(master.at(v)), 1e-12));
    }
}

// The looks that come along, by the limits of a sound look (common practice, this project's own).

fn graded(look: &Look, strength: f64) -> Grader<f64> {
    let acescct = encoding("acescct").unwrap();
    let chain = Chain { look: look.stages.clone(), look_strength: strength, ..Default::default() };
    Grader::new(&Recipe::graded(acescct, Balance::default(), &chain, Tail::Encoding(acescct)))
}

/// Grey within a printer point; on neutrals the slope of the ACEScct signal, luma over grey, never at 0 nor over 1.55
/// within four stops, and 0.8 to 1.55 at grey.
#[test]
fn the_looks_that_come_along_hold_grey_and_their_slope() {
    assert_eq!(shipped_looks().len(), 10);
    for look in shipped_looks() {
        let grader = graded(look, 1.0);
        let neutral = |stops: f64| grader.pixel([GREY_ACESCCT + stops * STOP_ACESCCT; 3]);
        let shift = (luminance(neutral(0.0)) / GREY).log2();
        assert!(shift.abs() <= 1.0 / 12.0, "{}: {shift}", look.name);
        let slope =
            |stops: f64| (luma(neutral(stops + 0.05)) - luma(neutral(stops - 0.05))) / (0.1 * STOP_ACESCCT);
        assert!((0.8..=1.55).contains(&slope(0.0)), "{}: {}", look.name, slope(0.0));
        for tenths in -40..=40 {
            let at = slope(f64::from(tenths) / 10.0);
            assert!(at > 0.0 && at <= 1.55, "{}: slope {at} at {tenths} tenths of a stop", look.name);
        }
    }
}

/// No colour from black to six stops over grey changes its orientation, at any strength. A monochrome look has none
/// at its whole strength, one of two dyes next to none.
#[test]
fn the_looks_that_come_along_do_not_fold() {
    for look in shipped_looks() {
        let silver = look.stages.iter().any(|s| s.declaration().key == "monochrome");
        for strength in [0.25, 0.5, 0.75, 1.0] {
            let grader = graded(look, strength);
            let mut random = Random(9);
            let mut least = f64::INFINITY;
            for _ in 0..3000 {
                let v = std::array::from_fn(|_| random.within(0.0729, GREY_ACESCCT + 6.0 * STOP_ACESCCT));
                least = least.min(determinant(&|x| grader.pixel(x), v));
            }
            if silver && strength == 1.0 {
                assert!(least.abs() < 1e-6, "{}: {least}", look.name);
            } else if silver {
                // Mixed in light, a dark channel is all but lost in the silver; it is not turned around.
                assert!(least > -1e-9, "{} at {strength}: {least}", look.name);
            } else if look.intent == Some(Intent::TwoColour) && strength == 1.0 {
                assert!((-1e-9..1e-2).contains(&least), "{}: {least}", look.name);
            } else {
                assert!(least > 1e-3, "{} at {strength}: {least}", look.name);
            }
        }
    }
}

// Bleach.

/// Worked from densities: dyes and silver of a print add, and exposure is shifted until grey is as it was.
#[test]
fn bleach_adds_the_densities_of_silver_and_dyes() {
    for (silver, lighter) in [(0.6, 0.5), (1.0, 0.0), (1.0, 1.0), (0.3, 0.8)] {
        let set = Set::new("bleach", &[("silver", silver), ("lighter-dyes", lighter)]);
        // Density of a print in units of ACEScct; where its zero lies must not matter.
        for white in [0.8, 1.3] {
            let dyes = (1.0f64 + silver).powf(-lighter);
            let print = |v: [f64; 3]| {
                let density = v.map(|x| white - x);
                let image = silver * (density[0] + density[1] + density[2]) / 3.0;
                density.map(|d| dyes * (d + image))
            };
            let grey = print([GREY_ACESCCT; 3])[0];
            for v in [[0.6, 0.4, 0.3], [0.2, 0.5, 0.45], [0.1, 0.1, 0.4], [0.9; 3]] {
                let expected = print(v).map(|d| GREY_ACESCCT - (d - grey));
                assert!(close(set.at(v), expected, 1e-12), "{silver} {lighter}: {v:?}");
            }
        }
    }
}

/// What bleach bypass is known for: contrast rises, colours fall.
#[test]
fn bleach_raises_contrast_and_lowers_colour() {
    let set = Set::new("bleach", &[]);
    let slope = |v: f64| (set.at([v + 1e-4; 3])[1] - set.at([v - 1e-4; 3])[1]) / 2e-4;
    assert!((1.2..1.4).contains(&slope(GREY_ACESCCT)), "{}", slope(GREY_ACESCCT));
    for rgb in SIX {
        let v = bt709_acescct(rgb, 0.6, 0.18);
        let length = |c: [f64; 2]| c[0].hypot(c[1]);
        let share = length(chroma(set.at(v))) / length(chroma(v));
        assert!((0.7..0.85).contains(&share), "{rgb:?}: {share}");
        assert!((angle(chroma(set.at(v))) - angle(chroma(v))).abs() < 1e-9);
    }
    // Neutrals stay neutral to the last bit.
    for i in 0..=300 {
        let [r, g, b] = set.at_f32([-1.0 + i as f32 * 0.01; 3]);
        assert!(r == g && g == b, "{r} {g} {b}");
    }
    let none = Set::new("bleach", &[("silver", 0.0)]);
    assert!(close(none.at([0.6, 0.4, 0.3]), [0.6, 0.4, 0.3], 1e-12));
}

// Vignette.

/// The gain of a vignette at a place of a raster, in shares 0…1 of its width and height.
fn vignette_gain(set: &[(&str, f64)], raster: (u32, u32), at: [f64; 2]) -> f64 {
    let of = Set::new("vignette", set);
    let values = of.d.placed(&of.values, raster);
    let pixel =
        |share: f64, length: u32| (share * f64::from(length)).round().min(f64::from(length - 1)) as u32;
    let spot = Spot { x: pixel(at[0], raster.0), y: pixel(at[1], raster.1), frame: 0 };
    (of.d.apply_f64)(&values, None, spot, [0.18; 3])[1] / 0.18
}

/// cos⁴ of the angle to the axis (the natural falloff of a lens; textbook optics), its focal length such that the
/// corner has the amount.
#[test]
fn vignette_is_a_lenss_own_law() {
    let raster = (4001, 2251);
    for amount in [0.5, 1.0, 2.5] {
        let corner = 2f64.powf(amount / 2.0) - 1.0;
        let focal = (2000.5f64.powi(2) + 1125.5f64.powi(2)).sqrt() / corner.sqrt();
        for at in [[0.5, 0.5], [0.75, 0.5], [0.1, 0.9], [0.999, 0.999]] {
            let place =
                |share: f64, length: f64| (share * length).round().min(length - 1.0) + 0.5 - length / 2.0;
            let height = place(at[0], 4001.0).hypot(place(at[1], 2251.0));
            let expected = (height / focal).atan().cos().powi(4);
            let found = vignette_gain(&[("amount", amount)], raster, at);
            assert!((found / expected - 1.0).abs() < 1e-9, "{amount} {at:?}: {found} {expected}");
        }
    }
}

#[test]
fn vignette_looks_the_same_in_every_raster() {
    for clear in [0.0, 0.4] {
        for roundness in [0.0, 1.0] {
            let set = [("amount", 2.0), ("clear", clear), ("roundness", roundness)];
            // Corners have the amount in every aspect, to the half pixel that their middles lie inside.
            for raster in [(8001, 4501), (4001, 1675), (2001, 2001), (1001, 1779)] {
                for at in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]] {
                    let stops = vignette_gain(&set, raster, at).log2();
                    assert!((stops + 2.0).abs() < 0.01, "{raster:?} {at:?}: {stops}");
                }
                assert!((vignette_gain(&set, raster, [0.5 - 1e-9, 0.5 - 1e-9]) - 1.0).abs() < 1e-6);
            }
            // Sizes of one aspect agree everywhere, to what a pixel's place can differ by.
            for i in 0..=20 {
                for j in 0..=20 {
                    let at = [f64::from(i) / 20.0, f64::from(j) / 20.0];
                    let (a, b) = (vignette_gain(&set, (960, 540), at), vignette_gain(&set, (7680, 4320), at));
                    assert!((a / b).log2().abs() < 0.02, "{at:?}: {a} {b}");
                }
            }
        }
    }
    // Roundness: on a circle about the middle equal, or on the ellipse that touches the sides.
    let of = |roundness: f64, at: [f64; 2]| {
        vignette_gain(&[("amount", 2.0), ("roundness", roundness)], (4001, 2001), at)
    };
    assert!((of(1.0, [0.75, 0.5]) / of(1.0, [0.5, 1.0]) - 1.0).abs() < 2e-3);
    assert!((of(0.0, [1.0, 0.5]) / of(0.0, [0.5, 1.0]) - 1.0).abs() < 2e-3);
    // What a lens did is undone by the same amount below 0, near enough in the corners.
    assert!((vignette_gain(&[("amount", -1.0)], (4001, 2001), [0.0, 0.0]) - 2.0).abs() < 0.01);
    // A clear middle keeps its light.
    assert_eq!(vignette_gain(&[("clear", 0.5)], (4001, 2001), [0.6, 0.6]), 1.0);
}

/// Stages that ask for their place are no functions of a colour: the look check leaves them out and says so, and what
/// has no place is in the middle, without grain.
#[test]
fn the_look_check_leaves_grain_and_vignette_out() {
    let stages: Vec<_> = ["vignette", "contrast", "grain"].map(|k| Stage::new(stage(k).unwrap())).into();
    let subject = Subject::of_stages("film", &stages, None);
    assert_eq!(subject.left_out.len(), 2);
    for key in ["vignette", "grain"] {
        assert!(subject.left_out.iter().any(|l| l.starts_with(key)), "{key}: {:?}", subject.left_out);
    }
    assert!(close(subject.at(1.0)([0.3, 0.4, 0.5]), [0.3, 0.4, 0.5], 1e-12));
    let chain = Chain { look: stages, ..Chain::default() };
    let acescct = encoding("acescct").unwrap();
    let recipe = Recipe::graded(acescct, Balance::default(), &chain, Tail::Encoding(acescct));
    let found = Grader::<f64>::new(&recipe).chain([0.6, 0.4, 0.3]);
    assert!(close(found, [0.6, 0.4, 0.3], 1e-4), "{found:?}");
}

/// Where stages go by themselves: falloff ahead of tone, as light meets the lens first; grain over everything.
#[test]
fn vignette_goes_ahead_of_tone_and_grain_to_the_end() {
    let mut chain = Chain::default();
    for key in ["bleach", "contrast", "grain", "vignette", "saturation"] {
        let kind = stage(key).unwrap();
        let (list, at) = chain.place_for(kind);
        chain.list_mut(list).insert(at, Stage::new(kind));
    }
    let keys: Vec<_> = chain.in_order().map(|(s, _)| s.declaration().key).collect();
    assert_eq!(keys, ["bleach", "vignette", "contrast", "saturation", "grain"]);
}
