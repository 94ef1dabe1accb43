//! LUT files against things outside this project: OpenColorIO, colour-science, the documents' own examples;
//! and files that are broken, or made to do harm.
//!
//! `tests/oracle/luts.py` made the files and tables in `tests/data/luts`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use greyhold::colour::{HALVES, Interpolation, Lut1, Lut3, Real, Shaped};
use greyhold::interchange::Error;
use greyhold::interchange::clf::{
    Baked, CdlParams, CdlStyle, Clf, Depth, Domain, ExponentStyle, LogStyle, Node, Operation, Shaping,
    Version,
};
use greyhold::interchange::cube::Cube;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/luts")
}

fn rows(name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(folder().join(name)).unwrap();
    assert!(text.starts_with("# "), "{name} does not say where it is from");
    let mut lines = text.lines().skip_while(|l| l.starts_with('#'));
    let columns = lines.next().unwrap().split(',').count();
    let rows: Vec<Vec<_>> = lines.map(|l| l.split(',').map(str::to_owned).collect()).collect();
    assert!(rows.len() > 10 && rows.iter().all(|r| r.len() == columns), "{name}");
    rows
}

fn three(row: &[String], from: usize) -> [f64; 3] {
    std::array::from_fn(|i| row[from + i].parse().unwrap())
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(folder().join(name)).unwrap()
}

/// All committed files of a kind, by name.
fn files(extension: &str) -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<_> = rows("tables.csv")
        .into_iter()
        .filter(|r| r[1].ends_with(extension))
        .map(|r| (r[1].clone(), bytes(&r[1])))
        .collect();
    all.sort();
    assert!(all.len() >= 10, "{} {extension}", all.len());
    all
}

/// SplitMix64.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
}

// ---------------------------------------------------------------------------- against OpenColorIO

/// The text of a LUT1D over all halves, as `half_text` in tests/oracle/luts.py has it.
fn half_text(name: &str) -> String {
    let (attributes, out, columns) = match name {
        "half_domain" => ("halfDomain=\"true\"", "16i", 1),
        "half_domain_raw" => ("halfDomain=\"true\" rawHalfs=\"true\"", "16f", 1),
        "half_domain_raw_3" => ("halfDomain=\"true\" rawHalfs=\"true\"", "16f", 3),
        _ => panic!("{name}"),
    };
    let mut text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"test\" compCLFversion=\"3.0\">\n\
         <LUT1D inBitDepth=\"16f\" outBitDepth=\"{out}\" {attributes}>\n<Array dim=\"65536 {columns}\">\n"
    );
    for i in 0..65536i32 {
        let (size, minus) = (i & 0x7fff, i >= 0x8000);
        let finite = size < 0x7c00;
        let row = match name {
            "half_domain" => vec![if !finite {
                0
            } else if minus {
                -size
            } else {
                size
            }],
            "half_domain_raw" => vec![i],
            _ => vec![i ^ 0x8000, if finite { (i & 0x8000) + size / 2 } else { 0 }, i],
        };
        let row: Vec<_> = row.iter().map(i32::to_string).collect();
        text += &row.join(" ");
        text.push('\n');
    }
    text + "</Array>\n</LUT1D>\n</ProcessList>\n"
}

fn fnv(data: &[u8]) -> u64 {
    data.iter().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x100_0000_01b3))
}

type Both = (Box<dyn Fn([f32; 3]) -> [f32; 3]>, Box<dyn Fn([f64; 3]) -> [f64; 3]>);

fn both(name: &str, data: &[u8], kind: &str) -> Both {
    if name.ends_with(".cube") {
        let mut lut = Cube::read(data).unwrap_or_else(|e| panic!("{name}: {e}")).lut;
        if kind.ends_with("trilinear") {
            lut.cube.as_mut().unwrap().interpolation = Interpolation::Trilinear;
        }
        let exact = lut.to::<f64>();
        (Box::new(move |v| lut.apply(v)), Box::new(move |v| exact.apply(v)))
    } else {
        let clf = Clf::read(data).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(clf.warnings, [], "{name}");
        let (single, exact) = (clf.process::<f32>(), clf.process::<f64>());
        (Box::new(move |v| single.apply(v)), Box::new(move |v| exact.apply(v)))
    }
}

/// What is allowed against OpenColorIO: |difference| / max(1, |its value|). f32 against f32.
const TOLERANCE: f64 = 1e-5;

/// Files where OpenColorIO is known to deviate, and by how much: its guard against the division by 0 that the
/// specification warns of, where a monCurve's exponent is 1, moves what should be a line of slope 1/(1 + offset)
/// (measured: 1.3e-5 of the value). Here the limit itself is computed.
const DEVIATIONS: [(&str, f64); 2] =
    [("exponent_monCurveFwd_flat.clf", 2e-5), ("exponent_monCurveRev_flat.clf", 2e-5)];

#[test]
fn every_file_does_what_opencolorio_does() {
    let inputs: Vec<_> = rows("inputs.csv").iter().map(|r| three(r, 1)).collect();
    assert!(inputs.len() >= 60);
    assert!(inputs.iter().flatten().any(|x| *x < 0.0) && inputs.iter().flatten().any(|x| *x > 1.0));
    let mut outputs: BTreeMap<String, Vec<[f64; 3]>> = BTreeMap::new();
    for row in rows("outputs.csv") {
        outputs.entry(row[0].clone()).or_default().push(three(&row, 2));
    }
    let mut worst: BTreeMap<String, [(f64, String); 2]> = BTreeMap::new();
    let mut failures = Vec::new();
    let tables = rows("tables.csv");
    assert!(tables.iter().filter(|r| r[1].ends_with(".clf")).count() >= 40);
    assert!(tables.iter().filter(|r| r[1].ends_with(".cube")).count() >= 10);
    for row in tables {
        let (name, kind) = (&row[1], &row[2]);
        let data = match row[3].as_str() {
            "" => bytes(name),
            length => {
                let data = half_text(name).into_bytes();
                assert_eq!(
                    (data.len().to_string(), format!("{:016x}", fnv(&data))),
                    (length.into(), row[4].clone())
                );
                data
            }
        };
        let (single, exact) = both(name, &data, kind);
        let wanted = &outputs[&row[0]];
        assert_eq!(wanted.len(), inputs.len());
        let deviation = DEVIATIONS.iter().find(|d| d.0 == name).map(|d| d.1);
        let tolerance = deviation.unwrap_or(TOLERANCE);
        let worst = worst.entry(if deviation.is_some() { name } else { kind }.clone()).or_default();
        for (input, wanted) in inputs.iter().zip(wanted) {
            let found = [single(input.map(|x| x as f32)).map(f64::from), exact(*input)];
            for (found, worst) in found.iter().zip(worst.iter_mut()) {
                for c in 0..3 {
                    let error = (found[c] - wanted[c]).abs() / wanted[c].abs().max(1.0);
                    if error.is_nan() || error > tolerance {
                        failures.push(format!("{name} {input:?}: {found:?}, not {wanted:?}: {error:.1e}"));
                    }
                    if error > worst.0 {
                        *worst = (error, format!("{name} {input:?}"));
                    }
                }
            }
        }
    }
    for (kind, [single, exact]) in &worst {
        println!("{kind:14} f32 {:.1e} ({}), f64 {:.1e} ({})", single.0, single.1, exact.0, exact.1);
    }
    for line in failures.iter().take(80) {
        println!("{line}");
    }
    assert!(failures.is_empty(), "{} values differ", failures.len());
}

#[test]
fn the_comparison_tells_tetrahedra_from_lines() {
    let wanted: Vec<_> = rows("tables.csv").into_iter().filter(|r| r[1] == "three.cube").collect();
    let outputs: Vec<_> = rows("outputs.csv").into_iter().filter(|r| r[0] == wanted[0][0]).collect();
    let lut = Cube::read(&bytes("three.cube")).unwrap().lut;
    assert_eq!(lut.cube.as_ref().unwrap().interpolation, Interpolation::Tetrahedral);
    let off = rows("inputs.csv").iter().zip(&outputs).any(|(input, output)| {
        let (found, wanted) = (lut.to::<f64>().apply(three(input, 1)), three(output, 2));
        (0..3).any(|c| (found[c] - wanted[c]).abs() > 100.0 * TOLERANCE)
    });
    assert!(off, "a trilinear table was not told from a tetrahedral one");
}

// ---------------------------------------------------------------------------- colour::lut

#[test]
fn a_table_does_what_colour_science_does() {
    let all = rows("table3d.csv");
    let entries: Vec<_> = all.iter().filter(|r| r[0] == "entry").map(|r| three(r, 1)).collect();
    let lut = Lut3::new(5, entries, [0.0; 3], [1.0; 3], Interpolation::Tetrahedral).unwrap();
    let single = lut.to::<f32>();
    let (mut exact, mut rounded, mut points) = (0f64, 0f64, 0);
    for row in all.iter().filter(|r| r[0] == "point") {
        let input = three(row, 1);
        let wanted = [three(row, 4), three(row, 7)];
        let found = [lut.tetrahedral(input), lut.trilinear(input)];
        let input = input.map(|x| x as f32);
        let in_f32 = [single.tetrahedral(input), single.trilinear(input)].map(|v| v.map(f64::from));
        for k in 0..2 {
            for c in 0..3 {
                exact = exact.max((found[k][c] - wanted[k][c]).abs());
                rounded = rounded.max((in_f32[k][c] - wanted[k][c]).abs());
            }
        }
        points += 1;
    }
    println!("against colour-science: f64 {exact:.1e}, f32 {rounded:.1e}");
    assert_eq!(points, 60);
    assert!(exact <= 1e-12, "{exact:e}");
    assert!(rounded <= 2e-6, "{rounded:e}");
}

/// A table of its own, near the identity.
fn bent(size: usize) -> Vec<[f32; 3]> {
    let at = |i: usize| i as f32 / (size - 1) as f32;
    (0..size.pow(3))
        .map(|i| [at(i % size), at(i / size % size), at(i / size / size)])
        .map(|[r, g, b]| [r * r + 0.1 * g, g.sqrt() - 0.1 * b * r, b * 0.8 + 0.1 * g * g])
        .collect()
}

#[test]
fn neutral_entries_give_neutral_colours_by_tetrahedra_only() {
    // Kasson et al. 1995: the diagonal is an edge of all six tetrahedra.
    let size = 4;
    let mut values = bent(size);
    for i in 0..size {
        values[i * (1 + size + size * size)] = [i as f32 * 0.3 + 0.02; 3];
    }
    let lut = Lut3::new(size, values, [0.0; 3], [1.0; 3], Interpolation::Tetrahedral).unwrap();
    let mut spread = 0f32;
    for i in 0..=1000 {
        let grey = [i as f32 / 900.0 - 0.05; 3];
        let [r, g, b] = lut.tetrahedral(grey);
        assert!(r == g && g == b, "{grey:?}: {r} {g} {b}");
        let [r, g, b] = lut.trilinear(grey);
        spread = spread.max((r - g).abs()).max((g - b).abs());
    }
    assert!(spread > 1e-3, "{spread}");
}

#[test]
fn entries_come_back_as_they_are() {
    for interpolation in [Interpolation::Tetrahedral, Interpolation::Trilinear] {
        let lut = Lut3::new(9, bent(9), [0.0; 3], [1.0; 3], interpolation).unwrap();
        for (i, entry) in bent(9).iter().enumerate() {
            // Eighths are exact, so each input is the very place of an entry.
            let input = [i % 9, i / 9 % 9, i / 81].map(|i| i as f32 / 8.0);
            assert_eq!(lut.apply(input), *entry);
        }
    }
    let halves: Vec<[f64; 3]> = (0..HALVES).map(|i| [i as f64; 3]).collect();
    let lut = Lut1::halves(halves).unwrap();
    for bits in (0..=0x7bffu16).chain(0x8001..=0xfbff) {
        assert_eq!(lut.apply([half::f16::from_bits(bits).to_f64(); 3]), [f64::from(bits); 3]);
    }
}

fn odd_inputs() -> Vec<f64> {
    let mut all = vec![f64::NAN, -f64::NAN, f64::INFINITY, -f64::INFINITY, 0.0, -0.0, 1.0, 0.3, -1.0, 7.0];
    all.extend([f64::MAX, f64::MIN, f64::MIN_POSITIVE, 5e-324, 65504.0, 65519.9, 65520.0, 1e38, -1e38]);
    all.extend([f64::from(f32::MAX), f64::from(f32::from_bits(1)), 6e-8, -6e-8, 6.1e-5, 1.0 + f64::EPSILON]);
    all
}

fn total<T: Real>(apply: impl Fn([T; 3]) -> [T; 3], bounds: (f64, f64)) {
    let inputs: Vec<T> = odd_inputs().into_iter().map(T::of).collect();
    for r in &inputs {
        for g in &inputs {
            for b in &inputs {
                for x in apply([*r, *g, *b]).map(Real::to_f64) {
                    assert!(x >= bounds.0 && x <= bounds.1, "{x}");
                }
            }
        }
    }
    let same = |a: f64, b: f64| {
        let [a, b] = [a, b].map(|x| apply([T::of(x), T::of(0.4), T::of(0.5)]).map(Real::to_f64));
        assert_eq!(a, b);
    };
    same(f64::NAN, 0.0);
    same(f64::INFINITY, f64::MAX);
    same(f64::NEG_INFINITY, f64::MIN);
}

#[test]
fn luts_take_anything() {
    let ends = ([-0.5, 0.0, 0.1], [1.5, 1.0, 20.0]);
    let line: Vec<[f32; 3]> = (0..7).map(|i| [i as f32, 6.0 - i as f32, 3.0]).collect();
    let one = Lut1::even(line, ends.0, ends.1).unwrap();
    total(|v| one.apply(v), (0.0, 6.0));
    total(|v| one.to::<f64>().apply(v), (0.0, 6.0));
    let halves = Lut1::halves((0..HALVES).map(|i| [i as f32 / 65536.0; 3]).collect()).unwrap();
    total(|v| halves.apply(v), (0.0, 1.0));
    let three = Lut3::new(5, bent(5), ends.0, ends.1, Interpolation::Tetrahedral).unwrap();
    total(|v| three.tetrahedral(v), (-0.2, 1.2));
    total(|v| three.trilinear(v), (-0.2, 1.2));
    let shaped = Shaped { shaper: Some(one), cube: Some(three) };
    total(|v| shaped.apply(v), (-0.2, 1.2));
    // An input that is no number counts as 0 even where 0 is inside the domain, not at its end.
    let line = Lut1::even(vec![[-1.0f32; 3], [1.0; 3]], [-1.0; 3], [1.0; 3]).unwrap();
    assert_eq!(line.apply([f32::NAN; 3]), [0.0; 3]);
    // Entries are made finite.
    let wild = [f32::NAN, f32::INFINITY, -f32::INFINITY, f32::MAX, f32::MIN, 1.0, 2.0, 3.0].map(|x| [x; 3]);
    let wild_line = Lut1::even(wild.to_vec(), [0.0; 3], [1.0; 3]).unwrap();
    let wild_cube = Lut3::new(2, wild.to_vec(), [0.0; 3], [1.0; 3], Interpolation::Trilinear).unwrap();
    for x in [0.0, 0.1, 0.2, 0.33, 0.5, 0.77, 1.0] {
        let v = [x, 1.0 - x, 0.5];
        for out in [wild_line.apply(v), wild_cube.trilinear(v), wild_cube.tetrahedral(v)] {
            assert!(out.iter().all(|x| x.is_finite()), "{v:?}: {out:?}");
        }
    }
}

#[test]
fn tables_that_cannot_be_are_refused() {
    let line = |n: usize| vec![[0.5f32; 3]; n];
    assert!(Lut1::even(line(2), [0.0; 3], [1.0; 3]).is_some());
    assert!(Lut1::even(line(1), [0.0; 3], [1.0; 3]).is_none());
    assert!(Lut1::even(line(0), [0.0; 3], [1.0; 3]).is_none());
    for (min, max) in [(0.0, 0.0), (1.0, 0.0), (f64::NAN, 1.0), (0.0, f64::INFINITY), (0.0, 1e-300)] {
        assert!(Lut1::even(line(4), [0.0, min, 0.0], [1.0, max, 1.0]).is_none(), "{min} {max}");
    }
    assert!(Lut1::halves(line(65535)).is_none());
    let cube = |size, n| Lut3::new(size, line(n), [0.0; 3], [1.0; 3], Interpolation::Tetrahedral);
    assert!(cube(2, 8).is_some());
    for (size, n) in [(2, 7), (2, 9), (1, 1), (0, 0), (usize::MAX, 8), (1 << 22, 0)] {
        assert!(cube(size, n).is_none(), "{size} {n}");
    }
}

// ---------------------------------------------------------------------------- documents' own examples

/// A list of version 3.0 around some nodes.
fn list(nodes: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <ProcessList id=\"a\" compCLFversion=\"3.0\">\n{nodes}\n</ProcessList>\n"
    )
}

fn run(nodes: &str, input: [f64; 3]) -> [f64; 3] {
    Clf::read(list(nodes).as_bytes()).unwrap_or_else(|e| panic!("{e}\n{nodes}")).process::<f64>().apply(input)
}

fn near(found: [f64; 3], wanted: [f64; 3], tolerance: f64) {
    for c in 0..3 {
        assert!((found[c] - wanted[c]).abs() <= tolerance, "{found:?}, not {wanted:?}");
    }
}

const AP0_TO_AP1: &str = "<Matrix inBitDepth='16f' outBitDepth='16f'><Array dim='3 3'>\
     1.451439316146 -0.236510746894 -0.214928569252 -0.076553773396 1.176229699834 -0.099675926438 \
     0.008316148426 -0.006032449791 0.997716301365</Array></Matrix>";

const TO_ACESCCT: &str = "<Log inBitDepth='16f' outBitDepth='16f' style='cameraLinToLog'><LogParams base='2' \
     logSideSlope='0.05707762557' logSideOffset='0.5547945205' linSideBreak='0.0078125'/></Log>";

#[test]
fn the_specifications_examples() {
    // Academy CLF specification 3.0, examples 1, 5, 7, 9, 10, 11, 14 and 15.
    let inverted = "<LUT1D inBitDepth='12i' outBitDepth='12i'><Array dim='4 1'>3 2 1 0</Array></LUT1D>";
    near(run(inverted, [0.0, 1.0, 0.5]), [3.0 / 4095.0, 0.0, 1.5 / 4095.0], 1e-12);
    let narrow = "<Range inBitDepth='10i' outBitDepth='10i'><minInValue>0</minInValue><maxInValue>1023</maxInValue>\
                  <minOutValue>64</minOutValue><maxOutValue>940</maxOutValue></Range>";
    near(run(narrow, [0.0, 1.0, 2.0]), [64.0 / 1023.0, 940.0 / 1023.0, 940.0 / 1023.0], 1e-12);

    // DJI, White Paper on D-Log and D-Gamut (2017): black 0.0929 and the 18 % grey that its formula gives.
    let d_log = "<Log inBitDepth='32f' outBitDepth='32f' style='cameraLinToLog'><LogParams base='10' \
                 logSideSlope='0.256663' logSideOffset='0.584555' linSideSlope='0.9892' linSideOffset='0.0108' \
                 linSideBreak='0.0078' linearSlope='6.025'/></Log>";
    let grey = 0.256663 * (0.9892f64 * 0.18 + 0.0108).log10() + 0.584555;
    // The line meets the logarithm here, where the white paper's ends 1e-4 beside it.
    near(run(d_log, [0.0, 0.18, 0.0]), [0.0929, grey, 0.0929], 1e-4);
    near(run(d_log, [0.18; 3]), [grey; 3], 1e-12);

    // IEC 61966-2-1, CIE 15 L*, BT.709's OETF. The curve is continuous where the first and the last of these
    // round their break and slope: 1e-5, and 1.5e-4 (4.5 below 0.018).
    let mon = |style: &str, exponent: &str, offset: &str| {
        format!(
            "<Exponent inBitDepth='32f' outBitDepth='32f' style='{style}'>\
             <ExponentParams exponent='{exponent}' offset='{offset}'/></Exponent>"
        )
    };
    let srgb = |v: f64| if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055f64).powf(2.4) };
    near(run(&mon("monCurveFwd", "2.4", "0.055"), [0.5, 0.02, 1.0]), [0.5, 0.02, 1.0].map(srgb), 1e-5);
    let lightness = |y: f64| if y > (24f64 / 116.0).powi(3) { 1.16 * y.cbrt() - 0.16 } else { y * 9.033 };
    near(
        run(&mon("monCurveRev", "3.0", "0.16"), [0.18, 0.5, 0.001]),
        [0.18, 0.5, 0.001].map(lightness),
        1e-6,
    );
    let bt709 = |l: f64| if l < 0.018 { 4.5 * l } else { 1.099 * l.powf(0.45) - 0.099 };
    let found = run(&mon("monCurveRev", "2.2222222222222222", "0.099"), [0.18, 0.5, 0.01]);
    near(found, [0.18, 0.5, 0.01].map(bt709), 1.5e-4);

    // Academy S-2016-001: middle grey and the break of ACEScct.
    let acescct = format!("{AP0_TO_AP1}{TO_ACESCCT}");
    near(run(&acescct, [0.18; 3]), [0.413_588_402; 3], 1e-8);
    near(run(TO_ACESCCT, [0.0078125; 3]), [0.155_251_141_5; 3], 1e-9);
    near(run(TO_ACESCCT, [0.0; 3]), [0.072_905_534_2; 3], 1e-9);
}

#[test]
fn the_guides_example() {
    // CLF Implementation Guide: narrow-range Y'CbCr to R'G'B', and what it says comes of 0.5, 0.4, 0.3.
    let nodes = "<Matrix inBitDepth='32f' outBitDepth='32f'><Array dim='3 4'><!-- offsets -->
        1.0 0.0 0.0 -0.0625
        0.0 1.0 0.0 -0.5
        0.0 0.0 1.0 -0.5</Array></Matrix>
      <Matrix inBitDepth='32f' outBitDepth='32f'><Array dim='3 3'>
        1.16893193493151  0.000000000000000  1.799743966238840
        1.16893193493151 -0.214081616673236 -0.534991005624129
        1.16893193493151  2.120653355189730 -0.000000000000000</Array></Matrix>";
    near(run(nodes, [0.5, 0.4, 0.3]), [0.1514589, 0.6398141, 0.2993424], 1e-7);
}

#[test]
fn the_standards_samples() {
    // SMPTE ST 2136-1, public committee draft of February 2025: how its samples b and e begin, and what e does.
    let root = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
                <ProcessList xmlns=\"http://www.smpte-ra.org/ns/2136-1/2024\"";
    let urn = "urn:uuid:9d768121-0cf9-40a3-a8e3-7b49f79858a7";
    let e = format!(
        "{root} id=\"1\" compCLFversion=\"3.0\"><Id>{urn}</Id><Description>one</Description>\
         <Description>two</Description>\
         <Matrix inBitDepth='8i' outBitDepth='16i'><Array dim='3 3'>257.0 0 0 0 257.0 0 0 0 257.0</Array></Matrix>\
         <LUT1D inBitDepth='16i' outBitDepth='16i' ><Array dim='7 1'>\
         0. 10922.5 21845. 32767.5 43690. 54612.5 65535.</Array></LUT1D></ProcessList>"
    );
    let clf = Clf::read(e.as_bytes()).unwrap();
    assert_eq!((clf.version, clf.urn.as_deref(), clf.id.as_str()), (Version::St2136, Some(urn), "1"));
    assert_eq!(clf.descriptions, ["one", "two"]);
    near(clf.process().apply([0.1, 0.5, 0.9]), [0.1, 0.5, 0.9], 1e-12);
    let b = format!(
        "{root}>\n<Id>{urn}</Id><Info><!--old--><ACESuserName>x</ACESuserName></Info>{AP0_TO_AP1}</ProcessList>"
    );
    let clf = Clf::read(b.as_bytes()).unwrap();
    assert_eq!((clf.version, clf.id.as_str()), (Version::St2136, ""));
    assert_eq!(clf.info.as_deref(), Some("<!--old--><ACESuserName>x</ACESuserName>"));
    assert_eq!(Clf::read(clf.write().unwrap().as_bytes()).unwrap(), clf);
}

// ---------------------------------------------------------------------------- what is kept, and written

#[test]
fn what_is_written_reads_back_as_the_same() {
    for (name, data) in files(".clf") {
        let clf = Clf::read(&data).unwrap();
        let text = clf.write().unwrap();
        assert_eq!(
            Clf::read(text.as_bytes()).unwrap_or_else(|e| panic!("{name}: {e}\n{text}")),
            clf,
            "{name}"
        );
    }
    for name in ["half_domain", "half_domain_raw", "half_domain_raw_3"] {
        let clf = Clf::read(half_text(name).as_bytes()).unwrap();
        let text = clf.write().unwrap();
        // Entries of halves that are no numbers do not equal themselves, but their text does.
        assert_eq!(Clf::read(text.as_bytes()).unwrap().write().unwrap(), text, "{name}");
    }
    for (name, data) in files(".cube") {
        let cube = Cube::read(&data).unwrap();
        assert_eq!(Cube::read(cube.write().unwrap().as_bytes()).unwrap(), cube, "{name}");
    }
}

#[test]
fn texts_are_kept() {
    let text = "<?xml version='1.0'?>\n<!-- note -->\n<q:ProcessList xmlns:q='urn:AMPAS:CLF:v3.0' \
        xmlns:own='urn:own' xml:lang='en' id='a &amp; b' name='n&quot;&#x2603;' inverseOf='c' compCLFversion='3' odd='1'>\
        <q:Description> x &lt; <![CDATA[y & z]]> </q:Description><q:InputDescriptor>in</q:InputDescriptor>\
        <q:OutputDescriptor>out</q:OutputDescriptor><q:Info><own:a k='&amp;'>t<own:b/></own:a></q:Info>\
        <q:Matrix id='m' name='mm' inBitDepth='32f' outBitDepth='32f'><q:Description>d</q:Description>\
        <q:Description>e</q:Description><q:Array dim='3 3'>1 0 0 0 +1. 0 0 0 1e0</q:Array></q:Matrix></q:ProcessList>";
    let clf = Clf::read(text.as_bytes()).unwrap();
    assert_eq!((clf.id.as_str(), clf.name.as_deref()), ("a & b", Some("n\"☃")));
    assert_eq!((clf.inverse_of.as_deref(), clf.descriptions[0].as_str()), (Some("c"), "x < y & z"));
    assert_eq!((clf.input.as_deref(), clf.output.as_deref()), (Some("in"), Some("out")));
    assert_eq!(clf.info.as_deref(), Some("<own:a k='&amp;'>t<own:b/></own:a>"));
    let node = &clf.nodes()[0];
    assert_eq!((node.id.as_deref(), node.name.as_deref()), (Some("m"), Some("mm")));
    assert_eq!((node.descriptions.len(), node.input(), node.operation().name()), (2, Depth::F32, "Matrix"));
    assert_eq!(clf.warnings.len(), 1, "{:?}", clf.warnings);
    assert!(clf.warnings[0].0 == 3 && clf.warnings[0].1.contains("odd"));
    let again = Clf::read(clf.write().unwrap().as_bytes()).unwrap();
    let mut clf = clf;
    clf.warnings.clear();
    assert_eq!(again, clf);
}

#[test]
fn a_list_can_be_made_and_handed_over() {
    let mut clf = Clf::new("urn:uuid:00000000-0000-4000-8000-000000000001");
    let params = CdlParams { slope: [1.1, 1.0, 0.9], saturation: 0.8, ..CdlParams::default() };
    let cdl = Operation::Cdl { style: CdlStyle::FwdNoClamp, params };
    clf.push(Node::new(Depth::F32, Depth::F32, cdl).unwrap()).unwrap();
    let found = Node::new(Depth::I8, Depth::F32, Operation::Matrix([[1.0; 4]; 3]))
        .and_then(|node| clf.push(node))
        .unwrap_err();
    assert_eq!((found.line(), found.to_string().contains("32f")), (None, true), "{found}");
    let bad = CdlParams { power: [1.0, 0.0, 1.0], ..params };
    assert!(Node::new(Depth::F32, Depth::F32, Operation::Cdl { style: CdlStyle::Fwd, params: bad }).is_err());
    let again = Clf::read(clf.write().unwrap().as_bytes()).unwrap();
    assert_eq!(again, clf);
    assert!(Clf::new("empty").write().is_err());
    // All styles are there to be chosen from.
    assert_eq!(
        (LogStyle::ALL.len(), ExponentStyle::ALL.len(), CdlStyle::ALL.len(), Depth::ALL.len()),
        (8, 10, 4, 6)
    );
}

#[test]
fn cubes_as_they_are_found() {
    let plain = "TITLE \"a b\"\nLUT_3D_SIZE 2\nDOMAIN_MIN 0 -1 0\nDOMAIN_MAX 2 1 1\n";
    let table = "0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n0.25 1e-3 -2\n";
    let wanted = Cube::read(format!("{plain}{table}").as_bytes()).unwrap();
    assert_eq!(wanted.title, "a b");
    assert_eq!(wanted.lut.cube.as_ref().unwrap().domain(), ([0.0, -1.0, 0.0], [2.0, 1.0, 1.0]));
    assert_eq!(wanted.lut.apply([2.0, 1.0, 1.0]), [0.25, 1e-3, -2.0]);
    let spaced = table.replace("0.25 1e-3 -2", "  \t +.25\t1E-03   -2.  # last ");
    for text in [
        format!("{plain}{table}").replace('\n', "\r\n"),
        format!("\u{feff}{plain}{table}"),
        format!("# first\n\n  {plain}\n   # then\n\n{table}\n\n# end\n"),
        format!("{plain}{spaced}"),
        format!("{plain}{}", table.trim_end()),
    ] {
        assert_eq!(Cube::read(text.as_bytes()).unwrap(), wanted, "{text}");
    }
    // [practice] Both tables: the domain is that of what comes first.
    let both = format!("LUT_1D_SIZE 2\nLUT_3D_SIZE 2\nDOMAIN_MAX 4 2 1\n0 0 0\n1 1 1\n{table}");
    let cube = Cube::read(both.as_bytes()).unwrap();
    assert_eq!(cube.lut.shaper.as_ref().unwrap().domain(), Some(([0.0; 3], [4.0, 2.0, 1.0])));
    assert_eq!(cube.lut.cube.as_ref().unwrap().domain(), ([0.0; 3], [1.0; 3]));
    assert_eq!(cube.lut.apply([4.0, 0.0, 0.0]), [1.0, 0.0, 0.0]);
    assert_eq!(Cube::read(cube.write().unwrap().as_bytes()).unwrap(), cube);
    let titled = Cube { title: "a \"b\"\nc".into(), ..cube };
    assert_eq!(Cube::read(titled.write().unwrap().as_bytes()).unwrap().title, "a 'b'c");
    // What has no place in the format.
    let halves = Lut1::halves(vec![[0.0; 3]; HALVES]).unwrap();
    let cube = Cube { lut: Shaped { shaper: Some(halves), cube: None }, ..Cube::default() };
    assert!(cube.write().is_err() && Cube::default().write().is_err());
}

// ---------------------------------------------------------------------------- what is wrong

/// An error's line and some words of its message.
fn wrong<T: std::fmt::Debug>(found: Result<T, Error>, line: usize, words: &[&str], text: &str) {
    let error = match found {
        Ok(_) => panic!("accepted: {}", &text[..text.len().min(600)]),
        Err(error) => error,
    };
    let message = error.to_string();
    assert_eq!(error.line(), Some(line), "{message}\n{}", &text[..text.len().min(600)]);
    assert!(message.starts_with(&format!("line {line}: ")), "{message}");
    assert!(message.contains("accepted: "), "{message}");
    for word in words {
        assert!(message.contains(word), "{message} does not say {word}");
    }
    assert!(message.len() < 600, "{message}");
}

#[test]
fn cubes_that_are_wrong() {
    let rows = "0 0 0\n".repeat(8);
    let seven = "0 0 0\n".repeat(7);
    let size = "LUT_3D_SIZE 2\n";
    for (text, line, words) in [
        (format!("{size}{seven}"), 8, &["7 of 8 rows"][..]),
        (format!("{size}{seven}\n\n# end\n"), 11, &["7 of 8 rows"]),
        (size.to_string(), 1, &["0 of 8 rows"]),
        (format!("LUT_3D_SIZE 256\n{rows}"), 9, &["8 of 16777216 rows"]),
        (format!("LUT_1D_SIZE 3\n{size}{rows}"), 10, &["8 of 11 rows"]),
        (format!("{size}{rows}0.5 0.5 0.5\n"), 10, &["9 of 8 rows"]),
        (format!("{size}{seven}0 nan 0\n"), 9, &["row", "nan", "3 finite numbers"]),
        (format!("{size}{seven}nan 0 0\n"), 9, &["nan"]),
        (format!("{size}{seven}0 -inf 0\n"), 9, &["-inf"]),
        (format!("{size}{seven}0 1e39 0\n"), 9, &["1e39", "32 bits"]),
        (format!("{size}{seven}0 0\n"), 9, &["3 finite numbers"]),
        (format!("{size}{seven}0 0 0 0\n"), 9, &["3 finite numbers"]),
        (format!("{size}{seven}0 0 0x1\n"), 9, &["0x1"]),
        (format!("{size}{seven}0,0,0\n"), 9, &["0,0,0"]),
        (format!("LUT_3D_SIZE 257\n{rows}"), 1, &["LUT_3D_SIZE", "257", "2 to 256"]),
        ("LUT_3D_SIZE 1\n0 0 0\n".into(), 1, &["2 to 256"]),
        ("LUT_3D_SIZE 18446744073709551617\n".into(), 1, &["2 to 256"]),
        ("LUT_3D_SIZE 4294967296\n".into(), 1, &["2 to 256"]),
        ("LUT_3D_SIZE -2\n".into(), 1, &["2 to 256"]),
        ("LUT_3D_SIZE\n".into(), 1, &["2 to 256"]),
        ("LUT_1D_SIZE 65537\n".into(), 1, &["LUT_1D_SIZE", "65537", "2 to 65536"]),
        ("LUT_1D_SIZE 1\n".into(), 1, &["2 to 65536"]),
        (format!("{size}{size}{rows}"), 2, &["LUT_3D_SIZE", "twice"]),
        (format!("# a\nLUT_4D_SIZE 2\n{rows}"), 2, &["keyword", "LUT_4D_SIZE", "LUT_1D_SIZE, LUT_3D_SIZE"]),
        (format!("{size}{seven}TITLE \"late\"\n0 0 0\n"), 9, &["TITLE", "after the first row", "7 of 8"]),
        (format!("TITLE \"x\"\n{rows}"), 2, &["size", "missing", "LUT_3D_SIZE"]),
        ("TITLE \"x\"\n".into(), 1, &["size", "missing"]),
        (String::new(), 1, &["size", "missing"]),
        (
            format!("DOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 0 1\n{size}{rows}"),
            2,
            &["DOMAIN_MAX of green: 0", "more than"],
        ),
        (format!("DOMAIN_MAX 1 1 -1\n{size}{rows}"), 1, &["DOMAIN_MAX of blue: -1"]),
        (format!("DOMAIN_MIN 0 2 0\n{size}{rows}"), 1, &["DOMAIN_MAX of green: 1", "which is 2"]),
        (format!("DOMAIN_MIN 0 0\n{size}{rows}"), 1, &["DOMAIN_MIN", "3 finite numbers"]),
        (format!("DOMAIN_MIN 0 0 nan\n{size}{rows}"), 1, &["nan"]),
        (format!("{size}LUT_3D_INPUT_RANGE 1 1\n{rows}"), 2, &["LUT_3D_INPUT_RANGE", "1 1"]),
        (format!("{size}LUT_1D_INPUT_RANGE 0 1\n{rows}"), 2, &["LUT_1D_SIZE", "missing"]),
        (format!("{size}LUT_3D_INPUT_RANGE 0 1\nDOMAIN_MIN 0 0 0\n{rows}"), 3, &["domain", "one of them"]),
    ] {
        wrong(Cube::read(text.as_bytes()), line, words, &text);
    }
    wrong(Cube::read(b"TITLE \"x\"\nTITLE \xff\n"), 2, &["UTF-8"], "");
    wrong(Cube::read(b"\x89PNG\r\n\x1a\n\0\0\0"), 1, &["UTF-8"], "");
}

const UNIT: &str = "<Matrix inBitDepth='32f' outBitDepth='32f'>\n<Array dim='3 3'>\n1 0 0\n0 1 0\n0 0 1\n</Array>\n</Matrix>";

#[test]
fn lists_that_are_wrong() {
    let matrix = |dim: &str, numbers: &str| {
        format!(
            "<Matrix inBitDepth='32f' outBitDepth='32f'>\n<Array dim='{dim}'>\n{numbers}\n</Array></Matrix>"
        )
    };
    let cdl = |style: &str, sop: &str, sat: &str| {
        format!("<ASC_CDL inBitDepth='32f' outBitDepth='32f' style='{style}'>\n{sop}\n{sat}</ASC_CDL>")
    };
    let sop = |slope: &str, power: &str| {
        format!("<SOPNode><Slope>{slope}</Slope><Offset>0 0 0</Offset><Power>{power}</Power></SOPNode>")
    };
    let log = |style: &str, params: &str| {
        format!("<Log inBitDepth='32f' outBitDepth='32f' style='{style}'>\n{params}</Log>")
    };
    let exponent = |style: &str, params: &str| {
        format!(
            "<Exponent inBitDepth='32f' outBitDepth='32f' style='{style}'>\n<ExponentParams {params}/></Exponent>"
        )
    };
    let range = |attributes: &str, values: &str| {
        format!("<Range inBitDepth='8i' outBitDepth='10i' {attributes}>\n{values}</Range>")
    };
    let lut1 = |attributes: &str, dim: &str, numbers: &str| {
        format!(
            "<LUT1D inBitDepth='32f' outBitDepth='32f' {attributes}>\n<Array dim='{dim}'>\n{numbers}</Array></LUT1D>"
        )
    };
    let lut3 = |attributes: &str, dim: &str, numbers: &str| {
        format!(
            "<LUT3D inBitDepth='32f' outBitDepth='32f' {attributes}>\n<Array dim='{dim}'>\n{numbers}</Array></LUT3D>"
        )
    };
    let nine = "1 0 0 0 1 0 0 0 1";
    let sat = "<SatNode><Saturation>1</Saturation></SatNode>";
    // Most of these are the cases of the CLF Implementation Guide's annex B, "illegal test files".
    let cases: Vec<(String, usize, &[&str])> = vec![
        (matrix("3 3 3 3 3 3 3 3 3 3", nine), 4, &["dim", "3 4"]),
        (matrix("4 4", nine), 4, &["dim", "4 4"]),
        (matrix("3 -3", nine), 4, &["dim"]),
        (matrix("3 3", "1 0 0\nP 1 0 0 0 1"), 6, &["\"P\"", "finite number"]),
        (matrix("3 3", "1 0 0\n0 nan 0 0 0 1"), 6, &["nan"]),
        (matrix("3 3", "1 0 0\n0 INF 0 0 0 1"), 6, &["INF"]),
        (matrix("3 3", "1 0 0\n0 1e40 0 0 0 1"), 6, &["1e40"]),
        (matrix("3 3", "1 0 0"), 5, &["3 of 9 numbers"]),
        (matrix("3 3", &format!("{nine}\n{nine}")), 6, &["10 of 9 numbers"]),
        (matrix("3 3", "1 0 0 <b/>"), 5, &["element", "\"b\""]),
        ("<Matrix inBitDepth='32f' outBitDepth='32f'/>".into(), 3, &["Array of Matrix", "missing"]),
        (
            "<Matrix inBitDepth='32f' outBitDepth='32f'><Array>1</Array></Matrix>".into(),
            3,
            &["dim of", "missing"],
        ),
        (
            format!(
                "<Matrix inBitDepth='32f' outBitDepth='32f'>\n{0}\n{0}</Matrix>",
                "<Array dim='3 3'>1 0 0 0 1 0 0 0 1</Array>"
            ),
            5,
            &["Array"],
        ),
        (cdl("Fwd", &sop("1 1 1", "1 0 1"), sat), 3, &["Power: 0", "more than 0"]),
        (
            cdl("Fwd", &sop("1 1 1", "1 1 1"), "<SatNode><Saturation>1 1</Saturation></SatNode>"),
            5,
            &["2 of 1 numbers of Saturation"],
        ),
        (cdl("Fwd", &sop("1 1", "1 1 1"), sat), 4, &["2 of 3 numbers of Slope"]),
        (cdl("Fwd", &sop("1 -1 1", "1 1 1"), sat), 3, &["Slope: -1", "0 or more"]),
        (cdl("Rev", &sop("1 0 1", "1 1 1"), sat), 3, &["Slope: 0", "more than 0"]),
        (
            cdl("RevNoClamp", &sop("1 1 1", "1 1 1"), "<SatNode><Saturation>0</Saturation></SatNode>"),
            3,
            &["Saturation: 0"],
        ),
        (
            cdl("forward", &sop("1 1 1", "1 1 1"), sat),
            3,
            &["style", "forward", "Fwd, Rev, FwdNoClamp, RevNoClamp"],
        ),
        (
            cdl("Fwd", "<SOPNode><Slope>1 1 1</Slope><Power>1 1 1</Power></SOPNode>", sat),
            4,
            &["Offset", "missing"],
        ),
        (
            cdl("Fwd", "<SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset></SOPNode>", sat),
            4,
            &["Power", "missing"],
        ),
        (
            cdl("Fwd", "<SOPNode><Offset>0 0 0</Offset><Power>1 1 1</Power></SOPNode>", sat),
            4,
            &["Slope", "missing"],
        ),
        (cdl("Fwd", "", "<SATNode/>"), 5, &["SATNode", "SatNode"]),
        (exponent("basicFwd", "exponent='2' offset='0.1'"), 4, &["offset", "monCurve"]),
        (exponent("monCurveFwd", "exponent='0.9' offset='0.1'"), 4, &["exponent", "0.9", "1 to 10"]),
        (exponent("monCurveFwd", "exponent='2' offset='0.91'"), 4, &["offset", "0 to 0.9"]),
        (exponent("monCurveRev", "exponent='2'"), 4, &["offset", "missing"]),
        (exponent("basicRev", "exponent='0'"), 4, &["exponent", "more than 0"]),
        (exponent("basicRev", "offset='0'"), 4, &["exponent", "missing"]),
        (exponent("basicRev", "exponent='2' channel='A'"), 4, &["channel", "R, G, B"]),
        (exponent("gamma", "exponent='2'"), 3, &["style of Exponent", "monCurveMirrorRev"]),
        (
            "<Exponent inBitDepth='32f' outBitDepth='32f' style='basicFwd'/>".into(),
            3,
            &["ExponentParams", "missing"],
        ),
        (log("linToLog", "<LogParams base='10' linSideBreak='0.1'/>"), 4, &["linSideBreak"]),
        (log("cameraLogToLin", "<LogParams base='10'/>"), 4, &["linSideBreak", "missing"]),
        (log("cameraLogToLin", "<LogParams channel='R' linSideBreak='0.1'/>"), 3, &["linSideBreak"]),
        (log("cameraLinToLog", "<LogParams linSideBreak='-0.1'/>"), 4, &["more than 0"]),
        (log("linToLog", ""), 3, &["LogParams", "missing"]),
        (log("linToLog", "<LogParams base='1'/>"), 4, &["base", "not 1"]),
        (log("linToLog", "<LogParams base='-2'/>"), 4, &["base"]),
        (log("linToLog", "<LogParams logSideSlope='0'/>"), 4, &["logSideSlope"]),
        (log("linToLog", "<LogParams base='ten'/>"), 4, &["base", "ten"]),
        (log("linToLog", "<LogParams channel='R'/>\n<LogParams channel='R'/>"), 5, &["channel R", "second"]),
        (
            log("linToLog", "<LogParams channel='R' base='2'/>\n<LogParams channel='G' base='10'/>"),
            3,
            &["base", "same"],
        ),
        (log("log10", "<LogParams base='10'/>"), 4, &["LogParams"]),
        (log("ln", ""), 3, &["style of Log", "log10, antiLog10"]),
        ("<Log inBitDepth='32f' outBitDepth='32f'/>".into(), 3, &["style", "missing", "cameraLogToLin"]),
        (lut1("halfDomain='true'", "4 1", "0 1 2 3"), 4, &["dim", "65536"]),
        (lut1("halfDomain='true'", "65536 1", "0 1 2 3"), 5, &["4 of 65536 numbers"]),
        (lut1("halfDomain='false'", "4 1", "0 1 2 3"), 3, &["halfDomain", "false", "true"]),
        (lut1("rawHalfs='false'", "4 1", "0 1 2 3"), 3, &["rawHalfs", "false"]),
        (lut1("rawHalfs='true'", "4 1", "0 1 2 65536"), 5, &["65536", "0 to 65535"]),
        (lut1("rawHalfs='true'", "4 1", "0 1 2 31744"), 5, &["31744"]),
        (lut1("rawHalfs='true'", "4 1", "0 1 2 3.5"), 5, &["3.5"]),
        (lut1("interpolation='cubic'", "4 1", "0 1 2 3"), 3, &["interpolation", "cubic", "linear"]),
        (lut1("", "4 2", "0 1 2 3 0 1 2 3"), 4, &["dim", "n 3"]),
        (lut1("", "1 1", "0"), 4, &["dim", "131072"]),
        (lut1("", "131073 1", "0"), 4, &["dim", "131072"]),
        (lut1("", "18446744073709551615 3", "0"), 4, &["dim"]),
        (lut1("", "99999999999999999999 3", "0"), 4, &["dim"]),
        (lut3("", "2 2 3 3", "0"), 4, &["dim", "n n n 3"]),
        (lut3("", "2 2 2 1", "0 0 0 0 0 0 0 0"), 4, &["dim"]),
        (lut3("", "130 130 130 3", "0"), 4, &["dim", "129"]),
        (lut3("", "4294967296 4294967296 4294967296 3", "0"), 4, &["dim"]),
        (lut3("", "129 129 129 3", "0 0 0"), 5, &["3 of 6440067 numbers"]),
        (lut3("interpolation='best'", "2 2 2 3", "0"), 3, &["interpolation", "trilinear, tetrahedral"]),
        (lut3("", "2 2 2 3", "0</Array><IndexMap dim='2'>0@0 1@1</IndexMap><Array>"), 5, &["1 of 24"]),
        (
            "<LUT3D inBitDepth='32f' outBitDepth='32f'>\n<IndexMap dim='2'>0@0</IndexMap></LUT3D>".into(),
            4,
            &["IndexMap"],
        ),
        (
            range("style='noClamp'", "<minInValue>0</minInValue><minOutValue>0</minOutValue>"),
            3,
            &["noClamp", "both"],
        ),
        (
            range(
                "",
                "<minInValue>5</minInValue><minOutValue>0</minOutValue><maxInValue>5</maxInValue><maxOutValue>9</maxOutValue>",
            ),
            3,
            &["maxInValue: 5", "more than minInValue"],
        ),
        (
            range(
                "",
                "<minInValue>5</minInValue><minOutValue>9</minOutValue><maxInValue>6</maxInValue><maxOutValue>8</maxOutValue>",
            ),
            3,
            &["maxOutValue: 8"],
        ),
        (range("", ""), 3, &["Range", "no values"]),
        (
            range("", "<minInValue>100</minInValue><minOutValue>100</minOutValue>"),
            3,
            &["one-sided", "401.17"],
        ),
        (range("", "<minInValue>100</minInValue>"), 3, &["minOutValue", "missing", "minInValue"]),
        (range("", "<minInValue>100</minInValue><minInValue>1</minInValue>"), 4, &["minInValue"]),
        (range("", "<minInValue>1 2</minInValue>"), 4, &["minInValue", "1 2"]),
        (range("style='clamp'", "<minInValue>0</minInValue>"), 3, &["style of Range", "Clamp, noClamp"]),
        (
            "<Matrix inBitDepth='32f' outBitDepth='16d'/>".into(),
            3,
            &["outBitDepth", "16d", "8i, 10i, 12i, 16i, 16f, 32f"],
        ),
        ("<Matrix outBitDepth='32f'/>".into(), 3, &["inBitDepth of", "missing", "16f"]),
        ("<Matrix inBitDepth='32f'/>".into(), 3, &["outBitDepth of", "missing"]),
        (
            format!("{UNIT}\n{}", UNIT.replace("inBitDepth='32f'", "inBitDepth='16f'")),
            10,
            &["inBitDepth", "32f"],
        ),
        (format!("{UNIT}\n<LUT4D/>"), 10, &["element", "LUT4D", "ASC_CDL"]),
        (format!("{UNIT}\ntext"), 9, &["text"]),
        ("<Description>nothing else</Description>".into(), 4, &["process node", "missing"]),
        (
            format!("<InputDescriptor>a</InputDescriptor>\n<InputDescriptor>b</InputDescriptor>{UNIT}"),
            4,
            &["InputDescriptor", "second"],
        ),
        (UNIT.replace("</Matrix>", ""), 10, &["not well-formed"]),
        (UNIT.replace("</Array>", "</Arrays>"), 8, &["not well-formed"]),
        (format!("<Description>&nbsp;</Description>{UNIT}"), 3, &["entity", "nbsp", "&lt;"]),
        (format!("<Matrix id='&x;' {}", &UNIT[8..]), 3, &["entity", "id"]),
        (format!("<Matrix id='1' id='2' {}", &UNIT[8..]), 3, &["two attributes", "id"]),
        (format!("<Matrix id=1 {}", &UNIT[8..]), 3, &["attribute"]),
        (format!("{UNIT}<?xml version='1.0'?>"), 9, &["XML declaration"]),
    ];
    assert!(cases.len() > 80);
    for (nodes, line, words) in cases {
        let text = list(&nodes);
        wrong(Clf::read(text.as_bytes()), line, words, &text);
    }
    let root = |attributes: &str| format!("<ProcessList {attributes}>{UNIT}</ProcessList>");
    let cases: Vec<(String, usize, &[&str])> = vec![
        (root("compCLFversion='3.0'"), 1, &["id of ProcessList", "missing"]),
        (root("id=' ' compCLFversion='3.0'"), 1, &["id of ProcessList", "empty"]),
        (root("id='a'"), 1, &["compCLFversion", "missing", "3.0"]),
        (root("id='a' compCLFversion='three'"), 1, &["compCLFversion", "three", "2.0, 3.0"]),
        (root("id='a' compCLFversion='3.2'"), 1, &["3.2"]),
        (
            root("id='a' compCLFversion='3.0' xmlns='urn:other'"),
            1,
            &["namespace", "urn:other", "urn:AMPAS:CLF:v3.0"],
        ),
        (root("id='a' compCLFversion='2.0'").replace(UNIT, &log("log10", "")), 1, &["Log", "2.0"]),
        (
            root("id='a' compCLFversion='3.0'").replace("</ProcessList>", "</ProcessLists>"),
            7,
            &["not well-formed"],
        ),
        (root("id='a' compCLFversion='3.0'").replace("</ProcessList>", "\n"), 8, &["ends within 1 open"]),
        (root("id='a' compCLFversion='3.0'") + "\n<b/>", 8, &["element", "b"]),
        (root("id='a' compCLFversion='3.0'") + "\njunk", 7, &["text", "junk"]),
        (root("id='a' compCLFversion='3.0'") + "</ProcessList>", 7, &["not well-formed"]),
        (UNIT.to_owned(), 1, &["element", "Matrix", "ProcessList as the root"]),
        ("<?xml version='1.0'?>\n".into(), 2, &["ProcessList", "missing"]),
        (String::new(), 1, &["ProcessList", "missing"]),
        ("LUT_3D_SIZE 2\n".into(), 1, &["text", "LUT_3D_SIZE"]),
        (format!("\n<?xml version='1.0'?>{}", root("id='a' compCLFversion='3.0'")), 2, &["XML declaration"]),
        (format!("<!DOCTYPE ProcessList>{}", root("id='a' compCLFversion='3.0'")), 1, &["document type"]),
    ];
    for (text, line, words) in cases {
        wrong(Clf::read(text.as_bytes()), line, words, &text);
    }
    // Bytes that are not UTF-8, in a text that would be good otherwise; and another encoding named.
    let mut data = list(&format!("<Description>é</Description>{UNIT}")).into_bytes();
    assert!(Clf::read(&data).is_ok());
    let at = data.windows(2).position(|w| w == [0xc3, 0xa9]).unwrap();
    data.remove(at);
    wrong(Clf::read(&data), 3, &["UTF-8"], "");
    let latin = list(&format!("<Description>é</Description>{UNIT}")).replace("UTF-8", "ISO-8859-1");
    wrong(Clf::read(latin.as_bytes()), 1, &["ISO-8859-1", "UTF-8"], &latin);
    wrong(Clf::read(&list(UNIT).encode_utf16().flat_map(u16::to_le_bytes).collect::<Vec<_>>()), 1, &[], "");
}

#[test]
fn wherever_a_file_ends_too_early_an_error_says_so() {
    let mut cuts = 0;
    for (name, data) in files(".clf") {
        let whole = data.iter().rposition(|b| *b == b'>').unwrap() + 1;
        let lines = data.iter().filter(|b| **b == b'\n').count() + 1;
        for cut in 0..whole {
            let error = Clf::read(&data[..cut]).expect_err(&name);
            assert!((1..=lines).contains(&error.line().unwrap()), "{name} cut at {cut}: {error}");
            cuts += 1;
        }
        assert!(Clf::read(&data[..whole]).is_ok());
    }
    for (name, data) in files(".cube") {
        // A cut within the last number leaves a shorter number, which nothing can tell.
        let last = data.trim_ascii_end().iter().rposition(|b| *b == b' ').unwrap() + 1;
        for cut in 0..last {
            let error = Cube::read(&data[..cut]).expect_err(&name);
            assert!(error.line().unwrap() >= 1, "{name} cut at {cut}: {error}");
            cuts += 1;
        }
    }
    assert!(cuts > 40_000, "{cuts}");
}

#[test]
fn random_edits_never_panic() {
    let start = Instant::now();
    let mut random = Random(77);
    let (mut accepted, mut refused) = (0, 0);
    let all: Vec<_> = files(".clf").into_iter().chain(files(".cube")).collect();
    for round in 0..1500 {
        for (name, data) in &all {
            let mut data = data.clone();
            for _ in 0..1 + random.below(4) {
                let at = random.below(data.len());
                match random.below(6) {
                    0 => data[at] = random.next() as u8,
                    1 => {
                        data.remove(at);
                    }
                    2 => data.insert(at, b"<>&\"' 0-e.x\n"[random.below(12)]),
                    3 => data[at] ^= 1 << random.below(8),
                    4 => {
                        let piece = data[at..(at + random.below(40)).min(data.len())].to_vec();
                        let to = random.below(data.len());
                        data.splice(to..to, piece);
                    }
                    _ => {
                        data.drain(at..(at + random.below(20)).min(data.len()));
                    }
                }
                if data.is_empty() {
                    break;
                }
            }
            let colour = [0.3, -0.1, 2.0];
            if name.ends_with(".cube") {
                match Cube::read(&data) {
                    Ok(cube) => {
                        assert!(cube.lut.apply(colour.map(|x| x as f32)).iter().all(|x| x.is_finite()));
                        let text = cube.write().unwrap_or_else(|e| panic!("{name} {round}: {e}"));
                        assert_eq!(Cube::read(text.as_bytes()).unwrap().lut, cube.lut, "{name} {round}");
                        accepted += 1;
                    }
                    Err(error) => {
                        assert!(error.line().is_some_and(|l| l >= 1), "{name} {round}: {error}");
                        refused += 1;
                    }
                }
            } else {
                match Clf::read(&data) {
                    Ok(clf) => {
                        let out = clf.process::<f32>().apply(colour.map(|x| x as f32));
                        assert!(out.iter().all(|x| !x.is_nan()), "{name} {round}");
                        let text = clf.write().unwrap();
                        let again =
                            Clf::read(text.as_bytes()).unwrap_or_else(|e| panic!("{name} {round}: {e}"));
                        assert_eq!(again.nodes().len(), clf.nodes().len());
                        let [a, b] = [clf.process::<f64>(), again.process::<f64>()].map(|p| p.apply(colour));
                        assert_eq!(a, b, "{name} {round}");
                        accepted += 1;
                    }
                    Err(error) => {
                        assert!(error.line().is_some_and(|l| l >= 1), "{name} {round}: {error}");
                        refused += 1;
                    }
                }
            }
        }
    }
    println!("{accepted} accepted, {refused} refused in {:?}", start.elapsed());
    assert!(accepted > 2000 && refused > 50_000, "{accepted} {refused}");
    assert!(start.elapsed() < Duration::from_secs(30));
}

// ---------------------------------------------------------------------------- made to do harm

/// Counts what a thread holds, so that a reader's memory can be measured.
mod memory {
    use std::alloc::{GlobalAlloc, Layout, System};
    use std::cell::Cell;

    struct Counting;

    thread_local! {
        static HELD: Cell<(isize, isize)> = const { Cell::new((0, 0)) };
    }

    fn count(change: isize) {
        let _ = HELD.try_with(|held| {
            let now = held.get().0 + change;
            held.set((now, held.get().1.max(now)));
        });
    }

    // SAFETY: everything is passed on to the system's allocator; counting allocates nothing.
    unsafe impl GlobalAlloc for Counting {
        unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
            count(layout.size() as isize);
            // SAFETY: the caller's promises are passed on.
            unsafe { System.alloc(layout) }
        }
        unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
            count(-(layout.size() as isize));
            // SAFETY: as above.
            unsafe { System.dealloc(place, layout) }
        }
    }

    #[global_allocator]
    static ALLOCATOR: Counting = Counting;

    /// What a call held at its fullest, in bytes.
    pub fn most<R>(call: impl FnOnce() -> R) -> (R, usize) {
        let before = HELD.with(|held| {
            held.set((held.get().0, held.get().0));
            held.get().0
        });
        let result = call();
        (result, HELD.with(|held| held.get().1 - before).max(0) as usize)
    }
}

/// Reads something harmful: an error, soon, without much memory.
fn harmless(what: &str, data: &[u8], read: impl FnOnce(&[u8]) -> Option<Error>) {
    let start = Instant::now();
    let (found, held) = memory::most(|| read(data));
    let took = start.elapsed();
    println!("{what}: {} bytes, {took:?}, {held} bytes held", data.len());
    let error = found.unwrap_or_else(|| panic!("{what} was accepted"));
    assert!(error.line().is_some() && error.to_string().len() < 600, "{what}: {error}");
    assert!(took < Duration::from_secs(5), "{what}: {took:?}");
    assert!(held < 16 * data.len() + 200_000, "{what}: {held} bytes for a file of {}", data.len());
}

#[test]
fn files_made_to_do_harm_are_refused_soon_and_cheaply() {
    let clf = |data: &[u8]| Clf::read(data).err();
    let cube = |data: &[u8]| Cube::read(data).err();
    let deep = "<a>".repeat(100_000);
    harmless("deep", list(&deep).as_bytes(), clf);
    harmless("deep, with ends", list(&format!("{deep}{}", "</a>".repeat(100_000))).as_bytes(), clf);
    harmless(
        "deep in Info",
        list(&format!("<Info>{deep}{}</Info>{UNIT}", "</a>".repeat(100_000))).as_bytes(),
        clf,
    );
    harmless("deep root", deep.as_bytes(), clf);

    // The entities that multiply: ten levels of ten.
    let mut laughs = String::from("<?xml version=\"1.0\"?>\n<!DOCTYPE lolz [\n<!ENTITY lol \"lol\">\n");
    for i in 1..10 {
        let before = if i == 1 { "&lol;".to_owned() } else { format!("&lol{};", i - 1) };
        laughs += &format!("<!ENTITY lol{i} \"{}\">\n", before.repeat(10));
    }
    laughs += &list(&format!("<Description>&lol9;</Description>{UNIT}"))[39..];
    harmless("entities that multiply", laughs.as_bytes(), clf);
    harmless(
        "an entity without a type",
        list(&format!("<Description>&lol9;</Description>{UNIT}")).as_bytes(),
        clf,
    );
    let outside = "<!DOCTYPE a [<!ENTITY x SYSTEM \"file:///etc/passwd\">]>\n";
    harmless(
        "an entity outside",
        list(&format!("<Description>&x;</Description>{UNIT}"))
            .replace("?>\n", &format!("?>\n{outside}"))
            .as_bytes(),
        clf,
    );

    let large = "<LUT3D inBitDepth='32f' outBitDepth='32f'><Array dim='129 129 129 3'>0 0</Array></LUT3D>";
    harmless("a large table that is not there", list(large).as_bytes(), clf);
    harmless("a large cube that is not there", b"LUT_1D_SIZE 65536\nLUT_3D_SIZE 256\n0 0 0\n", cube);
    let many: String = (0..200_000).map(|i| format!(" a{i}='1'")).collect();
    harmless("many attributes", list(&format!("<Matrix{many}/>")).as_bytes(), clf);
    let same = " a='1'".repeat(200_000);
    harmless("one attribute many times", list(&format!("<Matrix{same}/>")).as_bytes(), clf);
    harmless("attributes in Info", list(&format!("<Info><b{many}/></Info>{UNIT}")).as_bytes(), clf);
    harmless("open brackets", "<".repeat(1_000_000).as_bytes(), clf);
    harmless("a comment that goes on", format!("<!--{}", "- ".repeat(1_000_000)).as_bytes(), clf);
    harmless("a type that goes on", format!("<!DOCTYPE a [{}", "[<!".repeat(500_000)).as_bytes(), clf);
    harmless("a name that goes on", format!("<{}>", "a".repeat(2_000_000)).as_bytes(), clf);
    harmless("a number that goes on", list(&UNIT.replacen('1', &"9".repeat(2_000_000), 1)).as_bytes(), clf);
    harmless("a row that goes on", format!("LUT_1D_SIZE 2\n{}", "1 ".repeat(1_000_000)).as_bytes(), cube);
    harmless("a keyword that goes on", "A".repeat(2_000_000).as_bytes(), cube);
    harmless("comments only", "#\n".repeat(1_000_000).as_bytes(), cube);
    harmless("references", list(&"&amp;".repeat(300_000)).as_bytes(), clf);
    let nodes = format!("{UNIT}\n").repeat(20_000);
    harmless("many nodes and an end that lacks", list(&nodes)[..nodes.len()].as_bytes(), clf);
}

#[test]
fn the_numbers_of_a_file_are_bounded() {
    // Three of the largest tables are read, in time that their length asks for; a fourth is refused by its size.
    let numbers = "0 ".repeat(3 * 129 * 129 * 129);
    let line = format!(
        "<LUT1D inBitDepth='32f' outBitDepth='32f'><Array dim='131072 1'>{}</Array></LUT1D>",
        &numbers[..2 * 131072]
    );
    assert!(Clf::read(list(&line).as_bytes()).is_ok());
    let table = format!(
        "<LUT3D inBitDepth='32f' outBitDepth='32f'><Array dim='129 129 129 3'>{numbers}</Array></LUT3D>\n"
    );
    let start = Instant::now();
    let (clf, held) = memory::most(|| Clf::read(list(&table).as_bytes()).unwrap());
    println!("one table of 129³: {:?}, {held} bytes held", start.elapsed());
    assert_eq!(clf.nodes().len(), 1);
    assert!(start.elapsed() < Duration::from_secs(10));
    let four = list(&format!("{table}{table}{table}{}", table.replace(&numbers, "0")));
    wrong(Clf::read(four.as_bytes()), 6, &["Array", "numbers in a file"], "");
}

// ---------------------------------------------------------------------------- tables in place of processes

/// The share'th of the distances between tables and nodes, measured here on other colours than `bake` takes.
fn distances(baked: &Baked, clf: &Clf, colours: impl Iterator<Item = [f64; 3]>) -> Vec<f64> {
    let exact = clf.process::<f64>();
    let mut all: Vec<f64> = colours
        .map(|v| {
            let (found, wanted) = (baked.lut.apply(v.map(|x| x as f32)), exact.apply(v));
            (0..3)
                .map(|c| (f64::from(found[c]) - wanted[c]).abs() / wanted[c].abs().max(1.0))
                .fold(0.0, f64::max)
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all
}

fn read(nodes: &str) -> Clf {
    Clf::read(list(nodes).as_bytes()).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn what_a_table_can_hold_is_baked_without_loss() {
    let whole = Domain::Signal { min: 0.0, max: 1.0 };
    let clf = Clf::read(&bytes("lut3d_tetrahedral.clf")).unwrap();
    let baked = clf.process().bake(16, 5, whole).unwrap();
    assert!(
        baked.residual.max < 1e-6 && baked.shaping == Shaping::Even,
        "{:?} {:?}",
        baked.shaping,
        baked.residual
    );
    // A 1D LUT before it goes into the shaper.
    let curve = "<LUT1D inBitDepth='32f' outBitDepth='32f'><Array dim='5 1'>0 0.4 0.7 0.9 1</Array></LUT1D>";
    let text = String::from_utf8(bytes("lut3d_tetrahedral.clf")).unwrap();
    let clf = Clf::read(text.replace("<LUT3D", &format!("{curve}<LUT3D")).as_bytes()).unwrap();
    assert_eq!(clf.nodes().len(), 2);
    let baked = clf.process().bake(9, 5, whole).unwrap();
    assert!(
        baked.residual.max < 1e-6 && baked.shaping == Shaping::Nodes,
        "{:?} {:?}",
        baked.shaping,
        baked.residual
    );
    // A matrix alone is a table of eight entries.
    let baked = read(AP0_TO_AP1).process().bake(2, 2, Domain::Signal { min: -1.0, max: 3.0 }).unwrap();
    assert!(baked.residual.max < 2e-6, "{:?}", baked.residual);
}

#[test]
fn baking_says_how_far_off_it_is() {
    let chain = Clf::read(&bytes("chain_st2136.clf")).unwrap();
    let to_log = read(&format!("{AP0_TO_AP1}{TO_ACESCCT}"));
    let to_light = read(
        "<Log inBitDepth='16f' outBitDepth='16f' style='cameraLogToLin'><LogParams base='2' \
         logSideSlope='0.05707762557' logSideOffset='0.5547945205' linSideBreak='0.0078125'/></Log>\
         <Matrix inBitDepth='16f' outBitDepth='32f'><Array dim='3 3'>1.70505 -0.62179 -0.08326 -0.13026 1.1408 -0.01055 \
         -0.024 -0.12897 1.15297</Array></Matrix><Exponent inBitDepth='32f' outBitDepth='32f' style='basicRev'>\
         <ExponentParams exponent='2.4'/></Exponent>",
    );
    let signal = Domain::Signal { min: 0.0, max: 1.0 };
    let light = Domain::Light { min: -0.01, max: 200.0 };
    let mut halves = Vec::new();
    for (name, clf, domain, size) in [
        // A matrix of light before a logarithm: far from grey, what nearly cancels is lost between entries.
        ("light to ACEScct", &to_log, light, 33),
        ("light to a graded signal", &chain, light, 33),
        ("ACEScct to display", &to_light, signal, 33),
        ("ACEScct to display", &to_light, signal, 65),
    ] {
        let start = Instant::now();
        let baked = clf.process().bake(4096, size, domain).unwrap();
        let r = baked.residual;
        println!(
            "{name}, {size}³: {:?}, p50 {:.1e}, p99 {:.1e}, max {:.1e} at {:?}; {:?}",
            baked.shaping,
            r.p50,
            r.p99,
            r.max,
            r.worst,
            start.elapsed()
        );
        assert!(0.0 < r.p50 && r.p50 < r.p99 && r.p99 < r.max, "{name}: {r:?}");
        halves.push(r.p50);
        // Colours spread as `Residual` says, by another generator.
        let mut random = Random(5);
        let curve = |x: f64| greyhold::colour::acescct_encode(x);
        let colours = (0..8000).map(|i| {
            let grey = random.share();
            let spread = [0.0, 0.04, 1.0, 1.0][i % 4];
            let mut one = || {
                let share = (grey + spread * (random.share() - grey)).clamp(0.0, 1.0);
                match domain {
                    Domain::Signal { min, max } => min + (max - min) * share,
                    Domain::Light { min, max } => {
                        greyhold::colour::acescct_decode(curve(min) + (curve(max) - curve(min)) * share)
                    }
                }
            };
            [one(), one(), one()]
        });
        let mine = distances(&baked, clf, colours);
        for (share, said) in [(0.5, r.p50), (0.99, r.p99)] {
            let found = mine[(mine.len() as f64 * share) as usize];
            assert!((0.7..1.4).contains(&(found / said)), "{name}: p{share} {found:e}, said {said:e}");
        }
        // The very place that is said to be the worst.
        let there = distances(&baked, clf, [r.worst].into_iter())[0];
        assert_eq!(there, r.max);
    }
    // Between entries a smooth curve is off by the square of their distance: a quarter, for half of it.
    assert!(halves[3] < 0.35 * halves[2], "{halves:?}");
}

#[test]
fn baking_into_what_cannot_be_is_refused() {
    let process = read(UNIT).process::<f64>();
    let whole = Domain::Signal { min: 0.0, max: 1.0 };
    for (shaper, cube, domain) in [
        (1, 33, whole),
        (65537, 33, whole),
        (1024, 1, whole),
        (1024, 257, whole),
        (1024, 2, Domain::Signal { min: 1.0, max: 1.0 }),
        (1024, 2, Domain::Signal { min: f64::NAN, max: 1.0 }),
        (1024, 2, Domain::Light { min: 0.0, max: f64::INFINITY }),
    ] {
        let error = process.bake(shaper, cube, domain).unwrap_err();
        assert!(error.line().is_none() && error.to_string().contains("accepted"), "{error}");
    }
    assert!(process.bake(2, 2, whole).is_ok());
}
