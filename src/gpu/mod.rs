//! The GPU's way through a recipe: the shaders, assembled for a [`Structure`](crate::picture::Structure)
//! and run as compute passes.
//!
//! Only the last step to a window is a draw. Nothing here waits for the GPU but what says so.

mod assembly;
mod bench;
mod bench_scopes;
mod beside;
mod check;
mod device;
mod fetch;
mod marks;
mod pipelines;
mod run;
mod scope;
mod spread;
mod luts;
mod tables;
mod work;

pub use assembly::Assembly;
pub use bench::{BenchLook, BenchLooks, BenchRow, bench, is_software};
pub use bench_scopes::{BARE_ROW, MORE_ROWS};
pub use beside::{BesidePass, BesidePasses};
pub use check::{
    ACES2_SIGNAL, Agreement, CheckReport, DARK_SIGNAL, OF_PIXEL, PQ_SIGNAL, REENCODED_SIGNAL, ROUNDING,
    SIGNAL, TOLERANCE, Tolerance, agreement, agreement_within, balance_settings, framing_settings, pad,
    self_check, settings, spread, vectors,
};
pub use device::{Gpu, GpuError, Request};
pub use fetch::Fetch;
pub use marks::{MarkCounts, MarkInputs, MarkPasses, MarkView, Marks, palette};
pub use pipelines::{Pipeline, Pipelines};
pub use run::{CodesReadback, FloatReadback, Input, Output, Upload};
pub use scope::{ScopeOf, ScopePasses, ScopeView, Scopes, Traces};
pub use tables::Tables;
pub use work::AtWork;
