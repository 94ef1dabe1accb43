//! A LUT's rows: its file, what it expects and gives, what its bake costs.

use egui::{RichText, Ui};

use super::super::look;
use super::super::luts::Wish;
use super::light_path::choose;
use crate::colour::{ENCODINGS, Encoding, Space};
use crate::look::{List, NamedLut, Said, Side};

/// At the head of each menu: nobody says anything.
const UNSAID: (&str, &str) = ("not said", "what the file says of itself, else acescct");

/// Draws the rows of the LUT at a place; what was asked for.
pub(super) fn rows(ui: &mut Ui, list: List, at: usize, lut: &NamedLut) -> Option<Wish> {
    let small = |text: String, ink| RichText::new(text).size(11.0).color(ink);
    let name = lut.file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let mut about = lut.file.display().to_string();
    if let Some(text) = lut.descriptors_text() {
        about = format!("{about}\n{text}");
    }
    ui.label(small(name, look::QUIET)).on_hover_text(about);
    let mut said = [lut.expects.by_hand(), lut.gives.by_hand()];
    let before = said;
    ui.push_id((list.key(), at, "lut"), |ui| {
        ui.horizontal(|ui| {
            let sides = [("expects", lut.expects), ("gives", lut.gives)];
            for ((key, side), said) in sides.into_iter().zip(&mut said) {
                ui.label(small(key.to_owned(), look::QUIET));
                if let Some(chosen) = menu(ui, key, side) {
                    *said = chosen.map(Space::Encoding);
                }
            }
        });
    });
    let assumed = [lut.expects, lut.gives].map(|side| side.said == Said::Assumed);
    if assumed.contains(&true) {
        let what = match assumed {
            [true, true] => "acescct is assumed",
            [true, false] => "what it expects is assumed",
            _ => "what it gives is assumed",
        };
        ui.label(small(format!("{what}: nothing says otherwise"), look::QUIET));
    }
    if let (Some(text), Some(bake)) = (lut.bake_text(), &lut.bake) {
        ui.label(small(text, if bake.is_coarse() { look::WARN } else { look::QUIET }));
    }
    (said != before).then(|| Wish { stage: Some((list, at)), file: lut.file.clone(), said })
}

/// A side's menu: scene encodings, and that nobody says anything. What was chosen.
fn menu(ui: &mut Ui, key: &str, side: Side) -> Option<Option<&'static Encoding>> {
    let scene: Vec<_> = ENCODINGS.iter().filter(|e| Space::Encoding(e).scene().is_some()).collect();
    let entries = std::iter::once(UNSAID).chain(scene.iter().map(|e| (e.id, e.name)));
    choose(ui, key, side.space.id(), entries).map(|i| i.checked_sub(1).and_then(|i| scene.get(i).copied()))
}
