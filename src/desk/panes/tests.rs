//! The panes under a mouse that is moved by hand: no window, the interface's own events and shapes.

use std::time::{Duration, Instant};

use egui::{Event, Modifiers, PointerButton, Pos2, Shape, Vec2, pos2};

use super::light_path::FIRST;
use super::*;
use crate::colour::encoding;
use crate::engine::{Learning, PanelState, Playback, Scope, Trying};
use crate::look::{CURVE_POINTS, List, Stage, curve_point_parameters, curve_points, stage};
use crate::panel::{Act, Guess, Kind, Map, Mimic, Need, SHIPPED, Surface, read};
use crate::picture::{Fitting, Framing, FramingField};
use crate::show::{Address, Change, Group, History, Shot, Show, StrengthTrim, shipped_looks, stage_keys};

/// A desk without windows, the show that it works on, and a clock.
struct Desk {
    egui: egui::Context,
    panes: Panes,
    show: Show,
    history: History,
    at: Instant,
    start: Instant,
    shapes: Vec<Shape>,
    panel: PanelState,
    trying: Option<Trying>,
    commands: Vec<Command>,
    acts: Vec<Act>,
    /// What was asked to be learned.
    learn: Vec<Option<Arc<str>>>,
}

const SIZE: Vec2 = Vec2::new(1400.0, 1400.0);

impl Desk {
    fn new(show: Show) -> Self {
        let start = Instant::now();
        let egui = egui::Context::default();
        look::apply(&egui);
        let panes = Panes::new(Arc::default());
        let history = History::default();
        let mut desk = Self {
            egui,
            panes,
            show,
            history,
            at: start,
            start,
            shapes: Vec::new(),
            panel: PanelState::default(),
            trying: None,
            commands: Vec::new(),
            acts: Vec::new(),
            learn: Vec::new(),
        };
        // Panels know their sizes from the second frame on.
        desk.frame(&[]);
        desk.frame(&[]);
        desk
    }

    fn snapshot(&self) -> Snapshot {
        Snapshot {
            show: Arc::new(self.show.clone()),
            dir: "show".into(),
            raster: None,
            picking: false,
            probe: None,
            trying: self.trying.clone(),
            looks: shipped_looks().into(),
            looks_ready: false,
            shot: 0,
            frame: 0,
            frames: 0,
            playing: false,
            speed: 0.0,
            focus: Focus::first(&self.show.chain),
            scope: Scope::Shot,
            compare: Compare::After,
            curtain: crate::engine::Curtain::Open,
            clip: None,
            trouble: None,
            compiling: false,
            playback: Playback::default(),
            panel: self.panel.clone(),
            cached: (0, 0),
            unsaved: false,
            steps: (0, 0),
        }
    }

    /// A frame, 20 ms after the last, and what it asks for carried out as the engine does.
    fn frame(&mut self, events: &[Event]) {
        self.at += Duration::from_millis(20);
        let raw = egui::RawInput {
            screen_rect: Some(egui::Rect::from_min_size(Pos2::ZERO, SIZE)),
            time: Some((self.at - self.start).as_secs_f64()),
            events: events.to_vec(),
            ..Default::default()
        };
        let snapshot = self.snapshot();
        let mut inputs = Vec::new();
        let (panes, asked) = (&mut self.panes, &mut inputs);
        let mut full = self.egui.clone().run_ui(raw, |ui| {
            panes.draw(ui, &snapshot, (0, 0), asked);
        });
        full.textures_delta.clear();
        self.shapes = full.shapes.into_iter().map(|s| s.shape).collect();
        for input in inputs {
            match input {
                Input::Hold { control, down: true } => self.history.hold(control),
                Input::Hold { control, down: false } => self.history.let_go(control),
                Input::Change { change, control } => self.change(change, control),
                Input::Turn { target, detents, control } => {
                    let slot = self.show.resolve(&Address::parse(&target).unwrap(), 0).unwrap();
                    let value = self.show.get(slot).unwrap() + detents * slot.parameter().step;
                    self.change(Change::SetParameter { slot, value }, control);
                }
                Input::Command(command) => self.commands.push(command),
                Input::Panel(act) => self.acts.push(act),
                Input::Learn { target } => self.learn.push(target),
                other => panic!("nothing here asks for {other:?}"),
            }
        }
    }

    fn change(&mut self, change: Change, control: u32) {
        let inverse = self.show.apply(change.clone()).unwrap();
        self.history.record(change, inverse, control, self.at);
    }

    fn undo(&mut self) {
        let change = self.history.undo().expect("a step to undo");
        self.show.apply(change).unwrap();
    }

    fn move_to(&mut self, at: Pos2) {
        self.frame(&[Event::PointerMoved(at)]);
    }

    fn button(&mut self, at: Pos2, pressed: bool) {
        self.frame(&[Event::PointerButton {
            pos: at,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        }]);
    }

    fn click(&mut self, at: Pos2) {
        self.move_to(at);
        self.button(at, true);
        self.button(at, false);
        self.frame(&[]);
    }

    /// Presses at `from`, goes to `to` in four moves with a rest of `rest` after the second, lets go.
    fn drag(&mut self, from: Pos2, to: Pos2, rest: Duration) {
        self.move_to(from);
        self.button(from, true);
        for n in 1..=4 {
            self.move_to(from + (to - from) * n as f32 / 4.0);
            if n == 2 {
                self.at += rest;
            }
        }
        self.button(to, false);
        self.frame(&[]);
    }

    /// Where a text stands, in the order of drawing.
    fn texts(&self, wanted: &str) -> Vec<Pos2> {
        let find = |s: &Shape| match s {
            Shape::Text(t) if t.galley.text() == wanted => Some(t.pos + t.galley.size() / 2.0),
            _ => None,
        };
        self.shapes.iter().filter_map(find).collect()
    }

    fn text(&self, wanted: &str) -> Pos2 {
        *self.texts(wanted).first().unwrap_or_else(|| panic!("{wanted:?} is not on the desk"))
    }

    /// Where the points of the graph are, in their order.
    fn points(&self) -> [Pos2; 5] {
        let circles: Vec<Pos2> = self
            .shapes
            .iter()
            .filter_map(|s| match s {
                Shape::Circle(c) if c.radius == 3.5 => Some(c.center),
                _ => None,
            })
            .collect();
        circles.try_into().expect("five points")
    }
}

fn with_curves() -> Desk {
    let mut show = Show::new("test");
    show.chain.look = vec![Stage::new(stage("curves").unwrap())];
    Desk::new(show)
}

fn values(desk: &Desk) -> &[f64] {
    &desk.show.chain.look[0].values
}

#[test]
fn a_point_goes_where_it_is_dragged_in_one_step() {
    let mut desk = with_curves();
    let before = desk.show.clone();
    let points = desk.points();
    // Three stops apart.
    let three = points[2].x - points[1].x;
    let rise = points[1].y - points[2].y;
    assert!(three > 20.0 && rise > 15.0, "{points:?}");
    let way = Vec2::new(three / 3.0, -rise / 6.0);
    desk.drag(points[1], points[1] + way, Duration::from_secs(2));
    let found = curve_points(values(&desk), 0)[1];
    // A stop over, half a stop up: from −3 to −2, and there half a stop lower than nothing.
    assert!((found.place + 2.0).abs() < 1e-3 && (found.lift + 0.5).abs() < 1e-3, "{found:?}");
    let now = desk.points();
    assert!((now[1] - (points[1] + way)).length() < 0.1, "it is drawn where it is");
    for i in [0, 2, 3, 4] {
        assert_eq!(now[i], points[i], "the others stay");
    }
    assert_eq!(&*desk.panes.in_hand, "look/1/master-shade");
    assert_eq!(desk.history.undoable(), 1, "one drag, though it rested for two seconds");
    desk.undo();
    assert_eq!(desk.show, before);
}

#[test]
fn a_point_stops_at_its_neighbours_and_comes_back_with_the_pointer() {
    let mut desk = with_curves();
    let points = desk.points();
    let far = points[4] + Vec2::new(30.0, 0.0);
    desk.move_to(points[2]);
    desk.button(points[2], true);
    for n in 1..=10 {
        desk.move_to(points[2] + (far - points[2]) * n as f32 / 10.0);
        let found = curve_points(values(&desk), 0);
        assert!(found[2].place <= 2.5 + 1e-9 && found[2].height() < 3.0, "{found:?}");
        assert_eq!((found[3].place, found[3].lift), (3.0, 0.0), "its neighbour is not pushed");
    }
    assert!((curve_points(values(&desk), 0)[2].place - 2.5).abs() < 1e-9);
    desk.move_to(points[2]);
    desk.button(points[2], false);
    let found = curve_points(values(&desk), 0)[2];
    assert!(found.place.abs() < 1e-3 && found.lift.abs() < 1e-3, "{found:?}");
}

#[test]
fn a_double_click_puts_a_point_back() {
    let mut desk = with_curves();
    let points = desk.points();
    desk.drag(points[3], points[3] + Vec2::new(9.0, 11.0), Duration::ZERO);
    let moved = values(&desk).to_vec();
    let (place, lift) = curve_point_parameters(0, 3);
    assert!(moved[place] > 3.3 && moved[lift] < -0.5, "{moved:?}");
    desk.at += Duration::from_secs(2);
    let at = desk.points()[3];
    desk.click(at);
    desk.click(at);
    assert_eq!((values(&desk)[place], values(&desk)[lift]), (3.0, 0.0));
    desk.undo();
    assert_eq!(values(&desk), moved, "that was a step of its own");
    assert_eq!(desk.history.undoable(), 1);
}

#[test]
fn the_words_choose_a_curve() {
    let mut desk = with_curves();
    let points = desk.points();
    desk.click(desk.text("blue"));
    assert_eq!(desk.panes.curve, 3);
    desk.drag(points[1], points[1] + Vec2::new(0.0, -10.0), Duration::ZERO);
    let changed: Vec<_> = curve_points(values(&desk), 3).iter().map(|p| p.lift).collect();
    assert!(changed[1] > 0.5 && changed[0] == 0.0, "{changed:?}");
    assert!(curve_points(values(&desk), 0).iter().all(|p| p.lift == 0.0), "the master is as it was");
    assert_eq!(&*desk.panes.in_hand, "look/1/blue-shade");
    // A dot marks the curve that does something; the graph of another has its own points.
    desk.text("blue •");
    desk.click(desk.text("red"));
    assert_eq!(desk.points(), points);
}

/// Rows come when the stage is opened: place and lift of each point of the curve on view.
#[test]
fn rows_are_behind_the_expansion() {
    let mut desk = with_curves();
    let graph = desk.points();
    assert_eq!(desk.panes.addresses.iter().filter(|a| a.contains("look/1/master-")).count(), 5);
    desk.panes.open.insert("look/1".into());
    desk.frame(&[]);
    desk.frame(&[]);
    assert_eq!(desk.points(), graph, "the graph stays");
    let rows: Vec<_> = desk.panes.addresses.iter().filter(|a| a.contains("look/1/master-")).collect();
    let expected: Vec<_> = CURVE_POINTS
        .iter()
        .flat_map(|p| [format!("look/1/master-{p}"), format!("look/1/master-{p}-at")])
        .collect();
    assert_eq!(rows.iter().map(|a| &***a).collect::<Vec<_>>(), expected);
    // Dragged half its width, the row of a place goes half its range.
    let row = desk.text("middle at");
    desk.drag(row, row + Vec2::new(20.0, 0.0), Duration::ZERO);
    let (place, lift) = curve_point_parameters(0, 2);
    assert!(values(&desk)[place] > 0.5 && values(&desk)[lift] == 0.0);
}

/// A row that is held still for a while and dragged on is one step; the next drag is another, however soon.
#[test]
fn a_drag_of_a_row_is_one_step() {
    let mut desk = with_curves();
    let row = desk.text("strength");
    desk.drag(row, row - Vec2::new(40.0, 0.0), Duration::from_millis(900));
    assert_eq!(desk.history.undoable(), 1);
    let once = desk.show.chain.look[0].strength;
    assert!(once < 0.9, "{once}");
    let row = pos2(row.x, row.y);
    desk.drag(row, row - Vec2::new(40.0, 0.0), Duration::from_millis(900));
    assert_eq!(desk.history.undoable(), 2);
    desk.undo();
    assert_eq!(desk.show.chain.look[0].strength, once);
}

/// The section between camera and balance: the raster by its menu, the fitting by its names, the rest by rows.
#[test]
fn rows_of_framing_move_the_shot_on_view() {
    let mut show = with_curves().show;
    show.raster = Some((1920, 1080));
    let camera = encoding("logc4").unwrap();
    show.shots.push(Shot::new("a", "a.mov", 0..1, camera));
    let mut desk = Desk::new(show);
    let stations = ["camera", "framing", "balance"].map(|name| desk.text(name).y);
    assert!(
        stations.is_sorted() && desk.text("scale").y < stations[2] && desk.text("raster").y > stations[1]
    );
    let choose = |desk: &mut Desk, menu: &str, entry: &str| {
        desk.click(desk.text(menu));
        desk.frame(&[]);
        let entry = *desk.texts(entry).last().unwrap();
        desk.click(entry);
        desk.frame(&[]);
    };
    choose(&mut desk, "1920x1080", "2048x1080");
    assert_eq!(desk.show.raster, Some((2048, 1080)));
    choose(&mut desk, "2048x1080", FIRST.0);
    assert_eq!(desk.show.raster, None);
    choose(&mut desk, "fitting", "fill");
    assert_eq!(desk.show.shots[0].framing.fitting(), Fitting::Fill);
    assert_eq!(&*desk.panes.in_hand, "framing/fitting");
    let before = desk.show.clone();
    for (row, field) in
        [("pan x", FramingField::PanX), ("pan y", FramingField::PanY), ("scale", FramingField::Scale)]
    {
        let at = desk.text(row);
        desk.drag(at, at + Vec2::new(25.0, 0.0), Duration::ZERO);
        assert!(desk.show.shots[0].framing.get(field) > field.parameter().default + 0.05, "{row}");
    }
    assert_eq!(desk.history.undoable(), 6);
    (0..3).for_each(|_| desk.undo());
    assert_eq!(desk.show, before);
    (0..3).for_each(|_| desk.undo());
    assert_eq!((desk.show.raster, desk.show.shots[0].framing), (Some((1920, 1080)), Framing::default()));
}

/// The menu puts a stage where its kind belongs, those of the lists at their ends; either way it is taken in hand.
#[test]
fn a_stage_is_put_in_where_it_belongs_or_where_the_hand_says() {
    let mut desk = with_curves();
    let keys = |desk: &Desk| {
        List::ALL.map(|l| desk.show.chain.list(l).iter().map(|s| s.declaration().key).collect::<Vec<_>>())
    };
    let mut choose = |menu: usize, text: &str, stage: &str| {
        let at = desk.texts(text)[menu];
        desk.click(at);
        desk.frame(&[]);
        // The menu is drawn over what may be called the same.
        let entry = *desk.texts(stage).last().unwrap();
        desk.click(entry);
        desk.frame(&[]);
        (keys(&desk), desk.panes.in_hand.clone())
    };
    let (lists, in_hand) = choose(0, "put in a stage", "monochrome");
    assert_eq!(lists, [vec![], vec!["curves", "monochrome"], vec![]]);
    assert_eq!(&*in_hand, "look/2/strength");
    let (lists, _) = choose(0, "put in here", "contrast");
    assert_eq!(lists, [vec!["contrast"], vec!["curves", "monochrome"], vec![]]);
    let (lists, in_hand) = choose(2, "put in here", "contrast");
    assert_eq!(lists, [vec!["contrast"], vec!["curves", "monochrome"], vec!["contrast"]]);
    assert_eq!(&*in_hand, "finish/1/strength");
    assert_eq!(desk.history.undoable(), 3);
}

/// The panel mirror shows buttons too, with what they do, and lights those that are down.
#[test]
fn the_mirror_has_buttons() {
    let mut desk = with_curves();
    assert!(desk.texts("previous shot").is_empty());
    let (file, text) = SHIPPED.iter().find(|(file, _)| *file == "three-balls.toml").unwrap();
    let map = Map::parse(text, file, &crate::engine::known_target, &crate::engine::known_action).unwrap();
    let mut surface = Surface::new(Arc::new(map));
    let boxes = |desk: &Desk, at: Pos2| -> Vec<egui::Color32> {
        let hit = |s: &Shape| match s {
            Shape::Rect(r) if r.rect.contains(at) && r.fill.a() > 0 => Some(r.fill),
            _ => None,
        };
        desk.shapes.iter().filter_map(hit).collect()
    };
    let show = |desk: &mut Desk, surface: &Surface| {
        desk.panel.buttons = surface.buttons();
        desk.frame(&[]);
        desk.frame(&[]);
    };
    show(&mut desk, &surface);
    let names = ["play", "step back", "step forward", "previous shot", "next shot", "first frame", "round"];
    for name in names.iter().chain(&["before", "undo", "redo"]) {
        // The list ahead of the look is called "before" too.
        assert!(!desk.texts(name).is_empty(), "{name}");
    }
    let undo = desk.text("undo");
    assert_eq!(boxes(&desk, undo), [look::BAR]);
    surface.feed(0, &read(0, &[0x90, 44, 100]).unwrap(), &|_| None);
    show(&mut desk, &surface);
    assert_eq!((boxes(&desk, undo), boxes(&desk, desk.text("redo"))), (vec![look::FILL], vec![look::BAR]));
}

/// A desk with a panel that is drawn, as the engine would have it; and that.
fn with_panel(text: &str) -> (Desk, Surface) {
    let map = Map::parse(text, "t.toml", &crate::engine::known_target, &crate::engine::known_action).unwrap();
    let surface = Surface::new(Arc::new(map));
    let mut show = with_curves().show;
    show.shots.push(Shot::new("a", "a.mov", 0..1, encoding("logc4").unwrap()));
    let mut desk = Desk::new(show);
    draw(&mut desk, &surface);
    (desk, surface)
}

fn draw(desk: &mut Desk, surface: &Surface) {
    let mut controls = surface.describe();
    controls.iter_mut().for_each(|c| c.stands = Mimic::default().stands(surface.map(), c.index));
    desk.panel = PanelState {
        map: surface.map().name.clone(),
        drawn: true,
        controls,
        banks: surface.banks(),
        buttons: surface.buttons(),
        standing: surface.standing(),
        ..PanelState::default()
    };
    desk.frame(&[]);
    desk.frame(&[]);
}

const KNOBS: &str = r#"
    name = "knobs"
    port = ""
    [[control]]
    label = "Encoder"
    cc = 20
    coding = "twos-complement"
    touch = 90
    target = "balance/exposure"
    [[control]]
    label = "Knob"
    cc = 21
    coding = "absolute"
    target = "focus/strength"
    [[ball]]
    label = "Picture"
    cc = [23, 24]
    coding = "twos-complement"
    colour = ["balance/offset-r", "balance/offset-g", "balance/offset-b"]
    [[button]]
    label = "Go"
    note = 36
    action = "play"
    [[button]]
    label = "Finely"
    note = 37
    action = "fine"
    [[bank]]
    name = "sky"
    [[bank]]
    name = "ground"
"#;

fn turned(acts: &[Act], wanted: usize) -> f64 {
    let by = acts.iter().map(|act| match act {
        Act::Turn { control, by } if *control == wanted => *by,
        _ => 0.0,
    });
    by.sum()
}

/// The mouse on the drawn panel does what a hand does: it turns, holds, rolls and presses, and chooses banks.
#[test]
fn the_mouse_plays_the_drawn_panel() {
    let (mut desk, mut surface) = with_panel(KNOBS);
    let (at, knob) = (desk.text("Encoder"), desk.text("Knob"));
    // Forty points are ten detents, and with a hand on it from the first to the last.
    desk.drag(at, at + Vec2::new(40.0, 90.0), Duration::ZERO);
    let acts = std::mem::take(&mut desk.acts);
    assert_eq!(acts[0], Act::Touch { control: 0, down: true });
    assert_eq!(*acts.last().unwrap(), Act::Touch { control: 0, down: false });
    assert!((turned(&acts, 0) - 10.0).abs() < 1e-6, "{acts:?}");
    // It is in hand: the keys turn it, and the light path shows what it moves.
    assert_eq!((desk.panes.hands.taken, &*desk.panes.in_hand), (Some(0), "balance/exposure"));
    // A knob's mark goes with the mouse: its box is its whole way, 127 steps. The wheel turns it too.
    let mark = |desk: &Desk| -> Vec<f32> {
        let line = |s: &Shape| match s {
            Shape::LineSegment { points, .. } if points[0].y < knob.y - 5.0 && points[0].x == points[1].x => {
                Some(points[0].x)
            }
            _ => None,
        };
        desk.shapes.iter().filter_map(line).filter(|x| (*x - knob.x).abs() < 170.0).collect()
    };
    assert!(!mark(&desk).is_empty(), "where the knob stands");
    desk.drag(knob, knob + Vec2::new(17.0, 0.0), Duration::ZERO);
    let acts = std::mem::take(&mut desk.acts);
    assert!((turned(&acts, 1) - 127.0 * 17.0 / 170.0).abs() < 0.1, "{acts:?}");
    assert_eq!(&*desk.panes.in_hand, "look/1/strength", "the stage in focus is the look's first");
    desk.move_to(knob);
    desk.frame(&[Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        delta: Vec2::new(0.0, 80.0),
        modifiers: Modifiers::NONE,
        phase: egui::TouchPhase::Move,
        source: egui::MouseWheelSource::Wheel,
    }]);
    (0..40).for_each(|_| desk.frame(&[]));
    let acts = std::mem::take(&mut desk.acts);
    assert!((turned(&acts, 1) - 2.0).abs() < 0.05 && turned(&acts, 0) == 0.0, "{acts:?}");
    // A ball has a pad: to the right and away.
    let ball = desk.text("Picture");
    desk.drag(ball, ball + Vec2::new(8.0, -12.0), Duration::ZERO);
    let acts = std::mem::take(&mut desk.acts);
    assert!((turned(&acts, 2) - 2.0).abs() < 1e-6 && (turned(&acts, 3) - 3.0).abs() < 1e-6, "{acts:?}");
    // A button is down as long as the mouse's, wherever that is let go.
    let go = desk.text("Go");
    desk.move_to(go);
    desk.button(go, true);
    desk.move_to(go + Vec2::new(0.0, -300.0));
    assert_eq!(desk.acts, [Act::Button { button: 0, down: true }]);
    desk.button(go + Vec2::new(0.0, -300.0), false);
    desk.frame(&[]);
    assert_eq!(desk.acts[1..], [Act::Button { button: 0, down: false }]);
    // A click that is over within one frame is a press all the same.
    desk.acts.clear();
    let click = |pressed| Event::PointerButton {
        pos: go,
        button: PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    desk.at += Duration::from_secs(2);
    desk.move_to(go);
    desk.frame(&[click(true), click(false)]);
    desk.frame(&[]);
    assert_eq!(desk.acts, [true, false].map(|down| Act::Button { button: 0, down }));
    // What is held while something else is turned stays down until the next click.
    desk.acts.clear();
    let finely = desk.text("Finely");
    desk.click(finely);
    assert_eq!(desk.acts, [Act::Button { button: 1, down: true }]);
    surface.feed(0, &read(0, &[0x90, 37, 127]).unwrap(), &|_| None);
    draw(&mut desk, &surface);
    desk.click(finely);
    assert_eq!(desk.acts[1..], [Act::Button { button: 1, down: false }]);
    let ground = desk.text("ground");
    desk.click(ground);
    assert_eq!(desk.acts[2..], [Act::Bank(1)]);
    // Picked up or not is said beside the value.
    assert!(desk.shapes.iter().any(|s| matches!(s, Shape::Text(t) if t.galley.text().ends_with("  ○"))));
    assert_eq!(desk.history.undoable(), 0, "the engine does all that");
}

#[test]
fn a_control_is_learned_with_the_mouse() {
    let (mut desk, _) = with_panel(KNOBS);
    desk.panes.in_hand = "balance/contrast".into();
    desk.frame(&[]);
    let learn = desk.text("learn");
    desk.click(learn);
    assert_eq!(desk.learn, [Some("balance/contrast".into())]);
    let guess =
        |need| Guess { kind: Kind::Absolute { cc: 70 }, channel: 2, certainty: 0.97, need, touch: None };
    let mut learning = Learning { target: "balance/contrast".into(), ..Learning::default() };
    let mut say = |desk: &mut Desk, guess, conflict: Option<(String, String)>| {
        learning.port = Some("Box".to_owned());
        (learning.guess, learning.conflict) = (guess, conflict);
        desk.panel.learning = Some(learning.clone());
        desk.frame(&[]);
        desk.frame(&[]);
    };
    say(&mut desk, None, None);
    assert!(desk.texts("learn").is_empty() && desk.texts("keep it").is_empty());
    desk.text("learning balance/contrast:");
    say(&mut desk, Some(guess(Some(Need::Further))), None);
    desk.text(&format!("Box: {} (so far {})", Need::Further, Kind::Absolute { cc: 70 }));
    assert!(desk.texts("keep it").is_empty(), "not before it is sure");
    // What the map has is shown, and cannot be overwritten.
    say(&mut desk, Some(guess(None)), Some(("Knob".to_owned(), "moves focus/strength".to_owned())));
    let said = |s: &Shape| matches!(s, Shape::Text(t) if t.galley.text().contains("“Knob”, which moves focus/strength"));
    assert!(desk.shapes.iter().any(said) && desk.texts("keep it").is_empty());
    say(&mut desk, Some(guess(None)), None);
    desk.text(&format!("Box: {}, channel 3, 97 % sure", Kind::Absolute { cc: 70 }));
    let (keep, leave) = (desk.text("keep it"), desk.text("leave it"));
    desk.click(keep);
    assert_eq!(desk.panes.asks, [Ask::KeepControl]);
    desk.click(leave);
    assert_eq!(desk.learn[1..], [None]);
}

/// Whoever takes something of a stage in hand has the stage in focus.
#[test]
fn what_is_clicked_comes_into_focus() {
    let mut show = Show::new("test");
    show.chain.look = ["contrast", "saturation"].map(|key| Stage::new(stage(key).unwrap())).into();
    let mut desk = Desk::new(show);
    let focus = |at| Command::Focus(Focus { list: List::Look, at });
    let name = *desk.texts("saturation").last().unwrap();
    desk.click(name);
    assert_eq!((&desk.commands[..], &*desk.panes.in_hand), (&[focus(1)][..], "look/2/strength"));
    // The first is in focus here all along: its rows ask for nothing.
    let rows = desk.texts("strength");
    desk.click(rows[0]);
    assert_eq!(desk.commands.len(), 1);
    desk.click(rows[1]);
    assert_eq!(desk.commands[1..], [focus(1)]);
    assert!(desk.show.chain.look.iter().all(|stage| stage.on), "a name is no switch");
}

/// At the end of the light path: each output's display by its menu, the show's own among them; its trim by rows; its
/// calibration, which can be taken out; and what its window does.
#[test]
fn outputs_have_their_own_lines() {
    use crate::look::NamedLut;
    use crate::picture::TrimField;
    use crate::show::{Output, read_displays};
    let mut show = with_curves().show;
    let text = "version = 1\n[display.suite]\nname = \"Suite 2\"\npeak = 300\nprimaries = \"bt2020\"\nlimit = \"p3-d65\"\ntransfer = \"pq\"\n";
    show.displays = read_displays(text, std::path::Path::new("d.toml")).unwrap();
    show.outputs.files.calibration = Some(NamedLut::new("monitor.cube", Arc::default()));
    let mut desk = Desk::new(show);
    assert!(desk.texts("its window: 8 bit, not colour-managed").is_empty(), "there is none");
    desk.panes.windows =
        [Some("8 bit, not colour-managed".into()), Some("10 bit, shown as BT.2100 PQ".into())];
    desk.frame(&[]);
    desk.text("its window: 8 bit, not colour-managed");
    desk.text("its window: 10 bit, shown as BT.2100 PQ");
    let addresses: Vec<_> =
        desk.panes.addresses.iter().filter(|a| a.starts_with("output/")).cloned().collect();
    let expected = ["output/desk/display", "output/client/display", "output/files/display"];
    assert_eq!(addresses.iter().map(|a| &**a).collect::<Vec<_>>(), expected);
    // The keys take it in hand as they do a parameter.
    desk.panes.in_hand = "output/desk/display".into();
    desk.panes.pick(1);
    assert_eq!(&*desk.panes.in_hand, "output/client/display");
    desk.click(desk.text("desk"));
    assert_eq!(&*desk.panes.in_hand, "output/desk/display");

    let menus = desk.texts("Rec. 709, BT.1886 (gamma 2.4)");
    assert_eq!(menus.len(), 3);
    desk.click(menus[1]);
    desk.frame(&[]);
    let entry = desk.text("Suite 2");
    desk.click(entry);
    desk.frame(&[]);
    assert_eq!(desk.show.outputs.client.display.id, "suite");
    assert_eq!(desk.show.outputs.desk.display.id, "rec709");

    desk.click(desk.text("trim of client"));
    desk.frame(&[]);
    let before = desk.show.clone();
    for (row, field) in [
        ("exposure", TrimField::Exposure),
        ("saturation", TrimField::Saturation),
        ("roll off", TrimField::RollOff),
    ] {
        // The last of its name: balance has some too.
        let at = *desk.texts(row).last().unwrap();
        desk.drag(at, at + Vec2::new(25.0, 0.0), Duration::ZERO);
        assert!(desk.show.outputs.client.trim.get(field) > field.parameter().default + 0.02, "{row}");
        assert_eq!(&*desk.panes.in_hand, format!("output/client/{}", field.parameter().key));
    }
    assert_eq!(desk.history.undoable(), 4);
    desk.text("trim of client  •");
    (0..3).for_each(|_| desk.undo());
    assert_eq!(desk.show, before);

    let calibration = desk.text("calibration monitor.cube");
    let take_out = desk.texts("take out").into_iter().find(|at| (at.y - calibration.y).abs() < 6.0).unwrap();
    desk.click(take_out);
    assert_eq!(desk.show.outputs.get(Output::Files).calibration, None);
}

/// A LUT's rows say what it expects, what is assumed and what its bake costs; the menus ask for another.
#[test]
fn a_lut_says_what_it_expects_and_costs() {
    use crate::desk::luts::Wish;
    use crate::look::{Bake, List, NamedLut};
    let mut lut = NamedLut::new("luts/print.clf", Arc::default());
    let bake = Bake {
        p99: 0.25,
        max: 1.5,
        light: [false; 2],
        matrices: [None; 2],
        input: Some("log".into()),
        output: None,
    };
    lut.bake = Some(bake);
    let mut desk = with_curves();
    desk.show.chain.look.push(Stage { lut: Some(lut), ..Stage::new(stage("lut").unwrap()) });
    desk.frame(&[]);
    desk.frame(&[]);
    desk.text("print.clf");
    desk.text("acescct is assumed: nothing says otherwise");
    desk.text("coarsely baked: 99 of 100 colours within 0.25 of a 10-bit code, all within 1.50");
    let sides = desk.texts("acescct");
    assert_eq!(sides.len(), 2, "what it expects and what it gives");
    desk.click(sides[0]);
    desk.frame(&[]);
    assert!(desk.texts("bt1886").is_empty(), "displays are not among them");
    let entry = *desk.texts("logc4").last().unwrap();
    desk.click(entry);
    let wish = Wish {
        stage: Some((List::Look, 1)),
        file: "luts/print.clf".into(),
        said: [crate::colour::space("logc4"), None],
    };
    assert_eq!(desk.panes.lut_wish.take(), Some(wish));
    assert_eq!(desk.history.undoable(), 0, "nothing changes before the file is read");
}

#[test]
fn looks_are_tried_kept_and_left_with_the_mouse() {
    let mut desk = with_curves();
    let menu = desk.text("try a look");
    desk.click(menu);
    let name = desk.text(&shipped_looks()[3].name);
    desk.click(name);
    assert_eq!(desk.commands, [Command::TryLook(3)]);
    desk.trying = Some(Trying {
        at: 3,
        of: shipped_looks().len(),
        name: "dry frost".into(),
        note: "".into(),
        own: desk.show.clone().into(),
    });
    desk.frame(&[]);
    assert_eq!(desk.texts("trying 4 of 10: dry frost").len(), 1);
    let (keep, leave) = (desk.text("keep it"), desk.text("leave it"));
    desk.click(leave);
    desk.click(keep);
    assert_eq!(desk.commands[1..], [Command::LeaveLook, Command::KeepLook]);
    let sheet = desk.text("sheet");
    desk.click(sheet);
    assert_eq!(desk.panes.asks, [Ask::Sheet]);
}

#[test]
fn a_stage_is_left_out_while_its_button_is_held() {
    let mut desk = with_curves();
    desk.panes.open.insert("look/1".into());
    desk.frame(&[]);
    let held = desk.text("without it, while held");
    desk.move_to(held);
    desk.button(held, true);
    desk.frame(&[]);
    let without = Compare::WithoutStage { list: List::Look, at: 0 };
    assert_eq!(desk.commands, [Command::Compare(without)]);
    // Let go somewhere else.
    let away = held + Vec2::new(-300.0, 40.0);
    desk.move_to(away);
    desk.button(away, false);
    desk.frame(&[]);
    assert_eq!(desk.commands, [Command::Compare(without), Command::Compare(Compare::After)]);
    assert_eq!(desk.history.undoable(), 0);
}

#[test]
fn stages_are_copied_and_trimmed_for_a_shot_and_its_group() {
    let mut show = Show::new("test");
    show.chain.look = vec![Stage::new(stage("contrast").unwrap())];
    show.shots.push(Shot::new("a", "a.mov", 0..8, encoding("logc4").unwrap()));
    show.groups.push(Group { name: "night".into(), trim: StrengthTrim::default() });
    let mut desk = Desk::new(show);
    desk.panes.open.extend(["look/1".to_owned(), "groups".to_owned()]);
    desk.frame(&[]);
    // The shot joins the group, whose trims then have rows: of the look, and of its stage.
    let night = desk.text("night");
    desk.click(night);
    assert_eq!(desk.show.shots[0].groups, ["night"]);
    let [of_look, of_stage] = desk.texts("night: the group's trim of it")[..] else { panic!("two rows") };
    desk.drag(of_look, of_look - Vec2::new(40.0, 0.0), Duration::ZERO);
    desk.drag(of_stage, of_stage + Vec2::new(40.0, 0.0), Duration::ZERO);
    let [_, of_shot] = desk.texts("this shot's trim of it")[..] else { panic!("two rows") };
    desk.drag(of_shot, of_shot - Vec2::new(60.0, 0.0), Duration::ZERO);
    let key = stage_keys(&desk.show.chain.look)[0];
    let (group, shot) = (&desk.show.groups[0].trim, &desk.show.shots[0].trim);
    assert!(group.get(None) < 1.0 && group.get(Some(key)) > 1.0 && shot.get(Some(key)) < 1.0);
    assert_eq!(shot.get(None), 1.0);
    let strength = desk.show.chain_of(&desk.show.shots[0]).look[0].strength;
    assert!((strength - group.get(Some(key)) * shot.get(Some(key))).abs() < 1e-12);
    (0..4).for_each(|_| desk.undo());
    assert!(desk.show.shots[0].groups.is_empty() && desk.show.groups[0].trim == StrengthTrim::default());

    desk.frame(&[]);
    let look = &shipped_looks()[0];
    let menu = desk.text("copy a stage");
    desk.click(menu);
    let name = desk.text(&look.name);
    desk.click(name);
    let wanted = look.stages.iter().find(|s| s.declaration().key != "contrast").unwrap();
    let words = wanted.declaration().key.replace('-', " ");
    let at = *desk.texts(&words).last().unwrap();
    desk.click(at);
    assert!(
        desk.show.chain.look.len() == 2 && desk.show.chain.look.contains(wanted),
        "{:?}",
        desk.show.chain.look
    );
    assert_eq!(desk.history.undoable(), 1);
}

#[test]
fn the_form_saves_what_it_says() {
    let mut desk = with_curves();
    let save = desk.text("save");
    desk.click(save);
    assert_eq!(desk.panes.asks, [Ask::SaveForm]);
    desk.panes.asks.clear();
    desk.panes.saving = Some(SaveForm::of(&desk.show));
    desk.frame(&[]);
    desk.frame(&[]);
    desk.frame(&[Event::Text("Dry frost".into())]);
    let place = desk.text("with this show");
    desk.click(place);
    let save = *desk.texts("save").last().unwrap();
    desk.click(save);
    assert_eq!(desk.panes.asks, [Ask::SaveLook]);
    let form = desk.panes.saving.clone().unwrap();
    assert_eq!((form.name.as_str(), form.in_show), ("Dry frost", true));
}
