//! The raster of a show that does not say its own.

use std::path::Path;

use crate::media::{Interpretation, MediaError, Rate, open};
use crate::show::{Shot, Show};

/// How a shot's source is read in a show.
pub(super) fn interpretation(show: &Show, shot: &Shot) -> Interpretation {
    let laid_on = Rate::new(show.rate.0, show.rate.1);
    Interpretation { range: shot.range, matrix: shot.matrix, laid_on, ..Interpretation::default() }
}

/// The size of every output of the show in `dir`, across and down: its raster, or the size of its first
/// shot's frames, for which that shot is opened. `None` for a show without either.
///
/// # Errors
/// That the first shot cannot be opened.
pub fn raster(show: &Show, dir: &Path) -> Result<Option<(u32, u32)>, MediaError> {
    match (show.raster, show.shots.first()) {
        (None, Some(shot)) => {
            let source = open(&shot.source_path(dir), &interpretation(show, shot))?;
            Ok(Some((source.info().width, source.info().height)))
        }
        (raster, _) => Ok(raster),
    }
}
