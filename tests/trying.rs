//! Looks tried through a running engine: on the next frame, with nothing lost; compared with less of the grade.

mod support;

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Command, Compare, Handle, Input, Live, Options, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::{Chain, List, Stage, stage};
use greyhold::picture::{Balance, cpu};
use greyhold::show::{Address, Change, Output, Shot, Show, load, save, shipped_looks};
use support::{sequence, wait_for};

fn of(key: &str) -> Stage {
    Stage::new(stage(key).unwrap())
}

/// A show with stages around its look, in a folder with its footage.
fn show(dir: &Path, size: (u32, u32), frames: u32) -> Show {
    sequence(&dir.join("take"), size, frames);
    let mut show = Show::new("trials");
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..u64::from(frames), encoding("logc4").unwrap()));
    show.chain = Chain {
        before: vec![of("softness")],
        look: vec![of("contrast"), of("split-tone")],
        finish: vec![of("vignette"), of("grain")],
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
    start(Gpu::headless(Request::default()).unwrap(), options).unwrap()
}

/// Waits until the client's picture is what the CPU twin makes of a chain and a balance.
fn shows(engine: &Handle, what: &str, chain: &Chain, balance: Balance) {
    wait_for(what, || {
        let picture = engine.picture(Live::Client)?;
        let snapshot = engine.snapshot();
        let mut show = (*snapshot.show).clone();
        show.chain = chain.clone();
        show.shots[0].balance = balance;
        let path = show.shots[0].source_path(&snapshot.dir);
        let frame = greyhold::media::open(&path, &Default::default()).ok()?.frame(picture.frame).ok()?;
        let recipe = greyhold::show::recipe(&show, 0, show.tail(Output::Client), picture.frame as u32)?;
        let wanted = cpu::codes(&recipe, &frame, 8, true).pixels;
        let found = engine.gpu.read_screen(&picture.output).unwrap();
        let near = |(w, f): (&[u16; 3], &[u8; 4])| (0..3).all(|c| w[c].abs_diff(f[c].into()) <= 1);
        (wanted.len() == found.len() && wanted.iter().zip(&found).all(near)).then_some(())
    });
}

fn ask(engine: &Handle, command: Command) {
    engine.send(Input::Command(command));
}

fn press(engine: &Handle, action: &str, down: bool) {
    engine.send(Input::Press { action: action.into(), down });
}

/// Waits until a look is tried, or none.
fn trying(engine: &Handle, name: Option<&str>) {
    wait_for(&format!("{name:?} to be tried"), || {
        let snapshot = engine.snapshot();
        (snapshot.trying.as_ref().map(|t| &*t.name) == name).then_some(())
    });
}

#[test]
fn a_look_is_tried_kept_or_left_with_nothing_lost() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (64, 36), 2);
    let engine = engine(dir.path(), &show);
    let looks = shipped_looks();
    let own = show.chain.clone();
    let with = |at: usize| {
        let look = &looks[at];
        Chain { look: look.stages.clone(), origin: Some(look.origin()), ..own.clone() }
    };
    let balance = |engine: &Handle| engine.snapshot().show.shots[0].balance;
    shows(&engine, "its own look", &own, Balance::default());

    // Forward and back, round the ring, with what stands before and after the look as it was.
    press(&engine, "next-look", true);
    trying(&engine, Some(&looks[0].name));
    shows(&engine, "the first look", &with(0), Balance::default());
    press(&engine, "previous-look", true);
    trying(&engine, None);
    press(&engine, "previous-look", true);
    trying(&engine, Some(&looks[looks.len() - 1].name));
    press(&engine, "next-look", true);
    trying(&engine, None);
    shows(&engine, "its own look again", &own, Balance::default());
    assert_eq!(engine.snapshot().steps, (0, 0), "trying is no step");
    assert!(!engine.snapshot().unsaved);

    // Balance goes on under a look that is tried, and is a step of its own.
    ask(&engine, Command::TryLook(3));
    trying(&engine, Some(&looks[3].name));
    engine.send(Input::Turn { target: "balance/exposure".into(), detents: 5.0, control: 7 });
    wait_for("a step", || (engine.snapshot().steps == (1, 0)).then_some(()));
    trying(&engine, Some(&looks[3].name));
    shows(&engine, "a look over another balance", &with(3), balance(&engine));
    // Undo leaves the look first, then takes the balance back.
    ask(&engine, Command::Undo);
    trying(&engine, None);
    assert_eq!(engine.snapshot().steps, (1, 0));
    ask(&engine, Command::Undo);
    wait_for("no step", || (engine.snapshot().steps == (0, 1)).then_some(()));
    shows(&engine, "as it was", &own, Balance::default());

    // Kept: one step, and back.
    ask(&engine, Command::TryLook(2));
    press(&engine, "keep-look", true);
    wait_for("a kept look", || (engine.snapshot().show.chain == with(2)).then_some(()));
    trying(&engine, None);
    assert_eq!(engine.snapshot().steps, (1, 0));
    ask(&engine, Command::Undo);
    wait_for("the look before", || (engine.snapshot().show.chain == own).then_some(()));

    // A hand on the look that is tried keeps it: the turn is a step after that.
    ask(&engine, Command::TryLook(4));
    let first = format!("look/{}/strength", looks[4].stages[0].declaration().key);
    engine.send(Input::Turn { target: first.as_str().into(), detents: -10.0, control: 7 });
    wait_for("two steps", || (engine.snapshot().steps.0 == 2).then_some(()));
    trying(&engine, None);
    let mut turned = with(4);
    turned.look[0].strength -= 10.0 * turned.look[0].declaration().strength.step;
    let slot = engine.snapshot().show.resolve(&Address::parse(&first).unwrap(), 0).unwrap();
    let strength = engine.snapshot().show.get(slot).unwrap();
    assert!((strength - turned.look[0].strength).abs() < 1e-9, "{strength}");
    ask(&engine, Command::Undo);
    ask(&engine, Command::Undo);
    wait_for("the show's own look", || (engine.snapshot().show.chain == own).then_some(()));

    // What cannot be done keeps nothing.
    ask(&engine, Command::TryLook(1));
    let impossible = Change::RemoveStage { list: List::Look, at: 99 };
    engine.send(Input::Change { change: impossible, control: 7 });
    wait_for("why not", || engine.snapshot().trouble.clone());
    trying(&engine, Some(&looks[1].name));
    assert_eq!(engine.snapshot().steps.0, 0);

    // What is only tried is not saved.
    ask(&engine, Command::TryLook(5));
    trying(&engine, Some(&looks[5].name));
    engine.stop().unwrap();
    assert_eq!(load(dir.path()).unwrap().chain, own);
}

#[test]
fn a_look_that_the_show_cannot_have_is_passed_over() {
    let dir = tempfile::tempdir().unwrap();
    let mut show = show(dir.path(), (64, 36), 2);
    std::fs::write(dir.path().join("t.cube"), "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n").unwrap();
    let mut table = of("lut");
    table.lut = Some(greyhold::show::load_lut(dir.path(), Path::new("t.cube")).unwrap());
    // As many as a chain may have.
    show.chain.before = vec![table.clone(); 4];
    let mut library = shipped_looks()[..2].to_vec();
    library[0].stages = vec![table];
    let engine = engine(dir.path(), &show);
    engine.send(Input::Library(library.clone().into()));
    ask(&engine, Command::StepLook(1));
    trying(&engine, Some(&library[1].name));
    ask(&engine, Command::TryLook(0));
    wait_for("why not", || engine.snapshot().trouble.clone().filter(|t| t.contains("LUT")));
    trying(&engine, Some(&library[1].name));
    // Another library leaves a look that is not in it.
    engine.send(Input::Library(shipped_looks()[3..].into()));
    trying(&engine, None);
}

#[test]
fn less_of_the_grade_is_what_the_cpu_says() {
    let dir = tempfile::tempdir().unwrap();
    let mut show = show(dir.path(), (64, 36), 2);
    show.chain.look.push(of("halation"));
    show.shots[0].balance.values[0] = 0.5;
    let engine = engine(dir.path(), &show);
    let (all, balance) = (show.chain.clone(), show.shots[0].balance);
    shows(&engine, "all of it", &all, balance);
    let less = |leave: &dyn Fn(List, usize) -> bool| {
        let mut chain = all.clone();
        for list in List::ALL {
            for (at, stage) in chain.list_mut(list).iter_mut().enumerate() {
                stage.on &= !leave(list, at);
            }
        }
        chain
    };
    press(&engine, "before-look", true);
    shows(&engine, "without the look", &less(&|list, _| list == List::Look), balance);
    press(&engine, "before-look", false);
    shows(&engine, "all of it again", &all, balance);
    press(&engine, "before", true);
    shows(&engine, "before", &less(&|_, _| true), Balance::default());
    press(&engine, "before", false);
    for list in List::ALL {
        for at in 0..all.list(list).len() {
            ask(&engine, Command::Compare(Compare::WithoutStage { list, at }));
            shows(
                &engine,
                &format!("without {}/{}", list.key(), at + 1),
                &less(&|l, a| (l, a) == (list, at)),
                balance,
            );
        }
    }
    ask(&engine, Command::Compare(Compare::After));
    shows(&engine, "all of it at last", &all, balance);
}

/// The longest time from a key to the first picture with the new look is printed; a machine's speed is no test.
#[test]
fn stepping_through_the_library_while_playing_loses_count_of_no_frame() {
    let dir = tempfile::tempdir().unwrap();
    let mut show = show(dir.path(), (960, 540), 24);
    show.chain.before = vec![of("saturation")];
    let engine = engine(dir.path(), &show);
    wait_for("every look's plan", || engine.snapshot().looks_ready.then_some(()));
    ask(&engine, Command::TogglePlay);
    let playing = Instant::now();
    wait_for("playback", || (engine.snapshot().playback.shown > 6).then_some(()));
    let (mut longest, mut sum) = (Duration::ZERO, Duration::ZERO);
    let count = shipped_looks().len();
    for look in shipped_looks() {
        let serial = engine.picture(Live::Client).map_or(0, |p| p.serial);
        let begun = Instant::now();
        press(&engine, "next-look", true);
        let answer = loop {
            let picture = engine.picture(Live::Client);
            if picture.is_some_and(|p| p.serial > serial && p.delay.is_some()) {
                break begun.elapsed();
            }
            assert!(begun.elapsed() < support::PATIENCE, "{} is not shown", look.name);
            std::thread::sleep(Duration::from_millis(1));
        };
        // A plan that was not ready would have shown the old look meanwhile.
        assert!(!engine.snapshot().compiling, "{}", look.name);
        trying(&engine, Some(&look.name));
        println!(
            "{}: {:.1} ms, a picture takes {:.1} ms",
            look.name,
            answer.as_secs_f64() * 1e3,
            engine.snapshot().playback.cost.as_secs_f64() * 1e3
        );
        longest = longest.max(answer);
        sum += answer;
        std::thread::sleep(Duration::from_millis(400));
    }
    // Exactly: the frame on view is as many after the first as were shown and dropped since.
    let playback = wait_for("a count that fits the frame on view", || {
        let snapshot = engine.snapshot();
        let counted = snapshot.playback.shown + snapshot.playback.dropped;
        (counted % snapshot.frames == snapshot.frame).then_some(snapshot.playback)
    });
    let due = playing.elapsed().as_secs_f64() * 24.0;
    let counted = (playback.shown + playback.dropped) as f64;
    println!(
        "{count} looks at 960×540: key to picture {:.1} ms at most, {:.1} ms in the mean; {} frames shown, {} dropped",
        longest.as_secs_f64() * 1e3,
        sum.as_secs_f64() * 1e3 / count as f64,
        playback.shown,
        playback.dropped
    );
    // Counted when they are drawn: those that wait for a slow picture come at its end.
    assert!(counted <= due + 1.0 && counted > due - 48.0, "{counted} of {due:.1} frames are accounted for");
}
