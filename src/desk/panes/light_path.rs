//! The light path: camera to display, in the order light takes, with everything that can be turned.

use std::sync::Arc;

use egui::{Align, Layout, RichText, Sense, Ui, Vec2};

use super::super::look;
use super::super::rows::{Row, Touch, row};
use super::super::typing::Typing;
use super::{KEYBOARD, MOUSE, Panes, lut, white};
use crate::colour::{ENCODINGS, OUTPUT_TRANSFORMS};
use crate::engine::{Focus, Input, Snapshot};
use crate::look::{Chain, Kind, List, NamedLut, Parameter, STAGES, Stage};
use crate::picture::{BALANCE, BalanceField, FRAMING, TRIM, Trim};
use crate::show::{Change, LOOK_STRENGTH, NOT_CARRIED, Output, raster_text, stage_keys};

impl Panes {
    /// Camera to display, in the order light takes.
    pub(super) fn light_path(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        self.addresses.clear();
        ui.add_space(4.0);
        let shot = s.show.shots.get(s.shot);
        station(ui, "camera", "");
        if let Some(shot) = shot {
            let name =
                choose(ui, "encoding", shot.encoding.name, ENCODINGS.iter().map(|e| (e.name, e.source)));
            if let Some(encoding) = name.and_then(|i| ENCODINGS.get(i)) {
                let change = Change::SetShotEncoding { shot: s.shot, encoding };
                inputs.push(Input::Change { change, control: MOUSE });
            }
        }
        let about = s.clip.as_ref().map_or("", |clip| clip.description.as_str());
        ui.indent("clip", |ui| ui.label(RichText::new(about).size(11.0).color(look::QUIET)));
        self.framing(ui, s, inputs);
        station(ui, "balance", "");
        let mut safe = s.show.cdl_safe;
        let carried = "Only what an ASC CDL on ACEScct carries exactly is moved: contrast, slope, offset, power, saturation.";
        if ui.checkbox(&mut safe, RichText::new("CDL-safe").size(11.0)).on_hover_text(carried).changed() {
            inputs.push(Input::Change { change: Change::SetCdlSafe(safe), control: MOUSE });
        }
        self.first_pass(ui, s, inputs);
        let balance = shot.map(|s| s.balance).unwrap_or_default();
        for group in groups(BALANCE) {
            let values = &balance.values[group.clone()];
            let family = family(BALANCE[group.start].key);
            let touched = BALANCE[group.clone()].iter().zip(values).any(|(p, v)| p.default != *v);
            if group.len() > 1 && !self.fold(ui, &format!("balance/{family}"), family, touched) {
                continue;
            }
            for (field, value) in BalanceField::ALL[group.clone()].iter().zip(values) {
                let parameter = field.parameter();
                if *field == BalanceField::Warmth {
                    white::line(ui, s.picking, inputs);
                }
                let address = format!("balance/{}", parameter.key);
                let label = white::label(*field, &balance).unwrap_or_else(|| words(parameter.key));
                let open = !s.show.cdl_safe || field.is_carried_by_cdl();
                let row = ui.add_enabled_ui(open, |ui| {
                    self.parameter(ui, address, parameter, &label, *value, inputs);
                });
                if !open {
                    row.response.on_hover_text(NOT_CARRIED);
                }
            }
        }
        for list in List::ALL {
            let stages = s.show.chain.list(list);
            station(ui, list.key(), if stages.is_empty() { "no stage" } else { "" });
            if list == List::Look {
                self.look_on_view(ui, s, inputs);
            }
            if list == List::Look && !stages.is_empty() {
                let strength = s.show.chain.look_strength;
                self.parameter(
                    ui,
                    "look/strength".into(),
                    &LOOK_STRENGTH,
                    "strength of the look",
                    strength,
                    inputs,
                );
                if let Some(shot) = shot {
                    self.trims(ui, s, shot, inputs);
                }
            }
            for (at, stage) in stages.iter().enumerate() {
                self.stage(ui, s, list, at, stage, inputs);
            }
            ui.horizontal_wrapped(|ui| {
                if list == List::Look {
                    self.library(ui, s, inputs);
                    self.put_in(ui, "put in a stage", &s.show.chain, None, inputs);
                    copy_stage(ui, s, inputs);
                }
                self.put_in(ui, "put in here", &s.show.chain, Some(list), inputs);
            });
        }
        station(ui, "output transform", "");
        let transforms = OUTPUT_TRANSFORMS.iter().map(|t| (t.id(), t.doc()));
        let lut = s.show.show_lut.as_ref();
        let now = lut.map_or(s.show.transform.id().to_owned(), |l| format!("lut {}", file_name(&l.lut)));
        if let Some(i) = choose(ui, "transform", &now, transforms) {
            let change = Change::SetTransform(OUTPUT_TRANSFORMS[i]);
            inputs.push(Input::Change { change, control: MOUSE });
        }
        if let Some(lut) = lut {
            quiet(ui, "lut", &format!("reads {}, gives {}", lut.expects.name, lut.gives.name));
        }
        station(ui, "display", "");
        for output in Output::ALL {
            self.output(ui, s, output, inputs);
        }
        ui.add_space(6.0);
        ui.label(RichText::new(self.device.load().as_str()).size(11.0).color(look::QUIET));
    }

    /// An output: its display, what its window does with the signal, its calibration and its trim.
    fn output(&mut self, ui: &mut Ui, s: &Snapshot, output: Output, inputs: &mut Vec<Input>) {
        let (name, settings) = (output.key(), s.show.outputs.get(output));
        let address: Arc<str> = format!("output/{name}/display").into();
        let in_hand = self.in_hand == address;
        self.addresses.push(address.clone());
        ui.horizontal(|ui| {
            let ink = if in_hand { look::BRIGHT } else { look::QUIET };
            let label = egui::Label::new(RichText::new(name).size(11.0).color(ink)).sense(Sense::click());
            let label = ui.add_sized([44.0, 18.0], label);
            if in_hand && std::mem::take(&mut self.reveal) {
                label.scroll_to_me(None);
            }
            if label.on_hover_text("take in hand: the keys then choose its display").clicked() {
                self.in_hand = address;
                self.took = true;
            }
            let displays: Vec<_> = s.show.all_displays().collect();
            let all = displays.iter().map(|d| (d.name.as_ref(), d.source.as_ref()));
            if let Some(i) = choose(ui, name, &settings.display.name, all) {
                let change = Change::SetDisplay { output, display: displays[i].clone() };
                inputs.push(Input::Change { change, control: MOUSE });
            }
        });
        let truth = match output {
            Output::Desk => self.windows[0].as_deref(),
            Output::Client => self.windows[1].as_deref(),
            Output::Files => None,
        };
        if let Some(truth) = truth {
            quiet(ui, name, &format!("its window: {truth}"));
        }
        if let Some(lut) = &settings.calibration {
            ui.horizontal(|ui| {
                let text =
                    RichText::new(format!("calibration {}", file_name(lut))).size(11.0).color(look::QUIET);
                ui.label(text).on_hover_text(lut.file.display().to_string());
                if ui.add(egui::Button::new(RichText::new("take out").size(11.0)).small()).clicked() {
                    let change = Change::SetCalibration { output, calibration: None };
                    inputs.push(Input::Change { change, control: MOUSE });
                }
            });
        }
        let touched = settings.trim != Trim::default();
        if self.fold(ui, &format!("output/{name}"), &format!("trim of {name}"), touched) {
            for (parameter, value) in TRIM.iter().zip(settings.trim.values) {
                let address = format!("output/{name}/{}", parameter.key);
                self.parameter(ui, address, parameter, &words(parameter.key), value, inputs);
            }
        }
    }

    /// The show's raster, and where the shot's frames lie in it.
    fn framing(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        station(ui, "framing", "");
        let sizes = s.clip.as_ref().map(|clip| (clip.width, clip.height));
        ui.horizontal(|ui| {
            caption(ui, "raster");
            let now = match (s.show.raster, s.raster) {
                (Some(raster), _) => raster_text(raster),
                (None, Some(raster)) => format!("{} {}", FIRST.0, raster_text(raster)),
                (None, None) => FIRST.0.to_owned(),
            };
            let standard = RASTERS.iter().map(|(name, source, _)| (*name, *source));
            let Some(i) = choose(ui, "raster", &now, standard.chain([THIS, FIRST])) else { return };
            let raster = match RASTERS.get(i) {
                Some((_, _, size)) => Some(*size),
                None if i == RASTERS.len() && sizes.is_none() => return,
                None if i == RASTERS.len() => sizes,
                None => None,
            };
            inputs.push(Input::Change { change: Change::SetRaster(raster), control: MOUSE });
        });
        let Some(shot) = s.show.shots.get(s.shot) else { return };
        for (parameter, value) in FRAMING.iter().zip(shot.framing.values) {
            let address = format!("framing/{}", parameter.key);
            self.parameter(ui, address, parameter, &words(parameter.key), value, inputs);
        }
    }

    /// A stage: its switch, its place in the list, its strength and parameters.
    fn stage(
        &mut self,
        ui: &mut Ui,
        s: &Snapshot,
        list: List,
        at: usize,
        stage: &Stage,
        inputs: &mut Vec<Input>,
    ) {
        let stages = s.show.chain.list(list);
        let d = stage.declaration();
        let mut ask = |change| inputs.push(Input::Change { change, control: MOUSE });
        ui.add_space(2.0);
        let base = format!("{}/{}", list.key(), at + 1);
        let mut open = self.open.contains(&base);
        ui.horizontal(|ui| {
            if triangle(ui, open, d.key).clicked() {
                open = !open;
            }
            let mut on = stage.on;
            let acts = ui.checkbox(&mut on, "").on_hover_text("it acts, or not");
            let name = format!("{} acts", words(d.key));
            acts.widget_info(|| egui::WidgetInfo::selected(egui::Role::CheckBox, true, on, &name));
            if acts.changed() {
                ask(Change::SetStageOn { list, at, on });
            }
            let in_focus = s.focus == Some(Focus { list, at });
            let ink = if in_focus { look::BRIGHT } else { look::TEXT };
            let name = egui::Label::new(RichText::new(words(d.key)).color(ink)).sense(Sense::click());
            let name = ui.add(name);
            if in_focus {
                // A panel's controls for the stage in focus move this one.
                let line = name.rect.translate(Vec2::new(0.0, 1.0));
                ui.painter().hline(line.x_range(), line.bottom(), egui::Stroke::new(1.0, look::QUIET));
            }
            if name.on_hover_text(d.doc.trim()).clicked() {
                self.in_hand = format!("{base}/strength").into();
                self.took = true;
            }
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                let mut small = |text: &str, about: &str| {
                    let button = ui.add(egui::Button::new(RichText::new(text).size(11.0)).small());
                    named(&button, egui::Role::Button, &format!("{text}: {}", words(d.key)));
                    button.on_hover_text(about).clicked()
                };
                if small("take out", "out of this list") {
                    ask(Change::RemoveStage { list, at });
                }
                if at + 1 < stages.len() && small("later", "after the next stage") {
                    ask(Change::MoveStage { list, from: at, to: at + 1 });
                }
                if at > 0 && small("sooner", "before the stage above") {
                    ask(Change::MoveStage { list, from: at, to: at - 1 });
                }
            });
        });
        self.set_open(&base, open);
        self.parameter(ui, format!("{base}/strength"), &d.strength, "strength", stage.strength, inputs);
        if let Some(lut) = &stage.lut
            && let Some(wish) = lut::rows(ui, list, at, lut)
        {
            self.lut_wish = Some(wish);
        }
        if d.key == "curves" {
            self.curves(ui, list, at, stage, open, inputs);
        } else if open {
            for (parameter, value) in d.parameters.iter().zip(&stage.values) {
                let label = words(parameter.key);
                self.parameter(ui, format!("{base}/{}", parameter.key), parameter, &label, *value, inputs);
            }
        }
        if open {
            if list == List::Look {
                self.trims_of_stage(ui, s, stages, at, inputs);
            }
            self.without(ui, list, at, inputs);
        }
    }

    /// A menu of stages to put in: at the end of `list`, or without one where each belongs.
    fn put_in(
        &mut self,
        ui: &mut Ui,
        text: &str,
        chain: &Chain,
        list: Option<List>,
        inputs: &mut Vec<Input>,
    ) {
        let menu = ui.menu_button(RichText::new(text).size(11.0), |ui| {
            for kind in (0..STAGES.len()).map(Kind) {
                let d = kind.declaration();
                if d.table {
                    ui.add_enabled(false, egui::Button::new(words(d.key)))
                        .on_disabled_hover_text("drop a .cube or .clf file on this window");
                    continue;
                }
                if ui.button(words(d.key)).on_hover_text(d.doc.trim()).clicked() {
                    let (list, at) = match list {
                        Some(list) => (list, chain.list(list).len()),
                        None => chain.place_for(kind),
                    };
                    let change = Change::AddStage { list, at, stage: Stage::new(kind) };
                    inputs.push(Input::Change { change, control: MOUSE });
                    self.in_hand = format!("{}/{}/strength", list.key(), at + 1).into();
                    self.reveal = true;
                    ui.close();
                }
            }
        });
        menu.response.on_hover_text(match list {
            Some(_) => "at the end of this list",
            None => "where it belongs: texture ahead of tone, grain last, everything else at the look's end",
        });
    }

    /// A line that opens and closes a family of parameters; a dot where one of them is not at its default.
    pub(super) fn fold(&mut self, ui: &mut Ui, key: &str, label: &str, touched: bool) -> bool {
        let mut open = self.open.contains(key);
        ui.horizontal(|ui| {
            let mark = triangle(ui, open, label);
            let text = if touched { format!("{label}  •") } else { label.to_owned() };
            let ink = if touched { look::TEXT } else { look::QUIET };
            let name =
                ui.add(egui::Label::new(RichText::new(text).size(12.0).color(ink)).sense(Sense::CLICK));
            if mark.clicked() || name.clicked() {
                open = !open;
            }
        });
        self.set_open(key, open);
        open
    }

    fn set_open(&mut self, key: &str, open: bool) {
        if open && !self.open.contains(key) {
            self.open.insert(key.to_owned());
        } else if !open {
            self.open.remove(key);
        }
    }

    pub(super) fn parameter(
        &mut self,
        ui: &mut Ui,
        address: String,
        parameter: &Parameter,
        label: &str,
        value: f64,
        inputs: &mut Vec<Input>,
    ) {
        let address: Arc<str> = address.into();
        let in_hand = self.in_hand == address;
        self.addresses.push(address.clone());
        if let Some(first) = self.begin.take_if(|_| in_hand) {
            self.typing = Some(Typing::new(address.clone(), first, parameter.show(value)));
        }
        let spec = Row { parameter, address: &address, label, value, in_hand };
        let (response, touch) = row(ui, &spec, &mut self.typing);
        if in_hand && std::mem::take(&mut self.reveal) {
            response.scroll_to_me(None);
        }
        let Some(touch) = touch else { return };
        self.in_hand = address.clone();
        self.took = true;
        match touch {
            Touch::Turn(detents) => inputs.push(Input::Turn { target: address, detents, control: MOUSE }),
            Touch::Step(detents) => inputs.push(Input::Turn { target: address, detents, control: KEYBOARD }),
            Touch::To(value) => inputs.push(Input::Set { target: address, value }),
            Touch::Reset => inputs.push(Input::Reset { target: address }),
            Touch::Pick => {}
        }
    }
}

/// A menu of the library's looks with their stages: the one that is chosen is copied into the look on view.
fn copy_stage(ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
    let menu = ui.menu_button(RichText::new("copy a stage").size(11.0), |ui| {
        for look in s.looks.iter() {
            ui.menu_button(&look.name, |ui| {
                for key in stage_keys(&look.stages) {
                    if ui.button(words(&key.to_string())).clicked() {
                        if let Ok(change) = s.show.take_stage(&s.dir, look, key, None) {
                            inputs.push(Input::Change { change, control: MOUSE });
                        }
                        ui.close();
                    }
                }
            });
        }
    });
    menu.response.on_hover_text("from another look, with its settings, to where it belongs in this one");
}

/// Rasters to choose from, with the standards that have them.
const RASTERS: &[(&str, &str, (u32, u32))] = &[
    ("1280x720", "high definition, SMPTE ST 296", (1280, 720)),
    ("1920x1080", "high definition, Rec. ITU-R BT.709", (1920, 1080)),
    ("2048x1080", "digital cinema, SMPTE ST 428-1", (2048, 1080)),
    ("3840x2160", "ultra-high definition, Rec. ITU-R BT.2020", (3840, 2160)),
    ("4096x2160", "digital cinema, SMPTE ST 428-1", (4096, 2160)),
];
/// After them: as large as the frames of the shot on view are now.
const THIS: (&str, &str) = ("this shot's", "the size of its frames");
/// … and as large as the first shot's frames, whichever that will be.
pub(super) const FIRST: (&str, &str) =
    ("the first shot's", "the size of its frames, whichever shot is the first");

/// What assistive programs call a widget whose own words are not enough: a word that stands there several times, or none.
pub(super) fn named(widget: &egui::Response, role: egui::Role, name: &str) {
    widget.widget_info(|| egui::WidgetInfo::labeled(role, widget.enabled(), name));
}

/// What a choice beside it is about.
fn caption(ui: &mut Ui, text: &str) {
    let label = egui::Label::new(RichText::new(text).size(11.0).color(look::QUIET));
    ui.add_sized([44.0, 18.0], label);
}

/// A small mark that opens and closes what belongs to a line.
fn triangle(ui: &mut Ui, open: bool, what: &str) -> egui::Response {
    let (rect, response) = ui.allocate_exact_size(Vec2::splat(14.0), Sense::click());
    let ink = if response.hovered() { look::BRIGHT } else { look::QUIET };
    let c = rect.center();
    let corners =
        if open { [(-4.0, -2.0), (4.0, -2.0), (0.0, 3.5)] } else { [(-2.0, -4.0), (3.5, 0.0), (-2.0, 4.0)] };
    let points = corners.map(|(x, y)| c + Vec2::new(x, y)).to_vec();
    ui.painter().add(egui::Shape::convex_polygon(points, ink, egui::Stroke::NONE));
    response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, open, what));
    response.on_hover_text(if open { "close" } else { "open" })
}

/// What a parameter's key has in common with its neighbours': "offset" of "offset-r".
fn family(key: &str) -> &str {
    key.split('-').next().unwrap_or(key)
}

/// Runs of parameters of one family.
fn groups(parameters: &[Parameter]) -> Vec<std::ops::Range<usize>> {
    let mut out: Vec<std::ops::Range<usize>> = Vec::new();
    for (i, p) in parameters.iter().enumerate() {
        match out.last_mut() {
            Some(group) if family(parameters[group.start].key) == family(p.key) => group.end = i + 1,
            _ => out.push(i..i + 1),
        }
    }
    out
}

/// A line about what stands above it.
fn quiet(ui: &mut Ui, salt: &str, text: &str) {
    ui.indent(("about", salt), |ui| ui.label(RichText::new(text).size(11.0).color(look::QUIET)));
}

/// A table's file as a line has room for it.
fn file_name(lut: &NamedLut) -> String {
    lut.file.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// A name with others to choose from, each with a word about it; which was chosen.
pub(super) fn choose<'a>(
    ui: &mut Ui,
    salt: &str,
    now: &str,
    all: impl Iterator<Item = (&'a str, &'a str)>,
) -> Option<usize> {
    let mut chosen = None;
    ui.push_id(salt, |ui| {
        let menu = ui.menu_button(RichText::new(now).size(11.0), |ui| {
            for (i, (name, about)) in all.enumerate() {
                if ui.selectable_label(name == now, name).on_hover_text(about).clicked() {
                    chosen = Some(i);
                    ui.close();
                }
            }
        });
        named(&menu.response, egui::Role::ComboBox, &format!("{salt}: {now}"));
    });
    chosen
}

/// "offset-r" as a person reads it.
pub(super) fn words(key: &str) -> String {
    key.replace('-', " ")
}

/// A station of the light path: a mark on its line, a name, a few words.
fn station(ui: &mut Ui, name: &str, about: &str) {
    ui.add_space(7.0);
    let (rect, _) = ui.allocate_exact_size(Vec2::new(ui.available_width(), 16.0), Sense::hover());
    let p = ui.painter();
    let mark = egui::pos2(rect.left() + 4.0, rect.center().y);
    p.circle_filled(mark, 3.0, look::QUIET);
    p.hline(rect.left() + 12.0..=rect.right(), rect.bottom() + 1.0, egui::Stroke::new(1.0, look::LINE));
    p.text(
        egui::pos2(rect.left() + 14.0, rect.center().y),
        egui::Align2::LEFT_CENTER,
        name,
        egui::FontId::proportional(13.0),
        look::TEXT,
    );
    if !about.is_empty() {
        ui.indent(name, |ui| ui.label(RichText::new(about).size(11.0).color(look::QUIET)));
    }
}
