//! What the desk remembers of its windows for a user, whatever show is open: a small TOML file.
//!
//! A file that cannot be used costs what it says, never more: what is wrong in it stays as it is made, with a word about it.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use toml::Table;

use super::panes::{Layout, Pane, ScopeSettings};
use super::surround::{Surround, View};
use crate::scope::marks::Scale;
use crate::show::write_atomically;

/// How long nothing has changed before it is saved.
const REST: Duration = Duration::from_secs(1);

/// Everything that is remembered.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Remembered {
    pub view: View,
    pub layout: Layout,
    pub scopes: ScopeSettings,
}

impl Remembered {
    /// As a file holds it.
    pub fn text(&self) -> String {
        let mut out = "# What Greyhold's desk remembers of its windows. It is written anew when something changes there.\n\
             # text: percent. surround: percent of the display's white. Sizes: points, none where they are as made.\n\
             version = 1\n"
            .to_owned();
        let mut line = |key: &str, value: String| out.push_str(&format!("{key} = {value}\n"));
        line("text", self.view.text.to_string());
        line("surround", self.view.surround.percent().to_string());
        line("picture-only", self.layout.picture_only.to_string());
        for pane in Pane::ALL {
            out.push_str(&format!("\n[panes.{}]\nshown = {}\n", pane.key(), self.layout.shown(pane)));
            if let Some(size) = self.layout.size(pane) {
                out.push_str(&format!("size = {size:.1}\n"));
            }
        }
        let s = &self.scopes;
        out.push_str(&format!(
            "\n[scopes]\nparade = {}\nscale = {:?}\nshadows = {}\nbrightness = {:?}\nzoom = {:?}\n",
            s.parade,
            s.scale.name(),
            s.shadows,
            s.brightness,
            s.zoom
        ));
        out
    }

    /// What a text says, and what is wrong in it: that stays as it is made.
    pub fn read(text: &str) -> (Self, Vec<String>) {
        let mut out = Self::default();
        let root = match text.parse::<Table>() {
            Ok(root) => Reader { at: String::new(), table: Some(root), wrong: Vec::new() },
            Err(e) => return (out, vec![format!("this is not TOML: {}", e.message().replace('\n', "; "))]),
        };
        let mut root = root;
        if root.number("version", 1.0..=1.0, "1") != Some(1.0) {
            if root.wrong.is_empty() {
                root.wrong.push("version is missing; accepted: 1".to_owned());
            }
            return (out, root.wrong);
        }
        let sizes = View::TEXTS.map(|t| t.to_string()).join(", ");
        if let Some(text) = root.number("text", 0.0..=1000.0, &sizes) {
            match View::TEXTS.iter().find(|t| f64::from(**t) == text) {
                Some(text) => out.view.text = *text,
                None => root.wrong.push(format!("text is {text}; accepted: {sizes}")),
            }
        }
        let levels = Surround::ALL.map(|s| s.percent().to_string()).join(", ");
        if let Some(percent) = root.number("surround", 0.0..=100.0, &levels) {
            match Surround::ALL.into_iter().find(|s| f64::from(s.percent()) == percent) {
                Some(surround) => out.view.surround = surround,
                None => root.wrong.push(format!("surround is {percent}; accepted: {levels}")),
            }
        }
        out.layout.picture_only = root.flag("picture-only").unwrap_or(false);
        let mut panes = root.under("panes");
        for pane in Pane::ALL {
            let mut about = panes.under(pane.key());
            if let Some(shown) = about.flag("shown") {
                out.layout.show(pane, shown);
            }
            let (least, most) = pane.range();
            let accepted = format!("{least} to {most}");
            let size = about.number("size", f64::from(least)..=f64::from(most), &accepted);
            out.layout.set_size(pane, size.map(|s| s as f32));
            panes.wrong.extend(about.wrong);
        }
        let mut scopes = root.under("scopes");
        let settings = &mut out.scopes;
        settings.parade = scopes.flag("parade").unwrap_or(settings.parade);
        settings.shadows = scopes.flag("shadows").unwrap_or(settings.shadows);
        let names = Scale::ALL.map(Scale::name).join(", ");
        if let Some(name) = scopes.text("scale", &names) {
            match Scale::ALL.into_iter().find(|s| s.name() == name) {
                Some(scale) => settings.scale = scale,
                None => scopes.wrong.push(format!("scopes.scale is {name:?}; accepted: {names}")),
            }
        }
        if let Some(by) = scopes.number("brightness", 0.125..=32.0, "0.125 to 32") {
            settings.brightness = by as f32;
        }
        if let Some(by) = scopes.number("zoom", 1.0..=4.0, "1 to 4") {
            settings.zoom = by as f32;
        }
        let mut wrong = root.wrong;
        wrong.extend(panes.wrong.into_iter().chain(scopes.wrong));
        (out, wrong)
    }
}

/// A table of the file, and what was wrong in it.
struct Reader {
    at: String,
    table: Option<Table>,
    wrong: Vec<String>,
}

impl Reader {
    fn get(&mut self, key: &str) -> Option<(String, toml::Value)> {
        let value = self.table.as_mut()?.remove(key)?;
        Some((format!("{}{key}", self.at), value))
    }

    fn number(&mut self, key: &str, range: std::ops::RangeInclusive<f64>, accepted: &str) -> Option<f64> {
        let (name, value) = self.get(key)?;
        let number = value.as_float().or(value.as_integer().map(|i| i as f64));
        let found = number.filter(|n| range.contains(n));
        if found.is_none() {
            self.wrong.push(format!("{name} is {value}; accepted: {accepted}"));
        }
        found
    }

    fn flag(&mut self, key: &str) -> Option<bool> {
        let (name, value) = self.get(key)?;
        if value.as_bool().is_none() {
            self.wrong.push(format!("{name} is {value}; accepted: true, false"));
        }
        value.as_bool()
    }

    fn text(&mut self, key: &str, accepted: &str) -> Option<String> {
        let (name, value) = self.get(key)?;
        if value.as_str().is_none() {
            self.wrong.push(format!("{name} is {value}; accepted: {accepted}"));
        }
        value.as_str().map(str::to_owned)
    }

    fn under(&mut self, key: &str) -> Self {
        let (at, value) = self.get(key).map_or((String::new(), None), |(at, v)| (at, Some(v)));
        let table = match value {
            Some(toml::Value::Table(table)) => Some(table),
            Some(other) => {
                self.wrong.push(format!("{at} is {other}; accepted: a table [{at}]"));
                None
            }
            None => None,
        };
        Self { at: format!("{at}."), table, wrong: Vec::new() }
    }
}

/// The file, what is in it, and what is to be.
pub(super) struct Memory {
    file: Option<PathBuf>,
    saved: Remembered,
    changed: Option<(Remembered, Instant)>,
    /// Saves go one after the other, the newest last.
    writing: Arc<Mutex<()>>,
}

impl Memory {
    /// What the file says; a line about what is wrong with it. One that is not there says nothing.
    pub fn open(file: Option<PathBuf>) -> (Self, Remembered, Option<String>) {
        let mut note = None;
        let mut found = Remembered::default();
        if let Some(path) = &file {
            match std::fs::read_to_string(path) {
                Ok(text) => {
                    let (read, wrong) = Remembered::read(&text);
                    found = read;
                    note = (!wrong.is_empty())
                        .then(|| format!("{}: {}; that is as it is made", path.display(), wrong.join("; ")));
                }
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
                Err(e) => note = Some(format!("{}: {e}; the desk opens as it is made", path.display())),
            }
        }
        if let Some(note) = &note {
            tracing::warn!("{note}");
        }
        let saved = found.clone();
        (Self { file, saved, changed: None, writing: Arc::default() }, found, note)
    }

    /// Takes in what is to be remembered now. Saves it, on another thread, once it has rested; says when to come again.
    pub fn take(&mut self, now: Remembered, at: Instant) -> Option<Duration> {
        if now == self.saved {
            self.changed = None;
            return None;
        }
        let since = match &self.changed {
            Some((before, since)) if *before == now => *since,
            _ => at,
        };
        self.changed = Some((now, since));
        let left = REST.saturating_sub(at - since);
        if !left.is_zero() {
            return Some(left);
        }
        let (file, writing, text) = (self.file.clone(), self.writing.clone(), self.begin()?);
        rayon::spawn(move || {
            let _one = writing.lock();
            keep(file.as_deref(), &text);
        });
        None
    }

    fn begin(&mut self) -> Option<String> {
        let (now, _) = self.changed.take()?;
        self.saved = now;
        Some(self.saved.text())
    }

    /// Saves what is not saved yet, here and now.
    pub fn finish(&mut self) {
        let text = self.begin();
        let _one = self.writing.lock();
        if let Some(text) = text {
            keep(self.file.as_deref(), &text);
        }
    }
}

fn keep(file: Option<&Path>, text: &str) {
    let Some(file) = file else { return };
    let folder = file.parent().map_or(Ok(()), std::fs::create_dir_all);
    let written = folder
        .map_err(|e| e.to_string())
        .and_then(|()| write_atomically(file, |f| f.write_all(text.as_bytes())).map_err(|e| e.to_string()));
    if let Err(e) = written {
        tracing::warn!("the desk's windows are not remembered: {e}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn other() -> Remembered {
        let mut all = Remembered::default();
        all.view = View { text: 150, surround: Surround::ALL[4] };
        all.layout.picture_only = true;
        all.layout.set_size(Pane::Order, Some(300.5));
        all.layout.set_size(Pane::Scopes, Some(333.0));
        for pane in Pane::ALL {
            let shown = all.layout.shown(pane);
            all.layout.show(pane, !shown);
        }
        all.scopes =
            ScopeSettings { parade: true, scale: Scale::Nits, shadows: true, brightness: 4.0, zoom: 2.0 };
        all
    }

    #[test]
    fn what_is_written_is_read() {
        for all in [Remembered::default(), other()] {
            assert_eq!(Remembered::read(&all.text()), (all, Vec::new()));
        }
    }

    #[test]
    fn what_is_wrong_costs_itself_alone_and_is_said() {
        let text = other().text();
        let cases = [
            ("text = 150", "text = 151", "text is 151; accepted: 100, 125, 150, 200"),
            ("surround = 10", "surround = \"dark\"", "surround is \"dark\"; accepted: 1, 2, 3, 5, 10"),
            ("size = 300.5", "size = -1.0", "panes.running-order.size is -1.0; accepted: 90 to 700"),
            ("scale = \"cd/m²\"", "scale = \"lux\"", "scopes.scale is \"lux\"; accepted: percent, "),
            ("parade = true", "parade = 3", "scopes.parade is 3; accepted: true, false"),
            ("zoom = 2.0", "zoom = nan", "scopes.zoom is nan; accepted: 1 to 4"),
            ("version = 1", "version = 2", "version is 2; accepted: 1"),
        ];
        for (line, instead, says) in cases {
            assert_eq!(text.matches(line).count(), 1, "{line}");
            let (read, wrong) = Remembered::read(&text.replace(line, instead));
            assert_eq!(wrong.len(), 1, "{wrong:?}");
            assert!(wrong[0].starts_with(says), "{wrong:?}");
            assert_ne!(read, other());
            if line != "version = 1" {
                assert_eq!(read.layout.picture_only, true, "{line}");
            }
        }
    }

    /// Whatever is in the file, there is a desk.
    #[test]
    fn a_broken_file_is_no_more_than_a_warning() {
        let whole = other().text();
        for cut in 0..whole.len() {
            if let Some(part) = whole.get(..cut) {
                Remembered::read(part);
            }
        }
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("greyhold/desk.toml");
        let (mut memory, found, note) = Memory::open(Some(file.clone()));
        assert_eq!((found, note), (Remembered::default(), None));
        let start = Instant::now();
        assert_eq!(memory.take(other(), start), Some(REST));
        assert!(!file.exists());
        assert_eq!(memory.take(other(), start + REST / 2), Some(REST / 2));
        memory.finish();
        assert_eq!(Memory::open(Some(file.clone())).1, other());
        for bytes in [&b"\xff\xfe"[..], b"[[[", b"panes = 3\nversion = 1"] {
            std::fs::write(&file, bytes).unwrap();
            let (_, found, note) = Memory::open(Some(file.clone()));
            assert_eq!(found, Remembered::default());
            assert!(note.is_some_and(|n| n.contains("desk.toml")), "{bytes:?}");
        }
        // A folder that cannot be written to takes nothing down.
        std::fs::write(dir.path().join("taken"), "").unwrap();
        let (mut memory, _, _) = Memory::open(Some(dir.path().join("taken/desk.toml")));
        memory.take(other(), start);
        memory.finish();
    }
}
