//! Each live output of a running engine has its own display, trim, calibration; what windows get is what the CPU twin
//! says of the show as it stands.

mod support;

use std::path::Path;
use std::sync::Arc;

use greyhold::colour::{Aces2, encoding};
use greyhold::engine::{CACHE, Command, Handle, Input, Live, Options, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::picture::{ShowLut, TrimField, cpu};
use greyhold::show::{Change, Output, OutputSettings, Shot, Show, known_display, load_lut, read_displays};
use support::{sequence, wait_for};

const SIZE: (u32, u32) = (64, 36);

/// Waits until both windows get what the CPU twin says.
fn agrees(engine: &Handle, what: &str) {
    for (live, output) in [(Live::Desk, Output::Desk), (Live::Client, Output::Client)] {
        wait_for(&format!("{what}: {}", output.key()), || {
            let picture = engine.picture(live)?;
            let snapshot = engine.snapshot();
            let path = snapshot.show.shots[0].source_path(&snapshot.dir);
            let frame = greyhold::media::open(&path, &Default::default()).ok()?.frame(picture.frame).ok()?;
            let tail = snapshot.show.tail(output);
            let recipe = greyhold::show::recipe(&snapshot.show, 0, tail, picture.frame as u32)?;
            let wanted = cpu::codes(&recipe, &frame, 8, true).pixels;
            let found = engine.gpu.read_screen(&picture.output).unwrap();
            let near = |(w, f): (&[u16; 3], &[u8; 4])| (0..3).all(|c| w[c].abs_diff(f[c].into()) <= 1);
            (wanted.len() == found.len() && wanted.iter().zip(&found).all(near)).then_some(())
        });
    }
}

/// The client's mean code.
fn mean(engine: &Handle, live: Live) -> f64 {
    let picture = engine.picture(live).expect("a picture");
    let codes = engine.gpu.read_screen(&picture.output).unwrap();
    codes.iter().map(|p| f64::from(p[1])).sum::<f64>() / codes.len() as f64
}

#[test]
fn every_live_output_has_its_own() {
    let (dir, gpu) = (tempfile::tempdir().unwrap(), Gpu::headless(Request::default()).unwrap());
    sequence(&dir.path().join("take"), SIZE, 2);
    let mut show = Show::new("two windows");
    // Higher than the frames are: black above and below, which calibration and the show's table have something to do with.
    show.raster = Some((80, 60));
    show.shots.push(Shot::new(
        "a",
        Path::new("take").join("take.####.dpx"),
        0..2,
        encoding("logc4").unwrap(),
    ));
    show.displays = read_displays(
        "version = 1\n[display.projector]\npeak = 117\nprimaries = \"p3-d65\"\nlimit = \"bt709\"\n\
         transfer = \"gamma 2.6\"\nwhite = \"d60\"\n",
        Path::new("d.toml"),
    )
    .unwrap();
    let projector = show.displays[0].clone();
    let options = Options {
        dir: dir.path().to_owned(),
        show: show.clone(),
        lock: None,
        panel: None,
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    let engine = start(gpu, options).unwrap();
    agrees(&engine, "as it opens");
    let same = || {
        let places = [Live::Desk, Live::Client].map(|l| engine.picture(l).unwrap().output.clone());
        Arc::ptr_eq(&places[0], &places[1])
    };
    assert!(same(), "outputs with one setting share a picture");

    let plain = mean(&engine, Live::Client);
    let turn = |target: &str, detents: f64| {
        engine.send(Input::Turn { target: target.into(), detents, control: 9 });
    };
    turn("output/client/exposure", -20.0);
    wait_for("the trim", || {
        (engine.snapshot().show.outputs.client.trim.get(TrimField::Exposure) == -1.0).then_some(())
    });
    agrees(&engine, "a stop less for the client");
    assert!(!same() && mean(&engine, Live::Client) < plain - 10.0);
    assert!((mean(&engine, Live::Desk) - plain).abs() < 1e-9, "the desk is as it was");

    // A display that nobody has worked out tables for.
    assert!(Aces2::ready(&projector).is_none());
    let change = Change::SetDisplay { output: Output::Client, display: projector.clone() };
    engine.send(Input::Change { change, control: 1 });
    wait_for("the display", || (engine.snapshot().show.outputs.client.display == projector).then_some(()));
    agrees(&engine, "the show's own display");
    assert!(Aces2::ready(&projector).is_some());

    // A table on the client's signal, whose plan has to be compiled.
    std::fs::write(
        dir.path().join("monitor.cube"),
        "LUT_3D_SIZE 2\n0.1 0.1 0.1\n0.1 0.1 0.9\n0.1 0.9 0.1\n0.1 0.9 0.9\n0.9 0.1 0.1\n0.9 0.1 0.9\n0.9 0.9 0.1\n0.9 0.9 0.9\n",
    )
    .unwrap();
    let calibration = Some(load_lut(dir.path(), Path::new("monitor.cube")).unwrap());
    let change = Change::SetCalibration { output: Output::Client, calibration };
    engine.send(Input::Change { change, control: 1 });
    wait_for("the table", || engine.snapshot().show.outputs.client.calibration.clone());
    agrees(&engine, "the client calibrated");

    // The show's own table, on the desk as it gives it and on the client by way of light.
    let file = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/show_lut.cube"));
    let lut = load_lut(dir.path(), file).unwrap();
    let (expects, gives) = (encoding("logc4").unwrap(), known_display("rec709").unwrap());
    let lut = Arc::new(ShowLut { lut, expects, gives });
    engine.send(Input::Change { change: Change::SetShowLut(lut), control: 1 });
    wait_for("the show's table", || engine.snapshot().show.show_lut.clone());
    agrees(&engine, "by the show's own table");

    // Keys and panels step through displays; the list begins with the desk's.
    turn("output/desk/display", 1.0);
    wait_for("the next display", || (engine.snapshot().show.outputs.desk.display.id == "srgb").then_some(()));
    agrees(&engine, "the desk on the next display");
    turn("output/desk/display", -10.0);
    wait_for("the first display", || {
        (engine.snapshot().show.outputs.desk.display.id == "rec709").then_some(())
    });
    turn("output/desk/display", -1.0);
    engine.send(Input::Reset { target: "output/client/display".into() });
    wait_for("the default", || (engine.snapshot().show.outputs.client.display.id == "rec709").then_some(()));
    engine.send(Input::Reset { target: "output/client/exposure".into() });
    wait_for("no trim", || {
        let client = &engine.snapshot().show.outputs.client;
        let expected =
            OutputSettings { calibration: client.calibration.clone(), ..show.outputs.client.clone() };
        (*client == expected).then_some(())
    });
    agrees(&engine, "back, but for the calibration");

    // All the way back.
    let steps = engine.snapshot().steps.0;
    assert!(steps >= 6, "{steps}");
    for _ in 0..steps {
        engine.send(Input::Command(Command::Undo));
    }
    wait_for("the show as it was", || (*engine.snapshot().show == show).then_some(()));
    agrees(&engine, "as it opened");
    engine.stop().unwrap();
}

/// What files say of outputs is refused where no show could have it, by the engine too, which says so.
#[test]
fn a_display_of_another_show_is_refused() {
    let (dir, gpu) = (tempfile::tempdir().unwrap(), Gpu::headless(Request::default()).unwrap());
    let options = Options {
        dir: dir.path().to_owned(),
        show: Show::new("empty"),
        lock: None,
        panel: None,
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    let engine = start(gpu, options).unwrap();
    let mut display = (*known_display("srgb").unwrap()).clone();
    display.id = "elsewhere".into();
    let change = Change::SetDisplay { output: Output::Client, display: Arc::new(display) };
    engine.send(Input::Change { change, control: 1 });
    let said = wait_for("word of it", || engine.snapshot().trouble.clone());
    assert!(said.contains("elsewhere") && said.contains("accepted: rec709, srgb"), "{said}");
    assert_eq!(engine.snapshot().show.outputs, Show::new("empty").outputs);
    engine.stop().unwrap();
}
