//! The list on the desk: a field, what it finds, and a line about what is marked.

use std::sync::Arc;

use egui::{
    Align, Align2, EventFilter, Frame, Id, Key, Margin, Modifiers, Order, RichText, ScrollArea, Sense,
};
use egui::{Stroke, TextEdit, TextWrapMode, Ui, Vec2, WidgetText, pos2, vec2};

use super::super::keys::Action;
use super::super::look;
use super::super::typing::early_letters;
use super::entries::{Does, Entry, entries};
use super::search::search;
use super::{Finder, Hit};
use crate::engine::{Input, Snapshot, known_target};

/// What the list asks for.
#[derive(Clone, Debug)]
pub(in super::super) enum Outcome {
    /// It closes, and nothing is done.
    Leave,
    /// An action of the engine.
    Engine(&'static str),
    /// One of the desk's.
    Desk(Action),
    /// A parameter is put at a value; its row comes into hand.
    Set {
        /// Its address.
        address: Arc<str>,
        /// In its own unit.
        value: f64,
        /// Its row.
        row: Option<Arc<str>>,
    },
    /// A control or button of a panel is to be learned for an address or an action.
    Learn(Arc<str>),
    /// The engine is told this.
    Send(Vec<Input>),
}

/// Across, at most.
const WIDTH: f32 = 700.0;
/// Height of what is found, at most.
const HEIGHT: f32 = 430.0;
/// Of an entry: its name, and a line about it.
const ENTRY: f32 = 36.0;
/// How far Page up and Page down go.
const PAGE: isize = 8;

impl Finder {
    /// Draws it over everything else. What it asks for, once; a parameter that was chosen without a value comes into hand by
    /// `take`, and its value is asked for.
    pub fn draw(
        &mut self,
        ctx: &egui::Context,
        s: &Snapshot,
        take: &mut Option<Arc<str>>,
    ) -> Option<Outcome> {
        let all = entries(s);
        let screen = ctx.content_rect();
        let width = WIDTH.min(screen.width() - 24.0);
        let area = egui::Area::new(Id::unique("list of everything"))
            .order(Order::Foreground)
            .anchor(Align2::CENTER_TOP, vec2(0.0, (screen.height() * 0.06).min(48.0)));
        let frame = Frame::NONE
            .fill(look::PANE)
            .stroke(Stroke::new(1.0, look::FILL))
            .corner_radius(4.0)
            .inner_margin(Margin::same(10));
        let shown = area.show(ctx, |ui| {
            frame
                .show(ui, |ui| {
                    ui.set_width(width - 20.0);
                    let height = HEIGHT.min(screen.height() - 150.0).max(2.0 * ENTRY);
                    match self.asking.clone() {
                        Some(address) => self.ask(ui, &all, &address),
                        None => self.list(ui, &all, height, take),
                    }
                })
                .inner
        });
        shown.inner
    }

    /// The field, what it finds, and what the marked entry is.
    fn list(
        &mut self,
        ui: &mut Ui,
        all: &[Entry],
        height: f32,
        take: &mut Option<Arc<str>>,
    ) -> Option<Outcome> {
        let keys = Keys::read(ui);
        if keys.leave {
            return Some(Outcome::Leave);
        }
        // The field first: letters and Enter may come in one frame.
        if self.field(
            ui,
            "find",
            "words of an action or a parameter, in any order; with a value: exposure 0.5",
        ) {
            (self.marked, self.reveal, self.refused) = (0, true, None);
        }
        let hits = search(all, &self.query);
        let last = hits.len().saturating_sub(1);
        self.marked = self.marked.min(last).saturating_add_signed(keys.by).min(last);
        self.reveal |= keys.by != 0;
        ui.add_space(4.0);
        let mut done = keys.enter.then_some(self.marked);
        if hits.is_empty() {
            ui.label(RichText::new("nothing is called so").color(look::QUIET));
        }
        let mut scroll = ScrollArea::vertical().max_height(height).auto_shrink([false, true]);
        if std::mem::take(&mut self.reveal) {
            // What is marked lies in the middle, as far as there is something above and below.
            let step = ENTRY + ui.spacing().item_spacing.y;
            let offset = step * self.marked as f32 - (height - ENTRY) / 2.0;
            let most = (step * hits.len() as f32 - height).max(0.0);
            scroll = scroll.vertical_scroll_offset(offset.clamp(0.0, most));
        }
        scroll.show_rows(ui, ENTRY, hits.len(), |ui, rows| {
            for at in rows {
                let marked = at == self.marked;
                if entry(ui, all, &hits[at], marked) {
                    done = Some(at);
                }
            }
        });
        if keys.learn
            && let Some(target) = hits.get(self.marked).and_then(|hit| learnable(&all[hit.at]))
        {
            return Some(Outcome::Learn(target));
        }
        if let Some(hit) = hits.get(self.marked) {
            about(ui, &all[hit.at], self.refused.as_deref());
        }
        let hit = hits.get(done?)?;
        self.marked = done?;
        self.choose(&all[hit.at], hit, take)
    }

    /// An entry was chosen.
    fn choose(&mut self, entry: &Entry, hit: &Hit, take: &mut Option<Arc<str>>) -> Option<Outcome> {
        match (&entry.does, &hit.value) {
            (Does::Parameter { row, .. }, Some((_, Ok(value)))) => {
                Some(Outcome::Set { address: entry.address.clone()?, value: *value, row: row.clone() })
            }
            (Does::Parameter { .. }, Some((_, Err(why)))) => {
                self.refused = Some(why.clone());
                None
            }
            (Does::Parameter { row, .. }, None) => {
                *take = row.clone();
                self.asking = entry.address.clone();
                (self.query, self.begun, self.refused) = (String::new(), false, None);
                None
            }
            (Does::Engine(name), _) => Some(Outcome::Engine(name)),
            (Does::Desk(action), _) => Some(Outcome::Desk(*action)),
            (Does::Send(inputs), _) => Some(Outcome::Send(inputs.clone())),
        }
    }

    /// A value for a parameter that was chosen.
    fn ask(&mut self, ui: &mut Ui, all: &[Entry], address: &Arc<str>) -> Option<Outcome> {
        let entry = all.iter().find(|entry| entry.address.as_ref() == Some(address));
        let Some((entry, Does::Parameter { parameter, row })) = entry.map(|e| (e, &e.does)) else {
            // It went with its stage.
            self.asking = None;
            return None;
        };
        let keys = Keys::read(ui);
        if keys.leave {
            (self.asking, self.begun, self.refused) = (None, false, None);
            self.query = String::new();
            return None;
        }
        ui.horizontal(|ui| {
            ui.label(RichText::new(&entry.name).color(look::BRIGHT));
            ui.label(RichText::new(format!("now {}", entry.now)).color(look::TEXT));
        });
        if self.field(ui, &format!("value of {}", entry.name), &parameter.accepted()) {
            self.refused = None;
        }
        about(ui, entry, self.refused.as_deref());
        if !keys.enter {
            return None;
        }
        match parameter.typed(&self.query) {
            Ok(value) => Some(Outcome::Set { address: address.clone(), value, row: row.clone() }),
            Err(why) => {
                self.refused = Some(why);
                None
            }
        }
    }

    /// The field, which keeps the keyboard. True if something was typed.
    fn field(&mut self, ui: &mut Ui, name: &str, hint: &str) -> bool {
        let id = Id::unique("field of the list");
        // What was typed before the field has the keyboard is for it, too.
        let early = if self.begun { String::new() } else { early_letters(ui, id, &mut self.query) };
        let field = TextEdit::singleline(&mut self.query)
            .id(id)
            .desired_width(f32::INFINITY)
            .margin(Margin::symmetric(8, 5))
            .hint_text(RichText::new(hint).color(look::QUIET));
        let response = ui.add(field);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::SearchInput, true, name));
        if !std::mem::replace(&mut self.begun, true) || !response.has_focus() {
            response.request_focus();
        }
        let all = EventFilter { tab: true, horizontal_arrows: true, vertical_arrows: true, escape: true };
        ui.memory_mut(|m| m.set_focus_lock_filter(id, all));
        response.changed() || !early.is_empty()
    }
}

/// What a control or button of a panel could be learned for.
fn learnable(entry: &Entry) -> Option<Arc<str>> {
    match &entry.does {
        Does::Engine(name) => Some((*name).into()),
        _ => entry.address.clone().filter(|address| known_target(address).is_ok()),
    }
}

/// What keys ask of the list, taken before the field sees them.
struct Keys {
    by: isize,
    enter: bool,
    leave: bool,
    learn: bool,
}

impl Keys {
    fn read(ui: &Ui) -> Self {
        ui.input_mut(|i| {
            let mut count = |modifiers, key| i.count_and_consume_key(modifiers, key) as isize;
            let back = count(Modifiers::SHIFT, Key::Tab) + count(Modifiers::NONE, Key::ArrowUp);
            let on = count(Modifiers::NONE, Key::Tab) + count(Modifiers::NONE, Key::ArrowDown);
            let pages = count(Modifiers::NONE, Key::PageDown) - count(Modifiers::NONE, Key::PageUp);
            let leave = count(Modifiers::NONE, Key::Escape)
                + count(Modifiers::NONE, Key::F10)
                + count(Modifiers::COMMAND, Key::K);
            let enter = count(Modifiers::NONE, Key::Enter);
            let learn = count(Modifiers::COMMAND, Key::M) > 0;
            Self { learn, by: on - back + PAGE * pages, enter: enter > 0, leave: leave > 0 }
        })
    }
}

/// Draws what was found; true if it was clicked.
fn entry(ui: &mut Ui, all: &[Entry], hit: &Hit, marked: bool) -> bool {
    let entry = &all[hit.at];
    let (rect, response) =
        ui.allocate_exact_size(Vec2::new(ui.available_width(), ENTRY), Sense::CLICK | Sense::HOVER);
    let p = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    if marked {
        p.rect_filled(rect, 2.0, look::LINE);
    } else if response.hovered() {
        p.rect_filled(rect, 2.0, look::BAR);
    }
    let inner = rect.shrink2(vec2(8.0, 0.0));
    let line = |text: &str, size: f32, ink, y: f32, from: f32, to: f32, right: bool| -> f32 {
        let text: WidgetText = RichText::new(text).size(size).color(ink).into();
        let room = (to - from).max(10.0);
        let galley = text.into_galley(ui, Some(TextWrapMode::Truncate), room, egui::TextStyle::Body);
        let width = galley.size().x;
        let x = if right { to - width } else { from };
        p.galley(pos2(x, y - galley.size().y / 2.0), galley, ink);
        width
    };
    let (first, second) = (rect.top() + 11.0, rect.top() + 26.0);
    let ink = if marked { look::BRIGHT } else { look::TEXT };
    let half = inner.left() + inner.width() * 0.6;
    let value = match &hit.value {
        Some((_, Ok(value))) => match &entry.does {
            Does::Parameter { parameter, .. } => format!("{} → {}", entry.now, parameter.show(*value)),
            _ => String::new(),
        },
        Some((text, Err(_))) => format!("⚠ {text}"),
        None => entry.now.clone(),
    };
    let width = line(&value, 13.0, ink, first, half, inner.right(), true);
    line(&entry.name, 13.0, ink, first, inner.left(), inner.right() - width - 12.0, false);
    let hands = hands(entry, ", ");
    let width = line(&hands, 11.0, look::QUIET, second, half, inner.right(), true);
    line(&entry.doc, 11.0, look::QUIET, second, inner.left(), inner.right() - width - 12.0, false);
    let mut name = entry.name.clone();
    if !value.is_empty() {
        name = format!("{name}, {value}");
    }
    response.widget_info(|| egui::WidgetInfo::selected(egui::Role::ListBoxOption, true, marked, &name));
    response.clicked()
}

/// Keys and panel controls.
fn hands(entry: &Entry, between: &str) -> String {
    let all = [&entry.keys, &entry.panel].into_iter().filter(|text| !text.is_empty());
    all.map(String::as_str).collect::<Vec<_>>().join(between)
}

/// Under the list: all of what is marked, or why a value was refused.
fn about(ui: &mut Ui, entry: &Entry, refused: Option<&str>) {
    ui.add_space(4.0);
    ui.separator();
    let line = |ui: &mut Ui, text: String, ink| {
        ui.add(egui::Label::new(RichText::new(text).size(12.0).color(ink)).wrap());
    };
    ui.with_layout(egui::Layout::top_down(Align::Min), |ui| {
        if let Some(why) = refused {
            line(ui, format!("⚠ {why}"), look::WARN);
        } else if !entry.doc.is_empty() {
            line(ui, entry.doc.clone(), look::TEXT);
        }
        let mut facts = Vec::new();
        if let Some(address) = &entry.address {
            facts.push(address.to_string());
        }
        if let Does::Parameter { parameter, .. } = &entry.does {
            facts.push(format!("{}, default {}", parameter.accepted(), parameter.show(parameter.default)));
        }
        if !entry.keys.is_empty() {
            facts.push(format!("key {}", entry.keys));
        }
        if !entry.panel.is_empty() {
            facts.push(format!("panel: {}", entry.panel));
        }
        if learnable(entry).is_some() {
            facts.push("Ctrl M: learn a panel's control for it".to_owned());
        }
        line(ui, facts.join("   ·   "), look::QUIET);
    });
}
