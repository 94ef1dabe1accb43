//! What clients answered, notes and approvals, in a file of the show's folder.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use arc_swap::ArcSwap;
use serde::{Deserialize, Serialize};

use super::house::House;
use crate::show::write_atomically;

/// The file in the show's folder.
pub const ANSWERS_FILE: &str = "answers.toml";
/// Notes that are kept.
pub const MAX_NOTES: usize = 500;
/// Approvals that are kept: of each shot the last of each person.
pub const MAX_APPROVALS: usize = 1000;
/// Characters of a note.
pub const MAX_TEXT: usize = 500;
/// Characters of a name.
const MAX_NAME: usize = 40;
/// Bytes of the file.
const MAX_FILE: u64 = 4 << 20;
/// Answers in quick succession are one save.
const GATHER: Duration = Duration::from_millis(50);
/// When a save that failed is tried again.
const AGAIN: Duration = Duration::from_secs(2);

/// A note that is pinned to a place of a frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// Its number, which no other note of the book has had.
    pub id: u64,
    /// The shot's name.
    pub shot: String,
    /// The frame of the shot, from 0.
    pub frame: u64,
    /// That frame's timecode.
    pub timecode: String,
    /// Where, as shares 0…1 of the picture's width and height from its upper left corner.
    pub at: [f64; 2],
    /// What is said; [`MAX_TEXT`] characters at most.
    pub text: String,
    /// Who says it.
    pub name: String,
    /// When: UTC, as RFC 3339 has it.
    pub when: String,
    /// Has it been dealt with?
    pub done: bool,
}

/// Somebody's word that a shot is right as it is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Approval {
    /// The shot's name.
    pub shot: String,
    /// Who says so.
    pub name: String,
    /// When: UTC, as RFC 3339 has it.
    pub when: String,
    /// The [`sum`](super::sum()) of the shot's settings then.
    pub sum: String,
}

/// All answers of a show.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Book {
    /// The number of the next note.
    #[serde(default)]
    pub next: u64,
    /// Notes, oldest first.
    #[serde(default)]
    pub notes: Vec<Note>,
    /// Approvals, oldest first.
    #[serde(default)]
    pub approvals: Vec<Approval>,
}

/// Why answers cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum BookError {
    /// The file cannot be read.
    #[error("{path} cannot be read: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// It is no book of answers.
    #[error("{path} is no book of answers: {why}; mend it, or move it away and a new one is begun")]
    Broken {
        /// The file.
        path: PathBuf,
        /// What is wrong, and where.
        why: String,
    },
}

/// Text of one line or several without control characters, so long at most; nothing where nothing is said.
fn tidy(text: &str, most: usize) -> Option<String> {
    let text: String = text.trim().chars().filter(|c| !c.is_control() || *c == '\n').take(most).collect();
    (!text.is_empty()).then_some(text)
}

/// A person's name; "client" where none is given.
pub(super) fn tidy_name(name: &str) -> String {
    tidy(&name.replace('\n', " "), MAX_NAME).unwrap_or_else(|| "client".into())
}

impl Book {
    /// Reads a show's answers; a new book where there is no file.
    ///
    /// # Errors
    /// [`BookError`]
    pub fn read(folder: &Path) -> Result<Self, BookError> {
        let path = folder.join(ANSWERS_FILE);
        let text = match std::fs::metadata(&path) {
            Ok(meta) if meta.len() > MAX_FILE => {
                let why = format!("it has {} bytes, and {MAX_FILE} at most are accepted", meta.len());
                return Err(BookError::Broken { path, why });
            }
            Ok(_) => std::fs::read_to_string(&path),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => Err(e),
        };
        let text = text.map_err(|source| BookError::Io { path: path.clone(), source })?;
        let mut book: Self = toml::from_str(&text)
            .map_err(|e| BookError::Broken { path: path.clone(), why: e.to_string().trim().to_owned() })?;
        let bad =
            |n: &Note| n.at.iter().any(|v| !(0.0..=1.0).contains(v)) || n.text.chars().count() > MAX_TEXT;
        let full = book.notes.len() > MAX_NOTES || book.approvals.len() > MAX_APPROVALS;
        if let Some(note) = book.notes.iter().find(|n| bad(n)) {
            let why = format!(
                "note {}: places are accepted from 0 to 1, texts up to {MAX_TEXT} characters",
                note.id
            );
            return Err(BookError::Broken { path, why });
        }
        if full {
            let why = format!("{MAX_NOTES} notes and {MAX_APPROVALS} approvals are accepted at most");
            return Err(BookError::Broken { path, why });
        }
        book.next = book.notes.iter().map(|n| n.id + 1).fold(book.next, u64::max);
        Ok(book)
    }

    /// A note more.
    ///
    /// # Errors
    /// Why it is not kept.
    pub fn add(&mut self, mut note: Note) -> Result<u64, String> {
        if self.notes.len() >= MAX_NOTES {
            return Err(format!("the book is full: {MAX_NOTES} notes; the operator can take some out"));
        }
        if note.at.iter().any(|v| !(0.0..=1.0).contains(v)) {
            return Err("that place is beside the picture".into());
        }
        note.text = tidy(&note.text, MAX_TEXT).ok_or("nothing was written")?;
        note.name = tidy_name(&note.name);
        note.id = self.next;
        self.next += 1;
        self.notes.push(note);
        Ok(self.next - 1)
    }

    /// A person's last word on a shot.
    pub fn approve(&mut self, approval: Approval) {
        self.approvals.retain(|a| (&a.shot, &a.name) != (&approval.shot, &approval.name));
        if self.approvals.len() >= MAX_APPROVALS {
            self.approvals.remove(0);
        }
        self.approvals.push(approval);
    }

    /// Takes a person's word on a shot back.
    pub fn withdraw(&mut self, shot: &str, name: &str) {
        self.approvals.retain(|a| (a.shot.as_str(), a.name.as_str()) != (shot, name));
    }

    /// A note is done, or open again.
    pub fn set_done(&mut self, id: u64, done: bool) {
        self.notes.iter_mut().filter(|n| n.id == id).for_each(|n| n.done = done);
    }

    /// Takes a note out.
    pub fn remove(&mut self, id: u64) {
        self.notes.retain(|n| n.id != id);
    }

    /// Notes of a shot that are open.
    pub fn open_of<'a>(&'a self, shot: &'a str) -> impl Iterator<Item = &'a Note> {
        self.notes.iter().filter(move |n| !n.done && n.shot == shot)
    }
}

/// The book of a running server.
pub(super) struct Keeper {
    folder: PathBuf,
    book: ArcSwap<Book>,
    /// Held while the book changes.
    state: Mutex<State>,
    changed: Condvar,
    trouble: ArcSwap<Option<Arc<str>>>,
    tell: Box<dyn Fn() + Send + Sync>,
}

#[derive(Default)]
struct State {
    unsaved: bool,
    ends: bool,
}

impl Keeper {
    pub fn open(folder: &Path, tell: Box<dyn Fn() + Send + Sync>) -> Result<Self, BookError> {
        Ok(Self {
            folder: folder.to_owned(),
            book: ArcSwap::from_pointee(Book::read(folder)?),
            state: Mutex::default(),
            changed: Condvar::new(),
            trouble: ArcSwap::default(),
            tell,
        })
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(|e| e.into_inner())
    }

    pub fn get(&self) -> Arc<Book> {
        self.book.load_full()
    }

    pub fn trouble(&self) -> Option<Arc<str>> {
        self.trouble.load().as_ref().clone()
    }

    /// Changes the book; it is saved soon.
    pub fn change<T>(&self, change: impl FnOnce(&mut Book) -> T) -> T {
        let mut state = self.lock();
        let old = self.book.load_full();
        let mut book = Book::clone(&old);
        let out = change(&mut book);
        if book != *old {
            self.book.store(Arc::new(book));
            state.unsaved = true;
            self.changed.notify_all();
            drop(state);
            (self.tell)();
        }
        out
    }

    /// What is not saved yet is saved, and then the thread ends.
    pub fn end(&self) {
        self.lock().ends = true;
        self.changed.notify_all();
    }

    fn keep_saving(&self) {
        let mut state = self.lock();
        loop {
            while !state.unsaved && !state.ends {
                state = self.changed.wait(state).unwrap_or_else(|e| e.into_inner());
            }
            if !state.unsaved {
                return;
            }
            if !state.ends {
                drop(state);
                std::thread::sleep(GATHER);
                state = self.lock();
            }
            state.unsaved = false;
            drop(state);
            let saved = self.save();
            let failed = saved.is_err();
            let why = saved.err().map(|e| Arc::from(format!("answers of clients: {e}")));
            self.trouble.store(Arc::new(why));
            (self.tell)();
            state = self.lock();
            if failed {
                state.unsaved = true;
                if state.ends {
                    tracing::error!("answers of clients could not be saved");
                    return;
                }
                state = self.changed.wait_timeout(state, AGAIN).unwrap_or_else(|e| e.into_inner()).0;
            }
        }
    }

    fn save(&self) -> Result<(), crate::show::ShowError> {
        let book = self.get();
        let text = toml::to_string(&*book).unwrap_or_default();
        let head = "# What clients answered: notes and approvals. Written by the program as they come.\n\n";
        write_atomically(&self.folder.join(ANSWERS_FILE), |to| {
            to.write_all(head.as_bytes())?;
            to.write_all(text.as_bytes())
        })
    }
}

/// Starts the thread that saves.
pub(super) fn start_saving(house: Arc<House>) -> std::io::Result<std::thread::JoinHandle<()>> {
    std::thread::Builder::new().name("serve-save".into()).spawn(move || house.book.keep_saving())
}

/// Now, in UTC, as RFC 3339 has it.
pub(super) fn now() -> String {
    utc(SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs()))
}

/// Seconds since 1970 as a date and time. Days to dates as in "chrono-Compatible Low-Level Date Algorithms", Howard
/// Hinnant, `civil_from_days`.
fn utc(seconds: u64) -> String {
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    let z = days + 719_468;
    let (era, doe) = (z / 146_097, z % 146_097);
    let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
    let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    let mp = (5 * doy + 2) / 153;
    let (day, month) = (doy - (153 * mp + 2) / 5 + 1, if mp < 10 { mp + 3 } else { mp - 9 });
    let year = yoe + era * 400 + u64::from(month <= 2);
    let (h, m, s) = (rest / 3600, rest / 60 % 60, rest % 60);
    format!("{year:04}-{month:02}-{day:02}T{h:02}:{m:02}:{s:02}Z")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(text: &str) -> Note {
        Note {
            id: 0,
            shot: "a".into(),
            frame: 3,
            timecode: "00:00:00:03".into(),
            at: [0.5, 0.25],
            text: text.into(),
            name: "Ada".into(),
            when: now(),
            done: false,
        }
    }

    #[test]
    fn a_book_is_read_as_it_was_saved_and_bounded() {
        let dir = tempfile::tempdir().unwrap();
        assert_eq!(Book::read(dir.path()).unwrap(), Book::default());
        let keeper = Keeper::open(dir.path(), Box::new(|| ())).unwrap();
        std::thread::scope(|s| {
            s.spawn(|| keeper.keep_saving());
            let id = keeper.change(|b| b.add(note("  warmer?\u{7} \n \"yes\"  "))).unwrap();
            keeper.change(|b| b.set_done(id, true));
            for sum in ["1", "2"] {
                let (shot, name) = ("a".to_owned(), "Ada".to_owned());
                keeper.change(|b| b.approve(Approval { shot, name, when: now(), sum: sum.into() }));
            }
            keeper.end();
        });
        let book = Book::read(dir.path()).unwrap();
        assert_eq!(book, *keeper.get());
        assert_eq!((book.notes[0].text.as_str(), book.notes[0].done), ("warmer? \n \"yes\"", true));
        assert_eq!(book.approvals.len(), 1, "a person's last word on a shot");
        assert_eq!(book.approvals[0].sum, "2");

        let mut full = Book::default();
        for _ in 0..MAX_NOTES {
            full.add(note(&"x".repeat(MAX_TEXT * 2))).unwrap();
        }
        assert!(full.add(note("one more")).unwrap_err().contains("full"));
        assert_eq!(full.notes[0].text.chars().count(), MAX_TEXT);
        full.remove(0);
        assert_eq!(full.add(note("one more")), Ok(MAX_NOTES as u64), "numbers are not used again");
        for at in [[-0.1, 0.0], [0.0, 1.1], [f64::NAN, 0.0]] {
            assert!(Book::default().add(Note { at, ..note("x") }).is_err());
        }
        assert!(Book::default().add(note(" \n ")).is_err());
        for n in 0..MAX_APPROVALS + 5 {
            let name = n.to_string();
            full.approve(Approval { shot: "a".into(), name, when: now(), sum: String::new() });
        }
        assert_eq!(full.approvals.len(), MAX_APPROVALS);
    }

    #[test]
    fn a_broken_book_is_refused_with_its_place() {
        let dir = tempfile::tempdir().unwrap();
        let with = |text: &str| {
            std::fs::write(dir.path().join(ANSWERS_FILE), text).unwrap();
            Book::read(dir.path()).unwrap_err().to_string()
        };
        let error = with("next = 1\n[[notes]]\nid = \"x\"\n");
        assert!(error.contains(ANSWERS_FILE) && error.contains("line 3"), "{error}");
        let error = with("other = 1\n");
        assert!(error.contains("other"), "{error}");
        let mut wrong = Book { notes: vec![note("x")], ..Book::default() };
        wrong.notes[0].at = [2.0, 0.0];
        let error = with(&toml::to_string(&wrong).unwrap());
        assert!(error.contains("note 0") && error.contains("0 to 1"), "{error}");
    }

    /// Checked with `date -u -d @…` of GNU coreutils.
    #[test]
    fn dates() {
        for (seconds, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_399, "2000-02-28T23:59:59Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (1_709_251_200, "2024-03-01T00:00:00Z"),
            (4_102_444_799, "2099-12-31T23:59:59Z"),
        ] {
            assert_eq!(utc(seconds), text);
        }
    }
}
