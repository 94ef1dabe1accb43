//! Panel: the physical control surface. Messages in, moves out.
//!
//! One layer a file. A [`Splitter`] and [`read`] turn bytes into an [`Event`]; a [`Selection`] knows which registered
//! parameter data is for, a [`Coding`] says what a data byte means, and a [`Pair`] puts the bytes of fine controls
//! together: whatever the device, that comes to a position 0…1 or a signed number of detents ([`Reading`]). A [`Map`]
//! says which parameters the control moves and what its buttons do, by pages, banks and layers; balls, gangs and the
//! rest of how it feels are in there; [`Takeover`] says when it may; a [`Surface`] puts these together and gives
//! [`Move`]s. [`Ports`] and [`Plugs`] bring the bytes.
//! The other way, [`Feedback`] says what a panel is to be told, and [`Echoes`] keeps what comes back from that out. A
//! [`Recogniser`] guesses what a control sends.
//! A [`Mimic`] sends what a panel would that nobody has.
//! [`osc`] is the same over a network, and the page that describes it.
//!
//! The room knows neither the document nor the engine: parameters are addresses and actions are names, and
//! whoever reads a map says which there are.

mod ball;
mod bank;
mod clock;
mod coding;
mod drawing;
mod error;
mod feedback;
mod feedback_map;
mod feel;
mod hand;
mod learn;
mod learn_map;
mod map;
mod message;
mod mimic;
pub mod osc;
mod pair;
mod plugs;
mod ports;
mod registered;
mod surface;
mod system;
mod takeover;

pub use ball::{Lie, Plane};
pub use clock::PortClock;
pub use coding::{Coding, Reading};
pub use drawing::{layout_svg, layout_table, svg, table};
pub use error::PanelError;
pub use feedback::{
    BURST, BYTES_PER_SECOND, CONTROL_EVERY, Doing, ECHO, Echoes, Feedback, HELD_BACK, LET_GO, Readout,
    TEXT_EVERY, TRAVEL,
};
pub use feedback_map::{Light, Text, Told, Way, When};
pub use feel::{DOUBLE_PRESS, FINE, GLIDE_STEP, Glide, PACE_WINDOW, Pace, SLOW};
pub use learn::{Guess, Kind, Need, NumberedValue, Recogniser};
pub use learn_map::{LearnError, Purpose, add_learned, conflict, empty_map, sources_of};
pub use map::{
    Bank, Binding, Button, Map, Mode, PANEL_ACTIONS, Page, Resets, SHIPPED, SHIPPED_ALIASES, Source, Target,
    Task, matches, shipped,
};
pub use message::{Control, Event, FIRST_MODE_MESSAGE, Splitter, events, read, split};
pub use mimic::{Act, Mimic};
pub use pair::{FINE_MOST, Half, LSB_ABOVE, PAIR_WAIT, Pair};
pub use plugs::{EVERY, EVERY_WITHOUT_MIDI, Plug, Plugs, Wish};
pub use ports::{Connection, Input, Output, PortInfo, Ports, QUEUE, Queue, RawMessage, Sender, Waker, queue};
pub use registered::{Datum, Registered, Selection, is_registered};
pub use surface::{ButtonState, ControlState, Move, Standing, Surface};
pub use system::SystemPorts;
pub use takeover::{FINE_TOLERANCE, Moved, Pickup, TOLERANCE, Takeover};
