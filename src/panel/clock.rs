//! A port's clock beside ours.

use std::time::{Duration, Instant};

/// What the time on a port's clock is, going by the last message that was read from it. As a message is
/// read a little after it came, this clock is a little slow.
#[derive(Clone, Copy, Debug, Default)]
pub struct PortClock(Option<(u64, Instant)>);

impl PortClock {
    /// A message that came at `at`, in the port's microseconds, was read at `now`.
    pub fn heard(&mut self, at: u64, now: Instant) {
        self.0 = Some((at, now));
    }

    /// The port's microseconds at `now`; `None` before its first message.
    pub fn at(&self, now: Instant) -> Option<u64> {
        let (at, read) = self.0?;
        let since = now.saturating_duration_since(read).as_micros();
        Some(at.saturating_add(u64::try_from(since).unwrap_or(u64::MAX)))
    }

    /// When it is `at` on the port's clock; at the earliest when the last message was read.
    pub fn when(&self, at: u64) -> Option<Instant> {
        let (last, read) = self.0?;
        read.checked_add(Duration::from_micros(at.saturating_sub(last)))
    }
}
