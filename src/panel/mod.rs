//! panel.
