//! `greyhold copy-balance`

use std::path::PathBuf;
use std::process::ExitCode;

use crate::engine::first::FrameOf;
use crate::media::hints;
use crate::show::{Lock, load, save};

/// Give a shot's balance to other shots, in one step.
///
/// With --camera to all of the same camera: those that are read the same way (encoding, range and matrix) and whose files name
/// the same camera; where one of two files names none, those in the same folder.
///
/// Examples: greyhold copy-balance winter platform --to corridor,workshop
/// greyhold copy-balance winter platform --camera
#[derive(Debug, clap::Args)]
pub struct CopyBalance {
    /// Folder of the show.
    dir: PathBuf,
    /// The shot whose balance it is, by its name or its number from 1.
    shot: String,
    /// Names of the shots that get it, with commas between.
    #[arg(long, value_delimiter = ',', value_name = "A,B", required_unless_present = "camera")]
    to: Vec<String>,
    /// All other shots of the same camera get it.
    #[arg(long, conflicts_with = "to")]
    camera: bool,
}

impl CopyBalance {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let shot = super::shot_of(&show, &self.shot)?;
        let to = if self.camera {
            let camera = |at| hints(&FrameOf::new(&show, &self.dir, at, None)?.file()).camera;
            show.same_camera(shot, &camera)
        } else {
            super::shots_named(&show, &self.to)?
        };
        let change = show.copy_balance(shot, &to)?;
        show.apply(change)?;
        save(&show, &self.dir)?;
        let names: Vec<_> = to.iter().map(|i| show.shots[*i].name.as_str()).collect();
        println!("{}: the balance of {}", names.join(", "), show.shots[shot].name);
        Ok(ExitCode::SUCCESS)
    }
}
