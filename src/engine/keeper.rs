//! Stills and versions on a thread of their own: kept, listed, read for restoring, made ready for comparing.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::SystemTime;

use crossbeam_channel::{Receiver, Sender, unbounded};

use super::raster::interpretation;
use super::stills::{Keeping, bring_in, keep_frame, on_gpu};
use crate::colour::Display;
use crate::gpu::{Gpu, Output as GpuOutput, Upload};
use crate::media::open;
use crate::picture::Frame;
use crate::show::{
    GradeVersion, OutputSettings, Portion, Show, Still, keep_version, load_version, note_still, remove_still,
    remove_version, rename_still, rename_version, still_settings, stills, utc, versions,
};

/// Something for the thread to do. Names and ids are those of stills or versions.
pub(super) enum Job {
    /// List both anew.
    List,
    KeepStill {
        show: Arc<Show>,
        shot: usize,
        number: u64,
        frame: Arc<Frame>,
        raster: (u32, u32),
        timecode: String,
        name: String,
        note: String,
    },
    BringIn {
        file: PathBuf,
        name: String,
        display: Arc<Display>,
    },
    RenameStill {
        id: Arc<str>,
        name: String,
    },
    NoteStill {
        id: Arc<str>,
        note: String,
    },
    RemoveStill {
        id: Arc<str>,
    },
    /// Read a still's settings to take a portion of them.
    Settings {
        id: Arc<str>,
        portion: Portion,
        shots: Vec<usize>,
    },
    KeepVersion {
        show: Arc<Show>,
        name: String,
    },
    /// Read a version to switch to; the present grade is kept first unless it is a version already.
    UseVersion {
        show: Arc<Show>,
        id: Arc<str>,
    },
    /// Read a version to look at.
    LookAtVersion {
        id: Arc<str>,
    },
    RenameVersion {
        id: Arc<str>,
        name: String,
    },
    RemoveVersion {
        id: Arc<str>,
    },
    /// A still on the GPU for outputs.
    Reference {
        id: Arc<str>,
        raster: (u32, u32),
        outputs: Vec<OutputSettings>,
    },
    /// A frame of another shot on the GPU.
    OtherShot {
        show: Arc<Show>,
        shot: usize,
        number: u64,
    },
}

/// What came of it.
pub(super) enum Done {
    Lists {
        stills: Arc<[Still]>,
        versions: Arc<[GradeVersion]>,
        wrong: Vec<String>,
    },
    /// A line about what was done.
    Said(String),
    /// Why something was not done.
    Refused(String),
    /// Why there is nothing for the picture to stand beside.
    NotShown(String),
    Settings {
        name: String,
        show: Arc<Show>,
        portion: Portion,
        shots: Vec<usize>,
    },
    /// A version to switch to, and what the grade in use was kept as.
    Use {
        name: String,
        version: Arc<Show>,
        kept_as: Option<String>,
    },
    Version {
        id: Arc<str>,
        version: Arc<Show>,
    },
    Reference {
        id: Arc<str>,
        raster: (u32, u32),
        outputs: Vec<OutputSettings>,
        pictures: Vec<Arc<GpuOutput>>,
    },
    OtherShot {
        name: String,
        number: u64,
        upload: Upload,
    },
}

/// The thread.
pub(super) struct Keeper {
    jobs: Option<Sender<Job>>,
    pub done: Receiver<Done>,
    thread: Option<std::thread::JoinHandle<()>>,
    /// Jobs that were asked for and not answered.
    busy: Arc<std::sync::atomic::AtomicUsize>,
}

impl Keeper {
    pub fn start(dir: PathBuf, gpu: Arc<Gpu>, wake: Arc<dyn Fn() + Send + Sync>) -> std::io::Result<Self> {
        let (jobs, todo) = unbounded::<Job>();
        let (tell, done) = unbounded();
        let busy = Arc::new(std::sync::atomic::AtomicUsize::new(0));
        let count = busy.clone();
        let thread = std::thread::Builder::new().name("keep".into()).spawn(move || {
            for job in todo {
                let mut out = Vec::new();
                let shows = matches!(job, Job::Reference { .. } | Job::OtherShot { .. });
                if let Err(why) = work(&dir, &gpu, job, &mut out) {
                    out.push(if shows { Done::NotShown(why) } else { Done::Refused(why) });
                }
                count.fetch_sub(1, std::sync::atomic::Ordering::AcqRel);
                if out.into_iter().any(|done| tell.send(done).is_err()) {
                    return;
                }
                wake();
            }
        })?;
        let keeper = Self { jobs: Some(jobs), done, thread: Some(thread), busy };
        keeper.ask(Job::List);
        Ok(keeper)
    }

    pub fn ask(&self, job: Job) {
        if let Some(jobs) = &self.jobs {
            self.busy.fetch_add(1, std::sync::atomic::Ordering::AcqRel);
            let _ = jobs.send(job);
        }
    }

    /// Is something under way?
    pub fn is_busy(&self) -> bool {
        self.busy.load(std::sync::atomic::Ordering::Acquire) > 0
    }

    /// Waits until what was asked for is done.
    pub fn finish(&mut self) {
        self.jobs = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn words(e: impl std::fmt::Display) -> String {
    e.to_string()
}

fn lists(dir: &Path) -> Result<Done, String> {
    let (stills, wrong) = stills(dir).map_err(words)?;
    let (versions, others) = versions(dir).map_err(words)?;
    let wrong = wrong.iter().chain(&others).map(words).collect();
    Ok(Done::Lists { stills: stills.into(), versions: versions.into(), wrong })
}

fn still_of(dir: &Path, id: &str) -> Result<Still, String> {
    let all = stills(dir).map_err(words)?.0;
    all.into_iter().find(|s| *s.id == *id).ok_or_else(|| format!("there is no still {id} any more"))
}

fn version_of(dir: &Path, id: &str) -> Result<(GradeVersion, Arc<Show>), String> {
    let all = versions(dir).map_err(words)?.0;
    let version =
        all.into_iter().find(|v| *v.id == *id).ok_or_else(|| format!("there is no version {id} any more"))?;
    let show = load_version(dir, id)
        .map_err(|e| format!("the version “{}” cannot be used as it stands: {e}", version.name))?;
    Ok((version, Arc::new(show)))
}

fn work(dir: &Path, gpu: &Arc<Gpu>, job: Job, out: &mut Vec<Done>) -> Result<(), String> {
    match job {
        Job::List => out.push(lists(dir)?),
        Job::KeepStill { show, shot, number, frame, raster, timecode, name, note } => {
            let keeping = Keeping {
                show: &show,
                dir,
                shot,
                number,
                frame: &frame,
                raster,
                timecode,
                name: &name,
                note: &note,
                gpu: Some(gpu),
            };
            let still = keep_frame(&keeping).map_err(|e| format!("the still was not kept: {e}"))?;
            out.push(Done::Said(format!("kept the still “{}”", still.name)));
            out.push(lists(dir)?);
        }
        Job::BringIn { file, name, display } => {
            let still = bring_in(dir, &file, &name, display)
                .map_err(|e| format!("the reference was not brought in: {e}"))?;
            let what =
                format!("“{}” is a reference now, taken for signal of {}", still.name, still.display.name);
            out.push(Done::Said(what));
            out.push(lists(dir)?);
        }
        Job::RenameStill { id, name } => {
            rename_still(dir, &id, &name).map_err(words)?;
            out.push(lists(dir)?);
        }
        Job::NoteStill { id, note } => {
            note_still(dir, &id, &note).map_err(words)?;
            out.push(lists(dir)?);
        }
        Job::RemoveStill { id } => {
            let removed = remove_still(dir, &id).map_err(words);
            out.push(lists(dir)?);
            removed?;
        }
        Job::Settings { id, portion, shots } => {
            let still = still_of(dir, &id)?;
            let show = still_settings(dir, &id, portion.takes_stages()).map_err(|e| {
                let others = match portion.takes_stages() && still.of.is_some() {
                    true => "; its balance and its strengths can still be taken",
                    false => "",
                };
                format!("nothing was taken from the still “{}”: {e}{others}", still.name)
            })?;
            out.push(Done::Settings { name: still.name, show: Arc::new(show), portion, shots });
        }
        Job::KeepVersion { show, name } => {
            let version = keep_version(dir, &show, &name, "", utc(SystemTime::now()))
                .map_err(|e| format!("the version was not kept: {e}"))?;
            out.push(Done::Said(format!("kept the version “{}”", version.name)));
            out.push(lists(dir)?);
        }
        Job::UseVersion { show, id } => {
            let (version, graded) = version_of(dir, &id)?;
            let kept_as = keep_before(dir, &show, &version.name)
                .map_err(|e| format!("nothing was changed, since the grade in use could not be kept: {e}"))?;
            if kept_as.is_some() {
                out.push(lists(dir)?);
            }
            out.push(Done::Use { name: version.name, version: graded, kept_as });
        }
        Job::LookAtVersion { id } => {
            let (_, version) = version_of(dir, &id)?;
            out.push(Done::Version { id, version });
        }
        Job::RenameVersion { id, name } => {
            rename_version(dir, &id, &name).map_err(words)?;
            out.push(lists(dir)?);
        }
        Job::RemoveVersion { id } => {
            let removed = remove_version(dir, &id).map_err(words);
            out.push(lists(dir)?);
            removed?;
        }
        Job::Reference { id, raster, outputs } => {
            let still = still_of(dir, &id)?;
            let pictures = on_gpu(gpu, dir, &still, raster, &outputs).map_err(words)?;
            out.push(Done::Reference { id, raster, outputs, pictures });
        }
        Job::OtherShot { show, shot, number } => {
            let Some(s) = show.shots.get(shot) else { return Ok(()) };
            let why = |e| format!("shot “{}”: {e}", s.name);
            let mut source = open(&s.source_path(dir), &interpretation(&show, s)).map_err(why)?;
            let frame = source.frame(s.start + number).map_err(why)?;
            let upload = gpu.upload(&frame, None).map_err(words)?;
            out.push(Done::OtherShot { name: s.name.clone(), number, upload });
        }
    }
    Ok(())
}

/// Keeps the grade of a show as a version, called after what it is about to make room for, unless it is one already;
/// gives the name.
///
/// # Errors
/// As [`keep_version`].
pub fn keep_before(dir: &Path, show: &Show, next: &str) -> Result<Option<String>, crate::show::ShowError> {
    let is_kept =
        |v: &GradeVersion| load_version(dir, &v.id).is_ok_and(|version| show.is_graded_as(&version));
    if versions(dir)?.0.iter().any(is_kept) {
        return Ok(None);
    }
    let kept = keep_version(dir, show, &format!("before {next}"), "", utc(SystemTime::now()))?;
    Ok(Some(kept.name))
}
