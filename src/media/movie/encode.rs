//! Pictures to packets, through FFmpeg's encoders.

use std::path::{Path, PathBuf};

use ffmpeg_next::format::Pixel;
use ffmpeg_next::{Dictionary, Packet, codec, encoder, ffi, frame};

use super::{Coded, MovieSettings, Tags};
use crate::media::MediaError;
use crate::media::sources::start_ffmpeg;
use crate::picture::{Packed, Siting};

/// An encoder's threads, as many everywhere: what x264 and x265 write depends on their number.
const THREADS: i32 = 4;

/// Pictures to packets. One takes frames that follow each other; what it gives holds no frame of another encoder.
pub struct MovieEncoder {
    encoder: encoder::video::Encoder,
    picture: frame::Video,
    path: PathBuf,
    wide: bool,
}

pub(super) fn said(path: &Path, doing: &str, e: ffmpeg_next::Error) -> MediaError {
    match e {
        ffmpeg_next::Error::Other { errno } if errno != ffmpeg_next::error::EINVAL => {
            MediaError::io(path, "written", std::io::Error::from_raw_os_error(errno))
        }
        e => MediaError::refused(path, format!("{doing}: {e}"), "settings that FFmpeg's encoders take"),
    }
}

/// A context with everything set, not opened.
fn prepared(
    settings: &MovieSettings,
    path: &Path,
) -> Result<(encoder::video::Video, Dictionary<'static>), MediaError> {
    start_ffmpeg();
    let format = settings.format;
    let codec = encoder::find_by_name(format.encoder).ok_or_else(|| {
        let what = format!(
            "this FFmpeg was built without the encoder {}, which {} needs",
            format.encoder, format.name
        );
        MediaError::refused(
            path,
            what,
            "another --format, or FFmpeg's libraries with that encoder (Debian's have it)",
        )
    })?;
    let pixel: Pixel = format.pixel.parse().unwrap_or(Pixel::None);
    let refuse = |e| said(path, "the encoder cannot be set up", e);
    let mut video = codec::Context::new_with_codec(codec).encoder().video().map_err(refuse)?;
    video.set_width(settings.size.0);
    video.set_height(settings.size.1);
    video.set_format(pixel);
    let rate = (settings.rate.num() as i32, settings.rate.den() as i32);
    video.set_time_base((rate.1, rate.0));
    video.set_frame_rate(Some(rate));
    video.set_aspect_ratio((1, 1));
    video.set_gop(settings.group() as u32);
    video.set_flags(codec::Flags::GLOBAL_HEADER);
    let pixels = settings.pixels();
    let rgb = format.chroma.is_none();
    let tags = &settings.tags;
    // SAFETY: the context is there and not opened yet; the numbers are values of these enumerations, which are H.273's.
    unsafe {
        let c = &mut *video.as_mut_ptr();
        c.color_primaries = std::mem::transmute::<u32, ffi::AVColorPrimaries>(tags.primaries.into());
        c.color_trc = std::mem::transmute::<u32, ffi::AVColorTransferCharacteristic>(tags.transfer.into());
        c.colorspace = std::mem::transmute::<u32, ffi::AVColorSpace>(tags.matrix_code(rgb).into());
        c.color_range =
            if rgb { ffi::AVColorRange::AVCOL_RANGE_JPEG } else { ffi::AVColorRange::AVCOL_RANGE_MPEG };
        if pixels.chroma.divisors() != (1, 1) {
            c.chroma_sample_location = match pixels.siting {
                Siting::Left => ffi::AVChromaLocation::AVCHROMA_LOC_LEFT,
                Siting::Centre => ffi::AVChromaLocation::AVCHROMA_LOC_CENTER,
                Siting::TopLeft => ffi::AVChromaLocation::AVCHROMA_LOC_TOPLEFT,
            };
        }
        c.thread_count = THREADS;
    }
    let mut options = Dictionary::new();
    for (key, value) in format.options {
        options.set(key, value);
    }
    if let Some(factor) = settings.factor.or(format.factor) {
        options.set("crf", &factor.to_string());
    }
    match format.encoder {
        "libx264" => options.set("x264-params", &x264(tags)),
        "libx265" => options.set("x265-params", &x265(tags, settings.group())),
        _ => {}
    }
    Ok((video, options))
}

/// ST 2086 in the units of H.265's annex D: 0.00002 of x and y, 0.0001 cd/m².
fn mastering(tags: &Tags) -> Option<String> {
    let m = tags.mastering?;
    let xy = |i: usize| m.chromaticities[i].map(|v| (v * 50_000.0).round());
    let [r, g, b, w] = [0, 1, 2, 3].map(xy);
    let [least, most] = m.luminance.map(|v| (v * 10_000.0).round());
    Some(format!(
        "G({},{})B({},{})R({},{})WP({},{})L({most},{least})",
        g[0], g[1], b[0], b[1], r[0], r[1], w[0], w[1]
    ))
}

fn x264(tags: &Tags) -> String {
    let mut text = "open-gop=0:bframes=3".to_owned();
    if let Some(m) = mastering(tags) {
        text += &format!(":mastering-display={m}");
    }
    text
}

fn x265(tags: &Tags, group: u64) -> String {
    let mut text = format!(
        "log-level=none:open-gop=0:keyint={group}:min-keyint={group}:scenecut=0:bframes=3:frame-threads=2"
    );
    if let Some(m) = mastering(tags) {
        text += &format!(":cll=0:master-display={m}");
    }
    text
}

impl MovieEncoder {
    /// An encoder for movies of `settings`. `path` is for messages.
    ///
    /// # Errors
    /// That FFmpeg has no such encoder, and why it refuses.
    pub fn open(settings: &MovieSettings, path: &Path) -> Result<Self, MediaError> {
        let (video, options) = prepared(settings, path)?;
        let refuse = |e| said(path, "the encoder cannot be opened", e);
        let encoder = video.open_with(options).map_err(refuse)?;
        let mut picture = frame::Video::new(encoder.format(), settings.size.0, settings.size.1);
        // Some encoders go by what their frames say.
        // SAFETY: the context is open; the frame is ours alone.
        unsafe {
            let (c, f) = (&*encoder.as_ptr(), &mut *picture.as_mut_ptr());
            f.color_primaries = c.color_primaries;
            f.color_trc = c.color_trc;
            f.colorspace = c.colorspace;
            f.color_range = c.color_range;
            f.chroma_location = c.chroma_sample_location;
        }
        let wide = settings.format.depth > 8;
        Ok(Self { encoder, picture, path: path.to_owned(), wide })
    }

    /// The opened context, for what a container is told.
    pub(super) fn context(&self) -> &codec::Context {
        &self.encoder.0.0
    }

    /// Takes frame `number` and gives what has become ready.
    ///
    /// # Errors
    /// What the encoder says.
    pub fn send(&mut self, packed: &Packed, number: u64) -> Result<Vec<Coded>, MediaError> {
        let failed = |e| said(&self.path, "a frame cannot be encoded", e);
        // The encoder may still hold the last frame's planes.
        // SAFETY: the frame has buffers of its own format and size.
        let writable = unsafe { ffi::av_frame_make_writable(self.picture.as_mut_ptr()) };
        if writable < 0 {
            return Err(failed(writable.into()));
        }
        // FFmpeg keeps green first.
        let order = if packed.format.model == crate::picture::Model::Rgb { [2, 0, 1] } else { [0, 1, 2] };
        for (plane, to) in packed.planes.iter().zip(order) {
            let width = packed.format.plane_size(if to == 0 { 0 } else { to }, packed.width, packed.height).0
                as usize;
            let stride = self.picture.stride(to);
            let lines = self.picture.data_mut(to).chunks_mut(stride);
            for (line, codes) in lines.zip(plane.chunks_exact(width)) {
                if self.wide {
                    for (out, code) in line.chunks_exact_mut(2).zip(codes) {
                        out.copy_from_slice(&code.to_le_bytes());
                    }
                } else {
                    for (out, code) in line.iter_mut().zip(codes) {
                        *out = *code as u8;
                    }
                }
            }
        }
        self.picture.set_pts(Some(number as i64));
        self.picture.set_kind(ffmpeg_next::picture::Type::None);
        self.encoder.send_frame(&self.picture).map_err(failed)?;
        self.receive()
    }

    /// Gives the rest.
    ///
    /// # Errors
    /// What the encoder says.
    pub fn finish(mut self) -> Result<Vec<Coded>, MediaError> {
        let end = self.encoder.send_eof();
        end.map_err(|e| said(&self.path, "the last frames cannot be encoded", e))?;
        self.receive()
    }

    fn receive(&mut self) -> Result<Vec<Coded>, MediaError> {
        let mut out = Vec::new();
        loop {
            let mut packet = Packet::empty();
            match self.encoder.receive_packet(&mut packet) {
                Ok(()) => {
                    let (number, data) = (packet.pts().unwrap_or(0), packet.data().unwrap_or_default());
                    out.push(Coded {
                        number: number.max(0) as u64,
                        key: packet.is_key(),
                        data: data.to_vec(),
                    });
                }
                Err(ffmpeg_next::Error::Eof) => return Ok(out),
                Err(ffmpeg_next::Error::Other { errno }) if errno == ffmpeg_next::error::EAGAIN => {
                    return Ok(out);
                }
                Err(e) => return Err(said(&self.path, "a frame cannot be encoded", e)),
            }
        }
    }
}
