//! An engine that listens to OSC, and a surface in another process.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Handle, Input, Options, OscOptions, OscState, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::{STAGES, Stage, stage};
use greyhold::show::{Address, Group, Shot, Show, StrengthTrim};
use serde_json::{Value, json};

use super::{Process, sequence};

/// Waits as [`super::wait_for`] does, but looks more often: here there is much to wait for.
pub fn soon<T>(what: &str, mut found: impl FnMut() -> Option<T>) -> T {
    let start = Instant::now();
    loop {
        if let Some(it) = found() {
            return it;
        }
        assert!(start.elapsed() < super::PATIENCE, "{what} did not come");
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// A surface in another process.
pub struct Surface {
    _process: Process,
    orders: std::process::ChildStdin,
    /// What came, and when.
    pub heard: Arc<Mutex<Vec<(Instant, Value)>>>,
    done: usize,
    /// Where it sends.
    pub to: u16,
    /// Where it listens.
    pub port: u16,
}

impl Surface {
    pub fn start(to: u16) -> Self {
        let root = env!("CARGO_MANIFEST_DIR");
        let mut command = Command::new(format!("{root}/target/oracle-venv/bin/python"));
        command.arg(format!("{root}/tests/oracle/osc_surface.py"));
        command.stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut process = Process::start(&mut command, "python3-venv, and run tests/setup.sh");
        let orders = process.0.stdin.take().unwrap();
        let mut lines = BufReader::new(process.0.stdout.take().unwrap()).lines();
        let first: Value = serde_json::from_str(&lines.next().expect("a first word").unwrap()).unwrap();
        let heard = Arc::new(Mutex::new(Vec::new()));
        let list = heard.clone();
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                let value = serde_json::from_str(&line).unwrap();
                list.lock().unwrap().push((Instant::now(), value));
            }
        });
        let port = first["port"].as_u64().unwrap() as u16;
        Self { _process: process, orders, heard, done: 0, to, port }
    }

    /// Gives it an order, and waits until it is done.
    pub fn order(&mut self, order: Value) {
        writeln!(self.orders, "{order}").unwrap();
        self.done += 1;
        let (heard, done) = (self.heard.clone(), self.done);
        let start = Instant::now();
        while heard.lock().unwrap().iter().filter(|(_, v)| v.get("done").is_some()).count() < done {
            assert!(start.elapsed() < super::PATIENCE, "{order} is not done");
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    pub fn send(&mut self, address: &str, args: Value) {
        self.order(json!(["send", self.to, address, args]));
    }

    pub fn float(&mut self, address: &str, value: f64) {
        self.send(address, json!([["f", value]]));
    }

    pub fn bundle(&mut self, messages: Value, depth: usize) {
        self.order(json!(["bundle", self.to, messages, depth]));
    }

    /// What it was told, and when; all of it is forgotten.
    pub fn told(&self) -> Vec<(Instant, String, Value)> {
        let mut heard = self.heard.lock().unwrap();
        let told = heard
            .iter()
            .filter_map(|(at, v)| Some((*at, v.get("address")?.as_str()?.to_owned(), v["args"][0].clone())));
        let told = told.collect();
        heard.retain(|(_, v)| v.get("done").is_some());
        told
    }

    /// Waits for an address to be told; what was told of it last.
    pub fn comes(&self, address: &str, is: impl Fn(&Value) -> bool) -> Value {
        soon(&format!("word of {address}"), || {
            let heard = self.heard.lock().unwrap();
            let last = heard.iter().rev().find(|(_, v)| v["address"] == json!(address))?;
            is(&last.1["args"][0]).then(|| last.1["args"][0].clone())
        })
    }
}

/// Two shots, and stages in all three lists, one kind twice.
pub fn show(dir: &std::path::Path) -> Show {
    sequence(&dir.join("take"), (64, 36), 24);
    let mut show = Show::new("osc");
    for name in ["first", "second"] {
        let frames = if name == "first" { 0..12 } else { 12..24 };
        let source = std::path::Path::new("take").join("take.####.dpx");
        show.shots.push(Shot::new(name, source, frames, encoding("logc4").unwrap()));
    }
    let of = |key: &str| Stage::new(stage(key).unwrap());
    show.chain.before = vec![of("saturation")];
    // Every stage that reads no file, and one of them again.
    show.chain.look = STAGES.iter().filter(|d| !d.table).map(|d| of(d.key)).collect();
    show.chain.look.push(of("contrast"));
    show.chain.finish = vec![of("vignette")];
    // Of the second's name OSC cannot make an address.
    for name in ["night", "a, b"] {
        show.groups.push(Group { name: name.into(), trim: StrengthTrim::default() });
    }
    // Nothing for the software GPU to do.
    show.chain.look.iter_mut().for_each(|s| s.strength = 0.0);
    show
}

pub struct Running {
    pub engine: Handle,
    pub address: SocketAddr,
    _dir: tempfile::TempDir,
}

pub fn run(options: OscOptions) -> Running {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let engine = start(
        Gpu::headless(Request::default()).unwrap(),
        Options {
            dir: dir.path().to_owned(),
            show,
            lock: None,
            panel: None,
            cache: CACHE,
            notify: Arc::new(|| ()),
        },
    )
    .unwrap();
    engine.send(Input::Osc(options));
    let address = soon("OSC", || state(&engine).address);
    Running { engine, address, _dir: dir }
}

pub fn local() -> OscOptions {
    OscOptions { address: (Ipv4Addr::LOCALHOST, 0).into(), layout: None }
}

pub fn state(engine: &Handle) -> OscState {
    engine.snapshot().panel.osc.clone().unwrap_or_default()
}

impl Running {
    pub fn get(&self, target: &str) -> (u16, Value) {
        get(self.address, target)
    }

    /// A parameter's value in the engine's snapshot, by its address without slash.
    pub fn value(&self, address: &str) -> f64 {
        let s = self.engine.snapshot();
        s.show.get(s.show.resolve(&Address::parse(address).unwrap(), s.shot).unwrap()).unwrap()
    }

    pub fn becomes(&self, address: &str, value: f64) {
        soon(&format!("{address} = {value}"), || (self.value(address) == value).then_some(()));
    }

    pub fn stays(&self, address: &str, value: f64) {
        std::thread::sleep(Duration::from_millis(150));
        assert_eq!(self.value(address), value, "{address}");
    }
}

pub fn get(address: SocketAddr, target: &str) -> (u16, Value) {
    let (status, body) = ask(address, target).unwrap();
    (status, if body.is_empty() { Value::Null } else { serde_json::from_str(&body).unwrap() })
}

/// The status and the body as it came.
pub fn ask(address: SocketAddr, target: &str) -> std::io::Result<(u16, String)> {
    let mut stream = TcpStream::connect(address)?;
    write!(stream, "GET {target} HTTP/1.1\r\nHost: {address}\r\n\r\n")?;
    let mut text = String::new();
    stream.read_to_string(&mut text)?;
    let (head, body) = text.split_once("\r\n\r\n").expect("a head and a body");
    Ok((head.split(' ').nth(1).unwrap().parse().unwrap(), body.to_owned()))
}
