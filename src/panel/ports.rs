//! Ports and the queue behind each: what a driver's callback may touch.

use super::{PanelError, Splitter};
use std::{
    any::Any,
    fmt,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
};

/// Messages that a queue holds: over two seconds of what a MIDI 1.0 cable (31,250 bits a second) can carry.
pub const QUEUE: usize = 4096;

/// Called after messages were pushed, from the driver's real-time thread: it must not lock, allocate or
/// wait. Unparking a thread is fine.
pub type Waker = Box<dyn Fn() + Send>;

/// One message as the driver gave it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RawMessage {
    /// When it came, in microseconds since a moment that stays the same as long as the port is open.
    pub at: u64,
    bytes: [u8; 3],
    len: u8,
}

impl RawMessage {
    /// Its one to three bytes, status byte first.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[..usize::from(self.len)]
    }
}

/// The callback's end of a queue.
pub struct Sender {
    splitter: Splitter,
    producer: rtrb::Producer<RawMessage>,
    overruns: Arc<AtomicU64>,
    waker: Waker,
}

/// The reader's end of a queue.
pub struct Queue {
    consumer: rtrb::Consumer<RawMessage>,
    overruns: Arc<AtomicU64>,
}

/// A queue for `capacity` messages; `waker` is called after a push.
pub fn queue(capacity: usize, waker: Waker) -> (Sender, Queue) {
    let (producer, consumer) = rtrb::RingBuffer::new(capacity);
    let overruns = Arc::new(AtomicU64::new(0));
    (
        Sender { splitter: Splitter::default(), producer, overruns: overruns.clone(), waker },
        Queue { consumer, overruns },
    )
}

impl Sender {
    /// Pushes the channel messages that a packet finishes and wakes the reader if there were any. Takes no lock and
    /// no memory; what finds the queue full is dropped and counted.
    pub fn push(&mut self, at: u64, packet: &[u8]) {
        let mut any = false;
        let Self { splitter, producer, overruns, .. } = self;
        splitter.split(packet, |message| {
            any = true;
            let mut bytes = [0; 3];
            bytes[..message.len()].copy_from_slice(message);
            if producer.push(RawMessage { at, bytes, len: message.len() as u8 }).is_err() {
                overruns.fetch_add(1, Ordering::Relaxed);
            }
        });
        if any {
            (self.waker)();
        }
    }
}

impl Queue {
    /// Gives `f` every message that is there now, oldest first. Never waits.
    pub fn drain(&mut self, mut f: impl FnMut(RawMessage)) {
        // Counted once, so that a storm cannot keep the reader here.
        for _ in 0..self.consumer.slots() {
            match self.consumer.pop() {
                Ok(message) => f(message),
                Err(_) => break,
            }
        }
    }

    /// Messages dropped so far because the queue was full.
    pub fn overruns(&self) -> u64 {
        self.overruns.load(Ordering::Relaxed)
    }
}

impl fmt::Debug for Queue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Queue({} waiting, {} dropped)", self.consumer.slots(), self.overruns())
    }
}

/// An open connection: the port closes when this is dropped. It need not be able to change threads.
pub type Connection = Box<dyn Any>;

/// An open port.
pub struct Input {
    connection: Connection,
    queue: Queue,
}

impl Input {
    /// An open port that stays open as long as `connection` lives and whose messages come through `queue`.
    pub fn new(connection: Connection, queue: Queue) -> Self {
        Self { connection, queue }
    }

    /// Gives `f` every message that is there now, oldest first. Never waits.
    pub fn drain(&mut self, f: impl FnMut(RawMessage)) {
        self.queue.drain(f);
    }

    /// Messages dropped so far because the queue was full.
    pub fn overruns(&self) -> u64 {
        self.queue.overruns()
    }

    /// The two halves, for one thread to keep the port open and another to read it.
    pub fn split(self) -> (Connection, Queue) {
        (self.connection, self.queue)
    }
}

/// An open port that messages go to; it closes when this is dropped.
pub trait Output {
    /// Sends one message, whole.
    ///
    /// # Errors
    /// [`PanelError::Open`] if the port has gone.
    fn send(&mut self, message: &[u8]) -> Result<(), PanelError>;
}

/// A port that can be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortInfo {
    /// The system's own handle on it. Some systems give it to another device later.
    pub id: String,
    /// Its name. Two devices of a kind have the same.
    pub name: String,
}

/// Where ports come from. [`SystemPorts`](super::SystemPorts) asks the system; tests script plugging and
/// unplugging.
pub trait Ports {
    /// The ports that messages can come from now.
    ///
    /// # Errors
    /// [`PanelError::Unavailable`] if there is no MIDI here at all.
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError>;

    /// Opens `port`; `waker` is called from the driver's thread when messages have come.
    ///
    /// # Errors
    /// [`PanelError::Open`] if the port is gone or the system refuses; [`PanelError::Unavailable`].
    fn open(&mut self, port: &PortInfo, waker: Waker) -> Result<Input, PanelError>;

    /// The ports that messages can go to now; none where nothing can be sent.
    ///
    /// # Errors
    /// As [`list`](Self::list).
    fn outputs(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        Ok(Vec::new())
    }

    /// Opens `port`, one of [`outputs`](Self::outputs).
    ///
    /// # Errors
    /// As [`open`](Self::open).
    fn open_output(&mut self, port: &PortInfo) -> Result<Box<dyn Output>, PanelError> {
        Err(PanelError::Open { port: port.name.clone(), why: "nothing can be sent here".to_owned() })
    }
}
