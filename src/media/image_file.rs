//! One picture to one file.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::codecs::tiff::TiffEncoder;
use image::{ExtendedColorType, ImageEncoder, ImageError};

use super::{MediaError, dpx, openexr};
use crate::colour::Primaries;
use crate::picture::MAX_SIDE;

/// The image files that are read and written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ImageFormat {
    /// PNG, 8 or 16 bit, lossless.
    Png,
    /// TIFF, 8 or 16 bit, uncompressed.
    Tiff,
    /// OpenEXR, half or single floats, losslessly compressed.
    Exr,
    /// DPX (SMPTE ST 268-1), 10 bit.
    Dpx,
}

impl ImageFormat {
    /// Every one of them.
    pub const ALL: [Self; 4] = [Self::Png, Self::Tiff, Self::Exr, Self::Dpx];

    /// What commands and files call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Png => "png",
            Self::Tiff => "tiff",
            Self::Exr => "exr",
            Self::Dpx => "dpx",
        }
    }

    /// The one called `key`.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|f| f.key() == key)
    }

    /// The extension of a file name, without the dot.
    pub const fn extension(self) -> &'static str {
        match self {
            Self::Tiff => "tif",
            other => other.key(),
        }
    }

    /// The one that a file's extension names, in either case.
    pub fn of_path(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        match extension.as_str() {
            "tif" => Some(Self::Tiff),
            key => Self::from_key(key),
        }
    }
}

/// A picture to be written, rows from the top, R, G, B.
#[derive(Clone, Copy, Debug)]
pub enum Image<'a> {
    /// Full-range integer codes.
    Codes {
        /// Pixels across.
        width: u32,
        /// Rows.
        height: u32,
        /// Bits of a code.
        depth: u32,
        /// `width × height` pixels, codes 0…2^depth − 1.
        pixels: &'a [[u16; 3]],
    },
    /// Floats.
    Floats {
        /// Pixels across.
        width: u32,
        /// Rows.
        height: u32,
        /// `width × height` pixels.
        pixels: &'a [[f32; 3]],
        /// Written as the file's chromaticities.
        primaries: Primaries,
        /// Stored as half floats: NaN as 0, the rest held within ±65504 and rounded to nearest. Otherwise
        /// single floats as they are.
        half: bool,
    },
}

impl Image<'_> {
    fn size(&self) -> (u32, u32, usize) {
        match self {
            Self::Codes { width, height, pixels, .. } => (*width, *height, pixels.len()),
            Self::Floats { width, height, pixels, .. } => (*width, *height, pixels.len()),
        }
    }
}

/// Writes `image` as `format` to `path`, whatever the path's extension.
///
/// PNG and TIFF take codes of 8 and 16 bits, DPX of 10, EXR floats. The file appears at once and complete:
/// it is written under a temporary name beside `path` and renamed; a file that was there is replaced. On
/// failure nothing is left behind.
///
/// # Errors
/// A combination that is not written, pixels that do not fill the size, a code beyond its depth, a folder
/// that cannot be written to.
pub fn write_image(path: &Path, format: ImageFormat, image: &Image<'_>) -> Result<(), MediaError> {
    check(path, format, image)?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let temporary = Temporary::beside(path)?;
    let file = temporary.create(path)?;
    let mut out = BufWriter::with_capacity(1 << 20, file);
    encode(&mut out, &name, format, image)
        .and_then(|()| out.flush())
        .map_err(|e| MediaError::io(path, "written", e))?;
    drop(out);
    temporary.keep_as(path)
}

/// The bytes of the file that [`write_image`] would write; `path` is for messages and for what a file says of its name.
///
/// # Errors
/// A combination that is not written, pixels that do not fill the size, a code beyond its depth.
pub fn image_bytes(path: &Path, format: ImageFormat, image: &Image<'_>) -> Result<Vec<u8>, MediaError> {
    check(path, format, image)?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let mut out = io::Cursor::new(Vec::new());
    encode(&mut out, &name, format, image).map_err(|e| MediaError::io(path, "written", e))?;
    Ok(out.into_inner())
}

fn check(path: &Path, format: ImageFormat, image: &Image<'_>) -> Result<(), MediaError> {
    let (width, height, pixels) = image.size();
    let sides = 1..=MAX_SIDE;
    if !sides.contains(&width) || !sides.contains(&height) {
        let what = format!("a picture of {width}×{height} cannot be written");
        return Err(MediaError::refused(path, what, format!("sides from 1 to {MAX_SIDE}")));
    }
    let needed = width as usize * height as usize;
    if pixels != needed {
        let what = format!("{pixels} pixels were given for {width}×{height}");
        return Err(MediaError::refused(path, what, format!("{needed} pixels")));
    }
    let accepted = match format {
        ImageFormat::Png | ImageFormat::Tiff => "codes of 8 or 16 bits",
        ImageFormat::Dpx => "codes of 10 bits",
        ImageFormat::Exr => "half or single floats",
    };
    let given = match image {
        Image::Codes { depth, .. } => format!("codes of {depth} bits"),
        Image::Floats { .. } => "floats".to_owned(),
    };
    let fits = match (format, image) {
        (ImageFormat::Png | ImageFormat::Tiff, Image::Codes { depth, .. }) => {
            matches!(depth, 8 | 16)
        }
        (ImageFormat::Dpx, Image::Codes { depth, .. }) => *depth == 10,
        (ImageFormat::Exr, Image::Floats { .. }) => true,
        _ => false,
    };
    if !fits {
        let what = format!("{given} are not written as {}", format.key());
        return Err(MediaError::refused(path, what, accepted));
    }
    if let Image::Codes { depth, pixels, .. } = image {
        let all = pixels.iter().flatten().fold(0, |all, code| all | code);
        if u32::from(all) >> depth != 0 {
            let what = format!("a code is beyond {depth} bits");
            return Err(MediaError::refused(path, what, format!("codes from 0 to {}", (1u32 << depth) - 1)));
        }
    }
    Ok(())
}

fn encode(
    out: &mut (impl Write + Seek),
    name: &str,
    format: ImageFormat,
    image: &Image<'_>,
) -> io::Result<()> {
    match *image {
        Image::Floats { width, height, pixels, primaries, half } => {
            openexr::write(out, width, height, pixels, &primaries, half)
        }
        Image::Codes { width, height, pixels, .. } if format == ImageFormat::Dpx => {
            dpx::write(out, name, width, height, pixels)
        }
        Image::Codes { width, height, depth, pixels } => {
            // The encoders take wide samples in the machine's own order.
            let (bytes, kind): (Vec<u8>, _) = if depth == 8 {
                (pixels.iter().flatten().map(|v| *v as u8).collect(), ExtendedColorType::Rgb8)
            } else {
                (bytemuck::cast_slice(pixels).to_vec(), ExtendedColorType::Rgb16)
            };
            let result = if format == ImageFormat::Png {
                PngEncoder::new_with_quality(out, CompressionType::Fast, FilterType::Adaptive)
                    .write_image(&bytes, width, height, kind)
            } else {
                TiffEncoder::new(out).write_image(&bytes, width, height, kind)
            };
            result.map_err(|e| match e {
                ImageError::IoError(e) => e,
                other => io::Error::other(other),
            })
        }
    }
}

/// A file name that is removed again, unless it was renamed.
pub(super) struct Temporary(pub PathBuf);

impl Temporary {
    /// A name beside `path`, hidden, that nobody else uses.
    pub fn beside(path: &Path) -> Result<Self, MediaError> {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let Some(name) = path.file_name() else {
            return Err(MediaError::refused(path, "it names no file", "a file name"));
        };
        let mut temporary = OsString::from(".");
        temporary.push(name);
        temporary.push(format!(".{}-{}.part", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed)));
        Ok(Self(path.with_file_name(temporary)))
    }

    /// The file itself. `path` is for messages.
    pub fn create(&self, path: &Path) -> Result<File, MediaError> {
        let file = OpenOptions::new().write(true).create_new(true).open(&self.0);
        file.map_err(|e| MediaError::io(path, "written", e))
    }
}

impl Temporary {
    /// Gives the finished file its name.
    pub fn keep_as(&self, path: &Path) -> Result<(), MediaError> {
        fs::rename(&self.0, path).map_err(|e| MediaError::io(path, "written", e))
    }
}

impl Drop for Temporary {
    fn drop(&mut self) {
        // After the rename there is nothing under this name, and that is as it should be.
        let _ = fs::remove_file(&self.0);
    }
}
