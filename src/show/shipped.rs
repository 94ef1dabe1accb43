//! The looks that come with the program.

use std::path::Path;
use std::sync::LazyLock;

use super::{Look, read_look};

macro_rules! shipped {
    ($($name:literal)+) => {
        /// File names and texts of the looks in configs/looks.
        pub const LOOK_FILES: &[(&str, &str)] =
            &[$((concat!($name, ".toml"), include_str!(concat!("../../configs/looks/", $name, ".toml")))),+];
    };
}

shipped! {
    "cross-processed"
    "day-for-night"
    "flashed"
    "low-contrast-print"
    "orthochromatic"
    "panchromatic"
    "pushed"
    "retained-silver"
    "reversal"
    "two-colour"
}

/// The looks that come with the program, in the order of their file names.
pub fn shipped_looks() -> &'static [Look] {
    static LOOKS: LazyLock<Vec<Look>> = LazyLock::new(|| {
        LOOK_FILES
            .iter()
            .filter_map(|(file, text)| match read_look(text, Path::new(file)) {
                Ok(look) => Some(look),
                Err(e) => {
                    tracing::error!("a look that comes with the program cannot be read: {e}");
                    None
                }
            })
            .collect()
    });
    &LOOKS
}
