//! Stills made, brought in, and made ready to be compared with. Nothing here is for the engine's thread.

use std::path::Path;
use std::sync::Arc;
use std::time::SystemTime;

use rayon::prelude::*;

use crate::colour::{Display, encoding};
use crate::gpu::{Gpu, GpuError, Output as GpuOutput};
use crate::media::{Image, ImageFormat, Interpretation, MediaError, image_bytes, open, read_image};
use crate::picture::{Carried, Frame, Framing, Recipe, Tail, cpu};
use crate::show::{
    NewStill, Output, OutputSettings, STILLS_FOLDER, Show, ShowError, Still, StillFrame, keep_still, recipe,
    utc,
};

/// Why there is no still.
#[derive(Debug, thiserror::Error)]
pub enum StillError {
    /// The folder, or what is in it.
    #[error(transparent)]
    Show(#[from] ShowError),
    /// A picture's file.
    #[error(transparent)]
    Media(#[from] MediaError),
    /// The GPU.
    #[error(transparent)]
    Gpu(#[from] GpuError),
    /// The picture is not what was kept.
    #[error("{file} is not the picture that was kept: its checksum is {found:08x}, not {kept:08x}")]
    Damaged {
        /// The file.
        file: String,
        /// CRC-32 of what is there.
        found: u32,
        /// CRC-32 of what was kept.
        kept: u32,
    },
    /// Something that there is not.
    #[error("{what}; accepted: {accepted}")]
    Missing {
        /// What.
        what: String,
        /// What would be right.
        accepted: String,
    },
}

/// A frame that is to be kept as a still.
pub struct Keeping<'a> {
    /// The document.
    pub show: &'a Show,
    /// Its folder.
    pub dir: &'a Path,
    /// The shot's number, from 0.
    pub shot: usize,
    /// The frame's number in the shot, from 0.
    pub number: u64,
    /// The frame.
    pub frame: &'a Frame,
    /// Size of every picture.
    pub raster: (u32, u32),
    /// The frame's timecode.
    pub timecode: String,
    /// What the still will be called; empty: shot and timecode.
    pub name: &'a str,
    /// A line about it.
    pub note: &'a str,
    /// The GPU, or none for the CPU.
    pub gpu: Option<&'a Gpu>,
}

/// Grades a frame as the desk's output has it, without its calibration and without dither, and keeps it as a 16-bit PNG
/// with its settings.
///
/// # Errors
/// See [`StillError`]; nothing is left half written then.
pub fn keep_frame(keeping: &Keeping<'_>) -> Result<Still, StillError> {
    let Keeping { show, dir, shot, number, frame, raster, .. } = *keeping;
    let missing = || StillError::Missing {
        what: format!("the show has no shot {}", shot + 1),
        accepted: "a shot that it has".into(),
    };
    let settings = OutputSettings { calibration: None, ..show.outputs.get(Output::Desk).clone() };
    let only = show.with_only(shot).ok_or_else(missing)?;
    let seed = u32::try_from(number).unwrap_or(u32::MAX);
    let mut recipe = recipe(show, shot, show.tail_of(&settings), seed).ok_or_else(missing)?;
    recipe.raster = Some(raster);
    let pixels = match keeping.gpu {
        Some(gpu) => gpu.codes(&recipe, frame, 16, false)?.finish(gpu)?,
        None => cpu::codes(&recipe, frame, 16, false).pixels,
    };
    let image = Image::Codes { width: raster.0, height: raster.1, depth: 16, pixels: &pixels };
    let picture = image_bytes(&dir.join(STILLS_FOLDER), ImageFormat::Png, &image)?;
    let shot_name = &only.shots[0].name;
    let given = if keeping.name.trim().is_empty() {
        format!("{shot_name} {}", keeping.timecode)
    } else {
        keeping.name.to_owned()
    };
    let of = StillFrame { shot: shot_name.clone(), frame: number, timecode: keeping.timecode.clone() };
    let new = NewStill {
        name: &given,
        note: keeping.note,
        kept: utc(SystemTime::now()),
        picture: &picture,
        extension: ImageFormat::Png.extension(),
        size: raster,
        display: settings.display.clone(),
        of: Some((of, &only)),
    };
    Ok(keep_still(dir, &new)?)
}

/// A picture's file as a frame: image files by themselves, all else as the first frame that the video reader finds.
fn read_picture(file: &Path) -> Result<Frame, MediaError> {
    match ImageFormat::of_path(file) {
        Some(_) => read_image(file),
        None => open(file, &Interpretation::default())?.frame(0),
    }
}

/// Is a file of that name one that may be brought in as a reference?
pub fn is_picture_file(file: &Path) -> bool {
    let jpeg = |e: &std::ffi::OsStr| ["jpg", "jpeg"].iter().any(|j| e.eq_ignore_ascii_case(j));
    ImageFormat::of_path(file).is_some() || (cfg!(feature = "video") && file.extension().is_some_and(jpeg))
}

/// Keeps a picture from outside among the stills, as it is: its values are taken for a display's signal.
///
/// # Errors
/// See [`StillError`].
pub fn bring_in(dir: &Path, file: &Path, name: &str, display: Arc<Display>) -> Result<Still, StillError> {
    let frame = read_picture(file)?;
    let bytes = std::fs::read(file).map_err(|source| ShowError::Io {
        doing: "read",
        path: file.to_owned(),
        source,
    })?;
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let extension = file.extension().unwrap_or_default().to_string_lossy().to_ascii_lowercase();
    let new = NewStill {
        name: if name.trim().is_empty() { &stem } else { name },
        note: "",
        kept: utc(SystemTime::now()),
        picture: &bytes,
        extension: &extension,
        size: (frame.width, frame.height),
        display,
        of: None,
    };
    Ok(keep_still(dir, &new)?)
}

/// A still's picture in a raster, whole and as large as fits, as signal 0…1 of its display, row by row. Its file has to be
/// what was kept.
///
/// # Errors
/// See [`StillError`].
pub fn still_signal(dir: &Path, still: &Still, raster: (u32, u32)) -> Result<Vec<[f32; 3]>, StillError> {
    let path = still.picture_path(dir);
    let bytes =
        std::fs::read(&path).map_err(|source| ShowError::Io { doing: "read", path: path.clone(), source })?;
    let found = crc32fast::hash(&bytes);
    if found != still.checksum {
        return Err(StillError::Damaged { file: path.display().to_string(), found, kept: still.checksum });
    }
    let frame = read_picture(&path)?;
    // Linear to linear of the same primaries: the values as they are, only framed.
    let plain = encoding("acescg").ok_or_else(|| StillError::Missing {
        what: "there is no encoding acescg".into(),
        accepted: "one of the program's own".into(),
    })?;
    let recipe = Recipe::conversion(plain, Tail::Encoding(plain)).framed(Framing::default(), Some(raster));
    let mut pixels = cpu::signal(&recipe, &frame).pixels;
    pixels.par_iter_mut().for_each(|p| *p = p.map(|v| v.clamp(0.0, 1.0)));
    Ok(pixels)
}

/// Signal of a display as an output has it: carried to its display, with its calibration, in codes of 16 bits.
pub fn as_shown(signal: &[[f32; 3]], display: &Display, on: &OutputSettings) -> Vec<[u16; 3]> {
    let carried = Carried::between(display, &on.display);
    let table = on.calibration.as_ref().map(|c| c.lut.clone());
    let code = |v: f32| (v.clamp(0.0, 1.0) * 65_535.0).round() as u16;
    let pixel = |p: &[f32; 3]| {
        let mut v = *p;
        if let Some(carried) = &carried {
            v = carried.apply(v);
        }
        if let Some(table) = &table {
            v = table.apply(v);
        }
        v.map(code)
    };
    signal.par_iter().map(pixel).collect()
}

/// A still on the GPU for each of several outputs.
pub(super) fn on_gpu(
    gpu: &Gpu,
    dir: &Path,
    still: &Still,
    raster: (u32, u32),
    outputs: &[OutputSettings],
) -> Result<Vec<Arc<GpuOutput>>, StillError> {
    let signal = still_signal(dir, still, raster)?;
    outputs
        .iter()
        .map(|on| Ok(Arc::new(gpu.reference(raster, &as_shown(&signal, &still.display, on))?)))
        .collect()
}
