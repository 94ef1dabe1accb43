//! Stages from one look into another.

use super::{Change, Look, LookFile, Show, ShowError, StageKey, source_in_show};
use crate::look::{Chain, List};
use std::path::Path;

impl Show {
    /// The change that puts a copy of a look's stage into this show's look: at place `at` (from 0), or where a stage of its
    /// kind belongs there ([`Chain::place_in_look`]). A LUT's file becomes relative to the show's `folder` when inside it.
    ///
    /// # Errors
    /// [`ShowError::Change`] when the look has no such stage.
    pub fn take_stage(
        &self,
        folder: &Path,
        look: &Look,
        key: StageKey,
        at: Option<usize>,
    ) -> Result<Change, ShowError> {
        let mut stage = look.stage(key)?.clone();
        if let Some(lut) = &mut stage.lut {
            lut.file = source_in_show(folder, &lut.file);
        }
        let at = at.unwrap_or_else(|| self.chain.place_in_look(stage.kind));
        Ok(Change::AddStage { list: List::Look, at, stage })
    }

    /// The show's look as one that can go into any show, with the name, note and intent of the look that it was. `folder` is
    /// the show's.
    pub fn look(&self, folder: &Path) -> Look {
        let mut stages = self.chain.look.clone();
        for lut in stages.iter_mut().filter_map(|s| s.lut.as_mut()) {
            let path = folder.join(&lut.file);
            lut.file = std::path::absolute(&path).unwrap_or(path);
        }
        let origin = self.chain.origin.as_ref();
        Look {
            name: origin.map_or_else(|| self.name.clone(), |o| o.name.clone()),
            note: origin.map_or_else(String::new, |o| o.note.clone()),
            intent: origin.and_then(|o| o.intent),
            stages,
        }
    }
}

impl LookFile {
    /// Puts a copy of another look's stage into this one, `whole` being it with the stages of its base: at place `at` of
    /// these (from 0), or where a stage of its kind belongs. Returns its place.
    ///
    /// # Errors
    /// [`ShowError::Change`] when the look has no such stage, for a place that there is not or that is the base's, and for
    /// more LUTs than a chain has places for.
    pub fn take_stage(
        &mut self,
        whole: &Look,
        look: &Look,
        key: StageKey,
        at: Option<usize>,
    ) -> Result<usize, ShowError> {
        let stage = look.stage(key)?;
        let mut show = Show::new("");
        show.chain = Chain { look: whole.stages.clone(), ..Chain::default() };
        let at = at.unwrap_or_else(|| show.chain.place_in_look(stage.kind));
        show.apply(Change::AddStage { list: List::Look, at, stage: stage.clone() })?;
        let first = whole.stages.len() - self.stages.len();
        let Some(own) = at.checked_sub(first) else {
            let base = self.base.as_ref().map_or("", |b| &b.name);
            return Err(ShowError::change(
                format!(
                    "place {} is one of {first} that are those of {base}, which this look is based on",
                    at + 1
                ),
                format!("place {} or a later one, or a look that has all its stages itself", first + 1),
            ));
        };
        self.stages.insert(own, stage.clone());
        Ok(at)
    }
}
