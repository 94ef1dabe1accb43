//! Packets, sound and timecode to a movie.

use std::path::Path;

use ffmpeg_next::format::context::Output;
use ffmpeg_next::{Dictionary, Packet, codec, ffi, format};

use super::encode::said;
use super::sound::{self, Sound};
use super::{Container, ContentLight, Group, Mastering, MovieEncoder, MovieSettings, SoundRange};
use crate::media::MediaError;
use crate::media::image_file::Temporary;

/// What goes into a movie beside its pictures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// The sound, of one source.
    pub sound: Option<SoundRange>,
    /// The first frame's label, "01:00:00:00".
    pub timecode: Option<String>,
}

/// Writes the movie of `groups`, in their order, to `path`; gives what was left out. The file appears at once and complete:
/// it is written as `work` first, on the same file system.
///
/// # Errors
/// A group that cannot be read; what the system says, a full disk for one.
pub fn join(
    settings: &MovieSettings,
    groups: &mut dyn Iterator<Item = Result<Group, MediaError>>,
    beside: &Beside,
    light: Option<ContentLight>,
    work: &Path,
    path: &Path,
) -> Result<Vec<String>, MediaError> {
    let mut notes = settings.tags.notes.clone();
    let temporary = Temporary(work.to_owned());
    let failed = |e| said(path, "the movie cannot be written", e);
    let Some(text) = work.to_str().filter(|t| !t.contains('\0')) else {
        return Err(MediaError::refused(path, "the file's name is not UTF-8", "a name in UTF-8"));
    };
    let encoder = MovieEncoder::open(settings, path)?;
    let mut out = format::output_as(&format!("file:{text}"), settings.container.muxer()).map_err(failed)?;
    let base = (settings.rate.den() as i32, settings.rate.num() as i32);
    {
        let mut stream = out.add_stream_with(encoder.context()).map_err(failed)?;
        stream.set_time_base(base);
        stream.set_rate((base.1, base.0));
        stream.set_avg_frame_rate((base.1, base.0));
        // SAFETY: the stream and its parameters belong to a context that nothing else uses yet.
        unsafe {
            let stream = stream.as_mut_ptr();
            // Players ask for hvc1, parameter sets beside the stream; FFmpeg's own default is hev1.
            if settings.format.encoder == "libx265" && settings.container != Container::Mkv {
                (*(*stream).codecpar).codec_tag = u32::from_le_bytes(*b"hvc1");
            }
            if let Some(mastering) = &settings.tags.mastering {
                describe_mastering(stream, mastering);
            }
            if let Some(light) = light {
                describe_light(stream, light);
            }
        }
    }
    let mut sound =
        beside.sound.as_ref().and_then(|range| sound::open(range, settings.container, &mut notes));
    for stream in sound.iter().flat_map(|s| &s.streams) {
        let mut to = out.add_stream(ffmpeg_next::encoder::find(codec::Id::None)).map_err(failed)?;
        to.set_parameters(stream.parameters.clone());
        to.set_time_base(stream.base);
        // SAFETY: as above. The tag is the other container's.
        unsafe { (*(*to.as_mut_ptr()).codecpar).codec_tag = 0 };
    }
    let mut metadata = Dictionary::new();
    metadata.set("encoder", concat!("greyhold ", env!("CARGO_PKG_VERSION")));
    if let Some(timecode) = &beside.timecode {
        metadata.set("timecode", timecode);
    }
    out.set_metadata(metadata);
    let mut options = Dictionary::new();
    if settings.container == Container::Mp4 {
        // The index first, so that it plays while it loads.
        options.set("movflags", "+faststart");
    }
    // Two writes of one movie are the same bytes.
    options.set("fflags", "+bitexact");
    out.write_header_with(options).map_err(failed)?;
    write_packets(&mut out, settings, groups, sound.as_mut(), base).map_err(|e| match e {
        Trouble::Ours(e) => e,
        Trouble::Theirs(e) => failed(e),
    })?;
    out.write_trailer().map_err(failed)?;
    // SAFETY: the context is open with a file of its own.
    let late = unsafe {
        let file = (*out.as_mut_ptr()).pb;
        ffi::avio_flush(file);
        (*file).error
    };
    if late < 0 {
        return Err(failed(late.into()));
    }
    drop(out);
    temporary.keep_as(path)?;
    Ok(notes)
}

enum Trouble {
    Ours(MediaError),
    Theirs(ffmpeg_next::Error),
}

fn write_packets(
    out: &mut Output,
    settings: &MovieSettings,
    groups: &mut dyn Iterator<Item = Result<Group, MediaError>>,
    mut sound: Option<&mut Sound>,
    base: (i32, i32),
) -> Result<(), Trouble> {
    let bases: Vec<_> = out.streams().map(|s| s.time_base()).collect();
    // How many frames decoding is ahead of showing: the deepest that the kind's encoders are told to go (three frames with
    // one of them a reference).
    let ahead = if settings.format.intra { 0 } else { 2 };
    let mut decoded = 0i64;
    for group in groups {
        for frame in group.map_err(Trouble::Ours)?.frames {
            let mut packet = Packet::copy(&frame.data);
            packet.set_stream(0);
            packet.set_pts(Some(frame.number as i64));
            packet.set_dts(Some((decoded - ahead).min(frame.number as i64)));
            packet.set_duration(1);
            if frame.key {
                packet.set_flags(codec::packet::Flags::KEY);
            }
            packet.rescale_ts(base, bases[0]);
            decoded += 1;
            packet.write_interleaved(out).map_err(Trouble::Theirs)?;
            if let Some(sound) = sound.as_deref_mut() {
                let until = decoded as f64 * f64::from(base.0) / f64::from(base.1);
                write_sound(out, sound, &bases, Some(until))?;
            }
        }
    }
    match sound {
        Some(sound) => write_sound(out, sound, &bases, None),
        None => Ok(()),
    }
}

/// Writes the sound that begins before a time in seconds, or all that is left.
fn write_sound(
    out: &mut Output,
    sound: &mut Sound,
    bases: &[ffmpeg_next::Rational],
    until: Option<f64>,
) -> Result<(), Trouble> {
    while let Some((at, mut packet)) = sound.next() {
        let base = sound.streams[at].base;
        let begins = packet.pts().unwrap_or(0) as f64 * f64::from(base);
        if until.is_some_and(|until| begins > until) {
            sound.hold(at, packet);
            return Ok(());
        }
        packet.set_stream(at + 1);
        packet.set_position(-1);
        packet.rescale_ts(base, bases[at + 1]);
        packet.write_interleaved(out).map_err(Trouble::Theirs)?;
    }
    Ok(())
}

/// FFmpeg's `AVMasteringDisplayMetadata`, which the bindings lack.
#[repr(C)]
struct MasteringDisplay {
    primaries: [[ffi::AVRational; 2]; 3],
    white: [ffi::AVRational; 2],
    least: ffi::AVRational,
    most: ffi::AVRational,
    has_primaries: i32,
    has_luminance: i32,
}

/// FFmpeg's `AVContentLightMetadata`.
#[repr(C)]
struct LightLevel {
    most: u32,
    most_mean: u32,
}

/// # Safety
/// `stream` belongs to a context that nothing else uses.
unsafe fn beside<T>(stream: *mut ffi::AVStream, kind: ffi::AVPacketSideDataType, value: T) {
    // SAFETY: the caller's promise; FFmpeg's buffers are aligned for any of its structs and as large as asked for.
    unsafe {
        let to = ffi::av_stream_new_side_data(stream, kind, size_of::<T>() as _).cast::<T>();
        if !to.is_null() {
            to.write(value);
        }
    }
}

unsafe fn describe_mastering(stream: *mut ffi::AVStream, m: &Mastering) {
    let over = |value: f64, den: i32| ffi::AVRational { num: (value * f64::from(den)).round() as i32, den };
    let xy = |i: usize| m.chromaticities[i].map(|v| over(v, 50_000));
    let value = MasteringDisplay {
        primaries: [xy(0), xy(1), xy(2)],
        white: xy(3),
        least: over(m.luminance[0], 10_000),
        most: over(m.luminance[1], 10_000),
        has_primaries: 1,
        has_luminance: 1,
    };
    // SAFETY: the caller's promise.
    unsafe { beside(stream, ffi::AVPacketSideDataType::AV_PKT_DATA_MASTERING_DISPLAY_METADATA, value) }
}

unsafe fn describe_light(stream: *mut ffi::AVStream, light: ContentLight) {
    let value = LightLevel { most: light.most.round() as u32, most_mean: light.most_mean.round() as u32 };
    // SAFETY: the caller's promise.
    unsafe { beside(stream, ffi::AVPacketSideDataType::AV_PKT_DATA_CONTENT_LIGHT_LEVEL, value) }
}
