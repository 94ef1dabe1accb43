//! `greyhold match`

use std::path::PathBuf;
use std::process::ExitCode;

use super::suggest::{as_json, print};
use crate::engine::first::{FrameOf, Reader};
use crate::show::{Lock, load, save};

/// Propose what makes a shot sit with another one: exposure and white, from both their frames, balanced and before the look.
///
/// By charts if both frames hold one, else by the tones from the second to the eighth tenth and the colour of grey. All else in
/// the shot's balance stays. Nothing is changed without --apply.
///
/// Example: greyhold match winter --shot platform --to corridor --apply
#[derive(Debug, clap::Args)]
pub struct Match {
    /// Folder of the show.
    dir: PathBuf,
    /// The shot, by its name or its number from 1.
    #[arg(long, value_name = "SHOT")]
    shot: String,
    /// The shot that it is to sit with.
    #[arg(long, value_name = "SHOT")]
    to: String,
    /// How much of what is proposed to take, 0 to 1.
    #[arg(long, value_name = "S", default_value_t = 1.0, value_parser = super::share)]
    strength: f64,
    /// Take what is proposed and save the show.
    #[arg(long)]
    apply: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

impl Match {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = self.apply.then(|| Lock::take(&self.dir)).transpose()?;
        let mut show = load(&self.dir)?;
        let (shot, other) = (super::shot_of(&show, &self.shot)?, super::shot_of(&show, &self.to)?);
        let frame =
            |at| FrameOf::new(&show, &self.dir, at, None).ok_or_else(|| anyhow::anyhow!("no such shot"));
        let difference =
            Reader::default().difference(&frame(shot)?, &frame(other)?).map_err(|e| anyhow::anyhow!(e))?;
        let proposal = show.propose_match(shot, &show.shots[other].name, &difference)?;
        if self.json {
            println!("{}", serde_json::to_string_pretty(&as_json(&show, &proposal, self.strength))?);
        } else {
            print(&show, &proposal, self.strength);
        }
        if self.apply {
            show.apply(proposal.change(self.strength))?;
            save(&show, &self.dir)?;
        }
        Ok(ExitCode::SUCCESS)
    }
}
