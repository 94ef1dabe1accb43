//! The document as the engine holds it: changed, undone, saved in time.

use std::sync::Arc;
use std::time::Instant;

use super::targets::Focus;
use super::trial::Trial;
use crate::look::List;
use crate::picture::FramingField;
use crate::show::{Autosave, Change, History, Show, ShowError, Slot};

/// Control number of the first panel's port; below it are keyboard, mouse and commands.
pub(super) const PANEL_CONTROLS: u32 = 1000;

/// Control numbers of each port, one for each control of its map.
pub(super) const PORT_CONTROLS: u32 = 10_000;

/// Control number of OSC's first surface.
pub(super) const OSC_CONTROLS: u32 = 1 << 30;

/// The show, its history, and the shot in hand.
pub(super) struct Document {
    pub show: Arc<Show>,
    pub history: History,
    pub autosave: Autosave,
    /// Looks that are tried.
    pub trial: Trial,
    pub shot: usize,
    /// Does the shot in hand stand elsewhere than when playback last asked?
    pub reordered: bool,
    /// The stage in focus.
    pub focus: Option<Focus>,
    /// Counts what makes addresses lead to other parameters than before.
    pub footing: u64,
    /// Counts everything that makes pictures differ.
    pub revision: u64,
    /// Why the last change was refused.
    pub refused: Option<Arc<str>>,
    /// Why the last save failed; until one succeeds.
    pub unsaved_because: Option<Arc<str>>,
}

impl Document {
    pub fn new(show: Show) -> Self {
        Self {
            focus: Focus::first(&show.chain),
            footing: 0,
            show: Arc::new(show),
            history: History::default(),
            autosave: Autosave::default(),
            trial: Trial::default(),
            shot: 0,
            reordered: false,
            revision: 0,
            refused: None,
            unsaved_because: None,
        }
    }

    /// Applies a change and remembers how to take it back.
    pub fn change(&mut self, change: Change, control: u32, now: Instant) {
        if let Err(e) = self.settle_trial(&change, control, now) {
            self.refused = Some(e.to_string().into());
            return;
        }
        match Arc::make_mut(&mut self.show).apply(change.clone()) {
            Ok(inverse) => {
                self.follow_shot(&change);
                self.touched(now);
                self.follow(&change);
                self.history.record(change, inverse, control, now);
            }
            Err(e) => self.refused = Some(e.to_string().into()),
        }
    }

    /// The same with a change that may have been refused already.
    pub fn change_if(&mut self, change: Result<Change, ShowError>, control: u32, now: Instant) {
        match change {
            Ok(change) => self.change(change, control, now),
            Err(e) => self.refused = Some(e.to_string().into()),
        }
    }

    /// Applies what the history handed out.
    pub fn again(&mut self, change: Option<Change>, now: Instant) {
        let Some(change) = change else { return };
        // A person sees what is taken back.
        if let Some(shot) = change.shot().filter(|shot| *shot != self.shot) {
            self.shot = shot;
            self.footing += 1;
        }
        match Arc::make_mut(&mut self.show).apply(change.clone()) {
            Ok(_) => {
                self.follow_shot(&change);
                self.touched(now);
                self.follow(&change);
            }
            Err(e) => self.refused = Some(e.to_string().into()),
        }
    }

    fn touched(&mut self, now: Instant) {
        self.autosave.note_change(now);
        self.revision += 1;
        self.refused = None;
        self.follow_trial();
        self.shot = self.shot.min(self.show.shots.len().saturating_sub(1));
    }

    /// The change that fits the shot in hand the other way.
    pub fn other_fitting(&self) -> Option<Change> {
        let framing = self.show.shots.get(self.shot)?.framing;
        let field = FramingField::Fitting;
        let value = framing.fitted(framing.fitting().other()).get(field);
        Some(Change::SetParameter { slot: Slot::Framing { shot: self.shot, field }, value })
    }

    /// The stage in focus stays in focus where it goes, and what absolute controls stood for is not that any more.
    fn follow(&mut self, change: &Change) {
        if change.slots().is_some() {
            return;
        }
        let before = self.focus;
        self.focus = self.focus.and_then(|focus| focus.after(change));
        if !self.focus.is_some_and(|focus| focus.is_in(&self.seen().chain)) {
            self.focus = Focus::first(&self.seen().chain);
        }
        if change.moves_addresses() || self.focus != before {
            self.footing += 1;
        }
    }

    /// Another look is seen than before, without a change.
    pub fn another_look(&mut self) {
        if self.focus.is_none_or(|focus| focus.list == List::Look || !focus.is_in(&self.seen().chain)) {
            self.focus = Focus::first(&self.seen().chain);
        }
        self.footing += 1;
    }

    /// Another stage comes into focus.
    pub fn look_at(&mut self, focus: Option<Focus>) {
        if focus != self.focus && focus.is_none_or(|focus| focus.is_in(&self.seen().chain)) {
            self.focus = focus;
            self.footing += 1;
        }
    }
}
