//! Small marks on a shot in the running order: what it lacks, or what is suspected of it. Shapes and words, not colours.

use egui::{Color32, Rect, Response, Sense, Shape, Stroke, Ui, Vec2, pos2};

use super::super::look;
use crate::engine::Snapshot;

/// What a mark looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Glyph {
    /// Crossed out: its frame cannot be read.
    Cross,
    /// An empty tag: the file does not say how its samples are coded.
    Tag,
    /// A ring with its left half filled: exposure.
    HalfRing,
    /// A square on its corner: a cast.
    Tilted,
    /// Two brackets: how the samples are read is in doubt.
    Brackets,
}

/// A mark, and what it says when asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Mark {
    pub shape: Glyph,
    /// A few words, for those who see and for those who hear them.
    pub about: String,
}

/// The marks of a shot, the most urgent first.
pub(super) fn marks(s: &Snapshot, shot: usize) -> Vec<Mark> {
    let mut out = Vec::new();
    let mut mark = |shape, about: String| out.push(Mark { shape, about });
    let survey = s.first.survey.shots.get(shot);
    match s.thumbnails.get(shot) {
        Some(Some(Err(why))) => mark(Glyph::Cross, format!("cannot be read: {why}")),
        Some(Some(Ok(thumbnail))) if thumbnail.assumed => {
            let about = "untagged: its range or luma weights are assumed, since the file does not say";
            mark(Glyph::Tag, about.to_owned());
        }
        _ => {
            if let Some(why) = survey.and_then(|m| m.trouble.as_ref()) {
                mark(Glyph::Cross, format!("cannot be read: {why}"));
            }
        }
    }
    let Some(found) = survey else { return out };
    if !found.doubt.is_none() {
        mark(Glyph::Brackets, found.doubt.reasons.join("\n"));
    }
    if let Some(stops) = found.exposure {
        let way = if stops > 0.0 { "bright" } else { "dark" };
        mark(Glyph::HalfRing, format!("exposure: about {:.1} stops too {way}", stops.abs()));
    }
    if let Some(degrees) = found.cast {
        mark(Glyph::Tilted, format!("a cast of about {degrees:.0}°"));
    }
    out
}

/// Side of a mark, in points.
pub(super) const SIDE: f32 = 13.0;

/// Draws marks from the right end of `room`; what fits. Each tells what it is about under the pointer.
pub(super) fn draw(ui: &Ui, room: Rect, id: egui::Id, marks: &[Mark]) -> Vec<Response> {
    let mut right = room.right();
    let mut out = Vec::new();
    for (i, mark) in marks.iter().enumerate() {
        let rect = Rect::from_min_size(pos2(right - SIDE, room.center().y - SIDE / 2.0), Vec2::splat(SIDE));
        if rect.left() < room.left() {
            break;
        }
        let response = ui.interact(rect, id.with(("mark", i)), Sense::hover());
        let ink = if response.hovered() { look::BRIGHT } else { look::TEXT };
        shape(ui, mark.shape, rect.shrink(2.0), ink);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, &mark.about));
        out.push(response.on_hover_text(&mark.about));
        right -= SIDE + 3.0;
    }
    out
}

fn shape(ui: &Ui, shape: Glyph, rect: Rect, ink: Color32) {
    let p = ui.painter();
    let line = Stroke::new(1.5, ink);
    let (c, r) = (rect.center(), rect.width() / 2.0);
    match shape {
        Glyph::Cross => {
            p.line_segment([rect.left_top(), rect.right_bottom()], line);
            p.line_segment([rect.right_top(), rect.left_bottom()], line);
        }
        Glyph::Tag => {
            let points = [
                rect.left_top(),
                pos2(c.x + r * 0.3, rect.top()),
                pos2(rect.right(), c.y),
                pos2(c.x + r * 0.3, rect.bottom()),
                rect.left_bottom(),
            ];
            p.add(Shape::closed_line(points.to_vec(), line));
        }
        Glyph::HalfRing => {
            p.circle_stroke(c, r, line);
            let half = (0..=12).map(|i| {
                let angle = std::f32::consts::PI * (i as f32 / 12.0 + 0.5);
                c + r * Vec2::angled(angle)
            });
            p.add(Shape::convex_polygon(half.collect(), ink, Stroke::NONE));
        }
        Glyph::Tilted => {
            let (top, foot) = (pos2(c.x, rect.top()), pos2(c.x, rect.bottom()));
            let points = vec![top, pos2(rect.right(), c.y), foot, pos2(rect.left(), c.y)];
            p.add(Shape::closed_line(points, line));
        }
        Glyph::Brackets => {
            for (x, inward) in [(rect.left(), r * 0.6), (rect.right(), -r * 0.6)] {
                let corner = |y: f32| pos2(x, y);
                let points = vec![
                    pos2(x + inward, rect.top()),
                    corner(rect.top()),
                    corner(rect.bottom()),
                    pos2(x + inward, rect.bottom()),
                ];
                p.add(Shape::line(points, line));
            }
        }
    }
}
