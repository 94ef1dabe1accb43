//! The hand-off: what others need to reproduce a show's pictures, in open formats, each with how far it is from them.
//!
//! ASC CDL for each shot, an edit decision list and an OpenTimelineIO timeline of the running order, the show's chain and each
//! shot's path as `.cube` and CLF, an ACES Metadata File for each shot, and a page that says what all of it is. Every table
//! and decision is measured on the show's own colours ([`Sampled`]) against the live path in f64.
//!
//! What is no function of a colour (stages that read their neighbours or ask for their place) is in no table:
//! those stages are left out on both sides of the comparison, and named.

mod decisions;
mod files;
mod fit;
mod luts;
mod measure;
mod metadata;
mod order;
mod page;
mod processes;
mod samples;
mod shaping;
mod tables;

use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;

pub use decisions::Decision;
pub use files::Written;
pub use luts::{Lut, LutKind};
pub use measure::{Distance, Path};
pub use samples::{Sampled, sample};
pub use tables::Codes;

use super::render::RenderError;
use crate::colour::{Cdl, Display, Encoding, OutputTransform, encoding};
use crate::picture::{Recipe, Tail, Trim};
use crate::show::{Output, OutputSettings, Show, ShowError, recipe};

/// What is handed over.
pub struct Job<'a> {
    /// The document.
    pub show: &'a Show,
    /// Its folder.
    pub dir: &'a FilePath,
    /// Where the files go; made if need be.
    pub out: &'a FilePath,
    /// Shots by number, in order.
    pub shots: &'a [usize],
    /// The output whose display and trim the tables end in; its calibration, which is for one monitor, is left out.
    pub output: Output,
    /// The encoding that colour decisions work on.
    pub space: &'static Encoding,
    /// What the show's tables read.
    pub input: &'static Encoding,
    /// Entries along an axis of the `.cube` tables, at least one.
    pub sizes: &'a [usize],
    /// Entries along an axis of the cubes in CLF files.
    pub clf_size: usize,
    /// Where the codes of tables from a camera's signal, and to a display's, lie in `.cube` files.
    pub codes: Codes,
    /// Tables for each shot too.
    pub shot_luts: bool,
    /// Seconds since 1970 began, UTC.
    pub now: u64,
}

/// A shot as it was handed over.
pub struct ShotReport {
    /// Its number in the show.
    pub shot: usize,
    /// Its decision.
    pub decision: Decision,
    /// Its tables.
    pub luts: Vec<Lut>,
    /// Stages that are in no table.
    pub left_out: Vec<&'static str>,
    /// Other files of its own.
    pub files: Vec<Written>,
}

/// What was handed over.
pub struct Report {
    /// The show's tables.
    pub luts: Vec<Lut>,
    /// Stages of the show's chain that are in no table.
    pub left_out: Vec<&'static str>,
    /// The shots.
    pub shots: Vec<ShotReport>,
    /// What people have to know.
    pub warnings: Vec<String>,
    /// All files.
    pub files: Vec<Written>,
    /// The page.
    pub page: PathBuf,
}

/// Why there is no hand-off.
#[derive(Debug, thiserror::Error)]
pub enum HandoffError {
    /// A source could not be read.
    #[error(transparent)]
    Picture(#[from] RenderError),
    /// A file could not be written.
    #[error(transparent)]
    Show(#[from] ShowError),
    /// Something that no file of a format holds.
    #[error(transparent)]
    Format(#[from] crate::interchange::Error),
    /// The folder could not be made.
    #[error("the folder {} could not be made: {error}", path.display())]
    Folder {
        /// Which.
        path: PathBuf,
        /// Why.
        error: std::io::Error,
    },
    /// Two shots would go to the same files.
    #[error("the shots {0:?} and {1:?} would be written to the same files; give one of them another name")]
    SameFiles(String, String),
    /// No table has so many entries.
    #[error("a cube of {0} entries along an axis; accepted: 2 to 129")]
    Size(usize),
    /// An encoding that no colour decision works on.
    #[error("decisions on {0}; accepted: a logarithmic encoding of the scene, such as acescct")]
    Space(&'static str),
    /// It was given up.
    #[error("the hand-off was given up before it was done; its page is not there")]
    GivenUp,
    /// There is nothing to hand over.
    #[error("there is nothing to hand over; accepted: a show with a shot")]
    Nothing,
}

impl Job<'_> {
    /// The output's display and trim.
    pub fn settings(&self) -> OutputSettings {
        let own = self.show.outputs.get(self.output);
        OutputSettings { trim: own.trim, ..OutputSettings::new(own.display.clone()) }
    }

    /// What tables to a display end in.
    pub fn tail(&self) -> Tail {
        self.show.tail_of(&self.settings())
    }

    /// The display.
    pub fn display(&self) -> Arc<Display> {
        self.settings().display
    }

    /// A shot's path from its camera's signal to a tail, as far as a table can hold it, and what it leaves out.
    pub fn path(&self, shot: usize, tail: Tail) -> Option<(Path, Vec<&'static str>)> {
        Some(Path::new(recipe(self.show, shot, tail, 0)?))
    }

    /// The show's chain, without any shot's balance and trims, from an encoding to a tail.
    pub fn chain(&self, from: &'static Encoding, tail: Tail) -> (Path, Vec<&'static str>) {
        let mut recipe = Recipe::graded(from, crate::picture::Balance::default(), &self.show.chain, tail);
        recipe.balance = None;
        Path::new(recipe)
    }

    fn check(&self) -> Result<&'static Encoding, HandoffError> {
        let acescct = encoding("acescct").ok_or(HandoffError::Nothing)?;
        for size in self.sizes.iter().chain([&self.clf_size]) {
            if !(2..=129).contains(size) {
                return Err(HandoffError::Size(*size));
            }
        }
        let log = !matches!(self.space.curve, crate::colour::Curve::Linear);
        if !log || self.space.reference == crate::colour::Reference::Display {
            return Err(HandoffError::Space(self.space.id));
        }
        for (i, a) in self.shots.iter().enumerate() {
            let name = |s: usize| self.show.shots.get(s).map(|s| files::plain(&s.name).to_lowercase());
            if let Some(b) = self.shots[..i].iter().find(|b| name(**b) == name(*a)) {
                let name = |s: usize| self.show.shots[s].name.clone();
                return Err(HandoffError::SameFiles(name(*b), name(*a)));
            }
        }
        if self.shots.iter().all(|s| *s >= self.show.shots.len()) {
            return Err(HandoffError::Nothing);
        }
        Ok(acescct)
    }
}

/// Hands a show over. `progress` is told what is being made, steps done and of how many, and says whether to go on.
///
/// Every file is complete or not there; the page comes last, so that a folder without it is an unfinished one.
///
/// # Errors
/// See [`HandoffError`].
pub fn hand_off(
    job: &Job<'_>,
    progress: &mut dyn FnMut(&str, usize, usize) -> bool,
) -> Result<Report, HandoffError> {
    let acescct = job.check()?;
    let mut folder = files::Folder::new(job.out)?;
    let shots: Vec<usize> = job.shots.iter().copied().filter(|s| *s < job.show.shots.len()).collect();
    let total = 2 * shots.len() + 2;
    let mut done = 0;
    let mut step = |what: &str| {
        done += 1;
        if progress(what, done - 1, total) { Ok(()) } else { Err(HandoffError::GivenUp) }
    };

    let mut sampled = Vec::new();
    for &shot in &shots {
        step(&format!("reading {}", job.show.shots[shot].name))?;
        sampled.push(sample(job.show, &job.show.shots[shot], job.dir)?);
    }
    // What comes to the chain from all shots.
    let mut light = Vec::new();
    for (&shot, s) in shots.iter().zip(&sampled) {
        let Some((path, _)) = job.path(shot, job.tail()) else { continue };
        let balance = path.recipe.balance;
        let balanced =
            path.part(path.recipe.decode.encoding, balance, Tail::Encoding(acescct)).without_stages();
        light.extend(balanced.pixels(&s.camera));
    }

    step("the show's tables")?;
    let (luts, left_out) = luts::of_show(job, &light, &mut folder)?;
    let mut reports = Vec::new();
    for (&shot, s) in shots.iter().zip(&sampled) {
        step(&job.show.shots[shot].name)?;
        reports.push(luts::of_shot(job, shot, s, &mut folder)?);
    }
    step("the running order")?;
    order::write(job, &sampled, &reports, &mut folder)?;
    metadata::write(job, &luts, &mut reports, &mut folder)?;
    let warnings = page::warnings(job, &left_out, &reports);
    let mut report = Report {
        luts,
        left_out,
        shots: reports,
        warnings,
        files: Vec::new(),
        page: job.out.join(page::FILE),
    };
    folder.write(CHECKSUMS, folder.checksums().as_bytes())?;
    report.files.clone_from(&folder.written);
    let text = page::page(job, &sampled, &report);
    folder.write(page::FILE, text.as_bytes())?;
    report.files = folder.written;
    Ok(report)
}

/// The list of checksums.
pub const CHECKSUMS: &str = "checksums.sha256";

/// The output transform, as people read it.
fn transform_text(show: &Show) -> String {
    match (&show.show_lut, show.transform) {
        (Some(lut), _) => {
            format!("the show's table {}", lut.lut.file.file_name().unwrap_or_default().to_string_lossy())
        }
        (None, OutputTransform::Aces2) => "ACES 2.0 output transform".to_owned(),
        (None, transform) => format!("output transform {}", transform.id()),
    }
}

/// A trim that leaves a picture alone?
fn is_trimmed(settings: &OutputSettings) -> bool {
    settings.trim != Trim::default()
}

/// A decision as one line.
fn cdl_text(cdl: &Cdl<f64>) -> [String; 4] {
    let three = |v: [f64; 3]| v.map(|x| format!("{x:.6}")).join("  ");
    [three(cdl.slope), three(cdl.offset), three(cdl.power), format!("{:.6}", cdl.saturation)]
}
