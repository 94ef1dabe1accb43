//! The keys by groups, and what each control of the panels does now, over everything else.

use std::time::{Duration, Instant};

use egui::{Align2, Frame, Id, Margin, Order, RichText, ScrollArea, Stroke, Ui, Vec2};

use super::super::keys::KEYS;
use super::super::look;
use crate::engine::{self, Snapshot};
use crate::panel::{Map, PANEL_ACTIONS, Target};

/// A key that is held longer than this shows the overlay while it is held; a shorter one until it is pressed again.
const HELD: Duration = Duration::from_millis(500);

/// Is it on view, and why?
#[derive(Clone, Copy, Debug, Default)]
pub(in super::super) struct Overlay {
    /// Is it?
    pub shown: bool,
    pressed: Option<Instant>,
}

impl Overlay {
    /// Its key went down.
    pub fn press(&mut self) {
        self.shown = !self.shown;
        self.pressed = self.shown.then(Instant::now);
    }

    /// Its key came up.
    pub fn release(&mut self) {
        if self.pressed.take().is_some_and(|since| since.elapsed() > HELD) {
            self.shown = false;
        }
    }

    /// Draws it, if it is on view.
    pub fn draw(&self, ui: &Ui, s: &Snapshot) {
        if !self.shown {
            return;
        }
        let groups: Vec<Group> = keys().into_iter().chain(panels(s)).collect();
        let screen = ui.ctx().content_rect();
        let room = screen.size() - Vec2::splat(40.0);
        let frame = Frame::NONE
            .fill(look::PANE)
            .stroke(Stroke::new(1.0, look::FILL))
            .corner_radius(4.0)
            .inner_margin(Margin::same(14));
        let area = egui::Area::new(Id::unique("keys")).order(Order::Foreground);
        area.anchor(Align2::CENTER_CENTER, Vec2::ZERO).show(ui.ctx(), |ui| {
            frame.show(ui, |ui| {
                let columns = ((room.x / COLUMN) as usize).clamp(1, 4);
                let width = (room.x - 28.0).min(columns as f32 * (COLUMN + 40.0));
                ui.set_width(width);
                ScrollArea::vertical().max_height(room.y - 28.0).min_scrolled_height(room.y - 28.0).show(
                    ui,
                    |ui| {
                        ui.columns(columns, |columns| {
                            let shared = share(groups, columns.len());
                            for (column, groups) in columns.iter_mut().zip(shared) {
                                groups.iter().for_each(|group| group.draw(column));
                            }
                        });
                    },
                );
            });
        });
    }
}

/// Width of a column, about.
const COLUMN: f32 = 330.0;

/// A heading and what stands under it: a key or control, and what it does.
struct Group {
    title: String,
    lines: Vec<(String, String)>,
}

impl Group {
    fn draw(&self, ui: &mut Ui) {
        ui.label(RichText::new(&self.title).size(14.0).color(look::BRIGHT));
        let width = ui.available_width();
        let keys = (width * 0.34).min(120.0);
        for (key, what) in &self.lines {
            ui.horizontal_top(|ui| {
                let cell = |ui: &mut Ui, width: f32, text: &str, ink| {
                    ui.allocate_ui_with_layout(
                        Vec2::new(width, 0.0),
                        egui::Layout::top_down(egui::Align::Min),
                        |ui| {
                            ui.set_width(width);
                            ui.add(egui::Label::new(RichText::new(text).size(12.0).color(ink)).wrap());
                        },
                    );
                };
                cell(ui, keys, key, look::TEXT);
                cell(ui, width - keys - 16.0, what, look::QUIET);
            });
        }
        ui.add_space(12.0);
    }

    /// How high it is, in lines.
    fn height(&self) -> usize {
        let lines =
            self.lines.iter().map(|(key, what)| (key.len().div_ceil(18)).max(what.len().div_ceil(38)));
        lines.sum::<usize>() + 3
    }
}

/// Groups in their order, shared among so many columns of much the same height.
fn share(groups: Vec<Group>, columns: usize) -> Vec<Vec<Group>> {
    let all: usize = groups.iter().map(Group::height).sum();
    let each = all.div_ceil(columns.max(1));
    let mut shared: Vec<Vec<Group>> = (0..columns.max(1)).map(|_| Vec::new()).collect();
    let (mut column, mut height) = (0, 0);
    for group in groups {
        // One that would stand more over the end than in the column begins the next.
        if height > 0 && height + group.height() / 2 > each && column + 1 < shared.len() {
            (column, height) = (column + 1, 0);
        }
        height += group.height();
        shared[column].push(group);
    }
    shared
}

/// The keys; a line without a key is a heading.
fn keys() -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (key, what) in KEYS {
        match (key.is_empty(), groups.last_mut()) {
            (false, Some(group)) => group.lines.push(((*key).to_owned(), (*what).to_owned())),
            (true, _) => groups.push(Group { title: (*what).to_owned(), lines: Vec::new() }),
            (false, None) => groups.push(Group {
                title: "keys".to_owned(),
                lines: vec![((*key).to_owned(), (*what).to_owned())],
            }),
        }
    }
    groups
}

/// The panel on view as it is now, then the others as their maps have them.
fn panels(s: &Snapshot) -> Vec<Group> {
    let panel = &s.panel;
    let mut groups = Vec::new();
    let reads = |targets: &[Target]| {
        let now = targets.first().and_then(|target| s.reading(&target.address));
        let now = now.map_or("not in this show".to_owned(), |(text, _)| text);
        format!("{}: {now}", addresses(targets))
    };
    let controls = panel.controls.iter().map(|c| (c.label.to_string(), reads(&c.targets)));
    let standing = [panel.standing.page.as_deref(), panel.standing.bank.as_deref()];
    let now: Vec<&str> = standing.into_iter().flatten().collect();
    let now = if now.is_empty() { String::new() } else { format!(", {}", now.join(", ")) };
    let mut add = |title: String, lines: Vec<(String, String)>| {
        if !lines.is_empty() {
            groups.push(Group { title, lines });
        }
    };
    add(format!("{}{now}: controls", panel.map), controls.collect());
    let buttons = panel.buttons.iter().map(|b| (b.label.to_string(), does(&b.action)));
    add(format!("{}{now}: buttons", panel.map), buttons.collect());
    for map in panel.maps.iter().filter(|map| map.name != panel.map) {
        let place = |label: &str, bank: Option<usize>| match bank.and_then(|bank| map.banks.get(bank)) {
            Some(bank) => format!("{label} ({})", bank.name),
            None => label.to_owned(),
        };
        let Map { controls, buttons, .. } = &**map;
        let controls = controls.iter().map(|c| (place(&c.label, c.bank), addresses(&c.targets)));
        add(format!("{}: controls", map.name), controls.collect());
        let buttons = buttons.iter().map(|b| (place(&b.label, b.bank), does(&b.action)));
        add(format!("{}: buttons", map.name), buttons.collect());
    }
    groups
}

/// What a control moves, as a person reads it.
fn addresses(targets: &[Target]) -> String {
    let mut names: Vec<String> = Vec::new();
    for target in targets {
        let name = target.address.replace(['/', '-'], " ");
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.join(", ")
}

/// What an action's name stands for.
fn does(action: &str) -> String {
    let own = || PANEL_ACTIONS.iter().find(|(name, _)| *name == action).map(|(_, doc)| *doc);
    engine::action(action).map(|a| a.doc).or_else(own).unwrap_or(action).to_owned()
}
