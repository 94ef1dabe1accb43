//! What a shot, or a group of shots, changes in the strength of the look and of its stages, for itself.
//!
//! effective = clamp(stage × look × the groups' trims × the shot's, 0, the stage's maximum). `before` and `finish` are
//! not the look's and stay as they are.
//!
//! Each of these numbers has an address: `shot/trim/look` and `shot/trim/contrast-2` are the current shot's,
//! `group/NAME/trim/look` and `group/NAME/trim/grain` a group's.

use std::borrow::Cow;
use std::fmt;
use std::sync::LazyLock;

use super::{Shot, Show, Slot};
use crate::look::{Chain, Kind, Parameter, STAGES, Stage, stage, strength};

/// What is declared about a factor on a strength.
pub static STRENGTH_TRIM: Parameter = Parameter {
    key: "look",
    doc: "What is made of a strength here alone: 0 none, 1 as the look has it.",
    ..strength(2.0)
};

/// What is declared about the factor on the look as a whole, or on stages of one kind.
pub fn strength_trim(stage: Option<StageKey>) -> &'static Parameter {
    static STAGE_TRIMS: LazyLock<Vec<Parameter>> = LazyLock::new(|| {
        let doc = "What is made of this stage's strength here alone: 0 none, 1 as the look has it.";
        STAGES.iter().map(|d| Parameter { key: d.key, doc, ..strength(STRENGTH_TRIM.max) }).collect()
    });
    stage.map_or(&STRENGTH_TRIM, |s| &STAGE_TRIMS[s.kind.0])
}

/// A stage of a look, whichever look that is: the first, second… of a kind, counted from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct StageKey {
    /// Its kind.
    pub kind: Kind,
    /// Which of that kind.
    pub number: usize,
}

impl StageKey {
    /// Reads `grain` (the first) or `contrast 2`.
    pub fn parse(text: &str) -> Option<Self> {
        Self::split(text, ' ')
    }

    /// Reads what addresses have: `grain` or `contrast-2`.
    pub fn of_address(text: &str) -> Option<Self> {
        Self::split(text, '-')
    }

    fn split(text: &str, between: char) -> Option<Self> {
        if let Some(kind) = stage(text) {
            return Some(Self { kind, number: 1 });
        }
        let (key, number) = text.rsplit_once(between)?;
        let plain = number.bytes().all(|b| b.is_ascii_digit()) && !number.starts_with('0');
        let number = number.parse().ok().filter(|n| plain && *n > 1)?;
        Some(Self { kind: stage(key)?, number })
    }

    /// Which of a list's stages it is.
    pub fn find(self, stages: &[Stage]) -> Option<usize> {
        stage_keys(stages).iter().position(|k| *k == self)
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
    /// The factor on the look as a whole, or on a stage of it.
    pub fn get(&self, stage: Option<StageKey>) -> f64 {
        stage.map_or(self.look, |key| self.of(key))
    }

    /// Sets the factor on the look as a whole, or on a stage of it; returns the one from before.
    pub(super) fn set(&mut self, stage: Option<StageKey>, value: f64) -> f64 {
        let before = self.get(stage);
        match stage {
            None => self.look = value,
            Some(key) => {
                self.stages.retain(|(k, _)| *k != key);
                self.stages.push((key, value));
                self.sort();
            }
        }
        before
    }

    /// One order for the same factors, and none that changes nothing.
    pub(super) fn sort(&mut self) {
        self.stages.retain(|(_, value)| *value != STRENGTH_TRIM.default);
        self.stages.sort_by_key(|(key, _)| *key);
    }

    /// The factor on a stage of the look alone, without that on the look as a whole.
    pub fn of(&self, key: StageKey) -> f64 {
        self.stages.iter().find(|(k, _)| *k == key).map_or(STRENGTH_TRIM.default, |(_, v)| *v)
    }

    /// Every number within its range.
    pub(super) fn held(mut self) -> Self {
        self.look = STRENGTH_TRIM.held(self.look);
        self.stages.iter_mut().for_each(|(_, v)| *v = STRENGTH_TRIM.held(*v));
        self.sort();
        self
    }
}

/// Whose trim an address means.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum TrimOf {
    /// The current shot's.
    Shot,
    /// That of the group of a name.
    Group(String),
}

/// The address of a trim.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct TrimAddress {
    /// Whose.
    pub of: TrimOf,
    /// Of a stage; `None`: of the look as a whole.
    pub stage: Option<StageKey>,
}

impl TrimAddress {
    /// What addresses of trims look like.
    pub(super) const FORMS: &str =
        "shot/trim/look, shot/trim/STAGE, group/NAME/trim/look, group/NAME/trim/STAGE";

    /// Reads the parts of an address; `None` when they are no trim's.
    ///
    /// # Errors
    /// What is wrong, and what is accepted.
    pub(super) fn parse(parts: &[&str]) -> Option<Result<Self, (String, String)>> {
        let (of, key) = match parts {
            ["shot", "trim", key] => (TrimOf::Shot, key),
            // A group's name is free to have a slash.
            ["group", name @ .., "trim", key] if !name.join("/").is_empty() => {
                (TrimOf::Group(name.join("/")), key)
            }
            _ => return None,
        };
        if *key == STRENGTH_TRIM.key {
            return Some(Ok(Self { of, stage: None }));
        }
        Some(StageKey::of_address(key).map(|key| Self { of, stage: Some(key) }).ok_or_else(|| {
            let accepted = StageKey::accepted().replace("\"contrast 2\"", "contrast-2");
            (format!("there is no stage {key:?} to trim"), accepted)
        }))
    }
}

impl fmt::Display for TrimAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.of {
            TrimOf::Shot => f.write_str("shot/trim/")?,
            TrimOf::Group(name) => write!(f, "group/{name}/trim/")?,
        }
        match self.stage {
            None => f.write_str(STRENGTH_TRIM.key),
            Some(key) => f.write_str(&key.to_string().replace(' ', "-")),
        }
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
    /// Where the trim of an address is, when shot number `shot` (from 0) is the current one.
    pub(super) fn resolve_trim(&self, address: &TrimAddress, shot: usize) -> Option<Slot> {
        let stage = address.stage;
        match &address.of {
            TrimOf::Shot => (shot < self.shots.len()).then_some(Slot::ShotTrim { shot, stage }),
            TrimOf::Group(name) => {
                let group = self.groups.iter().position(|g| g.name == *name)?;
                Some(Slot::GroupTrim { group, stage })
            }
        }
    }

    /// The trim that a shot's or group's slot is in.
    pub(super) fn trim_mut(&mut self, slot: Slot) -> Option<(&mut StrengthTrim, Option<StageKey>)> {
        match slot {
            Slot::ShotTrim { shot, stage } => Some((&mut self.shots.get_mut(shot)?.trim, stage)),
            Slot::GroupTrim { group, stage } => Some((&mut self.groups.get_mut(group)?.trim, stage)),
            _ => None,
        }
    }

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
pub fn stage_keys(stages: &[Stage]) -> Vec<StageKey> {
    let number = |at: usize| stages[..=at].iter().filter(|s| s.kind == stages[at].kind).count();
    (0..stages.len()).map(|at| StageKey { kind: stages[at].kind, number: number(at) }).collect()
}
