//! Check: is a look sound? Ten measurements, M1 to M10, limits that are data, and a report. And is a finished picture fit to be
//! handed over? S1 to S4, shot by shot ([`ShotMeter`]).
//!
//! Everything is measured on F, the whole look from ACEScct to ACEScct ([`Subject`]), and on G = T∘F, where T is
//! one fixed rendering: ACES 2.0 to a BT.1886 display of BT.709 primaries at 100 cd/m² ([`Rendering`]). A
//! measurement is a file here that defines what it measures, in which unit and after which source; it knows no
//! limits. Limits stand in `configs/check.toml`, and verdicts come from there alone ([`Limits`]).

mod banding;
mod clipping;
mod folds;
mod grey;
mod hue;
mod lattice;
mod limits;
mod noise;
mod page;
mod rendering;
mod report;
mod shots;
mod skin;
mod subject;
mod table;
mod tone;
mod toning;

pub use crate::colour::patches::{NAMES as PATCH_NAMES, PATCHES};
pub use limits::{Limit, Limits, LimitsError};
pub use page::page;
pub(crate) use page::{base64, png};
pub use rendering::Rendering;
pub use report::{Declared, Figures, Report, Row, Verdict, check, check_points, rows};
pub use shots::{
    CAUTION, FlashMeter, Flashes, FrameFigures, ShotFigures, ShotMeter, ShotReport, shot_rows, shots_page,
};
pub use subject::{Subject, Transform};

use crate::colour::{GREY_ACESCCT, STOP_ACESCCT};

/// ACEScct of no light (S-2016-001).
pub const BLACK: f64 = 0.072_905_534_195_835_5;

/// One 10-bit code.
const CODE: f64 = 1.0 / 1023.0;

/// ACEScct of a light that many stops over grey, where ACEScct is logarithmic.
fn stops(over_grey: f64) -> f64 {
    GREY_ACESCCT + over_grey * STOP_ACESCCT
}

/// From `first` to `last`, both included, in `count` values.
fn spread(first: f64, last: f64, count: usize) -> impl Iterator<Item = f64> + Clone {
    let step = (last - first) / (count - 1) as f64;
    (0..count).map(move |i| first + step * i as f64)
}
