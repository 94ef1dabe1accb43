//! The raster of a show that does not say its own.

use std::path::Path;

use crate::media::{Interpretation, MediaError, open};
use crate::show::{Shot, Show};

/// How a shot's source is read.
pub(super) fn interpretation(shot: &Shot) -> Interpretation {
    Interpretation { range: shot.range, matrix: shot.matrix, ..Interpretation::default() }
}

/// The size of every output of the show in `dir`, across and down: its raster, or the size of its first
/// shot's frames, for which that shot is opened. `None` for a show without either.
///
/// # Errors
/// That the first shot cannot be opened.
pub fn raster(show: &Show, dir: &Path) -> Result<Option<(u32, u32)>, MediaError> {
    match (show.raster, show.shots.first()) {
        (None, Some(shot)) => {
            let source = open(&shot.source_path(dir), &interpretation(shot))?;
            Ok(Some((source.info().width, source.info().height)))
        }
        (raster, _) => Ok(raster),
    }
}
