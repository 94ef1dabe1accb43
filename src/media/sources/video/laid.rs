//! Frames at uneven times, laid on an even rate.

use ffmpeg_next::Rational;

use crate::media::Rate;

/// Which of a file's frames is shown in each frame of an even rate.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Laid {
    frames: Vec<u32>,
}

impl Laid {
    /// From the times of all frames, ascending, in ticks of `base`. Each frame of the rate shows what is on view in its middle; the
    /// last frame lasts as long as most do.
    pub fn of(stamps: &[i64], base: Rational, rate: Rate) -> Option<Self> {
        let (first, last) = (*stamps.first()?, *stamps.last()?);
        let mut gaps: Vec<i64> = stamps.windows(2).map(|w| w[1] - w[0]).collect();
        gaps.sort_unstable();
        let usual = gaps.get(gaps.len() / 2).copied().unwrap_or(1);
        let tick = f64::from(base);
        let seconds = (last - first + usual) as f64 * tick;
        let count = (seconds * rate.fps()).round().max(1.0);
        if !(count < f64::from(u32::MAX)) {
            return None;
        }
        let mut at = 0;
        let frames = (0..count as u32).map(|n| {
            let middle = (f64::from(n) + 0.5) / rate.fps();
            while at + 1 < stamps.len() && (stamps[at + 1] - first) as f64 * tick <= middle {
                at += 1;
            }
            at as u32
        });
        Some(Self { frames: frames.collect() })
    }

    /// Frames of the even rate.
    pub fn count(&self) -> u64 {
        self.frames.len() as u64
    }

    /// The file's frame for one of them.
    pub fn frame(&self, number: u64) -> Option<u64> {
        self.frames.get(usize::try_from(number).ok()?).map(|f| u64::from(*f))
    }

    /// How many are a repetition, and how many of `of` frames are never shown.
    pub fn changes(&self, of: u64) -> (u64, u64) {
        let repeated = self.frames.windows(2).filter(|w| w[0] == w[1]).count() as u64;
        let shown = self.count() - repeated;
        (repeated, of.saturating_sub(shown))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_frame_shows_what_is_on_view_in_its_middle() {
        // Milliseconds: two frames at 24, one that stays for three, one at twice the rate, the last.
        let stamps = [0, 42, 83, 208, 230, 250];
        let laid = Laid::of(&stamps, Rational(1, 1000), Rate::FPS_24).unwrap();
        assert_eq!(laid.frames, [0, 1, 2, 2, 2, 3, 5], "frame 3 is on view at 229.2, frame 4 at no middle");
        assert_eq!(laid.changes(6), (2, 1));
        // Even times stay as they are, at their own rate and jitter.
        let even: Vec<i64> = (0..100).map(|n| n * 1000 / 24 + n % 3).collect();
        let laid = Laid::of(&even, Rational(1, 1000), Rate::FPS_24).unwrap();
        assert_eq!(laid.frames, (0..100).collect::<Vec<_>>());
        // At another rate time is kept.
        let laid = Laid::of(&even, Rational(1, 1000), Rate::new(48, 1).unwrap()).unwrap();
        assert_eq!(laid.count(), 200);
        assert_eq!(laid.frame(100), Some(50));
        assert_eq!(laid.frame(200), None);
    }
}
