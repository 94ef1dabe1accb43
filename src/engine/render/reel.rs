//! What goes into which file: the frames of a shot's images, or of a movie.

use std::path::{Path, PathBuf};

use super::job::{Job, Kind, Options, Part, RenderError};
use super::record::{FOLDER, Print, Record, Unopened, stamp};
use crate::engine::raster::interpretation;
use crate::media::movie::{Beside, MovieSettings, SoundRange, Tags};
use crate::media::timecode::{Counting, says_drop};
use crate::media::{ClipInfo, ImageFormat, MediaError, Rate, open};
use crate::picture::Tail;
use crate::show::{Shot, recipe};

/// A shot's frames in a reel.
pub struct Span {
    /// The shot's number.
    pub shot: usize,
    /// Its frames, counted from 0.
    pub frames: std::ops::Range<u64>,
    /// The number in the reel of the first of them.
    pub at: u64,
    /// Its source.
    pub info: ClipInfo,
    /// The source's files, of its frames in order, where each has its own.
    pub files: Vec<PathBuf>,
}

/// Frames that become a shot's images, or a movie.
pub struct Reel {
    /// What people call it.
    pub name: String,
    /// Where its frames come from, without gaps in the numbers.
    pub spans: Vec<Span>,
    /// The movie, or the folder of the images.
    pub path: PathBuf,
    /// A movie's settings, and what goes beside its pictures.
    pub movie: Option<(MovieSettings, Beside)>,
    /// What is known of its files.
    pub record: Record,
    /// What is to be said.
    pub notes: Vec<String>,
}

impl Reel {
    /// The shot and its frame that a number means.
    pub fn at(&self, number: u64) -> Option<(&Span, u64)> {
        let span = self.spans.iter().rev().find(|s| s.at <= number)?;
        let frame = span.frames.start + (number - span.at);
        span.frames.contains(&frame).then_some((span, frame))
    }

    /// Its numbers, from the first to behind the last.
    pub fn numbers(&self) -> std::ops::Range<u64> {
        let first = self.spans.first().map_or(0, |s| s.at);
        let end = self.spans.last().map_or(0, |s| s.at + (s.frames.end - s.frames.start));
        first..end
    }

    /// What can be rendered by itself: frames, or groups of frames, by their numbers.
    pub fn units(&self) -> Vec<std::ops::Range<u64>> {
        let all = self.numbers();
        let step = self.movie.as_ref().map_or(1, |(m, _)| m.group());
        let starts = all.clone().step_by(step as usize);
        starts.map(|start| start..(start + step).min(all.end)).collect()
    }
}

/// What a shot's files are called: its name without what file systems do not take.
fn plain_name(text: &str) -> String {
    let name: String =
        text.chars().map(|c| if c.is_alphanumeric() || "-_. ".contains(c) { c } else { '_' }).collect();
    // A name of dots would leave the folder, and a dot in front would hide the file.
    if name.starts_with('.') || name.trim().is_empty() { format!("shot{name}") } else { name }
}

/// The file for a frame: `OUT/SHOT/SHOT.00000.png`, numbered from the shot's first frame as 0.
pub fn file_name(out: &Path, shot: &Shot, frame: u64, format: ImageFormat) -> PathBuf {
    let name = plain_name(&shot.name);
    out.join(&name).join(format!("{name}.{frame:05}.{}", format.extension()))
}

fn tags(tail: &Option<Tail>) -> Tags {
    match tail {
        Some(Tail::Display { display, .. }) => Tags::of(display),
        _ => Tags::none(),
    }
}

/// The reels of a job. Each shot's source is opened.
pub fn reels(job: &Job<'_>, raster: Option<(u32, u32)>) -> Result<Vec<Reel>, RenderError> {
    let shots: Vec<(usize, &Shot)> =
        job.shots.iter().filter_map(|&i| Some((i, job.show.shots.get(i)?))).collect();
    let apart = job.options.one_movie.is_none();
    for (i, (_, a)) in shots.iter().enumerate().filter(|_| apart) {
        // Some file systems do not tell capitals from small letters.
        let folder = |shot: &Shot| plain_name(&shot.name).to_lowercase();
        if let Some((_, b)) = shots[..i].iter().find(|(_, b)| folder(b) == folder(a)) {
            return Err(RenderError::SameFiles(b.name.clone(), a.name.clone()));
        }
    }
    let mut spans = Vec::new();
    for (index, shot) in shots {
        let length = shot.frames().end - shot.frames().start;
        let frames = match &job.frames {
            Some(range) => *range.start()..range.end().saturating_add(1).min(length),
            None => 0..length,
        };
        if frames.is_empty() {
            continue;
        }
        let source = open(&shot.source_path(job.dir), &interpretation(job.show, shot))
            .map_err(|error| RenderError::Source { shot: shot.name.clone(), error })?;
        let info = source.info().clone();
        let own = frames.clone().filter(|_| !is_video(&info.path));
        let files = own.map(|frame| source.file(shot.start + frame)).collect();
        spans.push(Span { shot: index, at: frames.start, frames, info, files });
    }
    let Kind::Movie(_) = job.format else {
        return spans.into_iter().map(|span| images(job, span, raster)).collect();
    };
    let mut reels = Vec::new();
    match &job.options.one_movie {
        Some(name) if !spans.is_empty() => reels.push((name.clone(), spans)),
        Some(_) => {}
        None => reels.extend(spans.into_iter().map(|s| (job.show.shots[s.shot].name.clone(), vec![s]))),
    }
    reels.into_iter().map(|(name, spans)| movie(job, name, spans, raster)).collect()
}

fn images(job: &Job<'_>, span: Span, raster: Option<(u32, u32)>) -> Result<Reel, RenderError> {
    let shot = &job.show.shots[span.shot];
    let name = plain_name(&shot.name);
    let path = job.out.join(&name);
    let record = format!("{name}.{}", job.format.key());
    let print = print(job, std::slice::from_ref(&span), raster, None);
    reel(job, shot.name.clone(), vec![span], path, &record, None, print)
}

fn movie(
    job: &Job<'_>,
    name: String,
    mut spans: Vec<Span>,
    raster: Option<(u32, u32)>,
) -> Result<Reel, RenderError> {
    let Kind::Movie(format) = job.format else { return Err(RenderError::Worker) };
    let container = job.options.container.unwrap_or(format.containers[0]);
    let mut at = 0;
    for span in &mut spans {
        span.at = at;
        at += span.frames.end - span.frames.start;
    }
    let file = format!("{}.{}", plain_name(&name), container.key());
    let path = job.out.join(&file);
    let (over, under) = job.show.rate;
    let rate = Rate::new(over, under).unwrap_or(Rate::FPS_24);
    let size = raster.unwrap_or((spans[0].info.width, spans[0].info.height));
    let settings =
        MovieSettings { format, container, size, rate, tags: tags(&job.tail), factor: job.options.factor };
    settings.check(&path).map_err(RenderError::Movie)?;
    let mut notes = Vec::new();
    let beside = Beside {
        sound: sound(job, &spans, rate, &mut notes),
        timecode: timecode(&job.options, job, &spans, rate, &mut notes)?,
    };
    let print = print(job, &spans, raster, Some((&settings, &beside)));
    let mut reel = reel(job, name, spans, path, &file, Some((settings, beside)), print)?;
    reel.notes.extend(notes);
    Ok(reel)
}

fn reel(
    job: &Job<'_>,
    name: String,
    spans: Vec<Span>,
    path: PathBuf,
    record: &str,
    movie: Option<(MovieSettings, Beside)>,
    print: Print,
) -> Result<Reel, RenderError> {
    let part: Part = job.options.part;
    let folder = job.out.join(FOLDER).join(record);
    let (record, note) =
        Record::open(&folder, print, part, job.options.again).map_err(|Unopened::Busy| {
            RenderError::Busy { path: path.clone(), number: part.number, of: part.of }
        })?;
    Ok(Reel { name, spans, path, movie, record, notes: note.into_iter().collect() })
}

/// The sound of a movie of one shot whose source is shown at its own rate.
fn sound(job: &Job<'_>, spans: &[Span], rate: Rate, notes: &mut Vec<String>) -> Option<SoundRange> {
    if job.options.silent || spans.iter().all(|s| !is_video(&s.info.path)) {
        return None;
    }
    let [span] = spans else {
        notes.push("the sound was left out: it is kept in movies of one shot".into());
        return None;
    };
    if span.info.rate != rate {
        let own = span.info.rate;
        notes.push(format!("any sound was left out: the clip has {own} frames/s and the show {rate}"));
        return None;
    }
    let first = job.show.shots[span.shot].start + span.frames.start;
    let frames = span.frames.end - span.frames.start;
    Some(SoundRange { path: span.info.path.clone(), first, frames, rate })
}

fn is_video(path: &Path) -> bool {
    ImageFormat::of_path(path).is_none()
}

fn timecode(
    options: &Options<'_>,
    job: &Job<'_>,
    spans: &[Span],
    rate: Rate,
    notes: &mut Vec<String>,
) -> Result<Option<String>, RenderError> {
    if let Some(text) = &options.timecode {
        let counting = Counting::of(rate, says_drop(text));
        let count = counting.count(text).map_err(RenderError::Timecode)?;
        return Ok(Some(counting.text(count)));
    }
    let span = &spans[0];
    let Some(start) = span.info.timecode_start else { return Ok(None) };
    if span.info.rate.nominal() != rate.nominal() {
        let own = span.info.rate;
        notes.push(format!(
            "no timecode: the clip counts {own} frames/s and the show {rate}; --timecode gives one"
        ));
        return Ok(None);
    }
    let counting = Counting::of(rate, span.info.drop_frame);
    Ok(Some(counting.text(start + job.show.shots[span.shot].start + span.frames.start)))
}

/// What the files of a reel depend on.
fn print(
    job: &Job<'_>,
    spans: &[Span],
    raster: Option<(u32, u32)>,
    movie: Option<(&MovieSettings, &Beside)>,
) -> Print {
    let mut print = Print::default();
    let each = |about: &dyn Fn(&Span, &Shot) -> String| -> String {
        spans.iter().map(|span| about(span, &job.show.shots[span.shot]) + "\n").collect()
    };
    print.frames("program", env!("CARGO_PKG_VERSION"));
    print.frames("what computes", &job.gpu.as_ref().map_or("CPU".into(), |gpu| gpu.name()));
    print.frames(
        "footage",
        &each(&|span, shot| {
            // Files of a sequence are looked at one by one, against what became of them.
            let stamp = if is_video(&span.info.path) { stamp(&span.info.path) } else { String::new() };
            let read = (shot.encoding.id, shot.range, shot.matrix, span.info.format);
            format!("{} {stamp} {} {read:?}", shot.source.display(), shot.start)
        }),
    );
    print.frames("balance and framing", &each(&|_, shot| format!("{:?} {:?}", shot.balance, shot.framing)));
    print.frames(
        "look",
        &each(&|span, _| {
            let recipe = recipe(job.show, span.shot, Tail::Light, 0);
            recipe.map_or(String::new(), |r| format!("{:?} {:?}", r.stages, r.decode.rendered))
        }),
    );
    print.frames("output", &format!("{:?}", job.tail));
    print.frames("size", &format!("{raster:?}"));
    match movie {
        None => print.frames("format", &format!("{} {:?}", job.format.key(), job.options.half)),
        Some((settings, beside)) => {
            // The container and its tags come last; packets do not know of them.
            print.frames(
                "format",
                &format!(
                    "{:?} {:?} {:?} {:?}",
                    settings.format, settings.size, settings.rate, settings.factor
                ),
            );
            print.frames("tags", &format!("{:?}", settings.tags));
            print.frames("frames", &each(&|span, _| format!("{:?}", span.frames)));
            print.beside("container", settings.container.key());
            print.beside("sound", &format!("{:?}", beside.sound.as_ref().map(|s| (s, stamp(&s.path)))));
            print.beside("timecode", &format!("{:?}", beside.timecode));
        }
    }
    print
}

/// What a source's file is that is newer than what was made of it, for sequences.
pub fn is_newer(source: &Path, made: &Path) -> bool {
    let time = |path: &Path| std::fs::metadata(path).and_then(|d| d.modified()).ok();
    time(source).zip(time(made)).is_some_and(|(source, made)| source > made)
}

/// Why a media error ends a render of these frames.
pub fn in_frame(shot: &str, frame: u64) -> impl FnOnce(MediaError) -> RenderError {
    move |error| RenderError::Media { shot: shot.to_owned(), frame, error }
}
