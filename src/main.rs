//! Greyhold.
fn main() {}
