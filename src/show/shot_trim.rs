//! What a shot, or a group of shots, changes in the strength of the look and of its stages, for itself.
//!
//! effective = clamp(stage × look × the groups' trims × the shot's, 0, the stage's maximum). `before` and `finish` are
//! not the look's and stay as they are.

use std::borrow::Cow;
use std::fmt;

use super::{Shot, Show};
use crate::look::{Chain, Kind, Parameter, STAGES, Stage, stage, strength};

/// What is declared about a factor on a strength.
pub static STRENGTH_TRIM: Parameter = Parameter {
    key: "look",
    doc: "What is made of a strength here alone: 0 none, 1 as the look has it.",
    ..strength(2.0)
};

/// A stage of a look, whichever look that is: the first, second… of a kind, counted from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct StageKey {
    /// Its kind.
    pub kind: Kind,
    /// Which of that kind.
    pub number: usize,
}

impl StageKey {
    /// Reads `grain` (the first) or `contrast 2`.
    pub fn parse(text: &str) -> Option<Self> {
        if let Some(kind) = stage(text) {
            return Some(Self { kind, number: 1 });
        }
        let (key, number) = text.rsplit_once(' ')?;
        let plain = number.bytes().all(|b| b.is_ascii_digit()) && !number.starts_with('0');
        let number = number.parse().ok().filter(|n| plain && *n > 1)?;
        Some(Self { kind: stage(key)?, number })
    }

    /// What a file may call one.
    pub(super) fn accepted() -> String {
        let keys: Vec<_> = STAGES.iter().map(|d| d.key).collect();
        format!("look, {}, or the second of a kind as in \"contrast 2\"", keys.join(", "))
    }
}

impl fmt::Display for StageKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.kind.declaration().key)?;
        if self.number > 1 { write!(f, " {}", self.number) } else { Ok(()) }
    }
}

/// Factors on strengths, each within [`STRENGTH_TRIM`]'s range; 1 leaves a strength as it is.
#[derive(Clone, Debug, PartialEq)]
pub struct StrengthTrim {
    /// On the look as a whole.
    pub look: f64,
    /// On stages of the look. One for a stage that the look does not have does nothing.
    pub stages: Vec<(StageKey, f64)>,
}

impl Default for StrengthTrim {
    fn default() -> Self {
        Self { look: STRENGTH_TRIM.default, stages: Vec::new() }
    }
}

impl StrengthTrim {
    /// The factor on a stage of the look alone, without that on the look as a whole.
    pub fn of(&self, key: StageKey) -> f64 {
        self.stages.iter().find(|(k, _)| *k == key).map_or(STRENGTH_TRIM.default, |(_, v)| *v)
    }

    /// Every number within its range.
    pub(super) fn held(mut self) -> Self {
        self.look = STRENGTH_TRIM.held(self.look);
        self.stages.iter_mut().for_each(|(_, v)| *v = STRENGTH_TRIM.held(*v));
        self
    }
}

/// A named group of shots: a scene, a camera.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Its name, by which shots say that they belong to it.
    pub name: String,
    /// What its shots change.
    pub trim: StrengthTrim,
}

impl Show {
    /// The chain with the strengths that a shot has, held to no maximum yet: see [`Chain::in_order`] for what acts.
    pub fn chain_of(&self, shot: &Shot) -> Cow<'_, Chain> {
        let groups = self.groups.iter().filter(|g| shot.groups.contains(&g.name)).map(|g| &g.trim);
        let trims: Vec<&StrengthTrim> =
            groups.chain([&shot.trim]).filter(|t| **t != StrengthTrim::default()).collect();
        if trims.is_empty() {
            return Cow::Borrowed(&self.chain);
        }
        let mut chain = self.chain.clone();
        chain.look_strength *= trims.iter().map(|t| t.look).product::<f64>();
        let keys = stage_keys(&chain.look);
        for (stage, key) in chain.look.iter_mut().zip(keys) {
            stage.strength *= trims.iter().map(|t| t.of(key)).product::<f64>();
        }
        Cow::Owned(chain)
    }
}

/// What trims call each stage of a list.
fn stage_keys(stages: &[Stage]) -> Vec<StageKey> {
    let number = |at: usize| stages[..=at].iter().filter(|s| s.kind == stages[at].kind).count();
    (0..stages.len()).map(|at| StageKey { kind: stages[at].kind, number: number(at) }).collect()
}
