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

/// Frames, each `stride` after the other, that passed unshown between two that were shown.
pub(super) fn passed(last: u64, due: u64, stride: u64) -> u64 {
    (due - last) / stride - 1
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

    /// An hour of simulated time at every rate, with pictures that take from nothing to five frames' time: each frame is shown in
    /// its own time or counted as dropped, and the last is not a frame away from where the clock on the wall is.
    #[test]
    fn an_hour_loses_nothing_and_does_not_drift() {
        let t = Instant::now();
        let rates = [
            (24_000, 1001),
            (24, 1),
            (25, 1),
            (30_000, 1001),
            (30, 1),
            (48, 1),
            (50, 1),
            (60_000, 1001),
            (60, 1),
        ];
        for (num, den) in rates {
            let clock = Clock::start(t, 0, (num, den));
            let frame_time = Duration::from_nanos(den * 1_000_000_000 / num + 1);
            let (mut now, mut seed) = (t, 7u64);
            let (mut last, mut shown, mut dropped) = (0, 0u64, 0u64);
            while now - t < Duration::from_secs(3600) {
                let due = clock.frame(now);
                if due > last {
                    assert!(now >= clock.due(due) && now - clock.due(due) < frame_time, "not in its time");
                    dropped += passed(last, due, 1);
                    (shown, last) = (shown + 1, due);
                    seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                    // Most pictures are quick, one in sixteen is not.
                    let slow = if seed >> 60 == 0 { 5 } else { 1 };
                    now += frame_time.mul_f64((seed >> 33 & 0xffff) as f64 / 65536.0 * f64::from(slow));
                }
                now = now.max(clock.due(last + 1));
            }
            assert_eq!(shown + dropped, last, "{num}/{den}");
            assert!(dropped > 1000 && shown > 10 * dropped, "{num}/{den}: {shown} {dropped}");
            let exact = 3600.0 * num as f64 / den as f64;
            assert!((last as f64 - exact).abs() <= 6.0, "{last} of {exact}");
            let here = (now - t).as_secs_f64() * num as f64 / den as f64;
            assert!((clock.frame(now) as f64 - here).abs() <= 1.0, "{num}/{den} drifts");
        }
    }

    #[test]
    fn what_passed_is_counted_in_strides() {
        assert_eq!([passed(3, 4, 1), passed(3, 7, 1), passed(8, 16, 4), passed(8, 12, 4)], [0, 3, 1, 0]);
    }

    #[test]
    fn an_hour_of_ntsc_film_rate_has_86313_frames() {
        // 3600 s × 24000/1001 = 86 313.68…
        let t = Instant::now();
        assert_eq!(Clock::start(t, 0, (24_000, 1001)).frame(t + Duration::from_secs(3600)), 86_313);
    }
}
