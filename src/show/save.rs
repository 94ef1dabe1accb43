//! Saving without ever leaving half a file, when to save, and who may.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read, Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use super::{SHOW_FILE, STILLS_FOLDER, ShowError, VERSIONS_FOLDER};

/// Writes a file so that whoever reads it finds the old contents or the new, whatever happens between:
/// into a temporary file beside it, to the disk, then into its place. A link is followed, and the
/// permissions of a file that is there already are kept.
///
/// # Errors
/// [`ShowError::Full`] when the disk or the user's share of it is full, [`ShowError::Io`] otherwise; the
/// file is then as it was and the temporary one is gone.
pub fn write_atomically(
    path: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), ShowError> {
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let failed = |source: io::Error| match source.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => ShowError::Full { path: path.to_owned() },
        _ => ShowError::Io { doing: "save", path: path.to_owned(), source },
    };
    let Some(name) = target.file_name() else {
        return Err(failed(io::Error::new(ErrorKind::InvalidInput, "this is no path of a file")));
    };
    // A file named without a folder is in the current one.
    let folder = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));

    // Two threads, or a thread and one that died, must not share a temporary file.
    static COUNT: AtomicU64 = AtomicU64::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let temporary = folder.join(format!(".{}.{}-{count}.tmp", name.to_string_lossy(), std::process::id()));
    let outcome = write_new(&temporary, write, &target).and_then(|()| fs::rename(&temporary, &target));
    if let Err(error) = outcome {
        let _ = fs::remove_file(&temporary);
        return Err(failed(error));
    }
    // The name is in place; that the folder's entry is on the disk too is asked for where it can be.
    #[cfg(unix)]
    File::open(folder).and_then(|f| f.sync_all()).map_err(failed)?;
    Ok(())
}

fn write_new(
    temporary: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    target: &Path,
) -> io::Result<()> {
    // Truncated, since a process that died may have had our number.
    let mut file = OpenOptions::new().write(true).create(true).truncate(true).open(temporary)?;
    if let Ok(before) = fs::metadata(target) {
        file.set_permissions(before.permissions())?;
    }
    write(&mut file)?;
    file.sync_all()
}

/// The save of a change is due this long after it was made, so saves begin at least this far apart.
pub const AUTOSAVE_AFTER: Duration = Duration::from_millis(300);

/// When to save: throttled, not put off by further changes. Holds no thread and reads no clock.
#[derive(Debug, Default)]
pub struct Autosave {
    first_unsaved: Option<Instant>,
    saving: bool,
}

impl Autosave {
    /// The show has changed.
    pub fn note_change(&mut self, now: Instant) {
        self.first_unsaved.get_or_insert(now);
    }

    /// Is it time to begin a save? Never while one is under way.
    pub fn due(&self, now: Instant) -> bool {
        self.due_at().is_some_and(|at| now >= at)
    }

    /// When it will be time, if nothing else happens.
    pub fn due_at(&self) -> Option<Instant> {
        self.first_unsaved.filter(|_| !self.saving).map(|first| first + AUTOSAVE_AFTER)
    }

    /// A save of the show as it is now begins; changes from here on belong to the next one.
    pub fn begun(&mut self) {
        self.first_unsaved = None;
        self.saving = true;
    }

    /// The save succeeded.
    pub fn saved(&mut self) {
        self.saving = false;
    }

    /// The save failed at `now`; the next is due [`AUTOSAVE_AFTER`] later.
    pub fn failed(&mut self, now: Instant) {
        self.saving = false;
        self.first_unsaved = Some(now);
    }

    /// Is there anything that is not known to be on the disk?
    pub fn unsaved(&self) -> bool {
        self.saving || self.first_unsaved.is_some()
    }
}

/// The file that says a show is open.
pub const LOCK_FILE: &str = ".greyhold-lock";

/// Holds a show's folder for this process until it is dropped or the process ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    file: File,
    folder: PathBuf,
}

impl Lock {
    /// Takes the lock, and removes temporary files that a process which died left beside `show.toml`, stills and versions.
    ///
    /// # Errors
    /// [`ShowError::Open`] when another process (or another `Lock` in this one) holds it;
    /// [`ShowError::Io`] when the lock file cannot be written or the file system has no locks.
    pub fn take(folder: &Path) -> Result<Self, ShowError> {
        let path = folder.join(LOCK_FILE);
        let io = |source| ShowError::Io { doing: "lock", path: path.clone(), source };
        let options = OpenOptions::new().read(true).write(true).create(true).truncate(false).to_owned();
        let mut file = options.open(&path).map_err(io)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                // Some systems let nobody else read a locked file; then the number stays unknown.
                let _ = file.read_to_string(&mut text);
                return Err(ShowError::Open { folder: folder.to_owned(), process: text.trim().parse().ok() });
            }
            Err(TryLockError::Error(source)) => return Err(io(source)),
        }
        file.set_len(0).and_then(|()| file.rewind()).map_err(io)?;
        // A full disk has no room for the number; the lock holds without it.
        let _ = writeln!(file, "{}", std::process::id());
        remove_leftovers(folder);
        Ok(Self { file, folder: folder.to_owned() })
    }

    /// The folder that is held.
    pub fn folder(&self) -> &Path {
        &self.folder
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // The file itself stays: removing it would let two processes hold two files of the same name.
        let _ = self.file.set_len(0);
        let _ = self.file.unlock();
    }
}

/// Safe only under the lock: nobody else can be about to rename one of these.
fn remove_leftovers(folder: &Path) {
    let own = format!(".{SHOW_FILE}.");
    let folders = [(folder.to_owned(), own.as_str())];
    let beside = [STILLS_FOLDER, VERSIONS_FOLDER].map(|name| (folder.join(name), "."));
    for (folder, start) in folders.into_iter().chain(beside) {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            if name.starts_with(start) && name.ends_with(".tmp") {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}
