//! `greyhold demo`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::open::{WindowArguments, open};

/// Make a small invented show and open it.
///
/// A winter day on a mountain railway, drawn by the program: 10-bit log image sequences from two
/// cameras. The show is made once; later calls open it as it was left.
///
/// Example: greyhold demo
#[derive(Debug, clap::Args)]
pub struct Demo {
    /// Folder for the show.
    #[arg(default_value = "greyhold-demo")]
    dir: PathBuf,
    /// Make the show and end.
    #[arg(long)]
    make_only: bool,
    #[command(flatten)]
    windows: WindowArguments,
}

impl Demo {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        make(&self.dir)?;
        if self.make_only {
            return Ok(ExitCode::SUCCESS);
        }
        open(&self.dir, self.windows)
    }
}

fn make(_dir: &Path) -> anyhow::Result<()> {
    todo!()
}
