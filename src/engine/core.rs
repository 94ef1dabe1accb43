//! The engine itself: passive, taking inputs and ticks.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

use super::actions::{Does, action};
use super::comparing::{Aside, Comparing, HOLD};
use super::document::{Document, PANEL_CONTROLS, PORT_CONTROLS};
use super::draw::Drawn;
use super::feed::{Feeds, SourceKey};
use super::finish::Finisher;
use super::first::{FirstPass, FirstState};
use super::host::{EngineError, Options, Shared};
use super::input::{Command, Compare, Input, Live, Patch, Scope};
use super::keeper::Keeper;
use super::marks::{Marking, Marks};
use super::osc::Osc;
use super::pace::{Pace, Preview};
use super::panels::{PanelContext, Panels};
use super::playback::Playing;
use super::raster::interpretation;
use super::saver::Saver;
use super::snapshot::{PanelState, Playback, Snapshot};
use super::targets::{Focus, Reach, To};
use super::thumbs::Thumbs;
use super::trial::Readied;
use super::watch::{Curtain, Views};
use crate::colour::Display;
use crate::gpu::{Fetch, Gpu, Output, ScopeOf, ScopeView, Traces, Upload, is_software};
use crate::panel::Move;
use crate::picture::{Area, Frame, Probed, Prober, Recipe, Structure, mean_light};
use crate::show::{self, Change, Lock, Outputs, Pusher, Shot, display_address, recipe, shipped_looks};

/// What could not be read is asked for again by the hand this often at most: scrubbing asks often.
const AGAIN: Duration = Duration::from_millis(300);
/// Pixels each way of a patch that is picked with a click.
const PATCH: u32 = 9;

pub(super) struct Engine {
    pub(super) gpu: Arc<Gpu>,
    pub(super) software: bool,
    pub(super) shared: Arc<Shared>,
    pub(super) wake: Arc<dyn Fn() + Send + Sync>,
    pub(super) notify: Arc<dyn Fn() + Send + Sync>,
    pub(super) dir: std::path::PathBuf,
    pub(super) document: Document,
    pub(super) _lock: Option<Lock>,
    pub(super) saver: Saver,
    pub(super) feeds: Feeds,
    pub(super) panels: Option<Panels>,
    pub(super) osc: Option<Osc>,
    pub(super) finisher: Finisher,
    pub(super) thumbs: Thumbs,
    pub(super) outputs: Vec<Arc<Output>>,
    /// The document and plan whose neighbours were made ready last.
    pub(super) warmed: Option<(u64, Vec<Structure>)>,
    /// Plans for trying looks.
    pub(super) readied: Readied,
    /// Where it is wanted what the picture holds.
    probed: Option<[[f64; 2]; 2]>,
    /// What reads it, and of which revision and shot.
    prober: Option<((u64, usize), Prober)>,
    /// What works out pushes on the scopes, and of which revision, shot and picture.
    pub(super) pusher: Option<((u64, usize, ScopeOf), Pusher)>,
    /// What scopes are wanted.
    pub(super) scopes: Option<ScopeView>,
    /// Have the last picture's scopes been drawn with it?
    pub(super) traced: bool,
    pub(super) traces: Vec<Arc<Traces>>,
    /// Pictures that browsers want.
    pub(super) views: Views,
    /// Serial of the last picture that was drawn for them.
    pub(super) views_drawn: u64,
    /// Memory for those.
    pub(super) fetches: Vec<Arc<Fetch>>,
    /// Before all client outputs.
    pub(super) curtain: Curtain,
    /// What is told on the desk's picture.
    pub(super) marking: Marking,
    /// Graded pictures that several outputs are made from.
    pub(super) graded: Vec<Arc<Output>>,
    /// Bits of each live output's surface.
    pub(super) depths: [u32; Live::COUNT],
    pub(super) uploaded: Option<(SourceKey, u64, Upload)>,
    pub(super) frame: u64,
    pub(super) playing: Option<Playing>,
    pub(super) pace: Pace,
    /// The part of a frame that was jogged and not gone yet.
    pub(super) jog: f64,
    /// The part of a look that was leafed on and not gone yet.
    pub(super) leafed: f64,
    pub(super) scope: Scope,
    pub(super) compare: Compare,
    picking: bool,
    pub(super) drawn: Option<Drawn>,
    /// Recipes of the last plans that were ready, one for each distinct setting of an output.
    pub(super) ready: Vec<Recipe>,
    pub(super) compiling: bool,
    pub(super) message: Option<Instant>,
    pub(super) serial: u64,
    pub(super) playback: Playback,
    pub(super) costs: VecDeque<Duration>,
    pub(super) delays: VecDeque<Duration>,
    pub(super) stale: bool,
    pub(super) broken: Option<Arc<str>>,
    /// Shot and frame on view that cannot be read.
    pub(super) unread: Option<(usize, u64)>,
    /// When what could not be read was last asked for again.
    asked_again: Option<Instant>,
    /// Names of actions that are held.
    held: Vec<&'static str>,
    /// Actions that were pressed, and when, which undo themselves if they are held for long.
    tapped: Vec<(&'static str, Instant)>,
    /// Stills, versions, and what the picture is compared with.
    pub(super) aside: Aside,
    /// Proposals and the survey.
    pub(super) first: FirstPass,
}

impl Engine {
    pub fn first_snapshot(options: &Options) -> Snapshot {
        let frames = options.show.shots.first().map_or(0, length);
        Snapshot {
            raster: options.show.raster,
            show: Arc::new(options.show.clone()),
            probe: None,
            first: FirstState::default(),
            trying: None,
            looks: shipped_looks().into(),
            looks_ready: false,
            dir: options.dir.clone(),
            thumbnails: Arc::default(),
            shot: 0,
            frame: 0,
            frames,
            playing: false,
            speed: 0.0,
            focus: Focus::first(&options.show.chain),
            scope: Scope::Shot,
            compare: Compare::After,
            curtain: Curtain::Open,
            picking: false,
            marks: Marks::default(),
            clip: None,
            trouble: None,
            compiling: false,
            playback: Playback::default(),
            panel: PanelState::default(),
            range: None,
            preview: Preview::default(),
            reduced: 1,
            ready: Vec::new(),
            cached: (0, 0),
            kept: Default::default(),
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
            Some((maps, make)) if !maps.is_empty() => Some(Panels::start(maps, make, wake.clone())?),
            _ => None,
        };
        Ok(Self {
            aside: Aside::new(Keeper::start(options.dir.clone(), gpu.clone(), wake.clone())?),
            saver: Saver::start(options.dir.clone(), wake.clone())?,
            feeds: Feeds::new(options.cache, wake.clone()),
            finisher: Finisher::start(gpu.clone(), shared.places.clone(), wake.clone())?,
            thumbs: Thumbs::start(wake.clone(), Instant::now())?,
            software: is_software(&gpu),
            gpu,
            shared,
            wake,
            notify: options.notify,
            dir: options.dir,
            document: Document::new(options.show),
            _lock: options.lock,
            panels,
            osc: None,
            outputs: Vec::new(),
            views: Views::default(),
            views_drawn: 0,
            fetches: Vec::new(),
            curtain: Curtain::Open,
            graded: Vec::new(),
            warmed: None,
            readied: Readied::default(),
            probed: None,
            prober: None,
            pusher: None,
            scopes: None,
            traced: false,
            traces: Vec::new(),
            marking: Marking::default(),
            depths: [8; Live::COUNT],
            uploaded: None,
            frame: 0,
            playing: None,
            pace: Pace::default(),
            jog: 0.0,
            leafed: 0.0,
            scope: Scope::Shot,
            compare: Compare::After,
            picking: false,
            drawn: None,
            ready: Vec::new(),
            compiling: false,
            message: None,
            serial: 0,
            playback: Playback::default(),
            costs: VecDeque::new(),
            delays: VecDeque::new(),
            stale: true,
            broken: None,
            unread: None,
            asked_again: None,
            held: Vec::new(),
            tapped: Vec::new(),
            first: FirstPass::new(),
        })
    }

    pub fn apply(&mut self, input: Input, now: Instant) {
        self.stale = true;
        let (before, footing) = (self.document.revision, self.document.footing);
        match input {
            Input::Change { change, control } => self.document.change(change, control, now),
            Input::Turn { target, detents, control } => {
                if let Some(output) = display_address(&target) {
                    let by = if detents < 0.0 { detents.floor() } else { detents.ceil() };
                    let display = self.document.show.display_beside(output, by as i32);
                    self.show_on(output, display, control, now);
                } else if let Some(change) = self.moved(&target, To::Turned(detents), now) {
                    self.document.change(change, control, now);
                }
            }
            Input::Reset { target } => {
                if let Some(output) = display_address(&target) {
                    self.show_on(output, Outputs::default().get(output).display.clone(), 0, now);
                } else if let Some(change) = self.moved(&target, To::Default, now) {
                    self.document.change(change, 0, now);
                }
            }
            Input::Set { target, value } => {
                if let Some(change) = self.moved(&target, To::Is(value), now) {
                    self.document.change(change, 0, now);
                }
            }
            Input::Hold { control, down: true } => self.document.history.hold(control),
            Input::Hold { control, down: false } => self.document.history.let_go(control),
            Input::Command(command) => self.command(command, now),
            Input::Depth { output, bits } => {
                if self.depths[output as usize] != bits {
                    self.depths[output as usize] = bits;
                    self.drawn = None;
                }
            }
            Input::Push { by, control } => {
                self.move_signal(control, now, |pusher, balance| pusher.push(balance, by));
            }
            Input::Lift { from, to, control } => {
                self.move_signal(control, now, |pusher, balance| pusher.lift(balance, from, to));
            }
            Input::Thumbnails(rows) => self.thumbs.want(rows),
            Input::Watch(views) => {
                self.views = views;
                // Whoever wanted the last picture may be gone.
                self.shared.taken.fetch_max(self.views_drawn, std::sync::atomic::Ordering::AcqRel);
            }
            Input::Probe(place) => self.probed = place,
            Input::Scopes(view) => {
                self.scopes = view;
                (self.drawn, self.traced) = (None, false);
            }
            Input::Library(looks) => {
                self.document.set_library(looks);
                // Its plans are made ready as soon as something is drawn.
                (self.readied, self.warmed, self.drawn) = (Readied::default(), None, None);
            }
            Input::Press { action, down } => self.press(&action, down, now),
            Input::Keep(ask) => self.keep(ask),
            Input::Osc(options) => self.listen(options),
            Input::Learn { target } => self.with_panels(now, |panels, context| panels.learn(target, context)),
            Input::Panel(act) => self.with_panels(now, |panels, context| panels.play(act, context, now)),
            Input::Map { at, map } => {
                self.with_panels(now, |panels, context| panels.set_map(at, map, context));
            }
        }
        if self.document.footing != footing {
            self.reset_panels();
        }
        self.answer(before, now);
        self.frame = self.frame.min(self.shot_frames().saturating_sub(1));
    }

    fn with_panels(&mut self, now: Instant, what: impl FnOnce(&mut Panels, &mut dyn PanelContext)) {
        if let Some(mut panels) = self.panels.take() {
            what(&mut panels, &mut (&mut *self, now));
            self.panels = Some(panels);
        }
    }

    /// Another display for an output.
    pub(super) fn show_on(
        &mut self,
        output: show::Output,
        display: Arc<Display>,
        control: u32,
        now: Instant,
    ) {
        if self.document.show.outputs.get(output).display != display {
            self.document.change(Change::SetDisplay { output, display }, control, now);
        }
    }

    /// The next picture answers what came at `now`, if that made pictures differ from `before`.
    pub(super) fn answer(&mut self, before: u64, now: Instant) {
        if self.document.revision != before {
            self.message = Some(self.message.unwrap_or(now));
        }
    }

    /// A key or button of an action was pressed or let go.
    pub(super) fn press(&mut self, name: &str, down: bool, now: Instant) {
        let Some(action) = action(name) else { return };
        if down {
            (self.aside.said, self.aside.refused) = (None, None);
        }
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
            Does::Tapped(command) if down => {
                self.tapped.retain(|(name, _)| *name != action.name);
                self.tapped.push((action.name, now));
                self.command(command, now);
            }
            Does::Tapped(command) => {
                let begun = self.tapped.iter().position(|(name, _)| *name == action.name);
                let begun = begun.map(|at| self.tapped.remove(at).1);
                if begun.is_some_and(|at| now.saturating_duration_since(at) > HOLD) {
                    self.command(command, now);
                }
            }
        }
    }

    pub(super) fn command(&mut self, command: Command, now: Instant) {
        match command {
            Command::TogglePlay
            | Command::Step(_)
            | Command::Seek(_)
            | Command::LastFrame
            | Command::Shuttle(_)
            | Command::Shot(_)
            | Command::StepShot(_) => self.try_again(now),
            _ => {}
        }
        match command {
            Command::TogglePlay if self.playing.is_some() => self.stop(),
            Command::TogglePlay => self.play(1.0, now),
            Command::Stop => self.stop(),
            Command::Shuttle(speed) => self.shuttle(speed, now),
            Command::Step(frames) => {
                self.stop();
                let last = self.shot_frames().saturating_sub(1);
                self.frame = self.frame.saturating_add_signed(frames).min(last);
            }
            Command::Seek(frame) => {
                self.frame = frame.min(self.shot_frames().saturating_sub(1));
                self.restart(now);
            }
            Command::LastFrame => {
                self.frame = self.shot_frames().saturating_sub(1);
                self.restart(now);
            }
            Command::Shot(shot) => self.go_to_shot(shot, now),
            Command::StepShot(by) => {
                let shot = self.document.shot.saturating_add_signed(by as isize);
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
                self.document.revision += 1;
                if compare == Compare::OtherVersion {
                    self.begin_version();
                }
            }
            Command::Curtain(curtain) => self.draw_curtain(curtain),
            Command::Comparing(what) => self.compare_command(what, now),
            Command::Picking(picking) => self.pick(picking),
            Command::TogglePicking => self.pick(!self.picking),
            Command::Neutral(patch) if self.first.is_proposing() => match self.propose_patch(patch) {
                Ok(()) => self.picking = false,
                Err(why) => self.document.refused = Some(why.into()),
            },
            Command::Neutral(patch) => match self.neutral(patch) {
                Ok(change) => {
                    self.picking = false;
                    self.document.change(change, 0, now);
                }
                Err(why) => self.document.refused = Some(why.into()),
            },
            Command::OtherFitting => {
                if let Some(change) = self.document.other_fitting() {
                    self.document.change(change, 0, now);
                }
            }
            Command::Represent => {
                if let Some(change) = self.represent() {
                    self.document.change(change, 0, now);
                }
            }
            Command::MoveShot(by) => {
                if let Some(change) = self.document.move_shot(by) {
                    self.document.change(change, 0, now);
                }
            }
            Command::Focus(focus) => self.document.look_at(Some(focus)),
            Command::StepFocus(by) => {
                let chain = &self.document.seen().chain;
                let focus = self.document.focus.map(|focus| focus.beside(chain, by));
                self.document.look_at(focus);
            }
            Command::OtherFocusOn => {
                let on = self.position("focus/on").map(|on| 1.0 - on);
                if let Some(change) = on.and_then(|on| self.moved("focus/on", To::At(on), now)) {
                    self.document.change(change, 0, now);
                }
            }
            Command::Pace(command) => self.pace_command(command, now),
            Command::Mark(command) => self.mark_command(command),
            Command::StepLook(by) => self.document.step_look(by),
            Command::TryLook(at) => self.document.try_look(at),
            Command::KeepLook if !self.document.is_trying() && self.first.is_proposing() => {
                self.first_command(Command::TakeProposal, now);
            }
            Command::LeaveLook if !self.document.is_trying() && self.first.is_proposing() => {
                self.first_command(Command::LeaveProposal, now);
            }
            Command::Suggest
            | Command::Match(_)
            | Command::MatchBefore
            | Command::ProposalStrength(_)
            | Command::TakeProposal
            | Command::LeaveProposal
            | Command::BalanceFromBefore
            | Command::CopyBalance
            | Command::Survey => self.first_command(command, now),
            Command::KeepLook => self.document.keep_look(0, now),
            Command::LeaveLook => self.document.leave_look(),
            Command::Undo | Command::Redo if self.document.is_trying() => self.document.leave_look(),
            Command::Undo => {
                let change = self.document.history.undo();
                self.document.again(change, now);
            }
            Command::Redo => {
                let change = self.document.history.redo();
                self.document.again(change, now);
            }
        }
    }

    /// Who goes to a frame wants to see it, also where it could not be read before.
    fn try_again(&mut self, now: Instant) {
        if self.asked_again.is_none_or(|at| now - at > AGAIN) {
            self.asked_again = Some(now);
            self.feeds.try_again();
        }
    }

    fn pick(&mut self, picking: bool) {
        // What was said of a patch is over with it.
        if self.picking {
            self.document.refused = None;
        }
        self.picking = picking;
    }

    /// The change that makes a patch neutral, read from the decoded frame.
    fn neutral(&self, patch: Patch) -> Result<Change, String> {
        let show = &self.document.show;
        let gone = || "the frame of that patch is no longer at hand; pick again".to_owned();
        let (frame, area) = self.area(patch).ok_or_else(gone)?;
        let area = area.ok_or("that place is beside the frame; pick inside it")?;
        let light = mean_light(&frame, show.decode(&show.shots[patch.shot]), area);
        show.neutral(patch.shot, light, None).map_err(|e| e.to_string())
    }

    /// The frame of a patch, if it is at hand, and its pixels, if it is not beside the frame.
    pub(super) fn area(&self, patch: Patch) -> Option<(Arc<Frame>, Option<Area>)> {
        let (key, number) = self.frame_key((patch.shot, patch.frame))?;
        let frame = self.feeds.get(&key, number)?.ok()?;
        let size = (frame.width, frame.height);
        let shot = self.document.show.shots.get(patch.shot)?;
        let raster = self.raster().unwrap_or(size);
        let [from, to] = [patch.from, patch.to].map(|at| shot.framing.place(size, raster, at));
        let beside = |axis: &usize| from[*axis].max(to[*axis]) < 0.0 || from[*axis].min(to[*axis]) > 1.0;
        let inside = ![0, 1].iter().any(beside);
        let area = inside.then(|| Area::between(&frame, from, to, PATCH));
        Some((frame, area))
    }

    /// What the picture holds where it was asked for.
    fn probe(&mut self) -> Option<Result<Probed, Arc<str>>> {
        let [from, to] = self.probed?;
        let (shot, number) = (self.document.shot, self.frame);
        let (frame, area) = self.area(Patch { shot, frame: number, from, to })?;
        let of = (self.document.revision, shot);
        if self.prober.as_ref().is_none_or(|(made_of, _)| *made_of != of) {
            let show = self.document.seen();
            // Of the frame only grain knows, which is left out.
            let recipe = recipe(show, shot, show.tail(show::Output::Client), 0)?;
            self.prober = Some((of, Prober::new(&recipe)));
        }
        let (_, prober) = self.prober.as_ref()?;
        Some(area.map(|area| prober.read(&frame, area)).ok_or_else(|| "beside the frame".into()))
    }

    fn go_to_shot(&mut self, shot: usize, now: Instant) {
        let shot = shot.min(self.document.show.shots.len().saturating_sub(1));
        if shot != self.document.shot {
            self.document.shot = shot;
            self.document.footing += 1;
            self.frame = 0;
            self.reset_panels();
            self.restart(now);
        }
    }

    /// Absolute controls have to be picked up again.
    pub(super) fn reset_panels(&mut self) {
        if let Some(panels) = &mut self.panels {
            panels.reset();
        }
        if let Some(osc) = &mut self.osc {
            osc.reset();
        }
    }

    pub(super) fn shot_frames(&self) -> u64 {
        self.document.show.shots.get(self.document.shot).map_or(0, length)
    }

    pub(super) fn source(&self, shot: usize) -> Option<(SourceKey, u64)> {
        let s = self.document.show.shots.get(shot)?;
        Some((
            SourceKey {
                path: s.source_path(&self.dir),
                interpretation: interpretation(&self.document.show, s),
            },
            s.start,
        ))
    }

    /// Size of every picture, once it is known: the show's, or that of the first shot's frames.
    pub(super) fn raster(&self) -> Option<(u32, u32)> {
        self.document.show.raster.or_else(|| {
            let info = self.feeds.info(&self.source(0)?.0)?;
            Some((info.width, info.height))
        })
    }

    pub(super) fn frame_key(&self, (shot, frame): (usize, u64)) -> Option<(SourceKey, u64)> {
        let (key, first) = self.source(shot)?;
        Some((key, first + frame))
    }

    /// Does what is due; returns when to come again at the latest.
    pub fn tick(&mut self, now: Instant) -> Instant {
        let footing = self.document.footing;
        self.read_panels(now);
        self.read_osc(now);
        // Where one of them led addresses concerns all.
        if self.document.footing != footing {
            self.reset_panels();
        }
        self.stale |= self.feeds.collect();
        if self.feeds.reopened() {
            (self.uploaded, self.drawn) = (None, None);
        }
        self.take_finished();
        self.take_kept(now);
        self.follow_version();
        self.first_pass();
        let due = self.move_on(now);
        self.ask_ahead();
        self.draw(now);
        self.keep_blank();
        self.ready_next();
        self.make_thumbnails(now);
        self.save(now);
        let later = [self.document.autosave.due_at(), self.panels.as_ref().and_then(Panels::due)];
        let due = later.into_iter().flatten().fold(due, Instant::min);
        if std::mem::take(&mut self.stale) {
            self.publish();
        }
        due
    }

    fn read_panels(&mut self, now: Instant) {
        let Some(mut panels) = self.panels.take() else { return };
        let (before, shot) = (self.document.revision, self.document.shot);
        let context = &mut (&mut *self, now);
        let any = panels.collect(context) | panels.drain(context, now);
        panels.tell(context, now);
        self.panels = Some(panels);
        self.stale |= any;
        if self.document.shot != shot {
            self.frame = self.frame.min(self.shot_frames().saturating_sub(1));
        }
        self.answer(before, now);
    }

    fn take_finished(&mut self) {
        let mut any = false;
        while let Ok(picture) = self.finisher.finished.try_recv() {
            any = true;
            push(&mut self.costs, picture.cost, 120);
            if let Some(delay) = picture.delay {
                push(&mut self.delays, delay, 256);
            }
        }
        if any {
            self.stale = true;
            self.playback.cost = median(&self.costs).unwrap_or_default();
            self.playback.delay = median(&self.delays);
            (self.notify)();
        }
    }

    fn save(&mut self, now: Instant) {
        while let Some(result) = self.saver.result() {
            self.stale = true;
            match result {
                Ok(()) => {
                    self.document.unsaved_because = None;
                    self.document.autosave.saved();
                }
                Err(e) => {
                    self.document.unsaved_because = Some(e.to_string().into());
                    self.document.autosave.failed(now);
                }
            }
        }
        if self.document.autosave.due(now) {
            self.stale = true;
            match self.saver.save(&self.document.show) {
                true => self.document.autosave.begun(),
                false => {
                    self.document.unsaved_because = Some("the thread that saves does not answer".into());
                    self.document.autosave.failed(now);
                }
            }
        }
    }

    fn publish(&mut self) {
        let probe = self.probe();
        let first = self.first_state();
        let mut panel = match self.panels.take() {
            Some(mut panels) => {
                let state = panels.state(&|target| self.position(target));
                self.panels = Some(panels);
                state
            }
            None => PanelState::default(),
        };
        if let Some(osc) = &self.osc {
            panel.add_osc(osc.state().clone());
        }
        let thumbnails = self.thumbs.view(&self.document.show);
        let document = &self.document;
        let clip = self.source(document.shot).and_then(|(key, _)| self.feeds.info(&key));
        self.shared.snapshot.store(Arc::new(Snapshot {
            raster: self.raster(),
            show: document.seen().clone(),
            probe,
            first,
            trying: document.trial.state(&document.show),
            looks: document.trial.library.clone(),
            looks_ready: self.library_is_ready(),
            dir: self.dir.clone(),
            thumbnails,
            shot: document.shot,
            frame: self.frame,
            frames: self.shot_frames(),
            playing: self.playing.is_some(),
            speed: self.speed(),
            focus: document.focus,
            scope: self.scope,
            compare: self.compare,
            curtain: self.curtain,
            picking: self.picking,
            marks: self.marking.wanted,
            clip,
            trouble: self.trouble(),
            compiling: self.compiling,
            playback: self.playback,
            panel,
            range: self.pace.range_of(document.shot),
            preview: self.pace.preview,
            reduced: self.pace.reduction(),
            ready: self.ready_frames(),
            cached: self.feeds.held(),
            kept: self.aside.kept(),
            unsaved: document.autosave.unsaved(),
            steps: (document.history.undoable(), document.history.redoable()),
        }));
        (self.notify)();
        if let Some(osc) = &self.osc {
            osc.published();
        }
    }

    /// What went wrong and still is; a failed save comes first.
    fn trouble(&self) -> Option<Arc<str>> {
        let document = &self.document;
        let all = [&document.unsaved_because, &self.broken, &document.refused, &self.aside.refused];
        let osc = self.osc.as_ref().and_then(|osc| osc.state().trouble.as_ref());
        let lines: Vec<&str> = all.into_iter().flatten().chain(osc).map(|line| &**line).collect();
        (!lines.is_empty()).then(|| lines.join("\n").into())
    }

    /// Saves what is not on disk yet.
    pub fn finish(&mut self) -> Result<(), EngineError> {
        self.aside.keeper.finish();
        let show = self.document.autosave.unsaved().then(|| self.document.show.clone());
        Ok(self.saver.finish(show.as_ref())?)
    }
}

impl PanelContext for (&mut Engine, Instant) {
    fn position(&self, target: &str) -> Option<f64> {
        self.0.position(target)
    }

    fn value(&self, target: &str) -> Option<String> {
        let (engine, show) = (&*self.0, self.0.document.seen());
        Some(match engine.reach(target)? {
            Reach::Slot(slot) => slot.parameter().show(show.get(slot)?),
            Reach::On(focus) => {
                if show.chain.list(focus.list)[focus.at].on { "on" } else { "off" }.to_owned()
            }
            Reach::Frame => (engine.frame + 1).to_string(),
            Reach::Shuttle => format!("{:+.2}x", engine.speed()),
            Reach::Look => engine.document.look_name().to_owned(),
            Reach::Measure(measure) => engine.measure_words(measure),
        })
    }

    fn lit(&self, action: &str) -> Option<bool> {
        let engine = &*self.0;
        match super::actions::action(action)?.does {
            Does::Once(Command::TogglePlay) => Some(engine.playing.is_some()),
            Does::Once(Command::Curtain(curtain)) => Some(engine.curtain == curtain),
            Does::Once(Command::OtherScope) => Some(engine.scope == Scope::Show),
            Does::Once(Command::TogglePicking) => Some(engine.picking),
            Does::Once(Command::Represent) => Some(engine.represents()),
            Does::Once(Command::Pace(what)) => engine.pace_lit(what),
            Does::Once(Command::Mark(what)) => engine.marking.wanted.lit(what),
            Does::Once(Command::OtherFocusOn) => Some(engine.position("focus/on") == Some(1.0)),
            Does::Held { down: Command::Compare(compare), .. }
            | Does::Once(Command::Comparing(Comparing::Stay(compare))) => Some(engine.compare == compare),
            Does::Tapped(Command::Comparing(Comparing::Toggle(way))) => {
                Some(engine.aside.on && engine.aside.beside.way == way)
            }
            Does::Once(Command::Comparing(Comparing::OnClient)) => Some(engine.aside.on_client),
            _ => None,
        }
    }

    fn act(&mut self, port: usize, moves: &[Move]) -> bool {
        let (engine, now) = (&mut *self.0, self.1);
        let footing = engine.document.footing;
        let control = |hand: usize| PANEL_CONTROLS + port as u32 * PORT_CONTROLS + hand as u32;
        let mut gathered: (u32, Vec<Change>) = (0, Vec::new());
        for m in moves {
            // Of a reset nobody's hand is the author: it does not go on what the hand did before.
            let (by, asked) = match m {
                Move::Turn { target, detents, hand } => {
                    (control(*hand), Some((target, To::Turned(*detents))))
                }
                Move::Add { target, amount, hand } => (control(*hand), Some((target, To::Added(*amount)))),
                Move::Set { target, position, hand } => (control(*hand), Some((target, To::At(*position)))),
                Move::Reset { target } => (0, Some((target, To::Default))),
                Move::Hold { .. } | Move::Press { .. } => (0, None),
            };
            if by != gathered.0 || asked.is_none() {
                engine.change_together(&mut gathered, now);
            }
            match (m, asked) {
                (_, Some((target, to))) => {
                    gathered.0 = by;
                    gathered.1.extend(engine.moved(target, to, now));
                }
                (Move::Hold { hand, down: true }, _) => engine.document.history.hold(control(*hand)),
                (Move::Hold { hand, down: false }, _) => engine.document.history.let_go(control(*hand)),
                (Move::Press { action, down }, _) => engine.press(action, *down, now),
                _ => {}
            }
        }
        engine.change_together(&mut gathered, now);
        engine.document.footing != footing
    }
}

impl Engine {
    /// Makes what one control asked for one change, and leaves nothing gathered.
    fn change_together(&mut self, (control, changes): &mut (u32, Vec<Change>), now: Instant) {
        let mut changes = std::mem::take(changes);
        let change = match changes.len() {
            0 => return,
            1 => changes.remove(0),
            _ => Change::Together(changes),
        };
        self.document.change(change, *control, now);
    }
}

pub(super) fn length(shot: &Shot) -> u64 {
    let frames = shot.frames();
    frames.end - frames.start
}

fn push<T>(queue: &mut VecDeque<T>, value: T, keep: usize) {
    queue.push_back(value);
    while queue.len() > keep {
        queue.pop_front();
    }
}

fn median(values: &VecDeque<Duration>) -> Option<Duration> {
    let mut sorted: Vec<_> = values.iter().copied().collect();
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).copied()
}
