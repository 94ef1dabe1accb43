//! What can go wrong with a show.

use std::path::PathBuf;

/// Why a show, a look, a change or an address was refused.
#[derive(Debug, thiserror::Error)]
pub enum ShowError {
    /// A line of a show or look file cannot be used.
    #[error("{}:{line}: {what}; accepted: {accepted}", file.display())]
    Text {
        /// The file.
        file: PathBuf,
        /// Line in it, from 1.
        line: usize,
        /// What was wrong.
        what: String,
        /// What would be right.
        accepted: String,
    },
    /// A LUT's file cannot be used.
    #[error("{}, {error}", file.display())]
    Lut {
        /// The file.
        file: PathBuf,
        /// What is wrong with it, and in which line.
        error: crate::interchange::Error,
    },
    /// A file of a later format.
    #[error("{}:{line}: written by a newer version ({found}); this one reads up to {reads}", file.display())]
    Newer {
        /// The file.
        file: PathBuf,
        /// Line of its version.
        line: usize,
        /// Its version.
        found: u64,
        /// The latest version read here.
        reads: u64,
    },
    /// The system refused to read or write.
    #[error("cannot {doing} {}: {source}", path.display())]
    Io {
        /// What was being done: read, save, lock.
        doing: &'static str,
        /// To which file or folder.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The disk or the user's share of it is full.
    #[error("{} was not saved: no space left there; the file from before is as it was", path.display())]
    Full {
        /// The file that was to be written.
        path: PathBuf,
    },
    /// Another process holds the show.
    #[error("show is open in another Greyhold ({}): {}", process_text(*process), folder.display())]
    Open {
        /// The show's folder.
        folder: PathBuf,
        /// The other process, where it could be read.
        process: Option<u32>,
    },
    /// An address that no show could have.
    #[error("no parameter is called {address:?}: {what}; accepted: {accepted}")]
    Address {
        /// As given.
        address: String,
        /// What was wrong with it.
        what: String,
        /// What would be right.
        accepted: String,
    },
    /// A change that does not fit the show.
    #[error("{what}; accepted: {accepted}")]
    Change {
        /// What was wrong.
        what: String,
        /// What would be right.
        accepted: String,
    },
    /// A path that a text file cannot hold.
    #[error("the path {} is not Unicode; accepted: one that is, which show.toml can hold", .0.display())]
    Path(PathBuf),
}

fn process_text(process: Option<u32>) -> String {
    process.map_or("process unknown".to_owned(), |p| format!("process {p}"))
}

impl ShowError {
    pub(super) fn change(what: impl Into<String>, accepted: impl Into<String>) -> Self {
        Self::Change { what: what.into(), accepted: accepted.into() }
    }
}
