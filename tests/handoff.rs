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

/// A frame of light from deep shadows to highlights in all hues, as LogC4 records it in ten bits.
fn frame(seed: u32) -> Vec<[u16; 3]> {
    let logc4 = encoding("logc4").unwrap();
    let (matrix, curve) = (logc4.from_acescg(), logc4.curve.values::<f64>());
    let mut pixels = Vec::new();
    for y in 0..108u32 {
        for x in 0..192u32 {
            let stops = -7.5 + 13.0 * f64::from(x) / 191.0;
            let angle = f64::from(y) / 108.0 * std::f64::consts::TAU;
            // A hash in place of noise.
            let hash = (x * 7919 + y * 104_729 + seed * 1_299_709).wrapping_mul(2_654_435_761) >> 16;
            let chroma = 0.75 * f64::from(hash % 97) / 96.0;
            let of = |shift: f64| 1.0 + chroma * (angle + shift).cos();
            let third = std::f64::consts::TAU / 3.0;
            let light = [of(0.0), of(-third), of(third)].map(|v| 0.18 * stops.exp2() * v);
            pixels
                .push(matrix.times(light).map(|v| (curve.encode(v).clamp(0.0, 1.0) * 1023.0).round() as u16));
        }
    }
    pixels
}

/// A show of two shots, on disk.
fn show(folder: &Path) -> Show {
    let mut show = Show::new("Winter");
    for (i, name) in ["A001_C003", "B002_C001"].into_iter().enumerate() {
        for number in 0..6 {
            let path = folder.join(format!("{name}.{:05}.dpx", 86400 + number));
            let pixels = frame(10 * i as u32 + number);
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
        if lut.processes.is_some() || lut.file.path.contains("_65") {
            assert!(distance.p99 < 1.0, "{}: {distance:?}", lut.file.path);
        }
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
            if lut.processes.is_some() || lut.file.path.contains("_65") {
                assert!(distance.p99 < 1.0, "{}: {distance:?}", lut.file.path);
            }
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
