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
    /// No port is one that the map is for.
    #[error("{}", absent_text(pattern, ports))]
    Absent {
        /// What the map says of its ports' names.
        pattern: String,
        /// The ports that there are.
        ports: Vec<String>,
    },
    /// A port is listed but cannot be opened.
    #[error("MIDI port “{port}” cannot be opened: {why}")]
    Open {
        /// The port's name.
        port: String,
        /// What the system says.
        why: String,
    },
    /// A packet is no OSC, or holds what is not understood.
    #[error("{why}")]
    Packet {
        /// What is wrong with it.
        why: String,
    },
}

fn absent_text(pattern: &str, ports: &[String]) -> String {
    let there = match ports {
        [] => "there is none at all".to_owned(),
        ports => format!("there are: {}", ports.join(", ")),
    };
    match pattern {
        "" => "no MIDI port that messages can come from".to_owned(),
        pattern => format!("no MIDI port has “{pattern}” in its name; {there}"),
    }
}
