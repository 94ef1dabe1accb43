//! Files of a hand-off: written whole or not at all, each with its checksum.

use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::HandoffError;
use crate::show::write_atomically;

/// A file that was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Relative to the hand-off's folder, with `/` between.
    pub path: String,
    /// SHA-256 (FIPS 180-4) of its bytes, in hexadecimal.
    pub sha256: String,
    /// How many bytes it has.
    pub bytes: usize,
}

/// The folder, and what is in it so far.
pub struct Folder {
    root: PathBuf,
    /// The files, in the order in which they were written.
    pub written: Vec<Written>,
}

impl Folder {
    /// A folder, made if need be.
    ///
    /// # Errors
    /// That it cannot be made.
    pub fn new(root: &Path) -> Result<Self, HandoffError> {
        let made = std::fs::create_dir_all(root);
        made.map_err(|error| HandoffError::Folder { path: root.to_owned(), error })?;
        Ok(Self { root: root.to_owned(), written: Vec::new() })
    }

    /// Writes a file; one that is there is replaced once the new one is complete.
    ///
    /// # Errors
    /// The system's.
    pub fn write(&mut self, path: &str, bytes: &[u8]) -> Result<Written, HandoffError> {
        let whole = self.root.join(path);
        if let Some(folder) = whole.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|error| HandoffError::Folder { path: folder.to_owned(), error })?;
        }
        write_atomically(&whole, |file| file.write_all(bytes))?;
        let written =
            Written { path: path.to_owned(), sha256: hex(&Sha256::digest(bytes)), bytes: bytes.len() };
        self.written.push(written.clone());
        Ok(written)
    }

    /// The checksums as `sha256sum --check` reads them.
    pub fn checksums(&self) -> String {
        self.written.iter().map(|w| format!("{}  {}\n", w.sha256, w.path)).collect()
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// The bytes of a checksum in hexadecimal.
pub fn bytes_of(sha256: &str) -> Vec<u8> {
    let digit = |i: usize| sha256.get(i..i + 2).and_then(|d| u8::from_str_radix(d, 16).ok());
    (0..sha256.len()).step_by(2).filter_map(digit).collect()
}

/// A UUID of version 8 (RFC 9562) that a text has always.
pub fn uuid(text: &str) -> String {
    let digest = Sha256::digest(text.as_bytes());
    let mut b: [u8; 16] = std::array::from_fn(|i| digest[i]);
    b[6] = b[6] & 0x0f | 0x80;
    b[8] = b[8] & 0x3f | 0x80;
    let h = hex(&b);
    format!("{}-{}-{}-{}-{}", &h[..8], &h[8..12], &h[12..16], &h[16..20], &h[20..])
}

/// A name that every file system takes: letters, digits, `-`, `_`, `.`; no dot ahead.
pub fn plain(name: &str) -> String {
    let good = |c: char| if c.is_alphanumeric() || "-_.".contains(c) { c } else { '_' };
    let name: String = name.chars().map(good).collect();
    let name = name.trim_start_matches('.');
    if name.is_empty() { "unnamed".to_owned() } else { name.to_owned() }
}

/// Date and time of UTC, as XML Schema writes them, so many seconds after 1970 began.
pub fn date_time(seconds: u64) -> String {
    let (days, time) = (seconds / 86400, seconds % 86400);
    // Days are counted from 1 March of year 0, so that a leap day ends a year.
    let z = days + 719_468;
    let era = z / 146_097;
    let day = z % 146_097;
    let year = (day - day / 1460 + day / 36_524 - day / 146_096) / 365;
    let of_year = day - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let date = of_year - (153 * month + 2) / 5 + 1;
    let (month, extra) = if month < 10 { (month + 3, 0) } else { (month - 9, 1) };
    let year = era * 400 + year + extra;
    format!("{year:04}-{month:02}-{date:02}T{:02}:{:02}:{:02}Z", time / 3600, time / 60 % 60, time % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_names() {
        assert_eq!(date_time(0), "1970-01-01T00:00:00Z");
        assert_eq!(date_time(951_782_399), "2000-02-28T23:59:59Z");
        assert_eq!(date_time(951_782_400), "2000-02-29T00:00:00Z");
        assert_eq!(date_time(4_107_542_400), "2100-03-01T00:00:00Z");
        assert_eq!((plain("../a b").as_str(), plain("..").as_str()), ("_a_b", "unnamed"));
        // FIPS 180-4's example.
        assert_eq!(hex(&Sha256::digest(b"abc"))[..16], *"ba7816bf8f01cfea");
    }
}
