//! The engine on its thread, and the handle that others hold.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use arc_swap::{ArcSwap, ArcSwapOption};
use crossbeam_channel::{Sender, unbounded};

use super::core::Engine;
use super::finish::{Picture, Places};
use super::input::{Input, Live};
use super::link::Listeners;
use super::snapshot::Snapshot;
use super::watch::View;
use crate::gpu::Gpu;
use crate::panel::{Map, Ports};
use crate::show::{Lock, Show, ShowError};

/// How an engine is started.
pub struct Options {
    /// The show's folder.
    pub dir: PathBuf,
    /// The document.
    pub show: Show,
    /// The folder's lock, held as long as the engine runs.
    pub lock: Option<Lock>,
    /// The panels' maps, and where their ports come from.
    pub panel: Option<(Vec<Arc<Map>>, PortsMaker)>,
    /// Bytes of decoded frames to keep.
    pub cache: usize,
    /// Called, from other threads, when a picture is finished or the snapshot changed. Must not block.
    pub notify: Arc<dyn Fn() + Send + Sync>,
}

/// Makes the ports on the thread that will use them.
pub type PortsMaker = Box<dyn FnOnce() -> Box<dyn Ports> + Send>;

/// Bytes of decoded frames to keep when nobody says otherwise.
pub const CACHE: usize = 1 << 30;

/// Why the engine did not start, or what it could not save at its end.
#[derive(Debug, thiserror::Error)]
pub enum EngineError {
    /// A thread could not be started.
    #[error("a thread could not be started: {0}")]
    Thread(#[from] std::io::Error),
    /// The document could not be saved.
    #[error(transparent)]
    Show(#[from] ShowError),
    /// The engine's thread ended by itself.
    #[error("the engine stopped; its last words are above")]
    Stopped,
}

pub(super) struct Shared {
    pub snapshot: ArcSwap<Snapshot>,
    pub places: Places,
    pub quit: AtomicBool,
    /// The engine's thread has come to its end.
    pub ended: AtomicBool,
    /// Pictures that a window has put on screen, and those overtaken before they got there.
    pub presented: AtomicU64,
    pub overtaken: AtomicU64,
    /// Serial of the last picture that was taken for browsers.
    pub taken: AtomicU64,
    /// Who is told of news beside the host.
    pub listeners: Listeners,
}

/// A running engine. Dropping it stops the engine and saves the show.
pub struct Handle {
    inputs: Sender<Input>,
    shared: Arc<Shared>,
    thread: Option<std::thread::JoinHandle<Result<(), EngineError>>>,
    /// The GPU it draws on.
    pub gpu: Arc<Gpu>,
}

/// Starts an engine.
pub fn start(gpu: Arc<Gpu>, mut options: Options) -> Result<Handle, EngineError> {
    let (inputs, asked) = unbounded();
    let places: Places = (0..Live::COUNT + View::COUNT).map(|_| ArcSwapOption::empty()).collect();
    let shared = Arc::new(Shared {
        snapshot: ArcSwap::from_pointee(Engine::first_snapshot(&options)),
        places,
        quit: AtomicBool::new(false),
        ended: AtomicBool::new(false),
        presented: AtomicU64::new(0),
        overtaken: AtomicU64::new(0),
        taken: AtomicU64::new(0),
        listeners: Listeners::default(),
    });
    let (host, others) = (options.notify, shared.clone());
    options.notify = Arc::new(move || {
        host();
        others.listeners.load().iter().for_each(|listener| listener());
    });
    let (share, device) = (shared.clone(), gpu.clone());
    let last_word = LastWord(shared.clone(), options.notify.clone());
    let thread = std::thread::Builder::new().name("engine".into()).spawn(move || {
        let _last_word = last_word;
        let me = std::thread::current();
        // Unparking takes no lock and no memory, so even a MIDI driver's thread may do it.
        let wake: Arc<dyn Fn() + Send + Sync> = Arc::new(move || me.unpark());
        let mut engine = Engine::new(device, options, share.clone(), wake)?;
        while !share.quit.load(Ordering::Acquire) {
            while let Ok(input) = asked.try_recv() {
                engine.apply(input, Instant::now());
            }
            let next = engine.tick(Instant::now());
            let wait = next.saturating_duration_since(Instant::now());
            if !wait.is_zero() && asked.is_empty() {
                std::thread::park_timeout(wait.min(Duration::from_millis(250)));
            }
        }
        // What was asked for before the end still counts.
        while let Ok(input) = asked.try_recv() {
            engine.apply(input, Instant::now());
        }
        engine.finish()
    })?;
    Ok(Handle { inputs, shared, thread: Some(thread), gpu })
}

/// Tells those who watch the engine that its thread has ended, however it did.
struct LastWord(Arc<Shared>, Arc<dyn Fn() + Send + Sync>);

impl Drop for LastWord {
    fn drop(&mut self) {
        self.0.ended.store(true, Ordering::Release);
        (self.1)();
    }
}

impl Handle {
    /// Asks something of the engine. Never waits.
    pub fn send(&self, input: Input) {
        let _ = self.inputs.send(input);
        if let Some(thread) = &self.thread {
            thread.thread().unpark();
        }
    }

    /// What another hold on the engine needs.
    pub(super) fn parts(&self) -> Option<(Sender<Input>, Arc<Shared>, std::thread::Thread)> {
        let thread = self.thread.as_ref()?.thread().clone();
        Some((self.inputs.clone(), self.shared.clone(), thread))
    }

    /// The engine's state.
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.shared.snapshot.load_full()
    }

    /// The newest finished picture of an output.
    pub fn picture(&self, output: Live) -> Option<Arc<Picture>> {
        self.shared.places[output as usize].load_full()
    }

    /// A window tells that it put a picture on screen, and how many were overtaken since the last.
    pub fn presented(&self, overtaken: u64) {
        self.shared.presented.fetch_add(1, Ordering::Relaxed);
        self.shared.overtaken.fetch_add(overtaken, Ordering::Relaxed);
    }

    /// Pictures put on screen, and pictures overtaken before they got there.
    pub fn presentation(&self) -> (u64, u64) {
        (self.shared.presented.load(Ordering::Relaxed), self.shared.overtaken.load(Ordering::Relaxed))
    }

    /// Is the engine's thread still there?
    pub fn running(&self) -> bool {
        !self.shared.ended.load(Ordering::Acquire)
    }

    /// Stops the engine and waits until the show is saved.
    pub fn stop(mut self) -> Result<(), EngineError> {
        self.end()
    }

    fn end(&mut self) -> Result<(), EngineError> {
        let Some(thread) = self.thread.take() else { return Ok(()) };
        self.shared.quit.store(true, Ordering::Release);
        thread.thread().unpark();
        let ended = thread.join().unwrap_or(Err(EngineError::Stopped));
        self.gpu.settle();
        ended
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        if let Err(e) = self.end() {
            tracing::error!("{e}");
        }
    }
}
