//! What viewers are told in words: how things stand at the desk, and what was answered.

use serde_json::{Value, json};

use super::house::House;
use super::sum::sum;
use crate::engine::{Compare, Curtain, Picture, Snapshot};

/// How things stand, as all viewers are told.
pub(super) fn state(house: &House, s: &Snapshot) -> Value {
    let curtain = match s.curtain {
        Curtain::Open => "open",
        Curtain::Held => "held",
        Curtain::Blank => "blank",
    };
    json!({"state": {
        "show": s.show.name,
        "shots": s.show.shots.len(),
        "playing": s.playing,
        "curtain": curtain,
        "point": house.pointed(),
        "trouble": if s.trouble.is_some() && s.curtain == Curtain::Open { Value::Bool(true) } else { Value::Null },
    }})
}

/// Notes and approvals, the latter with whether the settings are still those.
pub(super) fn answers(house: &House, s: &Snapshot) -> Value {
    let book = house.book.get();
    let shots = &s.show.shots;
    let sums: Vec<Option<String>> = (0..shots.len()).map(|shot| sum(&s.show, shot)).collect();
    let approvals: Vec<Value> = book
        .approvals
        .iter()
        .map(|a| {
            let now = shots.iter().position(|shot| shot.name == a.shot).and_then(|at| sums[at].as_ref());
            json!({"shot": a.shot, "name": a.name, "when": a.when, "holds": now == Some(&a.sum)})
        })
        .collect();
    json!({"answers": {"notes": book.notes, "approvals": approvals}})
}

/// How much of the grade a picture shows, in words; nothing for all of it.
pub(super) fn compare_words(picture: &Picture) -> String {
    match picture.compare {
        Compare::After => String::new(),
        Compare::Before => "before".into(),
        Compare::OtherVersion => "another version".into(),
        Compare::WithoutLook => "without the look".into(),
        Compare::WithoutStage { list, at } => {
            let stage = picture.show.chain.list(list).get(at);
            format!("without {}", stage.map_or("a stage", |s| s.declaration().key).replace('-', " "))
        }
    }
}

/// The look that a picture shows, by its name.
pub(super) fn look_words(picture: &Picture) -> String {
    let chain = &picture.show.chain;
    match (&picture.trying, &chain.origin) {
        (Some(name), _) => name.to_string(),
        (None, Some(origin)) if chain.is_changed() => format!("{}, changed", origin.name),
        (None, Some(origin)) => origin.name.clone(),
        (None, None) if chain.look.is_empty() => String::new(),
        (None, None) => "a look of its own".into(),
    }
}
