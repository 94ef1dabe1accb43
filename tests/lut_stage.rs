//! The stage `lut`: CLF files in it, and what a LUT expects and gives.
//!
//! References: OpenColorIO's values of the CLF files and of the cameras' code values, in tests/data, which
//! tests/oracle/luts.py and tables.py write.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use greyhold::colour::{
    AP0, AP1, Adaptation, ENCODINGS, Interpolation, Lut1, Lut3, Shaped, Space, acescct_decode,
    acescct_encode, conversion, encoding, space,
};
use greyhold::gpu::{Gpu, ROUNDING, Request, TOLERANCE, agreement_within, pad, spread, vectors};
use greyhold::interchange::clf::Clf;
use greyhold::look::{Bake, List, NamedLut, Said, Side, Spot, Stage, effective_strength, stage};
use greyhold::picture::{Balance, Frame, Recipe, StageValues, Structure, Tail, Target, cpu};
use greyhold::show::{
    Change, Look, Show, ShowError, load, load_look, load_lut, load_lut_as, save, save_look,
};

/// A 10-bit code.
const CODE: f64 = 1.0 / 1023.0;

fn luts() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/luts")
}

fn rows(file: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(luts().join(file)).unwrap();
    let lines = text.lines().filter(|l| !l.starts_with('#')).skip(1);
    lines.map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

fn three(row: &[String], from: usize) -> [f64; 3] {
    std::array::from_fn(|i| row[from + i].parse().unwrap())
}

fn said(id: &str) -> Option<Space> {
    Some(space(id).unwrap())
}

/// The stage's twin in f64, at strength 1.
fn twin(lut: &NamedLut) -> impl Fn([f64; 3]) -> [f64; 3] + use<> {
    let kind = stage("lut").unwrap();
    let values = StageValues::new(kind, 1.0, &[], Some(lut)).values;
    let table = lut.lut.to::<f64>();
    move |v| (kind.declaration().apply_f64)(&values, Some(&table), Spot::default(), v)
}

/// A recipe that is the stage alone, on ACEScct.
fn recipe(lut: &NamedLut, strength: f64) -> Recipe {
    let acescct = encoding("acescct").unwrap();
    let mut recipe = Recipe::conversion(acescct, Tail::Encoding(acescct));
    recipe.balance = Some(Balance::default());
    recipe.stages = vec![StageValues::new(stage("lut").unwrap(), strength, &[], Some(lut))];
    recipe
}

/// OpenColorIO's colours out of each CLF file that is kept, by the file's name; and the colours in.
fn opencolorio() -> (Vec<[f64; 3]>, BTreeMap<String, Vec<[f64; 3]>>) {
    let inputs = rows("inputs.csv").iter().map(|r| three(r, 1)).collect();
    let names: BTreeMap<_, _> =
        rows("tables.csv").into_iter().map(|r| (r[0].clone(), r[1].clone())).collect();
    let mut outputs: BTreeMap<String, Vec<[f64; 3]>> = BTreeMap::new();
    for row in rows("outputs.csv") {
        let name = &names[&row[0]];
        if name.ends_with(".clf") && luts().join(name).exists() {
            outputs.entry(name.clone()).or_default().push(three(&row, 2));
        }
    }
    assert!(outputs.len() >= 50, "{}", outputs.len());
    (inputs, outputs)
}

/// How far a signal is from another, in codes as `Bake` has them.
fn codes(found: [f64; 3], wanted: [f64; 3]) -> f64 {
    let off = |c: usize| (found[c] - wanted[c]).abs() / wanted[c].abs().max(1.0);
    off(0).max(off(1)).max(off(2)) / CODE
}

/// Every kind of node as a stage, on signals and on light: as far from OpenColorIO as the bake says and no farther.
/// The bake's own figures are of other colours, so one colour in thirty may be a tenth farther than its farthest, and
/// none three times as far; OpenColorIO's f32 comes besides (1e-5, as tests/interchange.rs has it; light near black has
/// 10.6 of ACEScct's signal in 1).
#[test]
fn clf_files_do_what_opencolorio_does_within_what_their_bake_says() {
    let (inputs, outputs) = opencolorio();
    let in_tables = |v: &[f64; 3]| v.iter().all(|x| (-0.58..=1.46).contains(x));
    let (mut fine, mut compared) = (0, 0);
    for (name, wanted) in &outputs {
        for (id, light) in [("acescct", false), ("acescg", true)] {
            let lut = load_lut_as(&luts(), Path::new(name), [said(id); 2]).unwrap();
            let bake = lut.bake.as_ref().unwrap();
            fine += usize::from(!bake.is_coarse());
            let apply = twin(&lut);
            let (mut all, mut worst, mut beyond) = (0, 0f64, 0);
            // tests/interchange.rs says why its flat monCurves are farther off.
            let single = if name.ends_with("_flat.clf") { 2e-5 } else { 1e-5 };
            let more = single / CODE * if light { 10.6 } else { 1.0 };
            for (input, wanted) in inputs.iter().zip(wanted) {
                let signal = |v: [f64; 3]| if light { v.map(acescct_encode) } else { v };
                if !in_tables(&signal(*input)) {
                    continue;
                }
                let off = codes(apply(signal(*input)), signal(*wanted));
                all += 1;
                worst = worst.max(off);
                beyond += usize::from(off > 1.1 * bake.max + more);
            }
            assert!(
                all > 30 && 30 * beyond <= all && worst <= 3.0 * bake.max + more,
                "{name} on {id}: {worst:.3} codes, {beyond} of {all} beyond, {bake:?}"
            );
            compared += all;
        }
    }
    println!("{fine} of {} bakes within a code, {compared} colours", 2 * outputs.len());
    assert!(compared > 4000 && fine > outputs.len(), "{fine} {compared}");
}

/// The same on the GPU: what the CPU's twin says.
#[test]
fn clf_files_on_the_gpu_are_what_they_are_on_the_cpu() {
    let gpu = Gpu::headless(Request::default()).unwrap();
    let pixels = pad(vectors(512));
    let frame = Frame::from_rgb(128, &pixels).unwrap();
    let (_, outputs) = opencolorio();
    let mut worst = (0.0, String::new());
    for name in outputs.keys() {
        for id in ["acescct", "acescg"] {
            let lut = load_lut_as(&luts(), Path::new(name), [said(id); 2]).unwrap();
            let recipe = recipe(&lut, 1.0);
            let more = spread(&recipe, &pixels, ROUNDING).unwrap();
            let on_cpu = cpu::signal(&recipe, &frame).pixels;
            let found = agreement_within(&on_cpu, &gpu.signal(&recipe, &frame).unwrap(), TOLERANCE, &more);
            assert!(found.holds(), "{name} on {id}: {found:?}");
            if found.worst_share > worst.0 {
                worst = (found.worst_share, format!("{name} on {id}"));
            }
        }
    }
    println!("{:.2} of the tolerance at worst, {}", worst.0, worst.1);
}

fn identity(file: &str) -> NamedLut {
    NamedLut::new(file, Arc::default())
}

/// A table that changes nothing, which gives an encoding: the stage leads its code values to the light that
/// OpenColorIO leads them to. What is allowed besides f32's 2e-6 of the largest channel is in tests/data/ocio.csv.
#[test]
fn what_a_lut_gives_becomes_the_light_that_opencolorio_says() {
    let text = include_str!("data/ocio.csv");
    let back = conversion(&AP1, &AP0, Adaptation::Bradford);
    let mut seen = BTreeMap::new();
    for line in text.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let row: Vec<_> = line.split(',').map(str::to_owned).collect();
        let (id, code, wanted) = (&row[0], three(&row, 1), three(&row, 4));
        let e = encoding(id).unwrap();
        let darkest = code.into_iter().map(|c| e.curve.values::<f64>().decode(c)).fold(f64::MAX, f64::min);
        // Its D-Log has another toe than the document, its ACEScc nothing below 0.
        if id == "d-log" && darkest < 0.0078 || id == "acescc" && wanted.contains(&0.0) {
            continue;
        }
        let lut = NamedLut { gives: Side::of(said(id), None), ..identity("a.cube") };
        let found = back.times(twin(&lut)(code).map(acescct_decode));
        let largest = wanted.iter().fold(0.01f64, |m, x| m.max(x.abs()));
        for c in 0..3 {
            let off = (found[c] - wanted[c]).abs();
            assert!(off <= 1.3e-5 * largest, "{id} {code:?}: {found:?}, not {wanted:?}");
        }
        *seen.entry(id.clone()).or_insert(0) += 1;
    }
    assert!(seen.len() == 13 && seen.values().all(|n| *n > 30), "{seen:?}");
}

/// … and what a LUT expects is that light's code values: there and back again nothing is lost.
#[test]
fn what_a_lut_expects_is_the_way_back_of_what_it_gives() {
    for e in ENCODINGS.iter().filter(|e| Space::Encoding(e).scene().is_some()) {
        let gives = twin(&NamedLut { gives: Side::of(said(e.id), None), ..identity("a.cube") });
        let expects = twin(&NamedLut { expects: Side::of(said(e.id), None), ..identity("a.cube") });
        for code in [[0.3, 0.4, 0.5], [0.62, 0.35, 0.41], [0.7, 0.7, 0.7]] {
            let found = expects(gives(code));
            for c in 0..3 {
                assert!((found[c] - code[c]).abs() < 1e-9, "{}: {found:?}, not {code:?}", e.id);
            }
            let between = gives(code);
            let same = ["acescct", "acescc"].contains(&e.id);
            assert!(same || (0..3).any(|c| (between[c] - code[c]).abs() > 1e-3), "{}", e.id);
        }
    }
}

/// Strength mixes in ACEScct whatever the LUT expects.
#[test]
fn strength_mixes_in_acescct() {
    let curve = Lut1::even(vec![[1.0, 0.2, 0.4], [0.0, 0.6, 0.9]], [0.0; 3], [1.0; 3]).unwrap();
    let shaped = Arc::new(Shaped { shaper: Some(curve), cube: None });
    let mut lut = NamedLut::new("a.cube", shaped);
    lut.expects = Side::of(said("logc4"), None);
    lut.gives = Side::of(said("acescg"), None);
    let frame = Frame::from_rgb(2, &[[0.3, 0.45, 0.5], [0.2, 0.6, 0.4]]).unwrap();
    let run = |strength| cpu::signal(&recipe(&lut, strength), &frame).pixels;
    let (none, half, whole) = (run(0.0), run(0.5), run(1.0));
    for (i, h) in half.iter().enumerate() {
        for c in 0..3 {
            assert!((h[c] - 0.5 * (none[i][c] + whole[i][c])).abs() < 2e-6, "{none:?} {half:?} {whole:?}");
            assert!((none[i][c] - whole[i][c]).abs() > 0.01);
        }
    }
}

/// A LUT on ACEScct leaves the very bits of its table; and what a LUT expects compiles nothing.
#[test]
fn acescct_is_no_conversion_and_another_encoding_no_other_shader() {
    let entries = (0..27).map(|i| [(i % 3) as f32 * 0.43, (i / 3 % 3) as f32 * 0.51, (i / 9) as f32 * 0.47]);
    let cube = Lut3::new(3, entries.collect(), [0.0; 3], [1.0; 3], Interpolation::Tetrahedral).unwrap();
    let lut = NamedLut::new("a.cube", Arc::new(Shaped { shaper: None, cube: Some(cube.clone()) }));
    let by_hand = NamedLut { expects: Side::of(said("acescct"), None), ..lut.clone() };
    let other = NamedLut { expects: Side::of(said("logc4"), None), ..lut.clone() };
    let kind = stage("lut").unwrap();
    let values = |lut: &NamedLut| -> Vec<f32> {
        StageValues::new(kind, 1.0, &[], Some(lut)).values.iter().map(|v| *v as f32).collect()
    };
    for v in vectors(256) {
        for lut in [&lut, &by_hand] {
            let found = (kind.declaration().apply_f32)(&values(lut), Some(&lut.lut), Spot::default(), v);
            assert_eq!(found.map(f32::to_bits), cube.apply(v).map(f32::to_bits));
        }
    }
    assert_ne!(values(&other), values(&lut));
    let structure = |lut| Structure::of(&recipe(lut, 1.0), Target::Float);
    assert_eq!(structure(&lut), structure(&other));
    // On the GPU a LUT without tables leaves what no LUT leaves.
    let gpu = Gpu::headless(Request::default()).unwrap();
    let frame = Frame::from_rgb(128, &pad(vectors(256))).unwrap();
    let nothing = NamedLut::new("a.clf", Arc::default());
    let [on, off] = [1.0, 0.0].map(|s| gpu.signal(&recipe(&nothing, s), &frame).unwrap());
    assert_eq!(on, off);
}

fn clf(head: &str, nodes: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<ProcessList xmlns=\"urn:AMPAS:CLF:v3.0\" id=\"t\" \
         compCLFversion=\"3.0\">\n{head}{nodes}</ProcessList>\n"
    )
}

fn matrix(id_from: &str) -> String {
    let m = encoding(id_from).unwrap().to_acescg();
    let mut rows = String::new();
    for row in m.0 {
        let _ = writeln!(rows, "{} {} {}", row[0], row[1], row[2]);
    }
    format!("<Matrix inBitDepth=\"32f\" outBitDepth=\"32f\"><Array dim=\"3 3\">\n{rows}</Array></Matrix>\n")
}

const TO_ACESCCT: &str = "<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"cameraLinToLog\"><LogParams base=\"2\" \
     logSideSlope=\"0.05707762557\" logSideOffset=\"0.5547945205\" linSideBreak=\"0.0078125\"/></Log>\n";

/// ARRI's LogC3 to linear at EI 800, with the six digits that its document prints.
const FROM_LOGC3: &str = "<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"cameraLogToLin\"><LogParams base=\"10\" \
     logSideSlope=\"0.24719\" logSideOffset=\"0.385537\" linSideSlope=\"5.555556\" linSideOffset=\"0.052272\" \
     linSideBreak=\"0.010591\" linearSlope=\"5.367655\"/></Log>\n";

/// A file that says what it takes and gives by ids of ours, and does no more than to convert between these, changes
/// nothing; its matrix stays a matrix, since a cube in its place would not come near.
#[test]
fn a_file_that_only_converts_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let head = "<InputDescriptor>logc3</InputDescriptor><OutputDescriptor> acescct </OutputDescriptor>\n";
    let text = clf(head, &format!("{FROM_LOGC3}{}{TO_ACESCCT}", matrix("logc3")));
    std::fs::write(folder.path().join("a.clf"), &text).unwrap();
    let lut = load_lut(folder.path(), Path::new("a.clf")).unwrap();
    assert_eq!((lut.expects.said, lut.gives.said), (Said::File, Said::File));
    assert_eq!((lut.expects.space.id(), lut.gives.space.id()), ("logc3", "acescct"));
    assert!(lut.bake.as_ref().unwrap().max < 0.05, "{:?}", lut.bake);
    let apply = twin(&lut);
    for v in vectors(512) {
        let v = v.map(|x| f64::from(x).clamp(-0.2, 1.2));
        let off = codes(apply(v), v);
        // Where it is a line, ACEScct has 10.5 of signal in 1 of light, and channels far apart share a matrix.
        assert!(off < 0.1, "{v:?}: {off}");
    }
    // Another word for its input is no id: it is taken to be ACEScct.
    std::fs::write(folder.path().join("b.clf"), text.replace(">logc3<", ">LogC3<")).unwrap();
    let lut = load_lut(folder.path(), Path::new("b.clf")).unwrap();
    assert_eq!((lut.expects.said, lut.expects.space.id()), (Said::Assumed, "acescct"));
    assert_eq!(lut.bake.as_ref().unwrap().input.as_deref(), Some("LogC3"));
    assert!(lut.descriptors_text().unwrap().contains("input: LogC3"));
    // A person's word goes over the file's.
    let lut = load_lut_as(folder.path(), Path::new("a.clf"), [said("logc4"), None]).unwrap();
    assert_eq!((lut.expects.said, lut.expects.space.id(), lut.gives.said), (Said::Hand, "logc4", Said::File));
}

/// Channels by themselves make a curve and no cube; a matrix on light makes neither; a 3D LUT by tetrahedra is found
/// again entry by entry behind the curve ahead of it.
#[test]
fn tables_are_no_larger_than_a_file_needs() {
    let bake = |name: &str, ids: [&str; 2]| load_lut_as(&luts(), Path::new(name), ids.map(said)).unwrap();
    for name in
        ["lut1d_1.clf", "exponent_each.clf", "log_linToLog_each.clf", "range_default.clf", "cdl_no_sat.clf"]
    {
        let lut = bake(name, ["acescct"; 2]);
        assert!(lut.lut.shaper.is_some() && lut.lut.cube.is_none(), "{name}");
        let bake = lut.bake.unwrap();
        assert!(bake.p99 < 0.05, "{name}: {bake:?}");
    }
    let lut = bake("matrix_3x3.clf", ["acescg"; 2]);
    let bake_of = lut.bake.unwrap();
    assert!(*lut.lut == Shaped::default() && bake_of.p99 < 0.01, "{bake_of:?}");
    let lut = bake("lut3d_tetrahedral.clf", ["acescct"; 2]);
    assert!(lut.lut.cube.is_some() && lut.bake.unwrap().max < 1e-3);
    // The chain begins with a matrix on light and a logarithm: on light the cube is behind both.
    let [coarse, better] = ["acescct", "aces2065-1"].map(|id| bake("chain_st2136.clf", [id, "acescct"]));
    let (coarse, better) = (coarse.bake.unwrap(), better.bake.unwrap());
    assert!(better.matrices[0].is_some() && better.p99 < 0.7 * coarse.p99, "{coarse:?} {better:?}");
}

/// What a bake says of itself, measured here on colours of this test's own: a grid with an odd step.
#[test]
fn the_residual_is_what_another_measures() {
    let name = "lut3d_default_10i_12i.clf";
    let lut = load_lut(&luts(), Path::new(name)).unwrap();
    let exact = Clf::read(&std::fs::read(luts().join(name)).unwrap()).unwrap().process::<f64>();
    let apply = twin(&lut);
    let mut all = Vec::new();
    for i in 0..23 * 23 * 23 {
        let v = [i % 23, i / 23 % 23, i / 529].map(|k| 0.007 + 0.0431 * f64::from(k));
        all.push(codes(apply(v), exact.apply(v)));
    }
    all.sort_by(f64::total_cmp);
    let (p99, max) = (all[all.len() * 99 / 100], all[all.len() - 1]);
    let bake = lut.bake.unwrap();
    assert!(
        max > 0.01 && (p99 / bake.p99 - 1.0).abs() < 0.5 && (max / bake.max - 1.0).abs() < 0.5,
        "{p99} {max} {bake:?}"
    );
}

#[test]
fn a_coarse_bake_is_marked() {
    let says = |name: &str| {
        let lut = load_lut(&luts(), Path::new(name)).unwrap();
        (lut.bake.as_ref().is_some_and(Bake::is_coarse), lut.bake_text().unwrap())
    };
    let (coarse, text) = says("chain_st2136.clf");
    assert!(coarse && text.starts_with("coarsely baked: "), "{text}");
    let (coarse, text) = says("lut1d_1.clf");
    assert!(
        !coarse && text == "baked: 99 of 100 colours within 0.00 of a 10-bit code, all within 0.00",
        "{text}"
    );
}

// ---------------------------------------------------------------------------- in shows and looks

const CUBE: &str = "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n";

fn with(lut: NamedLut) -> Stage {
    Stage { lut: Some(lut), ..Stage::new(stage("lut").unwrap()) }
}

/// A folder with a .cube and a .clf file.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("a.cube"), CUBE).unwrap();
    std::fs::copy(luts().join("lut1d_1.clf"), folder.path().join("a.clf")).unwrap();
    folder
}

#[test]
fn what_is_said_of_a_lut_goes_through_files_and_back() {
    let folder = folder();
    let mut stages = Vec::new();
    for (file, ids) in [
        ("a.cube", [None, None]),
        ("a.cube", [said("logc4"), said("s-log3")]),
        ("a.clf", [None, said("acescg")]),
    ] {
        stages.push(with(load_lut_as(folder.path(), Path::new(file), ids).unwrap()));
    }
    let mut show = Show::new("snow");
    show.apply(Change::ReplaceLook { stages: stages.clone(), strength: 1.0 }).unwrap();
    save(&show, folder.path()).unwrap();
    let text = std::fs::read_to_string(folder.path().join("show.toml")).unwrap();
    let lines: Vec<_> = text.lines().filter(|l| l.starts_with("expects") || l.starts_with("gives")).collect();
    assert_eq!(lines, ["expects = \"logc4\"", "gives = \"s-log3\"", "gives = \"acescg\""]);
    assert_eq!(load(folder.path()).unwrap(), show);
    // A look names its files from the root.
    let look = Look { name: "film".into(), note: String::new(), intent: Default::default(), stages };
    let path = folder.path().join("film.toml");
    save_look(&look, &path).unwrap();
    let read = load_look(&path).unwrap();
    for (a, b) in read.stages.iter().zip(&look.stages) {
        let (a, b) = (a.lut.as_ref().unwrap(), b.lut.as_ref().unwrap());
        assert_eq!((&a.lut, a.expects, a.gives, &a.bake), (&b.lut, b.expects, b.gives, &b.bake));
        assert_eq!(a.file, folder.path().join(&b.file));
    }
}

#[test]
fn a_missing_clf_stops_no_save_and_a_broken_one_is_named_with_its_line() {
    let folder = folder();
    let mut show = Show::new("snow");
    let lut = load_lut_as(folder.path(), Path::new("a.clf"), [said("logc4"), None]).unwrap();
    show.apply(Change::AddStage { list: List::Look, at: 0, stage: with(lut) }).unwrap();
    std::fs::remove_file(folder.path().join("a.clf")).unwrap();
    save(&show, folder.path()).unwrap();
    let e = load(folder.path()).unwrap_err().to_string();
    assert!(e.contains("show.toml:") && e.contains("a.clf could not be read") && e.contains(".clf"), "{e}");
    let text = clf(
        "",
        "<Matrix inBitDepth=\"32f\" outBitDepth=\"32f\">\n<Array dim=\"3 3\">1 0 0</Array></Matrix>\n",
    );
    std::fs::write(folder.path().join("a.clf"), text).unwrap();
    match load(folder.path()).unwrap_err() {
        ShowError::Lut { file, error } => {
            assert_eq!((file, error.line()), (folder.path().join("a.clf"), Some(4)));
        }
        e => panic!("{e}"),
    }
}

/// Another LUT, or other words on the same, is one change and can be taken back.
#[test]
fn another_lut_is_a_change_with_a_way_back() {
    let folder = folder();
    let read = |ids| load_lut_as(folder.path(), Path::new("a.cube"), ids).unwrap();
    let mut show = Show::new("snow");
    show.apply(Change::AddStage { list: List::Look, at: 0, stage: with(read([None; 2])) }).unwrap();
    let contrast = Stage::new(stage("contrast").unwrap());
    show.apply(Change::AddStage { list: List::Look, at: 1, stage: contrast }).unwrap();
    let before = show.clone();
    let lut = Some(read([said("logc4"), said("logc4")]));
    let change = Change::SetLut { list: List::Look, at: 0, lut: lut.clone() };
    let back = show.apply(change).unwrap();
    assert_eq!(show.chain.look[0].lut, lut);
    show.apply(back).unwrap();
    assert_eq!(show, before);
    for (change, words) in [
        (Change::SetLut { list: List::Look, at: 1, lut: lut.clone() }, "the stage contrast reads no LUT"),
        (Change::SetLut { list: List::Look, at: 2, lut }, "look has no place 3"),
    ] {
        let e = show.apply(change).unwrap_err().to_string();
        assert!(e.contains(words), "{e}");
    }
    assert_eq!(show, before);
}

/// A LUT for a display has no place in the chain, however it would get there; the error says why and where it goes.
#[test]
fn a_lut_for_a_display_is_refused_in_the_chain() {
    let folder = folder();
    let why = |e: ShowError| {
        let text = e.to_string();
        assert!(text.contains("lut:FILE") && text.contains("accepted: acescct, acescc, acescg"), "{text}");
        text
    };
    let mut show = Show::new("snow");
    let read = |file: &str, ids| load_lut_as(folder.path(), Path::new(file), ids).unwrap();
    let print = read("a.cube", [None, said("rec709")]);
    assert_eq!(print.for_display().map(|(side, space)| (side, space.id())), Some(("gives", "rec709")));
    assert_eq!(effective_strength(&with(print.clone()), 1.0), 0.0);
    let add = |lut| Change::AddStage { list: List::Look, at: 0, stage: with(lut) };
    let text = why(show.apply(add(print.clone())).unwrap_err());
    assert!(
        text.contains("gives rec709") && text.contains("no scene light for the stages after it"),
        "{text}"
    );
    why(show.apply(Change::ReplaceLook { stages: vec![with(print.clone())], strength: 1.0 }).unwrap_err());
    for id in ["bt1886", "srgb", "rec2100-pq-1000"] {
        let text = why(show.apply(add(read("a.cube", [said(id), None]))).unwrap_err());
        assert!(
            text.contains(&format!("expects {id}")) && text.contains("no picture for a display"),
            "{text}"
        );
    }
    show.apply(add(read("a.cube", [None; 2]))).unwrap();
    why(show.apply(Change::SetLut { list: List::Look, at: 0, lut: Some(print) }).unwrap_err());

    // In a show's file and a look's, with the line of the word.
    save(&show, folder.path()).unwrap();
    let path = folder.path().join("show.toml");
    let good = std::fs::read_to_string(&path).unwrap();
    let line = 1 + good.lines().position(|l| l.starts_with("file = ")).unwrap();
    let text_with = |more: &str| good.replace("file = \"a.cube\"\n", &format!("file = \"a.cube\"\n{more}\n"));
    let refused = |text: &str, line: usize| {
        std::fs::write(&path, text).unwrap();
        let e = load(folder.path()).unwrap_err().to_string();
        assert!(e.contains(&format!("show.toml:{line}: ")), "{e}");
        e
    };
    let e = refused(&text_with("gives = \"rec709\""), line + 1);
    assert!(e.contains("lut:FILE") && e.contains("Rec. 709"), "{e}");
    refused(&text_with("expects = \"display-p3\""), line + 1);
    let e = refused(&text_with("expects = \"logc9\""), line + 1);
    assert!(e.contains("logc9") && e.contains("logc4") && !e.contains("bt1886"), "{e}");
    refused(&text_with("gives = 3"), line + 1);
    // Where a CLF itself says so, the line is that of its name.
    let text = clf("<OutputDescriptor>rec709</OutputDescriptor>\n", TO_ACESCCT);
    std::fs::write(folder.path().join("print.clf"), text).unwrap();
    let e = refused(&good.replace("a.cube", "print.clf"), line);
    assert!(e.contains("print.clf") && e.contains("lut:FILE"), "{e}");
    let look = format!(
        "version = 1\n[look]\nname = \"x\"\n[[stage]]\nstage = \"lut\"\nfile = \"a.cube\"\ngives = \"srgb\"\n"
    );
    std::fs::write(folder.path().join("x.toml"), look).unwrap();
    let e = load_look(&folder.path().join("x.toml")).unwrap_err().to_string();
    assert!(e.contains("x.toml:7: ") && e.contains("lut:FILE"), "{e}");
    // Only LUTs expect anything.
    let e = refused(
        &good.replace("stage = \"lut\"", "stage = \"contrast\"").replace("file = ", "expects = "),
        line,
    );
    assert!(e.contains("no key \"expects\""), "{e}");
}

/// No id is an encoding's and a display's.
#[test]
fn ids_are_one_list() {
    use greyhold::colour::DISPLAYS;
    let ids: Vec<_> = ENCODINGS.iter().map(|e| e.id).chain(DISPLAYS.iter().map(|d| &*d.id)).collect();
    for id in &ids {
        assert_eq!(space(id).unwrap().id(), *id);
        // An id may be a display's and that of its signal as an encoding; either is refused in the chain.
        let twice = ids.iter().filter(|other| *other == id).count() > 1;
        assert!(!twice || space(id).unwrap().scene().is_none(), "{id}");
    }
    assert!(space("LogC4").is_none());
}
