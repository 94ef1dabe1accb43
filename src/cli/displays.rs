//! `greyhold displays`

use std::path::PathBuf;
use std::process::ExitCode;

use crate::colour::{Curve, Display, White};
use crate::show::{known_displays, load};

/// List displays: those that come with the program, and a show's own.
///
/// A show's own stand in its show.toml as [display.NAME], with peak, primaries (and limit, if the picture is to keep
/// within narrower ones), transfer and white.
///
/// Example: greyhold displays winter
#[derive(Debug, clap::Args)]
pub struct Displays {
    /// Folder of a show whose own are listed too.
    dir: Option<PathBuf>,
}

impl Displays {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let show = self.dir.as_deref().map(load).transpose()?;
        known_displays().for_each(|d| print(&d));
        if let Some(show) = show.filter(|s| !s.displays.is_empty()) {
            println!("\nOf {:?}", show.name);
            show.displays.iter().for_each(|d| print(d));
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// Three lines about a display.
pub(super) fn print(d: &Display) {
    let curve = match d.curve {
        Curve::Power { gamma } => format!("gamma {gamma}"),
        Curve::PowerToe { .. } => "srgb".to_owned(),
        Curve::Pq { .. } => "pq".to_owned(),
        Curve::Hlg { .. } => "hlg".to_owned(),
        _ => "linear".to_owned(),
    };
    let white = if d.white == White::D60 { ", white d60" } else { "" };
    println!("  {:24} {:5.0} nit  {curve}{white}\n{:26}{}\n{:26}{}", d.id, d.peak, "", d.name, "", d.source);
}
