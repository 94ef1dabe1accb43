//! Rendering to files: what goes where, what of it is there already, and the rest.
//!
//! A file appears under its name at once and complete. What is whole is noted down in `OUT/.greyhold`, with a print of the settings,
//! so that a render that was stopped or killed goes on where it was, also in parts at several machines.

mod job;
mod record;
mod reel;
mod run;

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

pub use job::{Job, Kind, Options, Part, Progress, RenderError, Rendered, Times};
pub use reel::file_name;

use self::record::Record;
use self::reel::{Reel, is_newer, reels};
use self::run::{Busy, Item, run};
use super::raster::raster;
use crate::media::ImageFormat;
use crate::media::movie::{ContentLight, Group, join};

/// Renders. `progress` is called as frames are written.
///
/// Frames that are there already, whole and with the same settings, are left. A movie is put together by whoever finds all its
/// groups there.
pub fn render(job: &Job<'_>, progress: &mut dyn FnMut(&Progress)) -> Result<Rendered, RenderError> {
    if job.tail.is_none() && job.format != Kind::Images(ImageFormat::Exr) {
        return Err(RenderError::NeedsDisplay(job.format.key()));
    }
    let start = Instant::now();
    let any = job.shots.iter().any(|&i| i < job.show.shots.len());
    let raster = match job.options.size {
        Some(size) => Some(size),
        None if any => raster(job.show, job.dir).map_err(RenderError::Raster)?,
        None => None,
    };
    let mut reels = reels(job, raster)?;
    let mut done = Rendered::default();
    for reel in &mut reels {
        let name = reel.name.clone();
        done.notes.extend(reel.notes.drain(..).map(|n| format!("{name}: {n}")));
    }
    let all: Vec<(usize, std::ops::Range<u64>)> =
        reels.iter().enumerate().flat_map(|(i, r)| r.units().into_iter().map(move |u| (i, u))).collect();
    let mine = &all[job.options.part.of_all(all.len())];
    let mut todo = Vec::new();
    for (reel, numbers) in mine {
        if is_there(job, &reels[*reel], numbers.start) {
            done.kept += numbers.end - numbers.start;
        } else {
            todo.push((*reel, numbers.clone()));
        }
    }
    make_folders(job, &reels, mine)?;
    let items = Item::all(&reels, &todo);
    let (busy, total) = (Busy::default(), items.len() as u64);
    let mut unnoted = None;
    let names: Vec<String> = reels.iter().map(|r| r.name.clone()).collect();
    let mut logs: Vec<record::Log> = reels.iter().map(|r| r.record.log()).collect();
    let outcome = run(job, &reels, &items, raster, &busy, &mut |frames| {
        done.written += frames.len() as u64;
        for item in frames {
            if let Kind::Images(_) = job.format
                && let Err(e) = logs[item.reel].note(item.number)
            {
                unnoted.get_or_insert(e);
            }
        }
        let shot = frames.last().map_or_else(String::new, |i| names[i.reel].clone());
        progress(&Progress { shot, done: done.written, total, elapsed: start.elapsed() });
    });
    if let Some(e) = unnoted {
        done.notes.push(format!("what is done could not be noted down, and would be rendered again: {e}"));
    }
    outcome?;
    done.stopped = done.written < total;
    let seconds = |clock: &AtomicU64| clock.load(Ordering::Relaxed) as f64 * 1e-9;
    done.times.decode = seconds(&busy.decode);
    done.times.grade = seconds(&busy.grade);
    done.times.write = seconds(&busy.write);
    let joining = Instant::now();
    let touched: BTreeSet<usize> = mine.iter().map(|(reel, _)| *reel).collect();
    for reel in touched {
        if reels[reel].movie.is_some() && !done.stopped {
            finish_movie(&reels[reel], &mut done)?;
        }
    }
    done.times.join = joining.elapsed().as_secs_f64();
    Ok(done)
}

/// Is a unit rendered already?
fn is_there(job: &Job<'_>, reel: &Reel, number: u64) -> bool {
    let Kind::Images(format) = job.format else {
        return reel.record.is_joined(&reel.path) || reel.record.has(number);
    };
    let Some((span, frame)) = reel.at(number) else { return false };
    let shot = &job.show.shots[span.shot];
    let path = file_name(job.out, shot, frame, format);
    // A machine that lost its power may have left a name without a file's contents.
    let whole = reel.record.has(number) && std::fs::metadata(&path).is_ok_and(|d| d.len() > 0);
    let source = span.files.get((number - span.at) as usize);
    whole && !source.is_some_and(|source| is_newer(source, &path))
}

/// Makes the folders, and removes what a killed render left of the files that are now to be written.
fn make_folders(
    job: &Job<'_>,
    reels: &[Reel],
    mine: &[(usize, std::ops::Range<u64>)],
) -> Result<(), RenderError> {
    let touched: BTreeSet<usize> = mine.iter().map(|(reel, _)| *reel).collect();
    for index in touched {
        let reel = &reels[index];
        let folder = match reel.movie {
            None => reel.path.as_path(),
            Some(_) => reel.record.folder(),
        };
        for folder in [folder, reel.path.parent().unwrap_or(Path::new("."))] {
            std::fs::create_dir_all(folder)
                .map_err(|error| RenderError::Folder { path: folder.to_owned(), error })?;
        }
        let of_reel = mine.iter().filter(|(r, _)| *r == index);
        let names: BTreeSet<String> = of_reel
            .filter_map(|(_, numbers)| {
                let path = match job.format {
                    Kind::Movie(_) => reel.record.group(numbers.start),
                    Kind::Images(format) => {
                        let (span, frame) = reel.at(numbers.start)?;
                        file_name(job.out, &job.show.shots[span.shot], frame, format)
                    }
                };
                Some(path.file_name()?.to_string_lossy().into_owned())
            })
            .collect();
        Record::sweep(folder, &|name| names.contains(name));
    }
    Ok(())
}

/// Puts a movie together if all its groups are there and nobody else does it.
fn finish_movie(reel: &Reel, done: &mut Rendered) -> Result<(), RenderError> {
    let Some((settings, beside)) = &reel.movie else { return Ok(()) };
    let groups: Vec<u64> = reel.units().into_iter().map(|u| u.start).collect();
    let Some(_lock) = reel.record.lock_to_join() else {
        done.waiting.push(reel.path.clone());
        return Ok(());
    };
    if reel.record.is_joined(&reel.path) {
        done.movies.push(reel.path.clone());
        return Ok(());
    }
    if groups.iter().any(|g| !reel.record.group(*g).exists()) {
        done.waiting.push(reel.path.clone());
        return Ok(());
    }
    let mut light: Option<ContentLight> = None;
    for number in &groups {
        let of_group = Group::light_of(&reel.record.group(*number)).map_err(RenderError::Movie)?;
        light = [light, of_group].into_iter().flatten().reduce(ContentLight::and);
    }
    let mut read = groups.iter().map(|g| Group::read(&reel.record.group(*g)));
    let notes = join(settings, &mut read, beside, light, &reel.record.work(), &reel.path)
        .map_err(RenderError::Movie)?;
    done.notes.extend(notes.into_iter().map(|n| format!("{}: {n}", reel.name)));
    if let Some(light) = light {
        done.notes.push(format!(
            "{}: MaxCLL {:.0} cd/m², MaxFALL {:.0} cd/m², measured",
            reel.name, light.most, light.most_mean
        ));
    }
    reel.record.joined(&reel.path, &groups);
    done.movies.push(reel.path.clone());
    Ok(())
}
