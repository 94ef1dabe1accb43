//! The survey: of every shot, is its exposure off, has it a cast, is it read as what it is?

use std::sync::Arc;

use crate::colour::GREY;
use crate::picture::luminance;
use crate::scope::{Doubt, Read, Reading, SignalStats, angle, doubt};
use crate::show::{Show, balanced_grey};

/// What was read of a shot's frame.
#[derive(Clone, Debug)]
pub struct Surveyed {
    /// The light of grey in it, if there is anything to go by.
    pub reading: Option<Reading>,
    /// Where its signal lies.
    pub signal: SignalStats,
    /// The camera that its file names.
    pub camera: Option<String>,
    /// What its file says of camera and colour.
    pub tags: Vec<(String, String)>,
    /// Is it a still?
    pub still: bool,
}

/// From what on something is marked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Stops that exposure may be off.
    pub stops: f64,
    /// Degrees between the grey and neutral: the angle of the literature on estimating light.
    pub degrees: f64,
    /// How sure it has to be, 0…1.
    pub sure: f64,
}

impl Default for Limits {
    /// A stop and four degrees: about twice what the statistics err by themselves in half of the pictures
    /// (common practice; not from a standard).
    fn default() -> Self {
        Self { stops: 1.0, degrees: 4.0, sure: 0.25 }
    }
}

/// What the survey found of a shot, as its balance now stands.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ShotMarks {
    /// Was it read?
    pub read: bool,
    /// Why it could not be.
    pub trouble: Option<Arc<str>>,
    /// Stops by which its grey is too bright, if that is more than the limit.
    pub exposure: Option<f64>,
    /// Degrees between its grey and neutral, if that is more than the limit.
    pub cast: Option<f64>,
    /// What speaks against how it is read.
    pub doubt: Doubt,
}

impl ShotMarks {
    /// Is there anything to mark?
    pub fn any(&self) -> bool {
        self.trouble.is_some() || self.exposure.is_some() || self.cast.is_some() || !self.doubt.is_none()
    }

    /// What is to be said of it, a line each.
    pub fn lines(&self) -> Vec<String> {
        let mut out: Vec<String> = self.trouble.iter().map(|t| t.to_string()).collect();
        out.extend(self.exposure.map(|stops| {
            let way = if stops > 0.0 { "bright" } else { "dark" };
            format!("about {:.1} stops too {way}", stops.abs())
        }));
        out.extend(self.cast.map(|degrees| format!("a cast of about {degrees:.0}°")));
        out.extend(self.doubt.reasons.iter().cloned());
        out
    }
}

/// The survey of a show.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Survey {
    /// Is it going on?
    pub running: bool,
    /// Shots that are read as they now stand.
    pub done: usize,
    /// All shots.
    pub total: usize,
    /// One for each shot; empty before the first is read.
    pub shots: Vec<ShotMarks>,
}

/// What is marked of each shot of a show.
pub fn marks(
    show: &Show,
    found: &[Option<Result<Arc<Surveyed>, Arc<str>>>],
    limits: &Limits,
) -> Vec<ShotMarks> {
    let of = |(i, found): (usize, &Option<Result<Arc<Surveyed>, Arc<str>>>)| {
        let (shot, surveyed) = match (show.shots.get(i), found) {
            (Some(shot), Some(Ok(surveyed))) => (shot, surveyed),
            (_, Some(Err(why))) => {
                return ShotMarks { trouble: Some(why.clone()), ..ShotMarks::default() };
            }
            _ => return ShotMarks::default(),
        };
        let mut marks = ShotMarks { read: true, ..ShotMarks::default() };
        if let Some(reading) = &surveyed.reading {
            let grey = balanced_grey(shot, reading);
            let stops = (luminance(grey) / GREY).log2();
            let degrees = angle(grey, [1.0; 3]);
            let past = |value: f64, limit: f64, sure: f64| value.abs() > limit && sure >= limits.sure;
            marks.exposure = past(stops, limits.stops, reading.level_sure).then_some(stops);
            marks.cast = past(degrees, limits.degrees, reading.colour_sure).then_some(degrees);
        }
        let beside: Vec<_> = show
            .shots
            .iter()
            .enumerate()
            .filter(|(j, s)| *j != i && s.source.parent() == shot.source.parent())
            .map(|(_, s)| s.encoding)
            .collect();
        let read =
            Read { encoding: shot.encoding, tags: &surveyed.tags, beside: &beside, still: surveyed.still };
        marks.doubt = doubt(&surveyed.signal, read);
        marks
    };
    found.iter().enumerate().map(of).collect()
}
