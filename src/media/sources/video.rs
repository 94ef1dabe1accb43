//! Video files, through FFmpeg's libraries. Decoded planes are taken as they are: no swscale, no filters.
//!
//! Frames are numbered by their time stamps. Codecs without inter-frame prediction decode with slice
//! threads, which hold no frames back, so that scrubbing is quick; the others with frame threads, which are
//! faster in order and lose little after a seek that has to decode a run of frames anyway.

mod clock;
mod laid;
mod layout;
mod turn;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Once};

use ffmpeg_next::codec::threading;
use ffmpeg_next::format::Pixel;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::frame::Flags;
use ffmpeg_next::util::chroma::Location;
use ffmpeg_next::util::color;
use ffmpeg_next::util::log;
use ffmpeg_next::{Packet, codec, decoder, ffi, frame, media};

use self::clock::{Clock, Timing};
use self::laid::Laid;
use self::layout::Layout;
use self::turn::Turn;
use super::square::Square;
use super::{ClipInfo, CodePoints, Interpretation, Source, describe};
use crate::colour::{Range, YcbcrMatrix};
use crate::media::timecode::{Counting, says_drop};
use crate::media::{MediaError, Rate};
use crate::picture::{Chroma, Format, Frame, MAX_SIDE, Model, Pool, Sample, Siting};

const ACCEPTED: &str =
    "video files that FFmpeg reads, with HEVC, H.264, ProRes, DNxHR, FFV1 and the like in them";

/// Spare planes kept for reuse.
const SPARE: usize = 12;
/// Going on decoding is cheaper than a seek for up to this many frames, where frames depend on each other.
const AHEAD: u64 = 24;
/// How many frames before its target a seek aims: the reorder depth that H.264 and H.265 allow. A seek by
/// decoding time can otherwise land behind the target's own time.
const EARLY: u64 = 16;
/// The earliest that a seek is tried before a frame counts as absent.
const EARLIEST: u64 = 16 * EARLY;
/// Packets or frames in a row that may fail before the decoder is given up.
const FAILURES: usize = 4096;

/// A video file.
pub struct Video {
    path: PathBuf,
    info: ClipInfo,
    input: Input,
    decoder: decoder::Video,
    stream: usize,
    clock: Clock,
    /// Does every packet decode by itself?
    intra: bool,
    layout: Layout,
    pixel: Pixel,
    /// The decoded frames' format and size, before they are turned.
    decoded: (Format, (u32, u32)),
    turn: Turn,
    square: Option<Square>,
    laid: Option<Laid>,
    /// For planes 0, and for 1 and 2: two pools, so that buffers keep their length.
    pools: [Arc<Pool>; 2],
    run: Run,
    /// Were the packets' own times looked up after the index proved wrong?
    looked_up: bool,
    /// The last frame decoded: asked for again it is there.
    held: Option<u64>,
    picture: frame::Video,
}

/// Where decoding stands.
#[derive(Default)]
struct Run {
    /// The lowest number that the decoder may still give without a seek.
    next: u64,
    /// Has the end of the file been sent to the decoder?
    drained: bool,
    /// Nothing was read since the last seek.
    landing: bool,
    /// What went wrong last.
    trouble: Option<String>,
}

enum Outcome {
    Found,
    /// A later frame came first.
    Past,
    /// The file ended.
    Ended,
}

impl Video {
    /// Opens a file and decodes its first frame, which says more, and more truly, than the container does.
    pub fn open(path: &Path, as_: &Interpretation) -> Result<Self, MediaError> {
        start();
        let mut input = open_input(path)?;
        let (mut timing, index) = Timing::read(path, &input)?;
        let (decoder, intra) = open_decoder(path, &input, index)?;
        let intra = intra || timing.all_key;
        discard_others(&mut input, &[index]);
        let codec_name = codec_name(&decoder);
        let mut video = Self {
            path: path.to_owned(),
            info: ClipInfo {
                name: path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
                path: path.to_owned(),
                frames: 0,
                missing: 0,
                rate: Rate::FPS_24,
                width: 0,
                height: 0,
                format: Format::rgb(Sample::U8, 8),
                timecode_start: None,
                drop_frame: false,
                assumed: false,
                description: String::new(),
                first_number: 0,
                points: CodePoints::default(),
                pixel_aspect: (1, 1),
                turned: 0,
                sound: Vec::new(),
            },
            input,
            decoder,
            stream: index,
            clock: Clock::Counted,
            intra,
            layout: Layout::default(),
            pixel: Pixel::None,
            decoded: (Format::rgb(Sample::U8, 8), (0, 0)),
            turn: Turn::default(),
            square: None,
            laid: None,
            pools: [Pool::new(SPARE), Pool::new(2 * SPARE)],
            run: Run::default(),
            looked_up: false,
            held: None,
            picture: frame::Video::empty(),
        };
        // Counting from the start, the first frame is number 0.
        if !matches!(video.decode_until(0), Outcome::Found) {
            let said = video.run.trouble.take().unwrap_or_else(|| "the file ends first".into());
            return Err(MediaError::refused(path, format!("no frame can be decoded: {said}"), ACCEPTED));
        }
        let number = timing.begin(video.picture.timestamp());
        (video.held, video.run.next) = (Some(number), number + 1);
        video.describe(as_, timing, &codec_name)?;
        Ok(video)
    }

    fn describe(&mut self, as_: &Interpretation, timing: Timing, codec: &str) -> Result<(), MediaError> {
        let picture = &self.picture;
        self.pixel = picture.format();
        let (width, height) = (picture.width(), picture.height());
        if !(1..=MAX_SIDE).contains(&width) || !(1..=MAX_SIDE).contains(&height) {
            let what = format!("frames of {width}×{height}");
            return Err(MediaError::refused(&self.path, what, format!("sides from 1 to {MAX_SIDE}")));
        }
        let Some(layout) = Layout::of(self.pixel) else {
            let name = self.pixel.descriptor().map_or("unknown", |d| d.name());
            let what = format!("its pixel format is {name}");
            return Err(MediaError::refused(&self.path, what, layout::accepted()));
        };
        let tags = Tags::of(&self.path, picture, &layout, as_)?;
        let sample = if layout.depth == 8 { Sample::U8 } else { Sample::U16 };
        let format = Format {
            model: tags.matrix.map_or(Model::Rgb, Model::Ycbcr),
            sample,
            depth: layout.depth,
            range: tags.range,
            chroma: layout.chroma.unwrap_or(Chroma::C444),
            siting: tags.siting,
        };
        let mut description = format!("{codec} {}{}", describe(&format), tags.notes);
        if layout.alpha {
            description += ", alpha ignored";
        }
        if picture.is_interlaced() {
            description += ", interlaced (both fields in a frame)";
        }
        let mut rate = as_.rate.or(timing.rate).unwrap_or(Rate::FPS_24);
        let mut frames = timing.frames;
        if timing.uneven {
            description += ", uneven frame times";
            let base = self.input.stream(self.stream).map(|s| s.time_base());
            self.laid = match (&timing.clock, base, as_.laid_on) {
                (Clock::Listed(stamps), Some(base), Some(on)) => Laid::of(stamps, base, on),
                _ => None,
            };
            match (&self.laid, as_.laid_on) {
                (Some(laid), Some(on)) => {
                    (frames, rate) = (laid.count(), on);
                    let (repeated, left_out) = laid.changes(timing.frames);
                    description +=
                        &format!(", laid on {on} frames/s: {repeated} shown again, {left_out} left out");
                }
                _ => description += " (played at an even rate)",
            }
        }
        if let Some(stream) = self.input.stream(self.stream) {
            self.turn = Turn::of(&stream);
            self.info.pixel_aspect = pixel_aspect(&stream, picture);
        }
        if self.turn != Turn::default() {
            let how = if format.chroma == Chroma::C444 { "" } else { ", chroma interpolated" };
            description += &format!(", turned by {}°{how}", self.turn.degrees());
            if self.turn.degrees() % 180 != 0 {
                let (x, y) = self.info.pixel_aspect;
                self.info.pixel_aspect = (y, x);
            }
        }
        self.decoded = (format, (width, height));
        let format = self.turn.format(format);
        let (width, height) = self.turn.size((width, height));
        self.square = Square::of(self.info.pixel_aspect, (width, height));
        let (format, (width, height)) = match self.square {
            Some(square) => {
                let (x, y) = self.info.pixel_aspect;
                description += &format!(", pixels of {x}:{y} made square");
                (Square::format(format), square.size)
            }
            None => (format, (width, height)),
        };
        self.info.turned = self.turn.degrees();
        self.info.sound = sound_of(&self.input);
        self.info.points = CodePoints {
            primaries: Some(ffi::AVColorPrimaries::from(picture.color_primaries()) as u32),
            transfer: Some(
                ffi::AVColorTransferCharacteristic::from(picture.color_transfer_characteristic()) as u32
            ),
            matrix: Some(ffi::AVColorSpace::from(picture.color_space()) as u32),
        }
        .known();
        if as_.rate.is_none() && timing.rate.is_none() {
            description += ", 24 frames/s (untagged: assumed)";
        }
        if let Some(text) = timecode_text(&self.input, self.stream) {
            // Timecode counts at the file's own rate, whatever rate it is played at.
            let counting = Counting::of(timing.rate.unwrap_or(rate), says_drop(&text));
            match counting.count(&text) {
                Ok(count) => {
                    self.info.timecode_start = Some(count);
                    self.info.drop_frame = counting.is_dropping();
                }
                Err(_) => description += &format!(", timecode {text} does not fit the rate"),
            }
        }
        (self.info.frames, self.info.rate) = (frames, rate);
        (self.info.width, self.info.height, self.info.format) = (width, height, format);
        (self.info.description, self.info.assumed) = (description, tags.assumed);
        self.clock = timing.clock;
        self.layout = layout;
        Ok(())
    }

    /// Decodes on until frame `target` is in `self.picture`.
    fn decode_until(&mut self, target: u64) -> Outcome {
        let mut failures = 0;
        self.held = None;
        loop {
            match self.decoder.receive_frame(&mut self.picture) {
                Ok(()) => {
                    let number = match self.clock.number(self.picture.timestamp()) {
                        Ok(number) => number.unwrap_or(self.run.next),
                        // Belongs to no frame: before the start, or dropped by an edit list.
                        Err(()) => continue,
                    };
                    self.run.next = number + 1;
                    if number < target {
                        continue;
                    }
                    self.held = Some(number);
                    return if number == target { Outcome::Found } else { Outcome::Past };
                }
                Err(ffmpeg_next::Error::Eof) => return Outcome::Ended,
                Err(ffmpeg_next::Error::Other { errno }) if errno == ffmpeg_next::error::EAGAIN => {
                    match self.feed(target) {
                        Ok(()) => {}
                        Err(Some(said)) => {
                            self.run.trouble = Some(said);
                            failures += 1;
                        }
                        Err(None) => return Outcome::Past,
                    }
                }
                Err(e) => {
                    self.run.trouble = Some(e.to_string());
                    failures += 1;
                }
            }
            if failures > FAILURES {
                return Outcome::Ended;
            }
        }
    }

    /// Sends the next packet of the stream, or the end. `Err(None)`: a seek landed behind `target`.
    fn feed(&mut self, target: u64) -> Result<(), Option<String>> {
        let said = |e: ffmpeg_next::Error| Some(e.to_string());
        loop {
            let mut packet = Packet::empty();
            match packet.read(&mut self.input) {
                Ok(()) => {}
                Err(ffmpeg_next::Error::InvalidData) => {
                    return Err(Some("damaged data in the file".into()));
                }
                Err(e) => {
                    if e != ffmpeg_next::Error::Eof {
                        self.run.trouble = said(e);
                    }
                    self.run.drained = true;
                    return self.decoder.send_eof().map_err(said);
                }
            }
            if packet.stream() != self.stream {
                continue;
            }
            if packet.is_corrupt() {
                return Err(Some("the file ends, or is damaged, inside this frame".into()));
            }
            let number = self.clock.number(packet.pts()).ok().flatten();
            if std::mem::take(&mut self.run.landing) && number.is_some_and(|n| n > target) {
                return Err(None);
            }
            // Frames that nothing else is predicted from need not be decoded on the way.
            if self.intra && number.is_some_and(|n| n < target) {
                continue;
            }
            return self.decoder.send_packet(&packet).map_err(said);
        }
    }

    /// Seeks to before `target` and decodes up to it; earlier and earlier if it was not early enough.
    fn seek_and_decode(&mut self, target: u64) -> Result<Outcome, MediaError> {
        let mut early = if self.intra { 0 } else { EARLY };
        loop {
            let from = target.saturating_sub(early);
            if from == 0 || !self.seek(from) {
                self.restart()?;
                return Ok(self.decode_until(target));
            }
            let outcome = self.decode_until(target);
            match outcome {
                Outcome::Found => return Ok(outcome),
                // Frames came and then the end: after an earlier start it would come too.
                Outcome::Ended if self.run.next > 0 => return Ok(outcome),
                _ if early >= EARLIEST => return Ok(outcome),
                _ => early = (early * 4).max(EARLY),
            }
        }
    }

    /// Moves to the last point at or before frame `number` from which the decoder can start.
    fn seek(&mut self, number: u64) -> bool {
        let Some(stamp) = self.clock.stamp(number) else {
            return false;
        };
        // SAFETY: the context is open and the stream exists in it.
        let result = unsafe {
            ffi::av_seek_frame(self.input.as_mut_ptr(), self.stream as i32, stamp, ffi::AVSEEK_FLAG_BACKWARD)
        };
        self.decoder.flush();
        self.run = Run { landing: true, ..Run::default() };
        result >= 0
    }

    /// Opens the file again: the one way to its first frame that works for every container.
    fn restart(&mut self) -> Result<(), MediaError> {
        self.input = open_input(&self.path)?;
        discard_others(&mut self.input, &[self.stream]);
        self.decoder.flush();
        self.run = Run::default();
        Ok(())
    }

    /// A cut may leave a gap before the last frames that an index does not show: takes the times of all
    /// packets instead, once, if they are as many as the index says. Gives whether they were taken.
    fn look_up(&mut self) -> Result<bool, MediaError> {
        if std::mem::replace(&mut self.looked_up, true) || !matches!(self.clock, Clock::Even { .. }) {
            return Ok(false);
        }
        let first = self.clock.stamp(0);
        let mut timing = Timing::of_packets(&self.path, &self.input, self.stream)?;
        timing.begin(first);
        let taken = self.laid.is_none() && timing.frames == self.info.frames;
        if taken {
            self.clock = timing.clock;
        }
        Ok(taken)
    }

    fn pack(&self) -> Result<Frame, MediaError> {
        let (info, picture) = (&self.info, &self.picture);
        let (format, size) = self.decoded;
        if ((picture.width(), picture.height()), picture.format()) != (size, self.pixel) {
            let name = picture.format().descriptor().map_or("unknown", |d| d.name());
            let what = format!("a frame of {}×{} {name} comes in it", picture.width(), picture.height());
            let accepted = format!("frames like its first: {}×{}, {}", size.0, size.1, describe(&format));
            return Err(MediaError::refused(&self.path, what, accepted));
        }
        let refused = |e: crate::picture::FrameError| {
            MediaError::refused(&self.path, e.to_string(), layout::accepted())
        };
        let planes = self.layout.planes(picture, &format, &self.pools);
        let frame = Frame::new(size.0, size.1, format, planes).map_err(refused)?;
        if self.turn == Turn::default() && self.square.is_none() {
            return Ok(frame);
        }
        let (width, height) = self.turn.size(size);
        let upright =
            Frame::new(width, height, self.turn.format(format), self.turn.planes(frame)).map_err(refused)?;
        match self.square {
            None => Ok(upright),
            Some(square) => {
                Frame::new(info.width, info.height, info.format, square.planes(&upright)).map_err(refused)
            }
        }
    }
}

impl Source for Video {
    fn info(&self) -> &ClipInfo {
        &self.info
    }

    fn frame(&mut self, number: u64) -> Result<Frame, MediaError> {
        if number >= self.info.frames {
            return Err(MediaError::PastEnd { file: self.path.clone(), number, frames: self.info.frames });
        }
        let number = self.laid.as_ref().and_then(|l| l.frame(number)).unwrap_or(number);
        if self.held != Some(number) {
            self.run.trouble = None;
            let reach = if self.intra { 1 } else { AHEAD };
            let near =
                !self.run.drained && (self.run.next..self.run.next.saturating_add(reach)).contains(&number);
            // Frames may still be in a drained decoder.
            let in_order = near || (self.run.drained && number == self.run.next);
            let mut outcome = if in_order { self.decode_until(number) } else { Outcome::Past };
            if !matches!(outcome, Outcome::Found) {
                outcome = self.seek_and_decode(number)?;
            }
            let absent = !matches!(outcome, Outcome::Found) && self.run.trouble.is_none();
            if absent && self.look_up()? {
                outcome = self.seek_and_decode(number)?;
            }
            if !matches!(outcome, Outcome::Found) {
                let what = self.run.trouble.take().unwrap_or_else(|| match outcome {
                    Outcome::Ended => "the file ends before it".into(),
                    _ => "the file has no frame at its time".into(),
                });
                return Err(MediaError::Damaged { file: self.path.clone(), number, what });
            }
        }
        let picture = &self.picture;
        if picture.flags().contains(Flags::CORRUPT) || picture.has_decode_errors() {
            let what = "its data are damaged".into();
            return Err(MediaError::Damaged { file: self.path.clone(), number, what });
        }
        self.pack()
    }
}

/// Once a run. FFmpeg writes to standard error unless told not to; what matters comes back as an error.
pub fn start() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // Without it the crate's errors have no text. With this FFmpeg nothing in it can fail.
        let _ = ffmpeg_next::init();
        log::set_level(log::Level::Quiet);
    });
}

pub fn open_input(path: &Path) -> Result<Input, MediaError> {
    // The crate would panic on either.
    let Some(text) = path.to_str().filter(|t| !t.contains('\0')) else {
        return Err(MediaError::refused(path, "the file's name is not UTF-8", "a name in UTF-8"));
    };
    // Without a protocol FFmpeg would look for one in the name.
    let name = format!("file:{text}");
    ffmpeg_next::format::input(&name)
        .map_err(|e| MediaError::refused(path, format!("not readable as video: {e}"), ACCEPTED))
}

/// Other streams are not even read.
pub fn discard_others(input: &mut Input, wanted: &[usize]) {
    for mut stream in input.streams_mut() {
        let discard = if wanted.contains(&stream.index()) {
            ffi::AVDiscard::AVDISCARD_DEFAULT
        } else {
            ffi::AVDiscard::AVDISCARD_ALL
        };
        // SAFETY: the stream belongs to a context that is open and not in use by anyone else.
        unsafe { (*stream.as_mut_ptr()).discard = discard };
    }
}

fn best_stream(path: &Path, input: &Input) -> Result<usize, MediaError> {
    let stream = input.streams().best(media::Type::Video);
    stream.map(|s| s.index()).ok_or_else(|| MediaError::refused(path, "it has no video stream", ACCEPTED))
}

/// A decoder for a stream, and whether its packets decode by themselves.
fn open_decoder(path: &Path, input: &Input, index: usize) -> Result<(decoder::Video, bool), MediaError> {
    let refuse = |e: ffmpeg_next::Error| {
        MediaError::refused(path, format!("its video stream cannot be decoded: {e}"), ACCEPTED)
    };
    let Some(stream) = input.stream(index) else {
        return Err(MediaError::refused(path, "it has no video stream", ACCEPTED));
    };
    let mut context = codec::Context::from_parameters(stream.parameters()).map_err(refuse)?;
    // SAFETY: the descriptor is static data or null.
    let intra = unsafe {
        let descriptor = ffi::avcodec_descriptor_get(context.id().into());
        #[allow(clippy::unnecessary_cast, reason = "the constant's type differs between versions of FFmpeg")]
        let intra_only = ffi::AV_CODEC_PROP_INTRA_ONLY as i32;
        !descriptor.is_null() && (*descriptor).props & intra_only != 0
    };
    let kind = if intra { threading::Type::Slice } else { threading::Type::Frame };
    // A count of 0 is one thread a core.
    context.set_threading(threading::Config { kind, count: 0, ..Default::default() });
    let mut decoder = context.decoder();
    decoder.set_packet_time_base(stream.time_base());
    Ok((decoder.video().map_err(refuse)?, intra))
}

/// "HEVC", "ProRes HQ": short names for what colourists meet, FFmpeg's for the rest.
fn codec_name(decoder: &decoder::Video) -> String {
    let profile = || {
        // SAFETY: the context is open; the name is static text or null.
        let name = unsafe { ffi::avcodec_profile_name(decoder.id().into(), (*decoder.as_ptr()).profile) };
        if name.is_null() {
            return String::new();
        }
        // SAFETY: not null, so it is a terminated text.
        unsafe { std::ffi::CStr::from_ptr(name) }.to_string_lossy().into_owned()
    };
    match decoder.id() {
        codec::Id::HEVC => "HEVC".into(),
        codec::Id::H264 => "H.264".into(),
        codec::Id::PRORES => format!("ProRes {}", profile()).trim_end().to_owned(),
        codec::Id::DNXHD => match profile() {
            name if name.is_empty() => "DNxHD".into(),
            name => name.replacen("DNXH", "DNxH", 1),
        },
        id => decoder.codec().map_or_else(|| format!("{id:?}"), |c| c.name().to_uppercase()),
    }
}

/// The streams of sound, in words.
fn sound_of(input: &Input) -> Vec<String> {
    let of = |s: ffmpeg_next::Stream<'_>| {
        let parameters = s.parameters();
        // SAFETY: the parameters belong to a stream of an open context.
        let (channels, rate) = unsafe {
            let p = &*parameters.as_ptr();
            (p.ch_layout.nb_channels, p.sample_rate)
        };
        let kind = parameters.id();
        (parameters.medium() == media::Type::Audio)
            .then(|| format!("{}, {channels} channels, {rate} samples/s", kind.name()))
    };
    input.streams().filter_map(of).collect()
}

/// Width to height of a pixel, as the container or the codec says; 1:1 where neither does.
fn pixel_aspect(stream: &ffmpeg_next::Stream<'_>, picture: &frame::Video) -> (u32, u32) {
    // SAFETY: the stream belongs to an open context.
    let of_stream = unsafe { (*stream.as_ptr()).sample_aspect_ratio };
    let all = [of_stream.into(), picture.aspect_ratio()];
    let usable = |r: &ffmpeg_next::Rational| r.numerator() > 0 && r.denominator() > 0;
    all.into_iter().find(usable).map_or((1, 1), |r| {
        let r = r.reduce();
        (r.numerator() as u32, r.denominator() as u32)
    })
}

fn timecode_text(input: &Input, stream: usize) -> Option<String> {
    let of = |s: ffmpeg_next::Stream<'_>| s.metadata().get("timecode").map(str::to_owned);
    input
        .stream(stream)
        .and_then(of)
        .or_else(|| input.metadata().get("timecode").map(str::to_owned))
        .or_else(|| input.streams().find_map(of))
}

/// What a frame says its numbers mean, with overrides and assumptions, and words for them.
struct Tags {
    /// None for RGB.
    matrix: Option<YcbcrMatrix>,
    range: Range,
    siting: Siting,
    notes: String,
    /// Range or weights.
    assumed: bool,
}

impl Tags {
    fn of(
        path: &Path,
        picture: &frame::Video,
        layout: &Layout,
        as_: &Interpretation,
    ) -> Result<Self, MediaError> {
        const ASSUMED: &str = " (untagged: assumed)";
        const BY_HAND: &str = " (set by hand)";
        let ycbcr = layout.chroma.is_some();
        let (range, range_note) = match (as_.range, picture.color_range()) {
            (Some(range), _) => (range, BY_HAND),
            (None, color::Range::MPEG) => (Range::Narrow, ""),
            (None, color::Range::JPEG) => (Range::Full, ""),
            // The pixel format's name says so.
            (None, _) if layout.full => (Range::Full, ""),
            (None, _) if ycbcr => (Range::Narrow, ASSUMED),
            (None, _) => (Range::Full, ASSUMED),
        };
        if !ycbcr {
            let (siting, notes) = (Siting::Left, range_note.to_owned());
            let assumed = range_note == ASSUMED;
            return Ok(Self { matrix: None, range, siting, notes, assumed });
        }
        let (matrix, matrix_note) = match (as_.matrix, picture.color_space()) {
            (Some(matrix), _) => (matrix, BY_HAND),
            (None, color::Space::BT709) => (YcbcrMatrix::Bt709, ""),
            (None, color::Space::BT470BG | color::Space::SMPTE170M) => (YcbcrMatrix::Bt601, ""),
            (None, color::Space::BT2020NCL) => (YcbcrMatrix::Bt2020, ""),
            (None, color::Space::Unspecified | color::Space::Reserved) if picture.height() <= 576 => {
                (YcbcrMatrix::Bt601, ASSUMED)
            }
            (None, color::Space::Unspecified | color::Space::Reserved) => (YcbcrMatrix::Bt709, ASSUMED),
            (None, other) => {
                let what = format!("its Y'CbCr matrix is tagged {other:?}");
                let accepted = "BT.601, BT.709, BT.2020 non-constant luminance, or a matrix set by hand";
                return Err(MediaError::refused(path, what, accepted));
            }
        };
        let matrix_name = match matrix {
            YcbcrMatrix::Bt601 => "BT.601",
            YcbcrMatrix::Bt709 => "BT.709",
            YcbcrMatrix::Bt2020 => "BT.2020",
        };
        let assumed = [range_note, matrix_note].contains(&ASSUMED);
        // One note serves both where it is the same.
        let range_note = if range_note == matrix_note { "" } else { range_note };
        let mut notes = format!("{range_note}, {matrix_name}{matrix_note}");
        let (siting, siting_note) = match (as_.siting, picture.chroma_location()) {
            (Some(siting), _) => (siting, BY_HAND),
            (None, Location::Center) => (Siting::Centre, ""),
            (None, Location::TopLeft) => (Siting::TopLeft, ""),
            (None, Location::Top | Location::Bottom | Location::BottomLeft) => {
                (Siting::Left, " (tagged otherwise: not read)")
            }
            (None, _) => (Siting::Left, ""),
        };
        let siting_name = match siting {
            Siting::Left => "left",
            Siting::Centre => "centre",
            Siting::TopLeft => "top left",
        };
        if layout.chroma != Some(Chroma::C444) && (siting != Siting::Left || !siting_note.is_empty()) {
            notes += &format!(", chroma sited {siting_name}{siting_note}");
        }
        Ok(Self { matrix: Some(matrix), range, siting, notes, assumed })
    }
}
