//! The look as a whole, on the light path: which one is tried, whether it is sound, and the library.

use egui::{RichText, Sense, Ui, Vec2};

use super::super::look;
use super::super::soundness::Finding;
use super::{Ask, Panes};
use crate::engine::{Command, Compare, Input, Snapshot};
use crate::look::{Intent, List};

impl Panes {
    /// What is tried, with what to do about it, and the mark that says whether the look on view is sound.
    pub(super) fn look_on_view(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        if let Some(trying) = &s.trying {
            let text = format!("trying {} of {}: {}", trying.at + 1, trying.of, trying.name);
            ui.label(RichText::new(text).size(12.0).color(look::BRIGHT)).on_hover_text(&*trying.note);
            ui.horizontal(|ui| {
                for (name, key, command) in
                    [("keep it", "Enter", Command::KeepLook), ("leave it", "Esc", Command::LeaveLook)]
                {
                    if ui.add(small(name)).on_hover_text(key).clicked() {
                        inputs.push(Input::Command(command));
                    }
                }
            });
        }
        if s.trying.is_none()
            && let Some(origin) = &s.show.chain.origin
        {
            let changed = if s.show.chain.is_changed() { ", changed" } else { "" };
            let text = RichText::new(format!("{}{changed}", origin.name)).size(12.0).color(look::TEXT);
            ui.label(text).on_hover_text(&origin.note);
        }
        let chain = s.show.shots.get(s.shot).map(|shot| s.show.chain_of(shot));
        if let (Some(chain), Some(soundness)) = (chain, &mut self.soundness)
            && let Some(finding) = soundness.of(&chain.look, chain.look_strength, intent(s))
        {
            mark(ui, finding);
        }
    }

    /// A button that leaves a stage out of the picture while it is held.
    pub(super) fn without(&mut self, ui: &mut Ui, list: List, at: usize, inputs: &mut Vec<Input>) {
        let held = ui.add(small("without it, while held")).on_hover_text("key S for the stage in hand");
        if held.is_pointer_button_down_on() && !self.looking_away {
            self.looking_away = true;
            inputs.push(Input::Command(Command::Compare(Compare::WithoutStage { list, at })));
        }
    }

    /// The library, one by one or as a sheet.
    pub(super) fn library(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        ui.menu_button(RichText::new("try a look").size(11.0), |ui| {
            let now = s.trying.as_ref().map(|t| t.at);
            for (at, look) in s.looks.iter().enumerate() {
                if ui.selectable_label(now == Some(at), &look.name).on_hover_text(&look.note).clicked() {
                    inputs.push(Input::Command(Command::TryLook(at)));
                    ui.close();
                }
            }
        })
        .response
        .on_hover_text(", and . go through them; nothing is changed until Enter keeps one");
        if ui.add(small("sheet")).on_hover_text("T: every look on this shot, to click").clicked() {
            self.asks.push(Ask::Sheet);
        }
        if !s.show.chain.look.is_empty()
            && ui.add(small("save")).on_hover_text("Ctrl S: the look on view as a file").clicked()
        {
            self.asks.push(Ask::SaveForm);
        }
    }
}

/// What the look on view means to do with colour.
fn intent(s: &Snapshot) -> Option<Intent> {
    s.show.chain.origin.as_ref().and_then(|origin| origin.intent)
}

/// A dot where nothing measured is past its limit, else a triangle and how many are.
fn mark(ui: &mut Ui, finding: &Finding) {
    let sound = finding.past.is_empty();
    let text = match finding.past.len() {
        0 => "sound, as far as it is measured while it plays".to_owned(),
        1 => "1 measurement past its limit".to_owned(),
        n => format!("{n} measurements past their limits"),
    };
    let ink = if sound { look::QUIET } else { look::WARN };
    let line = ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(Vec2::splat(10.0), Sense::hover());
        let c = rect.center();
        if sound {
            ui.painter().circle_filled(c, 2.5, ink);
        } else {
            let corners = [(-4.5, 3.5), (4.5, 3.5), (0.0, -4.5)].map(|(x, y)| c + Vec2::new(x, y)).to_vec();
            ui.painter().add(egui::Shape::convex_polygon(corners, ink, egui::Stroke::NONE));
        }
        ui.label(RichText::new(text).size(11.0).color(ink));
    });
    line.response.on_hover_ui(|ui| {
        ui.set_max_width(420.0);
        for line in finding.past.iter().chain(&finding.notes) {
            ui.label(line);
        }
        ui.label(
            RichText::new("greyhold check measures the rest: folds, skin, clipping, noise")
                .color(look::QUIET),
        );
    });
}

fn small(text: &str) -> egui::Button<'_> {
    egui::Button::new(RichText::new(text).size(11.0)).small()
}
