//! The running order: the show's shots.

use egui::{RichText, Sense, Ui, Vec2};

use super::super::look;
use crate::engine::{Command, Input, Snapshot};
use crate::picture::BalanceField;

pub(super) fn running_order(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
    ui.add_space(6.0);
    ui.label(RichText::new(&s.show.name).color(look::BRIGHT));
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
                format!("{}{balance}", shot.encoding.id),
                egui::FontId::proportional(11.0),
                look::QUIET,
            );
            if let Some(mark) = super::super::sofa::mark(ui, &shot.name) {
                let at = egui::pos2(rect.right() - 6.0, rect.top() + 26.0);
                p.text(at, egui::Align2::RIGHT_CENTER, mark, egui::FontId::proportional(11.0), look::TEXT);
            }
            response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, here, &shot.name));
            if response.clicked() {
                inputs.push(Input::Command(Command::Shot(i)));
            }
        }
    });
}
