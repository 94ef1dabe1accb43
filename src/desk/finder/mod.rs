//! The list of everything: actions and parameters, found by their words and done with a key.

mod entries;
mod pane;
mod search;

use std::sync::Arc;

pub(super) use self::pane::Outcome;
use self::search::Hit;

/// The list, while it is open.
#[derive(Debug, Default)]
pub(super) struct Finder {
    /// What was typed.
    query: String,
    /// Which of what was found is marked, from 0.
    marked: usize,
    /// The parameter that a value is asked for: its address.
    asking: Option<Arc<str>>,
    /// Why a value was refused.
    refused: Option<String>,
    /// Has the field been given the keyboard?
    begun: bool,
    /// Bring what is marked into view.
    reveal: bool,
}
