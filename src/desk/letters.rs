//! The letters that the desk can write.

use egui::{FontDefinitions, FontFamily};

/// The fonts: arrows and rings come from the one with letters of one width.
pub(super) fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    let both = fonts.families.get_mut(&FontFamily::Proportional);
    both.expect("a family that is always there").push("Hack".to_owned());
    fonts
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use egui::FontId;
    use egui::epaint::text::{Fonts, TextOptions};

    use super::*;

    /// Letters beyond ASCII in what the rooms that the desk shows say, with the file that says them.
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
    fn every_letter_has_a_shape() {
        let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut letters = Vec::new();
        for room in ["colour", "desk", "engine", "look", "media", "panel", "picture", "scope", "show"] {
            said(&src.join(room), &mut letters);
        }
        assert!(letters.iter().any(|(c, _)| *c == '…'), "none were found");
        let mut fonts = Fonts::new(TextOptions::default(), fonts());
        let font = FontId::proportional(12.0);
        // One is drawn.
        letters.retain(|(c, _)| !super::super::glyphs::SIGN.contains(*c));
        letters.retain(|(c, _)| !fonts.with_pixels_per_point(1.0).has_glyph(&font, *c));
        letters.sort();
        letters.dedup();
        assert_eq!(letters, []);
    }
}
