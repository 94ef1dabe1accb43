//! What others may know of the engine.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use super::comparing::Kept;
use super::first::FirstState;
use super::input::{Compare, Scope};
use super::marks::Marks;
use super::osc::OscState;
use super::pace::Preview;
use super::targets::Focus;
use super::thumbs::Thumbnails;
use super::watch::Curtain;
use crate::media::timecode::Counting;
use crate::media::{ClipInfo, Rate};
use crate::panel::{ButtonState, ControlState, Guess, Map, Standing};
use crate::picture::Probed;
use crate::show::{Look, Show};

/// How playback is doing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Playback {
    /// Frames shown since play began.
    pub shown: u64,
    /// Frames whose time passed unshown since play began.
    pub dropped: u64,
    /// Frames shown in the last second.
    pub rate: f64,
    /// The longest that a frame was handed to the GPU after its time, since play began.
    pub late: Duration,
    /// Median of what a picture took, from submission to completion.
    pub cost: Duration,
    /// Median of what passed between a control message and the finished picture.
    pub delay: Option<Duration>,
}

/// What the panel mirror shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PanelState {
    /// The map's name.
    pub map: String,
    /// All maps that are loaded, in their order.
    pub maps: Vec<Arc<Map>>,
    /// Names of the ports that are open.
    pub ports: Vec<String>,
    /// Names of the ports that were open and are gone, and with several maps the names of those whose panel was
    /// never there. A panel that comes back goes on where it was.
    pub absent: Vec<String>,
    /// What each control is and does; of the port last heard from, or of the panel that is drawn if a hand was there
    /// since, or no port is there.
    pub controls: Vec<ControlState>,
    /// Is it the panel that is drawn?
    pub drawn: bool,
    /// The names of the banks of the page in force, in their order, of the same port.
    pub banks: Vec<Arc<str>>,
    /// What each button is and does, of the same port.
    pub buttons: Vec<ButtonState>,
    /// What is in force on the same port: page, bank, layers, fine mode.
    pub standing: Standing,
    /// What went wrong, if anything.
    pub note: Option<String>,
    /// Messages dropped because they came faster than they could be read.
    pub overruns: u64,
    /// OSC, if it was asked for.
    pub osc: Option<OscState>,
    /// The control that is being learned, if one is.
    pub learning: Option<Learning>,
}

impl PanelState {
    pub(super) fn add_osc(&mut self, osc: OscState) {
        self.ports.extend(osc.port());
        let notes: Vec<String> = self.note.take().into_iter().chain(osc.note()).collect();
        self.note = (!notes.is_empty()).then(|| notes.join("; "));
        self.overruns += osc.lost;
        self.osc = Some(osc);
    }
}

/// A control that is being learned.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Learning {
    /// The address of the parameter that it is for, or the name of the action.
    pub target: Arc<str>,
    /// The port last heard from since it began.
    pub port: Option<String>,
    /// Number of that port's map, from 0; of the one on view where nothing was heard.
    pub map: usize,
    /// What the control on that port is by now.
    pub guess: Option<Guess>,
    /// Which control of that port's map sends the same: its name and what it does.
    pub conflict: Option<(String, String)>,
}

/// A look that is tried: on view, and not the show's own yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Trying {
    /// Which of the library, from 0.
    pub at: usize,
    /// Looks in the library.
    pub of: usize,
    /// Its name.
    pub name: Arc<str>,
    /// A line about it; may be empty.
    pub note: Arc<str>,
    /// The show without it, as it is saved.
    pub own: Arc<Show>,
}

/// The engine's state at a moment.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// The document as it is seen: with the look that is tried, if one is.
    pub show: Arc<Show>,
    /// Its folder.
    pub dir: PathBuf,
    /// Size of every picture, across and down; `None` until the first shot is open, if the show has no raster.
    pub raster: Option<(u32, u32)>,
    /// Thumbnails of its shots, as far as they were asked for and made.
    pub thumbnails: Thumbnails,
    /// The current shot.
    pub shot: usize,
    /// The current frame of that shot, from 0.
    pub frame: u64,
    /// Frames of that shot.
    pub frames: u64,
    /// Is it playing?
    pub playing: bool,
    /// How many times as fast as its rate it plays, backwards where negative; 0 while it does not.
    pub speed: f64,
    /// The stage in focus: what the addresses `focus/…` lead to.
    pub focus: Option<Focus>,
    /// What playback goes round in.
    pub scope: Scope,
    /// What is on view.
    pub compare: Compare,
    /// What stands between that and all client outputs.
    pub curtain: Curtain,
    /// What the current source says about itself.
    pub clip: Option<Arc<ClipInfo>>,
    /// What the picture holds where it was asked for; why not, if it was asked for beside the frame.
    pub probe: Option<Result<Probed, Arc<str>>>,
    /// What is proposed for the shot on view, and the survey.
    pub first: FirstState,
    /// The look that is tried, if one is.
    pub trying: Option<Trying>,
    /// The looks that can be tried.
    pub looks: Arc<[Look]>,
    /// Are the plans of all of them compiled, so that the next frame shows any of them?
    pub looks_ready: bool,
    /// Is a patch of the picture waited for, to be made neutral?
    pub picking: bool,
    /// What is told on the desk's picture.
    pub marks: Marks,
    /// Why the current frame cannot be shown, or what else went wrong.
    pub trouble: Option<Arc<str>>,
    /// A look's shader is being compiled and the old one draws on.
    pub compiling: bool,
    /// How playback is doing.
    pub playback: Playback,
    /// The panel.
    pub panel: PanelState,
    /// Frames of the current shot that playing goes round in, if that is a part of it.
    pub range: Option<std::ops::Range<u64>>,
    /// What size live pictures are wanted in.
    pub preview: Preview,
    /// What part of the raster's size live pictures have each way: 1, 2 for a half, 4 for a quarter.
    pub reduced: u32,
    /// Runs of frames of the current shot that are decoded and kept.
    pub ready: Vec<std::ops::Range<u64>>,
    /// Frames and bytes decoded and kept.
    pub cached: (usize, usize),
    /// Stills, versions, and what the picture is compared with.
    pub kept: Kept,
    /// Is there a change that is not on disk?
    pub unsaved: bool,
    /// Steps that can be undone and redone.
    pub steps: (usize, usize),
}

impl Snapshot {
    /// Timecode of the frame on view.
    pub fn timecode(&self) -> String {
        timecode(&self.show, self.clip.as_deref(), self.shot, self.frame)
    }

    /// Timecode of a frame of a shot that has the same source as the one on view; elsewhere frames are counted from the
    /// source's first.
    pub fn timecode_of(&self, shot: usize, frame: u64) -> String {
        let source = |shot: usize| self.show.shots.get(shot).map(|s| &s.source);
        let clip = self.clip.as_deref().filter(|_| source(shot) == source(self.shot));
        timecode(&self.show, clip, shot, frame)
    }
}

/// Timecode of a frame of a shot of a clip.
pub(super) fn timecode(show: &Show, clip: Option<&ClipInfo>, shot: usize, frame: u64) -> String {
    let (num, den) = show.rate;
    let rate = Rate::new(num, den).unwrap_or(Rate::FPS_24);
    let start = clip.and_then(|c| c.timecode_start).unwrap_or(0);
    let first = show.shots.get(shot).map_or(0, |shot| shot.frames().start);
    Counting::whole(rate.nominal()).text(start + first + frame)
}
