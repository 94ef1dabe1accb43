//! The sheet of stills and versions on the desk, over the picture's place: looked at, compared with, taken back.

use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use egui::{
    Align2, Color32, FontId, Rect, RichText, Sense, Stroke, StrokeKind, TextEdit, TextureHandle, Ui, Vec2,
    pos2,
};

use super::look;
use crate::colour::display;
use crate::engine::stills::{as_shown, still_signal};
use crate::engine::{Command, Comparing, Input, Keep, Snapshot, With};
use crate::picture::Way;
use crate::show::{GradeVersion, OutputSettings, Portion, Still};

/// Pixels of a small picture, at most.
const SMALL: (u32, u32) = (320, 180);
/// A cell's room for a picture, in points, and for what stands under it.
const CELL: Vec2 = Vec2::new(216.0, 122.0);
const WORDS: f32 = 34.0;
const GAP: f32 = 14.0;
/// Width of the column beside the pictures.
const COLUMN: f32 = 300.0;

type Small = (Arc<str>, Result<(u32, u32, Vec<u8>), String>);

/// The sheet.
pub(super) struct StillSheet {
    tell: Arc<dyn Fn() + Send + Sync>,
    send: Sender<Small>,
    made: Receiver<Small>,
    /// Small pictures by the still's id, or why there is none; nothing while one is being made.
    pictures: HashMap<Arc<str>, Option<Result<TextureHandle, String>>>,
    chosen: Option<Arc<str>>,
    /// The chosen still's name and note, as they are typed.
    typed: (String, String),
    /// Shots that a grade is taken onto; none: the one on view.
    onto: BTreeSet<usize>,
    /// What is about to be removed, if that is said once more.
    removing: Option<Arc<str>>,
    version: Option<Arc<str>>,
    /// The name of the chosen version, and of one that is about to be kept.
    version_names: (String, String),
}

impl StillSheet {
    pub fn new(tell: impl Fn() + Send + Sync + 'static) -> Self {
        let (send, made) = channel();
        Self {
            tell: Arc::new(tell),
            send,
            made,
            pictures: HashMap::new(),
            chosen: None,
            typed: Default::default(),
            onto: BTreeSet::new(),
            removing: None,
            version: None,
            version_names: Default::default(),
        }
    }

    /// Draws it over the picture's area. False when it is to be closed.
    pub fn draw(&mut self, ui: &mut Ui, area: Rect, s: &Snapshot, inputs: &mut Vec<Input>) -> bool {
        self.take_pictures(ui);
        ui.painter().rect_filled(area, 0.0, look::PANE);
        let inside = area.shrink2(Vec2::new(16.0, 12.0));
        let narrow = inside.width() < 2.5 * COLUMN;
        let column = if narrow { inside.width() * 0.45 } else { COLUMN };
        let left = Rect::from_min_max(inside.min, pos2(inside.right() - column - 16.0, inside.bottom()));
        let right = Rect::from_min_max(pos2(inside.right() - column, inside.top()), inside.max);
        let mut stays = true;
        ui.scope_builder(egui::UiBuilder::new().max_rect(left), |ui| {
            ui.set_clip_rect(left.expand(4.0).intersect(ui.clip_rect()));
            heading(ui, "Stills", "G keeps the frame on view · click one to stand beside it · Esc leaves");
            egui::ScrollArea::vertical().id_salt("stills").show(ui, |ui| {
                stays = self.grid(ui, left.width(), s, inputs);
            });
        });
        ui.scope_builder(egui::UiBuilder::new().max_rect(right), |ui| {
            ui.set_clip_rect(right.expand(4.0).intersect(ui.clip_rect()));
            egui::ScrollArea::vertical().id_salt("about stills").show(ui, |ui| {
                ui.set_max_width(column - 12.0);
                self.about(ui, s, inputs);
                ui.add_space(14.0);
                self.versions(ui, s, inputs);
            });
        });
        stays
    }

    /// Small pictures that were made become textures.
    fn take_pictures(&mut self, ui: &Ui) {
        while let Ok((id, made)) = self.made.try_recv() {
            let texture = made.map(|(width, height, rgb)| {
                let image = egui::ColorImage::from_rgb([width as usize, height as usize], &rgb);
                ui.ctx().load_texture(format!("still {id}"), image, egui::TextureOptions::LINEAR)
            });
            self.pictures.insert(id, Some(texture));
        }
    }

    fn grid(&mut self, ui: &mut Ui, width: f32, s: &Snapshot, inputs: &mut Vec<Input>) -> bool {
        if s.kept.stills.is_empty() {
            ui.add_space(20.0);
            ui.label(
                RichText::new("No stills yet. G keeps the frame on view, with the grade that made it.")
                    .color(look::QUIET),
            );
            ui.label(
                RichText::new(
                    "A picture from outside (PNG, TIFF, EXR, DPX, JPEG) can be dropped on the window.",
                )
                .color(look::QUIET),
            );
            return true;
        }
        let columns = (((width - 10.0 + GAP) / (CELL.x + GAP)).floor() as usize).max(1);
        let rows = s.kept.stills.len().div_ceil(columns);
        let size = Vec2::new(width - 10.0, rows as f32 * (CELL.y + WORDS + GAP));
        let (whole, _) = ui.allocate_exact_size(size, Sense::hover());
        let mut stays = true;
        for (i, still) in s.kept.stills.iter().enumerate() {
            let (column, row) = ((i % columns) as f32, (i / columns) as f32);
            let at = whole.min
                + Vec2::new(column * (CELL.x + GAP), row * (CELL.y + WORDS + GAP))
                + Vec2::splat(3.0);
            let cell = Rect::from_min_size(at, CELL);
            if ui.is_rect_visible(cell) {
                stays &= self.cell(ui, cell, i, still, s, inputs);
            }
        }
        stays
    }

    /// One still; false when it was clicked twice.
    fn cell(
        &mut self,
        ui: &mut Ui,
        cell: Rect,
        number: usize,
        still: &Still,
        s: &Snapshot,
        inputs: &mut Vec<Input>,
    ) -> bool {
        let response = ui.interact(cell, ui.scope_id().with(("still", &*still.id)), Sense::click());
        let beside = s.kept.with == Some(With::Still(still.id.clone()));
        let p = ui.painter();
        p.rect_filled(cell, 0.0, look::SCOPE);
        match self.pictures.get(&still.id) {
            None => {
                self.pictures.insert(still.id.clone(), None);
                self.make(&s.dir, still);
            }
            Some(Some(Ok(texture))) => {
                let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
                p.image(texture.id(), fitted(cell, texture.size_vec2()), whole, Color32::WHITE);
            }
            Some(Some(Err(_))) => {
                p.text(
                    cell.center(),
                    Align2::CENTER_CENTER,
                    "⚠ no picture",
                    FontId::proportional(12.0),
                    look::WARN,
                );
            }
            Some(None) => {}
        }
        let chosen = self.chosen.as_ref() == Some(&still.id);
        let ink = if chosen { look::BRIGHT } else { look::TEXT };
        let words = p.with_clip_rect(Rect::from_min_size(cell.left_bottom(), Vec2::new(CELL.x, WORDS)));
        let font = FontId::proportional(12.0);
        words.text(
            cell.left_bottom() + Vec2::new(1.0, 5.0),
            Align2::LEFT_TOP,
            format!("{}  {}", number + 1, still.name),
            font,
            ink,
        );
        let under = match (&still.of, beside && s.kept.on) {
            (_, true) => "beside the picture".to_owned(),
            (Some(of), _) => format!("{}  {}", of.shot, of.timecode),
            (None, _) => format!("reference · {}", still.display.id),
        };
        words.text(
            cell.left_bottom() + Vec2::new(1.0, 20.0),
            Align2::LEFT_TOP,
            under,
            FontId::proportional(11.0),
            look::QUIET,
        );
        let edge = match (chosen, response.hovered()) {
            (true, _) => Some(Stroke::new(2.0, look::BRIGHT)),
            (_, true) => Some(Stroke::new(1.0, look::TEXT)),
            _ => None,
        };
        if let Some(edge) = edge {
            ui.painter().rect_stroke(cell, 0.0, edge, StrokeKind::Outside);
        }
        let name = &still.name;
        response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, chosen, name));
        if response.clicked() && !chosen {
            self.choose(still);
            inputs.push(Input::Keep(Keep::Beside(With::Still(still.id.clone()))));
        }
        if response.double_clicked() {
            if !s.kept.on {
                inputs.push(Input::Command(Command::Comparing(Comparing::Toggle(Way::Wipe))));
            }
            return false;
        }
        if let Some(Some(Err(why))) = self.pictures.get(&still.id) {
            response.on_hover_text(why);
        } else if !still.note.is_empty() {
            response.on_hover_text(&still.note);
        }
        true
    }

    fn choose(&mut self, still: &Still) {
        self.chosen = Some(still.id.clone());
        self.typed = (still.name.clone(), still.note.clone());
        self.removing = None;
    }

    /// Has a still's small picture made, off the window's thread.
    fn make(&self, dir: &Path, still: &Still) {
        let (dir, still, send, tell) = (dir.to_owned(), still.clone(), self.send.clone(), self.tell.clone());
        rayon::spawn(move || {
            let _ = send.send((still.id.clone(), small(&dir, &still)));
            tell();
        });
    }

    /// What the chosen still is, and what of it can be taken.
    fn about(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        let chosen = self.chosen.as_ref().and_then(|id| s.kept.stills.iter().find(|still| still.id == *id));
        let Some(still) = chosen else {
            heading(ui, "Still", "none is chosen");
            return;
        };
        heading(ui, "Still", &still.kept.replace('T', "  ").replace('Z', " UTC"));
        let id = &still.id;
        let name =
            ui.add(TextEdit::singleline(&mut self.typed.0).hint_text("name").desired_width(f32::INFINITY));
        if name.lost_focus() && self.typed.0 != still.name {
            inputs.push(Input::Keep(Keep::RenameStill { id: id.clone(), name: self.typed.0.clone() }));
        }
        let note = ui.add(
            TextEdit::singleline(&mut self.typed.1).hint_text("a line about it").desired_width(f32::INFINITY),
        );
        if note.lost_focus() && self.typed.1 != still.note {
            inputs.push(Input::Keep(Keep::NoteStill { id: id.clone(), note: self.typed.1.clone() }));
        }
        let of = still.of.as_ref().map_or("from outside".to_owned(), |of| {
            format!("{}, frame {}, {}", of.shot, of.frame, of.timecode)
        });
        let what = format!("{of}\n{}×{}, {}", still.size.0, still.size.1, still.display.name);
        ui.label(RichText::new(what).size(11.0).color(look::QUIET));
        ui.add_space(4.0);
        if still.of.is_some() {
            ui.label("take from it");
            ui.horizontal_wrapped(|ui| {
                for portion in Portion::ALL {
                    let hint = match portion {
                        Portion::Whole => {
                            "balance, framing and strengths of the shots below, and the chain, which all shots share"
                        }
                        Portion::Balance => "the balance, onto the shots below",
                        Portion::Look => "the look, which all shots of a show share",
                        Portion::Strengths => "what the still's shot made of the look's strengths, onto the shots below",
                    };
                    if ui.button(portion.key()).on_hover_text(format!("{hint}: one step to undo")).clicked() {
                        let shots = self.onto.iter().copied().filter(|i| *i < s.show.shots.len()).collect();
                        inputs.push(Input::Keep(Keep::Restore { id: id.clone(), portion, shots }));
                    }
                }
            });
            ui.label(RichText::new("onto").color(look::QUIET));
            ui.horizontal_wrapped(|ui| {
                if ui.selectable_label(self.onto.is_empty(), "the shot on view").clicked() {
                    self.onto.clear();
                }
                for (i, shot) in s.show.shots.iter().enumerate() {
                    let on = self.onto.contains(&i);
                    if ui.selectable_label(on, &shot.name).clicked() {
                        if on {
                            self.onto.remove(&i)
                        } else {
                            self.onto.insert(i)
                        };
                    }
                }
            });
        }
        ui.add_space(4.0);
        if remove_button(ui, &mut self.removing, id) {
            inputs.push(Input::Keep(Keep::RemoveStill { id: id.clone() }));
            self.chosen = None;
        }
    }

    fn versions(&mut self, ui: &mut Ui, s: &Snapshot, inputs: &mut Vec<Input>) {
        heading(ui, "Versions", "of the whole grade");
        ui.horizontal(|ui| {
            let edit = TextEdit::singleline(&mut self.version_names.1).hint_text("name").desired_width(160.0);
            ui.add(edit);
            if ui.button("keep this grade").on_hover_text("Ctrl G").clicked() {
                let name = std::mem::take(&mut self.version_names.1);
                inputs.push(Input::Keep(Keep::Version { name }));
            }
        });
        for version in s.kept.versions.iter() {
            let chosen = self.version.as_ref() == Some(&version.id);
            if ui.selectable_label(chosen, &version.name).on_hover_text(&version.kept).clicked() {
                self.version = (!chosen).then(|| version.id.clone());
                self.version_names.0.clone_from(&version.name);
                self.removing = None;
                inputs.push(Input::Keep(Keep::LookAtVersion { id: version.id.clone() }));
            }
            if chosen {
                self.one_version(ui, version, s, inputs);
            }
        }
    }

    fn one_version(&mut self, ui: &mut Ui, version: &GradeVersion, s: &Snapshot, inputs: &mut Vec<Input>) {
        let id = &version.id;
        ui.indent("version", |ui| {
            let name = ui
                .add(TextEdit::singleline(&mut self.version_names.0).hint_text("name").desired_width(200.0));
            if name.lost_focus() && self.version_names.0 != version.name {
                let name = self.version_names.0.clone();
                inputs.push(Input::Keep(Keep::RenameVersion { id: id.clone(), name }));
            }
            ui.horizontal_wrapped(|ui| {
                let hint =
                    "in the place of the grade in use, which is kept as a version first: one step to undo";
                if ui.button("use it").on_hover_text(hint).clicked() {
                    inputs.push(Input::Keep(Keep::UseVersion { id: id.clone() }));
                }
                let with = With::Version(id.clone());
                let on = s.kept.on && s.kept.with.as_ref() == Some(&with);
                if ui
                    .selectable_label(on, "beside")
                    .on_hover_text("W, I or D put the picture beside it")
                    .clicked()
                {
                    inputs.push(Input::Keep(Keep::Beside(with)));
                    if !s.kept.on {
                        inputs.push(Input::Command(Command::Comparing(Comparing::Toggle(Way::Wipe))));
                    }
                }
                if remove_button(ui, &mut self.removing, id) {
                    inputs.push(Input::Keep(Keep::RemoveVersion { id: id.clone() }));
                    self.version = None;
                }
            });
            ui.label(RichText::new("Q, held, shows the picture as it has it").size(11.0).color(look::QUIET));
        });
    }
}

fn heading(ui: &mut Ui, name: &str, about: &str) {
    ui.horizontal(|ui| {
        ui.label(RichText::new(name).size(14.0).color(look::BRIGHT));
        ui.label(RichText::new(about).size(11.0).color(look::QUIET));
    });
    ui.add_space(4.0);
}

/// A button that removes something when it is pressed once more.
fn remove_button(ui: &mut Ui, removing: &mut Option<Arc<str>>, id: &Arc<str>) -> bool {
    let sure = removing.as_ref() == Some(id);
    let text = if sure {
        RichText::new("⚠ remove it for good").color(look::WARN)
    } else {
        RichText::new("remove …")
    };
    let clicked = ui.button(text).clicked();
    if clicked {
        *removing = if sure { None } else { Some(id.clone()) };
    }
    clicked && sure
}

/// The largest place of a picture's shape in the middle of a cell.
fn fitted(cell: Rect, size: Vec2) -> Rect {
    let scale = (cell.width() / size.x.max(1.0)).min(cell.height() / size.y.max(1.0));
    Rect::from_center_size(cell.center(), size * scale)
}

/// A still's small picture: width, height, and bytes as sRGB has them.
fn small(dir: &Path, still: &Still) -> Result<(u32, u32, Vec<u8>), String> {
    let (width, height) = (f64::from(still.size.0), f64::from(still.size.1));
    let scale = (f64::from(SMALL.0) / width).min(f64::from(SMALL.1) / height).min(1.0);
    let size = ((width * scale).round().max(1.0) as u32, (height * scale).round().max(1.0) as u32);
    let signal = still_signal(dir, still, size).map_err(|e| e.to_string())?;
    let srgb = display("srgb").map(OutputSettings::new).ok_or("there is no display srgb")?;
    let codes = as_shown(&signal, &still.display, &srgb);
    Ok((size.0, size.1, codes.iter().flatten().map(|c| (c >> 8) as u8).collect()))
}

/// A picture that was dropped, and what is asked about it.
pub(super) struct BringIn {
    pub file: PathBuf,
    pub name: String,
    /// The display whose signal it holds.
    pub display: String,
}

impl BringIn {
    /// Asks; false once that is answered.
    pub fn ask(&mut self, ui: &Ui, s: &Snapshot, inputs: &mut Vec<Input>) -> bool {
        let mut stays = true;
        let window = egui::Window::new("A picture to compare with")
            .collapsible(false)
            .resizable(false)
            .anchor(Align2::CENTER_CENTER, Vec2::ZERO);
        window.show(ui.ctx(), |ui| {
            let file = self.file.file_name().unwrap_or_default().to_string_lossy().into_owned();
            ui.label(format!("{file} is copied into the show, among the stills."));
            egui::Grid::new("bring in").num_columns(2).spacing([12.0, 6.0]).show(ui, |ui| {
                ui.label("name");
                ui.add(TextEdit::singleline(&mut self.name).hint_text("as the file").desired_width(260.0));
                ui.end_row();
                ui.label("its values are signal of");
                ui.menu_button(self.display.clone(), |ui| {
                    for display in s.show.all_displays() {
                        if ui.selectable_label(*display.id == self.display, &*display.name).clicked() {
                            self.display = display.id.to_string();
                            ui.close();
                        }
                    }
                });
                ui.end_row();
            });
            ui.horizontal(|ui| {
                if ui.button("bring it in").clicked() || ui.input(|i| i.key_pressed(egui::Key::Enter)) {
                    inputs.push(Input::Keep(Keep::BringIn {
                        file: self.file.clone(),
                        name: self.name.clone(),
                        display: s.show.display(&self.display),
                    }));
                    stays = false;
                }
                stays &= !ui.button("leave").clicked() && !ui.input(|i| i.key_pressed(egui::Key::Escape));
            });
        });
        stays
    }
}
