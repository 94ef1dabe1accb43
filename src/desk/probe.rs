//! The probe: what the picture holds under the pointer, from the camera's code to the display's.

use egui::{CursorIcon, FontId, Rect, Sense, Stroke, StrokeKind, Ui, vec2};

use super::focus::crosshair;
use super::look;
use super::picker::place;
use crate::engine::{Input, Picture, Snapshot};
use crate::picture::Probed;

/// Asks for what `picture`, which lies in `area`, holds under the pointer, and shows it there; `asked` is what was asked for
/// last. Without a picture nothing is asked for.
pub(super) fn probe(
    ui: &mut Ui,
    area: Rect,
    picture: Option<&Picture>,
    s: &Snapshot,
    asked: &mut Option<[[f64; 2]; 2]>,
    inputs: &mut Vec<Input>,
) {
    let mut wanted = None;
    if let Some(picture) = picture {
        let size = (picture.output.width, picture.output.height);
        let place = place(area, size, ui.pixels_per_point());
        let id = ui.scope_id().with("probe");
        let response = ui.interact(place, id, Sense::click_and_drag()).on_hover_cursor(CursorIcon::Crosshair);
        let share = |at: egui::Pos2| {
            let at = (place.clamp(at) - place.min) / place.size();
            [f64::from(at.x), f64::from(at.y)]
        };
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, "picture, to probe"));
        let by_keys = crosshair(ui, &response);
        if let Some(to) = by_keys.or(response.interact_pointer_pos()).or(response.hover_pos()) {
            let from =
                if response.dragged() { ui.input(|i| i.pointer.press_origin()).unwrap_or(to) } else { to };
            wanted = Some([share(from), share(to)]);
            let patch = Rect::from_two_pos(place.clamp(from), place.clamp(to)).expand(4.0);
            let p = ui.painter();
            p.rect_stroke(patch, 0.0, Stroke::new(3.0, egui::Color32::BLACK), StrokeKind::Outside);
            p.rect_stroke(patch, 0.0, Stroke::new(1.0, look::BRIGHT), StrokeKind::Outside);
            if let Some(found) = &s.probe {
                say(ui, area, patch, found.as_ref().map_err(|why| &**why));
            }
        }
    }
    if *asked != wanted {
        *asked = wanted;
        inputs.push(Input::Probe(wanted));
    }
}

/// The lines of a reading.
fn lines(found: Result<&Probed, &str>) -> Vec<String> {
    let probed = match found {
        Ok(probed) => probed,
        Err(why) => return vec![why.to_owned()],
    };
    let three = |v: [f64; 3]| v.map(|v| format!("{v:8.4}")).concat();
    let codes = |v: [f64; 3]| v.map(|v| format!("{:5.0}", v * 1023.0)).concat();
    let stops = probed.stops.map_or("no light".to_owned(), |s| {
        format!("{:+.2} stops from grey", (s * 100.0).round() / 100.0 + 0.0)
    });
    let texture = if probed.partial { "  without texture" } else { "" };
    vec![
        format!("camera {}   10-bit{}", three(probed.camera), codes(probed.camera)),
        format!("light  {}   balanced, ACEScg", three(probed.light)),
        format!("       {stops}"),
        format!("client {}   10-bit{}{texture}", three(probed.signal), codes(probed.signal)),
    ]
}

/// Beside the patch, where there is room.
fn say(ui: &Ui, area: Rect, patch: Rect, found: Result<&Probed, &str>) {
    let text = ui.painter().layout_no_wrap(lines(found).join("\n"), FontId::monospace(11.0), look::BRIGHT);
    let size = text.size() + vec2(16.0, 10.0);
    let right = patch.right() + 12.0 + size.x <= area.right();
    let below = patch.bottom() + 12.0 + size.y <= area.bottom();
    let x = if right { patch.right() + 12.0 } else { patch.left() - 12.0 - size.x };
    let y = if below { patch.bottom() + 12.0 } else { patch.top() - 12.0 - size.y };
    let at = Rect::from_min_size(egui::pos2(x.max(area.left()), y.max(area.top())), size);
    ui.painter().rect_filled(at, 3.0, egui::Color32::from_black_alpha(215));
    ui.painter().galley(at.min + vec2(8.0, 5.0), text, look::BRIGHT);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_told_in_the_units_of_each_step() {
        let probed = Probed {
            camera: [0.5; 3],
            light: [0.18; 3],
            stops: Some(-1e-12),
            signal: [0.4, 0.5, 1.0],
            partial: true,
        };
        let lines = lines(Ok(&probed));
        assert!(lines[0].contains("0.5000") && lines[0].contains("512"), "{lines:?}");
        assert!(lines[2].ends_with("+0.00 stops from grey"), "{lines:?}");
        assert!(lines[3].contains(" 1023") && lines[3].contains("without texture"));
        assert_eq!(super::lines(Err("beside the frame")), ["beside the frame"]);
    }
}
