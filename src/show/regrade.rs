//! One show's grade into another: from stills and from versions.

use super::{Change, Group, Look, STRENGTH_TRIM, Show, Slot, StageKey, StrengthTrim};
use crate::look::{Chain, List, STAGES};
use crate::picture::{BalanceField, FramingField, TrimField};

/// What of a grade is taken over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Portion {
    /// All of it: balance, framing and strengths of the shot, and the chain.
    Whole,
    /// The shot's balance.
    Balance,
    /// The look, which all shots of a show share.
    Look,
    /// What the shot makes of the look's strengths.
    Strengths,
}

impl Portion {
    /// Every one of them.
    pub const ALL: [Self; 4] = [Self::Whole, Self::Balance, Self::Look, Self::Strengths];

    /// What commands call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Whole => "whole",
            Self::Balance => "balance",
            Self::Look => "look",
            Self::Strengths => "strengths",
        }
    }

    /// Does it take the chain's stages, and so the LUTs that they read?
    pub const fn takes_stages(self) -> bool {
        matches!(self, Self::Whole | Self::Look)
    }
}

/// The change that makes of this show's grade another's, and what of that one it has no place for.
#[derive(Clone, Debug)]
pub struct Regrade {
    /// The change; nothing is in it where the two are the same.
    pub change: Change,
    /// Does it change anything?
    pub changes: bool,
    /// What could not be taken over, in sentences.
    pub left: Vec<String>,
}

impl Regrade {
    fn of(changes: Vec<Change>, left: Vec<String>) -> Self {
        Self { changes: !changes.is_empty(), change: Change::Together(changes), left }
    }
}

impl Show {
    /// Takes a part of the grade of another show's only shot, a still's, onto shots of this one (numbers from 0).
    pub fn regrade_from_still(&self, still: &Show, part: Portion, shots: &[usize]) -> Regrade {
        let (mut changes, mut left) = (Vec::new(), Vec::new());
        if let Some(from) = still.shots.first() {
            for &to in shots.iter().filter(|to| **to < self.shots.len()) {
                if matches!(part, Portion::Whole | Portion::Balance) {
                    changes.extend(self.balance_of(to, &from.balance.values));
                }
                if part == Portion::Whole {
                    changes.extend(self.framing_of(to, &from.framing.values));
                    changes.extend(self.reading_of(to, from));
                }
                if matches!(part, Portion::Whole | Portion::Strengths) {
                    let wanted = factors(&still.groups, from);
                    changes.extend(self.strengths_of(to, &wanted, &mut left));
                }
            }
        }
        match part {
            Portion::Whole => changes.extend(self.chain_as(&still.chain, &List::ALL)),
            Portion::Look => changes.extend(self.chain_as(&still.chain, &[List::Look])),
            Portion::Balance | Portion::Strengths => {}
        }
        Regrade::of(changes, left)
    }

    /// Takes the whole grade of another version of this show: the chain, groups' trims, outputs' trims, and of each shot
    /// that both have by name its balance, framing, groups and trims. Running order, sources, encodings, displays and the
    /// output transform stay.
    pub fn regrade_as(&self, version: &Show) -> Regrade {
        let (mut changes, mut left) = (Vec::new(), Vec::new());
        let mut groups = self.groups.clone();
        for group in &version.groups {
            match groups.iter().position(|g| g.name == group.name) {
                None => {
                    changes.push(Change::AddGroup { at: groups.len(), group: group.clone() });
                    groups.push(group.clone());
                }
                Some(at) => changes.extend(trim_as(&groups[at].trim, &group.trim, |stage| Slot::GroupTrim {
                    group: at,
                    stage,
                })),
            }
        }
        for from in &version.shots {
            let Some(to) = self.shots.iter().position(|s| s.name == from.name) else {
                left.push(format!("there is no shot {:?} any more", from.name));
                continue;
            };
            let shot = &self.shots[to];
            changes.extend(self.balance_of(to, &from.balance.values));
            changes.extend(self.framing_of(to, &from.framing.values));
            if shot.groups != from.groups {
                changes.push(Change::SetShotGroups { shot: to, groups: from.groups.clone() });
            }
            changes.extend(trim_as(&shot.trim, &from.trim, |stage| Slot::ShotTrim { shot: to, stage }));
        }
        for shot in self.shots.iter().filter(|s| version.shots.iter().all(|v| v.name != s.name)) {
            left.push(format!("{:?} is not in that version and stays as it is", shot.name));
        }
        for output in super::Output::ALL {
            for &field in TrimField::ALL {
                let value = version.outputs.get(output).trim.get(field);
                if self.outputs.get(output).trim.get(field) != value {
                    changes.push(Change::SetParameter { slot: Slot::Output { output, field }, value });
                }
            }
        }
        changes.extend(self.chain_as(&version.chain, &List::ALL));
        Regrade::of(changes, left)
    }

    /// Is its grade that of another version?
    pub fn is_graded_as(&self, version: &Show) -> bool {
        !self.regrade_as(version).changes
    }

    fn balance_of(&self, shot: usize, values: &[f64]) -> Vec<Change> {
        let now = &self.shots[shot].balance.values;
        let fields = BalanceField::ALL.iter().zip(values.iter().zip(now)).filter(|(_, (v, now))| v != now);
        fields
            .map(|(&field, (&value, _))| Change::SetParameter { slot: Slot::Balance { shot, field }, value })
            .collect()
    }

    fn framing_of(&self, shot: usize, values: &[f64]) -> Vec<Change> {
        let now = &self.shots[shot].framing.values;
        let fields = FramingField::ALL.iter().zip(values.iter().zip(now)).filter(|(_, (v, now))| v != now);
        fields
            .map(|(&field, (&value, _))| Change::SetParameter { slot: Slot::Framing { shot, field }, value })
            .collect()
    }

    /// How the footage is read, for a shot of the very footage that a still is of.
    fn reading_of(&self, to: usize, from: &super::Shot) -> Vec<Change> {
        let (shot, mut changes) = (&self.shots[to], Vec::new());
        if shot.source == from.source {
            if shot.encoding.id != from.encoding.id {
                changes.push(Change::SetShotEncoding { shot: to, encoding: from.encoding });
            }
            if shot.range != from.range {
                changes.push(Change::SetSignalRange { shot: to, range: from.range });
            }
            if shot.matrix != from.matrix {
                changes.push(Change::SetMatrix { shot: to, matrix: from.matrix });
            }
        }
        changes
    }

    /// Sets a shot's own factors so that with its groups' they are the wanted ones.
    fn strengths_of(
        &self,
        to: usize,
        wanted: &[(Option<StageKey>, f64)],
        left: &mut Vec<String>,
    ) -> Vec<Change> {
        let shot = &self.shots[to];
        let now = factors(&self.groups, shot);
        let mut changes = Vec::new();
        for &(stage, own) in now.iter() {
            let want = wanted.iter().find(|(s, _)| *s == stage).map_or(1.0, |w| w.1);
            if want == own {
                continue;
            }
            let groups: f64 = group_factor(&self.groups, shot, stage);
            let value = if groups == 0.0 { f64::INFINITY } else { want / groups };
            if value <= STRENGTH_TRIM.max {
                changes.push(Change::SetParameter { slot: Slot::ShotTrim { shot: to, stage }, value });
            } else {
                let what = stage.map_or("the look".to_owned(), |s| s.to_string());
                let name = &shot.name;
                left.push(format!("the groups of {name:?} leave too little of {what} for what it was"));
            }
        }
        changes
    }

    /// The changes that make of lists of the chain another chain's.
    fn chain_as(&self, chain: &Chain, lists: &[List]) -> Vec<Change> {
        let around: Vec<List> = lists.iter().copied().filter(|l| *l != List::Look).collect();
        let differs = |list: &List| self.chain.list(*list) != chain.list(*list);
        let look = lists.contains(&List::Look)
            && (differs(&List::Look)
                || self.chain.look_strength != chain.look_strength
                || self.chain.origin != chain.origin);
        let mut changes = Vec::new();
        // Out before in, since a chain has so many places for LUTs.
        for &list in around.iter().filter(|l| differs(l)) {
            let count = self.chain.list(list).len();
            changes.extend((0..count).rev().map(|at| Change::RemoveStage { list, at }));
        }
        if look {
            let strength = chain.look_strength;
            changes.push(match &chain.origin {
                Some(origin) => {
                    let (name, note) = (origin.name.clone(), origin.note.clone());
                    let look = Look { name, note, intent: origin.intent, stages: chain.look.clone() };
                    // The fingerprint is of the look as the library had it, which the stages may not be any more.
                    Change::Together(vec![look.change(strength), Change::SetOrigin(chain.origin.clone())])
                }
                None => Change::ReplaceLook { stages: chain.look.clone(), strength },
            });
        }
        for &list in around.iter().filter(|l| differs(l)) {
            let stages = chain.list(list).iter().cloned().enumerate();
            changes.extend(stages.map(|(at, stage)| Change::AddStage { list, at, stage }));
        }
        changes
    }
}

/// What the groups of a shot make of the look or of a stage.
fn group_factor(groups: &[Group], shot: &super::Shot, stage: Option<StageKey>) -> f64 {
    groups.iter().filter(|g| shot.groups.contains(&g.name)).map(|g| g.trim.get(stage)).product()
}

/// What groups and shot together make of the look and of every stage that there may be.
fn factors(groups: &[Group], shot: &super::Shot) -> Vec<(Option<StageKey>, f64)> {
    let mut keys: Vec<Option<StageKey>> = vec![None];
    let named = groups.iter().map(|g| &g.trim).chain([&shot.trim]);
    keys.extend(named.flat_map(|t| t.stages.iter().map(|(key, _)| Some(*key))));
    // Any stage's: what one of two says nothing of is 1 there.
    for kind in STAGES.iter().filter_map(|d| crate::look::stage(d.key)) {
        keys.extend((1..=4).map(|number| Some(StageKey { kind, number })));
    }
    let mut seen = std::collections::HashSet::new();
    keys.retain(|key| seen.insert(*key));
    keys.into_iter().map(|key| (key, group_factor(groups, shot, key) * shot.trim.get(key))).collect()
}

/// The changes that make of a trim another.
fn trim_as(
    now: &StrengthTrim,
    wanted: &StrengthTrim,
    slot: impl Fn(Option<StageKey>) -> Slot,
) -> Vec<Change> {
    let mut keys: Vec<Option<StageKey>> = vec![None];
    for (key, _) in now.stages.iter().chain(&wanted.stages) {
        if !keys.contains(&Some(*key)) {
            keys.push(Some(*key));
        }
    }
    let differing = keys.into_iter().filter(|key| now.get(*key) != wanted.get(*key));
    differing.map(|key| Change::SetParameter { slot: slot(key), value: wanted.get(key) }).collect()
}
