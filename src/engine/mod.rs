//! Engine: clock, playback, inputs → changes → frames. The only room that starts threads (the pools of
//! libraries aside).
//!
//! [`core`] is passive: it takes [`Input`]s and is ticked. [`host`] runs it on a thread; the desk and the
//! headless commands are two hosts of the same engine. What others may know of it is a [`Snapshot`],
//! swapped atomically; finished pictures lie in [`Handle::picture`]'s places.

mod actions;
mod beside;
mod clock;
mod comparing;
mod core;
mod document;
mod draw;
mod feed;
mod finish;
pub mod first;
pub mod handoff;
pub mod incoming;
mod host;
mod input;
mod keeper;
mod link;
mod marks;
mod order;
mod osc;
mod pace;
mod panels;
mod playback;
mod raster;
pub mod render;
mod saver;
pub mod sheet;
mod shots;
mod snapshot;
pub mod stills;
pub mod survey;
mod targets;
mod thumbs;
mod traces;
mod trial;
mod watch;

pub use actions::{ACTIONS, Action, Does, action, known_action};
pub use clock::Clock;
pub use comparing::{Comparing, Keep, Kept, Measure, With};
pub use feed::{Feeds, SourceKey};
pub use finish::Picture;
pub use host::{CACHE, EngineError, Handle, Options, start};
pub use input::{Command, Compare, FASTEST, Input, Live, Patch, Scope};
pub use keeper::keep_before;
pub use link::Link;
pub use marks::{LightOf, MarkCommand, Marks};
pub use osc::{OscOptions, OscState};
pub use pace::{PaceCommand, Preview};
pub use raster::raster;
pub use shots::{ShotJob, check_shots};
pub use snapshot::{Learning, PanelState, Playback, Snapshot, Trying};
pub use targets::{FOCUS_PARAMETERS, Focus, Reach, known_target, own_addresses};
pub use thumbs::{THUMBNAIL, Thumbnail, Thumbnails};
pub use watch::{Canvas, Curtain, View, Views, recipe_of_view};
