//! Where frames come from.

mod pattern;
mod sequence;
#[cfg(feature = "video")]
mod video;

use std::path::{Path, PathBuf};

use super::image_file::ImageFormat;
use super::{MediaError, Rate};
use crate::colour::{Range, YcbcrMatrix};
use crate::picture::{Chroma, Format, Frame, Model, Sample, Siting};

/// What a person knows better than the file: each field that is set replaces what the file says.
///
/// Matrix and siting are ignored for RGB files; range is ignored for floats.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Interpretation {
    /// Narrow or full.
    pub range: Option<Range>,
    /// Luma weights of Y'CbCr.
    pub matrix: Option<YcbcrMatrix>,
    /// Where chroma samples sit.
    pub siting: Option<Siting>,
    /// Frames a second.
    pub rate: Option<Rate>,
}

/// What is known about a source without decoding all of it.
#[derive(Clone, Debug)]
pub struct ClipInfo {
    /// For people: the file's name, or a sequence's name with `####` for its numbers.
    pub name: String,
    /// The video file, or the first file of the sequence that is there.
    pub path: PathBuf,
    /// Frames, counting those of a sequence that are missing.
    pub frames: u64,
    /// Frames of a sequence for which there is no file.
    pub missing: u64,
    /// Frames a second.
    pub rate: Rate,
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// What the samples of every frame mean.
    pub format: Format,
    /// Frames from midnight to frame 0, if the file carries timecode.
    pub timecode_start: Option<u64>,
    /// Does the file's timecode drop labels (SMPTE ST 12-1)?
    pub drop_frame: bool,
    /// What the file is and what had to be assumed, in a line.
    pub description: String,
    /// Was the range or the luma weights of its samples assumed, since neither the file nor anybody says?
    pub assumed: bool,
    /// Number in the name of a sequence's frame 0; 0 for a video.
    pub first_number: u64,
}

/// Frames by number.
pub trait Source: Send {
    /// What is known about it.
    fn info(&self) -> &ClipInfo;

    /// Frame `number`, from 0. Asking in ascending order is fast; any order gives the same frames.
    ///
    /// # Errors
    /// Past the end, missing from a sequence, unreadable, or different in size or format from the first.
    fn frame(&mut self, number: u64) -> Result<Frame, MediaError>;

    /// The file that frame `number` is read from, whether it is there or not.
    fn file(&self, number: u64) -> PathBuf {
        let _ = number;
        self.info().path.clone()
    }
}

/// Opens a video file or an image sequence.
///
/// A sequence is given by any of its files (the whole of it is opened), by a folder that holds one sequence
/// and nothing else, or by a pattern: `shot.####.dpx` or `shot.%04d.dpx`. A file's number is the digits at
/// the end of its name, before the extension; without numbered neighbours it is a sequence of one frame.
///
/// # Errors
/// Nothing there, not a kind that is read, empty, damaged where its header should be.
pub fn open(path: &Path, as_: &Interpretation) -> Result<Box<dyn Source>, MediaError> {
    if path.is_dir() {
        return Ok(Box::new(sequence::Sequence::of_folder(path, as_)?));
    }
    let length = match std::fs::metadata(path) {
        Ok(data) => data.len(),
        Err(_) if pattern::Pattern::parse(path).is_some() => {
            return Ok(Box::new(sequence::Sequence::of_pattern(path, as_)?));
        }
        Err(e) => return Err(MediaError::io(path, "opened", e)),
    };
    if ImageFormat::of_path(path).is_some() {
        return Ok(Box::new(sequence::Sequence::of_file(path, as_)?));
    }
    if length == 0 {
        return Err(MediaError::refused(path, "the file is empty (0 bytes)", ACCEPTED));
    }
    open_video(path, as_)
}

const ACCEPTED: &str = "video files, and image sequences of PNG, TIFF, EXR or DPX files";

#[cfg(feature = "video")]
fn open_video(path: &Path, as_: &Interpretation) -> Result<Box<dyn Source>, MediaError> {
    Ok(Box::new(video::Video::open(path, as_)?))
}

#[cfg(not(feature = "video"))]
fn open_video(path: &Path, _: &Interpretation) -> Result<Box<dyn Source>, MediaError> {
    Err(MediaError::refused(
        path,
        "not an image file, and this program was built without video (cargo feature `video`)",
        "image sequences of PNG, TIFF, EXR or DPX files",
    ))
}

/// "4:2:2 10 bit, narrow" or "RGB half float".
fn describe(format: &Format) -> String {
    let layout = match (format.model, format.chroma) {
        (Model::Rgb, _) => "RGB",
        (_, Chroma::C444) => "4:4:4",
        (_, Chroma::C422) => "4:2:2",
        (_, Chroma::C420) => "4:2:0",
    };
    let range = match format.range {
        Range::Narrow => "narrow",
        Range::Full => "full",
    };
    match format.sample {
        Sample::F16 => format!("{layout} half float"),
        Sample::F32 => format!("{layout} float"),
        Sample::U8 | Sample::U16 => format!("{layout} {} bit, {range}", format.depth),
    }
}
