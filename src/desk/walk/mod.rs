//! A first walk through the desk: a few steps on the demo's show, each of which waits until the hand has done it.

mod card;
mod remembered;

use std::sync::Arc;

pub(super) use self::remembered::Remembered;
use crate::demo::scene;
use crate::engine::{Compare, Snapshot};
use crate::look::Stage;
use crate::picture::BalanceField;
use crate::show::Show;

/// One thing to do.
struct Step {
    title: &'static str,
    text: &'static str,
    /// The row that comes into hand when it begins.
    row: Option<&'static str>,
    /// Has it been done since it began?
    done: fn(&Then, &Now<'_>) -> bool,
}

/// In their order.
const STEPS: &[Step] = &[
    Step {
        title: "Turn exposure",
        text: "Exposure is in hand: its row on the right is lit. Press = or − a few times, drag the row, or turn the \
               panel's control that is called so below.",
        row: Some("balance/exposure"),
        done: |then, now| now.exposure() != then.exposure,
    },
    Step {
        title: "Try a look",
        text: "Press . for the next look of the library, and again for more of them. Nothing is changed by trying.",
        row: None,
        done: |_, now| now.s.trying.is_some(),
    },
    Step {
        title: "Keep it",
        text: "When you like one, Enter makes it the show's look. (Esc would go back to the one from before.)",
        row: None,
        done: |then, now| now.s.trying.is_none() && now.s.show.chain.look != then.look,
    },
    Step {
        title: "Set its strength",
        text: "Strength of the look is in hand now. Press − and =, or type 60 % and Enter: digits begin a value.",
        row: Some("look/strength"),
        done: |then, now| now.s.show.chain.look_strength != then.strength,
    },
    Step {
        title: "Compare",
        text: "Hold B: the picture without the grade. Let go, and the grade is back. L does that for the look alone.",
        row: None,
        done: |then, now| then.compared && now.s.compare == Compare::After,
    },
    Step {
        title: "Open the scopes",
        text: "Press V: waveform, vectorscope and histogram of the client's signal. Drag in them to push the picture.",
        row: None,
        done: |_, now| now.scopes,
    },
    Step {
        title: "Take a step back",
        text: "Ctrl Z takes the last step back, as often as you like; Ctrl Shift Z does it again.",
        row: None,
        done: |then, now| now.s.steps.1 > then.undone,
    },
];

/// What a step began with.
#[derive(Clone, Debug)]
struct Then {
    exposure: f64,
    strength: f64,
    look: Vec<Stage>,
    undone: usize,
    /// Was the picture without the grade on view since?
    compared: bool,
}

/// What there is now.
struct Now<'a> {
    s: &'a Snapshot,
    scopes: bool,
}

impl Now<'_> {
    fn exposure(&self) -> f64 {
        self.s.show.shots.get(self.s.shot).map_or(0.0, |shot| shot.balance.get(BalanceField::Exposure))
    }

    fn then(&self) -> Then {
        Then {
            exposure: self.exposure(),
            strength: self.s.show.chain.look_strength,
            look: self.s.show.chain.look.clone(),
            undone: self.s.steps.1,
            compared: false,
        }
    }
}

/// Where somebody is on the walk.
#[derive(Clone, Debug, Default)]
pub(super) enum Walk {
    /// Nowhere.
    #[default]
    Away,
    /// It is offered.
    Offered,
    /// At a step, from 0, which began so.
    At(usize, Box<Place>),
    /// All is done.
    Over,
}

/// What a step remembers.
#[derive(Clone, Debug)]
pub(super) struct Place(Then);

impl Walk {
    /// Begins at the first step, whatever was before. The row that it wants in hand, if it wants one.
    pub fn begin(&mut self, s: &Snapshot, scopes: bool) -> Option<Arc<str>> {
        self.enter(0, &Now { s, scopes })
    }

    /// Begins it, or leaves it where it has begun.
    pub fn toggle(&mut self, s: &Snapshot, scopes: bool) -> Option<Arc<str>> {
        match self {
            Self::At(..) => {
                *self = Self::Away;
                None
            }
            _ => self.begin(s, scopes),
        }
    }

    /// Esc leaves what only waits to be answered.
    pub fn leave_card(&mut self) -> bool {
        let waits = matches!(self, Self::Offered | Self::Over);
        if waits {
            *self = Self::Away;
        }
        waits
    }

    /// Goes on if what the step asks for has been done. The row that the next one wants in hand.
    pub fn follow(&mut self, s: &Snapshot, scopes: bool) -> Option<Arc<str>> {
        let Self::At(at, place) = self else { return None };
        let now = Now { s, scopes };
        place.0.compared |= s.compare == Compare::Before;
        if !(STEPS[*at].done)(&place.0, &now) {
            return None;
        }
        let next = *at + 1;
        self.enter(next, &now)
    }

    fn enter(&mut self, at: usize, now: &Now<'_>) -> Option<Arc<str>> {
        let Some(step) = STEPS.get(at) else {
            *self = Self::Over;
            return None;
        };
        *self = Self::At(at, Box::new(Place(now.then())));
        step.row.map(Into::into)
    }
}

/// Is it the demo's show, on which the walk is offered?
pub(super) fn is_demo(show: &Show) -> bool {
    !show.shots.is_empty() && show.shots.iter().all(|shot| scene(&shot.name).is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_offered_once() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("own/walk");
        let remembered = Remembered::at(file.clone());
        assert!(!remembered.was_offered());
        remembered.offered();
        let start = std::time::Instant::now();
        while !file.exists() {
            assert!(start.elapsed().as_secs() < 20, "it is written");
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        assert!(Remembered::at(file).was_offered());
    }

    #[test]
    fn the_demo_is_known_by_its_shots() {
        let mut show = Show::new("a show");
        assert!(!is_demo(&show));
        let camera = crate::colour::encoding("logc4").unwrap();
        let shot = |name: &str| crate::show::Shot::new(name, "a.mov", 0..1, camera);
        show.shots = vec![shot("platform"), shot("corridor")];
        assert!(is_demo(&show));
        show.shots.push(shot("my own"));
        assert!(!is_demo(&show));
    }
}
