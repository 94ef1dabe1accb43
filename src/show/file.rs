//! `show.toml`: the show as a person can read it and as two versions of it can be compared line by line.

use std::path::Path;
use std::sync::Arc;

use super::display_file::{read_own, write_display};
use super::document::{MATRICES, MAX_FRAME, RANGES, RASTERS, RATES, check_fits};
use super::reader::{Source, Table, Tables, read_text};
use super::writer::{line, number, quoted};
use super::{
    Group, LOOK_STRENGTH, Output, OutputSettings, Outputs, STRENGTH_TRIM, Shot, Show, ShowError, StageKey,
    StrengthTrim, known_displays, raster_from_text, raster_text, rate_from_text, rate_text, writer,
};
use crate::colour::{Display, ENCODINGS, OUTPUT_TRANSFORMS, OutputTransform, encoding, output_transform};
use crate::look::{Chain, List, Origin, Parameter, fingerprint};
use crate::picture::{BALANCE, Balance, FRAMING, Framing, ShowLut, TRIM, Trim};

/// The file in the show's folder.
pub const SHOW_FILE: &str = "show.toml";

/// The version of the format of show and look files that is written, and the latest that is read.
pub const VERSION: u64 = 1;

const HEADER: &str = "\
# A Greyhold show. Edit it while no Greyhold has it open; comments are not kept when it is saved.
# raster is the size of every output, in pixels across and down; without it, that of the first shot's frames.
# Frames are counted from 0 at the first of the source; out is the first frame that is not shown.
";

/// A show as text.
///
/// # Errors
/// [`ShowError::Path`] when a source's path is not Unicode.
pub fn write(show: &Show) -> Result<String, ShowError> {
    let mut out = HEADER.to_owned();
    line(&mut out, "version", VERSION);

    out.push_str("\n[show]\n");
    line(&mut out, "name", quoted(&show.name));
    line(&mut out, "rate", quoted(&rate_text(show.rate)));
    if let Some(raster) = show.raster {
        line(&mut out, "raster", quoted(&raster_text(raster)));
    }
    match &show.show_lut {
        Some(lut) => {
            line(&mut out, "transform", quoted(&format!("{LUT}{}", path_text(&lut.lut.file)?)));
            line(&mut out, "lut-expects", quoted(lut.expects.id));
            line(&mut out, "lut-gives", quoted(&lut.gives.id));
        }
        None => line(&mut out, "transform", quoted(show.transform.id())),
    }
    if show.cdl_safe {
        line(&mut out, "cdl-safe", true);
    }
    match show.panels.as_slice() {
        [] => {}
        [panel] => line(&mut out, "panel", quoted(panel)),
        panels => {
            let names: Vec<_> = panels.iter().map(|p| quoted(p)).collect();
            line(&mut out, "panel", format!("[{}]", names.join(", ")));
        }
    }

    out.push_str("\n[outputs]\n");
    let is_short = |o: &OutputSettings| o.trim == Trim::default() && o.calibration.is_none();
    for output in Output::ALL {
        let settings = show.outputs.get(output);
        if is_short(settings) {
            line(&mut out, output.key(), quoted(&settings.display.id));
        }
    }
    for output in Output::ALL {
        let settings = show.outputs.get(output);
        if is_short(settings) {
            continue;
        }
        out.push_str(&format!("\n[outputs.{}]\n", output.key()));
        line(&mut out, "display", quoted(&settings.display.id));
        if let Some(lut) = &settings.calibration {
            line(&mut out, "calibration", quoted(path_text(&lut.file)?));
        }
        if settings.trim != Trim::default() {
            out.push_str(&format!("\n[outputs.{}.trim]\n", output.key()));
            write_moved(&mut out, TRIM, &settings.trim.values);
        }
    }
    for display in &show.displays {
        write_display(&mut out, display);
    }

    for group in &show.groups {
        out.push_str(&format!("\n[group.{}]\n", writer::key(&group.name)));
        write_trim(&mut out, &group.trim);
    }
    for shot in &show.shots {
        write_shot(&mut out, shot)?;
    }

    if let Some(origin) = &show.chain.origin {
        out.push_str("\n[look]\n");
        line(&mut out, "name", quoted(&origin.name));
        line(&mut out, "note", quoted(&origin.note));
        if let Some(intent) = origin.intent {
            line(&mut out, "intent", quoted(intent.id()));
        }
        line(&mut out, "stages", quoted(&format!("{:016x}", origin.fingerprint)));
    }
    out.push_str("\n[chain]\n");
    line(&mut out, "look-strength", number(show.chain.look_strength));
    for list in List::ALL {
        for stage in show.chain.list(list) {
            writer::stage(&mut out, &format!("chain.{}", list.key()), stage);
        }
    }
    Ok(out)
}

/// What a transform begins with that is a table.
const LUT: &str = "lut:";

fn path_text(path: &Path) -> Result<&str, ShowError> {
    path.to_str().ok_or_else(|| ShowError::Path(path.to_owned()))
}

fn write_shot(out: &mut String, shot: &Shot) -> Result<(), ShowError> {
    let source = shot.source.to_str().ok_or_else(|| ShowError::Path(shot.source.clone()))?;
    // A show may be carried between systems; only Windows knows the other separator.
    let source = if cfg!(windows) { source.replace('\\', "/") } else { source.to_owned() };
    out.push_str("\n[[shot]]\n");
    line(out, "name", quoted(&shot.name));
    line(out, "source", quoted(&source));
    line(out, "in", shot.start);
    line(out, "out", shot.end);
    line(out, "encoding", quoted(shot.encoding.id));
    if let Some((key, _)) = RANGES.iter().find(|(_, r)| Some(*r) == shot.range) {
        line(out, "range", quoted(key));
    }
    if let Some((key, _)) = MATRICES.iter().find(|(_, m)| Some(*m) == shot.matrix) {
        line(out, "matrix", quoted(key));
    }
    if let Some(frame) = shot.chosen {
        line(out, "representative", frame);
    }
    if !shot.groups.is_empty() {
        let names: Vec<_> = shot.groups.iter().map(|g| quoted(g)).collect();
        line(out, "groups", format!("[{}]", names.join(", ")));
    }
    if shot.trim != StrengthTrim::default() {
        out.push_str("\n[shot.trim]\n");
        write_trim(out, &shot.trim);
    }
    if shot.framing != Framing::default() {
        out.push_str("\n[shot.framing]\n");
        write_moved(out, FRAMING, &shot.framing.values);
    }
    if shot.balance != Balance::default() {
        out.push_str("\n[shot.balance]\n");
        write_moved(out, BALANCE, &shot.balance.values);
    }
    Ok(())
}

fn write_trim(out: &mut String, trim: &StrengthTrim) {
    if trim.look != STRENGTH_TRIM.default {
        line(out, STRENGTH_TRIM.key, number(trim.look));
    }
    for (key, value) in &trim.stages {
        line(out, &writer::key(&key.to_string()), number(*value));
    }
}

fn read_trim(table: &Table<'_>) -> Result<StrengthTrim, ShowError> {
    let mut trim = StrengthTrim::default();
    for (at, text) in table.keys() {
        let value = table.parameter(text, &STRENGTH_TRIM)?;
        if text == STRENGTH_TRIM.key {
            trim.look = value;
            continue;
        }
        let key = StageKey::parse(text).ok_or_else(|| {
            table.source.wrong(at, format!("there is no stage {text:?} to trim"), StageKey::accepted())
        })?;
        trim.stages.push((key, value));
    }
    trim.sort();
    Ok(trim)
}

fn read_groups(root: &Table<'_>) -> Result<Vec<Group>, ShowError> {
    let Some(all) = root.table("group", "[group.NAME]")? else { return Ok(Vec::new()) };
    let one = |(at, name): (usize, &str)| {
        if name.is_empty() {
            return Err(all.source.wrong(at, "a group has an empty name", "a name"));
        }
        let table = all.need_table(name, &format!("[group.{}]", writer::key(name)))?;
        Ok(Group { name: name.to_owned(), trim: read_trim(&table)? })
    };
    all.keys().into_iter().map(one).collect()
}

/// The groups that a shot names, each of them one of the show's.
fn read_shot_groups(table: &Table<'_>, groups: &[Group]) -> Result<Vec<String>, ShowError> {
    let mut out: Vec<String> = Vec::new();
    for (at, name) in table.texts("groups")? {
        if !groups.iter().any(|g| g.name == name) {
            let names = ids(groups.iter().map(|g| g.name.as_str()));
            let accepted =
                if names.is_empty() { "none, as there is no [group.NAME]".to_owned() } else { names };
            return Err(table.source.wrong(at, format!("the show has no group {name:?}"), accepted));
        }
        if !out.iter().any(|n| n == name) {
            out.push(name.to_owned());
        }
    }
    Ok(out)
}

/// The values that are not at their defaults.
fn write_moved(out: &mut String, parameters: &[Parameter], values: &[f64]) {
    for (parameter, value) in parameters.iter().zip(values).filter(|(p, value)| **value != p.default) {
        line(out, parameter.key, writer::value(parameter, *value));
    }
}

/// The show that a text describes. `file` is for messages.
///
/// # Errors
/// [`ShowError::Text`] with file, line and what is accepted; [`ShowError::Newer`] for a later format.
pub fn read(text: &str, file: &Path) -> Result<Show, ShowError> {
    read_source(Source { file, text, tables: Tables::Read })
}

fn read_source(source: Source<'_>) -> Result<Show, ShowError> {
    source.with_tables(VERSION, |root| read_show(&root, &[]))
}

/// A show from tables that may hold others beside it, called `more`.
pub(super) fn read_show(root: &Table<'_>, more: &[&str]) -> Result<Show, ShowError> {
    let keys = ["version", "show", "outputs", "display", "group", "shot", "look", "chain"];
    root.only(&[&keys[..], more].concat())?;
    let about = root.need_table("show", "[show]")?;
    about.only(&["name", "rate", "raster", "transform", "lut-expects", "lut-gives", "panel", "cdl-safe"])?;
    let cdl_safe = about.flag("cdl-safe", false)?;
    let displays = read_own(root)?;
    let groups = read_groups(root)?;
    let (transform, show_lut) = read_transform(&about, &displays)?;
    Ok(Show {
        name: about.text("name", "a text")?.1.to_owned(),
        rate: about.word("rate", RATES, rate_from_text)?,
        raster: about.word_or_none("raster", RASTERS, raster_from_text)?,
        transform,
        panels: about.text_or_texts("panel", "the name of a panel map, or a list of such names")?,
        outputs: read_outputs(root, &displays, show_lut.as_deref())?,
        show_lut,
        displays,
        shots: read_shots(root, &groups, cdl_safe)?,
        cdl_safe,
        groups,
        chain: read_chain(root)?,
    })
}

fn ids<'a>(ids: impl Iterator<Item = &'a str>) -> String {
    ids.collect::<Vec<_>>().join(", ")
}

/// The display that a key of a table names, if it is there: one of the show's own or one that comes with the program.
fn read_display(
    table: &Table<'_>,
    key: &str,
    own: &[Arc<Display>],
) -> Result<Option<Arc<Display>>, ShowError> {
    let all: Vec<_> = known_displays().chain(own.iter().cloned()).collect();
    let accepted = ids(all.iter().map(|d| d.id.as_ref()));
    table.word_or_none(key, &accepted, |id| all.iter().find(|d| d.id == id).cloned())
}

/// The output transform, and its table where it is one.
fn read_transform(
    about: &Table<'_>,
    own: &[Arc<Display>],
) -> Result<(OutputTransform, Option<Arc<ShowLut>>), ShowError> {
    let transforms = format!("{}, {LUT}FILE.cube", ids(OUTPUT_TRANSFORMS.iter().map(|t| t.id())));
    let (at, text) = about.text("transform", &transforms)?;
    let why = "a .cube file does not say what it is made for";
    let encodings = ids(ENCODINGS.iter().map(|e| e.id));
    let expects = about.word_or_none("lut-expects", &encodings, encoding)?;
    let gives = read_display(about, "lut-gives", own)?;
    let Some(file) = text.strip_prefix(LUT) else {
        if let Some((at, key)) = about.keys().into_iter().find(|(_, key)| key.starts_with("lut-")) {
            let what = format!("{key} is there and transform is {text:?}");
            return Err(about.source.wrong(at, what, format!("{key} beside transform = \"{LUT}FILE.cube\"")));
        }
        return Ok((about.word("transform", &transforms, output_transform)?, None));
    };
    let expects = expects.ok_or_else(|| {
        let accepted = format!("lut-expects = what it reads: {encodings}");
        about.source.wrong(at, format!("transform is a table, and lut-expects is not there; {why}"), accepted)
    })?;
    let gives = gives.ok_or_else(|| {
        let accepted = "lut-gives = the display whose signal it gives, as in lut-gives = \"rec709\"";
        about.source.wrong(at, format!("transform is a table, and lut-gives is not there; {why}"), accepted)
    })?;
    let lut = about.cube(at, file)?;
    Ok((OutputTransform::Lut, Some(Arc::new(ShowLut { lut, expects, gives }))))
}

fn read_outputs(
    root: &Table<'_>,
    own: &[Arc<Display>],
    show_lut: Option<&ShowLut>,
) -> Result<Outputs, ShowError> {
    let mut outputs = Outputs::default();
    let Some(table) = root.table("outputs", "[outputs]")? else {
        return check_outputs(root, root.at, &outputs, show_lut).map(|()| outputs);
    };
    table.only(&Output::ALL.map(Output::key))?;
    for output in Output::ALL {
        let to = outputs.get_mut(output);
        if table.text_if_it_is_one(output.key()).is_some() {
            to.display = read_display(&table, output.key(), own)?.unwrap_or_else(|| to.display.clone());
            continue;
        }
        let accepted = format!("the name of a display, or a table [outputs.{}]", output.key());
        let Some(table) = table.table_or(output.key(), &accepted)? else { continue };
        table.only(&["display", "calibration", "trim"])?;
        to.display = read_display(&table, "display", own)?.unwrap_or_else(|| to.display.clone());
        if let Some((at, file)) = table.text_or_none("calibration", "the path of a .cube file")? {
            to.calibration = Some(table.cube(at, file)?);
        }
        if let Some(trim) = table.table("trim", &format!("[outputs.{}.trim]", output.key()))? {
            trim.only(&TRIM.iter().map(|p| p.key).collect::<Vec<_>>())?;
            for (value, parameter) in to.trim.values.iter_mut().zip(TRIM) {
                *value = trim.parameter(parameter.key, parameter)?;
            }
        }
    }
    check_outputs(root, table.at, &outputs, show_lut).map(|()| outputs)
}

/// Refuses displays whose peak the show's own table passes.
fn check_outputs(
    root: &Table<'_>,
    at: usize,
    outputs: &Outputs,
    show_lut: Option<&ShowLut>,
) -> Result<(), ShowError> {
    let Some(lut) = show_lut else { return Ok(()) };
    Output::ALL.into_iter().try_for_each(|o| check_fits(lut, &outputs.get(o).display)).map_err(|e| match e {
        ShowError::Change { what, accepted } => root.source.wrong(at, what, accepted),
        e => e,
    })
}

fn read_shots(root: &Table<'_>, groups: &[Group], cdl_safe: bool) -> Result<Vec<Shot>, ShowError> {
    let mut shots: Vec<Shot> = Vec::new();
    for table in root.tables("shot", "[[shot]]")? {
        table.only(&[
            "name",
            "source",
            "in",
            "out",
            "encoding",
            "range",
            "matrix",
            "representative",
            "groups",
            "trim",
            "framing",
            "balance",
        ])?;
        let (at, name) = table.text("name", "a text")?;
        if name.is_empty() || shots.iter().any(|s| s.name == name) {
            let what = if name.is_empty() {
                "a shot has an empty name".to_owned()
            } else {
                format!("two shots are called {name:?}")
            };
            return Err(table.source.wrong(at, what, "a name of its own for each shot"));
        }
        let mut shot = read_shot(&table, name)?;
        shot.groups = read_shot_groups(&table, groups)?;
        if cdl_safe {
            super::cdl_safe::check_balance(name, &shot.balance).map_err(|e| match e {
                ShowError::Change { what, accepted } => table.source.wrong(table.at, what, accepted),
                e => e,
            })?;
        }
        shots.push(shot);
    }
    Ok(shots)
}

fn read_shot(table: &Table<'_>, name: &str) -> Result<Shot, ShowError> {
    let (at, source) = table.text("source", "the path of the footage")?;
    if source.is_empty() {
        return Err(table.source.wrong(at, "source is empty", "the path of the footage"));
    }
    let (_, start) = table.whole("in", MAX_FRAME)?;
    let (at, end) = table.whole("out", MAX_FRAME)?;
    if end <= start {
        let accepted = "a frame after in, since out is the first that is not shown";
        return Err(table.source.wrong(at, format!("out is {end} and in is {start}"), accepted));
    }
    let encodings = ids(ENCODINGS.iter().map(|e| e.id));
    let mut shot = Shot::new(name, source, start..end, table.word("encoding", &encodings, encoding)?);
    shot.range = table.word_or_none("range", &ids(RANGES.iter().map(|r| r.0)), |t| key(&RANGES, t))?;
    shot.matrix = table.word_or_none("matrix", &ids(MATRICES.iter().map(|m| m.0)), |t| key(&MATRICES, t))?;
    if table.has("representative") {
        let (at, frame) = table.whole("representative", MAX_FRAME)?;
        if !shot.frames().contains(&frame) {
            let accepted = format!("a frame of the shot, from {start} to {}", end - 1);
            return Err(table.source.wrong(at, format!("representative is {frame}"), accepted));
        }
        shot.chosen = Some(frame);
    }
    if let Some(trim) = table.table("trim", "[shot.trim]")? {
        shot.trim = read_trim(&trim)?;
    }
    if let Some(framing) = table.table("framing", "[shot.framing]")? {
        framing.only(&FRAMING.iter().map(|p| p.key).collect::<Vec<_>>())?;
        for (value, parameter) in shot.framing.values.iter_mut().zip(FRAMING) {
            *value = framing.parameter(parameter.key, parameter)?;
        }
    }
    if let Some(balance) = table.table("balance", "[shot.balance]")? {
        balance.only(&BALANCE.iter().map(|p| p.key).collect::<Vec<_>>())?;
        let mut values = Balance::default().values;
        for (value, parameter) in values.iter_mut().zip(BALANCE) {
            *value = balance.parameter(parameter.key, parameter)?;
        }
        shot.balance = Balance { values };
    }
    Ok(shot)
}

fn key<T: Copy>(table: &[(&str, T)], text: &str) -> Option<T> {
    table.iter().find(|(key, _)| *key == text).map(|(_, value)| *value)
}

fn read_chain(root: &Table<'_>) -> Result<Chain, ShowError> {
    let mut chain = Chain::default();
    if let Some(table) = root.table("chain", "[chain]")? {
        table.only(&["look-strength", "before", "look", "finish"])?;
        chain.look_strength = table.parameter("look-strength", &LOOK_STRENGTH)?;
        for list in List::ALL {
            let stages = table.tables(list.key(), &format!("[[chain.{}]]", list.key()))?;
            *chain.list_mut(list) = stages.iter().map(Table::stage).collect::<Result<_, _>>()?;
        }
    }
    chain.origin = read_origin(root, &chain)?;
    super::change::check_tables(chain.tables()).map_err(|e| match e {
        ShowError::Change { what, accepted } => root.source.wrong(root.at, what, accepted),
        e => e,
    })?;
    Ok(chain)
}

/// Which look the chain's was, as a library has it.
fn read_origin(root: &Table<'_>, chain: &Chain) -> Result<Option<Origin>, ShowError> {
    let Some(table) = root.table("look", "[look]")? else { return Ok(None) };
    table.only(&["name", "note", "intent", "stages"])?;
    let print = "16 hexadecimal digits, which Greyhold writes, or none: the stages as they are here";
    let hex = |t: &str| if t.len() == 16 { u64::from_str_radix(t, 16).ok() } else { None };
    let written = table.word_or_none("stages", print, hex)?;
    Ok(Some(Origin {
        name: table.text("name", "a text")?.1.to_owned(),
        note: table.text_or_none("note", "a text")?.map_or_else(String::new, |(_, n)| n.to_owned()),
        intent: table.intent()?,
        fingerprint: written.unwrap_or_else(|| fingerprint(&chain.look)),
    }))
}

/// Reads the show in a folder.
///
/// # Errors
/// As [`read`], and [`ShowError::Io`] when the file cannot be read.
pub fn load(folder: &Path) -> Result<Show, ShowError> {
    let path = folder.join(SHOW_FILE);
    read(&read_text(&path)?, &path)
}

/// Saves a show in its folder: all of it or, on any error, nothing.
///
/// # Errors
/// As [`super::write_atomically`]. A show that this version could not read back is refused with the
/// error that reading it would give, and the file from before stays.
pub fn save(show: &Show, folder: &Path) -> Result<(), ShowError> {
    let path = folder.join(SHOW_FILE);
    let text = write(show)?;
    // The tables are at hand, and their files need not be.
    read_source(Source { file: &path, text: &text, tables: Tables::Leave })?;
    super::write_atomically(&path, |file| file.write_all(text.as_bytes()))
}
