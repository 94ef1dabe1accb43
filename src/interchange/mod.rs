//! Interchange: what other programs write and read. Bytes in, bytes out, types of its own; no files.
//!
//! - [`cube`]: `.cube` look-up tables.
//! - [`clf`]: the Common LUT Format, a list of processes from matrices to 3D LUTs.
//! - [`cdl`]: colour decisions in XML, `.cc`, `.ccc` and `.cdl`.
//! - [`edl`]: edit decision lists, with colour decisions in their comments.
//!
//! What is read here may come from anywhere: sizes are checked before anything is allocated, time and memory
//! grow with the file's length and no faster, and an error says in which line, what was wrong and what would
//! be accepted.

pub mod cdl;
pub mod clf;
pub mod cube;
pub mod edl;
mod text;
mod xml;

/// What is wrong with a file, or with what a file should be made of. Lines count from 1.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Error {
    /// Bytes that are not text.
    #[error("line {line}: this is not UTF-8; accepted: UTF-8 text")]
    NotUtf8 {
        /// Where.
        line: usize,
    },
    /// XML that breaks XML's own rules, or uses what is refused here.
    #[error("line {line}: {what}; accepted: {accepted}")]
    Xml {
        /// Where.
        line: usize,
        /// What is wrong.
        what: String,
        /// What would be right.
        accepted: String,
    },
    /// A name that is not known here.
    #[error("line {line}: unknown {what} {found}; accepted: {accepted}")]
    Unknown {
        /// Where.
        line: usize,
        /// Kind of name.
        what: String,
        /// The name.
        found: String,
        /// The names that are known.
        accepted: String,
    },
    /// Something that has to be there and is not.
    #[error("line {line}: {what} is missing; accepted: {accepted}")]
    Missing {
        /// Where it should have been.
        line: usize,
        /// What should have been.
        what: String,
        /// What it could be.
        accepted: String,
    },
    /// Too few or too many of something.
    #[error("line {line}: {found} of {wanted} {what}; accepted: {wanted}")]
    Count {
        /// Where it ended, or where the first too many is.
        line: usize,
        /// What was counted.
        what: String,
        /// How many there are, as far as was read.
        found: usize,
        /// How many there should be.
        wanted: usize,
    },
    /// A value that cannot be.
    #[error("line {line}: {what}: {found}; accepted: {accepted}")]
    Value {
        /// Where.
        line: usize,
        /// Of what.
        what: String,
        /// The value.
        found: String,
        /// What would be accepted.
        accepted: String,
    },
    /// A value that cannot be, of something that was not read from a file.
    #[error("{what}: {found}; accepted: {accepted}")]
    Invalid {
        /// Of what.
        what: String,
        /// The value.
        found: String,
        /// What would be accepted.
        accepted: String,
    },
}

impl Error {
    /// The line of the file, from 1; none where no file is meant.
    pub fn line(&self) -> Option<usize> {
        match self {
            Self::NotUtf8 { line }
            | Self::Xml { line, .. }
            | Self::Unknown { line, .. }
            | Self::Missing { line, .. }
            | Self::Count { line, .. }
            | Self::Value { line, .. } => Some(*line),
            Self::Invalid { .. } => None,
        }
    }

    pub(crate) fn invalid(
        what: impl Into<String>,
        found: impl ToString,
        accepted: impl Into<String>,
    ) -> Self {
        Self::Invalid { what: what.into(), found: found.to_string(), accepted: accepted.into() }
    }

    /// The same, found in a line of a file.
    pub(crate) fn at(self, line: usize) -> Self {
        match self {
            Self::Invalid { what, found, accepted } => Self::Value { line, what, found, accepted },
            other => other,
        }
    }
}
