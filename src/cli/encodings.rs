//! `greyhold encodings`

use std::process::ExitCode;

use crate::colour::{ENCODINGS, OUTPUT_TRANSFORMS, Reference};
use crate::show::known_displays;

/// List encodings, displays and output transforms, with their sources.
///
/// Example: greyhold encodings
#[derive(Debug, clap::Args)]
pub struct Encodings {}

impl Encodings {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        println!("Encodings (--encoding, --from, --to)");
        for e in ENCODINGS {
            let light = match e.reference {
                Reference::Scene => "scene",
                Reference::Display => "display",
            };
            println!("  {:14} {:8} {}\n{:26}{}", e.id, light, e.name, "", e.source);
        }
        println!("\nDisplays (--display)");
        known_displays().for_each(|d| super::displays::print(&d));
        println!("\nOutput transforms (--output-transform)");
        for t in OUTPUT_TRANSFORMS {
            println!("  {:14} {}", t.id(), t.doc());
        }
        Ok(ExitCode::SUCCESS)
    }
}
