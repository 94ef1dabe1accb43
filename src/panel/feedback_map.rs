//! The keys of a map that say what a panel is told back: when, by which message, and in which words.

use super::{FINE_MOST, LSB_ABOVE, PanelError, Source, message::FIRST_MODE_MESSAGE};
use serde::Deserialize;
use std::{ops::Range, sync::Arc};
use toml::Spanned;

/// When a control is told where its parameter stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum When {
    /// Never.
    Never,
    /// When the value changes and no hand is on the control; and once when a hand has let it go, because
    /// some motor faders fall back without that.
    #[default]
    Released,
    /// Whenever the value changes, under a hand too.
    Always,
}

/// By which message a value is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// A controller with seven bits: `from` at the lower end of the range, `to` at the upper.
    Cc {
        /// Controller number.
        number: u8,
        /// At the lower end.
        from: u8,
        /// At the upper end.
        to: u8,
    },
    /// A note with its velocity.
    Note {
        /// Note number.
        number: u8,
        /// At the lower end.
        from: u8,
        /// At the upper end.
        to: u8,
    },
    /// A pair of controllers with 14 bits: this one with the upper seven, then the one 32 above it.
    Fine {
        /// The controller with the upper seven.
        number: u8,
    },
    /// Pitch bend, 14 bits.
    Bend,
}

impl Way {
    /// The number that says `position`, 0…1.
    pub fn quantised(self, position: f64) -> u16 {
        let position = if position.is_finite() { position.clamp(0.0, 1.0) } else { 0.0 };
        match self {
            Self::Cc { from, to, .. } | Self::Note { from, to, .. } => {
                let (from, to) = (f64::from(from), f64::from(to));
                (from + (to - from) * position).round() as u16
            }
            Self::Fine { .. } | Self::Bend => (position * f64::from(FINE_MOST)).round() as u16,
        }
    }

    /// The message or messages that say `value`, on channel 0…15.
    pub fn say(self, channel: u8, value: u16, each: &mut dyn FnMut(&[u8])) {
        let channel = channel & 0x0F;
        let (low, high) = ((value & 0x7F) as u8, (value >> 7 & 0x7F) as u8);
        match self {
            Self::Cc { number, .. } => each(&[0xB0 | channel, number, low]),
            Self::Note { number, .. } => each(&[0x90 | channel, number, low]),
            Self::Fine { number } => {
                each(&[0xB0 | channel, number, high]);
                each(&[0xB0 | channel, number + LSB_ABOVE, low]);
            }
            Self::Bend => each(&[0xE0 | channel, low, high]),
        }
    }

    /// Bytes of what [`say`](Self::say) says.
    pub fn length(self) -> usize {
        if matches!(self, Self::Fine { .. }) { 6 } else { 3 }
    }
}

/// Text for a display, by system exclusive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Text {
    parts: Arc<[Part]>,
    /// How many characters it has; longer ones are cut, shorter ones filled with spaces.
    pub chars: usize,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Part {
    Byte(u8),
    Label,
    Value,
}

impl Text {
    /// The message that shows `label` or `value`.
    pub fn message(&self, label: &str, value: &str) -> Vec<u8> {
        let mut bytes = Vec::new();
        let field = |text: &str| {
            let mut field: Vec<u8> = text.chars().filter_map(plain).take(self.chars).collect();
            field.resize(self.chars, b' ');
            field
        };
        for part in self.parts.iter() {
            match part {
                Part::Byte(byte) => bytes.push(*byte),
                Part::Label => bytes.extend(field(label)),
                Part::Value => bytes.extend(field(value)),
            }
        }
        bytes
    }

    /// Does it show the value, which may change many times a second?
    pub fn has_value(&self) -> bool {
        self.parts.contains(&Part::Value)
    }
}

/// A character as a display of seven bits has it; none for what only joins.
fn plain(c: char) -> Option<u8> {
    match c {
        ' '..='~' => Some(c as u8),
        '−' | '–' | '—' => Some(b'-'),
        '×' => Some(b'x'),
        '\u{a0}' | '\u{202f}' | '\u{2009}' => Some(b' '),
        _ => Some(b'?'),
    }
}

/// What a control is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// When.
    pub when: When,
    /// How; `None` if its value is not told.
    pub way: Option<Way>,
    /// Is that the message which the control itself sends? What it sent it then need not be told.
    pub same: bool,
    /// Channel 0…15; `None` is that on which it was heard last, at first the first.
    pub channel: Option<u8>,
    /// The display beside it.
    pub text: Option<Text>,
}

impl Told {
    /// Nothing at all.
    pub const fn nothing() -> Self {
        Self { when: When::Never, way: None, same: false, channel: None, text: None }
    }
}

/// What a button's light is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Light {
    /// When.
    pub when: When,
    /// By which message, and what says dark and lit.
    pub way: Way,
    /// Channel 0…15; `None` as for [`Told::channel`].
    pub channel: Option<u8>,
}

/// `ring` of a map.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawRing {
    cc: Option<u8>,
    note: Option<u8>,
    #[serde(default)]
    bend: bool,
    bits: Option<u8>,
    channel: Option<u8>,
    from: Option<u8>,
    to: Option<u8>,
}

/// `light` of a map.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawLight {
    cc: Option<u8>,
    note: Option<u8>,
    channel: Option<u8>,
    on: Option<u8>,
    off: Option<u8>,
}

/// `text` of a map.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawText {
    sysex: String,
    at: Option<u8>,
    chars: usize,
}

type Wrong<'a> = &'a dyn Fn(Range<usize>, String) -> PanelError;

/// What a control is told. `own` is the message that it sends itself, if that can say a position.
pub(super) fn told(
    when: Option<When>,
    ring: Option<Spanned<RawRing>>,
    text: Option<Spanned<RawText>>,
    own: Option<Way>,
    channel: Option<u8>,
    wrong: Wrong<'_>,
) -> Result<Told, PanelError> {
    let text = text.map(|text| {
        let at = text.span();
        parse_text(text.into_inner()).map_err(|what| wrong(at, what))
    });
    let (way, same, channel) = match ring {
        None => (own, true, channel),
        Some(ring) => {
            let at = ring.span();
            let (way, its) = parse_ring(ring.get_ref()).map_err(|what| wrong(at, what))?;
            (Some(way), own == Some(way) && (its.is_none() || its == channel), its.or(channel))
        }
    };
    // A turn is no position: a ring that follows it is no echo of it.
    let usual = if own.is_some() { When::Released } else { When::Always };
    Ok(Told { when: when.unwrap_or(usual), way, same, channel, text: text.transpose()? })
}

/// What a button's light is told: what the button sends, if the map says nothing else.
pub(super) fn light(
    when: Option<When>,
    light: Option<Spanned<RawLight>>,
    own: Source,
    channel: Option<u8>,
    wrong: Wrong<'_>,
) -> Result<Light, PanelError> {
    let when = when.unwrap_or_default();
    let way = |source, from, to| match source {
        Source::Note(number) => Ok(Way::Note { number, from, to }),
        Source::Cc(number) => Ok(Way::Cc { number, from, to }),
        _ => Err("a light has a cc or a note".to_owned()),
    };
    let Some(given) = light else {
        let way = way(own, 0, 127).map_err(|what| wrong(0..0, what))?;
        return Ok(Light { when, way, channel });
    };
    let at = given.span();
    let raw = given.into_inner();
    let read = || {
        let source = match (raw.cc, raw.note) {
            (None, None) => own,
            (Some(cc), None) => Source::Cc(below("cc", cc, FIRST_MODE_MESSAGE)?),
            (None, Some(note)) => Source::Note(below("note", note, 128)?),
            _ => return Err("a light has a cc or a note, one of the two".to_owned()),
        };
        let its = one_based(raw.channel)?;
        let [on, off] = [below("on", raw.on.unwrap_or(127), 128)?, below("off", raw.off.unwrap_or(0), 128)?];
        Ok(Light { when, way: way(source, off, on)?, channel: its.or(channel) })
    };
    read().map_err(|what| wrong(at, what))
}

fn parse_ring(raw: &RawRing) -> Result<(Way, Option<u8>), String> {
    let (from, to) = (below("from", raw.from.unwrap_or(0), 128)?, below("to", raw.to.unwrap_or(127), 128)?);
    let fine = match raw.bits {
        None | Some(7) => false,
        Some(14) => true,
        Some(other) => return Err(format!("bits = {other}: 7 or 14 is accepted")),
    };
    if (fine || raw.bend) && (raw.from.is_some() || raw.to.is_some()) {
        return Err("from and to are for rings with seven bits".to_owned());
    }
    let way = match (raw.cc, raw.note, raw.bend) {
        (Some(cc), None, false) if fine => Way::Fine { number: below("cc with bits = 14", cc, LSB_ABOVE)? },
        (Some(cc), None, false) => Way::Cc { number: below("cc", cc, FIRST_MODE_MESSAGE)?, from, to },
        (None, Some(note), false) if !fine => Way::Note { number: below("note", note, 128)?, from, to },
        (None, None, true) => Way::Bend,
        _ => return Err("a ring has a cc, a note or bend = true, one of them".to_owned()),
    };
    Ok((way, one_based(raw.channel)?))
}

fn parse_text(raw: RawText) -> Result<Text, String> {
    let mut parts = Vec::new();
    for word in raw.sysex.split_whitespace() {
        parts.push(match word {
            "{label}" => Part::Label,
            "{value}" => Part::Value,
            "{at}" => Part::Byte(below("at", raw.at.ok_or("{at} needs the key at")?, 128)?),
            hex => Part::Byte(u8::from_str_radix(hex, 16).map_err(|_| {
                format!(
                    "sysex has {hex:?}: two hexadecimal digits, {{label}}, {{value}} or {{at}} is accepted"
                )
            })?),
        });
    }
    let inner = match parts.as_slice() {
        [Part::Byte(0xF0), inner @ .., Part::Byte(0xF7)] => inner,
        _ => return Err("sysex begins with F0 and ends with F7".to_owned()),
    };
    if let Some(Part::Byte(byte)) = inner.iter().find(|p| matches!(p, Part::Byte(0x80..))) {
        return Err(format!("sysex has {byte:02X} inside: its bytes go to 7F"));
    }
    if !inner.iter().any(|p| matches!(p, Part::Label | Part::Value)) {
        return Err("sysex has neither {label} nor {value} to show".to_owned());
    }
    if !(1..=64).contains(&raw.chars) {
        return Err(format!("chars = {}: a display has 1 to 64", raw.chars));
    }
    Ok(Text { parts: parts.into(), chars: raw.chars })
}

fn below(key: &str, value: u8, end: u8) -> Result<u8, String> {
    if value < end { Ok(value) } else { Err(format!("{key} = {value}: it goes from 0 to {}", end - 1)) }
}

fn one_based(channel: Option<u8>) -> Result<Option<u8>, String> {
    match channel {
        None => Ok(None),
        Some(channel @ 1..=16) => Ok(Some(channel - 1)),
        Some(other) => Err(format!("channel = {other}: channels go from 1 to 16")),
    }
}
