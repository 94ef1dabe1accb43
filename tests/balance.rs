//! Balance against the published ASC CDL, against colour-science and OpenColorIO, and against what its
//! documentation promises.
//!
//! `tests/oracle/white.py` made `white.csv`, `locus.csv` and `duv.csv`, `tests/oracle/cdl.py` `cdl.csv`; each
//! says in its first lines what library, what version and what documents it is from.

use std::path::Path;

use BalanceField as F;
use greyhold::colour::{
    ACES_WHITE, ADAPTATIONS, AP1, Adaptation, GREY, GREY_ACESCCT, LUMA_709, Matrix, POINT_ACESCCT,
    STOP_ACESCCT, WHITE_ON_LOCUS, beside_locus, encoding, from_locus, light_temperature, neutral_shift,
    planckian, shifted_light, white_shift,
};
use greyhold::gpu::vectors;
use greyhold::look::Chain;
use greyhold::picture::{BALANCE, Balance, BalanceField, Frame, Recipe, Tail, cpu};

/// The numbers of a table's rows, after its notes and its heading; a first column of words is left out.
fn table(name: &str) -> Vec<(String, Vec<f64>)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<_> = text
        .lines()
        .skip_while(|l| l.starts_with('#'))
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let word = if cells[0].parse::<f64>().is_err() { cells[0] } else { "" };
            let numbers = cells.iter().skip(usize::from(!word.is_empty()));
            (word.to_owned(), numbers.map(|c| c.parse().unwrap()).collect())
        })
        .collect();
    assert!(rows.len() > 5, "{name}");
    rows
}

/// Numbers that are the same in every run: Lehmer's generator as Park & Miller 1988 have it, 0…1.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0 * 16807 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    /// Somewhere in a parameter's range, and one time in four at an end of it.
    fn of(&mut self, field: BalanceField) -> f64 {
        let position = self.within(-0.15, 1.15).clamp(0.0, 1.0);
        field.parameter().at(position)
    }
}

const SLOPE: [F; 3] = [F::SlopeR, F::SlopeG, F::SlopeB];
const OFFSET: [F; 3] = [F::OffsetR, F::OffsetG, F::OffsetB];
const POWER: [F; 3] = [F::PowerR, F::PowerG, F::PowerB];
const ZONES: [F; 10] = [
    F::ShadowExposure,
    F::ShadowCb,
    F::ShadowCr,
    F::ShadowPivot,
    F::ShadowSoftness,
    F::HighlightExposure,
    F::HighlightCb,
    F::HighlightCr,
    F::HighlightPivot,
    F::HighlightSoftness,
];

/// ASC CDL v1.2 without clamps (Pines & Reisner 2009; the no-clamp style as the CLF specification,
/// S-2014-006, words it), written out from the formula.
fn cdl(slope: [f64; 3], offset: [f64; 3], power: [f64; 3], saturation: f64, rgb: [f64; 3]) -> [f64; 3] {
    let v: [f64; 3] = std::array::from_fn(|c| {
        let v = rgb[c] * slope[c] + offset[c];
        if v < 0.0 { v } else { v.powf(power[c]) }
    });
    let luma = 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
    v.map(|v| luma + saturation * (v - luma))
}

fn close(a: [f64; 3], b: [f64; 3], tolerance: f64) -> bool {
    let largest = b.iter().fold(1.0, |m: f64, v| m.max(v.abs()));
    (0..3).all(|c| (a[c] - b[c]).abs() <= tolerance * largest)
}

#[test]
fn the_list_is_sound() {
    assert_eq!((BALANCE.len(), F::ALL.len()), (F::COUNT, F::COUNT));
    for (i, p) in BALANCE.iter().enumerate() {
        assert_eq!(F::ALL[i] as usize, i);
        assert_eq!(F::of_key(p.key), Some(F::ALL[i]), "two parameters are called {}", p.key);
        assert!(p.key.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{}", p.key);
        assert!(p.min < p.max && (p.min..=p.max).contains(&p.default), "{}", p.key);
        assert!(p.step > 0.0 && p.step < p.max - p.min && !p.doc.trim().is_empty(), "{}", p.key);
        assert_eq!((p.at(0.0), p.at(1.0)), (p.min, p.max), "{}", p.key);
    }
    assert_eq!(F::of_key("gain"), None);
}

#[test]
fn a_choice_is_whole_and_named_and_numbers_are_told_with_their_side() {
    let p = F::Adaptation.parameter();
    assert_eq!(p.choices(), ["cat16", "cat02", "bradford"]);
    for (given, held) in [(-3.0, 0.0), (0.4, 0.0), (0.6, 1.0), (1.9, 2.0), (7.0, 2.0), (f64::NAN, 0.0)] {
        assert_eq!(p.held(given), held);
        assert_eq!(p.show(given), p.choices()[held as usize]);
        assert_eq!(p.choice(given), Some(p.choices()[held as usize]));
    }
    // A detent goes on by one; a tenth of one does nothing.
    assert_eq!((p.held(1.0 + p.step), p.held(1.0 + 0.1 * p.step)), (2.0, 1.0));
    let tint = F::Tint.parameter();
    assert_eq!((tint.choices().len(), tint.choice(1.0)), (0, None));
    assert_eq!(tint.show(3.5), "+3.5 ‰ Duv green");
    assert_eq!(tint.show(-3.5), "-3.5 ‰ Duv magenta");
    assert_eq!(tint.show(-0.001), "0.0 ‰ Duv");
    assert_eq!(F::Warmth.parameter().show(20.0), "+20 mired");
}

#[test]
fn slope_offset_power_and_saturation_are_the_published_ones() {
    let mut random = Random(1);
    let mut negative = 0;
    for _ in 0..2000 {
        let slope = std::array::from_fn(|_| random.within(0.0, 4.0));
        let points: [f64; 3] = std::array::from_fn(|_| random.within(-60.0, 60.0));
        let power = std::array::from_fn(|_| random.within(0.25, 4.0));
        let saturation = random.within(0.0, 4.0);
        let rgb = std::array::from_fn(|_| random.within(-0.6, 1.7));
        let mut balance = Balance::default().with(F::Saturation, saturation);
        for c in 0..3 {
            balance = balance.with(SLOPE[c], slope[c]).with(OFFSET[c], points[c]).with(POWER[c], power[c]);
        }
        // A printer point is 0.025 of log10 exposure and ACEScct has 17.52 stops (S-2016-001).
        let offset = points.map(|p| p * 0.025 * 10f64.log2() / 17.52);
        negative += (0..3).filter(|&c| rgb[c] * slope[c] + offset[c] < 0.0).count();
        let expected = cdl(slope, offset, power, saturation, rgb);
        let made = balance.prepared::<f64>().acescct(rgb);
        assert!(close(made, expected, 1e-12), "{balance:?} {rgb:?}: {made:?}, not {expected:?}");
    }
    assert!(negative > 500, "power was to be skipped {negative} times");
}

/// `tests/cdl.rs` holds the formula itself; here is the way to it, from balance's own units.
#[test]
fn opencolorio_agrees_about_the_cdl() {
    let (mut worst, mut count) = ([0f64; 2], 0);
    for (_, row) in table("cdl.csv").into_iter().filter(|(style, _)| style == "FwdNoClamp") {
        let three = |i: usize| [row[i], row[i + 1], row[i + 2]];
        let mut balance = Balance::default().with(F::Saturation, row[9]);
        for c in 0..3 {
            balance = balance
                .with(SLOPE[c], row[c])
                .with(OFFSET[c], row[3 + c] / POINT_ACESCCT)
                .with(POWER[c], row[6 + c]);
        }
        let made = balance.prepared::<f64>().acescct(three(10));
        let largest = three(13).iter().fold(1.0, |m: f64, v| m.max(v.abs()));
        for (worst, expected) in worst.iter_mut().zip([three(13), three(16)]) {
            *worst = (0..3).map(|c| (made[c] - expected[c]).abs() / largest).fold(*worst, f64::max);
        }
        count += 1;
    }
    // The formula in double floats; the library in single ones.
    assert!(count > 50 && worst[0] < 1e-9 && worst[1] < 1e-6, "{count}: {worst:?}");
}

#[test]
fn contrast_pivots_on_grey_and_folds_into_the_cdl() {
    let grey = [GREY_ACESCCT; 3];
    let mut random = Random(2);
    for _ in 0..500 {
        let contrast = random.of(F::Contrast);
        let alone = Balance::default().with(F::Contrast, contrast);
        assert!(close(alone.prepared::<f64>().acescct(grey), grey, 1e-15));
        let (slope, offset, power) = (random.of(F::SlopeR), random.of(F::OffsetG), random.of(F::PowerB));
        let mut all = alone;
        for c in 0..3 {
            all = all.with(SLOPE[c], slope).with(OFFSET[c], offset).with(POWER[c], power);
        }
        let rgb: [f64; 3] = std::array::from_fn(|_| random.within(-0.6, 1.7));
        let before = rgb.map(|x| GREY_ACESCCT + contrast * (x - GREY_ACESCCT));
        let expected = cdl([slope; 3], [offset * POINT_ACESCCT; 3], [power; 3], 1.0, before);
        // Steep powers magnify the rounding of a value near 0, by no more than its 4th root.
        let made = all.prepared::<f64>().acescct(rgb);
        let near_0 = before.iter().any(|x| (x * slope + offset * POINT_ACESCCT).abs() < 1e-4);
        assert!(close(made, expected, if near_0 { 1e-4 } else { 1e-12 }), "{all:?} {rgb:?}");
    }
}

#[test]
fn adaptation_is_colour_sciences() {
    let mut seen = [0; 3];
    for (cat, row) in table("white.csv") {
        let (which, adaptation) = match cat.as_str() {
            "CAT02" => (0, Adaptation::Cat02),
            "Bradford" => (1, Adaptation::Bradford),
            "CAT16" => (2, Adaptation::Cat16),
            other => panic!("{other}"),
        };
        seen[which] += 1;
        let made: [f64; 9] = adaptation.matrix([row[0], row[1]], [row[2], row[3]]).rows();
        for (made, expected) in made.iter().zip(&row[4..]) {
            assert!((made - expected).abs() < 1e-9, "{cat} {row:?}: {made}");
        }
    }
    assert_eq!(seen, [10; 3]);
}

#[test]
fn the_locus_is_plancks() {
    let mut worst = [0f64; 2];
    for (_, row) in table("locus.csv") {
        let [u, v] = planckian(row[0]);
        let scale = 2.0 * u - 8.0 * v + 4.0;
        let made = [3.0 * u / scale, 2.0 * v / scale];
        for i in 0..2 {
            worst[0] = worst[0].max((made[i] - row[1 + i]).abs());
            // Far from daylight the library's other c₂ tells: 2.8e-5 at 1000 K.
            let mired = row[0].max(500.0) / 500.0;
            worst[1] = worst[1].max((made[i] - row[3 + i]).abs() / mired.powi(3));
        }
        if row[0] <= 500.0 {
            assert_eq!(beside_locus(row[0], 0.0), made);
            let (found, off) = from_locus(made).unwrap();
            assert!((found - row[0]).abs() < 1e-9 * row[0] && off.abs() < 1e-12, "{row:?}: {found} {off}");
        }
    }
    println!("xy from planck_law by 1 nm: {:.1e}; from the library's locus: {:.1e}", worst[0], worst[1]);
    assert!(worst[0] < 4e-6 && worst[1] < 8e-6, "{worst:?}");
}

#[test]
fn duv_is_ohnos() {
    let (mut worst, mut count) = ([0f64; 2], 0);
    for (name, row) in table("duv.csv") {
        let (mired, duv) = from_locus([row[0], row[1]]).unwrap_or_else(|| panic!("{name}"));
        worst[0] = worst[0].max((mired - 1e6 / row[2]).abs());
        worst[1] = worst[1].max((duv - row[3]).abs());
        count += 1;
    }
    println!("from Ohno 2014 by colour-science: {:.4} mired, {:.1e} Duv", worst[0], worst[1]);
    // That implementation's own error (head of the table) and what summing by 5 nm adds.
    assert!(count > 30 && worst[0] < 0.01 && worst[1] < 1e-6, "{count}: {worst:?}");
    // The ACES white: 6000.04 K by the same.
    let (mired, duv) = *WHITE_ON_LOCUS;
    assert!((1e6 / mired - 6000.04).abs() < 0.1 && (duv - 0.003_236_7).abs() < 1e-6, "{mired} {duv}");
    assert_eq!(light_temperature(0.0, 0.0), (1e6 / mired, duv));
}

/// xy to CIE 1960 (u, v), as CIE 015:2018 has it.
fn uv([x, y]: [f64; 2]) -> [f64; 2] {
    let scale = -2.0 * x + 12.0 * y + 3.0;
    [4.0 * x / scale, 6.0 * y / scale]
}

#[test]
fn the_light_that_becomes_white_is_where_it_should_be() {
    assert_eq!(shifted_light(0.0, 0.0), ACES_WHITE);
    for adaptation in Adaptation::ALL {
        assert_eq!(white_shift(0.0, 0.0, adaptation), Matrix::IDENTITY);
    }
    let (white, duv) = *WHITE_ON_LOCUS;
    for mired in [-250.0, -100.0, -30.0, 0.5, 40.0, 150.0] {
        // Taken to the locus, the light is a Planckian radiator so many mired away …
        let (found, expected) = (uv(shifted_light(mired, 1000.0 * duv)), planckian(white - mired));
        assert!((0..2).all(|i| (found[i] - expected[i]).abs() < 1e-12), "{mired}: {found:?} {expected:?}");
        // … and tint is the distance from there, as far as there is light.
        for tint in [-7.0, -3.0, 7.0, 30.0] {
            let at = uv(shifted_light(mired, tint));
            let distance = (at[0] - expected[0]).hypot(at[1] - expected[1]);
            assert!((distance - (duv - tint / 1000.0).abs()).abs() < 1e-12, "{mired} {tint}: {distance}");
            let (kelvin, off) = light_temperature(mired, tint);
            let (back, back_off) = from_locus(shifted_light(mired, tint)).unwrap();
            assert!((1e6 / kelvin - back).abs() < 1e-9 && (off - back_off).abs() < 1e-12, "{mired} {tint}");
        }
    }
    // A hair away from none is a hair away from the identity.
    for (mired, tint) in [(1e-6, 0.0), (0.0, 1e-6), (-1e-6, -1e-6)] {
        for adaptation in Adaptation::ALL {
            let rows: [f64; 9] = white_shift(mired, tint, adaptation).rows();
            let identity: [f64; 9] = Matrix::IDENTITY.rows();
            assert!(rows.iter().zip(identity).all(|(a, b)| (a - b).abs() < 1e-6), "{mired} {tint}: {rows:?}");
        }
    }
}

/// Greys under each light at either end of both ranges, in every adaptation: neutral, as light as they were.
#[test]
fn a_grey_under_the_light_becomes_neutral_and_keeps_its_luminance() {
    let to_xyz = AP1.to_xyz();
    let (warmth, tint) = (F::Warmth.parameter(), F::Tint.parameter());
    let mut largest = 0f64;
    for i in 0..=20 {
        for k in 0..=20 {
            let (mired, off) = (warmth.at(f64::from(i) / 20.0), tint.at(f64::from(k) / 20.0));
            let [x, y] = shifted_light(mired, off);
            assert!(x > 0.0 && y > 0.0 && 1.0 - x - y > 0.07 * y, "{mired} {off}: no light at {x} {y}");
            let lit = to_xyz.inverse().times([x / y, 1.0, (1.0 - x - y) / y]).map(|v| GREY * v);
            for n in 0..ADAPTATIONS.len() {
                let balance = Balance::default()
                    .with(F::Warmth, mired)
                    .with(F::Tint, off)
                    .with(F::Adaptation, n as f64);
                let made = balance.white_balance().times(lit);
                assert!(close(made, [GREY; 3], 1e-12), "{mired} {off} {n}: {made:?}");
                let exposed = balance.with(F::Exposure, 3.0).prepared::<f64>().linear(lit);
                assert!(close(exposed, [8.0 * GREY; 3], 1e-11), "exposure is a factor after it: {exposed:?}");
                let rows: [f64; 9] = balance.white_balance().rows();
                largest = rows.iter().fold(largest, |m, v| m.max(v.abs()));
            }
        }
    }
    // Nowhere does adaptation divide by next to nothing.
    println!("largest coefficient: {largest:.1}");
    assert!(largest < 30.0, "{largest}");
}

#[test]
fn a_warmer_white_is_redder() {
    let grey = |warmth, tint, n| {
        let balance = Balance::default().with(F::Warmth, warmth).with(F::Tint, tint);
        balance.with(F::Adaptation, n).prepared::<f64>().linear([GREY; 3])
    };
    for n in [0.0, 1.0, 2.0] {
        let mut last = grey(-250.0, 0.0, n);
        for i in 1..=40 {
            let v = grey(-250.0 + 10.0 * f64::from(i), 0.0, n);
            assert!(v[0] > last[0] && v[2] < last[2], "warmer is redder and less blue: {last:?}, then {v:?}");
            last = v;
        }
        let [green, none, magenta] = [10.0, 0.0, -10.0].map(|tint| grey(0.0, tint, n));
        assert_eq!(none, [GREY; 3]);
        assert!(green[1] > none[1] && green[0] < none[0] && green[2] < none[2], "{green:?}");
        assert!(magenta[1] < none[1] && magenta[0] > none[0] && magenta[2] > none[2], "{magenta:?}");
    }
}

/// What a picked patch asks for makes it neutral, to 1e-5 of its light as the GPU computes, too.
#[test]
fn a_picked_neutral_becomes_neutral() {
    let mut random = Random(11);
    let to_xyz = AP1.to_xyz();
    let mut worst = [0f64; 2];
    for n in 0..600 {
        let (mired, tint) = (random.of(F::Warmth), random.of(F::Tint));
        let [x, y] = shifted_light(mired, tint);
        let luminance = 2f64.powf(random.within(-8.0, 5.0));
        let patch = to_xyz.inverse().times([x / y, 1.0, (1.0 - x - y) / y].map(|v| luminance * v));
        let (found, off) = neutral_shift(patch).unwrap_or_else(|| panic!("{mired} {tint}"));
        let balance = Balance::default()
            .with(F::Warmth, found)
            .with(F::Tint, off)
            .with(F::Adaptation, f64::from(n % 3));
        let spread = |v: [f64; 3]| {
            let mean = v.iter().sum::<f64>() / 3.0;
            v.iter().map(|x| (x / mean - 1.0).abs()).fold(0.0, f64::max)
        };
        worst[0] = worst[0].max(spread(balance.prepared::<f64>().linear(patch)));
        let single = balance.prepared::<f32>().linear(patch.map(|v| v as f32));
        worst[1] = worst[1].max(spread(single.map(f64::from)));
    }
    println!("relative spread after white balance: {:.1e} in f64, {:.1e} in f32", worst[0], worst[1]);
    assert!(worst[0] < 1e-9 && worst[1] < 1e-5, "{worst:?}");
    // What no grey could look like under any light.
    for odd in [[0.0; 3], [-0.1, 0.2, 0.2], [0.2, 0.2, -0.1], [f64::NAN, 0.2, 0.2], [0.3, 0.0, 0.0]] {
        let held = |(warmth, tint): (f64, f64)| {
            let inside = |f: F, v: f64| (f.parameter().min..=f.parameter().max).contains(&v);
            inside(F::Warmth, warmth) && inside(F::Tint, tint)
        };
        assert!(!neutral_shift(odd).is_some_and(held), "{odd:?}: {:?}", neutral_shift(odd));
    }
}

/// The very bits, in f32 and through the whole path.
#[test]
fn balance_at_its_defaults_changes_no_bit() {
    let still = Balance::default().prepared::<f32>();
    let pixels = vectors(4096);
    for &p in &pixels {
        assert_eq!(still.linear(p), p);
        assert_eq!(still.acescct(p), p);
    }
    // Nor do parameters that say where and how softly nothing happens.
    let mut random = Random(3);
    let acescct = encoding("acescct").unwrap();
    let frame = Frame::from_rgb(128, &greyhold::gpu::pad(pixels)).unwrap();
    let run =
        |b| cpu::signal(&Recipe::graded(acescct, b, &Chain::default(), Tail::Encoding(acescct)), &frame);
    let plain = run(Balance::default()).pixels;
    for _ in 0..8 {
        let mut balance = Balance::default();
        for f in [F::ShadowPivot, F::ShadowSoftness, F::HighlightPivot, F::HighlightSoftness] {
            balance = balance.with(f, random.of(f));
        }
        assert_ne!(balance, Balance::default());
        assert!(run(balance).pixels == plain, "{balance:?}");
    }
    assert!(run(Balance::default().with(F::ShadowExposure, 0.02)).pixels != plain);
}

/// Exposure of a zone is what it says deep in it, nothing on the other side, half at the pivot.
#[test]
fn zones_act_where_they_say() {
    let values = Balance::default()
        .with(F::ShadowExposure, 0.5)
        .with(F::HighlightExposure, -0.5)
        .with(F::HighlightCr, 6.0)
        .prepared::<f64>();
    let stops = |s: f64| [GREY_ACESCCT + s * STOP_ACESCCT; 3];
    let moved = |s: f64| values.acescct(stops(s)).map(|v| (v - GREY_ACESCCT) / STOP_ACESCCT - s);
    for (at, expected) in [(-5.0, 0.5), (-3.5, 0.5), (-2.0, 0.25), (-0.5, 0.0), (0.0, 0.0), (0.5, 0.0)] {
        assert!(close(moved(at), [expected; 3], 1e-12), "{at}: {:?}", moved(at));
    }
    // BT.709-6: R' − Y' = 1.5748 C_R. Six points are 0.15 of log10 exposure.
    let red = 1.5748 * 0.15 * 10f64.log2();
    for (at, share) in [(2.0, 0.5), (3.5, 1.0), (6.0, 1.0)] {
        let m = moved(at);
        assert!((m[0] - share * (red - 0.5)).abs() < 1e-9, "{at}: {m:?}");
        let luma: f64 = (0..3).map(|c| LUMA_709[c] * m[c]).sum();
        assert!((luma + share * 0.5).abs() < 1e-12, "colour leaves luma alone: {m:?}");
        assert!((m[2] - share * -0.5).abs() < 1e-12, "C_R leaves B' − Y' alone: {m:?}");
    }
    // At an end of its range an exposure is still whole, deep in its zone, however narrow the transition.
    let hard = Balance::default().with(F::ShadowExposure, 3.0).with(F::ShadowSoftness, 0.2).prepared::<f64>();
    let deep = stops(-6.0);
    assert!(close(hard.acescct(deep), deep.map(|v| v + 3.0 * STOP_ACESCCT), 1e-12));
}

#[test]
fn zones_keep_greys_in_order_and_smooth() {
    let mut random = Random(5);
    let (mut overlapping, step) = (0, 2e-4);
    for n in 0..3000 {
        let mut balance = Balance::default();
        for f in ZONES {
            balance = balance.with(f, random.of(f));
        }
        if n % 3 == 0 {
            // The hardest case: raised shadows and lowered highlights at one place, hard and coloured.
            balance = balance
                .with(F::ShadowExposure, 3.0)
                .with(F::HighlightExposure, -3.0)
                .with(F::HighlightPivot, balance.get(F::ShadowPivot).clamp(-2.0, 2.0))
                .with(F::HighlightSoftness, 0.2);
        }
        let apart = balance.get(F::HighlightPivot) - balance.get(F::ShadowPivot);
        overlapping +=
            usize::from(apart < balance.get(F::HighlightSoftness) + balance.get(F::ShadowSoftness));
        let values = balance.prepared::<f64>();
        let at = |i: i32| values.acescct([f64::from(i) * step; 3]);
        // The smooth step's second derivative is 6 at most over its width, 2 softnesses.
        let bend = |zone: [F; 5]| {
            let amount = balance.get(zone[0]).abs() * STOP_ACESCCT
                + 1.8556 * (balance.get(zone[1]).abs() + balance.get(zone[2]).abs()) * POINT_ACESCCT;
            1.5 * amount / (balance.get(zone[4]) * STOP_ACESCCT).powi(2)
        };
        let [shadow, highlight] = [&ZONES[..5], &ZONES[5..]].map(|z| bend(z.try_into().unwrap()));
        let (mut before, mut last) = (at(-1001), at(-1000));
        for i in -999..6000 {
            let v = at(i);
            for c in 0..3 {
                let slope = (v[c] - last[c]) / step;
                assert!(slope > 0.049, "{balance:?}\nat {}: slope {slope} in {c}", f64::from(i) * step);
                let curvature = (v[c] - 2.0 * last[c] + before[c]).abs() / (step * step);
                assert!(curvature <= 1.01 * (shadow + highlight) + 1e-6, "{balance:?} at {i}: {curvature}");
            }
            (before, last) = (last, v);
        }
    }
    assert!(overlapping > 1000, "{overlapping}");
}

#[test]
fn whatever_comes_in_what_goes_out_is_finite() {
    let extremes = [-65504.0, -1.0, -1e-30, 0.0, 1e-38, 0.18, 1.0, 65504.0];
    let mut random = Random(9);
    let acescg = encoding("acescg").unwrap();
    for n in 0..400 {
        let mut balance = Balance::default();
        for &f in F::ALL {
            let p = f.parameter();
            let end = if random.next() < 0.5 { p.min } else { p.max };
            balance = balance.with(f, if n % 2 == 0 { end } else { random.of(f) });
        }
        let recipe = Recipe::graded(acescg, balance, &Chain::default(), Tail::Encoding(acescg));
        let (single, double) = (cpu::Grader::<f32>::new(&recipe), cpu::Grader::<f64>::new(&recipe));
        for r in extremes {
            for g in extremes {
                for b in extremes {
                    let v = single.pixel([r as f32, g as f32, b as f32]);
                    assert!(v.iter().all(|x| x.is_finite()), "{balance:?} {:?}: {v:?}", [r, g, b]);
                    let v = double.pixel([r, g, b]);
                    assert!(v.iter().all(|x| x.is_finite()), "{balance:?} {:?}: {v:?}", [r, g, b]);
                }
            }
        }
    }
}
