//! What the engine can be asked.

use std::sync::Arc;

use super::comparing::{Comparing, Keep};
use super::marks::MarkCommand;
use super::osc::OscOptions;
use super::pace::PaceCommand;
use super::targets::Focus;
use super::watch::{Curtain, Views};
use crate::gpu::ScopeView;
use crate::look::List;
use crate::panel::{Act, Map};
use crate::show::{Change, Look};

/// How many times as fast as its rate a show can be played, forwards and backwards.
pub const FASTEST: f64 = 8.0;

/// A live output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(usize)]
pub enum Live {
    /// The operator's window.
    Desk,
    /// The client's window.
    Client,
}

impl Live {
    /// How many there are.
    pub const COUNT: usize = 2;
    /// All of them.
    pub const ALL: [Self; Self::COUNT] = [Self::Desk, Self::Client];
}

/// What playback goes round in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scope {
    /// The current shot.
    Shot,
    /// The running order.
    Show,
}

/// How much of the grade is on view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compare {
    /// All of it.
    After,
    /// None: the footage decoded and rendered for the display.
    Before,
    /// All but the look: balance and what stands before and after the look.
    WithoutLook,
    /// All but one stage.
    WithoutStage {
        /// In which list.
        list: List,
        /// Which of its stages.
        at: usize,
    },
    /// All of it as another version has it.
    OtherVersion,
}

/// A patch of a picture, in shares 0…1 of its width and height from the upper left corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// Which shot the picture shows.
    pub shot: usize,
    /// Which frame of it.
    pub frame: u64,
    /// One corner. Where both are one place, it is the nine by nine pixels around that.
    pub from: [f64; 2],
    /// The other corner.
    pub to: [f64; 2],
}

/// Something to do that can be asked for by name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Command {
    /// Start or stop playing.
    TogglePlay,
    /// Stop.
    Stop,
    /// Go so many frames on (negative: back), stopped.
    Step(i64),
    /// Go to a frame of the current shot, from 0.
    Seek(u64),
    /// Go to a shot.
    Shot(usize),
    /// Go so many shots on or back.
    StepShot(i64),
    /// What playback goes round in.
    Scope(Scope),
    /// The other one of what playback can go round in.
    OtherScope,
    /// Before or after.
    Compare(Compare),
    /// The curtain before all client outputs falls so, or is open again if it has.
    Curtain(Curtain),
    /// Wait for a patch of the picture to be made neutral, or wait no longer.
    Picking(bool),
    /// Wait for a patch, or no longer if so already.
    TogglePicking,
    /// Balance a shot so that a patch becomes neutral, in one step.
    Neutral(Patch),
    /// The current shot's whole frame inside the raster, or the whole raster covered: the other one of them.
    OtherFitting,
    /// The frame on view stands for the current shot in pictures of the show, or no longer if it was chosen for that.
    Represent,
    /// The current shot goes so many places on or back in the running order, as far as that goes.
    MoveShot(i64),
    /// Play so many times as fast, backwards where negative, up to [`FASTEST`] either way; 0 stops.
    Shuttle(f64),
    /// Go to the current shot's last frame.
    LastFrame,
    /// A stage comes into focus.
    Focus(Focus),
    /// The stage so many further along the chain comes into focus, round and round.
    StepFocus(i64),
    /// The stage in focus acts, or not: the other one of them.
    OtherFocusOn,
    /// Another look of the library in the place of the show's own, so many places on or back; nothing is changed by it.
    StepLook(i64),
    /// A look of the library in the place of the show's own.
    TryLook(usize),
    /// What is tried becomes the show's look.
    KeepLook,
    /// The show's own look again.
    LeaveLook,
    /// Something about stills, and about what the picture is compared with.
    Comparing(Comparing),
    /// Which part of the shot is played, and in what size.
    Pace(PaceCommand),
    /// What is told on the desk's picture.
    Mark(MarkCommand),
    /// Read the frame on view and propose exposure and white for it. Nothing is changed by it.
    Suggest,
    /// Propose exposure and white so that the shot on view sits with another one.
    Match(usize),
    /// The same with the shot before it.
    MatchBefore,
    /// How much of what is proposed would be taken, 0…1.
    ProposalStrength(f64),
    /// What is proposed becomes the shot's balance, as far as its strength says: one step.
    TakeProposal,
    /// Nothing is proposed any more.
    LeaveProposal,
    /// The balance of the shot before becomes this one's.
    BalanceFromBefore,
    /// This shot's balance becomes that of all others of the same camera: see [`crate::show::Show::same_camera`].
    CopyBalance,
    /// Read a frame of every shot and say what is off; or stop doing so.
    Survey,
    /// Take the last step back; what is tried is left first.
    Undo,
    /// Do it again.
    Redo,
}

/// Everything the engine takes in.
#[derive(Clone, Debug)]
pub enum Input {
    /// Change the document. `control` tells gestures apart: changes of one parameter from one control in
    /// quick succession are one step to undo.
    Change {
        /// What to change.
        change: Change,
        /// Who moves it.
        control: u32,
    },
    /// Turn a parameter by so many of its own steps.
    Turn {
        /// Its address.
        target: Arc<str>,
        /// Steps; negative is down.
        detents: f64,
        /// Who moves it.
        control: u32,
    },
    /// Put a parameter at its default.
    Reset {
        /// Its address.
        target: Arc<str>,
    },
    /// Put what an address leads to at a value in its own unit, as a step of its own: a number was typed.
    Set {
        /// The address.
        target: Arc<str>,
        /// The value.
        value: f64,
    },
    /// A hand took hold of a control that tells so, or let it go: what it changes between is one step to
    /// undo, however long it rests.
    Hold {
        /// Which control.
        control: u32,
        /// Taken hold of, not let go.
        down: bool,
    },
    /// Something to do.
    Command(Command),
    /// The surface of a live output has so many bits: 8, as all have at first, or 10. Pictures are dithered to that.
    Depth {
        /// Which output.
        output: Live,
        /// Bits of a channel.
        bits: u32,
    },
    /// Balance pushed by so much of C_B and C_R on the client's signal.
    Push {
        /// C_B and C_R, each of a range of 1.
        by: [f64; 2],
        /// Who pushes.
        control: u32,
    },
    /// Exposure, so that what has one luma of the client's signal comes to another.
    Lift {
        /// That luma, 0…1.
        from: f64,
        /// The other.
        to: f64,
        /// Who lifts.
        control: u32,
    },
    /// What the picture holds from one place to another is wanted, in shares 0…1 of its width and height, or no more.
    Probe(Option<[[f64; 2]; 2]>),
    /// Browsers want these pictures, and no others.
    Watch(Views),
    /// Scopes of the client's signal are wanted so, or none.
    Scopes(Option<ScopeView>),
    /// Rows of the running order whose thumbnails somebody sees: those are made first, then the others. `None`: nobody
    /// sees any, and none is made.
    Thumbnails(Option<std::ops::Range<usize>>),
    /// Listen to the panels for the control that is to move the parameter at an address, and do nothing else of what
    /// they say meanwhile; `None` ends that. What is recognised is in the snapshot's panel; who asked writes the map.
    Learn {
        /// The address, or an action's name for a button.
        target: Option<Arc<str>>,
    },
    /// A hand does something on the panel that is drawn, by the map on view: the same as if its panel sent that.
    Panel(Act),
    /// Another map in the place of one, for its panels from now on, on the ports that they are on.
    Map {
        /// Which of the maps, from 0.
        at: usize,
        /// The other.
        map: Arc<Map>,
    },
    /// The looks that can be tried, in order; at first those that come with the program.
    Library(Arc<[Look]>),
    /// A key or button of an action was pressed or let go. Names that no action has do nothing.
    Press {
        /// The action's name.
        action: Arc<str>,
        /// Pressed, not let go.
        down: bool,
    },
    /// Something about stills and versions.
    Keep(Keep),
    /// Listen to OSC, there and nowhere else. What does not work is said in the snapshot.
    Osc(OscOptions),
}
