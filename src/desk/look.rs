//! How the desk looks: neutral greys near the picture, one size of text, nothing saturated.

use egui::{Color32, CornerRadius, FontId, Stroke, TextStyle};

/// Behind the panes.
pub(super) const PANE: Color32 = Color32::from_gray(30);
/// The same as a window is cleared to.
pub(super) fn pane() -> wgpu::Color {
    let v = f64::from(PANE.r()) / 255.0;
    wgpu::Color { r: v, g: v, b: v, a: 1.0 }
}

/// Behind traces.
pub(super) const SCOPE: Color32 = Color32::from_gray(14);
/// Lines between things, and the light path itself.
pub(super) const LINE: Color32 = Color32::from_gray(58);
/// Text to read.
pub(super) const TEXT: Color32 = Color32::from_gray(205);
/// Text that explains.
pub(super) const QUIET: Color32 = Color32::from_gray(168);
/// The thing in hand.
pub(super) const BRIGHT: Color32 = Color32::from_gray(240);
/// A bar's body, and what of it is filled.
pub(super) const BAR: Color32 = Color32::from_gray(42);
/// The filled part of a bar.
pub(super) const FILL: Color32 = Color32::from_gray(82);
/// Behind a row that the pointer is on.
pub(super) const HOVER: Color32 = Color32::from_gray(36);
/// Something is wrong: told by its mark and words, too, not by colour alone.
pub(super) const WARN: Color32 = Color32::from_rgb(214, 190, 140);

/// Sets the style.
pub(super) fn apply(ctx: &egui::Context) {
    super::glyphs::apply(ctx);
    ctx.set_theme(egui::Theme::Dark);
    // The desk has keys of its own for that, and remembers it.
    ctx.options_mut(|o| o.zoom_with_keyboard = false);
    ctx.all_styles_mut(|style| {
        style.text_styles = [
            (TextStyle::Heading, FontId::proportional(14.0)),
            (TextStyle::Body, FontId::proportional(13.0)),
            (TextStyle::Button, FontId::proportional(13.0)),
            (TextStyle::Small, FontId::proportional(11.0)),
            (TextStyle::Monospace, FontId::monospace(13.0)),
        ]
        .into();
        style.spacing.item_spacing = egui::vec2(6.0, 4.0);
        // Beside what it scrolls, not over it.
        style.spacing.scroll =
            egui::style::ScrollStyle { bar_width: 6.0, ..egui::style::ScrollStyle::solid() };
        let v = &mut style.visuals;
        v.panel_fill = PANE;
        v.window_fill = PANE;
        v.override_text_color = None;
        v.selection.bg_fill = Color32::from_gray(70);
        v.selection.stroke = Stroke::new(1.0, BRIGHT);
        v.widgets.noninteractive.fg_stroke = Stroke::new(1.0, TEXT);
        v.widgets.noninteractive.bg_stroke = Stroke::new(1.0, LINE);
        for w in [&mut v.widgets.inactive, &mut v.widgets.hovered, &mut v.widgets.active, &mut v.widgets.open]
        {
            w.corner_radius = CornerRadius::same(2);
            w.fg_stroke = Stroke::new(1.0, TEXT);
            w.bg_stroke = Stroke::NONE;
            w.weak_bg_fill = BAR;
            w.bg_fill = BAR;
        }
        v.widgets.hovered.weak_bg_fill = Color32::from_gray(54);
        v.widgets.active.weak_bg_fill = Color32::from_gray(66);
        v.widgets.hovered.fg_stroke = Stroke::new(1.0, BRIGHT);
    });
}
