//! What one surface is told, and when.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use super::Sent;

/// A surface is told an address this often at most.
pub const SEND_EVERY: Duration = Duration::from_nanos(1_000_000_000 / 30);
/// So long after a surface sent to an address it is not told it: its fader is still in a hand.
pub const QUIET_AFTER_TOUCH: Duration = Duration::from_millis(200);
/// A surface is told everything this often at most.
pub const STATE_EVERY: Duration = Duration::from_millis(250);

/// A value as far as it matters to a surface: what has the same key looks the same there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Key {
    /// Counted in steps that are too small to see.
    Step(i64),
    /// Text.
    Text(Arc<str>),
}

/// What a surface can be told.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The address, with the slash before it.
    pub address: Arc<str>,
    /// The value to send.
    pub sent: Sent,
    /// The value as far as it matters.
    pub key: Key,
}

#[derive(Clone, Debug, Default)]
struct Entry {
    /// What the surface shows, as far as is known.
    known: Option<Key>,
    /// When it was told last.
    told: Option<Instant>,
    /// When it sent to this address last.
    touched: Option<Instant>,
}

/// What one surface has been told.
#[derive(Clone, Debug, Default)]
pub struct Feedback {
    entries: HashMap<Arc<str>, Entry>,
    /// Everything is to be told; what it has just sent too?
    all: Option<bool>,
    all_told: Option<Instant>,
}

impl Feedback {
    /// A surface that asked for nothing: it is told what differs from this.
    pub fn knowing(shown: &[Shown]) -> Self {
        let entry = |s: &Shown| (s.address.clone(), Entry { known: Some(s.key.clone()), ..Entry::default() });
        Self { entries: shown.iter().map(entry).collect(), ..Self::default() }
    }

    /// The surface greets: it is told everything.
    pub fn greeted(&mut self) {
        self.all = Some(true);
    }

    /// Everything is something else now, such as another shot's: it is told everything, but not yet what is in its hand.
    pub fn anew(&mut self) {
        self.all = Some(self.all.unwrap_or(false));
    }

    /// The surface asks for a value.
    pub fn asked(&mut self, address: &str) {
        if let Some(entry) = self.entries.get_mut(address) {
            (entry.known, entry.touched) = (None, None);
        }
    }

    /// The surface sent a value to an address, and shows it.
    pub fn touched(&mut self, address: &str, key: Option<Key>, now: Instant) {
        // Addresses that nobody is told about are not remembered.
        if let Some(entry) = self.entries.get_mut(address) {
            (entry.known, entry.touched) = (key, Some(now));
        }
    }

    /// What the surface is told now, and when to ask again if nothing happens. Carry it out: it counts as told.
    pub fn update(&mut self, shown: &[Shown], now: Instant) -> (Vec<(Arc<str>, Sent)>, Option<Instant>) {
        let (mut tell, mut due) = (Vec::new(), None::<Instant>);
        let mut later = |at: Instant| due = Some(due.map_or(at, |d| d.min(at)));
        if self.entries.len() > shown.len() {
            let there: std::collections::HashSet<&str> = shown.iter().map(|s| &*s.address).collect();
            self.entries.retain(|address, _| there.contains(&**address));
        }
        if let Some(greeted) = self.all {
            match self.all_told.map(|at| at + STATE_EVERY).filter(|at| *at > now) {
                Some(at) => later(at),
                None => {
                    for entry in self.entries.values_mut() {
                        entry.known = None;
                        entry.touched = entry.touched.filter(|_| !greeted);
                    }
                    (self.all, self.all_told) = (None, Some(now));
                }
            }
        }
        for s in shown {
            let entry = self.entries.entry(s.address.clone()).or_default();
            if entry.known.as_ref() == Some(&s.key) {
                continue;
            }
            let quiet = entry.touched.map(|at| at + QUIET_AFTER_TOUCH);
            let next = entry.told.map(|at| at + SEND_EVERY);
            match quiet.max(next).filter(|at| *at > now) {
                Some(at) => later(at),
                None => {
                    (entry.known, entry.told) = (Some(s.key.clone()), Some(now));
                    tell.push((s.address.clone(), s.sent.clone()));
                }
            }
        }
        (tell, due)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(values: &[f32]) -> Vec<Shown> {
        let one = |(i, v): (usize, &f32)| Shown {
            address: format!("/{i}").into(),
            sent: Sent::Float(*v),
            key: Key::Step((v * 100.0).round() as i64),
        };
        values.iter().enumerate().map(one).collect()
    }

    #[test]
    fn changes_are_told_no_more_often_than_agreed_and_the_last_is() {
        let (mut f, start) = (Feedback::default(), Instant::now());
        assert_eq!(f.update(&shown(&[0.0, 1.0]), start).0.len(), 2, "what nobody was told yet is told");
        let (mut told, mut last) = (0, None);
        for ms in 1..=1100u64 {
            let now = start + Duration::from_millis(ms);
            let (tell, _) = f.update(&shown(&[ms.min(990) as f32, 1.0]), now);
            told += if ms <= 1000 { tell.len() } else { 0 };
            last = tell.into_iter().next_back().or(last);
        }
        assert!((29..=30).contains(&told), "{told} a second");
        assert_eq!(last.unwrap().1, Sent::Float(990.0));
        // Less than a step is no change.
        assert_eq!(f.update(&shown(&[990.001, 1.0]), start + Duration::from_secs(2)), (vec![], None));
    }

    #[test]
    fn no_echo() {
        let (mut f, start) = (Feedback::knowing(&shown(&[0.0, 0.0])), Instant::now());
        let at = |ms| start + Duration::from_millis(ms);
        f.touched("/0", Some(Key::Step(50)), at(0));
        assert_eq!(f.update(&shown(&[0.5, 0.0]), at(1)), (vec![], None), "its own value");
        // It sent what is out of range: it is told what came of it, but not while its hand is there.
        f.touched("/0", Some(Key::Step(900)), at(10));
        let (tell, due) = f.update(&shown(&[1.0, 0.2]), at(11));
        assert_eq!(tell, [("/1".into(), Sent::Float(0.2))], "others are told at once");
        assert_eq!(due, Some(at(210)));
        assert!(f.update(&shown(&[1.0, 0.2]), at(209)).0.is_empty());
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(210)).0, [("/0".into(), Sent::Float(1.0))]);
        // Another shot is on view: everything is told, what is in the hand a little later.
        f.touched("/1", Some(Key::Step(20)), at(1000));
        f.anew();
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(1001)).0.len(), 1);
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(1200)).0.len(), 1);
        // A greeting is answered at once, a second one a little later.
        f.touched("/1", Some(Key::Step(20)), at(2000));
        f.greeted();
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(2001)).0.len(), 2);
        f.greeted();
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(2002)), (vec![], Some(at(2001) + STATE_EVERY)));
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(2300)).0.len(), 2);
        f.touched("/1", Some(Key::Step(20)), at(3000));
        f.asked("/1");
        assert_eq!(f.update(&shown(&[1.0, 0.2]), at(3001)).0.len(), 1, "what is asked for is told");
    }

    #[test]
    fn addresses_that_are_gone_are_forgotten() {
        let (mut f, start) = (Feedback::default(), Instant::now());
        f.update(&shown(&[0.0; 100]), start);
        f.update(&shown(&[0.0; 3]), start);
        (0..1000).for_each(|i| f.touched(&format!("/x{i}"), None, start));
        assert_eq!(f.entries.len(), 3);
    }
}
