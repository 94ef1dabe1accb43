//! What a file says of the camera it comes from and of its encoding, in its own words.

use std::path::Path;

/// Names and values as they stand in a file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hints {
    /// The camera, if the file names one: maker, model and serial number, as far as they are there.
    pub camera: Option<String>,
    /// Tags about camera and colour.
    pub tags: Vec<(String, String)>,
}

/// Parts of tags' names that are about the camera, and of those about colour (common practice: there is no standard).
const CAMERA: [&str; 5] = ["make", "manufacturer", "model", "serial", "cameraid"];
const COLOUR: [&str; 7] = ["gamma", "transfer", "colorspace", "color_space", "gamut", "primaries", "lut"];

impl Hints {
    fn add(&mut self, name: &str, value: &str) {
        let plain: String =
            name.to_lowercase().chars().filter(|c| c.is_ascii_alphanumeric() || *c == '_').collect();
        let value = value.trim().trim_end_matches('\0');
        let about = |words: &[&str]| words.iter().any(|w| plain.contains(w));
        if !value.is_empty() && value.len() < 200 && (about(&CAMERA) || about(&COLOUR)) {
            self.tags.push((name.to_owned(), value.to_owned()));
        }
    }

    fn named(mut self) -> Self {
        let is_camera = |name: &str| CAMERA.iter().any(|w| name.to_lowercase().contains(w));
        let mut words: Vec<&str> =
            self.tags.iter().filter(|(n, _)| is_camera(n)).map(|(_, v)| v.as_str()).collect();
        words.sort_unstable();
        words.dedup();
        self.camera = (!words.is_empty()).then(|| words.join(" "));
        self
    }
}

/// What a file says; nothing for what cannot be read, which is said elsewhere.
pub fn hints(file: &Path) -> Hints {
    let mut hints = Hints::default();
    match file.extension().and_then(|e| e.to_str()).map(str::to_lowercase).as_deref() {
        Some("exr") => exr(file, &mut hints),
        Some("dpx") => dpx(file, &mut hints),
        Some("png" | "tif" | "tiff") => {}
        _ => video(file, &mut hints),
    }
    hints.named()
}

fn exr(file: &Path, hints: &mut Hints) {
    use ::exr::meta::attribute::AttributeValue;
    let Ok(meta) = ::exr::meta::MetaData::read_from_file(file, false) else { return };
    let Some(header) = meta.headers.first() else { return };
    let c = header.shared_attributes.chromaticities;
    // SMPTE ST 2065-4: files of ACES2065-1 have exactly these.
    if c.is_some_and(|c| (c.red.0 - 0.7347).abs() < 1e-4 && (c.blue.1 + 0.077).abs() < 1e-4) {
        hints.tags.push(("chromaticities".into(), "ACES2065-1".into()));
    } else if c.is_some_and(|c| (c.red.0 - 0.713).abs() < 1e-4 && (c.blue.1 - 0.044).abs() < 1e-4) {
        hints.tags.push(("chromaticities".into(), "ACEScg".into()));
    }
    let others = header.own_attributes.other.iter().chain(&header.shared_attributes.other);
    let mut texts: Vec<_> = others
        .filter_map(|(name, value)| match value {
            AttributeValue::Text(text) => Some((name.to_string(), text.to_string())),
            _ => None,
        })
        .collect();
    texts.sort();
    texts.iter().for_each(|(name, value)| hints.add(name, value));
}

/// SMPTE ST 268-1: the input device's name is 32 bytes at 1556, its serial number the 32 behind that; the transfer
/// characteristic of the first element a byte at 801.
fn dpx(file: &Path, hints: &mut Hints) {
    use std::io::Read;
    let mut head = Vec::new();
    let Ok(open) = std::fs::File::open(file) else { return };
    if open.take(2048).read_to_end(&mut head).is_err() || head.len() < 1620 {
        return;
    }
    for (name, at) in [("device model", 1556), ("device serial", 1588)] {
        let bytes: Vec<u8> =
            head[at..at + 32].iter().copied().take_while(|b| (32..127).contains(b)).collect();
        hints.add(name, &String::from_utf8_lossy(&bytes));
    }
    let transfer = match head[801] {
        1 => "printing density",
        2 => "linear",
        3 => "logarithmic",
        5 => "SMPTE 274M",
        6 => "ITU-R 709",
        _ => return,
    };
    hints.add("transfer", transfer);
}

#[cfg(feature = "video")]
fn video(file: &Path, hints: &mut Hints) {
    // The crate would panic on other names, and FFmpeg look for a protocol in them.
    let Some(text) = file.to_str().filter(|t| !t.contains('\0')) else { return };
    let Ok(input) = ffmpeg_next::format::input(&format!("file:{text}")) else { return };
    for (name, value) in input.metadata().iter() {
        hints.add(name, value);
    }
    for stream in input.streams() {
        for (name, value) in stream.metadata().iter() {
            hints.add(name, value);
        }
    }
}

#[cfg(not(feature = "video"))]
fn video(_: &Path, _: &mut Hints) {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_about_camera_and_colour_are_kept() {
        let mut hints = Hints::default();
        for (name, value) in [
            ("com.example.make", "Anycam"),
            ("com.example.model", "One"),
            ("title", "A day"),
            ("gamma", "S-Log3\0"),
            ("model", ""),
        ] {
            hints.add(name, value);
        }
        let hints = hints.named();
        assert_eq!(hints.camera.as_deref(), Some("Anycam One"));
        assert_eq!(hints.tags.len(), 3);
        assert_eq!(hints.tags[2], ("gamma".to_owned(), "S-Log3".to_owned()));
    }

    #[test]
    fn what_is_not_there_says_nothing() {
        for name in ["gone.exr", "gone.dpx", "gone.mov"] {
            assert_eq!(hints(Path::new(name)), Hints::default());
        }
    }
}
