//! `greyhold find`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;

use crate::media::{Finder, Identity, Interpretation, KnownMedia, Likeness, MEDIA_FILE, open};
use crate::show::{Change, Lock, Show, load, save, source_in_show, write_atomically};

/// Find the clips of a show that are no longer where they were.
///
/// FOLDER and the folders below it are looked through once, for all of them. A clip is known by its name, its size, its timecode and
/// a short hash of its contents, as `greyhold add` noted them in the show's media.toml. What is found is shown; --take puts it
/// into the show. A clip that has only its name in common is taken with --by-name.
///
/// Example: greyhold find winter /media/disk2 --take
#[derive(Debug, clap::Args)]
pub struct Find {
    /// Folder of the show.
    dir: PathBuf,
    /// Folder to look in.
    folder: PathBuf,
    /// Put what was found into the show.
    #[arg(long)]
    take: bool,
    /// Take clips that have only their name in common, too.
    #[arg(long)]
    by_name: bool,
}

/// Notes down what the clips of a show that are there are known by. What cannot be noted is left: the show does not need it.
pub(super) fn note_media(show: &Show, dir: &Path) {
    let mut known = KnownMedia::load(dir);
    let before = known.clone();
    for shot in &show.shots {
        if known.get(&shot.source).is_none()
            && let Ok(source) = open(&shot.source_path(dir), &Interpretation::default())
            && let Ok(identity) = Identity::of(source.info())
        {
            known.note(&shot.source, identity);
        }
    }
    if known != before {
        let text = known.text();
        let _ = write_atomically(&dir.join(MEDIA_FILE), |file| file.write_all(text.as_bytes()));
    }
}

impl Find {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let known = KnownMedia::load(&self.dir);
        let mut missing: Vec<(PathBuf, u64)> = Vec::new();
        for shot in &show.shots {
            if open(&shot.source_path(&self.dir), &Interpretation::default()).is_ok() {
                continue;
            }
            match missing.iter_mut().find(|(source, _)| *source == shot.source) {
                Some((_, frames)) => *frames = (*frames).max(shot.end),
                None => missing.push((shot.source.clone(), shot.end)),
            }
        }
        if missing.is_empty() {
            println!("every clip is where it was");
            note_media(&show, &self.dir);
            return Ok(ExitCode::SUCCESS);
        }
        let finder = Finder::new(&self.folder)
            .with_context(|| format!("{} cannot be looked through", self.folder.display()))?;
        println!("{} clips in {}", finder.count(), self.folder.display());
        let (mut changes, mut open_ends) = (Vec::new(), 0);
        for (source, frames) in &missing {
            let found = finder.candidates(source, known.get(source), *frames);
            let best = found.first().map(|c| c.likeness);
            let equal = found.iter().filter(|c| Some(c.likeness) == best).count();
            println!("{}", source.display());
            for candidate in &found {
                println!("  {}: {}", candidate.path.display(), candidate.likeness.text());
            }
            let sure = best.is_some_and(|b| b > Likeness::Name || self.by_name);
            // Of copies with the same contents any will do.
            let one = equal == 1 || best == Some(Likeness::Contents);
            match found.first() {
                Some(candidate) if sure && one => {
                    let to = source_in_show(&self.dir, &candidate.path);
                    let of_source = |s: &&crate::show::Shot| s.source == *source;
                    for (shot, _) in show.shots.iter().enumerate().filter(|(_, s)| of_source(s)) {
                        changes.push(Change::SetShotSource { shot, source: to.clone() });
                    }
                }
                Some(_) if !sure => {
                    println!("  only the name tells: --by-name takes it");
                    open_ends += 1;
                }
                Some(_) => {
                    println!("  several are as likely: give a folder that holds one of them");
                    open_ends += 1;
                }
                None => {
                    println!("  not found");
                    open_ends += 1;
                }
            }
        }
        let count = changes.len();
        match (self.take, count) {
            (_, 0) => {}
            (false, _) => println!("{count} shots would have their clips again; --take does it"),
            (true, _) => {
                show.apply(Change::Together(changes))?;
                save(&show, &self.dir)?;
                note_media(&show, &self.dir);
                println!("{count} shots have their clips again");
            }
        }
        Ok(if open_ends > 0 { ExitCode::from(1) } else { ExitCode::SUCCESS })
    }
}
