//! The report as a page.
use super::{Report, Subject};
/// x
pub fn page(_report: &Report, _subject: &Subject) -> String { String::new() }
