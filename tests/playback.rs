//! Playback keeps time: real clips through a running engine, by the clock on the wall.
//!
//! `keeps_time_for_a_minute` measures and prints; it is left out unless asked for, since it takes two minutes of a quiet machine:
//! `cargo test --release --features jack --test playback -- --ignored --nocapture`.

mod support;

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{
    CACHE, Command as Do, Handle, Input, Live, Options, PaceCommand, Preview, Scope, start,
};
use greyhold::gpu::{Gpu, Request};
use greyhold::picture::{Frame, Recipe, cpu};
use greyhold::show::{Shot, Show, recipe};
use support::wait_for;

/// A clip of a moving pattern in HEVC of 10 bits.
fn clip(file: &Path, (width, height): (u32, u32), rate: &str, frames: u32) {
    let source = format!("testsrc2=size={width}x{height}:rate={rate}");
    let mut command = Command::new("ffmpeg");
    command.args([
        "-v",
        "error",
        "-nostdin",
        "-y",
        "-f",
        "lavfi",
        "-i",
        &source,
        "-frames:v",
        &frames.to_string(),
    ]);
    command.args(["-pix_fmt", "yuv420p10le", "-c:v", "libx265", "-preset", "ultrafast"]);
    command.args(["-x265-params", "keyint=24:bframes=3:log-level=error"]).arg(file).stdin(Stdio::null());
    let output =
        command.output().expect("these tests need the `ffmpeg` program (Debian: apt-get install ffmpeg)");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

fn show(dir: &Path, size: (u32, u32), rate: (u32, u32), frames: [u32; 2]) -> Show {
    let mut show = Show::new("playback");
    show.rate = rate;
    show.raster = Some(size);
    for (i, frames) in frames.into_iter().enumerate() {
        let name = format!("clip {i}.mov");
        clip(&dir.join(&name), size, &format!("{}/{}", rate.0, rate.1), frames);
        let shot = Shot::new(&name, name.as_str(), 0..frames.into(), encoding("logc4").unwrap());
        show.shots.push(shot);
    }
    show
}

fn engine(dir: &Path, show: Show) -> Handle {
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    start(Gpu::headless(Request::default()).unwrap(), options).unwrap()
}

/// Waits until it plays on from the decoder's preroll, and gives when that was seen.
fn plays(engine: &Handle) -> Instant {
    engine.send(Input::Command(Do::TogglePlay));
    wait_for("a frame of playing", || (engine.snapshot().playback.shown > 0).then(Instant::now))
}

/// Every frame whose time has come since the clock started was shown or counted as dropped, across shots and round.
#[test]
fn every_frame_is_shown_or_counted() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (96, 54), (24_000, 1001), [40, 30]);
    let engine = engine(dir.path(), show);
    engine.send(Input::Command(Do::Scope(Scope::Show)));
    wait_for("a picture", || engine.picture(Live::Client));
    plays(&engine);
    let counted = || {
        let s = engine.snapshot();
        (Instant::now(), s.playback.shown + s.playback.dropped, s.shot)
    };
    let (first, from, _) = counted();
    let mut shots = [false; 2];
    let (mut last, mut to) = (first, from);
    while last - first < Duration::from_secs(5) {
        std::thread::sleep(Duration::from_millis(20));
        let shot;
        (last, to, shot) = counted();
        shots[shot] = true;
    }
    let due = (last - first).as_secs_f64() * 24_000.0 / 1001.0;
    // A frame at each end, and what a busy machine's threads are late by.
    assert!(((to - from) as f64 - due).abs() < 6.0, "{} counted, {due:.1} due", to - from);
    assert_eq!(shots, [true; 2], "it went on into the next shot");
    // Both clips are small: they are kept, and it is told which frames are.
    let ready: u64 = engine.snapshot().ready.iter().map(|run| run.end - run.start).sum();
    assert!(ready >= 25, "{ready} frames are said to be kept");
    engine.stop().unwrap();
}

/// A part of a shot is played round; stepping leaves it.
#[test]
fn a_part_of_a_shot_goes_round() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path(), show(dir.path(), (96, 54), (25, 1), [40, 10]));
    wait_for("a picture", || engine.picture(Live::Client));
    for (frame, command) in [(8, PaceCommand::In), (15, PaceCommand::Out)] {
        engine.send(Input::Command(Do::Seek(frame)));
        engine.send(Input::Command(Do::Pace(command)));
    }
    wait_for("the part", || (engine.snapshot().range == Some(8..16)).then_some(()));
    plays(&engine);
    let mut seen = [0u32; 40];
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(3) || seen[8..16].contains(&0) {
        assert!(begun.elapsed() < support::PATIENCE, "{seen:?}");
        std::thread::sleep(Duration::from_millis(4));
        seen[engine.snapshot().frame as usize] += 1;
    }
    assert!(seen[..8].iter().chain(&seen[16..]).all(|n| *n == 0), "{seen:?}");
    engine.send(Input::Command(Do::Pace(PaceCommand::Whole)));
    wait_for("another part", || (engine.snapshot().frame > 20).then_some(()));
    // By steps, either way, to any frame.
    engine.send(Input::Command(Do::Seek(3)));
    for by in [-1, 1, 1, -10, 5] {
        engine.send(Input::Command(Do::Step(by)));
    }
    wait_for("frame 5", || (engine.snapshot().frame == 5 && !engine.snapshot().playing).then_some(()));
}

/// Live pictures at half and quarter size are what the CPU makes of the recipe in that raster, placed roughly; it is told, and
/// a whole picture comes back.
#[test]
fn smaller_pictures_are_told_and_right() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("take");
    support::sequence(&folder, (320, 180), 1);
    let mut show = Show::new("preview");
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..1, encoding("logc4").unwrap()));
    let engine = engine(dir.path(), show);
    wait_for("a picture", || engine.picture(Live::Client));
    let show = engine.snapshot().show.clone();
    let frame: Frame =
        greyhold::media::open(&folder.join("take.####.dpx"), &Default::default()).unwrap().frame(0).unwrap();
    let whole = recipe(&show, 0, show.tail(greyhold::show::Output::Client), 0).unwrap();
    for (preview, parts) in
        [(Preview::Half, 2), (Preview::Quarter, 4), (Preview::Whole, 1), (Preview::Automatic, 1)]
    {
        engine.send(Input::Command(Do::Pace(PaceCommand::Preview(preview))));
        let raster = (320 / parts, 180 / parts);
        let small = Recipe { raster: Some(raster), rough: parts > 1, ..whole.clone() };
        let wanted = cpu::codes(&small, &frame, 8, true).pixels;
        wait_for("pictures of that size", || {
            let s = engine.snapshot();
            let both = [Live::Desk, Live::Client].map(|live| engine.picture(live));
            let right = both.iter().flatten().filter(|p| {
                (p.output.width, p.output.height) == raster
                    && engine
                        .gpu
                        .read_screen(&p.output)
                        .unwrap()
                        .iter()
                        .zip(&wanted)
                        .all(|(a, b)| (0..3).all(|c| u16::from(a[c]).abs_diff(b[c]) <= 1))
            });
            (right.count() == 2 && (s.preview, s.reduced) == (preview, parts)).then_some(())
        });
    }
    // A pixel of half the size is the mean of four where the frame is even: rough, and never brighter or darker.
    let flat = Frame::from_rgb(64, &vec![[0.4f32, 0.5, 0.6]; 64 * 32]).unwrap();
    let acescg = encoding("acescg").unwrap();
    let plain = Recipe::conversion(acescg, greyhold::picture::Tail::Light);
    for raster in [(32, 16), (16, 8)] {
        let small = Recipe { raster: Some(raster), rough: true, ..plain.clone() };
        let out = cpu::signal(&small, &flat).pixels;
        assert!(out.iter().all(|p| (0..3).all(|c| (p[c] - [0.4, 0.5, 0.6][c]).abs() < 1e-6)));
    }
}

#[test]
#[ignore = "measures for two minutes"]
fn keeps_time_for_a_minute() {
    let seconds: u64 = std::env::var("GREYHOLD_PLAY").ok().and_then(|s| s.parse().ok()).unwrap_or(60);
    for (rate, preview) in
        [((24, 1), Preview::Whole), ((25, 1), Preview::Whole), ((25, 1), Preview::Automatic)]
    {
        let dir = tempfile::tempdir().unwrap();
        let engine = engine(dir.path(), show(dir.path(), (960, 540), rate, [120, 120]));
        engine.send(Input::Command(Do::Scope(Scope::Show)));
        engine.send(Input::Command(Do::Pace(PaceCommand::Preview(preview))));
        wait_for("a picture", || engine.picture(Live::Client));
        let begun = plays(&engine);
        let at = |s: &greyhold::engine::Snapshot| s.playback.shown + s.playback.dropped;
        let from = at(&engine.snapshot());
        std::thread::sleep(Duration::from_secs(seconds));
        let (s, elapsed) = (engine.snapshot(), begun.elapsed());
        let due = elapsed.as_secs_f64() * f64::from(rate.0) / f64::from(rate.1);
        let error = (at(&s) - from) as f64 - due;
        let p = s.playback;
        println!(
            "{} for {:.1} s at {}/{} fps, 960×540 HEVC 10 bit, two shots round, pictures {} (1/{}): shown {}, dropped {}, \
             median cost {:.1} ms, latest {:.1} ms after its time, clock off by {error:+.2} frames, {} frames kept",
            engine.gpu.name(),
            elapsed.as_secs_f64(),
            rate.0,
            rate.1,
            preview.name(),
            s.reduced,
            p.shown,
            p.dropped,
            p.cost.as_secs_f64() * 1e3,
            p.late.as_secs_f64() * 1e3,
            s.cached.0,
        );
        assert!(error.abs() < 3.0 + 0.1 * f64::from(rate.0), "the clock is off by {error} frames");
        engine.stop().unwrap();
    }
}
