//! `greyhold handoff`

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::Ordering;
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::bail;

use crate::colour::Encoding;
use crate::engine::handoff::{Codes, Job, hand_off};
use crate::show::{Output, load};

/// Hand a show over in open formats, with how far each is from the picture.
///
/// Writes, into one folder: ASC CDL for each shot (.cc, and all in one .ccc and .cdl), an edit decision list with the decisions
/// in its comments (.edl), the running order for OpenTimelineIO (.otio), the show's chain and each shot's path as .cube
/// and CLF, an ACES Metadata File for each shot (.amf), checksums, and handoff.html, which says what all of it is.
///
/// A balance that no ASC CDL carries (exposure, white balance, zones) is fitted, and what is left is told, in 10-bit codes of
/// the display's signal on the shot's own colours. So is every table's distance from the live path. Texture, grain and
/// vignette are in no table. Stop it with Ctrl C: files are complete or not there, and the page comes last.
///
/// Examples: greyhold handoff winter --out winter-handoff
/// greyhold handoff winter --out for-set --space logc4 --sizes 33 --codes legal
#[derive(Debug, clap::Args)]
pub struct Handoff {
    /// Folder of the show.
    dir: PathBuf,
    /// Folder for the files; made if need be.
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Names of shots, with commas between; all when not given.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    shots: Vec<String>,
    /// Output whose display and trim the tables end in: desk, client or files.
    #[arg(long, value_name = "NAME", default_value = "files", value_parser = super::output_named)]
    output: Output,
    /// Encoding that the colour decisions work on; a camera's own logarithm, say.
    #[arg(long, value_name = "ID", default_value = "acescct", value_parser = super::encoding_named)]
    space: &'static Encoding,
    /// Encoding that the show's tables read; light, such as acescg, goes through a curve first.
    #[arg(long, value_name = "ID", default_value = "acescct", value_parser = super::encoding_named)]
    input: &'static Encoding,
    /// Entries along an axis of .cube tables, with commas between, as in 17,33,65.
    #[arg(long, value_delimiter = ',', default_value = "33", value_name = "N,N")]
    sizes: Vec<usize>,
    /// Entries along an axis of the cubes in CLF files.
    #[arg(long, default_value_t = 65, value_name = "N")]
    clf_size: usize,
    /// Where a camera's codes and a display's lie in .cube tables: full, or legal (64 to 940 of 10 bits).
    #[arg(long, default_value = "full", value_name = "NAME", value_parser = codes_named)]
    codes: Codes,
    /// No tables for single shots.
    #[arg(long)]
    no_shot_tables: bool,
}

fn codes_named(text: &str) -> Result<Codes, String> {
    let found = Codes::ALL.iter().find(|(_, key)| *key == text).map(|(codes, _)| *codes);
    super::named(found, text, "place of codes", Codes::ALL.iter().map(|c| c.1))
}

impl Handoff {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let show = load(&self.dir)?;
        let shots = super::shots_named(&show, &self.shots)?;
        if shots.is_empty() {
            bail!("{} has no shots to hand over", self.dir.display());
        }
        let job = Job {
            show: &show,
            dir: &self.dir,
            out: &self.out,
            shots: &shots,
            output: self.output,
            space: self.space,
            input: self.input,
            sizes: &self.sizes,
            clf_size: self.clf_size,
            codes: self.codes,
            shot_luts: !self.no_shot_tables,
            now: SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs()),
        };
        let stop = super::render::stop_by_hand();
        let live = std::io::stderr().is_terminal();
        let report = hand_off(&job, &mut |what, done, total| {
            if live {
                eprint!("\r{} of {total}: {what}\x1b[K", done + 1);
                let _ = std::io::stderr().flush();
            } else {
                eprintln!("{} of {total}: {what}", done + 1);
            }
            !stop.load(Ordering::Acquire)
        });
        if live {
            eprintln!();
        }
        let report = report?;
        for shot in &report.shots {
            let how = if shot.decision.fitted { "fitted" } else { "exact" };
            println!("{}: decision {how}, {}", show.shots[shot.shot].name, shot.decision.distance.text());
        }
        for lut in report.luts.iter().chain(report.shots.iter().flat_map(|s| &s.luts)) {
            println!("{}: {}", lut.file.path, lut.distance.text());
        }
        report.warnings.iter().for_each(|w| println!("{w}"));
        println!("{} files; {}", report.files.len(), report.page.display());
        Ok(ExitCode::SUCCESS)
    }
}
