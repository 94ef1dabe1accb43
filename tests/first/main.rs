//! The first pass: what a frame says of its light, and what is proposed from it.

mod chart;
mod support;
