//! `greyhold new`

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::show::{SHOW_FILE, Show, rate_from_text, save};

/// Make a new, empty show.
///
/// Example: greyhold new winter --rate 25 --raster 1920x1080
#[derive(Debug, clap::Args)]
pub struct New {
    /// Folder of the show; made if need be.
    dir: PathBuf,
    /// Name of the show; the folder's when not given.
    #[arg(long)]
    name: Option<String>,
    /// Frames a second: 24, 25, 24000/1001 …
    #[arg(long, default_value = "24", value_parser = rate)]
    rate: (u32, u32),
    /// Size of every output in pixels; that of the first clip that is added when not given.
    #[arg(long, value_name = "WxH", value_parser = super::size)]
    raster: Option<(u32, u32)>,
}

fn rate(text: &str) -> Result<(u32, u32), String> {
    rate_from_text(text).ok_or_else(|| format!("{text:?} is no frame rate; 24, 25 or 24000/1001 is one"))
}

impl New {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        if self.dir.join(SHOW_FILE).exists() {
            bail!("{} holds a show already", self.dir.display());
        }
        std::fs::create_dir_all(&self.dir)
            .with_context(|| format!("the folder {} could not be made", self.dir.display()))?;
        let folder = self.dir.file_name().map_or("show".into(), |n| n.to_string_lossy().into_owned());
        let mut show = Show::new(self.name.unwrap_or(folder));
        show.rate = self.rate;
        show.raster = self.raster;
        save(&show, &self.dir)?;
        println!(
            "{} is ready; next: greyhold add {} CLIP --encoding ID",
            self.dir.join(SHOW_FILE).display(),
            self.dir.display()
        );
        Ok(ExitCode::SUCCESS)
    }
}
