//! Panels at the engine: ports opened on a thread of their own, their messages read on the engine's.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, unbounded};

use super::snapshot::PanelState;
use crate::panel::{Map, Move, Plug, Plugs, Ports, Queue, Surface, read};

struct Port {
    name: String,
    queue: Queue,
    surface: Surface,
}

/// The panels of one map.
pub(super) struct Panels {
    map: Arc<Map>,
    news: Receiver<Plug>,
    ports: BTreeMap<usize, Port>,
    last: usize,
    note: Option<String>,
    quit: Arc<AtomicBool>,
}

/// How often the thread looks whether it is time to look at the ports.
const NAP: Duration = Duration::from_millis(100);

impl Panels {
    /// Starts to watch the ports that `make` gives.
    pub fn start(
        map: Arc<Map>,
        make: impl FnOnce() -> Box<dyn Ports> + Send + 'static,
        wake: Arc<dyn Fn() + Send + Sync>,
    ) -> std::io::Result<Self> {
        let (tell, news) = unbounded();
        let quit = Arc::new(AtomicBool::new(false));
        let (stop, pattern) = (quit.clone(), map.port.clone());
        std::thread::Builder::new().name("panel ports".into()).spawn(move || {
            let mut plugs = Plugs::new(make(), &pattern, wake.clone());
            while !stop.load(Ordering::Acquire) {
                let mut any = false;
                for plug in plugs.poll(Instant::now()) {
                    any = true;
                    if tell.send(plug).is_err() {
                        return;
                    }
                }
                if any {
                    wake();
                }
                std::thread::sleep(NAP);
            }
        })?;
        Ok(Self { map, news, ports: BTreeMap::new(), last: 0, note: None, quit })
    }

    /// Takes in ports that came and went. True if any did.
    pub fn collect(&mut self) -> bool {
        let mut any = false;
        while let Ok(plug) = self.news.try_recv() {
            any = true;
            match plug {
                Plug::Opened { port, name, queue } => {
                    self.note = None;
                    self.last = port;
                    let surface = Surface::new(self.map.clone());
                    self.ports.insert(port, Port { name, queue, surface });
                }
                Plug::Closed { port, name } => {
                    self.ports.remove(&port);
                    if let Some(other) = self.ports.keys().next().filter(|_| self.last == port) {
                        self.last = *other;
                    }
                    self.note = Some(format!("{name} is gone"));
                }
                Plug::Refused { why, .. } | Plug::Unavailable { why } => {
                    self.note = Some(why.to_string());
                }
            }
        }
        any
    }

    /// Reads what came and carries out each message before it reads on. Returns
    /// how many messages there were.
    pub fn drain(&mut self, context: &mut dyn PanelContext) -> usize {
        let mut all = 0;
        for (&number, port) in &mut self.ports {
            let mut count = 0;
            let surface = &mut port.surface;
            port.queue.drain(|message| {
                count += 1;
                if let Some(event) = read(number, message.bytes()) {
                    // Carried out before the next is read: takeover looks at where parameters stand.
                    let moves = surface.feed(&event, &|target| context.position(target));
                    context.act(number, &moves);
                }
            });
            if count > 0 {
                self.last = number;
            }
            all += count;
        }
        all
    }

    /// Another shot: absolute controls have to be picked up again.
    pub fn reset(&mut self) {
        for port in self.ports.values_mut() {
            port.surface.reset();
        }
    }

    /// For the panel mirror.
    pub fn state(&mut self, position: &dyn Fn(&str) -> Option<f64>) -> PanelState {
        let controls = match self.ports.get_mut(&self.last) {
            Some(port) => {
                port.surface.refresh(position);
                port.surface.describe()
            }
            None => Surface::new(self.map.clone()).describe(),
        };
        PanelState {
            map: self.map.name.clone(),
            ports: self.ports.values().map(|p| p.name.clone()).collect(),
            controls,
            note: self.note.clone(),
            overruns: self.ports.values().map(|p| p.queue.overruns()).sum(),
        }
    }
}

impl Drop for Panels {
    fn drop(&mut self) {
        self.quit.store(true, Ordering::Release);
    }
}

/// What panels need of the engine.
pub(super) trait PanelContext {
    /// Where a parameter stands in its range, 0…1.
    fn position(&self, target: &str) -> Option<f64>;
    /// Carries the moves of one message out, as one change.
    fn act(&mut self, port: usize, moves: &[Move]);
}
