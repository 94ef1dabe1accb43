//! `.cube`: a 1D LUT, a 3D LUT, or a 1D LUT that shapes the input of a 3D LUT.
//!
//! *Cube LUT Specification* 1.0 (2013): a line for each entry, red fastest; `TITLE`, `LUT_1D_SIZE` 2–65536,
//! `LUT_3D_SIZE` 2–256, `DOMAIN_MIN` and `DOMAIN_MAX` (0 and 1), comments after `#`. From common practice, in
//! no specification: both sizes in one file, the 1D LUT's entries first, and `LUT_1D_INPUT_RANGE` and
//! `LUT_3D_INPUT_RANGE`, each a lowest and a highest input. Where a file has both tables, `DOMAIN_MIN` and
//! `DOMAIN_MAX` are the 1D LUT's.

use super::Error;
use super::text::{digits, excerpt, newlines, utf8};
use crate::colour::{Interpolation, Lut1, Lut3, Shaped};
use std::fmt::Write as _;

/// Lengths of a 1D LUT that are accepted.
pub const SIZES_1D: std::ops::RangeInclusive<usize> = 2..=65536;

/// Entries along an axis of a 3D LUT that are accepted.
pub const SIZES_3D: std::ops::RangeInclusive<usize> = 2..=256;

const KEYWORDS: &str = "TITLE, LUT_1D_SIZE, LUT_3D_SIZE, DOMAIN_MIN, DOMAIN_MAX, LUT_1D_INPUT_RANGE, \
                        LUT_3D_INPUT_RANGE, # comments, rows of three numbers";

/// What a `.cube` file holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cube {
    /// The title; empty if there is none.
    pub title: String,
    /// The tables, at least one.
    pub lut: Shaped<f32>,
}

/// What the lines before the first row say, each with its line.
#[derive(Default)]
struct Head {
    title: Option<String>,
    sizes: [Option<(usize, usize)>; 2],
    ends: [Option<(usize, [f64; 3])>; 2],
    ranges: [Option<(usize, [f64; 2])>; 2],
}

const SIZE_WORDS: [&str; 2] = ["LUT_1D_SIZE", "LUT_3D_SIZE"];
const RANGE_WORDS: [&str; 2] = ["LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE"];
const END_WORDS: [&str; 2] = ["DOMAIN_MIN", "DOMAIN_MAX"];

/// Exactly `N` finite numbers.
fn numbers<const N: usize>(line: usize, what: &str, text: &str) -> Result<[f64; N], Error> {
    let mut found = [0.0; N];
    let mut words = text.split_ascii_whitespace();
    let bad = |found: &str| {
        let accepted = format!("{N} finite numbers of 32 bits");
        Err(Error::Value { line, what: what.into(), found: excerpt(found), accepted })
    };
    for x in &mut found {
        let Some(word) = words.next() else { return bad(text) };
        match word.parse::<f32>() {
            Ok(value) if value.is_finite() => *x = value.into(),
            _ => return bad(word),
        }
    }
    match words.next() {
        Some(word) if !word.starts_with('#') => bad(text),
        _ => Ok(found),
    }
}

impl Head {
    fn read(&mut self, line: usize, word: &str, rest: &str) -> Result<(), Error> {
        let twice = |known: bool| match known {
            true => Err(Error::Value {
                line,
                what: word.into(),
                found: "given twice".into(),
                accepted: "each keyword once".into(),
            }),
            false => Ok(()),
        };
        if word == "TITLE" {
            twice(self.title.is_some())?;
            let title = rest.trim();
            self.title =
                Some(title.strip_prefix('"').and_then(|t| t.strip_suffix('"')).unwrap_or(title).into());
        } else if let Some(i) = SIZE_WORDS.iter().position(|w| *w == word) {
            twice(self.sizes[i].is_some())?;
            let allowed = [SIZES_1D, SIZES_3D][i].clone();
            let size = rest.trim().parse().ok().filter(|n| allowed.contains(n));
            let Some(size) = size else {
                let accepted = format!("{} to {}", allowed.start(), allowed.end());
                return Err(Error::Value { line, what: word.into(), found: excerpt(rest), accepted });
            };
            self.sizes[i] = Some((line, size));
        } else if let Some(i) = RANGE_WORDS.iter().position(|w| *w == word) {
            twice(self.ranges[i].is_some())?;
            self.ranges[i] = Some((line, numbers(line, word, rest)?));
        } else if let Some(i) = END_WORDS.iter().position(|w| *w == word) {
            twice(self.ends[i].is_some())?;
            self.ends[i] = Some((line, numbers(line, word, rest)?));
        } else {
            let accepted = KEYWORDS.into();
            return Err(Error::Unknown { line, what: "keyword".into(), found: excerpt(word), accepted });
        }
        Ok(())
    }

    /// Rows that the sizes ask for.
    fn rows(&self, line: usize) -> Result<usize, Error> {
        let [one, three] = self.sizes.map(|s| s.map_or(0, |(_, size)| size));
        match one + three.pow(3) {
            0 => Err(Error::Missing {
                line,
                what: "the size of the table".into(),
                accepted: "LUT_1D_SIZE, LUT_3D_SIZE or both before the first row".into(),
            }),
            rows => Ok(rows),
        }
    }

    /// The domains of the 1D and of the 3D LUT.
    fn domains(&self) -> Result<[([f64; 3], [f64; 3]); 2], Error> {
        let mut domains = [([0.0; 3], [1.0; 3]); 2];
        for i in 0..2 {
            if let Some((line, [min, max])) = self.ranges[i] {
                if self.sizes[i].is_none() {
                    return Err(Error::Missing {
                        line,
                        what: format!("{}, to which {} belongs,", SIZE_WORDS[i], RANGE_WORDS[i]),
                        accepted: "an input range beside the size of its table".into(),
                    });
                }
                if max <= min {
                    let found = format!("{min} {max}");
                    let accepted = "a lowest input and a higher one".into();
                    return Err(Error::Value { line, what: RANGE_WORDS[i].into(), found, accepted });
                }
                domains[i] = ([min; 3], [max; 3]);
            }
        }
        let line = self.ends.iter().flatten().map(|e| e.0).max();
        if let Some(line) = line {
            let min = self.ends[0].map_or([0.0; 3], |e| e.1);
            let max = self.ends[1].map_or([1.0; 3], |e| e.1);
            if let Some(c) = (0..3).find(|c| max[*c] <= min[*c]) {
                return Err(Error::Value {
                    line,
                    what: format!("DOMAIN_MAX of {}", ["red", "green", "blue"][c]),
                    found: max[c].to_string(),
                    accepted: format!("more than DOMAIN_MIN, which is {}", min[c]),
                });
            }
            let own = if self.sizes[0].is_some() { 0 } else { 1 };
            if self.ranges[own].is_some() {
                return Err(Error::Value {
                    line,
                    what: "domain".into(),
                    found: format!("given as DOMAIN_MIN or DOMAIN_MAX and as {}", RANGE_WORDS[own]),
                    accepted: "one of them for one table".into(),
                });
            }
            domains[own] = (min, max);
        }
        Ok(domains)
    }
}

impl Cube {
    /// Reads a `.cube` file. Line ends may be LF or CR LF, a byte order mark may come first.
    pub fn read(bytes: &[u8]) -> Result<Self, Error> {
        let text = utf8(bytes)?;
        let mut head = Head::default();
        let mut wanted = 0;
        let mut rows: Vec<[f32; 3]> = Vec::new();
        for (line, content) in text.lines().enumerate().map(|(i, content)| (i + 1, content.trim())) {
            let (word, rest) = content.split_once(|c: char| c.is_ascii_whitespace()).unwrap_or((content, ""));
            if word.is_empty() || word.starts_with('#') {
                continue;
            }
            let names = word.starts_with(|c: char| c.is_alphabetic() || c == '_');
            if names && word.parse::<f32>().is_err() {
                if wanted != 0 {
                    return Err(Error::Value {
                        line,
                        what: excerpt(word),
                        found: "after the first row".into(),
                        accepted: format!("a row, {} of {wanted} are read", rows.len()),
                    });
                }
                head.read(line, word, rest)?;
                continue;
            }
            if wanted == 0 {
                wanted = head.rows(line)?;
                // A row takes six bytes at least, so a small file cannot ask for much.
                rows.reserve(wanted.min(text.len() / 6 + 1));
            }
            let row = numbers(line, "row", content)?;
            if rows.len() == wanted {
                return Err(Error::Count { line, what: "rows".into(), found: wanted + 1, wanted });
            }
            rows.push(row.map(|x: f64| x as f32));
        }
        let end = 1 + newlines(text.trim_end().as_bytes());
        let domains = head.domains()?;
        let wanted = head.rows(end)?;
        if rows.len() < wanted {
            return Err(Error::Count { line: end, what: "rows".into(), found: rows.len(), wanted });
        }
        let [one, three] = head.sizes.map(|s| s.map_or(0, |(_, size)| size));
        let mut lut = Shaped::default();
        let odd = |i: usize| Error::Value {
            line: end,
            what: "domain".into(),
            found: format!("{:?}", domains[i]),
            accepted: "ends that are neither too near nor too far from each other for 32 bits".into(),
        };
        let cube = rows.split_off(one);
        if one > 0 {
            lut.shaper = Some(Lut1::even(rows, domains[0].0, domains[0].1).ok_or_else(|| odd(0))?);
        }
        if three > 0 {
            let made = Lut3::new(three, cube, domains[1].0, domains[1].1, Interpolation::default());
            lut.cube = Some(made.ok_or_else(|| odd(1))?);
        }
        Ok(Self { title: head.title.unwrap_or_default(), lut })
    }

    /// The file's text. Entries read back as the same bits, domains as numbers of 32 bits; quotes in the title
    /// become apostrophes.
    ///
    /// A table over the halves has no place in a `.cube`, nor has a 3D LUT behind a 1D LUT with a domain
    /// that differs between its channels: [`Error::Invalid`].
    pub fn write(&self) -> Result<String, Error> {
        let plain = |c: char| if c == '"' { '\'' } else { c };
        let title: String = self.title.chars().filter(|c| !c.is_control()).map(plain).collect();
        let mut out = String::new();
        if !title.is_empty() {
            let _ = writeln!(out, "TITLE \"{title}\"");
        }
        let Shaped { shaper, cube } = &self.lut;
        let both = shaper.is_some() && cube.is_some();
        let mut say = |i: usize, size: usize, (min, max): ([f64; 3], [f64; 3])| {
            let _ = writeln!(out, "{} {size}", SIZE_WORDS[i]);
            let same = |v: [f64; 3]| v.iter().all(|x| *x == v[0]);
            if (min, max) == ([0.0; 3], [1.0; 3]) {
                return Ok(());
            }
            let three = |v: [f64; 3]| v.map(|x| digits(x as f32)).join(" ");
            if !both || i == 0 && !(same(min) && same(max)) {
                let _ = writeln!(out, "DOMAIN_MIN {}\nDOMAIN_MAX {}", three(min), three(max));
            } else if same(min) && same(max) {
                let ends = [min[0], max[0]].map(|x| digits(x as f32)).join(" ");
                let _ = writeln!(out, "{} {ends}", RANGE_WORDS[i]);
            } else {
                let found = format!("{min:?} to {max:?}");
                return Err(Error::invalid("domain of the 3D LUT", found, "one for all channels"));
            }
            Ok(())
        };
        if let Some(lut) = shaper {
            check_size("1D LUT", lut.values().len(), SIZES_1D)?;
            let Some(domain) = lut.domain() else {
                return Err(Error::invalid("1D LUT", "a table over the halves", "an even domain"));
            };
            say(0, lut.values().len(), domain)?;
        }
        if let Some(lut) = cube {
            check_size("3D LUT", lut.size(), SIZES_3D)?;
            say(1, lut.size(), lut.domain())?;
        }
        let rows = [shaper.as_ref().map(Lut1::values), cube.as_ref().map(Lut3::values)];
        if rows.iter().all(Option::is_none) {
            return Err(Error::invalid("tables", "none", "a 1D LUT, a 3D LUT or both"));
        }
        for row in rows.into_iter().flatten().flatten() {
            let _ = writeln!(out, "{}", row.map(digits).join(" "));
        }
        Ok(out)
    }
}

fn check_size(what: &str, size: usize, allowed: std::ops::RangeInclusive<usize>) -> Result<(), Error> {
    if allowed.contains(&size) {
        return Ok(());
    }
    Err(Error::invalid(what, size, format!("{} to {} entries", allowed.start(), allowed.end())))
}
