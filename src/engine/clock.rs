//! Which frame is due when: exact rational time, nothing else.

use std::time::{Duration, Instant};

/// A running clock: frame `first` was due at `start`, and each following one a frame's time later.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    start: Instant,
    first: u64,
    num: u64,
    den: u64,
}

impl Clock {
    /// Starts at `first` now, at `num/den` frames a second.
    pub fn start(now: Instant, first: u64, (num, den): (u64, u64)) -> Self {
        Self { start: now, first, num: num.max(1), den: den.max(1) }
    }

    /// The frame that is due at `now`, counted from the start without an end.
    pub fn frame(&self, now: Instant) -> u64 {
        let ns = now.saturating_duration_since(self.start).as_nanos();
        let frames = ns * u128::from(self.num) / (u128::from(self.den) * 1_000_000_000);
        self.first + frames as u64
    }

    /// When a frame is due.
    pub fn due(&self, frame: u64) -> Instant {
        let frames = u128::from(frame.saturating_sub(self.first));
        // Rounded up to a whole nanosecond, so that at that time the frame is due and not the one before.
        let ns = (frames * u128::from(self.den) * 1_000_000_000).div_ceil(u128::from(self.num));
        self.start + Duration::from_nanos(ns as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_is_due_at_its_time_and_not_before() {
        let t = Instant::now();
        for rate in [(24, 1), (24_000, 1001), (25, 1), (30_000, 1001), (60, 1)] {
            let clock = Clock::start(t, 7, rate);
            for frame in [7, 8, 9, 31, 1000, 86_400 * 24] {
                assert_eq!(clock.frame(clock.due(frame)), frame, "{rate:?}");
                if frame > 7 {
                    assert_eq!(clock.frame(clock.due(frame) - Duration::from_nanos(1)), frame - 1);
                }
            }
        }
    }

    #[test]
    fn an_hour_of_ntsc_film_rate_has_86313_frames() {
        // 3600 s × 24000/1001 = 86 313.68…
        let t = Instant::now();
        assert_eq!(Clock::start(t, 0, (24_000, 1001)).frame(t + Duration::from_secs(3600)), 86_313);
    }
}
