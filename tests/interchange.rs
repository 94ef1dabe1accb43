//! Published formats: what the files of others hold, read as other programs read it.

use greyhold::colour::{Lut, Lut1, Lut3};
use greyhold::interchange::InterchangeError;
use greyhold::interchange::cube::{self, Cube};

const LUTS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/luts");

fn numbers(text: &str) -> Vec<f64> {
    text.split(',').map(|v| v.parse().unwrap()).collect()
}

fn cube_file(name: &str) -> Vec<u8> {
    std::fs::read(format!("{LUTS}/{name}.cube")).unwrap()
}

/// Every kind of `.cube` file against OpenColorIO's FileTransform (tests/oracle/cubes.py): within 1e-5 of
/// the value, or of 1 for values under 1.
#[test]
fn cubes_read_as_opencolorio_reads_them() {
    let table = std::fs::read_to_string(format!("{LUTS}/cubes.csv")).unwrap();
    let mut worst: Vec<(String, f64)> = Vec::new();
    for line in table.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let (name, row) = line.split_once(',').unwrap();
        let row = numbers(row);
        if worst.last().is_none_or(|w| w.0 != name) {
            worst.push((name.to_owned(), 0.0));
        }
        let lut = cube::read(&cube_file(name)).unwrap().lut;
        let input: [f64; 3] = std::array::from_fn(|c| row[c]);
        let single = lut.apply(input.map(|v| v as f32)).map(f64::from);
        let double = lut.apply(input);
        for c in 0..3 {
            for found in [single[c], double[c]] {
                let error = (found - row[3 + c]).abs() / row[3 + c].abs().max(1.0);
                let w = worst.last_mut().unwrap();
                w.1 = w.1.max(error);
                assert!(error <= 1e-5, "{name} at {input:?}: {found}, not {}", row[3 + c]);
            }
        }
    }
    assert_eq!(worst.len(), 10);
    for (name, error) in worst {
        println!("{name}: {error:.1e}");
    }
}

/// Tetrahedra against colour-science's `table_interpolation_tetrahedral` in float64, within 1e-12.
#[test]
fn tetrahedra_are_those_of_colour_science() {
    let table = std::fs::read_to_string(format!("{LUTS}/witness.csv")).unwrap();
    let of = |kind: &str| -> Vec<Vec<f64>> {
        table.lines().filter_map(|l| l.strip_prefix(kind)?.strip_prefix(',')).map(numbers).collect()
    };
    let entries: Vec<[f32; 3]> = of("table").iter().map(|r| std::array::from_fn(|c| r[c] as f32)).collect();
    let lut = Lut3 { size: 7, entries, min: [0.0; 3], max: [1.0; 3] };
    let rows = of("at");
    assert_eq!(rows.len(), 60);
    for row in rows {
        let out = lut.apply([row[0], row[1], row[2]]);
        for c in 0..3 {
            assert!((out[c] - row[3 + c]).abs() < 1e-12, "{row:?}: {out:?}");
        }
    }
}

#[test]
fn a_cube_of_greys_keeps_greys() {
    let entries = (0..125)
        .map(|i| {
            let [r, g, b] = [i % 5, i / 5 % 5, i / 25].map(|v| v as f32 / 4.0);
            // Off the diagonal anything, on it a grey.
            if r == g && g == b { [r * r; 3] } else { [g, b * 0.3, r + 0.2] }
        })
        .collect();
    let lut = Lut3 { size: 5, entries, min: [0.0; 3], max: [1.0; 3] };
    for i in 0..=1000 {
        let out = lut.apply([f64::from(i) / 1000.0; 3]);
        assert!(out[0] == out[1] && out[1] == out[2], "{out:?}");
    }
}

#[test]
fn what_is_not_a_number_gives_an_entry() {
    let lut = cube::read(&cube_file("both")).unwrap().lut;
    for odd in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN_POSITIVE] {
        assert!(lut.apply([odd, 0.5, odd]).iter().all(|v| v.is_finite()));
    }
}

#[test]
fn what_is_written_reads_back() {
    for name in ["cube-9", "cube-4-domain-by-channel", "curve-64-domain", "both"] {
        let Cube { lut, .. } = cube::read(&cube_file(name)).unwrap();
        let written = Cube { title: "winter \"print\"".into(), lut };
        let read = cube::read(cube::write(&written).as_bytes()).unwrap();
        assert_eq!(read.lut, written.lut, "{name}");
        assert_eq!(read.title, "winter  print ");
    }
}

fn refused(text: &str) -> InterchangeError {
    cube::read(text.as_bytes()).expect_err(text)
}

#[test]
fn malformed_cubes_say_line_and_what_is_accepted() {
    let good = String::from_utf8(cube_file("cube-2")).unwrap();
    let missing = good.trim_end().rsplit_once('\n').unwrap().0;
    let e = refused(missing);
    assert_eq!(e.to_string(), "line 8: the file ends after 7 of 8 rows; accepted: 8 rows of three numbers");
    for (text, line, part) in [
        (format!("{good}0 0 0\n"), 10, "more rows"),
        (good.replace("LUT_3D_SIZE 2", "LUT_3D_SIZE 300"), 1, "from 2 to 256"),
        (good.replace("LUT_3D_SIZE 2", "LUT_3D_SIZE 1"), 1, "from 2 to 256"),
        (good.replace("LUT_3D_SIZE 2", "LUT_1D_SIZE 65537"), 1, "from 2 to 65536"),
        (good.replace("LUT_3D_SIZE 2", "LUT_3D_SIZE 2\nLUT_3D_SIZE 2"), 2, "a second time"),
        (good.replace("LUT_3D_SIZE 2", "LUT_4D_SIZE 2"), 1, "\"LUT_4D_SIZE\" is not known"),
        (good.replace("LUT_3D_SIZE 2", "# none"), 2, "no size"),
        (good.replace("LUT_3D_SIZE 2", "LUT_3D_SIZE 2\nDOMAIN_MIN 0 0 1"), 2, "a range from 1 to 1"),
        (good.replace("LUT_3D_SIZE 2", "LUT_3D_SIZE 2\nDOMAIN_MIN 0 nan 0"), 2, "\"nan\" is no number"),
        (good.replace("LUT_3D_SIZE 2", "LUT_3D_SIZE 2\nDOMAIN_MAX 1 1"), 2, "a number is missing"),
        (format!("{}\nTITLE \"late\"\n", good.trim_end()), 10, "among the rows"),
        ("LUT_3D_SIZE 2\n0 0 0\n0 0\n".into(), 3, "a number is missing"),
        ("LUT_3D_SIZE 2\n0 0 0 0\n".into(), 2, "one too many"),
        ("LUT_3D_SIZE 2\n0 0 1e39\n".into(), 2, "single floats"),
        ("LUT_3D_SIZE 2\n0 0 inf\n".into(), 2, "no number"),
        (String::new(), 1, "no size"),
        // What a size promises is not set aside before the rows are there.
        ("LUT_3D_SIZE 256\n".into(), 1, "0 of 16777216 rows"),
    ] {
        let e = refused(&text);
        assert!(e.line == line && e.to_string().contains(part), "{text}: {e}");
    }
    let e = cube::read(b"LUT_3D_SIZE 2\n0 0 0\n\xff\xfe\n").unwrap_err();
    assert_eq!((e.line, e.what.as_str()), (3, "this is not text"));
}

/// A file cut anywhere, and files with bytes changed at random (seeded): an error or a table, never a panic.
#[test]
fn damaged_cubes_do_no_harm() {
    let good = cube_file("both");
    for cut in 0..good.len() {
        if let Err(e) = cube::read(&good[..cut]) {
            assert!(e.line >= 1);
        }
    }
    let mut seed = 7u64;
    let mut next = || {
        seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (seed >> 33) as usize
    };
    let mut read = 0;
    for _ in 0..2000 {
        let mut bytes = cube_file("cube-2");
        for _ in 0..=next() % 4 {
            let at = next() % bytes.len();
            // Mostly what numbers are made of, so that many stay files.
            bytes[at] = if next() % 8 == 0 { next() as u8 } else { b"0123456789.-e \n#"[next() % 16] };
        }
        if let Ok(Cube { lut: Lut { shaper, cube }, .. }) = cube::read(&bytes) {
            read += 1;
            assert!(shaper.is_some() || cube.is_some());
            let lut = Lut { shaper, cube };
            assert!(lut.apply([0.3f32, 0.6, 0.9]).iter().all(|v| v.is_finite()));
        }
    }
    assert!(read > 100, "only {read} of 2000 were still files");
}

#[test]
fn a_curve_alone_reaches_past_1() {
    let lut = Lut1 { entries: vec![[-1.0; 3], [8.0; 3]], min: [0.0; 3], max: [2.0; 3] };
    assert_eq!(lut.apply([-1.0, 1.0, 5.0]), [-1.0, 3.5, 8.0]);
}
