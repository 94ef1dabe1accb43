//! Trying looks: the library's looks in the place of the show's own, one by one, with nothing lost.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Instant;

use super::core::Engine;
use super::document::Document;
use super::input::Compare;
use super::snapshot::Trying;
use super::targets::look_place;
use crate::look::List;
use crate::picture::{Recipe, Structure, Target};
use crate::show::{self, Change, Look, Show, Slot, recipe as recipe_of, shipped_looks};

/// The looks that can be tried, and the one that is on trial.
pub(super) struct Trial {
    pub library: Arc<[Look]>,
    on: Option<OnTrial>,
}

/// A look that is on view in the place of the show's own, which stays what is saved.
struct OnTrial {
    at: usize,
    /// The show with that look, its strength 1.
    shown: Arc<Show>,
}

impl Default for Trial {
    fn default() -> Self {
        Self { library: shipped_looks().into(), on: None }
    }
}

impl Trial {
    /// What is said of it; `own` is the show without it.
    pub fn state(&self, own: &Arc<Show>) -> Option<Trying> {
        let on = self.on.as_ref()?;
        let look = &self.library[on.at];
        let (name, note) = (look.name.as_str().into(), look.note.as_str().into());
        Some(Trying { at: on.at, of: self.library.len(), name, note, own: own.clone() })
    }
}

fn with_look(show: &Show, look: &Look) -> Result<Arc<Show>, show::ShowError> {
    let mut show = show.clone();
    show.apply(look.change(1.0))?;
    Ok(Arc::new(show))
}

impl Document {
    /// The show as it is seen: with the look that is on trial, if one is.
    pub fn seen(&self) -> &Arc<Show> {
        self.trial.on.as_ref().map_or(&self.show, |on| &on.shown)
    }

    /// Is a look on trial?
    pub fn is_trying(&self) -> bool {
        self.trial.on.is_some()
    }

    /// Where the look that is tried stands in the library, 0…1, the show's own before the first.
    pub fn look_place(&self) -> f64 {
        look_place(self.trial.on.as_ref().map(|on| on.at), self.trial.library.len())
    }

    /// The look at a place of that; `None` for the show's own.
    pub fn look_of_place(&self, place: f64) -> Option<usize> {
        let number = (place * self.trial.library.len() as f64).round() as usize;
        number.checked_sub(1)
    }

    /// What is said of the look that is tried.
    pub fn look_name(&self) -> &str {
        self.trial.on.as_ref().map_or("the show's own", |on| &self.trial.library[on.at].name)
    }

    /// Another look in the place of the show's own, until it is kept or left.
    pub fn try_look(&mut self, at: usize) {
        let Some(look) = self.trial.library.get(at) else { return };
        match with_look(&self.show, look) {
            Ok(shown) => {
                self.trial.on = Some(OnTrial { at, shown });
                self.refused = None;
                self.revision += 1;
                self.another_look();
            }
            Err(e) => self.refused = Some(format!("{}: {e}", look.name).into()),
        }
    }

    /// The look `by` places on in the library, which is a ring with the show's own look between its last and its first.
    /// Looks that the show cannot have are passed over.
    pub fn step_look(&mut self, by: i64) {
        let count = self.trial.library.len() as i64 + 1;
        let mut place = self.trial.on.as_ref().map_or(0, |on| on.at as i64 + 1);
        let (mut left, step) = (by, by.signum());
        for _ in 0..count {
            let go = if left == 0 { step } else { left };
            place = (place + go).rem_euclid(count);
            left = 0;
            if place == 0 {
                return self.leave_look();
            }
            self.try_look(place as usize - 1);
            if self.refused.is_none() {
                return;
            }
        }
    }

    /// The show's own look again.
    pub fn leave_look(&mut self) {
        self.refused = None;
        if self.trial.on.take().is_some() {
            self.revision += 1;
            self.another_look();
        }
    }

    /// What is on trial becomes the show's own look: one step to undo.
    pub fn keep_look(&mut self, control: u32, now: Instant) {
        if let Some(on) = self.trial.on.take() {
            let change = self.trial.library[on.at].change(1.0);
            // It is seen already: whoever has a hand on it keeps it there.
            let (focus, footing) = (self.focus, self.footing);
            self.change(change, control, now);
            (self.focus, self.footing) = (focus, footing);
        }
    }

    /// Another library. What is on trial stays if it is in that, too.
    pub fn set_library(&mut self, library: Arc<[Look]>) {
        let on = self.trial.on.as_ref().map(|on| self.trial.library[on.at].clone());
        self.trial.library = library;
        if let Some(look) = on {
            match self.trial.library.iter().position(|l| *l == look) {
                Some(at) => self.trial.on.iter_mut().for_each(|on| on.at = at),
                None => self.leave_look(),
            }
        }
    }

    /// A change is about to be made: one of the look is made to what is seen, so that is kept first.
    ///
    /// # Errors
    /// As the change, when it cannot be made; the look stays on trial then.
    pub(super) fn settle_trial(
        &mut self,
        change: &Change,
        control: u32,
        now: Instant,
    ) -> Result<(), show::ShowError> {
        if self.trial.on.is_none() || !is_of_look(change) {
            return Ok(());
        }
        Show::clone(self.seen()).apply(change.clone())?;
        if replaces_look(change) {
            self.leave_look();
        } else {
            self.keep_look(control, now);
        }
        Ok(())
    }

    /// The show has changed under the look that is on trial.
    pub(super) fn follow_trial(&mut self) {
        let Some(on) = &mut self.trial.on else { return };
        match with_look(&self.show, &self.trial.library[on.at]) {
            Ok(shown) => on.shown = shown,
            Err(_) => self.leave_look(),
        }
    }
}

/// Does a change put another look in the place of the show's, whichever that was?
fn replaces_look(change: &Change) -> bool {
    match change {
        Change::ReplaceLook { .. } => true,
        Change::Together(changes) => changes.iter().any(replaces_look),
        _ => false,
    }
}

/// Does a change touch the look's stages or its strength?
fn is_of_look(change: &Change) -> bool {
    use Change::*;
    match change {
        SetParameter { slot, .. } => match slot {
            Slot::LookStrength => true,
            Slot::Strength { list, .. } | Slot::Parameter { list, .. } => *list == List::Look,
            _ => false,
        },
        SetStageOn { list, .. }
        | AddStage { list, .. }
        | RemoveStage { list, .. }
        | MoveStage { list, .. }
        | SetLut { list, .. } => *list == List::Look,
        ReplaceLook { .. } | SetOrigin(_) => true,
        Together(changes) => changes.iter().any(is_of_look),
        _ => false,
    }
}

/// What was made ready for stepping through the library.
#[derive(Default)]
pub(super) struct Readied {
    /// What the plans were made for: the passes without a look, the pictures they go to, and the library.
    of: Option<(Vec<Structure>, Target, Arc<[Look]>)>,
    /// Plans that are not asked for yet, in order.
    left: VecDeque<Structure>,
}

impl Engine {
    /// Asks for plans ahead of all that are not asked for yet.
    pub(super) fn ready_soon(&mut self, plans: Vec<Structure>) {
        for structure in plans.into_iter().rev() {
            self.readied.left.push_front(structure);
        }
    }

    /// Asks for the plans of every look of the library between the show's `before` and `finish`.
    pub(super) fn ready_library(&mut self, recipe: &Recipe, target: Target) {
        let mut bare = recipe.clone();
        self.leave_out(&mut bare, Compare::WithoutLook);
        let bare = Structure::of_parts(&bare.parts(), Target::Half, target);
        let library = self.document.trial.library.clone();
        let same = |of: &(Vec<Structure>, Target, Arc<[Look]>)| {
            of.0 == bare && of.1 == target && Arc::ptr_eq(&of.2, &library)
        };
        if self.readied.of.as_ref().is_some_and(same) {
            return;
        }
        let show = &self.document.show;
        let mut left: Vec<Structure> = Vec::new();
        for look in library.iter() {
            let Ok(show) = with_look(show, look) else { continue };
            let made = recipe_of(&show, self.document.shot, recipe.tail.clone(), 0);
            let Some(made) = made else { continue };
            for structure in Structure::of_parts(&made.parts(), Target::Half, target) {
                if !left.contains(&structure) {
                    left.push(structure);
                }
            }
        }
        self.readied.of = Some((bare, target, library));
        self.readied.left = std::mem::take(&mut self.readied.left).into_iter().chain(left).collect();
    }

    /// Has the next plan compiled, if none is: one after the other, so that what the hand asks for meanwhile waits for
    /// one of them at most.
    pub(super) fn ready_next(&mut self) {
        while let Some(structure) = self.readied.left.front() {
            let wake = self.wake.clone();
            let pipelines = &self.gpu.pipelines;
            if pipelines.ready(structure, move || wake()).is_none() && pipelines.failure(structure).is_none()
            {
                return;
            }
            self.readied.left.pop_front();
            self.stale |= self.readied.left.is_empty();
        }
    }

    /// Are the plans of every look ready?
    pub(super) fn library_is_ready(&self) -> bool {
        self.readied.of.is_some() && self.readied.left.is_empty()
    }
}
