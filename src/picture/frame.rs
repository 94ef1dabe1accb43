//! A decoded frame: three planes of samples and what they mean.

use std::sync::{Arc, Mutex, Weak};

use crate::colour::{Range, YcbcrMatrix};

/// How one sample is stored. Little-endian.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sample {
    /// Integer codes in a byte.
    U8,
    /// Integer codes in two bytes, in the low bits.
    U16,
    /// Half float.
    F16,
    /// Single float.
    F32,
}

impl Sample {
    /// Bytes a sample takes.
    pub const fn bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::U16 | Self::F16 => 2,
            Self::F32 => 4,
        }
    }

    /// Is it a float?
    pub const fn is_float(self) -> bool {
        matches!(self, Self::F16 | Self::F32)
    }
}

/// What the three planes hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Model {
    /// R, G, B.
    Rgb,
    /// Y', C_B, C_R.
    Ycbcr(YcbcrMatrix),
}

/// Size of the chroma planes against luma.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Chroma {
    /// Full size (and every RGB frame).
    C444,
    /// Half width.
    C422,
    /// Half width and half height.
    C420,
}

impl Chroma {
    /// Divisors of width and height.
    pub const fn divisors(self) -> (u32, u32) {
        match self {
            Self::C444 => (1, 1),
            Self::C422 => (2, 1),
            Self::C420 => (2, 2),
        }
    }
}

/// Where a chroma sample sits among the luma samples it serves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Siting {
    /// On the left luma column, between rows where those are halved (MPEG-2, H.264 and H.265 default).
    Left,
    /// In the middle both ways (JPEG, MPEG-1).
    Centre,
    /// On the upper left luma sample (BT.2020 4:2:0).
    TopLeft,
}

/// What the numbers in a frame's planes mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Format {
    /// RGB or Y'CbCr.
    pub model: Model,
    /// How a sample is stored.
    pub sample: Sample,
    /// Significant bits of integer samples, 8…16. Ignored for floats.
    pub depth: u32,
    /// Narrow or full. Ignored for floats.
    pub range: Range,
    /// Size of the chroma planes.
    pub chroma: Chroma,
    /// Where chroma sits.
    pub siting: Siting,
}

impl Format {
    /// Single-float RGB: values as they are.
    pub const RGB_F32: Self = Self::rgb(Sample::F32, 16);

    /// Full-range RGB.
    pub const fn rgb(sample: Sample, depth: u32) -> Self {
        Self {
            model: Model::Rgb,
            sample,
            depth,
            range: Range::Full,
            chroma: Chroma::C444,
            siting: Siting::Left,
        }
    }

    /// Size of plane 0, 1 or 2 for a frame of `width` × `height`; odd sizes round up.
    pub fn plane_size(&self, plane: usize, width: u32, height: u32) -> (u32, u32) {
        let (x, y) = if plane == 0 { (1, 1) } else { self.chroma.divisors() };
        (width.div_ceil(x), height.div_ceil(y))
    }
}

/// A pool of byte buffers, so that frames at playback rate do not go through the allocator.
#[derive(Debug, Default)]
pub struct Pool {
    spare: Mutex<Vec<Vec<u8>>>,
    keep: usize,
}

impl Pool {
    /// A pool that keeps at most `keep` spare buffers.
    pub fn new(keep: usize) -> Arc<Self> {
        Arc::new(Self { spare: Mutex::default(), keep })
    }

    /// A zeroed-or-reused buffer of `len` bytes; the contents are unspecified.
    pub fn take(self: &Arc<Self>, len: usize) -> Buffer {
        let spare = self.spare.lock().unwrap_or_else(|e| e.into_inner()).pop();
        let mut bytes = spare.unwrap_or_default();
        bytes.resize(len, 0);
        Buffer { bytes, home: Arc::downgrade(self) }
    }
}

/// Bytes that go back to their pool, if they have one, when the last reader is done.
#[derive(Debug, Default)]
pub struct Buffer {
    bytes: Vec<u8>,
    home: Weak<Pool>,
}

impl From<Vec<u8>> for Buffer {
    fn from(bytes: Vec<u8>) -> Self {
        Self { bytes, home: Weak::new() }
    }
}

impl std::ops::Deref for Buffer {
    type Target = [u8];
    fn deref(&self) -> &[u8] {
        &self.bytes
    }
}

impl std::ops::DerefMut for Buffer {
    fn deref_mut(&mut self) -> &mut [u8] {
        &mut self.bytes
    }
}

impl Drop for Buffer {
    fn drop(&mut self) {
        if let Some(pool) = self.home.upgrade() {
            let mut spare = pool.spare.lock().unwrap_or_else(|e| e.into_inner());
            if spare.len() < pool.keep {
                spare.push(std::mem::take(&mut self.bytes));
            }
        }
    }
}

/// One plane of samples, rows packed without padding.
#[derive(Debug)]
pub struct Plane {
    /// Samples in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// `width × height` samples.
    pub data: Buffer,
}

/// A decoded frame: always three planes of one channel each.
#[derive(Debug)]
pub struct Frame {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// What the numbers mean.
    pub format: Format,
    /// R, G, B or Y', C_B, C_R.
    pub planes: [Plane; 3],
}

/// Why planes do not make a frame.
#[derive(Debug, thiserror::Error)]
pub enum FrameError {
    /// A side is 0 or too long.
    #[error("a frame of {width}×{height} cannot be held: sides from 1 to {MAX_SIDE} are")]
    Size {
        /// Pixels across.
        width: u32,
        /// Rows.
        height: u32,
    },
    /// A plane's bytes are too few or too many.
    #[error("plane {plane} has {found} bytes where {expected} are needed")]
    Plane {
        /// Which plane.
        plane: usize,
        /// Bytes given.
        found: usize,
        /// Bytes needed.
        expected: usize,
    },
    /// A depth that integer samples cannot have.
    #[error("{depth} bits a sample are not read: {accepted}")]
    Depth {
        /// Bits given.
        depth: u32,
        /// Bits accepted.
        accepted: &'static str,
    },
}

/// Longest side of a frame: what the GPUs we are made for take.
pub const MAX_SIDE: u32 = 16384;

impl Frame {
    /// Joins three planes' bytes into a frame, checking that they fit the format.
    pub fn new(width: u32, height: u32, format: Format, planes: [Buffer; 3]) -> Result<Self, FrameError> {
        if !(1..=MAX_SIDE).contains(&width) || !(1..=MAX_SIDE).contains(&height) {
            return Err(FrameError::Size { width, height });
        }
        match format.sample {
            Sample::U8 if format.depth != 8 => {
                return Err(FrameError::Depth { depth: format.depth, accepted: "8 in a byte" });
            }
            Sample::U16 if !(8..=16).contains(&format.depth) => {
                return Err(FrameError::Depth { depth: format.depth, accepted: "8 to 16 in two bytes" });
            }
            _ => {}
        }
        let mut index = 0;
        let planes = planes.map(|data| {
            let (w, h) = format.plane_size(index, width, height);
            index += 1;
            Plane { width: w, height: h, data }
        });
        for (plane, p) in planes.iter().enumerate() {
            let expected = p.width as usize * p.height as usize * format.sample.bytes();
            if p.data.len() != expected {
                return Err(FrameError::Plane { plane, found: p.data.len(), expected });
            }
        }
        Ok(Self { width, height, format, planes })
    }

    /// A single-float RGB frame from pixels, rows of `width`.
    pub fn from_rgb(width: u32, pixels: &[[f32; 3]]) -> Result<Self, FrameError> {
        let height = (pixels.len() as u32).div_ceil(width.max(1));
        let planes = std::array::from_fn(|c| {
            let bytes: Vec<u8> = pixels.iter().flat_map(|p| p[c].to_le_bytes()).collect();
            Buffer::from(bytes)
        });
        Self::new(width, height, Format::RGB_F32, planes)
    }

    /// Bytes its planes take.
    pub fn bytes(&self) -> usize {
        self.planes.iter().map(|p| p.data.len()).sum()
    }
}
