//! The looks that a show can be given: those that come with the program, the user's, and the show's own.

use std::path::{Path, PathBuf};

use super::look_file::{look_files, survey_look};
use super::shipped::plain;
use super::{LOOK_FILES, Look, ShowError, StageKey, is_look_file, load_look, shipped_looks, stage_keys};
use crate::look::Intent;

/// The folder of a show, and of the user's settings, that looks are in.
pub const LOOKS_FOLDER: &str = "looks";

/// Where a look comes from, in the order that lists have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Shelf {
    /// It comes with the program.
    Shipped,
    /// The user's folder: see [`own_looks_folder`].
    Own,
    /// The folder `looks` of the show.
    Show,
}

impl Shelf {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Shipped, Self::Own, Self::Show];

    /// Where that is, in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Shipped => "come with the program",
            Self::Own => "your own",
            Self::Show => "the show's",
        }
    }
}

/// What a library says of a look.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// What it means to do with colour, if it says so.
    pub intent: Option<Intent>,
    /// Its stages, those of a look that it is based on among them.
    pub stages: Vec<StageKey>,
}

impl From<&Look> for About {
    fn from(look: &Look) -> Self {
        Self {
            name: look.name.clone(),
            note: look.note.clone(),
            intent: look.intent,
            stages: stage_keys(&look.stages),
        }
    }
}

/// A look of a library.
#[derive(Debug)]
pub struct LibraryLook {
    /// Where it comes from.
    pub shelf: Shelf,
    /// Its file. Of one that comes with the program the bare name, which is no path. A folder that cannot be listed is
    /// here as itself.
    pub file: PathBuf,
    /// What there is to say of it, or why it cannot be used.
    pub about: Result<About, ShowError>,
}

impl LibraryLook {
    /// The path of its file; `None` when it comes with the program.
    pub fn path(&self) -> Option<&Path> {
        (self.shelf != Shelf::Shipped).then_some(&*self.file)
    }

    /// What commands call it: its file's name without the end.
    pub fn stem(&self) -> String {
        self.file.file_stem().unwrap_or_default().to_string_lossy().into_owned()
    }

    /// The look itself, with its LUTs.
    ///
    /// # Errors
    /// As [`load_look`].
    pub fn read(&self) -> Result<Look, ShowError> {
        if let Some(path) = self.path() {
            return load_look(path);
        }
        let found =
            LOOK_FILES.iter().zip(shipped_looks()).find(|((file, _), _)| Path::new(file) == self.file);
        let missing =
            || ShowError::change(format!("no look is in {}", self.file.display()), "one of the library");
        found.map(|(_, look)| look.clone()).ok_or_else(missing)
    }
}

/// Every look that a show in `show` can be given: first those that come with the program, then the user's, then those of
/// the show's folder, each in the order of file names. What cannot be used is there with its reason. LUTs are looked for and
/// not read, so that this takes a fraction of a millisecond a file.
pub fn library(show: Option<&Path>) -> Vec<LibraryLook> {
    library_of(own_looks_folder().as_deref(), show)
}

/// The same with another folder in place of the user's, or none.
pub fn library_of(own: Option<&Path>, show: Option<&Path>) -> Vec<LibraryLook> {
    let shipped = LOOK_FILES.iter().zip(shipped_looks()).map(|((file, _), look)| LibraryLook {
        shelf: Shelf::Shipped,
        file: PathBuf::from(file),
        about: Ok(look.into()),
    });
    let mut all: Vec<_> = shipped.collect();
    let folders = [(Shelf::Own, own.map(Path::to_owned)), (Shelf::Show, show.map(|s| s.join(LOOKS_FOLDER)))];
    for (shelf, folder) in folders {
        let Some(folder) = folder else { continue };
        match look_files(&folder) {
            Ok(files) => all.extend(files.into_iter().map(|file| {
                let about = survey_look(&file).map(|look| About::from(&look));
                LibraryLook { shelf, file, about }
            })),
            // A folder that nobody made is empty.
            Err(ShowError::Io { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => {}
            Err(e) => all.push(LibraryLook { shelf, file: folder, about: Err(e) }),
        }
    }
    all
}

/// The folder of the user's looks, whether it is there or not: `greyhold/looks` in `$XDG_CONFIG_HOME`, else in `.config` in
/// the home folder. (XDG Base Directory Specification 0.8: a path that is not absolute counts as not set.)
pub fn own_looks_folder() -> Option<PathBuf> {
    own_folder(LOOKS_FOLDER)
}

/// The folder of the user's panel maps, whether it is there or not: `greyhold/panels`, beside [`own_looks_folder`].
pub fn own_panels_folder() -> Option<PathBuf> {
    own_folder("panels")
}

/// The file in which the desk remembers its windows, for this user: `greyhold/desk.toml`, beside [`own_looks_folder`].
pub fn own_desk_file() -> Option<PathBuf> {
    own_folder("desk.toml")
}

fn own_folder(name: &str) -> Option<PathBuf> {
    let set = std::env::var_os("XDG_CONFIG_HOME").map(PathBuf::from).filter(|p| p.is_absolute());
    let config = set.or_else(|| Some(std::env::home_dir().filter(|h| h.is_absolute())?.join(".config")))?;
    Some(config.join("greyhold").join(name))
}

/// The look of a library that a word means: the name of its file without the end, else its own name. Of several the show's
/// comes before the user's, and this before one that comes with the program.
///
/// # Errors
/// [`ShowError::Change`] with the names that there are.
pub fn find_look<'a>(library: &'a [LibraryLook], name: &str) -> Result<&'a LibraryLook, ShowError> {
    let wanted = plain(name);
    let by_file = |l: &&LibraryLook| is_look_file(&l.file) && plain(&l.stem()) == wanted;
    let by_name = |l: &&LibraryLook| l.about.as_ref().is_ok_and(|a| plain(&a.name) == wanted);
    let nearest = || {
        let nearer = Shelf::ALL.into_iter().rev();
        nearer.flat_map(|shelf| library.iter().filter(move |l| l.shelf == shelf))
    };
    if let Some(found) = nearest().find(by_file).or_else(|| nearest().find(by_name)) {
        return Ok(found);
    }
    let names: Vec<_> = library.iter().filter(|l| is_look_file(&l.file)).map(LibraryLook::stem).collect();
    Err(ShowError::change(
        format!("no look is called {name:?}"),
        format!("{}, or a .toml file", names.join(", ")),
    ))
}

/// A look by its file (`.toml`), or by its name in the library of a show in `show`.
///
/// # Errors
/// As [`load_look`] and [`find_look`].
pub fn look_named(name: &Path, show: Option<&Path>) -> Result<Look, ShowError> {
    if is_look_file(name) {
        return load_look(name);
    }
    find_look(&library(show), &name.to_string_lossy())?.read()
}

/// "Dry frost" as a file is called: dry-frost; `None` for a name without a letter or a digit.
pub fn look_file_stem(name: &str) -> Option<String> {
    let plain: String =
        name.to_lowercase().chars().map(|c| if c.is_alphanumeric() || c == '_' { c } else { '-' }).collect();
    Some(plain.trim_matches('-').to_owned()).filter(|p| !p.is_empty())
}
