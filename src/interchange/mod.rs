//! Interchange: published formats of the trade, from bytes and to bytes. No files, no GPU.

pub mod cube;
mod error;

pub use error::InterchangeError;
