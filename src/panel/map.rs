//! Which control moves which parameter and what buttons do: maps, and reading them from TOML.
//!
//! A map does not know which parameters and actions there are: whoever reads it brings checkers.

use super::feedback_map::{self, Light, RawLight, RawRing, RawText, Told, Way, When};
use super::{Coding, Control, Half, LSB_ABOVE, PanelError, Takeover, message::FIRST_MODE_MESSAGE};
use serde::de::{
    Deserialize, Deserializer, MapAccess, SeqAccess, Visitor,
    value::{MapAccessDeserializer, StrDeserializer},
};
use std::{fmt, ops::Range, sync::Arc};
use toml::Spanned;

/// The maps that come with the program: file name and text.
pub const SHIPPED: &[(&str, &str)] = &[
    ("eight-encoders.toml", include_str!("../../configs/panels/eight-encoders.toml")),
    ("eight-knobs.toml", include_str!("../../configs/panels/eight-knobs.toml")),
    ("three-balls.toml", include_str!("../../configs/panels/three-balls.toml")),
];

/// A parameter that a control moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// Its address.
    pub address: Arc<str>,
    /// Its share of the control's turn: any finite number but 0. 1 for absolute controls.
    pub by: f64,
}

/// One control and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Binding {
    /// Its name on the panel mirror: what the map calls it, else its controller number.
    pub label: Arc<str>,
    /// Controller number, 0…119; of a fine control that of its upper half, 0…31.
    pub cc: u8,
    /// Has it 14 bits, the lower seven on the controller [`LSB_ABOVE`] above? Only absolute ones may.
    pub fine: bool,
    /// Channel 0…15; `None` is any.
    pub channel: Option<u8>,
    /// What its data byte means.
    pub coding: Coding,
    /// How it takes over; only absolute controls look at it.
    pub takeover: Takeover,
    /// The parameters it moves, at least one.
    pub targets: Arc<[Target]>,
    /// Steps of the parameter for one detent; negative turns the other way. Only relative controls look at it.
    pub scale: f64,
    /// What it is told back.
    pub feedback: Told,
}

impl Binding {
    /// Does `control` mean this one, and which half of it? A control of seven bits is all upper half.
    pub fn is(&self, control: Control) -> Option<Half> {
        let Control::Cc { channel, number } = control else { return None };
        match number {
            _ if self.channel.is_some_and(|c| c != channel) => None,
            _ if number == self.cc => Some(Half::Msb),
            _ if self.fine && number == self.cc + LSB_ABOVE => Some(Half::Lsb),
            _ => None,
        }
    }

    fn sources(&self) -> Vec<Source> {
        let lower = self.fine.then_some(Source::Cc(self.cc + LSB_ABOVE));
        std::iter::once(Source::Cc(self.cc)).chain(lower).collect()
    }
}

/// What a button sends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// A controller by its number, 0…119. From 64 it is down (MIDI 1.0, for its switches).
    Cc(u8),
    /// A note by its number, 0…127. With any velocity but 0 it is down.
    Note(u8),
}

/// How a button tells that it was pressed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// High when it goes down, low when it comes up.
    #[default]
    Momentary,
    /// High and low by turns, once for each press.
    Toggle,
}

/// One button and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Button {
    /// Its name: what the map calls it, else its number.
    pub label: Arc<str>,
    /// What it sends.
    pub source: Source,
    /// Channel 0…15; `None` is any.
    pub channel: Option<u8>,
    /// How it tells that it was pressed.
    pub mode: Mode,
    /// The name of what it does.
    pub action: Arc<str>,
    /// What its light is told.
    pub light: Light,
}

impl Button {
    /// Does `control` mean this one?
    pub fn is(&self, control: Control) -> bool {
        let (source, channel) = match control {
            Control::Cc { channel, number } => (Source::Cc(number), channel),
            Control::Note { channel, number } => (Source::Note(number), channel),
        };
        source == self.source && self.channel.is_none_or(|c| c == channel)
    }

    /// Does the data byte `value` say that it is down?
    pub fn is_down(&self, value: u8) -> bool {
        match self.source {
            Source::Cc(_) => value >= 64,
            Source::Note(_) => value > 0,
        }
    }
}

/// A map: for which panels it is, and what their controls do.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// The map's own name.
    pub name: String,
    /// Part of the names of the ports it is for, case ignored; empty is any port.
    pub port: String,
    /// Part of the names of the ports that answers go to, case ignored; `None` finds the one beside each
    /// port by its name.
    pub output: Option<String>,
    /// Its controls. No two of these and the buttons mean the same message.
    pub controls: Vec<Binding>,
    /// Its buttons.
    pub buttons: Vec<Button>,
}

impl Map {
    /// Reads a map. `file` is only named in errors. `known` says whether there is a parameter at an
    /// address, `known_action` whether there is an action of a name; if not, why not and what there is.
    ///
    /// # Errors
    /// [`PanelError::Map`] with file and line: for what is not TOML, an unknown key, a value out of its
    /// range, a key that does not go with the coding, an address or action that its checker refuses, or
    /// two controls or buttons that mean the same message.
    pub fn parse(
        text: &str,
        file: &str,
        known: &dyn Fn(&str) -> Result<(), String>,
        known_action: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<Self, PanelError> {
        let wrong = |at: Range<usize>, what: String| PanelError::Map {
            file: file.to_owned(),
            line: line(text, at.start),
            what,
        };
        let raw: RawMap =
            toml::from_str(text).map_err(|e| wrong(e.span().unwrap_or(0..0), e.message().to_owned()))?;
        let (controls, buttons) = (Vec::new(), Vec::new());
        let mut map = Self { name: raw.name, port: raw.port, output: raw.output, controls, buttons };
        let mut taken = Taken::default();
        for entry in raw.control {
            let at = entry.span();
            let binding = binding(entry.into_inner(), &wrong, known)?;
            let sources = binding.sources();
            taken.add(&binding.label, &sources, binding.channel).map_err(|what| wrong(at, what))?;
            map.controls.push(binding);
        }
        for entry in raw.button {
            let at = entry.span();
            let button = button(entry, &wrong, known_action)?;
            taken.add(&button.label, &[button.source], button.channel).map_err(|what| wrong(at, what))?;
            map.buttons.push(button);
        }
        Ok(map)
    }

    /// Is the port called `port_name` one of those this map is for?
    pub fn is_for(&self, port_name: &str) -> bool {
        matches(&self.port, port_name)
    }
}

/// Is `pattern` a part of `port_name`, case ignored? An empty pattern is a part of every name.
pub fn matches(pattern: &str, port_name: &str) -> bool {
    port_name.to_lowercase().contains(&pattern.to_lowercase())
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMap {
    name: String,
    #[serde(default)]
    port: String,
    output: Option<String>,
    #[serde(default)]
    control: Vec<Spanned<RawControl>>,
    #[serde(default)]
    button: Vec<Spanned<RawButton>>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawControl {
    label: Option<String>,
    cc: Spanned<i64>,
    bits: Option<Spanned<i64>>,
    channel: Option<Spanned<i64>>,
    coding: Coding,
    takeover: Option<Spanned<Takeover>>,
    target: Spanned<Targets>,
    scale: Option<Spanned<f64>>,
    feedback: Option<When>,
    ring: Option<Spanned<RawRing>>,
    text: Option<Spanned<RawText>>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawButton {
    label: Option<String>,
    cc: Option<Spanned<i64>>,
    note: Option<Spanned<i64>>,
    channel: Option<Spanned<i64>>,
    #[serde(default)]
    mode: Mode,
    action: Spanned<String>,
    feedback: Option<When>,
    light: Option<Spanned<RawLight>>,
}

/// An address with its share of the turn.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawTarget {
    address: String,
    by: Option<Spanned<f64>>,
}

/// One entry of `target`.
struct Entry(RawTarget);

/// One entry, or a list of them with the place of each.
enum Targets {
    One(RawTarget),
    Many(Vec<Spanned<Entry>>),
}

// By hand, because serde's untagged enums lose the place of what is in them.
struct Either {
    list: bool,
}

impl<'de> Visitor<'de> for Either {
    type Value = Targets;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the address of a parameter, or { address = …, by = … }")?;
        if self.list { f.write_str(", or a list of these") } else { Ok(()) }
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Targets, E> {
        let address = String::deserialize(StrDeserializer::new(text))?;
        Ok(Targets::One(RawTarget { address, by: None }))
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Targets, A::Error> {
        RawTarget::deserialize(MapAccessDeserializer::new(map)).map(Targets::One)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Targets, A::Error> {
        if !self.list {
            return Err(serde::de::Error::invalid_type(serde::de::Unexpected::Seq, &self));
        }
        let mut all = Vec::new();
        while let Some(one) = list.next_element()? {
            all.push(one);
        }
        Ok(Targets::Many(all))
    }
}

impl<'de> Deserialize<'de> for Targets {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Either { list: true })
    }
}

impl<'de> Deserialize<'de> for Entry {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match deserializer.deserialize_any(Either { list: false })? {
            Targets::One(one) => Ok(Self(one)),
            Targets::Many(_) => Err(serde::de::Error::custom("a list in a list")),
        }
    }
}

/// Checks one control of a map.
fn binding(
    raw: RawControl,
    wrong: &dyn Fn(Range<usize>, String) -> PanelError,
    known: &dyn Fn(&str) -> Result<(), String>,
) -> Result<Binding, PanelError> {
    let fine = match &raw.bits {
        None => false,
        Some(given) => match given.get_ref() {
            7 => false,
            14 if !raw.coding.is_relative() => true,
            14 => {
                let what = "bits = 14 is for coding = \"absolute\": relative codings have one byte";
                return Err(wrong(given.span(), what.to_owned()));
            }
            other => return Err(wrong(given.span(), format!("bits = {other}: 7 or 14 is accepted"))),
        },
    };
    let cc = controller(&raw.cc, wrong)?;
    if fine && cc >= LSB_ABOVE {
        let what = format!(
            "cc = {cc} with bits = 14: controllers 0 to {} have a lower half (on cc + {LSB_ABOVE})",
            LSB_ABOVE - 1
        );
        return Err(wrong(raw.cc.span(), what));
    }
    let channel = channel(&raw.channel, wrong)?;
    if let (Some(given), true) = (&raw.takeover, raw.coding.is_relative()) {
        let what = "takeover is for coding = \"absolute\": a relative control has no position";
        return Err(wrong(given.span(), what.to_owned()));
    }
    let scale = match &raw.scale {
        None => 1.0,
        Some(given) if !raw.coding.is_relative() => {
            let what =
                "scale is for relative codings: an absolute control always covers the parameter's range";
            return Err(wrong(given.span(), what.to_owned()));
        }
        Some(given) => factor("scale", given, wrong)?,
    };
    let at = raw.target.span();
    let list = match raw.target.into_inner() {
        Targets::One(one) => vec![Spanned::new(at.clone(), Entry(one))],
        Targets::Many(list) => list,
    };
    if list.is_empty() {
        return Err(wrong(at, "target = []: a control needs at least one address".to_owned()));
    }
    let mut targets: Vec<Target> = Vec::new();
    for one in list {
        let at = one.span();
        let Entry(RawTarget { address, by }) = one.into_inner();
        known(&address).map_err(|why| wrong(at.clone(), format!("target \"{address}\": {why}")))?;
        if targets.iter().any(|t| *t.address == *address) {
            return Err(wrong(at, format!("target \"{address}\" is listed twice: once is enough")));
        }
        let by = match &by {
            None => 1.0,
            Some(given) if !raw.coding.is_relative() => {
                let what =
                    "by is for relative codings: an absolute control always covers the parameter's range";
                return Err(wrong(given.span(), what.to_owned()));
            }
            Some(given) => factor("by", given, wrong)?,
        };
        targets.push(Target { address: address.into(), by });
    }
    let own = match (raw.coding.is_relative(), fine) {
        (true, _) => None,
        (false, true) => Some(Way::Fine { number: cc }),
        (false, false) => Some(Way::Cc { number: cc, from: 0, to: 127 }),
    };
    let feedback = feedback_map::told(raw.feedback, raw.ring, raw.text, own, channel, wrong)?;
    Ok(Binding {
        feedback,
        label: label(raw.label, Source::Cc(cc), channel),
        cc,
        fine,
        channel,
        coding: raw.coding,
        takeover: raw.takeover.map(Spanned::into_inner).unwrap_or_default(),
        targets: targets.into(),
        scale,
    })
}

/// Checks one button of a map.
fn button(
    entry: Spanned<RawButton>,
    wrong: &dyn Fn(Range<usize>, String) -> PanelError,
    known_action: &dyn Fn(&str) -> Result<(), String>,
) -> Result<Button, PanelError> {
    let at = entry.span();
    let raw = entry.into_inner();
    let source = match (&raw.cc, &raw.note) {
        (Some(cc), None) => Source::Cc(controller(cc, wrong)?),
        (None, Some(note)) => Source::Note(ranged(note, 0, 127).ok_or_else(|| {
            wrong(note.span(), format!("note = {}: notes go from 0 to 127", note.get_ref()))
        })?),
        _ => return Err(wrong(at, "a button has a cc or a note, one of the two".to_owned())),
    };
    let channel = channel(&raw.channel, wrong)?;
    let action = raw.action.get_ref();
    known_action(action).map_err(|why| wrong(raw.action.span(), format!("action \"{action}\": {why}")))?;
    Ok(Button {
        light: feedback_map::light(raw.feedback, raw.light, source, channel, wrong)?,
        label: label(raw.label, source, channel),
        source,
        channel,
        mode: raw.mode,
        action: raw.action.into_inner().into(),
    })
}

fn controller(
    given: &Spanned<i64>,
    wrong: &dyn Fn(Range<usize>, String) -> PanelError,
) -> Result<u8, PanelError> {
    let last = FIRST_MODE_MESSAGE - 1;
    ranged(given, 0, last).ok_or_else(|| {
        wrong(given.span(), format!("cc = {}: controller numbers go from 0 to {last}", given.get_ref()))
    })
}

fn channel(
    given: &Option<Spanned<i64>>,
    wrong: &dyn Fn(Range<usize>, String) -> PanelError,
) -> Result<Option<u8>, PanelError> {
    let Some(given) = given else { return Ok(None) };
    ranged(given, 1, 16).map(|c| Some(c - 1)).ok_or_else(|| {
        wrong(given.span(), format!("channel = {}: channels go from 1 to 16", given.get_ref()))
    })
}

/// The number, if something can be multiplied by it and still be turned both ways.
fn factor(
    key: &str,
    given: &Spanned<f64>,
    wrong: &dyn Fn(Range<usize>, String) -> PanelError,
) -> Result<f64, PanelError> {
    match *given.get_ref() {
        number if number.is_finite() && number != 0.0 => Ok(number),
        other => Err(wrong(given.span(), format!("{key} = {other}: any finite number but 0 is accepted"))),
    }
}

fn label(given: Option<String>, source: Source, channel: Option<u8>) -> Arc<str> {
    let number = match source {
        Source::Cc(number) => format!("CC {number}"),
        Source::Note(number) => format!("note {number}"),
    };
    match (given, channel) {
        (Some(label), _) => label.into(),
        (None, None) => number.into(),
        (None, Some(channel)) => format!("{number}, channel {}", channel + 1).into(),
    }
}

/// The number, if it lies in `least..=most`.
fn ranged(given: &Spanned<i64>, least: u8, most: u8) -> Option<u8> {
    u8::try_from(*given.get_ref()).ok().filter(|n| (least..=most).contains(n))
}

/// What the messages so far mean.
#[derive(Default)]
struct Taken(Vec<(Source, Option<u8>, Arc<str>)>);

impl Taken {
    /// Adds what one control or button sends; an error if one of these has a meaning already.
    fn add(&mut self, label: &Arc<str>, sources: &[Source], channel: Option<u8>) -> Result<(), String> {
        for source in sources {
            let both = |other: Option<u8>| channel.is_none() || other.is_none() || channel == other;
            if let Some((.., other)) = self.0.iter().find(|(s, c, _)| s == source && both(*c)) {
                return Err(format!("this sends what “{other}” sends: a message can have one control only"));
            }
            self.0.push((*source, channel, label.clone()));
        }
        Ok(())
    }
}

/// The line, from 1, of the byte at `offset`.
fn line(text: &str, offset: usize) -> usize {
    1 + text.bytes().take(offset).filter(|b| *b == b'\n').count()
}
