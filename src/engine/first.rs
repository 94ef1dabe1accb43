//! The first pass: frames are read for what they say of their light and how they are encoded, on a thread of its own; from
//! that come proposals for a shot's balance, and the survey of the whole show. Nothing is changed until a hand takes it.

use std::collections::{HashMap, HashSet, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

use crossbeam_channel::{Receiver, Sender, unbounded};

use super::core::Engine;
use super::input::{Command, Patch};
use super::raster::interpretation;
use super::survey::{Limits, Survey, Surveyed, marks};
use crate::media::{Hints, ImageFormat, Interpretation, Source, hints, open};
use crate::picture::{Area, Decode, Frame, Reduced, mean_light};
use crate::scope::{CHART_ACROSS, Difference, Reading, Readings, difference, signal_stats};
use crate::show::{Proposal, Shot, Show, balanced_picture};

/// A frame of a shot, and all that it takes to read it.
#[derive(Clone, Debug)]
pub struct FrameOf {
    /// The shot as it stands.
    pub shot: Shot,
    /// Which frame of its source, from 0.
    pub number: u64,
    path: PathBuf,
    decode: Decode,
    interpretation: Interpretation,
}

impl FrameOf {
    /// Frame `frame` of shot `shot`, both from 0, or the one that stands for it; `None` where there is no such shot.
    pub fn new(show: &Show, dir: &std::path::Path, shot: usize, frame: Option<u64>) -> Option<Self> {
        let s = show.shots.get(shot)?;
        let number = frame.map_or(s.representative(), |f| s.start + f).min(s.end.saturating_sub(1));
        let (path, decode, interpretation) = (s.source_path(dir), show.decode(s), interpretation(show, s));
        Some(Self { shot: s.clone(), number, path, decode, interpretation })
    }

    /// What tells that it would be read alike.
    fn key(&self) -> Key {
        let rendered = if self.shot.encoding.display().is_some() { self.decode.rendered.id() } else { "" };
        (self.path.clone(), self.number, self.shot.encoding.id, rendered, self.interpretation.clone())
    }

    /// The file that it is in, as the show names it.
    pub fn file(&self) -> PathBuf {
        self.path.clone()
    }

    fn still(&self) -> bool {
        matches!(ImageFormat::of_path(&self.path), Some(ImageFormat::Png | ImageFormat::Tiff))
    }
}

type Key = (PathBuf, u64, &'static str, &'static str, Interpretation);

/// Reads frames, and keeps the last source open for the next.
#[derive(Default)]
pub struct Reader {
    open: Option<(PathBuf, Interpretation, Box<dyn Source>)>,
}

impl Reader {
    fn frame(&mut self, of: &FrameOf) -> Result<Frame, String> {
        let as_ = of.interpretation.clone();
        let source = match self.open.take() {
            Some((path, how, source)) if path == of.path && how == as_ => source,
            _ => open(&of.path, &as_).map_err(|e| format!("{}: {e}", of.shot.name))?,
        };
        let (_, _, source) = self.open.insert((of.path.clone(), as_, source));
        source.frame(of.number).map_err(|e| format!("{}: {e}", of.shot.name))
    }

    /// A frame made small in light of the scene, before any balance.
    ///
    /// # Errors
    /// What cannot be read, with the shot's name.
    pub fn picture(&mut self, of: &FrameOf) -> Result<Reduced, String> {
        Ok(Reduced::of(&self.frame(of)?, of.decode, CHART_ACROSS))
    }

    /// What a frame says of its light.
    ///
    /// # Errors
    /// What cannot be read, with the shot's name.
    pub fn readings(&mut self, of: &FrameOf) -> Result<Readings, String> {
        Ok(Readings::of(&self.picture(of)?))
    }

    /// How a shot's picture differs from another's, both balanced.
    ///
    /// # Errors
    /// What cannot be read, with the shot's name; that one of them holds no light to go by.
    pub fn difference(&mut self, one: &FrameOf, other: &FrameOf) -> Result<Difference, String> {
        let a = balanced_picture(&one.shot, &self.picture(one)?);
        let b = balanced_picture(&other.shot, &self.picture(other)?);
        difference(&a, &b)
            .ok_or_else(|| format!("{} or {} holds no edges to go by", one.shot.name, other.shot.name))
    }

    /// A patch of a frame that a hand said is a grey of 18 %: its middle in pixels and its side.
    ///
    /// # Errors
    /// What cannot be read, with the shot's name; a place outside the picture.
    pub fn patch(&mut self, of: &FrameOf, [x, y, side]: [u32; 3]) -> Result<Reading, String> {
        let frame = self.frame(of)?;
        let area = Area::around(&frame, x, y, side).ok_or_else(|| {
            format!(
                "{x},{y} is outside the picture; accepted: 0,0 to {},{}",
                frame.width - 1,
                frame.height - 1
            )
        })?;
        Ok(Reading::by_hand(mean_light(&frame, of.decode, area)))
    }

    /// All that the survey asks of a shot.
    ///
    /// # Errors
    /// What cannot be read, with the shot's name.
    pub fn survey(&mut self, of: &FrameOf) -> Result<Surveyed, String> {
        let frame = self.frame(of)?;
        let file = self.open.as_ref().map_or_else(|| of.path.clone(), |(_, _, s)| s.file(of.number));
        let Hints { camera, tags } = hints(&file);
        let picture = Reduced::of(&frame, of.decode, CHART_ACROSS);
        let reading = Readings::of(&picture).best().cloned();
        Ok(Surveyed { reading, signal: signal_stats(&frame), camera, tags, still: of.still() })
    }
}

enum Task {
    Suggest(u64, usize, FrameOf),
    Match(u64, usize, Box<(FrameOf, FrameOf)>),
    Survey(FrameOf),
}

enum Told {
    Suggested(u64, usize, Result<Reading, String>),
    Differs(u64, usize, String, Result<Difference, String>),
    Surveyed(Key, Result<Surveyed, String>),
}

fn work(tasks: &Receiver<Task>, tell: &Sender<Told>, wake: &(dyn Fn() + Send + Sync)) {
    let mut reader = Reader::default();
    for task in tasks {
        let told = match task {
            Task::Suggest(serial, shot, of) => {
                let best = reader.readings(&of).and_then(|readings| {
                    let none = || format!("{}: its frame holds no edges and no light to go by", of.shot.name);
                    readings.best().cloned().ok_or_else(none)
                });
                Told::Suggested(serial, shot, best)
            }
            Task::Match(serial, shot, both) => {
                let (one, other) = *both;
                let differs = reader.difference(&one, &other);
                Told::Differs(serial, shot, other.shot.name, differs)
            }
            Task::Survey(of) => Told::Surveyed(of.key(), reader.survey(&of)),
        };
        if tell.send(told).is_err() {
            return;
        }
        wake();
    }
}

/// What others may know of the first pass.
#[derive(Clone, Debug, Default)]
pub struct FirstState {
    /// What is proposed for the shot on view.
    pub proposal: Option<Arc<Proposal>>,
    /// How much of it would be taken, 0…1.
    pub strength: f64,
    /// What is being read for a proposal.
    pub reading: Option<Arc<str>>,
    /// The survey.
    pub survey: Arc<Survey>,
}

pub(super) struct FirstPass {
    thread: Option<(Sender<Task>, Receiver<Told>)>,
    /// Number of the last proposal that was asked for.
    asked: u64,
    proposal: Option<Arc<Proposal>>,
    strength: f64,
    reading: Option<Arc<str>>,
    surveyed: HashMap<Key, Result<Arc<Surveyed>, Arc<str>>>,
    /// Frames that the survey has still to read; the one that is being read is out of it.
    left: VecDeque<FrameOf>,
    under_way: bool,
    /// What was published last, and of which revision.
    published: Option<(u64, Arc<Survey>)>,
}

impl FirstPass {
    pub fn new() -> Self {
        Self {
            thread: None,
            asked: 0,
            proposal: None,
            strength: 1.0,
            reading: None,
            surveyed: HashMap::new(),
            left: VecDeque::new(),
            under_way: false,
            published: None,
        }
    }

    fn send(&mut self, task: Task, wake: &Arc<dyn Fn() + Send + Sync>) -> Result<(), String> {
        if self.thread.is_none() {
            let (tasks, todo) = unbounded();
            let (tell, told) = unbounded();
            let wake = wake.clone();
            let run = move || work(&todo, &tell, &*wake);
            let made = std::thread::Builder::new().name("first pass".into()).spawn(run);
            made.map_err(|e| format!("no thread to read frames on: {e}"))?;
            self.thread = Some((tasks, told));
        }
        let sent = self.thread.as_ref().is_some_and(|(tasks, _)| tasks.send(task).is_ok());
        if sent { Ok(()) } else { Err("the thread that reads frames stopped".to_owned()) }
    }

    fn drop_proposal(&mut self) {
        (self.proposal, self.reading) = (None, None);
        self.asked += 1;
    }

    /// Is a proposal on view or being read for?
    pub fn is_proposing(&self) -> bool {
        self.proposal.is_some() || self.reading.is_some()
    }

    fn is_surveying(&self) -> bool {
        self.under_way || !self.left.is_empty()
    }
}

impl Engine {
    /// Does what a command of the first pass asks for.
    pub(super) fn first_command(&mut self, command: Command, now: Instant) {
        let shot = self.document.shot;
        match command {
            Command::Suggest => self.suggest(),
            Command::Match(other) => self.match_to(other),
            Command::MatchBefore => match shot.checked_sub(1) {
                Some(before) => self.match_to(before),
                None => self.refuse("there is no shot before the first"),
            },
            Command::ProposalStrength(strength) => self.first.strength = strength.clamp(0.0, 1.0),
            Command::TakeProposal => {
                if let Some(proposal) = self.first.proposal.take() {
                    let change = proposal.change(self.first.strength);
                    self.first.drop_proposal();
                    self.document.change(change, 0, now);
                }
            }
            Command::LeaveProposal => self.first.drop_proposal(),
            Command::BalanceFromBefore => match shot.checked_sub(1) {
                Some(before) => {
                    let change = self.document.show.copy_balance(before, &[shot]);
                    self.document.change_if(change, 0, now);
                }
                None => self.refuse("there is no shot before the first"),
            },
            Command::CopyBalance => {
                let others = self.document.show.same_camera(shot, &|at| self.camera(at));
                let change = self.document.show.copy_balance(shot, &others);
                self.document.change_if(change, 0, now);
            }
            Command::Survey if self.first.is_surveying() => self.first.left.clear(),
            Command::Survey => self.survey(),
            _ => {}
        }
    }

    fn refuse(&mut self, why: &str) {
        self.document.refused = Some(why.into());
    }

    /// The camera that a shot's file names, if the survey has read it.
    fn camera(&self, shot: usize) -> Option<String> {
        let of = FrameOf::new(&self.document.show, &self.dir, shot, None)?;
        self.first.surveyed.get(&of.key())?.as_ref().ok()?.camera.clone()
    }

    fn suggest(&mut self) {
        let shot = self.document.shot;
        let Some(of) = FrameOf::new(&self.document.show, &self.dir, shot, Some(self.frame)) else { return };
        let name: Arc<str> = format!("reading {}", of.shot.name).into();
        self.ask(name, |serial| Task::Suggest(serial, shot, of));
    }

    fn match_to(&mut self, other: usize) {
        let (shot, show) = (self.document.shot, &self.document.show);
        if other == shot {
            return self.refuse("a shot sits with itself; go to another one");
        }
        let one = FrameOf::new(show, &self.dir, shot, Some(self.frame));
        let Some((one, other)) = one.zip(FrameOf::new(show, &self.dir, other, None)) else { return };
        let name: Arc<str> = format!("reading {} and {}", one.shot.name, other.shot.name).into();
        self.ask(name, |serial| Task::Match(serial, shot, Box::new((one, other))));
    }

    fn ask(&mut self, reading: Arc<str>, task: impl FnOnce(u64) -> Task) {
        self.first.drop_proposal();
        self.document.refused = None;
        let task = task(self.first.asked);
        match self.first.send(task, &self.wake) {
            Ok(()) => self.first.reading = Some(reading),
            Err(why) => self.refuse(&why),
        }
    }

    /// What is proposed so that a patch, which a hand says is a grey of 18 %, becomes one.
    pub(super) fn propose_patch(&mut self, patch: Patch) -> Result<(), String> {
        let (frame, area) =
            self.area(patch).ok_or("the frame of that patch is no longer at hand; pick again")?;
        let area = area.ok_or("that place is beside the frame; pick inside it")?;
        let show = &self.document.show;
        let light = mean_light(&frame, show.decode(&show.shots[patch.shot]), area);
        let proposal = show.propose(patch.shot, &Reading::by_hand(light)).map_err(|e| e.to_string())?;
        self.first.drop_proposal();
        self.put_forward(proposal);
        Ok(())
    }

    fn put_forward(&mut self, proposal: Proposal) {
        self.first.strength = 1.0;
        self.first.proposal = Some(Arc::new(proposal));
    }

    /// Asks for the frames of all shots that were not read as they now stand.
    fn survey(&mut self) {
        let all = (0..self.document.show.shots.len())
            .filter_map(|shot| FrameOf::new(&self.document.show, &self.dir, shot, None));
        let mut seen = HashSet::new();
        let known = |of: &FrameOf| matches!(self.first.surveyed.get(&of.key()), Some(Ok(_)));
        let left: VecDeque<_> = all.filter(|of| !known(of) && seen.insert(of.key())).collect();
        self.first.left = left;
    }

    /// Takes in what was read, and has the next read. The survey rests while it plays.
    pub(super) fn first_pass(&mut self) {
        let told: Vec<Told> = match &self.first.thread {
            Some((_, told)) => told.try_iter().collect(),
            None => Vec::new(),
        };
        for told in told {
            self.stale = true;
            match told {
                Told::Suggested(serial, shot, read) if serial == self.first.asked => {
                    self.first.reading = None;
                    let show = &self.document.show;
                    let made =
                        read.and_then(|reading| show.propose(shot, &reading).map_err(|e| e.to_string()));
                    self.put_forward_if(made);
                }
                Told::Differs(serial, shot, other, read) if serial == self.first.asked => {
                    self.first.reading = None;
                    let show = &self.document.show;
                    let made =
                        read.and_then(|d| show.propose_match(shot, &other, &d).map_err(|e| e.to_string()));
                    self.put_forward_if(made);
                }
                Told::Suggested(..) | Told::Differs(..) => {}
                Told::Surveyed(key, read) => {
                    self.first.under_way = false;
                    self.first.published = None;
                    let read = read.map(Arc::new).map_err(Arc::from);
                    self.first.surveyed.insert(key, read);
                }
            }
        }
        let gone = self.first.proposal.as_ref().is_some_and(|p| {
            p.shot != self.document.shot || self.document.show.shots.get(p.shot).is_none_or(|s| !p.is_of(s))
        });
        if gone {
            self.first.drop_proposal();
            self.stale = true;
        }
        if !self.first.under_way
            && self.playing.is_none()
            && let Some(of) = self.first.left.pop_front()
        {
            self.first.under_way = true;
            self.stale = true;
            if let Err(why) = self.first.send(Task::Survey(of), &self.wake) {
                self.first.under_way = false;
                self.first.left.clear();
                self.refuse(&why);
            }
        }
    }

    fn put_forward_if(&mut self, made: Result<Proposal, String>) {
        match made {
            Ok(proposal) => self.put_forward(proposal),
            Err(why) => self.refuse(&why),
        }
    }

    /// What others may know.
    pub(super) fn first_state(&mut self) -> FirstState {
        let survey = match &self.first.published {
            Some((revision, survey))
                if *revision == self.document.revision && survey.running == self.first.is_surveying() =>
            {
                survey.clone()
            }
            _ => {
                let survey = Arc::new(self.surveyed());
                self.first.published = Some((self.document.revision, survey.clone()));
                survey
            }
        };
        FirstState {
            proposal: self.first.proposal.clone(),
            strength: self.first.strength,
            reading: self.first.reading.clone(),
            survey,
        }
    }

    fn surveyed(&self) -> Survey {
        let running = self.first.is_surveying();
        if self.first.surveyed.is_empty() {
            return Survey { running, ..Survey::default() };
        }
        let show = &self.document.show;
        let found: Vec<_> = (0..show.shots.len())
            .map(|shot| {
                let key = FrameOf::new(show, &self.dir, shot, None)?.key();
                self.first.surveyed.get(&key).cloned()
            })
            .collect();
        let shots = marks(show, &found, &Limits::default());
        Survey { running, done: found.iter().flatten().count(), total: show.shots.len(), shots }
    }
}
