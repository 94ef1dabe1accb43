//! The running order: the show's shots.

use egui::{RichText, Sense, Ui, Vec2};

use super::super::look;
use super::chosen;
use crate::engine::{Input, Snapshot};
use crate::picture::BalanceField;

pub(super) fn running_order(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
    ui.add_space(6.0);
    ui.label(RichText::new(&s.show.name).color(look::BRIGHT));
    chosen::survey(ui, s, inputs);
    ui.add_space(2.0);
    egui::ScrollArea::vertical().show(ui, |ui| {
        for (i, shot) in s.show.shots.iter().enumerate() {
            let here = i == s.shot;
            let (rect, response) =
                ui.allocate_exact_size(Vec2::new(ui.available_width(), 36.0), Sense::click());
            if here {
                ui.painter().rect_filled(rect, 2.0, look::BAR);
                ui.painter().vline(rect.left(), rect.y_range(), egui::Stroke::new(3.0, look::BRIGHT));
            } else if response.hovered() {
                ui.painter().rect_filled(rect, 2.0, egui::Color32::from_gray(36));
            }
            if chosen::is_chosen(ui, &shot.name) {
                let line = egui::Stroke::new(1.0, look::QUIET);
                ui.painter().rect_stroke(rect, 2.0, line, egui::StrokeKind::Inside);
            }
            let marks = s.first.survey.shots.get(i).filter(|m| m.any());
            let response = match marks {
                Some(marks) => response.on_hover_text(marks.lines().join("\n")),
                None => response,
            };
            let mark = if marks.is_some() { "   ⚠" } else { "" };
            let exposure = shot.balance.get(BalanceField::Exposure);
            let balance = if exposure == 0.0 {
                String::new()
            } else {
                format!("  {}", BalanceField::Exposure.parameter().show(exposure))
            };
            let p = ui.painter().with_clip_rect(rect);
            let left = rect.left() + 10.0;
            let ink = if here { look::BRIGHT } else { look::TEXT };
            p.text(
                egui::pos2(left, rect.top() + 10.0),
                egui::Align2::LEFT_CENTER,
                format!("{}  {}", i + 1, shot.name),
                egui::FontId::proportional(13.0),
                ink,
            );
            p.text(
                egui::pos2(left, rect.top() + 26.0),
                egui::Align2::LEFT_CENTER,
                format!("{}{balance}{mark}", shot.encoding.id),
                egui::FontId::proportional(11.0),
                look::QUIET,
            );
            response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, here, &shot.name));
            chosen::row(ui, s, i, &response, inputs);
        }
    });
}
