//! Rendering to files: decode ahead, grade, write, each on threads of its own.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::bounded;

use super::raster::{interpretation, raster};
use crate::colour::{AP1, encoding};
use crate::gpu::{Gpu, GpuError};
use crate::media::{Image, ImageFormat, MediaError, open, write_image};
use crate::picture::{Frame, Recipe, Tail, cpu};
use crate::show::{Shot, Show, recipe};

/// What is rendered, and how.
pub struct Job<'a> {
    /// The document.
    pub show: &'a Show,
    /// Its folder.
    pub dir: &'a Path,
    /// Shots by number, in order.
    pub shots: Vec<usize>,
    /// Frames of each shot, from 0, to render; all when `None`. What a shot does not have is left out.
    pub frames: Option<std::ops::RangeInclusive<u64>>,
    /// Folder that the files go to; made if need be. Each shot gets a folder of its own.
    pub out: &'a Path,
    /// Kind of file.
    pub format: ImageFormat,
    /// What the graded picture is turned into, as [`Show::tail`] and [`Show::tail_of`] have it. `None`: nothing, the
    /// scene-linear picture, ACEScg, for EXR.
    pub tail: Option<Tail>,
    /// The GPU, or none for the CPU.
    pub gpu: Option<Arc<Gpu>>,
}

/// How far a render is.
#[derive(Clone, Debug)]
pub struct Progress {
    /// The shot being rendered.
    pub shot: String,
    /// Frames written of all shots.
    pub done: u64,
    /// Frames to write of all shots.
    pub total: u64,
    /// Time spent.
    pub elapsed: Duration,
}

impl Progress {
    /// Time left at the speed so far.
    pub fn left(&self) -> Option<Duration> {
        (self.done > 0).then(|| self.elapsed.mul_f64((self.total - self.done) as f64 / self.done as f64))
    }
}

/// Why a render ended early.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// A frame could not be read or written.
    #[error("shot {shot:?}, frame {frame}: {error}")]
    Media {
        /// The shot.
        shot: String,
        /// Its frame, from 0.
        frame: u64,
        /// What went wrong.
        error: MediaError,
    },
    /// A source could not be opened.
    #[error("shot {shot:?}: {error}")]
    Source {
        /// The shot.
        shot: String,
        /// What went wrong.
        error: MediaError,
    },
    /// Nothing says how large the pictures are.
    #[error(
        "the show has no raster, and its first shot's frames, whose size it would be, are not there: {0}"
    )]
    Raster(MediaError),
    /// The GPU failed.
    #[error(transparent)]
    Gpu(#[from] GpuError),
    /// The folder could not be made.
    #[error("the folder {} could not be made: {error}", path.display())]
    Folder {
        /// Which.
        path: PathBuf,
        /// Why.
        error: std::io::Error,
    },
    /// A file of this kind holds display signal.
    #[error("{0} files hold a display's signal: give --display, or --format exr for scene-linear ACEScg")]
    NeedsDisplay(&'static str),
    /// Two shots would go to the same files.
    #[error("the shots {0:?} and {1:?} would be written to the same files; give one of them another name")]
    SameFiles(String, String),
    /// A thread ended by itself.
    #[error("a worker stopped; its last words are above")]
    Worker,
}

/// A finished frame on its way to a file.
enum Finished {
    Codes(Vec<[u16; 3]>, u32),
    Float(Vec<[f32; 3]>, bool),
}

/// Bits of a file's codes and whether they are dithered.
fn depth(format: ImageFormat) -> (u32, bool) {
    match format {
        ImageFormat::Dpx => (10, true),
        // One code of 16 bits is far under what dither is for.
        _ => (16, false),
    }
}

/// The file for a frame: `OUT/SHOT/SHOT.00000.png`, numbered from the shot's first frame as 0.
pub fn file_name(out: &Path, shot: &Shot, frame: u64, format: ImageFormat) -> PathBuf {
    let name: String =
        shot.name.chars().map(|c| if c.is_alphanumeric() || "-_. ".contains(c) { c } else { '_' }).collect();
    // A name of dots would leave the folder.
    let name = if name.chars().all(|c| c == '.' || c == ' ') { format!("shot{name}") } else { name };
    out.join(&name).join(format!("{name}.{frame:05}.{}", format.extension()))
}

/// Renders; returns how many frames were written. `progress` is called after each.
pub fn render(job: &Job<'_>, progress: &mut dyn FnMut(&Progress)) -> Result<u64, RenderError> {
    if job.tail.is_none() && job.format != ImageFormat::Exr {
        return Err(RenderError::NeedsDisplay(job.format.key()));
    }
    let start = Instant::now();
    let frames_of = |shot: &Shot| {
        let length = shot.frames().end - shot.frames().start;
        match &job.frames {
            Some(range) => *range.start()..range.end().saturating_add(1).min(length),
            None => 0..length,
        }
    };
    let shots: Vec<(usize, &Shot)> =
        job.shots.iter().filter_map(|&i| Some((i, job.show.shots.get(i)?))).collect();
    for (i, (_, a)) in shots.iter().enumerate() {
        // Some file systems do not tell capitals from small letters.
        let folder = |shot| file_name(job.out, shot, 0, job.format).to_string_lossy().to_lowercase();
        if let Some((_, b)) = shots[..i].iter().find(|(_, b)| folder(b) == folder(a)) {
            return Err(RenderError::SameFiles(b.name.clone(), a.name.clone()));
        }
    }
    let total = shots.iter().map(|(_, s)| frames_of(s).count() as u64).sum();
    let raster = if total > 0 { raster(job.show, job.dir).map_err(RenderError::Raster)? } else { None };
    let mut done = 0;
    for (index, shot) in shots {
        let frames = frames_of(shot);
        if frames.is_empty() {
            continue;
        }
        let first = file_name(job.out, shot, 0, job.format);
        let folder = first.parent().unwrap_or(job.out);
        std::fs::create_dir_all(folder)
            .map_err(|error| RenderError::Folder { path: folder.to_owned(), error })?;
        render_shot(job, index, shot, raster, frames, &mut |_| {
            done += 1;
            progress(&Progress { shot: shot.name.clone(), done, total, elapsed: start.elapsed() });
        })?;
    }
    Ok(done)
}

fn render_shot(
    job: &Job<'_>,
    index: usize,
    shot: &Shot,
    raster: Option<(u32, u32)>,
    frames: std::ops::Range<u64>,
    written: &mut dyn FnMut(u64),
) -> Result<(), RenderError> {
    let name = || shot.name.clone();
    let mut source = open(&shot.source_path(job.dir), &interpretation(shot))
        .map_err(|error| RenderError::Source { shot: name(), error })?;
    let tail = match &job.tail {
        Some(tail) => tail.clone(),
        None => Tail::Encoding(encoding("acescg").ok_or(RenderError::Worker)?),
    };
    let (decoded, to_grade) = bounded::<(u64, Result<Frame, MediaError>)>(3);
    let (graded, to_write) = bounded::<(u64, Finished, (u32, u32))>(3);
    let (told, news) = bounded::<Result<u64, RenderError>>(64);
    let over = AtomicBool::new(false);
    let stopping = || over.load(Ordering::Acquire);
    let writers = std::thread::available_parallelism().map_or(1, |n| n.get().div_ceil(2));
    std::thread::scope(|scope| {
        let (range, start) = (frames.clone(), shot.frames().start);
        scope.spawn({
            let stopping = &stopping;
            move || {
                for frame in range {
                    if stopping() || decoded.send((frame, source.frame(start + frame))).is_err() {
                        return;
                    }
                }
            }
        });
        scope.spawn({
            let (told, stopping) = (told.clone(), &stopping);
            move || {
                let result = grade(job, index, raster, &tail, to_grade, graded, stopping, &name);
                if let Err(e) = result {
                    let _ = told.send(Err(e));
                }
            }
        });
        for _ in 0..writers {
            let (to_write, told, stopping) = (to_write.clone(), told.clone(), &stopping);
            scope.spawn(move || {
                for (frame, finished, size) in to_write {
                    if stopping() {
                        return;
                    }
                    let path = file_name(job.out, shot, frame, job.format);
                    let result = write(&path, job.format, &finished, size);
                    let result = result.map(|()| frame).map_err(|error| RenderError::Media {
                        shot: shot.name.clone(),
                        frame,
                        error,
                    });
                    if told.send(result).is_err() {
                        return;
                    }
                }
            });
        }
        drop((told, to_write));
        let mut first_error = None;
        let mut count = 0;
        for result in news {
            match result {
                Ok(frame) => {
                    count += 1;
                    written(frame);
                }
                Err(e) => {
                    over.store(true, Ordering::Release);
                    first_error.get_or_insert(e);
                }
            }
        }
        match first_error {
            Some(e) => Err(e),
            None if count < frames.count() => Err(RenderError::Worker),
            None => Ok(()),
        }
    })
}

fn grade(
    job: &Job<'_>,
    index: usize,
    raster: Option<(u32, u32)>,
    tail: &Tail,
    to_grade: crossbeam_channel::Receiver<(u64, Result<Frame, MediaError>)>,
    graded: crossbeam_channel::Sender<(u64, Finished, (u32, u32))>,
    stopping: &dyn Fn() -> bool,
    name: &dyn Fn() -> String,
) -> Result<(), RenderError> {
    let half = job.tail.is_none();
    for (number, frame) in to_grade {
        if stopping() {
            return Ok(());
        }
        let frame = frame.map_err(|error| RenderError::Media { shot: name(), frame: number, error })?;
        let Some(mut recipe) = recipe(job.show, index, tail.clone(), number as u32) else {
            return Err(RenderError::Worker);
        };
        recipe.raster = raster;
        let finished = finish(job, &recipe, &frame, half)?;
        if graded.send((number, finished, recipe.size(&frame))).is_err() {
            return Ok(());
        }
    }
    Ok(())
}

fn finish(job: &Job<'_>, recipe: &Recipe, frame: &Frame, half: bool) -> Result<Finished, GpuError> {
    let (bits, dither) = depth(job.format);
    Ok(match (&job.gpu, job.format) {
        (Some(gpu), ImageFormat::Exr) => Finished::Float(gpu.signal(recipe, frame)?, half),
        (Some(gpu), _) => Finished::Codes(gpu.codes(recipe, frame, bits, dither)?.finish(gpu)?, bits),
        (None, ImageFormat::Exr) => Finished::Float(cpu::signal(recipe, frame).pixels, half),
        (None, _) => Finished::Codes(cpu::codes(recipe, frame, bits, dither).pixels, bits),
    })
}

fn write(
    path: &Path,
    format: ImageFormat,
    finished: &Finished,
    (width, height): (u32, u32),
) -> Result<(), MediaError> {
    let image = match finished {
        Finished::Codes(pixels, depth) => Image::Codes { width, height, depth: *depth, pixels },
        Finished::Float(pixels, half) => Image::Floats { width, height, pixels, primaries: AP1, half: *half },
    };
    write_image(path, format, &image)
}
