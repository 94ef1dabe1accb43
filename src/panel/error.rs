//! What can go wrong between a panel and us.

/// What can go wrong between a panel and us. None of it is fatal to the program.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PanelError {
    /// A map says something that cannot be done.
    #[error("{file}:{line}: {what}")]
    Map {
        /// The map's file, as it was named to the parser.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong there and what is accepted.
        what: String,
    },
    /// There is no MIDI at all on this machine or in this program.
    #[error("no MIDI: {why}")]
    Unavailable {
        /// Why not, and what would help.
        why: String,
    },
    /// A port is listed but cannot be opened.
    #[error("MIDI port “{port}” cannot be opened: {why}")]
    Open {
        /// The port's name.
        port: String,
        /// What the system says.
        why: String,
    },
}
