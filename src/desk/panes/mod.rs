//! What stands around the picture: the running order, the light path, transport and panel mirror.

mod chosen;
mod curve_graph;
mod layout;
mod light_path;
mod lut;
mod marks;
mod mirror;
mod opened;
mod overlay;
mod proposal;
mod running_order;
mod save_look;
mod scopes;
mod shot_marks;
mod transport;
mod trims;
mod trying;
mod view_menu;
mod white;

use std::collections::HashSet;
use std::sync::Arc;

use arc_swap::ArcSwap;
use egui::{RichText, Ui};

use self::layout::Edge;
pub(super) use self::layout::{Layout, Pane};
pub(super) use self::mirror::{Hands, row_of};
pub(super) use self::overlay::Overlay;
pub(super) use self::proposal::outline;
use self::running_order::OrderPane;
pub(super) use self::scopes::{ScopePane, ScopeSettings, TraceTextures};
use super::finder::{Finder, Outcome};
use super::focus;
use super::keys::Action;
use super::library::SaveForm;
use super::look;
use super::luts::Wish;
use super::remembered::Remembered;
use super::rows::row_id;
use super::sheet::LookSheet;
use super::sofa::Sofa;
use super::soundness::Soundness;
use super::stills::{BringIn, StillSheet};
use super::surround::View;
use super::typing::Typing;
use super::walk::Walk;
use crate::engine::{self, Command, Compare, Does, Focus, Input, Snapshot};
use crate::look::{CurvePoint, List};
use crate::scope::patterns::Tally;
use crate::show::{Address, Show, Slot};

/// Control number of the keyboard.
pub(super) const KEYBOARD: u32 = 1;
/// Control number of the mouse on the desk.
pub(super) const MOUSE: u32 = 2;

/// Something that panes ask of the desk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ask {
    /// The sheet of looks, or the picture again.
    Sheet,
    /// The form for saving the look on view.
    SaveForm,
    /// The look on view goes into a file, as the form says.
    SaveLook,
    /// The control that is learned goes into its map.
    KeepControl,
}

/// What the panes need to know and remember.
pub(super) struct Panes {
    /// Which are on view, and how large.
    pub layout: Layout,
    /// Size of the text, surround of the picture.
    pub view: View,
    /// The running order.
    pub order: OrderPane,
    /// The show that was drawn last.
    drawn_show: Option<Arc<Show>>,
    /// The keys, and what the panel does.
    pub overlay: Overlay,
    /// The list of everything, if it is open.
    pub finder: Option<Finder>,
    /// Where somebody is on the first walk.
    pub walk: Walk,
    /// What the list asks the desk to do.
    pub wants: Vec<Action>,
    /// What had the keyboard when panes were last drawn.
    pub focused: Option<egui::Id>,
    /// Address of the parameter in hand.
    pub in_hand: Arc<str>,
    /// What hands do on the drawn panel.
    pub hands: Hands,
    /// A parameter or stage of the light path was taken in hand by the mouse: it comes into focus.
    pub took: bool,
    /// It was just picked by the keyboard: bring it into view.
    pub reveal: bool,
    /// Addresses of every parameter on the light path, in its order; made while drawing.
    pub addresses: Vec<Arc<str>>,
    /// What of the light path is open: families of balance, and stages by list and position.
    pub open: HashSet<String>,
    /// Which curve the graphs of curves show.
    pub curve: usize,
    /// Where the point of a curve that is being dragged would be if nothing held it.
    pub dragged: Option<CurvePoint>,
    /// Is a button of the mouse down?
    pub pressed: bool,
    /// The GPU's name and what its check found.
    pub device: Arc<ArcSwap<String>>,
    /// What is true of what the desk and the client's window show; `None` for a window that is not there.
    pub windows: [Option<String>; 2],
    /// A line about something that just happened.
    pub note: Option<String>,
    /// Is a stage left out of the picture as long as the mouse's button is down?
    pub looking_away: bool,
    /// What the desk is asked for that takes more than the engine.
    pub asks: Vec<Ask>,
    /// Whether the look on view is sound, if somebody looks.
    pub soundness: Option<Soundness>,
    /// Is what the picture holds told under the pointer?
    pub probing: bool,
    /// Where that was asked for last.
    pub probed: Option<[[f64; 2]; 2]>,
    /// What was counted for the marks on the picture that is on view.
    pub tally: Option<Tally>,
    /// The scopes.
    pub scopes: ScopePane,
    /// The name of a group that is about to be made.
    pub group_name: String,
    /// What is known of clients.
    pub sofa: Sofa,
    /// A value that is being typed into a row.
    pub typing: Option<Typing>,
    /// One is to be typed into the row in hand: what was typed of it, if anything.
    pub begin: Option<Option<char>>,
    /// The form for saving the look on view, if it is open.
    pub saving: Option<SaveForm>,
    /// The sheet of looks, in the picture's place.
    pub sheet: Option<LookSheet>,
    /// The sheet of stills and versions, in the picture's place.
    pub stills: Option<StillSheet>,
    /// A picture that was dropped, and what is asked about it.
    pub bringing_in: Option<BringIn>,
    /// What was asked for of a stage's LUT, which takes a while.
    pub lut_wish: Option<Wish>,
}

impl Panes {
    /// As they are when the desk opens; `device` is what is said about the GPU.
    pub fn new(device: Arc<ArcSwap<String>>) -> Self {
        Self {
            layout: Layout::default(),
            view: View::default(),
            order: OrderPane::default(),
            drawn_show: None,
            open: ["balance/offset".to_owned()].into(),
            overlay: Overlay::default(),
            finder: None,
            walk: Walk::default(),
            wants: Vec::new(),
            focused: None,
            in_hand: "balance/exposure".into(),
            hands: Hands::default(),
            took: false,
            reveal: false,
            addresses: Vec::new(),
            curve: 0,
            dragged: None,
            pressed: false,
            device,
            windows: [None, None],
            note: None,
            looking_away: false,
            asks: Vec::new(),
            soundness: None,
            probing: false,
            probed: None,
            tally: None,
            scopes: ScopePane::default(),
            group_name: String::new(),
            sofa: Sofa::default(),
            typing: None,
            begin: None,
            saving: None,
            sheet: None,
            stills: None,
            bringing_in: None,
            lut_wish: None,
        }
    }

    /// Draws all of them; what was asked for is pushed to `inputs`. Returns the area left for the picture.
    pub fn draw(
        &mut self,
        ui: &mut Ui,
        s: &Snapshot,
        presentation: (u64, u64),
        inputs: &mut Vec<Input>,
    ) -> egui::Rect {
        // With the keyboard nowhere, Tab brings it to the row in hand.
        let to_hand = ui.memory(|m| m.focused().is_none())
            && ui.input(|i| i.key_pressed(egui::Key::Tab))
            && !egui::Popup::is_any_open(ui.ctx());
        // What the mouse does from press to release is one gesture.
        let (pressed, down) = ui.input(|i| (i.pointer.any_pressed(), i.pointer.any_down()));
        if pressed {
            inputs.push(Input::Hold { control: MOUSE, down: true });
        }
        self.follow_stages(s);
        self.layout.show(Pane::Scopes, self.scopes.shown);
        let placed = self.layout.placed(ui.ctx().content_rect().size(), self.hands.height());
        let size = |pane: Pane| placed[pane as usize];
        // The window is cleared to the panes' grey, so that no pane has to be filled.
        let pane = |panel: egui::Panel, size: f32| {
            panel
                .frame(egui::Frame::NONE.inner_margin(egui::Margin::symmetric(8, 2)))
                .show_separator_line(false)
                .resizable(false)
                .exact_size(size)
        };
        if let Some(size) = size(Pane::Transport) {
            let foot = pane(egui::Panel::bottom("transport"), size);
            let rect = foot.show(ui, |ui| self.transport(ui, s, presentation, inputs)).response.rect;
            self.layout.divider(ui, Pane::Transport, rect, Edge::Top);
        }
        if let Some(size) = size(Pane::Mirror) {
            let foot = pane(egui::Panel::bottom("mirror"), size);
            let rect = foot.show(ui, |ui| self.mirror(ui, s, inputs)).response.rect;
            self.layout.divider(ui, Pane::Mirror, rect, Edge::Top);
        }
        match size(Pane::Scopes) {
            Some(size) => {
                let foot = pane(egui::Panel::bottom("scopes"), size);
                let rect = foot.show(ui, |ui| self.scopes(ui, s, inputs)).response.rect;
                self.layout.divider(ui, Pane::Scopes, rect, Edge::Top);
            }
            None => self.scopes.hidden(inputs),
        }
        self.sofa.leave_marks(ui, s);
        match size(Pane::Order) {
            Some(size) => {
                let side = pane(egui::Panel::left("order"), size);
                let rect = side.show(ui, |ui| self.running_order(ui, s, inputs)).response.rect;
                self.layout.divider(ui, Pane::Order, rect, Edge::Right);
            }
            None => self.order.hidden(inputs),
        }
        if let Some(size) = size(Pane::Path) {
            let side = pane(egui::Panel::right("path"), size);
            let scrolled = |ui: &mut Ui| {
                // Its room is there always, so that nothing moves when something is opened.
                let bar = egui::scroll_area::ScrollBarVisibility::AlwaysVisible;
                let area = egui::ScrollArea::vertical().auto_shrink([false, false]);
                area.scroll_bar_visibility(bar).show(ui, |ui| {
                    self.light_path(ui, s, inputs);
                    focus::follow(ui, &mut self.focused);
                });
            };
            let rect = side.show(ui, scrolled).response.rect;
            self.layout.divider(ui, Pane::Path, rect, Edge::Left);
        }
        if std::mem::take(&mut self.took) {
            self.hands.taken = None;
            let focus = stage_of(s, &self.in_hand).map(|(list, at)| Focus { list, at });
            if focus.is_some() && focus != s.focus {
                inputs.extend(focus.map(|focus| Input::Command(Command::Focus(focus))));
            }
        }
        if s.marks.any() && self.sheet.is_none() {
            let strip = egui::Panel::bottom("marks").show_separator_line(false);
            let frame = egui::Frame::NONE.inner_margin(egui::Margin::symmetric(8, 3)).fill(look::PANE);
            strip.frame(frame).show(ui, |ui| marks::strip(ui, s, self.tally.as_ref(), inputs));
        }
        self.save_form(ui);
        self.sofa.window(ui, s, inputs);
        // What is in hand has no row that is open.
        self.begin = None;
        if !down {
            self.hands.let_go(inputs);
        }
        if !down && std::mem::take(&mut self.looking_away) {
            inputs.push(Input::Command(Command::Compare(Compare::After)));
        }
        if !down && (pressed || self.pressed) {
            inputs.push(Input::Hold { control: MOUSE, down: false });
        }
        self.pressed = down;
        let area = ui.available_rect_before_wrap();
        if let Some(sheet) = &mut self.sheet {
            if !sheet.is_of(s) {
                // Twice: closed, and begun again.
                self.asks.extend([Ask::Sheet; 2]);
            } else if !sheet.draw(ui, area, s, inputs) {
                self.sheet = None;
            }
        }
        if let Some(sheet) = &mut self.stills
            && !sheet.draw(ui, area, s, inputs)
        {
            self.stills = None;
        }
        if !self.bringing_in.as_mut().is_none_or(|b| b.ask(ui, s, inputs)) {
            self.bringing_in = None;
        }
        if self.sheet.is_none() && self.stills.is_none() {
            marks::label(ui, area, s, self.tally.is_none());
        }
        let said = match &s.trouble {
            Some(trouble) => Some((RichText::new(format!("⚠ {trouble}")).color(look::WARN), false)),
            None if s.show.shots.is_empty() => {
                let text = "No shots yet: greyhold add DIR CLIP --encoding ID";
                Some((RichText::new(text).color(look::QUIET), true))
            }
            None => None,
        };
        if let Some((text, middle)) = said {
            over_picture(ui, area, text, middle);
        }
        self.over(ui, area, s, inputs);
        if to_hand
            && placed[Pane::Path as usize].is_some()
            && self.finder.is_none()
            && self.addresses.contains(&self.in_hand)
        {
            ui.memory_mut(|m| m.request_focus(row_id(&self.in_hand)));
        }
        area
    }

    /// What is to be remembered of them.
    pub fn remembered(&self) -> Remembered {
        let mut layout = self.layout.clone();
        layout.show(Pane::Scopes, self.scopes.shown);
        Remembered { view: self.view, layout, scopes: self.scopes.settings() }
    }

    /// Puts them back to what was remembered.
    pub fn recall(&mut self, all: Remembered) {
        self.scopes.shown = all.layout.shown(Pane::Scopes);
        self.scopes.recall(&all.scopes);
        (self.layout, self.view) = (all.layout, all.view);
    }

    /// What lies over the panes: the walk's card, the keys, the list, and the ring around what has the keyboard.
    fn over(&mut self, ui: &Ui, area: egui::Rect, s: &Snapshot, inputs: &mut Vec<Input>) {
        if let Some(row) = self.walk.card(ui, area, s, self.scopes.shown) {
            self.take_row(&row);
        }
        self.overlay.draw(ui, s);
        if let Some(finder) = &mut self.finder {
            let mut take = None;
            let outcome = finder.draw(ui.ctx(), s, &mut take);
            if let Some(row) = take {
                self.take_row(&row);
            }
            if let Some(outcome) = outcome {
                self.finder = None;
                self.carry_out(outcome, inputs);
                ui.ctx().request_repaint();
            }
        }
        focus::ring(ui.ctx());
    }

    fn carry_out(&mut self, outcome: Outcome, inputs: &mut Vec<Input>) {
        match outcome {
            Outcome::Leave => {}
            Outcome::Engine(name) => {
                let press = |down| Input::Press { action: name.into(), down };
                inputs.push(press(true));
                // What is held stays so until it is pressed again.
                let held = engine::action(name).is_some_and(|a| matches!(a.does, Does::Held { .. }));
                inputs.extend((!held).then(|| press(false)));
            }
            Outcome::Desk(action) => self.wants.push(action),
            Outcome::Send(all) => inputs.extend(all),
            Outcome::Learn(target) => inputs.push(Input::Learn { target: Some(target) }),
            Outcome::Set { address, value, row } => {
                if let Some(row) = row {
                    self.take_row(&row);
                }
                inputs.push(Input::Set { target: address, value });
            }
        }
    }

    /// A row of the light path comes into hand, and what it is in is opened.
    pub fn take_row(&mut self, row: &Arc<str>) {
        let mut parts = row.split('/');
        let (place, second) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
        self.open.extend(match (place, parts.next()) {
            // A family of balance is called by what its members have in common.
            ("balance", _) => Some(format!("balance/{}", second.split('-').next().unwrap_or_default())),
            ("output", Some(_)) => Some(format!("output/{second}")),
            ("before" | "look" | "finish", Some(part)) if part != "strength" => {
                Some(format!("{place}/{second}"))
            }
            _ => None,
        });
        self.in_hand = row.clone();
        self.hands.taken = None;
        (self.took, self.reveal) = (true, true);
    }

    /// Takes the parameter `by` rows further in hand.
    pub fn pick(&mut self, by: i32) {
        let Some(last) = self.addresses.len().checked_sub(1) else { return };
        let at = self.addresses.iter().position(|a| *a == self.in_hand);
        let to = at.map_or(0, |at| at.saturating_add_signed(by as isize).min(last));
        self.in_hand = self.addresses[to].clone();
        self.hands.taken = None;
        self.reveal = true;
    }
}

/// A line over the picture's place, on a ground of its own: what is behind it may have any brightness.
fn over_picture(ui: &mut Ui, area: egui::Rect, text: RichText, middle: bool) {
    let room = area.shrink(10.0);
    let layout = match middle {
        true => egui::Layout::centered_and_justified(egui::Direction::TopDown),
        false => egui::Layout::top_down(egui::Align::Min),
    };
    let ground = egui::Frame::NONE.fill(look::PANE).inner_margin(6);
    ui.scope_builder(egui::UiBuilder::new().max_rect(room).layout(layout), |ui| {
        if middle {
            ui.add(egui::Label::new(text.background_color(look::PANE)).wrap());
        } else {
            ground.show(ui, |ui| ui.add(egui::Label::new(text).wrap()));
        }
    });
}

/// The stage that an address is about, if it is about one.
pub(super) fn stage_of(s: &Snapshot, address: &str) -> Option<(List, usize)> {
    match s.show.resolve(&Address::parse(address).ok()?, s.shot)? {
        Slot::Strength { list, at, .. } | Slot::Parameter { list, at, .. } => Some((list, at)),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(super) use self::tests::snapshot_of;
