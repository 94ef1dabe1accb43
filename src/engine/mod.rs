//! Engine: clock, playback, inputs → changes → frames. The only room that starts threads (the pools of
//! libraries aside).
//!
//! [`core`] is passive: it takes [`Input`]s and is ticked. [`host`] runs it on a thread; the desk and the
//! headless commands are two hosts of the same engine. What others may know of it is a [`Snapshot`],
//! swapped atomically; finished pictures lie in [`Handle::picture`]'s places.

mod actions;
mod clock;
mod core;
mod document;
mod draw;
mod feed;
mod finish;
mod host;
mod input;
mod link;
mod osc;
mod panels;
mod playback;
mod raster;
pub mod render;
mod saver;
pub mod sheet;
mod snapshot;
mod targets;
mod trial;
mod watch;

pub use actions::{ACTIONS, Action, Does, action, known_action};
pub use clock::Clock;
pub use feed::{Feeds, SourceKey};
pub use finish::Picture;
pub use host::{CACHE, EngineError, Handle, Options, start};
pub use input::{Command, Compare, FASTEST, Input, Live, Patch, Scope};
pub use link::Link;
pub use osc::{OscOptions, OscState};
pub use raster::raster;
pub use snapshot::{Learning, PanelState, Playback, Snapshot, Trying};
pub use targets::{FOCUS_PARAMETERS, Focus, Reach, known_target, own_addresses};
pub use watch::{Canvas, Curtain, View, Views, recipe_of_view};
