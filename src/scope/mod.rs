//! Scope: what a signal is made of, counted in whole codes: waveform, parade, vectorscope, histogram.
//!
//! Everything here is in integers, so that the GPU's counts and these are the same numbers. A picture's codes are
//! ten bits wide ([`ten_bits`] makes them of eight). [`count`] is the CPU twin of `shaders/pass/scope.wgsl`;
//! [`marks`] says where on a scope published values lie. [`stops`] and [`patterns`] say what of a picture is told on it:
//! false colours, and where signals end.

mod codes;
mod counts;
pub mod marks;
pub mod patterns;
pub mod stops;

pub use codes::{System, ten_bits};
pub use counts::{BINS, CHANNELS, Counts, LEVELS, SPAN, Setting, Window, columns, count};

/// Codes of a picture from 0 to this are ten bits wide.
pub const MOST: u32 = 1023;
