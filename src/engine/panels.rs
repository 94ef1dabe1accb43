//! Panels at the engine: ports opened on a thread of their own, their messages read on the engine's.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, unbounded};

use super::snapshot::PanelState;
use crate::panel::{Event, Map, Move, Plug, Plugs, PortClock, Ports, Queue, Surface, read};

struct Port {
    name: String,
    queue: Queue,
    clock: PortClock,
}

/// The panels of one map.
pub(super) struct Panels {
    map: Arc<Map>,
    news: Receiver<Plug>,
    ports: BTreeMap<usize, Port>,
    /// Apart from the ports, because a message on one may concern all.
    surfaces: BTreeMap<usize, Surface>,
    last: usize,
    note: Option<String>,
    /// What is said of the port that went last, as long as none came.
    gone: Option<String>,
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
        let (ports, surfaces) = (BTreeMap::new(), BTreeMap::new());
        Ok(Self { map, news, ports, surfaces, last: 0, note: None, gone: None, quit })
    }

    /// Takes in ports that came and went. True if any did.
    pub fn collect(&mut self, context: &mut dyn PanelContext) -> bool {
        let mut any = false;
        while let Ok(plug) = self.news.try_recv() {
            any = true;
            match plug {
                Plug::Opened { port, name, queue } => {
                    (self.note, self.gone) = (None, None);
                    self.last = port;
                    self.surfaces.insert(port, Surface::new(self.map.clone()));
                    self.ports.insert(port, Port { name, queue, clock: PortClock::default() });
                }
                Plug::Closed { port, name } => {
                    self.ports.remove(&port);
                    if let Some(other) = self.ports.keys().next().filter(|_| self.last == port) {
                        self.last = *other;
                    }
                    // Nobody will let go of what was held on it.
                    if let Some(mut surface) = self.surfaces.remove(&port) {
                        context.act(port, &surface.release());
                    }
                    let gone = format!("{name} is gone");
                    (self.note, self.gone) = (Some(gone.clone()), Some(gone));
                }
                Plug::Absent { why } => {
                    let gone = self.gone.as_ref().map_or(String::new(), |gone| format!("{gone}; "));
                    self.note = Some(format!("{gone}{why}"));
                }
                Plug::Refused { why, .. } | Plug::Unavailable { why } => {
                    self.note = Some(why.to_string());
                }
            }
        }
        any
    }

    /// Reads what came and carries out each message before it reads on, and what halves of messages ask
    /// for by now. True if there was anything.
    pub fn drain(&mut self, context: &mut dyn PanelContext, now: Instant) -> bool {
        let Self { ports, surfaces, last, .. } = self;
        let mut any = false;
        for (&number, port) in ports {
            let Port { queue, clock, .. } = port;
            let mut carry_out = |at: u64, event: Option<&Event>| {
                let Some(surface) = surfaces.get_mut(&number) else { return };
                let position = |target: &str| context.position(target);
                let moves = match event {
                    Some(event) => surface.feed(at, event, &position),
                    None => surface.settle(at, &position),
                };
                any |= event.is_some() || !moves.is_empty();
                // Carried out before the next is read: takeover looks at where parameters stand.
                if context.act(number, &moves) {
                    surfaces.values_mut().for_each(Surface::reset);
                } else if !moves.is_empty() {
                    surface.arrived(&|target| context.position(target));
                }
            };
            queue.drain(|message| {
                clock.heard(message.at, now);
                *last = number;
                if let Some(event) = read(number, message.bytes()) {
                    carry_out(message.at, Some(&event));
                }
            });
            if let Some(at) = clock.at(now) {
                carry_out(at, None);
            }
        }
        any
    }

    /// When to come again for halves of messages.
    pub fn due(&self) -> Option<Instant> {
        let due = |(number, port): (&usize, &Port)| port.clock.when(self.surfaces.get(number)?.due()?);
        self.ports.iter().filter_map(due).min()
    }

    /// Another shot, look or stage in focus: absolute controls have to be picked up again.
    pub fn reset(&mut self) {
        self.surfaces.values_mut().for_each(Surface::reset);
    }

    /// For the panel mirror.
    pub fn state(&mut self, position: &dyn Fn(&str) -> Option<f64>) -> PanelState {
        let mut untouched = None;
        let surface = match self.surfaces.get_mut(&self.last) {
            Some(surface) => {
                surface.refresh(position);
                surface
            }
            None => untouched.insert(Surface::new(self.map.clone())),
        };
        let (controls, buttons, standing) = (surface.describe(), surface.buttons(), surface.standing());
        PanelState {
            map: self.map.name.clone(),
            ports: self.ports.values().map(|p| p.name.clone()).collect(),
            controls,
            buttons,
            standing,
            note: self.note.clone(),
            osc: None,
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
    /// Carries the moves of one message out, those of one control as one change. True if addresses lead elsewhere
    /// now: another shot, look or stage in focus.
    fn act(&mut self, port: usize, moves: &[Move]) -> bool;
}
