//! Transport: play, timecode, place in the shot, and how playback is doing.

use egui::accesskit::{Action as AssistAction, ActionData};
use egui::{Align, Layout, RichText, Sense, Ui, Vec2};

use super::super::focus::arrows;
use super::super::look;
use super::Panes;
use crate::engine::{Command, Compare, Curtain, Input, PaceCommand, Preview, Scope, Snapshot};

impl Panes {
    pub(super) fn transport(
        &mut self,
        ui: &mut Ui,
        s: &Snapshot,
        presentation: (u64, u64),
        inputs: &mut Vec<Input>,
    ) {
        ui.horizontal(|ui| {
            ui.set_min_height(26.0);
            let play = if s.playing { "stop" } else { "play" };
            if ui.add_sized([44.0, 20.0], egui::Button::new(play)).on_hover_text("Space").clicked() {
                inputs.push(Input::Command(Command::TogglePlay));
            }
            ui.monospace(s.timecode());
            // The bar gives way first, then what is said about playback.
            let width = (ui.available_width() - 560.0).clamp(60.0, 500.0);
            bar(ui, s, width, inputs);
            let scope = match s.scope {
                Scope::Shot => "round: shot",
                Scope::Show => "round: show",
            };
            if ui.button(scope).on_hover_text("O").clicked() {
                inputs.push(Input::Command(Command::OtherScope));
            }
            preview(ui, s, inputs);
            super::marks::menu(ui, s, inputs);
            self.view_menu(ui);
            let compare = match s.compare {
                Compare::After => None,
                Compare::Before => Some("before"),
                Compare::WithoutLook => Some("without the look"),
                Compare::WithoutStage { .. } => Some("without the stage"),
                Compare::OtherVersion => Some("another version"),
            };
            if let Some(compare) = compare {
                ui.label(RichText::new(compare).color(look::BRIGHT));
            } else if let Some(trying) = &s.trying {
                let text = RichText::new(format!("trying {}", trying.name)).color(look::BRIGHT);
                ui.add(egui::Label::new(text).truncate()).on_hover_text("Enter keeps it, Esc leaves it");
            }
            let clients = match s.curtain {
                Curtain::Open => None,
                Curtain::Held => Some("clients: held"),
                Curtain::Blank => Some("clients: blank"),
            };
            if let Some(clients) = clients {
                ui.label(RichText::new(clients).color(look::WARN)).on_hover_text("F11, F12");
            }
            if s.compiling {
                ui.label(RichText::new("preparing the look …").color(look::QUIET));
            }
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                let said = |ui: &mut Ui, text: &str, ink| {
                    let label = egui::Label::new(RichText::new(text).size(11.0).color(ink)).truncate();
                    ui.add(label).on_hover_text(text);
                };
                if ui.available_width() > 60.0 {
                    said(ui, &doing(s, presentation), look::QUIET);
                }
                let note = self.note.as_deref().or(s.kept.said.as_deref());
                if let Some(note) = note.filter(|_| ui.available_width() > 30.0) {
                    said(ui, note, look::WARN);
                }
            });
        });
    }
}

/// The place in the shot, to drag.
fn bar(ui: &mut Ui, s: &Snapshot, width: f32, inputs: &mut Vec<Input>) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(width, 16.0), Sense::click_and_drag());
    let bar = rect.shrink2(Vec2::new(0.0, 6.0));
    ui.painter().rect_filled(bar, 2.0, look::BAR);
    let last = s.frames.saturating_sub(1).max(1) as f32;
    let x = |frame: u64| rect.left() + rect.width() * (frame as f32 / last).min(1.0);
    // What is decoded and kept lies under the bar.
    for run in &s.ready {
        let under = bar.bottom() + 1.5;
        let (from, to) = (x(run.start), x(run.end - 1).max(x(run.start) + 1.0));
        ui.painter().hline(from..=to, under, egui::Stroke::new(2.0, look::FILL));
    }
    if let Some(range) = &s.range {
        let (from, to) = (x(range.start), x(range.end.saturating_sub(1)));
        let part = egui::Rect::from_x_y_ranges(from..=to.max(from + 1.0), bar.y_range());
        ui.painter().rect_filled(part, 0.0, look::FILL);
        for at in [from, to] {
            ui.painter().vline(at, rect.y_range(), egui::Stroke::new(1.0, look::TEXT));
        }
    }
    // The frame that stands for the shot.
    if let Some(shot) = s.show.shots.get(s.shot) {
        let at = x(shot.representative().saturating_sub(shot.start));
        ui.painter().vline(at, bar.y_range(), egui::Stroke::new(1.0, look::QUIET));
    }
    ui.painter().vline(x(s.frame), rect.y_range(), egui::Stroke::new(2.0, look::BRIGHT));
    response.widget_info(|| egui::WidgetInfo::slider(true, s.frame as f64, "frame"));
    let response = response
        .on_hover_text("the line below: frames that are decoded and kept\n{, }: play from here, to here");
    if let Some(frame) = by_keys(ui, &response, s) {
        inputs.push(Input::Command(Command::Seek(frame)));
    }
    if let Some(at) = response.interact_pointer_pos() {
        let share = ((at.x - rect.left()) / rect.width()).clamp(0.0, 1.0);
        let frame = (share * last).round() as u64;
        if frame != s.frame {
            inputs.push(Input::Command(Command::Seek(frame)));
        }
    }
}

/// How playback and saving are doing: what matters most first, since the end is cut where there is no room.
fn doing(s: &Snapshot, presentation: (u64, u64)) -> String {
    let p = &s.playback;
    let saved = if s.unsaved { "saving …" } else { "saved" };
    let delay = p.delay.map_or(String::new(), |d| format!("  control {:.0} ms", d.as_secs_f64() * 1e3));
    // Finished pictures that a newer one overtook before the client's window showed them.
    let overtaken = match presentation.1 {
        0 => String::new(),
        n => format!("  overtaken {n}"),
    };
    format!(
        "{saved}  {:.0}/{} fps  dropped {}{overtaken}  picture {:.1} ms{delay}",
        p.rate,
        crate::show::rate_text(s.show.rate),
        p.dropped,
        p.cost.as_secs_f64() * 1e3,
    )
}

/// The frame that keys or an assistive program ask for while the bar has the keyboard.
fn by_keys(ui: &Ui, bar: &egui::Response, s: &Snapshot) -> Option<u64> {
    let last = s.frames.saturating_sub(1);
    ui.ctx().accesskit_node_builder(bar.id, |node| {
        node.set_min_numeric_value(0.0);
        node.set_max_numeric_value(last as f64);
        node.set_numeric_value_step(1.0);
        node.set_value(s.timecode());
        node.add_action(AssistAction::SetValue);
    });
    let by = arrows(ui, bar);
    let asked = ui.input(|i| {
        i.accesskit_action_requests(bar.id, AssistAction::SetValue).find_map(|request| match request.data {
            Some(ActionData::NumericValue(frame)) => Some(frame.max(0.0).round() as u64),
            _ => None,
        })
    });
    let turned = (by.x + by.y).round() as i64;
    asked.or((turned != 0).then(|| s.frame.saturating_add_signed(turned))).map(|frame| frame.min(last))
}

/// The size of live pictures, which is never smaller in secret.
fn preview(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
    let command = |command| Input::Command(Command::Pace(command));
    let (text, ink) = match s.reduced {
        1 => ("size", look::TEXT),
        2 => ("half size", look::WARN),
        _ => ("quarter size", look::WARN),
    };
    ui.menu_button(RichText::new(text).color(ink), |ui| {
        ui.label(RichText::new("of live pictures; files are never smaller").size(11.0).color(look::QUIET));
        for preview in Preview::ALL {
            if ui.radio(s.preview == preview, preview.name()).clicked() {
                inputs.push(command(PaceCommand::Preview(preview)));
            }
        }
    })
    .response
    .on_hover_text("Z");
    if s.range.is_some()
        && ui
            .button("part")
            .on_hover_text("a part of the shot is played; click: the whole shot (\\)")
            .clicked()
    {
        inputs.push(command(PaceCommand::Whole));
    }
}
