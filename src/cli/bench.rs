//! `greyhold bench`

use std::process::ExitCode;

use crate::gpu::{self, Gpu, Request};

/// Measure the passes on this GPU beside a plain copy, by GPU timestamps.
///
/// Example: greyhold bench --json >bench.json
#[derive(Debug, clap::Args)]
pub struct Bench {
    /// Print JSON.
    #[arg(long)]
    json: bool,
    /// Times each pass is measured; the median counts.
    #[arg(long, default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    rounds: u32,
    /// Sizes to measure at.
    #[arg(long, value_delimiter = ',', default_value = "1920x1080,3840x2160", value_name = "WxH", value_parser = super::size)]
    sizes: Vec<(u32, u32)>,
    /// Part of the adapter's name, where there are several.
    #[arg(long, default_value = "")]
    adapter: String,
}

impl Bench {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let gpu = Gpu::headless(Request { adapter: &self.adapter })?;
        if !gpu.has_timestamps() {
            anyhow::bail!("{} has no timestamps, so its passes cannot be timed", gpu.name());
        }
        let rows =
            gpu::bench(&gpu, &self.sizes, self.rounds as usize, &|what| eprintln!("measuring {what} …"))?;
        let clock = if gpu::is_software(&gpu) { "wall" } else { "GPU timestamps" };
        if self.json {
            let report = serde_json::json!({ "adapter": gpu.name(), "clock": clock, "rounds": self.rounds, "passes": rows });
            println!("{}", serde_json::to_string_pretty(&report)?);
            return Ok(ExitCode::SUCCESS);
        }
        println!("{}; medians of {}, by {clock}", gpu.name(), self.rounds);
        for r in rows {
            println!(
                "{:>5}×{:<5} {:36} {:9.3} ms  (10 %: {:.3}, 90 %: {:.3})  {:6.2} copies",
                r.width, r.height, r.pass, r.median_ms, r.p10_ms, r.p90_ms, r.copies
            );
        }
        Ok(ExitCode::SUCCESS)
    }
}
