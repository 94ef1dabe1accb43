//! The pocket panel: the parameters of the stage in focus and of the shot's exposure, from their declarations.

use std::sync::Arc;

use serde_json::{Value, json};

use crate::engine::{Input, Link, Reach, Snapshot, known_action, known_target};
use crate::look::Parameter;
use crate::show::Change;

/// Control number of the first pocket panel; OSC's begin at half of it.
const CONTROLS: u32 = 1 << 31;

fn control(session: u32) -> u32 {
    CONTROLS | session
}

/// Addresses of the parameters on the panel.
fn addresses(s: &Snapshot) -> Vec<(String, String)> {
    let own =
        ["balance/exposure", "balance/temperature", "balance/tint", "balance/contrast", "balance/saturation"];
    let mut all: Vec<(String, String)> =
        own.iter().map(|a| ((*a).to_owned(), a.rsplit('/').next().unwrap_or(a).to_owned())).collect();
    all.push(("look/strength".into(), "look".into()));
    if let Some(focus) = s.focus
        && let Some(stage) = s.show.chain.list(focus.list).get(focus.at)
    {
        let base = format!("{}/{}", focus.list.key(), focus.at + 1);
        all.push((format!("{base}/strength"), "strength".into()));
        let parameters = stage.declaration().parameters.iter();
        all.extend(parameters.map(|p| (format!("{base}/{}", p.key), p.key.replace('-', " "))));
    }
    all
}

fn slot<'a>(s: &Snapshot, target: &str) -> Option<(crate::show::Slot, &'a Parameter)> {
    match s.reach(target)? {
        Reach::Slot(slot) => Some((slot, slot.parameter())),
        _ => None,
    }
}

/// What the panel shows.
pub(super) fn controls(s: &Snapshot) -> Value {
    let rows: Vec<Value> = addresses(s)
        .into_iter()
        .filter_map(|(address, label)| {
            let (slot, parameter) = slot(s, &address)?;
            let value = s.show.get(slot)?;
            Some(json!({
                "address": address,
                "label": label,
                "text": parameter.show(value),
                "at": parameter.position(value),
                "rest": parameter.position(parameter.default),
                "of": if address.starts_with("balance/") { "shot" } else if address == "look/strength" { "look" } else { "stage" },
            }))
        })
        .collect();
    let stage = s.focus.and_then(|f| s.show.chain.list(f.list).get(f.at));
    json!({"controls": {
        "stage": stage.map(|stage| stage.declaration().key.replace('-', " ")),
        "on": stage.map(|stage| stage.on),
        "shot": s.show.shots.get(s.shot).map(|shot| format!("{} · {}", s.shot + 1, shot.name)),
        "rows": rows,
    }})
}

pub(super) fn press(link: &Link, action: &str, down: bool) -> Result<(), String> {
    known_action(action)?;
    link.send(Input::Press { action: action.into(), down });
    Ok(())
}

pub(super) fn turn(link: &Link, session: u32, target: &str, detents: f64) -> Result<(), String> {
    known_target(target)?;
    if !detents.is_finite() || detents.abs() > 1000.0 {
        return Err(format!("{detents} is no number of steps; from -1000 to 1000 are accepted"));
    }
    link.send(Input::Turn { target: target.into(), detents, control: control(session) });
    Ok(())
}

pub(super) fn set(link: &Link, session: u32, target: &str, to: f64) -> Result<(), String> {
    known_target(target)?;
    if !(0.0..=1.0).contains(&to) {
        return Err(format!("{to} is no place in a range; from 0 to 1 are accepted"));
    }
    let s = link.snapshot();
    let (slot, parameter) = slot(&s, target).ok_or("there is no such parameter at the moment")?;
    let value = parameter.at(to);
    link.send(Input::Change { change: Change::SetParameter { slot, value }, control: control(session) });
    Ok(())
}

pub(super) fn reset(link: &Link, target: &str) -> Result<(), String> {
    known_target(target)?;
    link.send(Input::Reset { target: Arc::from(target) });
    Ok(())
}

pub(super) fn hold(link: &Link, session: u32, down: bool) {
    link.send(Input::Hold { control: control(session), down });
}
