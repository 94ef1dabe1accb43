//! Panels at the engine: ports opened, and told things, on a thread of their own; their messages read, and what
//! they are to be told worked out, on the engine's.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded, unbounded};

use super::snapshot::{Learning, PanelState};
use crate::panel::{
    Act, Doing, Echoes, Event, Feedback, HELD_BACK, Map, Mimic, Move, Plug, Plugs, PortClock, Ports, Queue,
    Readout, Recogniser, Surface, Wish, conflict, read,
};

struct Port {
    name: String,
    queue: Queue,
    clock: PortClock,
    /// Number of its map.
    map: usize,
    feedback: Feedback,
    /// Is there a way to tell it anything?
    answering: bool,
    /// What may be an answer to what was told: the last of each control, whether it says just that, and when it
    /// came.
    held_back: Vec<(Event, bool, Instant)>,
}

/// A message on its way to the thread that sends it.
type Telling = (usize, Box<[u8]>);

/// All panels, each by its map.
pub(super) struct Panels {
    maps: Vec<Arc<Map>>,
    news: Receiver<Plug>,
    tell: Sender<Telling>,
    ports: BTreeMap<usize, Port>,
    /// Apart from the ports, because a message on one may concern all.
    surfaces: BTreeMap<usize, Surface>,
    /// Apart from the ports, because an echo may come by another than its cause went out by.
    echoes: Echoes,
    last: usize,
    /// Number of the map of that port, also once it is gone.
    on_view: usize,
    /// The drawn panels, by their maps.
    drawn: BTreeMap<usize, Mimic>,
    /// When the clock of the drawn panels began.
    epoch: Instant,
    note: Option<String>,
    /// What is said of the port that went last, as long as none came.
    gone: Option<String>,
    /// Names of the ports that were there and are not.
    absent: BTreeMap<usize, String>,
    /// When panels were last told something, or might have been.
    told: Option<Instant>,
    /// Something may have changed since.
    untold: bool,
    /// What is being learned, and what each port sent since.
    learning: Option<(Arc<str>, BTreeMap<usize, Recogniser>)>,
}

/// Port number of the first map's drawn panel, which is there without any port: above those of all ports.
const DRAWN: usize = 1_000;

/// How often the thread looks whether it is time to look at the ports, when there is nothing to send.
const NAP: Duration = Duration::from_millis(100);

/// How often panels are told something at most.
const TELL_EVERY: Duration = Duration::from_millis(5);

/// Messages that may wait to be sent: more than all panels together are allowed in the time of a nap.
const WAITING: usize = 1024;

impl Panels {
    /// Starts to watch the ports that `make` gives, for the panels of at least one map.
    pub fn start(
        maps: Vec<Arc<Map>>,
        make: impl FnOnce() -> Box<dyn Ports> + Send + 'static,
        wake: Arc<dyn Fn() + Send + Sync>,
    ) -> std::io::Result<Self> {
        let (tell_news, news) = unbounded();
        let (tell, asked) = bounded::<Telling>(WAITING);
        let wishes: Vec<_> =
            maps.iter().map(|m| Wish { input: m.port.clone(), output: m.output.clone() }).collect();
        std::thread::Builder::new().name("panel ports".into()).spawn(move || {
            let mut plugs = Plugs::several(make(), wishes, wake.clone());
            loop {
                let mut any = false;
                for plug in plugs.poll(Instant::now()) {
                    any = true;
                    if tell_news.send(plug).is_err() {
                        return;
                    }
                }
                if any {
                    wake();
                }
                match asked.recv_timeout(NAP) {
                    Ok((port, message)) => plugs.send(port, &message),
                    Err(RecvTimeoutError::Timeout) => {}
                    // Nobody is there to be told.
                    Err(RecvTimeoutError::Disconnected) => return,
                }
            }
        })?;
        Ok(Self {
            maps,
            news,
            tell,
            ports: BTreeMap::new(),
            surfaces: BTreeMap::new(),
            echoes: Echoes::default(),
            last: 0,
            on_view: 0,
            drawn: BTreeMap::new(),
            epoch: Instant::now(),
            note: None,
            gone: None,
            absent: BTreeMap::new(),
            told: None,
            untold: false,
            learning: None,
        })
    }

    /// Takes in ports that came and went. True if any did.
    pub fn collect(&mut self, context: &mut dyn PanelContext) -> bool {
        let mut any = false;
        while let Ok(plug) = self.news.try_recv() {
            any = true;
            match plug {
                Plug::Opened { port, name, queue, wish } => {
                    (self.note, self.gone) = (None, None);
                    (self.last, self.on_view) = (port, wish);
                    self.absent.remove(&port);
                    let map = &self.maps[wish];
                    self.surfaces.insert(port, Surface::new(map.clone()));
                    self.ports.insert(
                        port,
                        Port {
                            name,
                            queue,
                            clock: PortClock::default(),
                            map: wish,
                            feedback: Feedback::new(map.clone()),
                            answering: false,
                            held_back: Vec::new(),
                        },
                    );
                }
                Plug::Answering { port } => {
                    if let Some(port) = self.ports.get_mut(&port) {
                        port.answering = true;
                        port.feedback.resend();
                    }
                }
                Plug::Closed { port, name } => {
                    self.ports.remove(&port);
                    if let Some((other, it)) = self.ports.iter().next().filter(|_| self.last == port) {
                        (self.last, self.on_view) = (*other, it.map);
                    }
                    // Nobody will let go of what was held on it.
                    if let Some(mut surface) = self.surfaces.remove(&port) {
                        context.act(port, &surface.release());
                    }
                    let gone = format!("{name} is gone");
                    self.absent.insert(port, name);
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

    /// Reads what came and carries out each message before it reads on, and what halves of messages and
    /// messages that were held back ask for by now. True if there was anything.
    pub fn drain(&mut self, context: &mut dyn PanelContext, now: Instant) -> bool {
        let Self { ports, surfaces, echoes, last, on_view, learning, .. } = self;
        let (mut any, mut listened) = (false, false);
        for (&number, port) in ports {
            let Port { queue, clock, feedback, held_back, map, .. } = port;
            let mut carry_out =
                |at: u64, event: Option<&Event>, context: &mut dyn PanelContext, feedback: &mut Feedback| {
                    let moves = carry_out(surfaces, number, at, event, context);
                    any |= event.is_some() || !moves.is_empty();
                    for m in &moves {
                        if let Move::Hold { hand, down } = m {
                            feedback.hold(*hand, *down);
                        }
                    }
                    let Some(surface) = surfaces.get(&number) else { return };
                    if event.is_some() && !(surface.map().banks.is_empty() && surface.map().layers.is_empty())
                    {
                        feedback.put_in_force(surface.in_force());
                    }
                };
            queue.drain(|message| {
                clock.heard(message.at, now);
                let echo = echoes.is_echo(number, message.bytes(), now);
                let Some(event) = read(number, message.bytes()) else { return };
                let echo = echo && (echoes.repeats(number) || !feedback.is_turn(&event));
                held_back.retain(|(other, ..)| other.control != event.control);
                if echo || feedback.hear(&event, now) == Doing::Answer {
                    held_back.push((event, echo, now));
                    return;
                }
                (*last, *on_view) = (number, *map);
                if let Some((_, heard)) = learning {
                    heard.entry(number).or_default().hear(message.at, message.bytes());
                    listened = true;
                    return;
                }
                carry_out(message.at, Some(&event), context, feedback);
            });
            if let Some(at) = clock.at(now) {
                carry_out(at, None, context, feedback);
                // A hand that moves as the panel is told something sends what looks like an echo. Where it came
                // to rest counts.
                let due = held_back.iter().position(|(.., since)| now >= *since + HELD_BACK);
                if let Some((event, echo, _)) = due.map(|due| held_back.swap_remove(due))
                    && feedback.differs(&event, echo, &Stands { context, down: &[], map: feedback.map() })
                {
                    carry_out(at, Some(&event), context, feedback);
                }
            }
        }
        let at = self.drawn_clock(now);
        for number in self.surfaces.range(DRAWN..).map(|(number, _)| *number).collect::<Vec<_>>() {
            any |= !carry_out(&mut self.surfaces, number, at, None, context).is_empty();
        }
        any | listened
    }

    /// What a hand does on the panel that the mirror draws, as if its messages came from a port of its own. While
    /// something is learned, it is not heard.
    pub fn play(&mut self, act: Act, context: &mut dyn PanelContext, now: Instant) {
        if self.learning.is_some() {
            return;
        }
        let (map, at) = (self.maps[self.on_view].clone(), self.drawn_clock(now));
        let number = DRAWN + self.on_view;
        if self.last != number {
            // The hand acts on what it sees.
            let seen = self.surfaces.get(&self.last).cloned();
            let surface = self.surfaces.entry(number).or_insert_with(|| Surface::new(map.clone()));
            if let Some(seen) = seen {
                surface.follow(&seen);
            }
            self.last = number;
        }
        for message in self.drawn.entry(self.on_view).or_default().messages(&map, act) {
            if let Some(event) = read(number, &message) {
                carry_out(&mut self.surfaces, number, at, Some(&event), context);
            }
        }
    }

    fn drawn_clock(&self, now: Instant) -> u64 {
        now.saturating_duration_since(self.epoch).as_micros() as u64
    }

    /// Another map in the place of one. What is held on its panels is let go.
    pub fn set_map(&mut self, at: usize, map: Arc<Map>, context: &mut dyn PanelContext) {
        let Some(place) = self.maps.get_mut(at) else { return };
        *place = map.clone();
        for (&number, surface) in &mut self.surfaces {
            let port = self.ports.get_mut(&number);
            let of = port.as_ref().map_or(number.wrapping_sub(DRAWN), |port| port.map);
            if of != at {
                continue;
            }
            context.act(number, &surface.release());
            surface.set_map(map.clone());
            if let Some(port) = port {
                port.feedback = Feedback::new(map.clone());
                port.feedback.put_in_force(surface.in_force());
                port.held_back.clear();
                if port.answering {
                    port.feedback.resend();
                }
            }
        }
    }

    /// Has panels told what stands there, as far as it is due.
    pub fn tell(&mut self, context: &dyn PanelContext, now: Instant) {
        self.untold = self.told.is_some_and(|at| now < at + TELL_EVERY);
        if self.untold {
            return;
        }
        self.told = Some(now);
        for (&number, port) in self.ports.iter_mut().filter(|(_, port)| port.answering) {
            let Some(surface) = self.surfaces.get(&number) else { continue };
            let mut down = vec![false; surface.map().buttons.len()];
            surface.buttons().iter().for_each(|b| down[b.index] = b.down);
            let map = port.feedback.map().clone();
            let mut lost = false;
            port.feedback.due(&Stands { context, down: &down, map: &map }, now, &mut |message| match self
                .tell
                .try_send((number, message.into()))
            {
                Ok(()) => self.echoes.sent(message, now),
                Err(_) => lost = true,
            });
            // Whoever sends does not keep up: what stands there is told once it does.
            if lost {
                port.feedback.resend();
            }
        }
    }

    /// When to come again: for halves of messages, for what was held back, for what is to be told.
    pub fn due(&self) -> Option<Instant> {
        let pairs = |(number, port): (&usize, &Port)| port.clock.when(self.surfaces.get(number)?.due()?);
        let held = self.ports.values().flat_map(|p| &p.held_back).map(|(.., since)| *since + HELD_BACK);
        let told = self.ports.values().filter(|p| p.answering).filter_map(|p| p.feedback.next());
        // What changes in between is told at the end of it.
        let soon = self.told.filter(|_| self.untold).map(|at| at + TELL_EVERY);
        let drawn = self.surfaces.range(DRAWN..).filter_map(|(_, surface)| surface.due());
        let drawn = drawn.map(|at| self.epoch + Duration::from_micros(at));
        self.ports.iter().filter_map(pairs).chain(drawn).chain(held).chain(told).chain(soon).min()
    }

    /// Begins to listen for a control that is to be learned, anew; `None` ends it.
    pub fn learn(&mut self, target: Option<Arc<str>>, context: &mut dyn PanelContext) {
        // Nobody hears meanwhile that something was let go.
        for (port, surface) in &mut self.surfaces {
            context.act(*port, &surface.release());
        }
        self.learning = target.map(|target| (target, BTreeMap::new()));
    }

    fn learning(&self) -> Option<Learning> {
        let (target, heard) = self.learning.as_ref()?;
        let port = self.ports.get(&self.last).filter(|_| heard.contains_key(&self.last));
        let guess = port.and_then(|_| heard[&self.last].guess());
        let conflict = guess.and_then(|guess| conflict(&self.maps[port?.map], &guess));
        let map = port.map_or(self.on_view, |p| p.map);
        Some(Learning { target: target.clone(), port: port.map(|p| p.name.clone()), map, guess, conflict })
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
            None => untouched.insert(Surface::new(self.maps[self.on_view].clone())),
        };
        let (mut controls, buttons, standing) = (surface.describe(), surface.buttons(), surface.standing());
        let drawn = !self.ports.contains_key(&self.last);
        if drawn {
            let none = Mimic::default();
            let mimic = self.drawn.get(&self.on_view).unwrap_or(&none);
            controls.iter_mut().for_each(|c| c.stands = mimic.stands(surface.map(), c.index));
        }
        // Maps whose panel was never there; one that was is named itself.
        let never = self.maps.iter().enumerate().filter(|(map, m)| {
            self.maps.len() > 1
                && !self.ports.values().any(|p| p.map == *map)
                && !self.absent.values().any(|name| m.is_for(name))
        });
        let never = never.map(|(_, m)| m.name.clone());
        PanelState {
            map: surface.map().name.clone(),
            maps: self.maps.clone(),
            drawn,
            banks: surface.banks(),
            ports: self.ports.values().map(|p| p.name.clone()).collect(),
            absent: self.absent.values().cloned().chain(never).collect(),
            controls,
            buttons,
            standing,
            note: self.note.clone(),
            osc: None,
            overruns: self.ports.values().map(|p| p.queue.overruns()).sum(),
            learning: self.learning(),
        }
    }
}

/// Carries out what a message of a port asks for, or without one what is due.
fn carry_out(
    surfaces: &mut BTreeMap<usize, Surface>,
    number: usize,
    at: u64,
    event: Option<&Event>,
    context: &mut dyn PanelContext,
) -> Vec<Move> {
    let Some(surface) = surfaces.get_mut(&number) else { return Vec::new() };
    let position = |target: &str| context.position(target);
    let moves = match event {
        Some(event) => surface.feed(at, event, &position),
        None => surface.settle(at, &position),
    };
    // Carried out before the next is read: takeover looks at where parameters stand.
    if context.act(number, &moves) {
        surfaces.values_mut().for_each(Surface::reset);
    } else if !moves.is_empty() {
        surface.arrived(&|target| context.position(target));
    }
    moves
}

/// What a panel is told of.
struct Stands<'a> {
    context: &'a dyn PanelContext,
    /// Which buttons are down.
    down: &'a [bool],
    map: &'a Map,
}

impl Readout for Stands<'_> {
    fn position(&self, address: &str) -> Option<f64> {
        self.context.position(address)
    }

    fn value(&self, address: &str) -> Option<String> {
        self.context.value(address)
    }

    fn lit(&self, button: usize) -> bool {
        let lit = self.map.buttons.get(button).and_then(|b| self.context.lit(&b.action));
        lit.unwrap_or_else(|| self.down.get(button).copied().unwrap_or(false))
    }
}

/// What panels need of the engine.
pub(super) trait PanelContext {
    /// Where a parameter stands in its range, 0…1.
    fn position(&self, target: &str) -> Option<f64>;
    /// Its value as a person reads it.
    fn value(&self, target: &str) -> Option<String>;
    /// Is what an action switches on? `None` for what is done once and over.
    fn lit(&self, action: &str) -> Option<bool>;
    /// Carries the moves of one message out, those of one control as one change. True if addresses lead elsewhere
    /// now: another shot, look or stage in focus.
    fn act(&mut self, port: usize, moves: &[Move]) -> bool;
}
