//! Files in a show's folder that keep how it was graded, with a table that says what they are: stills and versions.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use super::reader::{Source, Table, Tables, read_text};
use super::writer::{line, quoted};
use super::{Show, ShowError, VERSION, write};

/// A file's text: comments, the table `[kind]` with lines of `key = value`, and the show's own tables.
pub(super) fn text_of(
    comments: &str,
    kind: &str,
    about: &[(&str, String)],
    show: Option<&Show>,
) -> Result<String, ShowError> {
    let mut out = comments.to_owned();
    line(&mut out, "version", VERSION);
    let _ = writeln!(out, "\n[{kind}]");
    for (key, value) in about {
        line(&mut out, key, value);
    }
    if let Some(show) = show {
        let text = write(show)?;
        let tables = text.find("\n[").unwrap_or(text.len());
        out.push_str(&text[tables..]);
    }
    Ok(out)
}

/// Reads such a file, named from a show's `folder`: what it names is relative to that.
pub(super) fn read_record<T>(
    folder: &Path,
    path: &Path,
    tables: Tables,
    read: impl FnOnce(Table<'_>) -> Result<T, ShowError>,
) -> Result<T, ShowError> {
    let text = read_text(path)?;
    let file = folder.join(path.file_name().unwrap_or_default());
    let source = Source { file: &file, text: &text, tables };
    source.with_tables(VERSION, read).map_err(|e| named(e, &file, path))
}

/// The same complaint about a file under its own name.
fn named(error: ShowError, as_read: &Path, path: &Path) -> ShowError {
    match error {
        ShowError::Text { file, line, what, accepted } if file == as_read => {
            ShowError::Text { file: path.to_owned(), line, what, accepted }
        }
        ShowError::Newer { file, line, found, reads } if file == as_read => {
            ShowError::Newer { file: path.to_owned(), line, found, reads }
        }
        e => e,
    }
}

/// Gives a key of the table `[kind]` another text; nothing else in the file changes.
pub(super) fn set_text(path: &Path, kind: &str, key: &str, value: &str) -> Result<(), ShowError> {
    let text = read_text(path)?;
    let mut document: toml_edit::DocumentMut = text.parse().map_err(|e: toml_edit::TomlError| {
        let line = e.span().map_or(1, |s| 1 + text[..s.start].matches('\n').count());
        let what = format!("this is not TOML: {}", e.message().replace('\n', "; "));
        ShowError::Text { file: path.to_owned(), line, what, accepted: "TOML 1.0".to_owned() }
    })?;
    document[kind][key] = toml_edit::value(value);
    let text = document.to_string();
    super::write_atomically(path, |file| file.write_all(text.as_bytes()))
}

/// The files of a folder that is kept beside `show.toml`, in the order of their numbers; none if it is not there.
pub(super) fn files(folder: &Path) -> Result<Vec<PathBuf>, ShowError> {
    let io = |source| ShowError::Io { doing: "list", path: folder.to_owned(), source };
    let entries = match std::fs::read_dir(folder) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries.map_err(io)?,
    };
    let mut paths = Vec::new();
    for entry in entries {
        let path = entry.map_err(io)?.path();
        let hidden = path.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
        if !hidden && path.extension().is_some_and(|e| e == "toml") {
            paths.push(path);
        }
    }
    paths.sort_by_cached_key(|path| (number(path).unwrap_or(u64::MAX), path.clone()));
    Ok(paths)
}

/// The number that a file's name begins with.
fn number(path: &Path) -> Option<u64> {
    let name = path.file_name()?.to_string_lossy().into_owned();
    name.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
}

/// What a new file is called, without extension: a number that no file there has, and of a name what any file system
/// takes.
pub(super) fn new_id(folder: &Path, name: &str) -> String {
    let taken = std::fs::read_dir(folder).into_iter().flatten().flatten().filter_map(|e| number(&e.path()));
    let next = taken.max().map_or(1, |n| n.saturating_add(1));
    let word: String = name
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' })
        .take(40)
        .collect();
    let parts: Vec<_> = word.split('-').filter(|p| !p.is_empty()).collect();
    if parts.is_empty() { format!("{next:03}") } else { format!("{next:03}-{}", parts.join("-")) }
}

/// Makes a folder beside `show.toml`.
pub(super) fn make_folder(path: &Path) -> Result<(), ShowError> {
    std::fs::create_dir_all(path).map_err(|source| match source.kind() {
        std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => {
            ShowError::Full { path: path.to_owned() }
        }
        _ => ShowError::Io { doing: "make the folder", path: path.to_owned(), source },
    })
}

/// A name that nothing else of its kind has: with a number behind it where it is taken.
pub(super) fn free_name<'a>(name: &str, taken: impl Iterator<Item = &'a str> + Clone) -> String {
    let is_free = |name: &str| taken.clone().all(|t| t != name);
    if is_free(name) {
        return name.to_owned();
    }
    (2u64..).map(|n| format!("{name} {n}")).find(|n| is_free(n)).unwrap_or_else(|| name.to_owned())
}

/// Refuses a name that is empty, too long for a line, or another's.
pub(super) fn check_name<'a>(
    what: &str,
    name: &str,
    mut taken: impl Iterator<Item = &'a str>,
) -> Result<(), ShowError> {
    if !name.trim().is_empty() && name.chars().count() <= 120 && taken.all(|t| t != name) {
        return Ok(());
    }
    let accepted = format!("a name of 1 to 120 characters that no other {what} has");
    Err(ShowError::change(format!("a {what} cannot be called {name:?}"), accepted))
}

/// A moment as ISO 8601 writes it, in UTC: `2026-01-31T09:30:00Z`.
pub fn utc(moment: SystemTime) -> String {
    let seconds = moment.duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs());
    let (days, of_day) = (seconds / 86_400, seconds % 86_400);
    // Days of the proleptic Gregorian calendar, counted in eras of 400 years that begin in March (a well-known way).
    let z = days + 719_468;
    let (era, day) = (z / 146_097, z % 146_097);
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let of_year = day - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let date = of_year - (153 * month + 2) / 5 + 1;
    let (month, later) = if month < 10 { (month + 3, 0) } else { (month - 9, 1) };
    format!(
        "{:04}-{month:02}-{date:02}T{:02}:{:02}:{:02}Z",
        year + era * 400 + later,
        of_day / 3600,
        of_day / 60 % 60,
        of_day % 60
    )
}

/// A text, for [`text_of`].
pub(super) fn text(value: &str) -> String {
    quoted(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    /// Seconds since 1970 as GNU date 9.1 has them (`date -u -d @N`).
    #[test]
    fn moments_are_dates() {
        for (seconds, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_399, "2000-02-28T23:59:59Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (1_767_225_599, "2025-12-31T23:59:59Z"),
            (1_772_323_200, "2026-03-01T00:00:00Z"),
            (4_107_542_400, "2100-03-01T00:00:00Z"),
        ] {
            assert_eq!(utc(UNIX_EPOCH + Duration::from_secs(seconds)), text);
        }
    }

    #[test]
    fn files_are_numbered_on() {
        let dir = tempfile::tempdir().unwrap();
        assert_eq!(new_id(dir.path(), "Blue hour / 2"), "001-blue-hour-2");
        std::fs::write(dir.path().join("007-x.png"), "").unwrap();
        assert_eq!(new_id(dir.path(), "…"), "008");
        assert_eq!(free_name("a", ["a", "a 2"].into_iter()), "a 3");
    }
}
