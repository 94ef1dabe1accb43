//! Greyhold: a real-time preview server for colour grading. This page is the map of the house.
//!
//! Rooms, lowest first; a room may use the rooms above it in this list and none below
//! (`tests/layers.rs` enforces it):
//!
//! - [`colour`]: encodings, primaries, adaptation, displays, tone scale, ACES 2.0, look-up tables. Pure arithmetic.
//! - [`interchange`]: what other programs read and write: LUT files. Bytes in, bytes out.
//! - [`look`]: the stages of a look, each declared once, with their CPU twins.
//! - [`picture`]: frames, and the recipe that turns one into a picture; the CPU's way through it.
//! - [`scope`]: what a signal is made of, counted; where published values lie on a scope.
//! - [`check`]: is a look sound? Measurements, limits, a report.
//! - [`show`]: the document: shots, balance, chain, outputs; changes with undo; `show.toml`.
//! - [`media`]: frames in from files, frames out to files.
//! - [`gpu`]: the GPU's way through a recipe.
//! - [`panel`]: the physical control surface: messages in, moves out.
//! - [`engine`]: the clock that ties them together, on its own thread.
//! - [`serve`]: viewers in browsers, and what they answer.
//! - [`demo`]: the invented show that the program draws for itself.
//! - [`desk`]: the operator's window and the client's.
//! - [`cli`]: one file a command.

pub mod colour;
pub mod interchange;
pub mod look;
pub mod picture;
pub mod scope;
pub mod check;
pub mod show;
pub mod media;
pub mod gpu;
pub mod panel;
pub mod engine;
pub mod serve;
pub mod demo;
pub mod desk;
pub mod cli;
