//! A look as a file of its own, to be kept in a library and shared.
//!
//! A file has all of its stages, or cites another look (`based-on = "Pushed"`), gives stages of it another strength
//! (`[strengths]`) and adds its own behind them.

use std::path::{Path, PathBuf};

use super::reader::{Source, Table, Tables, read_text};
use super::shipped::shipped_text;
use super::writer::{self, line, number, quoted};
use super::{Change, LOOK_FILES, ShowError, StageKey, VERSION, stage_keys};
use crate::look::{Intent, Origin, Stage, fingerprint};

/// A look, with all its stages.
#[derive(Clone, Debug, PartialEq)]
pub struct Look {
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// What it means to do with colour, if it says so.
    pub intent: Option<Intent>,
    /// Its stages, in the order light takes.
    pub stages: Vec<Stage>,
}

impl Look {
    /// The change that puts it into a chain at a strength, and has the chain remember which look it is.
    pub fn change(&self, strength: f64) -> Change {
        let replace = Change::ReplaceLook { stages: self.stages.clone(), strength };
        Change::Together(vec![replace, Change::SetOrigin(Some(self.origin()))])
    }

    /// What a chain remembers of it.
    pub fn origin(&self) -> Origin {
        Origin {
            name: self.name.clone(),
            note: self.note.clone(),
            intent: self.intent,
            fingerprint: fingerprint(&self.stages),
        }
    }

    /// One of its stages.
    ///
    /// # Errors
    /// [`ShowError::Change`] with those that it has.
    pub fn stage(&self, key: StageKey) -> Result<&Stage, ShowError> {
        let found = key.find(&self.stages).map(|at| &self.stages[at]);
        found.ok_or_else(|| {
            ShowError::change(format!("{} has no {}", self.name, described(key)), keys_text(&self.stages))
        })
    }
}

/// The look that another is based on, and what is made of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Base {
    /// As the file names it: a look that comes with the program, or a `.toml` file relative to its own folder.
    pub name: String,
    /// Strengths in place of the base's, each from 0 to its stage's maximum.
    pub strengths: Vec<(StageKey, f64)>,
}

/// A look as its file has it.
#[derive(Clone, Debug, PartialEq)]
pub struct LookFile {
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// What it means to do with colour; without a word, what its base means to.
    pub intent: Option<Intent>,
    /// The look that it is based on, if it is on one.
    pub base: Option<Base>,
    /// Its own stages, behind those of its base.
    pub stages: Vec<Stage>,
}

impl From<Look> for LookFile {
    fn from(look: Look) -> Self {
        Self { name: look.name, note: look.note, intent: look.intent, base: None, stages: look.stages }
    }
}

impl LookFile {
    /// A look as what it changes in `base`, which the file is to call `name`: strengths, and stages behind the base's.
    /// Without an intent of its own it has the base's.
    ///
    /// # Errors
    /// [`ShowError::Change`] with everything else that differs, which such a file cannot say.
    pub fn based(look: &Look, name: &str, base: &Look) -> Result<Self, ShowError> {
        let keys = stage_keys(&base.stages);
        let pairs = || keys.iter().zip(base.stages.iter().zip(&look.stages));
        let mut differs: Vec<String> =
            pairs().filter_map(|(key, (old, new))| difference(*key, old, new)).collect();
        differs.extend(keys.iter().skip(look.stages.len()).map(|key| format!("{key} is missing")));
        if !differs.is_empty() {
            let what =
                format!("the look differs from {} in more than strengths: {}", base.name, differs.join("; "));
            let accepted = "the same stages in the same order, with other strengths, and others behind them; or a look \
                            of its own, based on none";
            return Err(ShowError::change(what, accepted));
        }
        let strengths = pairs().filter(|(_, (old, new))| old.strength != new.strength);
        Ok(Self {
            name: look.name.clone(),
            note: look.note.clone(),
            intent: look.intent.filter(|i| Some(*i) != base.intent),
            base: Some(Base {
                name: name.to_owned(),
                strengths: strengths.map(|(key, (_, new))| (*key, new.strength)).collect(),
            }),
            stages: look.stages[base.stages.len()..].to_vec(),
        })
    }
}

/// In what but its strength a stage differs from another, in words.
fn difference(key: StageKey, old: &Stage, new: &Stage) -> Option<String> {
    if old.kind != new.kind {
        return Some(format!("{} stands where {key} is", new.declaration().key));
    }
    if old.on != new.on {
        return Some(format!("{key} is switched {}", if new.on { "on" } else { "off" }));
    }
    let values = old.declaration().parameters.iter().zip(old.values.iter().zip(&new.values));
    let moved: Vec<_> = values
        .filter(|(_, (old, new))| old != new)
        .map(|(p, (old, new))| {
            format!("{} is {}, not {}", p.key, writer::value(p, *new), writer::value(p, *old))
        })
        .collect();
    if !moved.is_empty() {
        return Some(format!("{key}: {}", moved.join(", ")));
    }
    let lut = |stage: &Stage| {
        stage
            .lut
            .as_ref()
            .map(|l| (l.file.file_name().map(ToOwned::to_owned), l.lut.clone(), l.expects, l.gives))
    };
    (lut(old) != lut(new)).then(|| format!("{key} reads another LUT, or reads it otherwise"))
}

/// What a look's stages are called, for messages.
fn keys_text(stages: &[Stage]) -> String {
    let keys: Vec<_> = stage_keys(stages).iter().map(StageKey::to_string).collect();
    if keys.is_empty() { "none, it has no stage".to_owned() } else { keys.join(", ") }
}

/// "grain", "stage contrast number 2".
fn described(key: StageKey) -> String {
    match key.number {
        1 => key.to_string(),
        number => format!("{} number {number}", key.kind.declaration().key),
    }
}

/// A look as text.
pub fn write_look(look: &Look) -> String {
    write_look_file(&look.clone().into())
}

/// A look as text, as its file has it.
pub fn write_look_file(look: &LookFile) -> String {
    let mut out = "# A Greyhold look.\n".to_owned();
    line(&mut out, "version", VERSION);
    out.push_str("\n[look]\n");
    line(&mut out, "name", quoted(&look.name));
    line(&mut out, "note", quoted(&look.note));
    if let Some(intent) = look.intent {
        line(&mut out, "intent", quoted(intent.id()));
    }
    if let Some(base) = &look.base {
        line(&mut out, "based-on", quoted(&base.name));
        if !base.strengths.is_empty() {
            out.push_str("\n[strengths]\n");
        }
        for (key, strength) in &base.strengths {
            line(&mut out, &writer::key(&key.to_string()), number(*strength));
        }
    }
    for stage in &look.stages {
        writer::stage(&mut out, "stage", stage);
    }
    out
}

/// The look that a text describes, with the stages of the look that it is based on. `file` is for messages and for what
/// the text names relative to its folder.
///
/// # Errors
/// [`ShowError::Text`] with file, line and what is accepted; [`ShowError::Newer`] for a later format. What is wrong in
/// a file that it is based on is said of that one.
pub fn read_look(text: &str, file: &Path) -> Result<Look, ShowError> {
    Ok(parse(Source { file, text, tables: Tables::Read }, &[identity(file)])?.1)
}

/// How a file is known when looks lead back to themselves.
fn identity(file: &Path) -> PathBuf {
    std::fs::canonicalize(file).or_else(|_| std::path::absolute(file)).unwrap_or_else(|_| file.to_owned())
}

/// A look as its file has it, and with all its stages. `trail` is what led here, itself last.
fn parse(source: Source<'_>, trail: &[PathBuf]) -> Result<(LookFile, Look), ShowError> {
    let file = source.file;
    source.with_tables(VERSION, |root| {
        root.only(&["version", "look", "strengths", "stage"])?;
        let about = root.need_table("look", "[look]")?;
        about.only(&["name", "note", "intent", "based-on"])?;
        let mut look = LookFile {
            name: about.text("name", "a text")?.1.to_owned(),
            note: about.text_or_none("note", "a text")?.map_or_else(String::new, |(_, n)| n.to_owned()),
            intent: about.intent()?,
            base: None,
            stages: Vec::new(),
        };
        let (intent, mut stages) = match about.text_or_none("based-on", &bases())? {
            Some((at, name)) => {
                let mut base = read_base(&root, at, name, trail)?;
                let strengths = read_strengths(&root, &mut base)?;
                look.base = Some(Base { name: name.to_owned(), strengths });
                (look.intent.or(base.intent), base.stages)
            }
            None => {
                if let Some(table) = root.table("strengths", "[strengths]")? {
                    let what = "strengths are there, and no look that they are for";
                    let accepted = format!("based-on in [look]: {}", bases());
                    return Err(source.wrong(table.at, what, accepted));
                }
                (look.intent, Vec::new())
            }
        };
        for table in root.tables("stage", "[[stage]]")? {
            look.stages.push(with_whole_path(table.stage()?, file));
        }
        stages.extend_from_slice(&look.stages);
        let whole = Look { name: look.name.clone(), note: look.note.clone(), intent, stages };
        Ok((look, whole))
    })
}

/// What a look may be based on.
fn bases() -> String {
    let names: Vec<_> = LOOK_FILES.iter().map(|(file, _)| file.trim_end_matches(".toml")).collect();
    format!("{}, or a .toml file: absolute, or relative to this file's folder", names.join(", "))
}

/// The look that `name` at `at` means.
fn read_base(root: &Table<'_>, at: usize, name: &str, trail: &[PathBuf]) -> Result<Look, ShowError> {
    let Source { file, tables, .. } = root.source;
    let shipped = if is_look_file(Path::new(name)) { None } else { Some(shipped_text(name)) };
    let (path, id) = match shipped {
        None => {
            let path = file.parent().unwrap_or(Path::new("")).join(name);
            let id = identity(&path);
            (path, id)
        }
        // A bare name is no path of a file: those are told apart from the root.
        Some(Some((file, _))) => (PathBuf::from(file), PathBuf::from(file)),
        Some(None) => {
            let what = format!("no look that comes with the program is called {name:?}");
            return Err(root.source.wrong(at, what, bases()));
        }
    };
    if let Some(first) = trail.iter().position(|t| *t == id) {
        let way: Vec<_> = trail[first..].iter().chain([&id]).map(|p| p.display().to_string()).collect();
        let what = format!("this look is based on itself: {}", way.join(" is based on "));
        return Err(root.source.wrong(at, what, "a look that does not lead back to this one"));
    }
    let text;
    let text = match shipped.flatten() {
        Some((_, text)) => text,
        None => {
            text = read_text(&path).map_err(|e| match e {
                ShowError::Io { source, .. } => root.unreadable(at, &path, &source, &bases()),
                e => e,
            })?;
            &text
        }
    };
    Ok(parse(Source { file: &path, text, tables }, &[trail, &[id]].concat())?.1)
}

/// The strengths that a file gives stages of its base; puts them there.
fn read_strengths(root: &Table<'_>, base: &mut Look) -> Result<Vec<(StageKey, f64)>, ShowError> {
    let Some(table) = root.table("strengths", "[strengths]")? else { return Ok(Vec::new()) };
    let mut out = Vec::new();
    for (at, text) in table.keys() {
        let key = StageKey::parse(text);
        let Some((key, place)) = key.and_then(|k| Some((k, k.find(&base.stages)?))) else {
            let what = format!("{} has no stage {text:?}", base.name);
            return Err(table.source.wrong(at, what, keys_text(&base.stages)));
        };
        let stage = &mut base.stages[place];
        stage.strength = table.parameter(text, &stage.declaration().strength)?;
        out.push((key, stage.strength));
    }
    Ok(out)
}

/// A stage whose table's file is named from the root, so that the look can go into any show.
fn with_whole_path(mut stage: Stage, look: &Path) -> Stage {
    if let Some(lut) = &mut stage.lut {
        let path = look.parent().unwrap_or(Path::new("")).join(&lut.file);
        lut.file = std::path::absolute(&path).unwrap_or(path);
    }
    stage
}

/// Is a file of that name one that a look may be in?
pub fn is_look_file(file: &Path) -> bool {
    file.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"))
}

/// Reads a look file.
///
/// # Errors
/// As [`read_look`], and [`ShowError::Io`] when the file cannot be read.
pub fn load_look(path: &Path) -> Result<Look, ShowError> {
    read_look(&read_text(path)?, path)
}

/// Reads a look file as it stands, and the look with all its stages.
///
/// # Errors
/// As [`load_look`].
pub fn load_look_file(path: &Path) -> Result<(LookFile, Look), ShowError> {
    parse(Source { file: path, text: &read_text(path)?, tables: Tables::Read }, &[identity(path)])
}

/// The look of a file whose LUTs are looked for and not read: its stages lack them.
pub(super) fn survey_look(path: &Path) -> Result<Look, ShowError> {
    Ok(parse(Source { file: path, text: &read_text(path)?, tables: Tables::Seek }, &[identity(path)])?.1)
}

/// Saves a look file: all of it or, on any error, nothing.
///
/// # Errors
/// As [`super::write_atomically`]. A look that this version could not read back is refused with the error
/// that reading it would give.
pub fn save_look(look: &Look, path: &Path) -> Result<(), ShowError> {
    save_look_file(&look.clone().into(), path)
}

/// The same for one that may be based on another.
///
/// # Errors
/// As [`save_look`].
pub fn save_look_file(look: &LookFile, path: &Path) -> Result<(), ShowError> {
    let text = write_look_file(look);
    parse(Source { file: path, text: &text, tables: Tables::Leave }, &[identity(path)])?;
    super::write_atomically(path, |file| file.write_all(text.as_bytes()))
}

/// The look files of a folder, in the order of their names.
///
/// # Errors
/// [`ShowError::Io`] when the folder cannot be listed.
pub(super) fn look_files(folder: &Path) -> Result<Vec<PathBuf>, ShowError> {
    let io = |source| ShowError::Io { doing: "list", path: folder.to_owned(), source };
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(io)? {
        let path = entry.map_err(io)?.path();
        let hidden = path.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
        if !hidden && is_look_file(&path) {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

/// Every look file in a folder, in the order of file names; one that cannot be used hides no other.
///
/// # Errors
/// [`ShowError::Io`] when the folder cannot be listed.
#[allow(clippy::type_complexity)]
pub fn list_looks(folder: &Path) -> Result<Vec<(PathBuf, Result<Look, ShowError>)>, ShowError> {
    let with_look = |path: PathBuf| {
        let look = load_look(&path);
        (path, look)
    };
    Ok(look_files(folder)?.into_iter().map(with_look).collect())
}
