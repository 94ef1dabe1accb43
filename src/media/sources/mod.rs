//! Where frames come from.

mod pattern;
mod sequence;
mod square;
#[cfg(feature = "video")]
mod video;

use std::path::{Path, PathBuf};

#[cfg(feature = "video")]
pub(super) use video::{discard_others, open_input, start as start_ffmpeg};

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
    /// The rate that a file with frames at uneven times is laid on, so that it keeps its time: the show's.
    pub laid_on: Option<Rate>,
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
    /// What the file says of its colours.
    pub points: CodePoints,
    /// Width to height of a pixel as it is stored; where that is not square, width and height are those of the frames made square.
    pub pixel_aspect: (u32, u32),
    /// Each stream of sound, in words.
    pub sound: Vec<String>,
    /// Degrees that frames are turned clockwise to be upright; width and height are those after it.
    pub turned: u32,
}

/// Code points of ITU-T H.273 that a file carries: tables 2, 3 and 4. `None`: it says nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CodePoints {
    /// Colour primaries.
    pub primaries: Option<u32>,
    /// Transfer characteristics.
    pub transfer: Option<u32>,
    /// Matrix coefficients.
    pub matrix: Option<u32>,
}

impl CodePoints {
    /// The same without what says nothing: 2, "unspecified", and what is reserved.
    fn known(self) -> Self {
        let known = |v: Option<u32>| v.filter(|v| *v != 2 && *v < 256);
        let Self { primaries, transfer, matrix } = self;
        let coded = |v: Option<u32>| known(v).filter(|v| *v != 0);
        Self { primaries: coded(primaries), transfer: coded(transfer), matrix: known(matrix) }
    }

    /// In words, as the table has them: "BT.709, BT.709, BT.709".
    pub fn text(&self) -> String {
        let word = |v: Option<u32>, names: &[(u32, &'static str)]| match v {
            None => "untagged".to_owned(),
            Some(v) => {
                names.iter().find(|n| n.0 == v).map_or_else(|| format!("code {v}"), |n| n.1.to_owned())
            }
        };
        const PRIMARIES: &[(u32, &str)] = &[
            (1, "BT.709"),
            (5, "BT.601 625"),
            (6, "BT.601 525"),
            (9, "BT.2020"),
            (11, "P3-DCI"),
            (12, "P3-D65"),
        ];
        const TRANSFER: &[(u32, &str)] = &[
            (1, "BT.709"),
            (4, "gamma 2.2"),
            (5, "gamma 2.8"),
            (6, "BT.601"),
            (8, "linear"),
            (13, "sRGB"),
            (14, "BT.2020 10 bit"),
            (15, "BT.2020 12 bit"),
            (16, "PQ"),
            (17, "ST 428-1"),
            (18, "HLG"),
        ];
        const MATRIX: &[(u32, &str)] =
            &[(0, "R'G'B'"), (1, "BT.709"), (5, "BT.601"), (6, "BT.601"), (9, "BT.2020"), (10, "BT.2020 CL")];
        format!(
            "primaries {}, transfer {}, matrix {}",
            word(self.primaries, PRIMARIES),
            word(self.transfer, TRANSFER),
            word(self.matrix, MATRIX)
        )
    }
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

/// Reads one image file, whatever other files beside it are called.
///
/// # Errors
/// Not there, not a kind that is read, damaged.
pub fn read_image(path: &Path) -> Result<Frame, MediaError> {
    sequence::read_one(path)
}

/// The image sequences in a folder, as patterns; a single image as its file.
pub(super) fn sequences_in(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let all = pattern::Pattern::of_folder(folder)?;
    Ok(all.iter().map(|p| folder.join(p.name())).collect())
}

/// The first file that fits a pattern.
pub(super) fn first_of_pattern(path: &Path) -> Option<PathBuf> {
    let pattern = pattern::Pattern::parse(path)?;
    let (first, ..) = pattern.present().ok()??;
    Some(pattern.path(first))
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
