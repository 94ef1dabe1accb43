//! The whole small job by the keyboard alone, in a real window: five shots of one scene, exposed apart and brought in under an
//! encoding that is not theirs, are read as what they are, brought together, given a look and its strength, and compared. A
//! strip of pictures of the window is left in `target/tmp/forty-keys`.

mod support;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use greyhold::colour::encoding;
use greyhold::media::{Image, ImageFormat, Interpretation, open, write_image};
use greyhold::picture::BalanceField::Exposure;
use greyhold::picture::cpu;
use greyhold::show::{Output, Show, load, recipe, save};
use support::{Process, Screen, greyhold, test_picture, wait_for};

const SIZE: (u32, u32) = (320, 180);
/// How many stops each shot has less light than the first.
const APART: [f64; 5] = [0.0, 0.5, -0.5, 1.0, 0.5];
/// Keys that may be pressed.
const MOST: usize = 40;

/// Five folders of DPX in LogC4, and a show that has them as ACEScct.
fn make_show(dir: &Path) {
    let camera = encoding("logc4").unwrap().curve.values::<f64>();
    let run = |arguments: &[&str]| {
        let out = greyhold().args(arguments).output().unwrap();
        assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    };
    let at = dir.display().to_string();
    run(&["new", &at, "--name", "five"]);
    for (i, less) in APART.iter().enumerate() {
        let folder = dir.join(format!("shot{}", i + 1));
        std::fs::create_dir_all(&folder).unwrap();
        let exposed = |code: u16| {
            let light = camera.decode(f64::from(code) / 1023.0) * (-less).exp2();
            (camera.encode(light) * 1023.0).round().clamp(0.0, 1023.0) as u16
        };
        let pixels: Vec<_> = test_picture(SIZE.0, SIZE.1, 0).into_iter().map(|p| p.map(exposed)).collect();
        let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
        for frame in 0..4 {
            write_image(&folder.join(format!("take.{frame:04}.dpx")), ImageFormat::Dpx, &image).unwrap();
        }
        run(&["add", &at, &folder.display().to_string(), "--encoding", "acescct"]);
    }
    let mut show = load(dir).unwrap();
    for (i, shot) in show.shots.iter_mut().enumerate() {
        shot.name = format!("take {}", i + 1);
    }
    save(&show, dir).unwrap();
}

/// The median green of each shot on the client's signal, in 8-bit codes, as the CPU twin draws it.
fn medians(show: &Show, dir: &Path) -> Vec<u16> {
    let median = |shot: usize| {
        let mut source = open(&show.shots[shot].source_path(dir), &Interpretation::default()).unwrap();
        let recipe = recipe(show, shot, show.tail(Output::Client), 0).unwrap();
        let mut green: Vec<u16> =
            cpu::codes(&recipe, &source.frame(0).unwrap(), 8, true).pixels.iter().map(|p| p[1]).collect();
        green.sort_unstable();
        green[green.len() / 2]
    };
    (0..show.shots.len()).map(median).collect()
}

fn spread(medians: &[u16]) -> u16 {
    medians.iter().max().unwrap() - medians.iter().min().unwrap()
}

#[test]
fn five_shots_by_the_keyboard_alone() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("show");
    let config = folder.path().join("config");
    std::fs::create_dir_all(&config).unwrap();
    make_show(&dir);
    let screen = Screen::start(1500, 900);
    let mut command: Command = greyhold();
    command.arg("open").arg(&dir).args(["--size", "1440x860", "--client", "closed"]);
    command.env("DISPLAY", &screen.display).env("XDG_RUNTIME_DIR", &config).env("XDG_CONFIG_HOME", &config);
    command.env_remove("WAYLAND_DISPLAY");
    let _program = Process::start(&mut command, "greyhold");
    let desk = screen.window("desk");
    screen.tool("xdotool", &["windowmove", &desk, "0", "0", "windowactivate", "--sync", &desk]);
    let strip = Path::new(env!("CARGO_TARGET_TMPDIR")).join("forty-keys");
    std::fs::create_dir_all(&strip).unwrap();
    let (pressed, taken) = (std::cell::Cell::new(0), std::cell::Cell::new(0));
    let picture = |name: &str| {
        std::thread::sleep(Duration::from_millis(900));
        taken.set(taken.get() + 1);
        let file = strip.join(format!("{:02}-{name}.png", taken.get()));
        screen.tool("import", &["-window", &desk, &file.display().to_string()]);
    };
    let press = |keys: &[&str]| {
        pressed.set(pressed.get() + keys.len());
        let mut arguments = vec!["key", "--delay", "120"];
        arguments.extend(keys);
        screen.tool("xdotool", &arguments);
    };
    let comes = |what: &str, check: &dyn Fn(&Show) -> bool| {
        wait_for(what, || load(&dir).ok().filter(|show| check(show)).map(|_| ()));
    };
    picture("brought-in");

    // What they are: one entry of the list for all of them.
    press(&["F10"]);
    press(&["a", "l", "l", "space", "l", "o", "g", "c", "4"]);
    picture("encoding");
    press(&["Return"]);
    comes("the encoding of all five", &|show| show.shots.iter().all(|shot| shot.encoding.id == "logc4"));
    let apart = medians(&load(&dir).unwrap(), &dir);
    picture("read");

    // Together: exposure is in hand, and ten steps are half a stop.
    press(&["Page_Down", "shift+equal", "Page_Down", "shift+minus"]);
    press(&["Page_Down", "shift+equal", "shift+equal", "Page_Down", "shift+equal"]);
    comes("five exposures", &|show| {
        let is =
            |(shot, less): (&greyhold::show::Shot, &f64)| (shot.balance.get(Exposure) - less).abs() < 1e-9;
        show.shots.iter().zip(&APART).all(is)
    });
    picture("together");

    // A look: the third of the library, kept, at 80 %.
    press(&["period", "period", "period"]);
    picture("trying");
    press(&["Return"]);
    comes("a look", &|show| !show.chain.look.is_empty());
    press(&["F10", "s", "t", "r", "Return"]);
    picture("strength");
    press(&["8", "0", "percent", "Return"]);
    comes("its strength", &|show| show.chain.look_strength == 0.8);
    picture("done");
    // Before, as long as it is held.
    pressed.set(pressed.get() + 1);
    screen.tool("xdotool", &["keydown", "b"]);
    picture("before");
    screen.tool("xdotool", &["keyup", "b"]);
    picture("after");

    let done = load(&dir).unwrap();
    let together = medians(&done, &dir);
    assert!(spread(&apart) > 20 && spread(&together) <= 2, "{apart:?} {together:?}");
    assert!(done.chain.origin.is_some());
    assert!(pressed.get() <= MOST, "{} keys", pressed.get());
    println!("{} keys; medians {apart:?}, then {together:?}", pressed.get());
}
