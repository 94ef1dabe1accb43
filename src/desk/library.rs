//! The library of looks, read and added to on another thread.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use crate::look::Intent;
use crate::show::{LOOKS_FOLDER, Look, Show, library, look_file_stem, own_looks_folder, save_look};

/// A look on view that is to be saved, as the hand fills it in.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SaveForm {
    pub name: String,
    pub note: String,
    pub intent: Option<Intent>,
    /// Into the show's own folder, not the user's.
    pub in_show: bool,
    /// Over a file that is there.
    pub replace: bool,
    /// Has its first field had the keyboard?
    pub begun: bool,
    /// Why it was not saved.
    pub refused: Option<String>,
}

impl SaveForm {
    /// For the look on view.
    pub fn of(show: &Show) -> Self {
        let origin = show.chain.origin.as_ref();
        Self {
            name: origin.map_or_else(String::new, |o| o.name.clone()),
            note: origin.map_or_else(String::new, |o| o.note.clone()),
            intent: origin.and_then(|o| o.intent),
            in_show: false,
            replace: false,
            begun: false,
            refused: None,
        }
    }

    /// The file that it goes into.
    fn file(&self, dir: &Path) -> Result<PathBuf, String> {
        let folder = match self.in_show {
            true => dir.join(LOOKS_FOLDER),
            false => own_looks_folder()
                .ok_or("there is no home folder for looks of your own; accepted: the show's")?,
        };
        let stem = look_file_stem(&self.name).ok_or("a look needs a name with a letter or a digit")?;
        Ok(folder.join(stem).with_extension("toml"))
    }

    fn save(self, show: &Show, dir: &Path) -> Result<PathBuf, String> {
        let file = self.file(dir)?;
        if file.exists() && !self.replace {
            return Err(format!("{} is there already: another name, or replace it", file.display()));
        }
        if let Some(folder) = file.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|e| format!("the folder {} could not be made: {e}", folder.display()))?;
        }
        let look = Look { name: self.name, note: self.note, intent: self.intent, ..show.look(dir) };
        save_look(&look, &file).map_err(|e| e.to_string())?;
        Ok(file)
    }
}

/// What was done since.
#[derive(Debug)]
pub(super) enum Done {
    /// The library, and why looks of it cannot be used: a line each.
    Read(Vec<Look>, Vec<String>),
    /// A look was saved here, or why not.
    Saved(Result<PathBuf, String>),
}

/// Reads the library and saves into it.
pub(super) struct Librarian {
    done: (Sender<Done>, Receiver<Done>),
    tell: Arc<dyn Fn() + Send + Sync>,
}

impl Librarian {
    /// `tell` is called from another thread when something is done.
    pub fn new(tell: impl Fn() + Send + Sync + 'static) -> Self {
        Self { done: channel(), tell: Arc::new(tell) }
    }

    /// Reads every look that a show in `dir` can be given.
    pub fn read(&self, dir: &Path) {
        let (dir, done, tell) = (dir.to_owned(), self.done.0.clone(), self.tell.clone());
        rayon::spawn(move || {
            let _ = done.send(read(&dir));
            tell();
        });
    }

    /// Saves the look of a show in `dir`; if that succeeds, the library is read again.
    pub fn save(&self, form: SaveForm, show: &Arc<Show>, dir: &Path) {
        let (show, dir, done, tell) = (show.clone(), dir.to_owned(), self.done.0.clone(), self.tell.clone());
        rayon::spawn(move || {
            let saved = form.save(&show, &dir);
            let again = saved.is_ok();
            let _ = done.send(Done::Saved(saved));
            if again {
                let _ = done.send(read(&dir));
            }
            tell();
        });
    }

    /// What was done since it was asked last.
    pub fn finished(&self) -> Vec<Done> {
        self.done.1.try_iter().collect()
    }
}

fn read(dir: &Path) -> Done {
    let (mut looks, mut wrong) = (Vec::new(), Vec::new());
    for entry in library(Some(dir)) {
        match entry.read() {
            Ok(look) => looks.push(look),
            Err(e) => wrong.push(e.to_string()),
        }
    }
    Done::Read(looks, wrong)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::look::{Stage, stage};
    use crate::show::shipped_looks;
    use std::time::Duration;

    #[test]
    fn a_look_is_saved_into_the_show_and_comes_back_with_the_library() {
        let dir = tempfile::tempdir().unwrap();
        let mut show = Show::new("snow");
        show.chain.look = vec![Stage::new(stage("contrast").unwrap())];
        let show = Arc::new(show);
        let (tell, told) = channel();
        let librarian = Librarian::new(move || tell.send(()).unwrap());
        let form = SaveForm { name: "Dry frost".into(), in_show: true, ..SaveForm::of(&show) };
        let saved = |form: &SaveForm| {
            librarian.save(form.clone(), &show, dir.path());
            told.recv_timeout(Duration::from_secs(40)).unwrap();
            librarian.finished()
        };
        let done = saved(&form);
        let [Done::Saved(Ok(file)), Done::Read(looks, wrong)] = &done[..] else { panic!("{done:?}") };
        assert_eq!(*file, dir.path().join("looks/dry-frost.toml"));
        assert!(looks.len() > shipped_looks().len() && wrong.is_empty());
        assert_eq!(looks.last().unwrap().stages, show.chain.look);
        // Never over another unasked.
        let done = saved(&form);
        assert!(matches!(&done[..], [Done::Saved(Err(e))] if e.contains("dry-frost.toml")), "{done:?}");
        let done = saved(&SaveForm { replace: true, note: "Firm.".into(), ..form.clone() });
        assert!(
            matches!(&done[..], [Done::Saved(Ok(_)), Done::Read(looks, _)] if looks.last().unwrap().note == "Firm.")
        );
        let done = saved(&SaveForm { name: "…".into(), ..form.clone() });
        assert!(matches!(&done[..], [Done::Saved(Err(e))] if e.contains("letter")), "{done:?}");
        // One that cannot be used hides no other.
        std::fs::write(dir.path().join("looks/a.toml"), "version = 1\n").unwrap();
        librarian.read(dir.path());
        told.recv_timeout(Duration::from_secs(40)).unwrap();
        let done = librarian.finished();
        assert!(
            matches!(&done[..], [Done::Read(looks, wrong)]
            if looks.len() > shipped_looks().len() && wrong.len() == 1 && wrong[0].contains("a.toml")),
            "{done:?}"
        );
    }
}
