//! OpenTimelineIO: the running order as JSON.
//!
//! From the Academy Software Foundation's *OpenTimelineIO* documentation, its file format and serialised-data schema:
//! `Timeline`, `Stack`, `Track`, `Clip`, `Gap`, `ExternalReference`, with rational times. Every version of a schema is read by
//! what it has in common (`Clip.1` with one reference, `Clip.2` with several, of which one is active). The first video track
//! that holds a clip is the running order; all else is left out with a note. A colour decision is where the project's own
//! adapter for edit decision lists puts it: `metadata.cdl`, with `asc_sop` and `asc_sat`.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Value, json};

use super::Error;
use super::text::{excerpt, utf8};
use crate::colour::Cdl;

/// Items of one track that are accepted.
pub const MOST_ITEMS: usize = 100_000;

/// A range of frames: the first and how many, at so many a second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The first frame.
    pub start: f64,
    /// How many.
    pub length: f64,
    /// Frames a second, above 0.
    pub rate: f64,
}

/// What stands in the running order.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A piece of a clip.
    Clip(Clip),
    /// Nothing, for so long.
    Gap(Span),
}

/// A piece of a clip.
#[derive(Clone, Debug, PartialEq)]
pub struct Clip {
    /// Its name.
    pub name: String,
    /// Where its media is, as a URL or a path.
    pub media: Option<String>,
    /// What of the media there is; its start is the media's timecode.
    pub available: Option<Span>,
    /// What of it is shown.
    pub shown: Span,
    /// Its colour decision.
    pub cdl: Option<Cdl<f64>>,
}

/// A running order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timeline {
    /// Its name.
    pub name: String,
    /// The programme's first frame and rate.
    pub start: Option<(f64, f64)>,
    /// The order.
    pub items: Vec<Item>,
    /// What was left out.
    pub notes: Vec<String>,
}

#[derive(Deserialize)]
struct RawTime {
    value: f64,
    rate: f64,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(try_from = "RawTime")]
struct Time {
    value: f64,
    rate: f64,
}

impl TryFrom<RawTime> for Time {
    type Error = String;
    fn try_from(raw: RawTime) -> Result<Self, String> {
        let RawTime { value, rate } = raw;
        if value.abs() < 1e12 && rate > 0.0 && rate < 1e6 {
            return Ok(Self { value, rate });
        }
        Err(format!("a RationalTime of {value} at {rate}; accepted: a finite value at a rate above 0"))
    }
}

#[derive(Deserialize)]
struct RawRange {
    start_time: Option<Time>,
    duration: Time,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(try_from = "RawRange")]
struct Range(Span);

impl TryFrom<RawRange> for Range {
    type Error = String;
    fn try_from(raw: RawRange) -> Result<Self, String> {
        let start = raw.start_time.unwrap_or(Time { value: 0.0, rate: raw.duration.rate });
        if raw.duration.value < 0.0 {
            return Err(format!("a duration of {}; accepted: 0 or more", raw.duration.value));
        }
        // The range counts in its start's frames.
        let length = raw.duration.value * start.rate / raw.duration.rate;
        Ok(Self(Span { start: start.value, length, rate: start.rate }))
    }
}

/// Any object: the fields that are of use here.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Raw {
    #[serde(rename = "OTIO_SCHEMA")]
    schema: Option<String>,
    name: Option<String>,
    kind: Option<String>,
    tracks: Option<Box<Node>>,
    children: Option<Vec<Node>>,
    source_range: Option<Range>,
    available_range: Option<Range>,
    global_start_time: Option<Time>,
    media_reference: Option<Box<Node>>,
    media_references: Option<BTreeMap<String, Node>>,
    active_media_reference_key: Option<String>,
    target_url: Option<String>,
    target_url_base: Option<String>,
    name_prefix: Option<String>,
    name_suffix: Option<String>,
    metadata: Option<Value>,
    effects: Option<Vec<serde::de::IgnoredAny>>,
    enabled: Option<bool>,
}

#[derive(Deserialize)]
#[serde(try_from = "Raw")]
struct Node(Raw);

impl TryFrom<Raw> for Node {
    type Error = String;
    fn try_from(raw: Raw) -> Result<Self, String> {
        let named = raw.schema.as_deref().is_some_and(|s| s.contains('.'));
        if !named {
            let found = raw.schema.as_deref().map_or("none".to_owned(), excerpt);
            return Err(format!(
                "an object whose OTIO_SCHEMA is {found}; accepted: a name and a version, as in Clip.2"
            ));
        }
        if raw.children.as_ref().is_some_and(|c| c.len() > MOST_ITEMS) {
            return Err(format!("more than {MOST_ITEMS} children; accepted: {MOST_ITEMS}"));
        }
        Ok(Self(raw))
    }
}

impl Node {
    /// The schema without its version.
    fn is(&self, name: &str) -> bool {
        self.schema().split('.').next() == Some(name)
    }

    fn schema(&self) -> &str {
        self.0.schema.as_deref().unwrap_or_default()
    }

    fn name(&self) -> String {
        self.0.name.clone().unwrap_or_default()
    }
}

/// The decision that an object's metadata holds, if it does and is one.
fn decision(metadata: Option<&Value>) -> Option<Cdl<f64>> {
    let cdl = metadata?.get("cdl")?;
    let three = |name: &str| -> Option<[f64; 3]> {
        let all: Option<Vec<f64>> =
            cdl.get("asc_sop")?.get(name)?.as_array()?.iter().map(Value::as_f64).collect();
        all?.try_into().ok()
    };
    let sop = cdl.get("asc_sop").is_some();
    let saturation = match cdl.get("asc_sat") {
        Some(s) => s.as_f64()?,
        None if sop => 1.0,
        None => return None,
    };
    let found = match sop {
        true => Cdl { slope: three("slope")?, offset: three("offset")?, power: three("power")?, saturation },
        false => Cdl { saturation, ..Cdl::IDENTITY },
    };
    super::cdl::check(&found).is_ok().then_some(found)
}

impl Timeline {
    /// Reads a file: a `Timeline`, or a `SerializableCollection` whose first timeline is taken.
    ///
    /// # Errors
    /// What is no JSON or no timeline, with its line; a timeline without a video track that holds a clip.
    pub fn read(bytes: &[u8]) -> Result<Self, Error> {
        let text = utf8(bytes)?;
        let root: Node = serde_json::from_str(text).map_err(|e| Error::Value {
            line: e.line().max(1),
            what: "OpenTimelineIO".into(),
            found: e.to_string().chars().take(200).collect(),
            accepted: "JSON of OTIO_SCHEMA objects".into(),
        })?;
        let mut notes = Vec::new();
        let missing = |what: &str, accepted: &str| Error::Missing {
            line: 1,
            what: what.into(),
            accepted: accepted.into(),
        };
        let timeline = if root.is("Timeline") {
            root
        } else {
            let children = root.0.children.unwrap_or_default();
            let more = children.iter().filter(|c| c.is("Timeline")).count();
            if more > 1 {
                notes.push(format!("{} timelines but the first were left out", more - 1));
            }
            let first = children.into_iter().find(|c| c.is("Timeline"));
            first.ok_or_else(|| missing("a Timeline", "one as the root, or in a SerializableCollection"))?
        };
        let name = timeline.name();
        let start = timeline.0.global_start_time.map(|t| (t.value, t.rate));
        let tracks = timeline.0.tracks.and_then(|t| t.0.children).unwrap_or_default();
        let mut chosen = None;
        for track in tracks {
            let video = track.0.kind.as_deref().is_none_or(|k| k.eq_ignore_ascii_case("video"));
            let has = track.0.children.as_ref().is_some_and(|c| c.iter().any(|c| c.is("Clip")));
            if chosen.is_none() && video && has && track.is("Track") {
                chosen = Some(track);
            } else {
                let kind = track.0.kind.as_deref().unwrap_or("no kind").to_owned();
                notes.push(format!("the track {} ({kind}) was left out", excerpt(&track.name())));
            }
        }
        let track = chosen
            .ok_or_else(|| missing("a video track with a clip", "a Track of kind Video that holds a Clip"))?;
        let mut read = Self { name, start, items: Vec::new(), notes };
        for child in track.0.children.unwrap_or_default() {
            read.item(child)?;
        }
        read.notes.truncate(1000);
        Ok(read)
    }

    fn item(&mut self, node: Node) -> Result<(), Error> {
        let name = node.name();
        if node.is("Gap") {
            let nothing = Span { start: 0.0, length: 0.0, rate: 24.0 };
            self.items.push(Item::Gap(node.0.source_range.map_or(nothing, |r| r.0)));
            return Ok(());
        }
        if !node.is("Clip") || node.0.enabled == Some(false) {
            let why = if node.is("Clip") { ", which is switched off," } else { "" };
            self.notes.push(format!("{} {}{why} was left out", node.schema(), excerpt(&name)));
            return Ok(());
        }
        if node.0.effects.as_ref().is_some_and(|e| !e.is_empty()) {
            self.notes.push(format!("the effects of {} were left out", excerpt(&name)));
        }
        let cdl = decision(node.0.metadata.as_ref());
        let key = node.0.active_media_reference_key.unwrap_or_else(|| "DEFAULT_MEDIA".to_owned());
        let reference = match (node.0.media_reference, node.0.media_references) {
            (Some(one), _) => Some(*one),
            (None, Some(mut all)) => all.remove(&key).or_else(|| all.pop_first().map(|(_, v)| v)),
            (None, None) => None,
        };
        let available = reference.as_ref().and_then(|r| r.0.available_range).map(|r| r.0);
        let media = reference.and_then(|r| {
            let parts = (r.0.target_url_base, r.0.name_prefix, r.0.name_suffix);
            r.0.target_url.or(match parts {
                (Some(base), prefix, suffix) => {
                    let slash = if base.ends_with('/') { "" } else { "/" };
                    Some(format!(
                        "{base}{slash}{}####{}",
                        prefix.unwrap_or_default(),
                        suffix.unwrap_or_default()
                    ))
                }
                _ => None,
            })
        });
        let Some(shown) = node.0.source_range.map(|r| r.0).or(available) else {
            self.notes.push(format!("the clip {} has no range and was left out", excerpt(&name)));
            return Ok(());
        };
        self.items.push(Item::Clip(Clip { name, media, available, shown, cdl }));
        Ok(())
    }

    /// The file's text, in the schemas that version 0.15 and later of the project's library write (`Clip.2`).
    ///
    /// # Errors
    /// [`Error::Invalid`] for a rate of 0 or numbers that are not finite.
    pub fn write(&self) -> Result<String, Error> {
        let time = |value: f64, rate: f64| -> Result<Value, Error> {
            if !(value.is_finite() && rate.is_finite() && rate > 0.0) {
                return Err(Error::invalid(
                    "RationalTime",
                    format!("{value} at {rate}"),
                    "a finite value, a rate above 0",
                ));
            }
            Ok(json!({"OTIO_SCHEMA": "RationalTime.1", "rate": rate, "value": value}))
        };
        let range = |s: &Span| -> Result<Value, Error> {
            let (start, length) = (time(s.start, s.rate)?, time(s.length, s.rate)?);
            Ok(json!({"OTIO_SCHEMA": "TimeRange.1", "duration": length, "start_time": start}))
        };
        let mut children = Vec::new();
        for item in &self.items {
            children.push(match item {
                Item::Gap(span) => json!({
                    "OTIO_SCHEMA": "Gap.1", "metadata": {}, "name": "", "source_range": range(span)?, "effects": [],
                    "markers": [], "enabled": true,
                }),
                Item::Clip(clip) => {
                    let metadata = clip.cdl.map_or(json!({}), |c| {
                        json!({"cdl": {
                            "asc_sop": {"slope": c.slope, "offset": c.offset, "power": c.power},
                            "asc_sat": c.saturation,
                        }})
                    });
                    let available = clip.available.as_ref().map(range).transpose()?;
                    let reference = match &clip.media {
                        Some(url) => json!({
                            "OTIO_SCHEMA": "ExternalReference.1", "metadata": {}, "name": "",
                            "available_range": available, "available_image_bounds": null, "target_url": url,
                        }),
                        None => json!({
                            "OTIO_SCHEMA": "MissingReference.1", "metadata": {}, "name": "",
                            "available_range": available, "available_image_bounds": null,
                        }),
                    };
                    json!({
                        "OTIO_SCHEMA": "Clip.2", "metadata": metadata, "name": clip.name,
                        "source_range": range(&clip.shown)?, "effects": [], "markers": [], "enabled": true,
                        "media_references": {"DEFAULT_MEDIA": reference},
                        "active_media_reference_key": "DEFAULT_MEDIA",
                    })
                }
            });
        }
        let start = self.start.map(|(value, rate)| time(value, rate)).transpose()?;
        let timeline = json!({
            "OTIO_SCHEMA": "Timeline.1", "metadata": {}, "name": self.name, "global_start_time": start,
            "tracks": {
                "OTIO_SCHEMA": "Stack.1", "metadata": {}, "name": "tracks", "source_range": null, "effects": [],
                "markers": [], "enabled": true,
                "children": [{
                    "OTIO_SCHEMA": "Track.1", "metadata": {}, "name": "V", "source_range": null, "effects": [],
                    "markers": [], "enabled": true, "kind": "Video", "children": children,
                }],
            },
        });
        Ok(format!("{timeline:#}\n"))
    }
}
