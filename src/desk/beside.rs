//! What stands beside the picture, said on its edge; and the line between the two, which the mouse moves and turns.

use std::sync::Arc;

use egui::{Align2, Color32, CursorIcon, FontId, Pos2, Rect, Sense, Stroke, Ui, vec2};

use super::look;
use super::panes::MOUSE;
use super::picker::place;
use crate::engine::{Input, Measure, Picture, Snapshot};
use crate::picture::{Beside, Way};

/// How near the pointer has to be to take the line, in points.
const NEAR: f32 = 9.0;
/// From this part of the way to its end the line is turned, not moved.
const ENDS: f32 = 0.6;

/// What the mouse does with the line; egui keeps it from frame to frame.
#[derive(Clone, Copy, Default, PartialEq)]
enum Hold {
    #[default]
    None,
    Moves,
    Turns,
}

/// Draws it over `picture`, which lies in `area`. With `quiet` the mouse is somebody else's.
pub(super) fn beside(
    ui: &mut Ui,
    area: Rect,
    picture: Option<&Picture>,
    s: &Snapshot,
    quiet: bool,
    inputs: &mut Vec<Input>,
) {
    let kept = &s.kept;
    let (Some(picture), true) = (picture, kept.on) else { return };
    let size = (picture.output.width, picture.output.height);
    let place = place(area, size, ui.pixels_per_point());
    if kept.beside.way == Way::Wipe {
        line(ui, place, size, &kept.beside, quiet, inputs);
    }
    let Some(label) = &kept.label else { return };
    let difference = kept.beside.way == Way::Difference;
    let ink = if difference { look::WARN } else { look::TEXT };
    let mark = if difference { "⚠ " } else { "" };
    let client = if kept.on_client && !difference { "  ·  the client sees it, too" } else { "" };
    let font = FontId::proportional(12.0);
    let text = ui.painter().layout_no_wrap(format!("{mark}{label}{client}"), font, ink);
    let at = Align2::CENTER_BOTTOM
        .align_size_within_rect(text.size() + vec2(16.0, 6.0), place.shrink2(vec2(0.0, 6.0)));
    ui.painter().rect_filled(at, 3.0, Color32::from_black_alpha(190));
    ui.painter().galley(at.min + vec2(8.0, 3.0), text, ink);
}

/// Where the line crosses the edges of the picture's place.
fn ends(place: Rect, size: (u32, u32), beside: &Beside) -> Option<[Pos2; 2]> {
    let of = (f64::from(size.0), f64::from(size.1));
    let (normal, half) = beside.line(of);
    let along = (2.0 * beside.place - 1.0) * half;
    let scale = f64::from(place.width()) / of.0;
    let normal = [normal[0] as f32, normal[1] as f32];
    let middle = place.center() + vec2(normal[0], normal[1]) * (along * scale) as f32;
    let way = vec2(-normal[1], normal[0]);
    let (mut from, mut to) = (f32::NEG_INFINITY, f32::INFINITY);
    for (m, w, low, high) in
        [(middle.x, way.x, place.left(), place.right()), (middle.y, way.y, place.top(), place.bottom())]
    {
        if w.abs() < 1e-6 {
            if m < low - 0.5 || m > high + 0.5 {
                return None;
            }
            continue;
        }
        let (a, b) = ((low - m) / w, (high - m) / w);
        (from, to) = (from.max(a.min(b)), to.min(a.max(b)));
    }
    (from < to).then(|| [middle + way * from, middle + way * to])
}

fn line(ui: &mut Ui, place: Rect, size: (u32, u32), beside: &Beside, quiet: bool, inputs: &mut Vec<Input>) {
    let Some([a, b]) = ends(place, size, beside) else { return };
    let id = ui.scope_id().with("line");
    let held: Hold = ui.data(|d| d.get_temp(id)).unwrap_or_default();
    let pointer = ui.input(|i| i.pointer.latest_pos()).filter(|at| place.contains(*at));
    let (middle, length) = (a + (b - a) * 0.5, (b - a).length().max(1.0));
    let way = (b - a) / length;
    let off = |at: Pos2| (at - a).dot(vec2(-way.y, way.x)).abs();
    let near = pointer.filter(|at| !quiet && off(*at) <= NEAR);
    let at_end = |at: Pos2| (at - middle).length() > ENDS * length / 2.0;
    let lit = held != Hold::None || near.is_some();
    let p = ui.painter().with_clip_rect(place);
    p.line_segment([a, b], Stroke::new(3.0, Color32::from_black_alpha(if lit { 150 } else { 70 })));
    p.line_segment([a, b], Stroke::new(1.0, if lit { look::BRIGHT } else { Color32::from_gray(190) }));
    if !lit {
        return;
    }
    for end in [a + (middle - a) * 0.2, b + (middle - b) * 0.2] {
        p.circle(end, 4.0, Color32::from_black_alpha(150), Stroke::new(1.0, look::BRIGHT));
    }
    let turns = held == Hold::Turns || (held == Hold::None && near.is_some_and(at_end));
    let cursor = if turns { CursorIcon::Crosshair } else { CursorIcon::Grab };
    let response = ui.interact(place, id, Sense::click_and_drag()).on_hover_cursor(cursor);
    // From the press on: a quick hand has left the line before it is a drag.
    let taken = response.is_pointer_button_down_on() && held == Hold::None;
    if taken || response.drag_started() || response.clicked() {
        let from = ui.input(|i| i.pointer.press_origin()).unwrap_or(middle);
        let hold = if at_end(from) { Hold::Turns } else { Hold::Moves };
        ui.data_mut(|d| d.insert_temp(id, hold));
    }
    let held: Hold = ui.data(|d| d.get_temp(id)).unwrap_or_default();
    if let Some(at) = response.interact_pointer_pos().filter(|_| response.dragged()) {
        let scale = f64::from(size.0) / f64::from(place.width());
        let pixel = [f64::from(at.x - place.left()) * scale, f64::from(at.y - place.top()) * scale];
        let of = (f64::from(size.0), f64::from(size.1));
        match held {
            Hold::Moves => {
                set(Measure::Place, beside.place, beside.place_through(of, pixel), inputs);
            }
            Hold::Turns => {
                // The line turns about where it is nearest to the picture's middle, towards the pointer.
                let (normal, half) = beside.line(of);
                let along = (2.0 * beside.place - 1.0) * half;
                let centre = [of.0 / 2.0 + normal[0] * along, of.1 / 2.0 + normal[1] * along];
                let to = [pixel[0] - centre[0], pixel[1] - centre[1]];
                // The way along the line is the normal turned by a quarter; either end may be in hand.
                let mut angle = to[1].atan2(to[0]).to_degrees() - 90.0;
                if (angle - beside.angle + 90.0).rem_euclid(360.0) > 180.0 {
                    angle += 180.0;
                }
                let angle = (angle + 180.0).rem_euclid(360.0) - 180.0;
                let turned = Beside { angle: angle.round(), ..*beside };
                set(Measure::Angle, beside.angle, turned.angle, inputs);
                set(Measure::Place, beside.place, turned.place_through(of, centre), inputs);
            }
            Hold::None => {}
        }
    }
    if response.drag_stopped() || !ui.input(|i| i.pointer.any_down()) {
        ui.data_mut(|d| d.insert_temp(id, Hold::None));
    }
}

/// Asks for a measure to become a value.
fn set(measure: Measure, from: f64, to: f64, inputs: &mut Vec<Input>) {
    let Some(parameter) = measure.parameter().filter(|_| from != to) else { return };
    let target: Arc<str> = measure.address().into();
    inputs.push(Input::Turn { target, detents: (to - from) / parameter.step, control: MOUSE });
}

#[cfg(test)]
mod tests {
    use egui::pos2;

    use super::*;

    #[test]
    fn a_line_ends_on_the_edges() {
        let place = Rect::from_min_size(pos2(10.0, 20.0), vec2(320.0, 180.0));
        let at = |angle, share| ends(place, (640, 360), &Beside { angle, place: share, ..Beside::default() });
        assert_eq!(at(0.0, 0.5), Some([pos2(170.0, 20.0), pos2(170.0, 200.0)]));
        let [a, b] = at(90.0, 0.25).unwrap();
        assert!((a.y - 65.0).abs() < 1e-3 && (b.y - 65.0).abs() < 1e-3, "{a:?} {b:?}");
        assert!((a.x - 330.0).abs() < 1e-3 && (b.x - 10.0).abs() < 1e-3, "{a:?} {b:?}");
        for angle in [37.0, -150.0, 121.0] {
            for end in at(angle, 0.4).unwrap() {
                let on = |v: f32, low: f32, high: f32| (v - low).abs() < 0.01 || (v - high).abs() < 0.01;
                assert!(on(end.x, 10.0, 330.0) || on(end.y, 20.0, 200.0), "{angle}: {end:?}");
                assert!(place.expand(0.01).contains(end), "{angle}: {end:?}");
            }
        }
    }
}
