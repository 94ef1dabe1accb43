//! Image sequences: PNG, TIFF, OpenEXR, DPX.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use image::{ColorType, ImageDecoder, ImageReader, Limits};

use super::pattern::Pattern;
use super::square::Square;
use super::{ClipInfo, Interpretation, Source, describe};
use crate::colour::Range;
use crate::media::error::Problem;
use crate::media::timecode::Counting;
use crate::media::{MediaError, Rate, dpx, openexr};
use crate::picture::{Buffer, Format, Frame, MAX_SIDE, Pool, Sample};

const ACCEPTED: &str =
    "PNG and TIFF of 8 or 16 bits, OpenEXR of half or single floats, RGB DPX of 8 to 16 bits";
const ACCEPTED_FOLDER: &str =
    "a folder with one sequence of PNG, TIFF, EXR or DPX files, or one of its files";

/// Spare planes kept for reuse.
const SPARE: usize = 12;

/// An image sequence.
pub struct Sequence {
    pattern: Pattern,
    info: ClipInfo,
    /// Size and format of the files.
    stored: ((u32, u32), Format),
    square: Option<Square>,
    pool: Arc<Pool>,
    /// Bytes of the last file that was read whole, kept for their capacity.
    scratch: Vec<u8>,
}

impl Sequence {
    /// The sequence that a file belongs to.
    pub fn of_file(path: &Path, as_: &Interpretation) -> Result<Self, MediaError> {
        let pattern = Pattern::of_file(path).map_err(|e| MediaError::io(path, "opened", e))?;
        let Some(pattern) = pattern else {
            return Err(MediaError::refused(path, "the file's name is not UTF-8", "a name in UTF-8"));
        };
        Self::new(pattern, path, as_)
    }

    /// The one sequence in a folder.
    pub fn of_folder(path: &Path, as_: &Interpretation) -> Result<Self, MediaError> {
        let mut found = Pattern::of_folder(path).map_err(|e| MediaError::io(path, "opened", e))?;
        match found.len() {
            1 => Self::new(found.remove(0), path, as_),
            0 => Err(MediaError::refused(path, "the folder holds no image files", ACCEPTED_FOLDER)),
            n => {
                let names: Vec<String> = found.iter().take(3).map(Pattern::name).collect();
                let more = if n > 3 { ", …" } else { "" };
                let what = format!("the folder holds {n} sequences: {}{more}", names.join(", "));
                Err(MediaError::refused(path, what, ACCEPTED_FOLDER))
            }
        }
    }

    /// A pattern as typed.
    pub fn of_pattern(path: &Path, as_: &Interpretation) -> Result<Self, MediaError> {
        match Pattern::parse(path) {
            Some(pattern) => Self::new(pattern, path, as_),
            None => Err(MediaError::refused(path, "not a pattern", "name.####.ext or name.%04d.ext")),
        }
    }

    fn new(pattern: Pattern, path: &Path, as_: &Interpretation) -> Result<Self, MediaError> {
        let present = pattern.present().map_err(|e| MediaError::io(path, "opened", e))?;
        let Some((first, last, count)) = present else {
            return Err(MediaError::refused(path, "no file has such a name", ACCEPTED));
        };
        let file = pattern.path(first);
        let header = Header::read(&file)?;
        let format = header.format(as_);
        let rate = as_.rate.or(header.rate());
        let (timecode, unread) = match header.timecode() {
            None => (None, ""),
            Some((text, drop)) => {
                let counting = Counting::of(rate.unwrap_or(Rate::FPS_24), drop);
                match counting.count(&text) {
                    Ok(count) => (Some((count, counting.is_dropping())), ""),
                    // At another rate than it was written for a label may not exist.
                    Err(_) => (None, ", its timecode does not fit its rate"),
                }
            }
        };
        let frames = (last - first).saturating_add(1);
        let missing = frames - count;
        let mut description = format!("{} {}", header.kind(), describe(&format));
        description += &header.note();
        if rate.is_none() && frames > 1 {
            description += ", 24 frames/s (untagged: assumed)";
        }
        description += unread;
        if missing > 0 {
            description += &format!(", {missing} missing");
        }
        let stored = (header.size(), format);
        let square = Square::of(header.pixel_aspect(), stored.0);
        let ((width, height), format) = match square {
            Some(square) => {
                let (x, y) = header.pixel_aspect();
                description += &format!(", pixels of {x}:{y} made square");
                (square.size, Square::format(format))
            }
            None => stored,
        };
        let info = ClipInfo {
            assumed: false,
            name: pattern.name(),
            path: file,
            frames,
            missing,
            rate: rate.unwrap_or(Rate::FPS_24),
            width,
            height,
            format,
            timecode_start: timecode.map(|t| t.0),
            drop_frame: timecode.is_some_and(|t| t.1),
            description,
            first_number: first,
            points: super::CodePoints::default(),
            pixel_aspect: header.pixel_aspect(),
            turned: 0,
            sound: Vec::new(),
        };
        Ok(Self { pattern, info, stored, square, pool: Pool::new(SPARE), scratch: Vec::new() })
    }
}

impl Source for Sequence {
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn file(&self, number: u64) -> PathBuf {
        self.pattern.path(self.info.first_number.saturating_add(number))
    }

    fn frame(&mut self, number: u64) -> Result<Frame, MediaError> {
        let info = &self.info;
        if number >= info.frames {
            let (file, frames) = (info.path.clone(), info.frames);
            return Err(MediaError::PastEnd { file, number, frames });
        }
        let file = self.pattern.path(info.first_number + number);
        if !file.exists() {
            return Err(MediaError::Missing { file, number });
        }
        let header = Header::read(&file)?;
        let (width, height) = header.size();
        let (sample, depth) = header.sample();
        let (size, format) = self.stored;
        if ((width, height), sample, depth) != (size, format.sample, format.depth) {
            let found = describe(&Format { sample, depth, ..format });
            let first = describe(&format);
            return Err(MediaError::refused(
                &file,
                format!("it is {width}×{height}, {found}, unlike the first file"),
                format!("{}×{}, {first}", size.0, size.1),
            ));
        }
        let len = width as usize * height as usize * sample.bytes();
        let planes = std::array::from_fn(|_| self.pool.take(len));
        let planes = header.samples(&file, &mut self.scratch, planes)?;
        let refused = |e: crate::picture::FrameError| MediaError::refused(&file, e.to_string(), ACCEPTED);
        let frame = Frame::new(width, height, format, planes).map_err(refused)?;
        match self.square {
            None => Ok(frame),
            Some(square) => {
                Frame::new(info.width, info.height, info.format, square.planes(&frame)).map_err(refused)
            }
        }
    }
}

/// One image file as a frame.
pub(super) fn read_one(path: &Path) -> Result<Frame, MediaError> {
    let header = Header::read(path)?;
    let (width, height) = header.size();
    let format = header.format(&Interpretation::default());
    let len = width as usize * height as usize * format.sample.bytes();
    let planes = std::array::from_fn(|_| Buffer::from(vec![0; len]));
    let planes = header.samples(path, &mut Vec::new(), planes)?;
    Frame::new(width, height, format, planes).map_err(|e| MediaError::refused(path, e.to_string(), ACCEPTED))
}

/// What a still's header says.
enum Header {
    Dpx(dpx::Header),
    Exr(openexr::Header),
    /// PNG or TIFF.
    Codes {
        kind: &'static str,
        width: u32,
        height: u32,
        color: ColorType,
    },
}

impl Header {
    /// Reads a header; the file's contents say what it is, not its name.
    fn read(path: &Path) -> Result<Self, MediaError> {
        let io = |e| MediaError::io(path, "read", e);
        let file = File::open(path).map_err(io)?;
        let mut start = Vec::new();
        file.take(2048).read_to_end(&mut start).map_err(io)?;
        if start.is_empty() {
            return Err(MediaError::refused(path, "the file is empty (0 bytes)", ACCEPTED));
        }
        if dpx::is_dpx(&start) {
            return dpx::header(&start).map(Self::Dpx).map_err(|p| p.in_file(path));
        }
        if start.starts_with(&[0x76, 0x2F, 0x31, 0x01]) {
            return openexr::header(path).map(Self::Exr).map_err(|p| p.in_file(path));
        }
        let kind = match start.get(..4) {
            Some(b"\x89PNG") => "PNG",
            Some(b"II*\0" | b"MM\0*") => "TIFF",
            _ => {
                return Err(MediaError::refused(path, "not an image file that is read", ACCEPTED));
            }
        };
        let decoder = decoder(path)?;
        let ((width, height), color) = (decoder.dimensions(), decoder.color_type());
        if !(1..=MAX_SIDE).contains(&width) || !(1..=MAX_SIDE).contains(&height) {
            let what = format!("it says {width}×{height} pixels");
            return Err(MediaError::refused(path, what, format!("sides from 1 to {MAX_SIDE}")));
        }
        if matches!(color, ColorType::Rgb32F | ColorType::Rgba32F) {
            return Err(MediaError::refused(path, format!("{kind} with float samples"), ACCEPTED));
        }
        Ok(Self::Codes { kind, width, height, color })
    }

    fn kind(&self) -> &'static str {
        match self {
            Self::Dpx(_) => "DPX",
            Self::Exr(_) => "OpenEXR",
            Self::Codes { kind, .. } => kind,
        }
    }

    fn size(&self) -> (u32, u32) {
        match self {
            Self::Dpx(h) => (h.width, h.height),
            Self::Exr(h) => (h.width, h.height),
            Self::Codes { width, height, .. } => (*width, *height),
        }
    }

    fn sample(&self) -> (Sample, u32) {
        match self {
            Self::Dpx(h) if h.sample_bytes() == 1 => (Sample::U8, 8),
            Self::Dpx(h) => (Sample::U16, h.depth),
            Self::Exr(h) if h.half => (Sample::F16, 16),
            Self::Exr(_) => (Sample::F32, 16),
            Self::Codes { color, .. } if bytes_per_sample(*color) == 1 => (Sample::U8, 8),
            Self::Codes { .. } => (Sample::U16, 16),
        }
    }

    fn format(&self, as_: &Interpretation) -> Format {
        let (sample, depth) = self.sample();
        let range = as_.range.unwrap_or(Range::Full);
        Format { range, ..Format::rgb(sample, depth) }
    }

    fn rate(&self) -> Option<Rate> {
        match self {
            Self::Dpx(h) => h.rate,
            Self::Exr(h) => h.rate,
            Self::Codes { .. } => None,
        }
    }

    fn timecode(&self) -> Option<(String, bool)> {
        match self {
            Self::Dpx(h) => h.timecode.clone(),
            Self::Exr(h) => h.timecode.clone(),
            Self::Codes { .. } => None,
        }
    }

    /// Width to height of a pixel.
    fn pixel_aspect(&self) -> (u32, u32) {
        match self {
            Self::Dpx(h) => h.pixel_aspect,
            Self::Exr(h) => h.pixel_aspect,
            Self::Codes { .. } => (1, 1),
        }
    }

    fn note(&self) -> String {
        match self {
            Self::Exr(openexr::Header { layer: Some(layer), .. }) => format!(", layer {layer}"),
            Self::Codes { color, .. } if color.has_alpha() => ", alpha ignored".into(),
            Self::Codes { color, .. } if !color.has_color() => ", grey".into(),
            _ => String::new(),
        }
    }

    /// Fills three planes with a file's samples.
    fn samples(
        &self,
        path: &Path,
        scratch: &mut Vec<u8>,
        mut planes: [Buffer; 3],
    ) -> Result<[Buffer; 3], MediaError> {
        match self {
            Self::Exr(h) => return h.read(path, planes).map_err(|p| p.in_file(path)),
            Self::Dpx(h) => {
                scratch.clear();
                let read = File::open(path).and_then(|mut f| f.read_to_end(scratch));
                read.map_err(|e| MediaError::io(path, "read", e))?;
                let planes = &mut planes.each_mut().map(|p| &mut **p);
                h.unpack(scratch, planes).map_err(|p| p.in_file(path))?;
            }
            Self::Codes { color, .. } => {
                let decoder = decoder(path)?;
                scratch.clear();
                scratch.resize(decoder.total_bytes() as usize, 0);
                decoder.read_image(scratch).map_err(|e| image_problem(&e).in_file(path))?;
                deinterleave(scratch, *color, planes.each_mut().map(|p| &mut **p));
            }
        }
        Ok(planes)
    }
}

fn bytes_per_sample(color: ColorType) -> usize {
    usize::from(color.bytes_per_pixel() / color.channel_count())
}

fn image_problem(e: &image::ImageError) -> Problem {
    Problem::new(format!("not readable: {e}"), ACCEPTED)
}

fn decoder(path: &Path) -> Result<impl ImageDecoder, MediaError> {
    let io = |e| MediaError::io(path, "read", e);
    let file = BufReader::with_capacity(1 << 18, File::open(path).map_err(io)?);
    let mut reader = ImageReader::new(file).with_guessed_format().map_err(io)?;
    let mut limits = Limits::default();
    // Room for the largest frame in 16-bit RGBA and the codec's own copy of it.
    limits.max_alloc = Some(5 << 30);
    (limits.max_image_width, limits.max_image_height) = (Some(MAX_SIDE), Some(MAX_SIDE));
    reader.limits(limits);
    reader.into_decoder().map_err(|e| image_problem(&e).in_file(path))
}

/// Interleaved samples in the machine's order to little-endian planes; grey goes to all three, alpha nowhere.
fn deinterleave(bytes: &[u8], color: ColorType, planes: [&mut [u8]; 3]) {
    let channels = usize::from(color.channel_count());
    for (c, plane) in planes.into_iter().enumerate() {
        let c = if color.has_color() { c } else { 0 };
        if bytes_per_sample(color) == 1 {
            for (out, pixel) in plane.iter_mut().zip(bytes.chunks_exact(channels)) {
                *out = pixel[c];
            }
        } else {
            for (out, pixel) in plane.chunks_exact_mut(2).zip(bytes.chunks_exact(2 * channels)) {
                let sample = u16::from_ne_bytes([pixel[2 * c], pixel[2 * c + 1]]);
                out.copy_from_slice(&sample.to_le_bytes());
            }
        }
    }
}
