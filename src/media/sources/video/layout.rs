//! FFmpeg's pixel formats, and how their samples become three packed planes.

use std::borrow::Cow;
use std::sync::Arc;

use ffmpeg_next::format::Pixel;
use ffmpeg_next::frame;

use crate::picture::{Buffer, Chroma, Format, Pool};

/// How a pixel format stores its samples.
#[derive(Clone, Copy, Debug, Default)]
pub struct Layout {
    /// Size of the chroma planes; none for RGB.
    pub chroma: Option<Chroma>,
    /// Significant bits.
    pub depth: u32,
    /// Does its name say that it is full range?
    pub full: bool,
    /// Is there an alpha channel that is left out?
    pub alpha: bool,
    storage: Storage,
}

#[derive(Clone, Copy, Debug)]
enum Storage {
    /// FFmpeg's planes for our planes 0, 1, 2.
    Planar([usize; 3]),
    /// So many channels side by side in plane 0, R, G, B first.
    Packed(usize),
}

impl Default for Storage {
    fn default() -> Self {
        Self::Planar([0, 1, 2])
    }
}

/// FFmpeg keeps green first.
const GBR: [usize; 3] = [2, 0, 1];

const fn ycbcr(pixel: Pixel, chroma: Chroma, depth: u32) -> (Pixel, Layout) {
    let storage = Storage::Planar([0, 1, 2]);
    (pixel, Layout { chroma: Some(chroma), depth, full: false, alpha: false, storage })
}

const fn rgb(pixel: Pixel, depth: u32, storage: Storage) -> (Pixel, Layout) {
    (pixel, Layout { chroma: None, depth, full: false, alpha: false, storage })
}

const fn full((pixel, layout): (Pixel, Layout)) -> (Pixel, Layout) {
    (pixel, Layout { full: true, ..layout })
}

const fn alpha((pixel, layout): (Pixel, Layout)) -> (Pixel, Layout) {
    (pixel, Layout { alpha: true, ..layout })
}

/// Every pixel format that is taken.
const LAYOUTS: &[(Pixel, Layout)] = &[
    ycbcr(Pixel::YUV420P, Chroma::C420, 8),
    ycbcr(Pixel::YUV422P, Chroma::C422, 8),
    ycbcr(Pixel::YUV444P, Chroma::C444, 8),
    full(ycbcr(Pixel::YUVJ420P, Chroma::C420, 8)),
    full(ycbcr(Pixel::YUVJ422P, Chroma::C422, 8)),
    full(ycbcr(Pixel::YUVJ444P, Chroma::C444, 8)),
    ycbcr(Pixel::YUV420P10LE, Chroma::C420, 10),
    ycbcr(Pixel::YUV422P10LE, Chroma::C422, 10),
    ycbcr(Pixel::YUV444P10LE, Chroma::C444, 10),
    ycbcr(Pixel::YUV420P12LE, Chroma::C420, 12),
    ycbcr(Pixel::YUV422P12LE, Chroma::C422, 12),
    ycbcr(Pixel::YUV444P12LE, Chroma::C444, 12),
    alpha(ycbcr(Pixel::YUVA422P10LE, Chroma::C422, 10)),
    alpha(ycbcr(Pixel::YUVA444P10LE, Chroma::C444, 10)),
    alpha(ycbcr(Pixel::YUVA422P12LE, Chroma::C422, 12)),
    alpha(ycbcr(Pixel::YUVA444P12LE, Chroma::C444, 12)),
    ycbcr(Pixel::YUV420P9LE, Chroma::C420, 9),
    ycbcr(Pixel::YUV422P9LE, Chroma::C422, 9),
    ycbcr(Pixel::YUV444P9LE, Chroma::C444, 9),
    ycbcr(Pixel::YUV420P14LE, Chroma::C420, 14),
    ycbcr(Pixel::YUV422P14LE, Chroma::C422, 14),
    ycbcr(Pixel::YUV444P14LE, Chroma::C444, 14),
    ycbcr(Pixel::YUV420P16LE, Chroma::C420, 16),
    ycbcr(Pixel::YUV422P16LE, Chroma::C422, 16),
    ycbcr(Pixel::YUV444P16LE, Chroma::C444, 16),
    alpha(ycbcr(Pixel::YUVA420P, Chroma::C420, 8)),
    alpha(ycbcr(Pixel::YUVA422P, Chroma::C422, 8)),
    alpha(ycbcr(Pixel::YUVA444P, Chroma::C444, 8)),
    alpha(ycbcr(Pixel::YUVA420P10LE, Chroma::C420, 10)),
    alpha(ycbcr(Pixel::YUVA444P16LE, Chroma::C444, 16)),
    alpha(ycbcr(Pixel::YUVA422P16LE, Chroma::C422, 16)),
    rgb(Pixel::GBRP9LE, 9, Storage::Planar(GBR)),
    rgb(Pixel::GBRP14LE, 14, Storage::Planar(GBR)),
    alpha(rgb(Pixel::GBRAP16LE, 16, Storage::Planar(GBR))),
    rgb(Pixel::GBRP, 8, Storage::Planar(GBR)),
    rgb(Pixel::GBRP10LE, 10, Storage::Planar(GBR)),
    rgb(Pixel::GBRP12LE, 12, Storage::Planar(GBR)),
    rgb(Pixel::GBRP16LE, 16, Storage::Planar(GBR)),
    alpha(rgb(Pixel::GBRAP, 8, Storage::Planar(GBR))),
    alpha(rgb(Pixel::GBRAP10LE, 10, Storage::Planar(GBR))),
    alpha(rgb(Pixel::GBRAP12LE, 12, Storage::Planar(GBR))),
    rgb(Pixel::RGB24, 8, Storage::Packed(3)),
    rgb(Pixel::RGB48LE, 16, Storage::Packed(3)),
    alpha(rgb(Pixel::RGBA, 8, Storage::Packed(4))),
    alpha(rgb(Pixel::RGBA64LE, 16, Storage::Packed(4))),
];

/// The names of what is taken, for a message.
pub fn accepted() -> Cow<'static, str> {
    let names: Vec<&str> = LAYOUTS.iter().filter_map(|(p, _)| p.descriptor()).map(|d| d.name()).collect();
    format!("pixel formats {}", names.join(", ")).into()
}

impl Layout {
    /// How `pixel` is stored, if it is taken.
    pub fn of(pixel: Pixel) -> Option<Self> {
        LAYOUTS.iter().find(|(p, _)| *p == pixel).map(|(_, layout)| *layout)
    }

    /// Copies a frame of this layout into three planes without padding.
    pub fn planes(&self, picture: &frame::Video, format: &Format, pools: &[Arc<Pool>; 2]) -> [Buffer; 3] {
        let bytes = format.sample.bytes();
        std::array::from_fn(|plane| {
            let (width, height) = format.plane_size(plane, picture.width(), picture.height());
            let (width, height) = (width as usize * bytes, height as usize);
            let mut out = pools[plane.min(1)].take(width * height);
            for (y, line) in out.chunks_exact_mut(width).enumerate() {
                match self.storage {
                    Storage::Planar(order) => line.copy_from_slice(row(picture, order[plane], y, width)),
                    Storage::Packed(channels) => {
                        let packed = row(picture, 0, y, width * channels);
                        let pixels = packed.chunks_exact(bytes * channels);
                        for (sample, pixel) in line.chunks_exact_mut(bytes).zip(pixels) {
                            sample.copy_from_slice(&pixel[bytes * plane..][..bytes]);
                        }
                    }
                }
            }
            out
        })
    }
}

/// The first `len` bytes of a row of one of FFmpeg's planes.
fn row(picture: &frame::Video, plane: usize, y: usize, len: usize) -> &[u8] {
    // SAFETY: the frame was decoded, so that each plane of its pixel format has its rows `linesize` apart
    // (downwards or, if that is negative, upwards), each at least as long as its samples; `len` and `y`
    // are computed from the same size and pixel format. The frame outlives the slice.
    unsafe {
        let f = &*picture.as_ptr();
        let stride = f.linesize[plane] as isize;
        assert!(!f.data[plane].is_null() && stride.unsigned_abs() >= len, "a decoded plane has its rows");
        std::slice::from_raw_parts(f.data[plane].offset(y as isize * stride), len)
    }
}
