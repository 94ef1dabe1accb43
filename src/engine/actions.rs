//! What keys and buttons can ask for by name, declared once.

use super::comparing::Comparing;
use super::input::{Command, Compare};
use super::marks::{MarkCommand, mark};
use super::pace::{PaceCommand, pace};
use super::watch::Curtain;
use crate::picture::Way;

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
    /// A command when it is pressed; again when it is let go, if it was held for longer than a moment. So a short press
    /// switches on what stays, and a long one shows it as long as it lasts.
    Tapped(Command),
}

const fn once(name: &'static str, doc: &'static str, command: Command, repeats: bool) -> Action {
    Action { name, doc, does: Does::Once(command), repeats }
}

const fn tapped(name: &'static str, doc: &'static str, way: Way) -> Action {
    Action { name, doc, does: Does::Tapped(Command::Comparing(Comparing::Toggle(way))), repeats: false }
}

const fn stay(name: &'static str, doc: &'static str, compare: Compare) -> Action {
    once(name, doc, Command::Comparing(Comparing::Stay(compare)), false)
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
    once(
        "represent",
        "this frame stands for its shot in pictures of the show, or no longer",
        Command::Represent,
        false,
    ),
    once("shot-earlier", "the shot goes a place back in the running order", Command::MoveShot(-1), true),
    once("shot-later", "the shot goes a place on in the running order", Command::MoveShot(1), true),
    once("suggest", "read the frame and propose exposure and white for it", Command::Suggest, false),
    once("match-before", "propose what makes the shot sit with the one before", Command::MatchBefore, false),
    once("take-proposal", "what is proposed becomes the shot's balance", Command::TakeProposal, false),
    once("leave-proposal", "nothing is proposed any more", Command::LeaveProposal, false),
    once(
        "balance-from-before",
        "the balance of the shot before becomes this one's",
        Command::BalanceFromBefore,
        false,
    ),
    once(
        "copy-balance",
        "this balance becomes that of all other shots of the same camera",
        Command::CopyBalance,
        false,
    ),
    once("survey", "read a frame of every shot and say what is off, or stop that", Command::Survey, false),
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
    stay("stay-before", "the picture without the grade, until it is pressed again", Compare::Before),
    stay("stay-before-look", "the picture without the look, until it is pressed again", Compare::WithoutLook),
    Action {
        name: "other-version",
        doc: "while held: the picture as another version has it, the one that was looked at last or the newest",
        does: Does::Held {
            down: Command::Compare(Compare::OtherVersion),
            up: Command::Compare(Compare::After),
        },
        repeats: false,
    },
    once("keep-still", "keep the frame on view as a still", Command::Comparing(Comparing::KeepStill), false),
    tapped("wipe", "a line between the picture and a still; held: as long as it is held", Way::Wipe),
    tapped("side-by-side", "the picture and a still, each whole; held: as long as it is held", Way::Side),
    tapped("difference", "how far the picture is from a still; held: as long as it is held", Way::Difference),
    once(
        "next-still",
        "the still after stands beside the picture",
        Command::Comparing(Comparing::StepStill(1)),
        true,
    ),
    once("previous-still", "the still before", Command::Comparing(Comparing::StepStill(-1)), true),
    once(
        "compare-for-client",
        "what stands beside the picture, on the client's too; a difference never",
        Command::Comparing(Comparing::OnClient),
        false,
    ),
    once("range-in", "play from the frame on view, in this shot", pace(PaceCommand::In), false),
    once("range-out", "play to the frame on view, in this shot", pace(PaceCommand::Out), false),
    once("range-off", "play the whole shot again", pace(PaceCommand::Whole), false),
    once(
        "preview",
        "live pictures whole, at half or quarter size, or smaller while that is needed to keep time",
        pace(PaceCommand::NextPreview),
        true,
    ),
    once(
        "false-colour",
        "the desk's picture in false colours, whole stops from grey, or as it is",
        mark(MarkCommand::FalseColour),
        false,
    ),
    once(
        "false-colour-light",
        "false colours of the light after balance, or of the camera's",
        mark(MarkCommand::Light),
        false,
    ),
    once(
        "clip-marks",
        "on the desk: marks where the client's signal and the camera's codes end, or none",
        mark(MarkCommand::Clipping),
        false,
    ),
    once(
        "gamut-marks",
        "on the desk: marks on colours outside the primaries that the client's display keeps within, or none",
        mark(MarkCommand::Gamut),
        false,
    ),
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
