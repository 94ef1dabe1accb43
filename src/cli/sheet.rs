//! `greyhold sheet`

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::bail;

use super::On;
use crate::engine::sheet::{Job, Tried, sheet};
use crate::gpu::{Gpu, Request};
use crate::media::{Image, ImageFormat, write_image};
use crate::show::{Look, Output, OutputSettings, Show, load, look_named, shipped_looks};

/// Draw a contact sheet of a show: looks × shots, in one PNG file.
///
/// The first look is the show's own, "as it is"; each of the others takes the place of the show's look at strength 1, and
/// the stages before it and after it stay, as when a look is tried on the desk. Shots stand beside one another and
/// looks below one another, or the other way round where there are more shots than looks.
///
/// Of each shot one frame is shown: the one that was chosen on the desk to stand for it, else the middle one. Every
/// picture is graded at the show's raster, so that texture is that of the show, and then made smaller in the display's light.
/// The file holds 8-bit signal of the display that its footer names.
///
/// Examples: greyhold sheet winter --out sheet.png
/// greyhold sheet winter --out two.png --looks low-contrast-print,mine.toml --shots platform,corridor --width 3200
#[derive(Debug, clap::Args)]
pub struct Sheet {
    /// Folder of the show.
    dir: PathBuf,
    /// The PNG file; one that is there is replaced once the new one is complete.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Looks, with commas between: names as `greyhold look list DIR` has them, or look files; all that ship when not given.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    looks: Vec<String>,
    /// Names of shots, with commas between; all when not given.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    shots: Vec<String>,
    /// Pixels across, at most: no picture is larger than the raster.
    #[arg(long, default_value_t = 2400, value_name = "N", value_parser = clap::value_parser!(u32).range(320..=16384))]
    width: u32,
    /// Display whose signal is written, with no trim and no calibration.
    #[arg(long, value_name = "ID", conflicts_with = "output")]
    display: Option<String>,
    /// Output whose signal is written, with its display, trim and calibration: desk, client or files.
    #[arg(long, value_name = "NAME", default_value = "files", value_parser = super::output_named)]
    output: Output,
    /// What computes.
    #[arg(long, value_enum, default_value = "gpu")]
    on: On,
    /// Part of the GPU's name, where there are several.
    #[arg(long, default_value = "", value_name = "NAME")]
    adapter: String,
}

impl Sheet {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let show = load(&self.dir)?;
        let shots = super::shots_named(&show, &self.shots)?;
        if shots.is_empty() {
            bail!("{} has no shots to show", self.dir.display());
        }
        let mut looks = vec![Tried { name: "as it is".into(), note: as_it_is(&show), stages: None }];
        let tried = |look: &Look| Tried {
            name: look.name.clone(),
            note: look.note.clone(),
            stages: Some(look.stages.clone()),
        };
        for name in &self.looks {
            let look = look_named(Path::new(name), Some(&self.dir))?;
            looks.push(tried(&look));
        }
        if self.looks.is_empty() {
            looks.extend(shipped_looks().iter().map(tried));
        }
        let settings = match &self.display {
            Some(id) => {
                let display = super::display_named(Some(&show), id)?;
                show.check_display(&display)?;
                OutputSettings::new(display)
            }
            None => show.outputs.get(self.output).clone(),
        };
        let gpu = match self.on {
            On::Gpu => Some(Gpu::headless(Request { adapter: &self.adapter })?),
            On::Cpu => None,
        };
        let live = std::io::stderr().is_terminal();
        let job = Job {
            show: &show,
            dir: &self.dir,
            looks: &looks,
            shots: &shots,
            output: self.display.is_none().then_some(self.output),
            settings: &settings,
            width: self.width,
            gpu,
        };
        let sheet = sheet(&job, &mut |shot, look, done, total| {
            if live {
                eprint!("\r{done} of {total}: {look} on {shot}\x1b[K");
                let _ = std::io::stderr().flush();
            } else if done % looks.len() == 0 {
                eprintln!("{done} of {total}: {shot} is done");
            }
            true
        });
        if live {
            eprintln!();
        }
        let sheet = sheet?;
        let image =
            Image::Codes { width: sheet.width, height: sheet.height, depth: 8, pixels: &sheet.pixels };
        write_image(&self.out, ImageFormat::Png, &image)?;
        for (shot, frame) in shots.iter().zip(&sheet.frames) {
            println!("{}: frame {frame}", show.shots[*shot].name);
        }
        let (width, height) = (sheet.width, sheet.height);
        println!("{} looks × {} shots: {}, {width}×{height}", looks.len(), shots.len(), self.out.display());
        Ok(ExitCode::SUCCESS)
    }
}

/// What the show's own look is, in a line.
fn as_it_is(show: &Show) -> String {
    let keys: Vec<_> = show.chain.in_order().map(|(s, _)| s.declaration().key.replace('-', " ")).collect();
    if keys.is_empty() { "the show's chain, which has no stage".into() } else { keys.join(", ") }
}
