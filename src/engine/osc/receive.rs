//! Packets in: read, understood, put into the queue.

use std::io::ErrorKind;
use std::net::{SocketAddr, UdpSocket};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use super::super::actions::{ACTIONS, action};
use super::Common;
use super::methods::{Place, View, fader_key, is_told_only, key_of, place, places, shown, wanted};
use crate::panel::PanelError;
use crate::panel::osc::{Feedback, Item, Key, Meaning, Request, decode, is_pattern, matches, meaning};

/// What a packet may ask for, once its patterns are resolved.
const MOST_ITEMS: usize = 1024;
/// Patterns in a packet: each is held against every address.
const MOST_PATTERNS: usize = 32;

pub(super) fn run(common: &Common, socket: &UdpSocket) {
    let mut bytes = vec![0; 1 << 16];
    while !common.quits() {
        let (got, from) = match socket.recv_from(&mut bytes) {
            Ok(got) => got,
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => continue,
            // Some systems report here that a surface is gone.
            Err(_) => {
                std::thread::sleep(Duration::from_millis(1));
                continue;
            }
        };
        if common.quits() {
            return;
        }
        if let Err(why) = packet(common, &bytes[..got], from, Instant::now()) {
            common.bad.fetch_add(1, Ordering::Relaxed);
            if common.bad_because.set(why.to_string().into()).is_ok() {
                tracing::warn!(
                    "a packet from {from} could not be read: {why}; more of them are counted only"
                );
            }
        }
    }
}

/// What a packet comes to.
#[derive(Default)]
struct Understood {
    items: Vec<Item>,
    /// Addresses that it sent to, and what it shows there.
    touched: Vec<(String, Option<Key>)>,
    asked: Vec<String>,
    hello: Option<Option<u16>>,
    bye: bool,
    unknown: u64,
}

fn packet(common: &Common, bytes: &[u8], from: SocketAddr, now: Instant) -> Result<(), PanelError> {
    let messages = decode(bytes)?;
    if messages.iter().filter(|m| is_pattern(&m.address)).count() > MOST_PATTERNS {
        return Err(PanelError::Packet { why: format!("it holds more than {MOST_PATTERNS} patterns") });
    }
    let snapshot = common.engine.snapshot.load_full();
    let (view, layout) = (View::of(&snapshot), common.layout.as_deref());
    // All of it is understood before any of it is done.
    let mut all = Understood::default();
    for message in &messages {
        match meaning(message, layout)? {
            Meaning::Hello(port) => all.hello = Some(port),
            Meaning::Bye => all.bye = true,
            Meaning::Nothing => {}
            Meaning::Ask(address) => {
                all.found(view, &address, |all, address, _, _| {
                    all.asked.push(format!("/{address}"));
                    Ok(())
                })?;
                if is_told_only(&address) {
                    all.asked.push(message.address.clone());
                }
            }
            Meaning::Set(address, argument) => {
                all.found(view, &address, |all, one, place, again| {
                    match wanted(view.show, place, &argument) {
                        Some(wanted) => {
                            all.touched.push((format!("/{one}"), Some(key_of(place, &wanted))));
                            if !again {
                                all.items.push(Item::Set(one.to_owned(), argument.clone()));
                            }
                            Ok(())
                        }
                        // A pattern may stand for what takes something else.
                        None if is_pattern(&address) => Ok(()),
                        None => Err(PanelError::Packet { why: format!("/{one}: it takes no such argument") }),
                    }
                })?;
            }
            Meaning::Turn(address, steps) => {
                all.found(view, &address, |all, address, _, again| {
                    all.items.extend((!again).then(|| Item::Turn(address.to_owned(), steps)));
                    Ok(())
                })?;
            }
            Meaning::Reset(address) => {
                all.found(view, &address, |all, address, _, again| {
                    all.items.extend((!again).then(|| Item::Reset(address.to_owned())));
                    Ok(())
                })?;
            }
            Meaning::Press(name, down) if is_pattern(&name) => {
                let named = ACTIONS.iter().filter(|a| matches(&name, a.name));
                all.items.extend(named.map(|a| Item::Press(a.name.to_owned(), down)));
            }
            Meaning::Press(name, down) => match action(&name) {
                Some(_) => all.items.push(Item::Press(name, down)),
                None => all.unknown += 1,
            },
            Meaning::Fader(index, number) => {
                let fader = layout.and_then(|l| l.faders.get(index));
                if let Some(fader) = fader.filter(|f| f.steps.is_none()) {
                    all.touched.push((fader.osc.to_string(), Some(fader_key(number.clamp(0.0, 1.0)))));
                }
                all.items.push(Item::Fader(index, number));
            }
        }
        if all.items.len() > MOST_ITEMS {
            return Err(PanelError::Packet { why: format!("it asks for more than {MOST_ITEMS} things") });
        }
    }
    common.unknown.fetch_add(all.unknown, Ordering::Relaxed);
    carry_on(common, all, from, now, || Feedback::knowing(&shown(&snapshot, layout)));
    Ok(())
}

fn carry_on(
    common: &Common,
    all: Understood,
    from: SocketAddr,
    now: Instant,
    feedback: impl FnOnce() -> Feedback,
) {
    let mut surfaces = common.surfaces();
    let (surface, gone) = match all.hello {
        Some(port) => surfaces.greeted(from, port, now),
        None => surfaces.heard(from, now, feedback),
    };
    for (address, key) in all.touched {
        surface.feedback.touched(&address, key, now);
    }
    for address in &all.asked {
        surface.feedback.asked(address);
    }
    for item in &all.items {
        if let Item::Press(action, down) = item {
            surface.press(action, *down);
        }
    }
    let request = Request { surface: surface.number, items: all.items };
    let left = if all.bye { surfaces.bye(from) } else { None };
    common.remembered.store(surfaces.len(), Ordering::Relaxed);
    drop(surfaces);
    let mut any = false;
    for request in [gone, Some(request), left].into_iter().flatten() {
        any |= !request.items.is_empty();
        common.requests.push(request);
    }
    if any {
        (common.wake)();
    }
    if all.hello.is_some() || !all.asked.is_empty() {
        common.nudge();
    }
}

impl Understood {
    /// Calls `f` for every place that an address or pattern stands for; with true where another address of the same
    /// place came before.
    fn found(
        &mut self,
        view: View<'_>,
        address: &str,
        mut f: impl FnMut(&mut Self, &str, Place, bool) -> Result<(), PanelError>,
    ) -> Result<(), PanelError> {
        if !is_pattern(address) {
            match place(view, address) {
                Ok(Some(place)) => f(self, address, place, false)?,
                // What this show lacks, another has.
                Ok(None) => {}
                Err(()) => self.unknown += u64::from(!is_told_only(address)),
            }
            return Ok(());
        }
        let mut seen: Vec<Place> = Vec::new();
        // What is only where somebody looks or acts is not meant by a pattern for everything.
        let meant = |one: &str| match one.split_once('/') {
            Some((part @ ("focus" | "view"), _)) => address.split('/').next() == Some(part),
            _ => true,
        };
        let all = places(view).into_iter().filter(|(one, _)| matches(address, one) && meant(one));
        for (one, place) in all {
            let again = seen.contains(&place);
            f(self, &one, place, again)?;
            seen.push(place);
        }
        Ok(())
    }
}
