//! The ACES 2.0 output transform against OpenColorIO's.
//!
//! `tests/oracle/aces2.py` made `tests/data/aces2.csv`, whose first lines say from what.

use std::path::Path;
use std::sync::LazyLock;

use greyhold::colour::{
    AP0, AP1, Aces2, Adaptation, BT709, BT2020, Curve, GREY, OutputTransform, P3_D65, Primaries, Real, apply,
    conversion, display, encoding,
};
use greyhold::gpu::{Gpu, Request};
use greyhold::picture::{Frame, Recipe, Tail};

/// Bars of light with peak 1 and of signal; signals are compared where the reference is above [`DARK`].
const LIGHT: f64 = 6e-5;
const SIGNAL: f64 = 5e-5;
const DARK: f64 = 0.02;

/// Columns of the table.
struct Row {
    kind: String,
    aces: [f64; 3],
    /// rec709, p3, pq1000.
    light: [[f64; 3]; 3],
    /// rec709, srgb, p3-d65, pq1000.
    signal: [[f64; 3]; 4],
}

static TABLE: LazyLock<Vec<Row>> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/aces2.csv");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(text.starts_with("# opencolorio "));
    let mut lines = text.lines().skip_while(|l| l.starts_with('#'));
    let heading: Vec<&str> = lines.next().unwrap().split(',').collect();
    for (column, name) in [(4, "rec709_r"), (7, "p3_r"), (10, "pq1000_r"), (13, "rec709_signal_r")] {
        assert_eq!(heading[column], name);
    }
    for (column, name) in [(16, "srgb_signal_r"), (19, "p3-d65_signal_r"), (22, "pq1000_signal_r")] {
        assert_eq!(heading[column], name);
    }
    let rows: Vec<Row> = lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            assert_eq!(cells.len(), heading.len());
            let three = |from: usize| std::array::from_fn(|c| cells[from + c].parse().unwrap());
            Row {
                kind: cells[0].to_owned(),
                aces: three(1),
                light: std::array::from_fn(|i| three(4 + 3 * i)),
                signal: std::array::from_fn(|i| three(13 + 3 * i)),
            }
        })
        .collect();
    assert_eq!(rows.len(), 13 * 24 + 2000);
    rows
});

/// SMPTE ST 2084:2014 (BT.2100-2 table 4), from light with 1 at 1000 cd/m².
fn pq_of_thousand(light: f64) -> f64 {
    let (m_1, m_2) = (2610.0 / 16384.0, 2523.0 / 4096.0 * 128.0);
    let (c_1, c_2, c_3) = (3424.0 / 4096.0, 2413.0 / 4096.0 * 32.0, 2392.0 / 4096.0 * 32.0);
    let y = (light.max(0.0) / 10.0).powf(m_1);
    ((c_1 + c_2 * y) / (1.0 + c_3 * y)).powf(m_2)
}

fn by_curve(id: &str) -> impl Fn(f64) -> f64 {
    let curve = display(id).unwrap().curve.values::<f64>();
    move |x| curve.encode(x)
}

/// The largest errors of light and signal, and the rows they are in.
struct Worst {
    light: (f64, usize),
    signal: (f64, usize),
}

fn compare<T: Real>(aces: &Aces2, light: usize, signal: usize, encode: &dyn Fn(f64) -> f64) -> Worst {
    let into = conversion(&AP0, &AP1, Adaptation::Bradford);
    let values = aces.values::<T>();
    let mut worst = Worst { light: (0.0, 0), signal: (0.0, 0) };
    for (n, row) in TABLE.iter().enumerate() {
        let found = values.apply(into.times(row.aces).map(T::of)).map(T::to_f64);
        for c in 0..3 {
            let error = (found[c] - row.light[light][c]).abs();
            assert!(error.is_finite(), "{n}: {found:?}");
            if error > worst.light.0 {
                worst.light = (error, n);
            }
            let expected = row.signal[signal][c];
            let error = (encode(found[c]) - expected).abs();
            if expected > DARK && error > worst.signal.0 {
                worst.signal = (error, n);
            }
        }
    }
    worst
}

/// Measures both numbers of a display, says what it found, and holds it to the bars.
fn check(
    name: &str,
    peak: f64,
    primaries: &Primaries,
    light: usize,
    signal: usize,
    encode: &dyn Fn(f64) -> f64,
) {
    let aces = Aces2::kept(peak, primaries, primaries);
    let single = compare::<f32>(&aces, light, signal, encode);
    let double = compare::<f64>(&aces, light, signal, encode);
    for (number, worst) in [("f32", single), ("f64", double)] {
        let ((of_light, at), (of_signal, on)) = (worst.light, worst.signal);
        println!(
            "{name} {number}: light {of_light:.2e} of peak (row {at}), signal {of_signal:.2e} (row {on})"
        );
        let place = |n: usize| format!("{} {:?}", TABLE[n].kind, TABLE[n].aces);
        assert!(of_light <= LIGHT, "{name} {number}: light differs by {of_light:e} at {}", place(at));
        assert!(of_signal <= SIGNAL, "{name} {number}: signal differs by {of_signal:e} at {}", place(on));
    }
}

#[test]
fn rec709_is_the_reference() {
    check("rec709", 100.0, &BT709, 0, 0, &by_curve("rec709"));
}

#[test]
fn srgb_is_the_reference() {
    check("srgb", 100.0, &BT709, 0, 1, &by_curve("srgb"));
}

#[test]
fn p3_d65_is_the_reference() {
    check("p3-d65", 100.0, &P3_D65, 1, 2, &by_curve("p3-d65"));
}

#[test]
fn pq_1000_is_the_reference() {
    check("pq1000", 1000.0, &BT2020, 2, 3, &pq_of_thousand);
}

fn neutrals<T: Real>(aces: &Aces2) -> f64 {
    let values = aces.values::<T>();
    let mut worst = 0f64;
    for step in -120..=100 {
        let light = GREY * 2f64.powf(f64::from(step) / 10.0);
        let [r, g, b] = values.apply([T::of(light); 3]).map(T::to_f64);
        worst = worst.max((r - g).abs()).max((g - b).abs()).max((b - r).abs());
    }
    worst
}

#[test]
fn neutrals_stay_neutral() {
    for (peak, primaries) in [(100.0, &BT709), (100.0, &P3_D65), (1000.0, &BT2020)] {
        let aces = Aces2::kept(peak, primaries, primaries);
        for (number, worst) in [("f32", neutrals::<f32>(&aces)), ("f64", neutrals::<f64>(&aces))] {
            println!("{peak} {number}: {worst:.1e}");
            assert!(worst <= 1e-5, "{peak} {number}: {worst:e}");
        }
    }
}

/// The Academy's ACES 2 documentation, Output Transforms, Tone Mapping, prints what scene light 0.18 becomes
/// (tests/data/tone_scale.csv).
#[test]
fn middle_grey_is_where_the_academy_has_it() {
    for (peak, primaries, nits) in
        [(100.0, &BT709, 10.000), (100.0, &P3_D65, 10.000), (1000.0, &BT2020, 14.512)]
    {
        let aces = Aces2::kept(peak, primaries, primaries);
        for x in aces.values::<f32>().apply([GREY as f32; 3]) {
            assert!((f64::from(x) * peak - nits).abs() < 1e-3, "{peak}: {}", f64::from(x) * peak);
        }
    }
}

/// Neutrals at every peak that tests/data/tone_scale_ocio.csv has, which says it is exact to 2e-6 of the result.
#[test]
fn neutrals_have_the_luminance_of_the_reference() {
    let text = include_str!("data/tone_scale_ocio.csv");
    let mut count = 0;
    for line in text.lines().skip_while(|l| l.starts_with('#')).skip(1) {
        let cells: Vec<f64> = line.split(',').map(|c| c.parse().unwrap()).collect();
        let [peak, light, nits] = cells[..] else { panic!("{line}") };
        let limiting = if peak == 100.0 { &BT709 } else { &P3_D65 };
        let aces = Aces2::kept(peak, limiting, limiting);
        let single = aces.values::<f32>().apply([light as f32; 3]).map(f64::from);
        let double = aces.values::<f64>().apply([light; 3]);
        for (found, allowed) in [(single, 1e-5), (double, 3e-6)] {
            let found = peak * aces.limiting.to_xyz().times(found)[1];
            assert!((found - nits).abs() <= allowed * nits.max(1e-2), "{line}: {found}");
        }
        count += 1;
    }
    assert_eq!(count, 5 * 17);
}

/// The shader, through the whole path to a display, is held to the same bar of signal as the CPU.
#[test]
fn the_gpu_is_the_reference_too() {
    let gpu = Gpu::headless(Request::default()).expect("the tests need an adapter");
    let frame =
        Frame::from_rgb(8, &TABLE.iter().map(|r| r.aces.map(|x| x as f32)).collect::<Vec<_>>()).unwrap();
    for (id, signal) in [("rec709", 0), ("srgb", 1), ("p3-d65", 2)] {
        let tail = Tail::display(OutputTransform::Aces2, display(id).unwrap());
        let recipe = Recipe::conversion(encoding("aces2065-1").unwrap(), tail);
        let found = gpu.signal(&recipe, &frame).unwrap();
        assert_eq!(found.len(), TABLE.len());
        let mut worst = (0f64, 0);
        for (n, (found, row)) in found.iter().zip(TABLE.iter()).enumerate() {
            for c in 0..3 {
                let expected = row.signal[signal][c];
                let error = (f64::from(found[c]) - expected).abs();
                assert!(error.is_finite());
                if expected > DARK && error > worst.0 {
                    worst = (error, n);
                }
            }
        }
        println!("{id} on {}: signal {:.2e} (row {})", gpu.name(), worst.0, worst.1);
        assert!(worst.0 <= SIGNAL, "{id}: {:e} at {:?}", worst.0, TABLE[worst.1].aces);
    }
}

/// A display with a wider gamut than the one that the picture is limited to shows the same light.
#[test]
fn limited_light_is_the_same_in_other_primaries() {
    let (own, wide) = (Aces2::new(1000.0, &P3_D65, &P3_D65), Aces2::new(1000.0, &P3_D65, &BT2020));
    let (own, wide) = (own.values::<f64>(), wide.values::<f64>());
    let to_wide = conversion(&P3_D65, &BT2020, Adaptation::Bradford).rows::<f64>();
    for row in TABLE.iter().take(400) {
        let (a, b) = (apply(&to_wide, own.apply(row.aces)), wide.apply(row.aces));
        for c in 0..3 {
            assert!((a[c] - b[c]).abs() < 1e-12);
        }
    }
}

/// What no picture should hold must still give light from 0 to 1.
#[test]
fn extremes_stay_within_the_display() {
    let aces = Aces2::kept(100.0, &BT709, &BT709);
    let values = aces.values::<f32>();
    let extremes = [-65504.0, -1.0, 0.0, f32::MIN_POSITIVE, 1e-7, 0.18, 1.0, 1024.0, 65504.0, f32::MAX];
    for r in extremes {
        for g in extremes {
            for b in extremes {
                let found = values.apply([r, g, b]);
                assert!(found.iter().all(|x| (0.0..=1.0).contains(x)), "{r} {g} {b}: {found:?}");
            }
        }
    }
    assert_eq!(values.apply([0.0; 3]), [0.0; 3]);
    assert_eq!(values.apply([-1.0; 3]), [0.0; 3]);
}

/// The row of texels is what its documentation says: a twin finds the rows about a hue without a search.
#[test]
fn texels_find_every_hue() {
    for (peak, primaries) in [(100.0, &BT709), (100.0, &P3_D65), (1000.0, &BT2020), (1000.0, &P3_D65)] {
        let texels = Aces2::kept(peak, primaries, primaries).texels();
        assert_eq!(texels.len(), Aces2::TEXELS);
        let rows = &texels[720..];
        assert!(rows.windows(2).all(|w| w[0][0] < w[1][0]));
        for step in 0..36_000 {
            let hue = step as f32 / 100.0;
            let [first, starts @ ..] = texels[step / 100];
            let row = first as usize + starts.iter().filter(|&&h| hue >= h).count();
            assert!(rows[row][0] <= hue && hue <= rows[row + 1][0], "{peak}: {hue} is not in row {row}");
        }
    }
}

/// The curve that the table's rec709 signal has, lest the displays' own drift unseen.
#[test]
fn rec709_signal_is_bt1886() {
    assert!(matches!(display("rec709").unwrap().curve, Curve::Power { gamma } if gamma == 2.4));
}

/// Tables are worked out while somebody waits: printed, and bounded far above what it takes.
#[test]
fn tables_are_worked_out_in_milliseconds() {
    let start = std::time::Instant::now();
    let aces = Aces2::new(1000.0, &BT2020, &BT2020);
    let took = start.elapsed();
    println!("{took:?}");
    assert!(aces.texels().len() == Aces2::TEXELS && took.as_millis() < 500, "{took:?}");
}
