//! The chain: stages in three lists.

use super::{Declaration, Kind};

/// One stage in a chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Which stage.
    pub kind: Kind,
    /// Does it act at all?
    pub on: bool,
    /// How much of it acts.
    pub strength: f64,
    /// Its parameters, in the declaration's order.
    pub values: Vec<f64>,
}

impl Stage {
    /// A stage as designed: on, strength 1, every parameter at its default.
    pub fn new(kind: Kind) -> Self {
        Self { kind, on: true, strength: 1.0, values: kind.declaration().defaults() }
    }

    /// What is declared about it.
    pub fn declaration(&self) -> &'static Declaration {
        self.kind.declaration()
    }
}

/// Which of the chain's three lists.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum List {
    /// Ahead of the look; stays when another look is tried.
    Before,
    /// The look itself.
    Look,
    /// After the look; stays when another look is tried.
    Finish,
}

impl List {
    /// In the order light takes.
    pub const ALL: [Self; 3] = [Self::Before, Self::Look, Self::Finish];

    /// What files and addresses call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::Look => "look",
            Self::Finish => "finish",
        }
    }
}

/// A show's stages.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    /// Ahead of the look.
    pub before: Vec<Stage>,
    /// The look.
    pub look: Vec<Stage>,
    /// After the look.
    pub finish: Vec<Stage>,
    /// Strength of the look as a whole.
    pub look_strength: f64,
}

impl Default for Chain {
    fn default() -> Self {
        Self { before: Vec::new(), look: Vec::new(), finish: Vec::new(), look_strength: 1.0 }
    }
}

impl Chain {
    /// One of the lists.
    pub fn list(&self, list: List) -> &Vec<Stage> {
        match list {
            List::Before => &self.before,
            List::Look => &self.look,
            List::Finish => &self.finish,
        }
    }

    /// One of the lists, to change.
    pub fn list_mut(&mut self, list: List) -> &mut Vec<Stage> {
        match list {
            List::Before => &mut self.before,
            List::Look => &mut self.look,
            List::Finish => &mut self.finish,
        }
    }

    /// Every stage in the order light takes, with its effective strength.
    pub fn in_order(&self) -> impl Iterator<Item = (&Stage, f64)> {
        List::ALL.into_iter().flat_map(move |list| {
            let scale = if list == List::Look { self.look_strength } else { 1.0 };
            self.list(list).iter().map(move |s| (s, effective_strength(s, scale)))
        })
    }
}

/// What of a stage acts: `clamp(stage × look, 0, the stage's maximum)`, 0 when it is off.
pub fn effective_strength(stage: &Stage, look: f64) -> f64 {
    if stage.on { (stage.strength * look).clamp(0.0, stage.declaration().strength.max) } else { 0.0 }
}
