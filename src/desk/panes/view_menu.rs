//! What is on view, how large its text is, and what surrounds the picture: a menu at the foot of the desk.

use egui::{RichText, Ui};

use super::super::look;
use super::super::surround::{Surround, View};
use super::{Pane, Panes};

/// The keys that show and hide the panes, in their order.
pub(super) const KEYS: [&str; 5] = ["Ctrl 1", "Ctrl 2", "Ctrl 3", "Ctrl 4 or V", "Ctrl 5"];

impl Panes {
    pub(super) fn view_menu(&mut self, ui: &mut Ui) {
        ui.menu_button("view", |ui| {
            let head = |ui: &mut Ui, text: &str| ui.label(RichText::new(text).size(11.0).color(look::QUIET));
            for (pane, key) in Pane::ALL.into_iter().zip(KEYS) {
                let mut shown = self.layout.shown(pane);
                let label = format!("{}   ({key})", pane.name());
                if ui.checkbox(&mut shown, label).changed() {
                    self.toggle(pane);
                }
            }
            if ui.button("the picture alone   (H)").clicked() {
                self.layout.picture_only = true;
                ui.close();
            }
            ui.separator();
            head(ui, "size of the text (Ctrl +, Ctrl −, Ctrl 0)");
            ui.horizontal(|ui| {
                for text in View::TEXTS {
                    let chosen = self.view.text == text;
                    if ui.selectable_label(chosen, format!("{text} %")).clicked() {
                        self.view.text = text;
                    }
                }
            });
            head(ui, "around the picture, of the display's white (Ctrl U)");
            ui.horizontal(|ui| {
                for surround in Surround::ALL {
                    let chosen = self.view.surround == surround;
                    if ui.selectable_label(chosen, format!("{} %", surround.percent())).clicked() {
                        self.view.surround = surround;
                    }
                }
            });
            head(ui, "a suite has 1 to 3 %, a bright room up to 10 % (common practice)");
        })
        .response
        .on_hover_text("panes, size of the text, surround");
    }

    /// Shows or hides a pane.
    pub fn toggle(&mut self, pane: Pane) {
        self.layout.toggle(pane);
        self.scopes.shown = self.layout.shown(Pane::Scopes);
    }
}
