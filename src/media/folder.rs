//! Clips in a folder and in the folders below it.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use super::sources::sequences_in;

/// Endings of video files, without the dot.
const VIDEO: &[&str] =
    &["mov", "mp4", "m4v", "mxf", "mkv", "avi", "mts", "m2ts", "ts", "webm", "mpg", "mpeg", "y4m", "qt"];
/// Folders in folders that are looked into.
const DEEPEST: usize = 16;

/// Has a file's name the ending of a video?
fn is_video(path: &Path) -> bool {
    let ending = path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase);
    ending.is_some_and(|e| VIDEO.contains(&e.as_str()))
}

/// Every clip in a folder and below it, by its path: video files, and image sequences as patterns (`name.####.dpx`) or, where it is one
/// image, as that file. Hidden files and folders are left out, and so are links to folders above.
///
/// # Errors
/// That the folder itself cannot be read; folders below it that cannot are left out.
pub fn clips_in(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = BTreeSet::new();
    look_in(folder, DEEPEST, &mut found)?;
    Ok(found.into_iter().collect())
}

fn look_in(folder: &Path, depth: usize, found: &mut BTreeSet<PathBuf>) -> io::Result<()> {
    found.extend(sequences_in(folder)?);
    for entry in folder.read_dir()?.flatten() {
        if entry.file_name().to_string_lossy().starts_with('.') {
            continue;
        }
        let (path, is_link) = (entry.path(), entry.file_type().is_ok_and(|t| t.is_symlink()));
        if path.is_dir() && !is_link && depth > 0 {
            let _ = look_in(&path, depth - 1, found);
        } else if path.is_file() && is_video(&path) {
            found.insert(path);
        }
    }
    Ok(())
}
