//! Waits for the GPU where nobody else has to, and publishes pictures that are done.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use arc_swap::ArcSwapOption;
use crossbeam_channel::{Receiver, Sender, unbounded};

use super::input::Compare;
use crate::gpu::{Fetch, Gpu, MarkCounts, Output, Traces};
use crate::scope::patterns::Tally;
use crate::show::Show;

/// A finished picture.
pub struct Picture {
    /// The texture.
    pub output: Arc<Output>,
    /// Scopes of the client's picture, if they were wanted.
    pub traces: Option<Arc<Traces>>,
    /// What was counted for the marks on it, if there are any.
    pub tally: Option<Tally>,
    /// Which shot it shows.
    pub shot: usize,
    /// Which frame of the shot.
    pub frame: u64,
    /// The show as it is seen here.
    pub show: Arc<Show>,
    /// How much of the grade it shows.
    pub compare: Compare,
    /// The name of the look that is on trial here, if one is.
    pub trying: Option<Arc<str>>,
    /// Its codes in memory, for views of browsers.
    pub fetched: Option<Arc<Fetch>>,
    /// Counts pictures made.
    pub serial: u64,
    /// From submission to completion.
    pub cost: Duration,
    /// From the first control message that it answers to completion, if a message caused it.
    pub delay: Option<Duration>,
}

pub(super) struct Job {
    pub index: wgpu::SubmissionIndex,
    pub outputs: Vec<(usize, Arc<Output>, Option<Arc<Fetch>>)>,
    pub traces: Option<Arc<Traces>>,
    pub marks: Option<Arc<MarkCounts>>,
    pub shot: usize,
    pub frame: u64,
    pub show: Arc<Show>,
    pub compare: Compare,
    pub trying: Option<Arc<str>>,
    pub serial: u64,
    pub submitted: Instant,
    pub message: Option<Instant>,
}

/// The places where finished pictures lie, one for each live output.
pub type Places = Arc<[ArcSwapOption<Picture>]>;

pub(super) struct Finisher {
    jobs: Option<Sender<Job>>,
    thread: Option<std::thread::JoinHandle<()>>,
    under_way: Arc<AtomicUsize>,
    /// Finished pictures' costs and delays, for the engine's statistics.
    pub finished: Receiver<Arc<Picture>>,
}

impl Finisher {
    /// Starts the thread. `wake` is called after each picture.
    pub fn start(gpu: Arc<Gpu>, places: Places, wake: Arc<dyn Fn() + Send + Sync>) -> std::io::Result<Self> {
        let (jobs, todo) = unbounded::<Job>();
        let (tell, finished) = unbounded();
        let under_way = Arc::new(AtomicUsize::new(0));
        let count = under_way.clone();
        let thread = std::thread::Builder::new().name("finish".into()).spawn(move || {
            for job in todo {
                let wait = wgpu::PollType::Wait { submission_index: Some(job.index), timeout: None };
                if let Err(e) = gpu.device.poll(wait) {
                    tracing::error!("a picture was not finished: {e}");
                    count.fetch_sub(1, Ordering::AcqRel);
                    wake();
                    continue;
                }
                let now = Instant::now();
                let tally = job.marks.as_ref().and_then(|marks| marks.take());
                let mut first = true;
                for (place, output, fetched) in job.outputs {
                    let picture = Arc::new(Picture {
                        output,
                        traces: job.traces.clone(),
                        tally,
                        shot: job.shot,
                        frame: job.frame,
                        show: job.show.clone(),
                        compare: job.compare,
                        trying: job.trying.clone(),
                        fetched,
                        serial: job.serial,
                        cost: now - job.submitted,
                        delay: job.message.map(|m| now.saturating_duration_since(m)),
                    });
                    if std::mem::take(&mut first) {
                        let _ = tell.send(picture.clone());
                    }
                    places[place].store(Some(picture));
                }
                count.fetch_sub(1, Ordering::AcqRel);
                wake();
            }
        })?;
        Ok(Self { jobs: Some(jobs), thread: Some(thread), under_way, finished })
    }

    /// Pictures submitted and not finished.
    pub fn under_way(&self) -> usize {
        self.under_way.load(Ordering::Acquire)
    }

    pub fn add(&self, job: Job) {
        self.under_way.fetch_add(1, Ordering::AcqRel);
        if let Some(jobs) = &self.jobs {
            let _ = jobs.send(job);
        }
    }
}

impl Drop for Finisher {
    /// Waits for what is under way: nobody may be at the GPU when the program ends.
    fn drop(&mut self) {
        self.jobs = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
