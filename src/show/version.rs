//! Versions: the whole grade of a show under a name, kept in `versions/NNN-name.toml` in its folder as `show.toml` has it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::file::read_show;
use super::reader::{Table, Tables};
use super::record::{
    check_name, files, free_name, make_folder, new_id, read_record, set_text, text, text_of,
};
use super::{Show, ShowError};

/// The folder of versions in a show's folder.
pub const VERSIONS_FOLDER: &str = "versions";

const KIND: &str = "grade";

const COMMENTS: &str = "\
# A version of a Greyhold show: every shot's balance, framing and trims, and the chain, under a name.
# Paths are relative to the show's folder.
";

/// A version of a show's grade.
#[derive(Clone, Debug, PartialEq)]
pub struct GradeVersion {
    /// Its file's name without extension: its own as long as it is there.
    pub id: Arc<str>,
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// When it was kept, as [`utc`](super::utc) writes it.
    pub kept: String,
}

fn path_of(folder: &Path, id: &str) -> PathBuf {
    folder.join(VERSIONS_FOLDER).join(format!("{id}.toml"))
}

/// The versions of the show in a folder, in the order in which they were kept, and what is wrong with files that are none.
///
/// # Errors
/// [`ShowError::Io`] when the folder of versions is there and cannot be listed.
pub fn versions(folder: &Path) -> Result<(Vec<GradeVersion>, Vec<ShowError>), ShowError> {
    let (mut all, mut wrong) = (Vec::new(), Vec::new());
    for path in files(&folder.join(VERSIONS_FOLDER))? {
        match read_record(folder, &path, Tables::Leave, |root| read_version(&root, &path)) {
            Ok(version) => all.push(version),
            Err(e) => wrong.push(e),
        }
    }
    Ok((all, wrong))
}

fn read_version(root: &Table<'_>, path: &Path) -> Result<GradeVersion, ShowError> {
    let about = root.need_table(KIND, "[grade]")?;
    about.only(&["name", "note", "kept"])?;
    Ok(GradeVersion {
        id: path.file_stem().unwrap_or_default().to_string_lossy().into(),
        name: about.text("name", "a text")?.1.to_owned(),
        note: about.text_or_none("note", "a text")?.map_or_else(String::new, |(_, n)| n.to_owned()),
        kept: about.text_or_none("kept", "a moment")?.map_or_else(String::new, |(_, k)| k.to_owned()),
    })
}

/// Keeps the grade of a show as a version: `kept` is the moment, as [`utc`](super::utc) writes it. A name that is taken
/// gets a number.
///
/// # Errors
/// As [`super::write_atomically`].
pub fn keep_version(
    folder: &Path,
    show: &Show,
    name: &str,
    note: &str,
    kept: String,
) -> Result<GradeVersion, ShowError> {
    let place = folder.join(VERSIONS_FOLDER);
    let was_there = place.is_dir();
    make_folder(&place)?;
    let there = versions(folder)?.0;
    let name = if name.trim().is_empty() { "version" } else { name };
    let name = free_name(name, there.iter().map(|v| v.name.as_str()));
    let id = new_id(&place, &name);
    let about = [("name", text(&name)), ("note", text(note)), ("kept", text(&kept))];
    let written = text_of(COMMENTS, KIND, &about, Some(show)).and_then(|text| {
        super::write_atomically(&path_of(folder, &id), |file| file.write_all(text.as_bytes()))
    });
    if written.is_err() && !was_there {
        let _ = std::fs::remove_dir(&place);
    }
    written.map(|()| GradeVersion { id: id.as_str().into(), name, note: note.to_owned(), kept })
}

/// The show as a version has it, with the LUTs that it names.
///
/// # Errors
/// What is missing or wrong, with file and line.
pub fn load_version(folder: &Path, id: &str) -> Result<Show, ShowError> {
    read_record(folder, &path_of(folder, id), Tables::Read, |root| read_show(&root, &[KIND]))
}

/// Gives a version another name, which no other may have.
///
/// # Errors
/// [`ShowError::Change`] for a name that it cannot have, and as [`super::write_atomically`].
pub fn rename_version(folder: &Path, id: &str, name: &str) -> Result<(), ShowError> {
    let there = versions(folder)?.0;
    check_name("version", name, there.iter().filter(|v| *v.id != *id).map(|v| v.name.as_str()))?;
    set_text(&path_of(folder, id), KIND, "name", name)
}

/// Removes a version, for good.
///
/// # Errors
/// [`ShowError::Io`] when it cannot be removed.
pub fn remove_version(folder: &Path, id: &str) -> Result<(), ShowError> {
    let path = path_of(folder, id);
    std::fs::remove_file(&path).map_err(|source| ShowError::Io { doing: "remove", path, source })
}
