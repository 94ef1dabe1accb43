//! The chain: stages in three lists.

use super::{Declaration, Kind, NamedLut, Nature, Origin, fingerprint};

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
    /// Its table, if it reads one and has been given one.
    pub lut: Option<NamedLut>,
}

impl Stage {
    /// A stage as designed: on, strength 1, every parameter at its default.
    pub fn new(kind: Kind) -> Self {
        Self { kind, on: true, strength: 1.0, values: kind.declaration().defaults(), lut: None }
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
    /// Which look of a library the look is, or was before it was changed; `None`: one of the show's own making.
    pub origin: Option<Origin>,
}

impl Default for Chain {
    fn default() -> Self {
        Self { before: Vec::new(), look: Vec::new(), finish: Vec::new(), look_strength: 1.0, origin: None }
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

    /// List and index at which a new stage of that kind belongs unless the hand puts it elsewhere: texture
    /// ahead of the chain's first tone, grain last of all, everything else at the end of the look, ahead of
    /// grain that stands there.
    pub fn place_for(&self, kind: Kind) -> (List, usize) {
        let natures = |list: List| self.list(list).iter().map(|s| s.declaration().nature).collect::<Vec<_>>();
        place(kind.declaration().nature, &List::ALL.map(natures))
    }

    /// The same within the look, whatever stands before and after it: texture ahead of the look's first tone, grain last,
    /// everything else at the end, ahead of grain that stands there.
    pub fn place_in_look(&self, kind: Kind) -> usize {
        let look = self.look.iter().map(|s| s.declaration().nature).collect();
        match place(kind.declaration().nature, &[Vec::new(), look, Vec::new()]) {
            (List::Look, at) => at,
            _ => self.look.len(),
        }
    }

    /// Is the look another than the one that it was taken from? Its strength as a whole is not the look's own.
    pub fn is_changed(&self) -> bool {
        self.origin.as_ref().is_some_and(|o| o.fingerprint != fingerprint(&self.look))
    }

    /// How many of its stages read a table.
    pub fn tables(&self) -> usize {
        self.in_order().filter(|(s, _)| s.declaration().table).count()
    }

    /// Every stage in the order light takes, with its effective strength.
    pub fn in_order(&self) -> impl Iterator<Item = (&Stage, f64)> {
        List::ALL.into_iter().flat_map(move |list| {
            let scale = if list == List::Look { self.look_strength } else { 1.0 };
            self.list(list).iter().map(move |s| (s, effective_strength(s, scale)))
        })
    }
}

/// What of a stage acts: `clamp(stage × look, 0, the stage's maximum)`, 0 when it is off, lacks its table or has one
/// that leaves or wants no scene light.
pub fn effective_strength(stage: &Stage, look: f64) -> f64 {
    let usable = stage.lut.as_ref().is_some_and(|lut| lut.for_display().is_none());
    let whole = usable || !stage.declaration().table;
    if stage.on && whole { (stage.strength * look).clamp(0.0, stage.declaration().strength.max) } else { 0.0 }
}

/// Where a stage of that nature belongs in lists of stages of those natures.
fn place(nature: Nature, lists: &[Vec<Nature>; 3]) -> (List, usize) {
    let [before, look, finish] = lists;
    let tone = |list: &[Nature]| list.iter().position(|n| *n == Nature::Tone);
    let grain = look.iter().rev().take_while(|n| **n == Nature::Grain).count();
    match nature {
        Nature::Grain => (List::Finish, finish.len()),
        Nature::Texture if let Some(at) = tone(before) => (List::Before, at),
        Nature::Texture if let Some(at) = tone(look) => (List::Look, at),
        Nature::Texture | Nature::Tone | Nature::Colour => (List::Look, look.len() - grain),
    }
}

#[cfg(test)]
mod tests {
    use super::Nature::{Colour, Grain, Texture, Tone};
    use super::*;

    #[test]
    fn where_a_stage_belongs() {
        let cases: &[(Nature, [&[Nature]; 3], (List, usize))] = &[
            (Tone, [&[], &[], &[]], (List::Look, 0)),
            (Colour, [&[], &[], &[]], (List::Look, 0)),
            (Texture, [&[], &[], &[]], (List::Look, 0)),
            (Grain, [&[], &[], &[]], (List::Finish, 0)),
            (Tone, [&[Tone], &[Colour, Tone], &[Colour]], (List::Look, 2)),
            (Colour, [&[Tone], &[Texture, Tone, Grain, Grain], &[Grain]], (List::Look, 2)),
            // Grain in the middle was put there; what follows it is no end.
            (Tone, [&[], &[Grain, Colour, Grain], &[]], (List::Look, 2)),
            (Texture, [&[], &[Texture, Colour, Tone, Colour, Tone], &[]], (List::Look, 2)),
            (Texture, [&[Colour, Tone], &[Tone], &[]], (List::Before, 1)),
            (Texture, [&[Colour], &[Colour, Grain], &[Tone]], (List::Look, 1)),
            (Grain, [&[Tone], &[Tone, Grain], &[Colour, Grain]], (List::Finish, 2)),
        ];
        for (nature, lists, expected) in cases {
            let found = place(*nature, &lists.map(<[_]>::to_vec));
            assert_eq!(found, *expected, "{nature:?} into {lists:?}");
        }
    }

    /// Whatever is put in, texture stands ahead of tone and grain behind everything, one after the other.
    #[test]
    fn stages_put_in_one_by_one_stand_in_order() {
        let all = [Tone, Colour, Texture, Grain];
        for n in 0..4usize.pow(6) {
            let mut lists: [Vec<Nature>; 3] = Default::default();
            for i in 0..6 {
                let nature = all[n / 4usize.pow(i) % 4];
                let (list, at) = place(nature, &lists);
                lists[list as usize].insert(at, nature);
            }
            let order: Vec<Nature> = lists.concat();
            let last_texture = order.iter().rposition(|n| *n == Texture);
            let first_tone = order.iter().position(|n| *n == Tone);
            let grain = order.iter().position(|n| *n == Grain).unwrap_or(order.len());
            assert!(last_texture.zip(first_tone).is_none_or(|(a, b)| a < b), "{order:?}");
            assert!(order[grain..].iter().all(|n| *n == Grain), "{order:?}");
            assert_eq!(order.len(), 6);
        }
    }
}
