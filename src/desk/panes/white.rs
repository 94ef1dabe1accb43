//! The white balance's line on the light path, and what its rows say besides their numbers.

use egui::{Align, Layout, RichText, Ui};

use super::super::look;
use crate::colour::light_temperature;
use crate::engine::{Command, Input};
use crate::picture::{Balance, BalanceField};

/// Above warmth and tint: what they are about, and the way to have them set by a patch.
pub(super) fn line(ui: &mut Ui, picking: bool, inputs: &mut Vec<Input>) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("white balance").size(12.0).color(look::QUIET))
            .on_hover_text("Light of the temperature and Duv below becomes white.");
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let button = egui::Button::new(RichText::new("pick a neutral").size(11.0)).selected(picking);
            let about = "Then click a patch of the picture that was grey in the scene (N)";
            if ui.add(button).on_hover_text(about).clicked() {
                inputs.push(Input::Command(Command::TogglePicking));
            }
        });
    });
}

/// A label with the absolute value that a shift leads to; `None` for parameters that are no shift.
pub(super) fn label(field: BalanceField, balance: &Balance) -> Option<String> {
    let (kelvin, duv) = light_temperature(balance.get(BalanceField::Warmth), balance.get(BalanceField::Tint));
    match field {
        BalanceField::Warmth => Some(format!("warmth   {kelvin:.0} K")),
        BalanceField::Tint => Some(format!("tint   Duv {duv:+.4}")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use egui::{Event, Modifiers, PointerButton, Pos2, RawInput, Rect, pos2, vec2};

    use super::*;

    #[test]
    fn the_button_asks_for_a_patch() {
        let egui = egui::Context::default();
        let mut asked = Vec::new();
        let mut frame = |events: Vec<Event>| {
            let screen = Rect::from_min_size(Pos2::ZERO, vec2(270.0, 30.0));
            let raw = RawInput { screen_rect: Some(screen), events, ..Default::default() };
            egui.clone().run_ui(raw, |ui| line(ui, false, &mut asked)).textures_delta.clear();
            std::mem::take(&mut asked)
        };
        frame(Vec::new());
        let at = pos2(230.0, 10.0);
        let button = |pressed| Event::PointerButton {
            pos: at,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        };
        assert!(frame(vec![Event::PointerMoved(at)]).is_empty());
        assert!(frame(vec![button(true)]).is_empty());
        let asked = frame(vec![button(false)]);
        assert!(matches!(asked[..], [Input::Command(Command::TogglePicking)]), "{asked:?}");
    }

    #[test]
    fn shifts_are_told_with_what_they_lead_to() {
        let still = Balance::default();
        assert_eq!(label(BalanceField::Warmth, &still).unwrap(), "warmth   6000 K");
        assert_eq!(label(BalanceField::Tint, &still).unwrap(), "tint   Duv +0.0032");
        assert_eq!(label(BalanceField::Exposure, &still), None);
        // 10⁶ over 166.665 + 145.835 mired, as a lamp of 3200 K is.
        let lamp = still.with(BalanceField::Warmth, -145.835).with(BalanceField::Tint, 5.0);
        assert_eq!(label(BalanceField::Warmth, &lamp).unwrap(), "warmth   3200 K");
        assert_eq!(label(BalanceField::Tint, &lamp).unwrap(), "tint   Duv -0.0018");
    }
}
