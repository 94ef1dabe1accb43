//! Writes the document on a thread of its own.

use std::path::PathBuf;
use std::sync::Arc;

use crossbeam_channel::{Receiver, Sender, bounded, unbounded};

use crate::show::{Show, ShowError, save};

pub(super) struct Saver {
    shows: Option<Sender<Arc<Show>>>,
    results: Receiver<Result<(), ShowError>>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Saver {
    pub fn start(dir: PathBuf, wake: Arc<dyn Fn() + Send + Sync>) -> std::io::Result<Self> {
        let (shows, todo) = bounded::<Arc<Show>>(1);
        let (tell, results) = unbounded();
        let thread = std::thread::Builder::new().name("save".into()).spawn(move || {
            for show in todo {
                let _ = tell.send(save(&show, &dir));
                wake();
            }
        })?;
        Ok(Self { shows: Some(shows), results, thread: Some(thread) })
    }

    /// Hands the document over, unless one is waiting already.
    pub fn save(&self, show: &Arc<Show>) -> bool {
        self.shows.as_ref().is_some_and(|s| s.try_send(show.clone()).is_ok())
    }

    /// How a save ended, if one did.
    pub fn result(&self) -> Option<Result<(), ShowError>> {
        self.results.try_recv().ok()
    }

    /// Saves once more and waits for it.
    pub fn finish(&mut self, show: Option<&Arc<Show>>) -> Result<(), ShowError> {
        if let (Some(shows), Some(show)) = (&self.shows, show) {
            let _ = shows.send(show.clone());
        }
        self.shows = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        let mut last = Ok(());
        while let Ok(result) = self.results.try_recv() {
            last = result;
        }
        last
    }
}
