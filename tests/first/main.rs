//! The first pass: what a frame says of its light, and what is proposed from it.

mod casts;
mod chart;
mod invariance;
mod matching;
mod panoramas;
mod support;
