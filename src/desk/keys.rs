//! What the keys do, in both windows.

use winit::keyboard::{Key, ModifiersState, NamedKey};

use super::panes::Pane;

/// Something a key asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Action {
    /// What the engine knows by this name.
    Engine(&'static str),
    Step(i64),
    /// The next or previous parameter of the light path is taken in hand.
    Pick(i32),
    /// The parameter in hand is turned by so many steps, or the control of the panel.
    Turn(f64),
    /// A control of the drawn panel, from 0, is turned by so many detents.
    Control(usize, f64),
    /// A control of a panel is learned for the parameter in hand, or no longer.
    Learn,
    Reset,
    Client,
    ClientFullscreen,
    /// The picture alone, or the panes again.
    Panes,
    /// One pane, shown or hidden.
    Pane(Pane),
    /// The text a size larger or smaller; 0: as it is made.
    Text(i32),
    /// Another surround.
    Surround,
    Keys,
    /// While held: the picture without the stage in hand.
    WithoutStage,
    /// The same until it is asked for again.
    StayWithoutStage,
    /// The sheet of stills and versions.
    Stills,
    /// The grade in use is kept as a version.
    KeepVersion,
    /// What an address leads to is turned by so many steps, whatever is in hand.
    TurnThis(&'static str, f64),
    /// The sheet of looks.
    Sheet,
    Scopes,
    /// What the picture holds under the pointer.
    Probe,
    /// Clients in browsers.
    Sofa,
    /// The look on view is saved as a file.
    SaveLook,
    /// What waits for the mouse waits no longer; a look that is tried is left.
    Leave,
    /// The list of everything.
    Find,
    /// The first walk through the desk begins, or is left.
    Walk,
    /// A value is typed for the parameter in hand; with its first digit, if that was typed.
    Type(Option<char>),
}

/// The keys and what they do, as the overlay lists them. A line without a key is a heading: put a new key under the one
/// that it belongs to.
pub const KEYS: &[(&str, &str)] = &[
    ("", "Playback"),
    ("Space", "play, stop"),
    ("← →", "a frame back, on (Shift: ten)"),
    ("Page up, Page down", "the shot before, after"),
    ("Ctrl Page up, Ctrl Page down", "move the shot a place back, on in the running order"),
    ("Ctrl R", "this frame stands for its shot in the running order and on sheets; again: the middle one"),
    ("Home, End", "the shot's first frame, its last"),
    ("J, K", "play backwards, stop"),
    ("{ } \\", "play from the frame on view, to it, the whole shot again"),
    ("Z", "live pictures whole, at half or quarter size, or smaller while that keeps time"),
    ("O", "go round in the shot, or in the running order"),
    ("", "What is in hand"),
    ("↑ ↓", "take the parameter, or the output's display, above, below in hand"),
    ("− =", "turn it, or the panel's control that was clicked, down, up a step (Shift: ten, Alt: a tenth)"),
    (
        "0 … 9",
        "type a value for it, with or without a unit: 0.5, 1/3 stop, 60 %, 5600 K (Shift Enter: begin with the value that is there)",
    ),
    ("F2 … F9", "turn the panel's first eight controls up (Shift: down), as a panel would"),
    ("M", "learn a control of a panel for the parameter in hand (Esc: leave it)"),
    ("Backspace", "put it back to its default"),
    ("[ ]", "the stage before, after comes into focus: what a panel's controls for it move"),
    ("/", "the stage in focus acts, or not"),
    ("", "Picture"),
    ("R", "the whole frame inside the raster, or the whole raster covered"),
    ("B, held", "before: the picture without the grade (Shift: it stays until Shift B again)"),
    ("L, held", "the picture without the look (Shift: it stays)"),
    ("S, held", "the picture without the stage in hand (Shift: it stays)"),
    ("G", "keep a still of the frame on view"),
    (
        "W, I, D",
        "a line between picture and still; side by side; their difference (held: as long as it is held)",
    ),
    ("; '", "the still before, after stands beside the picture (Shift C: on the client's, too)"),
    ("Alt ← →, Alt ↑ ↓", "move the line, turn it (the mouse drags it: in its middle, at its ends)"),
    ("E", "stills and versions: name them, take a grade back, switch"),
    ("Ctrl G; Q, held", "keep a version of the whole grade; the picture as another version has it"),
    ("", "Looks"),
    (", .", "try the look before, after; Enter keeps it, Esc goes back"),
    ("T", "the sheet of looks: click one to try it"),
    ("Ctrl S", "save the look on view as a file"),
    ("", "Measuring"),
    ("X, Shift X", "on the desk: false colour, of the light after balance or of the camera's"),
    ("Y, Shift Y", "on the desk: marks where signals end; on what lies outside the display's primaries"),
    ("P", "what the picture holds under the pointer; drag: the mean of an area"),
    ("V", "show or hide the scopes"),
    (
        "A",
        "suggest: propose exposure and white for the frame on view; Enter or Ctrl A takes it, Esc leaves it",
    ),
    ("U", "match: propose what makes the shot sit with the one before"),
    ("Ctrl D", "the balance of the shot before"),
    ("Ctrl B", "copy the balance to all other shots of the same camera"),
    ("Ctrl E", "survey: read a frame of every shot and mark what is off; again: stop"),
    ("N", "pick a neutral: then click it in the picture, or drag over it (Esc: leave it)"),
    ("", "Windows and help"),
    ("Ctrl Z, Ctrl Shift Z", "undo, redo"),
    ("Ctrl W", "clients in browsers: how they come in, who watches, what they answered"),
    ("F11, F12", "clients keep the picture that they see; clients see nothing"),
    ("C", "open or close the client window"),
    ("F", "client fullscreen, or back"),
    ("H", "the picture alone, or the panes again"),
    (
        "Ctrl 1 … Ctrl 5",
        "show or hide the running order, the light path, the panel mirror, the scopes, the transport",
    ),
    ("Ctrl +, Ctrl −, Ctrl 0", "the text a size larger, smaller, as it is made"),
    ("Ctrl U", "the next surround of the picture: 1, 2, 3, 5, 10 % of the display's white"),
    (
        "Tab, Shift Tab",
        "the keyboard goes to the next thing, the one before: arrows turn a row, Enter types its value or presses a button (Esc: back)",
    ),
    ("F10, Ctrl K", "the list of everything: type words of it, or a parameter and its value"),
    ("F1", "this list: a tap shows it until the next, held it goes with the key"),
    ("Shift F1", "a first walk through the desk, or leave it"),
];

/// The keys that turn the panel's first controls.
const CONTROL_KEYS: [NamedKey; 8] = {
    use NamedKey::{F2, F3, F4, F5, F6, F7, F8, F9};
    [F2, F3, F4, F5, F6, F7, F8, F9]
};

/// What a key is held for that was let go, whatever the modifiers: they may have changed meanwhile.
pub(super) fn let_go(key: &Key) -> Option<Action> {
    if *key == Key::Named(NamedKey::F1) {
        return Some(Action::Keys);
    }
    let Key::Character(text) = key else { return None };
    match text.to_lowercase().as_str() {
        "b" => Some(Action::Engine("before")),
        "l" => Some(Action::Engine("before-look")),
        "s" => Some(Action::WithoutStage),
        "q" => Some(Action::Engine("other-version")),
        "w" => Some(Action::Engine("wipe")),
        "i" => Some(Action::Engine("side-by-side")),
        "d" => Some(Action::Engine("difference")),
        _ => None,
    }
}

/// What a key that went down asks for.
pub(super) fn action(key: &Key, mods: ModifiersState) -> Option<Action> {
    let turn = match (mods.shift_key(), mods.alt_key()) {
        (true, _) => 10.0,
        (_, true) => 0.1,
        _ => 1.0,
    };
    // Alt says that the arrows are the line's.
    let line = if mods.shift_key() { 10.0 } else { 1.0 };
    Some(match key {
        Key::Named(NamedKey::ArrowLeft) if mods.alt_key() => Action::TurnThis("view/wipe", -line),
        Key::Named(NamedKey::ArrowRight) if mods.alt_key() => Action::TurnThis("view/wipe", line),
        Key::Named(NamedKey::ArrowUp) if mods.alt_key() => Action::TurnThis("view/angle", -line),
        Key::Named(NamedKey::ArrowDown) if mods.alt_key() => Action::TurnThis("view/angle", line),
        Key::Named(NamedKey::Space) => Action::Engine("play"),
        Key::Named(NamedKey::ArrowLeft) if mods.shift_key() => Action::Step(-10),
        Key::Named(NamedKey::ArrowLeft) => Action::Engine("step-back"),
        Key::Named(NamedKey::ArrowRight) if mods.shift_key() => Action::Step(10),
        Key::Named(NamedKey::ArrowRight) => Action::Engine("step-forward"),
        Key::Named(NamedKey::ArrowUp) => Action::Pick(-1),
        Key::Named(NamedKey::ArrowDown) => Action::Pick(1),
        Key::Named(NamedKey::PageUp) if mods.control_key() => Action::Engine("shot-earlier"),
        Key::Named(NamedKey::PageDown) if mods.control_key() => Action::Engine("shot-later"),
        Key::Named(NamedKey::PageUp) => Action::Engine("previous-shot"),
        Key::Named(NamedKey::PageDown) => Action::Engine("next-shot"),
        Key::Named(NamedKey::Home) => Action::Engine("first-frame"),
        Key::Named(NamedKey::End) => Action::Engine("last-frame"),
        Key::Named(NamedKey::Backspace | NamedKey::Delete) => Action::Reset,
        Key::Named(NamedKey::F1) if mods.shift_key() => Action::Walk,
        Key::Named(NamedKey::F1) => Action::Keys,
        Key::Named(NamedKey::F10) => Action::Find,
        Key::Named(NamedKey::F11) => Action::Engine("hold-clients"),
        Key::Named(NamedKey::F12) => Action::Engine("blank-clients"),
        Key::Named(named) if CONTROL_KEYS.contains(named) => {
            let control = CONTROL_KEYS.iter().position(|key| key == named)?;
            Action::Control(control, if mods.shift_key() { -1.0 } else { 1.0 })
        }
        Key::Named(NamedKey::Escape) => Action::Leave,
        Key::Named(NamedKey::Enter) if mods.shift_key() => Action::Type(None),
        Key::Named(NamedKey::Enter) => Action::Engine("keep-look"),
        Key::Character(text) => match (text.to_lowercase().as_str(), mods.control_key()) {
            ("z", true) if mods.shift_key() => Action::Engine("redo"),
            ("z", true) => Action::Engine("undo"),
            ("y", true) => Action::Engine("redo"),
            ("-" | "_", true) => Action::Text(-1),
            ("=" | "+", true) => Action::Text(1),
            ("0", true) => Action::Text(0),
            (digit @ ("1" | "2" | "3" | "4" | "5"), true) => {
                Action::Pane(*Pane::ALL.get(digit.parse::<usize>().ok()?.checked_sub(1)?)?)
            }
            ("u", true) => Action::Surround,
            ("-" | "_", _) => Action::Turn(-turn),
            ("=" | "+", _) => Action::Turn(turn),
            ("k", true) => Action::Find,
            (digit, false) if digit.len() == 1 && digit.as_bytes()[0].is_ascii_digit() => {
                Action::Type(digit.chars().next())
            }
            ("j", false) => Action::Engine("play-reverse"),
            ("k", false) => Action::Engine("stop"),
            ("[", false) => Action::Engine("focus-previous"),
            ("]", false) => Action::Engine("focus-next"),
            ("/", false) => Action::Engine("focus-on"),
            ("b", false) if mods.shift_key() => Action::Engine("stay-before"),
            ("l", false) if mods.shift_key() => Action::Engine("stay-before-look"),
            ("s", false) if mods.shift_key() => Action::StayWithoutStage,
            ("c", false) if mods.shift_key() => Action::Engine("compare-for-client"),
            ("g", false) => Action::Engine("keep-still"),
            ("g", true) => Action::KeepVersion,
            ("w", false) => Action::Engine("wipe"),
            ("i", false) => Action::Engine("side-by-side"),
            ("d", false) => Action::Engine("difference"),
            (";" | ":", _) => Action::Engine("previous-still"),
            ("'" | "\"", _) => Action::Engine("next-still"),
            ("q", false) => Action::Engine("other-version"),
            ("e", false) => Action::Stills,
            ("a", false) => Action::Engine("suggest"),
            ("a", true) => Action::Engine("take-proposal"),
            ("u", false) => Action::Engine("match-before"),
            ("d", true) => Action::Engine("balance-from-before"),
            ("b", true) => Action::Engine("copy-balance"),
            ("e", true) => Action::Engine("survey"),
            ("b", false) => Action::Engine("before"),
            ("l", false) => Action::Engine("before-look"),
            ("s", false) => Action::WithoutStage,
            ("r", true) => Action::Engine("represent"),
            ("s", true) => Action::SaveLook,
            ("m", false) => Action::Learn,
            ("t", false) => Action::Sheet,
            ("v", false) => Action::Scopes,
            ("p", false) => Action::Probe,
            ("w", true) => Action::Sofa,
            (",", _) => Action::Engine("previous-look"),
            (".", _) => Action::Engine("next-look"),
            ("n", false) => Action::Engine("pick-neutral"),
            ("x", false) if mods.shift_key() => Action::Engine("false-colour-light"),
            ("x", false) => Action::Engine("false-colour"),
            ("y", false) if mods.shift_key() => Action::Engine("gamut-marks"),
            ("y", false) => Action::Engine("clip-marks"),
            ("\\", _) => Action::Engine("range-off"),
            ("}", _) => Action::Engine("range-out"),
            ("{", _) => Action::Engine("range-in"),
            ("z", false) => Action::Engine("preview"),
            ("o", false) => Action::Engine("round"),
            ("r", false) => Action::Engine("fitting"),
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
        assert_eq!(action(&z, ModifiersState::CONTROL), Some(Action::Engine("undo")));
        assert_eq!(action(&z, ModifiersState::CONTROL | ModifiersState::SHIFT), Some(Action::Engine("redo")));
        assert_eq!(action(&z, ModifiersState::empty()), Some(Action::Engine("preview")));
        let right = Key::Named(NamedKey::ArrowRight);
        assert_eq!(action(&right, ModifiersState::SHIFT), Some(Action::Step(10)));
        assert_eq!(action(&Key::Character("-".into()), ModifiersState::ALT), Some(Action::Turn(-0.1)));
        assert_eq!(action(&Key::Character("-".into()), ModifiersState::CONTROL), Some(Action::Text(-1)));
        assert_eq!(action(&Key::Character("+".into()), ModifiersState::CONTROL), Some(Action::Text(1)));
        let second = Key::Character("2".into());
        assert_eq!(action(&second, ModifiersState::CONTROL), Some(Action::Pane(Pane::Path)));
        assert_eq!(action(&second, ModifiersState::empty()), Some(Action::Type(Some('2'))));
        let left = Key::Named(NamedKey::ArrowLeft);
        assert_eq!(action(&left, ModifiersState::ALT), Some(Action::TurnThis("view/wipe", -1.0)));
        let ninth = Key::Named(NamedKey::F9);
        assert_eq!(action(&ninth, ModifiersState::empty()), Some(Action::Control(7, 1.0)));
        assert_eq!(action(&ninth, ModifiersState::SHIFT), Some(Action::Control(7, -1.0)));
    }

    #[test]
    fn keys_reach_every_action_of_the_engine() {
        use NamedKey::{ArrowLeft, ArrowRight, End, Enter, F11, F12, Home, PageDown, PageUp, Space};
        let named =
            [Space, ArrowLeft, ArrowRight, PageUp, PageDown, Home, End, Enter, F11, F12].map(Key::Named);
        let letters = [
            "b", "l", "n", "o", "r", "z", "y", "j", "k", ",", ".", "[", "]", "/", "g", "w", "i", "d", ";",
            "'", "q", "c", "x", "a", "u", "e", "{", "}", "\\",
        ]
        .map(|c| Key::Character(c.into()));
        let mut reached: Vec<_> = named
            .iter()
            .chain(&letters)
            .flat_map(|key| {
                let mods = [ModifiersState::empty(), ModifiersState::CONTROL, ModifiersState::SHIFT];
                mods.map(|mods| action(key, mods))
            })
            .filter_map(|what| match what {
                Some(Action::Engine(name)) => Some(name),
                _ => None,
            })
            .collect();
        reached.sort_unstable();
        reached.dedup();
        // Escape leaves whatever waits, this too.
        let by_key = |name: &&str| !["leave-look", "leave-proposal"].contains(name);
        let mut known: Vec<_> = crate::engine::ACTIONS.iter().map(|a| a.name).filter(by_key).collect();
        known.sort_unstable();
        assert_eq!(reached, known);
    }
}
