//! What is proposed for the balance, on the light path and over the picture.

use egui::{Rect, RichText, Slider, Stroke, Ui, pos2};

use super::super::look;
use super::Panes;
use crate::colour::light_temperature;
use crate::engine::{Command, Input, Snapshot};
use crate::scope::sure_word;
use crate::show::{Aim, PROPOSED, Proposal};

impl Panes {
    /// The ways to have a balance proposed or copied, and what is proposed.
    pub(super) fn first_pass(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        if s.show.shots.is_empty() {
            return;
        }
        let mut button = |ui: &mut Ui, name: &str, about: &str, command: Command| {
            if ui.add(small(name)).on_hover_text(about).clicked() {
                inputs.push(Input::Command(command));
            }
        };
        ui.horizontal_wrapped(|ui| {
            button(ui, "suggest", "A: read this frame, and propose exposure and white", Command::Suggest);
            let before = s.shot.checked_sub(1).and_then(|i| s.show.shots.get(i));
            if let Some(before) = before {
                let about = format!("U: propose what makes it sit with {}", before.name);
                button(ui, "match", &about, Command::MatchBefore);
                let about = format!("Ctrl D: the whole balance of {}", before.name);
                button(ui, "balance from the shot before", &about, Command::BalanceFromBefore);
            }
            if s.show.shots.len() > 1 {
                let about = "Ctrl B: this balance to all other shots of the same camera: read alike, and their files \
                             name the same one, or lie in the same folder";
                button(ui, "copy balance", about, Command::CopyBalance);
            }
        });
        if let Some(reading) = &s.first.reading {
            ui.label(RichText::new(&**reading).size(11.0).color(look::QUIET));
        }
        let Some(proposal) = &s.first.proposal else { return };
        let frame =
            egui::Frame::NONE.stroke(Stroke::new(1.0, look::LINE)).inner_margin(egui::Margin::same(8));
        frame.corner_radius(egui::CornerRadius::same(2)).show(ui, |ui| {
            ui.set_width(ui.available_width());
            card(ui, proposal, s.first.strength, s.picking, inputs);
        });
    }
}

fn card(ui: &mut Ui, p: &Proposal, strength: f64, picking: bool, inputs: &mut Vec<Input>) {
    let head = match &p.aim {
        Aim::Grey => format!("proposed, by {}", p.evidence),
        Aim::Like { other } => format!("to sit with {other}, by {}", p.evidence),
    };
    ui.label(RichText::new(head).size(12.0).color(look::BRIGHT));
    let values = p.values(strength);
    egui::Grid::new("proposal").num_columns(2).spacing([10.0, 2.0]).show(ui, |ui| {
        let mut line = |name: &str, text: String| {
            ui.label(RichText::new(name).size(12.0).color(look::QUIET));
            ui.label(RichText::new(text).size(12.0).color(look::TEXT));
            ui.end_row();
        };
        let show = |i: usize, v: f64| PROPOSED[i].parameter().show(v);
        line("exposure", format!("{} to {}", show(0, p.from[0]), show(0, values[0])));
        line("", sure_word(p.level_sure).to_owned());
        let light = |v: [f64; 3]| {
            let (kelvin, duv) = light_temperature(v[1], v[2]);
            format!("{kelvin:.0} K, Duv {duv:+.4}")
        };
        line("white", light(p.from));
        line("", format!("to {}", light(values)));
        line("", sure_word(p.colour_sure).to_owned());
    });
    if p.held {
        ui.label(RichText::new("⚠ the ranges hold no more than that").size(11.0).color(look::WARN));
    }
    for measured in &p.measured {
        ui.label(RichText::new(measured).size(11.0).color(look::QUIET));
    }
    let mut percent = 100.0 * strength;
    let slider = Slider::new(&mut percent, 0.0..=100.0).suffix(" %").fixed_decimals(0);
    if ui.add(slider).on_hover_text("how much of it to take").changed() {
        inputs.push(Input::Command(Command::ProposalStrength(percent / 100.0)));
    }
    ui.horizontal_wrapped(|ui| {
        for (name, key, command) in [
            ("take it", "Enter: one step to undo", Command::TakeProposal),
            ("leave it", "Esc", Command::LeaveProposal),
        ] {
            if ui.add(small(name)).on_hover_text(key).clicked() {
                inputs.push(Input::Command(command));
            }
        }
        if p.aim == Aim::Grey {
            let card = small("click a grey card").selected(picking);
            let about = "N, then click a grey card of 18 % in the picture: proposed from that instead";
            if ui.add(card).on_hover_text(about).clicked() {
                inputs.push(Input::Command(Command::TogglePicking));
            }
        }
    });
}

/// Draws around the chart or card that a proposal was read from. `place` is where the picture lies.
pub(in crate::desk) fn outline(ui: &Ui, s: &Snapshot, place: Rect) {
    let (Some(proposal), Some(clip), Some(raster)) = (&s.first.proposal, &s.clip, s.raster) else { return };
    let Some(shot) = s.show.shots.get(proposal.shot).filter(|_| proposal.outline.len() > 2) else { return };
    let corner = |at| shot.framing.place((clip.width, clip.height), raster, at);
    let ([left, top], [right, bottom]) = (corner([0.0, 0.0]), corner([1.0, 1.0]));
    let points: Vec<_> = proposal
        .outline
        .iter()
        .map(|[x, y]| {
            // Shares of the frame to shares of the raster, and to the window.
            let (x, y) = ((x - left) / (right - left), (y - top) / (bottom - top));
            pos2(place.left() + x as f32 * place.width(), place.top() + y as f32 * place.height())
        })
        .collect();
    for stroke in [Stroke::new(3.0, egui::Color32::BLACK), Stroke::new(1.0, look::BRIGHT)] {
        ui.painter().with_clip_rect(place).add(egui::Shape::closed_line(points.clone(), stroke));
    }
}

fn small(text: &str) -> egui::Button<'_> {
    egui::Button::new(RichText::new(text).size(11.0)).small()
}
