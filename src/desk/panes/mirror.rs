//! The panel mirror: what each physical control does now, and a panel of its own for mouse and keys.

use egui::{Align, Layout, Rect, Response, RichText, Sense, Stroke, Ui, Vec2, pos2};

use super::super::focus::arrows;
use super::super::look;
use super::super::text::elided;
use super::{Ask, Panes};
use crate::engine::{self, Input, Learning, Reach, Snapshot, known_action, known_target};
use crate::panel::{Act, ButtonState, ControlState, Kind, Mode, PANEL_ACTIONS, Standing, Takeover};
use crate::show::Slot;

/// What hands do on the drawn panel.
#[derive(Default)]
pub(in super::super) struct Hands {
    /// The control that was taken in hand last, for the keys.
    pub taken: Option<usize>,
    /// Controls that the mouse turns, with detents for a point to the right and up.
    turning: Option<[(usize, [f64; 2]); 2]>,
    /// The button of the panel that the mouse holds down.
    pressed: Option<usize>,
    /// Of the mirror, as it was drawn last.
    height: f32,
}

impl Hands {
    /// How tall the mirror would like to be, margins included.
    pub fn height(&self) -> f32 {
        (self.height + 4.0).ceil()
    }

    /// What the mouse held is let go.
    pub fn let_go(&mut self, inputs: &mut Vec<Input>) {
        if let Some(axes) = self.turning.take() {
            inputs.push(Input::Panel(Act::Touch { control: axes[0].0, down: false }));
        }
        if let Some(button) = self.pressed.take() {
            inputs.push(Input::Panel(Act::Button { button, down: false }));
        }
    }

    /// The control in hand, if the panel has it now.
    pub fn control<'a>(&self, s: &'a Snapshot) -> Option<&'a ControlState> {
        s.panel.controls.iter().find(|c| Some(c.index) == self.taken)
    }
}

/// What has a box of its own.
enum Cell<'a> {
    /// A ball's axes, to the right and away.
    Ball(&'a ControlState, &'a ControlState),
    One(&'a ControlState),
}

impl Panes {
    /// A box for each control: what it moves, where that stands, whether it has been picked up; and one for each button:
    /// what it does, and whether it is down. The mouse turns and presses them as a hand does those of a real panel.
    pub(super) fn mirror(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        let shown = egui::ScrollArea::vertical()
            .auto_shrink([false, false])
            .show(ui, |ui| ui.scope(|ui| self.mirrored(ui, s, inputs)).response.rect.height());
        self.turn(ui, inputs);
        // The pane fits itself to what is in it one frame later.
        let height = shown.inner;
        if std::mem::replace(&mut self.hands.height, height) != height {
            ui.ctx().request_repaint();
        }
    }

    fn mirrored(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        let panel = &s.panel;
        self.head(ui, s, inputs);
        if let Some(learning) = &panel.learning {
            self.learning(ui, learning, inputs);
        }
        let row = ui.available_width();
        let cells = cells(&panel.controls);
        let (columns, width) = columns(cells.len(), row);
        for cells in cells.chunks(columns) {
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = GAP;
                for cell in cells {
                    match cell {
                        Cell::Ball(across, away) => self.ball_box(ui, s, [across, away], width, inputs),
                        Cell::One(control) => self.control_box(ui, s, control, width, inputs),
                    }
                }
            });
        }
        let (columns, width) = self::columns(panel.buttons.len(), row);
        for buttons in panel.buttons.chunks(columns) {
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = GAP;
                for button in buttons {
                    self.button_box(ui, button, width, inputs);
                }
            });
        }
        ui.add_space(3.0);
    }

    /// Map, ports, what is in force, what went wrong; banks can be chosen.
    fn head(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        let panel = &s.panel;
        let foot = Layout::right_to_left(Align::Center);
        ui.allocate_ui_with_layout(Vec2::new(ui.available_width(), 16.0), foot, |ui| {
            if panel.learning.is_none() {
                self.learn_button(ui, inputs);
            }
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| self.heading(ui, s, inputs));
        });
    }

    /// What begins to learn a control.
    fn learn_button(&self, ui: &mut Ui, inputs: &mut Vec<Input>) {
        let fits = known_target(&self.in_hand).is_ok();
        let learn = egui::Button::new(RichText::new("learn").size(11.0)).small();
        let about = format!("a control of a panel that is to move {} (M)", self.in_hand);
        let no = format!("no control can move {}: take another parameter in hand", self.in_hand);
        if ui.add_enabled(fits, learn).on_hover_text(about).on_disabled_hover_text(no).clicked() {
            inputs.push(Input::Learn { target: Some(self.in_hand.clone()) });
        }
    }

    fn heading(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        let panel = &s.panel;
        let said = |ui: &mut Ui, text: &str, ink| {
            let label = egui::Label::new(RichText::new(text).size(11.0).color(ink));
            ui.add(label.truncate())
        };
        let ports =
            if panel.ports.is_empty() { "no panel connected".to_owned() } else { panel.ports.join(", ") };
        said(ui, &panel.map, look::TEXT);
        said(ui, &ports, look::QUIET);
        if panel.drawn {
            let about = "Drag a box or turn the wheel on it, click buttons: they do what a panel's would. \
                             F2 … F9 turn the first eight controls up, with Shift down; − and = the one in hand.";
            said(ui, "mouse and keys", look::QUIET).on_hover_text(about);
        }
        for absent in &panel.absent {
            said(ui, &format!("{absent}: absent"), look::WARN);
        }
        if let Some(page) = &panel.standing.page {
            said(ui, page, look::BRIGHT);
        }
        for (at, bank) in (0..).zip(&panel.banks) {
            let ink = if panel.standing.bank.as_ref() == Some(bank) { look::BRIGHT } else { look::QUIET };
            let name = egui::Label::new(RichText::new(&**bank).size(11.0).color(ink));
            let name = ui.add(name.sense(Sense::click())).on_hover_text("this bank");
            if name.clicked() {
                inputs.push(Input::Panel(Act::Bank(at)));
            }
        }
        for word in words(&panel.standing) {
            said(ui, &word, look::BRIGHT);
        }
        if let Some(note) = &panel.note {
            said(ui, note, look::WARN);
        }
        if panel.overruns > 0 {
            said(ui, &format!("⚠ {} messages lost", panel.overruns), look::WARN);
        }
    }

    /// What is recognised so far of a control that is to be learned.
    fn learning(&mut self, ui: &mut Ui, learning: &Learning, inputs: &mut Vec<Input>) {
        ui.horizontal_wrapped(|ui| {
            let target = format!("learning {}:", learning.target);
            ui.label(RichText::new(target).size(11.0).color(look::BRIGHT));
            let (what, ink) = recognised(learning);
            ui.label(RichText::new(what).size(11.0).color(ink));
            let small = |text: &str| egui::Button::new(RichText::new(text).size(11.0)).small();
            let sure = learning.guess.is_some_and(|guess| guess.need.is_none())
                && learning.conflict.is_none()
                && unfit(learning).is_none();
            if sure && ui.add(small("keep it")).on_hover_text("in this panel's map").clicked() {
                self.asks.push(Ask::KeepControl);
            }
            if ui.add(small("leave it")).on_hover_text("Esc").clicked() {
                inputs.push(Input::Learn { target: None });
            }
        });
    }

    fn button_box(&mut self, ui: &mut Ui, button: &ButtonState, width: f32, inputs: &mut Vec<Input>) {
        let (rect, response) = place(ui, ("panel button", button.index), Vec2::new(width, 30.0));
        let p = ui.painter().with_clip_rect(rect);
        let ground = match (button.down, response.hovered()) {
            (true, _) => look::FILL,
            (_, true) => look::LINE,
            _ => look::BAR,
        };
        p.rect_filled(rect, 2.0, ground);
        let at = |y| pos2(rect.left() + 5.0, rect.top() + y);
        let (label, does) = if button.down { (look::TEXT, look::BRIGHT) } else { (look::QUIET, look::TEXT) };
        let room = rect.width() - 10.0;
        elided(&p, at(8.0), egui::Align2::LEFT_CENTER, &button.label, 11.0, label, room);
        let action = button.action.replace('-', " ");
        elided(&p, at(21.0), egui::Align2::LEFT_CENTER, &action, 12.0, does, room);
        let name = format!("{}: {}", button.label, button.action);
        response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, button.down, &name));
        // By the keyboard, or by an assistive program: pressed and let go.
        if response.clicked() && !ui.input(|i| i.pointer.any_released() || i.pointer.any_pressed()) {
            let press = |down| Input::Panel(Act::Button { button: button.index, down });
            match stays(button) {
                true => inputs.push(press(!button.down)),
                false => inputs.extend([true, false].map(press)),
            }
        } else if pressed(ui, &response) {
            // One mouse cannot hold one thing and turn another: what is held for others stays down until the next click.
            let down = if stays(button) { !button.down } else { true };
            self.hands.pressed = (!stays(button)).then_some(button.index);
            inputs.push(Input::Panel(Act::Button { button: button.index, down }));
        }
        let own = PANEL_ACTIONS.iter().find(|(name, _)| *name == &*button.action).map(|(_, doc)| *doc);
        let doc = engine::action(&button.action).map(|action| action.doc).or(own).unwrap_or_default();
        let held = if stays(button) { "\na click holds it down, another lets it go" } else { "" };
        let about = format!("{doc}{held}");
        if !about.is_empty() {
            response.on_hover_text(about.trim_start().to_owned());
        }
    }

    fn control_box(
        &mut self,
        ui: &mut Ui,
        s: &Snapshot,
        control: &ControlState,
        width: f32,
        inputs: &mut Vec<Input>,
    ) {
        let (rect, response) = place(ui, ("panel control", control.index), Vec2::new(width, HEIGHT));
        let taken = self.hands.taken == Some(control.index);
        let p = ui.painter().with_clip_rect(rect);
        ground(ui, rect, &response, taken);
        let value = control.targets.first().and_then(|target| s.reading(&target.address));
        let ink = if value.is_some() { look::TEXT } else { look::QUIET };
        let label = if taken || control.touched { look::BRIGHT } else { look::QUIET };
        let at = |y| pos2(rect.left() + 5.0, rect.top() + y);
        let room = rect.width() - 10.0;
        elided(&p, at(10.0), egui::Align2::LEFT_CENTER, &control.label, 11.0, label, room);
        let text = match &value {
            Some((text, _)) if control.picked_up => text.clone(),
            Some((text, _)) => format!("{text}  ○"),
            None => "not in this show".to_owned(),
        };
        elided(&p, at(23.0), egui::Align2::LEFT_CENTER, &text, 12.0, ink, room);
        let x = |position: f64| rect.left() + rect.width() * (position as f32).clamp(0.0, 1.0);
        if let Some((_, position)) = value {
            p.vline(x(position), rect.bottom() - 3.0..=rect.bottom(), Stroke::new(2.0, look::QUIET));
        }
        // Where the control itself stands, above; one that is picked up stands where its parameter does.
        if let Some(stands) = control.stands {
            let ink = if control.picked_up { look::TEXT } else { look::FILL };
            p.vline(x(stands), rect.top()..=rect.top() + 3.0, Stroke::new(2.0, ink));
        }
        // A point of the mouse is a point of the mark; what has no ends turns a detent every few points.
        let by = if control.coding.is_relative() { DETENT } else { 127.0 / f64::from(width.max(1.0)) };
        let axis = (control.index, [by, 0.0]);
        self.take(ui, s, &response, control, [axis, (control.index, [0.0; 2])], inputs);
        describe(ui, &response, &control.label, &[control], value.map(|(text, _)| text));
        let held = match control.takeover {
            _ if control.picked_up => "",
            Takeover::Scaled => "\n○ it moves the value by its share until they meet",
            _ => "\n○ turn it to where the value stands to pick it up",
        };
        let targets: Vec<&str> = control.targets.iter().map(|t| &*t.address).collect();
        response.on_hover_text(format!("{}{held}", targets.join(", ")));
    }

    /// A ball: a pad that rolls it, and where what it pushes stands.
    fn ball_box(
        &mut self,
        ui: &mut Ui,
        s: &Snapshot,
        axes: [&ControlState; 2],
        width: f32,
        inputs: &mut Vec<Input>,
    ) {
        let [across, away] = axes;
        let (rect, response) = place(ui, ("panel control", across.index), Vec2::new(width, HEIGHT));
        let taken = axes.iter().any(|c| self.hands.taken == Some(c.index));
        ground(ui, rect, &response, taken);
        let p = ui.painter().with_clip_rect(rect);
        let pad = Rect::from_min_size(rect.min, Vec2::splat(HEIGHT)).shrink(3.0);
        p.rect_filled(pad, 2.0, look::PANE);
        p.hline(pad.x_range(), pad.center().y, Stroke::new(1.0, look::LINE));
        p.vline(pad.center().x, pad.y_range(), Stroke::new(1.0, look::LINE));
        // Of what an axis moves, the parameter with the largest share stands for it.
        let main = |control: &ControlState| {
            let largest = control.targets.iter().max_by(|a, b| a.by.abs().total_cmp(&b.by.abs()))?;
            s.reading(&largest.address)
        };
        let readings = axes.map(main);
        let name = across.label.strip_suffix(ACROSS).unwrap_or(&across.label);
        let left = rect.left() + HEIGHT + 2.0;
        let ink = if taken || across.touched { look::BRIGHT } else { look::QUIET };
        let room = rect.right() - left - 4.0;
        elided(&p, pos2(left, rect.top() + 10.0), egui::Align2::LEFT_CENTER, name, 11.0, ink, room);
        let text = match &readings {
            [Some((x, right)), Some((y, up))] => {
                let place = |along: f64| (along as f32).clamp(0.0, 1.0);
                let dot = pos2(
                    egui::lerp(pad.x_range(), place(*right)),
                    egui::lerp(pad.bottom()..=pad.top(), place(*up)),
                );
                p.circle_filled(dot, 2.0, look::TEXT);
                format!("{x}  {y}")
            }
            _ => "not in this show".to_owned(),
        };
        elided(&p, pos2(left, rect.top() + 23.0), egui::Align2::LEFT_CENTER, &text, 12.0, look::TEXT, room);
        let axes = [(across.index, [DETENT, 0.0]), (away.index, [0.0, DETENT])];
        describe(ui, &response, name, &[across, away], Some(text));
        self.take(ui, s, &response, across, axes, inputs);
        let mut targets: Vec<&str> = Vec::new();
        for target in across.targets.iter().chain(&*away.targets) {
            if !targets.contains(&&*target.address) {
                targets.push(&target.address);
            }
        }
        response.on_hover_text(format!("{}\ndrag to roll the ball", targets.join(", ")));
    }

    /// A control was taken hold of, or the wheel turned over it.
    fn take(
        &mut self,
        ui: &Ui,
        s: &Snapshot,
        response: &Response,
        control: &ControlState,
        axes: [(usize, [f64; 2]); 2],
        inputs: &mut Vec<Input>,
    ) {
        if pressed(ui, response) {
            self.hands.taken = Some(control.index);
            self.hands.turning = Some(axes);
            inputs.push(Input::Panel(Act::Touch { control: control.index, down: true }));
            // The row that it moves is shown on the light path.
            if let Some(row) = control.targets.first().and_then(|target| row_of(s, &target.address)) {
                (self.in_hand, self.reveal) = (row.into(), true);
            }
        }
        let ball = axes[0].0 != axes[1].0;
        let mut step = |by: Vec2, each: f64| {
            let by = if ball { by } else { Vec2::new(by.x + by.y, 0.0) };
            turn(
                axes.map(|(control, per)| (control, per.map(|p| if p == 0.0 { 0.0 } else { each }))),
                by,
                inputs,
            );
        };
        step(arrows(ui, response), 1.0);
        if response.hovered() {
            step(ui.input(|i| i.smooth_scroll_delta()), NOTCH);
        }
    }

    /// The mouse moved what it holds.
    fn turn(&mut self, ui: &Ui, inputs: &mut Vec<Input>) {
        let (moved, fine) = ui.input(|i| (i.pointer.delta(), i.modifiers.shift));
        if let Some(axes) = self.hands.turning {
            let by = Vec2::new(moved.x, -moved.y) * if fine { FINE } else { 1.0 };
            turn(axes, by, inputs);
        }
    }
}

/// Name and value of a control's box, for assistive programs: what it is called, what it moves, where that stands.
fn describe(ui: &Ui, response: &Response, label: &str, controls: &[&ControlState], value: Option<String>) {
    let mut moves: Vec<String> = Vec::new();
    for target in controls.iter().flat_map(|control| &*control.targets) {
        let name = target.address.replace(['/', '-'], " ");
        if !moves.contains(&name) {
            moves.push(name);
        }
    }
    let name = format!("{label}: {}", moves.join(", "));
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::SpinButton, true, &name));
    ui.ctx().accesskit_node_builder(response.id, |node| {
        node.set_value(value.unwrap_or_else(|| "not in this show".to_owned()));
    });
}

fn turn(axes: [(usize, [f64; 2]); 2], moved: Vec2, inputs: &mut Vec<Input>) {
    for (control, [right, up]) in axes {
        let by = right * f64::from(moved.x) + up * f64::from(moved.y);
        if by != 0.0 {
            inputs.push(Input::Panel(Act::Turn { control, by }));
        }
    }
}

/// Height of a control's box.
const HEIGHT: f32 = 36.0;
/// Detents for a point of the mouse.
const DETENT: f64 = 0.25;
/// Detents for a point of the wheel: a notch, forty points, is one.
const NOTCH: f64 = 1.0 / 40.0;
/// What the mouse turns with Shift.
const FINE: f32 = 0.1;
/// What maps call a ball's axis to the right, after its name.
const ACROSS: &str = " across";

/// Was the mouse's button pressed on it in this frame? It may have come up again in the same one.
fn pressed(ui: &Ui, response: &Response) -> bool {
    (response.is_pointer_button_down_on() || response.clicked()) && ui.input(|i| i.pointer.primary_pressed())
}

/// Is it held while something else is turned?
fn stays(button: &ButtonState) -> bool {
    let held = matches!(&*button.action, "fine" | "gang") || button.action.starts_with("layer ");
    button.mode == Mode::Momentary && held
}

fn place(ui: &mut Ui, id: (&str, usize), size: Vec2) -> (Rect, Response) {
    let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
    let response = ui.interact(rect, egui::Id::unique(id), Sense::click_and_drag());
    (rect, response)
}

fn ground(ui: &Ui, rect: Rect, response: &Response, taken: bool) {
    let p = ui.painter();
    p.rect_filled(rect, 2.0, if response.hovered() { look::LINE } else { look::BAR });
    if taken {
        p.rect_stroke(rect, 2.0, Stroke::new(1.0, look::QUIET), egui::StrokeKind::Inside);
    }
}

/// The address of the light path's row that an address leads to now.
pub(in super::super) fn row_of(s: &Snapshot, address: &str) -> Option<String> {
    let Reach::Slot(slot) = s.reach(address)? else { return None };
    Some(match slot {
        Slot::Strength { list, at, .. } => format!("{}/{}/strength", list.key(), at + 1),
        Slot::Parameter { list, at, .. } => format!("{}/{}/{}", list.key(), at + 1, slot.parameter().key),
        _ => s.show.address(slot).to_string(),
    })
}

/// The axes of a ball share a box.
fn cells(controls: &[ControlState]) -> Vec<Cell<'_>> {
    let mut cells = Vec::new();
    let mut left = controls.iter().peekable();
    while let Some(control) = left.next() {
        cells.push(match left.next_if(|next| next.hand == control.hand) {
            Some(away) => Cell::Ball(control, away),
            None => Cell::One(control),
        });
    }
    cells
}

/// Why what is recognised cannot do what it is learned for.
fn unfit(learning: &Learning) -> Option<&'static str> {
    let button = matches!(learning.guess?.kind, Kind::Button { .. });
    match known_action(&learning.target).is_ok() {
        true if !button => Some("an action needs a button"),
        false if button => Some("a button has no way to go: use what can be turned or moved"),
        _ => None,
    }
}

/// What is recognised by now, as a sentence, and its ink.
fn recognised(learning: &Learning) -> (String, egui::Color32) {
    let Some(guess) = learning.guess else {
        if known_action(&learning.target).is_ok() {
            return ("press a button a few times, shortly".to_owned(), look::TEXT);
        }
        let ask = "turn an encoder a little to the right, then to the left; move a knob or fader some way";
        return (ask.to_owned(), look::TEXT);
    };
    let port = learning.port.as_deref().unwrap_or_default();
    let found = format!("{port}: {}, channel {}", guess.kind, guess.channel + 1);
    match (&learning.conflict, guess.need) {
        (Some((label, does)), _) => {
            let free = "take it out of the map first, or use another control";
            (format!("⚠ {found}; “{label}”, which {does}, sends the same: {free}"), look::WARN)
        }
        (None, None) if unfit(learning).is_some() => {
            (format!("⚠ {found}; {}", unfit(learning).unwrap_or_default()), look::WARN)
        }
        (None, Some(need)) => (format!("{port}: {need} (so far {})", guess.kind), look::TEXT),
        (None, None) => (format!("{found}, {:.0} % sure", 100.0 * guess.certainty), look::TEXT),
    }
}

/// What is in force on the panel besides what all its controls say, but page and bank.
fn words(standing: &Standing) -> Vec<String> {
    let mut words: Vec<String> = standing.layers.iter().map(|name| name.to_string()).collect();
    for (on, word) in [(standing.fine, "fine"), (standing.gang, "gang")] {
        words.extend(on.then(|| word.to_owned()));
    }
    words
}

/// From one box to the next.
const GAP: f32 = 6.0;

/// A box is at least so wide, that what is written in it can be read.
const LEAST: f32 = 92.0;

/// Boxes in a row, and the width of each: as many rows as it takes, filled evenly.
fn columns(count: usize, row: f32) -> (usize, f32) {
    let most = (((row + GAP) / (LEAST + GAP)) as usize).max(1);
    let rows = count.div_ceil(most).max(1);
    let columns = count.div_ceil(rows).max(1);
    let width = (row - GAP * (columns as f32 - 1.0)) / columns as f32;
    (columns, width.clamp(40.0, 170.0))
}
