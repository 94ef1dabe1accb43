//! What can be wrong with a file from elsewhere.

/// A complaint about a file's contents: the line, what stands there, and what is accepted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {what}; accepted: {accepted}")]
pub struct InterchangeError {
    /// The line, from 1.
    pub line: usize,
    /// What was wrong.
    pub what: String,
    /// What would be right.
    pub accepted: String,
}
