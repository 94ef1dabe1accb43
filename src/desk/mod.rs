//! Desk: the operator's window and the client's window, from one device.
//!
//! The picture has its own pass; the interface is drawn over it and never carries it. The engine runs on
//! its own thread; this room shows what is finished and sends what the hands do.

mod app;
mod beside;
mod client;
mod deeds;
mod finder;
mod focus;
mod glyphs;
mod keys;
mod learner;
mod library;
mod look;
mod luts;
mod panes;
mod picker;
mod probe;
mod remembered;
mod rows;
mod sheet;
mod sofa;
mod soundness;
mod stills;
mod surface;
mod surround;
mod text;
mod typing;
mod walk;
mod window;

pub use app::{ClientWindow, DeskError, DeskOptions, run};
pub use keys::KEYS;
pub use learner::MapFile;
