//! Frame rates as exact fractions.

use std::fmt;
use std::str::FromStr;

use super::MediaError;

/// Frames a second, exactly. Above 0, at most 1000.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rate {
    num: u32,
    den: u32,
}

/// Nominal rates that also exist slowed down by 1000/1001 (SMPTE ST 2036-1 and ST 274 list 24, 30, 60; the
/// others are their multiples, common practice).
const SLOWED: [u32; 6] = [24, 30, 48, 60, 96, 120];

impl Rate {
    /// 24 frames a second.
    pub const FPS_24: Self = Self { num: 24, den: 1 };

    /// `num / den` in lowest terms; none unless it is above 0 and at most 1000.
    pub const fn new(num: u32, den: u32) -> Option<Self> {
        if num == 0 || den == 0 || num as u64 > 1000 * den as u64 {
            return None;
        }
        let (mut a, mut b) = (num, den);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        Some(Self {
            num: num / a,
            den: den / a,
        })
    }

    /// The rate that a rounded number means: 23.976 and 23.98 are 24000/1001 and so on, whole numbers are
    /// themselves, anything else is taken to three decimals.
    pub fn from_decimal(fps: f64) -> Option<Self> {
        if !(fps > 0.0 && fps <= 1000.0) {
            return None;
        }
        if (fps - fps.round()).abs() < 1e-4 {
            return Self::new(fps.round() as u32, 1);
        }
        let slowed = SLOWED
            .into_iter()
            .find(|n| (fps - f64::from(*n) / 1.001).abs() < 0.005);
        match slowed {
            Some(n) => Self::new(n * 1000, 1001),
            None => Self::new((fps * 1000.0).round() as u32, 1000),
        }
    }

    /// Numerator, in lowest terms.
    pub const fn num(self) -> u32 {
        self.num
    }

    /// Denominator, in lowest terms.
    pub const fn den(self) -> u32 {
        self.den
    }

    /// Frames a second.
    pub fn fps(self) -> f64 {
        f64::from(self.num) / f64::from(self.den)
    }

    /// The whole number that timecode counts in: 24 for 23.976, 30 for 29.97. At least 1.
    pub fn nominal(self) -> u32 {
        ((self.num + self.den / 2) / self.den).max(1)
    }

    /// Seconds that `frames` frames last.
    pub fn seconds(self, frames: u64) -> f64 {
        frames as f64 * f64::from(self.den) / f64::from(self.num)
    }
}

impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.den == 1 {
            return write!(f, "{}", self.num);
        }
        let text = format!("{:.3}", self.fps());
        f.write_str(text.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl FromStr for Rate {
    type Err = MediaError;

    fn from_str(text: &str) -> Result<Self, MediaError> {
        let trimmed = text.trim();
        let rate = match trimmed.split_once('/') {
            Some((num, den)) => match (num.trim().parse(), den.trim().parse()) {
                (Ok(num), Ok(den)) => Self::new(num, den),
                _ => None,
            },
            None => trimmed.parse().ok().and_then(Self::from_decimal),
        };
        rate.ok_or_else(|| MediaError::Rate {
            text: text.to_owned(),
        })
    }
}
