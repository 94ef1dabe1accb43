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
    /// A wedge that points up: its grey is too bright.
    Bright,
    /// A wedge that points down: its grey is too dark.
    Dark,
    /// Two rings that do not cover each other: its grey has a colour.
    Cast,
    /// A pair of brackets: its samples may be read in the wrong range or encoding.
    Brackets,
}

/// A mark, and what it says when asked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Mark {
    pub shape: Glyph,
    /// A few words, for those who see and for those who hear them.
    pub about: String,
}

/// The marks of a shot, the most urgent first: what its file lacks, then what the survey found.
pub(super) fn marks(s: &Snapshot, shot: usize) -> Vec<Mark> {
    let mut marks = of_file(s, shot);
    let Some(found) = s.first.survey.shots.get(shot) else { return marks };
    let mut add = |shape, about: String| marks.push(Mark { shape, about });
    if !found.doubt.reasons.is_empty() {
        add(Glyph::Brackets, found.doubt.reasons.join("\n"));
    }
    if let Some(stops) = found.exposure {
        let (shape, way) = if stops > 0.0 { (Glyph::Bright, "bright") } else { (Glyph::Dark, "dark") };
        add(shape, format!("about {:.1} stops too {way}", stops.abs()));
    }
    if let Some(degrees) = found.cast {
        add(Glyph::Cast, format!("a cast of about {degrees:.0}°"));
    }
    marks
}

fn of_file(s: &Snapshot, shot: usize) -> Vec<Mark> {
    match s.thumbnails.get(shot) {
        Some(Some(Err(why))) => vec![Mark { shape: Glyph::Cross, about: format!("cannot be read: {why}") }],
        Some(Some(Ok(thumbnail))) if thumbnail.assumed => {
            let about = "untagged: its range or luma weights are assumed, since the file does not say";
            vec![Mark { shape: Glyph::Tag, about: about.to_owned() }]
        }
        _ => Vec::new(),
    }
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
        draw_shape(ui, mark.shape, rect.shrink(2.0), ink);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, &mark.about));
        out.push(response.on_hover_text(&mark.about));
        right -= SIDE + 3.0;
    }
    out
}

fn draw_shape(ui: &Ui, shape: Glyph, rect: Rect, ink: Color32) {
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
        Glyph::Bright | Glyph::Dark => {
            let (foot, head) = if shape == Glyph::Bright { (r, -r) } else { (-r, r) };
            let points = [c + Vec2::new(-r, foot), c + Vec2::new(r, foot), c + Vec2::new(0.0, head)];
            p.add(Shape::closed_line(points.to_vec(), line));
        }
        Glyph::Cast => {
            for side in [-1.0, 1.0] {
                p.circle_stroke(c + Vec2::new(side * r * 0.4, 0.0), r * 0.6, line);
            }
        }
        Glyph::Brackets => {
            for side in [-1.0, 1.0] {
                let at = |x: f32, y: f32| c + Vec2::new(side * r * x, r * y);
                let points = [at(0.4, -1.0), at(1.0, -1.0), at(1.0, 1.0), at(0.4, 1.0)];
                p.add(Shape::line(points.to_vec(), line));
            }
        }
    }
}
