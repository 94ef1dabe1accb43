//! Panel maps by their names, and what was learned kept in them, on another thread.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use crate::engine::{Learning, known_action, known_target};
use crate::panel::{Guess, Map, Purpose, SHIPPED, add_learned, shipped};
use crate::show::{own_panels_folder, write_atomically};

/// A map's text, and the file that what is added to it goes into.
#[derive(Debug)]
pub struct MapFile {
    /// The file: the map's own; of one that ships the user's copy of it, which may not be there yet.
    pub file: Option<PathBuf>,
    /// The text.
    pub text: String,
    /// What it is called where something is wrong with it.
    pub name: String,
}

impl MapFile {
    /// Finds a map by the name of one that ships, of which the user's copy in `own` comes first, or by its file.
    ///
    /// # Errors
    /// A sentence that says what is accepted.
    pub fn find(wanted: &str, own: Option<&Path>) -> Result<Self, String> {
        let unread = |file: &Path, e: std::io::Error| format!("{} cannot be read: {e}", file.display());
        if let Some((file, text)) = shipped(wanted) {
            let copy = own.map(|own| own.join(file));
            return match copy.as_deref().map(|copy| (copy, std::fs::read_to_string(copy))) {
                Some((copy, Ok(text))) => {
                    Ok(Self { file: Some(copy.to_owned()), text, name: copy.display().to_string() })
                }
                Some((copy, Err(e))) if e.kind() != std::io::ErrorKind::NotFound => Err(unread(copy, e)),
                _ => Ok(Self { file: copy, text: text.to_owned(), name: file.to_owned() }),
            };
        }
        let text = std::fs::read_to_string(wanted).map_err(|e| {
            let names: Vec<_> = SHIPPED.iter().filter_map(|(file, _)| file.strip_suffix(".toml")).collect();
            let none = "it is no file that can be read, and none of";
            format!("no panel map {wanted:?}: {none} {}: {e}", names.join(", "))
        })?;
        Ok(Self { file: Some(wanted.into()), text, name: wanted.to_owned() })
    }

    /// Finds it where the user's maps are.
    ///
    /// # Errors
    /// As [`find`](Self::find).
    pub fn of(wanted: &str) -> Result<Self, String> {
        Self::find(wanted, own_panels_folder().as_deref())
    }

    /// Reads it.
    ///
    /// # Errors
    /// [`crate::panel::PanelError::Map`] with file and line.
    pub fn map(&self) -> Result<Map, crate::panel::PanelError> {
        Map::parse(&self.text, &self.name, &known_target, &known_action)
    }

    /// Adds what was learned and saves it; gives the file and the new map. What the map has is not overwritten.
    fn keep(mut self, target: &str, guess: &Guess, port: Option<&str>) -> Result<(PathBuf, Map), String> {
        let map = self.map().map_err(|e| e.to_string())?;
        let file = self.file.clone().ok_or("there is no home folder for a map of your own")?;
        // No action is called as an address is.
        let purpose = if known_action(target).is_ok() { Purpose::Do(target) } else { Purpose::Move(target) };
        self.text = add_learned(&self.text, &map, guess, purpose, None, port).map_err(|e| e.to_string())?;
        let map = self.map().map_err(|e| e.to_string())?;
        if let Some(folder) = file.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|e| format!("the folder {} could not be made: {e}", folder.display()))?;
        }
        write_atomically(&file, |out| out.write_all(self.text.as_bytes())).map_err(|e| e.to_string())?;
        Ok((file, map))
    }
}

/// What became of a control that was to be kept.
pub(super) struct Kept {
    /// Number of its map.
    pub at: usize,
    /// The file and the new map, or why not.
    pub done: Result<(PathBuf, Arc<Map>), String>,
}

/// Keeps what was learned.
pub(super) struct Learner {
    /// What the maps are called, in their order.
    maps: Vec<String>,
    own: Option<PathBuf>,
    done: (Sender<Kept>, Receiver<Kept>),
    tell: Arc<dyn Fn() + Send + Sync>,
}

impl Learner {
    /// `own` is the folder of the user's maps; `tell` is called from another thread when something is done.
    pub fn new(maps: Vec<String>, own: Option<PathBuf>, tell: impl Fn() + Send + Sync + 'static) -> Self {
        Self { maps, own, done: channel(), tell: Arc::new(tell) }
    }

    /// Keeps what is recognised by now.
    pub fn keep(&self, learning: &Learning) {
        let (Some(wanted), Some(guess)) = (self.maps.get(learning.map).cloned(), learning.guess) else {
            return;
        };
        let (own, learning) = (self.own.clone(), learning.clone());
        let (done, tell) = (self.done.0.clone(), self.tell.clone());
        rayon::spawn(move || {
            let found = MapFile::find(&wanted, own.as_deref());
            let kept = found.and_then(|file| file.keep(&learning.target, &guess, learning.port.as_deref()));
            let _ = done.send(Kept { at: learning.map, done: kept.map(|(file, map)| (file, Arc::new(map))) });
            tell();
        });
    }

    /// What was done since it was asked last.
    pub fn finished(&self) -> Vec<Kept> {
        self.done.1.try_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::panel::{Kind, Mode, Source};
    use std::time::Duration;

    #[test]
    fn what_is_learned_goes_into_the_users_copy_and_nothing_over_it() {
        let dir = tempfile::tempdir().unwrap();
        let own = dir.path().join("panels");
        let (tell, told) = channel();
        let names = vec!["three-balls".to_owned(), dir.path().join("mine.toml").display().to_string()];
        let learner = Learner::new(names, Some(own.clone()), move || tell.send(()).unwrap());
        let keep = |map: usize, cc: u8| {
            let guess =
                Guess { kind: Kind::Absolute { cc }, channel: 0, certainty: 1.0, need: None, touch: None };
            let target = "balance/exposure".into();
            learner.keep(&Learning { target, port: None, map, guess: Some(guess), conflict: None });
            told.recv_timeout(Duration::from_secs(40)).unwrap();
            learner.finished().pop().unwrap()
        };
        let before = MapFile::find("three-balls", Some(&own)).unwrap();
        let kept = keep(0, 90);
        let (file, map) = kept.done.unwrap();
        assert_eq!((kept.at, &file), (0, &own.join("three-balls.toml")));
        assert_eq!(map.controls.len(), before.map().unwrap().controls.len() + 1);
        // From then on the copy is what the name means; what a person wrote there is still there.
        let again = MapFile::find("three-balls", Some(&own)).unwrap();
        assert_eq!(again.map().unwrap(), *map);
        assert!(again.text.starts_with(&before.text[..before.text.find("[[").unwrap()]));
        // CC 20 is the first ball's: it is said, and nothing is written.
        let why = keep(0, 20).done.unwrap_err();
        assert!(why.contains("Shadows"), "{why}");
        assert_eq!(std::fs::read_to_string(&file).unwrap(), again.text);
        // A button for an action; a knob cannot do one, which is said, and nothing is written.
        let learn_action = |kind| {
            let guess = Guess { kind, channel: 0, certainty: 1.0, need: None, touch: None };
            let target = "undo".into();
            learner.keep(&Learning { target, port: None, map: 0, guess: Some(guess), conflict: None });
            told.recv_timeout(Duration::from_secs(40)).unwrap();
            learner.finished().pop().unwrap().done
        };
        let note = Source::Note(101);
        let (_, map) = learn_action(Kind::Button { source: note, mode: Mode::Momentary }).unwrap();
        let button = map.buttons.iter().find(|b| b.source == note).unwrap();
        assert_eq!(&*button.action, "undo");
        let again = MapFile::find("three-balls", Some(&own)).unwrap();
        let why = learn_action(Kind::Absolute { cc: 91 }).unwrap_err();
        assert!(why.contains("it is no button"), "{why}");
        assert_eq!(std::fs::read_to_string(&file).unwrap(), again.text);
        // A file of one's own is added to where it is.
        let mine = dir.path().join("mine.toml");
        assert!(keep(1, 90).done.unwrap_err().contains("no panel map"));
        std::fs::write(&mine, "name = \"mine\"\nport = \"\"\n").unwrap();
        assert_eq!(keep(1, 90).done.unwrap().0, mine);
    }
}
