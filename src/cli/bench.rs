//! `greyhold bench`

use std::path::PathBuf;
use std::process::ExitCode;

use super::On;
use super::bench_render::{self, Wanted};
use crate::colour::Encoding;
use crate::engine::render::Kind;
use crate::gpu::{self, BenchLook, BenchLooks, Gpu, Request};
use crate::show::shipped_looks;

/// Measure the passes on this GPU beside a plain copy, by GPU timestamps.
///
/// What scopes and marks cost is measured beside the same picture without them, which is what it costs when they are hidden.
///
/// The last row is the heaviest look that comes with the program, with every part of balance and ACES 2.0, in half floats: the
/// one whose stages, measured alone in this run, cost most together. With --looks every look has such a row, and the heaviest
/// is named.
///
/// With --clip a render of that clip is measured instead, ungraded, beside FFmpeg's program decoding and encoding the same frames with the
/// same encoder: the ratio of both in one run, where the time goes, and the most memory.
///
/// Example: greyhold bench --json >bench.json
///
/// Example: greyhold bench --clip A001.mov --format prores-422-hq
#[derive(Debug, clap::Args)]
pub struct Bench {
    /// Print JSON.
    #[arg(long)]
    json: bool,
    /// Times each pass is measured; the median counts.
    #[arg(long, default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    rounds: u32,
    /// Measure every look that comes with the program, not the heaviest alone.
    #[arg(long)]
    looks: bool,
    /// Sizes to measure at.
    #[arg(long, value_delimiter = ',', default_value = "1920x1080,3840x2160", value_name = "WxH", value_parser = super::size)]
    sizes: Vec<(u32, u32)>,
    /// Part of the adapter's name, where there are several.
    #[arg(long, default_value = "")]
    adapter: String,
    /// Measure a render of this clip.
    #[arg(long, value_name = "FILE")]
    clip: Option<PathBuf>,
    /// With --clip: the kind of file, as for `greyhold render`.
    #[arg(long, default_value = "prores-422-hq", requires = "clip", value_parser = super::render::format_named)]
    format: Kind,
    /// With --clip: the clip's encoding.
    #[arg(long, default_value = "logc4", requires = "clip", value_name = "ID", value_parser = super::encoding_named)]
    encoding: &'static Encoding,
    /// With --clip: how many frames at most.
    #[arg(long, default_value_t = 120, requires = "clip", value_parser = clap::value_parser!(u64).range(1..))]
    frames: u64,
    /// With --clip: what computes.
    #[arg(long, value_enum, default_value = "gpu", requires = "clip")]
    on: On,
}

impl Bench {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        if let Some(clip) = &self.clip {
            let Self { encoding, format, frames, on, json, .. } = self;
            return bench_render::run(&Wanted { clip, encoding, format, frames, on, json });
        }
        let gpu = Gpu::headless(Request { adapter: &self.adapter })?;
        if !gpu.has_timestamps() {
            anyhow::bail!("{} has no timestamps, so its passes cannot be timed", gpu.name());
        }
        let looks: Vec<_> = shipped_looks()
            .iter()
            .map(|l| BenchLook { name: l.name.clone(), stages: l.stages.clone() })
            .collect();
        let which = if self.looks { BenchLooks::All } else { BenchLooks::Heaviest };
        let progress = |what: &str| eprintln!("measuring {what} …");
        let rows = gpu::bench(&gpu, &self.sizes, self.rounds as usize, (&looks, which), &progress)?;
        let clock = if gpu::is_software(&gpu) { "wall" } else { "GPU timestamps" };
        if self.json {
            let report = serde_json::json!({ "adapter": gpu.name(), "clock": clock, "rounds": self.rounds, "passes": rows });
            println!("{}", serde_json::to_string_pretty(&report)?);
            return Ok(ExitCode::SUCCESS);
        }
        println!("{}; medians of {}, by {clock}", gpu.name(), self.rounds);
        for r in &rows {
            println!(
                "{:>5}×{:<5} {:36} {:9.3} ms  (10 %: {:.3}, 90 %: {:.3})  {:6.2} copies",
                r.width, r.height, r.pass, r.median_ms, r.p10_ms, r.p90_ms, r.copies
            );
        }
        for &(width, height) in &self.sizes {
            let of = |pass: &str| {
                let row = rows.iter().find(|r| (r.width, r.height) == (width, height) && r.pass == pass);
                row.map(|r| r.median_ms)
            };
            for (bare, more, pass) in
                gpu::MORE_ROWS.iter().filter_map(|p| Some((of(gpu::BARE_ROW)?, of(p)?, p)))
            {
                println!(
                    "{width}×{height}: {pass}, over it without: {:.2} (+{:.3} ms)",
                    more / bare,
                    more - bare
                );
            }
        }
        for size in self.sizes.iter().filter(|_| self.looks) {
            let of_size =
                rows.iter().filter(|r| (r.width, r.height) == *size && r.pass.contains(": the look "));
            if let Some(r) = of_size.max_by(|a, b| a.median_ms.total_cmp(&b.median_ms)) {
                println!("heaviest at {}×{}: {}, {:.3} ms", size.0, size.1, r.pass, r.median_ms);
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}
