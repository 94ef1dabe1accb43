//! A shot's own colours, at which everything that is handed over is measured.

use super::super::raster::interpretation;
use super::HandoffError;
use crate::engine::render::RenderError;
use crate::media::{ClipInfo, open};
use crate::picture::{Frame, Unpack};
use crate::show::{Shot, Show};

/// Frames of a shot that are looked at, spread evenly.
const FRAMES: u64 = 3;

/// Places across and down at which a frame is looked at.
const GRID: (u32, u32) = (96, 54);

/// A shot's colours.
pub struct Sampled {
    /// What is known of its source.
    pub info: ClipInfo,
    /// Frames that were looked at, counted from the shot's first as 0.
    pub frames: Vec<u64>,
    /// The one in the middle.
    pub frame: Frame,
    /// The camera's signal, R′G′B′, at the places, frame by frame.
    pub camera: Vec<[f64; 3]>,
}

/// Reads a shot's colours, as its file's pixels have them, ahead of framing.
///
/// # Errors
/// A source that cannot be opened, or a frame that cannot be read.
pub fn sample(show: &Show, shot: &Shot, dir: &std::path::Path) -> Result<Sampled, HandoffError> {
    let name = || shot.name.clone();
    let mut source = open(&shot.source_path(dir), &interpretation(show, shot))
        .map_err(|error| RenderError::Source { shot: name(), error })?;
    let length = shot.end - shot.start;
    let mut frames: Vec<u64> = (0..FRAMES).map(|i| length * (2 * i + 1) / (2 * FRAMES)).collect();
    frames.dedup();
    let (mut camera, mut middle) = (Vec::new(), None);
    for (i, number) in frames.iter().enumerate() {
        let frame = source.frame(shot.start + number).map_err(|error| RenderError::Media {
            shot: name(),
            frame: *number,
            error,
        })?;
        let unpack = Unpack::<f64>::of(&frame.format);
        let at = |i: u32, of: u32, side: u32| ((2 * i + 1) * side / (2 * of)).min(side - 1);
        for y in 0..GRID.1.min(frame.height) {
            for x in 0..GRID.0.min(frame.width) {
                let place = (
                    at(x, GRID.0.min(frame.width), frame.width),
                    at(y, GRID.1.min(frame.height), frame.height),
                );
                camera.push(unpack.at(&frame, place.0, place.1));
            }
        }
        if i == frames.len() / 2 {
            middle = Some(frame);
        }
    }
    let Some(frame) = middle else { return Err(HandoffError::Nothing) };
    Ok(Sampled { info: source.info().clone(), frames, frame, camera })
}
