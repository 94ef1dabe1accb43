//! `greyhold suggest`

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;
use serde_json::json;

use crate::colour::light_temperature;
use crate::engine::first::{FrameOf, Reader};
use crate::scope::sure_word;
use crate::show::{Aim, Lock, PROPOSED, Proposal, Show, load, save};

/// Read a frame of each shot and propose exposure and white for it.
///
/// A chart of 24 patches or a grey card in the frame is what it goes by, if there is one; else the picture's statistics: edges
/// and grey pixels for white, the log-average for exposure. Each proposal says what was measured and how sure that is. Nothing
/// is changed without --apply.
///
/// Examples: greyhold suggest winter
/// greyhold suggest winter --shot 3 --patch 640,300 --apply
#[derive(Debug, clap::Args)]
pub struct Suggest {
    /// Folder of the show.
    dir: PathBuf,
    /// One shot, by its name or its number from 1; all when not given.
    #[arg(long, value_name = "SHOT")]
    shot: Option<String>,
    /// Frame of the shot, from 0; the one that stands for it when not given.
    #[arg(long, value_name = "N", requires = "shot")]
    frame: Option<u64>,
    /// A grey card: its middle in pixels of the footage, and the side of the patch to read (9 when not given).
    #[arg(long, value_name = "X,Y[,SIZE]", requires = "shot", value_parser = super::balance::patch_numbers)]
    patch: Option<[u32; 3]>,
    /// How much of what is proposed to take, 0 to 1.
    #[arg(long, value_name = "S", default_value_t = 1.0, value_parser = super::share)]
    strength: f64,
    /// Take what is proposed and save the show.
    #[arg(long)]
    apply: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

impl Suggest {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = self.apply.then(|| Lock::take(&self.dir)).transpose()?;
        let mut show = load(&self.dir)?;
        let shots = match &self.shot {
            Some(text) => vec![super::shot_of(&show, text)?],
            None => (0..show.shots.len()).collect(),
        };
        let (mut reader, mut all, mut wrong) = (Reader::default(), Vec::new(), 0);
        for (n, &shot) in shots.iter().enumerate() {
            if shots.len() > 1 {
                eprintln!("{} of {}: {}", n + 1, shots.len(), show.shots[shot].name);
            }
            match self.proposal(&show, &mut reader, shot) {
                Ok(proposal) => {
                    if !self.json {
                        print(&show, &proposal, self.strength);
                    }
                    all.push(proposal);
                }
                Err(why) if shots.len() == 1 => bail!(why),
                Err(why) => {
                    eprintln!("{why}");
                    wrong += 1;
                }
            }
        }
        if self.json {
            let all: Vec<_> = all.iter().map(|p| as_json(&show, p, self.strength)).collect();
            println!("{}", serde_json::to_string_pretty(&all)?);
        }
        if self.apply {
            for proposal in &all {
                show.apply(proposal.change(self.strength))?;
            }
            save(&show, &self.dir)?;
        }
        Ok(if wrong == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
    }

    fn proposal(&self, show: &Show, reader: &mut Reader, shot: usize) -> Result<Proposal, String> {
        let s = &show.shots[shot];
        if let Some(frame) = self.frame.filter(|f| *f >= s.end - s.start) {
            return Err(format!("{} has no frame {frame}; accepted: 0 to {}", s.name, s.end - s.start - 1));
        }
        let of = FrameOf::new(show, &self.dir, shot, self.frame).ok_or("no such shot")?;
        let reading = match self.patch {
            Some(patch) => reader.patch(&of, patch)?,
            None => {
                let readings = reader.readings(&of)?;
                readings
                    .best()
                    .cloned()
                    .ok_or_else(|| format!("{}: its frame holds nothing to go by", s.name))?
            }
        };
        show.propose(shot, &reading).map_err(|e| e.to_string())
    }
}

/// What is proposed, for people.
pub(super) fn print(show: &Show, p: &Proposal, strength: f64) {
    let [exposure, warmth, tint] = p.values(strength);
    let (kelvin, duv) = light_temperature(warmth, tint);
    let what = match &p.aim {
        Aim::Grey => String::new(),
        Aim::Like { other } => format!(", to sit with {other}"),
    };
    let held = if p.held { "; the ranges hold no more" } else { "" };
    println!("{}{what}, by {}{held}", show.shots[p.shot].name, p.evidence);
    let text = |i: usize, value: f64| PROPOSED[i].parameter().show(value);
    println!("  exposure {} ({})", text(0, exposure), sure_word(p.level_sure));
    println!("  warmth {}, tint {} ({})", text(1, warmth), text(2, tint), sure_word(p.colour_sure));
    println!("  white is light of {kelvin:.0} K, Duv {duv:+.4}");
    for line in &p.measured {
        println!("  {line}");
    }
}

pub(super) fn as_json(show: &Show, p: &Proposal, strength: f64) -> serde_json::Value {
    let values = |v: [f64; 3]| json!({ "exposure": v[0], "warmth": v[1], "tint": v[2] });
    let with = match &p.aim {
        Aim::Grey => None,
        Aim::Like { other } => Some(other),
    };
    json!({
        "shot": show.shots[p.shot].name,
        "with": with,
        "evidence": p.evidence,
        "from": values(p.from),
        "to": values(p.values(strength)),
        "strength": strength,
        "held to ranges": p.held,
        "sure": { "exposure": p.level_sure, "white": p.colour_sure },
        "measured": p.measured,
        "outline": p.outline,
    })
}
