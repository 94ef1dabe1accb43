//! `greyhold survey` and `greyhold encoding`

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use serde_json::json;

use crate::colour::{Encoding, Range};
use crate::engine::first::{FrameOf, Reader};
use crate::engine::survey::{Limits, ShotMarks, Surveyed, marks};
use crate::show::{Lock, Show, load, save};

/// Read a frame of every shot and say what is off: exposure, a cast, range, encoding.
///
/// What is measured is each shot as its balance now stands. The exit status is 0 when nothing is marked, 1 when something is.
///
/// Example: greyhold survey winter --stops 0.7
#[derive(Debug, clap::Args)]
pub struct SurveyShow {
    /// Folder of the show.
    dir: PathBuf,
    /// Stops that exposure may be off.
    #[arg(long, default_value_t = Limits::default().stops, value_name = "STOPS")]
    stops: f64,
    /// Degrees that grey may be off neutral, as an angle between ACEScg colours.
    #[arg(long, default_value_t = Limits::default().degrees, value_name = "DEGREES")]
    degrees: f64,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Say of each shot what speaks against how it is read, or read several in another encoding.
///
/// Without --set it is said what the files' own tags, the range of the codes and the level where they clip say against each
/// shot's encoding and range, and what it could be instead. With --set the shots named, or all, are read so, and
/// the show is saved.
///
/// Examples: greyhold encoding winter
/// greyhold encoding winter --shots one,two --set s-log3 --range full
#[derive(Debug, clap::Args)]
pub struct EncodingOf {
    /// Folder of the show.
    dir: PathBuf,
    /// Names of shots, with commas between; all when not given.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    shots: Vec<String>,
    /// The encoding to read them in, as `greyhold encodings` lists them.
    #[arg(long, value_name = "ID", value_parser = super::encoding_named)]
    set: Option<&'static Encoding>,
    /// The range to read them in: narrow or full.
    #[arg(long, value_name = "RANGE", requires = "set", value_parser = super::range_named)]
    range: Option<Range>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Reads a frame of each shot, telling how far it is.
fn read(show: &Show, dir: &Path) -> Vec<Option<Result<Arc<Surveyed>, Arc<str>>>> {
    let mut reader = Reader::default();
    (0..show.shots.len())
        .map(|shot| {
            eprintln!("{} of {}: {}", shot + 1, show.shots.len(), show.shots[shot].name);
            let of = FrameOf::new(show, dir, shot, None)?;
            Some(reader.survey(&of).map(Arc::new).map_err(Arc::from))
        })
        .collect()
}

fn as_json(show: &Show, shot: usize, m: &ShotMarks) -> serde_json::Value {
    let range = m.doubt.range.map(|r| if r == Range::Full { "full" } else { "narrow" });
    json!({
        "shot": show.shots[shot].name,
        "encoding": show.shots[shot].encoding.id,
        "trouble": m.trouble.as_deref(),
        "stops off": m.exposure,
        "cast in degrees": m.cast,
        "encoding doubtful": m.doubt.encoding_doubtful,
        "could be": { "encoding": m.doubt.encoding.map(|e| e.id), "range": range, "sure": m.doubt.sure },
        "reasons": m.doubt.reasons,
    })
}

impl SurveyShow {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let show = load(&self.dir)?;
        let limits = Limits { stops: self.stops, degrees: self.degrees, ..Limits::default() };
        let all = marks(&show, &read(&show, &self.dir), &limits);
        if self.json {
            let all: Vec<_> = all.iter().enumerate().map(|(i, m)| as_json(&show, i, m)).collect();
            println!("{}", serde_json::to_string_pretty(&all)?);
        } else {
            for (shot, m) in show.shots.iter().zip(&all) {
                let lines = m.lines();
                println!(
                    "{}: {}",
                    shot.name,
                    if lines.is_empty() { "nothing".into() } else { lines.join("; ") }
                );
            }
        }
        Ok(if all.iter().any(ShotMarks::any) { ExitCode::FAILURE } else { ExitCode::SUCCESS })
    }
}

impl EncodingOf {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = self.set.map(|_| Lock::take(&self.dir)).transpose()?;
        let mut show = load(&self.dir)?;
        let shots = super::shots_named(&show, &self.shots)?;
        if let Some(encoding) = self.set {
            let change = show.encode_shots(&shots, encoding, self.range.map(Some))?;
            show.apply(change)?;
            save(&show, &self.dir)?;
            println!("{} shots are read as {}", shots.len(), encoding.id);
            return Ok(ExitCode::SUCCESS);
        }
        let all = marks(&show, &read(&show, &self.dir), &Limits::default());
        if self.json {
            let all: Vec<_> = shots.iter().map(|&i| as_json(&show, i, &all[i])).collect();
            println!("{}", serde_json::to_string_pretty(&all)?);
            return Ok(ExitCode::SUCCESS);
        }
        for &i in &shots {
            let (shot, m) = (&show.shots[i], &all[i]);
            let doubts = match (&m.trouble, m.doubt.is_none()) {
                (Some(why), _) => why.to_string(),
                (None, true) => "nothing speaks against it".into(),
                (None, false) => m.doubt.reasons.join("; "),
            };
            println!("{}: {}; {doubts}", shot.name, shot.encoding.id);
            if let Some(other) = m.doubt.encoding {
                println!(
                    "  it could be {}: greyhold encoding DIR --shots {} --set {}",
                    other.id, shot.name, other.id
                );
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}
