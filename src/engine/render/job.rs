//! What is rendered, and what can be said of it.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::gpu::{Gpu, GpuError};
use crate::media::movie::{Container, MovieFormat};
use crate::media::{ImageFormat, MediaError};
use crate::picture::Tail;
use crate::show::Show;

/// The kind of file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// A file for each frame.
    Images(ImageFormat),
    /// A file for each shot, or for all.
    Movie(&'static MovieFormat),
}

impl Kind {
    /// What commands call it.
    pub fn key(self) -> &'static str {
        match self {
            Self::Images(format) => format.key(),
            Self::Movie(format) => format.key,
        }
    }

    /// Every kind's key.
    pub fn keys() -> impl Iterator<Item = &'static str> {
        let movies = crate::media::movie::MOVIES.iter().map(|m| m.key);
        ImageFormat::ALL.into_iter().map(ImageFormat::key).chain(movies)
    }

    /// The one called `key`.
    pub fn from_key(key: &str) -> Option<Self> {
        let movie = || MovieFormat::from_key(key).map(Self::Movie);
        ImageFormat::from_key(key).map(Self::Images).or_else(movie)
    }
}

impl From<ImageFormat> for Kind {
    fn from(format: ImageFormat) -> Self {
        Self::Images(format)
    }
}

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
    /// Folder that the files go to; made if need be. Images of a shot get a folder of their own.
    pub out: &'a Path,
    /// Kind of file.
    pub format: Kind,
    /// What the graded picture is turned into, as [`Show::tail`] and [`Show::tail_of`] have it. `None`: nothing, the
    /// scene-linear picture, ACEScg, for EXR.
    pub tail: Option<Tail>,
    /// The GPU, or none for the CPU.
    pub gpu: Option<Arc<Gpu>>,
    /// The rest.
    pub options: Options<'a>,
}

/// What is seldom asked for.
#[derive(Clone, Debug, Default)]
pub struct Options<'a> {
    /// Size of the files in place of the show's raster.
    pub size: Option<(u32, u32)>,
    /// Which share of the work is done.
    pub part: Part,
    /// Are frames rendered again that are there with the same settings?
    pub again: bool,
    /// One movie of all shots, of this name, in place of one for each.
    pub one_movie: Option<String>,
    /// The label of a movie's first frame in place of its source's.
    pub timecode: Option<String>,
    /// Is the sources' sound left out?
    pub silent: bool,
    /// EXR in half or single floats; halves for scene-linear light and singles for signal where nothing is said.
    pub half: Option<bool>,
    /// A movie's container in place of its kind's usual one.
    pub container: Option<Container>,
    /// A movie's constant rate factor in place of its kind's own.
    pub factor: Option<u32>,
    /// Becomes true where the render is to stop.
    pub stop: Option<&'a AtomicBool>,
}

impl Options<'_> {
    pub(super) fn stopping(&self) -> bool {
        self.stop.is_some_and(|s| s.load(Ordering::Acquire))
    }
}

/// One of several equal shares of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// Which, from 1.
    pub number: u64,
    /// Of how many.
    pub of: u64,
}

impl Default for Part {
    fn default() -> Self {
        Self { number: 1, of: 1 }
    }
}

impl Part {
    /// Which of `count` things it has: without gaps, each in one part only.
    pub fn of_all(self, count: usize) -> std::ops::Range<usize> {
        let edge = |n: u64| (count as u128 * u128::from(n) / u128::from(self.of)) as usize;
        edge(self.number - 1)..edge(self.number)
    }
}

/// How far a render is.
#[derive(Clone, Debug)]
pub struct Progress {
    /// What is being rendered: a shot, or a movie.
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

/// What came of a render.
#[derive(Clone, Debug, Default)]
pub struct Rendered {
    /// Frames that were rendered.
    pub written: u64,
    /// Frames that were there already, with the same settings.
    pub kept: u64,
    /// Was it stopped before its end?
    pub stopped: bool,
    /// Movies that are complete.
    pub movies: Vec<PathBuf>,
    /// Movies of which other parts are still to come.
    pub waiting: Vec<PathBuf>,
    /// What was left out or done anew, in words.
    pub notes: Vec<String>,
    /// Where the time went.
    pub times: Times,
}

/// Time that each step was at work; they work side by side.
#[derive(Clone, Copy, Debug, Default, serde::Serialize)]
pub struct Times {
    /// Reading and decoding, seconds.
    pub decode: f64,
    /// Grading, with the way to the GPU and back.
    pub grade: f64,
    /// Packing into planes, encoding, writing.
    pub write: f64,
    /// Putting movies together.
    pub join: f64,
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
    /// A movie cannot be made so, or could not be put together.
    #[error(transparent)]
    Movie(MediaError),
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
    /// Somebody else renders the same.
    #[error(
        "another render is at work on part {number} of {of} of {}; wait for it, or give another --out", path.display()
    )]
    Busy {
        /// What it writes.
        path: PathBuf,
        /// The part.
        number: u64,
        /// Of how many.
        of: u64,
    },
    /// A label that no frame has.
    #[error(transparent)]
    Timecode(MediaError),
    /// A thread ended by itself.
    #[error("a worker stopped; its last words are above")]
    Worker,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_leave_nothing_out_and_do_nothing_twice() {
        for count in [0usize, 1, 7, 8, 9, 200, 1001] {
            for of in [1u64, 2, 3, 8, 16] {
                let parts = (1..=of).map(|number| Part { number, of }.of_all(count));
                let all: Vec<usize> = parts.clone().flatten().collect();
                assert_eq!(all, (0..count).collect::<Vec<_>>());
                let sizes: Vec<usize> = parts.map(|p| p.len()).collect();
                assert!(sizes.iter().max().unwrap() - sizes.iter().min().unwrap() <= 1, "equal shares");
            }
        }
    }

    #[test]
    fn every_kind_is_found_by_its_key() {
        for key in Kind::keys() {
            assert_eq!(Kind::from_key(key).unwrap().key(), key);
        }
        assert_eq!(Kind::from_key("film"), None);
    }
}
