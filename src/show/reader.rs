//! Reading TOML so that every complaint has a line and says what would be right.

use std::path::Path;
use std::sync::Arc;

use toml::de::{DeTable, DeValue};

use super::ShowError;
use super::lut_file::{load_lut, load_lut_as, refusal, scene_ids};
use crate::colour::{Space, space};
use crate::look::{Intent, Kind, NamedLut, Parameter, STAGES, Stage};

/// What is done about the tables that a text names.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Tables {
    /// They are read.
    Read,
    /// Their files have to be there; nothing is read.
    Seek,
    /// Nothing: they are at hand, and their files need not be.
    Leave,
}

/// The text being read.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub file: &'a Path,
    pub text: &'a str,
    /// What is done about the tables that it names.
    pub tables: Tables,
}

impl Source<'_> {
    /// A complaint about what stands at byte `at`.
    pub fn wrong(&self, at: usize, what: impl Into<String>, accepted: impl Into<String>) -> ShowError {
        ShowError::Text {
            file: self.file.to_owned(),
            line: line_at(self.text.as_bytes(), at),
            what: what.into(),
            accepted: accepted.into(),
        }
    }

    /// The text as tables, and a version checked to be at most `version`.
    pub fn with_tables<T>(
        self,
        version: u64,
        read: impl FnOnce(Table<'_>) -> Result<T, ShowError>,
    ) -> Result<T, ShowError> {
        let tables = DeTable::parse(self.text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start);
            self.wrong(at, format!("this is not TOML: {}", e.message().replace('\n', "; ")), "TOML 1.0")
        })?;
        let root = Table { source: self, at: 0, name: "the file".to_owned(), table: tables.get_ref() };
        let (at, found) = root.whole("version", u64::MAX)?;
        if found > version {
            let line = line_at(self.text.as_bytes(), at);
            return Err(ShowError::Newer { file: self.file.to_owned(), line, found, reads: version });
        }
        if found == 0 {
            return Err(self.wrong(at, "version is 0", format!("1 to {version}")));
        }
        read(root)
    }
}

/// The line, from 1, that byte `at` is in.
fn line_at(text: &[u8], at: usize) -> usize {
    1 + text[..at.min(text.len())].iter().filter(|&&b| b == b'\n').count()
}

/// Reads a whole file as text.
pub(super) fn read_text(path: &Path) -> Result<String, ShowError> {
    let io = |source| ShowError::Io { doing: "read", path: path.to_owned(), source };
    String::from_utf8(std::fs::read(path).map_err(io)?).map_err(|e| ShowError::Text {
        file: path.to_owned(),
        line: line_at(e.as_bytes(), e.utf8_error().valid_up_to()),
        what: "this is not UTF-8 text".to_owned(),
        accepted: "TOML 1.0, which is UTF-8".to_owned(),
    })
}

/// One table, with its place and its name for messages.
pub(super) struct Table<'a> {
    pub source: Source<'a>,
    pub at: usize,
    name: String,
    table: &'a DeTable<'a>,
}

impl<'a> Table<'a> {
    /// Refuses the first key that is not one of `keys`.
    pub fn only(&self, keys: &[&str]) -> Result<(), ShowError> {
        let unknown = self.table.iter().filter(|(key, _)| !keys.contains(&key.get_ref().as_ref()));
        match unknown.min_by_key(|(key, _)| key.span().start) {
            None => Ok(()),
            Some((key, _)) => {
                let what = format!("{} has no key {:?}", self.name, key.get_ref());
                Err(self.source.wrong(key.span().start, what, keys.join(", ")))
            }
        }
    }

    /// A key's value and place.
    fn get(&self, key: &str) -> Option<(usize, &'a DeValue<'a>)> {
        self.table.get(key).map(|v| (v.span().start, v.get_ref()))
    }

    /// Is a key there?
    pub fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    fn missing(&self, key: &str, accepted: &str) -> ShowError {
        self.source.wrong(self.at, format!("{} lacks {key}", self.name), format!("{key} = {accepted}"))
    }

    /// A text, if it is there, and its place.
    pub fn text_or_none(&self, key: &str, accepted: &str) -> Result<Option<(usize, &'a str)>, ShowError> {
        match self.get(key) {
            None => Ok(None),
            Some((at, DeValue::String(text))) => Ok(Some((at, text))),
            Some((at, other)) => Err(self.source.wrong(at, format!("{key} is {}", shown(other)), accepted)),
        }
    }

    /// A text that must be there, and its place.
    pub fn text(&self, key: &str, accepted: &str) -> Result<(usize, &'a str), ShowError> {
        self.text_or_none(key, accepted)?.ok_or_else(|| self.missing(key, accepted))
    }

    /// A text and its place, if it is there and is one.
    pub fn text_if_it_is_one(&self, key: &str) -> Option<(usize, &'a str)> {
        match self.get(key) {
            Some((at, DeValue::String(text))) => Some((at, text)),
            _ => None,
        }
    }

    /// Every key and its place, in the file's order.
    pub fn keys(&self) -> Vec<(usize, &'a str)> {
        let mut keys: Vec<_> =
            self.table.iter().map(|(k, _)| (k.span().start, k.get_ref().as_ref())).collect();
        keys.sort_unstable();
        keys
    }

    /// A number in a range that must be there, and its place.
    pub fn number(
        &self,
        key: &str,
        range: std::ops::RangeInclusive<f64>,
        accepted: &str,
    ) -> Result<(usize, f64), ShowError> {
        let (at, value) = self.get(key).ok_or_else(|| self.missing(key, accepted))?;
        match number(value) {
            Some(n) if range.contains(&n) => Ok((at, n)),
            _ => Err(self.source.wrong(at, format!("{key} is {}", shown(value)), accepted)),
        }
    }

    /// CIE x and y that must be there.
    pub fn point(&self, key: &str) -> Result<[f64; 2], ShowError> {
        const ACCEPTED: &str = "[x, y], each from -1 to 2";
        let (at, value) = self.get(key).ok_or_else(|| self.missing(key, ACCEPTED))?;
        let wrong = || self.source.wrong(at, format!("{key} is {}", shown(value)), ACCEPTED);
        let DeValue::Array(items) = value else { return Err(wrong()) };
        let numbers: Vec<f64> =
            items.iter().filter_map(|i| number(i.get_ref()).filter(|n| (-1.0..=2.0).contains(n))).collect();
        match (numbers.as_slice(), items.len()) {
            (&[x, y], 2) => Ok([x, y]),
            _ => Err(wrong()),
        }
    }

    /// A text or a list of texts; none when it is not there.
    pub fn text_or_texts(&self, key: &str, accepted: &str) -> Result<Vec<String>, ShowError> {
        let Some((at, value)) = self.get(key) else { return Ok(Vec::new()) };
        let text = |value: &DeValue<'_>| match value {
            DeValue::String(text) => Some(text.to_string()),
            _ => None,
        };
        let texts = match value {
            DeValue::Array(items) => items.iter().map(|i| text(i.get_ref())).collect(),
            one => text(one).map(|text| vec![text]),
        };
        texts.ok_or_else(|| self.source.wrong(at, format!("{key} is {}", shown(value)), accepted))
    }

    /// What `find` finds for a text, if it is there.
    pub fn word_or_none<T>(
        &self,
        key: &str,
        accepted: &str,
        find: impl FnOnce(&str) -> Option<T>,
    ) -> Result<Option<T>, ShowError> {
        let Some((at, text)) = self.text_or_none(key, accepted)? else {
            return Ok(None);
        };
        let found =
            find(text).ok_or_else(|| self.source.wrong(at, format!("{key} is {text:?}"), accepted))?;
        Ok(Some(found))
    }

    /// What `find` finds for a text that must be there.
    pub fn word<T>(
        &self,
        key: &str,
        accepted: &str,
        find: impl FnOnce(&str) -> Option<T>,
    ) -> Result<T, ShowError> {
        self.word_or_none(key, accepted, find)?.ok_or_else(|| self.missing(key, accepted))
    }

    /// A whole number from 0 to `most` that must be there, and its place.
    pub fn whole(&self, key: &str, most: u64) -> Result<(usize, u64), ShowError> {
        let accepted = if most == u64::MAX {
            "a whole number from 0".to_owned()
        } else {
            format!("a whole number from 0 to {most}")
        };
        let (at, value) = self.get(key).ok_or_else(|| self.missing(key, &accepted))?;
        let number = match value {
            DeValue::Integer(i) => u64::from_str_radix(i.as_str(), i.radix()).ok().filter(|&n| n <= most),
            _ => None,
        };
        match number {
            Some(number) => Ok((at, number)),
            None => Err(self.source.wrong(at, format!("{key} is {}", shown(value)), accepted)),
        }
    }

    /// `true` or `false`; `default` when it is not there.
    pub fn flag(&self, key: &str, default: bool) -> Result<bool, ShowError> {
        match self.get(key) {
            None => Ok(default),
            Some((_, DeValue::Boolean(b))) => Ok(*b),
            Some((at, other)) => {
                Err(self.source.wrong(at, format!("{key} is {}", shown(other)), "true or false"))
            }
        }
    }

    /// A parameter's value under its own key or another; its default when it is not there.
    pub fn parameter(&self, key: &str, parameter: &Parameter) -> Result<f64, ShowError> {
        let Some((at, value)) = self.get(key) else {
            return Ok(parameter.default);
        };
        let names = parameter.choices();
        if !names.is_empty() {
            return match value {
                DeValue::String(text) => names.iter().position(|n| n == text).map(|i| i as f64),
                _ => None,
            }
            .ok_or_else(|| self.source.wrong(at, format!("{key} is {}", shown(value)), names.join(", ")));
        }
        match number(value) {
            // Held as well, since the two ends of a circle are one value.
            Some(n) if (parameter.min..=parameter.max).contains(&n) => Ok(parameter.held(n)),
            _ => {
                let accepted = format!("a number from {} to {}", parameter.min, parameter.max);
                Err(self.source.wrong(at, format!("{key} is {}", shown(value)), accepted))
            }
        }
    }

    /// A table inside this one, if it is there. `name` is for messages.
    pub fn table(&self, key: &str, name: &str) -> Result<Option<Table<'a>>, ShowError> {
        let table = self.table_or(key, &format!("a table {name}"))?;
        Ok(table.map(|table| Table { name: name.to_owned(), ..table }))
    }

    /// A table inside this one, if it is there; what else could stand there is `accepted`.
    pub fn table_or(&self, key: &str, accepted: &str) -> Result<Option<Table<'a>>, ShowError> {
        match self.get(key) {
            None => Ok(None),
            Some((at, DeValue::Table(table))) => {
                Ok(Some(Table { source: self.source, at, name: key.to_owned(), table }))
            }
            Some((at, other)) => Err(self.source.wrong(at, format!("{key} is {}", shown(other)), accepted)),
        }
    }

    /// A table inside this one that must be there.
    pub fn need_table(&self, key: &str, name: &str) -> Result<Table<'a>, ShowError> {
        self.table(key, name)?.ok_or_else(|| {
            self.source.wrong(self.at, format!("{} lacks {name}", self.name), format!("a table {name}"))
        })
    }

    /// A list of tables; none when it is not there. `name` is for messages.
    pub fn tables(&self, key: &str, name: &str) -> Result<Vec<Table<'a>>, ShowError> {
        let Some((at, value)) = self.get(key) else {
            return Ok(Vec::new());
        };
        let wrong = |at, value: &DeValue<'_>| {
            self.source.wrong(at, format!("{key} is {}", shown(value)), format!("tables {name}"))
        };
        let DeValue::Array(items) = value else {
            return Err(wrong(at, value));
        };
        items
            .iter()
            .map(|item| match item.get_ref() {
                DeValue::Table(table) => {
                    Ok(Table { source: self.source, at: item.span().start, name: name.to_owned(), table })
                }
                other => Err(wrong(item.span().start, other)),
            })
            .collect()
    }

    /// A list of texts with their places; none when it is not there.
    pub fn texts(&self, key: &str) -> Result<Vec<(usize, &'a str)>, ShowError> {
        let Some((at, value)) = self.get(key) else { return Ok(Vec::new()) };
        let wrong = |at, value: &DeValue<'_>| {
            self.source.wrong(at, format!("{key} is {}", shown(value)), "a list of texts, as in [\"night\"]")
        };
        let DeValue::Array(items) = value else { return Err(wrong(at, value)) };
        let one = |item: &'a toml::Spanned<DeValue<'a>>| match item.get_ref() {
            DeValue::String(text) => Ok((item.span().start, text.as_ref())),
            other => Err(wrong(item.span().start, other)),
        };
        items.iter().map(one).collect()
    }

    /// What it says that a look means to do with colour.
    pub fn intent(&self) -> Result<Option<Intent>, ShowError> {
        self.word_or_none("intent", &Intent::ALL.map(Intent::id).join(", "), Intent::named)
    }

    /// This table as a stage.
    pub fn stage(&self) -> Result<Stage, ShowError> {
        let keys: Vec<_> = STAGES.iter().map(|d| d.key).collect();
        let kind: Kind = self.word("stage", &keys.join(", "), crate::look::stage)?;
        let declaration = kind.declaration();
        let mut keys = vec!["stage", "on", "strength"];
        if declaration.table {
            keys.extend(["file", "expects", "gives"]);
        }
        keys.extend(declaration.parameters.iter().map(|p| p.key));
        self.only(&keys)?;
        Ok(Stage {
            kind,
            on: self.flag("on", true)?,
            strength: self.parameter("strength", &declaration.strength)?,
            values: declaration
                .parameters
                .iter()
                .map(|p| self.parameter(p.key, p))
                .collect::<Result<_, _>>()?,
            lut: if declaration.table { self.lut()? } else { None },
        })
    }

    /// The table of the file that this table names, if such are read.
    fn lut(&self) -> Result<Option<NamedLut>, ShowError> {
        let said = [self.side("expects")?, self.side("gives")?];
        let files = "a .cube or .clf file: absolute, or relative to this file's folder";
        let Some((at, file)) = self.text_or_none("file", files)? else {
            return Ok(None);
        };
        let folder = self.source.file.parent().unwrap_or(Path::new(""));
        match self.source.tables {
            Tables::Read => {}
            Tables::Leave => return Ok(None),
            Tables::Seek => {
                let path = folder.join(file);
                return match std::fs::metadata(&path) {
                    Ok(_) => Ok(None),
                    Err(e) => Err(self.unreadable(at, &path, &e, files)),
                };
            }
        }
        match load_lut_as(folder, Path::new(file), said) {
            Ok(lut) => match lut.for_display() {
                None => Ok(Some(lut)),
                // A side that a person names is refused by now: the file itself says so.
                Some((side, space)) => {
                    let (what, accepted) = refusal(side, space);
                    Err(self.source.wrong(at, format!("{file}: {what}"), accepted))
                }
            },
            Err(ShowError::Io { path, source, .. }) => Err(self.unreadable(at, &path, &source, files)),
            Err(e) => Err(e),
        }
    }

    /// A complaint about a file that is named at `at`.
    pub fn unreadable(&self, at: usize, path: &Path, why: &std::io::Error, accepted: &str) -> ShowError {
        self.source.wrong(at, format!("{} could not be read: {why}", path.display()), accepted)
    }

    /// The table of a `.cube` file that this table names at `at`, for what is said elsewhere; an empty one where files
    /// are not read.
    pub fn cube(&self, at: usize, file: &str) -> Result<NamedLut, ShowError> {
        const CUBES: &str = "a .cube file: absolute, or relative to this file's folder";
        let path = Path::new(file);
        if path.extension().is_none_or(|e| !e.eq_ignore_ascii_case("cube")) {
            return Err(self.source.wrong(at, format!("{file:?} is no .cube file"), CUBES));
        }
        if self.source.tables != Tables::Read {
            return Ok(NamedLut::new(path, Arc::default()));
        }
        load_lut(self.source.file.parent().unwrap_or(Path::new("")), path).map_err(|e| match e {
            ShowError::Io { path, source, .. } => self.unreadable(at, &path, &source, CUBES),
            e => e,
        })
    }

    /// What a LUT is said to expect or give.
    fn side(&self, key: &str) -> Result<Option<Space>, ShowError> {
        let Some(space) = self.word_or_none(key, &scene_ids(), space)? else { return Ok(None) };
        if space.scene().is_none() {
            let (what, accepted) = refusal(key, space);
            let at = self.get(key).map_or(self.at, |(at, _)| at);
            return Err(self.source.wrong(at, what, accepted));
        }
        Ok(Some(space))
    }
}

/// A value that is a number; it may be none that counts, as TOML has those too.
fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(i) => i128::from_str_radix(i.as_str(), i.radix()).ok().map(|n| n as f64),
        DeValue::Float(f) => f.as_str().parse::<f64>().ok(),
        _ => None,
    }
}

/// A value as a message shows it.
fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("{text:?}"),
        DeValue::Integer(i) => i.to_string(),
        DeValue::Float(f) => f.to_string(),
        DeValue::Boolean(b) => b.to_string(),
        DeValue::Datetime(d) => d.to_string(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
