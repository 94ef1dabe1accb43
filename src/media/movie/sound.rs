//! A source's sound, for a range of its frames, as it is stored.

use std::path::PathBuf;

use ffmpeg_next::packet::Ref;
use ffmpeg_next::{Packet, Rational, codec, ffi, format, media};

use super::Container;
use crate::media::Rate;
use crate::media::sources::{discard_others, open_input};

/// The sound of a range of frames.
#[derive(Clone, Debug, PartialEq)]
pub struct SoundRange {
    /// The file.
    pub path: PathBuf,
    /// The first frame, from 0 at the file's first picture.
    pub first: u64,
    /// How many frames.
    pub frames: u64,
    /// The file's own rate.
    pub rate: Rate,
}

/// A stream of sound that is copied.
pub struct Stream {
    /// Its number in the source.
    pub from: usize,
    pub parameters: codec::Parameters,
    pub base: Rational,
    /// What plays before the first frame of the range, in its own ticks.
    start: i64,
    end: i64,
    /// Bytes of a sample of all channels, where packets can be cut between any two.
    sample: Option<(usize, i64)>,
}

/// A source's packets of sound, in order.
pub struct Sound {
    input: format::context::Input,
    pub streams: Vec<Stream>,
    held: Option<(usize, Packet)>,
}

fn ticks(frames: u64, rate: Rate, base: Rational) -> i64 {
    let over = i128::from(frames) * i128::from(rate.den()) * i128::from(base.denominator());
    let under = i128::from(rate.num()) * i128::from(base.numerator());
    ((2 * over + under).div_euclid(2 * under)) as i64
}

/// Opens the sound of a range, for a container; `None` where the source has none. What does not fit is told in `notes`.
pub fn open(range: &SoundRange, container: Container, notes: &mut Vec<String>) -> Option<Sound> {
    let input = open_input(&range.path).ok()?;
    let picture = input.streams().best(media::Type::Video);
    // Seconds at which the first picture stands; sound is placed against it.
    let zero = picture.as_ref().map_or(0.0, |s| {
        let start = if s.start_time() == ffi::AV_NOPTS_VALUE { 0 } else { s.start_time() };
        start as f64 * f64::from(s.time_base())
    });
    let mut streams = Vec::new();
    for stream in input.streams().filter(|s| s.parameters().medium() == media::Type::Audio) {
        let parameters = stream.parameters();
        let id = parameters.id();
        if !holds(container, id) {
            let kept: Vec<_> =
                Container::ALL.into_iter().filter(|c| holds(*c, id)).map(Container::key).collect();
            let others = if kept.is_empty() {
                String::new()
            } else {
                format!("; --container {} keeps it", kept.join(" or "))
            };
            notes.push(format!(
                "the sound ({}) was left out: {} does not hold it{others}",
                id.name(),
                container.key()
            ));
            continue;
        }
        let base = stream.time_base();
        let shift = (zero / f64::from(base)).round() as i64;
        let start = ticks(range.first, range.rate, base) + shift;
        let end = ticks(range.first + range.frames, range.rate, base) + shift;
        // SAFETY: the parameters belong to a stream of an open context.
        let (bits, channels, samples) = unsafe {
            let p = &*parameters.as_ptr();
            (ffi::av_get_bits_per_sample(p.codec_id), p.ch_layout.nb_channels, p.sample_rate)
        };
        // Where a tick is a sample, packets can be cut between any two.
        let plain = bits > 0 && bits % 8 == 0 && base == Rational(1, samples);
        let sample = plain.then_some(((bits as usize / 8) * channels as usize, 1));
        if sample.is_none() {
            notes.push(format!("the sound ({}) is cut at its own packets, a few hundredths of a second around the picture's ends", id.name()));
        }
        streams.push(Stream { from: stream.index(), parameters, base, start, end, sample });
    }
    if streams.is_empty() {
        return None;
    }
    let mut sound = Sound { input, streams, held: None };
    sound.begin();
    Some(sound)
}

/// Does a container take a codec?
fn holds(container: Container, id: codec::Id) -> bool {
    let name = match container {
        Container::Mov => c"mov",
        Container::Mp4 => c"mp4",
        Container::Mkv => c"matroska",
    };
    // SAFETY: the name is a terminated text; the format is static data or null.
    unsafe {
        let format = ffi::av_guess_format(name.as_ptr(), std::ptr::null(), std::ptr::null());
        !format.is_null() && ffi::avformat_query_codec(format, id.into(), ffi::FF_COMPLIANCE_NORMAL) == 1
    }
}

impl Sound {
    fn begin(&mut self) {
        let wanted: Vec<usize> = self.streams.iter().map(|s| s.from).collect();
        discard_others(&mut self.input, &wanted);
        let first = &self.streams[0];
        // SAFETY: the context is open and the stream exists in it.
        unsafe {
            ffi::av_seek_frame(
                self.input.as_mut_ptr(),
                first.from as i32,
                first.start,
                ffi::AVSEEK_FLAG_BACKWARD,
            );
        }
    }

    /// The next packet: its stream's place in the list, and the packet with times from the range's beginning.
    pub fn next(&mut self) -> Option<(usize, Packet)> {
        if let Some(held) = self.held.take() {
            return Some(held);
        }
        let mut ended = vec![false; self.streams.len()];
        loop {
            let mut packet = Packet::empty();
            match packet.read(&mut self.input) {
                Ok(()) => {}
                Err(ffmpeg_next::Error::InvalidData) => continue,
                Err(_) => return None,
            }
            let Some(at) = self.streams.iter().position(|s| s.from == packet.stream()) else { continue };
            let stream = &self.streams[at];
            let pts = packet.pts().or(packet.dts()).unwrap_or(0);
            if pts >= stream.end {
                ended[at] = true;
                if ended.iter().all(|e| *e) {
                    return None;
                }
                continue;
            }
            if let Some(cut) = stream.cut(&packet, pts) {
                return Some((at, cut));
            }
        }
    }

    /// Puts a packet back.
    pub fn hold(&mut self, at: usize, packet: Packet) {
        self.held = Some((at, packet));
    }
}

impl Stream {
    /// What of a packet lies in the range.
    fn cut(&self, packet: &Packet, pts: i64) -> Option<Packet> {
        let Some((bytes, _)) = self.sample else {
            // SAFETY: the packet was just read.
            let (duration, valid) = unsafe { ((*packet.as_ptr()).duration, packet.data().is_some()) };
            if pts < self.start || pts + duration > self.end || !valid {
                return None;
            }
            let mut out = packet.clone();
            out.set_pts(Some(pts - self.start));
            out.set_dts(Some(pts - self.start));
            return Some(out);
        };
        let data = packet.data()?;
        let have = (data.len() / bytes) as i64;
        let from = (self.start - pts).clamp(0, have);
        let to = (self.end - pts).clamp(from, have);
        if from == to {
            return None;
        }
        let mut out = Packet::copy(&data[from as usize * bytes..to as usize * bytes]);
        out.set_pts(Some(pts + from - self.start));
        out.set_dts(out.pts());
        out.set_duration(to - from);
        out.set_flags(codec::packet::Flags::KEY);
        Some(out)
    }
}
