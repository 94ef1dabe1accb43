//! The letters of the desk: arrows and rings where the fonts of the interface have none, and a warning's triangle.

use std::sync::Arc;

use egui::epaint::text::{GlyphBitmap, GlyphRasterizer, RasterizedGlyph};
use egui::{Color32, ColorImage, FontDefinitions, FontFamily, Vec2, vec2};

/// The sign of a warning.
const SIGN: &str = "⚠";

/// Gives a context the fonts. Signs that the proportional font lacks come from the one with even widths, and the warning's
/// sign, which neither has, is drawn.
pub(super) fn apply(ctx: &egui::Context) {
    ctx.set_fonts(fonts());
    let key: Arc<str> = "greyhold::warning".into();
    ctx.add_glyph_rasterizer(GlyphRasterizer::new(key, |request| {
        (request.cluster == SIGN).then(|| sign(request.font_size_px, request.subpixel_offset_px))
    }));
}

fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    let even = fonts.families.get(&FontFamily::Monospace).cloned().unwrap_or_default();
    let proportional = fonts.families.entry(FontFamily::Proportional).or_default();
    for name in even {
        if !proportional.contains(&name) {
            proportional.push(name);
        }
    }
    fonts
}

/// Samples of a pixel, across and down.
const SAMPLES: usize = 4;

/// A triangle with a stroke in it, as wide as a capital is high, on the line.
fn sign(size: f32, offset: f32) -> RasterizedGlyph {
    let side = 0.86 * size;
    let pixels = side.ceil() as usize + 1;
    let coverage = |x: usize, y: usize| {
        let inside = (0..SAMPLES * SAMPLES).filter(|sample| {
            let part = |n: usize| (n as f32 + 0.5) / SAMPLES as f32;
            let at = vec2(x as f32 + part(sample % SAMPLES) - offset, y as f32 + part(sample / SAMPLES));
            is_ink(at / side)
        });
        (255 * inside.count() / (SAMPLES * SAMPLES)) as u8
    };
    let cells = (0..pixels * pixels).map(|i| coverage(i % pixels, i / pixels));
    let image = ColorImage::new([pixels, pixels], cells.map(Color32::from_white_alpha).collect());
    // The origin is on the line: the triangle stands a little below it, as an o does.
    let offset_px = vec2(0.0, -0.9 * side);
    RasterizedGlyph {
        bitmap: GlyphBitmap { image, offset_px, is_color: false },
        advance_px: side + 0.08 * size,
    }
}

/// Is a place of the unit square, from its upper left corner, ink?
fn is_ink(at: Vec2) -> bool {
    let line = 0.09;
    // How far inside the triangle with its point above: of its three edges the nearest.
    let half = (at.y - 0.04) * 0.5 / 0.9;
    let slant = (half - (at.x - 0.5).abs()) * 0.87;
    let depth = slant.min(0.94 - at.y);
    let edge = (0.0..line).contains(&depth);
    let stroke = (at.x - 0.5).abs() < 0.05 && ((0.36..0.66).contains(&at.y) || (0.72..0.81).contains(&at.y));
    edge || (depth >= line && stroke)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use egui::FontId;
    use egui::epaint::text::{Fonts, TextOptions};

    use super::*;

    /// Letters beyond ASCII in what is said in a folder, with the file that says them.
    fn said(folder: &Path, out: &mut Vec<(char, String)>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                said(&path, out);
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
            let name = path.display().to_string();
            out.extend(code.flat_map(str::chars).filter(|c| !c.is_ascii()).map(|c| (c, name.clone())));
        }
    }

    #[test]
    fn every_letter_of_the_rooms_that_the_desk_shows_has_a_shape() {
        let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut letters = Vec::new();
        for room in ["colour", "desk", "engine", "look", "media", "panel", "picture", "scope", "show"] {
            said(&src.join(room), &mut letters);
        }
        assert!(letters.iter().any(|(c, _)| *c == '…'), "none were found");
        let mut fonts = Fonts::new(TextOptions::default(), fonts());
        let font = FontId::proportional(12.0);
        letters.retain(|(c, _)| !SIGN.contains(*c) && !fonts.with_pixels_per_point(1.0).has_glyph(&font, *c));
        letters.sort();
        letters.dedup();
        assert_eq!(letters, []);
    }

    /// The sign has a ground to stand on, a point, and is empty beside its stroke.
    #[test]
    fn a_warning_is_a_triangle() {
        let drawn = sign(20.0, 0.0);
        let [width, height] = drawn.bitmap.image.size;
        let at = |x: f32, y: f32| {
            let (x, y) = ((x * 17.2) as usize, (y * 17.2) as usize);
            drawn.bitmap.image.pixels[y.min(height - 1) * width + x.min(width - 1)].a()
        };
        assert!(at(0.5, 0.5) > 100 && at(0.5, 0.9) > 100 && at(0.2, 0.9) > 100);
        assert_eq!((at(0.05, 0.1), at(0.95, 0.1), at(0.35, 0.75)), (0, 0, 0));
        assert!(drawn.advance_px > 15.0 && drawn.advance_px < 20.0);
    }
}
