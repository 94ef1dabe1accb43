//! What the desk itself can do, by name: declared once for the list of everything, with the keys that `keys.rs` gives it.

use std::sync::OnceLock;

use winit::keyboard::{Key, ModifiersState, NamedKey};

use super::keys::{Action, action};
use super::panes::Pane;

/// Something that the desk does without the engine.
pub(super) struct Deed {
    /// Its name, as the list shows it.
    pub name: &'static str,
    /// What it does.
    pub doc: &'static str,
    /// What is carried out.
    pub action: Action,
}

const fn deed(name: &'static str, doc: &'static str, action: Action) -> Deed {
    Deed { name, doc, action }
}

/// All of them.
pub(super) static DEEDS: &[Deed] = &[
    deed("list of everything", "find an action or a parameter by its words and do it", Action::Find),
    deed("keys", "the keys and what the panel's controls do now", Action::Keys),
    deed("walk", "a first walk through the desk, a step at a time; again: leave it", Action::Walk),
    deed("type a value", "a number for the parameter in hand", Action::Type(None)),
    deed("row above", "the row above comes into hand", Action::Pick(-1)),
    deed("row below", "the row below comes into hand", Action::Pick(1)),
    deed("turn up", "what is in hand, a step up", Action::Turn(1.0)),
    deed("turn down", "what is in hand, a step down", Action::Turn(-1.0)),
    deed("default", "what is in hand goes back to its default", Action::Reset),
    deed("ten frames back", "", Action::Step(-10)),
    deed("ten frames on", "", Action::Step(10)),
    deed("without the stage", "the picture without the stage in hand; again: with it", Action::WithoutStage),
    deed(
        "stay without the stage",
        "the picture without the stage in hand until this is done again",
        Action::StayWithoutStage,
    ),
    deed("stills and versions", "their sheet: name them, take a grade back, switch", Action::Stills),
    deed("keep a version", "of the whole grade, as it is now", Action::KeepVersion),
    deed("line to the left", "the line between picture and still", Action::TurnThis("view/wipe", -1.0)),
    deed("line to the right", "the line between picture and still", Action::TurnThis("view/wipe", 1.0)),
    deed("line turned back", "the line between picture and still", Action::TurnThis("view/angle", -1.0)),
    deed("line turned on", "the line between picture and still", Action::TurnThis("view/angle", 1.0)),
    deed("sheet of looks", "every look of the library on this shot, to choose from", Action::Sheet),
    deed("scopes", "show or hide the scopes", Action::Scopes),
    deed("probe", "what the picture holds under the pointer", Action::Probe),
    deed("clients", "clients in browsers: how they come in, who watches, what they answered", Action::Sofa),
    deed("save the look", "the look on view as a file", Action::SaveLook),
    deed("learn a control", "a control of a panel for the parameter in hand", Action::Learn),
    deed("client window", "open or close it", Action::Client),
    deed("client fullscreen", "its window on a whole monitor, or back", Action::ClientFullscreen),
    deed("panes", "the picture alone, or the panes again", Action::Panes),
    deed("running order", "hide or show it", Action::Pane(Pane::Order)),
    deed("light path", "hide or show it", Action::Pane(Pane::Path)),
    deed("panel mirror", "hide or show it", Action::Pane(Pane::Mirror)),
    deed("transport", "hide or show it", Action::Pane(Pane::Transport)),
    deed("larger text", "the text of the desk, a size up", Action::Text(1)),
    deed("smaller text", "the text of the desk, a size down", Action::Text(-1)),
    deed("text as made", "the text of the desk at 100 %", Action::Text(0)),
    deed("surround", "the next level of grey around the picture", Action::Surround),
    deed("leave", "what waits for the mouse waits no longer; a look that is tried is left", Action::Leave),
];

/// Is it declared in [`DEEDS`], whatever its number? The panel's controls are named by its map instead.
#[cfg(test)]
fn is_declared(what: Action) -> bool {
    use std::mem::discriminant;
    let same = |deed: &Deed| discriminant(&deed.action) == discriminant(&what);
    matches!(what, Action::Engine(_) | Action::Control(..)) || DEEDS.iter().any(same)
}

/// The keys that ask for something, as a person reads them; empty where none does.
pub(super) fn keys_of(what: Action) -> String {
    let of = chords().iter().filter(|(_, asks)| *asks == what).map(|(chord, _)| chord.as_str());
    of.collect::<Vec<_>>().join(", ")
}

/// Every key that asks for something, without and with modifiers, found by asking [`action`].
fn chords() -> &'static [(String, Action)] {
    static CHORDS: OnceLock<Vec<(String, Action)>> = OnceLock::new();
    CHORDS.get_or_init(|| {
        let modifiers = [
            ("", ModifiersState::empty()),
            ("Shift ", ModifiersState::SHIFT),
            ("Ctrl ", ModifiersState::CONTROL),
            ("Ctrl Shift ", ModifiersState::CONTROL | ModifiersState::SHIFT),
            ("Alt ", ModifiersState::ALT),
            ("Alt Shift ", ModifiersState::ALT | ModifiersState::SHIFT),
        ];
        let mut found: Vec<(String, Action)> = Vec::new();
        for (name, key) in all_keys() {
            // A modifier that makes no difference is not told.
            let mut seen: Vec<Action> = Vec::new();
            for (with, mods) in modifiers {
                if let Some(what) = action(&key, mods).filter(|what| !seen.contains(what)) {
                    seen.push(what);
                    found.push((format!("{with}{name}"), what));
                }
            }
        }
        found
    })
}

/// Keys that keyboards have, by the names that a person reads on them.
fn all_keys() -> Vec<(String, Key)> {
    use NamedKey::*;
    let named = [
        ("Space", Space),
        ("←", ArrowLeft),
        ("→", ArrowRight),
        ("↑", ArrowUp),
        ("↓", ArrowDown),
        ("Page up", PageUp),
        ("Page down", PageDown),
        ("Home", Home),
        ("End", End),
        ("Insert", Insert),
        ("Delete", Delete),
        ("Backspace", Backspace),
        ("Enter", Enter),
        ("Tab", Tab),
        ("Esc", Escape),
    ];
    let functions = [F1, F2, F3, F4, F5, F6, F7, F8, F9, F10, F11, F12];
    let letters = ('a'..='z').chain('0'..='9').chain("`-=[];'\\,./".chars());
    let named = named.into_iter().map(|(name, key)| (name.to_owned(), Key::Named(key)));
    let functions = (1..).zip(functions).map(|(n, key)| (format!("F{n}"), Key::Named(key)));
    let letters = letters.map(|c| (c.to_uppercase().to_string(), Key::Character(c.to_string().into())));
    named.chain(functions).chain(letters).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_keys_ask_for_is_declared() {
        for (chord, what) in chords() {
            assert!(is_declared(*what), "{chord} asks for {what:?}, which deeds.rs does not name");
        }
        let mut names: Vec<_> = DEEDS.iter().map(|d| d.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), DEEDS.len(), "two have one name");
    }

    #[test]
    fn keys_are_found_with_their_modifiers() {
        assert_eq!(keys_of(Action::Engine("undo")), "Ctrl Z");
        assert_eq!(keys_of(Action::Engine("redo")), "Ctrl Y, Ctrl Shift Z");
        assert_eq!(keys_of(Action::Step(10)), "Shift →");
        assert_eq!(keys_of(Action::Scopes), "V");
        assert_eq!(keys_of(Action::Engine("leave-look")), "");
        for deed in DEEDS {
            assert!(!keys_of(deed.action).is_empty(), "no key asks for {}", deed.name);
        }
    }
}
