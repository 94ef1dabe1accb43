//! In place of FFmpeg, where the program was built without it.

use std::path::Path;

use super::{Coded, ContentLight, Group, MovieSettings};
use crate::media::{MediaError, Rate};
use crate::picture::Packed;

fn refused<T>(path: &Path) -> Result<T, MediaError> {
    Err(MediaError::refused(
        path,
        "this program was built without video (cargo feature `video`)",
        "png, tiff, exr, dpx",
    ))
}

/// Pictures to packets.
pub struct MovieEncoder(());

impl MovieEncoder {
    /// Refuses.
    pub fn open(_: &MovieSettings, path: &Path) -> Result<Self, MediaError> {
        refused(path)
    }

    /// Never called.
    pub fn send(&mut self, _: &Packed, _: u64) -> Result<Vec<Coded>, MediaError> {
        Ok(Vec::new())
    }

    /// Never called.
    pub fn finish(self) -> Result<Vec<Coded>, MediaError> {
        Ok(Vec::new())
    }
}

/// The sound of a range of frames.
#[derive(Clone, Debug, PartialEq)]
pub struct SoundRange {
    /// The file.
    pub path: std::path::PathBuf,
    /// The first frame.
    pub first: u64,
    /// How many frames.
    pub frames: u64,
    /// The file's own rate.
    pub rate: Rate,
}

/// What goes into a movie beside its pictures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// The sound.
    pub sound: Option<SoundRange>,
    /// The first frame's label.
    pub timecode: Option<String>,
}

/// Refuses.
pub fn join(
    _: &MovieSettings,
    _: &mut dyn Iterator<Item = Result<Group, MediaError>>,
    _: &Beside,
    _: Option<ContentLight>,
    _: &Path,
    path: &Path,
) -> Result<Vec<String>, MediaError> {
    refused(path)
}
