//! Playback: which frame is due, which was shown, which was dropped.

use std::collections::VecDeque;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use super::clock::Clock;
use super::core::{Engine, length};
use super::draw::UNDER_WAY;
use super::input::Scope;
use super::snapshot::Playback;

/// Frames decoded ahead of the one on view.
const AHEAD: u64 = 16;
/// Frames that are decoded before the clock starts, or as long as it waits for them.
const PREROLL: (u64, Duration) = (4, Duration::from_millis(700));

/// Playing, from a place on.
pub(super) struct Playing {
    clock: Option<Clock>,
    since: Instant,
    /// Where the clock's frame 0 is.
    origin: (usize, u64),
    /// The last frame drawn, counted by the clock.
    last: u64,
    /// The frame that is gone to and not drawn yet.
    due: Option<u64>,
    /// When the last frames were drawn.
    drawn_at: VecDeque<Instant>,
}

impl Engine {
    /// Begins to play here; counting begins anew.
    pub(super) fn play(&mut self, now: Instant) {
        self.playback =
            Playback { cost: self.playback.cost, delay: self.playback.delay, ..Playback::default() };
        self.shared.presented.store(0, Ordering::Relaxed);
        self.shared.overtaken.store(0, Ordering::Relaxed);
        self.playing = Some(self.playing_from_here(now));
    }

    pub(super) fn stop(&mut self) {
        self.playing = None;
        self.playback.rate = 0.0;
    }

    /// Playback, if there is any, goes on from here.
    pub(super) fn restart(&mut self, now: Instant) {
        if self.playing.is_some() {
            self.playing = Some(self.playing_from_here(now));
        }
    }

    fn playing_from_here(&self, now: Instant) -> Playing {
        Playing {
            clock: None,
            since: now,
            origin: (self.document.shot, self.frame),
            last: 0,
            due: None,
            drawn_at: VecDeque::new(),
        }
    }

    /// While playing: goes to the frame that is due. Returns when the next one is.
    pub(super) fn move_on(&mut self, now: Instant) -> Instant {
        let idle = now + Duration::from_millis(250);
        if self.playing.is_none() || self.shot_frames() == 0 {
            return idle;
        }
        let here = (self.document.shot, self.frame);
        let ahead = (0..=PREROLL.0).all(|by| self.is_there(self.after(here, by)));
        let rate = self.document.show.rate;
        let Some(playing) = &mut self.playing else { return idle };
        let clock = match playing.clock {
            Some(clock) => clock,
            None if ahead || now - playing.since > PREROLL.1 => {
                *playing.clock.insert(Clock::start(now, 0, rate))
            }
            None => return now + Duration::from_millis(20),
        };
        let (origin, due, waiting) = (playing.origin, clock.frame(now), playing.due);
        if due > playing.last && waiting != Some(due) {
            let next = self.after(origin, due);
            // Only a frame that is there is gone to; until then the last one stays on view.
            if self.is_there(next) && self.finisher.under_way() < UNDER_WAY {
                if next.0 != self.document.shot {
                    self.document.shot = next.0;
                    self.reset_panels();
                }
                self.frame = next.1;
                self.stale = true;
                if let Some(playing) = &mut self.playing {
                    playing.due = Some(due);
                }
            }
        }
        clock.due(due + 1)
    }

    fn is_there(&self, place: (usize, u64)) -> bool {
        self.frame_key(place).is_none_or(|(key, n)| self.feeds.get(&key, n).is_some())
    }

    /// The frame on view was drawn: if the clock had moved to it, it counts, and so do those between.
    pub(super) fn shown_frame(&mut self, now: Instant) {
        let Some(playing) = &mut self.playing else { return };
        let Some(due) = playing.due.take() else { return };
        self.playback.shown += 1;
        self.playback.dropped += due - playing.last - 1;
        playing.last = due;
        playing.drawn_at.push_back(now);
        while playing.drawn_at.front().is_some_and(|t| now - *t > Duration::from_secs(1)) {
            playing.drawn_at.pop_front();
        }
        self.playback.rate = rate(&playing.drawn_at);
    }

    pub(super) fn ask_ahead(&mut self) {
        let ahead = if self.playing.is_some() { AHEAD } else { 4 };
        let here = (self.document.shot, self.frame);
        let wanted: Vec<_> = (0..=ahead).filter_map(|by| self.frame_key(self.after(here, by))).collect();
        self.feeds.want(&wanted);
        if let Some((key, _)) = self.source(0).filter(|_| self.document.show.raster.is_none()) {
            self.feeds.look_at(&key);
        }
    }

    /// Shot and frame `by` frames after a place, going round in the scope.
    fn after(&self, (shot, frame): (usize, u64), by: u64) -> (usize, u64) {
        let shots = &self.document.show.shots;
        match self.scope {
            Scope::Shot => (shot, (frame + by) % shots.get(shot).map_or(1, length).max(1)),
            Scope::Show => {
                let total = shots.iter().map(length).sum::<u64>().max(1);
                let before: u64 = shots.iter().take(shot).map(length).sum();
                let mut left = (before + frame + by) % total;
                for (i, s) in shots.iter().enumerate() {
                    if left < length(s) {
                        return (i, left);
                    }
                    left -= length(s);
                }
                (shot, frame)
            }
        }
    }
}

/// Events a second, from the first of them to the last.
fn rate(at: &VecDeque<Instant>) -> f64 {
    match (at.front(), at.back()) {
        (Some(first), Some(last)) if last > first => (at.len() - 1) as f64 / (*last - *first).as_secs_f64(),
        _ => 0.0,
    }
}
