//! Frames that cannot be read: what the windows show meanwhile, and that they are tried again.

mod support;

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command as Process;
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Command, Handle, Input, Live, Options, start};
use greyhold::show::{Shot, Show};
use support::{Screen, greyhold, sequence, wait_for};

fn engine(dir: &Path, shots: Vec<Shot>) -> Handle {
    let mut show = Show::new("test");
    show.shots = shots;
    start(
        greyhold::gpu::Gpu::headless(Default::default()).unwrap(),
        Options { lock: None, show, dir: dir.to_owned(), panel: None, cache: CACHE, notify: Arc::new(|| ()) },
    )
    .unwrap()
}

fn shot(name: &str, source: PathBuf, frames: u64) -> Shot {
    Shot::new(name, source, 0..frames, encoding("logc4").unwrap())
}

fn ask(engine: &Handle, command: Command) {
    engine.send(Input::Command(command));
}

/// Waits until both windows have the picture of a shot's frame and nothing is wrong.
fn shows(engine: &Handle, shot: usize, frame: u64) {
    wait_for(&format!("shot {shot}, frame {frame}"), || {
        let there =
            Live::ALL.iter().all(|&w| engine.picture(w).is_some_and(|p| (p.shot, p.frame) == (shot, frame)));
        (there && engine.snapshot().trouble.is_none()).then_some(())
    });
}

/// Waits until the windows have no picture and the desk says why, in words that hold all of `words`.
fn shows_nothing(engine: &Handle, words: &[&str]) {
    wait_for(&format!("no picture, because of {words:?}"), || {
        let trouble = engine.snapshot().trouble.clone()?;
        let none = Live::ALL.iter().all(|&w| engine.picture(w).is_none());
        (none && words.iter().all(|w| trouble.contains(w))).then_some(())
    });
}

fn take(folder: &Path, frame: u32) -> PathBuf {
    folder.join(format!("take.{frame:04}.dpx"))
}

#[test]
fn a_frame_that_cannot_be_read_is_no_picture_until_it_can() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("footage");
    let clip = sequence(&folder, (64, 36), 8);
    let (cut, gone) = (take(&folder, 3), take(&folder, 5));
    let (whole_cut, whole_gone) = (fs::read(&cut).unwrap(), fs::read(&gone).unwrap());
    fs::write(&cut, &whole_cut[..3000]).unwrap();
    fs::remove_file(&gone).unwrap();
    let engine = engine(dir.path(), vec![shot("take", clip, 8)]);
    shows(&engine, 0, 0);
    ask(&engine, Command::Seek(2));
    shows(&engine, 0, 2);
    ask(&engine, Command::Step(1));
    shows_nothing(&engine, &["take.0003.dpx"]);
    // Before and after are whole.
    ask(&engine, Command::Step(1));
    shows(&engine, 0, 4);
    ask(&engine, Command::Step(-1));
    shows_nothing(&engine, &["take.0003.dpx"]);
    ask(&engine, Command::Step(-1));
    shows(&engine, 0, 2);

    // The file is put right while its frame is on view: nobody has to ask.
    ask(&engine, Command::Step(1));
    shows_nothing(&engine, &["take.0003.dpx"]);
    fs::write(&cut, &whole_cut).unwrap();
    shows(&engine, 0, 3);
    ask(&engine, Command::Step(2));
    shows_nothing(&engine, &["take.0005.dpx", "missing"]);
    fs::write(&gone, &whole_gone).unwrap();
    shows(&engine, 0, 5);
    engine.stop().unwrap();
}

/// A file that was mended without a trace is read again when the hand goes to its frame.
#[test]
fn going_to_a_frame_tries_it_again() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("footage");
    let clip = sequence(&folder, (64, 36), 4);
    let file = take(&folder, 2);
    let whole = fs::read(&file).unwrap();
    let time = std::time::SystemTime::now() - Duration::from_secs(1000);
    let write = |bytes: &[u8]| {
        // Another name first, so that no moment shows another time.
        let temporary = dir.path().join("new");
        fs::write(&temporary, bytes).unwrap();
        File::options().write(true).open(&temporary).unwrap().set_modified(time).unwrap();
        fs::rename(&temporary, &file).unwrap();
    };
    write(&vec![0; whole.len()]);
    let engine = engine(dir.path(), vec![shot("take", clip, 4)]);
    ask(&engine, Command::Seek(2));
    shows_nothing(&engine, &["take.0002.dpx"]);
    write(&whole);
    std::thread::sleep(Duration::from_millis(2500));
    shows_nothing(&engine, &["take.0002.dpx"]);
    ask(&engine, Command::Step(-1));
    shows(&engine, 0, 1);
    ask(&engine, Command::Step(1));
    shows(&engine, 0, 2);
    engine.stop().unwrap();
}

/// While it plays, the last picture of the shot stays over a frame that cannot be read; stopped on it, there is none.
#[test]
fn playback_does_not_flash_where_frames_are_broken() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("footage");
    let clip = sequence(&folder, (64, 36), 12);
    for frame in [4, 5, 9] {
        fs::write(take(&folder, frame), "not a picture").unwrap();
    }
    let engine = engine(dir.path(), vec![shot("take", clip, 12)]);
    shows(&engine, 0, 0);
    ask(&engine, Command::TogglePlay);
    wait_for("playback", || (engine.snapshot().playback.shown > 2).then_some(()));
    let (start, mut seen) = (Instant::now(), std::collections::BTreeSet::new());
    let mut broken = 0;
    while start.elapsed() < Duration::from_secs(3) {
        let picture = engine.picture(Live::Client).expect("a picture all the while");
        seen.insert(picture.frame);
        broken += usize::from(engine.snapshot().trouble.as_ref().is_some_and(|t| t.contains("not an image")));
        std::thread::sleep(Duration::from_millis(2));
    }
    assert!(seen.len() >= 6 && [4, 5, 9].iter().all(|n| !seen.contains(n)), "{seen:?}");
    assert!(broken > 0, "the desk says what is broken as it passes");
    ask(&engine, Command::Stop);
    ask(&engine, Command::Seek(9));
    shows_nothing(&engine, &["take.0009.dpx"]);
    engine.stop().unwrap();
}

/// Footage that is not there yet, or not all: its shot has no picture, not that of another shot, until it comes.
#[test]
fn footage_that_comes_later_is_seen() {
    let dir = tempfile::tempdir().unwrap();
    let here = sequence(&dir.path().join("here"), (64, 36), 4);
    let later = dir.path().join("later").join("take.####.dpx");
    let video = dir.path().join("later.mkv");
    let shots = vec![shot("here", here, 4), shot("later", later, 4), shot("video", video.clone(), 4)];
    let engine = engine(dir.path(), shots);
    shows(&engine, 0, 0);
    ask(&engine, Command::Shot(1));
    shows_nothing(&engine, &["take.####.dpx"]);
    // First a file of it that is not whole, as when it is being copied.
    let whole = dir.path().join("whole");
    sequence(&whole, (64, 36), 4);
    fs::create_dir(dir.path().join("later")).unwrap();
    fs::write(take(&dir.path().join("later"), 0), &fs::read(take(&whole, 0)).unwrap()[..100]).unwrap();
    shows_nothing(&engine, &["take.0000.dpx"]);
    for frame in 0..4 {
        fs::copy(take(&whole, frame), take(&dir.path().join("later"), frame)).unwrap();
    }
    shows(&engine, 1, 0);
    ask(&engine, Command::Step(3));
    shows(&engine, 1, 3);

    ask(&engine, Command::Shot(2));
    shows_nothing(&engine, &["later.mkv"]);
    fs::write(&video, "half a header").unwrap();
    std::thread::sleep(Duration::from_millis(1500));
    shows_nothing(&engine, &["later.mkv"]);
    let made = dir.path().join("made.mkv");
    let line = "-v error -f lavfi -i testsrc2=size=64x64:rate=24 -frames:v 4 -c:v ffv1 -pix_fmt yuv422p10le";
    let run = Process::new("ffmpeg").args(line.split(' ')).arg(&made).status();
    assert!(run.expect("ffmpeg starts (Debian: ffmpeg)").success());
    fs::rename(&made, &video).unwrap();
    shows(&engine, 2, 0);
    // Back where all is well, and there again.
    ask(&engine, Command::Shot(0));
    shows(&engine, 0, 0);
    ask(&engine, Command::Shot(2));
    shows(&engine, 2, 0);
    engine.stop().unwrap();
}

/// On the screen: the client's window is a neutral grey, and the picture is there when the frame is.
#[test]
fn the_clients_window_is_neutral_where_there_is_no_picture() {
    let dir = tempfile::tempdir().unwrap();
    let clip = sequence(&dir.path().join("footage"), (320, 180), 3);
    let show = dir.path().join("show");
    for arguments in [
        vec!["new", show.to_str().unwrap()],
        vec!["add", show.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
    ] {
        assert!(greyhold().args(arguments).status().unwrap().success());
    }
    let file = take(&dir.path().join("footage"), 1);
    let whole = fs::read(&file).unwrap();
    fs::write(&file, &whole[..5000]).unwrap();
    let screen = Screen::start(1500, 900);
    let mut command = greyhold();
    command.arg("open").arg(&show).args(["--size", "1000x640", "--client-size", "320x180"]);
    command.env("DISPLAY", &screen.display).env_remove("WAYLAND_DISPLAY");
    let mut program = support::Process::start(&mut command, "greyhold");
    let (client, desk) = (screen.window("client"), screen.window("desk"));
    screen.tool("xdotool", &["windowmove", &desk, "0", "0", "windowmove", &client, "1100", "100"]);
    let colours = || screen.pixels(&client).into_iter().collect::<std::collections::BTreeSet<_>>();
    let picture = || (colours().len() > 1000).then_some(());
    wait_for("a picture in the client's window", picture);
    screen.tool("xdotool", &["windowactivate", "--sync", &desk, "key", "Right"]);
    // Two hundredths of white's light, 0.195 of the signal.
    wait_for("a neutral field", || (colours() == [[50; 3]].into()).then_some(()));
    fs::write(&file, &whole).unwrap();
    wait_for("the picture", picture);
    program.stop();
}
