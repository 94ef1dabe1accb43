//! What is an output's own: its display with its white, its trim, its calibration, and a show's table in the output
//! transform's place; on the CPU and on the GPU.
//!
//! `tests/oracle/outputs.py` made `tests/data/d60.csv`, `show_lut.cube` and `show_lut.csv`, whose first lines say
//! from what.

use std::path::Path;
use std::sync::Arc;

use greyhold::colour::{
    ACES_WHITE, Aces2, Curve, DISPLAYS, Display, GREY, Interpolation, Lut1, Lut3, OUTPUT_TRANSFORMS,
    OutputTransform, Shaped, White, display, encoding,
};
use greyhold::gpu::{
    ACES2_SIGNAL, Assembly, Gpu, PQ_SIGNAL, Request, SIGNAL, Tolerance, agreement, agreement_within, pad,
    spread, vectors,
};
use greyhold::picture::{
    Balance, Frame, Framing, ROLL_OFF_FROM, Recipe, ShowLut, Structure, TRIM, Tail, Target, Trim, TrimField,
    cpu, noise, quantise,
};
use greyhold::show::{known_display, load_lut, read_displays, shipped_displays};

use TrimField::{Exposure, RollOff, Saturation};

fn gpu() -> Arc<Gpu> {
    Gpu::headless(Request::default()).expect("the tests need an adapter")
}

fn frame(pixels: &[[f32; 3]]) -> Frame {
    Frame::from_rgb(8, pixels).unwrap()
}

/// Rows of a table, without its heading.
fn table(name: &str) -> Vec<Vec<f64>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert!(text.starts_with("# opencolorio "));
    let rows = text.lines().skip_while(|l| l.starts_with('#')).skip(1);
    rows.map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect()
}

fn three(row: &[f64], at: usize) -> [f64; 3] {
    [row[at], row[at + 1], row[at + 2]]
}

/// Where the reference is below this its curve is so steep that f32's rounding of light shows.
const DARK: f64 = 0.02;

/// The largest difference above [`DARK`], and the row it is in.
fn furthest(found: &[[f32; 3]], rows: &[Vec<f64>], at: usize) -> (f64, usize) {
    assert_eq!(found.len(), rows.len());
    let mut worst = (0.0, 0);
    for (n, (found, row)) in found.iter().zip(rows).enumerate() {
        for (found, expected) in found.iter().zip(three(row, at)) {
            let error = (f64::from(*found) - expected).abs();
            assert!(error.is_finite());
            if expected > DARK && error > worst.0 {
                worst = (error, n);
            }
        }
    }
    worst
}

fn aces_frame(rows: &[Vec<f64>]) -> Frame {
    frame(&rows.iter().map(|r| three(r, 0).map(|x| x as f32)).collect::<Vec<_>>())
}

/// D60 white by the Academy's ACES 2.0 output transforms, as OpenColorIO has them, on the bar of tests/aces2.rs.
#[test]
fn d60_white_is_the_reference() {
    const BAR: f64 = 5e-5;
    let gpu = gpu();
    let rows = table("d60.csv");
    let made = read_displays(
        "version = 1\n[display.rec709-in-p3]\npeak = 100\nprimaries = \"p3-d65\"\nlimit = \"bt709\"\n\
         transfer = \"gamma 2.6\"\nwhite = \"d60\"\n",
        Path::new("d.toml"),
    );
    let displays = [
        known_display("rec709-d60").unwrap(),
        known_display("p3-d65-d60").unwrap(),
        made.unwrap().remove(0),
        known_display("rec2100-pq-1000-p3-d60").unwrap(),
    ];
    let frame = aces_frame(&rows);
    for (n, display) in displays.into_iter().enumerate() {
        let recipe = Recipe::conversion(
            encoding("aces2065-1").unwrap(),
            Tail::display(OutputTransform::Aces2, display.clone()),
        );
        for (on, found) in
            [("cpu", cpu::signal(&recipe, &frame).pixels), ("gpu", gpu.signal(&recipe, &frame).unwrap())]
        {
            let (worst, at) = furthest(&found, &rows, 3 + 3 * n);
            println!("{} on the {on}: signal {worst:.2e} (row {at})", display.id);
            assert!(worst <= BAR, "{} on the {on}: {worst:e} at {:?}", display.id, rows[at]);
        }
    }
}

/// A neutral on a display with a simulated white has the ACES white's chromaticity, and white's largest channel is
/// the peak, whatever the output transform.
#[test]
fn a_simulated_white_is_the_aces_white() {
    for d in shipped_displays() {
        for &transform in OUTPUT_TRANSFORMS {
            let recipe = Recipe::conversion(encoding("acescg").unwrap(), Tail::display(transform, d.clone()));
            let grader = cpu::Grader::<f64>::new(&recipe);
            let curve = d.curve.values::<f64>();
            for light in [GREY, 1.0, 4000.0] {
                let seen = curve.decode_light(grader.pixel([light; 3]));
                let [x, y, z] = d.primaries.to_xyz().times(seen);
                let xy = [x / (x + y + z), y / (x + y + z)];
                for c in 0..2 {
                    assert!((xy[c] - ACES_WHITE[c]).abs() < 1e-6, "{} {transform:?}: {xy:?}", d.id);
                }
                if light == 4000.0 {
                    let most = seen.into_iter().fold(0.0, f64::max);
                    assert!((most - 1.0).abs() < 1e-6, "{} {transform:?}: {seen:?}", d.id);
                }
            }
        }
    }
}

/// Displays that are the same in all that matters share their tables; one that is not known yet makes nobody wait.
#[test]
fn tables_are_kept_by_what_matters() {
    let mut named = display("rec2100-pq-2000").unwrap().clone();
    named.id = "another".into();
    named.curve = Curve::Linear;
    assert!(Arc::ptr_eq(&Aces2::of(&named), &Aces2::of(display("rec2100-pq-2000").unwrap())));
    let mut brighter = named.clone();
    brighter.peak = 2001.0;
    assert!(Aces2::ready(&brighter).is_none());
    let gpu = gpu();
    let recipe =
        Recipe::conversion(encoding("acescg").unwrap(), Tail::display(OutputTransform::Aces2, &brighter));
    let (tell, told) = std::sync::mpsc::channel();
    let started = std::time::Instant::now();
    assert!(!gpu.pipelines.tables_ready(&recipe, move || tell.send(()).unwrap()));
    let asked = started.elapsed();
    told.recv_timeout(std::time::Duration::from_secs(20)).unwrap();
    let made = started.elapsed();
    println!("asked in {asked:?}, made in {made:?}");
    assert!(Aces2::ready(&brighter).is_some() && gpu.pipelines.tables_ready(&recipe, || ()));
    let mut simulated = brighter.clone();
    simulated.white = White::D60;
    assert!(Aces2::ready(&simulated).is_none());
}

/// Neither trims nor displays make another shader.
#[test]
fn no_trim_and_no_display_makes_another_structure() {
    let tail = Tail::display(OutputTransform::Aces2, &DISPLAYS[0]);
    let recipe = Recipe::conversion(encoding("logc4").unwrap(), tail.clone());
    let structure = Structure::of(&recipe, Target::Screen);
    for trim in trims() {
        let recipe = Recipe { tail: tail.clone().trimmed(trim), ..recipe.clone() };
        assert_eq!(Structure::of(&recipe, Target::Screen), structure);
    }
    for d in shipped_displays() {
        let recipe = Recipe { tail: Tail::display(OutputTransform::Aces2, d.clone()), ..recipe.clone() };
        assert_eq!(Structure::of(&recipe, Target::Screen), structure);
    }
    let lut = Arc::new(show_lut("rec709"));
    let by_lut = |d: &'static Display| {
        Structure::of(&Recipe { tail: Tail::by_lut(lut.clone(), d), ..recipe.clone() }, Target::Screen)
    };
    let first = by_lut(&DISPLAYS[0]);
    assert!(DISPLAYS.iter().all(|d| by_lut(d) == first));
}

/// Each parameter's ends alone, then all together.
fn trims() -> Vec<Trim> {
    let mut out = Vec::new();
    for field in TrimField::ALL {
        let p = field.parameter();
        out.extend([p.min, p.max].map(|v| Trim::default().with(*field, v)));
    }
    out.push(Trim::default().with(Exposure, -1.3).with(Saturation, 0.8).with(RollOff, 0.45));
    out.push(Trim::default().with(Exposure, 2.0).with(Saturation, 1.7).with(RollOff, 1.0));
    out
}

/// Trim of one colour, without anything after it.
fn trimmed(trim: Trim, rgb: [f64; 3]) -> [f64; 3] {
    trim.prepared::<f64>().apply(rgb)
}

#[test]
fn exposure_is_stops_and_saturation_keeps_luminance() {
    let rgb = [0.4, 0.1, -0.02];
    assert_eq!(trimmed(Trim::default().with(Exposure, 1.0), rgb), rgb.map(|x| 2.0 * x));
    assert_eq!(trimmed(Trim::default().with(Exposure, -3.0), rgb), rgb.map(|x| x / 8.0));
    // Luminance of ACEScg's primaries as S-2014-004 prints it, to seven digits.
    let luminance = |v: [f64; 3]| 0.2722287 * v[0] + 0.6740818 * v[1] + 0.0536895 * v[2];
    for saturation in [0.0, 0.3, 1.0, 1.6, 2.0] {
        let found = trimmed(Trim::default().with(Saturation, saturation), rgb);
        assert!((luminance(found) - luminance(rgb)).abs() < 1e-6);
        for c in 0..3 {
            let expected = luminance(rgb) + saturation * (rgb[c] - luminance(rgb));
            assert!((found[c] - expected).abs() < 1e-6, "{saturation}: {found:?}");
        }
    }
}

/// Roll-off holds grey and all up to a stop over it, keeps light in order, has no kink at its start, ends four stops
/// over grey, and keeps the ratios of the channels.
#[test]
fn roll_off_is_a_shoulder() {
    for amount in [0.01, 0.3, 0.7, 1.0] {
        let trim = Trim::default().with(RollOff, amount);
        let of = |x: f64| trimmed(trim, [x; 3])[0];
        for x in [-0.1, 0.0, 1e-6, GREY, 0.3, ROLL_OFF_FROM] {
            assert_eq!(of(x), x);
        }
        let (mut before, mut slope_before) = (of(ROLL_OFF_FROM), 1.0);
        for n in 1..=4000 {
            let (x, last) = (
                ROLL_OFF_FROM * 2f64.powf(f64::from(n) / 250.0),
                ROLL_OFF_FROM * 2f64.powf(f64::from(n - 1) / 250.0),
            );
            let (y, slope) = (of(x), (of(x) - before) / (x - last));
            assert!(y > before && slope > 0.0 && slope <= slope_before + 1e-9, "{amount} at {x}: {slope}");
            // No kink: the slope changes little from one place to the next, the first one, where it is 1, included.
            assert!(slope_before - slope < 0.01, "{amount} at {x}: {slope_before} to {slope}");
            (before, slope_before) = (y, slope);
        }
    }
    let all = Trim::default().with(RollOff, 1.0);
    // 1 + (u − 1) / (1 + (u − 1) / 7) starts, at u = 8: 1 + 7 / 2.
    assert!((trimmed(all, [8.0 * ROLL_OFF_FROM; 3])[0] - 4.5 * ROLL_OFF_FROM).abs() < 1e-12);
    let end = trimmed(all, [65504.0; 3])[0];
    assert!(end < 16.0 * GREY && end > 15.99 * GREY, "{end}");
    let colour = [9.0, 3.0, -0.5];
    let found = trimmed(all, colour);
    assert!((found[0] / found[1] - 3.0).abs() < 1e-12 && (found[0] / found[2] + 18.0).abs() < 1e-9);
}

/// With nothing trimmed the very bits stay, on both.
#[test]
fn no_trim_is_no_change() {
    let values = Trim::default().prepared::<f32>();
    for rgb in vectors(2048) {
        assert_eq!(values.apply(rgb).map(f32::to_bits), rgb.map(f32::to_bits));
    }
    // On the GPU: exposure that is taken back exactly leaves what no trim leaves.
    let gpu = gpu();
    let pixels = pad(vectors(2048));
    let frame = Frame::from_rgb(128, &pixels).unwrap();
    let halved =
        Frame::from_rgb(128, &pixels.iter().map(|p| p.map(|x| 0.5 * x)).collect::<Vec<_>>()).unwrap();
    let recipe = |trim| {
        let tail = Tail::display(OutputTransform::Plain, &DISPLAYS[0]).trimmed(trim);
        Recipe::conversion(encoding("acescg").unwrap(), tail)
    };
    let plain = gpu.signal(&recipe(Trim::default()), &frame).unwrap();
    assert_eq!(gpu.signal(&recipe(Trim::default().with(Exposure, 1.0)), &halved).unwrap(), plain);
}

fn tolerance(transform: OutputTransform, display: &Display) -> Tolerance {
    match (transform, display.curve) {
        (OutputTransform::Aces2, _) => ACES2_SIGNAL,
        (_, Curve::Pq { .. }) => PQ_SIGNAL,
        _ => SIGNAL,
    }
}

fn holds(gpu: &Gpu, recipe: &Recipe, pixels: &[[f32; 3]], tolerance: Tolerance, what: &str) {
    let frame = Frame::from_rgb(128, pixels).unwrap();
    let more = spread(recipe, pixels, 1e-6).unwrap();
    let found = agreement_within(
        &cpu::signal(recipe, &frame).pixels,
        &gpu.signal(recipe, &frame).unwrap(),
        tolerance,
        &more,
    );
    assert!(found.holds() && found.count > 0, "{what}: {found:?}");
}

#[test]
fn trims_and_shipped_displays_agree_on_both() {
    let gpu = gpu();
    let pixels = pad(vectors(2048));
    let displays = [known_display("rec709").unwrap(), known_display("rec2100-pq-1000-p3").unwrap()];
    for display in displays.iter().chain(shipped_displays()) {
        for transform in [OutputTransform::Plain, OutputTransform::Aces2] {
            for trim in trims() {
                let tail = Tail::display(transform, display.clone()).trimmed(trim);
                let mut recipe = Recipe::conversion(encoding("acescct").unwrap(), tail);
                recipe.balance = Some(Balance::default());
                let what = format!("{} {transform:?} {trim:?}", display.id);
                holds(&gpu, &recipe, &pixels, tolerance(transform, display), &what);
            }
        }
    }
}

/// A table that swaps red and blue and lifts black, of the kind that is read in tetrahedra.
fn swapping() -> Arc<Shaped<f32>> {
    let corner = |i: usize| [(i >> 2) & 1, (i >> 1) & 1, i & 1].map(|b| 0.1 + 0.85 * b as f32);
    let cube = Lut3::new(2, (0..8).map(corner).collect(), [0.0; 3], [1.0; 3], Interpolation::Tetrahedral);
    Arc::new(Shaped { shaper: None, cube })
}

/// Calibration is the last thing done to the signal, ahead of the dither, beside the frame too.
#[test]
fn calibration_comes_last() {
    let gpu = gpu();
    let pixels: Vec<_> = (0..64).map(|i| [0.3 + 0.004 * i as f32, 0.4, 0.6 - 0.003 * i as f32]).collect();
    let frame = frame(&pixels);
    for d in [display("rec709").unwrap(), display("rec2100-pq-1000").unwrap()] {
        let tail = Tail::display(OutputTransform::Aces2, d);
        let plain = Recipe::conversion(encoding("logc4").unwrap(), tail.clone()).at_frame(7);
        let mut recipe = plain.clone();
        recipe.tail = tail.calibrated(Some(swapping()));
        let (before, after) = (cpu::signal(&plain, &frame).pixels, cpu::signal(&recipe, &frame).pixels);
        for (before, after) in before.iter().zip(&after) {
            for c in 0..3 {
                assert!((after[c] - (0.1 + 0.85 * before[2 - c])).abs() < 1e-6, "{before:?} {after:?}");
            }
        }
        let on_gpu = gpu.signal(&recipe, &frame).unwrap();
        assert!(agreement(&after, &on_gpu, tolerance(OutputTransform::Aces2, d)).holds());
        for codes in [
            cpu::codes(&recipe, &frame, 8, true).pixels,
            gpu.codes(&recipe, &frame, 8, true).unwrap().finish(&gpu).unwrap(),
        ] {
            for (i, (code, signal)) in codes.iter().zip(&after).enumerate() {
                for c in 0..3 {
                    let noise = noise(i as u32 % 8, i as u32 / 8, c as u32, 7);
                    let expected = quantise(signal[c], 255.0, noise);
                    assert!((f32::from(code[c]) - expected).abs() <= 1.0, "{i}: {code:?} {expected}");
                }
            }
        }
        let wide = recipe.framed(Framing::default(), Some((32, 8)));
        for beside in [cpu::signal(&wide, &frame).pixels[0], gpu.signal(&wide, &frame).unwrap()[0]] {
            for x in beside {
                assert!((x - 0.1).abs() < 1e-6, "{beside:?}");
            }
        }
    }
}

/// Curves alone, cubes with a domain of their own, values beyond the signal: the signal stays in 0…1.
#[test]
fn any_calibration_agrees_on_both() {
    let gpu = gpu();
    let curve = Lut1::even(
        (0..37)
            .map(|i| [0, 1, 2].map(|c| (i as f32 / 36.0).powf(0.8 + 0.2 * c as f32) * 1.3 - 0.1))
            .collect(),
        [0.0, -0.1, 0.1],
        [1.0, 1.1, 0.9],
    );
    let cube = load_lut(Path::new("tests/data/luts"), Path::new("three_domain.cube")).unwrap().lut;
    let both = Shaped { shaper: curve.clone(), cube: swapping().cube.clone() };
    let pixels = pad(vectors(2048));
    for table in [Arc::new(Shaped { shaper: curve, cube: None }), cube, Arc::new(both)] {
        let tail = Tail::display(OutputTransform::Plain, &DISPLAYS[0]).calibrated(Some(table));
        let recipe = Recipe::conversion(encoding("acescct").unwrap(), tail);
        holds(&gpu, &recipe, &pixels, SIGNAL, "calibration");
        let frame = Frame::from_rgb(128, &pixels).unwrap();
        assert!(cpu::signal(&recipe, &frame).pixels.iter().flatten().all(|x| (0.0..=1.0).contains(x)));
    }
}

fn show_lut(gives: &str) -> ShowLut {
    let lut = load_lut(Path::new("tests/data"), Path::new("show_lut.cube")).unwrap();
    ShowLut { lut, expects: encoding("logc4").unwrap(), gives: known_display(gives).unwrap() }
}

/// OpenColorIO makes the same of LogC4, the table, and each display. By way of other displays its half-float tables of
/// curves cost it some digits.
#[test]
fn a_shows_own_table_is_the_reference() {
    let gpu = gpu();
    let rows = table("show_lut.csv");
    let frame = aces_frame(&rows);
    let lut = Arc::new(show_lut("rec709"));
    for (n, (id, bar)) in [("rec709", 5e-6), ("srgb", 2e-5), ("p3-d65", 2e-5), ("rec2100-pq-1000", 2e-5)]
        .into_iter()
        .enumerate()
    {
        let tail = Tail::by_lut(lut.clone(), display(id).unwrap());
        let recipe = Recipe::conversion(encoding("aces2065-1").unwrap(), tail);
        for (on, found) in
            [("cpu", cpu::signal(&recipe, &frame).pixels), ("gpu", gpu.signal(&recipe, &frame).unwrap())]
        {
            let (worst, at) = furthest(&found, &rows, 3 + 3 * n);
            println!("{id} on the {on}: {worst:.2e} (row {at})");
            assert!(worst <= bar, "{id} on the {on}: {worst:e} at {:?}", rows[at]);
        }
    }
}

/// On the display that it is made for, the table's own values pass: the very bits.
#[test]
fn a_shows_own_table_passes_on_its_display() {
    let lut = show_lut("rec709");
    let tail = Tail::by_lut(lut.clone(), &DISPLAYS[0]);
    let recipe = Recipe::conversion(encoding("logc4").unwrap(), tail);
    let grader = cpu::Grader::<f32>::new(&recipe);
    let acescg = Recipe::conversion(encoding("logc4").unwrap(), Tail::Encoding(encoding("logc4").unwrap()));
    let back = cpu::Grader::<f32>::new(&acescg);
    for rgb in vectors(512) {
        let expected = lut.lut.lut.apply(back.pixel(rgb)).map(|x| x.clamp(0.0, 1.0));
        assert_eq!(grader.pixel(rgb), expected);
    }
}

/// Each of what a table can give, on each display that reaches its peak; the others are refused.
#[test]
fn a_shows_own_table_agrees_on_both_for_every_pair_of_displays() {
    let gpu = gpu();
    // Light that a camera gives: what cancels in the matrices is not the table's to answer for.
    let pixels: Vec<_> = pad(vectors(2048)).into_iter().map(|p| p.map(|v| v.clamp(0.02, 0.95))).collect();
    let (mut shown, mut refused) = (0, 0);
    for gives in DISPLAYS {
        let lut = Arc::new(show_lut(&gives.id));
        for d in DISPLAYS {
            if !lut.fits(d) {
                assert!(d.peak < gives.peak);
                refused += 1;
                continue;
            }
            let trim = Trim::default().with(Exposure, 0.3).with(RollOff, 0.2);
            let tail = Tail::by_lut(lut.clone(), d).trimmed(trim).calibrated(Some(swapping()));
            let recipe = Recipe::conversion(encoding("logc4").unwrap(), tail);
            holds(&gpu, &recipe, &pixels, PQ_SIGNAL, &format!("{} on {}", gives.id, d.id));
            shown += 1;
        }
    }
    assert!(shown > 100 && refused > 50, "{shown} {refused}");
}

/// A display's signal is read back as the light that it was made of.
#[test]
fn display_light_is_read_back() {
    for d in DISPLAYS.iter().map(Arc::<Display>::from).chain(shipped_displays().iter().cloned()) {
        let curve = d.curve.values::<f64>();
        for light in [[0.0; 3], [1e-4, 2e-4, 5e-5], [0.18, 0.02, 0.3], [0.9, 0.5, 0.1], [1.0; 3]] {
            let back = curve.decode_light(curve.encode_light(light));
            for c in 0..3 {
                assert!((back[c] - light[c]).abs() < 1e-9, "{}: {light:?} {back:?}", d.id);
            }
        }
    }
}

#[test]
fn parameters_of_trim_are_sound() {
    for p in TRIM {
        assert!(p.min < p.max && (p.min..=p.max).contains(&p.default) && p.step > 0.0 && !p.doc.is_empty());
    }
}

/// The comparisons can fail: shaders that are a little wrong are rejected.
#[test]
fn wrong_twins_are_rejected() {
    let gpu = gpu();
    let pixels: Vec<_> = pad(vectors(2048)).into_iter().map(|p| p.map(|v| v.clamp(0.02, 0.95))).collect();
    let frame = Frame::from_rgb(128, &pixels).unwrap();
    let trim = Trim::default().with(Saturation, 0.8).with(RollOff, 0.5);
    let lut = show_lut("rec2100-hlg-1000");
    let tail =
        Tail::by_lut(lut, display("rec2100-pq-2000").unwrap()).trimmed(trim).calibrated(Some(swapping()));
    let recipe = Recipe::conversion(encoding("logc4").unwrap(), tail);
    holds(&gpu, &recipe, &pixels, PQ_SIGNAL, "as it is");
    let structure = Structure::of(&recipe, Target::Float);
    let right = Assembly::picture(&structure);
    for (from, to) in [
        ("(1.0 + t.bend * over)", "(1.001 + t.bend * over)"),
        ("(v - y) * t.saturation", "(v - y) * 1.001 * t.saturation"),
        ("exp_2((signal - 0.55991073)", "exp_2((signal - 0.5597)"),
        ("curve_encode(p.expects, transform(p.to_expected, acescg))", "curve_encode(p.expects, acescg)"),
        ("table_value(p.calibration, v, lut_calibration)", "table_value(p.calibration, v, lut_transform)"),
    ] {
        assert_eq!(right.text.matches(from).count(), 1, "{from}");
        let mut wrong = right.clone();
        wrong.text = wrong.text.replace(from, to);
        let pipeline = gpu.pipelines.build(&wrong, &structure).unwrap();
        let on_gpu = gpu.signal_with(&pipeline, &recipe, &frame, None).unwrap();
        let more = spread(&recipe, &pixels, 1e-6).unwrap();
        let found = agreement_within(&cpu::signal(&recipe, &frame).pixels, &on_gpu, PQ_SIGNAL, &more);
        assert!(!found.holds(), "{to}: {found:?}");
    }
}

/// A show's own table cannot be undone: display-referred footage is taken back through the default output transform.
#[test]
fn stills_lie_under_a_shows_own_table() {
    let gpu = gpu();
    let pixels: Vec<_> = pad(vectors(2048)).into_iter().map(|p| p.map(|v| v.clamp(0.02, 0.98))).collect();
    let lut = Arc::new(show_lut("rec709"));
    let srgb = encoding("srgb").unwrap();
    let recipe = Recipe::conversion(srgb, Tail::by_lut(lut.clone(), display("rec709").unwrap()));
    assert_eq!(recipe.undone().map(|(transform, _)| transform), Some(OUTPUT_TRANSFORMS[0]));
    holds(&gpu, &recipe, &pixels, ACES2_SIGNAL, "a still by a show's own table");
    // The same light by way of ACEScg.
    let frame = Frame::from_rgb(128, &pixels).unwrap();
    let acescg = encoding("acescg").unwrap();
    let taken_back = Recipe::conversion(srgb, Tail::Encoding(acescg)).rendered_by(OUTPUT_TRANSFORMS[0]);
    let light = Frame::from_rgb(128, &cpu::signal(&taken_back, &frame).pixels).unwrap();
    let by_light = Recipe::conversion(acescg, Tail::by_lut(lut, display("rec709").unwrap()));
    assert_eq!(cpu::signal(&recipe, &frame).pixels, cpu::signal(&by_light, &light).pixels);
}
