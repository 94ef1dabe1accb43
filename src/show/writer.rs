//! Pieces of TOML text that show and look files share. Written by hand, so that the order of lines and
//! the shape of numbers stay the same and differences between two saves are the differences of the show.

use std::fmt::Write;

use crate::look::{Parameter, Stage};

/// A text as a TOML basic string on one line.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// A key of TOML, in quotes where it needs them.
pub(super) fn key(key: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !key.is_empty() && key.chars().all(is_plain) { key.to_owned() } else { quoted(key) }
}

/// The fewest digits that read back as the same number.
pub(super) fn number(value: f64) -> String {
    format!("{value:?}")
}

/// A parameter's value: the name of a choice, else a number.
pub(super) fn value(parameter: &Parameter, value: f64) -> String {
    parameter.choice(value).map_or_else(|| number(value), quoted)
}

/// `key = value` on a line.
pub(super) fn line(out: &mut String, key: &str, value: impl std::fmt::Display) {
    let _ = writeln!(out, "{key} = {value}");
}

/// A stage under `[[header]]`. Every parameter is written, so that a stage whose defaults change later
/// does not change old shows.
pub(super) fn stage(out: &mut String, header: &str, stage: &Stage) {
    let _ = writeln!(out, "\n[[{header}]]");
    line(out, "stage", quoted(stage.declaration().key));
    line(out, "on", stage.on);
    line(out, "strength", number(stage.strength));
    if let Some(lut) = &stage.lut {
        line(out, "file", quoted(&lut.file.to_string_lossy()));
        for (key, side) in [("expects", lut.expects), ("gives", lut.gives)] {
            if let Some(space) = side.by_hand() {
                line(out, key, quoted(space.id()));
            }
        }
    }
    for (parameter, &at) in stage.declaration().parameters.iter().zip(&stage.values) {
        line(out, parameter.key, value(parameter, at));
    }
}
