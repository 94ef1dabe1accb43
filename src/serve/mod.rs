//! Viewers in browsers: the graded picture, live and in its own colour, and what clients answer.
//!
//! A [`Server`] watches a running engine through its [`Link`]. Nothing listens unless one is started. Three threads: one for
//! the network (connections never wait for each other), one that encodes pictures, one that saves answers. The engine
//! waits for none of them: pictures lie in places where the newest replaces the last, for the encoder and for every
//! viewer alike.

mod accept;
mod answer;
mod book;
mod door;
mod encode;
mod house;
mod http;
mod panel;
mod pictures;
mod socket;
mod sum;
mod told;

use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

pub use self::book::{ANSWERS_FILE, Approval, Book, BookError, MAX_APPROVALS, MAX_NOTES, MAX_TEXT, Note};
pub use self::door::{Invitation, Role};
pub use self::encode::{PNG_AFTER, QUALITY, jpeg, png, smaller};
use self::house::House;
pub use self::house::{MAX_CONNECTIONS, MAX_VIEWERS, Viewer};
pub use self::sum::sum;
use crate::engine::Link;

/// The port where nobody says otherwise.
pub const PORT: u16 = 8420;

/// How a server is started.
#[derive(Clone, Debug)]
pub struct ServeOptions {
    /// Where it listens; port 0 takes any that is free.
    pub address: SocketAddr,
    /// How long an access word holds.
    pub word_lasts: Duration,
    /// Pictures are no larger than this, across and down.
    pub largest: (u32, u32),
}

impl Default for ServeOptions {
    fn default() -> Self {
        Self {
            address: SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), PORT),
            word_lasts: Duration::from_secs(12 * 3600),
            largest: (1920, 1080),
        }
    }
}

/// Why there is no server.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// It cannot listen there.
    #[error(
        "viewers cannot be served at {address}: {source}; another address is accepted: --serve ADDRESS:PORT"
    )]
    Listen {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        source: std::io::Error,
    },
    /// A thread could not be started.
    #[error("a thread could not be started: {0}")]
    Thread(std::io::Error),
    /// There is no randomness to make access words of.
    #[error("the system has no random numbers for access words: {0}")]
    Random(getrandom::Error),
    /// The answers that are there cannot be read.
    #[error(transparent)]
    Book(#[from] BookError),
}

/// A running server. Dropping it says goodbye to all viewers and saves what they answered.
pub struct Server {
    house: Arc<House>,
    address: SocketAddr,
    threads: Vec<std::thread::JoinHandle<()>>,
}

impl Server {
    /// Starts to listen.
    ///
    /// # Errors
    /// [`ServeError`].
    pub fn start(options: ServeOptions, link: Link) -> Result<Self, ServeError> {
        let listen = |source| ServeError::Listen { address: options.address, source };
        let listener = std::net::TcpListener::bind(options.address).map_err(listen)?;
        listener.set_nonblocking(true).map_err(listen)?;
        let address = listener.local_addr().map_err(listen)?;
        let house = Arc::new(House::new(&options, address, link)?);
        let mut server = Self { house: house.clone(), address, threads: Vec::new() };
        server.threads.push(pictures::start(house.clone()).map_err(ServeError::Thread)?);
        server.threads.push(book::start_saving(house.clone()).map_err(ServeError::Thread)?);
        server.threads.push(accept::start(house, listener).map_err(ServeError::Thread)?);
        Ok(server)
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where a browser on another device, or on this one if only this is listened to, finds it.
    pub fn url(&self) -> String {
        let ip = match self.address.ip() {
            ip if ip.is_unspecified() => own_address(ip).unwrap_or(ip),
            ip => ip,
        };
        format!("http://{}/", SocketAddr::new(ip, self.address.port()))
    }

    /// The word that lets in now.
    pub fn invitation(&self, role: Role) -> Invitation {
        self.house.invitation(role)
    }

    /// Another word for a role; the old one, and whoever came in by it, is out.
    ///
    /// # Errors
    /// [`ServeError::Random`]
    pub fn renew(&self, role: Role) -> Result<(), ServeError> {
        self.house.renew(role)
    }

    /// Who watches now.
    pub fn viewers(&self) -> Vec<Viewer> {
        self.house.viewers()
    }

    /// What clients answered.
    pub fn book(&self) -> Arc<Book> {
        self.house.book.get()
    }

    /// A note is done, or open again.
    pub fn set_done(&self, note: u64, done: bool) {
        self.house.book.change(|book| book.set_done(note, done));
    }

    /// Takes a note out.
    pub fn remove(&self, note: u64) {
        self.house.book.change(|book| book.remove(note));
    }

    /// Everybody is to look here, in shares 0…1 of the picture's width and height; `None`: nowhere in particular.
    pub fn point(&self, at: Option<[f64; 2]>) {
        self.house.point(at);
    }

    /// Where everybody is to look.
    pub fn pointed(&self) -> Option<[f64; 2]> {
        self.house.pointed()
    }

    /// Has `listener` called, from other threads, when there is another answer or viewer. It must not block.
    pub fn on_news(&self, listener: Box<dyn Fn() + Send + Sync>) {
        self.house.on_news(listener);
    }

    /// What could not be saved, and why.
    pub fn trouble(&self) -> Option<Arc<str>> {
        self.house.book.trouble()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.house.stop();
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
    }
}

/// The address of this machine on its network. Asking for a way there sends nothing.
fn own_address(any: IpAddr) -> Option<IpAddr> {
    // Addresses that documents use (RFC 5737, RFC 3849): nobody has them, and the way there is the way out.
    let (from, to) = match any {
        IpAddr::V4(_) => ("0.0.0.0:0", "192.0.2.1:9"),
        IpAddr::V6(_) => ("[::]:0", "[2001:db8::1]:9"),
    };
    let socket = UdpSocket::bind(from).ok()?;
    socket.connect(to).ok()?;
    socket.local_addr().ok().map(|a| a.ip()).filter(|ip| !ip.is_unspecified())
}
