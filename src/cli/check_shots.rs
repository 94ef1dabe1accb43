//! `greyhold check SHOW --shots`

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::atomic::Ordering;

use anyhow::bail;

use super::On;
use crate::check::{Limits, Row, ShotReport, Verdict, shots_page};
use crate::engine::{ShotJob, check_shots};
use crate::gpu::{Gpu, Request};
use crate::show::{Output, OutputSettings, load, write_atomically};

/// What of the command's line is about shots.
pub(super) struct Wanted<'a> {
    pub dir: &'a Path,
    pub shots: &'a [String],
    pub output: Output,
    pub display: Option<&'a str>,
    pub every: u64,
    pub on: On,
    pub out: Option<&'a Path>,
    pub json: bool,
}

pub(super) fn run(wanted: &Wanted<'_>, limits: &Limits) -> anyhow::Result<ExitCode> {
    let show = load(wanted.dir)?;
    let shots = super::shots_named(&show, wanted.shots)?;
    if shots.is_empty() {
        bail!("{} has no shots to check", wanted.dir.display());
    }
    let own;
    let (settings, name) = match wanted.display {
        Some(id) => {
            let display = super::display_named(Some(&show), id)?;
            show.check_display(&display)?;
            own = OutputSettings::new(display);
            (&own, "a display".to_owned())
        }
        None => (show.outputs.get(wanted.output), format!("output {}", wanted.output.key())),
    };
    let gpu = match wanted.on {
        On::Gpu => Some(Gpu::headless(Request::default())?),
        On::Cpu => None,
    };
    let output = format!("{name}: {}", settings.display.name);
    let job = ShotJob { show: &show, dir: wanted.dir, shots, settings, output, every: wanted.every, gpu };
    let stop = super::render::stop_by_hand();
    let live = std::io::stderr().is_terminal();
    let report = check_shots(&job, limits, &mut |shot, done, total| {
        if live {
            eprint!("\r{shot}: {done} of {total}\x1b[K");
        }
        !stop.load(Ordering::Acquire)
    })?;
    if live {
        eprintln!();
    }
    let Some(report) = report else { bail!("stopped; nothing was judged") };
    if let Some(out) = wanted.out {
        write_atomically(out, |file| file.write_all(shots_page(&report).as_bytes()))?;
    }
    let mut stdout = std::io::BufWriter::new(std::io::stdout().lock());
    match wanted.json {
        true => writeln!(stdout, "{}", serde_json::to_string_pretty(&report)?)?,
        false => print(&mut stdout, &report)?,
    }
    stdout.flush()?;
    Ok(if report.passes { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn print(out: &mut impl Write, report: &ShotReport) -> std::io::Result<()> {
    writeln!(out, "{}, {}", report.name, report.output)?;
    for note in &report.notes {
        writeln!(out, "  note: {note}")?;
    }
    for shot in &report.shots {
        writeln!(out, "\n{}", shot.name)?;
        rows(out, &shot.rows)?;
    }
    if report.shots.len() > 1 {
        writeln!(out, "\nthe whole")?;
        rows(out, &report.whole)?;
    }
    let failed = report.shots.iter().flat_map(|s| &s.rows).filter(|r| r.verdict == Verdict::Fail).count();
    writeln!(out)?;
    match failed {
        0 => writeln!(out, "Every judged value is within its limit."),
        n => writeln!(out, "{n} past their limits."),
    }
}

fn rows(out: &mut impl Write, rows: &[Row]) -> std::io::Result<()> {
    for row in rows {
        let mark = match row.verdict {
            Verdict::Pass => "holds",
            Verdict::Fail => "FAILS",
            Verdict::Advice => "advice",
            Verdict::Told => "",
        };
        let limit = row.limit.as_ref().map_or(String::new(), |l| l.text());
        let declared = row.declared;
        let line = format!(
            "  {:4}{:30}{:>10}  {limit:10}{mark:8}{}",
            declared.measure,
            declared.name,
            row.shown(),
            row.note
        );
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}
