//! The panel room through a real MIDI server: `cargo test --release --features jack --test panel_jack`.
//!
//! JACK because it runs without a sound card. One test, because libjack takes the server's name from the
//! environment of the whole process.

use greyhold::panel::{Map, Move, Plug, Plugs, Ports, Queue, SHIPPED, Surface, SystemPorts, read};
use midir::{MidiOutput, MidiOutputConnection, os::unix::VirtualOutput};
use std::{
    collections::BTreeMap,
    process::{Child, Command, Stdio},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

/// How long anything may take that should take a second at most: the machine may be busy.
const PATIENCE: Duration = Duration::from_secs(20);

/// A JACK server without a sound card, which ends with this value.
struct Server(Child);

impl Server {
    fn start(name: &str) -> Self {
        let child = Command::new("jackd")
            .args(["-n", name, "-r", "-S", "-d", "dummy", "-r", "48000", "-p", "256", "-C", "0", "-P", "0"])
            .env("JACK_NO_AUDIO_RESERVATION", "1")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("jackd does not start ({e}): install Debian's package `jackd2`"));
        let server = Self(child);
        let start = Instant::now();
        while let Err(why) = SystemPorts::new().list() {
            assert!(start.elapsed() < PATIENCE, "jackd was started but does not answer: {why}");
            thread::sleep(Duration::from_millis(100));
        }
        server
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Asked to stop, so that it takes its shared memory with it; Child::kill would leave that behind.
        let asked = Command::new("kill").arg(self.0.id().to_string()).status();
        if !asked.is_ok_and(|s| s.success()) {
            let _ = self.0.kill();
        }
        let _ = self.0.wait();
    }
}

/// A panel: a client of the server with one output.
fn panel() -> MidiOutputConnection {
    MidiOutput::new("Test Panel").unwrap().create_virtual("out").unwrap()
}

/// Polls, with a clock that runs ahead, until there is news.
fn news(plugs: &mut Plugs, clock: &mut Instant) -> Vec<Plug> {
    let start = Instant::now();
    loop {
        *clock += Duration::from_secs(60);
        let all = plugs.poll(*clock);
        if !all.is_empty() {
            return all;
        }
        assert!(start.elapsed() < PATIENCE, "no news of the ports");
        thread::sleep(Duration::from_millis(50));
    }
}

/// The one port that was opened.
fn opened(mut news: Vec<Plug>) -> (usize, String, Queue) {
    match news.pop() {
        Some(Plug::Opened { port, name, queue }) if news.is_empty() => (port, name, queue),
        last => panic!("one port should have been opened: {news:?}, {last:?}"),
    }
}

/// What is said where no port is wanted.
fn absent(news: &[Plug]) -> String {
    match news {
        [Plug::Absent { why }] => why.to_string(),
        other => panic!("no port should have been wanted: {other:?}"),
    }
}

/// `greyhold panel watch` with a map for a panel that is not there: it says which ports there are, goes on, opens
/// the panel when it comes and hears it.
fn watching(said: &str) {
    let map = std::env::temp_dir().join(format!("greyhold-map-{}.toml", std::process::id()));
    let text = "name = \"late\"\nport = \"Late Panel\"\n[[control]]\ncc = 20\ncoding = \"twos-complement\"\n\
                target = \"balance/exposure\"\n";
    std::fs::write(&map, text).unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_greyhold"))
        .args(["panel", "watch", "--map", map.to_str().unwrap()])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let (tell, lines) = std::sync::mpsc::channel();
    let out = std::io::BufReader::new(child.stdout.take().unwrap());
    thread::spawn(move || {
        use std::io::BufRead;
        out.lines().map_while(Result::ok).for_each(|line| _ = tell.send(line));
    });
    let hear = |wanted: &str| {
        let start = Instant::now();
        while start.elapsed() < PATIENCE {
            match lines.recv_timeout(Duration::from_millis(100)) {
                Ok(line) if line == wanted => return true,
                _ => {}
            }
        }
        false
    };
    let told = hear(&said.replace("test panel", "Late Panel"));
    let mut late = MidiOutput::new("Late Panel").unwrap().create_virtual("out").unwrap();
    let opened = hear("Late Panel:out: open");
    late.send(&[0xB0, 20, 2]).unwrap();
    let heard = hear("Late Panel:out: B0 14 02  →  balance/exposure +2 steps");
    drop(late);
    let gone = hear("Late Panel:out: gone");
    child.kill().unwrap();
    child.wait().unwrap();
    std::fs::remove_file(map).unwrap();
    assert_eq!((told, opened, heard, gone), (true, true, true, true));
}

#[test]
fn a_panel_on_a_real_server() {
    let name = format!("greyhold-{}", std::process::id());
    // SAFETY: no other thread of this process reads or writes the environment at this time: this is its
    // only test, and no JACK client is open yet.
    unsafe {
        std::env::set_var("JACK_DEFAULT_SERVER", &name);
        std::env::set_var("JACK_NO_START_SERVER", "1");
    }
    assert!(
        matches!(SystemPorts::new().list(), Err(greyhold::panel::PanelError::Unavailable { .. })),
        "no server is no MIDI, and no panic"
    );
    let server = Server::start(&name);

    let woken = Arc::new(AtomicUsize::new(0));
    let (count, reader) = (woken.clone(), thread::current());
    let waker = move || {
        count.fetch_add(1, Ordering::Relaxed);
        reader.unpark();
    };
    let mut plugs = Plugs::new(Box::new(SystemPorts::new()), "test panel", Arc::new(waker));
    let mut clock = Instant::now();
    assert_eq!(absent(&plugs.poll(clock)), "no MIDI port has “test panel” in its name; there is none at all");

    // Another device: it is named, and nothing is opened.
    let other = MidiOutput::new("Other Box").unwrap().create_virtual("out").unwrap();
    let said = "no MIDI port has “test panel” in its name; there are: Other Box:out";
    assert_eq!(absent(&news(&mut plugs, &mut clock)), said);
    watching(said);

    // Plugging in.
    let mut device = panel();
    let (port, port_name, mut queue) = opened(news(&mut plugs, &mut clock));
    assert_eq!((port, &*port_name), (0, "Test Panel:out"));

    // Ten thousand turns, a thousand a second, through the map that we ship.
    const TURNS: usize = 10_000;
    let message = |i: usize| {
        // A fixed shuffle of 1…127: every byte that says a move, no two neighbours alike.
        [0xB0, 20 + (i % 8) as u8, 1 + (i * 53 % 127) as u8]
    };
    let got = Arc::new(AtomicUsize::new(0));
    let (seen, sent_all) = (got.clone(), TURNS);
    let sender = thread::spawn(move || {
        let start = Instant::now();
        for i in 0..sent_all {
            let due = start + Duration::from_millis(i as u64);
            thread::sleep(due.saturating_duration_since(Instant::now()));
            // After a stall of this machine the backlog would come at once, and JACK silently drops more
            // than 2,048 messages a period.
            while i > seen.load(Ordering::Relaxed) + 1000 && start.elapsed() < 3 * PATIENCE {
                thread::sleep(Duration::from_millis(1));
            }
            device.send(&message(i)).unwrap();
        }
        (device, start.elapsed())
    });
    let map = Map::parse(SHIPPED[0].1, SHIPPED[0].0, &|_| Ok(()), &|_| Ok(())).unwrap();
    let mut surface = Surface::new(Arc::new(map));
    let mut steps = BTreeMap::<String, f64>::new();
    let mut heard = Vec::new();
    let start = Instant::now();
    while heard.len() < TURNS && start.elapsed() < 3 * PATIENCE {
        thread::park_timeout(Duration::from_secs(1));
        queue.drain(|raw| {
            heard.push(raw);
            let Some(event) = read(port, raw.bytes()) else {
                return;
            };
            for one in surface.feed(raw.at, &event, &|_| Some(0.5)) {
                let Move::Turn { target, detents, .. } = one else { panic!("an encoder turns: {one:?}") };
                *steps.entry(target.to_string()).or_default() += detents;
            }
        });
        got.store(heard.len(), Ordering::Relaxed);
    }
    let (device, took) = sender.join().unwrap();
    assert_eq!((heard.len(), queue.overruns()), (TURNS, 0), "none is lost");
    for (i, raw) in heard.iter().enumerate() {
        assert_eq!(raw.bytes(), message(i), "message {i}: as sent, in order");
    }
    assert!(heard.windows(2).all(|w| w[0].at <= w[1].at), "time does not run backwards");
    assert!(woken.load(Ordering::Relaxed) > 0, "the reader was woken");
    println!("{TURNS} messages in {took:?}, {} wakes", woken.load(Ordering::Relaxed));

    // What each parameter must have moved by, from the bytes by two's complement.
    let total = |encoder: usize| -> f64 {
        (0..TURNS)
            .filter(|i| i % 8 == encoder)
            .map(|i| f64::from((message(i)[2] << 1).cast_signed() >> 1))
            .sum()
    };
    let expected = [
        ("balance/exposure", total(0)),
        ("balance/offset-r", total(1) + total(2)),
        ("balance/offset-g", total(1) + total(3)),
        ("balance/offset-b", total(1) + total(4)),
        ("look/contrast/strength", total(5)),
        ("look/split-tone/strength", total(6)),
        ("look/strength", total(7)),
    ];
    assert_eq!(steps, expected.map(|(address, steps)| (address.to_owned(), steps)).into());

    // Unplugging, and plugging in again: the same number.
    drop(device);
    let gone = news(&mut plugs, &mut clock);
    assert!(matches!(gone[..], [Plug::Closed { port: 0, .. }, Plug::Absent { .. }]), "{gone:?}");
    assert_eq!(absent(&gone[1..]), said);
    let mut device = panel();
    let (port, _, mut queue) = opened(news(&mut plugs, &mut clock));
    assert_eq!(port, 0, "the panel has its number again");
    device.send(&[0xB0, 20, 1]).unwrap();
    let start = Instant::now();
    let mut heard = 0;
    while heard == 0 && start.elapsed() < PATIENCE {
        thread::park_timeout(Duration::from_millis(100));
        queue.drain(|raw| {
            assert_eq!(raw.bytes(), [0xB0, 20, 1]);
            heard += 1;
        });
    }
    assert_eq!(heard, 1, "and it is heard");

    // Clients close before their server does: libjack does not survive the other order.
    drop((device, other));
    drop(plugs);
    drop(server);
}
