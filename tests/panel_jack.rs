//! The panel room through a real MIDI server: `cargo test --release --features jack --test panel_jack`.
//!
//! JACK because it runs without a sound card. One test, because libjack takes the server's name from the
//! environment of the whole process; the surface is this program again, in a process of its own.

use greyhold::panel::{
    Coding, Echoes, Feedback, Map, Move, Plug, Plugs, Ports, Queue, Readout, SHIPPED, Surface, SystemPorts,
    read,
};
use midir::{MidiOutput, MidiOutputConnection, os::unix::VirtualOutput};
use std::{
    collections::BTreeMap,
    io::{BufRead, Write},
    process::{Child, Command, Stdio},
    sync::{
        Arc, Mutex,
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

/// What a surface in another process is asked by, and how it answers: lines that begin with this.
const SAYS: &str = "@ ";
const SURFACE: &str = "GREYHOLD_TEST_SURFACE";

/// A surface in a process of its own: this very program, run again.
struct Elsewhere {
    child: Child,
    lines: std::sync::mpsc::Receiver<String>,
}

impl Elsewhere {
    fn start() -> Self {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["a_surface_in_another_process", "--exact", "--nocapture"])
            .env(SURFACE, "1")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        Self { child, lines }
    }

    fn ask(&mut self, line: &str) {
        writeln!(self.child.stdin.as_mut().unwrap(), "{line}").unwrap();
    }

    /// Asks, and waits for the answer.
    fn answer(&mut self, line: &str) -> String {
        self.ask(line);
        self.hear()
    }

    /// The next answer.
    fn hear(&mut self) -> String {
        let start = Instant::now();
        while start.elapsed() < 3 * PATIENCE {
            // The harness speaks on the same line first.
            match self.lines.recv_timeout(Duration::from_millis(100)) {
                Ok(said) if said.contains(SAYS) => return said.split_once(SAYS).unwrap().1.to_owned(),
                _ => {}
            }
        }
        panic!("the surface does not answer");
    }
}

impl Drop for Elsewhere {
    fn drop(&mut self) {
        // The end of its input is its end.
        drop(self.child.stdin.take());
        let start = Instant::now();
        while self.child.try_wait().ok().flatten().is_none() {
            if start.elapsed() > PATIENCE {
                let _ = self.child.kill();
            }
            thread::sleep(Duration::from_millis(20));
        }
    }
}

fn lines_of(out: impl std::io::Read + Send + 'static) -> std::sync::mpsc::Receiver<String> {
    let (tell, lines) = std::sync::mpsc::channel();
    thread::spawn(move || {
        std::io::BufReader::new(out).lines().map_while(Result::ok).for_each(|line| _ = tell.send(line));
    });
    lines
}

/// Message `i` of a flood: a fixed shuffle of 1…127, every byte that says a move, no two neighbours alike.
fn flood(i: usize) -> [u8; 3] {
    [0xB0, 20 + (i % 8) as u8, 1 + (i * 53 % 127) as u8]
}

/// The values of a slow sweep there and back, in 14 bits.
fn sweep() -> impl Iterator<Item = u16> {
    (0..=16383).step_by(9).chain([16383]).chain((0..16383).rev().step_by(13)).chain([0])
}

/// Sends messages at so many a second. What a stall of the machine left behind is caught up in small portions: JACK
/// silently drops more than 2,048 messages a period.
fn pace(device: &mut MidiOutputConnection, rate: u64, messages: impl Iterator<Item = Vec<u8>>) {
    let start = Instant::now();
    for (i, message) in messages.enumerate() {
        let due = start + Duration::from_micros(i as u64 * 1_000_000 / rate);
        let ahead = due.saturating_duration_since(Instant::now());
        thread::sleep(ahead);
        if ahead.is_zero() && i % 200 == 0 {
            thread::sleep(Duration::from_millis(6));
        }
        device.send(&message).unwrap();
    }
}

/// The surface, when this program is run for it: plugged in and out, sending, and told things, as its input says.
/// Run as a test it has nothing to do.
#[test]
fn a_surface_in_another_process() {
    use midir::{MidiInput, os::unix::VirtualInput};
    if std::env::var_os(SURFACE).is_none() {
        return;
    }
    let told = Arc::new(Mutex::new(Vec::<Vec<u8>>::new()));
    let echo = Arc::new(AtomicUsize::new(0));
    let out = Arc::new(Mutex::new(None::<MidiOutputConnection>));
    let mut listening = None;
    for line in std::io::stdin().lines().map_while(Result::ok) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let bytes =
            |words: &[&str]| words.iter().map(|w| u8::from_str_radix(w, 16).unwrap()).collect::<Vec<u8>>();
        let answer = match words[..] {
            ["plug", ..] => {
                let name = line.strip_prefix("plug ").unwrap();
                let device = MidiOutput::new(name).unwrap().create_virtual("out").unwrap();
                *out.lock().unwrap() = Some(device);
                let (told, echo, out) = (told.clone(), echo.clone(), out.clone());
                let hears = move |_: u64, message: &[u8], _: &mut ()| {
                    told.lock().unwrap().push(message.to_vec());
                    if echo.load(Ordering::Relaxed) > 0
                        && let Some(device) = out.lock().unwrap().as_mut()
                    {
                        device.send(message).unwrap();
                    }
                };
                // A client of JACK has either inputs or outputs through midir, and no two have one name.
                let input = MidiInput::new(&format!("{name} input"))
                    .unwrap()
                    .create_virtual("in", hears, ())
                    .unwrap();
                listening = Some(input);
                "plugged".to_owned()
            }
            ["unplug"] => {
                // In the order that a device has: all at once, or nearly.
                listening = None;
                *out.lock().unwrap() = None;
                "unplugged".to_owned()
            }
            ["echo", how] => {
                echo.store(usize::from(how == "on"), Ordering::Relaxed);
                "so".to_owned()
            }
            ["send", ref hex @ ..] => {
                out.lock().unwrap().as_mut().unwrap().send(&bytes(hex)).unwrap();
                "sent".to_owned()
            }
            // Messages of three bytes, so many milliseconds apart.
            ["play", apart, ref hex @ ..] => {
                for message in hex.chunks(3) {
                    out.lock().unwrap().as_mut().unwrap().send(&bytes(message)).unwrap();
                    thread::sleep(Duration::from_millis(apart.parse().unwrap()));
                }
                "played".to_owned()
            }
            ["flood", count] => {
                let count: usize = count.parse().unwrap();
                let start = Instant::now();
                let mut device = out.lock().unwrap();
                pace(device.as_mut().unwrap(), 1000, (0..count).map(|i| flood(i).to_vec()));
                format!("{} ms", start.elapsed().as_millis())
            }
            ["sweep"] => {
                // The two halves in one packet, as they come over USB: JACK has no times inside a period and may put two
                // packets a whole period apart, which is longer than a pair waits.
                let halves = |v: u16| vec![0xB0, 21, (v >> 7) as u8, 0xB0, 53, (v & 127) as u8];
                let mut device = out.lock().unwrap();
                pace(device.as_mut().unwrap(), 1000, sweep().map(halves));
                "swept".to_owned()
            }
            ["told"] => format!("{:02X?}", std::mem::take(&mut *told.lock().unwrap())),
            _ => "what?".to_owned(),
        };
        println!("{SAYS}{answer}");
    }
    drop(listening);
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
        thread::sleep(Duration::from_millis(10));
    }
}

/// What this process has: threads, open files; and what the server lists of other clients.
fn leaks(ports: &mut SystemPorts) -> [usize; 4] {
    // What lists has a client of its own, from its first list on.
    let [inputs, outputs] = [ports.list().unwrap().len(), ports.outputs().unwrap().len()];
    let count = |dir: &str| std::fs::read_dir(dir).unwrap().count();
    [count("/proc/self/task"), count("/proc/self/fd"), inputs, outputs]
}

/// Polls until a device can be told things: its two ports come one after the other.
fn answering(plugs: &mut Plugs, clock: &mut Instant) -> Vec<Plug> {
    let mut all = Vec::new();
    while !all.iter().any(|n| matches!(n, Plug::Answering { port: 0 })) {
        all.extend(news(plugs, clock));
    }
    all
}

/// The one port that was opened, whose device can be told things or will be able to.
fn opened(mut news: Vec<Plug>) -> (usize, String, Queue) {
    if matches!(news.last(), Some(Plug::Answering { .. })) {
        news.pop();
    }
    match news.pop() {
        Some(Plug::Opened { port, name, queue, .. }) if news.is_empty() => (port, name, queue),
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

/// Where the one parameter of a test stands.
struct Place(f64);

impl Readout for Place {
    fn position(&self, _: &str) -> Option<f64> {
        Some(self.0)
    }

    fn value(&self, _: &str) -> Option<String> {
        None
    }

    fn lit(&self, _: usize) -> bool {
        false
    }
}

/// A learning session of the program, with a person's hand on its input.
struct Session {
    child: Child,
    lines: std::sync::mpsc::Receiver<String>,
    said: Vec<String>,
}

impl Session {
    fn start(map: &std::path::Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_greyhold"))
            .args(["panel", "learn", map.to_str().unwrap(), "--port", "test panel", "--seconds", "60"])
            .args(more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = lines_of(child.stdout.take().unwrap());
        let mut session = Self { child, lines, said: Vec::new() };
        session.hear("Test Panel:out: open");
        session
    }

    fn hear(&mut self, wanted: &str) {
        let start = Instant::now();
        while start.elapsed() < PATIENCE {
            if let Ok(line) = self.lines.recv_timeout(Duration::from_millis(100)) {
                self.said.push(line);
                if self.said.last().unwrap().contains(wanted) {
                    return;
                }
            }
        }
        panic!("{wanted:?} was not said, but {:?}", self.said);
    }

    fn end(mut self) -> bool {
        self.child.wait().unwrap().success()
    }
}

/// `greyhold panel learn` with a surface in another process: an encoder is asked for both ways, recognised, tried,
/// saved; its message is not given away twice; a button needs no window either.
fn learning(surface: &mut Elsewhere) {
    let map = std::env::temp_dir().join(format!("greyhold-learned-{}.toml", std::process::id()));
    let _ = std::fs::remove_file(&map);
    let mut session = Session::start(&map, &["--target", "balance/exposure", "--label", "Light"]);
    surface.answer("play 20 B0 15 41 B0 15 41 B0 15 42 B0 15 41 B0 15 41");
    session.hear("turn it the other way (so far CC 21, turns in binary offset)");
    surface.answer("play 20 B0 15 3F B0 15 3F B0 15 3E B0 15 3F B0 15 3F");
    session.hear("Test Panel:out: CC 21, turns in binary offset, channel 1");
    session.hear("try it");
    assert!(!map.exists(), "nothing is saved before it is asked for");
    surface.answer("send B0 15 43");
    session.hear("balance/exposure +3 steps");
    writeln!(session.child.stdin.as_mut().unwrap()).unwrap();
    session.hear("saved in");
    assert!(session.end());
    let text = std::fs::read_to_string(&map).unwrap();
    let learned = Map::parse(&text, "learned", &|_| Ok(()), &|_| Ok(())).unwrap();
    let light = &learned.controls[0];
    assert_eq!(
        (light.cc(), light.channel, light.coding, &*light.label),
        (Some(21), Some(0), Coding::BinaryOffset, "Light")
    );
    assert!(
        text.contains("# Learned: CC 21, turns in binary offset, channel 1, from “Test Panel:out”."),
        "{text}"
    );

    // The same knob for something else: shown, not overwritten.
    let mut session = Session::start(&map, &["--target", "look/strength", "--yes"]);
    surface.answer(
        "play 20 B0 15 41 B0 15 41 B0 15 41 B0 15 41 B0 15 41 B0 15 3F B0 15 3F B0 15 3F B0 15 3F B0 15 3F",
    );
    session.hear("“Light”, which moves balance/exposure, sends the same");
    assert!(!session.end());
    assert_eq!(std::fs::read_to_string(&map).unwrap(), text);

    let mut session = Session::start(&map, &["--action", "play", "--yes"]);
    for _ in 0..3 {
        surface.answer("play 100 90 24 7F 90 24 00");
        thread::sleep(Duration::from_millis(300));
    }
    session.hear("saved in");
    assert!(session.end());
    let more = std::fs::read_to_string(&map).unwrap();
    assert!(
        more.starts_with(&text) && more.contains("note = 36") && more.contains("action = \"play\""),
        "{more}"
    );
    std::fs::remove_file(map).unwrap();
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
    let lines = lines_of(child.stdout.take().unwrap());
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
    // SAFETY: no other thread of this process reads or writes the environment but through the standard library, which
    // takes turns: no JACK client is open yet.
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

    // A surface in another process is plugged in.
    let mut surface_process = Elsewhere::start();
    let mut lister = SystemPorts::new();
    surface_process.ask("plug Test Panel");
    let (port, port_name, mut queue) = opened(answering(&mut plugs, &mut clock));
    assert_eq!(surface_process.hear(), "plugged");
    assert_eq!((port, &*port_name), (0, "Test Panel:out"));

    // Ten thousand turns, a thousand a second, through the map that we ship.
    const TURNS: usize = 10_000;
    let map = Map::parse(SHIPPED[0].1, SHIPPED[0].0, &|_| Ok(()), &|_| Ok(())).unwrap();
    let mut surface = Surface::new(Arc::new(map));
    let mut steps = BTreeMap::<String, f64>::new();
    let mut heard = Vec::new();
    let start = Instant::now();
    surface_process.ask(&format!("flood {TURNS}"));
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
    }
    let took = start.elapsed();
    assert!(surface_process.hear().ends_with(" ms"));
    assert_eq!((heard.len(), queue.overruns()), (TURNS, 0), "none is lost");
    assert!(took < Duration::from_secs(20), "at about a thousand a second: {took:?}");
    let message = flood;
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

    // A sweep of 14 bits: it goes up, then down, and comes to where it ends.
    let text = "name = \"fine\"\n[[control]]\ncc = 21\nbits = 14\ncoding = \"absolute\"\ntakeover = \"jump\"\ntarget = \"a\"\n";
    let map = Arc::new(Map::parse(text, "fine", &|_| Ok(()), &|_| Ok(())).unwrap());
    let mut surface = Surface::new(map);
    let mut values: Vec<u16> = Vec::new();
    surface_process.ask("sweep");
    let start = Instant::now();
    while values.len() < sweep().count() && start.elapsed() < 3 * PATIENCE {
        thread::park_timeout(Duration::from_secs(1));
        queue.drain(|raw| {
            let Some(event) = read(port, raw.bytes()) else { return };
            for one in surface.feed(raw.at, &event, &|_| Some(0.5)) {
                let Move::Set { position, .. } = one else { panic!("a knob has a place: {one:?}") };
                values.push((position * 16383.0).round() as u16);
            }
        });
    }
    assert_eq!(surface_process.hear(), "swept");
    assert!(values.iter().copied().eq(sweep()), "no saw-teeth, nothing lost: {} values", values.len());

    // What it is told arrives; one that sends all of it back comes to rest, because that moves nothing.
    surface_process.answer("told");
    surface_process.answer("echo on");
    let ring = "name = \"ring\"\n[[control]]\ncc = 20\ncoding = \"twos-complement\"\ntarget = \"a\"\nring = { cc = 20 }\n";
    let map = Arc::new(Map::parse(ring, "ring", &|_| Ok(()), &|_| Ok(())).unwrap());
    let (mut surface, mut feedback) = (Surface::new(map.clone()), Feedback::new(map));
    let mut echoes = Echoes::default();
    let (mut stands, mut told, mut turned) = (Place(0.5), Vec::new(), 0);
    let start = Instant::now();
    while start.elapsed() < Duration::from_millis(1500) {
        // For half a second somebody else moves it.
        if start.elapsed() < Duration::from_millis(500) {
            stands.0 = 0.5 + 0.4 * start.elapsed().as_secs_f64();
        }
        feedback.due(&stands, Instant::now(), &mut |message| {
            echoes.sent(message, Instant::now());
            plugs.send(port, message);
            told.push((start.elapsed(), message.to_vec()));
        });
        queue.drain(|raw| {
            let Some(event) = read(port, raw.bytes()) else { return };
            if echoes.is_echo(port, raw.bytes(), Instant::now()) {
                return;
            }
            turned += surface.feed(raw.at, &event, &|_| Some(stands.0)).len();
        });
        thread::park_timeout(Duration::from_millis(2));
    }
    surface_process.answer("echo off");
    let arrived = surface_process.answer("told");
    let messages: Vec<&Vec<u8>> = told.iter().map(|(_, m)| m).collect();
    assert_eq!(arrived, format!("{messages:02X?}"), "each once, in order");
    assert_eq!(turned, 0, "an echo turned it");
    assert!((10..60).contains(&told.len()), "{}", told.len());
    assert_eq!(told.last().unwrap().1[2], (stands.0 * 127.0).round() as u8);
    assert!(told.last().unwrap().0 < Duration::from_millis(700), "it never comes to rest: {told:?}");

    // Unplugging and plugging in again, fifty times, in the middle of use: the same number, heard and told again, and
    // nothing left behind. The round before makes what is made once.
    let mut first = None;
    let begun = Instant::now();
    for round in 0..=50 {
        surface_process.ask("flood 30");
        surface_process.ask("unplug");
        let mut all = Vec::new();
        while !all.iter().any(|n| matches!(n, Plug::Absent { .. })) {
            plugs.send(port, &[0xB0, 20, 1]);
            all.extend(news(&mut plugs, &mut clock));
        }
        assert!(matches!(all[..], [Plug::Closed { port: 0, .. }, Plug::Absent { .. }]), "{round}: {all:?}");
        assert_eq!(absent(&all[1..]), said);
        plugs.send(port, &[0xB0, 20, 2]);
        assert!(surface_process.hear().ends_with(" ms"));
        assert_eq!(surface_process.hear(), "unplugged");
        drop(queue);
        match first {
            None => first = Some(leaks(&mut lister)),
            Some(first) if round == 50 => {
                let start = Instant::now();
                // A thread's end may be a moment late.
                while leaks(&mut lister) != first && start.elapsed() < PATIENCE {
                    thread::sleep(Duration::from_millis(50));
                }
                assert_eq!(leaks(&mut lister), first, "threads, files, ports in, ports out");
            }
            Some(_) => {}
        }
        surface_process.ask("plug Test Panel");
        queue = opened(answering(&mut plugs, &mut clock)).2;
        assert_eq!(surface_process.hear(), "plugged");
    }
    println!(
        "unplugged and plugged in 51 times in {:?}, then {first:?} threads, files, ports",
        begun.elapsed()
    );
    surface_process.answer("told");
    plugs.send(port, &[0xB0, 20, 3]);
    surface_process.answer("send B0 14 05");
    let start = Instant::now();
    let mut last = None;
    while last.is_none() && start.elapsed() < PATIENCE {
        thread::park_timeout(Duration::from_millis(50));
        queue.drain(|raw| last = Some(raw.bytes().to_vec()));
    }
    let mut told = surface_process.answer("told");
    while told == "[]" && start.elapsed() < PATIENCE {
        thread::sleep(Duration::from_millis(10));
        told = surface_process.answer("told");
    }
    assert_eq!((last, &*told), (Some(vec![0xB0, 20, 5]), "[[B0, 14, 03]]"));

    learning(&mut surface_process);

    // A device that comes from this process again, beside all that.
    let mut device = panel();
    let (port, _, mut queue) = opened(news(&mut plugs, &mut clock));
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
    assert_eq!((heard, port), (1, 1), "and it is heard");

    // Clients close before their server does: libjack does not survive the other order.
    drop(surface_process);
    drop((device, other, lister));
    drop(plugs);
    drop(server);
}
