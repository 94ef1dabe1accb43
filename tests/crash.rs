//! Nothing is lost: a show whose program is killed in the middle of a knob sweep opens again, at most a
//! second behind.

mod support;

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use greyhold::picture::BalanceField;
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
            notify: std::sync::Arc::new(|| ()),
        },
    )
    .unwrap();
    let target: std::sync::Arc<str> = "balance/exposure".into();
    engine.send(Input::Reset { target: target.clone() });
    let start = Instant::now();
    // Up and down between 0 and +4 stops, a detent every 10 ms.
    for i in 0.. {
        let detents = if i / 80 % 2 == 0 { 1.0 } else { -1.0 };
        engine.send(Input::Turn { target: target.clone(), detents, control: 7 });
        println!(
            "{} {}",
            start.elapsed().as_millis(),
            engine.snapshot().show.shots[0].balance.get(BalanceField::Exposure)
        );
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
        let text = std::fs::read_to_string(&out).unwrap();
        let seen: Vec<(u64, f64)> = text.lines().filter_map(parse).collect();
        let saved = load(&show).unwrap_or_else(|e| panic!("round {round}: {e}")).shots[0]
            .balance
            .get(BalanceField::Exposure);
        let last = seen.last().unwrap().0;
        // A value that stood between two prints counts as its neighbour, a detent away.
        let at = seen.iter().rev().find(|(_, v)| (v - saved).abs() < 0.051);
        let (when, _) = at.unwrap_or_else(|| panic!("round {round}: {saved} was never there"));
        let lost = Duration::from_millis(last - when);
        worst = worst.max(lost);
        assert!(lost <= Duration::from_secs(1), "round {round}: {lost:?} were lost");
    }
    println!("killed twenty times; at most {worst:?} were lost");
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
    screen.tool("xdotool", &["windowactivate", "--sync", &desk]);
    // Three detents up, and closed at once.
    screen.tool("xdotool", &["key", "--delay", "30", "equal", "equal", "equal", "alt+F4"]);
    wait_for("the end of the program", || program.0.try_wait().unwrap());
    let exposure = load(show).unwrap().shots[0].balance.get(BalanceField::Exposure);
    assert!((exposure - 0.15).abs() < 1e-9, "{exposure}");
}
