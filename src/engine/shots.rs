//! The check of shots: every picture of an output, in the running order, through the meter.

use std::path::Path;
use std::sync::Arc;

use super::raster::{interpretation, raster};
use super::render::RenderError;
use crate::check::{Limits, ShotMeter, ShotReport};
use crate::gpu::Gpu;
use crate::media::open;
use crate::media::timecode::Counting;
use crate::picture::cpu;
use crate::show::{OutputSettings, Show, recipe};

/// What is checked.
pub struct ShotJob<'a> {
    /// The document.
    pub show: &'a Show,
    /// Its folder.
    pub dir: &'a Path,
    /// Shots by number, in order.
    pub shots: Vec<usize>,
    /// The output whose signal is looked at.
    pub settings: &'a OutputSettings,
    /// What people call it.
    pub output: String,
    /// Every so many frames only: 1 for all. Flashes need all.
    pub every: u64,
    /// The GPU, or none for the CPU.
    pub gpu: Option<Arc<Gpu>>,
}

/// Checks shots. `progress` is told the shot, how many frames are done and how many there are; it says whether to go on.
/// `Ok(None)`: given up.
///
/// # Errors
/// A source that cannot be read, or a GPU that fails.
pub fn check_shots(
    job: &ShotJob<'_>,
    limits: &Limits,
    progress: &mut dyn FnMut(&str, u64, u64) -> bool,
) -> Result<Option<ShotReport>, RenderError> {
    let rate = f64::from(job.show.rate.0) / f64::from(job.show.rate.1);
    let shots: Vec<_> = job.shots.iter().filter_map(|&i| Some((i, job.show.shots.get(i)?))).collect();
    let steps = |shot: &crate::show::Shot| (shot.end - shot.start).div_ceil(job.every);
    let total = shots.iter().map(|(_, s)| steps(s)).sum();
    let raster = raster(job.show, job.dir).map_err(RenderError::Raster)?;
    let tail = job.show.tail_of(job.settings);
    let mut meter = None;
    let mut labels = Vec::new();
    let mut done = 0;
    for (index, shot) in &shots {
        let name = || shot.name.clone();
        let source = |error| RenderError::Source { shot: name(), error };
        let mut clip = open(&shot.source_path(job.dir), &interpretation(job.show, shot)).map_err(source)?;
        let info = clip.info();
        let start = info.timecode_start.map(|t| (t + shot.start, Counting::of(info.rate, info.drop_frame)));
        labels.push(start);
        let size = raster.unwrap_or((info.width, info.height));
        let meter = meter.get_or_insert_with(|| ShotMeter::new(&job.settings.display, rate, size));
        meter.begin(&shot.name);
        for frame in (0..shot.end - shot.start).step_by(job.every as usize) {
            let media = |error| RenderError::Media { shot: name(), frame, error };
            let picture = clip.frame(shot.start + frame).map_err(media)?;
            let Some(mut recipe) = recipe(job.show, *index, tail.clone(), frame as u32) else { continue };
            recipe.raster = Some(size);
            let signal = match &job.gpu {
                Some(gpu) => gpu.signal(&recipe, &picture)?,
                None => cpu::signal(&recipe, &picture).pixels,
            };
            meter.frame(&signal);
            done += 1;
            if !progress(&shot.name, done, total) {
                return Ok(None);
            }
        }
    }
    let Some(meter) = meter else { return Ok(None) };
    let label = |shot: usize, frame: usize| {
        let frame = frame as u64 * job.every;
        let label = labels.get(shot).copied().flatten();
        let timecode =
            label.map_or(String::new(), |(start, counting)| format!(", {}", counting.text(start + frame)));
        format!("frame {frame}{timecode}")
    };
    let mut report = meter.report(&job.show.name, job.output.clone(), rate, limits, &label);
    if job.every > 1 {
        report.notes.push(format!(
            "Every {}th frame was looked at: flashes are not judged by that, and what is between was not seen.",
            job.every
        ));
        for row in report.shots.iter_mut().flat_map(|s| &mut s.rows).chain(&mut report.whole) {
            if row.declared.measure == "S4" {
                row.verdict = crate::check::Verdict::Told;
            }
        }
        let rows = report.shots.iter().flat_map(|s| &s.rows);
        report.passes = rows.clone().all(|r| r.verdict != crate::check::Verdict::Fail);
    }
    Ok(Some(report))
}
