//! Limits: data, in `configs/check.toml` or in a file of the user's own.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use toml::Spanned;

use super::report::{Declared, rows};
use super::shots::shot_rows;
use crate::look::Intent;

/// What a row's value is held to.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, serde::Serialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limit {
    /// The value is no less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least: Option<f64>,
    /// The value is no more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<f64>,
    /// The value is more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub above: Option<f64>,
    /// Over it the report advises, and the look does not fail.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub advice: bool,
    /// The value is told and not judged.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub told: bool,
    /// Where the limit comes from, or why the row is not judged.
    pub why: String,
}

impl Limit {
    /// Does a value keep it?
    pub fn holds(&self, value: f64) -> bool {
        !value.is_nan()
            && self.least.is_none_or(|l| value >= l)
            && self.most.is_none_or(|l| value <= l)
            && self.above.is_none_or(|l| value > l)
    }

    /// In words; empty for a row that is not judged.
    pub fn text(&self) -> String {
        match (self.least, self.most, self.above) {
            _ if self.told => String::new(),
            (Some(l), Some(m), _) if l == -m => format!("within ±{}", short(m)),
            (Some(l), Some(m), _) if l == m => short(m),
            (Some(l), Some(m), _) => format!("{} to {}", short(l), short(m)),
            (Some(l), None, _) => format!("≥ {}", short(l)),
            (None, Some(m), _) => format!("≤ {}", short(m)),
            (None, None, Some(a)) => format!("> {}", short(a)),
            (None, None, None) => String::new(),
        }
    }
}

/// At most three decimals.
fn short(x: f64) -> String {
    let text = format!("{x:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// What is wrong with a file of limits.
#[derive(Debug, thiserror::Error)]
#[error("{}:{line}: {what}; accepted: {accepted}", file.display())]
pub struct LimitsError {
    /// The file, as given.
    pub file: PathBuf,
    /// Line, from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub accepted: String,
}

type Table = BTreeMap<Spanned<String>, Limit>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    version: Spanned<u32>,
    limit: Table,
    #[serde(default)]
    intent: BTreeMap<Spanned<String>, Table>,
    #[serde(default)]
    dimensions: BTreeMap<Spanned<String>, Table>,
    #[serde(default)]
    shots: Table,
}

/// The limits of all rows, and what intents and dimensions change about them.
#[derive(Clone, Debug)]
pub struct Limits {
    all: BTreeMap<String, Limit>,
    intents: BTreeMap<String, BTreeMap<String, Limit>>,
    dimensions: BTreeMap<String, BTreeMap<String, Limit>>,
    shots: BTreeMap<String, Limit>,
}

/// The text of the limits that come with the program.
const SHIPPED: &str = include_str!("../../configs/check.toml");

impl Limits {
    /// Those that come with the program.
    pub fn shipped() -> Self {
        // A test reads them.
        Self::read(SHIPPED, Path::new("configs/check.toml")).expect("the limits that come along can be read")
    }

    /// The limits of a text. `file` is for messages.
    ///
    /// # Errors
    /// [`LimitsError`] with the line, for what is not TOML, for unknown keys, and for limits that say nothing.
    pub fn read(text: &str, file: &Path) -> Result<Self, LimitsError> {
        let wrong = |at: usize, what: String, accepted: String| LimitsError {
            file: file.to_owned(),
            line: 1 + text.as_bytes()[..at.min(text.len())].iter().filter(|b| **b == b'\n').count(),
            what,
            accepted,
        };
        let read: File = toml::from_str(text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start);
            wrong(at, e.message().replace('\n', "; "), "as in configs/check.toml".into())
        })?;
        if *read.version.get_ref() != 1 {
            let what = format!("version is {}", read.version.get_ref());
            return Err(wrong(read.version.span().start, what, "1".into()));
        }
        let table = |table: Table, rows: &[&Declared]| {
            let mut out = BTreeMap::new();
            for (key, limit) in table {
                let at = key.span().start;
                let key = key.into_inner();
                if !rows.iter().any(|r| r.key == key) {
                    let keys: Vec<_> = rows.iter().map(|r| r.key).collect();
                    return Err(wrong(at, format!("nothing is measured as {key:?}"), keys.join(", ")));
                }
                let numbers = [limit.least, limit.most, limit.above];
                let given = numbers.iter().flatten().count();
                if given == 0 && !limit.told || given > 0 && limit.told {
                    let what = format!("{key} has {given} limits and told = {}", limit.told);
                    return Err(wrong(at, what, "least, most or above; or told = true".into()));
                }
                if numbers.iter().flatten().any(|x| x.is_nan()) {
                    return Err(wrong(at, format!("{key} is held to no number"), "numbers".into()));
                }
                out.insert(key, limit);
            }
            Ok(out)
        };
        let of_looks: Vec<&Declared> = rows().collect();
        let of_shots: Vec<&Declared> = shot_rows().collect();
        let group = |named: BTreeMap<Spanned<String>, Table>, known: &[&str]| {
            let mut out = BTreeMap::new();
            for (name, rows) in named {
                if !known.contains(&name.get_ref().as_str()) {
                    return Err(wrong(
                        name.span().start,
                        format!("{:?} is unknown", name.get_ref()),
                        known.join(", "),
                    ));
                }
                out.insert(name.into_inner(), table(rows, &of_looks)?);
            }
            Ok(out)
        };
        Ok(Self {
            all: table(read.limit, &of_looks)?,
            intents: group(read.intent, &Intent::ALL.map(Intent::id))?,
            dimensions: group(read.dimensions, &["0", "1", "2"])?,
            shots: table(read.shots, &of_shots)?,
        })
    }

    /// The limit of a row that is measured of shots. None: it is told and not judged.
    pub fn of_shots(&self, key: &str) -> Option<&Limit> {
        self.shots.get(key)
    }

    /// The limit of a row for a look of that intent, whose colours spread over that many dimensions: the intent's,
    /// else the dimensions', else the one for all. None: it is told and not judged.
    pub fn of(&self, key: &str, intent: Option<Intent>, dimensions: usize) -> Option<&Limit> {
        let own = intent.and_then(|i| self.intents.get(i.id())).and_then(|t| t.get(key));
        let flat = || self.dimensions.get(&dimensions.to_string()).and_then(|t| t.get(key));
        own.or_else(flat).or_else(|| self.all.get(key))
    }
}
