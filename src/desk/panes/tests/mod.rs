//! The panes under a mouse that is moved by hand: no window, the interface's own events and shapes.

mod access;
mod curves;
mod first;
mod light_path;
mod looks;
mod luts;
mod mirror;
mod order;
mod outputs;
mod sizes;
mod walk;

use std::time::{Duration, Instant};

use egui::{Event, Modifiers, PointerButton, Pos2, Shape, Vec2, pos2};

use super::light_path::FIRST;
use super::*;
use crate::colour::encoding;
use crate::engine::first::FirstState;
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
    thumbnails: engine::Thumbnails,
    trying: Option<Trying>,
    kept: engine::Kept,
    first: FirstState,
    modifiers: Modifiers,
    commands: Vec<Command>,
    acts: Vec<Act>,
    /// What was asked to be learned.
    learn: Vec<Option<Arc<str>>>,
    /// Rows that thumbnails are wanted of.
    rows: Option<std::ops::Range<usize>>,
    size: Vec2,
    /// What is left for the picture.
    area: egui::Rect,
    shot: usize,
    trouble: Option<Arc<str>>,
    clips: Vec<egui::Rect>,
    compare: Compare,
    /// Steps that can be undone and redone, as the engine says.
    steps: (usize, usize),
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
            thumbnails: Arc::default(),
            trying: None,
            kept: engine::Kept::default(),
            first: FirstState::default(),
            modifiers: Modifiers::NONE,
            commands: Vec::new(),
            acts: Vec::new(),
            learn: Vec::new(),
            rows: None,
            size: SIZE,
            area: egui::Rect::NOTHING,
            shot: 0,
            trouble: None,
            clips: Vec::new(),
            compare: Compare::After,
            steps: (0, 0),
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
            thumbnails: self.thumbnails.clone(),
            raster: None,
            marks: Default::default(),
            range: None,
            preview: Default::default(),
            reduced: 1,
            ready: Vec::new(),
            picking: false,
            probe: None,
            first: self.first.clone(),
            trying: self.trying.clone(),
            looks: shipped_looks().into(),
            looks_ready: false,
            shot: self.shot,
            frame: 0,
            frames: self.show.shots.first().map_or(0, |shot| shot.frames().end - shot.frames().start),
            playing: false,
            speed: 0.0,
            focus: Focus::first(&self.show.chain),
            scope: Scope::Shot,
            compare: self.compare,
            curtain: engine::Curtain::Open,
            clip: None,
            trouble: self.trouble.clone(),
            compiling: false,
            playback: Playback::default(),
            panel: self.panel.clone(),
            cached: (0, 0),
            kept: self.kept.clone(),
            unsaved: false,
            steps: self.steps,
        }
    }

    /// A frame, 20 ms after the last, and what it asks for carried out as the engine does.
    fn frame(&mut self, events: &[Event]) {
        self.at += Duration::from_millis(20);
        let raw = egui::RawInput {
            screen_rect: Some(egui::Rect::from_min_size(Pos2::ZERO, self.size)),
            time: Some((self.at - self.start).as_secs_f64()),
            events: std::iter::once(Event::ModifiersChanged(self.modifiers))
                .chain(events.iter().cloned())
                .collect(),
            ..Default::default()
        };
        let snapshot = self.snapshot();
        let mut inputs = Vec::new();
        let (panes, asked, area) = (&mut self.panes, &mut inputs, &mut self.area);
        let mut full = self.egui.clone().run_ui(raw, |ui| {
            *area = panes.draw(ui, &snapshot, (0, 0), asked);
        });
        full.textures_delta.clear();
        self.clips = full.shapes.iter().map(|s| s.clip_rect).collect();
        self.shapes = full.shapes.into_iter().map(|s| s.shape).collect();
        self.take(inputs);
    }

    /// Carries out what panes ask for, as the engine does.
    fn take(&mut self, inputs: Vec<Input>) {
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
                Input::Set { target, value } => {
                    let slot = self.show.resolve(&Address::parse(&target).unwrap(), 0).unwrap();
                    self.change(Change::SetParameter { slot, value }, 0);
                }
                Input::Reset { target } => {
                    let slot = self.show.resolve(&Address::parse(&target).unwrap(), 0).unwrap();
                    let value = slot.parameter().default;
                    self.change(Change::SetParameter { slot, value }, 0);
                }
                Input::Command(command) => self.commands.push(command),
                Input::Panel(act) => self.acts.push(act),
                Input::Scopes(_) => {}
                Input::Learn { target } => self.learn.push(target),
                Input::Thumbnails(rows) => self.rows = rows,
                other => panic!("nothing here asks for {other:?}"),
            }
        }
    }

    /// How large a pane is as it is made.
    fn made(&self, pane: Pane) -> f32 {
        Layout::default_size(pane)
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

/// The state of an engine that has just opened a show.
pub(in super::super) fn snapshot_of(show: Show) -> Snapshot {
    Desk::new(show).snapshot()
}

fn with_curves() -> Desk {
    let mut show = Show::new("test");
    show.chain.look = vec![Stage::new(stage("curves").unwrap())];
    Desk::new(show)
}
