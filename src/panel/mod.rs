//! Panel: the physical control surface. Messages in, moves out.
//!
//! One layer a file. [`split`] and [`read`] turn bytes into an [`Event`]; a [`Coding`] says what its data
//! byte means, and a [`Pair`] puts the bytes of fine controls together; a [`Map`] says which parameters the
//! control moves and what its buttons do; [`Takeover`] says when it may; a [`Surface`] puts these together and gives [`Move`]s. [`Ports`] and [`Plugs`] bring the bytes.
//! The other way, [`Feedback`] says what a panel is to be told, and [`Echoes`] keeps what comes back from that out.
//!
//! The room knows neither the document nor the engine: parameters are addresses and actions are names, and
//! whoever reads a map says which there are.

mod clock;
mod coding;
mod drawing;
mod error;
mod feedback;
mod feedback_map;
mod learn;
mod learn_map;
mod map;
mod message;
mod pair;
mod plugs;
mod ports;
mod surface;
mod system;
mod takeover;

pub use clock::PortClock;
pub use coding::{Coding, Reading};
pub use drawing::{svg, table};
pub use error::PanelError;
pub use feedback::{
    BURST, BYTES_PER_SECOND, CONTROL_EVERY, Doing, ECHO, Echoes, Feedback, HELD_BACK, LET_GO, Readout,
    TEXT_EVERY, TRAVEL,
};
pub use feedback_map::{Light, Text, Told, Way, When};
pub use learn::{Guess, Kind, Need, NumberedValue, Recogniser};
pub use learn_map::{LearnError, Purpose, add_learned, conflict, controls_of, empty_map};
pub use map::{Binding, Button, Map, Mode, SHIPPED, Source, Target, matches};
pub use message::{Control, Event, FIRST_MODE_MESSAGE, events, read, split};
pub use pair::{FINE_MOST, Half, LSB_ABOVE, PAIR_WAIT, Pair};
pub use plugs::{EVERY, EVERY_WITHOUT_MIDI, Plug, Plugs, Wish};
pub use ports::{Connection, Input, Output, PortInfo, Ports, QUEUE, Queue, RawMessage, Sender, Waker, queue};
pub use surface::{ButtonState, ControlState, Move, Surface};
pub use system::SystemPorts;
pub use takeover::{FINE_TOLERANCE, Pickup, TOLERANCE, Takeover};
