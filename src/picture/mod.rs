//! Picture: frames, and how one becomes a picture.
//!
//! A [`Recipe`] says what to do, immutably; its numbers are plain data, so that turning a knob makes a
//! new recipe and compiles nothing. [`Layout`] places those numbers in the buffer that shaders read. [`cpu`] runs a recipe on the CPU; `gpu` does the same with
//! shaders that are the twins of what is called here.

mod balance;
mod beside;
mod carried;
pub mod cpu;
mod dither;
mod frame;
mod patch;
mod framing;
mod pack;
mod parameters;
mod plan;
mod probe;
mod recipe;
mod reduced;
mod spread;
mod show_lut;
mod trim;
mod unpack;

pub use balance::{BALANCE, Balance, BalanceField, BalanceValues, ZoneValues};
pub use beside::{Beside, BesideValues, Carried, TIMES, Way};
pub use dither::{noise, quantise};
pub use frame::{Buffer, Chroma, Format, Frame, FrameError, MAX_SIDE, Model, Plane, Pool, Sample, Siting};
pub use framing::{FRAMING, Fitting, Framing, FramingField, FramingValues, MOST_TAPS, SMALLEST, kernel};
pub use pack::{Packed, pack};
pub use patch::{Area, mean_light};
pub use plan::{Ending, Layout, Source, Structure, Target};
pub use probe::{Probed, Prober};
pub use recipe::{Decode, Recipe, StageValues, Tail};
pub use reduced::{Reduced, luminance};
pub use show_lut::{ShowLut, ShowLutValues};
pub use spread::{coarser, ring_taps};
pub use trim::{ROLL_OFF_FROM, TRIM, Trim, TrimField, TrimValues};
pub use unpack::{Unpack, clean};
