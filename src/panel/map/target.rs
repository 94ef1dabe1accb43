//! How a map spells the parameters that a control moves.

use serde::de::{
    Deserialize, Deserializer, MapAccess, SeqAccess, Visitor,
    value::{MapAccessDeserializer, StrDeserializer},
};
use std::fmt;
use toml::Spanned;

/// An address with its share of the turn.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawTarget {
    pub address: String,
    pub by: Option<Spanned<f64>>,
}

/// One entry of `target`.
pub(super) struct Entry(pub RawTarget);

/// One entry, or a list of them with the place of each.
pub(super) enum Targets {
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
