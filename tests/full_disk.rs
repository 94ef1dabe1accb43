//! A disk that is really full: a small file system in memory, filled to its last byte, while a show is saved
//! and while frames are rendered.
//!
//! Each test runs its body in a process of its own, in a user and mount namespace (`unshare` of util-linux),
//! where mounting needs no rights.
#![cfg(target_os = "linux")]

mod support;

use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use greyhold::engine::{CACHE, Command as Ask, Handle, Input, Keep, Live, Options, start};
use greyhold::media::MEDIA_FILE;
use greyhold::picture::BalanceField::Exposure;
use greyhold::show::{LOCK_FILE, Lock, SHOW_FILE, load, save};
use support::{greyhold, sequence, wait_for};

const DISK: &str = "GREYHOLD_TEST_SMALL_DISK";

/// Runs an ignored test of this file with [`DISK`] naming a file system of 256 KiB.
fn on_a_small_disk(test: &str) {
    let dir = tempfile::tempdir().unwrap();
    let script =
        "mount -t tmpfs -o size=256k tmpfs \"$1\" && exec \"$2\" --ignored --exact \"$3\" --nocapture";
    let out = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "--", "sh", "-c", script, "sh"])
        .arg(dir.path())
        .arg(std::env::current_exe().unwrap())
        .arg(test)
        .env(DISK, dir.path())
        .output()
        .expect("unshare of util-linux starts");
    let said = [out.stdout, out.stderr].map(|b| String::from_utf8_lossy(&b).into_owned()).join("\n");
    assert!(
        out.status.success() && said.contains("1 passed"),
        "in a mount namespace of its own (the kernel must allow user namespaces):\n{said}"
    );
}

struct Disk(PathBuf);

impl Disk {
    fn here() -> Self {
        Self(std::env::var_os(DISK).expect("the folder of a small disk").into())
    }

    /// Writes until nothing fits any more, then gives `spare` bytes back.
    fn fill(&self, spare: u64) {
        let mut file = OpenOptions::new().create(true).append(true).open(self.ballast()).unwrap();
        let error = (0..100_000).find_map(|_| file.write_all(&[0; 1024]).err()).expect("a full disk");
        assert_eq!((error.kind(), error.raw_os_error()), (ErrorKind::StorageFull, Some(28)), "{error}");
        let length = file.metadata().unwrap().len();
        file.set_len(length - spare).unwrap();
    }

    fn make_room(&self) {
        fs::remove_file(self.ballast()).unwrap();
    }

    fn ballast(&self) -> PathBuf {
        self.0.join("ballast")
    }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<_> = entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn run(arguments: &[&str]) {
    let out = greyhold().args(arguments).output().unwrap();
    assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
}

/// A show of so many shots that its file takes more than two pages.
fn make_show(folder: &Path, footage: &Path) {
    let clip = sequence(footage, (96, 54), 24);
    run(&["new", folder.to_str().unwrap()]);
    run(&["add", folder.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"]);
    let mut show = load(folder).unwrap();
    for n in 1..150 {
        let mut shot = show.shots[0].clone();
        shot.name = format!("take {n}");
        show.shots.push(shot);
    }
    save(&show, folder).unwrap();
    assert!(fs::metadata(folder.join(SHOW_FILE)).unwrap().len() > 8192);
}

#[test]
fn a_full_disk_while_a_show_is_saved() {
    on_a_small_disk("saving");
}

#[test]
#[ignore = "started by the test above it"]
fn saving() {
    let (disk, outside) = (Disk::here(), tempfile::tempdir().unwrap());
    let folder = disk.0.join("show");
    make_show(&folder, outside.path());
    let open_show = || {
        let options = Options {
            lock: Some(Lock::take(&folder).unwrap()),
            show: load(&folder).unwrap(),
            dir: folder.clone(),
            panel: None,
            cache: CACHE,
            notify: Arc::new(|| ()),
        };
        start(greyhold::gpu::Gpu::headless(Default::default()).unwrap(), options).unwrap()
    };
    let turn = |engine: &Handle, detents: f64| {
        engine.send(Input::Turn { target: "balance/exposure".into(), detents, control: 7 });
    };
    let exposure_on_disk = || load(&folder).unwrap().shots[0].balance.get(Exposure);
    let serial = |engine: &Handle| engine.picture(Live::Client).map_or(0, |p| p.serial);
    let engine = open_show();
    wait_for("the first picture", || engine.picture(Live::Client));

    // Not a byte left, and then room for a page: for less than the file.
    let mut wanted = 0.0;
    for (round, spare) in [0, 4096].into_iter().enumerate() {
        let before = fs::read(folder.join(SHOW_FILE)).unwrap();
        disk.fill(spare);
        turn(&engine, 4.0);
        wanted += 0.2;
        let said = format!(
            "{} was not saved: no space left there; the file from before is as it was",
            folder.join(SHOW_FILE).display()
        );
        wait_for("word of the full disk", || {
            (engine.snapshot().trouble.as_deref() == Some(&*said)).then_some(())
        });
        assert_eq!(fs::read(folder.join(SHOW_FILE)).unwrap(), before, "the old file is whole");

        // The program goes on: knobs move the picture, and it plays.
        let last = serial(&engine);
        turn(&engine, 1.0);
        wanted += 0.05;
        wait_for("a picture that answers the knob", || (serial(&engine) > last).then_some(()));
        engine.send(Input::Command(Ask::TogglePlay));
        wait_for("playback", || (engine.snapshot().playback.shown > 3).then_some(()));
        engine.send(Input::Command(Ask::Stop));
        wait_for("the end of playback", || (!engine.snapshot().playing).then_some(()));
        let snapshot = engine.snapshot();
        assert!(snapshot.unsaved && snapshot.trouble.as_deref() == Some(&*said), "round {round}");
        assert_eq!(fs::read(folder.join(SHOW_FILE)).unwrap(), before, "and still is");

        disk.make_room();
        wait_for("the save", || {
            let s = engine.snapshot();
            (!s.unsaved && s.trouble.is_none()).then_some(())
        });
        assert!((exposure_on_disk() - wanted).abs() < 1e-9, "{} {wanted}", exposure_on_disk());
        assert_eq!(names(&folder), [LOCK_FILE, MEDIA_FILE, SHOW_FILE], "nothing is left beside it");
    }

    // Ended on a full disk: that is said, and the file is the last that was saved.
    disk.fill(0);
    let before = fs::read(folder.join(SHOW_FILE)).unwrap();
    turn(&engine, 2.0);
    wait_for("the turn", || engine.snapshot().unsaved.then_some(()));
    let said = engine.stop().unwrap_err().to_string();
    assert!(said.contains("show.toml was not saved: no space left there"), "{said}");
    assert_eq!(fs::read(folder.join(SHOW_FILE)).unwrap(), before);
    // A show on a full disk opens all the same, also where no lock was before.
    fs::remove_file(folder.join(LOCK_FILE)).unwrap();
    disk.fill(0);
    let engine = open_show();
    wait_for("a picture", || engine.picture(Live::Client));
    assert!((engine.snapshot().show.shots[0].balance.get(Exposure) - wanted).abs() < 1e-9);
    disk.make_room();
    engine.stop().unwrap();
    assert_eq!(names(&folder), [LOCK_FILE, MEDIA_FILE, SHOW_FILE]);
}

#[test]
fn a_full_disk_while_frames_are_rendered() {
    on_a_small_disk("rendering");
}

#[test]
#[ignore = "started by the test above it"]
fn rendering() {
    let (disk, outside) = (Disk::here(), tempfile::tempdir().unwrap());
    let show = outside.path().join("show");
    make_show(&show, &outside.path().join("footage"));
    for format in ["dpx", "png", "tiff", "exr"] {
        let frames = disk.0.join(format);
        let render = |range: &str| {
            let mut command = greyhold();
            command.args(["render", show.to_str().unwrap(), "--out", frames.to_str().unwrap()]);
            command.args(["--format", format, "--shots", "take", "--frames", range, "--on", "cpu"]);
            command.output().unwrap()
        };
        disk.fill(60 * 1024);
        let out = render("0..23");
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(2), "{format}: {said}");
        assert!(said.contains("shot \"take\", frame "), "{said}");
        let named = format!("{}/take/take.", frames.display());
        assert!(said.contains(&named) && said.contains("No space left on device"), "{said}");

        // What is there is whole and as it would be with room; no half of a file lies about.
        let written = names(&frames.join("take"));
        assert!((1..24).contains(&written.len()), "{format}: {written:?}");
        let elsewhere = outside.path().join("whole").join(format);
        let mut command = greyhold();
        command.args(["render", show.to_str().unwrap(), "--out", elsewhere.to_str().unwrap()]);
        command.args(["--format", format, "--shots", "take", "--on", "cpu"]);
        assert!(command.output().unwrap().status.success());
        for name in &written {
            assert!(!name.starts_with('.'), "{name} was left behind");
            let (here, whole) = (frames.join("take").join(name), elsewhere.join("take").join(name));
            assert_eq!(fs::read(here).unwrap(), fs::read(whole).unwrap(), "{format}: {name}");
        }

        // With room again the same command does it.
        disk.make_room();
        let out = render("20..22");
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        for frame in 20..=22 {
            let name = written[0].replace(&written[0][5..10], &format!("{frame:05}"));
            let (here, whole) = (frames.join("take").join(&name), elsewhere.join("take").join(&name));
            assert_eq!(fs::read(here).unwrap(), fs::read(whole).unwrap(), "{format}: {name}");
        }
        fs::remove_dir_all(&frames).unwrap();
    }
}

#[test]
fn a_full_disk_while_stills_and_versions_are_kept() {
    on_a_small_disk("keeping");
}

#[test]
#[ignore = "started by the test above it"]
fn keeping() {
    let (disk, outside) = (Disk::here(), tempfile::tempdir().unwrap());
    let folder = disk.0.join("show");
    let clip = sequence(outside.path(), (96, 54), 2);
    run(&["new", folder.to_str().unwrap()]);
    run(&["add", folder.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"]);
    let options = Options {
        lock: Some(Lock::take(&folder).unwrap()),
        show: load(&folder).unwrap(),
        dir: folder.clone(),
        panel: None,
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    let engine = start(greyhold::gpu::Gpu::headless(Default::default()).unwrap(), options).unwrap();
    wait_for("the first picture", || engine.picture(Live::Client));
    let keep = || {
        engine.send(Input::Keep(Keep::Still { name: "here".into(), note: String::new() }));
    };
    let (stills, versions) = (folder.join("stills"), folder.join("versions"));

    // Not a byte left: that is said, and nothing is there, not even the folder.
    disk.fill(0);
    keep();
    let refused = |what: &str| {
        wait_for("word of the full disk", || {
            engine.snapshot().trouble.clone().filter(|t| t.contains(what) && t.contains("no space left"))
        })
    };
    let said = refused("the still was not kept");
    assert!(said.contains("001-here.png"), "{said}");
    assert!(!stills.exists());
    engine.send(Input::Keep(Keep::Version { name: "here".into() }));
    refused("the version was not kept");
    assert!(!versions.exists());
    disk.make_room();
    keep();
    let still = wait_for("a still", || engine.snapshot().kept.stills.first().cloned());
    assert_eq!(engine.snapshot().trouble, None);
    assert_eq!(names(&stills), ["001-here.png", "001-here.toml"]);

    // Room for a picture and none for what is said of it: neither stays.
    let picture = fs::metadata(still.picture_path(&folder)).unwrap().len().next_multiple_of(4096);
    disk.fill(picture);
    keep();
    let said = refused("the still was not kept");
    assert!(said.contains("002-here.toml"), "{said}");
    assert_eq!(names(&stills), ["001-here.png", "001-here.toml"]);
    assert_eq!(engine.snapshot().kept.stills.len(), 1);

    // A version is not switched to where the grade in use cannot be kept before.
    disk.make_room();
    engine.send(Input::Keep(Keep::Version { name: "first".into() }));
    let id = wait_for("a version", || engine.snapshot().kept.versions.first().map(|v| v.id.clone()));
    engine.send(Input::Turn { target: "balance/exposure".into(), detents: 4.0, control: 7 });
    wait_for("a save", || (!engine.snapshot().unsaved && engine.snapshot().steps.0 == 1).then_some(()));
    disk.fill(0);
    engine.send(Input::Keep(Keep::UseVersion { id: id.clone() }));
    refused("nothing was changed, since the grade in use could not be kept");
    assert!((engine.snapshot().show.shots[0].balance.get(Exposure) - 0.2).abs() < 1e-9);
    disk.make_room();
    engine.send(Input::Keep(Keep::UseVersion { id }));
    wait_for("the version", || (engine.snapshot().show.shots[0].balance.get(Exposure) == 0.0).then_some(()));
    assert_eq!(names(&versions), ["001-first.toml", "002-before-first.toml"]);
    engine.stop().unwrap();

    // A folder that nobody may write to: said, with the system's reason. Root may write anyway.
    fs::remove_dir_all(&stills).unwrap();
    fs::write(&stills, "a file in its place").unwrap();
    let mut command = greyhold();
    command.args(["still", "keep", folder.to_str().unwrap(), "take", "--on", "cpu"]);
    let out = command.output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(!out.status.success() && said.contains("stills"), "{said}");
}

#[cfg(feature = "video")]
#[test]
fn a_full_disk_while_a_movie_is_made() {
    on_a_small_disk("movie");
}

/// Room for a few frames at a time: the same command goes on where it was; then none for the movie itself, which is not there until it is whole.
#[cfg(feature = "video")]
#[test]
#[ignore = "started by the test above it"]
fn movie() {
    let (disk, outside) = (Disk::here(), tempfile::tempdir().unwrap());
    let show = outside.path().join("show");
    make_show(&show, &outside.path().join("footage"));
    let render = |out: &Path| {
        let mut command = greyhold();
        command.args(["render", show.to_str().unwrap(), "--out", out.to_str().unwrap(), "--shots", "take"]);
        command.args(["--format", "prores-422-proxy", "--size", "32x18", "--on", "cpu"]);
        command.output().unwrap()
    };
    let whole = outside.path().join("whole");
    assert!(render(&whole).status.success());
    let movies = disk.0.join("movies");
    let groups = || {
        let folder = movies.join(".greyhold/take.mov");
        let all = if folder.exists() { names(&folder) } else { Vec::new() };
        assert!(all.iter().all(|n| !n.contains("movie.part")), "{all:?}");
        all.iter().filter(|n| n.ends_with(".group")).count()
    };
    let (mut last, mut rounds) = (0, 0);
    while last < 24 {
        disk.fill(8 * 1024);
        let out = render(&movies);
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(2), "{said}");
        assert!(said.contains("No space left on device"), "{said}");
        assert!(!movies.join("take.mov").exists(), "no movie that is not whole");
        let now = groups();
        assert!(now >= last, "what was there stays");
        (last, rounds) = (now, rounds + 1);
        assert!(rounds < 40, "it goes on: {now} of 24 after {rounds} rounds");
    }
    disk.fill(8 * 1024);
    let out = render(&movies);
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert_eq!(out.status.code(), Some(2), "{said}");
    assert!(said.contains("take.mov: cannot be written: No space left"), "{said}");
    assert!(!movies.join("take.mov").exists() && groups() == 24);
    disk.make_room();
    let out = render(&movies);
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success() && said.contains("24 frames were there already"), "{said}");
    assert_eq!(fs::read(movies.join("take.mov")).unwrap(), fs::read(whole.join("take.mov")).unwrap());
}
