//! What is no OSC packet, and what is no request for the OSCQuery page. Alone in its process, whose memory and log it
//! looks at.

mod support;

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::{Arc, Mutex};

use greyhold::engine::Live;
use serde_json::json;
use support::osc::{Surface, ask, local, run, soon, state};

/// What a subscriber wrote.
#[derive(Clone, Default)]
struct Log(Arc<Mutex<Vec<u8>>>);

impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

fn resident() -> usize {
    let text = std::fs::read_to_string("/proc/self/statm").unwrap();
    text.split(' ').nth(1).unwrap().parse::<usize>().unwrap() * 4096
}

/// Once what else goes on has its memory.
fn settled() -> usize {
    let mut last = resident();
    soon("rest", || {
        std::thread::sleep(std::time::Duration::from_millis(500));
        let before = std::mem::replace(&mut last, resident());
        (last.abs_diff(before) < 1 << 16).then_some(last)
    })
}

fn grew_little(since: usize, limit: usize) {
    let grown = resident().saturating_sub(since);
    assert!(grown < limit, "{grown} bytes more than before");
    println!("{grown} bytes more than before");
}

#[test]
fn bad_packets_and_requests_are_counted_and_change_nothing() {
    let log = Log::default();
    let writer = log.clone();
    tracing_subscriber::fmt().with_writer(move || writer.clone()).with_ansi(false).init();
    let r = run(local());
    let mut surface = Surface::start(r.address.port());
    let before = r.engine.snapshot().show.clone();
    soon("a picture", || r.engine.picture(Live::Client));
    let mut memory = 0;
    // So few at a time that the system's own queue holds them; another surface's message comes after them.
    let mut after = Surface::start(r.address.port());
    for round in 1..=200u32 {
        surface.order(json!(["bad", surface.to, round, 50]));
        after.send("/look/strength", json!([]));
        after.comes("/look/strength", |_| true);
        after.told();
        if round == 20 {
            memory = settled();
        }
    }
    after.send("/bye", json!([]));
    soon("the count", || (state(&r.engine).bad == 10_000 && state(&r.engine).surfaces == 0).then_some(()));
    // Eight million bytes came.
    grew_little(memory, 4 << 20);
    let s = r.engine.snapshot();
    assert_eq!(s.show, before);
    let note = s.panel.note.clone().unwrap();
    assert!(note.starts_with("OSC: 10000 packets could not be read; the first: "), "{note}");
    let log = String::from_utf8(log.0.lock().unwrap().clone()).unwrap();
    let lines: Vec<&str> =
        log.lines().filter(|l| l.contains(&format!(":{} could not be read", surface.port))).collect();
    assert_eq!(lines.len(), 1, "{lines:?}");

    // The page: 1,000 requests that are none, or for what is not there.
    let mut state_of = 1u64;
    let mut random = |below: u64| {
        // Knuth's MMIX generator.
        state_of = state_of.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (state_of >> 33) % below
    };
    let mut statuses = BTreeMap::new();
    for i in 0..1000 {
        if i == 200 {
            memory = resident();
        }
        let mut stream = TcpStream::connect(r.address).unwrap();
        stream.set_read_timeout(Some(support::PATIENCE)).unwrap();
        let bytes: Vec<u8> = match i % 8 {
            0 => (0..random(400)).map(|_| random(256) as u8).collect(),
            1 => {
                let mut good = b"GET /look?VALUE HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".to_vec();
                for _ in 0..=random(3) {
                    let at = random(good.len() as u64) as usize;
                    good[at] = random(256) as u8;
                }
                good
            }
            2 => b"GET / HTTP/1.1\r\nHost: 127.0.0.1"[..random(32) as usize].to_vec(),
            3 => format!("GET /{} HTTP/1.1\r\n\r\n", "x".repeat(random(20_000) as usize)).into_bytes(),
            4 => format!("GET / HTTP/1.1\r\n{}\r\n", "a: b\r\n".repeat(random(2000) as usize)).into_bytes(),
            5 => b"POST / HTTP/1.1\r\nContent-Length: 999999999\r\n\r\nxxxx".to_vec(),
            6 => format!("GET /%00/../{}?{} HTTP/1.1\r\n\r\n", random(99), random(99)).into_bytes(),
            _ => b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n".to_vec(),
        };
        // It may be refused before all of it was sent.
        let _ = stream.write_all(&bytes);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let status = String::from_utf8_lossy(&answer).split(' ').nth(1).map(str::to_owned);
        *statuses.entry(status.unwrap_or("none".to_owned())).or_insert(0) += 1;
    }
    for status in ["400", "403", "404", "405", "431"] {
        assert!(statuses.get(status).is_some_and(|n| *n > 20), "{statuses:?}");
    }
    assert!(
        statuses
            .keys()
            .all(|s| ["200", "204", "400", "403", "404", "405", "431", "503", "none"].contains(&&**s)),
        "{statuses:?}"
    );
    // Readers that never end are turned away in time, and others are served meanwhile.
    let slow: Vec<TcpStream> = (0..20).map(|_| TcpStream::connect(r.address).unwrap()).collect();
    // Who is turned away may find the connection reset.
    soon("the page", || {
        let answer = ask(r.address, "/look/strength?VALUE").ok()?;
        (answer == (200, json!({ "VALUE": [1.0] }).to_string())).then_some(())
    });
    drop(slow);
    grew_little(memory, 8 << 20);
    // All of it goes on.
    surface.float("/look/strength", 0.5);
    r.becomes("look/strength", 0.5);
    r.engine.stop().unwrap();
}
