//! The OSCQuery page.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use super::Common;
use super::methods::methods;
use crate::panel::osc::http::{self, Asked};
use crate::panel::osc::{Host, answer};

/// Connections at a time; others are turned away.
const MOST: usize = 8;
/// How long a connection may take in all.
const PATIENCE: Duration = Duration::from_secs(2);

pub(super) fn run(common: &Arc<Common>, listener: &TcpListener) {
    let busy = Arc::new(AtomicUsize::new(0));
    while !common.quits() {
        let Ok((stream, _)) = listener.accept() else {
            std::thread::sleep(Duration::from_millis(10));
            continue;
        };
        if common.quits() {
            return;
        }
        let mut stream = Timed { stream, until: Instant::now() + PATIENCE };
        if busy.fetch_add(1, Ordering::AcqRel) >= MOST {
            busy.fetch_sub(1, Ordering::AcqRel);
            stream.until = Instant::now() + Duration::from_millis(10);
            let _ = http::write(&mut stream, 503, None);
            continue;
        }
        let (common, done) = (common.clone(), Done(busy.clone()));
        // Where no thread can be had, the connection ends.
        let _ = std::thread::Builder::new().name("osc page reader".into()).spawn(move || {
            let _done = done;
            serve(&common, stream);
        });
    }
}

struct Done(Arc<AtomicUsize>);

impl Drop for Done {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::AcqRel);
    }
}

fn serve(common: &Common, mut stream: Timed) {
    let (status, body) = match http::read(&mut stream) {
        Asked::Nothing => return,
        Asked::Refused(status) => (status, None),
        Asked::Get { target, host } => {
            let Ok(address) = stream.stream.local_addr() else { return };
            if address.ip().is_loopback() && !http::is_plain(host.as_deref()) {
                (403, None)
            } else {
                let snapshot = common.engine.snapshot.load_full();
                let (methods, containers) = methods(&snapshot);
                // OSC is where the page is; the asker knows by which of this machine's addresses.
                let host = Host { name: format!("Greyhold: {}", snapshot.show.name), osc: address };
                let answer = answer(&methods, &containers, &host, &target);
                (answer.status, answer.body)
            }
        }
    };
    if http::write(&mut stream, status, body.as_deref()).is_err() {
        return;
    }
    // What the asker still sends is read, or the system may take the answer back.
    let _ = stream.stream.shutdown(Shutdown::Write);
    let mut rest = [0; 4096];
    for _ in 0..16 {
        if !matches!(stream.read(&mut rest), Ok(1..)) {
            return;
        }
    }
}

/// A stream that ends at a time, however slowly the other side goes on.
struct Timed {
    stream: TcpStream,
    until: Instant,
}

impl Timed {
    fn left(&self) -> std::io::Result<Option<Duration>> {
        match self.until.saturating_duration_since(Instant::now()) {
            Duration::ZERO => Err(std::io::ErrorKind::TimedOut.into()),
            left => Ok(Some(left)),
        }
    }
}

impl Read for Timed {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        self.stream.set_read_timeout(self.left()?)?;
        self.stream.read(into)
    }
}

impl Write for Timed {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.stream.set_write_timeout(self.left()?)?;
        self.stream.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.stream.flush()
    }
}
