//! What keys and buttons can ask for by name, declared once.

use super::input::{Command, Compare};
use super::watch::Curtain;

/// Something that can be asked for by name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Action {
    /// Its name, as panel maps spell it.
    pub name: &'static str,
    /// What it does.
    pub doc: &'static str,
    /// What the engine is told.
    pub does: Does,
    /// Does a key that is kept down do it again and again?
    pub repeats: bool,
}

/// What an action tells the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Does {
    /// A command when it is pressed.
    Once(Command),
    /// A command when it is pressed and one when it is let go. Pressed again while it is held, it is let
    /// go: this serves buttons that only tell of presses.
    Held {
        /// When it is pressed.
        down: Command,
        /// When it is let go.
        up: Command,
    },
}

const fn once(name: &'static str, doc: &'static str, command: Command, repeats: bool) -> Action {
    Action { name, doc, does: Does::Once(command), repeats }
}

/// All actions.
pub static ACTIONS: &[Action] = &[
    once("play", "play, or stop", Command::TogglePlay, false),
    once("step-forward", "a frame on", Command::Step(1), true),
    once("step-back", "a frame back", Command::Step(-1), true),
    once("next-shot", "the shot after", Command::StepShot(1), true),
    once("previous-shot", "the shot before", Command::StepShot(-1), true),
    once("first-frame", "the shot's first frame", Command::Seek(0), true),
    once("round", "go round in the shot, or in the running order", Command::OtherScope, true),
    Action {
        name: "before",
        doc: "while held: the picture without the grade",
        does: Does::Held { down: Command::Compare(Compare::Before), up: Command::Compare(Compare::After) },
        repeats: false,
    },
    Action {
        name: "before-look",
        doc: "while held: the picture without the look",
        does: Does::Held {
            down: Command::Compare(Compare::WithoutLook),
            up: Command::Compare(Compare::After),
        },
        repeats: false,
    },
    once(
        "next-look",
        "try the next look of the library; after the last comes the show's own",
        Command::StepLook(1),
        true,
    ),
    once("previous-look", "try the look before", Command::StepLook(-1), true),
    once("keep-look", "make the look that is tried the show's", Command::KeepLook, false),
    once("leave-look", "back to the show's own look", Command::LeaveLook, false),
    once(
        "pick-neutral",
        "wait for a patch of the picture to be made neutral, or no longer",
        Command::TogglePicking,
        false,
    ),
    once(
        "fitting",
        "the whole frame inside the raster, or the whole raster covered",
        Command::OtherFitting,
        false,
    ),
    once("undo", "take the last step back", Command::Undo, true),
    once("redo", "do it again", Command::Redo, true),
    once("stop", "stop playing", Command::Stop, false),
    once("last-frame", "the shot's last frame", Command::LastFrame, true),
    once("play-reverse", "play backwards", Command::Shuttle(-1.0), false),
    once(
        "hold-clients",
        "clients keep the picture that they see, or see again what is made",
        Command::Curtain(Curtain::Held),
        false,
    ),
    once(
        "blank-clients",
        "clients see nothing, or see again what is made",
        Command::Curtain(Curtain::Blank),
        false,
    ),
    once("focus-next", "the stage after comes into focus", Command::StepFocus(1), true),
    once("focus-previous", "the stage before comes into focus", Command::StepFocus(-1), true),
    once("focus-on", "the stage in focus acts, or not", Command::OtherFocusOn, false),
];

/// The action of a name, if there is one.
pub fn action(name: &str) -> Option<&'static Action> {
    ACTIONS.iter().find(|a| a.name == name)
}

/// Is there an action of this name?
///
/// # Errors
/// If not, what there is.
pub fn known_action(name: &str) -> Result<(), String> {
    let names = || ACTIONS.iter().map(|a| a.name).collect::<Vec<_>>().join(", ");
    action(name).map(|_| ()).ok_or_else(|| format!("no such action; there are {}", names()))
}
