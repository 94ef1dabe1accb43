//! Shots of the running order that are chosen together, what can be done with them, and the survey.

use std::collections::BTreeSet;

use egui::{Modifiers, Response, RichText, Ui};

use super::super::look;
use super::MOUSE;
use crate::colour::{ENCODINGS, Range};
use crate::engine::{Command, Input, Snapshot};
use crate::show::{Change, ShowError};

/// Names of the shots that are chosen, and of the one that was clicked last; egui keeps them from frame to frame.
#[derive(Clone, Default)]
struct Chosen {
    names: BTreeSet<String>,
    last: Option<String>,
}

fn id() -> egui::Id {
    egui::Id::unique("chosen shots")
}

/// Is a shot chosen together with others?
pub(super) fn is_chosen(ui: &Ui, name: &str) -> bool {
    ui.data(|d| d.get_temp::<Chosen>(id())).is_some_and(|c| c.names.len() > 1 && c.names.contains(name))
}

/// What a click on shot `at` does: goes there, or with Ctrl or Shift held chooses it or all between; and its menu.
pub(super) fn row(ui: &Ui, s: &Snapshot, at: usize, response: &Response, inputs: &mut Vec<Input>) {
    let shot = &s.show.shots[at];
    let mut chosen = ui.data(|d| d.get_temp::<Chosen>(id())).unwrap_or_default();
    if response.clicked() {
        let Modifiers { command, shift, .. } = ui.input(|i| i.modifiers);
        let here = s.show.shots.get(s.shot).map(|s| s.name.clone());
        if command {
            // What is on view is the first of those that are chosen.
            if chosen.names.is_empty() {
                chosen.names.extend(here);
            }
            if !chosen.names.remove(&shot.name) {
                chosen.names.insert(shot.name.clone());
            }
        } else if shift {
            let from = chosen.last.clone().or(here);
            let from = s.show.shots.iter().position(|s| Some(&s.name) == from.as_ref()).unwrap_or(at);
            let range = from.min(at)..=from.max(at);
            chosen.names = s.show.shots[range].iter().map(|s| s.name.clone()).collect();
        } else {
            chosen.names.clear();
            inputs.push(Input::Command(Command::Shot(at)));
        }
        if !shift {
            chosen.last = Some(shot.name.clone());
        }
        ui.data_mut(|d| d.insert_temp(id(), chosen.clone()));
    }
    response.context_menu(|ui| {
        let together = chosen.names.len() > 1 && chosen.names.contains(&shot.name);
        let all: Vec<usize> = (0..s.show.shots.len())
            .filter(|i| if together { chosen.names.contains(&s.show.shots[*i].name) } else { *i == at })
            .collect();
        super::running_order::shot_menu(ui, s, at, inputs);
        ui.separator();
        menu(ui, s, at, &all, inputs);
    });
}

/// What can be done with shot `at`, and with all that are chosen with it.
fn menu(ui: &mut Ui, s: &Snapshot, at: usize, all: &[usize], inputs: &mut Vec<Input>) {
    let change = |inputs: &mut Vec<Input>, change: Result<Change, ShowError>| {
        inputs.extend(change.ok().map(|change| Input::Change { change, control: MOUSE }));
    };
    let here = s.show.shots.get(s.shot).map_or("", |s| &s.name);
    let them = if all.len() > 1 { format!("these {} shots", all.len()) } else { "this shot".to_owned() };
    if at != s.shot && ui.button(format!("propose: {here} sits with this shot")).clicked() {
        inputs.push(Input::Command(Command::Match(at)));
        ui.close();
    }
    if all.iter().any(|i| *i != s.shot) && ui.button(format!("give {them} the balance of {here}")).clicked() {
        change(inputs, s.show.copy_balance(s.shot, all));
        ui.close();
    }
    ui.menu_button(format!("read {them} as"), |ui| {
        for encoding in ENCODINGS {
            let same = all.iter().all(|i| s.show.shots[*i].encoding.id == encoding.id);
            if ui.selectable_label(same, encoding.name).on_hover_text(encoding.source).clicked() {
                change(inputs, s.show.encode_shots(all, encoding, None));
                ui.close();
            }
        }
    });
    ui.menu_button(format!("range of {them}"), |ui| {
        let ranges =
            [("as the file says", None), ("narrow", Some(Range::Narrow)), ("full", Some(Range::Full))];
        for (name, range) in ranges {
            let same = all.iter().all(|i| s.show.shots[*i].range == range);
            if ui.selectable_label(same, name).clicked() {
                let set = all.iter().map(|&shot| Change::SetSignalRange { shot, range }).collect();
                change(inputs, Ok(Change::Together(set)));
                ui.close();
            }
        }
    });
    let Some(marks) = s.first.survey.shots.get(at).filter(|m| m.any()) else { return };
    ui.separator();
    for line in marks.lines() {
        ui.label(RichText::new(line).size(11.0).color(look::QUIET));
    }
    if let Some(encoding) = marks.doubt.encoding
        && ui.button(format!("read this shot as {}", encoding.id)).clicked()
    {
        change(inputs, s.show.encode_shots(&[at], encoding, None));
        ui.close();
    }
    if let Some(range) = marks.doubt.range {
        let name = if range == Range::Full { "full" } else { "narrow" };
        if ui.button(format!("read this shot in {name} range")).clicked() {
            change(inputs, Ok(Change::SetSignalRange { shot: at, range: Some(range) }));
            ui.close();
        }
    }
}

/// The survey: begin it, stop it, and how far it is.
pub(super) fn survey(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
    if s.show.shots.is_empty() {
        return;
    }
    let survey = &s.first.survey;
    ui.horizontal(|ui| {
        let name = if survey.running { "stop the survey" } else { "survey" };
        let button = egui::Button::new(RichText::new(name).size(11.0)).small();
        let about =
            "Ctrl E: read a frame of every shot, and mark what is off: exposure, a cast, range, encoding";
        if ui.add(button).on_hover_text(about).clicked() {
            inputs.push(Input::Command(Command::Survey));
        }
        let marked = survey.shots.iter().filter(|m| m.any()).count();
        let text = match (survey.running, survey.done) {
            (true, done) => format!("{done} of {}", s.show.shots.len()),
            (false, 0) => return,
            (false, _) if marked == 0 => "nothing is off".into(),
            (false, _) => format!("{marked} of {} marked", s.show.shots.len()),
        };
        ui.label(RichText::new(text).size(11.0).color(look::QUIET));
    });
}
