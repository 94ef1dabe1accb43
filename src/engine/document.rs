//! The document as the engine holds it: changed, undone, saved in time.

use std::sync::Arc;
use std::time::Instant;

use crate::look::Parameter;
use crate::picture::FramingField;
use crate::show::{Address, Autosave, Change, History, Show, Slot};

/// Control number of the first panel's port; below it are keyboard, mouse and commands.
pub(super) const PANEL_CONTROLS: u32 = 1000;

/// The show, its history, and the shot in hand.
pub(super) struct Document {
    pub show: Arc<Show>,
    pub history: History,
    pub autosave: Autosave,
    pub shot: usize,
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
            show: Arc::new(show),
            history: History::default(),
            autosave: Autosave::default(),
            shot: 0,
            revision: 0,
            refused: None,
            unsaved_because: None,
        }
    }

    /// Applies a change and remembers how to take it back.
    pub fn change(&mut self, change: Change, control: u32, now: Instant) {
        match Arc::make_mut(&mut self.show).apply(change.clone()) {
            Ok(inverse) => {
                self.history.record(change, inverse, control, now);
                self.touched(now);
            }
            Err(e) => self.refused = Some(e.to_string().into()),
        }
    }

    /// Applies what the history handed out.
    pub fn again(&mut self, change: Option<Change>, now: Instant) {
        let Some(change) = change else { return };
        // A person sees what is taken back.
        if let Some(shot) = change.shot() {
            self.shot = shot;
        }
        match Arc::make_mut(&mut self.show).apply(change) {
            Ok(_) => self.touched(now),
            Err(e) => self.refused = Some(e.to_string().into()),
        }
    }

    fn touched(&mut self, now: Instant) {
        self.autosave.note_change(now);
        self.revision += 1;
        self.refused = None;
        self.shot = self.shot.min(self.show.shots.len().saturating_sub(1));
    }

    /// The change that fits the shot in hand the other way.
    pub fn other_fitting(&self) -> Option<Change> {
        let framing = self.show.shots.get(self.shot)?.framing;
        let field = FramingField::Fitting;
        let value = framing.fitted(framing.fitting().other()).get(field);
        Some(Change::SetParameter { slot: Slot::Framing { shot: self.shot, field }, value })
    }

    fn slot(&self, target: &str) -> Option<Slot> {
        self.show.resolve(&Address::parse(target).ok()?, self.shot)
    }

    /// Where a parameter stands in its range, 0…1.
    pub fn position(&self, target: &str) -> Option<f64> {
        let slot = self.slot(target)?;
        Some(slot.parameter().position(self.show.get(slot)?))
    }

    /// A parameter's value as a person reads it.
    pub fn value(&self, target: &str) -> Option<String> {
        let slot = self.slot(target)?;
        Some(slot.parameter().show(self.show.get(slot)?))
    }

    /// The change that moves a parameter; `to` makes its new value from the parameter and the old one.
    pub fn moved(&self, target: &str, to: impl FnOnce(&Parameter, f64) -> f64) -> Option<Change> {
        let slot = self.slot(target)?;
        let parameter = slot.parameter();
        Some(Change::SetParameter { slot, value: parameter.held(to(parameter, self.show.get(slot)?)) })
    }
}
