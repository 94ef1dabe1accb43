//! Panels at a running engine: gestures, the stage in focus, transport, banks.

mod support;

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use greyhold::engine::{
    CACHE, Command, Focus, Handle, Input, Options, Snapshot, known_action, known_target, start,
};
use greyhold::look::{List, Stage, stage};
use greyhold::panel::{self, Act, Map, PanelError, PortInfo, Ports, Sender, Waker, queue};
use greyhold::picture::BalanceField::{Contrast, Exposure, OffsetB, OffsetG, OffsetR};
use greyhold::picture::Fitting;
use greyhold::show::{Change, GESTURE_GAP, load};
use support::{greyhold, sequence, wait_for};

/// One port that is there from the start.
#[derive(Clone, Default)]
struct Port(Arc<Mutex<Option<Sender>>>);

impl Ports for Port {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        Ok(vec![PortInfo { id: "1".to_owned(), name: "Box".to_owned() }])
    }

    fn open(&mut self, _: &PortInfo, waker: Waker) -> Result<panel::Input, PanelError> {
        let (sender, queue) = queue(4096, waker);
        *self.0.lock().unwrap() = Some(sender);
        Ok(panel::Input::new(Box::new(()), queue))
    }
}

const MAP: &str = r#"
    name = "test"
    port = ""
    [[control]]
    cc = 20
    touch = 60
    coding = "twos-complement"
    target = "balance/exposure"
    [[control]]
    cc = 21
    coding = "twos-complement"
    target = "balance/contrast"
    [[control]]
    cc = 22
    coding = "twos-complement"
    step = 0.5
    target = "balance/exposure"
    [[ball]]
    label = "Picture"
    cc = [23, 24, 25]
    coding = "twos-complement"
    colour = ["balance/offset-r", "balance/offset-g", "balance/offset-b"]
    ring = "balance/exposure"
    rotation = 20
    [[control]]
    cc = 26
    coding = "twos-complement"
    target = "focus/strength"
    [[control]]
    cc = 27
    coding = "twos-complement"
    target = "focus/1"
    [[control]]
    cc = 28
    coding = "twos-complement"
    target = "view/frame"
    [[control]]
    bend = true
    target = "view/shuttle"
    takeover = "jump"
    [[control]]
    cc = 102
    coding = "absolute"
    target = "focus/strength"
    [[control]]
    cc = 103
    coding = "absolute"
    target = "framing/fitting"
    [[control]]
    cc = 104
    coding = "absolute"
    takeover = "jump"
    smooth = 60
    target = "balance/exposure"
    [[control]]
    cc = 105
    coding = "twos-complement"
    target = "focus/on"
    [[control]]
    cc = 29
    coding = "twos-complement"
    target = "view/look"
    [[button]]
    note = 40
    action = "focus-next"
    [[button]]
    note = 41
    resets = "Picture"
    [[button]]
    note = 42
    action = "fine"
    [[bank]]
    name = "one"
    [[bank]]
    name = "two"
"#;

struct Suite {
    engine: Handle,
    port: Port,
    _dir: tempfile::TempDir,
}

impl Suite {
    fn start() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let clip = sequence(&dir.path().join("footage"), (64, 36), 48);
        let folder = dir.path().join("show");
        for arguments in [
            vec!["new", folder.to_str().unwrap()],
            vec!["add", folder.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
        ] {
            assert!(greyhold().args(arguments).status().unwrap().success());
        }
        let mut show = load(&folder).unwrap();
        show.chain.look = ["contrast", "saturation"].map(|key| Stage::new(stage(key).unwrap())).into();
        show.chain.look[1].strength = 0.5;
        let map = Map::parse(MAP, "test.toml", &known_target, &known_action).unwrap();
        let port = Port::default();
        let ports = port.clone();
        let engine = start(
            greyhold::gpu::Gpu::headless(Default::default()).unwrap(),
            Options {
                lock: None,
                show,
                dir: folder,
                panel: Some((vec![Arc::new(map)], Box::new(move || Box::new(ports)))),
                cache: CACHE,
                notify: Arc::new(|| ()),
            },
        )
        .unwrap();
        let suite = Self { engine, port, _dir: dir };
        suite.comes("the panel's port", |s| !s.panel.ports.is_empty());
        suite
    }

    fn send(&self, at: u64, packet: &[u8]) {
        self.port.0.lock().unwrap().as_mut().expect("an open port").push(at, packet);
    }

    fn comes(&self, what: &str, is: impl Fn(&Snapshot) -> bool) {
        wait_for(what, || is(&self.engine.snapshot()).then_some(()));
    }

    fn steps(&self) -> usize {
        self.engine.snapshot().steps.0
    }

    /// Longer than a gesture's rest may be.
    fn rest(&self) {
        std::thread::sleep(GESTURE_GAP + Duration::from_millis(100));
    }

    fn undo(&self) {
        let before = self.steps();
        self.engine.send(Input::Command(Command::Undo));
        self.comes("undo", |s| s.steps.0 + 1 == before);
    }
}

fn exposure(s: &Snapshot) -> f64 {
    s.show.shots[0].balance.get(Exposure)
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[test]
fn panels_at_the_engine() {
    let suite = Suite::start();
    hands(&suite);
    a_touch_is_one_step(&suite);
    a_ball_is_one_step(&suite);
    units_and_choices(&suite);
    smoothing(&suite);
    a_panel_that_is_drawn(&suite);
    focus(&suite);
    looks_on_trial(&suite);
    transport(&suite);
    suite.engine.stop().unwrap();
}

/// Two controls turned at a time, message by message, are two steps; one hand's rest ends its step.
fn hands(suite: &Suite) {
    let contrast = |s: &Snapshot| s.show.shots[0].balance.get(Contrast);
    let start = contrast(&suite.engine.snapshot());
    for _ in 0..20 {
        suite.send(0, &[0xB0, 20, 1, 21, 1]);
    }
    suite.comes("both turned", |s| near(exposure(s), 1.0) && contrast(s) > start);
    assert_eq!(suite.steps(), 2);
    suite.undo();
    let s = suite.engine.snapshot();
    assert!(near(exposure(&s), 1.0) && contrast(&s) == start, "the second hand's");
    suite.undo();
    assert_eq!(exposure(&suite.engine.snapshot()), 0.0);
}

/// From the touch note to its end it is one step, however long it rests; without, a rest ends it.
fn a_touch_is_one_step(suite: &Suite) {
    let touched = |s: &Snapshot| s.panel.controls[0].touched;
    suite.send(0, &[0x90, 60, 127, 0xB0, 20, 2]);
    suite.comes("a turn", |s| near(exposure(s), 0.1) && touched(s));
    suite.rest();
    suite.send(0, &[0xB0, 20, 2]);
    suite.comes("another", |s| near(exposure(s), 0.2));
    assert_eq!(suite.steps(), 1);
    suite.send(0, &[0x80, 60, 0, 0xB0, 20, 2]);
    suite.comes("a third", |s| near(exposure(s), 0.3) && !touched(s));
    assert_eq!(suite.steps(), 2, "let go, it is another");
    suite.rest();
    suite.send(0, &[0xB0, 20, 2]);
    suite.comes("a fourth", |s| near(exposure(s), 0.4));
    assert_eq!(suite.steps(), 3);
    for left in [0.3, 0.2, 0.0] {
        suite.undo();
        assert!(near(exposure(&suite.engine.snapshot()), left));
    }
}

/// A ball rolled about is one step, at constant luma; its double press is another.
fn a_ball_is_one_step(suite: &Suite) {
    let offsets = |s: &Snapshot| [OffsetR, OffsetG, OffsetB].map(|f| s.show.shots[0].balance.get(f));
    for i in 0..30u8 {
        suite.send(0, &[0xB0, 23 + i % 2, [1, 2, 127][usize::from(i % 3)]]);
    }
    suite.send(0, &[0xB0, 24, 9]);
    suite.comes("a push", |s| offsets(s)[0] > 5.0);
    let pushed = offsets(&suite.engine.snapshot());
    // ITU-R BT.709's luma.
    let luma = 0.2126 * pushed[0] + 0.7152 * pushed[1] + 0.0722 * pushed[2];
    assert!(luma.abs() < 1e-9, "{luma:e} of luma");
    assert_eq!(suite.steps(), 1);
    suite.send(0, &[0x90, 41, 127, 41, 0, 41, 127, 41, 0]);
    suite.comes("the default", |s| offsets(s) == [0.0; 3]);
    assert_eq!(suite.steps(), 2, "soon after, and still a step of its own");
    suite.undo();
    assert_eq!(offsets(&suite.engine.snapshot()), pushed);
    suite.undo();
    assert_eq!(offsets(&suite.engine.snapshot()), [0.0; 3]);
}

fn units_and_choices(suite: &Suite) {
    // Half a stop a detent, and a twentieth in fine mode.
    suite.send(0, &[0xB0, 22, 3]);
    suite.comes("three halves", |s| near(exposure(s), 1.5));
    suite.send(0, &[0x90, 42, 127, 0xB0, 22, 127]);
    suite.comes("a twentieth less", |s| near(exposure(s), 1.45) && s.panel.standing.fine);
    suite.send(0, &[0x90, 42, 0]);
    suite.comes("no fine mode", |s| !s.panel.standing.fine);
    suite.undo();
    assert_eq!(exposure(&suite.engine.snapshot()), 0.0);
    // A knob holds a choice between its names too.
    let fitting = |s: &Snapshot| s.show.shots[0].framing.fitting();
    let start = fitting(&suite.engine.snapshot());
    assert_eq!(start, Fitting::Fit);
    for value in [0, 20, 40, 60] {
        suite.send(0, &[0xB0, 103, value]);
    }
    suite.send(0, &[0xB0, 103, 90]);
    suite.comes("the other fitting", |s| fitting(s) == Fitting::Fill);
    let held =
        suite.engine.snapshot().panel.controls.iter().find(|c| &*c.label == "CC 103").unwrap().picked_up;
    assert!(held, "between the names it is held all the same");
    suite.undo();
    // A program change is a bank.
    let bank = |s: &Snapshot| s.panel.standing.bank.as_deref().map(str::to_owned);
    assert_eq!(bank(&suite.engine.snapshot()).as_deref(), Some("one"));
    suite.send(0, &[0xC0, 1]);
    suite.comes("the second bank", |s| bank(s).as_deref() == Some("two"));
}

/// A smoothed knob comes to rest exactly on its value, woken by nothing but the engine's own clock.
fn smoothing(suite: &Suite) {
    suite.rest();
    let at = |s: &Snapshot| exposure(s);
    let goal = 100.0 / 127.0 * 16.0 - 8.0;
    let before = suite.steps();
    suite.send(10_000_000, &[0xB0, 104, 100]);
    let mut between = 0;
    let begun = Instant::now();
    while at(&suite.engine.snapshot()) != goal {
        let now = at(&suite.engine.snapshot());
        between += usize::from(now > 0.0 && now < goal);
        assert!(begun.elapsed() < support::PATIENCE, "at {now}, not at {goal}");
        std::thread::sleep(Duration::from_millis(1));
    }
    assert!(between > 0, "it was on its way");
    assert_eq!(suite.steps(), before + 1, "one gesture");
    suite.undo();
}

/// A panel that nobody has, by a port of its own: it turns, is picked up, presses, and changes banks by itself.
fn a_panel_that_is_drawn(suite: &Suite) {
    suite.rest();
    let act = |act| suite.engine.send(Input::Panel(act));
    let turn = |control, by| act(Act::Turn { control, by });
    let steps = suite.steps();
    // It takes over from the panel that is seen, in its bank.
    let bank = |s: &Snapshot| s.panel.standing.bank.as_deref().map(str::to_owned);
    assert!(!suite.engine.snapshot().panel.drawn);
    assert_eq!(bank(&suite.engine.snapshot()).as_deref(), Some("two"));
    act(Act::Touch { control: 0, down: true });
    suite.comes("a hand on it", |s| s.panel.drawn && s.panel.controls[0].touched);
    assert_eq!(bank(&suite.engine.snapshot()).as_deref(), Some("two"));
    turn(0, 2.0);
    suite.comes("a turn", |s| near(exposure(s), 0.1));
    suite.rest();
    turn(0, 1.5);
    turn(0, 0.5);
    suite.comes("another", |s| near(exposure(s), 0.2));
    act(Act::Touch { control: 0, down: false });
    suite.comes("no hand", |s| !s.panel.controls[0].touched);
    assert_eq!(suite.steps(), steps + 1, "one step, by its touch note");
    // Fine is held; a double press is one by the engine's own clock.
    act(Act::Button { button: 2, down: true });
    suite.comes("fine", |s| s.panel.standing.fine);
    turn(0, 10.0);
    suite.comes("a tenth of it", |s| near(exposure(s), 0.25));
    act(Act::Button { button: 2, down: false });
    suite.comes("no fine mode", |s| !s.panel.standing.fine);
    let offsets = |s: &Snapshot| [OffsetR, OffsetG, OffsetB].map(|f| s.show.shots[0].balance.get(f));
    let named = |label: &str| {
        let s = suite.engine.snapshot();
        s.panel.controls.iter().find(|c| &*c.label == label).unwrap().clone()
    };
    turn(named("Picture across").index, 5.0);
    suite.comes("a ball", |s| offsets(s)[2] > 0.0);
    for down in [true, false, true, false] {
        act(Act::Button { button: 1, down });
    }
    suite.comes("its default", |s| offsets(s) == [0.0; 3]);
    act(Act::Button { button: 0, down: true });
    act(Act::Button { button: 0, down: false });
    suite.comes("the next stage in focus", |s| s.focus == Some(Focus { list: List::Look, at: 1 }));
    // A knob stands in its middle and does nothing until it comes to where the strength stands; then both go together.
    let knob = named("CC 102");
    let strength = |s: &Snapshot| s.show.chain.look[1].strength;
    let most = stage("saturation").unwrap().declaration().strength.max;
    let stands = strength(&suite.engine.snapshot()) / most;
    assert_eq!((knob.stands, knob.picked_up), (Some(0.5), false));
    turn(knob.index, 127.0 * (stands - 0.5) + 30.0);
    suite.comes("the knob beyond", |s| {
        s.panel.controls.iter().find(|c| c.index == knob.index).unwrap().stands.unwrap() > stands + 0.2
    });
    assert!(near(strength(&suite.engine.snapshot()) / most, stands), "it did not come past it");
    turn(knob.index, -40.0);
    suite.comes("the knob and the strength together", |s| {
        let knob = s.panel.controls.iter().find(|c| c.index == knob.index).unwrap();
        knob.picked_up && (strength(s) / most - knob.stands.unwrap()).abs() < 1.0 / 127.0
    });
    // A smoothed one moves by the drawn panel's own clock.
    let smooth = named("CC 104");
    turn(smooth.index, 30.0);
    let goal = (63.5_f64 + 30.0).round() / 127.0 * 16.0 - 8.0;
    suite.comes("the end of a smoothed move", |s| near(exposure(s), goal));
    act(Act::Bank(0));
    suite.comes("the first bank", |s| bank(s).as_deref() == Some("one"));
    act(Act::Bank(1));
    suite.comes("the second bank", |s| bank(s).as_deref() == Some("two"));
    // While something is learned it says nothing.
    suite.engine.send(Input::Learn { target: Some("balance/contrast".into()) });
    turn(0, -50.0);
    suite.engine.send(Input::Learn { target: None });
    suite.comes("the end of learning", |s| s.panel.learning.is_none());
    assert!(near(exposure(&suite.engine.snapshot()), goal));
    // Another map is used at once, in the same bank, on the port too.
    let map = |text: &str| Arc::new(Map::parse(text, "test.toml", &known_target, &known_action).unwrap());
    let more = "[[control]]\nlabel = \"Learned\"\ncc = 90\ncoding = \"twos-complement\"\ntarget = \"balance/exposure\"\n";
    suite.engine.send(Input::Map { at: 0, map: map(&format!("{MAP}{more}")) });
    let learned = |s: &Snapshot| s.panel.controls.iter().any(|c| &*c.label == "Learned");
    suite.comes("the other map", |s| learned(s) && bank(s).as_deref() == Some("two"));
    suite.send(20_000_000, &[0xB0, 90, 1]);
    suite.comes("the port by the other map", |s| near(exposure(s), goal + 0.05) && !s.panel.drawn);
    suite.engine.send(Input::Map { at: 0, map: map(MAP) });
    suite.engine.send(Input::Map { at: 7, map: map(MAP) });
    suite.comes("the map as it was", |s| !learned(s));
    while suite.steps() > steps {
        suite.undo();
    }
    suite.engine.send(Input::Command(Command::Focus(Focus { list: List::Look, at: 0 })));
    suite.comes("the first in focus", |s| s.focus == Some(Focus { list: List::Look, at: 0 }));
}

/// The stage in focus: what is turned, what another one does to knobs with ends, and where the focus goes when
/// stages come and go.
fn focus(suite: &Suite) {
    let look = |s: &Snapshot, at: usize| s.show.chain.look[at].strength;
    let in_focus = |at| move |s: &Snapshot| s.focus == Some(Focus { list: List::Look, at });
    suite.comes("the look's first stage in focus", in_focus(0));
    suite.send(0, &[0xB0, 26, 118]);
    suite.comes("its strength", |s| near(look(s, 0), 0.9) && look(s, 1) == 0.5);
    let slope = |s: &Snapshot| s.show.chain.look[0].values[0];
    let (before, step) =
        (slope(&suite.engine.snapshot()), stage("contrast").unwrap().declaration().parameters[0].step);
    suite.send(0, &[0xB0, 27, 1]);
    suite.comes("its first parameter", |s| near(slope(s), before + step));

    // A knob holds the first stage's strength: 0.9 of 0…max.
    let most = stage("contrast").unwrap().declaration().strength.max;
    let place = (0.9 / most * 127.0).round() as u8;
    suite.send(0, &[0xB0, 102, place]);
    suite.send(0, &[0xB0, 102, place - 5]);
    let held = f64::from(place - 5) / 127.0 * most;
    suite.comes("the knob's strength", |s| near(look(s, 0), held));
    // Another comes into focus: the next turn moves neither.
    suite.send(0, &[0x90, 40, 127, 40, 0, 0xB0, 102, place - 8]);
    suite.comes("the second in focus", in_focus(1));
    suite.send(0, &[0xB0, 105, 127]);
    suite.comes("it switched off", |s| !s.show.chain.look[1].on);
    let s = suite.engine.snapshot();
    assert!(look(&s, 1) == 0.5 && near(look(&s, 0), held), "a knob jumped: {} {}", look(&s, 0), look(&s, 1));

    // A stage is put in before it: the same stage stays in focus. It is taken out: the look's first again.
    let change = |change| suite.engine.send(Input::Change { change, control: 1 });
    change(Change::AddStage { list: List::Look, at: 0, stage: Stage::new(stage("monochrome").unwrap()) });
    suite.comes("the same stage in focus", in_focus(2));
    change(Change::MoveStage { list: List::Look, from: 2, to: 1 });
    suite.comes("it moved", in_focus(1));
    suite.engine.send(Input::Command(Command::Undo));
    suite.comes("it moved back", in_focus(2));
    change(Change::RemoveStage { list: List::Look, at: 2 });
    suite.comes("the first in focus", in_focus(0));
    // The desk says which; one that is not there is not taken.
    suite.engine.send(Input::Command(Command::Focus(Focus { list: List::Look, at: 7 })));
    suite.engine.send(Input::Command(Command::Focus(Focus { list: List::Look, at: 1 })));
    suite.comes("the one asked for", in_focus(1));
    let s = suite.engine.snapshot();
    assert_eq!(s.reading("focus/strength").unwrap().0, s.reading("look/2/strength").unwrap().0);
    assert_eq!((s.reading("focus/9"), s.reading("focus/on").unwrap().1), (None, 1.0));
    change(Change::ReplaceLook { stages: Vec::new(), strength: 1.0 });
    suite.comes("no stage, no focus", |s| s.focus.is_none() && s.reading("focus/strength").is_none());
    suite.engine.send(Input::Command(Command::Undo));
    suite.comes("the first in focus", in_focus(0));
}

/// A look that is tried has its own stages in focus. A hand that turns one of them keeps the look, and stays where it is.
fn looks_on_trial(suite: &Suite) {
    suite.rest();
    let steps = suite.steps();
    let own = suite.engine.snapshot().show.chain.look.clone();
    suite.engine.send(Input::Command(Command::StepFocus(1)));
    suite.comes("another stage in focus", |s| s.focus != Some(Focus { list: List::Look, at: 0 }));
    suite.engine.send(Input::Command(Command::TryLook(0)));
    suite.comes("a look on trial, its first stage in focus", |s| {
        s.trying.is_some() && s.focus == Some(Focus { list: List::Look, at: 0 })
    });
    suite.engine.send(Input::Command(Command::StepFocus(1)));
    let second = Some(Focus { list: List::Look, at: 1 });
    suite.comes("its second stage in focus", |s| s.focus == second);
    let strength = |s: &Snapshot| s.show.chain.look[1].strength;
    let before = strength(&suite.engine.snapshot());
    suite.send(0, &[0xB0, 26, 127]);
    suite.comes("the look kept", |s| s.trying.is_none() && near(strength(s), before - 0.01));
    suite.send(0, &[0xB0, 26, 127]);
    suite.comes("the same stage turned on", |s| s.focus == second && near(strength(s), before - 0.02));
    assert_eq!(suite.steps(), steps + 2, "the look, and the turn");
    suite.undo();
    suite.undo();
    assert_eq!(suite.engine.snapshot().show.chain.look, own);
    // Tried and left: nothing has happened.
    suite.engine.send(Input::Command(Command::TryLook(1)));
    suite.comes("a look on trial", |s| s.trying.is_some());
    suite.engine.send(Input::Command(Command::LeaveLook));
    suite.comes("the show's own", |s| s.trying.is_none() && s.show.chain.look == own);
    assert_eq!(suite.engine.snapshot().focus, Some(Focus { list: List::Look, at: 0 }));
}

/// Jog and shuttle.
fn transport(suite: &Suite) {
    // One control goes through the library, and back to the show's own look.
    let tried = |s: &Snapshot| s.trying.as_ref().map(|t| t.at);
    suite.send(0, &[0xB0, 29, 3]);
    suite.comes("the third look", |s| tried(s) == Some(2));
    assert_eq!(
        suite.engine.snapshot().reading("view/look").unwrap().0,
        greyhold::show::shipped_looks()[2].name
    );
    suite.send(0, &[0xB0, 29, 126]);
    suite.comes("the first", |s| tried(s) == Some(0));
    suite.send(0, &[0xB0, 29, 127]);
    suite.comes("its own", |s| tried(s).is_none());

    suite.engine.send(Input::Command(Command::Seek(0)));
    suite.send(0, &[0xB0, 28, 5]);
    suite.comes("five frames on", |s| s.frame == 5 && !s.playing);
    suite.send(0, &[0xB0, 28, 126]);
    suite.comes("two back", |s| s.frame == 3);
    // Tenths of frames add up.
    suite.send(0, &[0x90, 42, 127]);
    for _ in 0..10 {
        suite.send(0, &[0xB0, 28, 1]);
    }
    suite.comes("one on", |s| s.frame == 4);
    suite.send(0, &[0x90, 42, 0]);

    // A sprung wheel on the bender: a quarter of the way up is twice the rate … from the middle, 8 times at the end.
    let bend = |place: f64| {
        let value = (place * 16383.0).round() as u16;
        suite.send(0, &[0xE0, (value & 0x7F) as u8, (value >> 7) as u8]);
    };
    for (place, speed) in [(0.625, 2.0), (0.4375, -1.0), (1.0, 8.0), (0.0, -8.0), (0.5, 0.0)] {
        bend(place);
        suite.comes("a speed", |s| s.speed == speed && s.playing == (speed != 0.0));
    }
    // Backwards it goes backwards, round and round in a shot of 48 frames.
    bend(0.4375);
    suite.comes("backwards", |s| s.speed == -1.0);
    let (mut last, mut went) = (suite.engine.snapshot().frame, Vec::new());
    let begun = Instant::now();
    while went.len() < 12 && begun.elapsed() < support::PATIENCE {
        let frame = suite.engine.snapshot().frame;
        if frame != last {
            went.push((last + 48 - frame) % 48);
            last = frame;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    assert!(went.len() == 12 && went.iter().all(|by| (1..=12).contains(by)), "{went:?}");
    // Four times as fast goes in steps of four.
    bend(0.75);
    suite.comes("four times", |s| s.speed == 4.0);
    std::thread::sleep(Duration::from_millis(200));
    let (mut last, mut went) = (suite.engine.snapshot().frame, Vec::new());
    let begun = Instant::now();
    while went.len() < 12 && begun.elapsed() < support::PATIENCE {
        let frame = suite.engine.snapshot().frame;
        if frame != last {
            went.push((frame + 48 - last) % 48);
            last = frame;
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    assert!(went.len() == 12 && went.iter().all(|by| by % 4 == 0), "{went:?}");
    bend(0.51);
    suite.comes("rest near the middle", |s| !s.playing && s.speed == 0.0);
}
