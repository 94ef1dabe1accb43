//! ASC CDL in its four styles, against the published formula and against OpenColorIO.
//!
//! `tests/oracle/cdl.py` made `tests/data/cdl.csv`: the order of operations of Pines & Reisner, *ASC CDL
//! Transfer Functions and Interchange Syntax* 1.2 (2009), evaluated by numpy in float64, and what opencolorio
//! 2.6 gives with OPTIMIZATION_NONE. That library computes in single floats: it lies within 2.2e-7 of the
//! formula here, as the table's head says.

use std::collections::BTreeMap;

use greyhold::colour::{Cdl, Real};

struct Row {
    style: String,
    cdl: Cdl<f64>,
    input: [f64; 3],
    formula: [f64; 3],
    ocio: [f64; 3],
}

fn rows() -> Vec<Row> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/cdl.csv");
    let text = std::fs::read_to_string(path).unwrap();
    text.lines()
        .skip_while(|l| l.starts_with('#'))
        .skip(1)
        .map(|line| {
            let mut cells = line.split(',');
            let style = cells.next().unwrap().to_owned();
            let n: Vec<f64> = cells.map(|c| c.parse().unwrap()).collect();
            assert_eq!(n.len(), 19, "{line}");
            let three = |i: usize| [n[i], n[i + 1], n[i + 2]];
            let cdl = Cdl { slope: three(0), offset: three(3), power: three(6), saturation: n[9] };
            Row { style, cdl, input: three(10), formula: three(13), ocio: three(16) }
        })
        .collect()
}

fn run<T: Real>(style: &str, cdl: &Cdl<f64>, rgb: [f64; 3]) -> [f64; 3] {
    let (cdl, rgb) = (cdl.prepared::<T>(), rgb.map(T::of));
    let out = match style {
        "Fwd" => cdl.forward(rgb),
        "FwdNoClamp" => cdl.forward_no_clamp(rgb),
        "Rev" => cdl.reverse(rgb),
        "RevNoClamp" => cdl.reverse_no_clamp(rgb),
        other => panic!("{other}"),
    };
    out.map(Real::to_f64)
}

/// Largest difference, of the pixel's largest channel or of 1.
fn apart(a: [f64; 3], b: [f64; 3]) -> f64 {
    let largest = b.iter().fold(1.0, |m: f64, v| m.max(v.abs()));
    (0..3).map(|c| (a[c] - b[c]).abs() / largest).fold(0.0, f64::max)
}

#[test]
fn all_styles_are_the_published_ones() {
    let mut worst: BTreeMap<String, [f64; 3]> = BTreeMap::new();
    let (mut outside, mut negative, mut skipped) = (0, 0, 0);
    for row in rows() {
        let double = run::<f64>(&row.style, &row.cdl, row.input);
        let single = run::<f32>(&row.style, &row.cdl, row.input);
        let worst = worst.entry(row.style.clone()).or_default();
        for c in 0..3 {
            worst[0] = worst[0].max((double[c] - row.formula[c]).abs());
        }
        worst[1] = worst[1].max(apart(single, row.ocio));
        worst[2] = worst[2].max(apart(double, row.ocio));
        outside += usize::from(row.input.iter().any(|v| !(0.0..=1.0).contains(v)));
        negative += usize::from(row.cdl.offset.iter().any(|o| *o < 0.0));
        let before = |c: usize| row.input[c] * row.cdl.slope[c] + row.cdl.offset[c];
        skipped += usize::from(
            row.style == "FwdNoClamp" && (0..3).any(|c| before(c) < 0.0 && row.cdl.power[c] != 1.0),
        );
    }
    println!("style: f64 against the formula, f32 against opencolorio, f64 against opencolorio");
    for (style, [formula, single, double]) in &worst {
        println!("{style:12} {formula:.1e} {single:.1e} {double:.1e}");
        assert!(*formula < 1e-9, "{style}: {formula:e} from the formula");
        assert!(*single < 2e-6 && *double < 2e-6, "{style}: {single:e}, {double:e} from opencolorio");
    }
    assert_eq!(worst.len(), 4);
    // What makes the styles differ is among the rows.
    assert!(outside > 150 && negative > 150 && skipped > 20, "{outside} {negative} {skipped}");
}

/// The formula's own corners, by hand: 1.2 clips between offset and power, and at the end.
#[test]
fn clamps_are_where_the_document_has_them() {
    let cdl = Cdl { slope: [2.0; 3], offset: [-0.5; 3], power: [2.0; 3], saturation: 1.0 };
    let v = [0.2, 0.5, 0.9];
    assert_eq!(cdl.forward(v), [0.0, 0.25, 1.0]);
    let open = cdl.forward_no_clamp(v);
    // Power is left out where 0.2 · 2 − 0.5 is negative.
    assert!(apart(open, [-0.1, 0.25, 1.69]) < 1e-15, "{open:?}");
    // Saturation is outside the first clamp and inside the last: red alone at 0 is luma 0.2126.
    let grey = Cdl { saturation: 0.0, ..Cdl::IDENTITY };
    assert!(apart(grey.forward([4.0, 0.0, 0.0]), [0.2126; 3]) < 1e-15);
    assert!(apart(grey.forward_no_clamp([4.0, 0.0, 0.0]), [0.8504; 3]) < 1e-15);
    let more = Cdl { saturation: 2.0, ..Cdl::IDENTITY };
    assert!(apart(more.forward([1.0, 0.0, 0.0]), [1.0, 0.0, 0.0]) < 1e-15);
    assert!(apart(more.forward_no_clamp([1.0, 0.0, 0.0]), [1.7874, -0.2126, -0.2126]) < 1e-15);
}

#[test]
fn nothing_is_nothing_to_the_bit() {
    let still = Cdl::IDENTITY.prepared::<f32>();
    for v in [[0.0f32, -0.25, 1.75], [1e-30, -1e-30, 65504.0], [0.1, 0.2, 0.3]] {
        assert_eq!(still.forward_no_clamp(v), v);
        assert_eq!(still.reverse_no_clamp(v), v);
    }
}

#[test]
fn there_and_back() {
    let mut whole = 0;
    for row in rows().iter().filter(|r| r.style == "FwdNoClamp") {
        let cdl = row.cdl;
        assert!(cdl.is_reversible());
        let back = cdl.reverse_no_clamp(cdl.forward_no_clamp(row.input));
        assert!(apart(back, row.input) < 1e-9, "{cdl:?} {:?}: {back:?}", row.input);
        // Clamped, what was clipped is lost and the rest comes back.
        let inside = row.input.map(|v| v.clamp(0.0, 1.0));
        let there = cdl.forward(inside);
        let clipped = |v: f64| !(1e-6..=1.0 - 1e-6).contains(&v);
        let between: Vec<f64> = (0..3).map(|c| inside[c] * cdl.slope[c] + cdl.offset[c]).collect();
        if !there.into_iter().chain(between).any(clipped) {
            whole += 1;
            let back = cdl.reverse(there);
            assert!(apart(back, inside) < 1e-9, "{cdl:?} {inside:?}: {back:?}");
        }
    }
    assert!(whole > 5, "only {whole} pixels were not clipped");
}

/// Where there is no way back there is no infinity either.
#[test]
fn what_cannot_be_taken_back_says_so_and_stays_finite() {
    let flat = Cdl { slope: [0.0, 1.0, 1.0], ..Cdl::IDENTITY };
    let grey = Cdl { saturation: 0.0, ..Cdl::IDENTITY };
    for cdl in [flat, grey] {
        assert!(!cdl.is_reversible());
        for v in [cdl.reverse([0.2, 0.5, 0.9]), cdl.reverse_no_clamp([0.2, 0.5, 0.9])] {
            assert!(v.iter().all(|x| x.is_finite()), "{cdl:?}: {v:?}");
        }
    }
}
