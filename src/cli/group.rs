//! `greyhold group`

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context;

use crate::show::{Change, Group as OneGroup, Lock, Show, StrengthTrim, load, save};

/// Groups of shots, which can have more or less of the look than others.
#[derive(Debug, clap::Args)]
pub struct Group {
    #[command(subcommand)]
    command: GroupCommand,
}

#[derive(Debug, clap::Subcommand)]
enum GroupCommand {
    List(List),
    Add(Add),
    Leave(Leave),
    Remove(Remove),
}

/// List a show's groups, their shots and what they trim.
///
/// Example: greyhold group list winter
#[derive(Debug, clap::Args)]
struct List {
    /// Folder of the show.
    dir: PathBuf,
}

/// Put shots into a group, which is made if it is not there.
///
/// Example: greyhold group add winter night blue-hour window
#[derive(Debug, clap::Args)]
struct Add {
    /// Folder of the show.
    dir: PathBuf,
    /// The group.
    name: String,
    /// Names of shots.
    shots: Vec<String>,
}

/// Take shots out of a group, which stays.
///
/// Example: greyhold group leave winter night window
#[derive(Debug, clap::Args)]
struct Leave {
    /// Folder of the show.
    dir: PathBuf,
    /// The group.
    name: String,
    /// Names of shots.
    #[arg(required = true)]
    shots: Vec<String>,
}

/// Take a group out, and its shots out of it.
///
/// Example: greyhold group remove winter night
#[derive(Debug, clap::Args)]
struct Remove {
    /// Folder of the show.
    dir: PathBuf,
    /// The group.
    name: String,
}

impl Group {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        match self.command {
            GroupCommand::List(list) => {
                let show = load(&list.dir)?;
                (0..show.groups.len()).for_each(|at| print(&show, at));
            }
            GroupCommand::Add(add) => change(&add.dir, |show| {
                let mut changes = Vec::new();
                if !show.groups.iter().any(|g| g.name == add.name) {
                    let group = OneGroup { name: add.name.clone(), trim: StrengthTrim::default() };
                    changes.push(Change::AddGroup { at: show.groups.len(), group });
                }
                changes.extend(memberships(show, &add.name, &add.shots, true)?);
                Ok((changes, Some(add.name.clone())))
            })?,
            GroupCommand::Leave(leave) => change(&leave.dir, |show| {
                group_named(show, &leave.name)?;
                let changes = memberships(show, &leave.name, &leave.shots, false)?;
                Ok((changes, Some(leave.name.clone())))
            })?,
            GroupCommand::Remove(remove) => change(&remove.dir, |show| {
                Ok((vec![Change::RemoveGroup { at: group_named(show, &remove.name)? }], None))
            })?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn group_named(show: &Show, name: &str) -> anyhow::Result<usize> {
    show.groups.iter().position(|g| g.name == name).with_context(|| {
        let names: Vec<_> = show.groups.iter().map(|g| g.name.as_str()).collect();
        let accepted = if names.is_empty() { "none, there is no group".to_owned() } else { names.join(", ") };
        format!("no group is called {name:?}; accepted: {accepted}")
    })
}

/// What puts shots into a group or takes them out of it.
fn memberships(show: &Show, group: &str, shots: &[String], inside: bool) -> anyhow::Result<Vec<Change>> {
    if shots.is_empty() {
        return Ok(Vec::new());
    }
    let set = |shot: usize| {
        let mut groups = show.shots[shot].groups.clone();
        groups.retain(|g| g != group);
        if inside {
            groups.push(group.to_owned());
        }
        Change::SetShotGroups { shot, groups }
    };
    Ok(super::shots_named(show, shots)?.into_iter().map(set).collect())
}

/// Makes changes to a show, and prints the group that they are about.
fn change(
    dir: &std::path::Path,
    make: impl FnOnce(&Show) -> anyhow::Result<(Vec<Change>, Option<String>)>,
) -> anyhow::Result<()> {
    let _lock = Lock::take(dir)?;
    let mut show = load(dir)?;
    let (changes, name) = make(&show)?;
    show.apply(Change::Together(changes))?;
    save(&show, dir)?;
    if let Some(at) = name.and_then(|name| show.groups.iter().position(|g| g.name == name)) {
        print(&show, at);
    }
    Ok(())
}

fn print(show: &Show, at: usize) {
    let group = &show.groups[at];
    let shots: Vec<_> =
        show.shots.iter().filter(|s| s.groups.contains(&group.name)).map(|s| s.name.as_str()).collect();
    let shots = if shots.is_empty() { "no shots".to_owned() } else { shots.join(", ") };
    let stages = group.trim.stages.iter().map(|(key, value)| format!("{key} × {value}"));
    let look = (group.trim.look != 1.0).then(|| format!("look × {}", group.trim.look));
    let trims: Vec<_> = look.into_iter().chain(stages).collect();
    let trims = if trims.is_empty() { String::new() } else { format!("; {}", trims.join(", ")) };
    println!("{}: {shots}{trims}", group.name);
}
