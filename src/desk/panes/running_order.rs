//! The running order: the show's shots, each with the frame that stands for it as it is graded now.

use std::collections::HashMap;
use std::ops::Range;

use egui::{
    Align2, Color32, ColorImage, Rect, Response, RichText, Sense, Stroke, TextureHandle, TextureOptions, Ui,
    Vec2, pos2,
};

use super::super::look;
use super::super::text::elided;
use super::{MOUSE, Panes, chosen, shot_marks};
use crate::engine::{Input, Snapshot, THUMBNAIL, Thumbnail};
use crate::picture::BalanceField;
use crate::show::Change;

/// What the running order remembers from frame to frame.
#[derive(Default)]
pub(in super::super) struct OrderPane {
    /// Textures of thumbnails, by what these are made of, and when each was drawn last.
    textures: HashMap<u64, (TextureHandle, u64)>,
    frame: u64,
    /// The rows that the engine was told to make thumbnails of.
    asked: Option<Range<usize>>,
    /// The shot that is being dragged to another place.
    dragged: Option<usize>,
    /// The shot that was on view last.
    here: Option<usize>,
    /// Rows that were to be seen last.
    seen: Range<usize>,
}

/// Textures that are kept although they were not drawn last.
const KEPT: usize = 64;

impl OrderPane {
    /// Nobody sees it.
    pub fn hidden(&mut self, inputs: &mut Vec<Input>) {
        if self.asked.take().is_some() {
            inputs.push(Input::Thumbnails(None));
        }
    }

    fn texture(&mut self, ui: &Ui, thumbnail: &Thumbnail) -> egui::TextureId {
        let frame = self.frame;
        let (texture, seen) = self.textures.entry(thumbnail.made_of).or_insert_with(|| {
            let bytes: Vec<u8> = thumbnail.pixels.iter().flatten().copied().collect();
            let image = ColorImage::from_rgb([thumbnail.width as usize, thumbnail.height as usize], &bytes);
            (ui.ctx().load_texture("thumbnail", image, TextureOptions::LINEAR), frame)
        });
        *seen = frame;
        texture.id()
    }

    fn forget(&mut self) {
        if self.textures.len() > KEPT {
            let frame = self.frame;
            self.textures.retain(|_, (_, seen)| *seen == frame);
        }
    }
}

/// What a row's parts measure.
struct Row {
    thumbnail: Vec2,
    height: f32,
}

impl Row {
    /// For a pane of a width.
    fn of(width: f32) -> Self {
        let across = (width * 0.4).clamp(40.0, THUMBNAIL.0 as f32);
        let down = across * THUMBNAIL.1 as f32 / THUMBNAIL.0 as f32;
        Self { thumbnail: Vec2::new(across, down), height: (down + 8.0).max(46.0) }
    }
}

impl Panes {
    pub(super) fn running_order(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        self.order.frame += 1;
        ui.add_space(4.0);
        ui.add(egui::Label::new(RichText::new(&s.show.name).color(look::BRIGHT)).truncate());
        chosen::survey(ui, s, inputs);
        ui.add_space(2.0);
        let row = Row::of(ui.available_width());
        let (count, gap) = (s.show.shots.len(), 2.0);
        ui.spacing_mut().item_spacing.y = gap;
        let mut area = egui::ScrollArea::vertical().auto_shrink([false, false]);
        // A shot that is gone to from elsewhere comes into view.
        if self.order.here.replace(s.shot) != Some(s.shot) && !self.order.seen.contains(&s.shot) {
            let middle = (s.shot as f32 + 0.5) * (row.height + gap) - ui.available_height() / 2.0;
            area = area.vertical_scroll_offset(middle.max(0.0));
        }
        let mut seen = 0..0;
        area.show_rows(ui, row.height, count, |ui, rows| {
            seen = rows.clone();
            let mut rects = Vec::new();
            for shot in rows.clone() {
                let (rect, response) = ui.allocate_exact_size(
                    Vec2::new(ui.available_width(), row.height),
                    Sense::click_and_drag(),
                );
                rects.push(rect);
                self.shot_row(ui, s, shot, rect, &response, &row, inputs);
            }
            self.drop_place(ui, rows.start, &rects, count, inputs);
        });
        self.order.forget();
        // The row that scrolling hides by half is seen by half.
        self.order.seen = (seen.start + 1).min(seen.end)..seen.end.saturating_sub(1).max(seen.start);
        if self.order.asked.as_ref() != Some(&seen) {
            self.order.asked = Some(seen.clone());
            inputs.push(Input::Thumbnails(Some(seen)));
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn shot_row(
        &mut self,
        ui: &Ui,
        s: &Snapshot,
        at: usize,
        rect: Rect,
        response: &Response,
        row: &Row,
        inputs: &mut Vec<Input>,
    ) {
        let (shot, here) = (&s.show.shots[at], at == s.shot);
        let p = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
        if here {
            p.rect_filled(rect, 2.0, look::BAR);
            p.vline(rect.left() + 1.5, rect.y_range(), Stroke::new(3.0, look::BRIGHT));
        } else if response.hovered() || self.order.dragged == Some(at) {
            p.rect_filled(rect, 2.0, look::HOVER);
        }
        if chosen::is_chosen(ui, &shot.name) {
            p.rect_stroke(rect, 2.0, Stroke::new(1.0, look::QUIET), egui::StrokeKind::Inside);
        }
        let room = Rect::from_min_size(
            pos2(rect.left() + 7.0, rect.center().y - row.thumbnail.y / 2.0),
            row.thumbnail,
        );
        match s.thumbnails.get(at) {
            Some(Some(Ok(thumbnail))) => {
                let size = Vec2::new(thumbnail.width as f32, thumbnail.height as f32);
                let scale = (room.width() / size.x).min(room.height() / size.y);
                let place = Rect::from_center_size(room.center(), size * scale);
                let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
                p.image(self.order.texture(ui, thumbnail), place, whole, Color32::WHITE);
            }
            _ => {
                p.rect_stroke(room, 0.0, Stroke::new(1.0, look::LINE), egui::StrokeKind::Inside);
            }
        }
        let left = room.right() + 8.0;
        let width = rect.right() - left - 4.0;
        let (ink, number) = (if here { look::BRIGHT } else { look::TEXT }, format!("{}  ", at + 1));
        let top = rect.center().y - 20.0;
        elided(&p, pos2(left, top), Align2::LEFT_TOP, &format!("{number}{}", shot.name), 13.0, ink, width);
        let about = shot.encoding.id;
        elided(&p, pos2(left, top + 16.0), Align2::LEFT_TOP, about, 11.0, look::QUIET, width);
        let marks = shot_marks::marks(s, at);
        let foot = Rect::from_min_max(pos2(left, top + 28.0), pos2(rect.right() - 4.0, top + 43.0));
        let taken = marks.len() as f32 * (shot_marks::SIDE + 3.0);
        let exposure = shot.balance.get(BalanceField::Exposure);
        let exposure = (exposure != 0.0).then(|| BalanceField::Exposure.parameter().show(exposure));
        let answers = super::super::sofa::mark(ui, &shot.name);
        let said: Vec<String> = exposure.into_iter().chain(answers).collect();
        if !said.is_empty() {
            let text = said.join("  ");
            let (size, room) = (11.0, width - taken);
            elided(&p, pos2(left, foot.center().y), Align2::LEFT_CENTER, &text, size, look::QUIET, room);
        }
        response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, here, &shot.name));
        if response.drag_started() {
            self.order.dragged = Some(at);
        }
        chosen::row(ui, s, at, response, inputs);
        shot_marks::draw(ui, foot, egui::Id::unique(("shot", at)), &marks);
        if self.order.dragged.is_none() {
            let stands = shot.representative() - shot.start;
            let chosen = if shot.chosen.is_some() { "was chosen" } else { "the middle one" };
            response.clone().on_hover_ui(|ui| {
                ui.label(&shot.name);
                let said = format!(
                    "{} frames  ·  frame {stands} stands for it, {chosen}\ndrag: another place in the running order",
                    shot.end - shot.start
                );
                ui.colored_label(look::QUIET, said);
            });
        }
    }

    /// Where a shot that is dragged would go: a line there, and the change when it is let go.
    fn drop_place(&mut self, ui: &Ui, first: usize, rects: &[Rect], count: usize, inputs: &mut Vec<Input>) {
        let Some(from) = self.order.dragged else { return };
        let (pointer, down) = ui.input(|i| (i.pointer.interact_pos(), i.pointer.primary_down()));
        if !down {
            self.order.dragged = None;
        }
        let (Some(pointer), Some(one)) = (pointer, rects.first()) else { return };
        // Above the middle of a row is before it.
        let before = first + rects.iter().take_while(|r| r.center().y < pointer.y).count();
        let view = ui.clip_rect();
        let inside = (view.left() - 20.0..=view.right() + 20.0).contains(&pointer.x);
        let to = if before > from { before - 1 } else { before }.min(count.saturating_sub(1));
        if !inside {
            return;
        }
        if !down {
            if to != from {
                inputs.push(Input::Change { change: Change::MoveShot { from, to }, control: MOUSE });
            }
            return;
        }
        let y = match rects.get(before - first) {
            Some(rect) => rect.top() - 1.0,
            None => rects.last().map_or(one.bottom(), |r| r.bottom()) + 1.0,
        };
        ui.painter().hline(one.x_range(), y, Stroke::new(2.0, look::BRIGHT));
        // At an end of what is seen, the rows go by.
        let by = (view.top() + 16.0 - pointer.y).max(0.0) - (pointer.y - view.bottom() + 16.0).max(0.0);
        if by != 0.0 {
            ui.scroll_with_delta(Vec2::new(0.0, by.clamp(-12.0, 12.0)));
        }
        ui.ctx().request_repaint();
    }
}

/// What can be done to a shot from its row.
pub(super) fn shot_menu(ui: &mut Ui, s: &Snapshot, at: usize, inputs: &mut Vec<Input>) {
    let shot = &s.show.shots[at];
    let mut ask = |ui: &mut Ui, change| {
        inputs.push(Input::Change { change, control: MOUSE });
        ui.close();
    };
    let on_view = at == s.shot;
    let stand = egui::Button::new("the frame on view stands for it");
    let frame = shot.start + s.frame;
    if ui.add_enabled(on_view && shot.chosen != Some(frame), stand).on_hover_text("Ctrl R").clicked() {
        ask(ui, Change::SetRepresentative { shot: at, frame: Some(frame) });
    }
    let middle = egui::Button::new("the middle frame stands for it");
    if ui.add_enabled(shot.chosen.is_some(), middle).clicked() {
        ask(ui, Change::SetRepresentative { shot: at, frame: None });
    }
    let last = s.show.shots.len().saturating_sub(1);
    if ui.add_enabled(at > 0, egui::Button::new("a place earlier")).on_hover_text("Ctrl Page up").clicked() {
        ask(ui, Change::MoveShot { from: at, to: at - 1 });
    }
    if ui.add_enabled(at < last, egui::Button::new("a place later")).on_hover_text("Ctrl Page down").clicked()
    {
        ask(ui, Change::MoveShot { from: at, to: at + 1 });
    }
}
