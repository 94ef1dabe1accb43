//! What a clip is known by when it is no longer where it was.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{ClipInfo, Interpretation, clips_in, open};

/// The file in a show's folder that keeps what its clips are known by.
pub const MEDIA_FILE: &str = "media.toml";

/// Bytes from a file's beginning, middle and end that its short hash is of.
const PIECE: u64 = 65_536;

/// What a clip is known by.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// Its file's name, or its sequence's with `####`.
    pub name: String,
    /// Frames.
    pub frames: u64,
    /// Bytes of the file, or of a sequence's first.
    pub bytes: u64,
    /// Frames from midnight to its first, if it carries timecode.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub timecode: Option<u64>,
    /// The beginning of the SHA-256 of pieces of that file.
    pub hash: String,
}

/// The beginning of a SHA-256, for things that nobody forges.
pub fn short_hash(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().take(8).map(|b| format!("{b:02x}")).collect()
}

/// The short hash of a file: of its length, and of 64 KiB each from its beginning, its middle and its end.
///
/// # Errors
/// What the system says.
pub fn hash_of(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let length = file.metadata()?.len();
    let mut bytes = length.to_le_bytes().to_vec();
    for start in [0, length / 2, length.saturating_sub(PIECE)] {
        file.seek(SeekFrom::Start(start))?;
        (&mut file).take(PIECE).read_to_end(&mut bytes)?;
    }
    Ok(short_hash(&bytes))
}

impl Identity {
    /// That of a clip that is there.
    ///
    /// # Errors
    /// What the system says.
    pub fn of(info: &ClipInfo) -> io::Result<Self> {
        Ok(Self {
            name: info.name.clone(),
            frames: info.frames,
            bytes: fs::metadata(&info.path)?.len(),
            timecode: info.timecode_start,
            hash: hash_of(&info.path)?,
        })
    }
}

/// What the clips of a show are known by, by their sources as the show writes them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct KnownMedia {
    /// The clips.
    #[serde(default)]
    pub clip: BTreeMap<String, Identity>,
}

impl KnownMedia {
    /// Reads what a show's folder has; nothing where there is nothing, or nothing that can be read.
    pub fn load(folder: &Path) -> Self {
        let text = fs::read_to_string(folder.join(MEDIA_FILE)).unwrap_or_default();
        toml::from_str(&text).unwrap_or_default()
    }

    /// The file's text.
    pub fn text(&self) -> String {
        let head = "# What the clips of this show are known by, so that they are found again when they have moved. May be deleted.\n\n";
        head.to_owned() + &toml::to_string(self).unwrap_or_default()
    }

    /// What a source is known by.
    pub fn get(&self, source: &Path) -> Option<&Identity> {
        self.clip.get(source.to_string_lossy().as_ref())
    }

    /// Notes down what a source is known by.
    pub fn note(&mut self, source: &Path, identity: Identity) {
        self.clip.insert(source.to_string_lossy().into_owned(), identity);
    }
}

/// How sure it is that a clip is another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Likeness {
    /// The name, and enough frames.
    Name,
    /// Name and timecode, or name and size.
    NameAndMore,
    /// Size, timecode and the short hash, whatever it is called.
    Contents,
}

impl Likeness {
    /// In words.
    pub const fn text(self) -> &'static str {
        match self {
            Self::Name => "the same name",
            Self::NameAndMore => "the same name, and the same size or timecode",
            Self::Contents => "the same contents",
        }
    }
}

/// A clip that may be one that is missing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Candidate {
    /// Where it is.
    pub path: PathBuf,
    /// How sure that is.
    pub likeness: Likeness,
}

/// Clips below a folder, looked at once and asked for many.
pub struct Finder {
    clips: Vec<(PathBuf, String)>,
}

impl Finder {
    /// Looks through a folder and those below it.
    ///
    /// # Errors
    /// That it cannot be read.
    pub fn new(folder: &Path) -> io::Result<Self> {
        let name = |p: &Path| p.file_name().map_or(String::new(), |n| n.to_string_lossy().to_lowercase());
        Ok(Self { clips: clips_in(folder)?.into_iter().map(|p| (p.clone(), name(&p))).collect() })
    }

    /// How many clips there are.
    pub fn count(&self) -> usize {
        self.clips.len()
    }

    /// Clips that may be `source`, the likeliest first. `known` is what it is known by, `frames` how many of it are needed.
    pub fn candidates(&self, source: &Path, known: Option<&Identity>, frames: u64) -> Vec<Candidate> {
        let own = source.file_name().map_or(String::new(), |n| n.to_string_lossy().to_lowercase());
        let name = known.map_or(own.clone(), |k| k.name.to_lowercase());
        let mut found = Vec::new();
        for (path, clip) in &self.clips {
            let named = *clip == name || *clip == own;
            // Another name is looked into only if its size is right: opening every clip would take long.
            let sized = known.is_some_and(|k| first_file(path).is_some_and(|f| size(&f) == Some(k.bytes)));
            if !named && !sized {
                continue;
            }
            let Ok(opened) = open(path, &Interpretation::default()) else { continue };
            let info = opened.info();
            if info.frames < frames {
                continue;
            }
            let timecode = known.is_some_and(|k| k.timecode.is_some() && k.timecode == info.timecode_start);
            let same = sized && known.is_some_and(|k| hash_of(&info.path).is_ok_and(|h| h == k.hash));
            let likeness = match (same, named) {
                (true, _) => Likeness::Contents,
                (_, true) if sized || timecode => Likeness::NameAndMore,
                (_, true) => Likeness::Name,
                _ => continue,
            };
            found.push(Candidate { path: path.clone(), likeness });
        }
        found.sort_by(|a, b| b.likeness.cmp(&a.likeness).then_with(|| a.path.cmp(&b.path)));
        found
    }
}

fn size(path: &Path) -> Option<u64> {
    fs::metadata(path).ok().map(|d| d.len())
}

/// The file that a clip's size is that of: itself, or the first that fits its pattern.
fn first_file(path: &Path) -> Option<PathBuf> {
    if path.is_file() {
        return Some(path.to_owned());
    }
    super::sources::first_of_pattern(path)
}
