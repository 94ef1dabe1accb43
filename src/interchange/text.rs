//! Text in and numbers out, for all formats.

use super::Error;

/// The bytes as text, without a byte order mark.
pub(super) fn utf8(bytes: &[u8]) -> Result<&str, Error> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.strip_prefix('\u{feff}').unwrap_or(text)),
        Err(e) => Err(Error::NotUtf8 { line: 1 + newlines(&bytes[..e.valid_up_to()]) }),
    }
}

/// Line ends: LF, with or without CR.
pub(super) fn newlines(bytes: &[u8]) -> usize {
    bytes.iter().filter(|b| **b == b'\n').count()
}

/// The beginning of something found in a file, in quotes.
pub(super) fn excerpt(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut shown: String = text.trim().chars().take(LONGEST).collect();
    if text.trim().chars().nth(LONGEST).is_some() {
        shown.push('…');
    }
    format!("{shown:?}")
}

/// A number as a file shows it: the shortest digits that read back as the same, with an exponent only where
/// there would be many zeros.
pub(super) fn digits<N>(x: N) -> String
where
    N: Copy + Into<f64> + std::fmt::Display + std::fmt::LowerExp,
{
    let size = x.into().abs();
    if size != 0.0 && !(1e-6..1e12).contains(&size) { format!("{x:e}") } else { format!("{x}") }
}
