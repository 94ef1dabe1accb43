//! Panels that come and go.

use super::{Connection, PanelError, PortInfo, Ports, Queue, Waker, map::matches};
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
    /// None of the ports that there are is wanted. Told once until one comes, or others come or go; looked for
    /// all the while.
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

/// A port that is or was open.
struct Slot {
    info: PortInfo,
    open: Option<Connection>,
}

/// Keeps every port open whose name matches a pattern, as panels come and go. It polls, and opening a port
/// may take a while: give it a thread of its own, and make it on that thread, because not every system's
/// connections may change threads.
pub struct Plugs {
    ports: Box<dyn Ports>,
    pattern: String,
    waker: Arc<dyn Fn() + Send + Sync>,
    next: Option<Instant>,
    slots: Vec<Slot>,
    refused: Vec<(PortInfo, PanelError)>,
    absent: Option<PanelError>,
    unavailable: Option<PanelError>,
}

impl Plugs {
    /// Nothing is opened before the first poll. `pattern` is a part of the port's name, case ignored; empty
    /// is any. `waker` is as a [`Waker`], for all ports.
    pub fn new(ports: Box<dyn Ports>, pattern: &str, waker: Arc<dyn Fn() + Send + Sync>) -> Self {
        Self {
            ports,
            pattern: pattern.to_owned(),
            waker,
            next: None,
            slots: Vec::new(),
            refused: Vec::new(),
            absent: None,
            unavailable: None,
        }
    }

    /// Uses another pattern from the next poll on, which then looks at once.
    pub fn set_pattern(&mut self, pattern: &str) {
        pattern.clone_into(&mut self.pattern);
        self.next = None;
    }

    /// Looks at the ports if it is time to, closes those that went, opens those that match, and says what
    /// changed, in that order; at last, whether none is wanted.
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
        let (mut wanted, others): (Vec<PortInfo>, Vec<PortInfo>) =
            list.into_iter().partition(|p| matches(&self.pattern, &p.name));
        let none = wanted.is_empty() && self.unavailable.is_none();
        self.refused.retain(|(info, _)| wanted.contains(info));
        for (port, slot) in self.slots.iter_mut().enumerate() {
            if slot.open.is_none() {
                continue;
            }
            // Each listed port accounts for one open slot, should a system list twins with one handle.
            match wanted.iter().position(|p| *p == slot.info) {
                Some(there) => drop(wanted.remove(there)),
                None => {
                    slot.open = None;
                    news.push(Plug::Closed { port, name: slot.info.name.clone() });
                }
            }
        }
        for info in wanted {
            self.open(info, &mut news);
        }
        let absent = none.then(|| PanelError::Absent {
            pattern: self.pattern.clone(),
            ports: others.into_iter().map(|p| p.name).collect(),
        });
        if self.absent != absent {
            self.absent = absent;
            news.extend(self.absent.clone().map(|why| Plug::Absent { why }));
        }
        news
    }

    fn open(&mut self, info: PortInfo, news: &mut Vec<Plug>) {
        let waker = self.waker.clone();
        let waker: Waker = Box::new(move || waker());
        match self.ports.open(&info, waker) {
            Ok(input) => {
                self.refused.retain(|(other, _)| *other != info);
                let (connection, queue) = input.split();
                let name = info.name.clone();
                let port = self.slot(info);
                self.slots[port].open = Some(connection);
                news.push(Plug::Opened { port, name, queue });
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
    fn slot(&mut self, info: PortInfo) -> usize {
        let closed = |s: &&(usize, &Slot)| s.1.open.is_none() && s.1.info.name == info.name;
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
                self.slots.push(Slot { info, open: None });
                self.slots.len() - 1
            }
        }
    }
}
