//! What a shot and its groups change in the strength of the look and its stages, for themselves.

use egui::{RichText, TextEdit, Ui};

use super::super::look;
use super::light_path::words;
use super::{MOUSE, Panes};
use crate::engine::{Input, Snapshot};
use crate::look::Stage;
use crate::show::{Change, Group, Shot, StageKey, TrimAddress, TrimOf, stage_keys, strength_trim};

impl Panes {
    /// Trims of the look as a whole, and the groups that the shot belongs to.
    pub(super) fn trims(&mut self, ui: &mut Ui, s: &Snapshot, shot: &Shot, inputs: &mut Vec<Input>) {
        self.trim(ui, TrimOf::Shot, None, "this shot's trim of it", shot.trim.get(None), inputs);
        for group in s.show.groups.iter().filter(|g| shot.groups.contains(&g.name)) {
            let label = format!("{}: the group's trim of it", group.name);
            self.trim(ui, TrimOf::Group(group.name.clone()), None, &label, group.trim.get(None), inputs);
        }
        if self.fold(ui, "groups", "groups of this shot", !shot.groups.is_empty()) {
            self.groups(ui, s, shot, inputs);
        }
    }

    /// The shot's and its groups' trims of one stage of the look.
    pub(super) fn trims_of_stage(
        &mut self,
        ui: &mut Ui,
        s: &Snapshot,
        stages: &[Stage],
        at: usize,
        inputs: &mut Vec<Input>,
    ) {
        let (Some(shot), Some(key)) = (s.show.shots.get(s.shot), stage_keys(stages).get(at).copied()) else {
            return;
        };
        let key = Some(key);
        self.trim(ui, TrimOf::Shot, key, "this shot's trim of it", shot.trim.get(key), inputs);
        for group in s.show.groups.iter().filter(|g| shot.groups.contains(&g.name)) {
            let label = format!("{}: the group's trim of it", group.name);
            self.trim(ui, TrimOf::Group(group.name.clone()), key, &label, group.trim.get(key), inputs);
        }
    }

    fn trim(
        &mut self,
        ui: &mut Ui,
        of: TrimOf,
        stage: Option<StageKey>,
        label: &str,
        value: f64,
        inputs: &mut Vec<Input>,
    ) {
        let address = TrimAddress { of, stage }.to_string();
        self.parameter(ui, address, strength_trim(stage), label, value, inputs);
    }

    /// Which groups the shot belongs to, and a field to make another.
    fn groups(&mut self, ui: &mut Ui, s: &Snapshot, shot: &Shot, inputs: &mut Vec<Input>) {
        let with = |groups: Vec<String>| Change::SetShotGroups { shot: s.shot, groups };
        let mut ask = |change| inputs.push(Input::Change { change, control: MOUSE });
        ui.indent("groups", |ui| {
            for group in &s.show.groups {
                let mut belongs = shot.groups.contains(&group.name);
                if ui.checkbox(&mut belongs, RichText::new(words(&group.name)).size(12.0)).changed() {
                    let mut groups = shot.groups.clone();
                    groups.retain(|g| *g != group.name);
                    groups.extend(belongs.then(|| group.name.clone()));
                    ask(with(groups));
                }
            }
            ui.horizontal(|ui| {
                let hint = RichText::new("a scene, a camera").color(look::QUIET);
                let field = TextEdit::singleline(&mut self.group_name).desired_width(140.0).hint_text(hint);
                let entered = ui.add(field).lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Enter));
                let made = ui.button(RichText::new("make a group").size(11.0)).clicked();
                if (entered || made) && !self.group_name.is_empty() {
                    let name = std::mem::take(&mut self.group_name);
                    let at = s.show.groups.len();
                    let group = Group { name: name.clone(), trim: Default::default() };
                    let groups = shot.groups.iter().cloned().chain([name]).collect();
                    ask(Change::Together(vec![Change::AddGroup { at, group }, with(groups)]));
                }
            });
        });
    }
}
