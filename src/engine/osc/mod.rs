//! OSC at the engine: sockets on threads of their own, requests carried out on the engine's.
//!
//! Three threads serve a socket: one reads packets, one tells surfaces what changed, one answers the OSCQuery page. They
//! read the engine's snapshot and share a queue of requests with it; the engine waits for none of them.

mod carry;
mod methods;
mod page;
mod receive;
mod tell;

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::host::Shared;
use crate::panel::Pickup;
use crate::panel::osc::{Layout, Requests, Surfaces};

/// Where OSC comes in, and what the addresses of a tablet mean.
#[derive(Clone, Debug)]
pub struct OscOptions {
    /// Where to listen; port 0 is any that is free. What is not a loopback address lets the network in.
    pub address: SocketAddr,
    /// What the fixed addresses of a tablet mean, if one has such.
    pub layout: Option<Arc<Layout>>,
}

/// How OSC is doing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OscState {
    /// Where it listens to OSC.
    pub address: Option<SocketAddr>,
    /// Where the OSCQuery page is.
    pub page: Option<SocketAddr>,
    /// Surfaces that are told what changes.
    pub surfaces: usize,
    /// Packets that could not be read.
    pub bad: u64,
    /// What the first of these had.
    pub bad_because: Option<Arc<str>>,
    /// Messages to addresses that no show could have.
    pub unknown: u64,
    /// Requests dropped because they came faster than they could be carried out.
    pub lost: u64,
    /// Why something does not work at all.
    pub trouble: Option<Arc<str>>,
}

impl OscState {
    /// What the panel mirror says of it.
    pub(super) fn note(&self) -> Option<String> {
        let bad = match (self.bad, &self.bad_because) {
            (0, _) => None,
            (1, Some(why)) => Some(format!("OSC: a packet could not be read: {why}")),
            (bad, why) => {
                let why = why.as_ref().map_or(String::new(), |why| format!("; the first: {why}"));
                Some(format!("OSC: {bad} packets could not be read{why}"))
            }
        };
        let lines: Vec<String> = self.trouble.iter().map(|t| t.to_string()).chain(bad).collect();
        (!lines.is_empty()).then(|| lines.join("; "))
    }

    /// What the panel mirror calls it, once it listens.
    pub(super) fn port(&self) -> Option<String> {
        let address = self.address?;
        Some(match self.surfaces {
            0 => format!("OSC {address}"),
            1 => format!("OSC {address}, a surface"),
            n => format!("OSC {address}, {n} surfaces"),
        })
    }
}

/// What the threads of one socket share.
struct Common {
    engine: Arc<Shared>,
    wake: Arc<dyn Fn() + Send + Sync>,
    nudge: Sender<()>,
    layout: Option<Arc<Layout>>,
    requests: Requests,
    surfaces: Mutex<Surfaces>,
    remembered: AtomicUsize,
    bad: AtomicU64,
    bad_because: OnceLock<Arc<str>>,
    unknown: AtomicU64,
    quit: AtomicBool,
}

impl Common {
    /// Never held by the engine's thread.
    fn surfaces(&self) -> MutexGuard<'_, Surfaces> {
        self.surfaces.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn quits(&self) -> bool {
        self.quit.load(Ordering::Acquire)
    }

    /// Tells the thread that tells surfaces. One word is as good as many.
    fn nudge(&self) {
        let _ = self.nudge.try_send(());
    }
}

/// One socket, its page, and what surfaces hold.
pub(super) struct Osc {
    common: Arc<Common>,
    /// For the faders of the layout, of each surface that moved one.
    pickups: std::collections::BTreeMap<u32, Vec<Pickup>>,
    state: OscState,
    threads: Vec<JoinHandle<()>>,
}

impl Osc {
    /// Listens. What does not work is said by [`Self::state`].
    pub fn start(options: OscOptions, engine: Arc<Shared>, wake: Arc<dyn Fn() + Send + Sync>) -> Self {
        let (nudge, nudged) = bounded(1);
        let common = Arc::new(Common {
            engine,
            wake,
            nudge,
            layout: options.layout,
            requests: Requests::default(),
            surfaces: Mutex::default(),
            remembered: AtomicUsize::new(0),
            bad: AtomicU64::new(0),
            bad_because: OnceLock::new(),
            unknown: AtomicU64::new(0),
            quit: AtomicBool::new(false),
        });
        let mut osc =
            Self { common, pickups: Default::default(), state: OscState::default(), threads: Vec::new() };
        if let Err(why) = osc.listen(options.address, nudged) {
            osc.state.trouble = Some(why.into());
        }
        osc
    }

    fn listen(&mut self, wanted: SocketAddr, nudged: Receiver<()>) -> Result<(), String> {
        let taken = |e: &std::io::Error| match e.kind() {
            std::io::ErrorKind::AddrInUse => "another program has it",
            _ => "the system refuses",
        };
        let refused = |e: std::io::Error| format!("OSC cannot listen on {wanted}: {} ({e})", taken(&e));
        let socket = UdpSocket::bind(wanted).map_err(refused)?;
        let address = socket.local_addr().map_err(refused)?;
        // So that its end is seen, should waking it fail.
        socket.set_read_timeout(Some(Duration::from_millis(250))).map_err(refused)?;
        let out = socket.try_clone().map_err(refused)?;
        let common = self.common.clone();
        self.thread("osc in", move || receive::run(&common, &socket)).map_err(refused)?;
        self.state.address = Some(address);
        let common = self.common.clone();
        self.thread("osc out", move || tell::run(&common, &out, &nudged)).map_err(refused)?;
        // Named after its own address: with port 0 it is known only here.
        let refused = |e: std::io::Error| format!("no OSCQuery page on {address}: {} ({e})", taken(&e));
        let listener = TcpListener::bind(address).map_err(refused)?;
        let common = self.common.clone();
        self.thread("osc page", move || page::run(&common, &listener)).map_err(refused)?;
        self.state.page = Some(address);
        Ok(())
    }

    fn thread(&mut self, name: &str, run: impl FnOnce() + Send + 'static) -> std::io::Result<()> {
        self.threads.push(std::thread::Builder::new().name(name.into()).spawn(run)?);
        Ok(())
    }

    /// How it is doing.
    pub fn state(&self) -> &OscState {
        &self.state
    }

    /// Brings the state up to date. True if it is another.
    fn refresh(&mut self) -> bool {
        let common = &self.common;
        let state = OscState {
            surfaces: common.remembered.load(Ordering::Relaxed),
            bad: common.bad.load(Ordering::Relaxed),
            bad_because: common.bad_because.get().cloned(),
            unknown: common.unknown.load(Ordering::Relaxed),
            lost: common.requests.lost(),
            ..self.state.clone()
        };
        let other = state != self.state;
        self.state = state;
        other
    }

    /// A snapshot was published.
    pub fn published(&self) {
        self.common.nudge();
    }

    /// Another shot: faders have to be picked up again.
    pub fn reset(&mut self) {
        self.pickups.clear();
    }
}

impl Drop for Osc {
    fn drop(&mut self) {
        self.common.quit.store(true, Ordering::Release);
        self.common.nudge();
        if let Some(to) = self.state.address.map(reachable) {
            let from = SocketAddr::new(to.ip(), 0);
            let _ = UdpSocket::bind(from).and_then(|s| s.send_to(&[], to));
        }
        if let Some(to) = self.state.page.map(reachable) {
            let _ = TcpStream::connect_timeout(&to, Duration::from_millis(250));
        }
        for thread in self.threads.drain(..) {
            if thread.join().is_err() {
                tracing::error!("a thread that serves OSC ended badly; its last words are above");
            }
        }
    }
}

/// Where this machine reaches what listens there.
fn reachable(address: SocketAddr) -> SocketAddr {
    let ip = match address.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        ip => ip,
    };
    SocketAddr::new(ip, address.port())
}
