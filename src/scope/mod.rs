//! Scope: what a signal is made of, counted in whole codes: waveform, parade, vectorscope, histogram; and what a frame says of
//! how it was lit, exposed and encoded.
//!
//! Counts are in integers, so that the GPU's and these are the same numbers. A picture's codes are
//! ten bits wide ([`ten_bits`] makes them of eight). [`count`] is the CPU twin of `shaders/pass/scope.wgsl`;
//! [`marks`] says where on a scope published values lie. [`Readings`] is made from a small picture of scene light, the same
//! on every machine, and turns with the light: a stop more light is a stop more in it.
//! [`marks`] says where on a scope published values lie. [`stops`] and [`patterns`] say what of a picture is told on it:
//! false colours, and where signals end.

mod card;
mod chart;
mod codes;
mod counts;
mod doubt;
mod flat;
mod level;
pub mod marks;
mod neutral;
pub mod patterns;
mod reading;
mod signal;
pub mod stops;

pub use card::Card;
pub use chart::{CHART_ACROSS, Chart, chart};
pub use codes::{System, ten_bits};
pub use counts::{BINS, CHANNELS, Counts, LEVELS, SPAN, Setting, Window, columns, count};
pub use doubt::{Doubt, Read, doubt};
pub use level::{Level, level};
pub use neutral::{Neutral, angle, grey_world, neutral};
pub use reading::{Difference, Evidence, Reading, Readings, difference, sure_word};
pub use signal::{SignalStats, signal_stats};

/// Codes of a picture from 0 to this are ten bits wide.
pub const MOST: u32 = 1023;
