//! What is played of a shot, and in what size, so that it keeps its time.

use std::ops::Range;
use std::time::{Duration, Instant};

use super::core::{Engine, length};
use super::input::Command;

/// Pictures by whose cost it is judged whether they keep time.
const JUDGED: usize = 12;
/// The share of a frame's time that a picture may cost.
const ROOM: f64 = 0.9;
/// The least that a side is made.
const LEAST: u32 = 16;

/// The size of live pictures. Files have theirs whatever it is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Preview {
    /// The raster's.
    #[default]
    Whole,
    /// Half of it each way.
    Half,
    /// A quarter of it each way.
    Quarter,
    /// The raster's; while it plays smaller, if pictures cost more than a frame's time.
    Automatic,
}

impl Preview {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Whole, Self::Half, Self::Quarter, Self::Automatic];

    /// What it is called.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Whole => "whole",
            Self::Half => "half size",
            Self::Quarter => "quarter size",
            Self::Automatic => "as time allows",
        }
    }
}

/// What pace is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PaceCommand {
    /// Playing goes round from the frame on view.
    In,
    /// Playing goes round to the frame on view.
    Out,
    /// Playing goes round in the whole shot.
    Whole,
    /// Live pictures of another size.
    Preview(Preview),
    /// Live pictures of the next size.
    NextPreview,
}

/// What a name asks for.
pub(super) const fn pace(command: PaceCommand) -> Command {
    Command::Pace(command)
}

/// The part that is played, and the size that it is played in.
#[derive(Default)]
pub(super) struct Pace {
    /// Which shot's, and its frames.
    range: Option<(usize, Range<u64>)>,
    pub preview: Preview,
    /// How many times pictures are halved to keep time.
    halved: u32,
}

impl Pace {
    /// The part of a shot that is played, if it is not all of it.
    pub fn range_of(&self, shot: usize) -> Option<Range<u64>> {
        self.range.as_ref().filter(|(of, _)| *of == shot).map(|(_, range)| range.clone())
    }

    /// Raster pixels to a pixel of live pictures, each way.
    pub fn reduction(&self) -> u32 {
        match self.preview {
            Preview::Whole => 1,
            Preview::Half => 2,
            Preview::Quarter => 4,
            Preview::Automatic => 1 << self.halved,
        }
    }

    /// The size of live pictures in a raster.
    pub fn size(&self, raster: (u32, u32)) -> (u32, u32) {
        let side = |v: u32| (v / self.reduction()).max(LEAST.min(v));
        (side(raster.0), side(raster.1))
    }
}

impl Engine {
    pub(super) fn pace_command(&mut self, command: PaceCommand, now: Instant) {
        let (shot, frame, frames) = (self.document.shot, self.frame, self.shot_frames());
        let range = self.pace.range_of(shot).unwrap_or(0..frames);
        match command {
            PaceCommand::In if frames > 0 => {
                let end = if range.end > frame { range.end } else { frames };
                self.pace.range = Some((shot, frame..end));
            }
            PaceCommand::Out if frames > 0 => {
                let start = if range.start <= frame { range.start } else { 0 };
                self.pace.range = Some((shot, start..frame + 1));
            }
            PaceCommand::In | PaceCommand::Out => {}
            PaceCommand::Whole => self.pace.range = None,
            PaceCommand::Preview(preview) => self.set_preview(preview),
            PaceCommand::NextPreview => {
                let at = Preview::ALL.iter().position(|p| *p == self.pace.preview).unwrap_or(0);
                self.set_preview(Preview::ALL[(at + 1) % Preview::ALL.len()]);
            }
        }
        if matches!(command, PaceCommand::In | PaceCommand::Out | PaceCommand::Whole) {
            self.restart(now);
        }
    }

    pub(super) fn pace_lit(&self, command: PaceCommand) -> Option<bool> {
        let part = self.pace.range_of(self.document.shot);
        match command {
            PaceCommand::In => Some(part.is_some_and(|r| r.start > 0)),
            PaceCommand::Out => Some(part.is_some_and(|r| r.end < self.shot_frames())),
            PaceCommand::NextPreview => Some(self.pace.preview != Preview::Whole),
            PaceCommand::Whole | PaceCommand::Preview(_) => None,
        }
    }

    fn set_preview(&mut self, preview: Preview) {
        (self.pace.preview, self.pace.halved, self.drawn) = (preview, 0, None);
        self.costs.clear();
    }

    /// While it plays as time allows: pictures that cost too much are made smaller from the next on.
    pub(super) fn keep_up(&mut self) {
        if self.pace.preview != Preview::Automatic || self.pace.halved >= 2 || self.costs.len() < JUDGED {
            return;
        }
        let (num, den) = self.document.show.rate;
        let frame_time = f64::from(den) / f64::from(num) / self.speed().abs().clamp(1e-3, 1.0);
        let mut last: Vec<Duration> = self.costs.iter().rev().take(JUDGED).copied().collect();
        last.sort_unstable();
        if last[JUDGED / 2].as_secs_f64() > ROOM * frame_time {
            self.pace.halved += 1;
            self.costs.clear();
            (self.drawn, self.stale) = (None, true);
        }
    }

    /// It stands: there is time for the whole picture.
    pub(super) fn whole_again(&mut self) {
        if std::mem::take(&mut self.pace.halved) > 0 {
            self.costs.clear();
            (self.drawn, self.stale) = (None, true);
        }
    }

    /// Runs of frames of the shot on view that are decoded and kept.
    pub(super) fn ready_frames(&self) -> Vec<Range<u64>> {
        let shot = self.document.shot;
        let (Some((key, first)), Some(s)) = (self.source(shot), self.document.show.shots.get(shot)) else {
            return Vec::new();
        };
        let mut runs: Vec<Range<u64>> = Vec::new();
        for number in self.feeds.numbers(&key) {
            let Some(frame) = number.checked_sub(first).filter(|frame| *frame < length(s)) else { continue };
            match runs.last_mut().filter(|run| run.end == frame) {
                Some(run) => run.end += 1,
                None => runs.push(frame..frame + 1),
            }
        }
        runs
    }
}
