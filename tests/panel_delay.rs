//! From a panel's bytes to the finished picture, while it plays: bytes go in where a driver's callback puts them.
//!
//! Quick and small by itself. `GREYHOLD_DELAY=3840x2160,1000 cargo test … --test panel_delay -- --nocapture` measures a thousand
//! moves at that size.

mod support;

use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Command, Input, Live, Options, known_action, known_target, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::{Stage, stage};
use greyhold::panel::{self, Map, PanelError, PortInfo, Ports, Sender, Waker, queue, shipped};
use greyhold::picture::BalanceField::Exposure;
use greyhold::show::{Shot, Show, raster_from_text};
use support::{sequence, wait_for};

/// One port that is there from the start.
#[derive(Clone, Default)]
struct Port(Arc<Mutex<Option<Sender>>>);

impl Ports for Port {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        Ok(vec![PortInfo { id: "1".to_owned(), name: "Box".to_owned() }])
    }

    fn open(&mut self, _: &PortInfo, waker: Waker) -> Result<panel::Input, PanelError> {
        let (sender, queue) = queue(4096, waker);
        *self.0.lock().unwrap() = Some(sender);
        Ok(panel::Input::new(Box::new(()), queue))
    }
}

const RATE: f64 = 24.0;

#[test]
fn every_move_is_answered_by_a_picture_while_it_plays() {
    let asked = std::env::var("GREYHOLD_DELAY").unwrap_or_else(|_| "320x180,60".to_owned());
    let (size, moves) = asked.split_once(',').expect("GREYHOLD_DELAY is WxH,MOVES");
    let (size, moves) = (raster_from_text(size).expect("a size"), moves.parse::<usize>().expect("moves"));
    let dir = tempfile::tempdir().unwrap();
    sequence(&dir.path().join("take"), size, 6);
    let mut show = Show::new("delay");
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..6, encoding("logc4").unwrap()));
    show.chain.look = ["contrast", "split-tone"].map(|key| Stage::new(stage(key).unwrap())).into();
    let (file, text) = shipped("eight-encoders").expect("the map ships");
    let map = Arc::new(Map::parse(text, file, &known_target, &known_action).unwrap());
    let port = Port::default();
    let ports = port.clone();
    let options = Options {
        dir: dir.path().to_owned(),
        show,
        lock: None,
        panel: Some((vec![map], Box::new(move || Box::new(ports)))),
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    let gpu = Gpu::headless(Request::default()).unwrap();
    let engine = start(gpu, options).unwrap();
    wait_for("the port", || port.0.lock().unwrap().is_some().then_some(()));
    wait_for("every plan", || engine.snapshot().looks_ready.then_some(()));
    engine.send(Input::Command(Command::TogglePlay));
    wait_for("playback", || (engine.snapshot().playback.shown > 12).then_some(()));

    let mut delays = Vec::new();
    for i in 0..moves {
        let serial = engine.picture(Live::Client).map_or(0, |p| p.serial);
        let begun = Instant::now();
        // A detent up, a detent down.
        let detent = if i % 2 == 0 { 1 } else { 127 };
        port.0
            .lock()
            .unwrap()
            .as_mut()
            .unwrap()
            .push(begun.elapsed().as_micros() as u64, &[0xB0, 20, detent]);
        let answered = loop {
            let picture = engine.picture(Live::Client);
            if picture.is_some_and(|p| p.serial > serial && p.delay.is_some()) {
                break begun.elapsed();
            }
            assert!(begun.elapsed() < support::PATIENCE, "move {i} is not answered");
            std::thread::sleep(Duration::from_micros(200));
        };
        delays.push(answered);
        // Not in step with the frames.
        std::thread::sleep(Duration::from_micros(7_000 + (i as u64 * 2_711) % 9_000));
    }
    let snapshot = engine.snapshot();
    assert_eq!(snapshot.show.shots[0].balance.get(Exposure), if moves % 2 == 0 { 0.0 } else { 0.05 });
    delays.sort_unstable();
    let ms = |d: Duration| d.as_secs_f64() * 1e3;
    let at = |share: f64| ms(delays[((moves - 1) as f64 * share).round() as usize]);
    let frame = 1e3 / RATE;
    println!(
        "{moves} moves at {}×{} on {}, playing at {RATE} frames a second: median {:.1} ms ({:.2} frames), p99 {:.1} ms \
         ({:.2}), most {:.1} ms ({:.2}); {} frames shown, {} dropped",
        size.0,
        size.1,
        engine.gpu.name(),
        at(0.5),
        at(0.5) / frame,
        at(0.99),
        at(0.99) / frame,
        at(1.0),
        at(1.0) / frame,
        snapshot.playback.shown,
        snapshot.playback.dropped
    );
}
