//! Text in a room of a given width.

use egui::text::{LayoutJob, TextFormat};
use egui::{Align2, Color32, FontId, Painter, Pos2};

/// Draws a line of text that ends in … where the room does. False if it was cut.
pub(super) fn elided(
    p: &Painter,
    at: Pos2,
    anchor: Align2,
    text: &str,
    size: f32,
    ink: Color32,
    room: f32,
) -> bool {
    let format = TextFormat { font_id: FontId::proportional(size), color: ink, ..Default::default() };
    let mut job = LayoutJob::single_section(text.to_owned(), format);
    job.wrap.max_width = room.max(0.0);
    job.wrap.max_rows = 1;
    job.wrap.break_anywhere = true;
    job.break_on_newline = false;
    let galley = p.layout_job(job);
    let whole = !galley.elided;
    let rect = anchor.anchor_size(at, galley.size());
    p.galley(rect.min, galley, ink);
    whole
}
