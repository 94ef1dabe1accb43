//! What was learned, into a map: as text, so that everything that a person wrote there stays as it was.

use super::{Coding, Guess, Kind, LSB_ABOVE, Map, Mode, NumberedValue, Registered, Source};
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
    format!("# A map made by learning. The program's configs/panels/README.md explains all keys.\n\n{text}")
}

/// What a control sends, message by message; first what a map calls it by.
pub fn sources_of(guess: &Guess) -> Vec<Source> {
    match guess.kind {
        Kind::Absolute { cc } | Kind::Relative { cc, .. } => vec![Source::Cc(cc)],
        Kind::Fine { cc, .. } => vec![Source::Cc(cc), Source::Cc(cc + LSB_ABOVE)],
        Kind::Steps { up, down } => vec![Source::Cc(up), Source::Cc(down)],
        Kind::Button { source, .. } => vec![source],
        Kind::Bend => vec![Source::Bend],
        Kind::Numbered { registered, number, .. } => {
            vec![Source::Registered(Registered { registered, number })]
        }
    }
}

/// Which control of `map` sends what the learned one sends, where both would act: its name and what it does.
pub fn conflict(map: &Map, guess: &Guess) -> Option<(String, String)> {
    let sent = sources_of(guess);
    let mine = |channel: Option<u8>| channel.is_none_or(|c| c == guess.channel);
    let same = |all: &[Source]| all.iter().any(|s| sent.contains(s));
    let control =
        map.controls.iter().find(|c| c.layer.is_none() && mine(c.channel) && same(&c.sources())).map(|c| {
            let targets: Vec<&str> = c.targets.iter().map(|t| &*t.address).collect();
            (c.label.to_string(), format!("moves {}", targets.join(", ")))
        });
    let button = || map.buttons.iter().find(|b| b.layer.is_none() && mine(b.channel) && same(&[b.source]));
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
    let mut number = |key: &str, it: u16| entry[key] = value(i64::from(it));
    match guess.kind {
        Kind::Absolute { cc } | Kind::Fine { cc, .. } | Kind::Relative { cc, .. } => number("cc", cc.into()),
        Kind::Steps { up, down } => {
            number("cc", up.into());
            number("down", down.into());
        }
        Kind::Numbered { registered, number: it, .. } => number(if registered { "rpn" } else { "nrpn" }, it),
        Kind::Button { source: Source::Cc(cc), .. } => number("cc", cc.into()),
        Kind::Button { source: Source::Note(note), .. } => number("note", note.into()),
        Kind::Button { .. } => return unfit("a button is a controller or a note"),
        Kind::Bend => entry["bend"] = value(true),
    }
    entry["channel"] = value(i64::from(guess.channel) + 1);
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
            match kind {
                Kind::Fine { .. } => entry["bits"] = value(14),
                Kind::Numbered { value: NumberedValue::Coarse, .. } => entry["bits"] = value(7),
                _ => {}
            }
            let coding = match kind {
                Kind::Relative { coding, .. } => coding,
                Kind::Steps { .. } | Kind::Numbered { value: NumberedValue::Steps, .. } => Coding::Increment,
                _ => Coding::Absolute,
            };
            if kind != Kind::Bend {
                entry["coding"] = value(coding.name());
            }
            if let Some(note) = guess.touch {
                entry["touch"] = value(i64::from(note));
            }
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
