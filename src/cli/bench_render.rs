//! `greyhold bench --clip`

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use anyhow::{Context, bail};

use super::On;
use crate::colour::Encoding;
use crate::engine::render::{Job, Kind, Options, Times, render};
use crate::gpu::{Gpu, Request};
use crate::media::movie::MovieFormat;
use crate::media::{ClipInfo, Interpretation, open};
use crate::show::{Output, Shot, Show};

/// What is measured.
pub(super) struct Wanted<'a> {
    pub clip: &'a Path,
    pub encoding: &'static Encoding,
    pub format: Kind,
    pub frames: u64,
    pub on: On,
    pub json: bool,
}

#[derive(serde::Serialize)]
struct Measured {
    clip: String,
    format: &'static str,
    on: String,
    frames: u64,
    seconds: f64,
    frames_a_second: f64,
    times: Times,
    /// Most memory of this process, MiB, where the system tells it.
    peak_mib: Option<f64>,
    /// The same frames decoded and encoded by FFmpeg's program with the same encoder, and no grading; where it is installed.
    ffmpeg_seconds: Option<f64>,
    /// Our time to FFmpeg's.
    ratio: Option<f64>,
}

/// A folder that is removed again.
struct Scratch(PathBuf);

impl Scratch {
    fn new() -> std::io::Result<Self> {
        let path = std::env::temp_dir().join(format!("greyhold-bench-{}", std::process::id()));
        std::fs::create_dir_all(&path)?;
        Ok(Self(path))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

pub(super) fn run(wanted: &Wanted<'_>) -> anyhow::Result<ExitCode> {
    let info = open(wanted.clip, &Interpretation::default())?.info().clone();
    let frames = wanted.frames.min(info.frames);
    if frames == 0 {
        bail!("{} has no frames", wanted.clip.display());
    }
    let scratch = Scratch::new().context("no folder for the files that are written")?;
    let mut show = Show::new("bench");
    show.rate = (info.rate.num(), info.rate.den());
    let clip = std::path::absolute(wanted.clip)?;
    show.shots.push(Shot::new("clip", &clip, 0..info.frames, wanted.encoding));
    let gpu = match wanted.on {
        On::Gpu => Some(Gpu::headless(Request::default())?),
        On::Cpu => None,
    };
    let on = gpu.as_ref().map_or("CPU".into(), |g| g.name());
    let job = |gpu, first, last, out| Job {
        show: &show,
        dir: &scratch.0,
        shots: vec![0],
        frames: Some(first..=last),
        out,
        format: wanted.format,
        tail: Some(show.tail(Output::Files)),
        gpu,
        options: Options { silent: true, again: true, ..Options::default() },
    };
    // Shaders are compiled, and tables worked out, by the first frame.
    let (warm, out) = (scratch.0.join("warm"), scratch.0.join("out"));
    render(&job(gpu.clone(), 0, 0, warm.as_path()), &mut |_| ())?;
    let start = Instant::now();
    let done = render(&job(gpu, 0, frames - 1, out.as_path()), &mut |_| ())?;
    let seconds = start.elapsed().as_secs_f64();
    let ffmpeg_seconds = match wanted.format {
        Kind::Movie(format) => ffmpeg(format, &info, frames, &scratch.0),
        Kind::Images(_) => None,
    };
    let measured = Measured {
        clip: format!("{} ({}×{}, {})", info.name, info.width, info.height, info.description),
        format: wanted.format.key(),
        on,
        frames,
        seconds,
        frames_a_second: done.written as f64 / seconds,
        times: done.times,
        peak_mib: peak(),
        ffmpeg_seconds,
        ratio: ffmpeg_seconds.map(|f| seconds / f),
    };
    if wanted.json {
        println!("{}", serde_json::to_string_pretty(&measured)?);
        return Ok(ExitCode::SUCCESS);
    }
    println!("{} to {}, {frames} frames, on {}", measured.clip, measured.format, measured.on);
    println!("  {seconds:.2} s, {:.1} frames/s", measured.frames_a_second);
    let t = measured.times;
    println!(
        "  at work: decode {:.2} s, grade {:.2} s, pack and encode {:.2} s, join {:.2} s",
        t.decode, t.grade, t.write, t.join
    );
    if let Some(peak) = measured.peak_mib {
        println!("  peak memory {peak:.0} MiB");
    }
    match (ffmpeg_seconds, measured.ratio) {
        (Some(f), Some(ratio)) => {
            println!(
                "  FFmpeg's decode and encode without grading: {f:.2} s; this takes {ratio:.2} times as long"
            );
        }
        _ => println!(
            "  nothing to compare with: FFmpeg's program is not there, or has no such encoder, or the files are images"
        ),
    }
    Ok(ExitCode::SUCCESS)
}

/// Seconds that FFmpeg's program takes for the same frames and the same encoder.
fn ffmpeg(format: &MovieFormat, info: &ClipInfo, frames: u64, scratch: &Path) -> Option<f64> {
    let input = if info.first_number > 0 || !info.path.exists() { return None } else { &info.path };
    let out = scratch.join(format!("plain.{}", format.containers[0].key()));
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-nostdin", "-y", "-i"]).arg(input);
    command.args(["-an", "-frames:v", &frames.to_string(), "-pix_fmt", format.pixel, "-c:v", format.encoder]);
    for (key, value) in format.encoder_options() {
        command.args([format!("-{key}:v"), value]);
    }
    command.arg(&out).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    let start = Instant::now();
    let status = command.status().ok()?;
    status.success().then(|| start.elapsed().as_secs_f64())
}

/// The most memory that this process has had, MiB.
fn peak() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    Some(line.trim().strip_suffix(" kB")?.trim().parse::<f64>().ok()? / 1024.0)
}
