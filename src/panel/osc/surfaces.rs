//! Who is out there.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use super::{Feedback, Item, Request};

/// Surfaces that are remembered: those heard last.
pub const MOST_SURFACES: usize = 8;
/// A surface that says nothing for so long is forgotten.
pub const FORGOTTEN_AFTER: Duration = Duration::from_secs(300);

/// A surface.
#[derive(Debug)]
pub struct Known {
    /// Its number, never given again.
    pub number: u32,
    /// Where it is told.
    pub to: SocketAddr,
    /// What it has been told.
    pub feedback: Feedback,
    from: SocketAddr,
    /// It said where it listens. Such a program may send each message from another port.
    named: bool,
    heard: Instant,
    down: Vec<String>,
}

impl Known {
    /// One of its buttons went down or up.
    pub fn press(&mut self, action: &str, down: bool) {
        self.down.retain(|name| name != action);
        if down {
            self.down.push(action.to_owned());
        }
    }

    /// What is asked for when it goes: nobody else will let go of what it holds.
    fn release(self) -> Request {
        let items = self.down.into_iter().map(|action| Item::Press(action, false)).collect();
        Request { surface: self.number, items }
    }
}

/// The surfaces that are remembered.
#[derive(Debug, Default)]
pub struct Surfaces {
    list: Vec<Known>,
    last: u32,
}

impl Surfaces {
    /// The surfaces.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = &mut Known> {
        self.list.iter_mut()
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Is there none?
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// The surface that something came from. A new one is told what changes from what `feedback` knows. Also what is
    /// asked for by one that is forgotten for it.
    pub fn heard(
        &mut self,
        from: SocketAddr,
        now: Instant,
        feedback: impl FnOnce() -> Feedback,
    ) -> (&mut Known, Option<Request>) {
        let known = self.list.iter().position(|s| s.from == from);
        let at = known.or_else(|| self.list.iter().position(|s| s.named && s.to.ip() == from.ip()));
        let (at, gone) = match at {
            Some(at) => (at, None),
            None => self.add(from, now, feedback()),
        };
        self.list[at].heard = now;
        (&mut self.list[at], gone)
    }

    /// The surface that greets, and wants to be told at `port` of its machine if it names one.
    pub fn greeted(
        &mut self,
        from: SocketAddr,
        port: Option<u16>,
        now: Instant,
    ) -> (&mut Known, Option<Request>) {
        let to = SocketAddr::new(from.ip(), port.unwrap_or(from.port()));
        let known =
            self.list.iter().position(|s| s.from == from || (s.named && port.is_some() && s.to == to));
        let (at, gone) = match known {
            Some(at) => (at, None),
            None => self.add(from, now, Feedback::default()),
        };
        let surface = &mut self.list[at];
        (surface.from, surface.to, surface.named, surface.heard) = (from, to, port.is_some(), now);
        surface.feedback.greeted();
        (surface, gone)
    }

    fn add(&mut self, from: SocketAddr, now: Instant, feedback: Feedback) -> (usize, Option<Request>) {
        let full = self.list.len() >= MOST_SURFACES;
        let oldest = (0..self.list.len()).min_by_key(|i| self.list[*i].heard).filter(|_| full);
        let gone = oldest.map(|at| self.list.remove(at).release());
        self.last += 1;
        self.list.push(Known {
            number: self.last,
            to: from,
            feedback,
            from,
            named: false,
            heard: now,
            down: Vec::new(),
        });
        (self.list.len() - 1, gone)
    }

    /// A surface takes its leave. What is asked for then.
    pub fn bye(&mut self, from: SocketAddr) -> Option<Request> {
        let known = self.list.iter().position(|s| s.from == from);
        let at = known.or_else(|| self.list.iter().position(|s| s.named && s.to.ip() == from.ip()))?;
        Some(self.list.remove(at).release())
    }

    /// Forgets who has been silent for [`FORGOTTEN_AFTER`]. What is asked for then.
    pub fn forget(&mut self, now: Instant) -> Vec<Request> {
        let silent = |s: &mut Known| now.saturating_duration_since(s.heard) >= FORGOTTEN_AFTER;
        self.list.extract_if(.., silent).map(Known::release).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(port: u16) -> SocketAddr {
        SocketAddr::from(([127, 0, 0, 1], port))
    }

    #[test]
    fn the_latest_eight_are_remembered_for_five_minutes() {
        let (mut all, start) = (Surfaces::default(), Instant::now());
        let later = |s| start + Duration::from_secs(s);
        for i in 0..20u16 {
            all.heard(at(1000 + i), later(i.into()), Feedback::default);
            // The first goes on talking.
            all.heard(at(1000), later(i.into()), Feedback::default);
        }
        assert_eq!(all.len(), MOST_SURFACES);
        let mut ports: Vec<u16> = all.iter_mut().map(|s| s.to.port()).collect();
        ports.sort();
        assert_eq!(ports, [1000, 1013, 1014, 1015, 1016, 1017, 1018, 1019]);
        assert!(all.forget(later(312)).is_empty());
        assert_eq!(all.forget(later(314)).len(), 2);
        all.bye(at(1019));
        assert_eq!(all.len(), 5);
    }

    #[test]
    fn one_that_says_where_it_listens_is_one_whatever_it_sends_from() {
        let (mut all, now) = (Surfaces::default(), Instant::now());
        let number = all.greeted(at(5001), Some(9001), now).0.number;
        let surface = all.heard(at(5002), now, Feedback::default).0;
        assert_eq!((surface.number, surface.to), (number, at(9001)));
        assert_eq!(all.greeted(at(5003), Some(9001), now).0.number, number);
        // Another program on that machine greets for itself.
        assert_ne!(all.greeted(at(7000), None, now).0.number, number);
        assert_eq!(all.heard(at(7000), now, Feedback::default).0.to, at(7000));
        assert_eq!(all.len(), 2);
    }

    #[test]
    fn what_is_held_is_let_go() {
        let (mut all, now) = (Surfaces::default(), Instant::now());
        all.heard(at(1), now, Feedback::default).0.press("before", true);
        let surface = all.heard(at(1), now, Feedback::default).0;
        surface.press("play", true);
        surface.press("play", false);
        let items = all.bye(at(1)).unwrap().items;
        assert_eq!(items, [Item::Press("before".into(), false)]);
        assert_eq!(all.bye(at(1)), None);
    }
}
