//! Stills: pictures in a show's folder to compare with, each with the settings that made it, and references from outside.
//!
//! `stills/NNN-name.toml` says what a still is and repeats the settings as `show.toml` has them, with the one shot; the
//! picture lies beside it. A still is there once its `.toml` file is.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::display_file::{read_own, write_display};
use super::file::read_show;
use super::reader::{Table, Tables};
use super::record::{self, check_name, files, free_name, new_id, read_record, set_text, text, text_of};
use super::{Show, ShowError, known_display, known_displays, raster_from_text, raster_text};
use crate::colour::Display;

/// The folder of stills in a show's folder.
pub const STILLS_FOLDER: &str = "stills";

const KIND: &str = "still";

const COMMENTS: &str = "\
# A still of a Greyhold show: a picture to compare with, and the settings that made it.
# The picture holds full-range signal of the display, without calibration; paths are relative to the show's folder.
";

/// The frame that a still shows.
#[derive(Clone, Debug, PartialEq)]
pub struct StillFrame {
    /// The shot's name.
    pub shot: String,
    /// The frame, counted from the shot's first as 0.
    pub frame: u64,
    /// Its timecode.
    pub timecode: String,
}

/// A still.
#[derive(Clone, Debug, PartialEq)]
pub struct Still {
    /// Its file's name without extension: its own as long as it is there.
    pub id: Arc<str>,
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// When it was kept, as [`utc`](super::utc) writes it.
    pub kept: String,
    /// The picture's file in the folder of stills.
    pub picture: String,
    /// Pixels across and down.
    pub size: (u32, u32),
    /// Whose signal the picture holds.
    pub display: Arc<Display>,
    /// CRC-32 (as in PNG and zlib) of the picture's file.
    pub checksum: u32,
    /// Which frame it shows; `None` for a reference from outside.
    pub of: Option<StillFrame>,
}

impl Still {
    /// The picture's file.
    pub fn picture_path(&self, folder: &Path) -> PathBuf {
        folder.join(STILLS_FOLDER).join(&self.picture)
    }
}

/// A still that is about to be kept.
pub struct NewStill<'a> {
    /// What people will call it; with a number behind it where another has that name.
    pub name: &'a str,
    /// A line about it.
    pub note: &'a str,
    /// The moment, as [`utc`](super::utc) writes it.
    pub kept: String,
    /// Bytes of the picture's file.
    pub picture: &'a [u8],
    /// What that file's name ends in, without the dot.
    pub extension: &'a str,
    /// Pixels across and down.
    pub size: (u32, u32),
    /// Whose signal it holds.
    pub display: Arc<Display>,
    /// The frame that it shows, and a show with nothing but that shot: see [`Show::with_only`]. `None` for a reference from
    /// outside.
    pub of: Option<(StillFrame, &'a Show)>,
}

impl Show {
    /// The show with one shot, number `shot` from 0, and the groups that it belongs to; nothing is said of panels.
    pub fn with_only(&self, shot: usize) -> Option<Self> {
        let shot = self.shots.get(shot)?.clone();
        let groups = self.groups.iter().filter(|g| shot.groups.contains(&g.name)).cloned().collect();
        Some(Self { groups, shots: vec![shot], panels: Vec::new(), ..self.clone() })
    }
}

fn path_of(folder: &Path, id: &str) -> PathBuf {
    folder.join(STILLS_FOLDER).join(format!("{id}.toml"))
}

/// The stills of the show in a folder, in the order in which they were kept, and what is wrong with files that are none.
///
/// # Errors
/// [`ShowError::Io`] when the folder of stills is there and cannot be listed.
pub fn stills(folder: &Path) -> Result<(Vec<Still>, Vec<ShowError>), ShowError> {
    let (mut all, mut wrong) = (Vec::new(), Vec::new());
    for path in files(&folder.join(STILLS_FOLDER))? {
        match read_record(folder, &path, Tables::Leave, |root| read_still(&root, &path)) {
            Ok(still) => all.push(still),
            Err(e) => wrong.push(e),
        }
    }
    Ok((all, wrong))
}

fn read_still(root: &Table<'_>, path: &Path) -> Result<Still, ShowError> {
    let about = root.need_table(KIND, "[still]")?;
    about.only(&[
        "name", "note", "kept", "picture", "size", "display", "checksum", "shot", "frame", "timecode",
    ])?;
    let own = read_own(root)?;
    let find = |id: &str| own.iter().find(|d| d.id == id).cloned().or_else(|| known_display(id));
    let displays = || known_displays().chain(own.iter().cloned()).map(|d| d.id.to_string());
    let (at, picture) = about.text("picture", "the picture's file beside this one")?;
    if picture.contains(['/', '\\']) || picture.starts_with('.') {
        let accepted = "the name of a file beside this one";
        return Err(about.source.wrong(at, format!("picture is {picture:?}"), accepted));
    }
    let hex = |t: &str| if t.len() == 8 { u32::from_str_radix(t, 16).ok() } else { None };
    let of = match about.text_or_none("shot", "a text")? {
        None => None,
        Some((_, shot)) => Some(StillFrame {
            shot: shot.to_owned(),
            frame: about.whole("frame", u64::MAX)?.1,
            timecode: about.text_or_none("timecode", "a text")?.map_or_else(String::new, |(_, t)| t.into()),
        }),
    };
    Ok(Still {
        id: path.file_stem().unwrap_or_default().to_string_lossy().into(),
        name: about.text("name", "a text")?.1.to_owned(),
        note: about.text_or_none("note", "a text")?.map_or_else(String::new, |(_, n)| n.to_owned()),
        kept: about.text_or_none("kept", "a moment")?.map_or_else(String::new, |(_, k)| k.to_owned()),
        picture: picture.to_owned(),
        size: about.word("size", r#""1920x1080" and the like"#, raster_from_text)?,
        display: about.word("display", &displays().collect::<Vec<_>>().join(", "), find)?,
        checksum: about.word("checksum", "8 hexadecimal digits, CRC-32 of the picture's file", hex)?,
        of,
    })
}

/// Keeps a still in a show's folder: picture and settings, or on any error neither.
///
/// # Errors
/// As [`super::write_atomically`].
pub fn keep_still(folder: &Path, new: &NewStill<'_>) -> Result<Still, ShowError> {
    let place = folder.join(STILLS_FOLDER);
    let was_there = place.is_dir();
    record::make_folder(&place)?;
    let there = stills(folder)?.0;
    let name = if new.name.trim().is_empty() { "still" } else { new.name };
    let id = new_id(&place, name);
    let still = Still {
        name: free_name(name, there.iter().map(|s| s.name.as_str())),
        note: new.note.to_owned(),
        kept: new.kept.clone(),
        picture: format!("{id}.{}", new.extension),
        id: id.as_str().into(),
        size: new.size,
        display: new.display.clone(),
        checksum: crc32fast::hash(new.picture),
        of: new.of.as_ref().map(|(of, _)| of.clone()),
    };
    let mut about = vec![
        ("name", text(&still.name)),
        ("note", text(&still.note)),
        ("kept", text(&still.kept)),
        ("picture", text(&still.picture)),
        ("size", text(&raster_text(still.size))),
        ("display", text(&still.display.id)),
        ("checksum", text(&format!("{:08x}", still.checksum))),
    ];
    if let Some(of) = &still.of {
        about.extend([
            ("shot", text(&of.shot)),
            ("frame", of.frame.to_string()),
            ("timecode", text(&of.timecode)),
        ]);
    }
    let written =
        text_of(COMMENTS, KIND, &about, new.of.as_ref().map(|(_, show)| *show)).and_then(|mut text| {
            let own = known_display(&still.display.id).is_none();
            if own && new.of.as_ref().is_none_or(|(_, show)| show.display(&still.display.id).is_none()) {
                write_display(&mut text, &still.display);
            }
            let picture = still.picture_path(folder);
            super::write_atomically(&picture, |file| file.write_all(new.picture))?;
            super::write_atomically(&path_of(folder, &id), |file| file.write_all(text.as_bytes()))
                .inspect_err(|_| {
                    let _ = std::fs::remove_file(&picture);
                })
        });
    if written.is_err() && !was_there {
        let _ = std::fs::remove_dir(&place);
    }
    written.map(|()| still)
}

/// The settings that made a still: a show with the one shot. With `tables` the LUTs that it names are read; without, it has
/// stages that lack them.
///
/// # Errors
/// What is missing or wrong, with file and line; [`ShowError::Change`] for a reference from outside, which has none.
pub fn still_settings(folder: &Path, id: &str, tables: bool) -> Result<Show, ShowError> {
    let path = path_of(folder, id);
    let tables = if tables { Tables::Read } else { Tables::Leave };
    read_record(folder, &path, tables, |root| {
        let still = read_still(&root, &path)?;
        if still.of.is_none() {
            let what = format!("{:?} is a reference from outside: no settings came with it", still.name);
            return Err(ShowError::change(what, "a still that was kept here"));
        }
        let show = read_show(&root, &[KIND])?;
        match show.shots.len() {
            1 => Ok(show),
            n => Err(root.source.wrong(0, format!("a still's settings have {n} shots"), "one [[shot]]")),
        }
    })
}

/// Gives a still another name, which no other may have.
///
/// # Errors
/// [`ShowError::Change`] for a name that it cannot have, and as [`super::write_atomically`].
pub fn rename_still(folder: &Path, id: &str, name: &str) -> Result<(), ShowError> {
    let there = stills(folder)?.0;
    check_name(KIND, name, there.iter().filter(|s| *s.id != *id).map(|s| s.name.as_str()))?;
    set_text(&path_of(folder, id), KIND, "name", name)
}

/// Gives a still another line about it.
///
/// # Errors
/// As [`super::write_atomically`].
pub fn note_still(folder: &Path, id: &str, note: &str) -> Result<(), ShowError> {
    set_text(&path_of(folder, id), KIND, "note", note)
}

/// Removes a still, for good.
///
/// # Errors
/// [`ShowError::Io`] when it cannot be removed.
pub fn remove_still(folder: &Path, id: &str) -> Result<(), ShowError> {
    let picture = stills(folder)?.0.into_iter().find(|s| *s.id == *id).map(|s| s.picture_path(folder));
    let remove = |path: &Path| {
        std::fs::remove_file(path).map_err(|source| ShowError::Io {
            doing: "remove",
            path: path.to_owned(),
            source,
        })
    };
    remove(&path_of(folder, id))?;
    match picture {
        Some(picture) if picture.exists() => remove(&picture),
        _ => Ok(()),
    }
}
