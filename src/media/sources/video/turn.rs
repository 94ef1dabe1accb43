//! Frames that were recorded turned: upright, as their file says they are to be shown.
//!
//! A turn by 90, 180 or 270° moves samples and changes none, where chroma is as large as luma. Smaller chroma would sit where
//! no format has it: it is interpolated to luma's size first, as the picture path does, and rounded to whole codes.

use ffmpeg_next::codec::packet::side_data::Type;
use ffmpeg_next::{Stream, ffi};

use crate::picture::{Buffer, Chroma, Format, Frame, Sample, Unpack};

/// How far a picture is turned clockwise to be upright, in quarters of a circle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Turn(u8);

impl Turn {
    /// What a stream's display matrix says (ISO/IEC 14496-12, `tkhd`); other angles and mirrors are not taken.
    pub fn of(stream: &Stream<'_>) -> Self {
        let data = stream.side_data().find(|d| d.kind() == Type::DisplayMatrix);
        let Some(data) = data.filter(|d| d.data().len() >= 36) else { return Self(0) };
        let numbers: [i32; 9] =
            std::array::from_fn(|i| i32::from_ne_bytes(std::array::from_fn(|b| data.data()[4 * i + b])));
        // SAFETY: nine numbers are what it reads.
        let angle = -unsafe { ffi::av_display_rotation_get(numbers.as_ptr()) };
        if !angle.is_finite() {
            return Self(0);
        }
        let quarters = (angle / 90.0).round();
        if (angle - quarters * 90.0).abs() > 1.0 { Self(0) } else { Self(quarters.rem_euclid(4.0) as u8) }
    }

    /// Degrees.
    pub fn degrees(self) -> u32 {
        u32::from(self.0) * 90
    }

    /// The size of a picture of that size when it is upright.
    pub fn size(self, (width, height): (u32, u32)) -> (u32, u32) {
        if self.0 % 2 == 1 { (height, width) } else { (width, height) }
    }

    /// The format of a picture of that format when it is upright.
    pub fn format(self, format: Format) -> Format {
        if self.0 == 0 { format } else { Format { chroma: Chroma::C444, ..format } }
    }

    /// The planes of a frame, upright.
    pub fn planes(self, frame: Frame) -> [Buffer; 3] {
        if self.0 == 0 {
            return frame.planes.map(|p| p.data);
        }
        let (w, h) = (frame.width as usize, frame.height as usize);
        let (out_w, out_h) = self.size((frame.width, frame.height));
        let bytes = frame.format.sample.bytes();
        let small = frame.format.chroma != Chroma::C444;
        let unpack = Unpack::<f32>::of(&frame.format);
        std::array::from_fn(|plane| {
            let mut out = vec![0; w * h * bytes];
            for y in 0..out_h as usize {
                for x in 0..out_w as usize {
                    let (from_x, from_y) = match self.0 {
                        1 => (y, h - 1 - x),
                        2 => (w - 1 - x, h - 1 - y),
                        _ => (w - 1 - y, x),
                    };
                    let to = (y * out_w as usize + x) * bytes;
                    if plane > 0 && small {
                        let value = unpack.samples(&frame, from_x as u32, from_y as u32)[plane];
                        let code = (value + 0.5) as u16;
                        match frame.format.sample {
                            Sample::U8 => out[to] = code as u8,
                            _ => out[to..to + 2].copy_from_slice(&code.to_le_bytes()),
                        }
                    } else {
                        let at = (from_y * w + from_x) * bytes;
                        out[to..to + bytes].copy_from_slice(&frame.planes[plane].data[at..at + bytes]);
                    }
                }
            }
            Buffer::from(out)
        })
    }
}
