//! A row for a parameter, made from its declaration: label, bar, value.

use egui::{Align2, FontId, Rect, Response, Sense, Ui, Vec2, pos2};

use super::look;
use crate::look::Parameter;

/// What a hand did to a row.
pub(super) enum Touch {
    /// Turned by so many of the parameter's steps.
    Turn(f64),
    /// Put back to the default.
    Reset,
    /// Taken in hand, for the keyboard.
    Pick,
}

/// Height of a row.
const HEIGHT: f32 = 20.0;
/// A drag across the row is the parameter's whole range; with Shift it is a tenth of that.
const FINE: f64 = 0.1;

/// Draws a row. Drag to turn, with Shift a tenth as fast; double-click to reset; click to take in hand.
pub(super) fn row(
    ui: &mut Ui,
    parameter: &Parameter,
    label: &str,
    value: f64,
    in_hand: bool,
) -> (Response, Option<Touch>) {
    if !parameter.choices().is_empty() {
        return choice(ui, parameter, label, value, in_hand);
    }
    let (rect, mut response) =
        ui.allocate_exact_size(Vec2::new(ui.available_width(), HEIGHT), Sense::click_and_drag());
    let mut touch = None;
    if response.double_clicked() {
        touch = Some(Touch::Reset);
    } else if response.dragged() {
        // From where the button went down: what it takes to be a drag counts, too.
        let moved = match ui.input(|i| i.pointer.press_origin()).zip(response.interact_pointer_pos()) {
            Some((from, at)) if response.drag_started() => at.x - from.x,
            _ => response.drag_delta().x,
        };
        let travel = f64::from(moved) / f64::from(rect.width().max(1.0));
        let fine = if ui.input(|i| i.modifiers.shift) { FINE } else { 1.0 };
        let from = parameter.position(value);
        let to = parameter.at((from + travel * fine).clamp(0.0, 1.0));
        if to != value {
            touch = Some(Touch::Turn((to - value) / parameter.step));
        }
    }
    if response.drag_started() || response.clicked() {
        touch = touch.or(Some(Touch::Pick));
    }
    response = response.on_hover_ui(|ui| {
        ui.set_max_width(280.0);
        ui.label(parameter.doc.trim());
        let (min, max) = (parameter.show(parameter.min), parameter.show(parameter.max));
        ui.colored_label(
            look::QUIET,
            format!("{min} … {max}; double-click for {}", parameter.show(parameter.default)),
        );
    });
    response.widget_info(|| egui::WidgetInfo::slider(ui.is_enabled(), value, label));
    paint(ui, rect, parameter, label, value, in_hand || response.hovered());
    (response, touch)
}

/// A parameter that chooses: a click opens its names.
fn choice(
    ui: &mut Ui,
    parameter: &Parameter,
    label: &str,
    value: f64,
    in_hand: bool,
) -> (Response, Option<Touch>) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(ui.available_width(), HEIGHT), Sense::click());
    let mut touch = response.clicked().then_some(Touch::Pick);
    egui::Popup::menu(&response).show(|ui| {
        for (i, name) in parameter.choices().iter().enumerate() {
            if ui.selectable_label(parameter.choice(value) == Some(name), *name).clicked() {
                touch = Some(Touch::Turn((i as f64 - value) / parameter.step));
                ui.close();
            }
        }
    });
    let response = response.on_hover_ui(|ui| {
        ui.set_max_width(280.0);
        ui.label(parameter.doc.trim());
    });
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::ComboBox, ui.is_enabled(), label));
    paint(ui, rect, parameter, label, value, in_hand || response.hovered());
    (response, touch)
}

fn paint(ui: &Ui, rect: Rect, parameter: &Parameter, label: &str, value: f64, lit: bool) {
    let p = ui.painter();
    let bar = rect.shrink2(Vec2::new(0.0, 1.0));
    p.rect_filled(bar, 2.0, look::BAR);
    if parameter.choices().is_empty() {
        fill(ui, bar, parameter, value, lit);
    }
    let (text, number) = if lit { (look::BRIGHT, look::BRIGHT) } else { (look::TEXT, look::TEXT) };
    let font = FontId::proportional(12.0);
    p.text(pos2(bar.left() + 6.0, bar.center().y), Align2::LEFT_CENTER, label, font.clone(), text);
    p.text(
        pos2(bar.right() - 6.0, bar.center().y),
        Align2::RIGHT_CENTER,
        parameter.show(value),
        font,
        number,
    );
}

/// From the default to the value, and a mark there.
fn fill(ui: &Ui, bar: Rect, parameter: &Parameter, value: f64, lit: bool) {
    let p = ui.painter();
    let at = |v: f64| bar.left() + bar.width() * parameter.position(parameter.held(v)) as f32;
    let (from, to) = (at(parameter.default), at(value));
    let fill = Rect::from_x_y_ranges(from.min(to)..=from.max(to), bar.y_range());
    p.rect_filled(fill, 2.0, look::FILL);
    let tick = if lit { look::BRIGHT } else { look::QUIET };
    p.vline(to, bar.y_range(), egui::Stroke::new(if lit { 2.0 } else { 1.0 }, tick));
}
