//! `greyhold render`

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::bail;

use super::On;
use crate::engine::render::{Job, Kind, Options, Part, Progress, render};
use crate::gpu::{Gpu, Request};
use crate::media::ImageFormat;
use crate::media::movie::Container;
use crate::show::{Output, OutputSettings, load};

/// What a render that was stopped by hand ends with, as shells have it: 128 and the signal's number.
const STOPPED: u8 = 130;

/// Render a show's shots to images or movies.
///
/// All files have the size of the show's raster, or of --size. Images of a shot get a folder: OUT/SHOT/SHOT.00000.png; a movie is
/// OUT/SHOT.mov. PNG and TIFF have 16 bits, DPX has 10 (dithered); they hold the signal of the display, full range.
/// EXR without either of --display and --output holds the graded scene-linear picture (ACEScg, half floats); with
/// --display or --output display signal in single floats.
///
/// Movies are Y'CbCr in narrow range (FFV1: RGB), dithered, tagged for the display (ITU-T H.273; PQ and HLG with
/// SMPTE ST 2086 mastering display, PQ with measured content light), with the source's timecode, and with its sound as it
/// is stored where the container holds it. What is left out is said.
///
/// A render that was stopped (Ctrl C) or killed goes on where it was when the same command is given again; frames that are there
/// with the same settings are left, those with others rendered anew. --part 3/8 does the third of eight shares, on this
/// machine or another that sees the same folders; whoever finishes last puts movies together.
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
    /// Kind of file: png, tiff, exr, dpx, prores-422-hq, prores-422, prores-422-proxy, prores-4444, dnxhr-hqx, ffv1, h264,
    /// h264-10, hevc-10.
    #[arg(long, default_value = "png", value_parser = format_named)]
    format: Kind,
    /// Display whose signal is written, with no trim and no calibration; what the show has for files when not given.
    #[arg(long, value_name = "ID", conflicts_with = "output")]
    display: Option<String>,
    /// Output whose signal is written, with its display, trim and calibration: desk, client or files.
    #[arg(long, value_name = "NAME", value_parser = super::output_named)]
    output: Option<Output>,
    /// Size of the files in place of the raster.
    #[arg(long, value_name = "WxH", value_parser = super::size)]
    size: Option<(u32, u32)>,
    /// One of several equal shares of the work.
    #[arg(long, value_name = "K/N", value_parser = part, default_value = "1/1")]
    part: Part,
    /// Render again what is there with the same settings.
    #[arg(long)]
    again: bool,
    /// One movie of all shots, with this name.
    #[arg(long, value_name = "NAME")]
    one_movie: Option<String>,
    /// Label of a movie's first frame, in place of its source's.
    #[arg(long, value_name = "HH:MM:SS:FF")]
    timecode: Option<String>,
    /// Leave the sources' sound out.
    #[arg(long)]
    silent: bool,
    /// A movie's container: mov, mp4 or mkv.
    #[arg(long, value_name = "KIND", value_parser = container)]
    container: Option<Container>,
    /// Constant rate factor of H.264 and HEVC, 0 to 51: less is better and larger.
    #[arg(long, value_name = "N")]
    factor: Option<u32>,
    /// Floats of EXR: half or single.
    #[arg(long, value_name = "KIND", value_parser = floats)]
    floats: Option<Floats>,
    /// What computes.
    #[arg(long, value_enum, default_value = "gpu")]
    on: On,
    /// Part of the GPU's name, where there are several.
    #[arg(long, default_value = "", value_name = "NAME")]
    adapter: String,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Floats {
    Half,
    Single,
}

fn floats(text: &str) -> Result<Floats, String> {
    let found = [("half", Floats::Half), ("single", Floats::Single)].into_iter().find(|f| f.0 == text);
    super::named(found.map(|f| f.1), text, "kind of float", ["half", "single"].into_iter())
}

pub(super) fn format_named(text: &str) -> Result<Kind, String> {
    super::named(Kind::from_key(text), text, "format", Kind::keys())
}

fn container(text: &str) -> Result<Container, String> {
    super::named(Container::from_key(text), text, "container", Container::ALL.iter().map(|c| c.key()))
}

fn part(text: &str) -> Result<Part, String> {
    let both = text.split_once('/').and_then(|(k, n)| Some((k.parse().ok()?, n.parse().ok()?)));
    match both {
        Some((number, of)) if (1..=of).contains(&number) => Ok(Part { number, of }),
        _ => Err(format!("{text:?} is no share of the work; 3/8 is one, the third of eight")),
    }
}

fn frames(text: &str) -> Result<(u64, u64), String> {
    let both = text.split_once("..").map_or((text, text), |(a, b)| (a, b));
    match (both.0.parse(), both.1.parse()) {
        (Ok(a), Ok(b)) if a <= b => Ok((a, b)),
        _ => Err(format!("{text:?} is no range of frames; 0..47 is one, first and last counted from 0")),
    }
}

/// Becomes true when somebody presses Ctrl C; the second time the program ends at once.
pub(super) fn stop_by_hand() -> &'static AtomicBool {
    static STOP: AtomicBool = AtomicBool::new(false);
    // Where no handler can be set, Ctrl C ends the program: nothing breaks by that either.
    let _ = ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::AcqRel) {
            std::process::exit(STOPPED.into());
        }
    });
    &STOP
}

impl Render {
    fn options(&self) -> Options<'static> {
        Options {
            size: self.size,
            part: self.part,
            again: self.again,
            one_movie: self.one_movie.clone(),
            timecode: self.timecode.clone(),
            silent: self.silent,
            half: self.floats.map(|f| f == Floats::Half),
            container: self.container,
            factor: self.factor,
            stop: Some(stop_by_hand()),
        }
    }

    fn check(&self) -> anyhow::Result<()> {
        let movie = matches!(self.format, Kind::Movie(_));
        let given = [
            ("--one-movie", self.one_movie.is_some()),
            ("--timecode", self.timecode.is_some()),
            ("--silent", self.silent),
            ("--container", self.container.is_some()),
            ("--factor", self.factor.is_some()),
        ];
        if let Some((name, _)) = given.iter().find(|(_, given)| *given && !movie) {
            bail!("{name} is for movies, and {} makes images", self.format.key());
        }
        if self.floats.is_some() && self.format != Kind::Images(ImageFormat::Exr) {
            bail!("--floats is for exr, and --format is {}", self.format.key());
        }
        Ok(())
    }

    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        self.check()?;
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
            (None, None) if self.format == Kind::Images(ImageFormat::Exr) => None,
            (None, None) => Some(show.tail(Output::Files)),
        };
        let live = std::io::stderr().is_terminal();
        let mut last = None;
        let job = Job {
            show: &show,
            dir: &self.dir,
            shots,
            frames: self.frames.map(|(a, b)| a..=b),
            out: &self.out,
            format: self.format,
            tail,
            gpu,
            options: self.options(),
        };
        let done = render(&job, &mut |p| {
            if live {
                eprint!("\r{}\x1b[K", line(p));
                let _ = std::io::stderr().flush();
            }
            last = Some(p.clone());
        });
        if live {
            eprintln!();
        }
        let done = done?;
        if done.written + done.kept == 0 && !done.stopped && self.part == Part::default() {
            bail!("none of the frames asked for is in these shots");
        }
        let seconds = last.map_or(0.0, |p| p.elapsed.as_secs_f64());
        println!(
            "{} frames written to {} in {seconds:.1} s ({:.1} frames/s)",
            done.written,
            self.out.display(),
            done.written as f64 / seconds.max(1e-9)
        );
        if done.kept > 0 {
            println!("{} frames were there already, with the same settings", done.kept);
        }
        for note in &done.notes {
            println!("{note}");
        }
        for path in &done.waiting {
            println!("{} waits for its other parts", path.display());
        }
        for path in &done.movies {
            println!("{} is complete", path.display());
        }
        if done.stopped {
            println!("stopped; the same command goes on from here");
            return Ok(ExitCode::from(STOPPED));
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn line(p: &Progress) -> String {
    let left = p.left().map_or(String::new(), |d| format!(", {:.0} s left", d.as_secs_f64()));
    format!("{}: {} of {}{left}", p.shot, p.done, p.total)
}
