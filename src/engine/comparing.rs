//! What the picture is compared with, and how: a still, another shot or another version, in the same place.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use super::beside::{LiveReference, StillReference};
use super::core::Engine;
use super::input::{Command, Compare, Live};
use super::keeper::{Done, Job, Keeper};
use super::targets::To;
use crate::colour::Display;
use crate::gpu::{Output as GpuOutput, Upload};
use crate::look::{Parameter, Scale, Unit, strength};
use crate::picture::{Beside, TIMES, Way};
use crate::show::{GradeVersion, Portion, Show, Still};

/// What stands beside the picture.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum With {
    /// A still or a reference, by its id.
    Still(Arc<str>),
    /// Another shot, by its name: the frame of it that was seen last, or the one that stands for it, graded live.
    Shot(Arc<str>),
    /// The same frame as another version has it, by its id.
    Version(Arc<str>),
}

/// What is asked of stills and versions that takes more than a name of an action.
#[derive(Clone, Debug)]
pub enum Keep {
    /// Keep the frame on view; with an empty name it is called after shot and timecode.
    Still {
        /// What it will be called.
        name: String,
        /// A line about it.
        note: String,
    },
    /// A picture from outside among the stills.
    BringIn {
        /// Its file.
        file: PathBuf,
        /// What it will be called; empty: after the file.
        name: String,
        /// Whose signal it is; `None`: the desk's display.
        display: Option<Arc<Display>>,
    },
    /// Another name.
    RenameStill {
        /// Which still.
        id: Arc<str>,
        /// The name.
        name: String,
    },
    /// Another line about it.
    NoteStill {
        /// Which still.
        id: Arc<str>,
        /// The line.
        note: String,
    },
    /// Removed, for good.
    RemoveStill {
        /// Which still.
        id: Arc<str>,
    },
    /// A portion of a still's settings onto shots, as one step.
    Restore {
        /// Which still.
        id: Arc<str>,
        /// What of it.
        portion: Portion,
        /// Shots by number, from 0; none: the shot on view.
        shots: Vec<usize>,
    },
    /// The grade in use as a version.
    Version {
        /// What it will be called.
        name: String,
    },
    /// A version in the place of the grade in use, as one step; that one is kept first, unless it is a version.
    UseVersion {
        /// Which version.
        id: Arc<str>,
    },
    /// Another name.
    RenameVersion {
        /// Which version.
        id: Arc<str>,
        /// The name.
        name: String,
    },
    /// Removed, for good.
    RemoveVersion {
        /// Which version.
        id: Arc<str>,
    },
    /// The version that is looked at while that is held.
    LookAtVersion {
        /// Which version.
        id: Arc<str>,
    },
    /// What stands beside the picture from now on.
    Beside(With),
    /// The folders' lists again: somebody else may have written there.
    List,
}

/// Something about comparing that has a name as an action.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Comparing {
    /// Keep the frame on view as a still.
    KeepStill,
    /// Stand beside the reference in a way, or no longer if so already.
    Toggle(Way),
    /// The still so many places on or back.
    StepStill(i64),
    /// Also on the client's picture, or no longer.
    OnClient,
    /// Less of the grade, or all of it again if so already.
    Stay(Compare),
}

/// What others may know of stills, versions and what is compared.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    /// The show's stills and references, in order.
    pub stills: Arc<[Still]>,
    /// The show's versions, in order.
    pub versions: Arc<[GradeVersion]>,
    /// Is the picture beside another?
    pub on: bool,
    /// How it is.
    pub beside: Beside,
    /// Beside what.
    pub with: Option<With>,
    /// On the client's picture, too?
    pub on_client: bool,
    /// What is on view beside the picture, in words; with a reason where there is nothing yet.
    pub label: Option<Arc<str>>,
    /// The version that is looked at while that is held.
    pub version: Option<Arc<str>>,
    /// Are files being read or written?
    pub busy: bool,
    /// A line about what was done last.
    pub said: Option<Arc<str>>,
}

/// A measure of comparing that has an address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Where the line is.
    Place,
    /// How it is turned.
    Angle,
    /// What a difference is multiplied by.
    Times,
    /// Which still.
    Still,
}

impl Measure {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Place, Self::Angle, Self::Times, Self::Still];

    /// Its address.
    pub const fn address(self) -> &'static str {
        match self {
            Self::Place => "view/wipe",
            Self::Angle => "view/angle",
            Self::Times => "view/difference",
            Self::Still => "view/still",
        }
    }

    /// What is declared about it; nothing for stills, of which there are as many as there are.
    pub fn parameter(self) -> Option<&'static Parameter> {
        Some(match self {
            Self::Place => &PLACE,
            Self::Angle => &ANGLE,
            Self::Times => &MULTIPLE,
            Self::Still => return None,
        })
    }
}

static PLACE: Parameter = Parameter {
    key: "wipe",
    doc: "Where the line between the picture and its reference is: at 0 all is the picture, at 1 all is the reference.",
    default: 0.5,
    step: 0.01,
    ..strength(1.0)
};

static ANGLE: Parameter = Parameter {
    key: "angle",
    doc: "How the line is turned, clockwise: at 0 upright with the reference on its left, at 90 level with it above.",
    unit: Unit::Degrees,
    default: 0.0,
    min: -180.0,
    max: 180.0,
    step: 1.0,
    scale: Scale::Circle,
};

static MULTIPLE: Parameter = Parameter {
    key: "difference",
    doc: "What the difference from the reference is multiplied by.",
    unit: Unit::Choice(&["1", "2", "4", "8", "16", "32", "64"]),
    default: 3.0,
    min: 0.0,
    max: 6.0,
    step: 1.0,
    scale: Scale::Even,
};

/// The engine's side of it.
pub(super) struct Aside {
    pub keeper: Keeper,
    pub stills: Arc<[Still]>,
    pub versions: Arc<[GradeVersion]>,
    pub on: bool,
    pub beside: Beside,
    pub with: Option<With>,
    pub on_client: bool,
    /// The version that is looked at, and its show once it is read.
    pub version: Option<Arc<str>>,
    pub loaded: Option<(Arc<str>, Arc<Show>)>,
    /// The document as that version has it, and of which revision.
    pub other: Option<(u64, Arc<str>, Arc<Show>)>,
    pub said: Option<Arc<str>>,
    pub refused: Option<Arc<str>>,
    /// Why there is nothing to stand beside.
    pub waiting: Option<Arc<str>>,
    /// The part of a still that was leafed on and not gone yet.
    leafed: f64,
    /// The frame of each shot that was seen last, by the shot's name.
    pub seen_last: HashMap<String, u64>,
    /// A still on the GPU.
    pub reference: Option<StillReference>,
    /// Something that the picture is to stand beside has come.
    pub came: Arc<AtomicBool>,
    /// Could what was asked for last not be had?
    pub failed: bool,
    /// The last that was asked for, so that it is asked for once.
    pub asked: Option<(With, Vec<u64>)>,
    /// A frame of another shot: its name, number, and the frame.
    pub other_shot: Option<(String, u64, Upload)>,
    /// References that are graded live, one for each distinct output.
    pub live: Vec<LiveReference>,
    /// Textures for those, and for what windows show.
    pub references: Vec<Arc<GpuOutput>>,
    pub composed: Vec<Arc<GpuOutput>>,
}

impl Aside {
    pub fn new(keeper: Keeper) -> Self {
        Self {
            keeper,
            stills: Arc::default(),
            versions: Arc::default(),
            on: false,
            beside: Beside::default(),
            with: None,
            on_client: false,
            version: None,
            loaded: None,
            other: None,
            said: None,
            refused: None,
            waiting: None,
            leafed: 0.0,
            seen_last: HashMap::new(),
            reference: None,
            came: Arc::default(),
            failed: false,
            asked: None,
            other_shot: None,
            live: Vec::new(),
            references: Vec::new(),
            composed: Vec::new(),
        }
    }

    /// Does a live output show the picture beside the reference? A difference is no picture for a client.
    pub fn is_on(&self, output: Live) -> bool {
        let client = self.on_client && self.beside.way != Way::Difference;
        self.on && (output == Live::Desk || client)
    }

    /// What others may know of it.
    pub fn kept(&self) -> Kept {
        Kept {
            stills: self.stills.clone(),
            versions: self.versions.clone(),
            on: self.on,
            beside: self.beside,
            with: self.with.clone(),
            on_client: self.on_client,
            label: self.on.then(|| self.label().into()),
            version: self.version.clone(),
            busy: self.keeper.is_busy(),
            said: self.said.clone(),
        }
    }

    /// What stands beside the picture, in words.
    fn with_words(&self) -> String {
        match &self.with {
            None => "nothing".into(),
            Some(With::Still(id)) => match self.stills.iter().position(|s| s.id == *id) {
                Some(at) => {
                    let still = &self.stills[at];
                    let kind = if still.of.is_some() { "still" } else { "reference" };
                    format!("{kind} {} “{}”", at + 1, still.name)
                }
                None => "a still that is gone".into(),
            },
            Some(With::Shot(name)) => format!("shot “{name}”"),
            Some(With::Version(id)) => {
                let name = self.versions.iter().find(|v| v.id == *id).map_or("gone", |v| &v.name);
                format!("version “{name}”")
            }
        }
    }

    fn label(&self) -> String {
        let with = self.with_words();
        if let Some(why) = &self.waiting {
            return format!("{with}: {why}");
        }
        match self.beside.way {
            Way::Wipe => format!("{with} {}", Beside::side(self.beside.angle)),
            Way::Side => format!("{with} on the left"),
            Way::Difference => format!("difference × {}, no picture: from {with}", self.beside.times),
        }
    }

    /// Where a measure stands, in its own unit.
    pub fn measure(&self, measure: Measure) -> f64 {
        measured(&self.beside, measure).unwrap_or(self.still_at().unwrap_or(0) as f64)
    }

    /// Which of the stills stands beside the picture.
    pub fn still_at(&self) -> Option<usize> {
        let Some(With::Still(id)) = &self.with else { return None };
        self.stills.iter().position(|s| s.id == *id)
    }
}

impl Kept {
    /// Where a measure stands, in its own unit.
    pub fn measure(&self, measure: Measure) -> f64 {
        measured(&self.beside, measure).unwrap_or(self.still_at().unwrap_or(0) as f64)
    }

    fn still_at(&self) -> Option<usize> {
        let Some(With::Still(id)) = &self.with else { return None };
        self.stills.iter().position(|s| s.id == *id)
    }

    /// How a person reads a measure, and where it stands in its range, 0…1.
    pub fn reading(&self, measure: Measure) -> (String, f64) {
        match measure.parameter() {
            Some(p) => (p.show(self.measure(measure)), p.position(self.measure(measure))),
            None => {
                let at = self.still_at();
                let name = at.map_or("none".to_owned(), |at| self.stills[at].name.clone());
                (name, still_place(at, self.stills.len()))
            }
        }
    }
}

/// Where a measure stands, in its own unit; nothing for stills.
fn measured(beside: &Beside, measure: Measure) -> Option<f64> {
    Some(match measure {
        Measure::Place => beside.place,
        Measure::Angle => beside.angle,
        Measure::Times => TIMES.iter().position(|t| *t == beside.times).unwrap_or(0) as f64,
        Measure::Still => return None,
    })
}

/// Where one of so many stills stands, 0…1.
fn still_place(at: Option<usize>, of: usize) -> f64 {
    at.unwrap_or(0) as f64 / of.saturating_sub(1).max(1) as f64
}

impl Engine {
    /// Where a measure stands in its range, 0…1.
    pub(super) fn measured(&self, measure: Measure) -> f64 {
        match measure.parameter() {
            Some(parameter) => parameter.position(self.aside.measure(measure)),
            None => still_place(self.aside.still_at(), self.aside.stills.len()),
        }
    }

    /// A measure as a person reads it.
    pub(super) fn measure_words(&self, measure: Measure) -> String {
        match measure.parameter() {
            Some(parameter) => parameter.show(self.aside.measure(measure)),
            None => self.aside.still_at().map_or("none".into(), |at| self.aside.stills[at].name.clone()),
        }
    }

    /// Moves a measure. A reference is shown as soon as a hand moves the line, or what is multiplied.
    pub(super) fn move_measure(&mut self, measure: Measure, to: To) {
        let Some(parameter) = measure.parameter() else {
            let count = self.aside.stills.len();
            match to {
                To::Turned(by) | To::Added(by) => {
                    self.aside.leafed += by;
                    let steps = (self.aside.leafed + 1e-6_f64.copysign(self.aside.leafed)).trunc();
                    self.aside.leafed -= steps;
                    if steps != 0.0 {
                        self.step_still(steps as i64);
                    }
                }
                To::At(place) if count > 0 => {
                    self.stand_beside_still((place * (count - 1) as f64).round() as usize);
                }
                To::Is(number) if count > 0 => {
                    self.stand_beside_still((number.max(0.0).round() as usize).min(count - 1));
                }
                To::Default if count > 0 => self.stand_beside_still(count - 1),
                To::At(_) | To::Is(_) | To::Default => {}
            }
            return;
        };
        self.set_measure(measure, to.value(parameter, self.aside.measure(measure)));
    }

    /// Sets a measure, held to its range.
    pub(super) fn set_measure(&mut self, measure: Measure, value: f64) {
        let Some(parameter) = measure.parameter() else { return };
        let value = parameter.held(value);
        let beside = &mut self.aside.beside;
        let before = *beside;
        match measure {
            Measure::Place => beside.place = value,
            Measure::Angle => beside.angle = value,
            Measure::Times => beside.times = TIMES[(value as usize).min(TIMES.len() - 1)],
            Measure::Still => {}
        }
        if *beside != before {
            self.compared_otherwise();
        }
    }

    /// What is compared, or how, is another: the next picture shows it.
    fn compared_otherwise(&mut self) {
        self.drawn = None;
        self.stale = true;
    }

    fn stand_beside_still(&mut self, at: usize) {
        if let Some(still) = self.aside.stills.get(at.min(self.aside.stills.len().saturating_sub(1))) {
            self.stand_beside(With::Still(still.id.clone()));
        }
    }

    fn stand_beside(&mut self, with: With) {
        if let With::Version(id) = &with {
            self.look_at_version(id.clone());
        }
        self.aside.with = Some(with);
        self.aside.refused = None;
        (self.aside.asked, self.aside.failed) = (None, false);
        self.compared_otherwise();
    }

    fn step_still(&mut self, by: i64) {
        let count = self.aside.stills.len();
        if count == 0 {
            self.aside.refused = Some(NO_STILL.into());
            return;
        }
        let at = match self.aside.still_at() {
            Some(at) => (at as i64 + by).rem_euclid(count as i64) as usize,
            None => count - 1,
        };
        self.stand_beside_still(at);
    }

    fn look_at_version(&mut self, id: Arc<str>) {
        let loaded = self.aside.loaded.as_ref().is_some_and(|(of, _)| *of == id);
        if !loaded {
            self.aside.keeper.ask(Job::LookAtVersion { id: id.clone() });
        }
        self.aside.version = Some(id);
    }

    pub(super) fn compare_command(&mut self, what: Comparing, now: Instant) {
        match what {
            Comparing::KeepStill => self.keep_still(String::new(), String::new()),
            Comparing::Toggle(way) => {
                let on = !(self.aside.on && self.aside.beside.way == way);
                if on && self.aside.with.is_none() {
                    match self.aside.stills.last() {
                        Some(still) => self.aside.with = Some(With::Still(still.id.clone())),
                        None => {
                            self.aside.refused = Some(NO_STILL.into());
                            return;
                        }
                    }
                }
                self.aside.on = on;
                self.aside.beside.way = way;
                self.aside.refused = None;
                (self.aside.asked, self.aside.failed) = (None, false);
                self.compared_otherwise();
            }
            Comparing::StepStill(by) => self.step_still(by),
            Comparing::OnClient => {
                self.aside.on_client = !self.aside.on_client;
                self.compared_otherwise();
            }
            Comparing::Stay(compare) => {
                let next = if self.compare == compare { Compare::After } else { compare };
                self.command(Command::Compare(next), now);
            }
        }
    }

    /// Another version is to be looked at: the one that is chosen, or the newest.
    pub(super) fn begin_version(&mut self) {
        let newest = || self.aside.versions.last().map(|v| v.id.clone());
        match self.aside.version.clone().or_else(newest) {
            Some(id) => self.look_at_version(id),
            None => self.aside.refused = Some("no version is kept yet: Ctrl G keeps one".into()),
        }
    }

    pub(super) fn keep(&mut self, ask: Keep) {
        self.aside.refused = None;
        let job = match ask {
            Keep::Still { name, note } => return self.keep_still(name, note),
            Keep::Beside(with) => return self.stand_beside(with),
            Keep::LookAtVersion { id } => return self.look_at_version(id),
            Keep::BringIn { file, name, display } => {
                let display = display.unwrap_or_else(|| self.document.show.outputs.desk.display.clone());
                Job::BringIn { file, name, display }
            }
            Keep::RenameStill { id, name } => Job::RenameStill { id, name },
            Keep::NoteStill { id, note } => Job::NoteStill { id, note },
            Keep::RemoveStill { id } => Job::RemoveStill { id },
            Keep::Restore { id, portion, shots } => {
                let shots = if shots.is_empty() { vec![self.document.shot] } else { shots };
                Job::Settings { id, portion, shots }
            }
            // What is on trial is not the show's own.
            Keep::Version { name } => Job::KeepVersion { show: self.document.show.clone(), name },
            Keep::UseVersion { id } => Job::UseVersion { show: self.document.show.clone(), id },
            Keep::RenameVersion { id, name } => Job::RenameVersion { id, name },
            Keep::RemoveVersion { id } => Job::RemoveVersion { id },
            Keep::List => Job::List,
        };
        self.aside.keeper.ask(job);
    }

    fn keep_still(&mut self, name: String, note: String) {
        self.aside.said = None;
        let here = (self.document.shot, self.frame);
        let frame = self.frame_key(here).and_then(|(key, number)| self.feeds.get(&key, number)?.ok());
        let raster = self.raster().or_else(|| frame.as_ref().map(|f| (f.width, f.height)));
        let (Some(frame), Some(raster)) = (frame, raster) else {
            self.aside.refused = Some("the still was not kept: there is no frame on view".into());
            return;
        };
        let clip = self.source(here.0).and_then(|(key, _)| self.feeds.info(&key));
        let show = self.document.seen().clone();
        let timecode = super::snapshot::timecode(&show, clip.as_deref(), here.0, here.1);
        let (shot, number) = here;
        self.aside.keeper.ask(Job::KeepStill { show, shot, number, frame, raster, timecode, name, note });
    }

    /// Takes in what the thread has done.
    pub(super) fn take_kept(&mut self, now: Instant) {
        while let Ok(done) = self.aside.keeper.done.try_recv() {
            self.stale = true;
            match done {
                Done::Lists { stills, versions, wrong } => {
                    self.aside.stills = stills;
                    self.aside.versions = versions;
                    self.aside.refused =
                        wrong.first().map(|w| w.as_str().into()).or(self.aside.refused.take());
                    self.forget_what_is_gone();
                }
                Done::Said(what) => self.aside.said = Some(what.into()),
                Done::Refused(why) => {
                    self.aside.said = None;
                    self.aside.refused = Some(why.into());
                }
                Done::NotShown(why) => {
                    self.aside.failed = true;
                    self.aside.refused = Some(why.into());
                    self.compared_otherwise();
                }
                Done::Settings { name, show, portion, shots } => {
                    let regrade = self.document.show.regrade_from_still(&show, portion, &shots);
                    let said = format!("{} from the still “{name}”", portion.key());
                    self.regrade(regrade, said, now);
                }
                Done::Use { name, version, kept_as } => {
                    let regrade = self.document.show.regrade_as(&version);
                    let kept = kept_as.map_or(String::new(), |kept| format!("; what was there is “{kept}”"));
                    self.regrade(regrade, format!("the version “{name}” is in use{kept}"), now);
                }
                Done::Version { id, version } => {
                    self.aside.loaded = Some((id, version));
                    self.aside.other = None;
                    self.document.revision += 1;
                    self.compared_otherwise();
                }
                Done::Reference { id, raster, outputs, pictures } => {
                    self.aside.reference = Some(StillReference { id, raster, outputs, pictures });
                    self.compared_otherwise();
                }
                Done::OtherShot { name, number, upload } => {
                    self.aside.other_shot = Some((name, number, upload));
                    self.aside.live.clear();
                    self.compared_otherwise();
                }
            }
        }
    }

    /// Nothing stands beside a still that was removed.
    fn forget_what_is_gone(&mut self) {
        let aside = &mut self.aside;
        let gone = match &aside.with {
            Some(With::Still(id)) => aside.stills.iter().all(|s| s.id != *id),
            Some(With::Version(id)) => aside.versions.iter().all(|v| v.id != *id),
            _ => false,
        };
        if gone {
            (aside.with, aside.on) = (None, false);
        }
        if aside.version.as_ref().is_some_and(|id| aside.versions.iter().all(|v| v.id != *id)) {
            (aside.version, aside.loaded, aside.other) = (None, None, None);
        }
        if gone {
            self.compared_otherwise();
        }
    }

    fn regrade(&mut self, regrade: crate::show::Regrade, said: String, now: Instant) {
        let before = self.document.revision;
        if regrade.changes {
            self.document.change(regrade.change, 0, now);
        }
        let said = match (regrade.changes, &self.document.refused) {
            (true, Some(_)) => return,
            (true, None) => said,
            (false, _) => format!("{said}: nothing differs"),
        };
        self.aside.said = Some([vec![said], regrade.left].concat().join("; ").into());
        self.answer(before, now);
        self.reset_panels();
    }

    /// The document as it is on view: as another version has it while that is looked at.
    pub(super) fn on_view(&self) -> Arc<Show> {
        match (&self.compare, &self.aside.other) {
            (Compare::OtherVersion, Some((_, _, show))) => show.clone(),
            _ => self.document.seen().clone(),
        }
    }

    /// Works out the document as the version has it that is looked at.
    pub(super) fn follow_version(&mut self) {
        let wanted =
            self.compare == Compare::OtherVersion || matches!(self.aside.with, Some(With::Version(_)));
        let Some((id, version)) = self.aside.loaded.as_ref().filter(|_| wanted) else { return };
        let revision = self.document.revision;
        if self.aside.other.as_ref().is_some_and(|(r, of, _)| *r == revision && of == id) {
            return;
        }
        let seen = self.document.seen();
        let mut show = (**seen).clone();
        let regrade = seen.regrade_as(version);
        if show.apply(regrade.change).is_ok() {
            self.aside.other = Some((revision, id.clone(), Arc::new(show)));
        }
    }
}

/// What is said where there is no still.
const NO_STILL: &str = "there is no still to compare with: G keeps one";

/// A key that is down for longer than this is held: when it is let go, what it switched on is off again.
pub(super) const HOLD: Duration = Duration::from_millis(400);
