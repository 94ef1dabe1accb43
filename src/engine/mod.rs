//! engine.
