//! Stills, what the picture is compared with, and versions: through a running engine, with real files and pixels read back.

mod support;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use greyhold::colour::{DISPLAYS, display, encoding};
use greyhold::engine::stills::{as_shown, still_signal};
use greyhold::engine::{CACHE, Command, Compare, Handle, Input, Keep, Live, Options, Snapshot, With, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::{Chain, Stage, stage};
use greyhold::media::{Image, ImageFormat, write_image};
use greyhold::picture::{BalanceField, Beside, Carried, FramingField, Way, cpu};
use greyhold::show::{
    Change, Group, Lock, Output, OutputSettings, Portion, Shot, Show, Slot, StrengthTrim, load, load_look,
    load_version, recipe, save, shipped_looks, still_settings, stills, versions,
};
use support::{sequence, wait_for};

const SIZE: (u32, u32) = (64, 36);

fn of(key: &str) -> Stage {
    Stage::new(stage(key).unwrap())
}

/// A show of three shots with a look, in a folder with its footage.
fn show(dir: &Path) -> Show {
    sequence(&dir.join("take"), SIZE, 4);
    let mut show = Show::new("compared");
    for name in ["a", "b", "c"] {
        let source = Path::new("take").join("take.####.dpx");
        show.shots.push(Shot::new(name, source, 0..4, encoding("logc4").unwrap()));
    }
    show.shots[1].balance.values[0] = -1.0;
    show.groups.push(Group { name: "night".into(), trim: StrengthTrim::default() });
    show.chain = Chain {
        before: vec![of("saturation")],
        look: vec![of("contrast"), of("split-tone")],
        finish: vec![of("vignette")],
        ..Chain::default()
    };
    save(&show, dir).unwrap();
    show
}

fn engine(dir: &Path, show: &Show) -> Handle {
    let options = Options {
        dir: dir.to_owned(),
        show: show.clone(),
        lock: None,
        panel: None,
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    let engine = start(Gpu::headless(Request::default()).unwrap(), options).unwrap();
    wait_for("a picture", || engine.picture(Live::Desk));
    engine
}

fn keep(engine: &Handle, ask: Keep) {
    engine.send(Input::Keep(ask));
}

fn press(engine: &Handle, action: &str) {
    for down in [true, false] {
        engine.send(Input::Press { action: action.into(), down });
    }
}

fn comes<T>(engine: &Handle, what: &str, found: impl Fn(&Snapshot) -> Option<T>) -> T {
    wait_for(what, || found(&engine.snapshot()))
}

/// Keeps the frame on view; gives the still's id.
fn keep_still(engine: &Handle, name: &str) -> Arc<str> {
    let before = engine.snapshot().kept.stills.len();
    keep(engine, Keep::Still { name: name.into(), note: String::new() });
    comes(engine, "a still", |s| {
        assert_eq!(s.trouble, None);
        s.kept.stills.get(before).map(|s| s.id.clone())
    })
}

fn codes(engine: &Handle, output: Live) -> Vec<[u8; 3]> {
    let picture = engine.picture(output).unwrap();
    let pixels = engine.gpu.read_screen(&picture.output).unwrap();
    pixels.into_iter().map(|[r, g, b, _]| [r, g, b]).collect()
}

/// What a shot's frame 0 is by the CPU twin, as signal.
fn signal(dir: &Path, show: &Show, shot: usize) -> Vec<[f32; 3]> {
    let frame =
        greyhold::media::open(&show.shots[shot].source_path(dir), &Default::default()).unwrap().frame(0);
    let recipe = recipe(show, shot, show.tail(Output::Desk), 0).unwrap();
    cpu::signal(&recipe, &frame.unwrap()).pixels
}

/// The same as a window holds it.
fn shown(dir: &Path, show: &Show, shot: usize) -> Vec<[f32; 3]> {
    let frame =
        greyhold::media::open(&show.shots[shot].source_path(dir), &Default::default()).unwrap().frame(0);
    let recipe = recipe(show, shot, show.tail(Output::Desk), 0).unwrap();
    let codes = cpu::codes(&recipe, &frame.unwrap(), 8, true).pixels;
    codes.into_iter().map(|p| p.map(|c| f32::from(c) / 255.0)).collect()
}

/// Waits until a live output shows that signal: each code within one, but few further off.
fn shows(engine: &Handle, output: Live, what: &str, wanted: &[[f32; 3]]) {
    let mut last = 0;
    let start = std::time::Instant::now();
    loop {
        let found = codes(engine, output);
        assert_eq!(found.len(), wanted.len());
        let off =
            |(f, w): (&[u8; 3], &[f32; 3])| (0..3).any(|c| (f32::from(f[c]) - w[c] * 255.0).abs() > 1.6);
        let count = found.iter().zip(wanted).filter(|p| off(*p)).count();
        if count * 100 <= wanted.len() {
            return;
        }
        if start.elapsed() > support::PATIENCE {
            panic!("{what} did not come: {count} of {} pixels differ ({last})", wanted.len());
        }
        last = count;
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

fn to_codes(signal: &[[f32; 3]]) -> Vec<[u16; 3]> {
    signal.iter().map(|p| p.map(|v| (v * 65_535.0).round() as u16)).collect()
}

fn exposure(engine: &Handle, shot: usize, value: f64) {
    let slot = Slot::Balance { shot, field: BalanceField::Exposure };
    engine.send(Input::Change { change: Change::SetParameter { slot, value }, control: 9 });
    comes(engine, "another exposure", |s| {
        (s.show.shots[shot].balance.get(BalanceField::Exposure) == value).then_some(())
    });
}

#[test]
fn a_still_is_the_frame_with_what_made_it() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let engine = engine(dir.path(), &show);
    press(&engine, "keep-still");
    let still = comes(&engine, "a still", |s| s.kept.stills.first().cloned());
    assert_eq!(still.name, "a 00:00:00:00");
    assert_eq!((still.size, &*still.display.id), (SIZE, "rec709"));
    let frame = still.of.clone().unwrap();
    assert_eq!((frame.shot.as_str(), frame.frame, frame.timecode.as_str()), ("a", 0, "00:00:00:00"));
    // Its picture is what the CPU twin says, to a part of a 16-bit code of what GPUs may differ by.
    let kept = still_signal(dir.path(), &still, SIZE).unwrap();
    let wanted = signal(dir.path(), &show, 0);
    let worst =
        kept.iter().flatten().zip(wanted.iter().flatten()).map(|(k, w)| (k - w).abs()).fold(0.0, f32::max);
    println!("a still is off the CPU twin by {worst:.2e} of signal at most");
    assert!(worst < 2e-4, "{worst}");
    // Another program reads the file as a PNG of 16 bits; its checksum is zlib's.
    let file = still.picture_path(dir.path());
    let out = std::process::Command::new("python3")
        .args([
            "-c",
            "import sys,zlib;d=open(sys.argv[1],'rb').read();print('%08x'%zlib.crc32(d),d[24],d[25])",
        ])
        .arg(&file)
        .output()
        .unwrap();
    let said = String::from_utf8(out.stdout).unwrap();
    assert_eq!(
        said.trim(),
        format!("{:08x} 16 2", still.checksum),
        "CRC-32 of zlib; PNG's bit depth and colour type"
    );
    // The settings are those of the shot.
    let settings = still_settings(dir.path(), &still.id, true).unwrap();
    assert_eq!(settings.shots[..], show.shots[..1]);
    assert_eq!((settings.chain, settings.outputs), (show.chain.clone(), show.outputs.clone()));
    // Nothing of it is undoable, nothing makes the show unsaved.
    assert_eq!(engine.snapshot().steps, (0, 0));

    // Names are their own; a name that is taken is refused, and a new still gets a number.
    let second = keep_still(&engine, "a 00:00:00:00");
    keep(&engine, Keep::RenameStill { id: second.clone(), name: "dusk".into() });
    comes(&engine, "its name", |s| (s.kept.stills[1].name == "dusk").then_some(()));
    keep(&engine, Keep::RenameStill { id: second.clone(), name: still.name.clone() });
    comes(&engine, "a refusal", |s| s.trouble.clone().filter(|t| t.contains("no other still has")));
    keep(&engine, Keep::NoteStill { id: second.clone(), note: "approved, once".into() });
    comes(&engine, "a note", |s| (s.kept.stills[1].note == "approved, once").then_some(()));
    // Renaming leaves every other line alone.
    assert_eq!(still_settings(dir.path(), &second, true).unwrap().chain, show.chain);
    keep(&engine, Keep::RemoveStill { id: still.id.clone() });
    comes(&engine, "one still", |s| {
        (s.kept.stills.len() == 1 && s.kept.stills[0].id == second).then_some(())
    });
    assert!(!file.exists());
    engine.stop().unwrap();
    // A show that is moved has its stills; a number is not used again while a later one is there.
    let other = tempfile::tempdir().unwrap();
    let moved = other.path().join("moved");
    std::fs::rename(dir.path(), &moved).unwrap();
    let (there, wrong) = stills(&moved).unwrap();
    assert!(wrong.is_empty());
    assert_eq!(there.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["dusk"]);
    still_signal(&moved, &there[0], SIZE).unwrap();
    // A picture that was changed is not taken for the one that was kept.
    let mut bytes = std::fs::read(there[0].picture_path(&moved)).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    std::fs::write(there[0].picture_path(&moved), bytes).unwrap();
    let why = still_signal(&moved, &there[0], SIZE).unwrap_err().to_string();
    assert!(why.contains("checksum"), "{why}");
}

#[test]
fn the_picture_stands_beside_a_still() {
    let dir = tempfile::tempdir().unwrap();
    let before = show(dir.path());
    let engine = engine(dir.path(), &before);
    let id = keep_still(&engine, "first");
    exposure(&engine, 0, 1.0);
    let after = (*engine.snapshot().show).clone();
    let live = shown(dir.path(), &after, 0);
    let reference = to_codes(&signal(dir.path(), &before, 0));
    shows(&engine, Live::Desk, "the picture alone", &live);

    // A line at any angle, moved by its addresses; what it says is where the still lies.
    press(&engine, "wipe");
    comes(&engine, "a wipe", |s| (s.kept.on && s.kept.beside.way == Way::Wipe).then_some(()));
    for (angle, place, words) in
        [(0.0, 0.5, "left of the line"), (37.0, 0.4, "left of the line"), (-100.0, 0.7, "below the line")]
    {
        for (target, to) in [("view/angle", angle), ("view/wipe", place)] {
            let now = engine.snapshot().kept.beside;
            let (from, step) = if target == "view/angle" { (now.angle, 1.0) } else { (now.place, 0.01) };
            engine.send(Input::Turn { target: target.into(), detents: (to - from) / step, control: 3 });
        }
        let beside = comes(&engine, "a line", |s| {
            let b = s.kept.beside;
            ((b.angle - angle).abs() < 1e-9 && (b.place - place).abs() < 1e-9).then_some(b)
        });
        let wanted = beside.prepared(SIZE, 8, 0).picture(&live, &reference);
        shows(&engine, Live::Desk, &format!("a line at {angle}°"), &wanted);
        let label = engine.snapshot().kept.label.clone().unwrap();
        assert_eq!(&*label, format!("still 1 “first” {words}"));
        // The client sees nothing of it.
        shows(&engine, Live::Client, "the client's picture", &live);
    }
    assert_eq!(engine.snapshot().steps.0, 1, "comparing is no step");

    // On the client's picture too, if that is asked for; a difference never.
    press(&engine, "compare-for-client");
    let beside = engine.snapshot().kept.beside;
    shows(
        &engine,
        Live::Client,
        "the client's line",
        &beside.prepared(SIZE, 8, 0).picture(&live, &reference),
    );
    press(&engine, "side-by-side");
    let side = Beside { way: Way::Side, ..beside };
    shows(&engine, Live::Desk, "side by side", &side.prepared(SIZE, 8, 0).picture(&live, &reference));
    press(&engine, "difference");
    let difference = Beside { way: Way::Difference, ..beside };
    let wanted = difference.prepared(SIZE, 8, 0).picture(&live, &reference);
    assert!(wanted.iter().flatten().any(|v| *v > 0.5), "the two differ");
    let near = |w: &[f32; 3], f: &[u8; 3]| {
        // A code that rounds another way is eight codes of this.
        (0..3).all(|c| (w[c] * 255.0 - f32::from(f[c])).abs() < 8.6)
    };
    wait_for("a difference", || {
        let found = codes(&engine, Live::Desk);
        wanted.iter().zip(&found).all(|(w, f)| near(w, f)).then_some(())
    });
    shows(&engine, Live::Client, "the client's picture under a difference", &live);
    assert!(engine.snapshot().kept.label.clone().unwrap().starts_with("difference × 8, no picture"));

    // A still and the picture that it was made of do not differ, but where 16 bits round to another side of a code.
    exposure(&engine, 0, 0.0);
    let (mut ones, mut most) = (usize::MAX, 255);
    wait_for("no difference", || {
        let found = codes(&engine, Live::Desk);
        most = found.iter().flatten().copied().max().unwrap();
        ones = found.iter().flatten().filter(|v| **v > 0).count();
        (most <= 8 && ones * 50 < 3 * found.len()).then_some(())
    });
    println!("a still from itself: {ones} of {} channels differ by a code", 3 * SIZE.0 * SIZE.1);
    press(&engine, "difference");
    comes(&engine, "the picture alone", |s| (!s.kept.on && s.kept.label.is_none()).then_some(()));

    // Held for long, it is over when it is let go.
    engine.send(Input::Press { action: "wipe".into(), down: true });
    comes(&engine, "a wipe", |s| s.kept.on.then_some(()));
    std::thread::sleep(std::time::Duration::from_millis(600));
    engine.send(Input::Press { action: "wipe".into(), down: false });
    comes(&engine, "the picture alone", |s| (!s.kept.on).then_some(()));
    // Nothing stands beside a still that was removed.
    press(&engine, "wipe");
    comes(&engine, "a wipe", |s| s.kept.on.then_some(()));
    keep(&engine, Keep::RemoveStill { id });
    comes(&engine, "no still", |s| (!s.kept.on && s.kept.with.is_none()).then_some(()));
    press(&engine, "wipe");
    comes(&engine, "why not", |s| s.trouble.clone().filter(|t| t.contains("no still to compare with")));
}

#[test]
fn another_shot_and_another_version_are_graded_live() {
    let dir = tempfile::tempdir().unwrap();
    let before = show(dir.path());
    let engine = engine(dir.path(), &before);
    // Its second frame was seen last: that stands beside the picture.
    engine.send(Input::Command(Command::Shot(1)));
    engine.send(Input::Command(Command::Seek(1)));
    wait_for("the other shot", || engine.picture(Live::Desk).filter(|p| p.shot == 1 && p.frame == 1));
    engine.send(Input::Command(Command::Shot(0)));
    wait_for("the first shot", || engine.picture(Live::Desk).filter(|p| p.shot == 0));
    keep(&engine, Keep::Beside(With::Shot("b".into())));
    press(&engine, "side-by-side");
    let of_b = |show: &Show| {
        let mut source =
            greyhold::media::open(&show.shots[1].source_path(dir.path()), &Default::default()).unwrap();
        let recipe = recipe(show, 1, show.tail(Output::Desk), 1).unwrap();
        to_codes(&cpu::signal(&recipe, &source.frame(1).unwrap()).pixels)
    };
    let side = Beside { way: Way::Side, ..Beside::default() };
    let wanted = |show: &Show| side.prepared(SIZE, 8, 0).picture(&shown(dir.path(), show, 0), &of_b(show));
    shows(&engine, Live::Desk, "another shot", &wanted(&before));
    assert_eq!(engine.snapshot().kept.label.as_deref(), Some("shot “b” on the left"));
    // It is graded live: a hand on the look moves both.
    let slot = Slot::LookStrength;
    engine.send(Input::Change { change: Change::SetParameter { slot, value: 0.2 }, control: 5 });
    let mut weaker = before.clone();
    weaker.chain.look_strength = 0.2;
    shows(&engine, Live::Desk, "both with less of the look", &wanted(&weaker));
    // A shot that was never seen shows the frame that stands for it.
    keep(&engine, Keep::Beside(With::Shot("c".into())));
    let of_c = {
        let mut source =
            greyhold::media::open(&weaker.shots[2].source_path(dir.path()), &Default::default()).unwrap();
        let recipe = recipe(&weaker, 2, weaker.tail(Output::Desk), 2).unwrap();
        to_codes(&cpu::signal(&recipe, &source.frame(2).unwrap()).pixels)
    };
    let wanted = side.prepared(SIZE, 8, 0).picture(&shown(dir.path(), &weaker, 0), &of_c);
    shows(&engine, Live::Desk, "a shot that was never seen", &wanted);

    // The same frame as another version has it.
    keep(&engine, Keep::Version { name: "weak".into() });
    let version = comes(&engine, "a version", |s| s.kept.versions.first().map(|v| v.id.clone()));
    exposure(&engine, 0, 1.5);
    let now = (*engine.snapshot().show).clone();
    keep(&engine, Keep::Beside(With::Version(version)));
    press(&engine, "wipe");
    let wipe = engine.snapshot().kept.beside;
    let reference = to_codes(&signal(dir.path(), &weaker, 0));
    let wanted = Beside { way: Way::Wipe, ..wipe }
        .prepared(SIZE, 8, 0)
        .picture(&shown(dir.path(), &now, 0), &reference);
    shows(&engine, Live::Desk, "another version", &wanted);
    // Held, it is the whole picture; the document stays as it is.
    press(&engine, "wipe");
    engine.send(Input::Press { action: "other-version".into(), down: true });
    shows(&engine, Live::Client, "the other version", &shown(dir.path(), &weaker, 0));
    assert_eq!(engine.snapshot().compare, Compare::OtherVersion);
    assert_eq!(*engine.snapshot().show, now);
    engine.send(Input::Press { action: "other-version".into(), down: false });
    shows(&engine, Live::Client, "this version", &shown(dir.path(), &now, 0));
}

#[test]
fn less_of_the_grade_stays_until_it_is_pressed_again() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let engine = engine(dir.path(), &show);
    press(&engine, "stay-before-look");
    comes(&engine, "no look", |s| (s.compare == Compare::WithoutLook).then_some(()));
    press(&engine, "stay-before");
    comes(&engine, "no grade", |s| (s.compare == Compare::Before).then_some(()));
    press(&engine, "stay-before");
    comes(&engine, "all of it", |s| (s.compare == Compare::After).then_some(()));
}

#[test]
fn what_a_still_was_made_with_comes_back_in_one_step() {
    let dir = tempfile::tempdir().unwrap();
    let mut made = show(dir.path());
    made.shots[0].groups.push("night".into());
    made.groups[0].trim.look = 0.5;
    made.shots[0].trim.look = 0.8;
    made.shots[0].balance.values[0] = 0.5;
    save(&made, dir.path()).unwrap();
    let engine = engine(dir.path(), &made);
    let id = keep_still(&engine, "approved");
    let picture = codes(&engine, Live::Desk);

    // Everything is turned: balance, framing, the group's trim, the look and what stands around it.
    let look = &shipped_looks()[2];
    let changes = vec![
        Change::SetParameter { slot: Slot::Balance { shot: 0, field: BalanceField::Exposure }, value: -2.0 },
        Change::SetParameter { slot: Slot::Framing { shot: 0, field: FramingField::Scale }, value: 1.4 },
        Change::SetParameter { slot: Slot::GroupTrim { group: 0, stage: None }, value: 0.8 },
        Change::SetShotEncoding {
            shot: 0,
            encoding: encoding("slog3-sgamut3cine").unwrap_or(encoding("acescct").unwrap()),
        },
        look.change(0.9),
        Change::RemoveStage { list: greyhold::look::List::Finish, at: 0 },
        Change::AddStage { list: greyhold::look::List::Before, at: 1, stage: of("bleach") },
    ];
    engine.send(Input::Change { change: Change::Together(changes), control: 4 });
    let turned = comes(&engine, "another grade", |s| (s.steps.0 == 1).then(|| (*s.show).clone()));
    let take = |portion: Portion, shots: Vec<usize>, steps: usize| {
        keep(&engine, Keep::Restore { id: id.clone(), portion, shots });
        comes(&engine, "a step", |s| (s.steps.0 == steps).then(|| (*s.show).clone()))
    };
    let undo = |to: &Show| {
        engine.send(Input::Command(Command::Undo));
        comes(&engine, "undo", |s| (*s.show == *to).then_some(()));
    };
    // Balance alone, onto the shot on view, or onto chosen shots: one step each.
    let now = take(Portion::Balance, vec![], 2);
    assert_eq!(now.shots[0].balance, made.shots[0].balance);
    assert_eq!(now, {
        let mut t = turned.clone();
        t.shots[0].balance = made.shots[0].balance;
        t
    });
    undo(&turned);
    let now = take(Portion::Balance, vec![1, 2], 2);
    assert!([1, 2].iter().all(|i| now.shots[*i].balance == made.shots[0].balance));
    assert_eq!(now.shots[0], turned.shots[0]);
    undo(&turned);
    // The look alone, with its strength and where it came from; what stands around it stays.
    let now = take(Portion::Look, vec![], 2);
    assert_eq!(now.chain.look, made.chain.look);
    assert_eq!((now.chain.look_strength, &now.chain.origin), (made.chain.look_strength, &made.chain.origin));
    assert_eq!(
        (now.chain.before, now.chain.finish),
        (turned.chain.before.clone(), turned.chain.finish.clone())
    );
    assert_eq!(now.shots, turned.shots);
    undo(&turned);
    // Strengths alone: the shot's own factor makes up for what its group is now. What was taken back last is on view.
    engine.send(Input::Command(Command::Shot(0)));
    comes(&engine, "the first shot", |s| (s.shot == 0).then_some(()));
    let now = take(Portion::Strengths, vec![], 2);
    assert!((now.shots[0].trim.look - 0.5 * 0.8 / 0.8).abs() < 1e-12, "{:?}", now.shots[0].trim);
    assert_eq!(now.groups, turned.groups);
    undo(&turned);
    // All of it: the same pixels.
    take(Portion::Whole, vec![], 2);
    wait_for("the same pixels", || (codes(&engine, Live::Desk) == picture).then_some(()));
    undo(&turned);
    // Nothing differs: no step, and that is said.
    engine.send(Input::Command(Command::Redo));
    comes(&engine, "redo", |s| (s.steps.0 == 2).then_some(()));
    keep(&engine, Keep::Restore { id: id.clone(), portion: Portion::Whole, shots: vec![] });
    comes(&engine, "word of it", |s| s.kept.said.clone().filter(|t| t.contains("nothing differs")));
    assert_eq!(engine.snapshot().steps.0, 2);
}

#[test]
fn a_still_whose_table_is_gone_says_so_and_loses_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let mut made = show(dir.path());
    let cube = dir.path().join("film.cube");
    std::fs::write(&cube, "LUT_1D_SIZE 2\n0 0 0\n0.9 0.9 0.9\n").unwrap();
    let mut table = of("lut");
    table.lut = Some(greyhold::show::load_lut(dir.path(), Path::new("film.cube")).unwrap());
    made.chain.look.push(table);
    made.shots[0].balance.values[0] = 0.7;
    save(&made, dir.path()).unwrap();
    let engine = engine(dir.path(), &made);
    let id = keep_still(&engine, "with a table");
    keep(&engine, Keep::Version { name: "with a table".into() });
    let version = comes(&engine, "a version", |s| s.kept.versions.first().map(|v| v.id.clone()));
    exposure(&engine, 0, 0.0);
    engine.send(Input::Change { change: shipped_looks()[0].change(1.0), control: 4 });
    let turned = comes(&engine, "another look", |s| (s.steps.0 == 2).then(|| s.show.clone()));
    std::fs::rename(&cube, dir.path().join("gone.cube")).unwrap();
    let file = dir.path().join("stills").join(format!("{id}.toml"));
    let text = std::fs::read_to_string(&file).unwrap();
    for portion in [Portion::Whole, Portion::Look] {
        keep(&engine, Keep::Restore { id: id.clone(), portion, shots: vec![] });
        let why = comes(&engine, "what is missing", |s| s.trouble.clone());
        assert!(why.contains("film.cube") && why.contains("its balance"), "{why}");
        assert_eq!(engine.snapshot().show, turned);
    }
    keep(&engine, Keep::UseVersion { id: version });
    comes(&engine, "what is missing", |s| {
        s.trouble.clone().filter(|t| t.contains("film.cube") && t.contains("version"))
    });
    assert_eq!(engine.snapshot().show, turned);
    // Its balance comes all the same; a new name leaves what it says of the table.
    keep(&engine, Keep::Restore { id: id.clone(), portion: Portion::Balance, shots: vec![] });
    comes(&engine, "its balance", |s| {
        (s.show.shots[0].balance.get(BalanceField::Exposure) == 0.7).then_some(())
    });
    keep(&engine, Keep::RenameStill { id: id.clone(), name: "renamed".into() });
    comes(&engine, "its name", |s| (s.kept.stills[0].name == "renamed").then_some(()));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), text.replace("\"with a table\"", "\"renamed\""));
    // Back again, all of it comes.
    std::fs::rename(dir.path().join("gone.cube"), &cube).unwrap();
    keep(&engine, Keep::Restore { id, portion: Portion::Whole, shots: vec![] });
    comes(&engine, "all of it", |s| (s.show.chain == made.chain).then_some(()));
}

#[test]
fn versions_are_switched_with_nothing_lost() {
    let dir = tempfile::tempdir().unwrap();
    let first = show(dir.path());
    let engine = engine(dir.path(), &first);
    keep(&engine, Keep::Version { name: "warm".into() });
    let warm = comes(&engine, "a version", |s| s.kept.versions.first().map(|v| v.id.clone()));
    exposure(&engine, 1, 2.0);
    engine.send(Input::Change { change: shipped_looks()[1].change(0.7), control: 4 });
    let second = comes(&engine, "another look", |s| (s.steps.0 == 2).then(|| s.show.clone()));
    keep(&engine, Keep::UseVersion { id: warm.clone() });
    let back = comes(&engine, "the version", |s| (s.steps.0 == 3).then(|| s.show.clone()));
    assert_eq!(*back, first);
    // What was in use is a version now, and the switch is one step to undo.
    let names = |s: &Snapshot| s.kept.versions.iter().map(|v| v.name.clone()).collect::<Vec<_>>();
    comes(&engine, "what was in use", |s| (names(s) == ["warm", "before warm"]).then_some(()));
    assert!(engine.snapshot().kept.said.clone().unwrap().contains("before warm"));
    engine.send(Input::Command(Command::Undo));
    comes(&engine, "undo", |s| (s.show == second).then_some(()));
    // It is a version already: switching again keeps no other.
    keep(&engine, Keep::UseVersion { id: warm.clone() });
    comes(&engine, "the version", |s| (*s.show == first).then_some(()));
    assert_eq!(names(&engine.snapshot()).len(), 2);
    let other = engine.snapshot().kept.versions[1].id.clone();
    keep(&engine, Keep::UseVersion { id: other.clone() });
    comes(&engine, "the other", |s| (s.show == second).then_some(()));

    // A shot that came since stays; one that went is told of.
    let mut added = second.shots[0].clone();
    added.name = "new".into();
    added.balance.values[0] = -0.5;
    engine.send(Input::Change {
        change: Change::Together(vec![
            Change::RemoveShot { at: 2 },
            Change::AddShot { at: 0, shot: added.clone() },
        ]),
        control: 4,
    });
    comes(&engine, "other shots", |s| (s.show.shots[0].name == "new").then_some(()));
    keep(&engine, Keep::UseVersion { id: warm });
    let now = comes(&engine, "the version", |s| (s.show.chain == first.chain).then(|| s.show.clone()));
    assert_eq!(now.shots[0].balance, added.balance);
    assert_eq!(now.shots[1].balance, first.shots[0].balance);
    assert_eq!(now.shots[2].balance, first.shots[1].balance);
    let said = comes(&engine, "word of it", |s| s.kept.said.clone());
    assert!(
        said.contains("no shot \"c\" any more") && said.contains("\"new\" is not in that version"),
        "{said}"
    );

    keep(&engine, Keep::RenameVersion { id: other.clone(), name: "cold".into() });
    comes(&engine, "a name", |s| names(s).contains(&"cold".to_owned()).then_some(()));
    keep(&engine, Keep::RemoveVersion { id: other });
    comes(&engine, "no such version", |s| (!names(s).contains(&"cold".to_owned())).then_some(()));
    engine.stop().unwrap();
    // What is on disk is a whole show, which reads as one.
    let (all, wrong) = versions(dir.path()).unwrap();
    assert!(wrong.is_empty());
    assert!(load(dir.path()).unwrap().is_graded_as(&{
        let mut first = load_version(dir.path(), &all[0].id).unwrap();
        first.shots.retain(|s| s.name != "c");
        let mut new = added;
        new.name = "new".into();
        first.shots.push(new);
        first
    }));
}

#[test]
fn pictures_from_outside_are_compared_as_they_are() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let engine = engine(dir.path(), &show);
    let pixels: Vec<[u16; 3]> = (0..32 * 18u16).map(|i| [i * 100, 65_535 - i * 100, 30_000]).collect();
    let outside = tempfile::tempdir().unwrap();
    let file = |name: &str, format, image: &Image<'_>| -> PathBuf {
        let path = outside.path().join(name);
        write_image(&path, format, image).unwrap();
        path
    };
    let png = file(
        "poster.png",
        ImageFormat::Png,
        &Image::Codes { width: 32, height: 18, depth: 16, pixels: &pixels },
    );
    let floats: Vec<[f32; 3]> = pixels.iter().map(|p| p.map(|c| f32::from(c) / 65_535.0)).collect();
    let exr = file(
        "poster.exr",
        ImageFormat::Exr,
        &Image::Floats {
            width: 32,
            height: 18,
            pixels: &floats,
            primaries: greyhold::colour::BT709,
            half: false,
        },
    );
    for (n, path) in [png, exr].into_iter().enumerate() {
        let display = display("srgb").map(Arc::from);
        keep(&engine, Keep::BringIn { file: path, name: String::new(), display });
        let still = comes(&engine, "a reference", |s| s.kept.stills.get(n).cloned());
        assert_eq!((still.of.clone(), still.size, &*still.display.id), (None, (32, 18), "srgb"));
        // At its own size the values are what they were.
        let as_it_is = still_signal(dir.path(), &still, (32, 18)).unwrap();
        assert_eq!(to_codes(&as_it_is), pixels);
        // On a display of another curve it is the same light: sRGB's middle grey by BT.1886, worked out by hand.
        let on = as_shown(&[[0.5; 3]], &still.display, &OutputSettings::new(&DISPLAYS[0]));
        let light = ((0.5f64 + 0.055) / 1.055).powf(2.4);
        let wanted = light.powf(1.0 / 2.4) * 65_535.0;
        assert!((f64::from(on[0][0]) - wanted).abs() < 4.0, "{on:?} {wanted}");
        // And it has no settings to take.
        keep(&engine, Keep::Restore { id: still.id.clone(), portion: Portion::Balance, shots: vec![] });
        comes(&engine, "why not", |s| s.trouble.clone().filter(|t| t.contains("no settings came with it")));
        keep(&engine, Keep::Beside(With::Still(still.id)));
        comes(&engine, "it stands beside", |s| s.kept.with.clone());
    }
    press(&engine, "wipe");
    comes(&engine, "a label", |s| {
        s.kept.label.clone().filter(|l| &**l == "reference 2 “poster 2” left of the line")
    });
    let missing = outside.path().join("none.png");
    keep(&engine, Keep::BringIn { file: missing, name: String::new(), display: None });
    comes(&engine, "why not", |s| s.trouble.clone().filter(|t| t.contains("none.png")));
}

#[test]
fn light_is_carried_from_display_to_display() {
    let of = |id| display(id).unwrap();
    assert!(Carried::between(of("rec709"), of("rec709")).is_none());
    // 100 cd/m² of a 100 cd/m² display on one of 1000: PQ's signal of 100 cd/m², 0.5081 (ITU-R BT.2100-2, table 4).
    let carried = Carried::between(of("rec709"), of("rec2100-pq-1000")).unwrap();
    let white = carried.apply([1.0; 3]);
    assert!(white.iter().all(|v| (v - 0.508_078).abs() < 2e-4), "{white:?}");
    // What the other has not is clipped.
    let back = Carried::between(of("rec2100-pq-1000"), of("rec709")).unwrap();
    assert!(back.apply([0.75; 3]).iter().all(|v| (v - 1.0).abs() < 1e-6));
    let round = back.apply(carried.apply([0.2, 0.5, 0.7]));
    for (v, w) in round.iter().zip([0.2, 0.5, 0.7]) {
        assert!((v - w).abs() < 1e-3, "{round:?}");
    }
}

#[test]
fn leftovers_of_a_crash_are_removed_and_files_that_are_no_stills_hide_none() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let engine = engine(dir.path(), &show);
    keep_still(&engine, "kept");
    engine.stop().unwrap();
    let folder = dir.path().join("stills");
    std::fs::write(folder.join(".002-x.toml.7-0.tmp"), "half").unwrap();
    std::fs::write(folder.join("002-broken.toml"), "version = 1\n[still]\nname = 3\n").unwrap();
    drop(Lock::take(dir.path()).unwrap());
    assert!(!folder.join(".002-x.toml.7-0.tmp").exists());
    let (there, wrong) = stills(dir.path()).unwrap();
    assert_eq!(there.len(), 1);
    let why = wrong[0].to_string();
    assert!(why.contains("002-broken.toml:") && why.contains("accepted"), "{why}");
    // The settings read as a show's do, with a line for what is wrong.
    let _ = load_look(Path::new("nowhere.toml")).unwrap_err();
}
