//! Frames from sources, decoded ahead on threads of their own, kept in a cache with a budget.
//!
//! The engine asks; nothing here ever blocks it. Each source has one thread. Few requests are under way
//! at a time, so that a jump is answered at once.

use std::collections::{HashMap, HashSet};
use std::path::PathBuf;
use std::sync::Arc;

use crossbeam_channel::{Receiver, Sender, TrySendError, bounded, unbounded};

use crate::media::{ClipInfo, Interpretation, MediaError, open};
use crate::picture::Frame;

/// A source as a shot reads it.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct SourceKey {
    /// The file, folder or pattern.
    pub path: PathBuf,
    /// What overrides the file's own word about itself.
    pub interpretation: Interpretation,
}

enum News {
    Opened(SourceKey, Result<ClipInfo, MediaError>),
    Decoded(SourceKey, u64, Result<Frame, MediaError>),
}

/// Requests under way for one source.
const UNDER_WAY: usize = 3;

struct Feed {
    requests: Sender<u64>,
    under_way: HashSet<u64>,
    info: Option<Arc<ClipInfo>>,
    failed: Option<Arc<str>>,
}

enum Cached {
    Frame(Arc<Frame>),
    /// It cannot be read; said once, and not asked for again.
    Broken(Arc<str>),
}

/// All sources of a show.
pub struct Feeds {
    feeds: HashMap<SourceKey, Feed>,
    cache: HashMap<(SourceKey, u64), (Cached, u64)>,
    bytes: usize,
    budget: usize,
    turn: u64,
    news: Receiver<News>,
    tell: Sender<News>,
    wake: Arc<dyn Fn() + Send + Sync>,
}

impl Feeds {
    /// Keeps decoded frames up to `budget` bytes; calls `wake` from a decoder's thread when there is
    /// something new.
    pub fn new(budget: usize, wake: Arc<dyn Fn() + Send + Sync>) -> Self {
        let (tell, news) = unbounded();
        Self { feeds: HashMap::new(), cache: HashMap::new(), bytes: 0, budget, turn: 0, news, tell, wake }
    }

    /// Takes in what the decoders finished. True if there was anything.
    pub fn collect(&mut self) -> bool {
        let mut any = false;
        while let Ok(news) = self.news.try_recv() {
            any = true;
            match news {
                News::Opened(key, result) => {
                    if let Some(feed) = self.feeds.get_mut(&key) {
                        match result {
                            Ok(info) => feed.info = Some(Arc::new(info)),
                            Err(e) => feed.failed = Some(e.to_string().into()),
                        }
                    }
                }
                News::Decoded(key, number, result) => {
                    if let Some(feed) = self.feeds.get_mut(&key) {
                        feed.under_way.remove(&number);
                    }
                    let cached = match result {
                        Ok(frame) => {
                            self.bytes += frame.bytes();
                            Cached::Frame(Arc::new(frame))
                        }
                        Err(e) => Cached::Broken(e.to_string().into()),
                    };
                    self.cache.insert((key, number), (cached, self.turn));
                }
            }
        }
        any
    }

    /// Opens a source, if it is not open, without asking for a frame.
    pub fn look_at(&mut self, key: &SourceKey) {
        self.open(key);
    }

    fn open(&mut self, key: &SourceKey) -> &mut Feed {
        let Self { feeds, tell, wake, .. } = self;
        feeds.entry(key.clone()).or_insert_with(|| start(key.clone(), tell.clone(), wake.clone()))
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

    /// A frame if it is decoded; an error if it never will be.
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

    /// Frames and bytes in the cache.
    pub fn held(&self) -> (usize, usize) {
        (self.cache.len(), self.bytes)
    }
}

fn start(key: SourceKey, tell: Sender<News>, wake: Arc<dyn Fn() + Send + Sync>) -> Feed {
    let (requests, asked) = bounded::<u64>(UNDER_WAY);
    let name = format!("decode {}", key.path.display());
    let run = move || {
        let mut source = match open(&key.path, &key.interpretation) {
            Ok(source) => {
                let _ = tell.send(News::Opened(key.clone(), Ok(source.info().clone())));
                source
            }
            Err(e) => {
                let _ = tell.send(News::Opened(key, Err(e)));
                wake();
                return;
            }
        };
        wake();
        for number in asked {
            let frame = source.frame(number);
            if tell.send(News::Decoded(key.clone(), number, frame)).is_err() {
                return;
            }
            wake();
        }
    };
    let failed = match std::thread::Builder::new().name(name).spawn(run) {
        Ok(_) => None,
        Err(e) => Some(format!("no thread to decode on: {e}").into()),
    };
    Feed { requests, under_way: HashSet::new(), info: None, failed }
}
