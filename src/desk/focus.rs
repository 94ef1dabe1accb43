//! Where the keyboard is: which keys a widget takes, a ring around the one that has them, and the pane scrolled so that
//! it can be seen.

use egui::{Color32, EventFilter, Id, Modifiers, Pos2, Response, Stroke, StrokeKind, Ui, Vec2, vec2};
use winit::keyboard::{Key, NamedKey};

use super::look;

/// Does the interface take a key, rather than the desk? All of them while something is typed; while a widget has the
/// keyboard or a menu is open, those that move about and press; and Tab, which gives a widget the keyboard.
pub(super) fn goes_to_interface(ctx: &egui::Context, key: &Key) -> bool {
    if ctx.text_edit_focused() {
        return true;
    }
    let inside = ctx.memory(|m| m.focused().is_some()) || egui::Popup::is_any_open(ctx);
    match key {
        Key::Named(NamedKey::Tab) => true,
        Key::Named(
            NamedKey::ArrowUp
            | NamedKey::ArrowDown
            | NamedKey::ArrowLeft
            | NamedKey::ArrowRight
            | NamedKey::Enter
            | NamedKey::Space
            | NamedKey::Escape,
        ) => inside,
        _ => false,
    }
}

/// The arrows that are pressed while a widget has the keyboard, to the right and up, as steps: with Shift ten at a time,
/// with Alt a tenth. They move the widget then, and not the keyboard to its neighbour.
pub(super) fn arrows(ui: &Ui, widget: &Response) -> Vec2 {
    use egui::Key::{ArrowDown, ArrowLeft, ArrowRight, ArrowUp};
    if !widget.has_focus() {
        return Vec2::ZERO;
    }
    let arrows = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..EventFilter::default() };
    ui.memory_mut(|m| m.set_focus_lock_filter(widget.id, arrows));
    let mut steps = Vec2::ZERO;
    ui.input_mut(|i| {
        // Without modifiers last: that one is content with Shift, too.
        for (modifiers, by) in [(Modifiers::SHIFT, 10.0), (Modifiers::ALT, 0.1), (Modifiers::NONE, 1.0)] {
            let mut count = |key| by * i.count_and_consume_key(modifiers, key) as f32;
            let (right, left, up, down) =
                (count(ArrowRight), count(ArrowLeft), count(ArrowUp), count(ArrowDown));
            steps += vec2(right - left, up - down);
        }
    });
    steps
}

/// Draws the ring, over whatever the widget draws itself. A field shows its own cursor.
pub(super) fn ring(ctx: &egui::Context) {
    let Some(id) = ctx.memory(|m| m.focused()) else { return };
    if ctx.text_edit_focused() {
        return;
    }
    let Some(widget) = ctx.read_response(id) else { return };
    // Of what lies partly outside its pane only the part that is seen.
    let seen = widget.interact_rect;
    if !seen.is_positive() {
        return;
    }
    let painter = ctx.layer_painter(widget.layer_id);
    painter.rect_stroke(seen.expand(1.0), 3.0, Stroke::new(2.0, look::BRIGHT), StrokeKind::Middle);
}

/// Scrolls the pane that is being drawn to the widget that has just got the keyboard, if it is in there.
pub(super) fn follow(ui: &Ui, last: &mut Option<Id>) {
    let focused = ui.memory(|m| m.focused());
    if focused == std::mem::replace(last, focused) {
        return;
    }
    let widget = focused.and_then(|id| ui.ctx().read_response(id));
    if let Some(widget) = widget.filter(|w| w.layer_id == ui.layer_id())
        && ui.min_rect().x_range().contains(widget.rect.center().x)
    {
        ui.scroll_to_rect(widget.rect, None);
    }
}

/// The place in a picture that arrows have moved to, from its middle, while the picture has the keyboard: ten points a press,
/// with Shift a hundred, with Alt one.
pub(super) fn crosshair(ui: &Ui, picture: &Response) -> Option<Pos2> {
    if !picture.has_focus() {
        return None;
    }
    let place = picture.rect;
    let id = picture.id.with("crosshair");
    // As a share of the picture, so that it stays when the window changes.
    let was = ui.data(|d| d.get_temp::<Vec2>(id)).unwrap_or(Vec2::splat(0.5));
    let steps = arrows(ui, picture) * 10.0;
    let at = place.clamp(place.min + was * place.size() + vec2(steps.x, -steps.y));
    ui.data_mut(|d| d.insert_temp(id, (at - place.min) / place.size().max(Vec2::splat(1.0))));
    let p = ui.painter();
    for (width, ink) in [(3.0, Color32::BLACK), (1.0, look::BRIGHT)] {
        for (from, to) in [(5.0, 16.0), (-5.0, -16.0)] {
            p.hline(at.x + f32::min(from, to)..=at.x + f32::max(from, to), at.y, Stroke::new(width, ink));
            p.vline(at.x, at.y + f32::min(from, to)..=at.y + f32::max(from, to), Stroke::new(width, ink));
        }
    }
    Some(at)
}
