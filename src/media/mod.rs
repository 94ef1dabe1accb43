//! Media: frames in from files, frames out to files.
//!
//! [`open`] gives a [`Source`]: a video file (through FFmpeg's libraries, cargo feature `video`) or an image
//! sequence (PNG, TIFF, OpenEXR, DPX). Samples come out as they are stored, in three planes; nothing is
//! converted, scaled or tone mapped on the way. [`write_image`] writes one picture, [`movie`] makes movies.
//!
//! No threads of its own (FFmpeg and the EXR codec have their pools); every type can move to one.

mod cuts;
mod dpx;
mod error;
mod folder;
mod identity;
mod hints;
mod image_file;
pub mod movie;
mod openexr;
mod rate;
mod sources;
pub mod timecode;

pub use cuts::{Cut, CutFinder, RATIO as CUT_RATIO};
pub use error::MediaError;
pub use folder::clips_in;
pub use hints::{Hints, hints};
pub use identity::{Candidate, Finder, Identity, KnownMedia, Likeness, MEDIA_FILE, hash_of, short_hash};
pub use image_file::{Image, ImageFormat, image_bytes, write_image};
pub use rate::Rate;
pub use sources::{ClipInfo, CodePoints, Interpretation, Source, open, read_image};
