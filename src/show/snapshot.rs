//! From the document to a recipe.

use super::{Shot, Show};
use crate::picture::{Decode, Recipe, Tail};

/// The recipe for frame number `frame` of shot number `shot` (from 0); `None` when there is no such shot. In a
/// show without a raster the picture is as large as its frame. Display-referred shots are taken back through the show's
/// output transform, whatever the tail.
pub fn recipe(show: &Show, shot: usize, tail: Tail, frame: u32) -> Option<Recipe> {
    let shot = show.shots.get(shot)?;
    let graded = Recipe::graded(shot.encoding, shot.balance, &show.chain_of(shot), tail);
    Some(graded.rendered_by(show.transform).at_frame(frame).framed(shot.framing, show.raster))
}

impl Show {
    /// How the frames of a shot become light of the scene: display-referred ones are taken back through the show's
    /// output transform.
    pub fn decode(&self, shot: &Shot) -> Decode {
        Decode { encoding: shot.encoding, rendered: self.transform }
    }
}
