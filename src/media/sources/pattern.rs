//! Names of a sequence's files: what comes before the number, the number, what comes after it.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use crate::media::ImageFormat;

/// Where the files of a sequence are and what they are called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern {
    folder: PathBuf,
    before: String,
    /// Fewest digits, filled with zeros; 0 for one file without a number.
    digits: usize,
    after: String,
}

/// A name split at the digits that end its stem: "shot.", "0101", ".dpx".
fn split(name: &str) -> Option<(&str, &str, &str)> {
    let dot = name.rfind('.')?;
    let (stem, after) = name.split_at(dot);
    let digits = stem.bytes().rev().take_while(u8::is_ascii_digit).count();
    let (before, number) = stem.split_at(stem.len() - digits);
    Some((before, number, after))
}

/// Folder and name of a path; the folder of a bare name is ".".
fn parts(path: &Path) -> Option<(PathBuf, &str)> {
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    Some((folder.to_owned(), path.file_name()?.to_str()?))
}

/// Names of the image files in a folder, hidden ones left out, in order.
fn image_names(folder: &Path) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in folder.read_dir()? {
        let entry = entry?;
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        let is_image = ImageFormat::of_path(Path::new(&name)).is_some();
        if is_image && !name.starts_with('.') && !entry.path().is_dir() {
            names.push(name);
        }
    }
    names.sort();
    Ok(names)
}

impl Pattern {
    /// `name.####.ext` or `name.%04d.ext`; none if the name is neither.
    pub fn parse(path: &Path) -> Option<Self> {
        let (folder, name) = parts(path)?;
        if let Some(start) = name.find('#') {
            let digits = name[start..].bytes().take_while(|b| *b == b'#').count();
            let after = name[start + digits..].to_owned();
            return Some(Self { folder, before: name[..start].to_owned(), digits, after });
        }
        let start = name.find('%')?;
        let end = start + name[start..].find('d')?;
        let digits = match &name[start + 1..end] {
            "" => 1,
            width => width.strip_prefix('0')?.parse().ok().filter(|d| (1..=18).contains(d))?,
        };
        let (before, after) = (name[..start].to_owned(), name[end + 1..].to_owned());
        Some(Self { folder, before, digits, after })
    }

    /// The sequence that a file belongs to: itself alone if it has no numbered neighbours.
    pub fn of_file(path: &Path) -> io::Result<Option<Self>> {
        let Some((folder, name)) = parts(path) else {
            return Ok(None);
        };
        let names = image_names(&folder)?;
        Ok(Some(Self::among(folder, name, &names)))
    }

    /// The sequences in a folder.
    pub fn of_folder(folder: &Path) -> io::Result<Vec<Self>> {
        let names = image_names(folder)?;
        let mut found: Vec<Self> = Vec::new();
        for name in &names {
            if !found.iter().any(|p| p.number(name).is_some()) {
                found.push(Self::among(folder.to_owned(), name, &names));
            }
        }
        Ok(found)
    }

    fn among(folder: PathBuf, name: &str, names: &[String]) -> Self {
        let (before, number, after) = split(name).unwrap_or((name, "", ""));
        let padded = |n: &str| n.len() > 1 && n.starts_with('0');
        let digits = if number.is_empty() {
            0
        } else if padded(number) {
            number.len()
        } else {
            // A number without zeros before it may still belong to a padded sequence: 1000 after 0999.
            let neighbours =
                names.iter().filter_map(|n| split(n)).filter(|(b, _, a)| (*b, *a) == (before, after));
            let widths = neighbours.filter(|(_, n, _)| padded(n)).map(|(_, n, _)| n.len());
            widths.filter(|w| *w <= number.len()).max().unwrap_or(1)
        };
        Self { folder, before: before.to_owned(), digits, after: after.to_owned() }
    }

    /// The number of a file name that fits.
    pub fn number(&self, name: &str) -> Option<u64> {
        let middle = name.strip_prefix(&self.before)?.strip_suffix(&self.after)?;
        if self.digits == 0 {
            return middle.is_empty().then_some(0);
        }
        let number: u64 = middle.parse().ok()?;
        (self.middle(number) == middle).then_some(number)
    }

    fn middle(&self, number: u64) -> String {
        if self.digits == 0 { String::new() } else { format!("{number:0width$}", width = self.digits) }
    }

    /// Numbers for which there is a file: first, last and how many.
    pub fn present(&self) -> io::Result<Option<(u64, u64, u64)>> {
        let mut numbers = BTreeSet::new();
        for entry in self.folder.read_dir()? {
            if let Some(number) = entry?.file_name().to_str().and_then(|name| self.number(name)) {
                numbers.insert(number);
            }
        }
        let ends = numbers.first().zip(numbers.last());
        Ok(ends.map(|(first, last)| (*first, *last, numbers.len() as u64)))
    }

    /// The file with a number.
    pub fn path(&self, number: u64) -> PathBuf {
        let name = format!("{}{}{}", self.before, self.middle(number), self.after);
        // A bare name stays bare, so that messages show what was typed.
        if self.folder == Path::new(".") { PathBuf::from(name) } else { self.folder.join(name) }
    }

    /// The name for people: `shot.####.dpx`, or the file's own where there is one file.
    pub fn name(&self) -> String {
        format!("{}{}{}", self.before, "#".repeat(self.digits), self.after)
    }
}
