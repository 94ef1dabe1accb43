//! `greyhold check`

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};

use super::On;
use super::check_shots::{self, Wanted};
use crate::check::{Limits, Report, Subject, Verdict, check, page};
use crate::colour::{Encoding, Reference, encoding};
use crate::interchange::{clf::Clf, cube::Cube};
use crate::look::Intent;
use crate::show::{Output, ShowError, look_named, write_atomically};

/// Is a look sound? Measures it, holds it to limits and says which it passes.
///
/// LOOK is a look file (.toml), a LUT (.cube), a CLF file (.clf), or the name of a look as `greyhold look list` has
/// it. Ten measurements: grey, tint of neutrals, tone, folds, banding, hues, skin, clipping, noise, and
/// whether a LUT holds it. The limits are data: configs/check.toml is built in, --limits reads your own. The
/// exit status is 0 when every judged value is within its limit, 1 when not, 2 when the file cannot be used.
///
/// With --shots LOOK is the folder of a show, and its pictures are measured instead, shot by shot and as a whole: signal limits
/// (EBU R 103), gamut, black and clip, and flashes after ITU-R BT.1702. The flash rows are an indication: flashing pictures can
/// hurt people, and a licensed test decides.
///
/// Example: greyhold check reversal --out report.html
///
/// Example: greyhold check winter --shots --out report.html
#[derive(Debug, clap::Args)]
pub struct Check {
    /// The look: a file, or a name.
    look: PathBuf,
    /// Folder of a show, whose own looks are then known by name too.
    #[arg(long, value_name = "DIR")]
    show: Option<PathBuf>,
    /// How much of it acts: 1 as designed.
    #[arg(long, value_name = "S", default_value_t = 1.0)]
    strength: f64,
    /// Writes a page with pictures, for a browser.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Prints JSON.
    #[arg(long)]
    json: bool,
    /// Scene encoding that a LUT or CLF file expects.
    #[arg(long, value_name = "ENC", value_parser = super::encoding_named)]
    expects: Option<&'static Encoding>,
    /// Scene encoding that a LUT or CLF file gives.
    #[arg(long, value_name = "ENC", value_parser = super::encoding_named)]
    gives: Option<&'static Encoding>,
    /// What the look means to do with colour, in place of what its file says.
    #[arg(long, value_name = "INTENT", value_parser = super::intent_named)]
    intent: Option<Intent>,
    /// Measure the pictures of a show's shots, all or those named with commas between.
    #[arg(long, value_delimiter = ',', value_name = "A,B", num_args = 0..=1, default_missing_value = "")]
    shots: Option<Vec<String>>,
    /// With --shots: the output whose signal is measured: desk, client or files.
    #[arg(long, value_name = "NAME", default_value = "files", value_parser = super::output_named, requires = "shots")]
    output: Output,
    /// With --shots: a display in place of an output's.
    #[arg(long, value_name = "ID", requires = "shots", conflicts_with = "output")]
    display: Option<String>,
    /// With --shots: look at every so many frames only; flashes are then not judged.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=10_000), requires = "shots")]
    every: u64,
    /// With --shots: what computes.
    #[arg(long, value_enum, default_value = "gpu", requires = "shots")]
    on: On,
    /// Limits in place of those that come with the program.
    #[arg(long, value_name = "FILE")]
    limits: Option<PathBuf>,
}

impl Check {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        if !(0.0..=1.5).contains(&self.strength) {
            bail!("strength is {}; accepted: 0 to 1.5", self.strength);
        }
        let limits = match &self.limits {
            None => Limits::shipped(),
            Some(file) => {
                let text = std::fs::read_to_string(file).with_context(|| file.display().to_string())?;
                Limits::read(&text, file)?
            }
        };
        if let Some(shots) = &self.shots {
            let shots: Vec<String> = shots.iter().filter(|s| !s.is_empty()).cloned().collect();
            let wanted = Wanted {
                dir: &self.look,
                shots: &shots,
                output: self.output,
                display: self.display.as_deref(),
                every: self.every,
                on: self.on,
                out: self.out.as_deref(),
                json: self.json,
            };
            return check_shots::run(&wanted, &limits);
        }
        let mut subject = self.subject()?;
        subject.intent = self.intent.or(subject.intent);
        let report = check(&subject, self.strength, &limits);
        if let Some(out) = &self.out {
            write_atomically(out, |file| file.write_all(page(&report).as_bytes()))?;
        }
        let mut stdout = std::io::BufWriter::new(std::io::stdout().lock());
        match self.json {
            true => writeln!(stdout, "{}", serde_json::to_string_pretty(&report)?)?,
            false => print(&mut stdout, &report)?,
        }
        stdout.flush()?;
        Ok(if report.passes { ExitCode::SUCCESS } else { ExitCode::from(1) })
    }

    fn subject(&self) -> anyhow::Result<Subject> {
        let kind = self.look.extension().map_or(String::new(), |e| e.to_string_lossy().to_lowercase());
        let stem = || self.look.file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned());
        let table = matches!(kind.as_str(), "cube" | "clf");
        if !table && (self.expects.is_some() || self.gives.is_some()) {
            bail!("--expects and --gives speak of a .cube or .clf file; a look is ACEScct in and out");
        }
        let read =
            || std::fs::read(&self.look).with_context(|| format!("cannot read {}", self.look.display()));
        let named = |e| anyhow::anyhow!("{}, {e}", self.look.display());
        let subject = match kind.as_str() {
            "cube" => {
                let cube = Cube::read(&read()?).map_err(named)?;
                let name = if cube.title.is_empty() { stem() } else { cube.title.clone() };
                Subject::of_lut(name, &cube.lut, scene(self.expects)?, scene(self.gives)?)
            }
            "clf" => {
                let clf = Clf::read(&read()?).map_err(named)?;
                let name = clf.name.clone().unwrap_or_else(stem);
                Subject::of_clf(name, &clf, scene(self.expects)?, scene(self.gives)?)
            }
            _ => {
                let look = look_named(&self.look, self.show.as_deref()).map_err(|e| match e {
                    ShowError::Change { .. } => anyhow::anyhow!("{e}, a .cube or a .clf file"),
                    e => e.into(),
                })?;
                Subject::of_stages(look.name, &look.stages, look.intent)
            }
        };
        Ok(subject)
    }
}

/// ACEScct where nothing is said; an encoding of display light is refused, for a look is scene-referred.
fn scene(named: Option<&'static Encoding>) -> anyhow::Result<&'static Encoding> {
    let found = named.or_else(|| encoding("acescct")).context("there is no ACEScct")?;
    if found.reference == Reference::Display {
        bail!(
            "{} is display light: what is checked here is scene light in and out, shown by ACES 2.0; accepted: {}",
            found.id,
            crate::colour::ENCODINGS
                .iter()
                .filter(|e| e.reference == Reference::Scene)
                .map(|e| e.id)
                .collect::<Vec<_>>()
                .join(", ")
        );
    }
    Ok(found)
}

fn print(out: &mut impl Write, report: &Report) -> std::io::Result<()> {
    let says = report.intent.map_or(String::new(), |i| format!(", intent {}", i.id()));
    writeln!(out, "{} at strength {}{says}", report.name, report.strength)?;
    for note in &report.notes {
        writeln!(out, "  note: {note}")?;
    }
    writeln!(out)?;
    for row in &report.rows {
        let mark = match row.verdict {
            Verdict::Pass => "holds",
            Verdict::Fail => "FAILS",
            Verdict::Advice => "advice",
            Verdict::Told => "",
        };
        let limit = row.limit.as_ref().map_or(String::new(), |l| l.text());
        let line = format!(
            "{:4}{:40}{:>19}  {:15}{:7}{}",
            row.declared.measure,
            row.declared.name,
            row.shown(),
            limit,
            mark,
            row.note
        );
        writeln!(out, "{}", line.trim_end())?;
    }
    let failed = report.failures().count();
    writeln!(out)?;
    match failed {
        0 => writeln!(out, "Sound: every judged value is within its limit."),
        n => writeln!(out, "Not sound: {n} past their limits."),
    }
}
