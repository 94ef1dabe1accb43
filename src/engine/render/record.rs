//! What is known of files that an earlier render wrote: with which settings, and which of them are whole.
//!
//! For each shot's images and each movie there is a folder in `OUT/.greyhold`. It may be deleted at any time: then everything
//! counts as not rendered yet.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use super::job::Part;
use crate::media::short_hash;

/// The folder for what is known, in the folder for the files.
pub const FOLDER: &str = ".greyhold";

/// What the settings are, by what they are about; each a hash.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Print {
    /// What the frames depend on.
    pub frames: BTreeMap<String, String>,
    /// What else a movie depends on.
    #[serde(default)]
    pub beside: BTreeMap<String, String>,
}

impl Print {
    /// Takes down what frames depend on.
    pub fn frames(&mut self, about: &str, text: &str) {
        self.frames.insert(about.to_owned(), short_hash(text.as_bytes()));
    }

    /// Takes down what else a movie depends on.
    pub fn beside(&mut self, about: &str, text: &str) {
        self.beside.insert(about.to_owned(), short_hash(text.as_bytes()));
    }

    /// One hash of what frames depend on.
    pub fn of_frames(&self) -> String {
        short_hash(format!("{:?}", self.frames).as_bytes())
    }

    /// One hash of all.
    pub fn of_all(&self) -> String {
        short_hash(format!("{self:?}").as_bytes())
    }

    /// What is not alike, in words.
    fn differs_in(&self, other: &Self) -> Vec<String> {
        let all = |p: &Self| p.frames.clone().into_iter().chain(p.beside.clone()).collect::<BTreeMap<_, _>>();
        let (a, b) = (all(self), all(other));
        let keys: BTreeSet<_> = a.keys().chain(b.keys()).cloned().collect();
        keys.into_iter().filter(|k| a.get(k) != b.get(k)).collect()
    }
}

/// A file's length and time, for a print: empty for one that is not there.
pub fn stamp(path: &Path) -> String {
    let Ok(data) = fs::metadata(path) else { return String::new() };
    let time = data.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok());
    format!("{} {}", data.len(), time.map_or(0, |t| t.as_nanos()))
}

/// What is known of one shot's images or one movie.
pub struct Record {
    folder: PathBuf,
    print: Print,
    done: BTreeSet<u64>,
    /// Held as long as this lives.
    _lock: Option<File>,
}

/// A list of frames whose files are whole.
pub struct Log {
    path: PathBuf,
    file: Option<File>,
}

impl Log {
    /// Notes down a frame.
    pub fn note(&mut self, number: u64) -> io::Result<()> {
        if self.file.is_none() {
            self.file = Some(OpenOptions::new().append(true).create_new(true).open(&self.path)?);
        }
        self.file.as_mut().map_or(Ok(()), |file| file.write_all(format!("{number}\n").as_bytes()))
    }
}

/// Why there is no record.
pub enum Unopened {
    /// Somebody else has it.
    Busy,
}

impl Record {
    /// Opens or begins the record in `folder`, for files of these settings. Gives what is to be said about other settings.
    pub fn open(
        folder: &Path,
        print: Print,
        part: Part,
        again: bool,
    ) -> Result<(Self, Option<String>), Unopened> {
        // Without it a render still works; it only cannot be taken up again.
        let _ = fs::create_dir_all(folder);
        let name = format!("part-{}-of-{}.lock", part.number, part.of);
        let lock = File::create(folder.join(name)).ok();
        if let Some(Err(fs::TryLockError::WouldBlock)) = lock.as_ref().map(File::try_lock) {
            return Err(Unopened::Busy);
        }
        let file = folder.join("settings.json");
        let old = fs::read(&file).ok().and_then(|b| serde_json::from_slice::<Print>(&b).ok());
        let note = old.filter(|o| *o != print).map(|o| {
            let differs = o.differs_in(&print).join(", ");
            format!("rendered anew: what is there has other settings ({differs})")
        });
        let mine = print.of_frames();
        let mut done = BTreeSet::new();
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            let (log, group) = (name.ends_with(".frames"), name.ends_with(".group"));
            if !log && !group {
                continue;
            }
            if again && part.of == 1 || !name.starts_with(&mine) {
                let _ = fs::remove_file(entry.path());
            } else if log {
                let text = fs::read_to_string(entry.path()).unwrap_or_default();
                // A line that a crash cut off has no end.
                done.extend(
                    text.split_inclusive('\n').filter_map(|l| l.strip_suffix('\n')?.parse::<u64>().ok()),
                );
            } else if let Some(number) = group_number(&name, &mine) {
                done.insert(number);
            }
        }
        if again {
            done.clear();
            let _ = fs::remove_file(folder.join("done"));
        }
        let record = Self { folder: folder.to_owned(), print, done, _lock: lock };
        let _ =
            record.replace("settings.json", &serde_json::to_vec_pretty(&record.print).unwrap_or_default());
        Ok((record, note))
    }

    /// Is a frame, or the group that begins with it, there?
    pub fn has(&self, number: u64) -> bool {
        self.done.contains(&number)
    }

    /// A list for what becomes whole from now on.
    pub fn log(&self) -> Log {
        let nanos = UNIX_EPOCH.elapsed().map_or(0, |t| t.as_nanos());
        let name = format!("{}.{}-{nanos}.frames", self.print.of_frames(), std::process::id());
        Log { path: self.folder.join(name), file: None }
    }

    /// Where its files are.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The file for the packets of the group that begins with a frame.
    pub fn group(&self, number: u64) -> PathBuf {
        self.folder.join(format!("{}.{number:08}.group", self.print.of_frames()))
    }

    /// Where a movie is put together.
    pub fn work(&self) -> PathBuf {
        self.folder.join("movie.part")
    }

    /// The lock of whoever puts a movie together; `None` while somebody else does.
    pub fn lock_to_join(&self) -> Option<File> {
        let file = File::create(self.folder.join("join.lock")).ok()?;
        match file.try_lock() {
            Err(fs::TryLockError::WouldBlock) => None,
            _ => Some(file),
        }
    }

    /// Is the movie at `path` the one that these settings give?
    pub fn is_joined(&self, path: &Path) -> bool {
        let wanted = format!("{} {}", self.print.of_all(), stamp(path));
        path.exists() && fs::read_to_string(self.folder.join("done")).is_ok_and(|t| t == wanted)
    }

    /// Notes down that the movie at `path` is whole, and drops its packets.
    pub fn joined(&self, path: &Path, groups: &[u64]) {
        let text = format!("{} {}", self.print.of_all(), stamp(path));
        if self.replace("done", text.as_bytes()).is_ok() {
            for number in groups {
                let _ = fs::remove_file(self.group(*number));
            }
        }
    }

    fn replace(&self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let beside = self.folder.join(format!(".{name}.{}.part", std::process::id()));
        let outcome = fs::write(&beside, bytes).and_then(|()| fs::rename(&beside, self.folder.join(name)));
        if outcome.is_err() {
            let _ = fs::remove_file(&beside);
        }
        outcome
    }

    /// Removes what a render that was killed left of the files that `mine` names.
    pub fn sweep(folder: &Path, mine: &dyn Fn(&str) -> bool) {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            // .NAME.PID-COUNT.part
            let inner =
                name.strip_prefix('.').and_then(|n| n.strip_suffix(".part")).and_then(|n| n.rsplit_once('.'));
            if inner.is_some_and(|(file, _)| mine(file)) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

fn group_number(name: &str, print: &str) -> Option<u64> {
    name.strip_prefix(print)?.strip_prefix('.')?.strip_suffix(".group")?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn print(look: &str) -> Print {
        let mut print = Print::default();
        print.frames("look", look);
        print.frames("size", "96x54");
        print
    }

    fn opened(folder: &Path, look: &str, part: Part) -> (Record, Option<String>) {
        Record::open(folder, print(look), part, false).unwrap_or_else(|_| panic!("busy"))
    }

    #[test]
    fn frames_are_remembered_for_their_settings_only() {
        let dir = tempfile::tempdir().unwrap();
        let (first, note) = opened(dir.path(), "one", Part::default());
        assert!(note.is_none() && !first.has(3));
        let mut log = first.log();
        log.note(3).unwrap();
        log.note(4).unwrap();
        assert!(Record::open(dir.path(), print("one"), Part::default(), false).is_err(), "it is in use");
        let (other, _) = opened(dir.path(), "one", Part { number: 2, of: 8 });
        assert!(other.has(3) && other.has(4) && !other.has(5), "another part knows them");
        drop((first, other));
        // A line without an end is one that was being written.
        let log = fs::read_dir(dir.path())
            .unwrap()
            .flatten()
            .find(|e| e.path().extension().is_some_and(|x| x == "frames"));
        let log = log.unwrap().path();
        fs::write(&log, "3\n4\n5").unwrap();
        let (again, _) = opened(dir.path(), "one", Part::default());
        assert!(again.has(4) && !again.has(5));
        drop(again);
        let (changed, note) = opened(dir.path(), "two", Part::default());
        assert!(!changed.has(3));
        let note = note.unwrap();
        assert!(note.contains("look") && !note.contains("size"), "{note}");
        drop(changed);
        assert!(
            !opened(dir.path(), "one", Part::default()).0.has(3),
            "the other settings' files replaced them"
        );
    }

    #[test]
    fn only_leftovers_of_the_own_files_are_swept_away() {
        let dir = tempfile::tempdir().unwrap();
        for name in [".take.00001.dpx.77-3.part", ".take.00002.dpx.77-4.part", "take.00001.dpx", ".hidden"] {
            fs::write(dir.path().join(name), "x").unwrap();
        }
        Record::sweep(dir.path(), &|name| name == "take.00001.dpx");
        let left: BTreeSet<_> = fs::read_dir(dir.path()).unwrap().flatten().map(|e| e.file_name()).collect();
        assert_eq!(left, [".hidden", ".take.00002.dpx.77-4.part", "take.00001.dpx"].map(Into::into).into());
    }
}
