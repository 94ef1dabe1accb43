//! media.
