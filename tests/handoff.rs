//! The hand-off: what opencolorio makes of the files (`tests/oracle/handoff.py`) on the show's own frames, outside of
//! our code, is what we show, or as far from it as the hand-off says.

use std::path::{Path, PathBuf};
use std::process::Command;

use greyhold::colour::encoding;
use greyhold::engine::handoff::{Codes, Distance, Job, LutKind, Report, hand_off, sample};
use greyhold::look::{List, Stage};
use greyhold::media::{Image, ImageFormat, write_image};
use greyhold::picture::{Balance, BalanceField, Tail};
use greyhold::show::{Change, Output, Shot, Show};

fn oracle(arguments: &[&str]) {
    let root = env!("CARGO_MANIFEST_DIR");
    let python = format!("{root}/target/oracle-venv/bin/python");
    let output = Command::new(&python)
        .arg(format!("{root}/tests/oracle/handoff.py"))
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{python} does not start ({e}): run tests/setup.sh"));
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Colours through the oracle.
fn through(folder: &Path, arguments: &[&str], colours: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let [source, target] = ["in.f32", "out.f32"].map(|n| folder.join(n));
    let bytes: Vec<u8> = colours.iter().flatten().flat_map(|x| (*x as f32).to_le_bytes()).collect();
    std::fs::write(&source, bytes).unwrap();
    let ends = [source.to_str().unwrap(), target.to_str().unwrap()];
    oracle(&[arguments, &ends].concat());
    let found = std::fs::read(&target).unwrap();
    let floats: Vec<f64> =
        found.chunks(4).map(|b| f32::from_le_bytes(b.try_into().unwrap()).into()).collect();
    floats.chunks(3).map(|v| [v[0], v[1], v[2]]).collect()
}

/// Frames of an invented scene, as LogC4 records them in ten bits.
fn frames(scene: &str, count: u32) -> Vec<Vec<[u16; 3]>> {
    let logc4 = encoding("logc4").unwrap();
    let (matrix, curve) = (logc4.from_acescg(), logc4.curve.values::<f64>());
    let prepared = greyhold::demo::scene(scene).unwrap().prepare(192, 108);
    let code = |v: f64| (curve.encode(v).clamp(0.0, 1.0) * 1023.0).round() as u16;
    let record =
        |n: u32| prepared.frame(n).iter().map(|p| matrix.times(p.map(f64::from)).map(code)).collect();
    (0..count).map(record).collect()
}

/// A show of two shots, on disk.
fn show(folder: &Path) -> Show {
    let mut show = Show::new("Winter");
    for (i, name) in ["A001_C003", "B002_C001"].into_iter().enumerate() {
        for (number, pixels) in frames(["platform", "workshop"][i], 6).into_iter().enumerate() {
            let path = folder.join(format!("{name}.{:05}.dpx", 86400 + number));
            let image = Image::Codes { width: 192, height: 108, depth: 10, pixels: &pixels };
            write_image(&path, ImageFormat::Dpx, &image).unwrap();
        }
        let source = format!("{name}.#####.dpx");
        let shot = Shot::new(["platform", "blue hour"][i], source, 1..6, encoding("logc4").unwrap());
        show.apply(Change::AddShot { at: i, shot }).unwrap();
    }
    show
}

fn stage(key: &str, values: &[(&str, f64)]) -> Stage {
    let mut stage = Stage::new(greyhold::look::stage(key).unwrap());
    for (name, value) in values {
        let at = stage.declaration().index(name).unwrap();
        stage.values[at] = *value;
    }
    stage
}

fn balanced(show: &mut Show, shot: usize, values: &[(BalanceField, f64)]) {
    let mut balance = Balance::default();
    for (field, value) in values {
        balance = balance.with(*field, *value);
    }
    show.shots[shot].balance = balance;
}

fn job<'a>(show: &'a Show, dir: &'a Path, out: &'a Path, sizes: &'a [usize]) -> Job<'a> {
    let acescct = encoding("acescct").unwrap();
    Job {
        show,
        dir,
        out,
        shots: &[0, 1],
        output: Output::Files,
        space: acescct,
        input: acescct,
        sizes,
        clf_size: 65,
        codes: Codes::Full,
        shot_luts: true,
        now: 1_800_000_000,
    }
}

fn run(job: &Job<'_>) -> Report {
    hand_off(job, &mut |_, _, _| true).unwrap()
}

fn close(a: Distance, b: Distance, within: f64) -> bool {
    [(a.p50, b.p50), (a.p99, b.p99), (a.max, b.max)].iter().all(|(a, b)| (a - b).abs() <= within)
}

/// Codes of ten bits at the 99th percentile that a table may be off. One is what is aimed at, and not reached where ACES 2.0
/// makes a channel fall steeply; a CLF without a cube is exact.
fn allowed(lut: &greyhold::engine::handoff::Lut) -> f64 {
    match lut.processes {
        Some((_, false)) => 0.05,
        Some((_, true)) => 4.0,
        None if lut.kind == LutKind::Chain => 4.0,
        None if lut.file.path.contains("_65") => 6.0,
        None => f64::INFINITY,
    }
}

/// A look with curves, colour and texture, and balance of every kind.
fn graded(folder: &Path) -> Show {
    let mut show = show(folder);
    for (key, values) in
        [("contrast", &[][..]), ("split-tone", &[][..]), ("saturation", &[][..]), ("grain", &[][..])]
    {
        let at = show.chain.look.len();
        show.apply(Change::AddStage { list: List::Look, at, stage: stage(key, values) }).unwrap();
    }
    use BalanceField as F;
    balanced(&mut show, 0, &[(F::Exposure, 0.6), (F::Warmth, 25.0), (F::Tint, -3.0), (F::Contrast, 1.1)]);
    balanced(
        &mut show,
        1,
        &[
            (F::Exposure, -0.4),
            (F::ShadowExposure, 0.3),
            (F::HighlightCb, -2.0),
            (F::OffsetR, 1.5),
            (F::Saturation, 1.1),
        ],
    );
    show
}

#[test]
fn opencolorio_makes_the_same_pictures_of_the_tables() {
    let folder = tempfile::tempdir().unwrap();
    let show = graded(folder.path());
    let out = folder.path().join("out");
    let job = job(&show, folder.path(), &out, &[17, 33, 65]);
    let report = run(&job);
    assert_eq!(report.left_out, ["grain"]);
    let acescct = encoding("acescct").unwrap();
    let aces = encoding("aces2065-1").unwrap();
    let sampled: Vec<_> = show.shots.iter().map(|s| sample(&show, s, folder.path()).unwrap()).collect();
    // What comes to the chain.
    let mut light = Vec::new();
    for (i, s) in sampled.iter().enumerate() {
        let (path, _) = job.path(i, Tail::Encoding(acescct)).unwrap();
        light.extend(path.without_stages().pixels(&s.camera));
    }
    let check = |lut: &greyhold::engine::handoff::Lut, inputs: &[[f64; 3]], live: Vec<[f64; 3]>| {
        let file = out.join(&lut.file.path);
        let found = through(folder.path(), &["apply", file.to_str().unwrap()], inputs);
        let distance = Distance::between(&found, &live);
        println!("{}: {} (says {})", lut.file.path, distance.text(), lut.distance.text());
        distance
    };
    for lut in &report.luts {
        let tail = if lut.kind == LutKind::ChainToDisplay { job.tail() } else { Tail::Encoding(acescct) };
        let distance = if lut.kind == LutKind::Aces {
            // Light, whose differences are measured on ACEScct.
            let to = |from, to| job.chain(from, Tail::Encoding(to)).0.without_stages();
            let inputs = to(acescct, aces).pixels(&light);
            let file = out.join(&lut.file.path);
            let found = through(folder.path(), &["apply", file.to_str().unwrap()], &inputs);
            let live = job.chain(acescct, Tail::Encoding(acescct)).0.pixels(&light);
            let distance = Distance::between(&to(aces, acescct).pixels(&found), &live);
            println!("{}: {} (says {})", lut.file.path, distance.text(), lut.distance.text());
            distance
        } else {
            let live = job.chain(acescct, tail).0.pixels(&light);
            check(lut, &light, live)
        };
        assert!(close(distance, lut.distance, 0.05), "{}: {distance:?}, {:?}", lut.file.path, lut.distance);
        assert!(distance.p99 < allowed(lut), "{}: {distance:?}", lut.file.path);
    }
    for shot in &report.shots {
        let path = job.path(shot.shot, job.tail()).unwrap().0;
        let camera = &sampled[shot.shot].camera;
        for lut in &shot.luts {
            let distance = check(lut, camera, path.pixels(camera));
            assert!(
                close(distance, lut.distance, 0.05),
                "{}: {distance:?}, {:?}",
                lut.file.path,
                lut.distance
            );
            assert!(distance.p99 < allowed(lut), "{}: {distance:?}", lut.file.path);
        }
    }
}

#[test]
fn a_decision_is_as_far_from_balance_as_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let show = graded(folder.path());
    for space in ["acescct", "logc4"] {
        let out = folder.path().join(space);
        let mut job = job(&show, folder.path(), &out, &[17]);
        job.space = encoding(space).unwrap();
        job.shot_luts = false;
        let report = run(&job);
        for shot in &report.shots {
            let camera = sample(&show, &show.shots[shot.shot], folder.path()).unwrap().camera;
            let (live, _) = job.path(shot.shot, job.tail()).unwrap();
            let onto =
                live.part(live.recipe.decode.encoding, None, Tail::Encoding(job.space)).without_stages();
            let name = show.shots[shot.shot].name.as_str();
            let file = out.join("Winter.ccc");
            let decided =
                through(folder.path(), &["decide", file.to_str().unwrap(), name], &onto.pixels(&camera));
            let shown = live.part(job.space, None, job.tail()).pixels(&decided);
            let distance = Distance::between(&shown, &live.pixels(&camera));
            println!("{name} on {space}: {} (says {})", distance.text(), shot.decision.distance.text());
            assert!(shot.decision.fitted);
            assert!(close(distance, shot.decision.distance, 0.05), "{distance:?}, {:?}", shot.decision);
        }
    }
}

#[test]
fn what_a_cdl_carries_comes_back_exactly() {
    let folder = tempfile::tempdir().unwrap();
    let mut show = show(folder.path());
    use BalanceField as F;
    let out: PathBuf = folder.path().join("out");
    balanced(
        &mut show,
        0,
        &[(F::Contrast, 1.2), (F::SlopeR, 1.1), (F::OffsetB, -3.0), (F::PowerG, 1.15), (F::Saturation, 0.8)],
    );
    balanced(&mut show, 1, &[(F::Contrast, 0.9), (F::OffsetR, 4.0), (F::PowerB, 0.8), (F::SlopeG, 0.95)]);
    let mut job = job(&show, folder.path(), &out, &[17]);
    job.shot_luts = false;
    let report = run(&job);
    let acescct = encoding("acescct").unwrap();
    for shot in &report.shots {
        assert!(!shot.decision.fitted && shot.decision.distance.max < 1e-6, "{:?}", shot.decision);
        let camera = sample(&show, &show.shots[shot.shot], folder.path()).unwrap().camera;
        // The picture before the look.
        let ours = job.path(shot.shot, Tail::Encoding(acescct)).unwrap().0.without_stages();
        let decoded = ours.part(ours.recipe.decode.encoding, None, Tail::Encoding(acescct)).pixels(&camera);
        for file in ["Winter.ccc", "Winter.cdl"] {
            let (file, name) = (out.join(file), show.shots[shot.shot].name.as_str());
            let found = through(folder.path(), &["decide", file.to_str().unwrap(), name], &decoded);
            let far = found
                .iter()
                .flatten()
                .zip(ours.pixels(&camera).iter().flatten().copied().collect::<Vec<_>>());
            let far = far.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            println!("{name}: {far:.1e} from opencolorio");
            assert!(far < 1e-5, "{far}");
        }
    }
}

#[test]
fn the_folder_is_whole_and_others_read_it() {
    let folder = tempfile::tempdir().unwrap();
    let show = graded(folder.path());
    let out = folder.path().join("out");
    let mut job = job(&show, folder.path(), &out, &[9]);
    job.clf_size = 9;
    job.codes = Codes::Legal;
    let report = run(&job);

    // Every file is there with its checksum, as coreutils work it out.
    let checked = Command::new("sha256sum")
        .args(["--check", "--strict", "checksums.sha256"])
        .current_dir(&out)
        .output();
    assert!(checked.unwrap().status.success());
    let mut found = Vec::new();
    for sub in ["", "luts", "shots"] {
        let entries = std::fs::read_dir(out.join(sub)).unwrap().map(|e| e.unwrap());
        found.extend(entries.filter(|e| e.path().is_file()).map(|e| Path::new(sub).join(e.file_name())));
    }
    found.sort();
    let mut wanted: Vec<_> = report.files.iter().map(|f| PathBuf::from(&f.path)).collect();
    wanted.sort();
    assert_eq!(found, wanted);

    // Others read the running order with its decisions.
    let orders = |arguments: &[&str]| {
        let root = env!("CARGO_MANIFEST_DIR");
        let mut command = Command::new(format!("{root}/target/oracle-venv/bin/python"));
        let output = command.arg(format!("{root}/tests/oracle/orders.py")).args(arguments).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    for (kind, file) in [("edl", "Winter.edl"), ("otio", "Winter.otio")] {
        let file = out.join(file);
        let rate: &[&str] = if kind == "edl" { &["24"] } else { &[] };
        let text = orders(&[&[kind, file.to_str().unwrap()], rate].concat());
        let rows: Vec<Vec<&str>> = text.lines().map(|l| l.split('\t').collect()).collect();
        assert_eq!(rows.len(), 2, "{text}");
        for (row, shot) in rows.iter().zip(&report.shots) {
            // The frame's number stands for its timecode: frame 1 of 86400 and on.
            assert_eq!(
                row[1..4].iter().map(|n| n.parse::<f64>().unwrap()).collect::<Vec<_>>(),
                [86401.0, 5.0, 24.0]
            );
            let cdl = shot.decision.cdl;
            let numbers = [cdl.slope, cdl.offset, cdl.power].concat().into_iter().chain([cdl.saturation]);
            for (a, b) in numbers.zip(&row[5..]) {
                assert!((a - b.parse::<f64>().unwrap()).abs() < 1e-6, "{kind}: {a} {b}");
            }
        }
    }
    // ACES Metadata Files are built as their schema says.
    let files = ["platform.amf", "blue_hour.amf"].map(|f| out.join("shots").join(f));
    let names: Vec<&str> = files.iter().map(|f| f.to_str().unwrap()).collect();
    assert_eq!(orders(&[&["amf"], &names[..]].concat()), "");
    let broken = std::fs::read_to_string(&files[0]).unwrap().replace("aces:clipName", "aces:clipname");
    std::fs::write(folder.path().join("broken.amf"), broken).unwrap();
    assert_ne!(orders(&["amf", folder.path().join("broken.amf").to_str().unwrap()]), "");

    // The page stands alone, and says what is to be known.
    let page = std::fs::read_to_string(&report.page).unwrap();
    for needle in ["http:", "https:", "<script", "src=\"/", "@import", "url("] {
        assert!(!page.contains(needle), "{needle}");
    }
    assert_eq!(page.matches("<img ").count(), 4);
    assert!(page.contains("No table holds grain"));
    for file in report.files.iter().filter(|f| f.path != "handoff.html") {
        assert!(page.contains(&file.sha256) || file.path == "checksums.sha256", "{}", file.path);
    }
}

#[test]
fn one_that_is_given_up_has_no_page() {
    let folder = tempfile::tempdir().unwrap();
    let show = graded(folder.path());
    let out = folder.path().join("out");
    let mut job = job(&show, folder.path(), &out, &[5]);
    job.clf_size = 5;
    let mut steps = 0;
    let result = hand_off(&job, &mut |_, done, total| {
        steps += 1;
        assert!(done < total);
        done < 3
    });
    assert!(matches!(result, Err(greyhold::engine::handoff::HandoffError::GivenUp)));
    assert_eq!(steps, 4);
    assert!(!out.join("handoff.html").exists());
    // Nothing half-written lies about.
    for entry in walk(&out) {
        let name = entry.to_string_lossy().into_owned();
        assert!([".cube", ".clf"].iter().any(|e| name.ends_with(e)), "{name}");
    }
}

fn walk(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    entries.flat_map(|p| if p.is_dir() { walk(&p) } else { vec![p] }).collect()
}
