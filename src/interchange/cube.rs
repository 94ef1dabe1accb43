//! `.cube` files: the Cube LUT Specification 1.0 (2013) [from memory], and, as common practice has it, a curve
//! ahead of a cube in one file, each with a range of its own.

use std::fmt::Write;

use super::InterchangeError;
use crate::colour::{Lut, Lut1, Lut3};

/// What a `.cube` file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Cube {
    /// Its title; may be empty.
    pub title: String,
    /// Its table or tables.
    pub lut: Lut,
}

/// The most entries of a curve.
pub const MAX_1D: usize = 65_536;
/// The most entries along a cube's edge.
pub const MAX_3D: usize = 256;

const KEYWORDS: &str = "TITLE, LUT_1D_SIZE, LUT_3D_SIZE, DOMAIN_MIN, DOMAIN_MAX, LUT_1D_INPUT_RANGE, \
                        LUT_3D_INPUT_RANGE, # comments and rows of three numbers";

fn wrong(line: usize, what: impl Into<String>, accepted: impl Into<String>) -> InterchangeError {
    InterchangeError { line, what: what.into(), accepted: accepted.into() }
}

#[derive(Default)]
struct Head {
    title: Option<String>,
    size_1: Option<usize>,
    size_3: Option<usize>,
    min: Option<[f64; 3]>,
    max: Option<[f64; 3]>,
    range_1: Option<[f64; 2]>,
    range_3: Option<[f64; 2]>,
    /// The line that named a range last, for a complaint about it.
    range_line: usize,
}

/// Reads a `.cube` file.
///
/// A range given by `DOMAIN_MIN` and `DOMAIN_MAX` belongs to the table that is read first (the curve, where there
/// is one ahead of a cube); the other's is 0…1 unless `LUT_3D_INPUT_RANGE` says otherwise. Memory grows with the
/// file, not with what its head promises.
///
/// # Errors
/// The line, what is wrong there and what is accepted: unknown words, sizes out of range, rows too few or too
/// many, numbers that are not finite, empty ranges.
pub fn read(bytes: &[u8]) -> Result<Cube, InterchangeError> {
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        wrong(line, "this is not text", "UTF-8 text")
    })?;
    let mut head = Head::default();
    let mut rows: Vec<[f32; 3]> = Vec::new();
    let mut last_line = 0;
    for (i, whole) in text.lines().enumerate() {
        let line = i + 1;
        last_line = line;
        let content = whole.trim();
        if content.is_empty() || content.starts_with('#') {
            continue;
        }
        if content.starts_with(|c: char| c.is_ascii_alphabetic()) && number(content).is_none() {
            if !rows.is_empty() {
                return Err(wrong(
                    line,
                    format!("{:?} among the rows", word(content)),
                    "words ahead of all rows",
                ));
            }
            head.word(line, content)?;
            continue;
        }
        let row: [f64; 3] = numbers(line, content)?;
        let wanted = head.rows(line)?;
        if rows.len() == wanted {
            return Err(wrong(line, "more rows than the size says", format!("{wanted} rows")));
        }
        let row = row.map(|v| v as f32);
        if row.iter().any(|v| !v.is_finite()) {
            return Err(wrong(line, "a number that single floats cannot hold", "finite numbers"));
        }
        rows.push(row);
    }
    let wanted = head.rows(last_line.max(1))?;
    if rows.len() < wanted {
        let what = format!("the file ends after {} of {wanted} rows", rows.len());
        return Err(wrong(last_line.max(1), what, format!("{wanted} rows of three numbers")));
    }
    head.finish(rows)
}

fn word(content: &str) -> &str {
    content.split_whitespace().next().unwrap_or("")
}

/// A finite number, or nothing.
fn number(text: &str) -> Option<f64> {
    text.parse().ok().filter(|v: &f64| v.is_finite())
}

fn numbers<const N: usize>(line: usize, text: &str) -> Result<[f64; N], InterchangeError> {
    let mut found = [0.0; N];
    let mut words = text.split_whitespace();
    for value in &mut found {
        let word = words.next().unwrap_or("");
        *value = number(word).ok_or_else(|| {
            let what =
                if word.is_empty() { "a number is missing".into() } else { format!("{word:?} is no number") };
            wrong(line, what, format!("{N} finite numbers"))
        })?;
    }
    match words.next() {
        None => Ok(found),
        Some(more) => Err(wrong(line, format!("{more:?} is one too many"), format!("{N} finite numbers"))),
    }
}

fn once<T>(line: usize, name: &str, place: &mut Option<T>, value: T) -> Result<(), InterchangeError> {
    match place.replace(value) {
        None => Ok(()),
        Some(_) => Err(wrong(line, format!("{name} a second time"), format!("{name} once"))),
    }
}

impl Head {
    fn word(&mut self, line: usize, content: &str) -> Result<(), InterchangeError> {
        let name = word(content);
        let rest = content[name.len()..].trim();
        let size = |most: usize| {
            rest.parse().ok().filter(|n| (2..=most).contains(n)).ok_or_else(|| {
                wrong(line, format!("{name} is {rest:?}"), format!("a whole number from 2 to {most}"))
            })
        };
        match name {
            "TITLE" => {
                let title = rest.strip_prefix('"').and_then(|t| t.strip_suffix('"')).unwrap_or(rest);
                once(line, name, &mut self.title, title.to_owned())
            }
            "LUT_1D_SIZE" => once(line, name, &mut self.size_1, size(MAX_1D)?),
            "LUT_3D_SIZE" => once(line, name, &mut self.size_3, size(MAX_3D)?),
            "DOMAIN_MIN" | "DOMAIN_MAX" | "LUT_1D_INPUT_RANGE" | "LUT_3D_INPUT_RANGE" => {
                self.range_line = line;
                match name {
                    "DOMAIN_MIN" => once(line, name, &mut self.min, numbers(line, rest)?),
                    "DOMAIN_MAX" => once(line, name, &mut self.max, numbers(line, rest)?),
                    "LUT_1D_INPUT_RANGE" => once(line, name, &mut self.range_1, numbers(line, rest)?),
                    _ => once(line, name, &mut self.range_3, numbers(line, rest)?),
                }
            }
            _ => Err(wrong(line, format!("{name:?} is not known"), KEYWORDS)),
        }
    }

    fn rows(&self, line: usize) -> Result<usize, InterchangeError> {
        if self.size_1.is_none() && self.size_3.is_none() {
            return Err(wrong(line, "no size", "LUT_1D_SIZE or LUT_3D_SIZE ahead of the rows"));
        }
        Ok(self.size_1.unwrap_or(0) + self.size_3.map_or(0, |n| n * n * n))
    }

    fn finish(self, mut rows: Vec<[f32; 3]>) -> Result<Cube, InterchangeError> {
        let domain = (self.min.unwrap_or([0.0; 3]), self.max.unwrap_or([1.0; 3]));
        let unit = ([0.0; 3], [1.0; 3]);
        let of = |range: Option<[f64; 2]>, otherwise| range.map_or(otherwise, |[a, b]| ([a; 3], [b; 3]));
        let range_1 = of(self.range_1, domain);
        let range_3 = of(self.range_3, if self.size_1.is_some() { unit } else { domain });
        for (min, max) in [range_1, range_3] {
            for c in 0..3 {
                // Steeper than this and single floats cannot hold the scale.
                if max[c] - min[c] < 1e-6 {
                    let what = format!("a range from {} to {}", min[c], max[c]);
                    return Err(wrong(self.range_line, what, "an end at least 0.000001 above the start"));
                }
            }
        }
        let behind = rows.split_off(self.size_1.unwrap_or(0));
        let shaper = self.size_1.map(|_| Lut1 { entries: rows, min: range_1.0, max: range_1.1 });
        let cube = self.size_3.map(|size| Lut3 { size, entries: behind, min: range_3.0, max: range_3.1 });
        Ok(Cube { title: self.title.unwrap_or_default(), lut: Lut { shaper, cube } })
    }
}

/// A `.cube` file of a table. With a curve ahead of a cube, the ranges are written as `LUT_1D_INPUT_RANGE` and
/// `LUT_3D_INPUT_RANGE`, from the red channel's.
pub fn write(cube: &Cube) -> String {
    let mut out = String::new();
    let title: String =
        cube.title.chars().map(|c| if c.is_control() || c == '"' { ' ' } else { c }).collect();
    let _ = writeln!(out, "TITLE \"{title}\"");
    let both = cube.lut.shaper.is_some() && cube.lut.cube.is_some();
    let range = |name: &str, min: [f64; 3], max: [f64; 3], out: &mut String| {
        let _ = if both {
            writeln!(out, "{name} {} {}", min[0], max[0])
        } else {
            writeln!(
                out,
                "DOMAIN_MIN {} {} {}\nDOMAIN_MAX {} {} {}",
                min[0], min[1], min[2], max[0], max[1], max[2]
            )
        };
    };
    if let Some(s) = &cube.lut.shaper {
        let _ = writeln!(out, "LUT_1D_SIZE {}", s.entries.len());
        range("LUT_1D_INPUT_RANGE", s.min, s.max, &mut out);
    }
    if let Some(c) = &cube.lut.cube {
        let _ = writeln!(out, "LUT_3D_SIZE {}", c.size);
        range("LUT_3D_INPUT_RANGE", c.min, c.max, &mut out);
    }
    let shaper = cube.lut.shaper.iter().flat_map(|s| &s.entries);
    for [r, g, b] in shaper.chain(cube.lut.cube.iter().flat_map(|c| &c.entries)) {
        let _ = writeln!(out, "{r} {g} {b}");
    }
    out
}
