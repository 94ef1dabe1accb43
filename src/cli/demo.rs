//! `greyhold demo`

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;
use rayon::prelude::*;

use super::open::{WindowArguments, open};
use crate::colour::{apply, encoding};
use crate::demo::{RATE, SCENES, Scene};
use crate::desk::DeskError;
use crate::engine::render::{Job, Options, render};
use crate::gpu::{Gpu, Request};
use crate::media::{Image, ImageFormat, write_image};
use crate::show::{Lock, Output, SHOW_FILE, Shot, Show, load, save, shipped_looks};

/// Make a small invented show and open it.
///
/// A winter day on a mountain railway, drawn by the program: 10-bit log image sequences from two
/// cameras. The show is made once (a minute or two); later calls open it as it was left. Without a
/// display the show is made and a graded frame of each shot is rendered to its folder `stills`.
///
/// Example: greyhold demo
#[derive(Debug, clap::Args)]
pub struct Demo {
    /// Folder for the show.
    #[arg(default_value = "greyhold-demo")]
    dir: PathBuf,
    /// Make the show and end.
    #[arg(long)]
    make_only: bool,
    #[command(flatten)]
    windows: WindowArguments,
}

/// Size of the scenes.
const SIZE: (u32, u32) = (960, 540);

impl Demo {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        if !self.dir.join(SHOW_FILE).exists() {
            make(&self.dir)?;
        }
        if self.make_only {
            return Ok(ExitCode::SUCCESS);
        }
        match open(&self.dir, self.windows) {
            Err(e) if matches!(e.downcast_ref(), Some(DeskError::NoDisplay(_))) => {
                eprintln!("greyhold: {e:#}");
                stills(&self.dir)
            }
            result => result,
        }
    }
}

/// Where there is no window to show it in: a frame of each shot, graded.
fn stills(dir: &Path) -> anyhow::Result<ExitCode> {
    let show = load(dir)?;
    let out = dir.join("stills");
    let gpu = Gpu::headless(Request::default()).map_err(|e| eprintln!("greyhold: {e}; the CPU does it")).ok();
    let middle = u64::from(SCENES.iter().map(|s| s.frames).min().unwrap_or(1)) / 2;
    let job = Job {
        show: &show,
        dir,
        shots: (0..show.shots.len()).collect(),
        frames: Some(middle..=middle),
        out: &out,
        format: ImageFormat::Png.into(),
        tail: Some(show.tail(Output::Files)),
        gpu,
        options: Options { again: true, ..Options::default() },
    };
    let written = render(&job, &mut |_| ())?.written;
    println!("{written} graded frames are in {}", out.display());
    Ok(ExitCode::SUCCESS)
}

/// Draws the scenes and writes the show, last of all. A second call after an interruption goes on where
/// the first one was.
fn make(dir: &Path) -> anyhow::Result<()> {
    std::fs::create_dir_all(dir)
        .with_context(|| format!("the folder {} could not be made", dir.display()))?;
    let _lock = Lock::take(dir)?;
    let total: u32 = SCENES.iter().map(|s| s.frames).sum();
    let mut done = 0;
    let mut show = Show::new("Winter railway");
    show.rate = (RATE, 1);
    show.raster = Some(SIZE);
    for scene in SCENES {
        let folder = dir.join("footage").join(scene.name);
        std::fs::create_dir_all(&folder)
            .with_context(|| format!("the folder {} could not be made", folder.display()))?;
        draw(scene, &folder, &mut |frames| {
            done += frames;
            progress(scene, done, total);
        })?;
        let camera = encoding(scene.encoding).context("the scene's encoding is in the table")?;
        let source = Path::new("footage").join(scene.name).join(format!("{}.####.dpx", scene.name));
        show.shots.push(Shot::new(scene.name, source, 0..scene.frames.into(), camera));
    }
    let look = shipped_looks().iter().find(|l| l.name == "Low-contrast print");
    show.apply(look.context("the demo's look ships with the program")?.change(1.0))?;
    save(&show, dir)?;
    eprintln!("\n{} is ready", dir.join(SHOW_FILE).display());
    Ok(())
}

fn progress(scene: &Scene, done: u32, total: u32) {
    if std::io::stderr().is_terminal() {
        eprint!("\rdrawing {}: frame {done} of {total}\x1b[K", scene.name);
        let _ = std::io::stderr().flush();
    } else if done.is_multiple_of(24) {
        eprintln!("drawing {}: frame {done} of {total}", scene.name);
    }
}

fn draw(scene: &'static Scene, folder: &Path, drawn: &mut dyn FnMut(u32)) -> anyhow::Result<()> {
    let path = |frame: u32| folder.join(format!("{}.{frame:04}.dpx", scene.name));
    let missing: Vec<u32> = (0..scene.frames).filter(|f| !path(*f).exists()).collect();
    drawn(scene.frames - missing.len() as u32);
    if missing.is_empty() {
        return Ok(());
    }
    let camera = encoding(scene.encoding).context("the scene's encoding is in the table")?;
    let (matrix, curve) = (camera.from_acescg().rows::<f32>(), camera.curve.values::<f32>());
    let prepared = scene.prepare(SIZE.0, SIZE.1);
    for frame in missing {
        let code = |v: f32| (v * 1023.0).round().clamp(0.0, 1023.0) as u16;
        let pixels: Vec<[u16; 3]> = prepared
            .frame(frame)
            .par_iter()
            .map(|p| apply(&matrix, *p).map(|v| code(curve.encode(v))))
            .collect();
        let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
        write_image(&path(frame), ImageFormat::Dpx, &image)?;
        drawn(1);
    }
    Ok(())
}
