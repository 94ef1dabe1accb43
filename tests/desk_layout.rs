//! The desk's windows, their pixels read back: surround, picture alone, thumbnails, and that all of it is remembered.

mod support;

use std::path::Path;

use support::{Process, Screen, greyhold, sequence, wait_for};

const SIZE: (usize, usize) = (1280, 720);

fn make_show(dir: &Path) {
    for (name, frames) in [("first", 24), ("second", 12)] {
        let clip = sequence(&dir.join(name), (320, 180), frames);
        if name == "first" {
            assert!(greyhold().arg("new").arg(dir).status().unwrap().success());
        }
        let add = greyhold().arg("add").arg(dir).arg(clip).args(["--encoding", "logc4"]).status();
        assert!(add.unwrap().success());
    }
}

struct Desk<'a> {
    screen: &'a Screen,
    window: String,
    program: Process,
    _runtime: tempfile::TempDir,
}

fn open<'a>(screen: &'a Screen, dir: &Path, config: &Path) -> Desk<'a> {
    let runtime = tempfile::tempdir().unwrap();
    let mut command = greyhold();
    command.arg("open").arg(dir).args(["--size", "1280x720", "--client", "closed"]);
    command
        .env("DISPLAY", &screen.display)
        .env("XDG_CONFIG_HOME", config)
        .env("XDG_RUNTIME_DIR", runtime.path())
        .env_remove("WAYLAND_DISPLAY");
    let program = Process::start(&mut command, "greyhold");
    let window = screen.window("desk");
    screen.tool("xdotool", &["windowmove", &window, "0", "0"]);
    Desk { screen, window, program, _runtime: runtime }
}

impl Desk<'_> {
    fn key(&self, name: &str) {
        let window = &self.window;
        self.screen.tool("xdotool", &["windowactivate", "--sync", window, "key", "--window", window, name]);
    }

    /// Waits until the window's pixels are so.
    fn comes(&self, what: &str, is: impl Fn(&dyn Fn(usize, usize) -> [u8; 3]) -> bool) {
        wait_for(what, || {
            let all = self.screen.pixels(&self.window);
            let whole = all.len() == SIZE.0 * SIZE.1;
            (whole && is(&|x, y| all[y * SIZE.0 + x])).then_some(())
        });
    }
}

/// 8-bit codes of so many percent of white by BT.1886's exponent, 2.4.
fn code(percent: f64) -> u8 {
    ((percent / 100.0).powf(1.0 / 2.4) * 255.0).round() as u8
}

#[test]
fn the_desk_remembers() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    make_show(dir);
    let config = tempfile::tempdir().unwrap();
    let file = config.path().join("greyhold/desk.toml");
    let screen = Screen::start(1400, 800);
    let is = |at: [u8; 3], v: u8| at == [v; 3];

    let mut desk = open(&screen, dir, config.path());
    // Between running order and light path the picture lies in the middle, with the surround above it.
    desk.comes("the surround, 2 % of white", |at| is(at(600, 3), code(2.0)) && is(at(950, 3), code(2.0)));
    desk.comes("the picture", |at| {
        let coloured = |x: &usize| at(*x, 330)[0].abs_diff(at(*x, 330)[1]) > 8;
        (400..900).filter(coloured).count() > 50
    });
    // Thumbnails come once the picture rests: colour in the running order, which has none of its own.
    let coloured = |at: &dyn Fn(usize, usize) -> [u8; 3], rows: std::ops::Range<usize>| {
        rows.flat_map(|y| (16..90).map(move |x| (x, y)))
            .filter(|(x, y)| {
                let [r, g, b] = at(*x, *y);
                r.abs_diff(g) > 8 || g.abs_diff(b) > 8
            })
            .count()
    };
    desk.comes("both thumbnails", |at| coloured(at, 56..100) > 200 && coloured(at, 114..155) > 200);
    desk.key("ctrl+u");
    desk.comes("the next surround, 3 %", |at| is(at(600, 3), code(3.0)));
    desk.key("h");
    desk.comes("the picture alone", |at| at(1276, 300)[0] > 70);
    desk.key("h");
    desk.comes("the panes again", |at| is(at(4, 715), 30));
    desk.key("ctrl+2");
    desk.comes("no light path", |at| is(at(1276, 3), code(3.0)));
    let text = wait_for("the file", || {
        std::fs::read_to_string(&file)
            .ok()
            .filter(|t| t.contains("surround = 3") && t.contains("[panes.light-path]\nshown = false"))
    });
    assert!(text.contains("picture-only = false"), "{text}");
    desk.program.stop();

    let mut desk = open(&screen, dir, config.path());
    desk.comes("the same again", |at| is(at(1276, 3), code(3.0)) && is(at(1276, 400), code(3.0)));
    desk.program.stop();

    // A file that somebody broke: as it is made, and no crash.
    std::fs::write(&file, "text = [[[").unwrap();
    let mut desk = open(&screen, dir, config.path());
    desk.comes("the desk as it is made", |at| is(at(600, 3), code(2.0)) && is(at(1276, 3), 30));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "text = [[[", "nobody changed anything");
    desk.program.stop();
}
