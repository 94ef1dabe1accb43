//! Undo and redo. The history only remembers; the changes that it hands out are applied by the caller,
//! on the same stream as all others.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use super::{Change, Slot};

/// A control that rests this long has ended its gesture.
pub const GESTURE_GAP: Duration = Duration::from_millis(500);

/// Steps that are remembered; the oldest are forgotten.
pub const MOST_STEPS: usize = 1000;

#[derive(Clone, Debug)]
struct Step {
    change: Change,
    inverse: Change,
}

#[derive(Debug)]
struct Gesture {
    slots: Vec<Slot>,
    control: u32,
    last: Instant,
}

/// What can be undone and redone.
#[derive(Debug, Default)]
pub struct History {
    done: VecDeque<Step>,
    undone: Vec<Step>,
    gesture: Option<Gesture>,
    /// A control that a hand has hold of.
    held: Option<u32>,
}

impl History {
    /// Remembers a change that was applied and the inverse that [`super::Show::apply`] gave for it.
    ///
    /// Changes that set the same slots from the same `control`, each less than [`GESTURE_GAP`] after the
    /// one before, become one step; while a hand [holds](Self::hold) the control, however long it rests. A
    /// parameter set to the value it has is no step.
    pub fn record(&mut self, change: Change, inverse: Change, control: u32, now: Instant) {
        let slots = change.slots();
        let goes_on = self.gesture.as_ref().is_some_and(|g| {
            slots.as_ref() == Some(&g.slots)
                && control == g.control
                && (self.held == Some(control) || now.saturating_duration_since(g.last) < GESTURE_GAP)
        });
        if !goes_on && sets_nothing(&change, &inverse) {
            return;
        }
        self.undone.clear();
        self.gesture = slots.map(|slots| Gesture { slots, control, last: now });
        match self.done.back_mut() {
            // The first inverse leads back to before the gesture.
            Some(step) if goes_on => step.change = change,
            _ => {
                if self.done.len() == MOST_STEPS {
                    self.done.pop_front();
                }
                self.done.push_back(Step { change, inverse });
            }
        }
    }

    /// A hand takes hold of a control: a gesture begins that ends when it [lets go](Self::let_go).
    pub fn hold(&mut self, control: u32) {
        self.let_go(control);
        self.held = Some(control);
    }

    /// A hand lets go of a control, which ends its gesture.
    pub fn let_go(&mut self, control: u32) {
        self.held = self.held.filter(|held| *held != control);
        self.gesture = self.gesture.take().filter(|g| g.control != control);
    }

    /// The change that takes the last step back, to be applied now and not recorded.
    pub fn undo(&mut self) -> Option<Change> {
        self.gesture = None;
        let step = self.done.pop_back()?;
        let inverse = step.inverse.clone();
        self.undone.push(step);
        Some(inverse)
    }

    /// The change that makes the last undone step again, to be applied now and not recorded.
    pub fn redo(&mut self) -> Option<Change> {
        self.gesture = None;
        let step = self.undone.pop()?;
        let change = step.change.clone();
        self.done.push_back(step);
        Some(change)
    }

    /// Steps that can be undone.
    pub fn undoable(&self) -> usize {
        self.done.len()
    }

    /// Steps that can be redone.
    pub fn redoable(&self) -> usize {
        self.undone.len()
    }
}

/// Does it only set parameters to what they are? A control turned on past the end of its range does.
fn sets_nothing(change: &Change, inverse: &Change) -> bool {
    match (change, inverse) {
        (Change::SetParameter { slot, value }, Change::SetParameter { value: before, .. }) => {
            slot.parameter().held(*value) == *before
        }
        (Change::Together(changes), Change::Together(inverses)) => {
            // Inverses are in the opposite order.
            changes.iter().zip(inverses.iter().rev()).all(|(c, i)| sets_nothing(c, i))
        }
        _ => false,
    }
}
