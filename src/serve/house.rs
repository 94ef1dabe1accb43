//! What the threads and connections of a server share.

use std::collections::{BTreeMap, VecDeque};
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock};
use std::time::{Duration, Instant};

use tokio::sync::watch;

use super::book::Keeper;
use super::door::{Doors, Invitation, Role, Session};
use super::pictures::Slots;
use super::{ServeError, ServeOptions};
use crate::engine::{Canvas, Link};

/// Connections at a time, viewers aside.
pub const MAX_CONNECTIONS: usize = 128;
/// Viewers at a time.
pub const MAX_VIEWERS: usize = 48;
/// Checksums of shots that were sent and may be approved.
const ISSUED: usize = 256;

/// Somebody who watches.
#[derive(Clone, Debug, PartialEq)]
pub struct Viewer {
    /// As they call themselves.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Size of their window in pixels; zeros while they see nothing.
    pub size: (u32, u32),
    /// What their canvas takes codes for.
    pub canvas: Canvas,
}

pub(super) struct House {
    pub link: Link,
    doors: Mutex<Doors>,
    pub book: Keeper,
    pub slots: Slots,
    /// What all are told: the state of the show, of the book, and for operators of the controls.
    pub told: watch::Sender<Arc<str>>,
    pub answers: watch::Sender<Arc<str>>,
    pub controls: watch::Sender<Arc<str>>,
    /// Counts what may have put somebody out.
    pub put_out: watch::Sender<u64>,
    pub ends: watch::Sender<bool>,
    pub largest: (u32, u32),
    pub cookie: String,
    seats: Mutex<BTreeMap<u32, Viewer>>,
    pointed: Mutex<Option<[f64; 2]>>,
    issued: Mutex<VecDeque<(String, String)>>,
    listener: Arc<OnceLock<Box<dyn Fn() + Send + Sync>>>,
    /// The thread that encodes, and whether it has something to look at.
    pub encoder: OnceLock<std::thread::Thread>,
    pub news: AtomicBool,
}

/// A place among the viewers, as long as it lives.
pub(super) struct Seat(Arc<House>, pub u32);

impl Drop for Seat {
    fn drop(&mut self) {
        lock(&self.0.seats).remove(&self.1);
        self.0.stir();
        self.0.tell();
    }
}

pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(|e| e.into_inner())
}

impl House {
    pub fn new(options: &ServeOptions, address: SocketAddr, link: Link) -> Result<Self, ServeError> {
        let listener = Arc::<OnceLock<Box<dyn Fn() + Send + Sync>>>::default();
        let heard = listener.clone();
        let tell = Box::new(move || {
            if let Some(listener) = heard.get() {
                listener();
            }
        });
        let lasts = options.word_lasts.clamp(Duration::from_millis(1), Duration::from_secs(30 * 86_400));
        Ok(Self {
            doors: Mutex::new(Doors::new(lasts, Instant::now()).map_err(ServeError::Random)?),
            book: Keeper::open(&link.snapshot().dir, tell)?,
            slots: Slots::default(),
            told: watch::Sender::new("".into()),
            answers: watch::Sender::new("".into()),
            controls: watch::Sender::new("".into()),
            put_out: watch::Sender::new(0),
            ends: watch::Sender::new(false),
            largest: options.largest,
            cookie: format!("greyhold-{}", address.port()),

            seats: Mutex::default(),
            pointed: Mutex::default(),
            issued: Mutex::default(),
            listener,
            encoder: OnceLock::new(),
            news: AtomicBool::new(true),
            link,
        })
    }

    /// Has the encoder look whether there is something to do. Never blocks.
    pub fn stir(&self) {
        self.news.store(true, Ordering::Release);
        if let Some(encoder) = self.encoder.get() {
            encoder.unpark();
        }
    }

    /// Tells the host that there is something new.
    pub fn tell(&self) {
        if let Some(listener) = self.listener.get() {
            listener();
        }
    }

    pub fn on_news(&self, listener: Box<dyn Fn() + Send + Sync>) {
        let _ = self.listener.set(listener);
    }

    pub fn stop(&self) {
        self.ends.send_replace(true);
        self.book.end();
        self.stir();
    }

    pub fn stops(&self) -> bool {
        *self.ends.borrow()
    }

    pub fn invitation(&self, role: Role) -> Invitation {
        lock(&self.doors).invitation(role)
    }

    pub fn renew(&self, role: Role) -> Result<(), ServeError> {
        let renewed = lock(&self.doors).renew(role, Instant::now()).map_err(ServeError::Random);
        self.put_out.send_modify(|n| *n += 1);
        self.tell();
        renewed
    }

    pub fn doors<T>(&self, what: impl FnOnce(&mut Doors) -> T) -> T {
        what(&mut lock(&self.doors))
    }

    pub fn session(&self, token: &str) -> Option<Session> {
        lock(&self.doors).session(token, Instant::now())
    }

    /// A place for one more viewer, if there is one.
    pub fn seat(self: &Arc<Self>, session: &Session) -> Option<Seat> {
        let mut seats = lock(&self.seats);
        if seats.len() >= MAX_VIEWERS {
            return None;
        }
        let number = seats.last_key_value().map_or(0, |(n, _)| n + 1);
        let viewer =
            Viewer { name: session.name.clone(), role: session.role, size: (0, 0), canvas: Canvas::Srgb };
        seats.insert(number, viewer);
        drop(seats);
        self.stir();
        self.tell();
        Some(Seat(self.clone(), number))
    }

    /// What a viewer's window is now.
    pub fn sits(&self, seat: u32, size: (u32, u32), canvas: Canvas) {
        if let Some(viewer) = lock(&self.seats).get_mut(&seat) {
            (viewer.size, viewer.canvas) = (size, canvas);
        }
        self.tell();
    }

    /// A viewer is called so from now on.
    pub fn is_called(&self, seat: u32, name: &str) {
        if let Some(viewer) = lock(&self.seats).get_mut(&seat) {
            viewer.name = name.to_owned();
        }
        self.tell();
    }

    pub fn viewers(&self) -> Vec<Viewer> {
        lock(&self.seats).values().cloned().collect()
    }

    pub fn point(&self, at: Option<[f64; 2]>) {
        *lock(&self.pointed) = at.filter(|at| at.iter().all(|v| (0.0..=1.0).contains(v)));
        self.stir();
        self.tell();
    }

    pub fn pointed(&self) -> Option<[f64; 2]> {
        *lock(&self.pointed)
    }

    /// A picture of a shot with these settings goes out.
    pub fn issue(&self, shot: &str, sum: &str) {
        let mut issued = lock(&self.issued);
        if !issued.iter().any(|(a, b)| (a.as_str(), b.as_str()) == (shot, sum)) {
            if issued.len() >= ISSUED {
                issued.pop_front();
            }
            issued.push_back((shot.to_owned(), sum.to_owned()));
        }
    }

    /// Has such a picture been sent?
    pub fn was_issued(&self, shot: &str, sum: &str) -> bool {
        lock(&self.issued).iter().any(|(a, b)| (a.as_str(), b.as_str()) == (shot, sum))
    }
}
