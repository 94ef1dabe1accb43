//! What can go wrong with files.

use std::borrow::Cow;
use std::io;
use std::path::{Path, PathBuf};

/// Why a file was not read or not written. Every message names the file or the text, what was wrong, and
/// what would have been accepted.
#[derive(Debug, thiserror::Error)]
pub enum MediaError {
    /// The system refused.
    #[error("{}: cannot be {action}: {source}", file.display())]
    Io {
        /// Which file.
        file: PathBuf,
        /// "read", "written", …
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// The file is readable but not what this program takes.
    #[error("{}: {what}; accepted: {accepted}", file.display())]
    Refused {
        /// Which file.
        file: PathBuf,
        /// What was wrong.
        what: String,
        /// What is accepted.
        accepted: Cow<'static, str>,
    },
    /// A sequence has no file for a frame inside its range.
    #[error("{}: this frame of the sequence is missing (frame {number} counted from 0)", file.display())]
    Missing {
        /// The file that should be there.
        file: PathBuf,
        /// Frame, from 0.
        number: u64,
    },
    /// A frame after the last was asked for.
    #[error("{}: frame {number} was asked for; accepted: 0 to {}", file.display(), frames.saturating_sub(1))]
    PastEnd {
        /// Which file.
        file: PathBuf,
        /// Frame, from 0.
        number: u64,
        /// Frames it has.
        frames: u64,
    },
    /// A frame of a video could not be decoded.
    #[error("{}: frame {number} (counted from 0) cannot be decoded: {what}", file.display())]
    Damaged {
        /// Which file.
        file: PathBuf,
        /// Frame, from 0.
        number: u64,
        /// What the decoder said.
        what: String,
    },
    /// A text is not a timecode.
    #[error("'{text}' is not a timecode: {what}; accepted: {accepted}")]
    Timecode {
        /// The text.
        text: String,
        /// What was wrong.
        what: String,
        /// What is accepted.
        accepted: Cow<'static, str>,
    },
    /// A text is not a frame rate.
    #[error("'{text}' is not a frame rate; accepted: above 0 and up to 1000, like 24, 23.976 or 24000/1001")]
    Rate {
        /// The text.
        text: String,
    },
}

impl MediaError {
    pub(super) fn io(file: &Path, action: &'static str, source: io::Error) -> Self {
        Self::Io { file: file.to_owned(), action, source }
    }

    pub(super) fn refused(
        file: &Path,
        what: impl Into<String>,
        accepted: impl Into<Cow<'static, str>>,
    ) -> Self {
        Self::Refused { file: file.to_owned(), what: what.into(), accepted: accepted.into() }
    }
}

/// What is wrong with a file, before its name is known.
#[derive(Debug)]
pub(super) struct Problem {
    pub what: String,
    pub accepted: Cow<'static, str>,
}

impl Problem {
    pub fn new(what: impl Into<String>, accepted: impl Into<Cow<'static, str>>) -> Self {
        Self { what: what.into(), accepted: accepted.into() }
    }

    pub fn in_file(self, file: &Path) -> MediaError {
        MediaError::Refused { file: file.to_owned(), what: self.what, accepted: self.accepted }
    }
}
