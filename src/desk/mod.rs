//! desk.
