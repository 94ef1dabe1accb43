//! What the keys do, in both windows.

use winit::keyboard::{Key, ModifiersState, NamedKey};

/// Something a key asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Action {
    TogglePlay,
    Step(i64),
    StepShot(i64),
    FirstFrame,
    Scope,
    /// The next or previous parameter of the light path is taken in hand.
    Pick(i32),
    /// The parameter in hand is turned by so many steps.
    Turn(f64),
    Reset,
    Undo,
    Redo,
    /// Held down: the picture without the grade.
    Before,
    Client,
    ClientFullscreen,
    Panes,
    Keys,
}

/// The keys and what they do, as the overlay lists them.
pub const KEYS: &[(&str, &str)] = &[
    ("Space", "play, stop"),
    ("← →", "a frame back, on (Shift: ten)"),
    ("Page up, Page down", "the shot before, after"),
    ("Home", "the shot's first frame"),
    ("O", "go round in the shot, or in the running order"),
    ("↑ ↓", "take the parameter above, below in hand"),
    ("− =", "turn it down, up a step (Shift: ten, Ctrl: a tenth)"),
    ("Backspace", "put it back to its default"),
    ("B, held", "before: the picture without the grade"),
    ("Ctrl Z, Ctrl Shift Z", "undo, redo"),
    ("C", "open or close the client window"),
    ("F", "client fullscreen, or back"),
    ("H", "hide or show the panes"),
    ("F1", "this list"),
];

/// Is it the key that is held for "before"? Whatever the modifiers: they may have changed meanwhile.
pub(super) fn is_before(key: &Key) -> bool {
    matches!(key, Key::Character(text) if text.eq_ignore_ascii_case("b"))
}

/// What a key that went down asks for.
pub(super) fn action(key: &Key, mods: ModifiersState) -> Option<Action> {
    let many = if mods.shift_key() { 10 } else { 1 };
    let turn = match (mods.shift_key(), mods.control_key()) {
        (true, _) => 10.0,
        (_, true) => 0.1,
        _ => 1.0,
    };
    Some(match key {
        Key::Named(NamedKey::Space) => Action::TogglePlay,
        Key::Named(NamedKey::ArrowLeft) => Action::Step(-many),
        Key::Named(NamedKey::ArrowRight) => Action::Step(many),
        Key::Named(NamedKey::ArrowUp) => Action::Pick(-1),
        Key::Named(NamedKey::ArrowDown) => Action::Pick(1),
        Key::Named(NamedKey::PageUp) => Action::StepShot(-1),
        Key::Named(NamedKey::PageDown) => Action::StepShot(1),
        Key::Named(NamedKey::Home) => Action::FirstFrame,
        Key::Named(NamedKey::Backspace | NamedKey::Delete) => Action::Reset,
        Key::Named(NamedKey::F1) => Action::Keys,
        Key::Character(text) => match (text.to_lowercase().as_str(), mods.control_key()) {
            ("z", true) if mods.shift_key() => Action::Redo,
            ("z", true) => Action::Undo,
            ("y", true) => Action::Redo,
            ("-" | "_", _) => Action::Turn(-turn),
            ("=" | "+", _) => Action::Turn(turn),
            ("b", false) => Action::Before,
            ("o", false) => Action::Scope,
            ("c", false) => Action::Client,
            ("f", false) => Action::ClientFullscreen,
            ("h", false) => Action::Panes,
            _ => return None,
        },
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_that_differ_by_modifiers() {
        let z = Key::Character("z".into());
        assert_eq!(action(&z, ModifiersState::CONTROL), Some(Action::Undo));
        assert_eq!(action(&z, ModifiersState::CONTROL | ModifiersState::SHIFT), Some(Action::Redo));
        assert_eq!(action(&z, ModifiersState::empty()), None);
        let right = Key::Named(NamedKey::ArrowRight);
        assert_eq!(action(&right, ModifiersState::SHIFT), Some(Action::Step(10)));
        assert_eq!(action(&Key::Character("-".into()), ModifiersState::CONTROL), Some(Action::Turn(-0.1)));
    }
}
