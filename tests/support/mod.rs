//! What several tests need: a MIDI server, a panel on it, a screen, a show to open.
#![allow(dead_code, missing_docs)]

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use greyhold::media::{Image, ImageFormat, write_image};

/// How long anything may take that should take a second at most: the machine may be busy.
pub const PATIENCE: Duration = Duration::from_secs(40);

/// Waits until `found` finds something.
pub fn wait_for<T>(what: &str, mut found: impl FnMut() -> Option<T>) -> T {
    let start = Instant::now();
    loop {
        if let Some(it) = found() {
            return it;
        }
        assert!(start.elapsed() < PATIENCE, "{what} did not come");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// A process that is asked to stop when this goes, and made to if it does not.
pub struct Process(pub Child);

impl Process {
    pub fn start(command: &mut Command, package: &str) -> Self {
        let name = command.get_program().to_string_lossy().into_owned();
        Self(
            command.spawn().unwrap_or_else(|e| {
                panic!("{name} does not start ({e}): install Debian's package `{package}`")
            }),
        )
    }

    /// Asks it to stop and waits for that.
    pub fn stop(&mut self) {
        let _ = Command::new("kill").arg(self.0.id().to_string()).status();
        let start = Instant::now();
        while start.elapsed() < Duration::from_secs(5) {
            if self.0.try_wait().ok().flatten().is_some() {
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.stop();
    }
}

pub mod browser;
pub mod line;
pub mod osc;

#[cfg(feature = "jack")]
pub mod midi {
    use greyhold::panel::{Ports, SystemPorts};
    use midir::os::unix::VirtualOutput;
    use midir::{MidiOutput, MidiOutputConnection};

    use super::{Command, Process, Stdio, wait_for};

    /// A JACK server without a sound card, and the environment that makes this process and its children
    /// use it.
    ///
    /// # Safety
    /// No other thread of this process may read or write the environment meanwhile.
    pub unsafe fn server() -> Process {
        let name = format!("greyhold-{}", std::process::id());
        // SAFETY: the caller's promise.
        unsafe {
            std::env::set_var("JACK_DEFAULT_SERVER", &name);
            std::env::set_var("JACK_NO_START_SERVER", "1");
        }
        let options = "-r -S -d dummy -r 48000 -p 256 -C 0 -P 0";
        let mut jackd = Command::new("jackd");
        jackd.args(["-n", &name]).args(options.split(' '));
        jackd.env("JACK_NO_AUDIO_RESERVATION", "1").stdout(Stdio::null()).stderr(Stdio::null());
        let server = Process::start(&mut jackd, "jackd2");
        wait_for("an answer of jackd", || SystemPorts::new().list().ok());
        server
    }

    /// A panel: a client of the server with one output.
    pub fn panel(name: &str) -> MidiOutputConnection {
        MidiOutput::new(name).unwrap().create_virtual("out").unwrap()
    }
}

/// A screen that nobody sees, with a window manager that gives windows the focus.
pub struct Screen {
    _manager: Process,
    _server: Process,
    pub display: String,
}

impl Screen {
    pub fn start(width: u32, height: u32) -> Self {
        let mut xvfb = Command::new("Xvfb");
        xvfb.args(["-displayfd", "1", "-nolisten", "tcp", "-screen", "0", &format!("{width}x{height}x24")]);
        // Without it the server begins anew when its last client goes, and throws out one that is just coming.
        xvfb.arg("-noreset");
        xvfb.stdout(Stdio::piped()).stderr(Stdio::null());
        let mut server = Process::start(&mut xvfb, "xvfb");
        let mut line = String::new();
        let out = server.0.stdout.take().unwrap();
        std::io::BufRead::read_line(&mut std::io::BufReader::new(out), &mut line).unwrap();
        let display = format!(":{}", line.trim());
        assert!(display.len() > 1, "Xvfb did not say its display");
        let mut openbox = Command::new("openbox");
        openbox.env("DISPLAY", &display).stdout(Stdio::null()).stderr(Stdio::null());
        let manager = Process::start(&mut openbox, "openbox");
        let screen = Self { _manager: manager, _server: server, display };
        // A window that is mapped while the manager starts can be left unmapped.
        wait_for("the window manager", || {
            let out = screen.tool("xprop", &["-root", "_NET_SUPPORTING_WM_CHECK"]);
            String::from_utf8_lossy(&out).contains("window id").then_some(())
        });
        screen
    }

    /// What a tool prints about this screen.
    pub fn tool(&self, program: &str, arguments: &[&str]) -> Vec<u8> {
        let out = Command::new(program)
            .args(arguments)
            .env("DISPLAY", &self.display)
            .stderr(Stdio::null())
            .output()
            .unwrap_or_else(|e| panic!("{program} does not start ({e}): see tests/setup.sh"));
        out.stdout
    }

    /// Our window whose title ends so.
    pub fn window(&self, title: &str) -> String {
        wait_for(&format!("a window {title:?}"), || {
            // The window manager has windows of its own, also with "desk" in their names.
            let name = format!("^Greyhold .*{title}$");
            let search = ["search", "--onlyvisible", "--name", &name];
            let out = String::from_utf8(self.tool("xdotool", &search)).unwrap();
            out.lines().last().map(str::to_owned)
        })
    }

    /// A window's pixels, row by row.
    pub fn pixels(&self, window: &str) -> Vec<[u8; 3]> {
        let bytes = self.tool("import", &["-window", window, "-depth", "8", "rgb:-"]);
        bytes.as_chunks::<3>().0.to_vec()
    }
}

/// Code values with tones, colours and edges, for LogC4.
pub fn test_picture(width: u32, height: u32, frame: u32) -> Vec<[u16; 3]> {
    (0..width * height)
        .map(|i| {
            let (x, y) = (i % width, i / width);
            let ramp = 95 + x * 700 / width;
            let swing = |k: u32| (((x / 8 + frame) * k + y / 6 * 5) % 60) as i32 - 30;
            [swing(3), swing(7), swing(11)].map(|s| (ramp as i32 + s).clamp(0, 1023) as u16)
        })
        .collect()
}

/// Makes a folder with a 10-bit sequence of that picture; returns the sequence's pattern.
pub fn sequence(folder: &Path, size: (u32, u32), frames: u32) -> PathBuf {
    std::fs::create_dir_all(folder).unwrap();
    for frame in 0..frames {
        let pixels = test_picture(size.0, size.1, frame);
        let image = Image::Codes { width: size.0, height: size.1, depth: 10, pixels: &pixels };
        write_image(&folder.join(format!("take.{frame:04}.dpx")), ImageFormat::Dpx, &image).unwrap();
    }
    folder.join("take.####.dpx")
}

/// The program that these tests were built with.
pub fn greyhold() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_greyhold"));
    // What the person who runs the tests has set for themselves is none of theirs.
    static RUNS: std::sync::atomic::AtomicUsize = std::sync::atomic::AtomicUsize::new(0);
    let run = RUNS.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    let own = format!("{}/config-{}-{run}", env!("CARGO_TARGET_TMPDIR"), std::process::id());
    command.env("XDG_CONFIG_HOME", own);
    command
}
