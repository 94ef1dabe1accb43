//! The thread that takes pictures from the engine and encodes each once for all who want it so.

use std::collections::HashMap;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use axum::body::Bytes;
use serde_json::json;
use tokio::sync::watch;

use super::encode::{PNG_AFTER, jpeg, png, smaller};
use super::house::{House, lock};
use super::sum::sum;
use super::{panel, told};
use crate::engine::{Input, Picture, Snapshot, View, Views};
use crate::show::{Show, known_display};

/// Widths that pictures are made in, so that windows of about one size share them.
const WIDTHS: [u32; 8] = [480, 640, 960, 1280, 1600, 1920, 2560, 3840];
/// How often the controls are told of at most.
const CONTROLS: Duration = Duration::from_millis(80);

/// What several viewers may have in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Need {
    pub view: View,
    /// Pixels across, before the raster's own size limits it.
    pub across: u32,
}

impl Need {
    /// For a window of a size in pixels.
    pub fn new(view: View, window: (u32, u32), raster: (u32, u32), largest: (u32, u32)) -> Self {
        let fit = |(w, h): (u32, u32)| {
            let by_height = u64::from(h) * u64::from(raster.0) / u64::from(raster.1.max(1));
            u64::from(w).min(by_height) as u32
        };
        let most = fit(largest).min(raster.0).max(1);
        let wanted = fit(window);
        let step = WIDTHS.into_iter().find(|w| *w >= wanted).unwrap_or(most);
        Self { view, across: step.min(most) }
    }

    fn size(&self, raster: (u32, u32)) -> (u32, u32) {
        let across = self.across.min(raster.0).max(1);
        let down =
            (u64::from(raster.1) * u64::from(across) + u64::from(raster.0) / 2) / u64::from(raster.0.max(1));
        (across, (down as u32).max(1))
    }
}

/// A picture's bytes behind a line about it: four bytes for that line's length, the line (JSON), the picture. `None`: there is
/// no picture to see.
pub(super) type Packet = Option<Bytes>;

struct Slot {
    need: Need,
    out: watch::Sender<Packet>,
    sent: Mutex<Sent>,
}

#[derive(Clone, Copy, PartialEq)]
struct Sent {
    /// Which taking was sent; 0 for none.
    version: u64,
    exact: bool,
}

/// Where the newest picture of each need lies.
#[derive(Default)]
pub(super) struct Slots(Mutex<Vec<Arc<Slot>>>);

impl Slots {
    /// The newest picture of a need, now and from now on.
    pub fn join(&self, need: Need) -> watch::Receiver<Packet> {
        let mut slots = lock(&self.0);
        let slot = slots.iter().find(|s| s.need == need).cloned().unwrap_or_else(|| {
            let sent = Mutex::new(Sent { version: 0, exact: false });
            let new = Arc::new(Slot { need, out: watch::Sender::new(None), sent });
            slots.push(new.clone());
            new
        });
        let mut receiver = slot.out.subscribe();
        receiver.mark_changed();
        receiver
    }

    /// Those that somebody has joined.
    fn wanted(&self) -> Vec<Arc<Slot>> {
        let mut slots = lock(&self.0);
        slots.retain(|s| s.out.receiver_count() > 0);
        slots.clone()
    }
}

/// A picture that was taken from the engine.
struct Taken {
    /// The picture's.
    serial: u64,
    /// Another whenever there is something else to see or to say.
    version: u64,
    codes: Vec<u8>,
    size: (u32, u32),
    about: serde_json::Map<String, serde_json::Value>,
    since: Instant,
}

#[derive(Default)]
struct Encoding {
    taken: HashMap<View, Taken>,
    asked: Views,
    versions: u64,
    /// The last checksum, and what of.
    summed: Option<(Arc<Show>, usize, String)>,
    controls_told: Option<Instant>,
    answers_of: Option<(Arc<super::Book>, Arc<Show>)>,
}

/// Starts the thread.
pub(super) fn start(house: Arc<House>) -> std::io::Result<std::thread::JoinHandle<()>> {
    let watcher = Arc::downgrade(&house);
    house.link.on_news(Arc::new(move || {
        if let Some(house) = watcher.upgrade() {
            house.stir();
        }
    }));
    std::thread::Builder::new().name("serve-pictures".into()).spawn(move || {
        let _ = house.encoder.set(std::thread::current());
        let mut encoding = Encoding::default();
        while !house.stops() {
            let now = Instant::now();
            house.news.store(false, Ordering::Release);
            let next = encoding.step(&house, now);
            if !house.news.load(Ordering::Acquire) {
                std::thread::park_timeout(next.saturating_duration_since(Instant::now()));
            }
        }
        house.link.send(Input::Watch(Views::default()));
    })
}

impl Encoding {
    /// Does what is to be done; when to come again at the latest.
    fn step(&mut self, house: &House, now: Instant) -> Instant {
        let mut next = now + Duration::from_millis(500);
        let s = house.link.snapshot();
        self.tell(house, &s, now, &mut next);
        let slots = house.slots.wanted();
        let views: Views = slots.iter().map(|s| s.need.view).collect();
        if views != self.asked {
            self.asked = views;
            house.link.send(Input::Watch(views));
        }
        self.taken.retain(|view, _| views.has(*view));
        for view in View::all().filter(|v| views.has(*v)) {
            match house.link.watched(view) {
                Some(picture) => self.take(house, &s, view, &picture, now),
                None => drop(self.taken.remove(&view)),
            }
        }
        for slot in &slots {
            match self.taken.get(&slot.need.view) {
                Some(taken) => {
                    if let Some(at) = encode(slot, taken, s.playing, now) {
                        next = next.min(at);
                    }
                }
                None => {
                    *lock(&slot.sent) = Sent { version: 0, exact: false };
                    slot.out.send_if_modified(|packet| packet.take().is_some());
                }
            }
        }
        next
    }

    fn tell(&mut self, house: &House, s: &Arc<Snapshot>, now: Instant, next: &mut Instant) {
        let tell = |to: &watch::Sender<Arc<str>>, text: String| {
            to.send_if_modified(|old| {
                let new = **old != *text;
                if new {
                    *old = text.into();
                }
                new
            });
        };
        tell(&house.told, told::state(house, s).to_string());
        let book = house.book.get();
        let same = |(b, show): &(Arc<super::Book>, Arc<Show>)| {
            Arc::ptr_eq(b, &book) && (book.approvals.is_empty() || Arc::ptr_eq(show, &s.show))
        };
        if !self.answers_of.as_ref().is_some_and(same) {
            tell(&house.answers, told::answers(house, s).to_string());
            self.answers_of = Some((book, s.show.clone()));
        }
        if house.controls.receiver_count() > 0 {
            match self.controls_told.map(|at| at + CONTROLS).filter(|due| *due > now) {
                Some(due) => *next = (*next).min(due),
                None => {
                    tell(&house.controls, panel::controls(s).to_string());
                    self.controls_told = Some(now);
                }
            }
        }
    }

    /// Takes a picture's codes, if they are new.
    fn take(&mut self, house: &House, s: &Snapshot, view: View, picture: &Arc<Picture>, now: Instant) {
        let about = self.about(house, s, view, picture);
        self.versions += 1;
        let version = self.versions;
        if let Some(taken) = self.taken.get_mut(&view).filter(|t| t.serial == picture.serial) {
            // The snapshot may come after the picture, and what it says of the clip with it.
            if taken.about != about {
                (taken.about, taken.version) = (about, version);
            }
            return;
        }
        let codes = picture.fetched.as_ref().map(|f| ((f.width, f.height), f.codes()));
        house.link.took(picture.serial);
        let (size, codes) = match codes {
            Some((size, Ok(codes))) => (size, codes),
            Some((_, Err(e))) => {
                tracing::warn!("a picture for browsers: {e}");
                return;
            }
            None => return,
        };
        if let Some(taken) = self.taken.get_mut(&view)
            && (taken.size, &taken.codes, &taken.about) == (size, &codes, &about)
        {
            // Drawn again for somebody else.
            taken.serial = picture.serial;
            return;
        }
        let taken = Taken { serial: picture.serial, version, codes, size, about, since: now };
        self.taken.insert(view, taken);
    }

    fn about(
        &mut self,
        house: &House,
        s: &Snapshot,
        view: View,
        picture: &Picture,
    ) -> serde_json::Map<String, serde_json::Value> {
        let show = &picture.show;
        let (shot, name) = (picture.shot, show.shots.get(picture.shot).map_or("", |s| &s.name));
        let known = self.summed.as_ref().filter(|(of, at, _)| Arc::ptr_eq(of, show) && *at == shot);
        let sum = match known {
            Some((.., sum)) => sum.clone(),
            None => {
                let sum = sum(show, shot).unwrap_or_default();
                self.summed = Some((show.clone(), shot, sum.clone()));
                sum
            }
        };
        house.issue(name, &sum);
        let compare = if view.before { "before".to_owned() } else { told::compare_words(picture) };
        let about = json!({
            "before": view.before,
            "display": view.canvas.display(),
            "shot": shot + 1,
            "name": name,
            "frame": picture.frame,
            "timecode": s.timecode_of(shot, picture.frame),
            "look": told::look_words(picture),
            "compare": compare,
            "sum": sum,
        });
        match about {
            serde_json::Value::Object(map) => map,
            _ => Default::default(),
        }
    }
}

/// Sends what is to be sent into a slot; when there will be more.
fn encode(slot: &Slot, taken: &Taken, playing: bool, now: Instant) -> Option<Instant> {
    let mut sent = lock(&slot.sent);
    let new = sent.version != taken.version;
    if !new && (sent.exact || playing) {
        return None;
    }
    let rests = taken.since + PNG_AFTER;
    // A picture that has rested for long before anybody asked is exact at once.
    let exact = !playing && now >= rests;
    if !new && !exact {
        return Some(rests);
    }
    let size = slot.need.size(taken.size);
    let made;
    let codes = match known_display(slot.need.view.canvas.display()) {
        Some(display) if size != taken.size => {
            made = smaller(&display.curve, &taken.codes, taken.size, size);
            &made
        }
        _ => &taken.codes,
    };
    let bytes = if exact { png(codes, size) } else { jpeg(codes, size).or_else(|| png(codes, size)) };
    *sent = Sent { version: taken.version, exact };
    let mut about = taken.about.clone();
    about.insert("serial".into(), taken.serial.into());
    about.insert("exact".into(), exact.into());
    about.insert("width".into(), size.0.into());
    about.insert("height".into(), size.1.into());
    let about = serde_json::Value::Object(about).to_string();
    let picture = bytes?;
    let mut packet = Vec::with_capacity(4 + about.len() + picture.len());
    packet.extend((about.len() as u32).to_le_bytes());
    packet.extend(about.as_bytes());
    packet.extend(picture);
    slot.out.send_replace(Some(packet.into()));
    (!exact && !playing).then_some(rests)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::Canvas;

    #[test]
    fn windows_of_about_one_size_share_a_picture_that_fits() {
        let view = View { canvas: Canvas::Srgb, before: false };
        let (raster, largest) = ((3840, 2160), (1920, 1080));
        let size = |window| Need::new(view, window, raster, largest).size(raster);
        assert_eq!(size((900, 500)), (960, 540));
        assert_eq!(size((940, 800)), (960, 540));
        // A phone held upright: the picture is as wide as it is.
        assert_eq!(size((390, 844)), (480, 270));
        assert_eq!(size((5000, 3000)), (1920, 1080));
        assert_eq!(size((0, 0)), (480, 270));
        let small = |window| Need::new(view, window, (960, 540), largest);
        assert_eq!(small((1000, 900)), small((3000, 2000)));
        assert_eq!(small((3000, 2000)).size((960, 540)), (960, 540));
        // Wider than high by another measure than the cap.
        let scope = Need::new(view, (4000, 4000), (4096, 1716), largest);
        assert_eq!(scope.size((4096, 1716)), (1920, 804));
    }
}
