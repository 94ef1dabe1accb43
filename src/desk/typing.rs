//! A value that is being typed into a row.

use std::sync::Arc;

use egui::text::{CCursor, CCursorRange};
use egui::text_edit::TextEditState;
use egui::{Id, Key, Rect, RichText, TextEdit, Ui};

use super::look;
use crate::look::Parameter;

/// What is being typed, and for which address.
#[derive(Clone, Debug)]
pub(super) struct Typing {
    /// The parameter's address.
    pub address: Arc<str>,
    /// What stands there by now.
    pub text: String,
    /// Why what was entered was refused.
    pub refused: Option<String>,
    /// Had its row the keyboard, so that it gets it back from Enter?
    pub back: bool,
    /// Is all of it marked at the beginning, so that the first letter replaces it?
    marked: bool,
    begun: bool,
}

/// What became of it in this frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Typed {
    /// Still being typed.
    Going,
    /// Entered, and it means this.
    Value(f64),
    /// Left.
    Left,
}

impl Typing {
    /// Begins: with what a hand typed already, or with the value that is there, all marked.
    pub fn new(address: Arc<str>, first: Option<char>, shown: String) -> Self {
        let (text, marked) = match first {
            Some(c) => (c.to_string(), false),
            None => (shown, true),
        };
        Self { address, text, refused: None, back: false, marked, begun: false }
    }

    /// The field in its place. Enter and Tab take what stands there, Esc and a click elsewhere leave it.
    pub fn field(&mut self, ui: &mut Ui, rect: Rect, parameter: &Parameter, label: &str) -> Typed {
        let id = Id::unique(("typing", &*self.address));
        if !self.begun {
            self.marked &= early_letters(ui, id, &mut self.text).is_empty();
        }
        let field = TextEdit::singleline(&mut self.text)
            .id(id)
            .font(egui::FontId::proportional(12.0))
            .align(egui::Align2::RIGHT_CENTER)
            .margin(egui::Margin::symmetric(6, 1));
        let response = ui.put(rect, field);
        response.widget_info(|| {
            egui::WidgetInfo::labeled(egui::Role::TextInput, true, format!("value of {label}"))
        });
        if !std::mem::replace(&mut self.begun, true) {
            response.request_focus();
            let end = self.text.chars().count();
            let from = if self.marked { 0 } else { end };
            let mut state = TextEditState::load(ui, id).unwrap_or_default();
            state.cursor.set_char_range(Some(CCursorRange::two(CCursor::new(from), CCursor::new(end))));
            state.store(ui, id);
            return Typed::Going;
        }
        if !response.lost_focus() {
            if response.changed() {
                self.refused = None;
            }
            return Typed::Going;
        }
        let (enter, tab) = ui.input(|i| (i.key_pressed(Key::Enter), i.key_pressed(Key::Tab)));
        if !enter && !tab {
            return Typed::Left;
        }
        match parameter.typed(&self.text) {
            Ok(value) => {
                self.back &= enter;
                Typed::Value(value)
            }
            Err(why) => {
                self.refused = Some(why);
                response.request_focus();
                Typed::Going
            }
        }
    }

    /// Under the row: what is accepted, or why it was refused.
    pub fn hint(&self, ui: &mut Ui, parameter: &Parameter) {
        let (text, ink) = match &self.refused {
            Some(why) => (format!("⚠ {why}"), look::WARN),
            None => (format!("{}; Enter sets it", parameter.accepted()), look::QUIET),
        };
        ui.add(egui::Label::new(RichText::new(text).size(11.0).color(ink)).wrap());
    }
}

/// Letters that were typed before a field has the keyboard, which would be lost: they are put at the end of its text, and
/// its cursor after them.
pub(super) fn early_letters(ui: &Ui, field: Id, text: &mut String) -> String {
    let letters: String = ui.input(|i| {
        let typed = i.events.iter().filter_map(|event| match event {
            egui::Event::Text(letters) => Some(letters.as_str()),
            _ => None,
        });
        typed.collect()
    });
    if !letters.is_empty() {
        text.push_str(&letters);
        let end = CCursor::new(text.chars().count());
        let mut state = TextEditState::load(ui, field).unwrap_or_default();
        state.cursor.set_char_range(Some(CCursorRange::one(end)));
        state.store(ui, field);
    }
    letters
}
