//! The first pass from files to the saved show: charts in LogC4 under three lights, through the program's own commands.

mod support;

use std::path::Path;

use greyhold::colour::patches::PATCHES;
use greyhold::colour::{ACES_WHITE, AP1, Adaptation, GREY, beside_locus, encoding};
use greyhold::media::{Image, ImageFormat, write_image};
use greyhold::picture::{BalanceField, luminance};
use greyhold::scope::Reading;
use greyhold::show::{Show, balanced_grey, load};
use support::greyhold;

const SIZE: (u32, u32) = (320, 180);

/// What a light of so many kelvin and stops makes of light.
fn under(kelvin: f64, stops: f64) -> impl Fn([f64; 3]) -> [f64; 3] {
    let xyz = AP1.to_xyz();
    let adapt = Adaptation::Bradford.matrix(ACES_WHITE, beside_locus(1e6 / kelvin, 0.0));
    let matrix = xyz.inverse().after(&adapt).after(&xyz);
    move |light| matrix.times(light).map(|v| v * stops.exp2())
}

/// Signal of a scene with a chart in it, in an encoding.
fn signal(id: &str, kelvin: f64, stops: f64) -> Vec<[f64; 3]> {
    let encoding = encoding(id).unwrap();
    let (curve, matrix) = (encoding.curve.values::<f64>(), encoding.from_acescg());
    let lit = under(kelvin, stops);
    (0..SIZE.0 * SIZE.1)
        .map(|i| {
            let (x, y) = (f64::from(i % SIZE.0), f64::from(i / SIZE.0));
            let (column, row) = ((x - 60.0) / 24.0, (y - 40.0) / 24.0);
            let patch = (0.0..6.0).contains(&column) && (0.0..4.0).contains(&row);
            let edge = (column.fract() - 0.5).abs().max((row.fract() - 0.5).abs()) > 0.42;
            let framed = (-0.2..6.2).contains(&column) && (-0.2..4.2).contains(&row);
            let light = match (patch && !edge, framed) {
                (true, _) => PATCHES[row as usize * 6 + column as usize],
                (false, true) => [0.035; 3],
                // Black velvet at the left, else cloth.
                _ if x < 12.0 => [0.0; 3],
                _ => {
                    let wave = 0.12 + 0.1 * (x * 0.11 + y * 0.07).sin() * (y * 0.05).cos();
                    [wave * 1.1, wave, wave * 0.8]
                }
            };
            matrix.times(lit(light)).map(|v| curve.encode(v))
        })
        .collect()
}

fn clip(folder: &Path, name: &str, signal: &[[f64; 3]]) -> std::path::PathBuf {
    std::fs::create_dir_all(folder).unwrap();
    let pixels: Vec<[u16; 3]> =
        signal.iter().map(|p| p.map(|v| (v.clamp(0.0, 1.0) * 1023.0).round() as u16)).collect();
    let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
    let path = folder.join(format!("{name}.dpx"));
    write_image(&path, ImageFormat::Dpx, &image).unwrap();
    path
}

fn run(arguments: &[&str]) -> (i32, String, String) {
    let out = greyhold().args(arguments).output().unwrap();
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr))
}

fn json(arguments: &[&str]) -> serde_json::Value {
    let (_, out, err) = run(arguments);
    serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {out}\n{err}"))
}

/// Stops of a shot's grey from middle grey, and its largest channel over its smallest.
fn grey(show: &Show, shot: usize, kelvin: f64, stops: f64) -> (f64, f64) {
    let light = balanced_grey(&show.shots[shot], &Reading::by_hand(under(kelvin, stops)([GREY; 3])));
    let [low, high] = [f64::min, f64::max].map(|f| light.into_iter().reduce(f).unwrap());
    ((luminance(light) / GREY).log2(), high / low)
}

#[test]
fn from_files_to_the_saved_show() {
    let dir = tempfile::tempdir().unwrap();
    let (show_dir, footage) = (dir.path().join("show"), dir.path().join("footage"));
    let show = show_dir.to_str().unwrap();
    let lights = [(3200.0, 1.0), (5600.0, -1.5), (7000.0, 0.0)];
    assert_eq!(run(&["new", show]).0, 0);
    for (name, (kelvin, stops)) in ["lamp", "dusk", "shade"].into_iter().zip(lights) {
        let file = clip(&footage, name, &signal("logc4", kelvin, stops));
        let (code, _, err) = run(&["add", show, file.to_str().unwrap(), "--encoding", "logc4"]);
        assert_eq!(code, 0, "{err}");
    }
    let names = load(&show_dir).unwrap().shots.iter().map(|s| s.name.clone()).collect::<Vec<_>>();

    // The survey sees what is off, and changes nothing.
    let before = std::fs::read(show_dir.join("show.toml")).unwrap();
    let found = json(&["survey", show, "--json"]);
    assert!((found[0]["stops off"].as_f64().unwrap() - 1.0).abs() < 0.1, "{found}");
    assert!((found[1]["stops off"].as_f64().unwrap() + 1.5).abs() < 0.1, "{found}");
    assert!(
        found[2]["stops off"].is_null() && found[0]["cast in degrees"].as_f64().unwrap() > 10.0,
        "{found}"
    );
    assert!(found.as_array().unwrap().iter().all(|f| f["encoding doubtful"] == false), "{found}");
    assert_eq!(run(&["survey", show]).0, 1);

    // Proposed, and not taken; then taken.
    let proposed = json(&["suggest", show, "--json"]);
    assert_eq!(proposed.as_array().unwrap().len(), 3);
    assert_eq!(proposed[0]["evidence"], "chart", "{proposed}");
    assert_eq!(std::fs::read(show_dir.join("show.toml")).unwrap(), before);
    let (code, out, err) = run(&["suggest", show, "--shot", "1", "--apply"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("by chart") && out.contains("sure"), "{out}");
    let saved = load(&show_dir).unwrap();
    let (stops, cast) = grey(&saved, 0, 3200.0, 1.0);
    assert!(stops.abs() < 0.05 && cast < 1.02, "{stops} {cast}");
    assert_eq!(saved.shots[1].balance, Default::default());

    // The second sits with the first.
    let (code, out, err) = run(&["match", show, "--shot", &names[1], "--to", &names[0], "--apply"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("to sit with"), "{out}");
    let (stops, cast) = grey(&load(&show_dir).unwrap(), 1, 5600.0, -1.5);
    assert!(stops.abs() < 0.1 && cast < 1.04, "{stops} {cast}");

    // A card that is pointed at: here the chart's neutral 5, which is 19 %; half of what is proposed.
    let at = ["suggest", show, "--shot", "3", "--patch", "144,124", "--strength", "0.5", "--json"];
    let half = json(&at);
    assert_eq!((&half[0]["evidence"], &half[0]["sure"]["white"]), (&"patch".into(), &1.0.into()));
    let exposure = half[0]["to"]["exposure"].as_f64().unwrap();
    assert!((exposure - 0.5 * (GREY / PATCHES[21][1]).log2()).abs() < 0.05, "{exposure}");

    // One balance for all of the camera.
    let (code, out, _) = run(&["copy-balance", show, "1", "--camera"]);
    assert_eq!(code, 0);
    assert!(out.contains(&names[2]), "{out}");
    let saved = load(&show_dir).unwrap();
    assert!(saved.shots.iter().all(|s| s.balance == saved.shots[0].balance));
    assert!(saved.shots[0].balance.get(BalanceField::Exposure) < -0.9);

    // Wrong ones are refused with what there is.
    for (arguments, says) in [
        (vec!["suggest", show, "--shot", "9"], "no shot is called \"9\""),
        (vec!["suggest", show, "--shot", "1", "--strength", "2"], "no number from 0 to 1"),
        (vec!["suggest", show, "--shot", "1", "--patch", "4000,3"], "outside the picture"),
        (vec!["suggest", show, "--shot", "1", "--frame", "7"], "has no frame 7"),
        (vec!["encoding", show, "--set", "s-log9"], "no encoding is called"),
        (vec!["copy-balance", show, "1", "--to", "nobody"], "no shot is called"),
    ] {
        let (code, _, err) = run(&arguments);
        assert!(code != 0 && err.contains(says), "{arguments:?}: {err}");
    }
}

#[test]
fn what_is_read_as_something_else_is_told_and_not_changed() {
    let dir = tempfile::tempdir().unwrap();
    let (show_dir, footage) = (dir.path().join("show"), dir.path().join("footage"));
    let show = show_dir.to_str().unwrap();
    assert_eq!(run(&["new", show]).0, 0);
    // Log as log twice, log as a display's, a display's as log.
    let log = signal("logc4", 5600.0, 0.0);
    let display = signal("bt1886", 5600.0, 0.3);
    for (name, signal, read) in
        [("a", &log, "logc4"), ("b", &log, "logc4"), ("c", &log, "bt1886"), ("d", &display, "logc4")]
    {
        let file = clip(&footage, name, signal);
        assert_eq!(run(&["add", show, file.to_str().unwrap(), "--encoding", read]).0, 0);
    }
    let found = json(&["encoding", show, "--json"]);
    let could = |i: usize| found[i]["could be"]["encoding"].as_str().unwrap_or("").to_owned();
    assert_eq!([could(0), could(1), could(2), could(3)], ["", "", "logc4", "bt1886"], "{found}");
    assert!(found[3]["reasons"][0].as_str().unwrap().contains("black of logc4"), "{found}");
    let ids = || load(&show_dir).unwrap().shots.iter().map(|s| s.encoding.id).collect::<Vec<_>>();
    assert_eq!(ids(), ["logc4", "logc4", "bt1886", "logc4"], "told, not changed");
    let names: Vec<_> = load(&show_dir).unwrap().shots.iter().map(|s| s.name.clone()).collect();
    let two = format!("{},{}", names[0], names[2]);
    let (code, out, _) = run(&["encoding", show, "--shots", &two, "--set", "s-log3", "--range", "full"]);
    assert_eq!((code, out.trim()), (0, "2 shots are read as s-log3"));
    assert_eq!(ids(), ["s-log3", "logc4", "s-log3", "logc4"]);
}
