//! Playback: which frame is due, which was shown, which was dropped.

use std::collections::VecDeque;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use super::clock::{Clock, passed};
use super::core::{Engine, length};
use super::input::{FASTEST, Scope};
use super::snapshot::Playback;

/// Frames decoded ahead of the one on view.
const AHEAD: u64 = 16;
/// Frames that are decoded before the clock starts, or as long as it waits for them.
const PREROLL: (u64, Duration) = (4, Duration::from_millis(700));

/// Parts of the show's rate that speeds are whole numbers of.
const PARTS: f64 = 8.0;

/// Playing, from a place on.
pub(super) struct Playing {
    clock: Option<Clock>,
    since: Instant,
    /// How many times as fast as the show's rate, backwards where negative; never 0.
    speed: f64,
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
    pub(super) fn play(&mut self, speed: f64, now: Instant) {
        self.playback =
            Playback { cost: self.playback.cost, delay: self.playback.delay, ..Playback::default() };
        self.shared.presented.store(0, Ordering::Relaxed);
        self.shared.overtaken.store(0, Ordering::Relaxed);
        self.playing = Some(self.playing_from_here(speed, now));
    }

    /// Plays at a speed from here on, or stops at 0. What is no number changes nothing.
    pub(super) fn shuttle(&mut self, speed: f64, now: Instant) {
        // In eighths, which the clock counts exactly.
        let speed = (speed.clamp(-FASTEST, FASTEST) * PARTS).round() / PARTS;
        if speed.is_nan() || speed == self.speed() {
            return;
        }
        match &self.playing {
            _ if speed == 0.0 => self.stop(),
            None => self.play(speed, now),
            Some(_) => self.playing = Some(self.playing_from_here(speed, now)),
        }
    }

    /// How many times as fast as the show's rate it plays; 0 while it does not.
    pub(super) fn speed(&self) -> f64 {
        self.playing.as_ref().map_or(0.0, |playing| playing.speed)
    }

    pub(super) fn stop(&mut self) {
        self.playing = None;
        self.whole_again();
        self.playback.rate = 0.0;
    }

    /// Playback, if there is any, goes on from here.
    pub(super) fn restart(&mut self, now: Instant) {
        if let Some(playing) = &self.playing {
            self.playing = Some(self.playing_from_here(playing.speed, now));
        }
    }

    fn playing_from_here(&self, speed: f64, now: Instant) -> Playing {
        Playing {
            clock: None,
            since: now,
            speed,
            origin: (self.document.shot, self.frame),
            last: 0,
            due: None,
            drawn_at: VecDeque::new(),
        }
    }

    /// While playing: goes to the frame that is due. Returns when the next one is.
    pub(super) fn move_on(&mut self, now: Instant) -> Instant {
        let idle = now + Duration::from_millis(250);
        if std::mem::take(&mut self.document.reordered) {
            self.restart(now);
        }
        if self.playing.is_none() || self.shot_frames() == 0 {
            return idle;
        }
        let here = (self.document.shot, self.frame);
        let stride = self.stride();
        let ahead = (0..=PREROLL.0 as i64).all(|by| self.is_there(self.after(here, by * stride)));
        let (num, den) = self.document.show.rate;
        let times = (self.speed().abs() * PARTS) as u64;
        self.keep_up();
        let Some(playing) = &mut self.playing else { return idle };
        let clock = match playing.clock {
            Some(clock) => clock,
            None if ahead || now - playing.since > PREROLL.1 => *playing.clock.insert(Clock::start(
                now,
                0,
                (u64::from(num) * times, u64::from(den) * PARTS as u64),
            )),
            None => return now + Duration::from_millis(20),
        };
        let (origin, due, waiting) = (playing.origin, clock.frame(now), playing.due);
        // At several times the rate, every so manieth frame is shown.
        let due = due - due % stride.unsigned_abs();
        if playing.speed != 1.0 && due.saturating_sub(playing.last) > AHEAD / 2 * stride.unsigned_abs() {
            // What is decoded ahead is passed already: as fast as it can be decoded, then.
            self.playing = Some(self.playing_from_here(self.speed(), now));
            return now + Duration::from_millis(20);
        }
        if due > playing.last && waiting != Some(due) {
            let next = self.after(origin, due as i64 * stride.signum());
            // Only a frame that is there is gone to; until then the last one stays on view.
            if self.is_there(next) && self.has_room() {
                if next.0 != self.document.shot {
                    self.document.shot = next.0;
                    self.document.footing += 1;
                    self.reset_panels();
                }
                self.frame = next.1;
                self.stale = true;
                if let Some(playing) = &mut self.playing {
                    playing.due = Some(due);
                }
            }
        }
        clock.due(due + stride.unsigned_abs())
    }

    /// From one frame that is shown to the next: 1, or how many times the rate it plays at; negative backwards.
    fn stride(&self) -> i64 {
        let speed = self.speed();
        let frames = (speed.abs() as i64).max(1);
        if speed < 0.0 { -frames } else { frames }
    }

    fn is_there(&self, place: (usize, u64)) -> bool {
        self.frame_key(place).is_none_or(|(key, n)| self.feeds.get(&key, n).is_some())
    }

    /// The frame on view was drawn: if the clock had moved to it, it counts, and so do those between.
    pub(super) fn shown_frame(&mut self, now: Instant) {
        let Some(playing) = &mut self.playing else { return };
        let Some(due) = playing.due.take() else { return };
        let stride = (playing.speed.abs() as u64).max(1);
        self.playback.shown += 1;
        self.playback.dropped += passed(playing.last, due, stride);
        if let Some(clock) = playing.clock {
            self.playback.late = self.playback.late.max(now.saturating_duration_since(clock.due(due)));
        }
        playing.last = due;
        playing.drawn_at.push_back(now);
        while playing.drawn_at.front().is_some_and(|t| now - *t > Duration::from_secs(1)) {
            playing.drawn_at.pop_front();
        }
        self.playback.rate = rate(&playing.drawn_at);
    }

    pub(super) fn ask_ahead(&mut self) {
        let ahead = if self.playing.is_some() { AHEAD as i64 } else { 4 };
        let (here, stride) = ((self.document.shot, self.frame), self.stride());
        let wanted = (0..=ahead).filter_map(|by| self.frame_key(self.after(here, by * stride)));
        let wanted: Vec<_> = wanted.collect();
        self.feeds.want(&wanted);
        // The shot after is opened as soon as this one plays: that can take longer than what is decoded ahead lasts.
        if self.playing.is_some() && self.scope == Scope::Show {
            let beyond = if stride > 0 { self.shot_frames() as i64 } else { -1 };
            let next = self.after((here.0, 0), beyond).0;
            if let Some((key, _)) = self.source(next) {
                self.feeds.look_at(&key);
            }
        }
        if let Some((key, _)) = self.source(0).filter(|_| self.document.show.raster.is_none()) {
            self.feeds.look_at(&key);
        }
    }

    /// Shot and frame `by` frames after a place, or before it, going round in the scope.
    fn after(&self, (shot, frame): (usize, u64), by: i64) -> (usize, u64) {
        let shots = &self.document.show.shots;
        match self.scope {
            _ if by == 0 => (shot, frame),
            Scope::Shot => {
                let all = 0..shots.get(shot).map_or(1, length).max(1);
                let round = self.pace.range_of(shot).unwrap_or(all);
                let (first, count) = (round.start as i64, (round.end - round.start) as i64);
                (shot, (first + (frame as i64 - first + by).rem_euclid(count)) as u64)
            }
            Scope::Show => {
                let total = shots.iter().map(length).sum::<u64>().max(1);
                let before: u64 = shots.iter().take(shot).map(length).sum();
                let mut left = ((before + frame) as i64 + by).rem_euclid(total as i64) as u64;
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
