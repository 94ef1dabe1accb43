//! `greyhold render`

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;

use super::On;
use crate::engine::render::{Job, Progress, render};
use crate::gpu::{Gpu, Request};
use crate::media::ImageFormat;
use crate::show::{Output, OutputSettings, load};

/// Render a show's shots to image files.
///
/// All files have the size of the show's raster. Each shot gets a folder: OUT/SHOT/SHOT.00000.png. PNG and TIFF have 16 bits, DPX has 10 (dithered);
/// they hold the signal of the display. EXR without either of --display and --output holds the graded scene-linear picture
/// (ACEScg, half floats); with --display or --output display signal in single floats.
///
/// Example: greyhold render winter --out frames --shots platform --frames 0..47
#[derive(Debug, clap::Args)]
pub struct Render {
    /// Folder of the show.
    dir: PathBuf,
    /// Folder for the files; made if need be.
    #[arg(long)]
    out: PathBuf,
    /// Names of shots, with commas between; all when not given.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    shots: Vec<String>,
    /// Frames of each shot, first and last; all when not given.
    #[arg(long, value_name = "A..B", value_parser = frames)]
    frames: Option<(u64, u64)>,
    /// Kind of file.
    #[arg(long, default_value = "png", value_parser = format_named)]
    format: ImageFormat,
    /// Display whose signal is written, with no trim and no calibration; what the show has for files when not given.
    #[arg(long, value_name = "ID", conflicts_with = "output")]
    display: Option<String>,
    /// Output whose signal is written, with its display, trim and calibration: desk, client or files.
    #[arg(long, value_name = "NAME", value_parser = super::output_named)]
    output: Option<Output>,
    /// What computes.
    #[arg(long, value_enum, default_value = "gpu")]
    on: On,
    /// Part of the GPU's name, where there are several.
    #[arg(long, default_value = "", value_name = "NAME")]
    adapter: String,
}

fn format_named(text: &str) -> Result<ImageFormat, String> {
    super::named(ImageFormat::from_key(text), text, "format", ImageFormat::ALL.iter().map(|f| f.key()))
}

fn frames(text: &str) -> Result<(u64, u64), String> {
    let both = text.split_once("..").map_or((text, text), |(a, b)| (a, b));
    match (both.0.parse(), both.1.parse()) {
        (Ok(a), Ok(b)) if a <= b => Ok((a, b)),
        _ => Err(format!("{text:?} is no range of frames; 0..47 is one, first and last counted from 0")),
    }
}

impl Render {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let show = load(&self.dir)?;
        let shots = super::shots_named(&show, &self.shots)?;
        if shots.is_empty() {
            bail!("{} has no shots to render", self.dir.display());
        }
        let gpu = match self.on {
            On::Gpu => Some(Gpu::headless(Request { adapter: &self.adapter })?),
            On::Cpu => None,
        };
        let tail = match (&self.display, self.output) {
            (Some(id), _) => {
                let display = super::display_named(Some(&show), id)?;
                show.check_display(&display)?;
                Some(show.tail_of(&OutputSettings::new(display)))
            }
            (None, Some(output)) => Some(show.tail(output)),
            (None, None) => (self.format != ImageFormat::Exr).then(|| show.tail(Output::Files)),
        };
        let live = std::io::stderr().is_terminal();
        let mut last = None;
        let written = render(
            &Job {
                show: &show,
                dir: &self.dir,
                shots,
                frames: self.frames.map(|(a, b)| a..=b),
                out: &self.out,
                format: self.format,
                tail,
                gpu,
            },
            &mut |p| {
                if live {
                    eprint!("\r{}\x1b[K", line(p));
                    let _ = std::io::stderr().flush();
                }
                last = Some(p.clone());
            },
        );
        if live {
            eprintln!();
        }
        let written = written?;
        if written == 0 {
            bail!("none of the frames asked for is in these shots");
        }
        let seconds = last.map_or(0.0, |p| p.elapsed.as_secs_f64());
        println!(
            "{written} frames written to {} in {seconds:.1} s ({:.1} frames/s)",
            self.out.display(),
            written as f64 / seconds.max(1e-9)
        );
        Ok(ExitCode::SUCCESS)
    }
}

fn line(p: &Progress) -> String {
    let left = p.left().map_or(String::new(), |d| format!(", {:.0} s left", d.as_secs_f64()));
    format!("{}: {} of {}{left}", p.shot, p.done, p.total)
}
