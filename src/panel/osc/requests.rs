//! What waits between the network and whoever carries it out.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::Argument;

/// Items that wait at most. What comes when so many wait pushes out what is oldest, presses of buttons aside.
pub const MOST_WAITING: usize = 4_096;

/// One thing that is asked for. Addresses are without the slash before them, and no patterns.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A parameter gets a value in its own unit.
    Set(String, Argument),
    /// A parameter is turned by so many of its steps.
    Turn(String, f64),
    /// A parameter gets its default.
    Reset(String),
    /// An action's button goes down, or up.
    Press(String, bool),
    /// A fader of the layout, by its number there, sends a number.
    Fader(usize, f64),
}

/// What one packet of a surface asks for, in order; its parameters change as one.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// The surface's number.
    pub surface: u32,
    /// What it asks for.
    pub items: Vec<Item>,
}

impl Request {
    /// Does it only put parameters where they shall be, wherever they were?
    fn sets(&self) -> bool {
        self.items.iter().all(|i| matches!(i, Item::Set(..)))
    }

    /// Does it set the same parameters as the other, so that the later of the two is all that counts?
    fn replaces(&self, other: &Self) -> bool {
        let same = |(a, b): (&Item, &Item)| match (a, b) {
            (Item::Set(a, _), Item::Set(b, _)) => a == b,
            _ => false,
        };
        self.surface == other.surface
            && self.items.len() == other.items.len()
            && self.items.iter().zip(&other.items).all(same)
    }

    fn presses(&self) -> bool {
        self.items.iter().any(|i| matches!(i, Item::Press(..)))
    }
}

#[derive(Debug, Default)]
struct Waiting {
    requests: VecDeque<Request>,
    items: usize,
    lost: u64,
}

/// The queue. Only the latest of several values of a parameter is kept. Its lock is held for moments only.
#[derive(Debug, Default)]
pub struct Requests(Mutex<Waiting>);

/// How far back a value that is replaced is looked for.
const LOOK_BACK: usize = 64;

impl Requests {
    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Adds a request.
    pub fn push(&self, request: Request) {
        if request.items.is_empty() {
            return;
        }
        let mut waiting = self.lock();
        if request.sets() {
            // Whatever a value was in between is overtaken, unless something was done with it.
            let earlier = waiting
                .requests
                .iter()
                .rev()
                .take(LOOK_BACK)
                .take_while(|r| r.sets())
                .position(|r| request.replaces(r));
            if let Some(back) = earlier {
                let at = waiting.requests.len() - 1 - back;
                waiting.requests.remove(at);
                waiting.items -= request.items.len();
            }
        }
        while waiting.items + request.items.len() > MOST_WAITING {
            waiting.lost += 1;
            match waiting.requests.iter().position(|r| !r.presses()) {
                Some(at) => {
                    let gone = waiting.requests.remove(at).map_or(0, |r| r.items.len());
                    waiting.items -= gone;
                }
                None => return,
            }
        }
        waiting.items += request.items.len();
        waiting.requests.push_back(request);
    }

    /// Everything that waits, oldest first.
    pub fn take(&self) -> VecDeque<Request> {
        let mut waiting = self.lock();
        waiting.items = 0;
        std::mem::take(&mut waiting.requests)
    }

    /// Requests that were dropped so far.
    pub fn lost(&self) -> u64 {
        self.lock().lost
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(surface: u32, address: &str, value: f64) -> Request {
        Request { surface, items: vec![Item::Set(address.into(), Argument::Number(value))] }
    }

    #[test]
    fn the_latest_counts() {
        let queue = Requests::default();
        let press = Request { surface: 1, items: vec![Item::Press("undo".into(), true)] };
        for request in [
            set(1, "a", 1.0),
            set(1, "b", 2.0),
            set(2, "a", 3.0),
            set(1, "a", 4.0),
            press.clone(),
            set(1, "a", 5.0),
        ] {
            queue.push(request);
        }
        // The first value of a is gone; what was undone in between is not.
        let wanted = [set(1, "b", 2.0), set(2, "a", 3.0), set(1, "a", 4.0), press, set(1, "a", 5.0)];
        assert_eq!(queue.take(), wanted);
        assert_eq!(queue.take().len(), 0);
    }

    #[test]
    fn a_flood_is_bounded_and_ends_where_it_should() {
        let queue = Requests::default();
        queue.push(Request { surface: 1, items: vec![Item::Press("before".into(), false)] });
        for i in 0..50_000u32 {
            let items = vec![Item::Turn(format!("p{i}"), 1.0)];
            queue.push(Request { surface: 1, items });
        }
        queue.push(set(1, "a", 7.0));
        assert_eq!(queue.lost(), 50_002 - MOST_WAITING as u64);
        let all = queue.take();
        assert_eq!(all.len(), MOST_WAITING);
        assert!(all[0].presses(), "a button that was let go stays let go");
        assert_eq!(all.back(), Some(&set(1, "a", 7.0)));
    }
}
