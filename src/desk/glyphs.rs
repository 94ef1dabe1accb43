//! A warning's sign, which no font of the interface has: it is drawn.

use std::sync::Arc;

use egui::epaint::text::{GlyphBitmap, GlyphRasterizer, RasterizedGlyph};
use egui::{Color32, ColorImage, Vec2, vec2};

/// The sign of a warning.
pub(super) const SIGN: &str = "⚠";

/// Lets a context write the sign.
pub(super) fn apply(ctx: &egui::Context) {
    let key: Arc<str> = "greyhold::warning".into();
    ctx.add_glyph_rasterizer(GlyphRasterizer::new(key, |request| {
        (request.cluster == SIGN).then(|| sign(request.font_size_px, request.subpixel_offset_px))
    }));
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
    use super::*;

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
