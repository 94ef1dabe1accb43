//! The engine itself: passive, taking inputs and ticks.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

use super::actions::{Does, action};
use super::clock::Clock;
use super::feed::{Feeds, SourceKey};
use super::finish::{Finisher, Job};
use super::host::{EngineError, Options, Shared};
use super::input::{Command, Compare, Input, Live, Scope};
use super::panels::{PanelContext, Panels};
use super::saver::Saver;
use super::snapshot::{PanelState, Playback, Snapshot};
use crate::gpu::{Gpu, Output, Upload};
use crate::look::Parameter;
use crate::media::Interpretation;
use crate::panel::Move;
use crate::picture::{Balance, Recipe, Structure, Tail, Target};
use crate::show::{self, Address, Autosave, Change, History, Lock, Shot, Show, Slot, recipe};

/// Frames decoded ahead of the one on view.
const AHEAD: u64 = 16;
/// Frames that are decoded before the clock starts, or as long as it waits for them.
const PREROLL: (u64, Duration) = (4, Duration::from_millis(700));
/// Pictures under way on the GPU at a time.
const UNDER_WAY: usize = 2;
/// Control number of the keyboard and of commands; panels come after it.
const PANEL_CONTROLS: u32 = 1000;

struct Playing {
    clock: Option<Clock>,
    since: Instant,
    /// The last frame shown, counted by the clock.
    last: Option<u64>,
}

/// Everything that decides what is on view.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Drawn {
    shot: usize,
    frame: u64,
    revision: u64,
}

/// The document, and what changes it.
struct Desk {
    show: Arc<Show>,
    history: History,
    autosave: Autosave,
    shot: usize,
    /// Counts everything that makes pictures differ.
    revision: u64,
    trouble: Option<Arc<str>>,
}

pub(super) struct Engine {
    gpu: Arc<Gpu>,
    shared: Arc<Shared>,
    wake: Arc<dyn Fn() + Send + Sync>,
    notify: Arc<dyn Fn() + Send + Sync>,
    dir: std::path::PathBuf,
    desk: Desk,
    _lock: Option<Lock>,
    saver: Saver,
    feeds: Feeds,
    panels: Option<Panels>,
    finisher: Finisher,
    outputs: Vec<Arc<Output>>,
    uploaded: Option<(SourceKey, u64, Upload)>,
    frame: u64,
    playing: Option<Playing>,
    scope: Scope,
    compare: Compare,
    /// Names of actions that are held.
    held: Vec<&'static str>,
    drawn: Option<Drawn>,
    /// Stages of the last plan that was ready.
    ready: Option<Recipe>,
    compiling: bool,
    message: Option<Instant>,
    serial: u64,
    playback: Playback,
    finished_at: VecDeque<Instant>,
    costs: VecDeque<Duration>,
    delays: VecDeque<Duration>,
    stale: bool,
    broken: Option<Arc<str>>,
}

impl Desk {
    fn change(&mut self, change: Change, control: u32, now: Instant) {
        match Arc::make_mut(&mut self.show).apply(change.clone()) {
            Ok(inverse) => {
                self.history.record(change, inverse, control, now);
                self.touched(now);
            }
            Err(e) => self.trouble = Some(e.to_string().into()),
        }
    }

    /// Applies what the history handed out.
    fn again(&mut self, change: Option<Change>, now: Instant) {
        let Some(change) = change else { return };
        match Arc::make_mut(&mut self.show).apply(change) {
            Ok(_) => self.touched(now),
            Err(e) => self.trouble = Some(e.to_string().into()),
        }
    }

    fn touched(&mut self, now: Instant) {
        self.autosave.note_change(now);
        self.revision += 1;
        self.trouble = None;
        self.shot = self.shot.min(self.show.shots.len().saturating_sub(1));
    }

    fn slot(&self, target: &str) -> Option<Slot> {
        self.show.resolve(&Address::parse(target).ok()?, self.shot)
    }

    fn position(&self, target: &str) -> Option<f64> {
        let slot = self.slot(target)?;
        Some(slot.parameter().position(self.show.get(slot)?))
    }

    /// The change that moves a parameter; `to` makes its new value from the parameter and the old one.
    fn moved(&self, target: &str, to: impl FnOnce(&Parameter, f64) -> f64) -> Option<Change> {
        let slot = self.slot(target)?;
        let parameter = slot.parameter();
        Some(Change::SetParameter { slot, value: parameter.held(to(parameter, self.show.get(slot)?)) })
    }
}

impl PanelContext for (&mut Engine, Instant) {
    fn position(&self, target: &str) -> Option<f64> {
        self.0.desk.position(target)
    }

    fn act(&mut self, port: usize, moves: &[Move]) -> bool {
        let (engine, now) = (&mut *self.0, self.1);
        let mut changes = Vec::new();
        let shot = engine.desk.shot;
        for m in moves {
            match m {
                Move::Turn { target, detents } => {
                    changes.extend(engine.desk.moved(target, |p, v| v + p.step * detents));
                }
                Move::Set { target, position } => {
                    changes.extend(engine.desk.moved(target, |p, _| p.at(*position)));
                }
                Move::Press { action, down } => engine.press(action, *down, now),
            }
        }
        let change = match changes.len() {
            0 => return engine.desk.shot != shot,
            1 => changes.remove(0),
            _ => Change::Together(changes),
        };
        engine.message = Some(engine.message.unwrap_or(now));
        engine.desk.change(change, PANEL_CONTROLS + port as u32, now);
        engine.desk.shot != shot
    }
}

impl Engine {
    pub fn first_snapshot(options: &Options) -> Snapshot {
        let frames = options.show.shots.first().map_or(0, length);
        Snapshot {
            show: Arc::new(options.show.clone()),
            dir: options.dir.clone(),
            shot: 0,
            frame: 0,
            frames,
            playing: false,
            scope: Scope::Shot,
            compare: Compare::After,
            clip: None,
            trouble: None,
            compiling: false,
            playback: Playback::default(),
            panel: PanelState::default(),
            cached: (0, 0),
            unsaved: false,
            steps: (0, 0),
        }
    }

    pub fn new(
        gpu: Arc<Gpu>,
        options: Options,
        shared: Arc<Shared>,
        wake: Arc<dyn Fn() + Send + Sync>,
    ) -> Result<Self, EngineError> {
        let panels = match options.panel {
            Some((map, make)) => Some(Panels::start(map, make, wake.clone())?),
            None => None,
        };
        Ok(Self {
            saver: Saver::start(options.dir.clone(), wake.clone())?,
            feeds: Feeds::new(options.cache, wake.clone()),
            finisher: Finisher::start(gpu.clone(), shared.places.clone(), wake.clone())?,
            gpu,
            shared,
            wake,
            notify: options.notify,
            dir: options.dir,
            desk: Desk {
                show: Arc::new(options.show),
                history: History::default(),
                autosave: Autosave::default(),
                shot: 0,
                revision: 0,
                trouble: None,
            },
            _lock: options.lock,
            panels,
            outputs: Vec::new(),
            uploaded: None,
            frame: 0,
            playing: None,
            scope: Scope::Shot,
            compare: Compare::After,
            held: Vec::new(),
            drawn: None,
            ready: None,
            compiling: false,
            message: None,
            serial: 0,
            playback: Playback::default(),
            finished_at: VecDeque::new(),
            costs: VecDeque::new(),
            delays: VecDeque::new(),
            stale: true,
            broken: None,
        })
    }

    pub fn apply(&mut self, input: Input, now: Instant) {
        self.stale = true;
        self.message = Some(self.message.unwrap_or(now));
        match input {
            Input::Change { change, control } => self.desk.change(change, control, now),
            Input::Turn { target, detents, control } => {
                if let Some(change) = self.desk.moved(&target, |p, v| v + p.step * detents) {
                    self.desk.change(change, control, now);
                }
            }
            Input::Reset { target } => {
                if let Some(change) = self.desk.moved(&target, |p, _| p.default) {
                    self.desk.change(change, 0, now);
                }
            }
            Input::Command(command) => {
                // No picture answers to a command by itself.
                self.message = None;
                self.command(command, now);
            }
            Input::Press { action, down } => {
                self.message = None;
                self.press(&action, down, now);
            }
        }
        self.frame = self.frame.min(self.shot_frames().saturating_sub(1));
    }

    /// A key or button of an action was pressed or let go.
    fn press(&mut self, name: &str, down: bool, now: Instant) {
        let Some(action) = action(name) else { return };
        let held = self.held.contains(&action.name);
        match action.does {
            Does::Once(command) if down => self.command(command, now),
            Does::Once(_) => {}
            Does::Held { up, .. } if held => {
                self.held.retain(|name| *name != action.name);
                self.command(up, now);
            }
            Does::Held { down: begin, .. } if down => {
                self.held.push(action.name);
                self.command(begin, now);
            }
            Does::Held { .. } => {}
        }
    }

    fn command(&mut self, command: Command, now: Instant) {
        match command {
            Command::TogglePlay if self.playing.is_some() => self.playing = None,
            Command::TogglePlay => {
                self.playing = Some(Playing { clock: None, since: now, last: None });
                self.playback = Playback { cost: self.playback.cost, ..Playback::default() };
            }
            Command::Stop => self.playing = None,
            Command::Step(frames) => {
                self.playing = None;
                let last = self.shot_frames().saturating_sub(1);
                self.frame = self.frame.saturating_add_signed(frames).min(last);
            }
            Command::Seek(frame) => {
                self.frame = frame.min(self.shot_frames().saturating_sub(1));
                self.restart(now);
            }
            Command::Shot(shot) => self.go_to_shot(shot, now),
            Command::StepShot(by) => {
                let shot = self.desk.shot.saturating_add_signed(by as isize);
                self.go_to_shot(shot, now);
            }
            Command::Scope(scope) => {
                self.scope = scope;
                self.restart(now);
            }
            Command::OtherScope => {
                self.scope = match self.scope {
                    Scope::Shot => Scope::Show,
                    Scope::Show => Scope::Shot,
                };
                self.restart(now);
            }
            Command::Compare(compare) => {
                self.compare = compare;
                self.desk.revision += 1;
            }
            Command::Undo => {
                let change = self.desk.history.undo();
                self.desk.again(change, now);
            }
            Command::Redo => {
                let change = self.desk.history.redo();
                self.desk.again(change, now);
            }
        }
    }

    fn go_to_shot(&mut self, shot: usize, now: Instant) {
        let shot = shot.min(self.desk.show.shots.len().saturating_sub(1));
        if shot != self.desk.shot {
            self.desk.shot = shot;
            self.frame = 0;
            if let Some(panels) = &mut self.panels {
                panels.reset();
            }
            self.restart(now);
        }
    }

    /// Playback goes on from here.
    fn restart(&mut self, now: Instant) {
        if let Some(playing) = &mut self.playing {
            *playing = Playing { clock: None, since: now, last: None };
        }
    }

    fn shot_frames(&self) -> u64 {
        self.desk.show.shots.get(self.desk.shot).map_or(0, length)
    }

    /// Shot and frame `by` frames after the current one, going round in the scope.
    fn after(&self, by: u64) -> (usize, u64) {
        let shots = &self.desk.show.shots;
        let here = self.shot_frames().max(1);
        match self.scope {
            Scope::Shot => (self.desk.shot, (self.frame + by) % here),
            Scope::Show => {
                let total: u64 = shots.iter().map(length).sum::<u64>().max(1);
                let before: u64 = shots[..self.desk.shot].iter().map(length).sum();
                let mut left = (before + self.frame + by) % total;
                for (i, shot) in shots.iter().enumerate() {
                    if left < length(shot) {
                        return (i, left);
                    }
                    left -= length(shot);
                }
                (self.desk.shot, self.frame)
            }
        }
    }

    fn source(&self, shot: usize) -> Option<(SourceKey, u64)> {
        let s = self.desk.show.shots.get(shot)?;
        let interpretation = Interpretation { range: s.range, matrix: s.matrix, ..Interpretation::default() };
        Some((SourceKey { path: s.source_path(&self.dir), interpretation }, s.start))
    }

    fn frame_key(&self, (shot, frame): (usize, u64)) -> Option<(SourceKey, u64)> {
        let (key, first) = self.source(shot)?;
        Some((key, first + frame))
    }

    /// Does what is due; returns when to come again at the latest.
    pub fn tick(&mut self, now: Instant) -> Instant {
        self.read_panels(now);
        self.stale |= self.feeds.collect();
        self.take_finished(now);
        let due = self.move_on(now);
        self.ask_ahead();
        self.draw(now);
        self.save(now);
        let later = [self.desk.autosave.due_at(), self.panels.as_ref().and_then(Panels::due)];
        let due = later.into_iter().flatten().fold(due, Instant::min);
        if std::mem::take(&mut self.stale) {
            self.publish();
        }
        due
    }

    fn read_panels(&mut self, now: Instant) {
        let Some(mut panels) = self.panels.take() else { return };
        let shot = self.desk.shot;
        let context = &mut (&mut *self, now);
        let any = panels.collect(context) | panels.drain(context, now);
        self.panels = Some(panels);
        self.stale |= any;
        if self.desk.shot != shot {
            self.frame = self.frame.min(self.shot_frames().saturating_sub(1));
        }
    }

    fn take_finished(&mut self, now: Instant) {
        let mut any = false;
        while let Ok(picture) = self.finisher.finished.try_recv() {
            any = true;
            push(&mut self.costs, picture.cost, 120);
            if let Some(delay) = picture.delay {
                push(&mut self.delays, delay, 256);
            }
            push(&mut self.finished_at, now, 240);
        }
        if any {
            self.stale = true;
            while self.finished_at.front().is_some_and(|t| now - *t > Duration::from_secs(1)) {
                self.finished_at.pop_front();
            }
            self.playback.rate = rate(&self.finished_at);
            self.playback.cost = median(&self.costs).unwrap_or_default();
            self.playback.delay = median(&self.delays);
            (self.notify)();
        }
    }

    /// While playing: goes to the frame that is due. Returns when the next one is.
    fn move_on(&mut self, now: Instant) -> Instant {
        let idle = now + Duration::from_millis(250);
        if self.playing.is_none() || self.shot_frames() == 0 {
            return idle;
        }
        let ahead = (0..=PREROLL.0).all(|by| {
            self.frame_key(self.after(by)).is_none_or(|(key, n)| self.feeds.get(&key, n).is_some())
        });
        let rate = self.desk.show.rate;
        let Some(playing) = &mut self.playing else { return idle };
        let clock = match playing.clock {
            Some(clock) => clock,
            None if ahead || now - playing.since > PREROLL.1 => {
                let clock = Clock::start(now, 0, rate);
                playing.clock = Some(clock);
                playing.last = Some(0);
                clock
            }
            None => return now + Duration::from_millis(20),
        };
        let due = clock.frame(now);
        let last = playing.last.unwrap_or(0);
        if due > last {
            let (shot, frame) = self.after(due - last);
            // Only a frame that is there is gone to; until then the last one stays on view.
            let there = self.frame_key((shot, frame)).is_some_and(|(k, n)| self.feeds.get(&k, n).is_some());
            if there && self.finisher.under_way() < UNDER_WAY {
                if let Some(playing) = &mut self.playing {
                    playing.last = Some(due);
                }
                self.playback.shown += 1;
                self.playback.dropped += due - last - 1;
                if shot != self.desk.shot {
                    self.desk.shot = shot;
                    if let Some(panels) = &mut self.panels {
                        panels.reset();
                    }
                }
                self.frame = frame;
                self.stale = true;
            }
        }
        clock.due(due + 1)
    }

    fn ask_ahead(&mut self) {
        let ahead = if self.playing.is_some() { AHEAD } else { 4 };
        let wanted: Vec<_> = (0..=ahead).filter_map(|by| self.frame_key(self.after(by))).collect();
        self.feeds.want(&wanted);
    }

    /// Draws what is on view, if that differs from what was drawn last.
    fn draw(&mut self, now: Instant) {
        let here = (self.desk.shot, self.frame);
        let wanted = Drawn { shot: here.0, frame: here.1, revision: self.desk.revision };
        if self.drawn == Some(wanted) || self.finisher.under_way() >= UNDER_WAY {
            return;
        }
        let Some((key, number)) = self.frame_key(here) else { return };
        let frame = match self.feeds.get(&key, number) {
            Some(Ok(frame)) => frame,
            Some(Err(why)) => {
                if self.broken.as_ref() != Some(&why) {
                    self.broken = Some(why);
                    self.stale = true;
                }
                self.drawn = Some(wanted);
                return;
            }
            None => return,
        };
        self.broken = None;
        let mut recipes = self.recipes(here);
        let mut drawn = wanted;
        let Some(structure) = recipes.first().map(|r| Structure::of(&r.1, Target::Screen)) else { return };
        let wake = self.wake.clone();
        let mut pipeline = self.gpu.pipelines.ready(&structure, move || wake());
        self.compiling = pipeline.is_none();
        if pipeline.is_none() {
            // The old plan goes on drawing, on the new frame, until the new one is compiled.
            let moved = self.drawn.is_none_or(|d| (d.shot, d.frame) != here);
            let Some(old) = self.ready.as_ref().filter(|_| moved) else {
                if let Some(why) = self.gpu.pipelines.failure(&structure) {
                    self.broken = Some(why.into());
                    self.drawn = Some(wanted);
                    self.stale = true;
                }
                return;
            };
            for (_, recipe) in &mut recipes {
                recipe.stages = old.stages.clone();
                recipe.tail = with_transform(recipe.tail, old.tail);
            }
            drawn.revision = u64::MAX;
            pipeline = self.gpu.pipelines.ready(&Structure::of(&recipes[0].1, Target::Screen), || ());
        } else {
            self.ready = Some(recipes[0].1.clone());
        }
        let Some(pipeline) = pipeline else { return };
        if self.uploaded.as_ref().is_none_or(|u| (&u.0, u.1) != (&key, number)) {
            let old = self.uploaded.take().map(|u| u.2);
            match self.gpu.upload(&frame, old) {
                Ok(upload) => self.uploaded = Some((key, number, upload)),
                Err(e) => {
                    self.broken = Some(e.to_string().into());
                    self.drawn = Some(wanted);
                    self.stale = true;
                    return;
                }
            }
        }
        let Some((_, _, upload)) = &self.uploaded else { return };
        let mut encoder = self.gpu.device.create_command_encoder(&Default::default());
        let mut outputs = Vec::new();
        for (places, recipe) in &recipes {
            let Some(output) = output(&self.gpu, &mut self.outputs, upload.width, upload.height) else {
                return;
            };
            self.gpu.encode(&mut encoder, &pipeline, upload, recipe, &output, 8, true, None);
            outputs.extend(places.iter().map(|p| (*p as usize, output.clone())));
        }
        let index = self.gpu.queue.submit([encoder.finish()]);
        self.serial += 1;
        self.finisher.add(Job {
            index,
            outputs,
            shot: here.0,
            frame: here.1,
            serial: self.serial,
            submitted: now,
            message: self.message.take(),
        });
        self.drawn = Some(drawn);
        self.stale = true;
    }

    /// A recipe for each distinct display among the live outputs, and the outputs that show it.
    fn recipes(&self, (shot, frame): (usize, u64)) -> Vec<(Vec<Live>, Recipe)> {
        let show = &self.desk.show;
        let mut out: Vec<(Vec<Live>, Recipe)> = Vec::new();
        let mut displays: Vec<&str> = Vec::new();
        for (live, output) in [(Live::Desk, show::Output::Desk), (Live::Client, show::Output::Client)] {
            let display = show.outputs.get(output);
            if let Some(i) = displays.iter().position(|d| *d == display.id) {
                out[i].0.push(live);
                continue;
            }
            displays.push(display.id);
            let Some(mut recipe) = recipe(show, shot, show.tail(output), frame as u32) else { continue };
            if self.compare == Compare::Before {
                // The same structure with nothing acting, so that nothing is compiled.
                recipe.balance = Some(Balance::default());
                for stage in &mut recipe.stages {
                    stage.strength = 0.0;
                }
            }
            out.push((vec![live], recipe));
        }
        out
    }

    fn save(&mut self, now: Instant) {
        while let Some(result) = self.saver.result() {
            self.stale = true;
            match result {
                Ok(()) => self.desk.autosave.saved(),
                Err(e) => {
                    self.desk.trouble = Some(e.to_string().into());
                    self.desk.autosave.failed(now);
                }
            }
        }
        if self.desk.autosave.due(now) && self.saver.save(&self.desk.show) {
            self.desk.autosave.begun();
            self.stale = true;
        }
    }

    fn publish(&mut self) {
        let desk = &self.desk;
        let panel = match &mut self.panels {
            Some(panels) => panels.state(&|target| desk.position(target)),
            None => PanelState::default(),
        };
        let clip = self.source(desk.shot).and_then(|(key, _)| self.feeds.info(&key));
        self.shared.snapshot.store(Arc::new(Snapshot {
            show: desk.show.clone(),
            dir: self.dir.clone(),
            shot: desk.shot,
            frame: self.frame,
            frames: self.shot_frames(),
            playing: self.playing.is_some(),
            scope: self.scope,
            compare: self.compare,
            clip,
            trouble: self.broken.clone().or_else(|| desk.trouble.clone()),
            compiling: self.compiling,
            playback: self.playback,
            panel,
            cached: self.feeds.held(),
            unsaved: desk.autosave.unsaved(),
            steps: (desk.history.undoable(), desk.history.redoable()),
        }));
        (self.notify)();
    }

    /// Saves what is not on disk yet.
    pub fn finish(&mut self) -> Result<(), EngineError> {
        let show = self.desk.autosave.unsaved().then(|| self.desk.show.clone());
        Ok(self.saver.finish(show.as_ref())?)
    }
}

fn length(shot: &Shot) -> u64 {
    let frames = shot.frames();
    frames.end - frames.start
}

fn with_transform(tail: Tail, other: Tail) -> Tail {
    match (tail, other) {
        (Tail::Display { display, .. }, Tail::Display { transform, .. }) => {
            Tail::Display { transform, display }
        }
        (tail, _) => tail,
    }
}

/// A texture that nobody looks at, of the right size; a new one if there is none.
fn output(gpu: &Gpu, pool: &mut Vec<Arc<Output>>, width: u32, height: u32) -> Option<Arc<Output>> {
    pool.retain(|o| (o.width, o.height) == (width, height));
    if let Some(free) = pool.iter().find(|o| Arc::strong_count(o) == 1) {
        return Some(free.clone());
    }
    match gpu.output(width, height, Target::Screen) {
        Ok(new) => {
            let new = Arc::new(new);
            pool.push(new.clone());
            Some(new)
        }
        Err(e) => {
            tracing::error!("{e}");
            None
        }
    }
}

fn push<T>(queue: &mut VecDeque<T>, value: T, keep: usize) {
    queue.push_back(value);
    while queue.len() > keep {
        queue.pop_front();
    }
}

/// Events a second, from the first of them to the last.
fn rate(at: &VecDeque<Instant>) -> f64 {
    match (at.front(), at.back()) {
        (Some(first), Some(last)) if last > first => (at.len() - 1) as f64 / (*last - *first).as_secs_f64(),
        _ => 0.0,
    }
}

fn median(values: &VecDeque<Duration>) -> Option<Duration> {
    let mut sorted: Vec<_> = values.iter().copied().collect();
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).copied()
}
