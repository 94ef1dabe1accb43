//! What there is to do at the moment: one list from the engine's actions, the desk's, and what the show has.

use std::sync::Arc;

use super::super::deeds::{DEEDS, keys_of};
use super::super::keys::Action;
use super::super::panes::{MOUSE, row_of};
use crate::colour::{ENCODINGS, OUTPUT_TRANSFORMS};
use crate::engine::{ACTIONS, Command, Does as Engine, Input, Reach, Snapshot, own_addresses};
use crate::look::{Kind, List, Parameter, STAGES, Stage, Unit};
use crate::panel::Map;
use crate::picture::{BALANCE, FRAMING, TRIM};
use crate::show::{Change, Output, Slot, TrimAddress, TrimOf, stage_keys};

/// Something of the list.
#[derive(Clone, Debug)]
pub(in super::super) struct Entry {
    /// What it is called.
    pub name: String,
    /// A line about it.
    pub doc: String,
    /// A parameter's address.
    pub address: Option<Arc<str>>,
    /// The keys that do it.
    pub keys: String,
    /// The controls and buttons of the loaded maps that do it.
    pub panel: String,
    /// A parameter's value, as a person reads it.
    pub now: String,
    /// What is done.
    pub does: Does,
}

/// What an entry does.
#[derive(Clone, Debug)]
pub(in super::super) enum Does {
    /// An action of the engine, by its name.
    Engine(&'static str),
    /// One of the desk's.
    Desk(Action),
    /// A parameter is put at a value, or taken in hand.
    Parameter {
        /// What is declared about it.
        parameter: Parameter,
        /// The row of the light path that has it, if one does.
        row: Option<Arc<str>>,
    },
    /// The engine is told this.
    Send(Vec<Input>),
}

/// Everything, in the order that it is shown in while nothing is typed.
pub(super) fn entries(s: &Snapshot) -> Vec<Entry> {
    let mut all = Vec::new();
    all.extend(ACTIONS.iter().map(|action| {
        let held = matches!(action.does, Engine::Held { .. });
        let keys = keys_of(Action::Engine(action.name));
        Entry {
            name: words(action.name),
            doc: if held {
                format!("{}; from this list: until it is done again", action.doc)
            } else {
                action.doc.to_owned()
            },
            keys: if held && !keys.is_empty() { format!("{keys}, held") } else { keys },
            panel: buttons(&s.panel.maps, action.name),
            does: Does::Engine(action.name),
            ..plain()
        }
    }));
    all.extend(DEEDS.iter().map(|deed| Entry {
        name: deed.name.to_owned(),
        doc: deed.doc.to_owned(),
        keys: keys_of(deed.action),
        does: Does::Desk(deed.action),
        ..plain()
    }));
    parameters(s, &mut all);
    changes(s, &mut all);
    all
}

fn plain() -> Entry {
    Entry {
        name: String::new(),
        doc: String::new(),
        address: None,
        keys: String::new(),
        panel: String::new(),
        now: String::new(),
        does: Does::Send(Vec::new()),
    }
}

fn words(key: &str) -> String {
    key.replace('-', " ")
}

/// Everything that has an address and is there now.
fn parameters(s: &Snapshot, all: &mut Vec<Entry>) {
    let mut add = |name: String, address: String| {
        let Some(reach) = s.reach(&address) else { return };
        let parameter = match reach {
            Reach::Slot(slot) => *slot.parameter(),
            _ => match own(s, &address) {
                Some(parameter) => parameter,
                None => return,
            },
        };
        let now = s.reading(&address).map_or(String::new(), |(text, _)| text);
        all.push(Entry {
            name,
            doc: parameter.doc.trim().to_owned(),
            panel: controls(s, &address),
            now,
            does: Does::Parameter { parameter, row: row_of(s, &address).map(Into::into) },
            address: Some(address.into()),
            ..plain()
        });
    };
    for parameter in BALANCE {
        add(words(parameter.key), format!("balance/{}", parameter.key));
    }
    for parameter in FRAMING {
        add(format!("framing {}", words(parameter.key)), format!("framing/{}", parameter.key));
    }
    add("strength of the look".into(), "look/strength".into());
    for list in List::ALL {
        for (at, stage) in s.show.chain.list(list).iter().enumerate() {
            let d = stage.declaration();
            // The first of a kind is known by its kind.
            let first = s.show.chain.list(list).iter().position(|other| other.kind == stage.kind) == Some(at);
            let which = if first { d.key.to_owned() } else { (at + 1).to_string() };
            let place = match list {
                List::Look => String::new(),
                _ => format!("{} ", list.key()),
            };
            let number = if first { String::new() } else { format!(" {}", at + 1) };
            for key in std::iter::once("strength").chain(d.parameters.iter().map(|p| p.key)) {
                let name = format!("{place}{}{number}: {}", words(d.key), words(key));
                add(name, format!("{}/{which}/{key}", list.key()));
            }
        }
    }
    if let Some(shot) = s.show.shots.get(s.shot) {
        let keys = stage_keys(&s.show.chain.look);
        for stage in std::iter::once(None).chain(keys.into_iter().map(Some)) {
            let what = stage.map_or("look".to_owned(), |key| key.to_string());
            add(format!("this shot's trim of {what}"), TrimAddress { of: TrimOf::Shot, stage }.to_string());
            for group in &shot.groups {
                let of = TrimOf::Group(group.clone());
                add(format!("{group}: trim of {what}"), TrimAddress { of, stage }.to_string());
            }
        }
    }
    for output in Output::ALL {
        for parameter in TRIM {
            let name = format!("{} trim: {}", output.key(), words(parameter.key));
            add(name, format!("output/{}/{}", output.key(), parameter.key));
        }
    }
    // What is in focus is there under its own name.
    for address in own_addresses().into_iter().filter(|address| !address.starts_with("focus/")) {
        let name = address.rsplit('/').next().unwrap_or_default().to_owned();
        add(words(&name), address);
    }
}

/// What is declared of an address that only the engine knows, so that values can be typed for it.
fn own(s: &Snapshot, address: &str) -> Option<Parameter> {
    if let Some(Reach::Measure(measure)) = s.reach(address) {
        return measure.parameter().copied();
    }
    let base = crate::look::strength(1.0);
    Some(match address {
        "view/frame" => Parameter {
            key: "frame",
            doc: "The frame of this shot that is on view, from 0.",
            default: 0.0,
            max: s.frames.saturating_sub(1).max(1) as f64,
            step: 1.0,
            ..base
        },
        "view/shuttle" => Parameter {
            key: "shuttle",
            doc: "How many times as fast as its rate it plays; negative is backwards, 0 stops.",
            default: 0.0,
            min: -crate::engine::FASTEST,
            max: crate::engine::FASTEST,
            step: 0.25,
            unit: Unit::Ratio,
            ..base
        },
        _ => return None,
    })
}

/// What menus have: looks to try, shots to go to, encodings, stages, displays.
fn changes(s: &Snapshot, all: &mut Vec<Entry>) {
    let mut add = |name: String, doc: &str, does: Vec<Input>| {
        all.push(Entry { name, doc: doc.trim().to_owned(), does: Does::Send(does), ..plain() });
    };
    let command = |command| vec![Input::Command(command)];
    let change = |change| vec![Input::Change { change, control: MOUSE }];
    for (at, look) in s.looks.iter().enumerate() {
        add(format!("try look: {}", look.name), &look.note, command(Command::TryLook(at)));
    }
    for (at, shot) in s.show.shots.iter().enumerate() {
        let name = format!("go to shot {}: {}", at + 1, shot.name);
        add(name, shot.encoding.name, command(Command::Shot(at)));
    }
    let chain = &s.show.chain;
    for kind in (0..STAGES.len()).map(Kind).filter(|kind| !kind.declaration().table) {
        let (d, (list, at)) = (kind.declaration(), chain.place_for(kind));
        let put = Change::AddStage { list, at, stage: Stage::new(kind) };
        add(format!("put in {}", words(d.key)), d.doc, change(put));
    }
    for list in List::ALL {
        let stages = chain.list(list);
        for (at, stage) in stages.iter().enumerate() {
            let name = format!("{} {}: {}", list.key(), at + 1, words(stage.declaration().key));
            let on = Change::SetStageOn { list, at, on: !stage.on };
            let act = if stage.on { "it acts no more" } else { "it acts" };
            add(format!("switch {name}"), act, change(on));
            add(format!("take out {name}"), "", change(Change::RemoveStage { list, at }));
            if at + 1 < stages.len() {
                let later = Change::MoveStage { list, from: at, to: at + 1 };
                add(format!("later {name}"), "after the next stage", change(later));
            }
        }
    }
    if s.show.shots.get(s.shot).is_some() {
        for encoding in ENCODINGS {
            let set = Change::SetShotEncoding { shot: s.shot, encoding };
            add(format!("this shot's encoding: {}", encoding.name), encoding.source, change(set));
        }
    }
    if s.show.shots.len() > 1 {
        for encoding in ENCODINGS {
            let set = |shot| Change::SetShotEncoding { shot, encoding };
            let all = Change::Together((0..s.show.shots.len()).map(set).collect());
            add(format!("all shots' encoding: {}", encoding.name), encoding.source, change(all));
        }
    }
    for transform in OUTPUT_TRANSFORMS {
        let set = Change::SetTransform(*transform);
        add(format!("output transform: {}", transform.id()), transform.doc(), change(set));
    }
    for output in Output::ALL {
        for display in s.show.all_displays() {
            let name = format!("{}'s display: {}", output.key(), display.name);
            let set = Change::SetDisplay { output, display: display.clone() };
            add(name, display.source.as_ref(), change(set));
        }
    }
}

/// The buttons of maps that do what is called so.
fn buttons(maps: &[Arc<Map>], action: &str) -> String {
    let of = |map: &Arc<Map>| -> Vec<String> {
        let fits = map.buttons.iter().filter(|button| &*button.action == action);
        fits.map(|b| at(map, &b.label, b.bank, b.layer, maps.len())).collect()
    };
    list(maps.iter().flat_map(of).collect())
}

/// The controls of maps that move what an address leads to now.
fn controls(s: &Snapshot, address: &str) -> String {
    let maps = &s.panel.maps;
    let wanted = s.reach(address);
    let slot = |reach: Option<Reach>| match reach {
        Some(Reach::Slot(slot)) => Some(slot),
        _ => None,
    };
    let wanted_slot: Option<Slot> = slot(wanted);
    let moves =
        |target: &str| target == address || (wanted_slot.is_some() && slot(s.reach(target)) == wanted_slot);
    let of = |map: &Arc<Map>| -> Vec<String> {
        let fits = map.controls.iter().filter(|c| c.targets.iter().any(|t| moves(&t.address)));
        fits.map(|c| at(map, &c.label, c.bank, c.layer, maps.len())).collect()
    };
    list(maps.iter().flat_map(of).collect())
}

/// Where a control is: its name, its bank, its layer, and of several maps which.
fn at(map: &Map, label: &str, bank: Option<usize>, layer: Option<usize>, maps: usize) -> String {
    let mut places: Vec<&str> = Vec::new();
    if maps > 1 {
        places.push(&map.name);
    }
    places.extend(bank.and_then(|bank| map.banks.get(bank)).map(|bank| &*bank.name));
    places.extend(layer.and_then(|layer| map.layers.get(layer)).map(|layer| &**layer));
    if places.is_empty() { label.to_owned() } else { format!("{label} ({})", places.join(", ")) }
}

/// Names, each once.
fn list(mut names: Vec<String>) -> String {
    let mut seen = std::collections::HashSet::new();
    names.retain(|name| seen.insert(name.clone()));
    names.join(", ")
}
