//! The desk by its keys alone, in a real window: the list of everything, values that are typed, where the keyboard is, the
//! keys' overlay, and the first walk, which is offered once.
//!
//! Pictures of the window are left in `target/tmp/keyboard`, to be looked at.

mod support;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use greyhold::picture::BalanceField::{Contrast, Exposure, Warmth};
use greyhold::show::{Show, load, save};
use support::{Process, Screen, greyhold, sequence, wait_for};

const SIZE: (u32, u32) = (320, 180);

/// A show that the walk is offered on: its shots are called as the demo's.
fn make_show(dir: &Path) {
    sequence(&dir.join("footage"), SIZE, 24);
    let (dir_text, clip) = (dir.display().to_string(), dir.join("footage").display().to_string());
    for arguments in [
        &["new", &dir_text, "--name", "test"][..],
        &["add", &dir_text, &clip, "--encoding", "logc4"],
        &["add", &dir_text, &clip, "--encoding", "logc4"],
    ] {
        let out = greyhold().args(arguments).output().unwrap();
        assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    }
    let mut show = load(dir).unwrap();
    for (shot, name) in show.shots.iter_mut().zip(["platform", "corridor"]) {
        shot.name = name.to_owned();
    }
    save(&show, dir).unwrap();
}

/// A desk on a screen, and hands on its keys.
struct Hands<'a> {
    screen: &'a Screen,
    desk: String,
    _program: Process,
    dir: &'a Path,
    strip: PathBuf,
    taken: std::cell::Cell<u32>,
}

impl<'a> Hands<'a> {
    fn open(screen: &'a Screen, dir: &'a Path, config: &Path, scale: (&str, &str), strip: &str) -> Self {
        let mut command: Command = greyhold();
        command.arg("open").arg(dir).args(["--size", scale.1, "--client", "closed"]);
        command
            .env("DISPLAY", &screen.display)
            .env("XDG_RUNTIME_DIR", config)
            .env("XDG_CONFIG_HOME", config)
            .env("WINIT_X11_SCALE_FACTOR", scale.0)
            .env_remove("WAYLAND_DISPLAY");
        let program = Process::start(&mut command, "greyhold");
        let desk = screen.window("desk");
        screen.tool("xdotool", &["windowmove", &desk, "0", "0", "windowactivate", "--sync", &desk]);
        let strip = Path::new(env!("CARGO_TARGET_TMPDIR")).join("keyboard").join(strip);
        std::fs::create_dir_all(&strip).unwrap();
        Self { screen, desk, _program: program, dir, strip, taken: 0.into() }
    }

    fn keys(&self, keys: &[&str]) {
        let mut arguments = vec!["key", "--delay", "60"];
        arguments.extend(keys);
        self.screen.tool("xdotool", &arguments);
    }

    fn text(&self, text: &str) {
        self.screen.tool("xdotool", &["type", "--delay", "40", text]);
    }

    fn show(&self) -> Show {
        load(self.dir).unwrap()
    }

    fn comes(&self, what: &str, check: impl Fn(&Show) -> bool) {
        wait_for(what, || check(&self.show()).then_some(()));
    }

    /// Keeps the window as it is once it rests.
    fn picture(&self, name: &str) {
        std::thread::sleep(Duration::from_millis(700));
        let n = self.taken.replace(self.taken.get() + 1);
        let file = self.strip.join(format!("{n:02}-{name}.png"));
        self.screen.tool("import", &["-window", &self.desk, &file.display().to_string()]);
    }

    fn pixels(&self) -> Vec<[u8; 3]> {
        self.screen.pixels(&self.desk)
    }

    /// Waits until the window is other than it was.
    fn changes(&self, what: &str, before: &[[u8; 3]]) {
        wait_for(what, || (self.pixels() != before).then_some(()));
    }
}

#[test]
fn the_desk_by_its_keys() {
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("show");
    let config = folder.path().join("config");
    std::fs::create_dir_all(&config).unwrap();
    make_show(&dir);
    let screen = Screen::start(1700, 1000);
    let offered = config.join("greyhold/walk");
    {
        let hands = Hands::open(&screen, &dir, &config, ("1", "1280x800"), "first");
        wait_for("the walk's offer, remembered", || offered.exists().then_some(()));
        hands.picture("offered");
        hands.keys(&["shift+F1"]);
        hands.picture("walk");
        hands.keys(&["equal", "equal"]);
        hands.comes("exposure by keys", |show| show.shots[0].balance.get(Exposure) > 0.09);
        hands.picture("walk-next");
        hands.keys(&["shift+F1"]);

        let before = hands.pixels();
        hands.keys(&["F10"]);
        hands.changes("the list", &before);
        hands.text("exposure 1/2 stop");
        hands.picture("list");
        hands.keys(&["Return"]);
        hands.comes("a value from the list", |show| show.shots[0].balance.get(Exposure) == 0.5);
        // What opens by a key closes by it.
        hands.keys(&["ctrl+k", "F10"]);
        // Digits for the row in hand, with a unit; what is wrong is refused and stays.
        hands.text("75 %");
        hands.picture("refused-before-enter");
        hands.keys(&["Return"]);
        hands.picture("refused");
        assert_eq!(hands.show().shots[0].balance.get(Exposure), 0.5);
        hands.keys(&["Escape"]);
        hands.keys(&["F10"]);
        hands.text("warmth 5600 k");
        hands.keys(&["Return"]);
        hands.comes("kelvin", |show| (show.shots[0].balance.get(Warmth) + 11.9).abs() < 0.05);
        hands.keys(&["ctrl+z"]);
        hands.comes("undo of one value", |show| show.shots[0].balance.get(Warmth) == 0.0);

        // The list brings a row into hand, and a value is asked for.
        hands.keys(&["F10"]);
        hands.text("balance/contrast");
        hands.keys(&["Return"]);
        hands.picture("asking");
        hands.text("1.2");
        hands.keys(&["Return"]);
        hands.comes("contrast", |show| show.shots[0].balance.get(Contrast) == 1.2);

        // The keyboard goes round; the arrows turn what has it, and letters stay the desk's.
        hands.keys(&["Tab", "Tab", "Tab"]);
        hands.picture("keyboard");
        let before = hands.pixels();
        hands.keys(&["v"]);
        hands.changes("the scopes", &before);
        hands.picture("scopes");
        hands.keys(&["v", "Escape"]);

        let before = hands.pixels();
        hands.keys(&["F1"]);
        hands.changes("the keys", &before);
        hands.picture("keys");
        hands.keys(&["F1"]);
    }
    // It is offered once.
    std::thread::sleep(Duration::from_millis(300));
    for scale in [("1.25", "1280x780"), ("2", "840x480")] {
        let hands = Hands::open(&screen, &dir, &config, scale, &format!("at-{}", scale.0));
        std::thread::sleep(Duration::from_millis(1500));
        hands.picture("desk");
        hands.keys(&["F10"]);
        hands.text("strength");
        hands.picture("list");
        hands.keys(&["Escape", "F1"]);
        hands.picture("keys");
        hands.keys(&["F1", "shift+F1"]);
        hands.picture("walk");
    }
}
