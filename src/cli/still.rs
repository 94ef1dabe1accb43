//! `greyhold still`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};

use super::On;
use crate::engine::raster;
use crate::engine::stills::{Keeping, as_shown, bring_in, keep_frame, still_signal};
use crate::gpu::{Gpu, Request};
use crate::media::timecode::Counting;
use crate::media::{Image, ImageFormat, Interpretation, Rate, open, write_image};
use crate::show::{
    Lock, OutputSettings, Portion, Show, Still as OneStill, load, remove_still, rename_still, save,
    still_settings, stills,
};

/// Stills of a show: pictures to compare with, and the grades that made them.
#[derive(Debug, clap::Args)]
pub struct Still {
    #[command(subcommand)]
    command: StillCommand,
}

#[derive(Debug, clap::Subcommand)]
enum StillCommand {
    List(List),
    Keep(Keep),
    Add(Add),
    Take(Take),
    Export(Export),
    Rename(Rename),
    Remove(Remove),
}

/// List a show's stills, in the order in which they were kept.
///
/// Example: greyhold still list winter
#[derive(Debug, clap::Args)]
struct List {
    /// Folder of the show.
    dir: PathBuf,
}

/// Keep a frame as a still, as the desk's output has it.
///
/// Example: greyhold still keep winter platform --frame 12 --name "approved"
#[derive(Debug, clap::Args)]
struct Keep {
    /// Folder of the show.
    dir: PathBuf,
    /// Name of the shot.
    shot: String,
    /// The frame, counted from the shot's first as 0; the one that stands for the shot when not given.
    #[arg(long, value_name = "N")]
    frame: Option<u64>,
    /// What the still will be called; shot and timecode when not given.
    #[arg(long, default_value = "", value_name = "NAME")]
    name: String,
    /// A line about it.
    #[arg(long, default_value = "", value_name = "TEXT")]
    note: String,
    /// What computes.
    #[arg(long, value_enum, default_value = "gpu")]
    on: On,
    /// Part of the GPU's name, where there are several.
    #[arg(long, default_value = "", value_name = "NAME")]
    adapter: String,
}

/// Put a picture from outside among the stills, as it is: PNG, TIFF, EXR, DPX or JPEG.
///
/// Example: greyhold still add winter poster.png --display srgb
#[derive(Debug, clap::Args)]
struct Add {
    /// Folder of the show.
    dir: PathBuf,
    /// The picture.
    file: PathBuf,
    /// Display whose signal its values are; the desk's when not given.
    #[arg(long, value_name = "ID")]
    display: Option<String>,
    /// What it will be called; as the file when not given.
    #[arg(long, default_value = "", value_name = "NAME")]
    name: String,
}

/// Take the grade of a still back: all of it, or a part.
///
/// The look and what stands around it are the show's: all shots get them.
///
/// Example: greyhold still take winter approved balance --shots platform,corridor
#[derive(Debug, clap::Args)]
struct Take {
    /// Folder of the show.
    dir: PathBuf,
    /// The still: its number or its name.
    still: String,
    /// What of it: whole, balance, look or strengths.
    #[arg(value_parser = portion_named)]
    portion: Portion,
    /// Names of shots, with commas between; the still's own when not given.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    shots: Vec<String>,
}

/// Write a still's picture as a file: 16-bit PNG or TIFF, 10-bit DPX.
///
/// Example: greyhold still export winter approved approved.tif --display srgb
#[derive(Debug, clap::Args)]
struct Export {
    /// Folder of the show.
    dir: PathBuf,
    /// The still: its number or its name.
    still: String,
    /// The file; what its name ends in says of which kind.
    out: PathBuf,
    /// Display whose signal is written: the same light, as far as that has it. The still's own when not given.
    #[arg(long, value_name = "ID")]
    display: Option<String>,
}

/// Give a still another name.
///
/// Example: greyhold still rename winter 2 approved
#[derive(Debug, clap::Args)]
struct Rename {
    /// Folder of the show.
    dir: PathBuf,
    /// The still: its number or its name.
    still: String,
    /// The name.
    name: String,
}

/// Remove a still, for good.
///
/// Example: greyhold still remove winter 2
#[derive(Debug, clap::Args)]
struct Remove {
    /// Folder of the show.
    dir: PathBuf,
    /// The still: its number or its name.
    still: String,
}

fn portion_named(text: &str) -> Result<Portion, String> {
    let found = Portion::ALL.into_iter().find(|p| p.key() == text);
    super::named(found, text, "part of a grade", Portion::ALL.into_iter().map(Portion::key))
}

impl Still {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        match self.command {
            StillCommand::List(list) => {
                let (all, wrong) = stills(&list.dir)?;
                for (i, still) in all.iter().enumerate() {
                    println!("{}", line(i, still));
                }
                for why in &wrong {
                    eprintln!("⚠ {why}");
                }
                if !wrong.is_empty() {
                    return Ok(ExitCode::FAILURE);
                }
            }
            StillCommand::Keep(keep) => keep.run()?,
            StillCommand::Add(add) => {
                let _lock = Lock::take(&add.dir)?;
                let show = load(&add.dir)?;
                let display = match &add.display {
                    Some(id) => super::display_named(Some(&show), id)?,
                    None => show.outputs.desk.display.clone(),
                };
                print(&add.dir, &bring_in(&add.dir, &add.file, &add.name, display)?)?;
            }
            StillCommand::Take(take) => take.run()?,
            StillCommand::Export(export) => {
                let still = still_named(&export.dir, &export.still)?;
                let display = match &export.display {
                    Some(id) => super::display_named(Some(&load(&export.dir)?), id)?,
                    None => still.display.clone(),
                };
                let signal = still_signal(&export.dir, &still, still.size)?;
                let mut pixels = as_shown(&signal, &still.display, &OutputSettings::new(display));
                let (width, height) = still.size;
                let (format, depth) = match ImageFormat::of_path(&export.out) {
                    Some(format @ (ImageFormat::Png | ImageFormat::Tiff)) => (format, 16),
                    Some(ImageFormat::Dpx) => (ImageFormat::Dpx, 10),
                    _ => bail!("{} is no name of a .png, .tif or .dpx file", export.out.display()),
                };
                if depth == 10 {
                    let short = |c: u16| (f32::from(c) / 65_535.0 * 1023.0).round() as u16;
                    pixels.iter_mut().for_each(|p| *p = p.map(short));
                }
                write_image(&export.out, format, &Image::Codes { width, height, depth, pixels: &pixels })?;
                println!("{}: {}", export.out.display(), still.name);
            }
            StillCommand::Rename(rename) => {
                let _lock = Lock::take(&rename.dir)?;
                let still = still_named(&rename.dir, &rename.still)?;
                rename_still(&rename.dir, &still.id, &rename.name)?;
                print(&rename.dir, &still)?;
            }
            StillCommand::Remove(remove) => {
                let _lock = Lock::take(&remove.dir)?;
                let still = still_named(&remove.dir, &remove.still)?;
                remove_still(&remove.dir, &still.id)?;
                println!("{} is removed", still.name);
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

impl Keep {
    fn run(self) -> anyhow::Result<()> {
        let _lock = Lock::take(&self.dir)?;
        let show = load(&self.dir)?;
        let shot = super::shots_named(&show, std::slice::from_ref(&self.shot))?[0];
        let s = &show.shots[shot];
        let laid_on = Rate::new(show.rate.0, show.rate.1);
        let as_ = Interpretation { range: s.range, matrix: s.matrix, laid_on, ..Interpretation::default() };
        let mut source = open(&s.source_path(&self.dir), &as_)?;
        let number = self.frame.unwrap_or(s.representative() - s.start);
        if number >= s.end - s.start {
            bail!("{} has no frame {number}; accepted: 0 to {}", s.name, s.end - s.start - 1);
        }
        let frame = source.frame(s.start + number)?;
        let info = source.info();
        let counting = Counting::of(info.rate, info.drop_frame);
        let timecode = counting.text(info.timecode_start.unwrap_or(0) + s.start + number);
        let gpu = match self.on {
            On::Gpu => Some(Gpu::headless(Request { adapter: &self.adapter })?),
            On::Cpu => None,
        };
        let still = keep_frame(&Keeping {
            show: &show,
            dir: &self.dir,
            shot,
            number,
            frame: &frame,
            raster: raster(&show, &self.dir)?.unwrap_or((frame.width, frame.height)),
            timecode,
            name: &self.name,
            note: &self.note,
            gpu: gpu.as_deref(),
        })?;
        print(&self.dir, &still)
    }
}

impl Take {
    fn run(self) -> anyhow::Result<()> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let still = still_named(&self.dir, &self.still)?;
        let shots = match (&self.shots[..], &still.of) {
            ([], Some(of)) => vec![own_shot(&show, &of.shot)?],
            (names, _) => super::shots_named(&show, names)?,
        };
        let settings = still_settings(&self.dir, &still.id, self.portion.takes_stages())?;
        let regrade = show.regrade_from_still(&settings, self.portion, &shots);
        for line in &regrade.left {
            eprintln!("⚠ {line}");
        }
        if !regrade.changes {
            println!("nothing differs");
            return Ok(());
        }
        show.apply(regrade.change)?;
        save(&show, &self.dir)?;
        let names: Vec<_> = shots.iter().map(|i| show.shots[*i].name.as_str()).collect();
        let onto = if self.portion == Portion::Look { "the show".into() } else { names.join(", ") };
        println!("{} of {} onto {onto}", self.portion.key(), still.name);
        Ok(())
    }
}

fn own_shot(show: &Show, name: &str) -> anyhow::Result<usize> {
    show.shots.iter().position(|s| s.name == name).with_context(|| {
        format!("the show has no shot {name:?} any more, which the still is of; --shots A,B names others")
    })
}

/// A still by its number or its name.
fn still_named(dir: &Path, text: &str) -> anyhow::Result<OneStill> {
    let all = stills(dir)?.0;
    let number = text.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
    let at = all.iter().position(|s| s.name == text || *s.id == *text).or(number.filter(|n| *n < all.len()));
    at.map(|at| all[at].clone()).with_context(|| {
        let names: Vec<_> = all.iter().map(|s| s.name.as_str()).collect();
        let accepted = if names.is_empty() { "none, there is no still".to_owned() } else { names.join(", ") };
        format!("no still is called {text:?}; accepted: {accepted}")
    })
}

fn print(dir: &Path, still: &OneStill) -> anyhow::Result<()> {
    let all = stills(dir)?.0;
    if let Some(at) = all.iter().position(|s| s.id == still.id) {
        println!("{}", line(at, &all[at]));
    }
    Ok(())
}

fn line(at: usize, still: &OneStill) -> String {
    let of = still
        .of
        .as_ref()
        .map_or("from outside".to_owned(), |of| format!("{} frame {} {}", of.shot, of.frame, of.timecode));
    let note = if still.note.is_empty() { String::new() } else { format!("  · {}", still.note) };
    let (width, height) = still.size;
    format!(
        "{}  {}  · {of}  · {width}×{height} {}  · {}{note}",
        at + 1,
        still.name,
        still.display.id,
        still.kept
    )
}
