//! `greyhold look`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::look::Intent;
use crate::show::{
    LOOKS_FOLDER, LibraryLook, Lock, Look as OneLook, LookFile, SHOW_FILE, Shelf, StageKey, find_look,
    is_look_file, library, load, load_look_file, look_file_stem, look_named, own_looks_folder, save,
    save_look_file, stage_keys,
};

/// Looks as files of their own: keep a show's, list all there are, copy stages from one to another.
#[derive(Debug, clap::Args)]
pub struct Look {
    #[command(subcommand)]
    command: LookCommand,
}

#[derive(Debug, clap::Subcommand)]
enum LookCommand {
    Save(Save),
    List(List),
    Copy(Copy),
}

/// Save the stages of a show's look as a look file: DIR/looks/NAME.toml, or where --to says.
///
/// What stands before the look and after it is the show's and is left out, as are trims of shots and the strength of the look
/// as a whole: a look that is tried begins at strength 1. The intent of the look that the show's look was is kept, and its note
/// while nothing of it is changed. With --based-on the file has only what the look changes in another: strengths, and stages
/// behind the other's; whatever else differs is refused, and said.
///
/// Examples: greyhold look save winter "Dry frost" --note "Firm contrast, cold shadows."
/// greyhold look save winter "Less grain" --based-on Pushed
#[derive(Debug, clap::Args)]
struct Save {
    /// Folder of the show.
    dir: PathBuf,
    /// What the look is called.
    name: String,
    /// A line about it.
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// What it means to do with colour, in place of what the look that it was means to.
    #[arg(long, value_name = "INTENT", value_parser = super::intent_named)]
    intent: Option<Intent>,
    /// The look whose stages it has, but for strengths: a look file, or a name as `look list` has it.
    #[arg(long, value_name = "LOOK")]
    based_on: Option<String>,
    /// The file, in place of DIR/looks/NAME.toml.
    #[arg(long, value_name = "FILE.toml")]
    to: Option<PathBuf>,
    /// Replace a file that is there.
    #[arg(long)]
    replace: bool,
}

/// List the looks there are: those that come with the program, your own, and those of a show.
///
/// Your own are in greyhold/looks of $XDG_CONFIG_HOME, or of .config in your home folder; a show's in its folder looks. Each
/// has the name that commands take, its own, what it means to do with colour, and its note. A file that cannot be used is
/// listed with the reason. Where two files have one name, the show's counts, then your own.
///
/// Example: greyhold look list winter
#[derive(Debug, clap::Args)]
struct List {
    /// Folder of a show, for its looks.
    dir: Option<PathBuf>,
}

/// Copy a stage from one look into another.
///
/// FROM and TO are each a look file, the name of a look, or the folder of a show. STAGE is the stage's kind; the second of a
/// kind is contrast-2. It goes where it belongs in the look: texture ahead of the first stage of tone, grain last, everything
/// else at the end; --at puts it elsewhere. Comments in TO are not kept.
///
/// Example: greyhold look copy flashed diffusion winter
#[derive(Debug, clap::Args)]
struct Copy {
    /// The look that has the stage.
    from: String,
    /// The stage.
    #[arg(value_name = "STAGE")]
    stage: String,
    /// The look that gets it.
    to: String,
    /// Its place there, counted from 1.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    at: Option<u16>,
}

impl Look {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        match self.command {
            LookCommand::Save(save) => save.run(),
            LookCommand::List(list) => list.run(),
            LookCommand::Copy(copy) => copy.run(),
        }
    }
}

impl Save {
    fn run(self) -> anyhow::Result<ExitCode> {
        let show = load(&self.dir)?;
        let file = match &self.to {
            Some(file) if is_look_file(file) => file.clone(),
            Some(file) => bail!("{} is no look file; accepted: a name that ends in .toml", file.display()),
            None => self.dir.join(LOOKS_FOLDER).join(format!("{}.toml", stem(&self.name)?)),
        };
        if show.chain.look.is_empty() {
            bail!("the look of {} has no stage; accepted: a show whose look has one", self.dir.display());
        }
        if file.exists() && !self.replace {
            bail!("{} is there already; accepted: another name, or --replace", file.display());
        }
        let mut look = show.look(&self.dir);
        let kept = if show.chain.is_changed() { String::new() } else { look.note };
        (look.name, look.note) = (self.name, self.note.unwrap_or(kept));
        look.intent = self.intent.or(look.intent);
        let count = look.stages.len();
        let look = match &self.based_on {
            None => look.into(),
            Some(wanted) => {
                let (base, name) = base(wanted, &self.dir, &file)?;
                LookFile::based(&look, &name, &base)?
            }
        };
        if self.to.is_none() {
            let folder = self.dir.join(LOOKS_FOLDER);
            std::fs::create_dir_all(&folder)
                .with_context(|| format!("the folder {} could not be made", folder.display()))?;
        }
        save_look_file(&look, &file)?;
        match &look.base {
            None => println!("{}: {count} stages", file.display()),
            Some(base) => {
                let (strengths, own) = (base.strengths.len(), look.stages.len());
                println!("{}: {}, {strengths} strengths and {own} stages more", file.display(), base.name);
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// A look that another is to be based on, and what a look file at `file` calls it.
fn base(wanted: &str, show: &Path, file: &Path) -> anyhow::Result<(OneLook, String)> {
    let path = if is_look_file(Path::new(wanted)) {
        PathBuf::from(wanted)
    } else {
        let all = library(Some(show));
        let found = find_look(&all, wanted)?;
        match found.path() {
            None => return Ok((found.read()?, found.stem())),
            Some(path) => path.to_owned(),
        }
    };
    let (_, look) = load_look_file(&path)?;
    // A file named without a folder is in the current one.
    let folder = file.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let name = crate::show::source_in_show(folder, &path);
    let name = name.to_str().with_context(|| format!("the path {} is not Unicode", name.display()))?;
    Ok((look, name.to_owned()))
}

impl List {
    fn run(self) -> anyhow::Result<ExitCode> {
        if let Some(dir) = &self.dir {
            // A folder that is no show has no looks to list, and says so.
            load(dir)?;
        }
        let all = library(self.dir.as_deref());
        for shelf in Shelf::ALL {
            let folder = match shelf {
                Shelf::Shipped => None,
                Shelf::Own => own_looks_folder(),
                Shelf::Show => self.dir.as_ref().map(|d| d.join(LOOKS_FOLDER)),
            };
            let looks: Vec<_> = all.iter().filter(|l| l.shelf == shelf).collect();
            match (shelf, &folder) {
                (Shelf::Shipped, _) => println!("{}", shelf.name()),
                (_, Some(folder)) => {
                    let none = if looks.is_empty() { ": none" } else { "" };
                    println!("{}, in {}{none}", shelf.name(), folder.display());
                }
                (_, None) => continue,
            }
            looks.into_iter().for_each(print);
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn print(look: &LibraryLook) {
    match &look.about {
        Err(why) => println!("  {:22}cannot be used: {why}", look.stem()),
        Ok(about) => {
            let intent = about.intent.map_or("", Intent::id);
            let line = format!("  {:22}{:22}{intent:12}{}", look.stem(), about.name, about.note);
            println!("{}", line.trim_end());
        }
    }
}

impl Copy {
    fn run(self) -> anyhow::Result<ExitCode> {
        let to = Path::new(&self.to);
        // Where the look goes says which show's looks are known by name.
        let show = is_show(to).then_some(to);
        let from = if is_show(Path::new(&self.from)) {
            let dir = Path::new(&self.from);
            load(dir)?.look(dir)
        } else {
            look_named(Path::new(&self.from), show)?
        };
        let key = StageKey::of_address(&self.stage).or_else(|| StageKey::parse(&self.stage));
        let key = key.with_context(|| {
            let keys: Vec<_> =
                stage_keys(&from.stages).iter().map(|k| k.to_string().replace(' ', "-")).collect();
            format!("there is no stage {:?}; accepted: {}", self.stage, keys.join(", "))
        })?;
        let at = self.at.map(|at| usize::from(at) - 1);
        if let Some(dir) = show {
            let _lock = Lock::take(dir)?;
            let mut show = load(dir)?;
            let change = show.take_stage(dir, &from, key, at)?;
            let crate::show::Change::AddStage { at, .. } = change else {
                bail!("a stage is added by no other change")
            };
            show.apply(change)?;
            save(&show, dir)?;
            println!("look/{}: {key} of {}", at + 1, from.name);
            return Ok(ExitCode::SUCCESS);
        }
        let file = self.file()?;
        let (mut look, whole) = load_look_file(&file)?;
        let at = look.take_stage(&whole, &from, key, at).with_context(|| file.display().to_string())?;
        save_look_file(&look, &file)?;
        println!("{}, stage {}: {key} of {}", file.display(), at + 1, from.name);
        Ok(ExitCode::SUCCESS)
    }

    /// The file of the look that gets the stage.
    fn file(&self) -> anyhow::Result<PathBuf> {
        let path = Path::new(&self.to);
        if is_look_file(path) {
            return Ok(path.to_owned());
        }
        let all = library(None);
        let found = find_look(&all, &self.to).map_err(|e| anyhow::anyhow!("{e}, or the folder of a show"))?;
        found.path().map(Path::to_owned).with_context(|| {
            format!(
                "{} comes with the program and stays as it is; accepted: a look file, a look of your own, or the folder of a show",
                found.stem()
            )
        })
    }
}

fn is_show(path: &Path) -> bool {
    path.join(SHOW_FILE).is_file()
}

fn stem(name: &str) -> anyhow::Result<String> {
    look_file_stem(name).with_context(|| {
        format!(
            "a look cannot be called {name:?}; accepted: a name with a letter or a digit, or --to FILE.toml"
        )
    })
}
