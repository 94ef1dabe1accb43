//! Picking a neutral: a click on the picture, or a drag over a part of it.

use egui::{Align2, CursorIcon, FontId, Rect, Sense, Stroke, StrokeKind, Ui, pos2, vec2};

use super::focus::crosshair;
use super::look;
use super::window::Place;
use crate::engine::{Command, Input, Patch, Picture};

const HINT: &str = "click a patch that was grey, or drag over it; arrows and Enter do so too · Esc leaves it";

/// Where the drag of a patch began, in points; egui keeps it from frame to frame.
#[derive(Clone, Copy, Default)]
struct Begun(Option<egui::Pos2>);

/// Shows what is waited for, and asks for it once a patch of `picture`, which lies in `area`, is picked.
pub(super) fn pick_neutral(ui: &mut Ui, area: Rect, picture: &Picture, inputs: &mut Vec<Input>) {
    let place = place(area, (picture.output.width, picture.output.height), ui.pixels_per_point());
    let id = ui.scope_id().with("neutral");
    let response = ui.interact(place, id, Sense::click_and_drag()).on_hover_cursor(CursorIcon::Crosshair);
    response
        .widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, "picture, to pick a neutral in"));
    // It has the keyboard from the beginning. Esc gives that back, and the wait with it.
    let frame = ui.ctx().cumulative_pass_nr();
    let seen = ui.data_mut(|d| std::mem::replace(d.get_temp_mut_or(id.with("seen"), 0), frame));
    if seen + 2 < frame {
        response.request_focus();
    } else if response.lost_focus() && ui.input(|i| i.key_pressed(egui::Key::Escape)) {
        inputs.push(Input::Command(Command::Picking(false)));
    }
    let mark = crosshair(ui, &response);
    let share = |at: egui::Pos2| {
        let at = (at - place.min) / place.size();
        [f64::from(at.x), f64::from(at.y)]
    };
    let mut pick = |from, to| {
        let patch = Patch { shot: picture.shot, frame: picture.frame, from: share(from), to: share(to) };
        inputs.push(Input::Command(Command::Neutral(patch)));
    };
    if response.drag_started() {
        let from = ui.input(|i| i.pointer.press_origin());
        ui.data_mut(|d| d.insert_temp(id, Begun(from)));
    }
    let dragged = response.dragged() || response.drag_stopped();
    let begun = ui.data(|d| d.get_temp::<Begun>(id)).and_then(|b| b.0).filter(|_| dragged);
    if let (Some(from), Some(to)) = (begun, response.interact_pointer_pos()) {
        let patch = Rect::from_two_pos(from, place.clamp(to));
        let p = ui.painter();
        p.rect_stroke(patch, 0.0, Stroke::new(3.0, egui::Color32::BLACK), StrokeKind::Outside);
        p.rect_stroke(patch, 0.0, Stroke::new(1.0, look::BRIGHT), StrokeKind::Outside);
        if response.drag_stopped() {
            pick(from, place.clamp(to));
        }
    } else if let Some(at) = response.interact_pointer_pos().or(mark).filter(|_| response.clicked()) {
        pick(at, at);
    }
    let font = FontId::proportional(13.0);
    let text = ui.painter().layout_no_wrap(HINT.to_owned(), font, look::BRIGHT);
    let at = Align2::CENTER_BOTTOM.align_size_within_rect(text.size() + vec2(16.0, 8.0), place);
    ui.painter().rect_filled(at, 3.0, egui::Color32::from_black_alpha(200));
    ui.painter().galley(at.min + vec2(8.0, 4.0), text, look::BRIGHT);
}

/// Where in an area the picture is drawn, in points.
pub(super) fn place(area: Rect, size: (u32, u32), points: f32) -> Rect {
    let pixels = |v: egui::Vec2| [v.x * points, v.y * points];
    let place = Place::fit(size, pixels(area.min.to_vec2()), pixels(area.size()));
    Rect::from_min_size(
        pos2(place.origin[0], place.origin[1]) / points,
        vec2(place.size[0], place.size[1]) / points,
    )
}
