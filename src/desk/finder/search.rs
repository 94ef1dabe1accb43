//! What of the list a few words mean.

use super::entries::{Does, Entry};

/// Something that was found.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hit {
    /// Which entry, from 0.
    pub at: usize,
    /// The value that was typed after the words, and the text of it; why not, if it is none.
    pub value: Option<(String, Result<f64, String>)>,
}

/// What `query` finds, the best first. Words in any order, each in a name, an address, keys or the line about it; a parameter
/// whose words are followed by a value comes first, with that.
pub(super) fn search(entries: &[Entry], query: &str) -> Vec<Hit> {
    let words: Vec<&str> = query.split_whitespace().collect();
    let plain = ranked(entries, &words);
    let mut hits = with_value(entries, &words, plain.is_empty());
    hits.extend(plain.into_iter().map(|at| Hit { at, value: None }));
    hits
}

/// Parameters with a value behind their words. What is none is told of only where nothing else is found.
fn with_value(entries: &[Entry], words: &[&str], refusals: bool) -> Vec<Hit> {
    let mut refused = Vec::new();
    for head in 1..words.len() {
        let value = words[head..].join(" ");
        // A word that finds nothing is no value that is wrong.
        let number = value.starts_with(|c: char| c.is_ascii_digit() || "+-−–.,".contains(c));
        let found = ranked(entries, &words[..head]).into_iter().filter_map(|at| match &entries[at].does {
            Does::Parameter { parameter, .. } => {
                Some(Hit { at, value: Some((value.clone(), parameter.typed(&value))) })
            }
            _ => None,
        });
        let (good, bad): (Vec<_>, Vec<_>) =
            found.partition(|hit| hit.value.as_ref().is_some_and(|(_, v)| v.is_ok()));
        if !good.is_empty() {
            return good;
        }
        // The most words that still name a parameter leave the least to be refused.
        if number && !bad.is_empty() {
            refused = bad;
        }
    }
    if refusals { refused } else { Vec::new() }
}

/// Which entries have all the words, the best first: where names begin so, before where addresses or lines have it.
fn ranked(entries: &[Entry], words: &[&str]) -> Vec<usize> {
    let words: Vec<String> = words.iter().map(|w| w.to_lowercase()).collect();
    let mut found: Vec<(u32, usize)> = entries
        .iter()
        .enumerate()
        .filter_map(|(at, entry)| Some((words.iter().map(|w| rank(entry, w)).sum::<Option<u32>>()?, at)))
        .collect();
    found.sort();
    found.into_iter().map(|(_, at)| at).collect()
}

/// How far from the point a word is in an entry; `None` where it is not there.
fn rank(entry: &Entry, word: &str) -> Option<u32> {
    let name = entry.name.to_lowercase();
    if name == word {
        return Some(0);
    }
    if name.split(' ').any(|part| part == word) {
        return Some(1);
    }
    if name.split(' ').any(|part| part.starts_with(word)) {
        return Some(2);
    }
    if name.contains(word) {
        return Some(4);
    }
    let address = entry.address.as_deref().unwrap_or_default();
    if address.to_lowercase().contains(word) {
        return Some(5);
    }
    let keys = entry.keys.to_lowercase();
    if keys.split([' ', ',']).any(|key| key == word) {
        return Some(6);
    }
    entry.doc.to_lowercase().contains(word).then_some(8)
}
