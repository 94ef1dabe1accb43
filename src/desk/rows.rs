//! A row for a parameter, made from its declaration: label, bar, value.

use std::sync::Arc;

use egui::accesskit::{Action, ActionData, ActionRequest};
use egui::{Align2, FontId, Id, Key, Rect, Response, Sense, Ui, Vec2, pos2};

use super::focus::arrows;
use super::look;
use super::typing::{Typed, Typing};
use crate::look::Parameter;

/// What a hand did to a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Touch {
    /// Turned by so many of the parameter's steps, by the mouse.
    Turn(f64),
    /// Turned by so many steps, by keys.
    Step(f64),
    /// Put at a value.
    To(f64),
    /// Put back to the default.
    Reset,
    /// Taken in hand, for the keyboard.
    Pick,
}

/// A parameter as a row shows it.
pub(super) struct Row<'a> {
    pub parameter: &'a Parameter,
    /// What addresses call it: a row keeps the keyboard while others come and go.
    pub address: &'a Arc<str>,
    pub label: &'a str,
    pub value: f64,
    /// Is it in hand?
    pub in_hand: bool,
}

/// Height of a row.
const HEIGHT: f32 = 20.0;
/// Room for a value that is typed.
const FIELD: f32 = 120.0;
/// A drag across the row is the parameter's whole range; with Shift it is a tenth of that.
const FINE: f64 = 0.1;

/// Draws a row. Drag to turn, with Shift a tenth as fast; double-click to reset; click to take in hand. With the keyboard on
/// it, arrows turn it by its steps, and Enter or a digit types a value.
pub(super) fn row(ui: &mut Ui, row: &Row<'_>, typing: &mut Option<Typing>) -> (Response, Option<Touch>) {
    let (rect, _) = ui.allocate_exact_size(Vec2::new(ui.available_width(), HEIGHT), Sense::hover());
    let id = row_id(row.address);
    let chooses = !row.parameter.choices().is_empty();
    let response = ui.interact(rect, id, if chooses { Sense::click() } else { Sense::click_and_drag() });
    // Keys first: Enter looks like a click, too.
    let by_keys = keys(ui, row, &response, typing).or_else(|| asked(ui, row, id));
    let by_mouse = if chooses { choice(row, &response) } else { bar(ui, row, &response, rect) };
    let mut touch = by_keys.or(by_mouse);
    if response.gained_focus() {
        touch = touch.or(Some(Touch::Pick));
        response.scroll_to_me(None);
    }
    let lit = row.in_hand || response.hovered() || response.has_focus();
    let typed_here = typing.as_ref().is_some_and(|t| t.address == *row.address);
    paint(ui, rect, row, lit, !typed_here);
    describe(ui, row, &response, chooses);
    let response = response.on_hover_ui(|ui| about(ui, row, chooses));
    if let Some(now) = typing.as_mut().filter(|_| typed_here) {
        let place = Rect::from_min_max(pos2((rect.right() - FIELD).max(rect.left()), rect.top()), rect.max);
        match now.field(ui, place, row.parameter, row.label) {
            Typed::Going => now.hint(ui, row.parameter),
            Typed::Left => *typing = None,
            Typed::Value(value) => {
                touch = Some(Touch::To(value));
                if now.back {
                    response.request_focus();
                }
                *typing = None;
            }
        }
    }
    (response, touch)
}

/// The widget of a row.
pub(super) fn row_id(address: &str) -> Id {
    Id::unique(("row", address))
}

/// The mouse on a number's bar.
fn bar(ui: &Ui, row: &Row<'_>, response: &Response, rect: Rect) -> Option<Touch> {
    let parameter = row.parameter;
    if response.double_clicked() {
        return Some(Touch::Reset);
    }
    if response.dragged() {
        // From where the button went down: what it takes to be a drag counts, too.
        let moved = match ui.input(|i| i.pointer.press_origin()).zip(response.interact_pointer_pos()) {
            Some((from, at)) if response.drag_started() => at.x - from.x,
            _ => response.drag_delta().x,
        };
        let travel = f64::from(moved) / f64::from(rect.width().max(1.0));
        let fine = if ui.input(|i| i.modifiers.shift) { FINE } else { 1.0 };
        let from = parameter.position(row.value);
        let to = parameter.at((from + travel * fine).clamp(0.0, 1.0));
        if to != row.value {
            return Some(Touch::Turn((to - row.value) / parameter.step));
        }
    }
    (response.drag_started() || response.clicked()).then_some(Touch::Pick)
}

/// A parameter that chooses: a click opens its names.
fn choice(row: &Row<'_>, response: &Response) -> Option<Touch> {
    let (parameter, value) = (row.parameter, row.value);
    let mut touch = response.clicked().then_some(Touch::Pick);
    egui::Popup::menu(response).show(|ui| {
        for (i, name) in parameter.choices().iter().enumerate() {
            if ui.selectable_label(parameter.choice(value) == Some(name), *name).clicked() {
                touch = Some(Touch::Turn((i as f64 - value) / parameter.step));
                ui.close();
            }
        }
    });
    touch
}

/// The keyboard on a row: arrows turn it, Shift by ten steps and Alt by a tenth; digits begin a value, and so does Enter.
fn keys(ui: &Ui, row: &Row<'_>, response: &Response, typing: &mut Option<Typing>) -> Option<Touch> {
    if !response.has_focus() {
        return None;
    }
    let turned = arrows(ui, response);
    let mut steps = f64::from(turned.x + turned.y);
    let (mut first, mut enter) = (None, false);
    ui.input_mut(|i| {
        if row.parameter.choices().is_empty() {
            enter = i.key_pressed(Key::Enter);
            // The field gets what else was typed, so this letter is taken out.
            first = i.events.iter_mut().find_map(|event| match event {
                egui::Event::Text(text) if text.starts_with(|c: char| c.is_ascii_digit()) => {
                    Some(text.remove(0))
                }
                _ => None,
            });
        }
    });
    if enter || first.is_some() {
        let mut new = Typing::new(row.address.clone(), first, row.parameter.show(row.value));
        new.back = true;
        *typing = Some(new);
        return Some(Touch::Pick);
    }
    if !row.parameter.choices().is_empty() {
        steps = if steps == 0.0 { 0.0 } else { steps.signum() };
    }
    (steps != 0.0).then_some(Touch::Step(steps))
}

/// What assistive programs ask for.
fn asked(ui: &Ui, row: &Row<'_>, id: Id) -> Option<Touch> {
    ui.input(|i| {
        let set = i.accesskit_action_requests(id, Action::SetValue).find_map(|request: &ActionRequest| {
            match &request.data {
                Some(ActionData::NumericValue(value)) => Some(row.parameter.held(*value)),
                Some(ActionData::Value(text)) => row.parameter.typed(text).ok(),
                _ => None,
            }
        });
        let count = |action| i.num_accesskit_action_requests(id, action) as f64;
        let by = count(Action::Increment) - count(Action::Decrement);
        set.map(Touch::To).or((by != 0.0).then_some(Touch::Step(by)))
    })
}

/// Name, role, value and range, for assistive programs.
fn describe(ui: &Ui, row: &Row<'_>, response: &Response, chooses: bool) {
    let parameter = row.parameter;
    response.widget_info(|| match chooses {
        true => egui::WidgetInfo::labeled(egui::Role::ComboBox, ui.is_enabled(), row.label),
        false => egui::WidgetInfo::slider(ui.is_enabled(), row.value, row.label),
    });
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_value(parameter.show(row.value));
        node.set_description(format!("{} {}", parameter.doc.trim(), row.address));
        node.add_action(Action::SetValue);
        node.set_min_numeric_value(parameter.min);
        node.set_max_numeric_value(parameter.max);
        node.set_numeric_value_step(parameter.step);
        for (more, action) in
            [(row.value < parameter.max, Action::Increment), (row.value > parameter.min, Action::Decrement)]
        {
            if more {
                node.add_action(action);
            }
        }
    });
}

/// What it is, its unit and range, its default, its address, and how it is moved.
fn about(ui: &mut Ui, row: &Row<'_>, chooses: bool) {
    let parameter = row.parameter;
    ui.set_max_width(300.0);
    ui.label(parameter.doc.trim());
    let default = parameter.show(parameter.default);
    let range = if chooses {
        format!("{}; default {default}", parameter.choices().join(", "))
    } else {
        let (min, max) = (parameter.show(parameter.min), parameter.show(parameter.max));
        format!("{min} … {max}, a step is {}; default {default}", step(parameter))
    };
    ui.colored_label(look::TEXT, range);
    let how = if chooses {
        "click to choose; Backspace: default"
    } else {
        "drag, with Shift a tenth as fast; double-click: default; type digits for a value"
    };
    ui.colored_label(look::QUIET, how);
    ui.colored_label(look::QUIET, &**row.address);
}

/// A step with its unit and without a sign.
fn step(parameter: &Parameter) -> String {
    format!("{} {}", parameter.step, parameter.unit.suffix()).trim_end().to_owned()
}

fn paint(ui: &Ui, rect: Rect, row: &Row<'_>, lit: bool, number: bool) {
    let (parameter, value) = (row.parameter, row.value);
    let p = ui.painter();
    let bar = rect.shrink2(Vec2::new(0.0, 1.0));
    p.rect_filled(bar, 2.0, look::BAR);
    if parameter.choices().is_empty() {
        fill(ui, bar, parameter, value, lit);
    }
    let ink = if lit { look::BRIGHT } else { look::TEXT };
    let font = FontId::proportional(12.0);
    p.text(pos2(bar.left() + 6.0, bar.center().y), Align2::LEFT_CENTER, row.label, font.clone(), ink);
    if number {
        let place = pos2(bar.right() - 6.0, bar.center().y);
        p.text(place, Align2::RIGHT_CENTER, parameter.show(value), font, ink);
    }
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
