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

/// A look's name as files and commands have it: "Two-colour" and "two-colour" are one.
pub(super) fn plain(name: &str) -> String {
    name.to_lowercase().replace(' ', "-")
}

/// File name and text of the look that comes with the program and is called so; each file is called as its look.
pub(super) fn shipped_text(name: &str) -> Option<(&'static str, &'static str)> {
    let file = plain(name) + ".toml";
    LOOK_FILES.iter().find(|(f, _)| *f == file).copied()
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
