//! Where a pixel is, for stages that are not the same everywhere.

/// A pixel of the whole raster, in a frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Spot {
    /// Column, from 0.
    pub x: u32,
    /// Row, from 0.
    pub y: u32,
    /// Number of the frame, which seeds what differs from frame to frame.
    pub frame: u32,
}

/// Integer hash (an avalanche of multiplies and shifts; every input bit reaches every output bit). Twin: `hash`.
pub fn hash(value: u32) -> u32 {
    let mut h = value;
    h = (h ^ (h >> 16)).wrapping_mul(0x7feb_352d);
    h = (h ^ (h >> 15)).wrapping_mul(0x846c_a68b);
    h ^ (h >> 16)
}
