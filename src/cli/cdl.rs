//! `greyhold cdl`

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::engine::incoming::{change, laid, pieces};
use crate::media::{Interpretation, Rate, open};
use crate::show::{Change, Lock, load, save};

/// Colour decisions from elsewhere, and shows that are held to what decisions carry.
#[derive(Debug, clap::Args)]
pub struct Cdl {
    #[command(subcommand)]
    command: CdlCommand,
}

#[derive(Debug, clap::Subcommand)]
enum CdlCommand {
    Load(Load),
    Safe(Safe),
}

/// Load colour decisions onto a show's shots.
///
/// Files are ASC CDL (.cc, .ccc, .cdl), edit decision lists with decisions in their comments (.edl) and OpenTimelineIO (.otio). A
/// decision is found its shot by reel and timecode, by the shot's name, or by the clip's name, and what was found how is
/// told. Its numbers, which are taken to be for ACEScct, become the shot's slope, offset, power and saturation, and its contrast 1.
///
/// Example: greyhold cdl load winter on-set.edl
#[derive(Debug, clap::Args)]
struct Load {
    /// Folder of the show.
    dir: PathBuf,
    /// Files.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
}

/// Hold a show to what an ASC CDL carries exactly, or no longer.
///
/// In a CDL-safe show the balance of a shot is contrast, slope, offset, power and saturation; exposure, white balance and
/// zones are not moved. What `greyhold handoff` writes as decisions is then the balance itself.
///
/// Example: greyhold cdl safe winter on
#[derive(Debug, clap::Args)]
struct Safe {
    /// Folder of the show.
    dir: PathBuf,
    /// on or off.
    #[arg(value_parser = ["on", "off"])]
    state: String,
}

impl Cdl {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        match self.command {
            CdlCommand::Load(load) => load.run(),
            CdlCommand::Safe(safe) => {
                let _lock = Lock::take(&safe.dir)?;
                let mut show = load(&safe.dir)?;
                show.apply(Change::SetCdlSafe(safe.state == "on"))?;
                save(&show, &safe.dir)?;
                println!("{} is CDL-safe: {}", show.name, safe.state);
                Ok(ExitCode::SUCCESS)
            }
        }
    }
}

impl Load {
    fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let mut all = Vec::new();
        for file in &self.files {
            let bytes = std::fs::read(file).with_context(|| format!("{} cannot be read", file.display()))?;
            let (found, notes) = pieces(file, &bytes).with_context(|| file.display().to_string())?;
            notes.iter().for_each(|n| println!("{n}"));
            all.extend(found);
        }
        let laid_on = Rate::new(show.rate.0, show.rate.1);
        let info = |shot: &crate::show::Shot| {
            let how =
                Interpretation { range: shot.range, matrix: shot.matrix, laid_on, ..Default::default() };
            open(&shot.source_path(&self.dir), &how).ok().map(|s| s.info().clone())
        };
        let infos: Vec<_> = show.shots.iter().map(info).collect();
        let (matched, left) = laid(&all, &show.shots, &infos);
        for one in &matched {
            println!("{}: {}, by {}", show.shots[one.shot].name, one.says, one.by);
        }
        left.iter().for_each(|says| println!("no shot for {says}"));
        let (change, told) = change(&show, &matched);
        told.iter().for_each(|t| println!("{t}"));
        if matched.is_empty() {
            bail!("none of {} decisions fits a shot of {}", all.len(), self.dir.display());
        }
        show.apply(change)?;
        save(&show, &self.dir)?;
        Ok(ExitCode::SUCCESS)
    }
}
