//! What stands around the picture: the running order, the light path, transport and panel mirror.

use std::sync::Arc;

use egui::{Align, Layout, RichText, Sense, Ui, Vec2};

use super::look;
use super::rows::{Touch, row};
use crate::engine::{Command, Compare, Input, Scope, Snapshot};
use crate::look::List;
use crate::media::Rate;
use crate::media::timecode::Counting;
use crate::panel::ControlState;
use crate::picture::{BALANCE, BalanceField};
use crate::show::{Change, LOOK_STRENGTH, Output};

/// Control number of the mouse on the desk.
const MOUSE: u32 = 2;

/// What the panes need to know and remember.
pub(super) struct Panes {
    /// Are they on view?
    pub open: bool,
    /// Is the list of keys on view?
    pub keys: bool,
    /// Address of the parameter in hand.
    pub in_hand: Arc<str>,
    /// Addresses of every parameter on the light path, in its order; made while drawing.
    pub addresses: Vec<Arc<str>>,
    /// The GPU's name and what its check found.
    pub device: String,
    /// A line about something that just happened.
    pub note: Option<String>,
}

impl Panes {
    /// Draws all of them; what was asked for is pushed to `inputs`. Returns the area left for the picture.
    pub fn draw(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) -> egui::Rect {
        if self.open {
            // The window is cleared to the panes' grey, so that no pane has to be filled.
            let pane = |panel: egui::Panel| {
                panel
                    .frame(egui::Frame::NONE.inner_margin(egui::Margin::symmetric(8, 2)))
                    .show_separator_line(false)
            };
            pane(egui::Panel::bottom("transport"))
                .show(ui, |ui| transport(ui, s, self.note.as_deref(), inputs));
            pane(egui::Panel::bottom("mirror")).show(ui, |ui| mirror(ui, s));
            pane(egui::Panel::left("order").default_size(190.0)).show(ui, |ui| running_order(ui, s, inputs));
            pane(egui::Panel::right("path").default_size(270.0)).show(ui, |ui| {
                egui::ScrollArea::vertical().show(ui, |ui| self.light_path(ui, s, inputs));
            });
        }
        if self.keys {
            keys_window(ui);
        }
        let area = ui.available_rect_before_wrap();
        if let Some(trouble) = &s.trouble {
            let place = egui::Rect::from_min_size(
                area.min + Vec2::new(12.0, 10.0),
                Vec2::new(area.width() - 24.0, 60.0),
            );
            let text = RichText::new(format!("▲ {trouble}")).color(look::WARN);
            ui.put(place, egui::Label::new(text).wrap());
        } else if s.show.shots.is_empty() {
            ui.put(
                area,
                egui::Label::new(
                    RichText::new("No shots yet: greyhold add DIR CLIP --encoding ID").color(look::QUIET),
                ),
            );
        }
        area
    }

    /// Camera to display, in the order light takes.
    fn light_path(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        self.addresses.clear();
        ui.add_space(4.0);
        let shot = s.show.shots.get(s.shot);
        let camera = match (shot, &s.clip) {
            (Some(shot), Some(clip)) => format!("{}\n{}", shot.encoding.name, clip.description),
            (Some(shot), None) => shot.encoding.name.to_owned(),
            (None, _) => "no shot".to_owned(),
        };
        station(ui, "camera", &camera);
        station(ui, "balance", "");
        let balance = shot.map(|s| s.balance).unwrap_or_default();
        for (parameter, value) in BALANCE.iter().zip(balance.values) {
            self.parameter(
                ui,
                format!("balance/{}", parameter.key),
                parameter,
                &words(parameter.key),
                value,
                inputs,
            );
        }
        for list in List::ALL {
            let stages = s.show.chain.list(list);
            if list != List::Look && stages.is_empty() {
                continue;
            }
            station(ui, list.key(), if stages.is_empty() { "no stage" } else { "" });
            if list == List::Look && !stages.is_empty() {
                let strength = s.show.chain.look_strength;
                self.parameter(
                    ui,
                    "look/strength".into(),
                    &LOOK_STRENGTH,
                    "strength of the look",
                    strength,
                    inputs,
                );
            }
            for (at, stage) in stages.iter().enumerate() {
                let d = stage.declaration();
                ui.add_space(2.0);
                ui.horizontal(|ui| {
                    let mut on = stage.on;
                    if ui.checkbox(&mut on, words(d.key)).on_hover_text(d.doc.trim()).changed() {
                        let change = Change::SetStageOn { list, at, on };
                        inputs.push(Input::Change { change, control: MOUSE });
                    }
                });
                let base = format!("{}/{}", list.key(), at + 1);
                self.parameter(
                    ui,
                    format!("{base}/strength"),
                    &d.strength,
                    "strength",
                    stage.strength,
                    inputs,
                );
                for (parameter, value) in d.parameters.iter().zip(&stage.values) {
                    let label = words(parameter.key);
                    self.parameter(
                        ui,
                        format!("{base}/{}", parameter.key),
                        parameter,
                        &label,
                        *value,
                        inputs,
                    );
                }
            }
        }
        station(ui, "output transform", s.show.transform.id());
        let display = |o| s.show.outputs.get(o).id;
        station(
            ui,
            "display",
            &format!(
                "desk {}, client {}\n8 bit, not colour-managed",
                display(Output::Desk),
                display(Output::Client)
            ),
        );
        ui.add_space(6.0);
        ui.label(RichText::new(&self.device).size(11.0).color(look::QUIET));
    }

    fn parameter(
        &mut self,
        ui: &mut Ui,
        address: String,
        parameter: &crate::look::Parameter,
        label: &str,
        value: f64,
        inputs: &mut Vec<Input>,
    ) {
        let address: Arc<str> = address.into();
        let in_hand = self.in_hand == address;
        self.addresses.push(address.clone());
        let (response, touch) = row(ui, parameter, label, value, in_hand);
        if in_hand && response.rect.is_positive() && !ui.is_rect_visible(response.rect) {
            response.scroll_to_me(None);
        }
        let Some(touch) = touch else { return };
        self.in_hand = address.clone();
        match touch {
            Touch::Turn(detents) => inputs.push(Input::Turn { target: address, detents, control: MOUSE }),
            Touch::Reset => inputs.push(Input::Reset { target: address }),
            Touch::Pick => {}
        }
    }

    /// Takes the parameter `by` rows further in hand.
    pub fn pick(&mut self, by: i32) {
        let Some(last) = self.addresses.len().checked_sub(1) else { return };
        let at = self.addresses.iter().position(|a| *a == self.in_hand);
        let to = at.map_or(0, |at| at.saturating_add_signed(by as isize).min(last));
        self.in_hand = self.addresses[to].clone();
    }
}

/// "offset-r" as a person reads it.
fn words(key: &str) -> String {
    key.replace('-', " ")
}

/// A station of the light path: a mark on its line, a name, a few words.
fn station(ui: &mut Ui, name: &str, about: &str) {
    ui.add_space(7.0);
    let (rect, _) = ui.allocate_exact_size(Vec2::new(ui.available_width(), 16.0), Sense::hover());
    let p = ui.painter();
    let mark = egui::pos2(rect.left() + 4.0, rect.center().y);
    p.circle_filled(mark, 3.0, look::QUIET);
    p.hline(rect.left() + 12.0..=rect.right(), rect.bottom() + 1.0, egui::Stroke::new(1.0, look::LINE));
    p.text(
        egui::pos2(rect.left() + 14.0, rect.center().y),
        egui::Align2::LEFT_CENTER,
        name,
        egui::FontId::proportional(13.0),
        look::TEXT,
    );
    if !about.is_empty() {
        ui.indent(name, |ui| ui.label(RichText::new(about).size(11.0).color(look::QUIET)));
    }
}

fn running_order(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
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
            response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, here, &shot.name));
            if response.clicked() {
                inputs.push(Input::Command(Command::Shot(i)));
            }
        }
    });
}

fn timecode(s: &Snapshot) -> String {
    let (num, den) = s.show.rate;
    let rate = Rate::new(num, den).unwrap_or(Rate::FPS_24);
    let start = s.clip.as_ref().and_then(|c| c.timecode_start).unwrap_or(0);
    let first = s.show.shots.get(s.shot).map_or(0, |shot| shot.frames().start);
    Counting::whole(rate.nominal()).text(start + first + s.frame)
}

fn transport(ui: &mut Ui, s: &Snapshot, note: Option<&str>, inputs: &mut Vec<Input>) {
    ui.horizontal(|ui| {
        ui.set_min_height(26.0);
        let play = if s.playing { "stop" } else { "play" };
        if ui.add_sized([44.0, 20.0], egui::Button::new(play)).on_hover_text("Space").clicked() {
            inputs.push(Input::Command(Command::TogglePlay));
        }
        ui.monospace(timecode(s));
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
            let other = if s.scope == Scope::Shot { Scope::Show } else { Scope::Shot };
            inputs.push(Input::Command(Command::Scope(other)));
        }
        if s.compare == Compare::Before {
            ui.label(RichText::new("BEFORE").color(look::BRIGHT));
        }
        if s.compiling {
            ui.label(RichText::new("preparing the look …").color(look::QUIET));
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let p = &s.playback;
            let saved = if s.unsaved { "saving …" } else { "saved" };
            let delay =
                p.delay.map_or(String::new(), |d| format!("control {:.0} ms  ", d.as_secs_f64() * 1e3));
            let text = format!(
                "{:.0}/{} fps  dropped {}  picture {:.1} ms  {delay}{saved}",
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

/// What each physical control does now.
fn mirror(ui: &mut Ui, s: &Snapshot) {
    let panel = &s.panel;
    ui.horizontal(|ui| {
        let ports =
            if panel.ports.is_empty() { "no panel connected".to_owned() } else { panel.ports.join(", ") };
        ui.label(RichText::new(&panel.map).size(11.0).color(look::TEXT));
        ui.label(RichText::new(ports).size(11.0).color(look::QUIET));
        if let Some(note) = &panel.note {
            ui.label(RichText::new(note).size(11.0).color(look::WARN));
        }
        if panel.overruns > 0 {
            ui.label(
                RichText::new(format!("▲ {} messages lost", panel.overruns)).size(11.0).color(look::WARN),
            );
        }
    });
    let count = panel.controls.len().max(1) as f32;
    let gap = 6.0;
    let width = ((ui.available_width() - gap * (count - 1.0)) / count).clamp(40.0, 170.0);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = gap;
        for control in &panel.controls {
            control_box(ui, s, control, width);
        }
    });
    ui.add_space(3.0);
}

fn control_box(ui: &mut Ui, s: &Snapshot, control: &ControlState, width: f32) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(width, 34.0), Sense::hover());
    let p = ui.painter().with_clip_rect(rect);
    p.rect_filled(rect, 2.0, look::BAR);
    let value = control.targets.first().and_then(|target| {
        let slot = s.show.resolve(&crate::show::Address::parse(target).ok()?, s.shot)?;
        let parameter = slot.parameter();
        let value = s.show.get(slot)?;
        Some((parameter.show(value), parameter.position(value) as f32))
    });
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
        let x = rect.left() + rect.width() * position.clamp(0.0, 1.0);
        p.vline(x, rect.bottom() - 3.0..=rect.bottom(), egui::Stroke::new(2.0, look::QUIET));
    }
    let held = if control.picked_up { "" } else { "\n○ turn it to where the value stands to pick it up" };
    response.on_hover_text(format!("{}{held}", control.targets.join(", ")));
}

fn keys_window(ui: &Ui) {
    egui::Window::new("Keys")
        .collapsible(false)
        .resizable(false)
        .anchor(egui::Align2::CENTER_CENTER, Vec2::ZERO)
        .show(ui.ctx(), |ui| {
            egui::Grid::new("keys").num_columns(2).spacing([18.0, 4.0]).show(ui, |ui| {
                for (key, what) in super::KEYS {
                    ui.label(RichText::new(*key).color(look::BRIGHT));
                    ui.label(*what);
                    ui.end_row();
                }
            });
        });
}
