//! `greyhold cut`

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::media::timecode::Counting;
use crate::media::{CUT_RATIO, Cut as Found, CutFinder, Interpretation, Rate, open};
use crate::show::{Change, Lock, Shot, load, save};

/// Cut a movie of many shots into shots.
///
/// Where it is cut is proposed, with scores, after Yeo and Liu (1995): a cut is where two frames differ the most in a window of 21, and
/// --least times as much as any others there. Dissolves are not found. --take makes the shots; --at has other places in the
/// proposals' stead. All shots keep the encoding, balance and trims of the one that was cut.
///
/// Example: greyhold cut winter reel --take
#[derive(Debug, clap::Args)]
pub struct Cut {
    /// Folder of the show.
    dir: PathBuf,
    /// The shot.
    shot: String,
    /// Make the shots.
    #[arg(long)]
    take: bool,
    /// First frames of the new shots, counted from 0, with commas between, in place of what is proposed.
    #[arg(long, value_delimiter = ',', value_name = "A,B")]
    at: Vec<u64>,
    /// Least score of a proposal.
    #[arg(long, default_value_t = CUT_RATIO, value_name = "N")]
    least: f64,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

impl Cut {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let index = super::shots_named(&show, std::slice::from_ref(&self.shot))?[0];
        let shot = show.shots[index].clone();
        let length = shot.end - shot.start;
        let laid_on = Rate::new(show.rate.0, show.rate.1);
        let as_ =
            Interpretation { range: shot.range, matrix: shot.matrix, laid_on, ..Interpretation::default() };
        let mut source = open(&shot.source_path(&self.dir), &as_)?;
        if let Some(bad) = self.at.iter().find(|at| !(1..length).contains(at)) {
            bail!("{} cannot be cut at frame {bad}; accepted: 1 to {}", shot.name, length - 1);
        }
        let mut cuts: Vec<Found> = self.at.iter().map(|&frame| Found { frame, score: 0.0 }).collect();
        cuts.sort_by_key(|c| c.frame);
        cuts.dedup_by_key(|c| c.frame);
        if cuts.is_empty() {
            let mut finder = CutFinder::default();
            let live = std::io::stderr().is_terminal();
            for frame in 0..length {
                let picture = source.frame(shot.start + frame).with_context(|| shot.name.clone())?;
                finder.push(&picture);
                if live && frame % 24 == 0 {
                    eprint!("\r{frame} of {length}\x1b[K");
                    let _ = std::io::stderr().flush();
                }
            }
            if live {
                eprintln!();
            }
            cuts = finder.cuts(self.least);
        }
        let info = source.info();
        let counting = Counting::of(info.rate, info.drop_frame);
        if self.json {
            println!("{}", serde_json::to_string_pretty(&cuts)?);
        } else {
            for cut in &cuts {
                let label = info.timecode_start.map(|t| counting.text(t + shot.start + cut.frame));
                let label = label.map_or(String::new(), |l| format!("  {l}"));
                let score = if cut.score > 0.0 { format!("  score {:.1}", cut.score) } else { String::new() };
                println!("frame {}{label}{score}", cut.frame);
            }
        }
        if cuts.is_empty() {
            if !self.json {
                println!("no cuts were found");
            }
            return Ok(ExitCode::SUCCESS);
        }
        if self.take {
            let mut edges: Vec<u64> = cuts.iter().map(|c| shot.start + c.frame).collect();
            edges.push(shot.end);
            let mut changes = vec![Change::SetShotRange { shot: index, start: shot.start, end: edges[0] }];
            for (n, ends) in edges.windows(2).enumerate() {
                let name = format!("{} {}", shot.name, n + 2);
                let chosen = shot.chosen.filter(|frame| (ends[0]..ends[1]).contains(frame));
                let part = Shot { name, start: ends[0], end: ends[1], chosen, ..shot.clone() };
                changes.push(Change::AddShot { at: index + 1 + n, shot: part });
            }
            show.apply(Change::Together(changes))?;
            save(&show, &self.dir)?;
            if !self.json {
                println!("{} is {} shots now", shot.name, edges.len());
            }
        } else if !self.json {
            println!("{} shots would come of it; --take makes them", cuts.len() + 1);
        }
        Ok(ExitCode::SUCCESS)
    }
}
