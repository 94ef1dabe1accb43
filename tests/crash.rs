//! Nothing is lost: a show whose program is killed in the middle of a knob sweep opens again, at most a
//! second behind.

mod support;

use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use greyhold::picture::BalanceField::Exposure;
use greyhold::show::{Lock, load};
use support::{Process, Screen, greyhold, sequence, wait_for};

/// A child that sweeps exposure in a running engine until it is killed, printing each value as it asks
/// for it. Run by the test below as a process of its own.
#[test]
#[ignore = "started by the test beside it"]
fn sweep() {
    use greyhold::engine::{CACHE, Input, Options, start};
    let dir = std::path::PathBuf::from(std::env::var_os("SWEEP_DIR").expect("the folder of a show"));
    let engine = start(
        greyhold::gpu::Gpu::headless(Default::default()).unwrap(),
        Options {
            lock: Some(Lock::take(&dir).unwrap()),
            show: load(&dir).unwrap(),
            dir,
            panel: None,
            cache: CACHE,
            notify: Arc::new(|| ()),
        },
    )
    .unwrap();
    let target: Arc<str> = "balance/exposure".into();
    // From one end of the range upwards, a tenth of a detent every 10 ms: each value is there once.
    engine.send(Input::Turn { target: target.clone(), detents: -1000.0, control: 6 });
    let start = Instant::now();
    loop {
        engine.send(Input::Turn { target: target.clone(), detents: 0.1, control: 7 });
        println!("{} {}", start.elapsed().as_millis(), engine.snapshot().show.shots[0].balance.get(Exposure));
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn killed_twenty_times_in_a_sweep() {
    let dir = tempfile::tempdir().unwrap();
    let clip = sequence(&dir.path().join("footage"), (64, 36), 4);
    let show = dir.path().join("show");
    for arguments in [
        vec!["new", show.to_str().unwrap()],
        vec!["add", show.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
    ] {
        assert!(greyhold().args(arguments).status().unwrap().success());
    }
    let mut worst = Duration::ZERO;
    let mut slowest = Duration::ZERO;
    let disk = Disk::watch(&dir.path().join("probe"));
    for round in 0..20 {
        let out = dir.path().join("sweep.txt");
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "sweep", "--nocapture"])
            .env("SWEEP_DIR", &show)
            .stdout(std::fs::File::create(&out).unwrap())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        wait_for("the sweep", || {
            std::fs::read_to_string(&out).unwrap().lines().filter(|l| parse(l).is_some()).nth(20)?;
            Some(())
        });
        // Another moment each time.
        std::thread::sleep(Duration::from_millis(600 + round * 37));
        child.kill().unwrap();
        child.wait().unwrap();
        let sync = disk.take();
        let text = std::fs::read_to_string(&out).unwrap();
        // What stands ahead of the sweep's first value is the show as it was loaded.
        let all = text.lines().filter_map(parse);
        let seen: Vec<(u64, f64)> = all.skip_while(|(_, v)| *v > -7.9).collect();
        let saved =
            load(&show).unwrap_or_else(|e| panic!("round {round}: {e}")).shots[0].balance.get(Exposure);
        let last = seen.last().unwrap().0;
        // The sweep only rises, from −8: what was seen above the saved value came after it.
        assert!(saved > -8.0 && saved < -6.0, "round {round}: {saved} is no value of this sweep");
        let when = seen.iter().find(|(_, v)| *v > saved + 1e-9).map_or(last, |(when, _)| *when);
        let lost = Duration::from_millis(last - when);
        worst = worst.max(lost);
        slowest = slowest.max(sync);
        // A second, of which the disk may have three tenths: a busy one takes longer to say that it has
        // written, and that time no program can make up for.
        let allowed = Duration::from_millis(700) + sync.max(Duration::from_millis(300));
        assert!(lost <= allowed, "round {round}: {lost:?} were lost, while a sync took up to {sync:?}");
    }
    println!("killed twenty times; at most {worst:?} were lost; the disk's slowest sync took {slowest:?}");
}

/// Watches how long this disk takes to write a small file for good.
struct Disk {
    slowest: Arc<AtomicU64>,
    over: Arc<AtomicBool>,
}

impl Disk {
    fn watch(path: &Path) -> Self {
        let (slowest, over) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicBool::new(false)));
        let disk = Self { slowest: slowest.clone(), over: over.clone() };
        let path = path.to_owned();
        std::thread::spawn(move || {
            while !over.load(Ordering::Relaxed) {
                let start = Instant::now();
                let file = std::fs::File::create(&path).unwrap();
                (&file).write_all(b"x").unwrap();
                file.sync_all().unwrap();
                slowest.fetch_max(start.elapsed().as_millis() as u64, Ordering::Relaxed);
                std::thread::sleep(Duration::from_millis(20));
            }
        });
        disk
    }

    /// The slowest since the last call.
    fn take(&self) -> Duration {
        Duration::from_millis(self.slowest.swap(0, Ordering::Relaxed))
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
    }
}

fn parse(line: &str) -> Option<(u64, f64)> {
    let (ms, value) = line.split_once(' ')?;
    Some((ms.parse().ok()?, value.trim().parse().ok()?))
}

/// Closing the desk's window saves what has not been saved yet.
#[test]
fn closing_the_window_saves() {
    let dir = tempfile::tempdir().unwrap();
    let clip = sequence(&dir.path().join("footage"), (64, 36), 4);
    let show: &Path = &dir.path().join("show");
    for arguments in [
        vec!["new", show.to_str().unwrap()],
        vec!["add", show.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
    ] {
        assert!(greyhold().args(arguments).status().unwrap().success());
    }
    let screen = Screen::start(1200, 800);
    let mut command = greyhold();
    command.arg("open").arg(show).args(["--size", "900x600", "--client", "closed"]);
    command.env("DISPLAY", &screen.display).env_remove("WAYLAND_DISPLAY");
    let mut program = Process::start(&mut command, "greyhold");
    let desk = screen.window("desk");
    // Keys that come before the window is drawn may be lost.
    wait_for("the desk's first picture", || {
        let pixels = screen.pixels(&desk);
        pixels.iter().any(|p| p[0] > 200).then_some(())
    });
    screen.tool("xdotool", &["windowactivate", "--sync", &desk]);
    // Three detents up, and closed at once.
    screen.tool("xdotool", &["key", "--delay", "30", "equal", "equal", "equal", "alt+F4"]);
    wait_for("the end of the program", || program.0.try_wait().unwrap());
    let exposure = load(show).unwrap().shots[0].balance.get(Exposure);
    assert!((exposure - 0.15).abs() < 1e-9, "{exposure}");
}
