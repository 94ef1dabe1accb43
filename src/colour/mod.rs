//! Colour: what the numbers of a picture mean, and how to turn one meaning into another.
//!
//! Everything here is pure arithmetic: no files, no GPU, no clock, and nothing that can fail but the
//! look-up of a name. Per-pixel functions are generic over [`Real`], so that the same text gives the
//! f32 twin of a shader and an f64 reference.

mod aces2;
mod camera;
mod cdl;
mod curve;
mod display;
mod encoding;
mod ictcp;
mod lut;
mod matrix;
pub mod patches;
mod planck;
mod primaries;
mod real;
mod space;
mod tone;
mod white;
mod ycbcr;

pub use aces2::{Aces2, Aces2InverseValues, Aces2Values};
pub use cdl::{Cdl, luma_709};
pub use curve::{Curve, CurveValues, Family, LINEAR_MAX, acescct_decode, acescct_encode};
pub use display::{DISPLAYS, Display, White, display};
pub use encoding::{ENCODINGS, Encoding, Reference, encoding};
pub use ictcp::{Ictcp, delta_e_itp, hue_itp};
pub use lut::{HALVES, Interpolation, Lut1, Lut3, Shaped, lut_places};
pub use matrix::{Matrix, apply};
pub use planck::{beside_locus, from_locus, planckian};
pub use primaries::{
    ACES_WHITE, ADAPTATIONS, AP0, AP1, Adaptation, BT709, BT2020, D65, P3_D65, Primaries, conversion,
};
pub use real::Real;
pub use space::{Space, space};
pub use tone::{OUTPUT_TRANSFORMS, OutputTransform, ToneScale, output_transform};
pub use white::{WHITE_ON_LOCUS, light_temperature, neutral_shift, shifted_light, white_shift};
pub use ycbcr::{Range, YcbcrMatrix, code_to_signal};

/// Scene-linear middle grey, the still point of everything.
pub const GREY: f64 = 0.18;

/// Middle grey in ACEScct: `(log2 0.18 + 9.72) / 17.52` (S-2016-001).
pub const GREY_ACESCCT: f64 = 0.413_588_402_492_442_3;

/// One stop in ACEScct.
pub const STOP_ACESCCT: f64 = 1.0 / 17.52;

/// One printer point in ACEScct: 0.025 of log10 exposure, 12.04 points a stop (trade practice).
pub const POINT_ACESCCT: f64 = 0.025 * std::f64::consts::LOG2_10 / 17.52;

/// Rec.709 luma weights, which ASC CDL saturation and our chroma plane use whatever the primaries.
pub const LUMA_709: [f64; 3] = [0.2126, 0.7152, 0.0722];
