//! The suite, end to end: a panel on a real MIDI server moves the picture in a real client window, and
//! the time that takes. `cargo test --release --features jack --test suite`.
//!
//! One test, because libjack takes the server's name from the environment of the whole process.

mod support;

use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::engine::{CACHE, Handle, Live, Options, known_action, known_target, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::media::{Interpretation, open};
use greyhold::panel::{Map, SHIPPED, SystemPorts};
use greyhold::picture::BalanceField::{Exposure, OffsetB, OffsetG, OffsetR};
use greyhold::picture::{Fitting, FramingField, cpu};
use greyhold::show::{Output, Show, load, recipe, save};
use midir::MidiOutputConnection;
use support::{Process, Screen, greyhold, midi, sequence, wait_for};

const SIZE: (u32, u32) = (320, 180);
/// Size of the frames in that raster: they have to be framed.
const FRAMES: (u32, u32) = (256, 170);

fn offsets(show: &Show) -> [f64; 3] {
    [OffsetR, OffsetG, OffsetB].map(|f| show.shots[0].balance.get(f))
}

/// One detent up on an encoder of the shipped map, or one down.
fn turn(panel: &mut MidiOutputConnection, controller: u8, detents: i32) {
    let value = if detents > 0 { 1 } else { 127 };
    for _ in 0..detents.abs() {
        panel.send(&[0xB0, controller, value]).unwrap();
        std::thread::sleep(Duration::from_millis(8));
    }
}

fn make_show(dir: &std::path::Path, size: (u32, u32)) -> Show {
    sequence(&dir.join("footage"), size, 24);
    let run = |arguments: &[&str]| {
        let out = greyhold().args(arguments).output().unwrap();
        assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    };
    let (dir_text, clip) = (dir.to_str().unwrap(), dir.join("footage"));
    run(&["new", dir_text, "--name", "test"]);
    run(&["add", dir_text, clip.to_str().unwrap(), "--encoding", "logc4"]);
    let mut show = load(dir).unwrap();
    show.chain.look = ["contrast", "split-tone"]
        .map(|key| greyhold::look::Stage::new(greyhold::look::stage(key).unwrap()))
        .into();
    show.chain.look[0].values[0] = 1.3;
    show.chain.look[1].values[1] = 8.0;
    save(&show, dir).unwrap();
    show
}

/// What the CPU twin says the client's window holds for a show.
fn expected(dir: &std::path::Path, show: &Show) -> Vec<[u16; 3]> {
    let mut source = open(&show.shots[0].source_path(dir), &Interpretation::default()).unwrap();
    let recipe = recipe(show, 0, show.tail(Output::Client), 0).unwrap();
    cpu::codes(&recipe, &source.frame(0).unwrap(), 8, true).pixels
}

fn worst(pixels: &[[u8; 3]], expected: &[[u16; 3]]) -> Option<i32> {
    if pixels.len() != expected.len() {
        return None;
    }
    let pairs = pixels.iter().flatten().zip(expected.iter().flatten());
    pairs.map(|(a, b)| (i32::from(*a) - i32::from(*b)).abs()).max()
}

#[test]
fn a_panel_moves_the_clients_picture() {
    // SAFETY: the only test of this process, before it starts any thread.
    let _server = unsafe { midi::server() };
    windows();
    let (paused, playing) = delay();
    // The target is the next frame, 41.7 ms at 24 a second; the limit leaves room for a busy machine. The
    // figures belong in the notes.
    assert!(paused < Duration::from_millis(500) && playing < Duration::from_millis(1000));
}

fn windows() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let mut before = make_show(dir, FRAMES);
    before.raster = Some(SIZE);
    save(&before, dir).unwrap();
    let screen = Screen::start(1500, 900);
    let mut panel = midi::panel("Test Panel");
    let runtime = tempfile::tempdir().unwrap();
    let mut command = greyhold();
    command.arg("open").arg(dir).args(["--size", "1000x640", "--client-size", "320x180"]);
    command
        .env("DISPLAY", &screen.display)
        .env("XDG_RUNTIME_DIR", runtime.path())
        .env_remove("WAYLAND_DISPLAY");
    let mut program = Process::start(&mut command, "greyhold");
    let client = screen.window("client");
    let desk = screen.window("desk");
    // Apart, since what covers a window is read back with it.
    screen.tool("xdotool", &["windowmove", &desk, "0", "0", "windowmove", &client, "1100", "100"]);
    let matches = |show: &Show| {
        let wanted = expected(dir, show);
        let mut last = None;
        let start = Instant::now();
        while last.is_none_or(|w| w > 1) {
            assert!(start.elapsed() < support::PATIENCE, "the client's window is {last:?} codes off");
            last = worst(&screen.pixels(&client), &wanted);
        }
    };
    matches(&before);

    // Messages that come before the connection is made are lost, so turn until the show follows.
    let exposure = || load(dir).unwrap().shots[0].balance.get(Exposure);
    wait_for("the panel's connection", || {
        turn(&mut panel, 20, 1);
        std::thread::sleep(Duration::from_millis(700));
        (exposure() != 0.0).then_some(())
    });
    let start = exposure();
    std::thread::sleep(Duration::from_millis(800));

    turn(&mut panel, 20, 12);
    turn(&mut panel, 21, 16);
    turn(&mut panel, 25, -40);
    let after = wait_for("the saved show", || {
        let show = load(dir).unwrap();
        (show.chain.look[0].strength < 0.601).then_some(show)
    });
    let shot = &after.shots[0];
    assert!((shot.balance.get(Exposure) - (start + 12.0 * 0.05)).abs() < 1e-9, "{:?}", shot.balance);
    assert_eq!(offsets(&after), [4.0; 3], "sixteen detents of a quarter point on all three");
    assert!((after.chain.look[0].strength - 0.6).abs() < 1e-9);
    matches(&after);
    assert!(worst(&screen.pixels(&client), &expected(dir, &before)).unwrap() > 20, "it differs from before");

    // The keyboard takes the three gestures back, one step each.
    for (step, check) in [
        (1, (|s: &Show| s.chain.look[0].strength == 1.0) as fn(&Show) -> bool),
        (2, |s| offsets(s) == [0.0; 3]),
    ] {
        screen.tool("xdotool", &["windowactivate", "--sync", &desk, "key", "ctrl+z"]);
        wait_for(&format!("undo {step}"), || check(&load(dir).unwrap()).then_some(()));
    }
    assert!((exposure() - (start + 0.6)).abs() < 1e-9, "undo took back no more than two gestures");
    matches(&load(dir).unwrap());

    // Held, B shows the footage without the grade; let go, the grade is back.
    let mut ungraded = load(dir).unwrap();
    ungraded.shots[0].balance = Default::default();
    ungraded.chain.look.iter_mut().for_each(|s| s.on = false);
    screen.tool("xdotool", &["windowactivate", "--sync", &desk, "keydown", "b"]);
    matches(&ungraded);
    screen.tool("xdotool", &["keyup", "b"]);
    matches(&load(dir).unwrap());

    // The row above exposure is framing's last, and the keys turn what is in hand; R fits the other way.
    let press = |keys: &[&str]| {
        let mut arguments = vec!["windowactivate", "--sync", &desk, "key"];
        arguments.extend(keys);
        screen.tool("xdotool", &arguments);
    };
    let framing = || load(dir).unwrap().shots[0].framing;
    press(&["Up", "shift+equal", "shift+equal"]);
    let scaled = wait_for("a larger frame", || Some(framing()).filter(|f| f.get(FramingField::Scale) > 1.09));
    assert!((scaled.get(FramingField::Scale) - 1.1).abs() < 1e-9, "{scaled:?}");
    matches(&load(dir).unwrap());
    press(&["Up", "Up", "shift+minus"]);
    let moved =
        wait_for("a frame further left", || Some(framing()).filter(|f| f.get(FramingField::PanX) != 0.0));
    assert!((moved.get(FramingField::PanX) + 0.01).abs() < 1e-9, "{moved:?}");
    matches(&load(dir).unwrap());
    press(&["r"]);
    wait_for("a raster that is filled", || (framing().fitting() == Fitting::Fill).then_some(()));
    matches(&load(dir).unwrap());
    let fit = load(dir).unwrap();
    assert!(expected(dir, &fit) != expected(dir, &ungraded), "the pictures differ");
    press(&["ctrl+z", "ctrl+z", "ctrl+z"]);
    wait_for("the framing from before", || (framing() == Default::default()).then_some(()));
    matches(&load(dir).unwrap());
    program.stop();
    shapes(&screen, dir);
}

/// The client's window has the raster's shape, as many pixels as 960 × 540, when no size is asked for.
fn shapes(screen: &Screen, dir: &std::path::Path) {
    let mut show = load(dir).unwrap();
    show.raster = Some((400, 300));
    save(&show, dir).unwrap();
    let runtime = tempfile::tempdir().unwrap();
    let mut command = greyhold();
    command.arg("open").arg(dir).args(["--size", "640x400"]);
    command.env("DISPLAY", &screen.display).env("XDG_RUNTIME_DIR", runtime.path());
    command.env_remove("WAYLAND_DISPLAY");
    let mut program = Process::start(&mut command, "greyhold");
    let client = screen.window("client");
    wait_for("a window of the raster's shape", || {
        let text = screen.tool("xdotool", &["getwindowgeometry", "--shell", &client]);
        let text = String::from_utf8(text).unwrap();
        (text.contains("WIDTH=831") && text.contains("HEIGHT=624")).then_some(())
    });
    program.stop();
}

/// Median of the time from a message to the finished picture, paused and while playing.
fn delay() -> (Duration, Duration) {
    let dir = tempfile::tempdir().unwrap();
    let show = make_show(dir.path(), (960, 540));
    let map = Map::parse(SHIPPED[0].1, SHIPPED[0].0, &known_target, &known_action).unwrap();
    let me = std::thread::current();
    let mut panel = midi::panel("Delay Panel");
    let engine = start(
        Gpu::headless(Request::default()).unwrap(),
        Options {
            dir: dir.path().to_owned(),
            show,
            lock: None,
            panel: Some((vec![Arc::new(map)], Box::new(|| Box::new(SystemPorts::new())))),
            cache: CACHE,
            notify: Arc::new(move || me.unpark()),
        },
    )
    .unwrap();
    wait_for("the first picture", || engine.picture(Live::Client));
    let exposure = |e: &Handle| e.snapshot().show.shots[0].balance.get(Exposure);
    wait_for("the panel's connection", || {
        panel.send(&[0xB0, 20, 1]).unwrap();
        std::thread::sleep(Duration::from_millis(300));
        (exposure(&engine) != 0.0).then_some(())
    });
    let mut medians = Vec::new();
    for playing in [false, true] {
        if playing {
            engine.send(greyhold::engine::Input::Command(greyhold::engine::Command::TogglePlay));
            std::thread::sleep(Duration::from_secs(1));
        }
        let mut delays: Vec<Duration> = (0..200)
            .map(|i| {
                std::thread::sleep(Duration::from_millis(13 + i % 7));
                let before = engine.picture(Live::Client).unwrap().serial;
                let sent = Instant::now();
                panel.send(&[0xB0, 20, if i % 2 == 0 { 127 } else { 1 }]).unwrap();
                loop {
                    let picture = engine.picture(Live::Client).unwrap();
                    // While playing, pictures come without a message too: take the one that carries it.
                    if picture.serial > before && (!playing || picture.delay.is_some()) {
                        return sent.elapsed();
                    }
                    assert!(sent.elapsed() < support::PATIENCE, "no picture answers message {i}");
                    std::thread::park_timeout(Duration::from_millis(5));
                }
            })
            .collect();
        delays.sort_unstable();
        let ms = |share: f64| delays[((delays.len() - 1) as f64 * share) as usize].as_secs_f64() * 1e3;
        println!(
            "message to finished 960×540 picture on {}, {}: median {:.1} ms, p99 {:.1} ms, most {:.1} ms",
            engine.gpu.name(),
            if playing { "playing" } else { "paused" },
            ms(0.5),
            ms(0.99),
            ms(1.0)
        );
        medians.push(delays[100]);
    }
    let playback = engine.snapshot().playback;
    println!("while playing: {} shown, {} dropped", playback.shown, playback.dropped);
    engine.stop().unwrap();
    (medians[0], medians[1])
}
