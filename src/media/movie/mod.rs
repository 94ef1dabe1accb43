//! Movies out: what kinds there are, and what one is written with.
//!
//! A movie is made in two steps, so that it can be made in pieces, stopped and taken up again. [`MovieEncoder`] turns pictures into
//! packets, which [`Group`] keeps in files of their own: each holds frames that need no others to be decoded. [`join`] puts
//! the packets of all groups into a container, with sound, timecode and what became known only while they were made.

#[cfg(not(feature = "video"))]
mod absent;
#[cfg(feature = "video")]
mod encode;
#[cfg(feature = "video")]
mod join;
mod packets;
#[cfg(feature = "video")]
mod sound;
mod tags;

use std::path::Path;

#[cfg(not(feature = "video"))]
pub use absent::{Beside, MovieEncoder, SoundRange, join};
#[cfg(feature = "video")]
pub use encode::MovieEncoder;
#[cfg(feature = "video")]
pub use join::{Beside, join};
pub use packets::{Coded, Group};
#[cfg(feature = "video")]
pub use sound::SoundRange;
pub use tags::{ContentLight, LightMeter, Mastering, Tags};

use super::{MediaError, Rate};
use crate::colour::Range;
use crate::picture::{Chroma, Format, MAX_SIDE, Model, Sample, Siting};

/// A kind of movie.
#[derive(Debug, PartialEq)]
pub struct MovieFormat {
    /// What commands call it.
    pub key: &'static str,
    /// What people call it.
    pub name: &'static str,
    /// FFmpeg's encoder.
    pub encoder: &'static str,
    /// FFmpeg's pixel format.
    pub pixel: &'static str,
    /// Bits of a code.
    pub depth: u32,
    /// Size of the chroma planes; `None`: the planes are R, G, B.
    pub chroma: Option<Chroma>,
    /// Does every frame stand for itself?
    pub intra: bool,
    /// Containers that it goes into, the usual one first.
    pub containers: &'static [Container],
    /// The encoder's options.
    options: &'static [(&'static str, &'static str)],
    /// The constant rate factor of encoders that have one: less is better and larger.
    pub factor: Option<u32>,
}

/// What a movie's streams lie in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Container {
    /// QuickTime File Format.
    Mov,
    /// ISO/IEC 14496-14.
    Mp4,
    /// Matroska, RFC 9559.
    Mkv,
}

impl Container {
    /// Every one of them.
    pub const ALL: [Self; 3] = [Self::Mov, Self::Mp4, Self::Mkv];

    /// What commands and file names call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Mov => "mov",
            Self::Mp4 => "mp4",
            Self::Mkv => "mkv",
        }
    }

    /// The one called `key`.
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.key() == key)
    }

    #[cfg(feature = "video")]
    const fn muxer(self) -> &'static str {
        match self {
            Self::Mov => "mov",
            Self::Mp4 => "mp4",
            Self::Mkv => "matroska",
        }
    }
}

const MASTERS: &[Container] = &[Container::Mov, Container::Mkv];
const DEVICES: &[Container] = &[Container::Mp4, Container::Mov, Container::Mkv];

const fn prores(key: &'static str, name: &'static str, profile: &'static str, chroma: Chroma) -> MovieFormat {
    let options = match profile.as_bytes() {
        b"0" => &[("profile", "0"), ("vendor", "apl0")],
        b"2" => &[("profile", "2"), ("vendor", "apl0")],
        b"3" => &[("profile", "3"), ("vendor", "apl0")],
        _ => &[("profile", "4"), ("vendor", "apl0")],
    };
    let pixel = if matches!(chroma, Chroma::C444) { "yuv444p10le" } else { "yuv422p10le" };
    let (encoder, chroma, factor) = ("prores_ks", Some(chroma), None);
    MovieFormat {
        key,
        name,
        encoder,
        pixel,
        depth: 10,
        chroma,
        intra: true,
        containers: MASTERS,
        options,
        factor,
    }
}

/// Every kind of movie, the usual master first.
pub static MOVIES: &[MovieFormat] = &[
    prores("prores-422-hq", "ProRes 422 HQ", "3", Chroma::C422),
    prores("prores-422", "ProRes 422", "2", Chroma::C422),
    prores("prores-422-proxy", "ProRes 422 Proxy", "0", Chroma::C422),
    prores("prores-4444", "ProRes 4444", "4", Chroma::C444),
    MovieFormat {
        key: "dnxhr-hqx",
        name: "DNxHR HQX (SMPTE ST 2019-1)",
        encoder: "dnxhd",
        pixel: "yuv422p10le",
        depth: 10,
        chroma: Some(Chroma::C422),
        intra: true,
        containers: MASTERS,
        options: &[("profile", "dnxhr_hqx")],
        factor: None,
    },
    MovieFormat {
        key: "ffv1",
        name: "FFV1, RGB of 16 bits, lossless (RFC 9043)",
        encoder: "ffv1",
        pixel: "gbrp16le",
        depth: 16,
        chroma: None,
        intra: true,
        containers: &[Container::Mkv],
        options: &[
            ("level", "3"),
            ("slices", "4"),
            ("slicecrc", "1"),
            ("context", "0"),
            ("coder", "range_def"),
        ],
        factor: None,
    },
    MovieFormat {
        key: "h264",
        name: "H.264, 4:2:0 of 8 bits",
        encoder: "libx264",
        pixel: "yuv420p",
        depth: 8,
        chroma: Some(Chroma::C420),
        intra: false,
        containers: DEVICES,
        options: &[("preset", "medium"), ("profile", "high")],
        factor: Some(18),
    },
    MovieFormat {
        key: "h264-10",
        name: "H.264, 4:2:2 of 10 bits",
        encoder: "libx264",
        pixel: "yuv422p10le",
        depth: 10,
        chroma: Some(Chroma::C422),
        intra: false,
        containers: DEVICES,
        options: &[("preset", "medium")],
        factor: Some(14),
    },
    MovieFormat {
        key: "hevc-10",
        name: "HEVC Main 10, 4:2:0 of 10 bits",
        encoder: "libx265",
        pixel: "yuv420p10le",
        depth: 10,
        chroma: Some(Chroma::C420),
        intra: false,
        containers: DEVICES,
        options: &[("preset", "medium")],
        factor: Some(16),
    },
];

impl MovieFormat {
    /// The one called `key`.
    pub fn from_key(key: &str) -> Option<&'static Self> {
        MOVIES.iter().find(|m| m.key == key)
    }

    /// The encoder's options, by FFmpeg's names.
    pub fn encoder_options(&self) -> Vec<(String, String)> {
        let own = self.options.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned()));
        own.chain(self.factor.map(|f| ("crf".to_owned(), f.to_string()))).collect()
    }

    /// The smallest pictures that its encoder takes.
    pub fn least(&self) -> (u32, u32) {
        // FFmpeg's own limit; x264 and x265 need a few blocks.
        match self.encoder {
            "dnxhd" => (256, 120),
            "libx264" | "libx265" => (32, 32),
            _ => (1, 1),
        }
    }

    /// Are its codes dithered? One code of 16 bits is far under what dither is for.
    pub fn dithers(&self) -> bool {
        self.depth < 16
    }
}

/// What a movie is written with.
#[derive(Clone, Debug, PartialEq)]
pub struct MovieSettings {
    /// Its kind.
    pub format: &'static MovieFormat,
    /// Where its streams lie.
    pub container: Container,
    /// Pixels across and down.
    pub size: (u32, u32),
    /// Frames a second.
    pub rate: Rate,
    /// What its codes mean.
    pub tags: Tags,
    /// The constant rate factor in place of the kind's own.
    pub factor: Option<u32>,
}

impl MovieSettings {
    /// Frames that lean on each other: one, or two seconds.
    pub fn group(&self) -> u64 {
        if self.format.intra { 1 } else { u64::from(self.rate.nominal()) * 2 }
    }

    /// What the samples of its frames mean.
    pub fn pixels(&self) -> Format {
        let sample = if self.format.depth == 8 { Sample::U8 } else { Sample::U16 };
        let Some(chroma) = self.format.chroma else {
            return Format { depth: self.format.depth, ..Format::rgb(sample, self.format.depth) };
        };
        // BT.2020-2 and BT.2100-2 put 4:2:0 chroma on the upper left sample.
        let siting = if self.tags.wide && chroma == Chroma::C420 { Siting::TopLeft } else { Siting::Left };
        let (model, range) = (Model::Ycbcr(self.tags.matrix), Range::Narrow);
        Format { model, sample, depth: self.format.depth, range, chroma, siting }
    }

    /// Refuses what the kind cannot hold. `path` is for the message.
    ///
    /// # Errors
    /// A size that does not divide, a container or a factor that it does not have.
    pub fn check(&self, path: &Path) -> Result<(), MediaError> {
        let refused = |what: String, accepted: String| Err(MediaError::refused(path, what, accepted));
        let (width, height) = self.size;
        if !(1..=MAX_SIDE).contains(&width) || !(1..=MAX_SIDE).contains(&height) {
            return refused(format!("pictures of {width}×{height}"), format!("sides from 1 to {MAX_SIDE}"));
        }
        let (least_x, least_y) = self.format.least();
        if width < least_x || height < least_y {
            let what = format!("{width}×{height} cannot be written as {}", self.format.name);
            return refused(what, format!("{least_x}×{least_y} or more"));
        }
        let (dx, dy) = self.format.chroma.map_or((1, 1), Chroma::divisors);
        if width % dx != 0 || height % dy != 0 {
            let even = if dy == 1 { "an even width" } else { "even sides" };
            let near = (width.next_multiple_of(dx), height.next_multiple_of(dy));
            let what = format!("{width}×{height} cannot be written as {}", self.format.name);
            return refused(what, format!("{even}, as in --size {}x{}", near.0, near.1));
        }
        if !self.format.containers.contains(&self.container) {
            let keys: Vec<_> = self.format.containers.iter().map(|c| c.key()).collect();
            let what = format!("{} does not go into {}", self.format.name, self.container.key());
            return refused(what, keys.join(", "));
        }
        match (self.factor, self.format.factor) {
            (Some(_), None) => {
                refused(format!("{} has no rate factor", self.format.name), "h264, h264-10, hevc-10".into())
            }
            (Some(f), Some(_)) if f > 51 => refused(format!("a rate factor of {f}"), "0 to 51".into()),
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_that_do_not_divide_are_refused_with_one_that_does() {
        let of = |key, size| MovieSettings {
            format: MovieFormat::from_key(key).unwrap(),
            container: MovieFormat::from_key(key).unwrap().containers[0],
            size,
            rate: Rate::FPS_24,
            tags: Tags::of(&crate::colour::DISPLAYS[0]),
            factor: None,
        };
        for (key, size, near) in [("h264", (99, 53), "100x54"), ("prores-422", (99, 53), "100x53")] {
            let said = of(key, size).check(Path::new("a.mov")).unwrap_err().to_string();
            assert!(said.contains(near) && said.contains("even"), "{said}");
        }
        let said = of("dnxhr-hqx", (96, 54)).check(Path::new("a.mov")).unwrap_err().to_string();
        assert!(said.contains("256×120 or more"), "{said}");
        of("prores-4444", (99, 53)).check(Path::new("a.mov")).unwrap();
        let bad = MovieSettings { container: Container::Mp4, ..of("prores-422", (96, 54)) };
        assert!(bad.check(Path::new("a.mp4")).unwrap_err().to_string().contains("mov, mkv"));
        let bad = MovieSettings { factor: Some(9), ..of("prores-422", (96, 54)) };
        assert!(bad.check(Path::new("a.mov")).unwrap_err().to_string().contains("no rate factor"));
    }
}
