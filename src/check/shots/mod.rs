//! Is a finished picture fit to be handed over? Signal limits, gamut, black and clip, and the risk of flashes, shot by shot.
//!
//! What is measured is the signal as it is delivered: Y'CbCr 4:2:2 of 10 bits in narrow range, made by [`crate::picture::pack`]
//! without noise, and the R'G'B' that comes of it again. Chroma made smaller is what drives R'G'B' past its limits.
//!
//! The flash rows are an indication. They do not replace a test by a licensed analyser, which alone decides, and they know nothing of
//! regular patterns.

mod flash;
mod page;
mod signal;

use serde::Serialize;

pub use flash::{FlashMeter, Flashes};
pub use page::page as shots_page;

use super::Verdict;
use super::limits::Limits;
use super::report::{Declared, Row};
use crate::colour::Display;

/// Everything that is measured of shots.
pub fn shot_rows() -> impl Iterator<Item = &'static Declared> {
    [signal::ROWS, flash::ROWS].into_iter().flatten()
}

/// What one frame measures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct FrameFigures {
    /// The least and the greatest of Y', R', G' and B', percent.
    pub range: [f64; 2],
    /// Pixels with Y', R', G' or B' past EBU R 103's limits, percent.
    pub past: f64,
    /// Pixels whose colour is outside the display's limiting gamut, percent.
    pub outside: f64,
    /// Pixels with Y' at black or below, percent.
    pub black: f64,
    /// Pixels with a channel at the display's peak or above, percent.
    pub clipped: f64,
    /// Flashes within the last second over more than a quarter of the picture.
    pub flashes: f64,
    /// The same of changes to or from a saturated red.
    pub red_flashes: f64,
}

/// What a shot measures.
#[derive(Clone, Debug, Serialize)]
pub struct ShotFigures {
    /// Its name.
    pub name: String,
    /// Rows, judged.
    pub rows: Vec<Row>,
    /// Frame by frame, for pictures.
    #[serde(skip)]
    pub frames: Vec<FrameFigures>,
}

/// What a check of shots found.
#[derive(Clone, Debug, Serialize)]
pub struct ShotReport {
    /// The show's name.
    pub name: String,
    /// What was looked at, in words: the output and its display.
    pub output: String,
    /// Whether every judged row passes.
    pub passes: bool,
    /// What to know about the verdicts.
    pub notes: Vec<String>,
    /// All of it, in the running order.
    pub whole: Vec<Row>,
    /// Each shot.
    pub shots: Vec<ShotFigures>,
    /// Frames a second.
    pub rate: f64,
}

/// What every report says of its flash rows.
pub const CAUTION: &str = "The flash rows are an indication after published limits (ITU-R BT.1702) and no certificate. Flashing \
    pictures can hurt people with photosensitive epilepsy: have what is to be shown tested by a licensed analyser, whose result \
    decides. Regular patterns, which can hurt too, are not looked at.";

/// Measures pictures one after the other, in the running order.
pub struct ShotMeter {
    signal: signal::SignalMeter,
    flash: FlashMeter,
    shots: Vec<(String, Vec<FrameFigures>)>,
}

impl ShotMeter {
    /// For a display's signal at a rate, frames a second, of pictures of a size.
    pub fn new(display: &Display, rate: f64, size: (u32, u32)) -> Self {
        let (signal, flash) = (signal::SignalMeter::new(display, size), FlashMeter::new(display, rate, size));
        Self { signal, flash, shots: Vec::new() }
    }

    /// The next pictures are of a shot.
    pub fn begin(&mut self, name: &str) {
        self.shots.push((name.to_owned(), Vec::new()));
    }

    /// Takes the next picture: full-range R'G'B' signal, row by row.
    pub fn frame(&mut self, pixels: &[[f32; 3]]) {
        let mut figures = self.signal.measure(pixels);
        let flashes = self.flash.frame(pixels);
        (figures.flashes, figures.red_flashes) = (flashes.general, flashes.red);
        if let Some((_, frames)) = self.shots.last_mut() {
            frames.push(figures);
        }
    }

    /// The report. `name` is the show's, `output` says what was looked at; `label` gives a frame of a shot a name, its timecode for
    /// one.
    pub fn report(
        self,
        name: &str,
        output: String,
        rate: f64,
        limits: &Limits,
        label: &dyn Fn(usize, usize) -> String,
    ) -> ShotReport {
        let mut shots = Vec::new();
        for (number, (name, frames)) in self.shots.into_iter().enumerate() {
            let rows = rows_of(&frames, limits, &|frame| label(number, frame));
            shots.push(ShotFigures { name, rows, frames });
        }
        let whole = whole(&shots);
        let passes = shots.iter().flat_map(|s| &s.rows).all(|r| r.verdict != Verdict::Fail);
        let notes = vec![CAUTION.to_owned(), self.flash.assumption().to_owned()];
        ShotReport { name: name.to_owned(), output, passes, notes, whole, shots, rate }
    }
}

/// The worst frame of each row.
fn rows_of(frames: &[FrameFigures], limits: &Limits, label: &dyn Fn(usize) -> String) -> Vec<Row> {
    let value = |key: &str, f: &FrameFigures| match key {
        "signal-least" => f.range[0],
        "signal-most" => f.range[1],
        "signal-past" => f.past,
        "gamut-outside" => f.outside,
        "black-share" => f.black,
        "clip-share" => f.clipped,
        "flashes" => f.flashes,
        _ => f.red_flashes,
    };
    shot_rows()
        .filter_map(|declared| {
            let least = declared.key == "signal-least";
            let all = frames.iter().map(|f| value(declared.key, f)).enumerate();
            let worse = |a: &(usize, f64), b: &(usize, f64)| {
                let order = if least { a.1 < b.1 } else { a.1 > b.1 };
                order || (a.1 == b.1 && a.0 < b.0)
            };
            let (frame, value) = all.reduce(|a, b| if worse(&a, &b) { a } else { b })?;
            let limit = limits.of_shots(declared.key).cloned();
            let verdict = Verdict::of(limit.as_ref(), value);
            Some(Row { declared, value, limit, verdict, note: label(frame) })
        })
        .collect()
}

/// The worst shot of each row.
fn whole(shots: &[ShotFigures]) -> Vec<Row> {
    shot_rows()
        .filter_map(|declared| {
            let least = declared.key == "signal-least";
            let all = shots
                .iter()
                .filter_map(|s| Some((s, s.rows.iter().find(|r| r.declared.key == declared.key)?)));
            let (shot, row) = all.reduce(|a, b| {
                let worse = if least { b.1.value < a.1.value } else { b.1.value > a.1.value };
                if worse { b } else { a }
            })?;
            Some(Row { note: format!("{}, {}", shot.name, row.note), ..row.clone() })
        })
        .collect()
}
