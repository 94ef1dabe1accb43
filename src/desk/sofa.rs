//! The sofa at the desk: how clients come in, who watches, and what they answered.

use std::collections::HashMap;
use std::sync::Arc;

use egui::{Align2, Color32, FontId, Rect, RichText, Sense, Stroke, Ui, Vec2, vec2};

use super::look;
use super::picker::place;
use crate::engine::{Canvas, Command, Curtain, Input, Picture, Snapshot};
use crate::serve::{Book, Invitation, Role, ServeOptions, Server, Viewer, sum};

/// What is known of the sofa when the desk is drawn.
pub(super) struct Seen {
    pub url: String,
    pub local: bool,
    pub invitations: [Invitation; 2],
    pub viewers: Vec<Viewer>,
    pub book: Arc<Book>,
    pub pointed: Option<[f64; 2]>,
    pub trouble: Option<Arc<str>>,
}

/// Something to be done about it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Wish {
    /// Listen, to this machine alone or to the whole network.
    Open {
        network: bool,
    },
    /// Say goodbye to everybody.
    Close,
    Renew(Role),
    Done(u64, bool),
    Remove(u64),
    Point(Option<[f64; 2]>),
}

/// What the desk remembers of it.
#[derive(Default)]
pub(super) struct Sofa {
    pub shown: bool,
    /// A click on the picture points.
    pub pointing: bool,
    pub seen: Option<Seen>,
    pub wishes: Vec<Wish>,
    /// The QR code and what it says.
    code: Option<(String, Vec<bool>, usize)>,
    /// What approvals are compared with: the show, and each shot's checksum.
    sums: Option<(Arc<crate::show::Show>, HashMap<String, String>)>,
}

impl Seen {
    pub fn of(server: &Server) -> Self {
        Self {
            url: server.url(),
            local: server.address().ip().is_loopback(),
            invitations: Role::ALL.map(|role| server.invitation(role)),
            viewers: server.viewers(),
            book: server.book(),
            pointed: server.pointed(),
            trouble: server.trouble(),
        }
    }
}

/// What is asked for at the desk when clients may come.
pub(super) fn options(network: bool) -> ServeOptions {
    let mut options = ServeOptions::default();
    if network {
        options.address.set_ip(std::net::Ipv4Addr::UNSPECIFIED.into());
    }
    options
}

impl Sofa {
    /// The window about clients.
    pub fn window(&mut self, ui: &Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        if !self.shown {
            return;
        }
        let mut open = true;
        egui::Window::new("Clients")
            .open(&mut open)
            .default_pos(ui.max_rect().left_top() + vec2(210.0, 24.0))
            .default_width(300.0)
            .max_height(ui.max_rect().height() - 60.0)
            .show(ui.ctx(), |ui| {
                egui::ScrollArea::vertical().show(ui, |ui| match self.seen.take() {
                    None => self.closed(ui),
                    Some(seen) => {
                        self.door(ui, &seen);
                        self.outputs(ui, s, &seen, inputs);
                        self.answers(ui, s, &seen, inputs);
                        self.seen = Some(seen);
                    }
                });
            });
        self.shown = open;
    }

    fn closed(&mut self, ui: &mut Ui) {
        ui.label("Nobody can watch: nothing listens.");
        if ui.button("let browsers on the local network watch").clicked() {
            self.wishes.push(Wish::Open { network: true });
        }
        if ui.button("on this machine only").clicked() {
            self.wishes.push(Wish::Open { network: false });
        }
    }

    fn door(&mut self, ui: &mut Ui, seen: &Seen) {
        let [viewer, operator] = &seen.invitations;
        let whole = format!("{}#{}", seen.url, viewer.word);
        if self.code.as_ref().is_none_or(|(of, ..)| *of != whole) {
            let code = qrcode::QrCode::with_error_correction_level(&whole, qrcode::EcLevel::M).ok();
            self.code = code.map(|code| {
                let dark = code.to_colors().into_iter().map(|c| c == qrcode::Color::Dark).collect();
                (whole, dark, code.width())
            });
        }
        ui.horizontal(|ui| {
            if let Some((_, dark, side)) = &self.code {
                qr(ui, dark, *side);
            }
            ui.vertical(|ui| {
                ui.label(RichText::new(&seen.url).color(look::BRIGHT));
                ui.label(RichText::new(&viewer.word).monospace().color(look::BRIGHT));
                ui.label(RichText::new(lasts(viewer)).size(11.0).color(look::QUIET));
                ui.horizontal(|ui| {
                    let another =
                        small(ui, "another word").on_hover_text("whoever came in by this one is out");
                    if another.clicked() {
                        self.wishes.push(Wish::Renew(Role::Viewer));
                    }
                    if small(ui, "close").on_hover_text("nobody can watch any more").clicked() {
                        self.wishes.push(Wish::Close);
                    }
                });
                let about =
                    if seen.local { "this machine only" } else { "this local network; not encrypted" };
                ui.label(RichText::new(about).size(11.0).color(look::QUIET));
            });
        });
        ui.collapsing(RichText::new("the operator's pocket panel").size(11.0), |ui| {
            ui.label(RichText::new(format!("{}panel", seen.url)).color(look::TEXT));
            ui.label(RichText::new(&operator.word).monospace().color(look::TEXT));
            if small(ui, "another word").clicked() {
                self.wishes.push(Wish::Renew(Role::Operator));
            }
        });
        if let Some(trouble) = &seen.trouble {
            ui.label(RichText::new(format!("⚠ {trouble}")).color(look::WARN));
        }
        let who: Vec<String> = seen.viewers.iter().map(said_of).collect();
        let text = if who.is_empty() { "nobody watches".to_owned() } else { who.join("\n") };
        ui.label(RichText::new(text).size(11.0).color(look::QUIET));
    }

    fn outputs(&mut self, ui: &mut Ui, s: &Snapshot, seen: &Seen, inputs: &mut Vec<Input>) {
        ui.separator();
        ui.horizontal_wrapped(|ui| {
            for (name, key, curtain) in
                [("hold clients", "F11", Curtain::Held), ("blank clients", "F12", Curtain::Blank)]
            {
                if ui.selectable_label(s.curtain == curtain, name).on_hover_text(key).clicked() {
                    inputs.push(Input::Command(Command::Curtain(curtain)));
                }
            }
            let point =
                ui.selectable_label(self.pointing, "point").on_hover_text("click the picture: look here");
            if point.clicked() {
                self.pointing = !self.pointing;
            }
            if seen.pointed.is_some() && small(ui, "point no more").clicked() {
                self.wishes.push(Wish::Point(None));
                self.pointing = false;
            }
        });
    }

    fn answers(&mut self, ui: &mut Ui, s: &Snapshot, seen: &Seen, inputs: &mut Vec<Input>) {
        ui.separator();
        let open = seen.book.notes.iter().filter(|n| !n.done).count();
        ui.label(RichText::new(format!("notes, {open} open")).color(look::TEXT));
        for note in seen.book.notes.iter().rev() {
            let ink = if note.done { look::QUIET } else { look::BRIGHT };
            ui.label(RichText::new(&note.text).color(ink));
            ui.horizontal_wrapped(|ui| {
                let about = format!("{} · {} · {} · {}", note.id + 1, note.name, note.shot, note.timecode);
                ui.label(RichText::new(about).size(11.0).color(look::QUIET));
                if small(ui, "go there").clicked()
                    && let Some(shot) = s.show.shots.iter().position(|shot| shot.name == note.shot)
                {
                    inputs.push(Input::Command(Command::Stop));
                    inputs.push(Input::Command(Command::Shot(shot)));
                    inputs.push(Input::Command(Command::Seek(note.frame)));
                }
                if small(ui, if note.done { "open again" } else { "done" }).clicked() {
                    self.wishes.push(Wish::Done(note.id, !note.done));
                }
                if small(ui, "take out").clicked() {
                    self.wishes.push(Wish::Remove(note.id));
                }
            });
        }
        ui.separator();
        ui.label(RichText::new("approved").color(look::TEXT));
        self.add_sums(s);
        let sums = self.sums.as_ref().map(|(_, sums)| sums);
        for approval in seen.book.approvals.iter().rev() {
            let holds = sums.and_then(|s| s.get(&approval.shot)) == Some(&approval.sum);
            let text = format!("{} · {} · {}", approval.shot, approval.name, approval.when);
            ui.label(RichText::new(text).size(11.0).color(if holds { look::TEXT } else { look::QUIET }));
            if !holds {
                ui.label(RichText::new("   its settings have changed since").size(11.0).color(look::WARN));
            }
        }
    }

    fn add_sums(&mut self, s: &Snapshot) {
        if self.sums.as_ref().is_some_and(|(of, _)| Arc::ptr_eq(of, &s.show)) {
            return;
        }
        let shots = s.show.shots.iter().enumerate();
        let sums = shots.filter_map(|(at, shot)| Some((shot.name.clone(), sum(&s.show, at)?))).collect();
        self.sums = Some((s.show.clone(), sums));
    }

    /// Leaves a mark for each shot that has answers, for the running order.
    pub fn leave_marks(&mut self, ui: &Ui, s: &Snapshot) {
        let mut marks: HashMap<String, String> = HashMap::new();
        if let Some(book) = self.seen.as_ref().map(|seen| seen.book.clone()) {
            self.add_sums(s);
            for shot in &s.show.shots {
                let open = book.open_of(&shot.name).count();
                let now = self.sums.as_ref().and_then(|(_, sums)| sums.get(&shot.name));
                let of_shot: Vec<bool> = book
                    .approvals
                    .iter()
                    .filter(|a| a.shot == shot.name)
                    .map(|a| Some(&a.sum) == now)
                    .collect();
                let approved = match (of_shot.is_empty(), of_shot.contains(&true)) {
                    (true, _) => "",
                    (_, true) => "approved",
                    (_, false) => "changed since",
                };
                let notes = match open {
                    0 => String::new(),
                    1 => "1 note".into(),
                    n => format!("{n} notes"),
                };
                let parts: Vec<&str> = [approved, &notes].into_iter().filter(|t| !t.is_empty()).collect();
                if !parts.is_empty() {
                    marks.insert(shot.name.clone(), parts.join(" · "));
                }
            }
        }
        ui.ctx().data_mut(|d| d.insert_temp(marks_id(), Arc::new(marks)));
    }

    /// Pins of open notes on the frame on view, and where everybody looks; a click points while that is on.
    pub fn over(&mut self, ui: &mut Ui, area: Rect, picture: Option<&Picture>) {
        let (Some(picture), Some(seen)) = (picture, &self.seen) else { return };
        if !self.shown {
            return;
        }
        let place = place(area, (picture.output.width, picture.output.height), ui.pixels_per_point());
        let at = |share: [f64; 2]| place.min + vec2(share[0] as f32, share[1] as f32) * place.size();
        let name = picture.show.shots.get(picture.shot).map_or("", |s| &s.name);
        for note in seen.book.open_of(name).filter(|n| n.frame == picture.frame) {
            let p = ui.painter();
            p.circle(at(note.at), 11.0, Color32::from_black_alpha(190), Stroke::new(1.5, Color32::WHITE));
            let number = (note.id + 1).to_string();
            p.text(at(note.at), Align2::CENTER_CENTER, number, FontId::proportional(11.0), Color32::WHITE);
        }
        if let Some(here) = seen.pointed {
            let p = ui.painter();
            p.circle_stroke(at(here), 24.0, Stroke::new(4.0, Color32::from_black_alpha(140)));
            p.circle_stroke(at(here), 24.0, Stroke::new(2.0, Color32::WHITE));
        }
        if self.pointing {
            let response = ui.interact(place, ui.scope_id().with("point"), Sense::click());
            let response = response.on_hover_cursor(egui::CursorIcon::Crosshair);
            if let Some(pos) = response.interact_pointer_pos().filter(|_| response.clicked()) {
                let share = (place.clamp(pos) - place.min) / place.size();
                self.wishes.push(Wish::Point(Some([share.x.into(), share.y.into()])));
            }
        }
    }
}

fn marks_id() -> egui::Id {
    egui::Id::unique("marks of clients' answers")
}

/// What clients answered to a shot, in few words; nothing where they did not.
pub(super) fn mark(ui: &Ui, shot: &str) -> Option<String> {
    ui.ctx().data(|d| d.get_temp::<Arc<HashMap<String, String>>>(marks_id()))?.get(shot).cloned()
}

fn small(ui: &mut Ui, text: &str) -> egui::Response {
    ui.add(egui::Button::new(RichText::new(text).size(11.0)).small())
}

fn said_of(viewer: &Viewer) -> String {
    let canvas = match viewer.canvas {
        Canvas::Srgb => "sRGB",
        Canvas::P3 => "Display P3",
        Canvas::Signal => "Rec. 709 as sRGB",
    };
    let role = if viewer.role == Role::Operator { " (operator)" } else { "" };
    match viewer.size {
        (0, 0) => format!("{}{role}, not looking", viewer.name),
        (w, h) => format!("{}{role}, {w} × {h}, {canvas}", viewer.name),
    }
}

/// How long a word holds.
fn lasts(invitation: &Invitation) -> String {
    let left = invitation.expires.saturating_duration_since(std::time::Instant::now()).as_secs();
    match (left / 3600, left.div_ceil(60)) {
        (0, 0) => "expired".into(),
        (0, minutes) => format!("holds for {minutes} min"),
        (hours, _) => format!("holds for {hours} h"),
    }
}

/// A QR code with the margin that ISO/IEC 18004 asks for, dark on light.
fn qr(ui: &mut Ui, dark: &[bool], side: usize) {
    let modules = side + 8;
    let size = (132.0 / modules as f32).floor().max(2.0);
    let (rect, response) = ui.allocate_exact_size(Vec2::splat(size * modules as f32), Sense::hover());
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Image, true, "QR code of the address with the access word")
    });
    let p = ui.painter();
    p.rect_filled(rect, 0.0, Color32::from_gray(225));
    for (i, _) in dark.iter().enumerate().filter(|(_, dark)| **dark) {
        let at = rect.min + vec2((i % side + 4) as f32, (i / side + 4) as f32) * size;
        p.rect_filled(Rect::from_min_size(at, Vec2::splat(size)), 0.0, Color32::from_gray(12));
    }
}
