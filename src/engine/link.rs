//! A second hold on a running engine, for those who watch it beside its host.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use crossbeam_channel::Sender;

use super::finish::Picture;
use super::host::{Handle, Shared};
use super::input::Input;
use super::snapshot::Snapshot;
use super::watch::View;

/// Asks and looks as a [`Handle`] does, without keeping the engine running.
#[derive(Clone)]
pub struct Link {
    inputs: Sender<Input>,
    shared: Arc<Shared>,
    thread: std::thread::Thread,
}

/// Who is told of news.
pub(super) type Listeners = arc_swap::ArcSwap<Vec<Arc<dyn Fn() + Send + Sync>>>;

impl Handle {
    /// Another hold on the engine.
    pub fn link(&self) -> Option<Link> {
        let (inputs, shared, thread) = self.parts()?;
        Some(Link { inputs, shared, thread })
    }
}

impl Link {
    /// Asks something of the engine. Never waits.
    pub fn send(&self, input: Input) {
        let _ = self.inputs.send(input);
        self.thread.unpark();
    }

    /// The engine's state.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.shared.snapshot.load_full()
    }

    /// The newest finished picture of a view; see [`Input::Watch`].
    pub fn watched(&self, view: View) -> Option<Arc<Picture>> {
        self.shared.places[view.place()].load_full()
    }

    /// Pictures up to this serial have been taken: while it plays, the next is drawn for browsers only then.
    pub fn took(&self, serial: u64) {
        self.shared.taken.fetch_max(serial, Ordering::AcqRel);
        self.thread.unpark();
    }

    /// Is the engine's thread still there?
    pub fn running(&self) -> bool {
        !self.shared.ended.load(Ordering::Acquire)
    }

    /// Has `listener` called, from other threads, when a picture is finished or the snapshot changed. It must not block.
    pub fn on_news(&self, listener: Arc<dyn Fn() + Send + Sync>) {
        self.shared.listeners.rcu(|all| {
            let mut all = Vec::clone(all);
            all.push(listener.clone());
            all
        });
    }
}
