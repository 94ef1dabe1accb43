//! Frames from sources, decoded ahead on threads of their own, kept in a cache with a budget.
//!
//! The engine asks; nothing here ever blocks it. Each source has one thread. Few requests are under way
//! at a time, so that a jump is answered at once. What could not be read is watched: when its file changes,
//! the source is opened anew.

use std::collections::{HashMap, HashSet, VecDeque};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TrySendError, bounded, unbounded};

use crate::media::{ClipInfo, ImageFormat, Interpretation, MediaError, open};
use crate::picture::Frame;

/// A source as a shot reads it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct SourceKey {
    /// The file, folder or pattern.
    pub path: PathBuf,
    /// What overrides the file's own word about itself.
    pub interpretation: Interpretation,
}

/// What a source's thread tells, with the number of that thread.
struct News(SourceKey, u64, What);

enum What {
    Opened(Result<ClipInfo, MediaError>),
    Decoded(u64, Result<Frame, MediaError>),
    /// The file of something that could not be read has changed. The thread has ended.
    Changed,
}

/// Requests under way for one source.
const UNDER_WAY: usize = 3;
/// How often the files of what could not be read are looked at.
const WATCH: Duration = Duration::from_secs(1);
/// How many of them: the last that were asked for.
const WATCHED: usize = 64;

struct Feed {
    requests: Sender<u64>,
    /// Which of the threads that there were.
    thread: u64,
    under_way: HashSet<u64>,
    info: Option<Arc<ClipInfo>>,
    failed: Option<Arc<str>>,
}

enum Cached {
    Frame(Arc<Frame>),
    /// It cannot be read, and is not asked for again until its file changes or [`Feeds::try_again`].
    Broken(Arc<str>),
}

/// All sources of a show.
pub struct Feeds {
    feeds: HashMap<SourceKey, Feed>,
    cache: HashMap<(SourceKey, u64), (Cached, u64)>,
    bytes: usize,
    budget: usize,
    turn: u64,
    threads: u64,
    reopened: bool,
    news: Receiver<News>,
    tell: Sender<News>,
    wake: Arc<dyn Fn() + Send + Sync>,
}

impl Feeds {
    /// Keeps decoded frames up to `budget` bytes; calls `wake` from a decoder's thread when there is
    /// something new.
    pub fn new(budget: usize, wake: Arc<dyn Fn() + Send + Sync>) -> Self {
        let (tell, news) = unbounded();
        Self {
            feeds: HashMap::new(),
            cache: HashMap::new(),
            bytes: 0,
            budget,
            turn: 0,
            threads: 0,
            reopened: false,
            news,
            tell,
            wake,
        }
    }

    /// Takes in what the decoders finished. True if there was anything.
    pub fn collect(&mut self) -> bool {
        let mut any = false;
        while let Ok(News(key, thread, what)) = self.news.try_recv() {
            let Some(feed) = self.feeds.get_mut(&key).filter(|f| f.thread == thread) else { continue };
            any = true;
            match what {
                What::Opened(Ok(info)) => feed.info = Some(Arc::new(info)),
                What::Opened(Err(e)) => feed.failed = Some(e.to_string().into()),
                What::Decoded(number, result) => {
                    feed.under_way.remove(&number);
                    let cached = match result {
                        Ok(frame) => {
                            self.bytes += frame.bytes();
                            Cached::Frame(Arc::new(frame))
                        }
                        Err(e) => Cached::Broken(e.to_string().into()),
                    };
                    self.cache.insert((key, number), (cached, self.turn));
                }
                What::Changed => {
                    self.feeds.remove(&key);
                    self.forget(|at, _| at.0 == key);
                    self.reopened = true;
                }
            }
        }
        any
    }

    /// Was a source's file found changed since the last call? Frames from before may differ from what it
    /// holds now.
    pub fn reopened(&mut self) -> bool {
        std::mem::take(&mut self.reopened)
    }

    /// What could not be read is asked for again when it is wanted.
    pub fn try_again(&mut self) {
        self.feeds.retain(|_, feed| feed.failed.is_none());
        self.forget(|_, cached| matches!(cached, Cached::Broken(_)));
    }

    fn forget(&mut self, which: impl Fn(&(SourceKey, u64), &Cached) -> bool) {
        let bytes = &mut self.bytes;
        self.cache.retain(|at, (cached, _)| {
            let goes = which(at, cached);
            if let (true, Cached::Frame(frame)) = (goes, &*cached) {
                *bytes -= frame.bytes();
            }
            !goes
        });
    }

    /// Opens a source, if it is not open, without asking for a frame.
    pub fn look_at(&mut self, key: &SourceKey) {
        self.open(key);
    }

    fn open(&mut self, key: &SourceKey) -> &mut Feed {
        let Self { feeds, threads, tell, wake, .. } = self;
        feeds.entry(key.clone()).or_insert_with(|| {
            *threads += 1;
            start(key.clone(), *threads, tell.clone(), wake.clone())
        })
    }

    /// Asks for frames, the most urgent first, as far as requests may be under way; opens sources on the
    /// way. Frames that are cached are marked as wanted, so that others go first when room is needed.
    pub fn want(&mut self, wanted: &[(SourceKey, u64)]) {
        self.turn += 1;
        for (key, number) in wanted {
            let at = (key.clone(), *number);
            if let Some((_, turn)) = self.cache.get_mut(&at) {
                *turn = self.turn;
                continue;
            }
            let feed = self.open(key);
            if feed.failed.is_some() || feed.under_way.len() >= UNDER_WAY || feed.under_way.contains(number) {
                continue;
            }
            match feed.requests.try_send(*number) {
                Ok(()) => {
                    feed.under_way.insert(*number);
                }
                Err(TrySendError::Full(_)) => {}
                Err(TrySendError::Disconnected(_)) => {
                    feed.failed = Some(format!("the decoder of {} stopped", key.path.display()).into());
                }
            }
        }
        self.make_room();
    }

    fn make_room(&mut self) {
        while self.bytes > self.budget {
            let oldest = self
                .cache
                .iter()
                .filter(|(_, (_, turn))| *turn < self.turn)
                .min_by_key(|(_, (_, turn))| *turn)
                .map(|(at, _)| at.clone());
            let Some(at) = oldest else { return };
            if let Some((Cached::Frame(frame), _)) = self.cache.remove(&at) {
                self.bytes -= frame.bytes();
            }
        }
    }

    /// A frame if it is decoded; an error if it cannot be read.
    pub fn get(&self, key: &SourceKey, number: u64) -> Option<Result<Arc<Frame>, Arc<str>>> {
        if let Some(failed) = self.feeds.get(key).and_then(|f| f.failed.clone()) {
            return Some(Err(failed));
        }
        match &self.cache.get(&(key.clone(), number))?.0 {
            Cached::Frame(frame) => Some(Ok(frame.clone())),
            Cached::Broken(why) => Some(Err(why.clone())),
        }
    }

    /// What a source says about itself, once it is open.
    pub fn info(&self, key: &SourceKey) -> Option<Arc<ClipInfo>> {
        self.feeds.get(key)?.info.clone()
    }

    /// Can it not be opened?
    pub fn failed(&self, key: &SourceKey) -> bool {
        self.feeds.get(key).is_some_and(|f| f.failed.is_some())
    }

    /// Numbers of a source's frames that are decoded and kept, in order.
    pub fn numbers(&self, source: &SourceKey) -> Vec<u64> {
        let kept = |cached: &Cached| matches!(cached, Cached::Frame(_));
        let of = self.cache.iter().filter(|((key, _), (cached, _))| key == source && kept(cached));
        let mut numbers: Vec<u64> = of.map(|((_, number), _)| *number).collect();
        numbers.sort_unstable();
        numbers
    }

    /// Frames and bytes in the cache.
    pub fn held(&self) -> (usize, usize) {
        (self.cache.len(), self.bytes)
    }
}

fn start(key: SourceKey, thread: u64, tell: Sender<News>, wake: Arc<dyn Fn() + Send + Sync>) -> Feed {
    let (requests, asked) = bounded::<u64>(UNDER_WAY);
    let name = format!("decode {}", key.path.display());
    let run = move || {
        let tell = |what| {
            let heard = tell.send(News(key.clone(), thread, what)).is_ok();
            wake();
            heard
        };
        let seen = stamp_of_source(&key.path);
        let mut watch = Watch::default();
        let mut source = match open(&key.path, &key.interpretation) {
            Ok(source) => {
                tell(What::Opened(Ok(source.info().clone())));
                Some(source)
            }
            Err(e) => {
                watch.add(key.path.clone(), seen);
                tell(What::Opened(Err(e)));
                None
            }
        };
        let stamp = if source.is_some() { stamp_of_file } else { stamp_of_source };
        loop {
            let number = match watch.files.is_empty() {
                true => asked.recv().map_err(|_| RecvTimeoutError::Disconnected),
                false => asked.recv_timeout(WATCH),
            };
            if number == Err(RecvTimeoutError::Disconnected) {
                return;
            }
            if let (Ok(number), Some(source)) = (number, &mut source) {
                // Looked at first: what changes while it is read has changed.
                let file = source.file(number);
                let seen = stamp_of_file(&file);
                let frame = source.frame(number);
                if frame.is_err() {
                    watch.add(file, seen);
                }
                if !tell(What::Decoded(number, frame)) {
                    return;
                }
            }
            if watch.changed(stamp) {
                tell(What::Changed);
                return;
            }
        }
    };
    let failed = match std::thread::Builder::new().name(name).spawn(run) {
        Ok(_) => None,
        Err(e) => Some(format!("no thread to decode on: {e}").into()),
    };
    Feed { requests, thread, under_way: HashSet::new(), info: None, failed }
}

/// Files that something could not be read from, as they were then.
#[derive(Default)]
struct Watch {
    files: VecDeque<(PathBuf, Vec<Stamp>)>,
    looked: Option<Instant>,
}

impl Watch {
    fn add(&mut self, path: PathBuf, seen: Vec<Stamp>) {
        self.looked.get_or_insert_with(Instant::now);
        self.files.retain(|(other, _)| *other != path);
        if self.files.len() == WATCHED {
            self.files.pop_front();
        }
        self.files.push_back((path, seen));
    }

    /// Has any of them changed, as `stamp` tells? Looked for once in a while.
    fn changed(&mut self, stamp: fn(&Path) -> Vec<Stamp>) -> bool {
        if self.looked.is_none_or(|at| at.elapsed() < WATCH) {
            return false;
        }
        self.looked = Some(Instant::now());
        self.files.iter().any(|(path, seen)| stamp(path) != *seen)
    }
}

/// A file's name, size and time of its last change.
type Stamp = (PathBuf, u64, Option<SystemTime>);

/// What tells that a file has changed; nothing where there is none.
fn stamp_of_file(path: &Path) -> Vec<Stamp> {
    let data = std::fs::metadata(path).ok();
    data.map(|d| (path.to_owned(), d.len(), d.modified().ok())).into_iter().collect()
}

/// The same of a source: of image sequences every file in the folder counts.
fn stamp_of_source(path: &Path) -> Vec<Stamp> {
    let folder = match path.is_dir() {
        true => Some(path),
        false if ImageFormat::of_path(path).is_some() => path.parent(),
        false => return stamp_of_file(path),
    };
    let entries = folder.and_then(|f| std::fs::read_dir(f).ok()).into_iter().flatten().flatten();
    let mut all: Vec<Stamp> = entries.flat_map(|e| stamp_of_file(&e.path())).collect();
    all.sort();
    all
}
