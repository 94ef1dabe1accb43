//! The walk's card, over the picture's corner.

use std::sync::Arc;

use egui::{Align, Frame, Id, Layout, Margin, Order, Rect, RichText, Stroke, Ui, Vec2};

use super::super::look;
use super::{STEPS, Walk};
use crate::engine::Snapshot;

/// Across.
const WIDTH: f32 = 290.0;

impl Walk {
    /// Draws the card in the corner of `area`, if there is anything to say. The row that a step wants in hand.
    pub fn card(&mut self, ui: &Ui, area: Rect, s: &Snapshot, scopes: bool) -> Option<Arc<str>> {
        let mut row = self.follow(s, scopes);
        let (title, text) = match self {
            Self::Away => return row,
            Self::Offered => (
                "A first walk".to_owned(),
                "Seven steps through the desk on this demo show. Each waits until your hand has done it; it can be left at \
                 any time, and called again from the list of everything (F10)."
                    .to_owned(),
            ),
            Self::At(at, _) => {
                let step = &STEPS[*at];
                (format!("{} of {} · {}", *at + 1, STEPS.len(), step.title), step.text.to_owned())
            }
            Self::Over => (
                "That was the walk".to_owned(),
                "F1 shows all keys and what the panel's controls do. F10 lists everything there is: type a few letters of \
                 it, or a parameter and its value."
                    .to_owned(),
            ),
        };
        let frame = Frame::NONE
            .fill(look::PANE)
            .stroke(Stroke::new(1.0, look::FILL))
            .corner_radius(4.0)
            .inner_margin(Margin::same(12));
        let place = area.left_top() + Vec2::new(14.0, 14.0);
        let card = egui::Area::new(Id::unique("walk")).order(Order::Middle).fixed_pos(place);
        card.show(ui.ctx(), |ui| {
            frame.show(ui, |ui| {
                ui.set_width(WIDTH.min(area.width() - 60.0).max(160.0));
                ui.label(RichText::new(title).size(14.0).color(look::BRIGHT));
                ui.add_space(2.0);
                ui.add(egui::Label::new(RichText::new(text).color(look::TEXT)).wrap());
                ui.add_space(4.0);
                ui.with_layout(Layout::left_to_right(Align::Center), |ui| match self {
                    Self::Offered => {
                        if ui.button("begin").on_hover_text("Shift F1").clicked() {
                            row = self.begin(s, scopes);
                        }
                        if ui.button("not now").on_hover_text("Esc").clicked() {
                            *self = Self::Away;
                        }
                    }
                    Self::At(..) => {
                        if ui.button("leave the walk").on_hover_text("Shift F1").clicked() {
                            *self = Self::Away;
                        }
                    }
                    _ => {
                        if ui.button("close").on_hover_text("Esc").clicked() {
                            *self = Self::Away;
                        }
                    }
                });
            });
        });
        row
    }
}
