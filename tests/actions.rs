//! Buttons and fine controls of a panel, and actions by name, carried out by a running engine.

mod support;

use std::sync::{Arc, Mutex};
use std::time::Duration;

use greyhold::engine::{
    ACTIONS, CACHE, Compare, Curtain, Focus, Handle, Input, LightOf, Options, Preview, Scope, Snapshot, With,
    known_action, start,
};
use greyhold::look::List;
use greyhold::panel::{self, Map, PanelError, PortInfo, Ports, Sender, Waker, queue};
use greyhold::picture::BalanceField::{Exposure, OffsetR};
use greyhold::picture::{Fitting, Framing, Way};
use greyhold::show::{check_address, load};
use support::{greyhold, sequence, wait_for};

/// One port that can be pulled out; and what it sends with while it is in.
#[derive(Clone, Default)]
struct Plug(Arc<Mutex<(bool, Option<Sender>)>>);

impl Ports for Plug {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        let port = PortInfo { id: "1".to_owned(), name: "Box".to_owned() };
        Ok(if self.0.lock().unwrap().0 { vec![port] } else { Vec::new() })
    }

    fn open(&mut self, _: &PortInfo, waker: Waker) -> Result<panel::Input, PanelError> {
        let (sender, queue) = queue(64, waker);
        self.0.lock().unwrap().1 = Some(sender);
        Ok(panel::Input::new(Box::new(()), queue))
    }
}

impl Plug {
    fn send(&self, at: u64, packet: &[u8]) {
        self.0.lock().unwrap().1.as_mut().expect("an open port").push(at, packet);
    }
}

const MAP: &str = r#"
    name = "test"
    port = "box"
    [[control]]
    cc = 20
    coding = "twos-complement"
    target = "balance/exposure"
    [[control]]
    cc = 21
    bits = 14
    coding = "absolute"
    takeover = "jump"
    target = "balance/offset-r"
    [[control]]
    cc = 102
    coding = "absolute"
    target = "balance/exposure"
    [[button]]
    note = 40
    action = "next-shot"
    [[button]]
    note = 43
    label = "Look away"
    action = "before"
    [[button]]
    note = 44
    action = "undo"
    [[button]]
    cc = 110
    mode = "toggle"
    action = "before"
"#;

#[test]
fn what_actions_do() {
    let dir = tempfile::tempdir().unwrap();
    let clip = sequence(&dir.path().join("footage"), (64, 36), 6);
    let folder = dir.path().join("show");
    for arguments in [
        vec!["new", folder.to_str().unwrap()],
        vec!["add", folder.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
    ] {
        assert!(greyhold().args(arguments).status().unwrap().success());
    }
    let mut show = load(&folder).unwrap();
    let mut second = show.shots[0].clone();
    second.name = "take two".into();
    show.shots.push(second);
    show.chain.look = ["contrast", "saturation"]
        .map(|key| greyhold::look::Stage::new(greyhold::look::stage(key).unwrap()))
        .into();
    let plug = Plug::default();
    plug.0.lock().unwrap().0 = true;
    let map = Map::parse(MAP, "test.toml", &check_address, &known_action).unwrap();
    let ports = plug.clone();
    plug.0.lock().unwrap().0 = false;
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
    // The map's panel is not there: that is said, pictures come all the same, and the panel when it is
    // plugged in.
    let note = |engine: &Handle| engine.snapshot().panel.note.clone();
    let absent = "no MIDI port has “box” in its name; there is none at all";
    comes(&engine, "word of the panel's absence", |s| s.panel.note.as_deref() == Some(absent));
    wait_for("a picture", || engine.picture(greyhold::engine::Live::Client));
    plug.0.lock().unwrap().0 = true;
    comes(&engine, "the panel's port", |s| !s.panel.ports.is_empty());
    assert_eq!(note(&engine), None);

    by_name(&engine);
    one_packet_in_order(&engine, &plug);
    fine(&engine, &plug);
    mouse(&engine);
    held(&engine, &plug);
    engine.stop().unwrap();
}

fn comes(engine: &Handle, what: &str, is: impl Fn(&Snapshot) -> bool) {
    wait_for(what, || is(&engine.snapshot()).then_some(()));
}

fn exposures(s: &Snapshot) -> [f64; 2] {
    [0, 1].map(|shot| s.show.shots[shot].balance.get(Exposure))
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

/// Every action, as keys ask for it.
fn by_name(engine: &Handle) {
    let press = |name: &str, down: bool| {
        engine.send(Input::Press { action: name.into(), down });
    };
    let table: &[(&str, fn(&Snapshot) -> bool)] = &[
        ("step-forward", |s| s.frame == 1),
        ("step-forward", |s| s.frame == 2),
        ("step-back", |s| s.frame == 1),
        ("first-frame", |s| s.frame == 0),
        ("next-shot", |s| s.shot == 1),
        ("previous-shot", |s| s.shot == 0),
        ("round", |s| s.scope == Scope::Show),
        ("round", |s| s.scope == Scope::Shot),
        ("play", |s| s.playing),
        ("play", |s| !s.playing),
        ("play-reverse", |s| s.playing && s.speed == -1.0),
        ("stop", |s| !s.playing && s.speed == 0.0),
        ("last-frame", |s| s.frame == 5),
        ("first-frame", |s| s.frame == 0),
        ("focus-next", |s| s.focus == Some(Focus { list: List::Look, at: 1 })),
        ("focus-next", |s| s.focus == Some(Focus { list: List::Look, at: 0 })),
        ("focus-previous", |s| s.focus == Some(Focus { list: List::Look, at: 1 })),
        ("hold-clients", |s| s.curtain == Curtain::Held),
        ("blank-clients", |s| s.curtain == Curtain::Blank),
        ("blank-clients", |s| s.curtain == Curtain::Open),
        ("before", |s| s.compare == Compare::Before),
        ("before-look", |s| s.compare == Compare::WithoutLook),
        ("stay-before", |s| s.compare == Compare::Before),
        ("stay-before", |s| s.compare == Compare::After),
        ("stay-before-look", |s| s.compare == Compare::WithoutLook),
        ("stay-before-look", |s| s.compare == Compare::After),
        ("other-version", |s| s.compare == Compare::OtherVersion),
        ("wipe", |s| !s.kept.on && s.trouble.as_ref().is_some_and(|t| t.contains("no still"))),
        ("keep-still", |s| s.kept.stills.len() == 1),
        ("keep-still", |s| s.kept.stills.len() == 2),
        ("wipe", |s| s.kept.on && s.kept.beside.way == Way::Wipe),
        ("side-by-side", |s| s.kept.on && s.kept.beside.way == Way::Side),
        ("difference", |s| s.kept.on && s.kept.beside.way == Way::Difference),
        ("next-still", |s| s.kept.with == Some(With::Still(s.kept.stills[0].id.clone()))),
        ("previous-still", |s| s.kept.with == Some(With::Still(s.kept.stills[1].id.clone()))),
        ("compare-for-client", |s| s.kept.on_client),
        ("compare-for-client", |s| !s.kept.on_client),
        ("next-look", |s| s.trying.as_ref().is_some_and(|t| t.at == 0)),
        ("next-look", |s| s.trying.as_ref().is_some_and(|t| t.at == 1)),
        ("previous-look", |s| s.trying.as_ref().is_some_and(|t| t.at == 0)),
        ("leave-look", |s| s.trying.is_none()),
        ("pick-neutral", |s| s.picking),
        ("pick-neutral", |s| !s.picking),
        ("undo", |s| s.steps == (0, 1) && exposures(s) == [0.0; 2]),
        ("redo", |s| s.steps == (1, 0) && near(exposures(s)[0], 0.05)),
        ("undo", |s| s.steps == (0, 1)),
        ("next-look", |s| s.trying.is_some()),
        ("keep-look", |s| s.trying.is_none() && s.steps == (1, 0) && !s.show.chain.look.is_empty()),
        ("undo", |s| s.steps == (0, 1)),
        ("fitting", |s| s.steps == (1, 0) && s.show.shots[0].framing.fitting() == Fitting::Fill),
        // Between these a gesture ends; two presses in quick succession are one step.
        ("undo", |s| s.steps == (0, 1) && s.show.shots[0].framing.fitting() == Fitting::Fit),
        ("redo", |s| s.steps == (1, 0) && s.show.shots[0].framing.fitting() == Fitting::Fill),
        ("fitting", |s| s.steps == (2, 0) && s.show.shots[0].framing == Framing::default()),
        ("undo", |s| s.steps == (1, 1)),
        ("undo", |s| s.steps == (0, 2) && s.show.shots[0].framing == Framing::default()),
        ("last-frame", |s| s.frame == 5),
        ("represent", |s| s.show.shots[0].representative() == 5),
        ("first-frame", |s| s.frame == 0),
        ("represent", |s| s.show.shots[0].representative() == 0),
        ("represent", |s| s.show.shots[0].chosen.is_none() && s.show.shots[0].representative() == 3),
        ("undo", |s| s.show.shots[0].representative() == 0),
        ("undo", |s| s.show.shots[0].representative() == 5),
        ("undo", |s| s.show.shots[0].chosen.is_none() && s.steps == (0, 3)),
        // The shot in hand stays in hand where it goes.
        ("shot-earlier", |s| s.shot == 0 && s.show.shots[1].name == "take two"),
        ("shot-later", |s| s.shot == 1 && s.show.shots[0].name == "take two"),
        ("shot-earlier", |s| s.shot == 0 && s.show.shots[1].name == "take two"),
        ("undo", |s| s.shot == 1 && s.show.shots[0].name == "take two"),
        ("undo", |s| s.shot == 0 && s.steps == (0, 2)),
        // The first pass: what is proposed is left, and taken; the balance of the shot before.
        ("suggest", |s| s.first.proposal.is_some() && s.steps == (0, 2)),
        ("leave-proposal", |s| s.first.proposal.is_none() && s.first.reading.is_none()),
        ("suggest", |s| s.first.proposal.is_some()),
        ("take-proposal", |s| s.first.proposal.is_none() && s.steps == (1, 0) && exposures(s)[0] != 0.0),
        ("copy-balance", |s| s.steps == (2, 0) && exposures(s)[1] == exposures(s)[0]),
        ("undo", |s| exposures(s)[1] == 0.0 && s.shot == 1),
        ("balance-from-before", |s| s.steps == (2, 0) && exposures(s)[1] == exposures(s)[0]),
        ("undo", |s| exposures(s)[1] == 0.0),
        ("match-before", |s| s.first.proposal.as_ref().is_some_and(|p| p.shot == 1)),
        ("keep-look", |s| s.first.proposal.is_none() && s.steps == (2, 0) && exposures(s)[1] != 0.0),
        ("survey", |s| s.first.survey.done == 2 && !s.first.survey.running),
        ("undo", |s| exposures(s)[1] == 0.0),
        ("previous-shot", |s| s.shot == 0),
        ("undo", |s| s.steps == (0, 2) && exposures(s) == [0.0; 2]),
        // Another look, tried, brought its first stage into focus.
        ("focus-on", |s| !s.show.chain.look[0].on && s.show.chain.look[1].on),
        ("undo", |s| s.show.chain.look[0].on),
        ("step-forward", |s| s.frame == 1),
        ("range-in", |s| s.range == Some(1..6)),
        ("step-forward", |s| s.frame == 2),
        ("range-out", |s| s.range == Some(1..3)),
        ("range-off", |s| s.range.is_none()),
        ("first-frame", |s| s.frame == 0),
        ("preview", |s| s.preview == Preview::Half && s.reduced == 2),
        ("preview", |s| s.preview == Preview::Quarter && s.reduced == 4),
        ("preview", |s| s.preview == Preview::Automatic && s.reduced == 1),
        ("preview", |s| s.preview == Preview::Whole),
        ("false-colour", |s| s.marks.false_colour && s.marks.light == LightOf::Balance),
        ("false-colour-light", |s| s.marks.light == LightOf::Camera),
        ("false-colour-light", |s| s.marks.light == LightOf::Balance),
        ("false-colour", |s| !s.marks.any()),
        ("clip-marks", |s| s.marks.clipping),
        ("clip-marks", |s| !s.marks.any()),
        ("gamut-marks", |s| s.marks.gamut),
        ("gamut-marks", |s| !s.marks.any()),
    ];
    engine.send(Input::Turn { target: "balance/exposure".into(), detents: 1.0, control: 3 });
    comes(engine, "a step", |s| s.steps == (1, 0));
    for (name, is) in table {
        press(name, true);
        comes(engine, name, is);
        // Letting go of what is not held does nothing, and of what is held ends it.
        press(name, false);
    }
    comes(engine, "the end of before", |s| s.compare == Compare::After);
    std::thread::sleep(Duration::from_millis(100));
    let s = engine.snapshot();
    assert_eq!((s.shot, s.frame, s.scope, s.playing, s.steps), (0, 0, Scope::Shot, false, (0, 1)));
    for action in ACTIONS {
        assert!(table.iter().any(|(name, _)| *name == action.name), "{} is not tried", action.name);
    }
}

/// Turns and presses of one packet count in their order.
fn one_packet_in_order(engine: &Handle, plug: &Plug) {
    plug.send(0, &[0xB0, 20, 1, 0x90, 44, 127, 44, 0, 0xB0, 20, 2]);
    comes(engine, "turn, undo, turn", |s| near(exposures(s)[0], 0.1) && s.steps == (1, 0));
    engine.send(Input::Press { action: "undo".into(), down: true });
    comes(engine, "undo", |s| exposures(s)[0] == 0.0);

    // The knob holds the first shot's exposure. The press between its last two moves takes that away, and
    // where it was: on the second shot it has crossed nothing.
    plug.send(0, &[0xB0, 102, 64, 102, 40, 0x90, 40, 127, 0xB0, 102, 96, 0xB0, 20, 1]);
    comes(engine, "another shot", |s| s.shot == 1 && s.steps.0 > 0 && exposures(s)[1] != 0.0);
    let [first, second] = exposures(&engine.snapshot());
    assert!(near(first, 40.0 / 127.0 * 16.0 - 8.0) && near(second, 0.05), "{first} {second}");
}

/// Half a message counts after a while, without another to wake the engine.
fn fine(engine: &Handle, plug: &Plug) {
    let offset = |s: &Snapshot| s.show.shots[1].balance.get(OffsetR);
    let at = |value: f64| value / 16383.0 * 120.0 - 60.0;
    plug.send(1_000, &[0xB0, 21, 0x40]);
    comes(engine, "the upper half alone", |s| near(offset(s), at(8192.0)));
    plug.send(60_000, &[0xB0, 21, 0x41, 53, 0x01]);
    comes(engine, "both halves", |s| near(offset(s), at(8321.0)));
    plug.send(90_000, &[0xB0, 53, 0x02]);
    comes(engine, "the lower half alone", |s| near(offset(s), at(8322.0)));
}

/// A control that a hand has hold of rests as long as it likes; the step ends when it is let go.
fn mouse(engine: &Handle) {
    const MOUSE: u32 = 2;
    let steps = engine.snapshot().steps.0;
    let turn = |to: f64| {
        engine.send(Input::Turn { target: "balance/exposure".into(), detents: 2.0, control: MOUSE });
        comes(engine, "a turn", |s| near(exposures(s)[1], to));
    };
    engine.send(Input::Hold { control: MOUSE, down: true });
    let start = exposures(&engine.snapshot())[1];
    turn(start + 0.1);
    std::thread::sleep(Duration::from_millis(700));
    turn(start + 0.2);
    engine.send(Input::Hold { control: MOUSE, down: false });
    turn(start + 0.3);
    assert_eq!(engine.snapshot().steps.0, steps + 2);
    for to in [0.2, 0.0] {
        engine.send(Input::Press { action: "undo".into(), down: true });
        comes(engine, "undo", |s| near(exposures(s)[1], start + to));
    }
}

fn held(engine: &Handle, plug: &Plug) {
    let before = |s: &Snapshot| s.compare == Compare::Before;
    let after = |s: &Snapshot| s.compare == Compare::After;
    let down = |s: &Snapshot| {
        let down = s.panel.buttons.iter().filter(|b| b.down);
        down.map(|b| format!("{} {}", b.label, b.action)).collect::<Vec<_>>().join(", ")
    };
    let labels: Vec<_> =
        engine.snapshot().panel.buttons.iter().map(|b| (b.label.to_string(), b.action.to_string())).collect();
    let expected =
        [("note 40", "next-shot"), ("Look away", "before"), ("note 44", "undo"), ("CC 110", "before")];
    assert_eq!(labels, expected.map(|(label, action)| (label.to_owned(), action.to_owned())));
    assert_eq!(down(&engine.snapshot()), "note 40 next-shot", "pressed above and not let go");
    plug.send(0, &[0x80, 40, 0, 0x90, 43, 127]);
    comes(engine, "before, and its button", |s| before(s) && down(s) == "Look away before");
    plug.send(0, &[0x80, 43, 64]);
    comes(engine, "after, and no button", |s| after(s) && down(s).is_empty());
    // A button that tells only of presses holds from one to the next.
    plug.send(0, &[0xB0, 110, 127]);
    comes(engine, "before", |s| before(s) && down(s) == "CC 110 before");
    plug.send(0, &[0xB0, 110, 0]);
    comes(engine, "after", after);
    // What was held on a panel that goes away is let go.
    plug.send(0, &[0x90, 43, 127]);
    comes(engine, "before", before);
    plug.0.lock().unwrap().0 = false;
    comes(engine, "the panel's absence", |s| s.panel.ports.is_empty() && s.compare == Compare::After);
    let said = "Box is gone; no MIDI port has “box” in its name; there is none at all";
    comes(engine, "word of it", |s| s.panel.note.as_deref() == Some(said));
    // Back again, it is heard again.
    plug.0.lock().unwrap().0 = true;
    comes(engine, "the panel's return", |s| !s.panel.ports.is_empty() && s.panel.note.is_none());
    plug.send(0, &[0x90, 43, 127]);
    comes(engine, "before", before);
}
