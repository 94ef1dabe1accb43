//! Decode ahead, grade, write, each on threads of its own.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Instant;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::job::{Job, Kind, RenderError};
use super::reel::{Reel, file_name, in_frame};
use crate::colour::{AP1, Primaries, encoding};
use crate::engine::raster::interpretation;
use crate::media::movie::{Coded, ContentLight, Group, LightMeter, MovieEncoder};
use crate::media::{Image, ImageFormat, MediaError, Source, open, write_image};
use crate::picture::{Frame, Recipe, Tail, cpu, pack};
use crate::show::{Shot, recipe};

/// A frame to be rendered.
#[derive(Clone, Copy)]
pub struct Item {
    /// Which reel it is for.
    pub reel: usize,
    /// Its number there.
    pub number: u64,
    /// The shot.
    shot: usize,
    /// The shot's frame, from 0.
    frame: u64,
    /// Is it the last of a group?
    closes: bool,
}

impl Item {
    /// The frames of units, in order. A unit is a reel's number and numbers in it.
    pub fn all(reels: &[Reel], units: &[(usize, std::ops::Range<u64>)]) -> Vec<Self> {
        let mut items = Vec::new();
        for (reel, numbers) in units {
            for number in numbers.clone() {
                let Some((span, frame)) = reels[*reel].at(number) else { continue };
                let closes = number + 1 == numbers.end;
                items.push(Self { reel: *reel, number, shot: span.shot, frame, closes });
            }
        }
        items
    }
}

/// A finished frame on its way to a file.
enum Finished {
    Codes(Vec<[u16; 3]>, u32),
    Float(Vec<[f32; 3]>),
}

/// Nanoseconds at work.
#[derive(Default)]
pub struct Busy {
    pub decode: AtomicU64,
    pub grade: AtomicU64,
    pub write: AtomicU64,
}

fn at_work<T>(clock: &AtomicU64, work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let result = work();
    clock.fetch_add(start.elapsed().as_nanos() as u64, Ordering::Relaxed);
    result
}

/// What all threads of a run see.
struct Run<'a, 'j> {
    job: &'a Job<'j>,
    reels: &'a [Reel],
    tail: Tail,
    raster: Option<(u32, u32)>,
    busy: &'a Busy,
    over: AtomicBool,
}

type Decoded = (Item, Result<Frame, RenderError>);
type Graded = (Item, Finished, (u32, u32));

/// Renders `items`. `written` is told of every frame whose file, or whose group's file, is whole. Ends early and without an error when the
/// job is to stop.
pub fn run(
    job: &Job<'_>,
    reels: &[Reel],
    items: &[Item],
    raster: Option<(u32, u32)>,
    busy: &Busy,
    written: &mut dyn FnMut(&[Item]),
) -> Result<(), RenderError> {
    let tail = match &job.tail {
        Some(tail) => tail.clone(),
        None => Tail::Encoding(encoding("acescg").ok_or(RenderError::Worker)?),
    };
    let run = &Run { job, reels, tail, raster, busy, over: AtomicBool::new(false) };
    let (decoded, to_grade) = bounded::<Decoded>(3);
    let (graded, to_write) = bounded::<Graded>(3);
    let (told, news) = bounded::<Result<Vec<Item>, RenderError>>(64);
    let writers = std::thread::available_parallelism().map_or(1, |n| n.get().div_ceil(2));
    std::thread::scope(|scope| {
        scope.spawn(move || run.decode(items, &decoded));
        scope.spawn({
            let told = told.clone();
            move || {
                if let Err(e) = run.grade(&to_grade, &graded) {
                    let _ = told.send(Err(e));
                }
            }
        });
        match job.format {
            Kind::Images(format) => {
                for _ in 0..writers {
                    let (to_write, told) = (to_write.clone(), told.clone());
                    scope.spawn(move || run.write_images(format, &to_write, &told));
                }
            }
            Kind::Movie(_) => {
                let (to_write, told) = (to_write.clone(), told.clone());
                scope.spawn(move || {
                    if let Err(e) = run.write_groups(&to_write, &told) {
                        let _ = told.send(Err(e));
                    }
                });
            }
        }
        drop((told, to_write));
        let mut first_error = None;
        let mut count = 0;
        for result in news {
            match result {
                Ok(frames) => {
                    count += frames.len();
                    written(&frames);
                }
                Err(e) => {
                    run.over.store(true, Ordering::Release);
                    first_error.get_or_insert(e);
                }
            }
        }
        match first_error {
            Some(e) => Err(e),
            None if count < items.len() && !job.options.stopping() => Err(RenderError::Worker),
            None => Ok(()),
        }
    })
}

impl Run<'_, '_> {
    fn over(&self) -> bool {
        self.over.load(Ordering::Acquire)
    }

    fn shot(&self, item: &Item) -> &Shot {
        &self.job.show.shots[item.shot]
    }

    fn decode(&self, items: &[Item], decoded: &Sender<Decoded>) {
        let mut open_shot: Option<(usize, Box<dyn Source>)> = None;
        for item in items {
            if self.over() || self.job.options.stopping() {
                return;
            }
            let frame = at_work(&self.busy.decode, || self.frame(item, &mut open_shot));
            if decoded.send((*item, frame)).is_err() {
                return;
            }
        }
    }

    fn frame(
        &self,
        item: &Item,
        open_shot: &mut Option<(usize, Box<dyn Source>)>,
    ) -> Result<Frame, RenderError> {
        let shot = self.shot(item);
        if open_shot.as_ref().is_none_or(|(s, _)| *s != item.shot) {
            let source = open(&shot.source_path(self.job.dir), &interpretation(self.job.show, shot))
                .map_err(|error| RenderError::Source { shot: shot.name.clone(), error })?;
            *open_shot = Some((item.shot, source));
        }
        let (_, source) = open_shot.as_mut().ok_or(RenderError::Worker)?;
        source.frame(shot.start + item.frame).map_err(in_frame(&shot.name, item.frame))
    }

    fn grade(&self, to_grade: &Receiver<Decoded>, graded: &Sender<Graded>) -> Result<(), RenderError> {
        for (item, frame) in to_grade {
            if self.over() {
                return Ok(());
            }
            let frame = frame?;
            let Some(mut recipe) = recipe(self.job.show, item.shot, self.tail.clone(), item.frame as u32)
            else {
                return Err(RenderError::Worker);
            };
            recipe.raster = self.raster;
            let finished = at_work(&self.busy.grade, || self.finish(&recipe, &frame))?;
            if graded.send((item, finished, recipe.size(&frame))).is_err() {
                return Ok(());
            }
        }
        Ok(())
    }

    fn finish(&self, recipe: &Recipe, frame: &Frame) -> Result<Finished, RenderError> {
        let codes = match self.job.format {
            Kind::Images(ImageFormat::Exr) | Kind::Movie(_) => None,
            Kind::Images(ImageFormat::Dpx) => Some((10, true)),
            // One code of 16 bits is far under what dither is for.
            Kind::Images(_) => Some((16, false)),
        };
        Ok(match (&self.job.gpu, codes) {
            (Some(gpu), None) => Finished::Float(gpu.signal(recipe, frame)?),
            (Some(gpu), Some((bits, dither))) => {
                Finished::Codes(gpu.codes(recipe, frame, bits, dither)?.finish(gpu)?, bits)
            }
            (None, None) => Finished::Float(cpu::signal(recipe, frame).pixels),
            (None, Some((bits, dither))) => {
                Finished::Codes(cpu::codes(recipe, frame, bits, dither).pixels, bits)
            }
        })
    }

    fn write_images(
        &self,
        format: ImageFormat,
        to_write: &Receiver<Graded>,
        told: &Sender<Result<Vec<Item>, RenderError>>,
    ) {
        for (item, finished, size) in to_write {
            if self.over() {
                return;
            }
            let shot = self.shot(&item);
            let path = file_name(self.job.out, shot, item.frame, format);
            let result = at_work(&self.busy.write, || self.write_image(&path, format, &finished, size));
            let result = result.map(|()| vec![item]).map_err(in_frame(&shot.name, item.frame));
            if told.send(result).is_err() {
                return;
            }
        }
    }

    fn write_image(
        &self,
        path: &std::path::Path,
        format: ImageFormat,
        finished: &Finished,
        (width, height): (u32, u32),
    ) -> Result<(), MediaError> {
        let primaries: Primaries = match &self.tail {
            Tail::Display { display, .. } => display.primaries,
            _ => AP1,
        };
        let half = self.job.options.half.unwrap_or(self.job.tail.is_none());
        let image = match finished {
            Finished::Codes(pixels, depth) => Image::Codes { width, height, depth: *depth, pixels },
            Finished::Float(pixels) => Image::Floats { width, height, pixels, primaries, half },
        };
        write_image(path, format, &image)
    }

    /// Packs and encodes frames in order, and writes each group when it is complete.
    fn write_groups(
        &self,
        to_write: &Receiver<Graded>,
        told: &Sender<Result<Vec<Item>, RenderError>>,
    ) -> Result<(), RenderError> {
        let meter = match &self.tail {
            Tail::Display { display, .. } => LightMeter::of(display),
            _ => None,
        };
        let mut session: Option<Session> = None;
        for (item, finished, size) in to_write {
            if self.over() {
                return Ok(());
            }
            let Finished::Float(pixels) = finished else { return Err(RenderError::Worker) };
            let reel = &self.reels[item.reel];
            let Some((settings, _)) = &reel.movie else { return Err(RenderError::Worker) };
            let intra = settings.format.intra;
            let failed = || in_frame(&self.shot(&item).name, item.frame);
            let done = at_work(&self.busy.write, || -> Result<Vec<(Group, Vec<Item>)>, MediaError> {
                let mut done = Vec::new();
                if session.as_ref().is_some_and(|s| !s.goes_on_with(&item, intra)) {
                    done.extend(session.take().map(Session::finish).transpose()?.unwrap_or_default());
                }
                if session.is_none() {
                    session = Some(Session::new(MovieEncoder::open(settings, &reel.path)?));
                }
                let Some(s) = &mut session else { return Ok(done) };
                let dither = settings.format.dithers();
                let packed = pack(&pixels, size, settings.pixels(), item.frame as u32, dither);
                s.held.light.push(meter.as_ref().map(|m| m.measure(&pixels)));
                s.held.items.push(item);
                s.held.coded.extend(s.encoder.send(&packed, item.number)?);
                if intra {
                    done.extend(s.held.ready());
                } else if item.closes {
                    done.extend(session.take().map(Session::finish).transpose()?.unwrap_or_default());
                }
                Ok(done)
            })
            .map_err(failed())?;
            self.keep(done, told)?;
        }
        // What is left of frames that stand for themselves; a group that was cut off is dropped.
        if let Some(session) = session {
            let intra = session.held.items.iter().all(|i| i.closes);
            if intra {
                let done = session.finish().map_err(RenderError::Movie)?;
                self.keep(done, told)?;
            }
        }
        Ok(())
    }

    fn keep(
        &self,
        done: Vec<(Group, Vec<Item>)>,
        told: &Sender<Result<Vec<Item>, RenderError>>,
    ) -> Result<(), RenderError> {
        for (group, items) in done {
            let Some(first) = items.first() else { continue };
            let path = self.reels[first.reel].record.group(first.number);
            let written = at_work(&self.busy.write, || group.write(&path));
            written.map_err(in_frame(&self.shot(first).name, first.frame))?;
            let _ = told.send(Ok(items));
        }
        Ok(())
    }
}

/// An encoder with what went into it and what came out.
struct Session {
    encoder: MovieEncoder,
    held: Held,
}

/// Frames that are encoded and not written yet.
#[derive(Default)]
struct Held {
    items: Vec<Item>,
    light: Vec<Option<ContentLight>>,
    coded: Vec<Coded>,
}

impl Held {
    /// Of frames that stand for themselves, those that came out.
    fn ready(&mut self) -> Vec<(Group, Vec<Item>)> {
        let mut out = Vec::new();
        for coded in std::mem::take(&mut self.coded) {
            let Some(at) = self.items.iter().position(|i| i.number == coded.number) else { continue };
            let (item, light) = (self.items.remove(at), self.light.remove(at));
            out.push((Group { frames: vec![coded], light }, vec![item]));
        }
        out
    }
}

impl Session {
    fn new(encoder: MovieEncoder) -> Self {
        Self { encoder, held: Held::default() }
    }

    /// Does a frame follow on what is in the encoder?
    fn goes_on_with(&self, item: &Item, intra: bool) -> bool {
        self.held.items.last().is_none_or(|last| {
            last.reel == item.reel && (intra || (last.number + 1 == item.number && !last.closes))
        })
    }

    /// All that is left.
    fn finish(mut self) -> Result<Vec<(Group, Vec<Item>)>, MediaError> {
        self.held.coded.extend(self.encoder.finish()?);
        if self.held.items.iter().all(|i| i.closes) {
            return Ok(self.held.ready());
        }
        let light = self.held.light.into_iter().flatten().reduce(ContentLight::and);
        Ok(vec![(Group { frames: self.held.coded, light }, self.held.items)])
    }
}
