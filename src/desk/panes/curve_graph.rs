//! The graph of the stage curves: one curve at a time, with points to drag.

use std::sync::Arc;

use egui::{Pos2, Rect, RichText, Sense, Stroke, Ui, Vec2, pos2};

use super::super::look;
use super::light_path::words;
use super::{MOUSE, Panes};
use crate::engine::Input;
use crate::look::{
    CURVE_NAMES, CURVE_POINTS, CurvePoint, List, Stage, curve_height, curve_point_parameters,
    curve_point_within, curve_points,
};
use crate::show::{Change, Slot};

/// Height of the graph.
const HEIGHT: f32 = 150.0;
/// How near to a point the pointer takes hold of it.
const REACH: f32 = 8.0;
/// With Shift the pointer moves a point a tenth as far.
const FINE: f32 = 0.1;

/// Places and heights, in stops from grey, on the screen. Both go as far as points may be placed.
struct Scale {
    rect: Rect,
    from: f64,
    to: f64,
}

impl Scale {
    fn at(&self, place: f64, height: f64) -> Pos2 {
        let share = |v: f64| ((v - self.from) / (self.to - self.from)) as f32;
        let r = self.rect;
        pos2(r.left() + r.width() * share(place), r.bottom() - r.height() * share(height))
    }

    /// What a way on the screen is in stops.
    fn stops(&self, way: Vec2) -> (f64, f64) {
        let whole = self.to - self.from;
        (f64::from(way.x / self.rect.width()) * whole, -f64::from(way.y / self.rect.height()) * whole)
    }
}

impl Panes {
    /// The graph, and where the stage is open the rows of the curve that it shows.
    pub(super) fn curves(
        &mut self,
        ui: &mut Ui,
        list: List,
        at: usize,
        stage: &Stage,
        open: bool,
        inputs: &mut Vec<Input>,
    ) {
        let d = stage.declaration();
        let base = format!("{}/{}", list.key(), at + 1);
        self.choose_curve(ui, stage);
        let curve = self.curve;
        let key = |index: usize| d.parameters[index].key;
        let points = curve_points(&stage.values, curve);
        let (rect, _) = ui.allocate_exact_size(Vec2::new(ui.available_width(), HEIGHT), Sense::hover());
        let places = &d.parameters[curve_point_parameters(curve, 0).0];
        let scale = Scale { rect: rect.shrink(1.0), from: places.min, to: places.max };
        paint(ui, &scale, stage, curve);
        for (i, point) in points.iter().enumerate() {
            let (place, lift) = curve_point_parameters(curve, i);
            // A point whose neighbours pushed it out of the graph can be taken hold of at its edge.
            let mark = scale.rect.clamp(scale.at(point.place, point.height()));
            let id = ui.scope_id().with((&base, curve, i));
            let area = Rect::from_center_size(mark, Vec2::splat(2.0 * REACH));
            let response = ui.interact(area, id, Sense::click_and_drag());
            let address: Arc<str> = format!("{base}/{}", key(lift)).into();
            let in_hand = self.in_hand == address || *self.in_hand == *format!("{base}/{}", key(place));
            let lit = in_hand || response.hovered() || response.dragged();
            let ink = if lit { look::BRIGHT } else { look::TEXT };
            ui.painter().circle(mark, 3.5, if in_hand { ink } else { look::BAR }, Stroke::new(1.0, ink));
            if response.drag_started() || response.clicked() {
                self.in_hand = address.clone();
                self.dragged = Some(*point);
            }
            let wanted = if response.double_clicked() {
                Some((d.parameters[place].default, d.parameters[lift].default))
            } else if response.dragged() {
                let fine = if ui.input(|input| input.modifiers.shift) { FINE } else { 1.0 };
                // What passed before it was clear that this is no click counts.
                let way = match response.drag_started() {
                    true => response.total_drag_delta().unwrap_or_default(),
                    false => response.drag_delta(),
                };
                let (x, y) = scale.stops(way * fine);
                let before = self.dragged.unwrap_or(*point);
                let now = CurvePoint { place: before.place + x, lift: before.lift + y - x };
                self.dragged = Some(now);
                let held = curve_point_within(&points, i, now);
                Some((d.parameters[place].held(held.place), d.parameters[lift].held(held.lift)))
            } else {
                None
            };
            if let Some((new_place, new_lift)) = wanted
                && (new_place, new_lift) != (stage.values[place], stage.values[lift])
            {
                let set = |index, value| Change::SetParameter {
                    slot: Slot::Parameter { list, at, kind: stage.kind, index },
                    value,
                };
                let change = Change::Together(vec![set(place, new_place), set(lift, new_lift)]);
                inputs.push(Input::Change { change, control: MOUSE });
            }
            let name = words(key(lift));
            response.widget_info(|| egui::WidgetInfo::slider(true, point.lift, &name));
            let shown = |index: usize, value: f64| d.parameters[index].show(value);
            response.on_hover_text(format!(
                "{name}: {} from grey, lifted {}; double-click puts it back",
                shown(place, point.place),
                shown(lift, point.lift)
            ));
            if !open {
                self.addresses.push(address);
                if in_hand && std::mem::take(&mut self.reveal) {
                    ui.scroll_to_rect(rect, None);
                }
            }
        }
        if !open {
            return;
        }
        for (i, point) in CURVE_POINTS.iter().enumerate() {
            let (place, lift) = curve_point_parameters(curve, i);
            for (index, label) in [(lift, (*point).to_owned()), (place, format!("{point} at"))] {
                let address = format!("{base}/{}", key(index));
                self.parameter(ui, address, &d.parameters[index], &label, stage.values[index], inputs);
            }
        }
    }

    /// The curves' names: which one the graph shows; a dot beside those that do something.
    fn choose_curve(&mut self, ui: &mut Ui, stage: &Stage) {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 10.0;
            for (i, name) in CURVE_NAMES.iter().enumerate() {
                let acts = curve_points(&stage.values, i).iter().any(|p| p.lift != 0.0);
                let text = if acts { format!("{name} •") } else { (*name).to_owned() };
                let ink = if i == self.curve { look::BRIGHT } else { look::QUIET };
                let text = RichText::new(text).size(11.0).color(ink);
                let response = ui.add(egui::Label::new(text).selectable(false).sense(Sense::click()));
                response.widget_info(|| {
                    egui::WidgetInfo::selected(egui::Role::Button, true, i == self.curve, *name)
                });
                if response.clicked() {
                    self.curve = i;
                }
            }
        });
    }
}

fn paint(ui: &Ui, scale: &Scale, stage: &Stage, curve: usize) {
    let rect = scale.rect.expand(1.0);
    let p = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    p.rect_filled(rect, 2.0, look::BAR);
    let thin = Stroke::new(1.0, look::LINE);
    // Grey, in and out, and the line on which nothing is lifted.
    p.vline(scale.at(0.0, 0.0).x, rect.y_range(), thin);
    p.hline(rect.x_range(), scale.at(0.0, 0.0).y, thin);
    p.line_segment([scale.at(scale.from, scale.from), scale.at(scale.to, scale.to)], thin);
    let draw = |points: &[CurvePoint; 5], ink| {
        let line = (0..=120).map(|n| {
            let stops = scale.from + (scale.to - scale.from) * f64::from(n) / 120.0;
            scale.at(stops, curve_height(points, stops))
        });
        p.line(line.collect(), Stroke::new(1.0, ink));
    };
    for i in (0..CURVE_NAMES.len()).filter(|i| *i != curve) {
        let points = curve_points(&stage.values, i);
        if points.iter().any(|p| p.lift != 0.0) {
            draw(&points, look::FILL);
        }
    }
    draw(&curve_points(&stage.values, curve), look::BRIGHT);
}
