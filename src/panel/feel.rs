//! How a control feels: fine mode, acceleration, smoothing, double presses. Times are those of messages, in
//! microseconds; nothing here looks at a clock.

use std::collections::VecDeque;

/// What a control moves in fine mode, in parts of what it moves else.
pub const FINE: f64 = 0.1;

/// Two presses within this time are a double press.
pub const DOUBLE_PRESS: u64 = 400_000;

/// Detents a second up to which acceleration leaves a control alone.
pub const SLOW: f64 = 20.0;

/// The time that acceleration counts detents over.
pub const PACE_WINDOW: u64 = 100_000;

/// From one step of a smoothed move to the next: 125 a second, more than pictures are drawn.
pub const GLIDE_STEP: u64 = 8_000;

/// Messages that are remembered to count detents; a MIDI 1.0 cable carries about a hundred in the time.
const MOST_HEARD: usize = 128;

/// How fast a relative control is turned.
#[derive(Clone, Debug, Default)]
pub struct Pace {
    heard: VecDeque<(u64, f64)>,
    up: bool,
}

impl Pace {
    /// By how much to multiply a turn of `detents` that came `at`.
    ///
    /// With r the detents a second over the last [`PACE_WINDOW`], this turn's among them, it is r ÷ [`SLOW`], but at
    /// least 1 and at most `most`: below [`SLOW`] a detent is a detent, above it the parameter's speed grows with the square
    /// of the hand's. Counted over a time and not from one message to the next, because drivers give several
    /// messages the same time. Turning back begins anew.
    pub fn gain(&mut self, at: u64, detents: f64, most: f64) -> f64 {
        let up = detents > 0.0;
        if up != self.up {
            self.heard.clear();
            self.up = up;
        }
        if self.heard.len() == MOST_HEARD {
            self.heard.pop_front();
        }
        self.heard.push_back((at, detents.abs()));
        self.heard.retain(|(then, _)| at.saturating_sub(*then) < PACE_WINDOW);
        let count: f64 = self.heard.iter().map(|(_, detents)| detents).sum();
        // Detents a second, over SLOW.
        (count * 1e6 / (PACE_WINDOW as f64 * SLOW)).clamp(1.0, most)
    }
}

/// A parameter on its way to where an absolute control stands: evenly, in a given time, and at its end exactly there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Glide {
    from: f64,
    goal: f64,
    began: u64,
    lasts: u64,
    next: u64,
}

impl Glide {
    /// From `from` to `goal` in `lasts`, beginning at `at`.
    pub fn new(from: f64, goal: f64, at: u64, lasts: u64) -> Self {
        Self { from, goal, began: at, lasts, next: at.saturating_add(lasts.min(GLIDE_STEP)) }
    }

    /// Another goal from `at` on, from where it is by then. Its next step stays due, so that a stream of messages
    /// holds nothing up.
    pub fn turn_to(&mut self, goal: f64, at: u64) {
        (self.from, self.goal, self.began) = (self.place(at), goal, at);
    }

    /// Where it leads.
    pub const fn goal(&self) -> f64 {
        self.goal
    }

    /// When its next step is due.
    pub const fn due(&self) -> u64 {
        self.next
    }

    /// Where it is at `now`, if its next step is due, and whether that is its end.
    pub fn step(&mut self, now: u64) -> Option<(f64, bool)> {
        if now < self.next {
            return None;
        }
        let end = self.began.saturating_add(self.lasts);
        self.next = now.saturating_add(GLIDE_STEP).min(end);
        Some((self.place(now), now >= end))
    }

    fn place(&self, now: u64) -> f64 {
        let gone = now.saturating_sub(self.began);
        if gone >= self.lasts {
            return self.goal;
        }
        self.from + (self.goal - self.from) * (gone as f64 / self.lasts as f64)
    }
}
