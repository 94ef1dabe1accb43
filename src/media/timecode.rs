//! Frame counts and time and control code, SMPTE ST 12-1.
//!
//! Timecode counts frames at a whole nominal rate. At 30000/1001 frames a second that falls behind the
//! clock by 3.6 s an hour; drop-frame counting leaves out frame numbers 0 and 1 (0 to 3 at 60000/1001) at
//! the start of every minute that is not a multiple of ten. No frame is dropped, only labels.

use super::{MediaError, Rate};

/// How frames are labelled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Counting {
    nominal: u32,
    drop: bool,
}

impl Counting {
    /// Every label used, `nominal` frames a second, 1…1000.
    pub fn whole(nominal: u32) -> Self {
        Self {
            nominal: nominal.clamp(1, 1000),
            drop: false,
        }
    }

    /// Drop-frame counting where ST 12-1 defines it: rates 30000/1001 and 60000/1001.
    pub fn dropping(rate: Rate) -> Option<Self> {
        let nominal = rate.nominal();
        (rate.den() == 1001 && matches!(nominal, 30 | 60)).then_some(Self {
            nominal,
            drop: true,
        })
    }

    /// For `rate`, dropping if `drop` asks for it and the rate has it.
    pub fn of(rate: Rate, drop: bool) -> Self {
        let dropping = if drop { Self::dropping(rate) } else { None };
        dropping.unwrap_or_else(|| Self::whole(rate.nominal()))
    }

    /// Does it leave labels out?
    pub fn is_dropping(self) -> bool {
        self.drop
    }

    /// Labels a second.
    pub fn nominal(self) -> u32 {
        self.nominal
    }

    /// Labels left out at the start of a minute.
    fn dropped(self) -> u64 {
        if self.drop {
            u64::from(self.nominal) / 15
        } else {
            0
        }
    }

    /// Frames in 24 hours, after which labels start again.
    pub fn day(self) -> u64 {
        24 * (u64::from(self.nominal) * 3600 - 54 * self.dropped())
    }

    /// The label of frame `count` from midnight: "01:00:00:00", with ";" before the frames where labels
    /// are dropped. Goes round after 24 hours.
    pub fn text(self, count: u64) -> String {
        let nominal = u64::from(self.nominal);
        let d = self.dropped();
        let mut label = count % self.day();
        if self.drop {
            let ten_minutes = nominal * 600 - 9 * d;
            let minute = nominal * 60 - d;
            let (tens, rest) = (label / ten_minutes, label % ten_minutes);
            // The first minute of ten is whole, the nine after it are short.
            let short = if rest < nominal * 60 {
                0
            } else {
                1 + (rest - nominal * 60) / minute
            };
            label += 9 * d * tens + d * short;
        }
        let (seconds, frames) = (label / nominal, label % nominal);
        let mark = if self.drop { ';' } else { ':' };
        let digits = (self.nominal - 1).max(10).to_string().len();
        format!(
            "{:02}:{:02}:{:02}{mark}{frames:0digits$}",
            seconds / 3600,
            seconds / 60 % 60,
            seconds % 60
        )
    }

    /// The count, from midnight, of the frame labelled `text`. Either mark is read before the frames: a
    /// label means the same frame whichever way it was typed.
    pub fn count(self, text: &str) -> Result<u64, MediaError> {
        let last = self.nominal - 1;
        let fail = |what: &str| MediaError::Timecode {
            text: text.to_owned(),
            what: what.to_owned(),
            accepted: format!("HH:MM:SS:FF, 00:00:00:00 to 23:59:59:{last:02}").into(),
        };
        let parts: Vec<&str> = text.trim().split([':', ';']).collect();
        let [hours, minutes, seconds, frames] = parts[..] else {
            return Err(fail("it does not have four parts"));
        };
        let number = |part: &str, limit: u32, name: &str| {
            let plain = !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
            match part.parse::<u32>() {
                Ok(n) if plain && n < limit => Ok(u64::from(n)),
                Ok(n) if plain => Err(fail(&format!("{n} {name} are too many"))),
                _ => Err(fail(&format!("'{part}' {name} is not a number"))),
            }
        };
        let h = number(hours, 24, "hours")?;
        let m = number(minutes, 60, "minutes")?;
        let s = number(seconds, 60, "seconds")?;
        let f = number(frames, self.nominal, "frames")?;
        let d = self.dropped();
        if f < d && s == 0 && m % 10 != 0 {
            return Err(fail("drop-frame counting leaves this label out"));
        }
        let minute = h * 60 + m;
        Ok((minute * 60 + s) * u64::from(self.nominal) + f - d * (minute - minute / 10))
    }
}

/// Does a timecode as written say that it drops labels?
pub fn says_drop(text: &str) -> bool {
    text.contains(';')
}

/// The 32 time address bits of ST 12-1 as DPX (ST 268-1) and OpenEXR store them: BCD, hours in the high
/// byte, frames in the low one, flags masked off. None where a field is not BCD or out of range.
pub(super) fn from_bcd(bits: u32) -> Option<(String, bool)> {
    let two = |byte: u32, tens: u32| {
        let (t, u) = (byte >> 4 & tens, byte & 15);
        (u < 10).then_some(10 * t + u)
    };
    let h = two(bits >> 24, 3).filter(|h| *h < 24)?;
    let m = two(bits >> 16, 7).filter(|m| *m < 60)?;
    let s = two(bits >> 8, 7).filter(|s| *s < 60)?;
    let f = two(bits, 3)?;
    let drop = bits & 0x40 != 0;
    Some((
        format!("{h:02}:{m:02}:{s:02}{}{f:02}", if drop { ';' } else { ':' }),
        drop,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bcd_fields_are_read() {
        // ST 12-1 table: tens and units of hours, minutes, seconds, frames; bit 6 of the frames is the flag.
        assert_eq!(from_bcd(0x10_20_30_12), Some(("10:20:30:12".into(), false)));
        assert_eq!(from_bcd(0x01_00_59_68), Some(("01:00:59;28".into(), true)));
        assert_eq!(from_bcd(0xFFFF_FFFF), None, "undefined in a DPX header");
    }
}
