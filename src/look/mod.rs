//! Look: the stages, each declared once, and the chain they stand in.
//!
//! A stage is one Rust file here (declaration and CPU twin), one WGSL file of the same name in
//! `shaders/look/`, and one line in the list below. From the declaration come the uniform layout and
//! WGSL struct, the TOML keys, the rows on the desk, the panel addresses, the parity and identity tests
//! and the benchmark rows.

mod chain;
mod declaration;
mod kernel;
mod intent;
mod named_lut;
mod origin;
mod spot;
mod typed;

pub use chain::{Chain, List, Stage, effective_strength};
pub use curves::{
    CURVE_NAMES, CURVE_POINTS, CurvePoint, curve_height, curve_point_parameters, curve_point_within,
    curve_points,
};
pub(crate) use declaration::declare;
pub use declaration::{Declaration, Domain, Nature, Neighbourhood, Parameter, Reach, Scale, Unit, strength};
pub use grain::field as grain_field;
pub use intent::Intent;
pub use kernel::{Kernel, MOST_LEVELS, RING_TAPS, Ring, glare};
pub use lut::MAX_LUTS;
pub use named_lut::{Bake, NamedLut, Said, Side};
pub use origin::{Origin, fingerprint};
pub use spot::{Spot, hash};

/// Which stage: an index into [`STAGES`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Kind(pub usize);

impl Kind {
    /// What is declared about it.
    pub fn declaration(self) -> &'static Declaration {
        STAGES[self.0]
    }
}

/// The stage called `key`.
pub fn stage(key: &str) -> Option<Kind> {
    STAGES.iter().position(|d| d.key == key).map(Kind)
}

macro_rules! stages {
    ($($module:ident)+) => {
        $( mod $module; )+
        /// Every stage, in the order that lists show them.
        pub static STAGES: &[&Declaration] = &[$(&$module::DECLARATION),+];
    };
}

stages! {
    contrast
    split_tone
    saturation
    crosstalk
    monochrome
    palette
    curves
    bleach
    vignette
    grain
    lut
    softness
    diffusion
    halation
}
