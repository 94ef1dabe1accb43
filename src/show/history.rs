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
    /// Which of the steps it is.
    step: usize,
}

/// What can be undone and redone.
#[derive(Debug, Default)]
pub struct History {
    done: VecDeque<Step>,
    undone: Vec<Step>,
    /// Gestures that may go on: one for each control, since two hands turn two of them at a time.
    gestures: Vec<Gesture>,
    /// Controls that hands have hold of.
    held: Vec<u32>,
}

impl History {
    /// Remembers a change that was applied and the inverse that [`super::Show::apply`] gave for it.
    ///
    /// Changes that set the same slots from the same `control`, each less than [`GESTURE_GAP`] after the
    /// one before, become one step; while a hand [holds](Self::hold) the control, however long it rests. What
    /// other controls do meanwhile to other parameters is a step of its own and ends nothing. A
    /// parameter set to the value it has is no step.
    pub fn record(&mut self, change: Change, inverse: Change, control: u32, now: Instant) {
        let slots = change.slots();
        let Self { done, gestures, held, .. } = self;
        gestures.retain(|g| held.contains(&g.control) || now.saturating_duration_since(g.last) < GESTURE_GAP);
        let goes_on = gestures.iter().position(|g| {
            control == g.control && slots.as_ref() == Some(&g.slots) && is_apart(done, g.step, &g.slots)
        });
        if goes_on.is_none() && sets_nothing(&change, &inverse) {
            return;
        }
        self.undone.clear();
        if let Some(at) = goes_on {
            // The first inverse leads back to before the gesture.
            self.done[gestures[at].step].change = change;
            gestures[at].last = now;
            return;
        }
        // Whoever goes on to other parameters has ended what was before.
        gestures.retain(|g| g.control != control);
        if done.len() == MOST_STEPS {
            done.pop_front();
            gestures.retain_mut(|g| {
                let kept = g.step > 0;
                g.step = g.step.saturating_sub(1);
                kept
            });
        }
        gestures.extend(slots.map(|slots| Gesture { slots, control, last: now, step: done.len() }));
        done.push_back(Step { change, inverse });
    }

    /// A hand takes hold of a control: a gesture begins that ends when it [lets go](Self::let_go).
    pub fn hold(&mut self, control: u32) {
        self.let_go(control);
        self.held.push(control);
    }

    /// A hand lets go of a control, which ends its gesture.
    pub fn let_go(&mut self, control: u32) {
        self.held.retain(|held| *held != control);
        self.gestures.retain(|g| g.control != control);
    }

    /// The change that takes the last step back, to be applied now and not recorded.
    pub fn undo(&mut self) -> Option<Change> {
        self.gestures.clear();
        let step = self.done.pop_back()?;
        let inverse = step.inverse.clone();
        self.undone.push(step);
        Some(inverse)
    }

    /// The change that makes the last undone step again, to be applied now and not recorded.
    pub fn redo(&mut self) -> Option<Change> {
        self.gestures.clear();
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

/// Do all steps after one leave its slots alone, so that it can go on under them?
fn is_apart(done: &VecDeque<Step>, step: usize, slots: &[Slot]) -> bool {
    done.iter().skip(step + 1).all(|later| {
        later.change.slots().is_some_and(|others| others.iter().all(|other| !slots.contains(other)))
    })
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
