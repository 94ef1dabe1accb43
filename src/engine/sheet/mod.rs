//! The contact sheet: looks × shots, each picture graded whole, as an output has it, then made small in display light.

mod page;

use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;

use super::raster::{interpretation, raster};
use super::render::RenderError;
use crate::colour::Display;
use crate::gpu::Gpu;
use crate::look::Stage;
use crate::media::timecode::Counting;
use crate::media::{MediaError, Source, open};
use crate::picture::Frame;
use crate::picture::cpu;
use crate::show::{Change, Output, OutputSettings, Shot, Show, ShowError, recipe};
use page::{Label, Page};

/// A look on the sheet.
#[derive(Clone, Debug)]
pub struct Tried {
    /// What stands beside its pictures.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// Its stages, in place of the show's look at strength 1; `None`: the show's chain as it is.
    pub stages: Option<Vec<Stage>>,
}

/// What goes onto a sheet.
pub struct Job<'a> {
    /// The document.
    pub show: &'a Show,
    /// Its folder.
    pub dir: &'a Path,
    /// The looks, in order.
    pub looks: &'a [Tried],
    /// Shots by number, in order.
    pub shots: &'a [usize],
    /// The output whose signal the sheet holds, for its footer; `None`: a display alone.
    pub output: Option<Output>,
    /// Display, trim and calibration.
    pub settings: &'a OutputSettings,
    /// Pixels across, at most: pictures are made no larger than the raster.
    pub width: u32,
    /// The GPU, or none for the CPU.
    pub gpu: Option<Arc<Gpu>>,
}

/// A finished sheet.
pub struct Sheet {
    /// Pixels across.
    pub width: u32,
    /// Rows of pixels.
    pub height: u32,
    /// Codes of 8 bits, row by row.
    pub pixels: Vec<[u16; 3]>,
    /// Where the pictures lie: left, top, width, height; look by look, shot by shot within it.
    pub places: Vec<[u32; 4]>,
    /// The frame that stands for each shot, counted from the shot's first as 0.
    pub frames: Vec<u64>,
}

/// Why there is no sheet.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// A source or the GPU failed.
    #[error(transparent)]
    Picture(#[from] RenderError),
    /// A look does not fit the show.
    #[error("the look {look:?}: {error}")]
    Look {
        /// Its name.
        look: String,
        /// What is wrong.
        error: ShowError,
    },
    /// It was given up.
    #[error("the sheet was given up before it was done")]
    GivenUp,
    /// Nothing to lay out, or no room for it.
    #[error("{what}; accepted: {accepted}")]
    Layout {
        /// What is wrong.
        what: String,
        /// What would be right.
        accepted: String,
    },
}

/// The frame that stands for a shot ([`Shot::representative`]) and its number, counted from the shot's first as 0. Where it
/// cannot be read, one that can: from the shot's quarters, then its first.
///
/// # Errors
/// Why the frame that stands for it could not be read, if none could.
pub fn standing(shot: &Shot, source: &mut dyn Source) -> Result<(u64, Frame), MediaError> {
    let length = shot.end - shot.start;
    let number = shot.representative() - shot.start;
    let mut why = None;
    for number in [number, length / 4, length * 3 / 4, 0] {
        match source.frame(shot.start + number) {
            Ok(frame) => return Ok((number, frame)),
            Err(error) => why = why.or(Some(error)),
        }
    }
    Err(why.expect("there was one to read"))
}

/// Grades every look on every shot and lays them out. `progress` is told shot, look, pictures done and of how many,
/// and says whether to go on.
///
/// Looks go down and shots across, or the other way round where there are more shots than looks.
///
/// # Errors
/// See [`SheetError`].
pub fn sheet(
    job: &Job<'_>,
    progress: &mut dyn FnMut(&str, &str, usize, usize) -> bool,
) -> Result<Sheet, SheetError> {
    let shots: Vec<(usize, &Shot)> =
        job.shots.iter().filter_map(|&i| Some((i, job.show.shots.get(i)?))).collect();
    if shots.is_empty() || job.looks.is_empty() {
        return Err(SheetError::Layout {
            what: "there is nothing to show".into(),
            accepted: "a show with a shot, and a look".into(),
        });
    }
    let shows = job.looks.iter().map(|l| with_look(job.show, l)).collect::<Result<Vec<_>, _>>()?;
    let raster = raster(job.show, job.dir).map_err(RenderError::Raster)?.unwrap_or((1, 1));
    let tail = job.show.tail_of(job.settings);

    let mut pictures = vec![Vec::new(); job.looks.len() * shots.len()];
    let (mut frames, mut shot_labels) = (Vec::new(), Vec::new());
    let looks: Vec<_> =
        job.looks.iter().map(|l| Label { name: l.name.clone(), about: l.note.clone() }).collect();
    // The room for a picture is known ahead of the pictures: captions of shots are as tall whatever they say.
    for (_, shot) in &shots {
        let about = format!("frame {}", shot.end - shot.start);
        shot_labels.push(Label { name: shot.name.clone(), about });
    }
    let across = shots.len() <= looks.len();
    let (columns, rows) = if across { (&shot_labels, &looks) } else { (&looks, &shot_labels) };
    let mut page = Page::new(job.width, raster, columns.len(), rows.len())?;

    let mut done = 0;
    for (place, (index, shot)) in shots.iter().enumerate() {
        let source = |error| RenderError::Source { shot: shot.name.clone(), error };
        let mut clip = open(&shot.source_path(job.dir), &interpretation(job.show, shot)).map_err(source)?;
        let (number, frame) = standing(shot, clip.as_mut()).map_err(source)?;
        frames.push(number);
        let info = clip.info();
        let timecode = info.timecode_start.map_or(String::new(), |start| {
            let counting = Counting::of(info.rate, info.drop_frame);
            format!("  ·  {}", counting.text(start + shot.start + number))
        });
        shot_labels[place].about = format!("frame {number}{timecode}");
        for (at, show) in shows.iter().enumerate() {
            let name = &job.looks[at].name;
            let seed = u32::try_from(number).unwrap_or(u32::MAX);
            let Some(mut recipe) = recipe(show, *index, tail.clone(), seed) else { continue };
            recipe.raster = Some(raster);
            let signal = match &job.gpu {
                Some(gpu) => gpu.signal(&recipe, &frame).map_err(RenderError::Gpu)?,
                None => cpu::signal(&recipe, &frame).pixels,
            };
            pictures[at * shots.len() + place] = smaller(&job.settings.display, &signal, raster, page.cell());
            done += 1;
            if !progress(&shot.name, name, done, pictures.len()) {
                return Err(SheetError::GivenUp);
            }
        }
    }

    let title = Label {
        name: job.show.name.clone(),
        about: format!("{} looks × {} shots", looks.len(), shots.len()),
    };
    let (columns, rows) = if across { (&shot_labels, &looks) } else { (&looks, &shot_labels) };
    let places = page.lay_out(&title, columns, rows, &footer(job));
    let place = |look: usize, shot: usize| {
        places[if across { look * shots.len() + shot } else { shot * looks.len() + look }]
    };
    let mut ordered = Vec::with_capacity(pictures.len());
    for (i, picture) in pictures.iter().enumerate() {
        let at = place(i / shots.len(), i % shots.len());
        page.put(at, picture, frames[i % shots.len()]);
        ordered.push([at[0], at[1], page.cell().0, page.cell().1]);
    }
    let (width, height, pixels) = page.codes(job.settings);
    Ok(Sheet { width, height, pixels, places: ordered, frames })
}

fn with_look(show: &Show, tried: &Tried) -> Result<Show, SheetError> {
    let mut show = show.clone();
    if let Some(stages) = &tried.stages {
        show.apply(Change::ReplaceLook { stages: stages.clone(), strength: 1.0 })
            .map_err(|error| SheetError::Look { look: tried.name.clone(), error })?;
    }
    Ok(show)
}

/// What the sheet's own signal is, in a line.
fn footer(job: &Job<'_>) -> String {
    let display = &job.settings.display;
    let transform = match &job.show.show_lut {
        Some(lut) => {
            format!("the show's table {}", lut.lut.file.file_name().unwrap_or_default().to_string_lossy())
        }
        None => job.show.transform.id().to_owned(),
    };
    let output = job.output.map_or(String::new(), |o| format!("output {}   ·   ", o.key()));
    let calibrated = if job.settings.calibration.is_some() { "   ·   calibrated" } else { "" };
    format!("{output}display {}   ·   output transform {transform}{calibrated}", display.name)
}

/// A picture made smaller: every pixel the mean of the display's light over the part of the picture that it covers.
fn smaller(display: &Display, signal: &[[f32; 3]], from: (u32, u32), to: (u32, u32)) -> Vec<[f32; 3]> {
    if from == to {
        return signal.to_vec();
    }
    let curve = display.curve.values::<f32>();
    let (width, columns) = (from.0 as usize, spans(from.0, to.0));
    let narrow: Vec<[f32; 3]> = signal
        .par_chunks(width)
        .flat_map_iter(|row| {
            let light: Vec<_> = row.iter().map(|p| curve.decode_light(*p)).collect();
            let mean = move |span: &Vec<(usize, f32)>| sum(span.iter().map(|(i, w)| (light[*i], *w)));
            columns.iter().map(mean).collect::<Vec<_>>()
        })
        .collect();
    let width = to.0 as usize;
    spans(from.1, to.1)
        .par_iter()
        .flat_map_iter(|span| {
            let narrow = &narrow;
            (0..width)
                .map(move |x| curve.encode_light(sum(span.iter().map(|(y, w)| (narrow[y * width + x], *w)))))
        })
        .collect()
}

fn sum(parts: impl Iterator<Item = ([f32; 3], f32)>) -> [f32; 3] {
    parts.fold([0.0; 3], |all, (v, w)| std::array::from_fn(|c| all[c] + v[c] * w))
}

/// For each of `to` pixels, those of `from` that it covers, with their parts of it.
pub fn spans(from: u32, to: u32) -> Vec<Vec<(usize, f32)>> {
    let scale = f64::from(from) / f64::from(to);
    (0..to)
        .map(|i| {
            let (start, end) = (f64::from(i) * scale, f64::from(i + 1) * scale);
            (start as usize..(end.ceil() as usize).min(from as usize))
                .map(|p| {
                    let covered = end.min(p as f64 + 1.0) - start.max(p as f64);
                    (p, (covered / scale) as f32)
                })
                .collect()
        })
        .collect()
}
