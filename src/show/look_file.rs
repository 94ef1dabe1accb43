//! A look as a file of its own, to be kept in a library and shared.

use std::path::{Path, PathBuf};

use super::reader::{Source, read_text};
use super::writer::{self, line, quoted};
use super::{ShowError, VERSION};
use crate::look::{Intent, Stage};

/// A saved look.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// What it means to do with colour, if it says so.
    pub intent: Option<Intent>,
    /// Its stages, in the order light takes.
    pub stages: Vec<Stage>,
}

/// A look as text.
pub fn write_look(look: &Look) -> String {
    let mut out = "# A Greyhold look.\n".to_owned();
    line(&mut out, "version", VERSION);
    out.push_str("\n[look]\n");
    line(&mut out, "name", quoted(&look.name));
    line(&mut out, "note", quoted(&look.note));
    if let Some(intent) = look.intent {
        line(&mut out, "intent", quoted(intent.id()));
    }
    for stage in &look.stages {
        writer::stage(&mut out, "stage", stage);
    }
    out
}

/// The look that a text describes. `file` is for messages.
///
/// # Errors
/// [`ShowError::Text`] with file, line and what is accepted; [`ShowError::Newer`] for a later format.
pub fn read_look(text: &str, file: &Path) -> Result<Look, ShowError> {
    read_source(Source { file, text, tables: true })
}

fn read_source(source: Source<'_>) -> Result<Look, ShowError> {
    let file = source.file;
    source.with_tables(VERSION, |root| {
        root.only(&["version", "look", "stage"])?;
        let about = root.need_table("look", "[look]")?;
        about.only(&["name", "note", "intent"])?;
        let intents = Intent::ALL.map(Intent::id).join(", ");
        let stages = root.tables("stage", "[[stage]]")?;
        Ok(Look {
            name: about.text("name", "a text")?.1.to_owned(),
            note: about.text_or_none("note", "a text")?.map_or_else(String::new, |(_, n)| n.to_owned()),
            intent: about.word_or_none("intent", &intents, Intent::named)?,
            stages: stages.iter().map(|t| Ok(with_whole_path(t.stage()?, file))).collect::<Result<_, _>>()?,
        })
    })
}

/// A stage whose table's file is named from the root, so that the look can go into any show.
fn with_whole_path(mut stage: Stage, look: &Path) -> Stage {
    if let Some(lut) = &mut stage.lut {
        let path = look.parent().unwrap_or(Path::new("")).join(&lut.file);
        lut.file = std::path::absolute(&path).unwrap_or(path);
    }
    stage
}

/// Reads a look file.
///
/// # Errors
/// As [`read_look`], and [`ShowError::Io`] when the file cannot be read.
pub fn load_look(path: &Path) -> Result<Look, ShowError> {
    read_look(&read_text(path)?, path)
}

/// Saves a look file: all of it or, on any error, nothing.
///
/// # Errors
/// As [`super::write_atomically`]. A look that this version could not read back is refused with the error
/// that reading it would give.
pub fn save_look(look: &Look, path: &Path) -> Result<(), ShowError> {
    let text = write_look(look);
    read_source(Source { file: path, text: &text, tables: false })?;
    super::write_atomically(path, |file| file.write_all(text.as_bytes()))
}

/// Every look file in a folder, in the order of file names; one that cannot be used hides no other.
///
/// # Errors
/// [`ShowError::Io`] when the folder cannot be listed.
#[allow(clippy::type_complexity)]
pub fn list_looks(folder: &Path) -> Result<Vec<(PathBuf, Result<Look, ShowError>)>, ShowError> {
    let io = |source| ShowError::Io { doing: "list", path: folder.to_owned(), source };
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(io)? {
        let path = entry.map_err(io)?.path();
        let hidden = path.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
        if !hidden && path.extension().is_some_and(|e| e == "toml") {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths
        .into_iter()
        .map(|path| {
            let look = load_look(&path);
            (path, look)
        })
        .collect())
}
