//! The sheet of looks on the desk: every look of the library on a shot, to click.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, channel};

use egui::{Align2, Color32, FontId, Rect, Sense, Stroke, StrokeKind, TextureHandle, Ui, Vec2, pos2};

use super::look;
use crate::engine::sheet::{self, Job, Sheet, SheetError, Tried};
use crate::engine::{Command, Input, Snapshot};
use crate::gpu::Gpu;
use crate::show::{Look, Output};

/// Pixels across the page that the pictures are drawn on, captions included.
const WIDTH: u32 = 700;
/// Room for a name under each picture, and between pictures.
const NAME: f32 = 22.0;
const GAP: f32 = 10.0;

/// The sheet, being made or made.
pub(super) struct LookSheet {
    made: Receiver<Result<Sheet, SheetError>>,
    quit: Arc<AtomicBool>,
    done: Arc<AtomicUsize>,
    total: usize,
    /// The shot that it shows, and looks of which library: the pictures' places in that.
    shot: usize,
    looks: Arc<[Look]>,
    places: Vec<usize>,
    finished: Option<Result<(Sheet, TextureHandle), String>>,
}

impl LookSheet {
    /// Begins to make the sheet of a show's looks on the shot that is on view. `tell` is called as it goes on.
    pub fn begin(s: &Snapshot, gpu: &Arc<Gpu>, tell: impl Fn() + Send + Sync + 'static) -> Self {
        let (send, made) = channel();
        let (quit, done) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicUsize::new(0)));
        // The show's own look comes first, whatever is tried.
        let show = s.trying.as_ref().map_or(&s.show, |t| &t.own).clone();
        let (dir, gpu, looks, shot) = (s.dir.clone(), gpu.clone(), s.looks.clone(), s.shot);
        let (stop, count) = (quit.clone(), done.clone());
        // One that the show cannot have is passed over, as when they are tried one by one.
        let fits = |look: &Look| (*show).clone().apply(look.change(1.0)).is_ok();
        let places: Vec<usize> = (0..looks.len()).filter(|at| fits(&looks[*at])).collect();
        let total = places.len() + 1;
        let (library, chosen) = (looks.clone(), places.clone());
        // A thread of its own: those of the pool decode and compile for the picture.
        let at_work = gpu.at_work();
        std::thread::spawn(move || {
            let _at_work = at_work;
            let own = Tried { name: "as it is".into(), note: String::new(), stages: None };
            let tried = chosen.iter().map(|at| &looks[*at]).map(|look| Tried {
                name: look.name.clone(),
                note: look.note.clone(),
                stages: Some(look.stages.clone()),
            });
            let looks: Vec<_> = std::iter::once(own).chain(tried).collect();
            // As the picture beside it is.
            let settings = &show.outputs.desk;
            let job = Job {
                show: &show,
                dir: &dir,
                looks: &looks,
                shots: &[shot],
                output: Some(Output::Desk),
                settings,
                width: WIDTH,
                gpu: Some(gpu),
            };
            let sheet = sheet::sheet(&job, &mut |_, _, done, _| {
                count.store(done, Ordering::Relaxed);
                tell();
                !stop.load(Ordering::Relaxed)
            });
            let _ = send.send(sheet);
            tell();
        });
        Self { made, quit, done, total, shot, looks: library, places, finished: None }
    }

    /// Is it of the looks that can be tried?
    pub fn is_of(&self, s: &Snapshot) -> bool {
        Arc::ptr_eq(&self.looks, &s.looks)
    }

    /// Draws it over the picture's area. A click tries a look. False when it is to be closed.
    pub fn draw(&mut self, ui: &mut Ui, area: Rect, s: &Snapshot, inputs: &mut Vec<Input>) -> bool {
        if let Ok(made) = self.made.try_recv() {
            self.finished = Some(made.map_err(|e| e.to_string()).map(|sheet| {
                let texture = texture(ui, &sheet);
                (sheet, texture)
            }));
        }
        let p = ui.painter().with_clip_rect(area);
        p.rect_filled(area, 0.0, look::PANE);
        let say = |text: &str, ink: Color32| {
            p.text(area.center(), Align2::CENTER_CENTER, text, FontId::proportional(13.0), ink);
        };
        let (sheet, texture) = match &self.finished {
            None => {
                let text = format!(
                    "{} of {} looks are drawn · Esc leaves it",
                    self.done.load(Ordering::Relaxed),
                    self.total
                );
                say(&text, look::TEXT);
                return true;
            }
            Some(Err(why)) => {
                say(&format!("⚠ {why}"), look::WARN);
                return true;
            }
            Some(Ok(made)) => made,
        };
        let [_, _, width, height] = sheet.places.first().copied().unwrap_or([0, 0, 16, 9]);
        let cells = cells(area, sheet.places.len(), width as f32 / height.max(1) as f32);
        let size = Vec2::new(sheet.width as f32, sheet.height as f32);
        let tried = s.trying.as_ref().map(|t| t.at);
        let now = tried.map_or(Some(0), |at| self.places.iter().position(|p| *p == at).map(|i| i + 1));
        for (i, ([left, top, width, height], rect)) in sheet.places.iter().zip(cells).enumerate() {
            let (from, to) =
                (pos2(*left as f32, *top as f32), pos2((left + width) as f32, (top + height) as f32));
            let part = Rect::from_min_max((from.to_vec2() / size).to_pos2(), (to.to_vec2() / size).to_pos2());
            p.image(texture.id(), rect, part, Color32::WHITE);
            let response = ui.interact(rect, ui.scope_id().with(("look", i)), Sense::click());
            let place = i.checked_sub(1).and_then(|i| self.places.get(i).copied());
            let look = place.and_then(|at| self.looks.get(at));
            let name = look.map_or("as it is", |l| &l.name);
            response
                .widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, Some(i) == now, name));
            let ink = if Some(i) == now { look::BRIGHT } else { look::TEXT };
            let under = rect.left_bottom() + Vec2::new(2.0, NAME / 2.0);
            p.text(under, Align2::LEFT_CENTER, name, FontId::proportional(12.0), ink);
            let edge = match (Some(i) == now, response.hovered()) {
                (true, _) => Some(Stroke::new(2.0, look::BRIGHT)),
                (_, true) => Some(Stroke::new(1.0, look::TEXT)),
                _ => None,
            };
            if let Some(edge) = edge {
                p.rect_stroke(rect.expand(2.0), 0.0, edge, StrokeKind::Outside);
            }
            if response.clicked() {
                if s.shot != self.shot {
                    inputs.push(Input::Command(Command::Shot(self.shot)));
                }
                inputs.push(Input::Command(match place {
                    Some(at) => Command::TryLook(at),
                    None => Command::LeaveLook,
                }));
            }
            if response.double_clicked() {
                return false;
            }
            if let Some(look) = look.filter(|l| !l.note.is_empty()) {
                response.on_hover_text(&look.note);
            }
        }
        true
    }
}

impl Drop for LookSheet {
    fn drop(&mut self) {
        self.quit.store(true, Ordering::Relaxed);
    }
}

/// Places for so many pictures of a shape, as large as they can be in an area, row by row.
fn cells(area: Rect, count: usize, shape: f32) -> Vec<Rect> {
    let area = area.shrink(GAP);
    let width = |columns: usize| {
        let rows = count.div_ceil(columns) as f32;
        let across = (area.width() + GAP) / columns as f32 - GAP;
        across.min(((area.height() + GAP) / rows - GAP - NAME) * shape)
    };
    let columns = (1..=count.max(1)).max_by(|a, b| width(*a).total_cmp(&width(*b))).unwrap_or(1);
    let cell = Vec2::new(width(columns), width(columns) / shape).max(Vec2::ZERO);
    let step = cell + Vec2::new(GAP, GAP + NAME);
    let rows = count.div_ceil(columns);
    let whole = step * Vec2::new(columns as f32, rows as f32) - Vec2::splat(GAP);
    let start = area.center() - whole / 2.0;
    let place = |i: usize| start + step * Vec2::new((i % columns) as f32, (i / columns) as f32);
    (0..count).map(|i| Rect::from_min_size(place(i), cell)).collect()
}

fn texture(ui: &Ui, sheet: &Sheet) -> TextureHandle {
    let size = [sheet.width as usize, sheet.height as usize];
    let rgb: Vec<u8> = sheet.pixels.iter().flat_map(|p| p.map(|code| code.min(255) as u8)).collect();
    let options = egui::TextureOptions::LINEAR;
    ui.ctx().load_texture("looks", egui::ColorImage::from_rgb(size, &rgb), options)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Through the accessibility tree: a look is found by its name and tried; the one on view is marked.
    #[test]
    fn looks_are_found_by_their_names() {
        use egui::accesskit::Toggled;
        use egui_kittest::Harness;
        use egui_kittest::kittest::{NodeT, Queryable};
        let looks: Arc<[Look]> = crate::show::shipped_looks()[..3].to_vec().into();
        let snapshot = crate::desk::panes::snapshot_of(crate::show::Show::new("test"));
        let places = (0..4).map(|i| [16 * i, 0, 16, 9]).collect();
        let mut made =
            Some(Sheet { width: 64, height: 9, pixels: vec![[90; 3]; 64 * 9], places, frames: vec![0] });
        let (_, receiver) = channel();
        let mut sheet = LookSheet {
            made: receiver,
            quit: Arc::default(),
            done: Arc::default(),
            total: 4,
            shot: 0,
            looks: looks.clone(),
            places: vec![0, 1, 2],
            finished: None,
        };
        let mut tree = Harness::builder().with_size(Vec2::new(800.0, 500.0)).build_ui_state(
            move |ui, asked: &mut Vec<Input>| {
                let area = ui.max_rect();
                if let Some(made) = made.take() {
                    let texture = texture(ui, &made);
                    sheet.finished = Some(Ok((made, texture)));
                }
                assert!(sheet.draw(ui, area, &snapshot, asked));
            },
            Vec::new(),
        );
        tree.run_steps(2);
        assert_eq!(tree.get_by_label("as it is").accesskit_node().toggled(), Some(Toggled::True));
        tree.get_by_label(&looks[1].name).click_accesskit();
        tree.run_steps(2);
        assert!(matches!(tree.state()[..], [Input::Command(Command::TryLook(1))]), "{:?}", tree.state());
    }

    #[test]
    fn pictures_fill_an_area_and_do_not_touch() {
        for (area, count, columns) in
            [((1000.0, 700.0), 11, 3), ((400.0, 900.0), 11, 2), ((900.0, 200.0), 3, 3)]
        {
            let area = Rect::from_min_size(pos2(7.0, 9.0), area.into());
            let cells = cells(area, count, 16.0 / 9.0);
            assert_eq!(cells.iter().filter(|c| c.top() == cells[0].top()).count(), columns, "{area:?}");
            for (i, cell) in cells.iter().enumerate() {
                assert!(area.contains_rect(*cell) && area.bottom() >= cell.bottom() + NAME, "{cell:?}");
                assert!((cell.width() / cell.height() - 16.0 / 9.0).abs() < 1e-3);
                assert!(cells[..i].iter().all(|other| !other.expand(GAP / 3.0).intersects(*cell)));
            }
        }
    }
}
