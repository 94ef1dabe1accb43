//! Which frame a time stamp belongs to.

use std::path::Path;

use ffmpeg_next::format::context::Input;
use ffmpeg_next::packet::Ref;
use ffmpeg_next::{Packet, Rational, Stream, ffi};

use super::{best_stream, open_input};
use crate::media::{MediaError, Rate};

/// Time stamps to frame numbers and back.
pub enum Clock {
    /// Evenly spaced: start, and time base × rate as a fraction of frames a tick.
    Even { start: i64, num: i128, den: i128 },
    /// Each frame's own, ascending.
    Listed(Vec<i64>),
    /// No usable stamps: frames are counted as they come, from the start.
    Counted,
}

impl Clock {
    /// The frame of a stamp: `Ok(None)` if stamps do not tell, `Err` if it belongs to no frame.
    pub fn number(&self, stamp: Option<i64>) -> Result<Option<u64>, ()> {
        match self {
            Self::Counted => Ok(None),
            Self::Even { start, num, den } => {
                let ticks = i128::from(stamp.ok_or(())?) - i128::from(*start);
                let number = (2 * ticks * num + den).div_euclid(2 * den);
                u64::try_from(number).map(Some).map_err(|_| ())
            }
            Self::Listed(stamps) => {
                let at = stamps.binary_search(&stamp.ok_or(())?).map_err(|_| ())?;
                Ok(Some(at as u64))
            }
        }
    }

    /// The stamp of a frame, if stamps are of use.
    pub fn stamp(&self, number: u64) -> Option<i64> {
        match self {
            Self::Counted => None,
            Self::Even { start, num, den } => {
                i64::try_from(i128::from(*start) + (i128::from(number) * den).div_euclid(*num)).ok()
            }
            Self::Listed(stamps) => stamps.get(usize::try_from(number).ok()?).copied(),
        }
    }
}

/// How many frames there are, and when.
pub struct Timing {
    pub clock: Clock,
    pub frames: u64,
    pub rate: Option<Rate>,
    /// Are frames unevenly spaced?
    pub uneven: bool,
    /// Is every frame a key frame, whatever the codec could do?
    pub all_key: bool,
}

impl Timing {
    /// From the container's index where that is complete and even, otherwise from every packet's header.
    ///
    /// The second means reading the whole file once: Matroska, MPEG transport streams, bare streams.
    pub fn read(path: &Path, input: &Input) -> Result<(Self, usize), MediaError> {
        let index = best_stream(path, input)?;
        let Some(stream) = input.stream(index) else {
            return Err(no_frames(path));
        };
        if let Some(timing) = Self::of_index(&stream, input.format().name()) {
            return Ok((timing, index));
        }
        Ok((Self::of_packets(path, input, index)?, index))
    }

    /// Only of containers whose frame count and duration come from an index of all frames.
    fn of_index(stream: &Stream<'_>, container: &str) -> Option<Self> {
        let base = stream.time_base();
        let indexed = container.contains("mov") || container == "mxf";
        if !indexed || stream.duration() <= 0 || stream.start_time() == ffi::AV_NOPTS_VALUE {
            return None;
        }
        // Any average fits its own duration: only a rate that exists says that frames are even.
        let rates = [stream.rate(), stream.avg_frame_rate()].into_iter().filter_map(exact);
        for rate in rates.filter(|rate| matches!(rate.den(), 1 | 1001)) {
            let (num, den) = fraction(base, rate)?;
            let lasts = i128::from(stream.duration()) * num;
            // MXF counts in edit units and gives no number of frames.
            let frames = match stream.frames() {
                n if n > 0 => i128::from(n),
                _ if container == "mxf" => (2 * lasts + den).div_euclid(2 * den),
                _ => return None,
            };
            if 4 * (lasts - frames * den).abs() < den {
                let clock = Clock::Even { start: stream.start_time(), num, den };
                let frames = u64::try_from(frames).ok()?;
                let all_key = all_key(stream, frames);
                return Some(Self { clock, frames, rate: Some(rate), uneven: false, all_key });
            }
        }
        None
    }

    /// From the headers of all packets; `opened` stays where it is.
    pub fn of_packets(path: &Path, opened: &Input, index: usize) -> Result<Self, MediaError> {
        let Some(stream) = opened.stream(index) else {
            return Err(no_frames(path));
        };
        let (base, rates) = (stream.time_base(), [stream.rate(), stream.avg_frame_rate()]);
        let mut input = open_input(path)?;
        super::discard_others(&mut input, &[index]);
        let mut stamps = Vec::new();
        let (mut count, mut keys, mut others) = (0, 0, 0);
        let mut packet = Packet::empty();
        loop {
            match packet.read(&mut input) {
                Ok(()) => {}
                // The demuxer goes on after damaged data.
                Err(ffmpeg_next::Error::InvalidData) => continue,
                Err(_) => break,
            }
            if packet.stream() != index {
                continue;
            }
            // Before the first key frame nothing can be decoded.
            keys += usize::from(packet.is_key());
            others += usize::from(!packet.is_key());
            // Edit lists leave frames out that others are predicted from. The crate knows no such flag.
            // SAFETY: the packet was just read.
            let left_out = unsafe { (*packet.as_ptr()).flags } & ffi::AV_PKT_FLAG_DISCARD != 0;
            if left_out || keys == 0 {
                continue;
            }
            count += 1;
            stamps.extend(packet.pts());
        }
        if count == 0 {
            return Err(no_frames(path));
        }
        let all_key = others == 0;
        let mut exact_rates = rates.into_iter().filter_map(exact);
        if stamps.len() < count {
            let rate = exact_rates.next_back();
            return Ok(Self { clock: Clock::Counted, frames: count as u64, rate, uneven: false, all_key });
        }
        stamps.sort_unstable();
        stamps.dedup();
        // Even is what rounds to its own number at one of the rates that the container claims.
        let even = |rate: &Rate| {
            let Some((num, den)) = fraction(base, *rate) else {
                return false;
            };
            let clock = Clock::Even { start: stamps[0], num, den };
            (0..).zip(&stamps).all(|(n, stamp)| clock.number(Some(*stamp)) == Ok(Some(n)))
        };
        let found = exact_rates.clone().find(even);
        let rate = found.or_else(|| exact_rates.next_back());
        let frames = stamps.len() as u64;
        Ok(Self { clock: Clock::Listed(stamps), frames, rate, uneven: found.is_none(), all_key })
    }

    /// Takes the stamp of the first frame that really came out of the decoder, and gives its number.
    pub fn begin(&mut self, stamp: Option<i64>) -> u64 {
        let Some(stamp) = stamp else { return 0 };
        // Later than the index says: the frames before it are damaged, and keep their numbers.
        let number = self.clock.number(Some(stamp)).ok().flatten();
        match &mut self.clock {
            Clock::Even { .. } if number.is_some_and(|n| n > 0) => return number.unwrap_or(0),
            Clock::Even { start, .. } => *start = stamp,
            Clock::Listed(stamps) => {
                // What should come before it cannot be decoded: its references are not in the file.
                stamps.retain(|s| *s >= stamp);
                self.frames = stamps.len() as u64;
            }
            Clock::Counted => {}
        }
        0
    }
}

/// Does the container's index list as many key frames as there are frames?
fn all_key(stream: &Stream<'_>, frames: u64) -> bool {
    // SAFETY: the stream belongs to an open context; entries asked for are below the count, and are looked
    // at before anything else can change the index.
    unsafe {
        let stream = stream.as_ptr().cast_mut();
        let count = ffi::avformat_index_get_entries_count(stream);
        let is_key = |i| {
            let entry = ffi::avformat_index_get_entry(stream, i);
            !entry.is_null() && (*entry).flags() & ffi::AVINDEX_KEYFRAME != 0
        };
        u64::try_from(count).is_ok_and(|c| c == frames) && (0..count).all(is_key)
    }
}

fn no_frames(path: &Path) -> MediaError {
    MediaError::refused(path, "its video stream has no frames", super::ACCEPTED)
}

/// Frames a tick.
fn fraction(base: Rational, rate: Rate) -> Option<(i128, i128)> {
    let num = i128::from(base.numerator()) * i128::from(rate.num());
    let den = i128::from(base.denominator()) * i128::from(rate.den());
    (num > 0 && den > 0).then_some((num, den))
}

/// A container's rate: the standard one that it approximates, or itself.
fn exact(rate: Rational) -> Option<Rate> {
    let (num, den) = (u32::try_from(rate.numerator()).ok()?, u32::try_from(rate.denominator()).ok()?);
    let exact = Rate::new(num, den)?;
    let near = Rate::from_decimal(exact.fps())?;
    Some(if matches!(near.den(), 1 | 1001) { near } else { exact })
}
