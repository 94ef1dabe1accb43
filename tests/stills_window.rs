//! Stills in the operator's window under a real window system: keys keep and compare, the mouse drags the line.

mod support;

use std::path::Path;

use greyhold::picture::BalanceField::Exposure;
use greyhold::picture::{Beside, Way, cpu};
use greyhold::show::{Output, Show, load, recipe, save, stills};
use support::{Process, Screen, greyhold, sequence, wait_for};

const SIZE: (u32, u32) = (320, 180);

/// The graded picture as signal, and as the window holds it.
fn picture(dir: &Path, show: &Show) -> (Vec<[u16; 3]>, Vec<[f32; 3]>) {
    let mut source = greyhold::media::open(&show.shots[0].source_path(dir), &Default::default()).unwrap();
    let frame = source.frame(0).unwrap();
    let recipe = recipe(show, 0, show.tail(Output::Desk), 0).unwrap();
    let held = cpu::codes(&recipe, &frame, 8, true).pixels;
    let codes = cpu::codes(&recipe, &frame, 16, false).pixels;
    (codes, held.into_iter().map(|p| p.map(|c| f32::from(c) / 255.0)).collect())
}

/// Pixels of the window, where nothing is written over the picture, that are not what they should be.
fn others(found: &[[u8; 3]], wanted: &[[f32; 3]], line: u32) -> usize {
    let at = |i: usize| (i as u32 % SIZE.0, i as u32 / SIZE.0);
    let plain = |i: usize| at(i).1 < 140 && at(i).0.abs_diff(line) > 6;
    let off = |i: usize| (0..3).any(|c| (f32::from(found[i][c]) - wanted[i][c] * 255.0).abs() > 1.6);
    (0..wanted.len().min(found.len())).filter(|i| plain(*i) && off(*i)).count()
        + wanted.len().abs_diff(found.len())
}

#[test]
fn keys_keep_and_compare_and_the_mouse_drags() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let clip = sequence(&dir.join("footage"), SIZE, 2);
    for arguments in [
        vec!["new", dir.to_str().unwrap()],
        vec!["add", dir.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
    ] {
        assert!(greyhold().args(arguments).status().unwrap().success());
    }
    let mut before = load(dir).unwrap();
    before.chain.look = vec![greyhold::look::Stage::new(greyhold::look::stage("contrast").unwrap())];
    save(&before, dir).unwrap();
    let screen = Screen::start(1280, 800);
    let runtime = tempfile::tempdir().unwrap();
    let mut command = greyhold();
    command.arg("open").arg(dir).args(["--size", "320x180", "--client", "closed"]);
    command.env("DISPLAY", &screen.display).env("XDG_RUNTIME_DIR", runtime.path());
    command.env_remove("WAYLAND_DISPLAY");
    let mut program = Process::start(&mut command, "greyhold");
    let desk = screen.window("desk");
    screen.tool("xdotool", &["windowmove", &desk, "100", "100"]);
    let press = |keys: &[&str]| {
        let mut arguments = vec!["windowactivate", "--sync", &desk, "key"];
        arguments.extend(keys);
        screen.tool("xdotool", &arguments);
    };
    // The picture alone, pixel for pixel.
    press(&["h"]);
    let shows = |what: &str, wanted: &[[f32; 3]], line: u32| {
        let mut last = None;
        let start = std::time::Instant::now();
        while last.is_none_or(|n| n * 100 > wanted.len()) {
            assert!(
                start.elapsed() < support::PATIENCE,
                "{what}: {last:?} of {} pixels differ",
                wanted.len()
            );
            last = Some(others(&screen.pixels(&desk), wanted, line));
        }
    };
    let (reference, alone) = picture(dir, &before);
    shows("the picture", &alone, 9999);
    press(&["g"]);
    let still = wait_for("a still", || stills(dir).unwrap().0.first().cloned());
    assert_eq!(still.of.unwrap().shot, before.shots[0].name);
    // Exposure is in hand: twenty steps up. Then the line.
    press(&["shift+equal", "shift+equal"]);
    let after =
        wait_for("a turn", || Some(load(dir).unwrap()).filter(|s| s.shots[0].balance.get(Exposure) > 0.9));
    let (_, live) = picture(dir, &after);
    press(&["w"]);
    let half = Beside { way: Way::Wipe, ..Beside::default() };
    let wanted = half.prepared(SIZE, 8, 0).picture(&live, &reference);
    assert!(others(&vec![[0; 3]; wanted.len()], &wanted, 160) > wanted.len() / 3, "it could fail");
    shows("a line in the middle", &wanted, 160);
    // Dragged by its middle from x = 160 to 240, it lies there.
    let mouse = |arguments: &[&str]| screen.tool("xdotool", arguments);
    mouse(&["mousemove", "--window", &desk, "160", "90"]);
    std::thread::sleep(std::time::Duration::from_millis(600));
    mouse(&["mousedown", "1"]);
    for x in ["180", "210", "240"] {
        std::thread::sleep(std::time::Duration::from_millis(300));
        mouse(&["mousemove", "--window", &desk, x, "90"]);
    }
    std::thread::sleep(std::time::Duration::from_millis(300));
    mouse(&["mouseup", "1"]);
    mouse(&["mousemove", "--window", &desk, "20", "20"]);
    let dragged = Beside { place: 240.0 / 320.0, ..half };
    shows("a line that was dragged", &dragged.prepared(SIZE, 8, 0).picture(&live, &reference), 240);
    // Keys move it back by ten steps.
    for _ in 0..10 {
        press(&["alt+Left"]);
    }
    let moved = Beside { place: 0.65, ..half };
    shows("a line that was moved", &moved.prepared(SIZE, 8, 0).picture(&live, &reference), 208);
    // Off again; the look stays away until that is pressed again.
    press(&["w"]);
    shows("the picture alone", &live, 9999);
    let mut bare = after.clone();
    bare.chain.look.clear();
    press(&["shift+l"]);
    shows("without the look", &picture(dir, &bare).1, 9999);
    press(&["shift+l"]);
    shows("with the look", &live, 9999);
    // A version, by its key.
    press(&["ctrl+g"]);
    wait_for("a version", || greyhold::show::versions(dir).unwrap().0.first().cloned());
    program.stop();
}
