//! `greyhold look`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::show::{Look as LookFile, load, save_look};

/// Keep a show's look as a file of its own.
#[derive(Debug, clap::Args)]
pub struct Look {
    #[command(subcommand)]
    command: LookCommand,
}

#[derive(Debug, clap::Subcommand)]
enum LookCommand {
    Save(Save),
}

/// Save the stages of a show's look as a look file: DIR/looks/NAME.toml, or where --to says.
///
/// What stands before the look and after it is the show's and is left out, as are trims of shots and the strength of the look
/// as a whole: a look that is tried begins at strength 1. `greyhold sheet` and `greyhold check` read the file.
///
/// Example: greyhold look save winter "Dry frost" --note "Firm contrast, cold shadows."
#[derive(Debug, clap::Args)]
struct Save {
    /// Folder of the show.
    dir: PathBuf,
    /// What the look is called.
    name: String,
    /// A line about it.
    #[arg(long, default_value = "", value_name = "TEXT")]
    note: String,
    /// The file, in place of DIR/looks/NAME.toml.
    #[arg(long, value_name = "FILE.toml")]
    to: Option<PathBuf>,
    /// Replace a file that is there.
    #[arg(long)]
    replace: bool,
}

impl Look {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let LookCommand::Save(save) = self.command;
        save.run()
    }
}

impl Save {
    fn run(self) -> anyhow::Result<ExitCode> {
        let show = load(&self.dir)?;
        let file = match &self.to {
            Some(file) if file.extension().is_some_and(|e| e == "toml") => file.clone(),
            Some(file) => bail!("{} is no look file; accepted: a name that ends in .toml", file.display()),
            None => self.dir.join("looks").join(format!("{}.toml", file_stem(&self.name)?)),
        };
        if show.chain.look.is_empty() {
            bail!("the look of {} has no stage; accepted: a show whose look has one", self.dir.display());
        }
        if file.exists() && !self.replace {
            bail!("{} is there already; accepted: another name, or --replace", file.display());
        }
        if self.to.is_none() {
            let folder = self.dir.join("looks");
            std::fs::create_dir_all(&folder)
                .with_context(|| format!("the folder {} could not be made", folder.display()))?;
        }
        let mut stages = show.chain.look.clone();
        for lut in stages.iter_mut().filter_map(|s| s.lut.as_mut()) {
            // A look is for any show, so it names a table from the root.
            lut.file = whole(&self.dir.join(&lut.file));
        }
        let look = LookFile { name: self.name, note: self.note, intent: None, stages };
        save_look(&look, &file)?;
        println!("{}: {} stages", file.display(), look.stages.len());
        Ok(ExitCode::SUCCESS)
    }
}

fn whole(path: &Path) -> PathBuf {
    std::path::absolute(path).unwrap_or_else(|_| path.to_owned())
}

/// "Dry frost" as a file is called: dry-frost.
fn file_stem(name: &str) -> anyhow::Result<String> {
    let plain: String =
        name.to_lowercase().chars().map(|c| if c.is_alphanumeric() || c == '_' { c } else { '-' }).collect();
    let plain = plain.trim_matches('-');
    if plain.is_empty() {
        bail!(
            "a look cannot be called {name:?}; accepted: a name with a letter or a digit, or --to FILE.toml"
        );
    }
    Ok(plain.to_owned())
}
