//! The page that pictures are laid out on: neutral, one size of text and a smaller one.

use std::sync::Arc;

use egui::epaint::text::{Fonts, LayoutJob, TextFormat, TextOptions, TextWrapping};
use egui::{Color32, FontDefinitions, FontId, Galley};

use super::SheetError;
use crate::picture::{noise, quantise};
use crate::show::OutputSettings;

/// A name, and a line about it.
#[derive(Clone, Debug)]
pub(super) struct Label {
    pub name: String,
    pub about: String,
}

/// The surround, and text, as signals of BT.1886 at 100 cd/m²; other displays show the same light.
const SURROUND: f32 = 0.195;
const NAME: f32 = 0.78;
const ABOUT: f32 = 0.53;

/// Where a picture is, the number of its frame, and its pixels.
type Placed = ([u32; 2], u64, Vec<[f32; 3]>);

/// A page under way: text as coverage and level, pictures as signal.
pub(super) struct Page {
    fonts: Fonts,
    /// Size of names, in pixels; everything is measured by it.
    unit: f32,
    cell: (u32, u32),
    width: u32,
    height: u32,
    /// Levels of the page itself, row by row.
    levels: Vec<f32>,
    pictures: Vec<Placed>,
}

impl Page {
    /// Room for pictures in so many columns and rows.
    pub fn new(width: u32, raster: (u32, u32), columns: usize, rows: usize) -> Result<Self, SheetError> {
        let unit = (width as f32 / 135.0).round().clamp(11.0, 30.0);
        let columns = columns as u32;
        let fixed = (2.0 * margin(unit) + gutter(unit)) as u32 + (columns - 1) * gap(unit) as u32;
        let room = width.saturating_sub(fixed) / columns;
        const LEAST: u32 = 48;
        if room < LEAST {
            return Err(SheetError::Layout {
                what: format!("{columns} pictures beside one another have no room in {width} pixels"),
                accepted: format!("a width of {} pixels or more", fixed + columns * LEAST),
            });
        }
        let across = room.min(raster.0);
        let down = (f64::from(across) * f64::from(raster.1) / f64::from(raster.0)).round().max(1.0) as u32;
        let most = crate::picture::MAX_SIDE;
        let height = (down.saturating_add(gap(unit) as u32)).saturating_mul(rows as u32);
        if height > most {
            return Err(SheetError::Layout {
                what: format!("the sheet would be more than {most} pixels tall"),
                accepted: "a smaller --width, or fewer looks or shots".into(),
            });
        }
        let options = TextOptions { max_texture_side: 4096, ..TextOptions::default() };
        let width = fixed + columns * across;
        let fonts = Fonts::new(options, FontDefinitions::default());
        let (levels, pictures) = (Vec::new(), Vec::new());
        Ok(Self { fonts, unit, cell: (across, down), width, height: 0, levels, pictures })
    }

    /// Size of a picture.
    pub fn cell(&self) -> (u32, u32) {
        self.cell
    }

    /// Sets the text and says where pictures go, left and top, row by row.
    pub fn lay_out(
        &mut self,
        title: &Label,
        columns: &[Label],
        rows: &[Label],
        footer: &str,
    ) -> Vec<[u32; 2]> {
        let (unit, cell) = (self.unit, (self.cell.0 as f32, self.cell.1 as f32));
        let (margin, gutter, gap) = (margin(unit), gutter(unit), gap(unit));
        let whole = self.width as f32 - 2.0 * margin;
        let mut texts: Vec<(f32, f32, f32, Arc<Galley>)> = Vec::new();

        let mut y = margin;
        let name = self.set(&title.name, 1.5 * unit, whole, 1);
        let about = self.set(&title.about, self.small(), whole, 1);
        let base = (name.size().y - about.size().y) * 0.75;
        texts.push((margin, y, NAME, name.clone()));
        texts.push((margin + name.size().x + unit, y + base, ABOUT, about));
        y += name.size().y + 1.5 * unit;

        let left = |column: usize| margin + gutter + column as f32 * (cell.0 + gap);
        let heads: Vec<_> = columns.iter().map(|l| self.label(l, cell.0, 3)).collect();
        let tall = heads.iter().map(|(n, a)| n.size().y + a.size().y).fold(0.0, f32::max);
        for (column, (name, about)) in heads.into_iter().enumerate() {
            texts.push((left(column), y, NAME, name.clone()));
            texts.push((left(column), y + name.size().y, ABOUT, about));
        }
        y += tall + 0.5 * unit;

        let mut places = Vec::new();
        for row in rows {
            let lines = ((cell.1 - 1.4 * unit) / (1.35 * self.small())).max(1.0) as usize;
            let (name, about) = self.label(row, gutter - unit, lines);
            let text = name.size().y + about.size().y;
            texts.push((margin, y, NAME, name.clone()));
            texts.push((margin, y + name.size().y, ABOUT, about));
            places.extend((0..columns.len()).map(|c| [left(c).round() as u32, y.round() as u32]));
            y += cell.1.max(text) + gap;
        }

        let foot = self.set(footer, self.small(), whole, 2);
        y += unit - gap * 0.5;
        texts.push((margin, y, ABOUT, foot.clone()));
        y += foot.size().y + margin;

        self.height = y.ceil() as u32;
        self.levels = vec![SURROUND; self.width as usize * self.height as usize];
        for (x, y, level, galley) in texts {
            self.draw(x.round(), y.round(), level, &galley);
        }
        places
    }

    fn small(&self) -> f32 {
        (self.unit * 0.82).round().max(10.0)
    }

    fn label(&mut self, label: &Label, width: f32, lines: usize) -> (Arc<Galley>, Arc<Galley>) {
        (
            self.set(&label.name, self.unit, width, 1),
            self.set(&label.about, self.small(), width, if label.about.is_empty() { 1 } else { lines }),
        )
    }

    /// Text set in a column; what does not fit ends in an ellipsis.
    fn set(&mut self, text: &str, size: f32, width: f32, lines: usize) -> Arc<Galley> {
        let format = TextFormat::simple(FontId::proportional(size), Color32::WHITE);
        let mut job = LayoutJob::single_section(text.to_owned(), format);
        job.wrap = TextWrapping { max_width: width, max_rows: lines.max(1), ..TextWrapping::default() };
        self.fonts.with_pixels_per_point(1.0).layout_job(job)
    }

    fn draw(&mut self, x: f32, y: f32, level: f32, galley: &Galley) {
        let atlas = self.fonts.image();
        let across = atlas.size[0];
        for row in &galley.rows {
            let visuals = &row.row.visuals;
            // A glyph is four corners, the first its upper left one and the last its lower right one.
            for glyph in visuals.mesh.vertices[visuals.glyph_vertex_range.clone()].chunks_exact(4) {
                let (from, to) = (glyph[0].uv, glyph[3].uv);
                let left = (x + row.pos.x + glyph[0].pos.x).round() as i64;
                let top = (y + row.pos.y + glyph[0].pos.y).round() as i64;
                let size = ((to.x - from.x).round() as i64, (to.y - from.y).round() as i64);
                for dy in 0..size.1 {
                    for dx in 0..size.0 {
                        let texel = (from.y as usize + dy as usize) * across + from.x as usize + dx as usize;
                        let Some(ink) = atlas.pixels.get(texel) else { continue };
                        self.blend(left + dx, top + dy, level, f32::from(ink.a()) / 255.0);
                    }
                }
            }
        }
    }

    fn blend(&mut self, x: i64, y: i64, level: f32, cover: f32) {
        if (0..i64::from(self.width)).contains(&x) && (0..i64::from(self.height)).contains(&y) {
            let at = y as usize * self.width as usize + x as usize;
            self.levels[at] += (level - self.levels[at]) * cover;
        }
    }

    /// Puts a picture of a frame in its place.
    pub fn put(&mut self, at: [u32; 2], picture: &[[f32; 3]], frame: u64) {
        self.pictures.push((at, frame, picture.to_vec()));
    }

    /// The page as codes of 8 bits of an output's signal, the pictures dithered as on windows.
    pub fn codes(&self, settings: &OutputSettings) -> (u32, u32, Vec<[u16; 3]>) {
        let display = &settings.display;
        let curve = display.curve.values::<f64>();
        let white = display.widening().map_or([1.0; 3], |m| m.times([1.0; 3]));
        // Every level there can be, once: the page is of few.
        let neutral = |level: f32| -> [u16; 3] {
            let light = f64::from(level).powf(2.4) * (100.0 / display.peak).min(1.0);
            let signal = curve.encode_light(white.map(|w| w * light)).map(|v| v as f32);
            let signal = settings.calibration.as_ref().map_or(signal, |c| c.lut.apply(signal));
            signal.map(|v| quantise(v, 255.0, 0.0) as u16)
        };
        let steps: Vec<[u16; 3]> = (0..=1023).map(|i| neutral(i as f32 / 1023.0)).collect();
        let mut out: Vec<[u16; 3]> =
            self.levels.iter().map(|v| steps[(v * 1023.0).round() as usize]).collect();
        let across = self.cell.0 as usize;
        for (at, frame, picture) in &self.pictures {
            for (i, pixel) in picture.iter().enumerate() {
                let (x, y) = ((i % across) as u32, (i / across) as u32);
                let place = (at[1] + y) as usize * self.width as usize + (at[0] + x) as usize;
                out[place] = std::array::from_fn(|c| {
                    quantise(pixel[c], 255.0, noise(x, y, c as u32, *frame as u32)) as u16
                });
            }
        }
        (self.width, self.height, out)
    }
}

fn margin(unit: f32) -> f32 {
    (2.0 * unit).round()
}

/// The column of names at the left.
fn gutter(unit: f32) -> f32 {
    (11.0 * unit).round()
}

/// Between pictures.
fn gap(unit: f32) -> f32 {
    (0.75 * unit).round()
}
