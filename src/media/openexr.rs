//! OpenEXR, through the `exr` crate: half and single floats, kept as they are.

use std::cell::Cell;
use std::io::{self, Seek, Write};
use std::path::Path;

use ::exr::block::samples::FromNativeSample;
use ::exr::image::write::channels::GetPixel;
use ::exr::meta::MetaData;
use ::exr::meta::attribute::{Chromaticities, SampleType, Text};
use ::exr::meta::header::{Header as ExrHeader, ImageAttributes};
use ::exr::prelude::{
    Encoding, Image, Layer, LayerAttributes, ReadChannels, ReadLayers, ReadSpecificChannel, SpecificChannels,
    Vec2, WritableImage, f16,
};

use super::Rate;
use super::error::Problem;
use crate::colour::Primaries;
use crate::picture::{Buffer, MAX_SIDE};

const ACCEPTED: &str = "OpenEXR with flat R, G and B channels of half or float, not subsampled";

/// What an EXR file's header says about the first layer that has R, G and B.
#[derive(Clone, Debug)]
pub(super) struct Header {
    pub width: u32,
    pub height: u32,
    /// Are all three channels half floats?
    pub half: bool,
    pub rate: Option<Rate>,
    /// As written, and whether it drops labels.
    pub timecode: Option<(String, bool)>,
    /// The layer's name, if its channels have a prefix.
    pub layer: Option<String>,
    /// Width to height of a pixel, in thousandths where it is no whole number.
    pub pixel_aspect: (u32, u32),
    channels: [Text; 3],
    /// Where the data window lies in the display window.
    shift: [i64; 2],
}

fn problem(e: ::exr::error::Error) -> Problem {
    Problem::new(format!("not readable as OpenEXR: {e}"), ACCEPTED)
}

/// Reads the header.
pub(super) fn header(path: &Path) -> Result<Header, Problem> {
    let meta = MetaData::read_from_file(path, false).map_err(problem)?;
    if meta.headers.iter().any(|h| h.deep) {
        return Err(Problem::new("deep data", ACCEPTED));
    }
    let (header, prefix) = meta.headers.iter().find_map(|h| Some((h, prefix(h)?))).ok_or_else(|| {
        let names: Vec<String> = meta.headers.iter().flat_map(channel_names).collect();
        Problem::new(format!("no layer has R, G and B; its channels are {}", names.join(", ")), ACCEPTED)
    })?;
    let names = ["R", "G", "B"].map(|c| format!("{prefix}{c}"));
    let mut half = true;
    for channel in &header.channels.list {
        if names.contains(&channel.name.to_string()) {
            if channel.sampling != Vec2(1, 1) {
                return Err(Problem::new(format!("channel {} is subsampled", channel.name), ACCEPTED));
            }
            match channel.sample_type {
                SampleType::F16 => {}
                SampleType::F32 => half = false,
                SampleType::U32 => {
                    return Err(Problem::new(format!("channel {} holds integers", channel.name), ACCEPTED));
                }
            }
        }
    }
    let window = header.shared_attributes.display_window;
    for size in [window.size, header.layer_size] {
        let fits = |v: usize| (1..=MAX_SIDE as usize).contains(&v);
        if !fits(size.x()) || !fits(size.y()) {
            let what = format!("it says {}×{} pixels", size.x(), size.y());
            return Err(Problem::new(what, format!("sides from 1 to {MAX_SIDE}")));
        }
    }
    let at = header.own_attributes.layer_position;
    let code = header.shared_attributes.time_code;
    let rate = header.own_attributes.frames_per_second;
    Ok(Header {
        width: window.size.x() as u32,
        height: window.size.y() as u32,
        half,
        rate: rate.and_then(|(n, d)| Rate::new(u32::try_from(n).ok()?, d)),
        timecode: code.map(|t| {
            let mark = if t.drop_frame { ';' } else { ':' };
            (format!("{:02}:{:02}:{:02}{mark}{:02}", t.hours, t.minutes, t.seconds, t.frame), t.drop_frame)
        }),
        pixel_aspect: match header.shared_attributes.pixel_aspect {
            one if (one - 1.0).abs() < 5e-4 => (1, 1),
            aspect if aspect.is_finite() && (0.01..=100.0).contains(&aspect) => {
                ((aspect * 1000.0).round() as u32, 1000)
            }
            _ => (1, 1),
        },
        layer: Some(prefix.trim_end_matches('.').to_owned()).filter(|p| !p.is_empty()),
        // The names came from `Text`s, so they fit into them.
        channels: names.map(|n| Text::new_or_none(n).unwrap_or_default()),
        shift: [
            i64::from(at.x()) - i64::from(window.position.x()),
            i64::from(at.y()) - i64::from(window.position.y()),
        ],
    })
}

fn channel_names(header: &ExrHeader) -> Vec<String> {
    header.channels.list.iter().map(|c| c.name.to_string()).collect()
}

/// What stands before R, G and B in a layer that has all three; plain names first.
fn prefix(header: &ExrHeader) -> Option<String> {
    let names = channel_names(header);
    let has = |prefix: &str| ["R", "G", "B"].iter().all(|c| names.contains(&format!("{prefix}{c}")));
    if has("") {
        return Some(String::new());
    }
    names.iter().filter_map(|n| n.strip_suffix('R')).find(|p| p.ends_with('.') && has(p)).map(str::to_owned)
}

impl Header {
    /// Reads R, G and B into planes the size of the display window, little-endian. Outside the data window
    /// they are 0; what lies outside the display window is not kept.
    pub fn read(&self, path: &Path, mut planes: [Buffer; 3]) -> Result<[Buffer; 3], Problem> {
        for plane in &mut planes {
            plane.fill(0);
        }
        if self.half {
            self.fill(path, planes, f16::to_le_bytes)
        } else {
            self.fill(path, planes, f32::to_le_bytes)
        }
    }

    fn fill<S: FromNativeSample + Default, const N: usize>(
        &self,
        path: &Path,
        planes: [Buffer; 3],
        bytes: fn(S) -> [u8; N],
    ) -> Result<[Buffer; 3], Problem> {
        let (width, height, shift) = (i64::from(self.width), i64::from(self.height), self.shift);
        // The reader asks for storage once it knows the layer, and gives it back with the layer.
        let planes = Cell::new(Some(planes));
        let put = move |planes: &mut Option<[Buffer; 3]>, at: Vec2<usize>, (r, g, b): (S, S, S)| {
            let (x, y) = (at.x() as i64 + shift[0], at.y() as i64 + shift[1]);
            if (0..width).contains(&x) && (0..height).contains(&y) {
                let i = (y * width + x) as usize * N;
                for (plane, sample) in planes.iter_mut().flatten().zip([r, g, b]) {
                    plane[i..i + N].copy_from_slice(&bytes(sample));
                }
            }
        };
        let [r, g, b] = self.channels.clone();
        let image = ::exr::prelude::read()
            .no_deep_data()
            .largest_resolution_level()
            .specific_channels()
            .required::<S>(r)
            .required::<S>(g)
            .required::<S>(b)
            .collect_pixels(move |_, _| planes.take(), put)
            .first_valid_layer()
            .all_attributes()
            .from_file(path)
            .map_err(problem)?;
        image
            .layer_data
            .channel_data
            .pixels
            .ok_or_else(|| Problem::new("more than one layer was read", ACCEPTED))
    }
}

/// Half floats from singles: NaN becomes 0, the rest is held within ±65504 and rounded to nearest.
struct Halves<'a>(usize, &'a [[f32; 3]]);
/// Singles as they are.
struct Singles<'a>(usize, &'a [[f32; 3]]);

impl GetPixel for Halves<'_> {
    type Pixel = (f16, f16, f16);
    fn get_pixel(&self, at: Vec2<usize>) -> Self::Pixel {
        let [r, g, b] = self.1[at.y() * self.0 + at.x()].map(|v| f16::from_f32(crate::picture::clean(v)));
        (r, g, b)
    }
}

impl GetPixel for Singles<'_> {
    type Pixel = (f32, f32, f32);
    fn get_pixel(&self, at: Vec2<usize>) -> Self::Pixel {
        let [r, g, b] = self.1[at.y() * self.0 + at.x()];
        (r, g, b)
    }
}

/// Writes R, G and B with the chromaticities attribute, losslessly compressed.
pub(super) fn write(
    out: &mut (impl Write + Seek),
    width: u32,
    height: u32,
    pixels: &[[f32; 3]],
    primaries: &Primaries,
    half: bool,
) -> io::Result<()> {
    let xy = |[x, y]: [f64; 2]| Vec2(x as f32, y as f32);
    let size = Vec2(width as usize, height as usize);
    let encoding = Encoding::SMALL_LOSSLESS;
    let layer = LayerAttributes { software_name: Some("greyhold".into()), ..LayerAttributes::default() };
    let mut attributes = ImageAttributes::with_size(size);
    attributes.chromaticities = Some(Chromaticities {
        red: xy(primaries.rgb[0]),
        green: xy(primaries.rgb[1]),
        blue: xy(primaries.rgb[2]),
        white: xy(primaries.white),
    });
    let result = if half {
        let channels = SpecificChannels::rgb(Halves(size.x(), pixels));
        let layer = Layer::new(size, layer, encoding, channels);
        Image { attributes, layer_data: layer }.write().to_buffered(out)
    } else {
        let channels = SpecificChannels::rgb(Singles(size.x(), pixels));
        let layer = Layer::new(size, layer, encoding, channels);
        Image { attributes, layer_data: layer }.write().to_buffered(out)
    };
    result.map_err(|e| match e {
        ::exr::error::Error::Io(e) => e,
        other => io::Error::other(other.to_string()),
    })
}
