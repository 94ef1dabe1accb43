//! The inverse of the ACES 2.0 output transform: against OpenColorIO's, and there and back.
//!
//! `tests/oracle/aces2_inverse.py` made `tests/data/aces2_inverse.csv`, whose first lines say from what.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use greyhold::colour::{AP0, AP1, Aces2, Adaptation, BT709, GREY, P3_D65, Real, ToneScale, conversion};

/// A row: light with peak 1, then for each display ACES2065-1 light and what the reference's forward transform makes
/// of that.
struct Row {
    kind: String,
    light: [f64; 3],
    aces: [[f64; 3]; 3],
    back: [[f64; 3]; 3],
}

static TABLE: LazyLock<Vec<Row>> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/aces2_inverse.csv");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(text.starts_with("# opencolorio "));
    let mut lines = text.lines().skip_while(|l| l.starts_with('#'));
    let heading: Vec<&str> = lines.next().unwrap().split(',').collect();
    for (column, name) in
        [(4, "rec709_aces_r"), (7, "rec709_back_r"), (10, "p3_aces_r"), (16, "pq1000-p3_aces_r")]
    {
        assert_eq!(heading[column], name);
    }
    let rows: Vec<Row> = lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let three = |from: usize| std::array::from_fn(|c| cells[from + c].parse().unwrap());
            Row {
                kind: cells[0].to_owned(),
                light: three(1),
                aces: std::array::from_fn(|i| three(4 + 6 * i)),
                back: std::array::from_fn(|i| three(7 + 6 * i)),
            }
        })
        .collect();
    assert_eq!(rows.len(), 33 + 3 * 250);
    rows
});

fn largest(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
}

/// Rec. 709 and P3 at 100 cd/m², and P3 at 1000: the table's three.
fn transforms() -> [(&'static str, Arc<Aces2>); 3] {
    [
        ("rec709", Aces2::kept(100.0, &BT709, &BT709)),
        ("p3", Aces2::kept(100.0, &P3_D65, &P3_D65)),
        ("pq1000-p3", Aces2::kept(1000.0, &P3_D65, &P3_D65)),
    ]
}

/// Scene light beside the reference's, over the pixel's largest channel; row by row.
fn beside_the_reference<T: Real>(n: usize, aces: &Aces2) -> Vec<f64> {
    let into = conversion(&AP0, &AP1, Adaptation::Bradford);
    let values = aces.inverse_values::<T>();
    TABLE
        .iter()
        .map(|row| {
            let wanted = into.times(row.aces[n]);
            let found = values.apply(row.light.map(T::of)).map(T::to_f64);
            assert!(found.iter().all(|x| x.is_finite()));
            largest(found, wanted) / wanted.iter().fold(1e-4, |m: f64, x| m.max(*x))
        })
        .collect()
}

/// Near white the reference comes back less exactly than this inverse does (its table says by how much): a row is held to
/// what the reference's own way there and back leaves, tenfold, since scene light near peak moves that much more
/// than display light does, or to 1.2e-4 (2.5e-4 for peak white, where a step of f32 in display light is 1e-4 of scene
/// light).
#[test]
fn scene_light_is_that_of_the_reference() {
    for (n, (name, aces)) in transforms().iter().enumerate() {
        let single = beside_the_reference::<f32>(n, aces);
        let double = beside_the_reference::<f64>(n, aces);
        for (number, errors) in [("f32", single), ("f64", double)] {
            let mut sorted = errors.clone();
            sorted.sort_by(f64::total_cmp);
            let median = sorted[sorted.len() / 2];
            println!(
                "{name} {number}: {:.1e} of light at most, median {median:.1e}",
                sorted[sorted.len() - 1]
            );
            assert!(median < 2e-6, "{name} {number}: median {median:e}");
            for (row, error) in TABLE.iter().zip(errors) {
                let own = largest(row.back[n], row.light);
                let least = if row.light == [1.0; 3] { 2.5e-4 } else { 1.2e-4 };
                assert!(
                    error <= (10.0 * own).max(least),
                    "{name} {number}: {} {:?} differs by {error:e}; the reference's own way back by {own:e}",
                    row.kind,
                    row.light
                );
            }
        }
    }
}

/// What a way there and back leaves, over a grid of display light within the limiting gamut.
#[derive(Default)]
struct Left {
    /// Colours.
    count: usize,
    /// Light, of peak.
    light: f64,
    /// Signal of BT.1886 where that is over [`DARK`], and of sRGB, in 10-bit codes.
    bt1886: f64,
    srgb: f64,
}

const DARK: f64 = 0.02;

fn there_and_back<T: Real>(aces: &Aces2, keep: impl Fn([f64; 3]) -> bool) -> Left {
    let (forward, inverse) = (aces.values::<T>(), aces.inverse_values::<T>());
    // IEC 61966-2-1:1999.
    let srgb = |x: f64| if x <= 0.0031308 { 12.92 * x } else { 1.055 * x.powf(1.0 / 2.4) - 0.055 };
    let mut left = Left::default();
    let steps = 40;
    let count = steps + 1;
    for i in 0..count * count * count {
        let signal = [i % count, i / count % count, i / count / count].map(|n| n as f64 / steps as f64);
        let light = signal.map(|y| y.powf(2.4));
        if !keep(light) {
            continue;
        }
        left.count += 1;
        let back = forward.apply(inverse.apply(light.map(T::of))).map(T::to_f64);
        for c in 0..3 {
            assert!(back[c].is_finite(), "{light:?}");
            left.light = left.light.max((back[c] - light[c]).abs());
            left.srgb = left.srgb.max((srgb(back[c]) - srgb(light[c])).abs() * 1023.0);
            if signal[c] > DARK {
                left.bt1886 = left.bt1886.max((back[c].powf(1.0 / 2.4) - signal[c]).abs() * 1023.0);
            }
        }
    }
    left
}

/// At 100 cd/m² every colour of Rec. 709 and of P3 comes back: the inverse of the forward transform, by itself.
#[test]
fn standard_range_comes_back() {
    for (name, aces) in &transforms()[..2] {
        for (number, left) in
            [("f32", there_and_back::<f32>(aces, |_| true)), ("f64", there_and_back::<f64>(aces, |_| true))]
        {
            println!(
                "{name} {number}: light {:.1e} of peak; 10-bit codes: BT.1886 {:.3}, sRGB {:.3}",
                left.light, left.bt1886, left.srgb
            );
            let bar = if *name == "rec709" { 6e-6 } else { 6e-5 };
            assert!(left.light < bar, "{name} {number}: {:e}", left.light);
            assert!(left.bt1886 < 0.25 && left.srgb < 0.1, "{name} {number}: {} {}", left.bt1886, left.srgb);
        }
    }
}

/// At higher peaks not all does: for cyans near peak there is no ACEScg light that gives them, and the inverse holds its
/// result at ACEScg's edge. Wherever it lies within, display light comes back.
#[test]
fn high_range_comes_back_where_acescg_has_the_light() {
    for peak in [500.0, 1000.0, 2000.0, 4000.0] {
        let aces = Aces2::kept(peak, &P3_D65, &P3_D65);
        let inverse = aces.inverse_values::<f64>();
        let has = |light: [f64; 3]| {
            let scene = inverse.apply(light);
            let most = scene.into_iter().fold(0.0, f64::max);
            scene.iter().all(|x| *x > 1e-6 * most)
        };
        let within = there_and_back::<f32>(&aces, has);
        let without = there_and_back::<f64>(&aces, |l| !has(l));
        println!(
            "{peak}: {} of {} colours come back to {:.1e} of peak, the others to {:.1e}",
            within.count,
            within.count + without.count,
            within.light,
            without.light
        );
        assert!(within.light < 2e-5, "{peak}: {:e}", within.light);
        assert!(
            within.count > 68_700 && without.light < 0.05,
            "{peak}: {} {:e}",
            within.count,
            without.light
        );
    }
}

/// The Academy's ACES 2 documentation, Output Transforms, Tone Mapping, prints display light for scene light
/// (tests/data/tone_scale.csv): 0.18 is 10.000 cd/m² at a peak of 100, 1.0 is 45.757.
#[test]
fn the_academys_neutrals_come_back() {
    let inverse = Aces2::kept(100.0, &BT709, &BT709).inverse_values::<f32>();
    let tone = ToneScale::<f32>::for_peak(100.0);
    for (nits, scene, digits) in [(10.000, GREY, 2e-5), (45.757, 1.0, 5e-5), (63.988, 2.0, 1e-4)] {
        for x in inverse.apply([nits as f32 / 100.0; 3]) {
            assert!((f64::from(x) - scene).abs() < digits, "{nits}: {x}");
        }
        assert!((f64::from(tone.invert(nits as f32 / 100.0)) - scene).abs() < digits);
    }
}

/// Black is black, peak white what the tone scale brings to peak (128 at 100 cd/m²), and light that no display has
/// gives what its nearest gives.
#[test]
fn ends_and_extremes_are_held() {
    for (name, aces) in transforms() {
        let inverse = aces.inverse_values::<f32>();
        assert_eq!(inverse.apply([0.0; 3]), [0.0; 3]);
        assert_eq!(inverse.apply([-1.0, -0.5, 0.0]), [0.0; 3]);
        let white = inverse.apply([1.0; 3]);
        assert_eq!(inverse.apply([1e9; 3]), white);
        let highest = if aces.peak == 100.0 { 128.0 } else { 512.0 };
        assert!(white.iter().all(|x| (x - highest).abs() < 0.1), "{name}: {white:?}");
        let extremes = [-65504.0, 0.0, f32::MIN_POSITIVE, 1e-7, 1e-3, 0.5, 0.999999, 1.0, 65504.0, f32::MAX];
        for r in extremes {
            for g in extremes {
                for b in extremes {
                    let found = inverse.apply([r, g, b]);
                    let most = 8.0 * highest;
                    assert!(
                        found.iter().all(|x| (0.0..=most + 1.0).contains(x)),
                        "{name}: {r} {g} {b}: {found:?}"
                    );
                }
            }
        }
    }
}
