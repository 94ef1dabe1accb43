//! What can be reached by OSC in a show as it stands, made from the declarations.

use std::sync::Arc;

use serde_json::{Value, json};

use super::super::actions::{ACTIONS, Does};
use super::super::comparing::Measure;
use super::super::input::FASTEST;
use super::super::snapshot::Snapshot;
use super::super::targets::{FOCUS_PARAMETERS, Focus, Reach, known_target, own_addresses, reach};
use crate::colour::Display;
use crate::look::{Kind, List, Parameter, Scale, Unit};
use crate::panel::osc::{Argument, Key, LONGEST_ADDRESS, Layout, Method, Sent, Shown, is_pattern};
use crate::picture::{BalanceField, FramingField, TrimField};
use crate::show::{Address, Output, Show, Slot, display_address, stage_keys};

/// The address, without slash, of the name of the shot on view.
const SHOT: &str = "view/shot";
/// The address, without slash, of the timecode of the frame on view.
const TIMECODE: &str = "view/timecode";
/// The address, without slash, of the frame on view.
pub(super) const FRAME: &str = "view/frame";
/// The address, without slash, of how fast it plays.
pub(super) const SHUTTLE: &str = "view/shuttle";
/// Frames a surface is told of: as many as a number that OSC knows for sure holds.
const MOST_FRAMES: u64 = i32::MAX as u64;
/// A surface is told of speeds that differ by this part of the shows' own.
const SPEED_PLACES: f64 = 100.0;
/// What a stage's switch is called.
const ON: &str = "on";
/// A surface is told a change of a tenth of a parameter's step.
const FINER_THAN_STEP: f64 = 10.0;
/// Places of a tablet's fader that are told apart.
const FADER_PLACES: f64 = 1024.0;

/// Something that can be set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Place {
    Parameter(Slot),
    On {
        list: List,
        at: usize,
        kind: Kind,
    },
    Display(Output),
    /// The frame on view, from 0.
    Frame,
    /// How many times as fast it plays.
    Shuttle,
    /// How the picture stands beside its reference; never which still.
    Measure(Measure),
}

/// What can be reached, and from where.
#[derive(Clone, Copy)]
pub(super) struct View<'a> {
    pub show: &'a Show,
    pub shot: usize,
    pub focus: Option<Focus>,
}

impl<'a> View<'a> {
    pub fn of(s: &'a Snapshot) -> Self {
        Self { show: &s.show, shot: s.shot, focus: s.focus }
    }
}

/// What an address names, without slash: `None` where this show lacks it.
///
/// # Errors
/// When no show could have it.
pub(super) fn place(view: View<'_>, address: &str) -> Result<Option<Place>, ()> {
    let View { show, shot, focus } = view;
    if address.starts_with("focus/") || address.starts_with("view/") {
        known_target(address).map_err(drop)?;
        return Ok(reach(show, shot, focus, address).and_then(|there| {
            Some(match there {
                Reach::Slot(slot) => Place::Parameter(slot),
                Reach::On(Focus { list, at }) => {
                    Place::On { list, at, kind: show.chain.list(list).get(at)?.kind }
                }
                Reach::Frame => Place::Frame,
                Reach::Shuttle => Place::Shuttle,
                // Programs press `/do/next-look`.
                Reach::Look | Reach::Measure(Measure::Still) => return None,
                Reach::Measure(measure) => Place::Measure(measure),
            })
        }));
    }
    if let Some(output) = display_address(address) {
        return Ok(Some(Place::Display(output)));
    }
    if let Some(stage) = address.strip_suffix(ON).filter(|stage| stage.ends_with('/')) {
        let strength = Address::parse(&format!("{stage}strength")).map_err(drop)?;
        return match (&strength, show.resolve(&strength, shot)) {
            (Address::Stage { .. }, Some(Slot::Strength { list, at, kind })) => {
                Ok(Some(Place::On { list, at, kind }))
            }
            (Address::Stage { .. }, _) => Ok(None),
            _ => Err(()),
        };
    }
    let address = Address::parse(address).map_err(drop)?;
    Ok(show.resolve(&address, shot).map(Place::Parameter))
}

/// Can it only be read?
pub(super) fn is_told_only(address: &str) -> bool {
    matches!(address, SHOT | TIMECODE)
}

/// What a place is asked to become.
#[derive(Clone, Debug)]
pub(super) enum Wanted {
    Number(f64),
    Switch(bool),
    Display(Arc<Display>),
}

/// What an argument means there; `None` if it means nothing.
pub(super) fn wanted(show: &Show, place: Place, argument: &Argument) -> Option<Wanted> {
    Some(match (place, argument) {
        (Place::Parameter(_), Argument::Number(n)) => Wanted::Number(*n),
        (Place::Parameter(_), Argument::Switch(on)) => Wanted::Number(f64::from(u8::from(*on))),
        (Place::Parameter(slot), Argument::Text(name)) => {
            Wanted::Number(slot.parameter().choices().iter().position(|c| c == name)? as f64)
        }
        (Place::On { .. }, Argument::Number(n)) => Wanted::Switch(*n != 0.0),
        (Place::On { .. }, Argument::Switch(on)) => Wanted::Switch(*on),
        (Place::Display(_), Argument::Text(id)) => {
            Wanted::Display(show.all_displays().find(|d| d.id == *id && show.check_display(d).is_ok())?)
        }
        (Place::Frame | Place::Shuttle | Place::Measure(_), Argument::Number(n)) => Wanted::Number(*n),
        (Place::Measure(measure), Argument::Text(name)) => {
            Wanted::Number(measure.parameter()?.choices().iter().position(|c| c == name)? as f64)
        }
        (Place::On { .. } | Place::Frame | Place::Shuttle | Place::Measure(_), _)
        | (Place::Display(_), _) => {
            return None;
        }
    })
}

/// What a surface shows that sent this.
pub(super) fn key_of(place: Place, wanted: &Wanted) -> Key {
    match (place, wanted) {
        (Place::Parameter(slot), Wanted::Number(n)) => key(slot.parameter(), *n),
        (Place::Shuttle, Wanted::Number(n)) => speed_key(*n),
        (Place::Measure(measure), Wanted::Number(n)) if measure.parameter().is_some() => {
            measure.parameter().map_or(Key::Step(0), |p| key(p, *n))
        }
        (_, Wanted::Number(n)) => Key::Step(*n as i64),
        (_, Wanted::Switch(on)) => Key::Step((*on).into()),
        (_, Wanted::Display(display)) => Key::Text(display.id.as_ref().into()),
    }
}

fn key(parameter: &Parameter, value: f64) -> Key {
    Key::Step((value / parameter.step * FINER_THAN_STEP).round() as i64)
}

fn speed_key(speed: f64) -> Key {
    Key::Step((speed * SPEED_PLACES).round() as i64)
}

/// The same of a tablet's fader, at 0…1.
pub(super) fn fader_key(position: f64) -> Key {
    Key::Step((position * FADER_PLACES).round() as i64)
}

/// Everything that can be set, with its address without slash. Stages are there by position, and by kind where they are
/// the first of it in their list; that in focus, by its own name too, comes last. Trims of strength are there for stages that
/// the look has.
pub(super) fn places(view: View<'_>) -> Vec<(String, Place)> {
    let View { show, shot, .. } = view;
    let mut all = Vec::new();
    let mut slots = Vec::new();
    let trims: Vec<_> =
        std::iter::once(None).chain(stage_keys(&show.chain.look).into_iter().map(Some)).collect();
    if shot < show.shots.len() {
        slots.extend(FramingField::ALL.iter().map(|&field| Slot::Framing { shot, field }));
        slots.extend(BalanceField::ALL.iter().map(|&field| Slot::Balance { shot, field }));
        slots.extend(trims.iter().map(|&stage| Slot::ShotTrim { shot, stage }));
    }
    for group in 0..show.groups.len() {
        slots.extend(trims.iter().map(|&stage| Slot::GroupTrim { group, stage }));
    }
    for output in Output::ALL {
        slots.extend(TrimField::ALL.iter().map(|&field| Slot::Output { output, field }));
        all.push((format!("output/{}/display", output.key()), Place::Display(output)));
    }
    slots.push(Slot::LookStrength);
    let addresses = slots.into_iter().map(|slot| (show.address(slot).to_string(), Place::Parameter(slot)));
    all.extend(addresses.filter(|(address, _)| can_be_sent(address)));
    for list in List::ALL {
        let stages = show.chain.list(list);
        for (at, stage) in stages.iter().enumerate() {
            let kind = stage.kind;
            let first = stages.iter().position(|s| s.kind == kind) == Some(at);
            let names = [Some((at + 1).to_string()), first.then(|| kind.declaration().key.to_owned())];
            for name in names.into_iter().flatten() {
                let begin = format!("{}/{name}", list.key());
                all.push((format!("{begin}/{ON}"), Place::On { list, at, kind }));
                all.push((format!("{begin}/strength"), Place::Parameter(Slot::Strength { list, at, kind })));
                for (index, parameter) in kind.declaration().parameters.iter().enumerate() {
                    let slot = Slot::Parameter { list, at, kind, index };
                    all.push((format!("{begin}/{}", parameter.key), Place::Parameter(slot)));
                }
            }
        }
    }
    let own = own_addresses().into_iter().filter_map(|address| {
        let place = place(view, &address).ok()??;
        Some((address, place))
    });
    all.extend(own);
    all
}

/// Groups may have names that OSC has no addresses for.
fn can_be_sent(address: &str) -> bool {
    let plain = address.bytes().all(|b| b.is_ascii_graphic() && b != b'#' && b != b',');
    plain && !is_pattern(address) && address.len() < LONGEST_ADDRESS
}

/// What surfaces are told.
pub(super) fn shown(s: &Snapshot, layout: Option<&Layout>) -> Vec<Shown> {
    let show = &*s.show;
    let mut all: Vec<Shown> = places(View::of(s))
        .into_iter()
        .filter_map(|(address, place)| {
            let (sent, key) = match place {
                Place::Parameter(slot) => {
                    let (parameter, value) = (slot.parameter(), show.get(slot)?);
                    let sent = match parameter.choices() {
                        [] => Sent::Float(value as f32),
                        _ => Sent::Int(value as i32),
                    };
                    (sent, key(parameter, value))
                }
                Place::On { list, at, .. } => {
                    let on = show.chain.list(list).get(at)?.on;
                    (Sent::Switch(on), Key::Step(on.into()))
                }
                Place::Display(output) => text(&show.outputs.get(output).display.id),
                Place::Frame => {
                    let frame = s.frame.min(MOST_FRAMES);
                    (Sent::Int(frame as i32), Key::Step(frame as i64))
                }
                Place::Shuttle => (Sent::Float(s.speed as f32), speed_key(s.speed)),
                Place::Measure(measure) => {
                    let (parameter, value) = (measure.parameter()?, s.kept.measure(measure));
                    let sent = match parameter.choices() {
                        [] => Sent::Float(value as f32),
                        _ => Sent::Int(value as i32),
                    };
                    (sent, key(parameter, value))
                }
            };
            Some(Shown { address: format!("/{address}").into(), sent, key })
        })
        .collect();
    let views = [(SHOT, shot_name(s)), (TIMECODE, s.timecode())];
    all.extend(views.into_iter().map(|(address, words)| {
        let (sent, key) = text(&words);
        Shown { address: format!("/{address}").into(), sent, key }
    }));
    for fader in layout.iter().flat_map(|l| &l.faders).filter(|f| f.steps.is_none()) {
        let Some((_, position)) = s.reading(&fader.target) else { continue };
        let sent = Sent::Float(position as f32);
        all.push(Shown { address: fader.osc.clone(), sent, key: fader_key(position) });
    }
    all
}

fn text(words: &str) -> (Sent, Key) {
    (Sent::Text(words.to_owned()), Key::Text(words.into()))
}

fn shot_name(s: &Snapshot) -> String {
    s.show.shots.get(s.shot).map(|shot| shot.name.clone()).unwrap_or_default()
}

/// What the OSCQuery page lists: methods, and what containers are.
pub(super) fn methods(s: &Snapshot) -> (Vec<Method>, Vec<(String, String)>) {
    let mut all: Vec<Method> = places(View::of(s))
        .into_iter()
        .filter_map(|(address, place)| method(s, format!("/{address}"), place))
        .collect();
    for (address, description, value) in [
        (SHOT, "The shot on view.", shot_name(s)),
        (TIMECODE, "The timecode of the frame on view.", s.timecode()),
    ] {
        all.push(Method {
            address: format!("/{address}"),
            description: description.to_owned(),
            tag: 's',
            access: 1,
            value: Some(json!(value)),
            range: None,
            unit: None,
            held: false,
        });
    }
    for action in ACTIONS {
        let how = match action.does {
            Does::Once(_) => "when it is pressed",
            Does::Held { .. } => "as long as it is pressed",
            Does::Tapped(_) => "when it is pressed",
        };
        all.push(Method {
            address: format!("/do/{}", action.name),
            description: format!("{} ({how}).", action.doc),
            tag: 'T',
            access: 2,
            value: None,
            range: None,
            unit: None,
            held: false,
        });
    }
    (all, containers(s))
}

fn method(s: &Snapshot, address: String, place: Place) -> Option<Method> {
    let show = &*s.show;
    let plain = Method {
        address,
        description: String::new(),
        tag: 'T',
        access: 3,
        value: None,
        range: None,
        unit: None,
        held: false,
    };
    Some(match place {
        Place::Parameter(slot) => of_parameter(plain, slot.parameter(), show.get(slot)?),
        Place::Measure(measure) => of_parameter(plain, measure.parameter()?, s.kept.measure(measure)),
        Place::On { list, at, .. } => Method {
            description: "Does the stage act?".to_owned(),
            value: Some(Value::Bool(show.chain.list(list).get(at)?.on)),
            ..plain
        },
        Place::Display(output) => {
            let ids = show.all_displays().filter(|d| show.check_display(d).is_ok()).map(|d| json!(d.id));
            Method {
                description: "What the output's picture is encoded for.".to_owned(),
                tag: 's',
                value: Some(json!(show.outputs.get(output).display.id)),
                range: Some(json!({ "VALS": ids.collect::<Vec<_>>() })),
                ..plain
            }
        }
        Place::Frame => Method {
            description: "The frame on view, of the current shot, from 0.".to_owned(),
            tag: 'i',
            value: Some(json!(s.frame)),
            range: Some(json!({ "MIN": 0, "MAX": s.frames.saturating_sub(1) })),
            held: true,
            ..plain
        },
        Place::Shuttle => Method {
            description:
                "How many times as fast as its rate the show plays, backwards where negative; 0 stands still."
                    .to_owned(),
            tag: 'f',
            value: Some(json!(s.speed)),
            range: Some(json!({ "MIN": -FASTEST, "MAX": FASTEST })),
            held: true,
            ..plain
        },
    })
}

/// The method of a parameter that has a value.
fn of_parameter(plain: Method, p: &Parameter, value: f64) -> Method {
    let choices = p.choices();
    let mut description = p.doc.trim().to_owned();
    for (number, name) in choices.iter().enumerate() {
        description.push_str(if number == 0 { " " } else { ", " });
        description.push_str(&format!("{number} {name}"));
    }
    let whole = |v: f64| if choices.is_empty() { json!(v) } else { json!(v as i64) };
    Method {
        description,
        tag: if choices.is_empty() { 'f' } else { 'i' },
        value: Some(whole(value)),
        range: Some(match choices {
            [] => json!({ "MIN": p.min, "MAX": p.max }),
            _ => json!({ "VALS": (0..choices.len()).collect::<Vec<_>>() }),
        }),
        unit: unit(p.unit),
        held: p.scale != Scale::Circle,
        ..plain
    }
}

/// As the proposal's list of units has it, else our own word.
fn unit(unit: Unit) -> Option<&'static str> {
    match unit {
        Unit::Ratio | Unit::Choice(_) => None,
        Unit::Degrees => Some("angle.degree"),
        Unit::Micrometres => Some("distance.um"),
        Unit::Stops => Some("stops"),
        Unit::Points => Some("printer points"),
        Unit::Mired => Some("mired"),
        Unit::Duv => Some("0.001 Duv"),
    }
}

fn containers(s: &Snapshot) -> Vec<(String, String)> {
    let show = &*s.show;
    let stage = s.focus.and_then(|focus| show.chain.list(focus.list).get(focus.at));
    let in_focus = match stage {
        Some(stage) => format!(
            "The stage in focus, {}: 1 … {FOCUS_PARAMETERS} are its parameters.",
            stage.declaration().key
        ),
        None => "The stage in focus: there is none.".to_owned(),
    };
    let mut all: Vec<(String, String)> = [
        ("framing", "Where the current shot's frame lies in the raster."),
        ("balance", "The current shot's own correction."),
        ("shot", "Of the current shot."),
        ("shot/trim", "What the current shot makes of strengths."),
        ("group", "What groups of shots make of strengths."),
        ("output", "What one output's version of the picture differs in."),
        ("before", "Stages ahead of the look."),
        ("look", "The look."),
        ("finish", "Stages after the look."),
        ("view", "What is on view."),
        ("do", "Actions."),
    ]
    .map(|(path, text)| (format!("/{path}"), text.to_owned()))
    .into();
    all.push(("/focus".to_owned(), in_focus));
    for list in List::ALL {
        for (at, stage) in show.chain.list(list).iter().enumerate() {
            let declaration = stage.kind.declaration();
            let (list, doc) = (list.key(), declaration.doc.trim());
            let text = format!("{}: {doc}", declaration.key);
            all.push((format!("/{list}/{}", at + 1), text.clone()));
            all.push((format!("/{list}/{}", declaration.key), text));
        }
    }
    all
}
