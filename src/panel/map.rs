//! Which control moves which parameter: maps, and reading them from TOML.
//!
//! A map does not know which parameters there are: whoever reads it brings a checker.

use super::{Coding, Control, PanelError, Takeover, message::FIRST_MODE_MESSAGE};
use serde::de::{Deserialize, Deserializer, SeqAccess, Visitor, value::StrDeserializer};
use std::{fmt, ops::Range, sync::Arc};
use toml::Spanned;

/// The maps that come with the program: file name and text.
pub const SHIPPED: &[(&str, &str)] = &[
    ("eight-encoders.toml", include_str!("../../configs/panels/eight-encoders.toml")),
    ("eight-knobs.toml", include_str!("../../configs/panels/eight-knobs.toml")),
];

/// One control and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Binding {
    /// Its name on the panel mirror: what the map calls it, else its controller number.
    pub label: Arc<str>,
    /// Controller number, 0…119.
    pub cc: u8,
    /// Channel 0…15; `None` is any.
    pub channel: Option<u8>,
    /// What its data byte means.
    pub coding: Coding,
    /// How it takes over; only absolute controls look at it.
    pub takeover: Takeover,
    /// Addresses of the parameters it moves, at least one.
    pub targets: Arc<[Arc<str>]>,
    /// Steps of the parameter for one detent; negative turns the other way. Only relative controls look at it.
    pub scale: f64,
}

impl Binding {
    /// Does `control` mean this one?
    pub fn is(&self, control: Control) -> bool {
        let Control::Cc { channel, number } = control;
        number == self.cc && self.channel.is_none_or(|c| c == channel)
    }
}

/// A map: for which panels it is, and what their controls do.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// The map's own name.
    pub name: String,
    /// Part of the names of the ports it is for, case ignored; empty is any port.
    pub port: String,
    /// Its controls; no two of them mean the same message.
    pub controls: Vec<Binding>,
}

impl Map {
    /// Reads a map. `file` is only named in errors. `known` says whether there is a parameter at an
    /// address, and if not, why not and what there is.
    ///
    /// # Errors
    /// [`PanelError::Map`] with file and line: for what is not TOML, an unknown key, a value out of its
    /// range, a key that does not go with the coding, an address that `known` refuses, or two controls
    /// that mean the same message.
    pub fn parse(
        text: &str,
        file: &str,
        known: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<Self, PanelError> {
        let wrong = |at: Range<usize>, what: String| PanelError::Map {
            file: file.to_owned(),
            line: line(text, at.start),
            what,
        };
        let raw: RawMap =
            toml::from_str(text).map_err(|e| wrong(e.span().unwrap_or(0..0), e.message().to_owned()))?;
        let mut map = Self { name: raw.name, port: raw.port, controls: Vec::new() };
        for entry in raw.control {
            let at = entry.span();
            let binding = binding(entry.into_inner(), &wrong, known)?;
            if let Some(other) = map.controls.iter().find(|other| overlap(other, &binding)) {
                let what = format!(
                    "this control sends what “{}” above sends: a message can have one control only",
                    other.label
                );
                return Err(wrong(at, what));
            }
            map.controls.push(binding);
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
    #[serde(default)]
    control: Vec<Spanned<RawControl>>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawControl {
    label: Option<String>,
    cc: Spanned<i64>,
    channel: Option<Spanned<i64>>,
    coding: Coding,
    takeover: Option<Spanned<Takeover>>,
    target: Spanned<Targets>,
    scale: Option<Spanned<f64>>,
}

/// One address, or a list of them with the place of each.
enum Targets {
    One(String),
    Many(Vec<Spanned<String>>),
}

impl<'de> Deserialize<'de> for Targets {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        // By hand, because serde's untagged enums lose the place of what is in them.
        struct Either;
        impl<'de> Visitor<'de> for Either {
            type Value = Targets;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the address of a parameter, or a list of addresses")
            }

            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Targets, E> {
                String::deserialize(StrDeserializer::new(text)).map(Targets::One)
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Targets, A::Error> {
                let mut all = Vec::new();
                while let Some(one) = list.next_element()? {
                    all.push(one);
                }
                Ok(Targets::Many(all))
            }
        }
        deserializer.deserialize_any(Either)
    }
}

/// Checks one control of a map.
fn binding(
    raw: RawControl,
    wrong: &dyn Fn(Range<usize>, String) -> PanelError,
    known: &dyn Fn(&str) -> Result<(), String>,
) -> Result<Binding, PanelError> {
    let last_cc = FIRST_MODE_MESSAGE - 1;
    let cc = ranged(&raw.cc, 0, last_cc).ok_or_else(|| {
        wrong(raw.cc.span(), format!("cc = {}: controller numbers go from 0 to {last_cc}", raw.cc.get_ref()))
    })?;
    let channel = match &raw.channel {
        None => None,
        Some(given) => Some(ranged(given, 1, 16).map(|c| c - 1).ok_or_else(|| {
            wrong(given.span(), format!("channel = {}: channels go from 1 to 16", given.get_ref()))
        })?),
    };
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
        Some(given) if given.get_ref().is_finite() && *given.get_ref() != 0.0 => *given.get_ref(),
        Some(given) => {
            let what = format!("scale = {}: any finite number but 0 is accepted", given.get_ref());
            return Err(wrong(given.span(), what));
        }
    };
    let at = raw.target.span();
    let list = match raw.target.into_inner() {
        Targets::One(address) => vec![Spanned::new(at.clone(), address)],
        Targets::Many(list) => list,
    };
    if list.is_empty() {
        return Err(wrong(at, "target = []: a control needs at least one address".to_owned()));
    }
    let mut targets: Vec<Arc<str>> = Vec::new();
    for one in list {
        let at = one.span();
        let address = one.into_inner();
        known(&address).map_err(|why| wrong(at.clone(), format!("target \"{address}\": {why}")))?;
        if targets.iter().any(|t| **t == *address) {
            return Err(wrong(at, format!("target \"{address}\" is listed twice: once is enough")));
        }
        targets.push(address.into());
    }
    let label = raw.label.unwrap_or_else(|| match channel {
        None => format!("CC {cc}"),
        Some(channel) => format!("CC {cc}, channel {}", channel + 1),
    });
    Ok(Binding {
        label: label.into(),
        cc,
        channel,
        coding: raw.coding,
        takeover: raw.takeover.map(Spanned::into_inner).unwrap_or_default(),
        targets: targets.into(),
        scale,
    })
}

/// The number, if it lies in `least..=most`.
fn ranged(given: &Spanned<i64>, least: u8, most: u8) -> Option<u8> {
    u8::try_from(*given.get_ref()).ok().filter(|n| (least..=most).contains(n))
}

/// Could one message mean both?
fn overlap(a: &Binding, b: &Binding) -> bool {
    a.cc == b.cc && (a.channel.is_none() || b.channel.is_none() || a.channel == b.channel)
}

/// The line, from 1, of the byte at `offset`.
fn line(text: &str, offset: usize) -> usize {
    1 + text.bytes().take(offset).filter(|b| *b == b'\n').count()
}
