//! OSC: the parameters of the program by their own addresses, over a network; and the page that lists them.
//!
//! [`decode`] turns a packet into [`Message`]s and [`meaning`] says what one asks for; [`matches`] finds what an address
//! pattern stands for; a [`Layout`] gives meaning to the fixed addresses of a tablet. [`Surfaces`] remembers who is out
//! there, [`Feedback`] says what to tell each when, and [`encode`] makes packets of it. [`Requests`] waits between the
//! network and whoever carries requests out. [`answer`] is the OSCQuery page and [`http`] what it is asked through.
//!
//! Nothing here opens a socket, starts a thread or reads a clock.
//!
//! Sources: OSC is the Open Sound Control 1.0 specification (opensoundcontrol.stanford.edu), OSCQuery the proposal of
//! that name (github.com/Vidvox/OSCQueryProposal).

mod feedback;
pub mod http;
mod layout;
mod meaning;
mod packet;
mod pattern;
mod query;
mod requests;
mod surfaces;

pub use feedback::{Feedback, Key, QUIET_AFTER_TOUCH, SEND_EVERY, STATE_EVERY, Shown};
pub use layout::{Fader, LAYOUTS, Layout, Push};
pub use meaning::{Meaning, meaning};
pub use packet::{
    Argument, DEEPEST, LONGEST_ADDRESS, MOST_BYTES, MOST_MESSAGES, MOST_SENT, Message, Sent, decode, encode,
};
pub use pattern::{is_pattern, matches};
pub use query::{Answer, Host, Method, answer};
pub use requests::{Item, MOST_WAITING, Request, Requests};
pub use surfaces::{FORGOTTEN_AFTER, Known, MOST_SURFACES, Surfaces};
