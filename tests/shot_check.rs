//! The check of shots: pictures that break a limit fail by it, and by it alone; others pass.

mod support;

use std::fs;
use std::path::{Path, PathBuf};

use greyhold::check::{Limits, ShotMeter, Verdict, shot_rows};
use greyhold::colour::display;
use greyhold::media::{Image, ImageFormat, write_image};
use support::greyhold;

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

type Picture = dyn Fn(u32, f32, f32) -> [f32; 3];

/// Rows of a shot of pictures given by frame and place.
fn measured(id: &str, frames: u32, picture: &Picture) -> Vec<(&'static str, f64, Verdict)> {
    let (w, h) = (128u32, 72u32);
    let mut meter = ShotMeter::new(display(id).unwrap(), 24.0, (w, h));
    meter.begin("shot");
    for frame in 0..frames {
        let at = |i: u32| picture(frame, (i % w) as f32 / w as f32, (i / w) as f32 / h as f32);
        meter.frame(&(0..w * h).map(at).collect::<Vec<_>>());
    }
    let report =
        meter.report("show", id.into(), 24.0, &Limits::shipped(), &|_, frame| format!("frame {frame}"));
    assert_eq!(report.passes, report.shots[0].rows.iter().all(|r| r.verdict != Verdict::Fail));
    assert!(report.notes[0].contains("licensed"), "the usual caution");
    report.shots[0].rows.iter().map(|r| (r.declared.key, r.value, r.verdict)).collect()
}

fn failed(rows: &[(&'static str, f64, Verdict)]) -> Vec<&'static str> {
    rows.iter().filter(|r| r.2 == Verdict::Fail).map(|r| r.0).collect()
}

fn value(rows: &[(&'static str, f64, Verdict)], key: &str) -> f64 {
    rows.iter().find(|r| r.0 == key).unwrap().1
}

#[test]
fn each_limit_is_passed_by_what_breaks_it_alone() {
    let calm = |_: u32, x: f32, y: f32| [0.2 + 0.5 * x, 0.25 + 0.4 * y, 0.3];
    let rows = measured("rec709", 30, &calm);
    assert!(failed(&rows).is_empty(), "{rows:?}");
    assert_eq!(rows.len(), shot_rows().count());
    assert!(
        rows.iter().all(|r| Limits::shipped().of_shots(r.0).is_some()),
        "every row has a limit or says why not"
    );
    assert!(
        (value(&rows, "signal-most") - 69.8).abs() < 1.5 && value(&rows, "clip-share") == 0.0,
        "{rows:?}"
    );

    // Columns of pure red and pure green, a pixel each: chroma at half the width makes other colours of them (EBU R 103 speaks of that).
    let stripes =
        |_: u32, x: f32, _: f32| if (x * 128.0) as u32 % 2 == 0 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
    let rows = measured("rec709", 3, &stripes);
    assert_eq!(failed(&rows), ["signal-past"], "{rows:?}");
    assert!(value(&rows, "signal-past") > 45.0 && value(&rows, "gamut-outside") > 1.0, "{rows:?}");

    let (black, white) = (
        |_: u32, x: f32, _: f32| [if x < 0.5 { 0.0 } else { 0.5 }; 3],
        |_: u32, x: f32, _: f32| [if x < 0.25 { 1.0 } else { 0.5 }; 3],
    );
    let rows = measured("rec709", 3, &black);
    assert!((value(&rows, "black-share") - 50.0).abs() < 1.0 && failed(&rows).is_empty(), "{rows:?}");
    assert_eq!(rows.iter().find(|r| r.0 == "black-share").unwrap().2, Verdict::Advice);
    let rows = measured("rec709", 3, &white);
    assert!((value(&rows, "clip-share") - 25.0).abs() < 1.0, "{rows:?}");
    // At 1000 cd/m² PQ's peak is signal 0.7518 (SMPTE ST 2084), and above it nothing is delivered.
    let rows = measured("rec2100-pq-1000", 3, &|_, x, _| [if x < 0.25 { 0.7518 } else { 0.5 }; 3]);
    assert!((value(&rows, "clip-share") - 25.0).abs() < 1.0, "{rows:?}");

    let rows = measured("rec709", 48, &|frame, _, _| [if frame % 4 < 2 { 0.1 } else { 0.8 }; 3]);
    assert_eq!(failed(&rows), ["flashes"], "{rows:?}");
    assert_eq!(value(&rows, "flashes"), 6.0);
    let rows =
        measured("rec709", 48, &|frame, _, _| if frame % 4 < 2 { [0.75, 0.0, 0.0] } else { [0.393; 3] });
    assert_eq!(failed(&rows), ["red-flashes"], "{rows:?}");
    // A colour of BT.2020 outside P3 on a display that keeps within P3.
    let rows = measured("rec2100-pq-1000-p3", 3, &|_, _, _| [0.1, 0.6, 0.1]);
    assert!(value(&rows, "gamut-outside") > 99.0, "{rows:?}");
}

/// A show of two shots, one of which flashes, through the command: text, JSON, page, exit status, own limits.
#[test]
fn the_command_says_which_shot_fails_and_why() {
    let dir = tempfile::tempdir().unwrap();
    let show = dir.path().join("show");
    let run = |arguments: &[&str]| greyhold().args(arguments).output().unwrap();
    assert!(run(&["new", path(&show), "--rate", "24", "--raster", "64x36"]).status.success());
    for (name, flashes) in [("calm", false), ("strobe", true)] {
        let folder = dir.path().join(name);
        fs::create_dir(&folder).unwrap();
        for frame in 0..36u32 {
            let level = if flashes && frame % 4 < 2 { 700 } else { 250 };
            let pixels = vec![[level; 3]; 64 * 36];
            let image = Image::Codes { width: 64, height: 36, depth: 10, pixels: &pixels };
            write_image(&folder.join(format!("{name}.{frame:04}.dpx")), ImageFormat::Dpx, &image).unwrap();
        }
        assert!(run(&["add", path(&show), path(&folder), "--encoding", "logc4"]).status.success());
    }
    let page: PathBuf = dir.path().join("report.html");
    let out = run(&["check", path(&show), "--shots", "--on", "cpu", "--out", path(&page)]);
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert_eq!(out.status.code(), Some(1), "{said}{}", String::from_utf8_lossy(&out.stderr));
    let strobe = said.split("\nstrobe\n").nth(1).unwrap();
    assert!(strobe.lines().any(|l| l.contains("Flashes in a second") && l.contains("FAILS")), "{said}");
    let calm = said.split("\ncalm\n").nth(1).unwrap().split("\nstrobe").next().unwrap();
    assert!(!calm.contains("FAILS"), "{said}");
    assert!(said.contains("licensed analyser"), "{said}");
    let html = fs::read_to_string(&page).unwrap();
    assert!(
        html.contains("Shot check") && html.contains("licensed analyser") && html.contains("<svg"),
        "the page"
    );
    assert!(
        !html.contains("http://")
            || html.matches("http://").count() == html.matches("http://www.w3.org").count()
    );

    let out = run(&["check", path(&show), "--shots", "calm", "--on", "cpu", "--json"]);
    assert!(out.status.success());
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!((&json["passes"], json["shots"].as_array().unwrap().len()), (&true.into(), 1));
    assert_eq!(json["shots"][0]["rows"].as_array().unwrap().len(), shot_rows().count());
    // On the GPU the same, but for half a code.
    let gpu = run(&["check", path(&show), "--shots", "calm", "--json"]);
    let gpu: serde_json::Value = serde_json::from_slice(&gpu.stdout).unwrap();
    let level = |j: &serde_json::Value| j["shots"][0]["rows"][1]["value"].as_f64().unwrap();
    assert!((level(&gpu) - level(&json)).abs() < 0.12, "{} {}", level(&gpu), level(&json));

    let text = fs::read_to_string("configs/check.toml").unwrap();
    let own = dir.path().join("own.toml");
    fs::write(
        &own,
        text.replace("flashes = { most = 3.0", "flashes = { most = 100.0")
            .replace("red-flashes", "red-flashes"),
    )
    .unwrap();
    let out = run(&["check", path(&show), "--shots", "--on", "cpu", "--limits", path(&own)]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stdout));
    fs::write(&own, text.replace("black-share", "blackness")).unwrap();
    let out = run(&["check", path(&show), "--shots", "--limits", path(&own)]);
    assert!(String::from_utf8_lossy(&out.stderr).contains("blackness"), "{out:?}");
    let out = run(&["check", path(&show), "--shots", "--every", "6", "--on", "cpu"]);
    assert!(
        out.status.success() && String::from_utf8_lossy(&out.stdout).contains("flashes are not judged"),
        "flashes need every frame"
    );
}
