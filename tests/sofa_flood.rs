//! What is no request and no message does no harm to the server of viewers; and how many can watch.

mod support;

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Command, Handle, Input, Live, Options, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::serve::{MAX_VIEWERS, Role, ServeOptions, Server};
use greyhold::show::{Shot, Show};
use support::line::Line;
use support::{sequence, wait_for};
use tungstenite::Message;

fn engine(dir: &Path, size: (u32, u32)) -> Handle {
    sequence(&dir.join("take"), size, 12);
    let mut show = Show::new("flood");
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..12, encoding("logc4").unwrap()));
    let gpu = Gpu::headless(Request::default()).unwrap();
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    let engine = start(gpu, options).unwrap();
    wait_for("a picture", || engine.picture(Live::Client));
    engine
}

fn server(engine: &Handle) -> Server {
    let options = ServeOptions { address: "127.0.0.1:0".parse().unwrap(), ..ServeOptions::default() };
    Server::start(options, engine.link().unwrap()).unwrap()
}

/// Bytes of memory that this process holds.
fn resident() -> u64 {
    let pages = std::fs::read_to_string("/proc/self/statm").unwrap();
    pages.split(' ').nth(1).unwrap().parse::<u64>().unwrap() * 4096
}

fn files() -> usize {
    std::fs::read_dir("/proc/self/fd").unwrap().count()
}

/// A small generator of its own (xorshift64*, Vigna 2016), so that a failure can be had again.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize % sides
    }

    fn bytes(&mut self, most: usize) -> Vec<u8> {
        (0..self.roll(most)).map(|_| self.roll(256) as u8).collect()
    }
}

/// A request that is wrong in one of many ways.
fn malformed(dice: &mut Dice, here: SocketAddr) -> Vec<u8> {
    let good = format!(
        "POST /enter HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\nContent-Type: application/json\r\n"
    );
    match dice.roll(12) {
        0 => dice.bytes(400),
        1 => format!("{}\r\n\r\n", String::from_utf8_lossy(&dice.bytes(300))).into_bytes(),
        2 => format!("GET /{} HTTP/1.1\r\nHost: {here}\r\n\r\n", "a".repeat(dice.roll(40_000))).into_bytes(),
        3 => {
            let many: String = (0..dice.roll(300)).map(|i| format!("X-{i}: {i}\r\n")).collect();
            format!("GET / HTTP/1.1\r\nHost: {here}\r\n{many}\r\n").into_bytes()
        }
        4 => format!("{good}Content-Length: 99999999\r\n\r\n{{\"word\"").into_bytes(),
        5 => format!("{good}Content-Length: -1\r\n\r\nx").into_bytes(),
        6 => format!("{good}Transfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\nZZZ\r\nx").into_bytes(),
        7 => {
            let body = dice.bytes(4000);
            [format!("{good}Content-Length: {}\r\n\r\n", body.len()).into_bytes(), body].concat()
        }
        8 => {
            let body = format!("{{\"word\":{}", "[".repeat(dice.roll(1900)));
            format!("{good}Content-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
        }
        9 => format!("GET /live HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: {}\r\nSec-WebSocket-Key: x\r\n\r\n", dice.roll(99)).into_bytes(),
        10 => {
            // A good one, cut or with a byte changed.
            let mut bytes = format!("{good}Content-Length: 12\r\n\r\n{{\"word\":\"a\"}}").into_bytes();
            let at = dice.roll(bytes.len());
            match dice.roll(2) {
                0 => bytes.truncate(at),
                _ => bytes[at] = dice.roll(256) as u8,
            }
            bytes
        }
        _ => format!("GET / HTTP/1.1\r\nHost: {here}\r\nHost: other\r\nCookie: {}\r\n\r\n", "a=b;".repeat(dice.roll(3000))).into_bytes(),
    }
}

#[test]
fn ten_thousand_that_make_no_sense() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path(), (64, 36));
    let server = server(&engine);
    let here = server.address();
    let dice = &mut Dice(0x5EED_0FA5_0FA5);
    let mut answers = std::collections::BTreeMap::<String, u32>::new();
    let http = |count: u32, dice: &mut Dice, answers: &mut std::collections::BTreeMap<String, u32>| {
        for _ in 0..count {
            let mut stream = TcpStream::connect(here).unwrap();
            stream.set_read_timeout(Some(Duration::from_millis(500))).unwrap();
            let _ = stream.write_all(&malformed(dice, here));
            let _ = stream.shutdown(std::net::Shutdown::Write);
            let mut answer = [0; 256];
            let n = stream.read(&mut answer).unwrap_or(0);
            let text = String::from_utf8_lossy(&answer[..n]);
            let code = text.split(' ').nth(1).unwrap_or("nothing").to_owned();
            *answers.entry(code).or_default() += 1;
        }
    };
    let cookie = Line::enter(here, &server.invitation(Role::Viewer).word).unwrap();
    let mut ended = 0u32;
    let mut lines = |count: u32, dice: &mut Dice| {
        let mut line: Option<Line> = None;
        for _ in 0..count {
            let mut l =
                line.take().filter(|l| l.0.can_write()).unwrap_or_else(|| Line::with(here, &cookie).unwrap());
            let text = |dice: &mut Dice| String::from_utf8_lossy(&dice.bytes(200)).into_owned();
            let sent = match dice.roll(8) {
                0 => l.0.send(Message::Text(text(dice).into())),
                1 => l.0.send(Message::Binary(dice.bytes(300).into())),
                2 => l.0.send(Message::Text("x".repeat(9000).into())),
                3 => {
                    l.0.send(Message::Text(r#"{"note":{"shot":"a","frame":99,"at":[9,9],"text":""}}"#.into()))
                }
                4 => l.0.send(Message::Text(
                    format!(
                        r#"{{"want":{{"width":{},"height":4294967295,"display":"{}","before":true}}}}"#,
                        dice.roll(1 << 31),
                        dice.roll(9)
                    )
                    .into(),
                )),
                5 => l.0.send(Message::Text(format!(r#"{{"seen":{}}}"#, u64::MAX).into())),
                6 => l.0.send(Message::Text(format!(r#"{{"note":{}"#, "[".repeat(dice.roll(4000))).into())),
                // Bytes that are no frame.
                _ => l.0.get_mut().write_all(&dice.bytes(64)).map_err(tungstenite::Error::Io),
            };
            l.0.get_mut().set_nonblocking(true).unwrap();
            let mut open = sent.is_ok();
            for _ in 0..20 {
                match l.0.read() {
                    Ok(_) => {}
                    Err(tungstenite::Error::Io(e)) if e.kind() == std::io::ErrorKind::WouldBlock => break,
                    Err(_) => {
                        open = false;
                        break;
                    }
                }
            }
            l.0.get_mut().set_nonblocking(false).unwrap();
            if open {
                line = Some(l);
            } else {
                ended += 1;
            }
        }
    };
    // Once round, so that pools and pages are as large as they become.
    http(1500, dice, &mut answers);
    lines(1500, dice);
    std::thread::sleep(Duration::from_millis(300));
    let before = (resident(), files());
    http(3500, dice, &mut answers);
    lines(3500, dice);
    wait_for("the last to go", || (server.viewers().is_empty() && files() <= before.1 + 8).then_some(()));
    let after = (resident(), files());
    println!("5,000 requests: {answers:?}; 5,000 messages: {ended} lines ended by them");
    println!("resident {} → {} KiB, files {} → {}", before.0 >> 10, after.0 >> 10, before.1, after.1);
    assert!(after.0 < before.0 + (24 << 20), "{before:?} → {after:?}");
    assert!(!answers.keys().any(|code| code.starts_with('5')), "{answers:?}");
    assert!(server.book().notes.is_empty());
    // It goes on. The word is right; many wrong ones came from here, which is why it is no use for a while.
    let mut line = Line::with(here, &cookie).unwrap();
    line.want(64, 36);
    assert!(line.picture(support::PATIENCE).is_some());
    let refused = Line::enter(here, &server.invitation(Role::Viewer).word);
    assert!(refused.is_ok() || refused.is_err_and(|e| e.contains("429")));
    drop(line);
    drop(server);
    engine.stop().unwrap();
}

#[test]
fn places_are_bounded_and_slow_heads_are_cut_off() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path(), (64, 36));
    let server = server(&engine);
    let cookie = Line::enter(server.address(), &server.invitation(Role::Viewer).word).unwrap();
    let lines: Vec<Line> = (0..MAX_VIEWERS).map(|_| Line::with(server.address(), &cookie).unwrap()).collect();
    assert!(Line::with(server.address(), &cookie).is_err_and(|e| e.contains("503")));
    drop(lines);
    wait_for("free places", || server.viewers().is_empty().then_some(()));
    assert!(Line::with(server.address(), &cookie).is_ok());
    let mut slow = TcpStream::connect(server.address()).unwrap();
    slow.write_all(b"GET / HTTP/1.1\r\nHost: ").unwrap();
    slow.set_read_timeout(Some(support::PATIENCE)).unwrap();
    let begun = Instant::now();
    let mut rest = Vec::new();
    let _ = slow.read_to_end(&mut rest);
    assert!(begun.elapsed() < Duration::from_secs(20), "half a head was waited for {:?}", begun.elapsed());
    let begun = Instant::now();
    drop(server);
    assert!(begun.elapsed() < Duration::from_secs(3), "it stops at once: {:?}", begun.elapsed());
    engine.stop().unwrap();
}

/// What viewers cost and get, with one of them stalled: run it with `--ignored --nocapture` on a quiet machine.
#[test]
#[ignore = "a measurement of a minute"]
fn viewers_one_to_thirty_two() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path(), (960, 540));
    let server = server(&engine);
    let cookie = Line::enter(server.address(), &server.invitation(Role::Viewer).word).unwrap();
    engine.send(Input::Command(Command::TogglePlay));
    std::thread::sleep(Duration::from_secs(2));
    let ticks = || {
        let stat = std::fs::read_to_string("/proc/self/stat").unwrap();
        let fields: Vec<&str> = stat.rsplit(") ").next().unwrap().split(' ').collect();
        fields[11].parse::<u64>().unwrap() + fields[12].parse::<u64>().unwrap()
    };
    println!("viewers  pictures/s each (least, most)  desk fps  CPU s/s  resident MiB");
    for count in [0, 1, 4, 16, 32] {
        let ends = Arc::new(AtomicBool::new(false));
        // Takes nothing, says nothing.
        let mut stalled = Line::with(server.address(), &cookie).unwrap();
        stalled.want(1000, 600);
        let threads: Vec<_> = (0..count)
            .map(|_| {
                let (ends, mut line) = (ends.clone(), Line::with(server.address(), &cookie).unwrap());
                let seen = Arc::new(AtomicU64::new(0));
                let counted = seen.clone();
                let thread = std::thread::spawn(move || {
                    line.want(1000, 600);
                    let mut all = 0u64;
                    while !ends.load(Ordering::Relaxed) {
                        if line.picture(Duration::from_millis(500)).is_some() {
                            all += 1;
                            line.say(&format!(r#"{{"seen":{all}}}"#));
                            counted.fetch_add(1, Ordering::Relaxed);
                        }
                    }
                });
                (thread, seen)
            })
            .collect();
        std::thread::sleep(Duration::from_secs(2));
        let counts: Vec<u64> = threads.iter().map(|(_, s)| s.load(Ordering::Relaxed)).collect();
        let (begun, cpu, memory) = (Instant::now(), ticks(), resident());
        std::thread::sleep(Duration::from_secs(8));
        let took = begun.elapsed().as_secs_f64();
        let rates: Vec<f64> = threads
            .iter()
            .zip(&counts)
            .map(|((_, s), c)| (s.load(Ordering::Relaxed) - c) as f64 / took)
            .collect();
        let cost = (ticks() - cpu) as f64 / 100.0 / took;
        let (least, most) = rates.iter().fold((f64::MAX, 0.0f64), |(a, b), r| (a.min(*r), b.max(*r)));
        let least = if rates.is_empty() { 0.0 } else { least };
        println!(
            "{count:7}  {least:.1} … {most:.1}  {:.1}  {cost:.2}  {} → {}",
            engine.snapshot().playback.rate,
            memory >> 20,
            resident() >> 20
        );
        assert!(resident() < memory + (64 << 20), "memory grows");
        assert!(count == 0 || least > 0.5, "a viewer gets nothing beside one that is stalled");
        ends.store(true, Ordering::Relaxed);
        threads.into_iter().for_each(|(thread, _)| thread.join().unwrap());
        drop(stalled);
        wait_for("all to go", || server.viewers().is_empty().then_some(()));
    }
    drop(server);
    engine.stop().unwrap();
}
