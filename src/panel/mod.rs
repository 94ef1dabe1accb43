//! Panel: the physical control surface. Messages in, moves out.
//!
//! One layer a file. [`split`] and [`read`] turn bytes into an [`Event`]; a [`Coding`] says what its data
//! byte means; a [`Map`] says which parameters the control moves; [`Takeover`] says when it may; a
//! [`Surface`] puts these together and gives [`Move`]s. [`Ports`] and [`Plugs`] bring the bytes.
//!
//! The room knows neither the document nor the engine: parameters are addresses, and whoever reads a map
//! says which addresses there are.

mod coding;
mod error;
mod map;
mod message;
mod plugs;
mod ports;
mod surface;
mod system;
mod takeover;

pub use coding::{Coding, Reading};
pub use error::PanelError;
pub use map::{Binding, Map, SHIPPED, matches};
pub use message::{Control, Event, FIRST_MODE_MESSAGE, events, read, split};
pub use plugs::{EVERY, EVERY_WITHOUT_MIDI, Plug, Plugs};
pub use ports::{Connection, Input, PortInfo, Ports, QUEUE, Queue, RawMessage, Sender, Waker, queue};
pub use surface::{ControlState, Move, Surface};
pub use system::SystemPorts;
pub use takeover::{Pickup, TOLERANCE, Takeover};
