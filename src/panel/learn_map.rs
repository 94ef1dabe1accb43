//! What was learned, into a map: as text, so that everything that a person wrote there stays as it was.

use super::{Coding, Control, Guess, Kind, LSB_ABOVE, Map, Mode, Source};
use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, value};

/// What a learned control is to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose<'a> {
    /// Move the parameter at an address.
    Move(&'a str),
    /// Do an action.
    Do(&'a str),
}

/// Why something learned cannot go into a map. The map is as it was.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LearnError {
    /// Another control of the map sends the same.
    #[error("“{label}”, which {does}, sends the same; take it out of the map first, or use another control")]
    Taken {
        /// That control's name.
        label: String,
        /// What it does.
        does: String,
    },
    /// A map has no words for it.
    #[error("{what} cannot {does}: {why}")]
    Unfit {
        /// What was recognised.
        what: String,
        /// What it was to do.
        does: &'static str,
        /// Why not.
        why: &'static str,
    },
    /// The map's file is not what toml can change.
    #[error("the map cannot be added to: {0}")]
    Text(String),
}

/// A map with nothing in it, for the ports whose names contain `port`.
pub fn empty_map(name: &str, port: &str) -> String {
    let mut document = DocumentMut::new();
    document["name"] = value(name);
    document["port"] = value(port);
    let text = document.to_string();
    format!(
        "# A map made by learning. All keys are explained in eight-encoders.toml, which comes with the program.\n\n{text}"
    )
}

/// The messages that a control sends.
pub fn controls_of(guess: &Guess) -> Vec<Control> {
    let channel = guess.channel;
    let cc = |number| Control::Cc { channel, number };
    match guess.kind {
        Kind::Absolute { cc: number } | Kind::Relative { cc: number, .. } => vec![cc(number)],
        Kind::Fine { cc: number, .. } => vec![cc(number), cc(number + LSB_ABOVE)],
        Kind::Steps { up, down } => vec![cc(up), cc(down)],
        Kind::Button { source: Source::Cc(number), .. } => vec![cc(number)],
        Kind::Button { source: Source::Note(number), .. } => vec![Control::Note { channel, number }],
        Kind::Bend | Kind::Numbered { .. } => Vec::new(),
    }
}

/// Which control of `map` sends what the learned one sends: its name and what it does.
pub fn conflict(map: &Map, guess: &Guess) -> Option<(String, String)> {
    let sent = controls_of(guess);
    let control = map.controls.iter().find(|c| sent.iter().any(|s| c.is(*s).is_some())).map(|c| {
        let targets: Vec<&str> = c.targets.iter().map(|t| &*t.address).collect();
        (c.label.to_string(), format!("moves {}", targets.join(", ")))
    });
    let button = || map.buttons.iter().find(|b| sent.iter().any(|s| b.is(*s)));
    control.or_else(|| button().map(|b| (b.label.to_string(), format!("does {}", b.action))))
}

/// The text of a map with what was learned added to it, under a comment that says what it is and, if it is known,
/// which port it came from.
///
/// # Errors
/// See [`LearnError`].
pub fn add_learned(
    text: &str,
    map: &Map,
    guess: &Guess,
    purpose: Purpose<'_>,
    label: Option<&str>,
    port: Option<&str>,
) -> Result<String, LearnError> {
    if let Some((label, does)) = conflict(map, guess) {
        return Err(LearnError::Taken { label, does });
    }
    let unfit = |why| {
        let does = if matches!(purpose, Purpose::Do(_)) { "do an action" } else { "move a parameter" };
        Err(LearnError::Unfit { what: guess.kind.to_string(), does, why })
    };
    let mut entry = Table::new();
    let usual = match purpose {
        Purpose::Move(address) => address.rsplit('/').next().unwrap_or(address),
        Purpose::Do(action) => action,
    };
    entry["label"] = value(label.unwrap_or(usual));
    let mut number = |key: &str, it: u8| entry[key] = value(i64::from(it));
    match guess.kind {
        Kind::Absolute { cc } | Kind::Fine { cc, .. } | Kind::Relative { cc, .. } => number("cc", cc),
        Kind::Button { source: Source::Cc(cc), .. } => number("cc", cc),
        Kind::Button { source: Source::Note(note), .. } => number("note", note),
        Kind::Bend | Kind::Steps { .. } | Kind::Numbered { .. } => {
            return unfit("maps have no key for it");
        }
    }
    number("channel", guess.channel + 1);
    let list = match (guess.kind, purpose) {
        (Kind::Button { mode, .. }, Purpose::Do(action)) => {
            if mode == Mode::Toggle {
                entry["mode"] = value("toggle");
            }
            entry["action"] = value(action);
            "button"
        }
        (Kind::Button { .. }, Purpose::Move(_)) => return unfit("it has no way to go"),
        (_, Purpose::Do(_)) => return unfit("it is no button"),
        (kind, Purpose::Move(address)) => {
            if matches!(kind, Kind::Fine { .. }) {
                entry["bits"] = value(14);
            }
            let coding = match kind {
                Kind::Relative { coding, .. } => coding,
                _ => Coding::Absolute,
            };
            entry["coding"] = value(coding.name());
            entry["target"] = value(address);
            if matches!(kind, Kind::Relative { reversed: true, .. }) {
                entry["scale"] = value(-1);
            }
            "control"
        }
    };
    let from = port.map_or(String::new(), |port| format!(", from “{}”", port.replace(char::is_control, " ")));
    let touch = guess.touch.map_or(String::new(), |note| format!("; note {note} tells of a hand on it"));
    entry.decor_mut().set_prefix(format!(
        "\n# Learned: {}, channel {}{touch}{from}.\n",
        guess.kind,
        guess.channel + 1
    ));
    let mut document: DocumentMut = text.parse().map_err(|e| LearnError::Text(format!("{e}")))?;
    let all = document.entry(list).or_insert(Item::ArrayOfTables(ArrayOfTables::new()));
    match all {
        Item::ArrayOfTables(all) => all.push(entry),
        // `control = [{ … }]`, on one line: that goes on in its own way.
        Item::Value(toml_edit::Value::Array(all)) => {
            let entry: InlineTable = entry.into_inline_table();
            all.push(entry);
        }
        _ => return Err(LearnError::Text(format!("{list} is no list of tables"))),
    }
    Ok(document.to_string())
}
