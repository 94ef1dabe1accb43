//! Thumbnails of the running order: each shot's representative frame as the desk shows it, made while the picture rests.
//!
//! One thread with readers of its own, so that neither playback's decoders nor the GPU are asked for anything. A frame is
//! made small once, in its own signal, and graded small on the CPU as often as its grade changes.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::ops::Range;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded, unbounded};
use rayon::prelude::*;

use super::core::Engine;
use super::feed::SourceKey;
use super::sheet::standing;
use crate::look::{List, fingerprint};
use crate::media::{Source, open};
use crate::picture::{Frame, Recipe, Unpack, cpu};
use crate::show::{Output, Shot, Show, recipe};

/// Pixels that a thumbnail has at most, across and down.
pub const THUMBNAIL: (u32, u32) = (192, 108);

/// How long nothing may have changed before one is made.
const REST: Duration = Duration::from_millis(250);
/// How soon a frame that could not be read is tried again.
const AGAIN: Duration = Duration::from_secs(5);
/// Thumbnails, and small frames, that are kept.
const KEPT: usize = 512;
const FRAMES: usize = 128;
/// Pixels across that a small frame has at most: more than a thumbnail, since framing may enlarge it.
const SMALL: u32 = 288;

/// A shot's representative frame, graded and small.
#[derive(Debug, PartialEq, Eq)]
pub struct Thumbnail {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// 8-bit codes of the desk's signal, row by row.
    pub pixels: Vec<[u8; 3]>,
    /// Were the range or the luma weights of the footage assumed?
    pub assumed: bool,
    /// A hash of what made it: the frame, the grade, the display.
    pub made_of: u64,
}

/// A shot's thumbnail; why there is none, where its frame cannot be read; nothing before the first is made.
pub type Thumbnails = Arc<[Option<Result<Arc<Thumbnail>, Arc<str>>>]>;

struct Job {
    made_of: u64,
    name: String,
    key: SourceKey,
    shot: Shot,
    recipe: Recipe,
    raster: Option<(u32, u32)>,
}

struct Done {
    name: String,
    made_of: u64,
    made: Result<Arc<Thumbnail>, Arc<str>>,
}

/// What makes the thumbnails, and those that were made.
pub(super) struct Thumbs {
    jobs: Sender<Job>,
    done: Receiver<Done>,
    busy: bool,
    /// The rows that somebody sees; `None`: nobody sees any.
    wanted: Option<Range<usize>>,
    made: HashMap<u64, (Result<Arc<Thumbnail>, Arc<str>>, u64)>,
    turn: u64,
    /// By the shots' names, what was made of each last.
    latest: HashMap<String, u64>,
    /// What each shot's would be made of, at which revision and in which raster.
    prints: (u64, Option<(u32, u32)>, Vec<Option<u64>>),
    /// What was on view last, and since when it is.
    rest: ((u64, usize, u64), Instant),
    tried: Option<Instant>,
    view: Thumbnails,
}

impl Thumbs {
    pub fn start(wake: Arc<dyn Fn() + Send + Sync>, now: Instant) -> std::io::Result<Self> {
        let (jobs, todo) = bounded::<Job>(1);
        let (tell, done) = unbounded();
        std::thread::Builder::new().name("thumbnails".into()).spawn(move || {
            let mut maker = Maker::default();
            for job in todo {
                let made = maker.make(&job).map(Arc::new).map_err(Arc::from);
                if tell.send(Done { name: job.name, made_of: job.made_of, made }).is_err() {
                    return;
                }
                wake();
            }
        })?;
        Ok(Self {
            jobs,
            done,
            busy: false,
            wanted: None,
            made: HashMap::new(),
            turn: 0,
            latest: HashMap::new(),
            prints: (0, None, Vec::new()),
            rest: ((0, 0, 0), now),
            tried: None,
            view: Arc::default(),
        })
    }

    pub fn want(&mut self, rows: Option<Range<usize>>) {
        self.wanted = rows;
    }

    /// Those of a show's shots.
    pub fn view(&mut self, show: &Show) -> Thumbnails {
        if self.wanted.is_none() && self.view.is_empty() {
            return self.view.clone();
        }
        let one = |shot: &Shot| Some(self.made.get(self.latest.get(&shot.name)?)?.0.clone());
        let same = |(a, b): (&Option<Result<Arc<Thumbnail>, _>>, &Option<Result<Arc<Thumbnail>, _>>)| a == b;
        let now: Vec<_> = show.shots.iter().map(one).collect();
        if now.len() != self.view.len() || !now.iter().zip(self.view.iter()).all(same) {
            self.view = now.into();
        }
        self.view.clone()
    }

    /// Takes in what was made; true if there was anything.
    fn collect(&mut self) -> bool {
        let mut any = false;
        while let Ok(Done { name, made_of, made }) = self.done.try_recv() {
            (any, self.busy) = (true, false);
            self.turn += 1;
            self.made.insert(made_of, (made, self.turn));
            self.latest.insert(name, made_of);
            if self.made.len() > KEPT
                && let Some(oldest) = self.made.iter().min_by_key(|(_, (_, turn))| *turn).map(|(p, _)| *p)
            {
                self.made.remove(&oldest);
            }
        }
        any
    }
}

impl Engine {
    /// Has the next thumbnail made, if the picture rests and somebody sees it.
    pub(super) fn make_thumbnails(&mut self, now: Instant) {
        self.stale |= self.thumbs.collect();
        let on_view = (self.document.revision, self.document.shot, self.frame);
        if self.thumbs.rest.0 != on_view {
            self.thumbs.rest = (on_view, now);
        }
        let drawn = self.drawn.is_some_and(|d| (d.revision, d.shot, d.frame) == on_view && !d.makeshift);
        let rests = self.playing.is_none()
            && (drawn || self.unread.is_some())
            && self.finisher.under_way() == 0
            && now - self.thumbs.rest.1 >= REST;
        let Some(rows) = self.thumbs.wanted.clone().filter(|_| rests && !self.thumbs.busy) else { return };
        if self.thumbs.tried.is_none_or(|at| now - at > AGAIN) {
            self.thumbs.tried = Some(now);
            self.thumbs.made.retain(|_, (made, _)| made.is_ok());
        }
        let show = self.document.seen().clone();
        let (raster, count) = (self.raster(), show.shots.len());
        if (self.thumbs.prints.0, self.thumbs.prints.1, self.thumbs.prints.2.len())
            != (on_view.0, raster, count)
        {
            self.thumbs.prints = (on_view.0, raster, vec![None; count]);
        }
        let seen = rows.start.min(count)..rows.end.min(count);
        for shot in seen.clone().chain(0..seen.start).chain(seen.end..count) {
            let Some((key, _)) = self.source(shot) else { continue };
            let print = *self.thumbs.prints.2[shot]
                .get_or_insert_with(|| made_of(&show, &show.shots[shot], &key, raster));
            let of = &show.shots[shot];
            if self.thumbs.made.contains_key(&print) {
                // Also what was made of it before, as after undo.
                self.stale |= self.thumbs.latest.insert(of.name.clone(), print) != Some(print);
                continue;
            }
            let number = u32::try_from(of.representative() - of.start).unwrap_or(u32::MAX);
            let Some(recipe) = recipe(&show, shot, show.tail(Output::Desk), number) else { continue };
            let job = Job { made_of: print, name: of.name.clone(), key, shot: of.clone(), recipe, raster };
            self.thumbs.busy = self.thumbs.jobs.try_send(job).is_ok();
            return;
        }
    }
}

/// A hash of everything that makes a shot's thumbnail. LUTs count by their files.
fn made_of(show: &Show, shot: &Shot, key: &SourceKey, raster: Option<(u32, u32)>) -> u64 {
    let mut sum = DefaultHasher::new();
    key.hash(&mut sum);
    (shot.frames(), shot.representative(), shot.encoding.id, raster).hash(&mut sum);
    let mut bits = |values: &[f64]| values.iter().for_each(|v| (v + 0.0).to_bits().hash(&mut sum));
    bits(&shot.balance.values);
    bits(&shot.framing.values);
    let output = show.outputs.get(Output::Desk);
    bits(&output.trim.values);
    bits(&[output.display.peak]);
    // With the trims of strength.
    let chain = show.chain_of(shot);
    bits(&[chain.look_strength]);
    List::ALL.iter().for_each(|list| fingerprint(chain.list(*list)).hash(&mut sum));
    show.transform.id().hash(&mut sum);
    if let Some(lut) = &show.show_lut {
        (&lut.lut.file, lut.expects.id, &lut.gives.id).hash(&mut sum);
    }
    output.display.id.hash(&mut sum);
    output.calibration.as_ref().map(|lut| &lut.file).hash(&mut sum);
    sum.finish()
}

/// What the thread remembers: the source that is open, and small frames.
#[derive(Default)]
struct Maker {
    open: Option<(SourceKey, Box<dyn Source>)>,
    /// With what of them was assumed, and when they were used last.
    frames: HashMap<(SourceKey, Range<u64>, u64), (Frame, bool, u64)>,
    turn: u64,
}

impl Maker {
    fn make(&mut self, job: &Job) -> Result<Thumbnail, String> {
        let shot = &job.shot;
        self.turn += 1;
        let at = (job.key.clone(), shot.frames(), shot.representative());
        if !self.frames.contains_key(&at) {
            if self.open.as_ref().is_none_or(|(key, _)| *key != job.key) {
                self.open = None;
                let source = open(&job.key.path, &job.key.interpretation).map_err(|e| e.to_string())?;
                self.open = Some((job.key.clone(), source));
            }
            let Some((_, source)) = &mut self.open else { return Err("no source is open".into()) };
            let assumed = source.info().assumed;
            let frame = standing(shot, source.as_mut()).map(|(_, frame)| frame);
            if frame.is_err() {
                // Its file may be another one the next time.
                self.open = None;
            }
            let small = small(&frame.map_err(|e| e.to_string())?).map_err(|e| e.to_string())?;
            if self.frames.len() >= FRAMES
                && let Some(oldest) =
                    self.frames.iter().min_by_key(|(_, (.., turn))| *turn).map(|(at, _)| at.clone())
            {
                self.frames.remove(&oldest);
            }
            self.frames.insert(at.clone(), (small, assumed, self.turn));
        }
        let Some((frame, assumed, turn)) = self.frames.get_mut(&at) else {
            return Err("no frame is there".into());
        };
        *turn = self.turn;
        let mut recipe = job.recipe.clone();
        recipe.raster = Some(fit(job.raster.unwrap_or((frame.width, frame.height)), THUMBNAIL));
        let signal = cpu::signal(&recipe, frame);
        let code = |v: f32| (v.clamp(0.0, 1.0) * 255.0).round() as u8;
        Ok(Thumbnail {
            width: signal.width,
            height: signal.height,
            pixels: signal.pixels.iter().map(|p| p.map(code)).collect(),
            assumed: *assumed,
            made_of: job.made_of,
        })
    }
}

/// The largest size of a shape within another, a pixel at least; never larger than it is.
fn fit(size: (u32, u32), within: (u32, u32)) -> (u32, u32) {
    let ratio = |of: u32, to: u32| f64::from(to) / f64::from(of.max(1));
    let scale = ratio(size.0, within.0).min(ratio(size.1, within.1)).min(1.0);
    let side = |s: u32| ((f64::from(s) * scale).round() as u32).max(1);
    (side(size.0), side(size.1))
}

/// A frame made small in its own signal: every pixel the mean of nine places of what it covers.
fn small(frame: &Frame) -> Result<Frame, crate::picture::FrameError> {
    let (width, height) = fit((frame.width, frame.height), (SMALL, SMALL));
    let unpack = Unpack::<f32>::of(&frame.format);
    let place = |i: u32, of: u32, side: u32| {
        ((u64::from(2 * i + 1) * u64::from(side)) / (2 * u64::from(of))).min(u64::from(side) - 1) as u32
    };
    let pixels: Vec<[f32; 3]> = (0..width * height)
        .into_par_iter()
        .map(|p| {
            let (x, y) = (p % width, p / width);
            let mut sum = [0.0f32; 3];
            for n in 0..9 {
                let column = place(3 * x + n % 3, 3 * width, frame.width);
                let row = place(3 * y + n / 3, 3 * height, frame.height);
                let signal = unpack.at(frame, column, row);
                sum = std::array::from_fn(|c| sum[c] + signal[c] / 9.0);
            }
            sum
        })
        .collect();
    Frame::from_rgb(width, &pixels)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_frames_keep_shape_and_mean() {
        assert_eq!(fit((3840, 2160), THUMBNAIL), (192, 108));
        assert_eq!(fit((2048, 858), THUMBNAIL), (192, 80));
        assert_eq!(fit((1080, 1920), THUMBNAIL), (61, 108));
        assert_eq!(fit((64, 36), THUMBNAIL), (64, 36));
        let ramp: Vec<[f32; 3]> = (0..1920 * 1080)
            .map(|i| [0.25, (i % 1920) as f32 / 1919.0, (i / 1920) as f32 / 1079.0])
            .collect();
        let small = small(&Frame::from_rgb(1920, &ramp).unwrap()).unwrap();
        assert_eq!((small.width, small.height), (288, 162));
        let unpack = Unpack::<f32>::of(&small.format);
        for (x, y) in [(0, 0), (143, 80), (287, 161)] {
            let found = unpack.at(&small, x, y);
            let wanted = [0.25, (x as f32 + 0.5) / 288.0, (y as f32 + 0.5) / 162.0];
            assert!(found.iter().zip(wanted).all(|(f, w)| (f - w).abs() < 2e-3), "{found:?} {wanted:?}");
        }
    }
}
