//! The form that saves the look on view.

use egui::{RichText, TextEdit, Ui};

use super::super::look;
use super::{Ask, Panes};
use crate::look::Intent;

impl Panes {
    /// The form, if it is open.
    pub(super) fn save_form(&mut self, ui: &Ui) {
        let Some(form) = &mut self.saving else { return };
        let (mut save, mut close) = (false, false);
        let window = egui::Window::new("Save the look on view")
            .collapsible(false)
            .resizable(false)
            .anchor(egui::Align2::CENTER_CENTER, egui::Vec2::ZERO);
        window.show(ui.ctx(), |ui| {
            egui::Grid::new("save look").num_columns(2).spacing([12.0, 6.0]).show(ui, |ui| {
                let label = ui.label("name");
                let name = ui.add(TextEdit::singleline(&mut form.name).desired_width(300.0));
                let name = name.labelled_by(label.id);
                if !std::mem::replace(&mut form.begun, true) {
                    name.request_focus();
                }
                ui.end_row();
                let label = ui.label("note").on_hover_text("what it is for, in a line");
                ui.add(TextEdit::singleline(&mut form.note).desired_width(300.0)).labelled_by(label.id);
                ui.end_row();
                ui.label("means to be").on_hover_text("which limits greyhold check holds it to");
                let now = form.intent.map_or("a colour picture", Intent::id);
                ui.menu_button(now, |ui| {
                    for intent in Intent::ALL {
                        if ui.selectable_label(form.intent == Some(intent), intent.id()).clicked() {
                            form.intent = Some(intent);
                            ui.close();
                        }
                    }
                });
                ui.end_row();
                ui.label("where");
                ui.horizontal(|ui| {
                    ui.selectable_value(&mut form.in_show, false, "your own looks");
                    ui.selectable_value(&mut form.in_show, true, "with this show");
                });
                ui.end_row();
            });
            if let Some(why) = &form.refused {
                ui.label(RichText::new(format!("⚠ {why}")).color(look::WARN));
                ui.checkbox(&mut form.replace, "replace the file that is there");
            }
            ui.horizontal(|ui| {
                save = ui.button("save").clicked();
                close = ui.button("leave").clicked();
            });
            save |= ui.input(|i| i.key_pressed(egui::Key::Enter));
            close |= ui.input(|i| i.key_pressed(egui::Key::Escape));
        });
        if save {
            self.asks.push(Ask::SaveLook);
        }
        if close {
            self.saving = None;
        }
    }
}
