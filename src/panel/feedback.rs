//! What a panel is told back: rings, motor faders, lights and displays.
//!
//! Told is what stands there, when its number on the wire changes: never each step on the way, so that a
//! parameter that moves faster than the cable costs no more than the cable has. A control that a hand is on is
//! left alone, unless its map says otherwise. What a panel sends because it was told something is no hand's
//! doing, and acting on it would make loops: [`Feedback::hear`] and [`Echoes`] tell such answers apart.

use super::{
    Control, Event, Half, Map, Mode, Reading, Surface,
    feedback_map::{Light, Told, When},
    map::{Said, Word},
};
use std::{
    collections::{BTreeMap, VecDeque},
    sync::Arc,
    time::{Duration, Instant},
};

/// A hand is on a control that does not tell so for this long after its last message.
pub const LET_GO: Duration = Duration::from_millis(300);

/// A motor is on its way for this long after it was told where to go: what its control sends until then is
/// not a hand's doing. Common practice: motor faders take less than a fifth of a second over their whole travel; the rest is
/// for a machine that is late in telling or in reading.
pub const TRAVEL: Duration = Duration::from_millis(500);

/// Whatever comes back within this time as it was sent is an echo.
pub const ECHO: Duration = Duration::from_millis(500);

/// How long what may be an echo is held back before it counts after all.
pub const HELD_BACK: Duration = Duration::from_millis(100);

/// How far from where it was told to go a motor may come to rest, in its own steps.
const REST: u16 = 2;

/// Detents that one message of a hand's turn tells at most; what is an echo otherwise may look like more.
const MOST_DETENTS: f64 = 8.0;

/// Bytes a second that one panel is sent: two thirds of what a MIDI 1.0 cable (31,250 bits a second, ten to a
/// byte) carries.
pub const BYTES_PER_SECOND: f64 = 2000.0;

/// Bytes that may be sent at once after a rest: 64 controllers.
pub const BURST: f64 = 192.0;

/// One control is told no more often than this.
pub const CONTROL_EVERY: Duration = Duration::from_millis(15);

/// One display is written no more often than this.
pub const TEXT_EVERY: Duration = Duration::from_millis(100);

/// What can be read of how things stand, for panels to be told.
pub trait Readout {
    /// Where a parameter stands in its range, 0…1; `None` for one that is not there.
    fn position(&self, address: &str) -> Option<f64>;
    /// Its value as a person reads it.
    fn value(&self, address: &str) -> Option<String>;
    /// Is the light of the button with this number in the map on?
    fn lit(&self, button: usize) -> bool;
}

/// Whose doing a message is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doing {
    /// A hand's.
    Hand,
    /// The panel's own, because it was told something.
    Answer,
}

/// What is remembered of one thing that can be told.
#[derive(Clone, Debug, Default)]
struct Memory {
    /// What the panel shows, if that is known.
    shows: Option<u16>,
    told_at: Option<Instant>,
    /// What was told last differed from where the control stood: a motor moves there.
    travels: bool,
    /// It answered what it was told last.
    answered: bool,
    /// A hand was on it when it was told last.
    under_hand: bool,
    heard_at: Option<Instant>,
    held: bool,
    /// A hand was on it, and it was not told anything since.
    owed: bool,
    /// Channel it was heard on last.
    channel: u8,
    text: Option<Vec<u8>>,
    text_at: Option<Instant>,
}

impl Memory {
    fn touched(&self, now: Instant) -> bool {
        self.held || self.heard_at.is_some_and(|at| now < at + LET_GO)
    }
}

/// One panel's feedback. It sends nothing: it says which messages are due.
#[derive(Clone, Debug)]
pub struct Feedback {
    map: Arc<Map>,
    controls: Vec<Memory>,
    buttons: Vec<Memory>,
    /// Which of them are in force.
    in_force: (Vec<bool>, Vec<bool>),
    /// Bytes that may be sent; less than none after a long message.
    budget: f64,
    filled: Option<Instant>,
    /// Who is asked first: so that nobody starves where all want more than there is.
    first: usize,
    next: Option<Instant>,
}

impl Feedback {
    /// A panel of which nothing is known, so that all is told: what is in force at first.
    pub fn new(map: Arc<Map>) -> Self {
        let in_force = Surface::new(map.clone()).in_force();
        let controls = vec![Memory::default(); map.controls.len()];
        let buttons = vec![Memory::default(); map.buttons.len()];
        Self { map, controls, buttons, in_force, budget: BURST, filled: None, first: 0, next: None }
    }

    /// The map it works by.
    pub fn map(&self) -> &Arc<Map> {
        &self.map
    }

    /// All is to be told again: the panel was away, or shows another bank or show.
    pub fn resend(&mut self) {
        for memory in self.controls.iter_mut().chain(&mut self.buttons) {
            (memory.shows, memory.text, memory.owed) = (None, None, false);
        }
        self.next = None;
    }

    /// What is in force, for each control and each button of the map. What was not, is told at once, and all the
    /// rest again: two may share a ring.
    pub fn put_in_force(&mut self, (controls, buttons): (Vec<bool>, Vec<bool>)) {
        if (&controls, &buttons) != (&self.in_force.0, &self.in_force.1) {
            self.in_force = (controls, buttons);
            self.resend();
        }
    }

    /// The control in force that a message is of, and what it says.
    fn control_of(&self, event: &Event) -> Option<(usize, Said)> {
        let word = word(event)?;
        let channel = event.control.channel();
        let all = self.map.controls.iter().zip(&self.in_force.0).enumerate();
        all.filter(|(_, (_, in_force))| **in_force).find_map(|(i, (c, _))| Some((i, c.hears(channel, word)?)))
    }

    /// May a message be a hand's turn of a control without ends: by few enough detents?
    pub fn is_turn(&self, event: &Event) -> bool {
        let Some((index, Said::Byte(byte))) = self.control_of(event) else { return false };
        let reading = self.map.controls[index].coding.read(byte);
        matches!(reading, Some(Reading::Turned(detents)) if detents.abs() <= MOST_DETENTS)
    }

    /// Takes in a message of the panel and says whose doing it is. What is an answer is not to be acted on.
    pub fn hear(&mut self, event: &Event, now: Instant) -> Doing {
        let channel = event.control.channel();
        if let Some((index, said)) = self.control_of(event) {
            let binding = &self.map.controls[index];
            let memory = &mut self.controls[index];
            let told = &binding.feedback;
            memory.channel = channel;
            let absolute = !binding.coding.is_relative();
            if absolute && !memory.held && !memory.under_hand && told.when != When::Never {
                let young = memory.told_at.is_some_and(|at| now < at + TRAVEL);
                let near = whole(said).is_some_and(|(value, rest)| {
                    memory.shows.is_some_and(|shows| shows.abs_diff(value) <= rest)
                });
                if young && told.same && (memory.travels || (near && !memory.answered)) {
                    memory.answered = true;
                    return Doing::Answer;
                }
            }
            memory.heard_at = Some(now);
            if told.same && told.way.is_some() {
                memory.owed = true;
                memory.shows = match (told.when, said) {
                    // It is to be told all the same.
                    (When::Always, _) => None,
                    (_, Said::Half(Half::Msb, byte)) => Some(u16::from(byte) << 7),
                    (_, Said::Half(Half::Lsb, byte)) => memory.shows.map(|s| s & !0x7F | u16::from(byte)),
                    _ => whole(said).map(|(value, _)| value),
                };
            }
            return Doing::Hand;
        }
        let Some(word) = word(event) else { return Doing::Hand };
        let all = self.map.buttons.iter().zip(&self.in_force.1).enumerate();
        let heard = all.filter(|(_, (_, in_force))| **in_force).find_map(|(i, (b, _))| {
            Some((i, b.mode == Mode::Momentary && b.is_down(b.hears(channel, word)?)))
        });
        if let Some((index, held)) = heard {
            let memory = &mut self.buttons[index];
            (memory.channel, memory.heard_at, memory.held, memory.owed) = (channel, Some(now), held, true);
        }
        Doing::Hand
    }

    /// A hand took hold of a control that tells so, or let it go. `hand` is the control's [`Binding::hand`].
    pub fn hold(&mut self, hand: usize, down: bool) {
        for (_, memory) in self.map.controls.iter().zip(&mut self.controls).filter(|(c, _)| c.hand == hand) {
            (memory.held, memory.owed) = (down, memory.owed || down);
            if !down {
                memory.heard_at = None;
            }
        }
        self.next = None;
    }

    /// Does a message that was held back as an answer differ from what its control would be told? One that does
    /// not is none of anybody's concern. An `echo` says exactly what was told, a motor comes to rest near it.
    pub fn differs(&self, event: &Event, echo: bool, readout: &dyn Readout) -> bool {
        let Some((index, said)) = self.control_of(event) else { return false };
        let (binding, Some((value, rest))) = (&self.map.controls[index], whole(said)) else { return false };
        let Some(way) = binding.feedback.way.filter(|_| binding.feedback.same) else { return false };
        let stands = binding.targets.iter().find_map(|t| readout.position(&t.address));
        stands.is_some_and(|p| way.quantised(p).abs_diff(value) > if echo { 0 } else { rest })
    }

    /// Gives `each` the messages that are due at `now`, in their order.
    pub fn due(&mut self, readout: &dyn Readout, now: Instant, each: &mut dyn FnMut(&[u8])) {
        let since = self.filled.replace(now).map_or(Duration::ZERO, |at| now.saturating_duration_since(at));
        self.budget = (self.budget + since.as_secs_f64() * BYTES_PER_SECOND).min(BURST);
        self.next = None;
        let (controls, all) = (self.controls.len(), self.controls.len() + self.buttons.len());
        let first = self.first;
        for step in 0..all {
            let index = (first + step) % all;
            let spent = match index.checked_sub(controls) {
                None if !self.in_force.0[index] => false,
                Some(button) if !self.in_force.1[button] => false,
                None => self.control(index, readout, now, each),
                Some(button) => self.button(button, readout, now, each),
            };
            if spent {
                // The next round begins after who was served last.
                self.first = (index + 1) % all;
            }
        }
    }

    /// When there may be something due that is not now, if nothing changes.
    pub fn next(&self) -> Option<Instant> {
        self.next
    }

    fn later(&mut self, at: Instant) {
        self.next = Some(self.next.map_or(at, |next| next.min(at)));
    }

    /// May a message be sent? If not, it is asked again when it may.
    fn afford(&mut self, bytes: usize, now: Instant) -> bool {
        if self.budget > 0.0 {
            self.budget -= bytes as f64;
            return true;
        }
        self.later(now + Duration::from_secs_f64((1.0 - self.budget) / BYTES_PER_SECOND));
        false
    }

    fn control(
        &mut self,
        index: usize,
        readout: &dyn Readout,
        now: Instant,
        each: &mut dyn FnMut(&[u8]),
    ) -> bool {
        let map = self.map.clone();
        let binding = &map.controls[index];
        let Told { when, way, channel, .. } = binding.feedback;
        if when == When::Never {
            return false;
        }
        let target = binding.targets.iter().find(|t| readout.position(&t.address).is_some());
        let position = target.and_then(|t| readout.position(&t.address));
        let mut spent = false;
        if let Some(way) = way {
            // A ring without a parameter is dark; a fader stays where it is.
            let stands = position.or((!binding.feedback.same).then_some(0.0));
            if let Some(value) = stands.map(|p| way.quantised(p)) {
                spent |= self.tell(Thing::Control(index), when, value, way.length(), now, |memory| {
                    way.say(channel.unwrap_or(memory.channel), value, each);
                });
            }
        }
        if let Some(text) = &binding.feedback.text {
            let value = match target {
                Some(t) if text.has_value() => readout.value(&t.address),
                _ => None,
            };
            let message = text.message(&binding.label, value.as_deref().unwrap_or(""));
            spent |= self.write(index, message, now, each);
        }
        spent
    }

    fn write(&mut self, index: usize, message: Vec<u8>, now: Instant, each: &mut dyn FnMut(&[u8])) -> bool {
        let memory = &self.controls[index];
        if memory.text.as_ref() == Some(&message) {
            return false;
        }
        if let Some(at) = memory.text_at.map(|at| at + TEXT_EVERY).filter(|at| now < *at) {
            self.later(at);
            return false;
        }
        if !self.afford(message.len(), now) {
            return false;
        }
        each(&message);
        let memory = &mut self.controls[index];
        (memory.text, memory.text_at) = (Some(message), Some(now));
        true
    }

    fn button(
        &mut self,
        index: usize,
        readout: &dyn Readout,
        now: Instant,
        each: &mut dyn FnMut(&[u8]),
    ) -> bool {
        let Light { when, way, channel } = self.map.buttons[index].light;
        if when == When::Never {
            return false;
        }
        let value = way.quantised(f64::from(u8::from(readout.lit(index))));
        self.tell(Thing::Button(index), when, value, way.length(), now, |memory| {
            way.say(channel.unwrap_or(memory.channel), value, each);
        })
    }

    /// Tells a value if it is time to. True if it was told.
    fn tell(
        &mut self,
        thing: Thing,
        when: When,
        value: u16,
        bytes: usize,
        now: Instant,
        say: impl FnOnce(&Memory),
    ) -> bool {
        let memory = self.memory(thing);
        let touched = memory.touched(now);
        let waits = touched && when == When::Released;
        if memory.shows == Some(value) && !memory.owed {
            return false;
        }
        if waits {
            // Held ones tell when they are let go.
            if let Some(at) = memory.heard_at.filter(|_| !memory.held) {
                self.later(at + LET_GO);
            }
            return false;
        }
        if memory.shows == Some(value) && touched {
            // Owed only when the hand is off.
            let at = memory.heard_at.filter(|_| !memory.held);
            if let Some(at) = at {
                self.later(at + LET_GO);
            }
            return false;
        }
        if let Some(at) = memory.told_at.map(|at| at + CONTROL_EVERY).filter(|at| now < *at) {
            self.later(at);
            return false;
        }
        if !self.afford(bytes, now) {
            return false;
        }
        say(self.memory(thing));
        let memory = self.memory(thing);
        memory.travels = memory.shows != Some(value);
        memory.shows = Some(value);
        memory.told_at = Some(now);
        memory.answered = false;
        memory.owed &= touched;
        memory.under_hand = touched;
        true
    }

    fn memory(&mut self, thing: Thing) -> &mut Memory {
        match thing {
            Thing::Control(index) => &mut self.controls[index],
            Thing::Button(index) => &mut self.buttons[index],
        }
    }
}

/// What a message says, of those that a control may be told by.
fn word(event: &Event) -> Option<Word> {
    let byte = (event.value & 0x7F) as u8;
    match event.control {
        Control::Cc { number, .. } => Some(Word::Cc(number, byte)),
        Control::Note { number, .. } => Some(Word::Note(number, byte)),
        Control::Bend { .. } => Some(Word::Bend(event.value)),
        _ => None,
    }
}

/// The value that a message says by itself, and how far from there a motor may come to rest.
fn whole(said: Said) -> Option<(u16, u16)> {
    match said {
        Said::Byte(byte) => Some((u16::from(byte), REST)),
        Said::Whole(value) => Some((value, REST << 7)),
        Said::Half(..) | Said::Steps(_) => None,
    }
}

#[derive(Clone, Copy)]
enum Thing {
    Control(usize),
    Button(usize),
}

/// What was sent lately, to any panel: it may come back by any port, from a device that repeats what it gets or
/// hands it on to another.
#[derive(Clone, Debug, Default)]
pub struct Echoes {
    sent: VecDeque<Sent>,
    /// By port: of what was sent lately and can be nobody's turn, the share that came back.
    habits: BTreeMap<usize, f64>,
}

#[derive(Clone, Copy, Debug)]
struct Sent {
    message: [u8; 3],
    at: Instant,
    /// Ports that it came back by, a bit each.
    back: u64,
}

impl Echoes {
    /// What is kept at most.
    const MOST: usize = 1024;

    /// `message` was sent at `now`.
    pub fn sent(&mut self, message: &[u8], now: Instant) {
        self.forget(now);
        if let Some(message) = common(message) {
            self.sent.push_back(Sent { message, at: now, back: 0 });
        }
    }

    fn forget(&mut self, now: Instant) {
        while self.sent.front().is_some_and(|s| now >= s.at + ECHO) || self.sent.len() >= Self::MOST {
            let Some(gone) = self.sent.pop_front() else { break };
            if gone.is_telling() {
                for (port, share) in &mut self.habits {
                    let back = gone.back & (1 << (port % 64)) != 0;
                    *share += (f64::from(u8::from(back)) - *share) / 4.0;
                }
            }
        }
    }

    /// Does what is sent come back by a port as a rule? Where it does not, a turn that happens to look like what was sent is
    /// one.
    pub fn repeats(&self, port: usize) -> bool {
        self.habits.get(&port).is_some_and(|share| *share > 0.2)
    }

    /// Is a message that came by `port` one that was sent? Each that was sent comes back once by a port.
    pub fn is_echo(&mut self, port: usize, message: &[u8], now: Instant) -> bool {
        let (Some(message), bit) = (common(message), 1u64 << (port % 64)) else { return false };
        self.forget(now);
        let share = self.habits.entry(port).or_default();
        let came = |s: &&mut Sent| s.message == message && s.back & bit == 0 && now < s.at + ECHO;
        match self.sent.iter_mut().find(came) {
            Some(sent) => {
                sent.back |= bit;
                if sent.is_telling() {
                    *share = share.max(0.5);
                }
                true
            }
            None => false,
        }
    }
}

impl Sent {
    /// Would it tell of an echo if it came back? A value that encoders turn by could be a hand's as well.
    fn is_telling(&self) -> bool {
        let [status, _, value] = self.message;
        status & 0xF0 != 0xB0 || !matches!(value, 1..=8 | 56..=72 | 120..=127)
    }
}

/// A message in the one form of those that mean the same: a note that ends is one that begins with velocity 0
/// (MIDI 1.0).
fn common(message: &[u8]) -> Option<[u8; 3]> {
    match *message {
        [status, note, _] if status & 0xF0 == 0x80 => Some([status | 0x10, note, 0]),
        [status @ 0x80..=0xEF, first, second] => Some([status, first, second]),
        _ => None,
    }
}
