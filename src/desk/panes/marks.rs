//! What is told on the desk's picture: the buttons for it, and the strip that says what it means while it is on.

use egui::{Align2, Color32, FontId, Rect, RichText, Sense, Ui, Vec2, pos2, vec2};

use super::super::look;
use crate::engine::{Command, Input, LightOf, MarkCommand, Marks, Snapshot};
use crate::scope::patterns::{CAMERA, GAMUT, Ink, LOWER, Tally, UPPER, crosses, dots, stripes};
use crate::scope::stops::{CLIP, FLOOR, REACH, SCALE, STEPS};

/// Points that a pattern's cell is wide in the strip.
const CELL: f32 = 1.5;
/// What a pattern is made of at a column and row of cells.
type Pattern = fn(u32, u32) -> Option<Ink>;

fn ask(inputs: &mut Vec<Input>, command: MarkCommand) {
    inputs.push(Input::Command(Command::Mark(command)));
}

fn light(of: LightOf) -> &'static str {
    match of {
        LightOf::Balance => "light after balance",
        LightOf::Camera => "camera's light, before balance",
    }
}

/// The buttons, behind one in the transport.
pub(super) fn menu(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
    let m = &s.marks;
    let title = RichText::new("marks").color(if m.any() { look::BRIGHT } else { look::TEXT });
    ui.menu_button(title, |ui| {
        ui.set_min_width(330.0);
        ui.label(RichText::new("on the desk's picture only").size(11.0).color(look::QUIET));
        for (on, text, key, command) in [
            (m.false_colour, "false colour: stops from grey", "X", MarkCommand::FalseColour),
            (m.clipping, "where signals and codes end", "E", MarkCommand::Clipping),
            (m.gamut, "outside the display's primaries", "Shift E", MarkCommand::Gamut),
        ] {
            ui.horizontal(|ui| {
                if ui.checkbox(&mut on.clone(), text).clicked() {
                    ask(inputs, command);
                }
                ui.label(RichText::new(key).size(11.0).color(look::QUIET));
            });
        }
        ui.separator();
        ui.horizontal(|ui| {
            for of in [LightOf::Balance, LightOf::Camera] {
                if ui.radio(m.light == of, light(of)).clicked() && m.light != of {
                    ask(inputs, MarkCommand::Light);
                }
            }
        });
        ui.horizontal(|ui| {
            ui.label("the camera clips at");
            let mut percent = m.clip * 100.0;
            let range = Marks::LEAST_CLIP * 100.0..=100.0;
            let drag =
                egui::DragValue::new(&mut percent).range(range).speed(0.1).fixed_decimals(1).suffix(" %");
            if ui.add(drag).on_hover_text("of its codes' full range; 100 %: only the codes end").changed() {
                ask(inputs, MarkCommand::ClipAt(percent / 100.0));
            }
        });
    })
    .response
    .on_hover_text("X, Shift X, E, Shift E");
}

/// Says what is on, what it means, and how much of the picture has it. Nothing when nothing is on.
pub(super) fn strip(ui: &mut Ui, s: &Snapshot, tally: Option<&Tally>, inputs: &mut Vec<Input>) {
    let m = &s.marks;
    if m.false_colour {
        ui.horizontal(|ui| {
            ui.label(RichText::new("FALSE COLOUR").strong().color(look::BRIGHT));
            ui.label(RichText::new("stops from grey,").color(look::QUIET));
            let name = egui::Button::new(light(m.light)).small();
            if ui.add(name).on_hover_text("the other light: Shift X").clicked() {
                ask(inputs, MarkCommand::Light);
            }
            scale(ui, tally);
        });
    }
    if m.clipping || m.gamut {
        ui.horizontal_wrapped(|ui| {
            ui.label(RichText::new("MARKS").strong().color(look::BRIGHT));
            let percent = |of: usize| tally.map_or("…".to_owned(), |t| format!("{:.2} %", 100.0 * t.share(of)));
            let mut one = |pattern: Pattern, text: &str, of: usize, hint: &str| {
                pattern_box(ui, vec2(18.0, 15.0), pattern);
                let text = RichText::new(format!("{text} {}", percent(of))).color(look::TEXT);
                ui.label(text).on_hover_text(hint);
                ui.add_space(10.0);
            };
            if m.clipping {
                let half = "a channel within half a code of ten bits of it";
                one(|x, y| stripes(x, y, true), "client's upper end", UPPER, half);
                one(|x, y| stripes(x, y, false), "lower end", LOWER, half);
                let clip = format!("a channel of the camera's signal at {:.1} % of its range", m.clip * 100.0);
                one(dots, "camera's codes", CAMERA, &clip);
            }
            if m.gamut {
                let text = format!("outside {}", s.show.outputs.client.display.name);
                let hint = "graded light whose colour lies outside the primaries that the client's display keeps within, \
                            before the output transform brings it in";
                one(crosses, &text, GAMUT, hint);
            }
            ui.label(RichText::new("on the desk only").size(11.0).color(look::QUIET));
        });
    }
}

/// The scale, with what lies beyond its ends.
fn scale(ui: &mut Ui, tally: Option<&Tally>) {
    let width = ((ui.available_width() - 130.0) / (STEPS as f32 + 2.0)).clamp(16.0, 44.0);
    let share =
        |of: usize| tally.map_or(String::new(), |t| format!("\n{:.2} % of the picture", 100.0 * t.share(of)));
    let cell = |ui: &mut Ui, hint: &str| {
        let (rect, response) = ui.allocate_exact_size(vec2(width, 28.0), Sense::hover());
        response.on_hover_text(hint);
        (Rect::from_min_size(rect.min, vec2(width, 14.0)), rect.center_bottom())
    };
    let text = |ui: &Ui, at, text: &str| {
        ui.painter().text(at, Align2::CENTER_BOTTOM, text, FontId::proportional(10.0), look::TEXT);
    };
    ui.spacing_mut().item_spacing.x = 0.0;
    let hint = format!("under the footage's floor: a code's step is half a stop or more{}", share(FLOOR));
    let (rect, below) = cell(ui, &hint);
    inked(ui, rect, false);
    text(ui, below, "floor");
    ui.add_space(4.0);
    for (i, [r, g, b]) in SCALE.into_iter().enumerate() {
        let stops = i as i32 - REACH;
        let beyond = if stops == -REACH {
            " and less"
        } else if stops == REACH {
            " and more"
        } else {
            ""
        };
        let hint = format!("{stops:+} stops{beyond}, half a stop to both sides{}", share(i));
        let (rect, below) = cell(ui, &hint);
        ui.painter().rect_filled(rect, 0.0, Color32::from_rgb(r, g, b));
        text(ui, below, &if stops == 0 { "grey".to_owned() } else { format!("{stops:+}").replace('-', "−") });
    }
    ui.add_space(4.0);
    let (rect, below) = cell(ui, &format!("clipped by the camera's codes{}", share(CLIP)));
    inked(ui, rect, true);
    text(ui, below, "clip");
}

/// Dots in the other ink, as beyond the ends of the scale.
fn inked(ui: &Ui, rect: Rect, light: bool) {
    let inks = [Color32::BLACK, Color32::from_gray(235)];
    let [ground, dot] = if light { [inks[1], inks[0]] } else { inks };
    ui.painter().rect_filled(rect, 0.0, ground);
    cells(ui, rect, |x, y| (dots(x, y) == Some(Ink::Dark)).then_some(dot));
}

fn pattern_box(ui: &mut Ui, size: Vec2, pattern: Pattern) {
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    ui.painter().rect_filled(rect, 0.0, Color32::from_gray(110));
    cells(ui, rect, |x, y| {
        pattern(x, y).map(|ink| if ink == Ink::Dark { Color32::BLACK } else { Color32::from_gray(235) })
    });
}

fn cells(ui: &Ui, rect: Rect, colour: impl Fn(u32, u32) -> Option<Color32>) {
    let (across, down) = ((rect.width() / CELL) as u32, (rect.height() / CELL) as u32);
    for (x, y) in (0..down).flat_map(|y| (0..across).map(move |x| (x, y))) {
        if let Some(colour) = colour(x, y) {
            let at = rect.min + CELL * vec2(x as f32, y as f32);
            ui.painter().rect_filled(Rect::from_min_size(at, Vec2::splat(CELL)), 0.0, colour);
        }
    }
}

/// On the picture itself, so that it is never taken for the client's.
pub(super) fn label(ui: &Ui, area: Rect, s: &Snapshot, waits: bool) {
    let m = &s.marks;
    let names = [(m.false_colour, "false colour"), (m.clipping, "clip marks"), (m.gamut, "gamut marks")];
    let on: Vec<&str> = names.iter().filter(|(on, _)| *on).map(|(_, name)| *name).collect();
    if on.is_empty() || area.height() < 60.0 {
        return;
    }
    let text = format!("{}{}", on.join(" · "), if waits { " — preparing …" } else { "" });
    let galley = ui.painter().layout_no_wrap(text, FontId::proportional(12.0), look::BRIGHT);
    let size = galley.size() + vec2(14.0, 8.0);
    let at = Rect::from_min_size(pos2(area.right() - size.x - 10.0, area.top() + 10.0), size);
    ui.painter().rect_filled(at, 3.0, Color32::from_black_alpha(215));
    ui.painter().galley(at.min + vec2(7.0, 4.0), galley, look::BRIGHT);
}
