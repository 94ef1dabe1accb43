//! Transport: play, timecode, place in the shot, and how playback is doing.

use egui::{Align, Layout, RichText, Sense, Ui, Vec2};

use super::super::look;
use crate::engine::{Command, Compare, Curtain, Input, Scope, Snapshot};

pub(super) fn transport(
    ui: &mut Ui,
    s: &Snapshot,
    presentation: (u64, u64),
    note: Option<&str>,
    inputs: &mut Vec<Input>,
) {
    ui.horizontal(|ui| {
        ui.set_min_height(26.0);
        let play = if s.playing { "stop" } else { "play" };
        if ui.add_sized([44.0, 20.0], egui::Button::new(play)).on_hover_text("Space").clicked() {
            inputs.push(Input::Command(Command::TogglePlay));
        }
        ui.monospace(s.timecode());
        let width = (ui.available_width() - 520.0).clamp(80.0, 500.0);
        let (rect, response) = ui.allocate_exact_size(Vec2::new(width, 16.0), Sense::click_and_drag());
        let bar = rect.shrink2(Vec2::new(0.0, 6.0));
        ui.painter().rect_filled(bar, 2.0, look::BAR);
        let last = s.frames.saturating_sub(1).max(1) as f32;
        let x = rect.left() + rect.width() * s.frame as f32 / last;
        ui.painter().vline(x, rect.y_range(), egui::Stroke::new(2.0, look::BRIGHT));
        response.widget_info(|| egui::WidgetInfo::slider(true, s.frame as f64, "frame"));
        if let Some(at) = response.interact_pointer_pos() {
            let share = ((at.x - rect.left()) / rect.width()).clamp(0.0, 1.0);
            let frame = (share * last).round() as u64;
            if frame != s.frame {
                inputs.push(Input::Command(Command::Seek(frame)));
            }
        }
        let scope = match s.scope {
            Scope::Shot => "round: shot",
            Scope::Show => "round: show",
        };
        if ui.button(scope).on_hover_text("O").clicked() {
            inputs.push(Input::Command(Command::OtherScope));
        }
        let compare = match s.compare {
            Compare::After => None,
            Compare::Before => Some("before"),
            Compare::WithoutLook => Some("without the look"),
            Compare::WithoutStage { .. } => Some("without the stage"),
        };
        if let Some(compare) = compare {
            ui.label(RichText::new(compare).color(look::BRIGHT));
        } else if let Some(trying) = &s.trying {
            let text = format!("trying {}", trying.name);
            ui.label(RichText::new(text).color(look::BRIGHT)).on_hover_text("Enter keeps it, Esc leaves it");
        }
        let clients = match s.curtain {
            Curtain::Open => None,
            Curtain::Held => Some("clients: held"),
            Curtain::Blank => Some("clients: blank"),
        };
        if let Some(clients) = clients {
            ui.label(RichText::new(clients).color(look::WARN)).on_hover_text("F10, F11");
        }
        if s.compiling {
            ui.label(RichText::new("preparing the look …").color(look::QUIET));
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let p = &s.playback;
            let saved = if s.unsaved { "saving …" } else { "saved" };
            let delay =
                p.delay.map_or(String::new(), |d| format!("control {:.0} ms  ", d.as_secs_f64() * 1e3));
            // Finished pictures that a newer one overtook before the client's window showed them.
            let overtaken = match presentation.1 {
                0 => String::new(),
                n => format!("overtaken {n}  "),
            };
            let text = format!(
                "{:.0}/{} fps  dropped {}  {overtaken}picture {:.1} ms  {delay}{saved}",
                p.rate,
                crate::show::rate_text(s.show.rate),
                p.dropped,
                p.cost.as_secs_f64() * 1e3,
            );
            ui.label(RichText::new(text).size(11.0).color(look::QUIET));
            if let Some(note) = note {
                ui.label(RichText::new(note).size(11.0).color(look::WARN));
            }
        });
    });
}
