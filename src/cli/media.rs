//! `greyhold media`

use std::path::PathBuf;
use std::process::ExitCode;

use crate::media::timecode::Counting;
use crate::media::{ClipInfo, Interpretation, clips_in, open};

/// Say what clips are: codec, size, rate, range, colour tags, timecode, sound, and what is assumed where a file says nothing.
///
/// Clips are given as for `greyhold add`; of a folder every clip in it and below it is told.
///
/// Example: greyhold media A001.mov scans/
#[derive(Debug, clap::Args)]
pub struct Media {
    /// Clips, or folders.
    #[arg(required = true, value_name = "CLIP")]
    clips: Vec<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// The clips that paths mean: a folder with one sequence and nothing else is that clip, any other folder all that is in it.
pub(super) fn clips(paths: &[PathBuf]) -> Vec<PathBuf> {
    let mut out = Vec::new();
    for path in paths {
        let inside = if path.is_dir() { clips_in(path).unwrap_or_default() } else { Vec::new() };
        match inside.len() {
            // What is wrong with it is said when it is opened.
            0 => out.push(path.clone()),
            _ => out.extend(inside),
        }
    }
    out
}

impl Media {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let (mut failed, mut all) = (0, Vec::new());
        for clip in clips(&self.clips) {
            match open(&clip, &Interpretation::default()) {
                Ok(source) => match self.json {
                    true => all.push(json(source.info())),
                    false => print(source.info()),
                },
                Err(e) => {
                    eprintln!("greyhold: {e}");
                    failed += 1;
                }
            }
        }
        if self.json {
            println!("{}", serde_json::to_string_pretty(&all)?);
        }
        Ok(if failed > 0 { ExitCode::from(2) } else { ExitCode::SUCCESS })
    }
}

fn timecode(info: &ClipInfo) -> Option<String> {
    let counting = Counting::of(info.rate, info.drop_frame);
    info.timecode_start.map(|start| counting.text(start))
}

fn print(info: &ClipInfo) {
    println!("{}", info.name);
    println!("  {}", info.description);
    let seconds = info.rate.seconds(info.frames);
    println!(
        "  {}×{}, {} frames, {} frames/s, {seconds:.2} s",
        info.width, info.height, info.frames, info.rate
    );
    println!("  tags: {}", info.points.text());
    if let Some(text) = timecode(info) {
        println!("  timecode {text}");
    }
    for sound in &info.sound {
        println!("  sound: {sound}");
    }
}

fn json(info: &ClipInfo) -> serde_json::Value {
    serde_json::json!({
        "name": info.name,
        "path": info.path,
        "description": info.description,
        "width": info.width,
        "height": info.height,
        "frames": info.frames,
        "missing": info.missing,
        "rate": format!("{}/{}", info.rate.num(), info.rate.den()),
        "timecode": timecode(info),
        "primaries": info.points.primaries,
        "transfer": info.points.transfer,
        "matrix": info.points.matrix,
        "pixel_aspect": info.pixel_aspect,
        "turned": info.turned,
        "sound": info.sound,
    })
}
