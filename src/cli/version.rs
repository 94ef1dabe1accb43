//! `greyhold version`

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::SystemTime;

use anyhow::Context;

use crate::engine::keep_before;
use crate::show::{
    GradeVersion, Lock, keep_version, load, load_version, remove_version, rename_version, save, utc, versions,
};

/// Versions of a show's whole grade, kept under names.
#[derive(Debug, clap::Args)]
pub struct Version {
    #[command(subcommand)]
    command: VersionCommand,
}

#[derive(Debug, clap::Subcommand)]
enum VersionCommand {
    List(List),
    Keep(Keep),
    Use(Use),
    Rename(Rename),
    Remove(Remove),
}

/// List a show's versions; the one whose grade is in use has a star.
///
/// Example: greyhold version list winter
#[derive(Debug, clap::Args)]
struct List {
    /// Folder of the show.
    dir: PathBuf,
}

/// Keep the grade in use as a version: every shot's balance, framing and trims, and the chain.
///
/// Example: greyhold version keep winter warm
#[derive(Debug, clap::Args)]
struct Keep {
    /// Folder of the show.
    dir: PathBuf,
    /// What it will be called; with a number behind it where another has that name.
    name: String,
}

/// Put a version in the place of the grade in use, which is kept as a version first, unless it is one.
///
/// Shots are matched by name. Running order, sources, encodings, displays and the output transform stay.
///
/// Example: greyhold version use winter warm
#[derive(Debug, clap::Args)]
struct Use {
    /// Folder of the show.
    dir: PathBuf,
    /// The version: its number or its name.
    version: String,
}

/// Give a version another name.
///
/// Example: greyhold version rename winter 2 approved
#[derive(Debug, clap::Args)]
struct Rename {
    /// Folder of the show.
    dir: PathBuf,
    /// The version: its number or its name.
    version: String,
    /// The name.
    name: String,
}

/// Remove a version, for good.
///
/// Example: greyhold version remove winter 2
#[derive(Debug, clap::Args)]
struct Remove {
    /// Folder of the show.
    dir: PathBuf,
    /// The version: its number or its name.
    version: String,
}

impl Version {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        match self.command {
            VersionCommand::List(list) => {
                let show = load(&list.dir)?;
                let (all, wrong) = versions(&list.dir)?;
                for (i, version) in all.iter().enumerate() {
                    let used = load_version(&list.dir, &version.id).is_ok_and(|v| show.is_graded_as(&v));
                    let star = if used { "*" } else { " " };
                    println!("{star} {}  {}  · {}", i + 1, version.name, version.kept);
                }
                for why in &wrong {
                    eprintln!("⚠ {why}");
                }
                if !wrong.is_empty() {
                    return Ok(ExitCode::FAILURE);
                }
            }
            VersionCommand::Keep(keep) => {
                let _lock = Lock::take(&keep.dir)?;
                let show = load(&keep.dir)?;
                let kept = keep_version(&keep.dir, &show, &keep.name, "", utc(SystemTime::now()))?;
                println!("kept: {}", kept.name);
            }
            VersionCommand::Use(wanted) => {
                let _lock = Lock::take(&wanted.dir)?;
                let mut show = load(&wanted.dir)?;
                let version = version_named(&wanted.dir, &wanted.version)?;
                let regrade = show.regrade_as(&load_version(&wanted.dir, &version.id)?);
                for line in &regrade.left {
                    eprintln!("⚠ {line}");
                }
                if !regrade.changes {
                    println!("{} is in use already", version.name);
                    return Ok(ExitCode::SUCCESS);
                }
                let kept = keep_before(&wanted.dir, &show, &version.name)?;
                show.apply(regrade.change)?;
                save(&show, &wanted.dir)?;
                let kept = kept.map_or(String::new(), |kept| format!("; what was there is kept as {kept}"));
                println!("{} is in use{kept}", version.name);
            }
            VersionCommand::Rename(rename) => {
                let _lock = Lock::take(&rename.dir)?;
                let version = version_named(&rename.dir, &rename.version)?;
                rename_version(&rename.dir, &version.id, &rename.name)?;
                println!("{} is called {} now", version.name, rename.name);
            }
            VersionCommand::Remove(remove) => {
                let _lock = Lock::take(&remove.dir)?;
                let version = version_named(&remove.dir, &remove.version)?;
                remove_version(&remove.dir, &version.id)?;
                println!("{} is removed", version.name);
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// A version by its number or its name.
fn version_named(dir: &Path, text: &str) -> anyhow::Result<GradeVersion> {
    let all = versions(dir)?.0;
    let number = text.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
    let at = all.iter().position(|v| v.name == text || *v.id == *text).or(number.filter(|n| *n < all.len()));
    at.map(|at| all[at].clone()).with_context(|| {
        let names: Vec<_> = all.iter().map(|v| v.name.as_str()).collect();
        let accepted =
            if names.is_empty() { "none, there is no version".to_owned() } else { names.join(", ") };
        format!("no version is called {text:?}; accepted: {accepted}")
    })
}
