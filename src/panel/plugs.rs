//! Panels that come and go.

use super::{Connection, Output, PanelError, PortInfo, Ports, Queue, Waker, map::matches};
use std::{
    sync::Arc,
    time::{Duration, Instant},
};

/// How often the port list is asked for: no system tells us of changes through midir.
pub const EVERY: Duration = Duration::from_secs(1);

/// How often it is asked for while there is no MIDI at all. Longer, because drivers write to standard
/// error each time.
pub const EVERY_WITHOUT_MIDI: Duration = Duration::from_secs(30);

/// What happened to the ports.
#[derive(Debug)]
pub enum Plug {
    /// A port was opened; its messages come through `queue`.
    Opened {
        /// Its number. A panel that comes back has the number it had.
        port: usize,
        /// Its name.
        name: String,
        /// Its messages.
        queue: Queue,
        /// Whose it is, as the wishes are numbered.
        wish: usize,
    },
    /// The device of a port can be told things from now on: it knows nothing of what it was told before.
    Answering {
        /// The port's number.
        port: usize,
    },
    /// A port is gone and was closed.
    Closed {
        /// Its number.
        port: usize,
        /// Its name.
        name: String,
    },
    /// A port that is there could not be opened. Told once until it goes or the reason changes; tried
    /// again each time.
    Refused {
        /// Its name.
        name: String,
        /// Why.
        why: PanelError,
    },
    /// None of the ports that there are is one that somebody wishes for. Told once until one comes, or others come
    /// or go; looked for all the while.
    Absent {
        /// What was looked for and what there is.
        why: PanelError,
    },
    /// There is no MIDI at all. Told once until there is, or the reason changes.
    Unavailable {
        /// Why.
        why: PanelError,
    },
}

/// Which ports somebody wishes for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    /// Part of the names of the ports that messages come from, case ignored; empty is any.
    pub input: String,
    /// Part of the names of the ports that answers go to; `None` finds the one beside each port.
    pub output: Option<String>,
}

/// A port that is or was open.
struct Slot {
    info: PortInfo,
    wish: usize,
    open: Option<Connection>,
    output: Option<(PortInfo, Box<dyn Output>)>,
    /// Which of the listed ports with its name it was when it was opened, from 0.
    ordinal: usize,
}

/// Keeps every port open whose name matches a pattern, as panels come and go. It polls, and opening a port
/// may take a while: give it a thread of its own, and make it on that thread, because not every system's
/// connections may change threads.
///
/// A port that several wishes match is given to the one that says most of its name, so that a wish for any port
/// gets those that nobody else asks for.
pub struct Plugs {
    ports: Box<dyn Ports>,
    wishes: Vec<Wish>,
    waker: Arc<dyn Fn() + Send + Sync>,
    next: Option<Instant>,
    slots: Vec<Slot>,
    refused: Vec<(PortInfo, PanelError)>,
    /// For each wish.
    absent: Vec<Option<PanelError>>,
    unavailable: Option<PanelError>,
}

impl Plugs {
    /// Nothing is opened before the first poll. `pattern` is a part of the port's name, case ignored; empty
    /// is any. `waker` is as a [`Waker`], for all ports.
    pub fn new(ports: Box<dyn Ports>, pattern: &str, waker: Arc<dyn Fn() + Send + Sync>) -> Self {
        Self::several(ports, vec![Wish { input: pattern.to_owned(), output: None }], waker)
    }

    /// The same for several at once.
    pub fn several(ports: Box<dyn Ports>, wishes: Vec<Wish>, waker: Arc<dyn Fn() + Send + Sync>) -> Self {
        let absent = vec![None; wishes.len()];
        Self {
            ports,
            wishes,
            waker,
            next: None,
            slots: Vec::new(),
            refused: Vec::new(),
            absent,
            unavailable: None,
        }
    }

    /// Uses another pattern from the next poll on, which then looks at once.
    pub fn set_pattern(&mut self, pattern: &str) {
        self.wishes = vec![Wish { input: pattern.to_owned(), output: None }];
        self.absent = vec![None];
        self.next = None;
    }

    /// Whose a port of this name is.
    fn wish_for(&self, name: &str) -> Option<usize> {
        let matching = self.wishes.iter().enumerate().filter(|(_, w)| matches(&w.input, name));
        // The first of the longest.
        matching.rev().max_by_key(|(_, w)| w.input.chars().count()).map(|(i, _)| i)
    }

    /// Looks at the ports if it is time to, closes those that went, opens those that match, and says what
    /// changed, in that order; at last, which wish has none.
    pub fn poll(&mut self, now: Instant) -> Vec<Plug> {
        let mut news = Vec::new();
        if self.next.is_some_and(|next| now < next) {
            return news;
        }
        let list = match self.ports.list() {
            Ok(list) => {
                self.unavailable = None;
                self.next = Some(now + EVERY);
                list
            }
            Err(why) => {
                self.next = Some(now + EVERY_WITHOUT_MIDI);
                if self.unavailable.as_ref() != Some(&why) {
                    self.unavailable = Some(why.clone());
                    news.push(Plug::Unavailable { why });
                }
                Vec::new()
            }
        };
        let mut wanted = Vec::new();
        let mut without: Vec<bool> = vec![self.unavailable.is_none(); self.wishes.len()];
        for (at, info) in list.iter().enumerate() {
            if let Some(wish) = self.wish_for(&info.name) {
                without[wish] = false;
                let ordinal = list[..at].iter().filter(|other| other.name == info.name).count();
                wanted.push((info.clone(), wish, ordinal));
            }
        }
        self.refused.retain(|(info, _)| wanted.iter().any(|(other, ..)| other == info));
        for (port, slot) in self.slots.iter_mut().enumerate() {
            if slot.open.is_none() {
                continue;
            }
            // Each listed port accounts for one open slot, should a system list twins with one handle.
            match wanted.iter().position(|(info, wish, _)| *info == slot.info && *wish == slot.wish) {
                Some(there) => slot.ordinal = wanted.remove(there).2,
                None => {
                    (slot.open, slot.output) = (None, None);
                    news.push(Plug::Closed { port, name: slot.info.name.clone() });
                }
            }
        }
        for (info, wish, ordinal) in wanted {
            self.open(info, wish, ordinal, &mut news);
        }
        self.pair(&mut news);
        for (wish, none) in without.into_iter().enumerate() {
            let absent = none.then(|| PanelError::Absent {
                pattern: self.wishes[wish].input.clone(),
                ports: list.iter().map(|p| p.name.clone()).collect(),
            });
            if self.absent[wish] != absent {
                self.absent[wish] = absent;
                news.extend(self.absent[wish].clone().map(|why| Plug::Absent { why }));
            }
        }
        news
    }

    /// Sends a message to the device of a port; nothing if it takes none. A device that refuses is tried
    /// anew at the next poll, and [`Answering`](Plug::Answering) again.
    pub fn send(&mut self, port: usize, message: &[u8]) {
        let Some(slot) = self.slots.get_mut(port) else { return };
        if slot.output.as_mut().is_some_and(|(_, output)| output.send(message).is_err()) {
            slot.output = None;
        }
    }

    fn open(&mut self, info: PortInfo, wish: usize, ordinal: usize, news: &mut Vec<Plug>) {
        let waker = self.waker.clone();
        let waker: Waker = Box::new(move || waker());
        match self.ports.open(&info, waker) {
            Ok(input) => {
                self.refused.retain(|(other, _)| *other != info);
                let (connection, queue) = input.split();
                let name = info.name.clone();
                let port = self.slot(info, wish);
                (self.slots[port].open, self.slots[port].ordinal) = (Some(connection), ordinal);
                news.push(Plug::Opened { port, name, queue, wish });
            }
            Err(why) => {
                let told = self.refused.iter().any(|(other, reason)| *other == info && *reason == why);
                if !told {
                    self.refused.retain(|(other, _)| *other != info);
                    self.refused.push((info.clone(), why.clone()));
                    news.push(Plug::Refused { name: info.name, why });
                }
            }
        }
    }

    /// The slot for a port that was just opened: that of the same handle and name, else the first of that
    /// name that is closed, else a new one.
    fn slot(&mut self, info: PortInfo, wish: usize) -> usize {
        let closed =
            |s: &&(usize, &Slot)| s.1.open.is_none() && s.1.info.name == info.name && s.1.wish == wish;
        let slots: Vec<_> = self.slots.iter().enumerate().collect();
        let found = slots
            .iter()
            .filter(closed)
            .find(|s| s.1.info.id == info.id)
            .or_else(|| slots.iter().find(closed));
        match found.map(|s| s.0) {
            Some(port) => {
                self.slots[port].info = info;
                port
            }
            None => {
                self.slots.push(Slot { info, wish, open: None, output: None, ordinal: 0 });
                self.slots.len() - 1
            }
        }
    }

    /// Finds for every open port where its device listens, closes what went and opens what came.
    fn pair(&mut self, news: &mut Vec<Plug>) {
        if self.slots.iter().all(|s| s.open.is_none()) {
            return;
        }
        // A device that takes nothing is no trouble: it is used without answers.
        let mut outputs = self.ports.outputs().unwrap_or_default();
        for slot in &mut self.slots {
            let Some((info, _)) = &slot.output else { continue };
            match outputs.iter().position(|other| other == info) {
                Some(taken) => drop(outputs.remove(taken)),
                None => slot.output = None,
            }
        }
        for port in 0..self.slots.len() {
            let slot = &self.slots[port];
            if slot.open.is_none() || slot.output.is_some() {
                continue;
            }
            // Twins that are paired already are out of the list, so that their ordinals count among the rest.
            let before = self
                .slots
                .iter()
                .filter(|s| s.output.is_some() && s.info.name == slot.info.name && s.ordinal < slot.ordinal);
            let ordinal = slot.ordinal.saturating_sub(before.count());
            let found = match &self.wishes[slot.wish].output {
                Some(pattern) => nth(&outputs, ordinal, |o| matches(pattern, &o.name)),
                None => beside(&slot.info, ordinal, &outputs),
            };
            let Some(found) = found else { continue };
            if let Ok(output) = self.ports.open_output(&outputs[found]) {
                self.slots[port].output = Some((outputs.remove(found), output));
                news.push(Plug::Answering { port });
            }
        }
    }
}

fn nth(list: &[PortInfo], ordinal: usize, wanted: impl Fn(&PortInfo) -> bool) -> Option<usize> {
    let mut all = list.iter().enumerate().filter(|(_, o)| wanted(o)).map(|(i, _)| i);
    all.nth(ordinal)
}

/// Where the device listens whose messages come from `input`, which is the `ordinal`th of its name: a port with
/// the same handle and name, else the one of its name that is as far down the list, else the same by the words of
/// their names, but for those that say the direction.
fn beside(input: &PortInfo, ordinal: usize, outputs: &[PortInfo]) -> Option<usize> {
    let words = device(&input.name);
    nth(outputs, 0, |o| o == input)
        .or_else(|| nth(outputs, ordinal, |o| o.name == input.name))
        .or_else(|| nth(outputs, ordinal, |o| !words.is_empty() && device(&o.name) == words))
}

/// The words of a port's name that say which device and which of its ports it is.
fn device(name: &str) -> Vec<String> {
    const DIRECTIONS: &[&str] =
        &["in", "out", "input", "output", "capture", "playback", "midiin", "midiout", "from", "to"];
    let lower = name.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
    words
        .filter_map(|word| {
            let letters = word.trim_end_matches(|c: char| c.is_ascii_digit());
            let number = &word[letters.len()..];
            match DIRECTIONS.contains(&letters) {
                true if number.is_empty() => None,
                true => Some(number.to_owned()),
                false => Some(word.to_owned()),
            }
        })
        .collect()
}
