//! The panel mirror: what each physical control does now.

use egui::{RichText, Sense, Ui, Vec2};

use super::super::look;
use crate::engine::{self, Snapshot};
use crate::panel::{ButtonState, ControlState, PANEL_ACTIONS, Standing, Takeover};

/// A box for each control: what it moves, where that stands, whether it has been picked up; and one for each
/// button: what it does, and whether it is down.
pub(super) fn mirror(ui: &mut Ui, s: &Snapshot) {
    let panel = &s.panel;
    ui.horizontal(|ui| {
        let ports =
            if panel.ports.is_empty() { "no panel connected".to_owned() } else { panel.ports.join(", ") };
        ui.label(RichText::new(&panel.map).size(11.0).color(look::TEXT));
        ui.label(RichText::new(ports).size(11.0).color(look::QUIET));
        for absent in &panel.absent {
            ui.label(RichText::new(format!("{absent}: absent")).size(11.0).color(look::WARN));
        }
        for word in words(&panel.standing) {
            ui.label(RichText::new(word).size(11.0).color(look::BRIGHT));
        }
        if let Some(note) = &panel.note {
            ui.label(RichText::new(note).size(11.0).color(look::WARN));
        }
        if panel.overruns > 0 {
            ui.label(
                RichText::new(format!("⚠ {} messages lost", panel.overruns)).size(11.0).color(look::WARN),
            );
        }
    });
    let row = ui.available_width();
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = GAP;
        for control in &panel.controls {
            control_box(ui, s, control, width(panel.controls.len(), row));
        }
    });
    if !panel.buttons.is_empty() {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = GAP;
            for button in &panel.buttons {
                button_box(ui, button, width(panel.buttons.len(), row));
            }
        });
    }
    ui.add_space(3.0);
}

/// What is in force on the panel besides what all its controls say.
fn words(standing: &Standing) -> Vec<String> {
    let mut words: Vec<String> =
        [&standing.page, &standing.bank].into_iter().flatten().map(|name| name.to_string()).collect();
    words.extend(standing.layers.iter().map(|name| name.to_string()));
    for (on, word) in [(standing.fine, "fine"), (standing.gang, "gang")] {
        words.extend(on.then(|| word.to_owned()));
    }
    words
}

/// From one box to the next.
const GAP: f32 = 6.0;

/// Width of a box, of so many that share a row.
fn width(count: usize, row: f32) -> f32 {
    let count = count.max(1) as f32;
    ((row - GAP * (count - 1.0)) / count).clamp(40.0, 170.0)
}

fn button_box(ui: &mut Ui, button: &ButtonState, width: f32) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(width, 30.0), Sense::hover());
    let p = ui.painter().with_clip_rect(rect);
    p.rect_filled(rect, 2.0, if button.down { look::FILL } else { look::BAR });
    let at = |y| egui::pos2(rect.left() + 5.0, rect.top() + y);
    let (label, does) = if button.down { (look::TEXT, look::BRIGHT) } else { (look::QUIET, look::TEXT) };
    p.text(at(8.0), egui::Align2::LEFT_CENTER, &button.label, egui::FontId::proportional(11.0), label);
    let action = button.action.replace('-', " ");
    p.text(at(21.0), egui::Align2::LEFT_CENTER, action, egui::FontId::proportional(12.0), does);
    let name = format!("{}: {}", button.label, button.action);
    response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, button.down, &name));
    let own = PANEL_ACTIONS.iter().find(|(name, _)| *name == &*button.action).map(|(_, doc)| *doc);
    if let Some(doc) = engine::action(&button.action).map(|action| action.doc).or(own) {
        response.on_hover_text(doc);
    }
}

fn control_box(ui: &mut Ui, s: &Snapshot, control: &ControlState, width: f32) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(width, 34.0), Sense::hover());
    let p = ui.painter().with_clip_rect(rect);
    p.rect_filled(rect, 2.0, look::BAR);
    let value = control.targets.first().and_then(|target| s.reading(&target.address));
    let ink = if value.is_some() { look::TEXT } else { look::QUIET };
    let at = |y| egui::pos2(rect.left() + 5.0, rect.top() + y);
    p.text(at(9.0), egui::Align2::LEFT_CENTER, &control.label, egui::FontId::proportional(11.0), look::QUIET);
    let text = match &value {
        Some((text, _)) if control.picked_up => text.clone(),
        Some((text, _)) => format!("{text}  ○"),
        None => "not in this show".to_owned(),
    };
    p.text(at(23.0), egui::Align2::LEFT_CENTER, text, egui::FontId::proportional(12.0), ink);
    if let Some((_, position)) = value {
        let x = rect.left() + rect.width() * (position as f32).clamp(0.0, 1.0);
        p.vline(x, rect.bottom() - 3.0..=rect.bottom(), egui::Stroke::new(2.0, look::QUIET));
    }
    let held = match control.takeover {
        _ if control.picked_up => "",
        Takeover::Scaled => "\n○ it moves the value by its share until they meet",
        _ => "\n○ turn it to where the value stands to pick it up",
    };
    let targets: Vec<&str> = control.targets.iter().map(|t| &*t.address).collect();
    response.on_hover_text(format!("{}{held}", targets.join(", ")));
}
