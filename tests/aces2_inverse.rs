//! The inverse of the ACES 2.0 output transform: against OpenColorIO's, and there and back.
//!
//! `tests/oracle/aces2_inverse.py` made `tests/data/aces2_inverse.csv`, whose first lines say from what.

use std::path::Path;
use std::sync::LazyLock;

use greyhold::colour::{
    AP0, AP1, Aces2, Adaptation, Curve, Display, GREY, Real, ToneScale, conversion, display,
};

/// The displays of the table's three groups of columns, by name.
const DISPLAYS: [&str; 3] = ["rec709", "p3-d65", "rec2100-pq-1000-p3"];

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
    for (column, name) in [(4, "rec709_aces_r"), (7, "rec709_back_r"), (10, "p3_aces_r"), (16, "pq1000-p3_aces_r")]
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

/// Scene light beside the reference's, over the pixel's largest channel.
fn beside_the_reference<T: Real>(n: usize, of: &Display) -> Vec<f64> {
    let into = conversion(&AP0, &AP1, Adaptation::Bradford);
    let values = Aces2::of(of).inverse_values::<T>();
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

#[test]
fn proto() {
    for (n, id) in DISPLAYS.iter().enumerate() {
        let d = display(id).unwrap();
        for (name, e) in [("f32", beside_the_reference::<f32>(n, d)), ("f64", beside_the_reference::<f64>(n, d))] {
            let mut order: Vec<usize> = (0..e.len()).collect();
            order.sort_by(|a, b| e[*b].total_cmp(&e[*a]));
            println!("{id} {name} median {:.2e} p90 {:.2e} p99 {:.2e}", e[order[390]], e[order[78]], e[order[8]]);
            for &k in &order[..8] { let r = &TABLE[k]; println!("   {} {:?} {:.2e} ref's own error {:.2e} aces {:?}", r.kind, r.light, e[k], largest(r.back[n], r.light), r.aces[n]); }
        }
    }
}
fn grid<T: Real>(d: &Display) -> (f64, f64, f64, [f64;3], usize) {
    let a = Aces2::of(d);
    let (f, i) = (a.values::<T>(), a.inverse_values::<T>());
    let gamma = 2.4; let n = 41;
    let (mut wl, mut ws, mut wsg, mut at, mut clipped) = (0f64, 0f64, 0f64, [0.0;3], 0);
    for r in 0..n { for g in 0..n { for b in 0..n {
        let s = [r,g,b].map(|x| x as f64 / (n-1) as f64);
        let light = s.map(|y: f64| y.powf(gamma));
        let limited = light;
        let enc = conversion(&d.limit, &d.primaries, Adaptation::Bradford).times(limited);
        let scene = i.apply(enc.map(T::of));
        let back = f.apply(scene).map(|x| x.to_f64());
        let back = conversion(&d.primaries, &d.limit, Adaptation::Bradford).times(back);
        let on_edge = scene.iter().any(|x| { let x = x.to_f64(); x <= 0.0 || x >= 128.0*(1.0) }) && s.iter().any(|x| *x > 0.0) ;
        if on_edge { clipped += 1; }
        let l = largest(back, limited); if l > wl { wl = l; at = s; }
        for c in 0..3 { let e = (back[c].max(0.0).powf(1.0/2.4) - s[c]).abs()*1023.0; if s[c] >= 0.02 { ws = ws.max(e); }
          let enc = |x: f64| if x <= 0.0031308 { 12.92*x } else { 1.055*x.max(0.0).powf(1.0/2.4)-0.055 };
          wsg = wsg.max((enc(back[c])-enc(light[c])).abs()*1023.0); }
    }}}
    (wl, ws, wsg, at, clipped)
}
#[test]
fn proto2() {
    for d in greyhold::colour::DISPLAYS { println!("{} f32 {:?}\n     f64 {:?}", d.id, grid::<f32>(d), grid::<f64>(d)); }
}
