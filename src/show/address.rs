//! Addresses of parameters: one way to name them for panel, keyboard and network.
//!
//! - `framing/scale`, `balance/exposure`: of the current shot;
//! - `shot/trim/look`, `shot/trim/grain`: the current shot's trim of the look's strength, and of a stage's;
//! - `group/night/trim/look`, `group/night/trim/contrast-2`: a group's;
//! - `output/client/exposure`: of an output's trim;
//! - `look/strength`: of the look as a whole;
//! - `look/contrast/slope`, `finish/contrast/strength`: of the first stage of that kind in that list;
//! - `before/2/slope`: of the second stage in that list, whatever it is.

use std::fmt;

use super::shot_trim::strength_trim;
use super::{Output, Show, ShowError, StageKey, TrimAddress, TrimOf};
use crate::look::{Kind, List, Parameter, STAGES, Stage, stage, strength};
use crate::picture::{BALANCE, BalanceField, FRAMING, FramingField, TRIM, TrimField};

/// The strength of the look as a whole.
pub static LOOK_STRENGTH: Parameter = strength(1.5);

const STRENGTH: &str = "strength";

/// Which stage of a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Which {
    /// The first of a kind.
    First(Kind),
    /// The one at a position, counted from 1.
    Position(usize),
}

/// Which number of a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// Its strength.
    Strength,
    /// A parameter, by the key in its declaration.
    Parameter(&'static str),
}

/// The name of a parameter, whatever the show.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Address {
    /// Of the current shot's framing.
    Framing(FramingField),
    /// Of the current shot's balance.
    Balance(BalanceField),
    /// A trim of strength, by the current shot or a group.
    Trim(TrimAddress),
    /// Of an output's trim.
    Output(Output, TrimField),
    /// Of the look as a whole.
    LookStrength,
    /// Of a stage.
    Stage {
        /// In which list.
        list: List,
        /// Which of its stages.
        which: Which,
        /// Which of the stage's numbers.
        part: Part,
    },
}

/// Where in a given show a parameter is. It stays right until stages, shots or groups are added, removed or moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Slot {
    /// A number of a shot's framing.
    Framing {
        /// Which shot, from 0.
        shot: usize,
        /// Which number.
        field: FramingField,
    },
    /// A number of a shot's balance.
    Balance {
        /// Which shot, from 0.
        shot: usize,
        /// Which number.
        field: BalanceField,
    },
    /// A shot's trim of strength.
    ShotTrim {
        /// Which shot, from 0.
        shot: usize,
        /// Of which stage; `None`: of the look as a whole.
        stage: Option<StageKey>,
    },
    /// A group's trim of strength.
    GroupTrim {
        /// Which group, from 0.
        group: usize,
        /// Of which stage; `None`: of the look as a whole.
        stage: Option<StageKey>,
    },
    /// A number of an output's trim.
    Output {
        /// Which output.
        output: Output,
        /// Which number.
        field: TrimField,
    },
    /// The strength of the look as a whole.
    LookStrength,
    /// The strength of a stage.
    Strength {
        /// In which list.
        list: List,
        /// Which of its stages, from 0.
        at: usize,
        /// What that stage is.
        kind: Kind,
    },
    /// A parameter of a stage.
    Parameter {
        /// In which list.
        list: List,
        /// Which of its stages, from 0.
        at: usize,
        /// What that stage is.
        kind: Kind,
        /// Which parameter, in the declaration's order.
        index: usize,
    },
}

impl Slot {
    /// What is declared about the parameter.
    pub fn parameter(&self) -> &'static Parameter {
        match *self {
            Self::Framing { field, .. } => field.parameter(),
            Self::Balance { field, .. } => field.parameter(),
            Self::ShotTrim { stage, .. } | Self::GroupTrim { stage, .. } => strength_trim(stage),
            Self::Output { field, .. } => field.parameter(),
            Self::LookStrength => &LOOK_STRENGTH,
            Self::Strength { kind, .. } => &kind.declaration().strength,
            Self::Parameter { kind, index, .. } => &kind.declaration().parameters[index],
        }
    }
}

impl Address {
    /// Reads an address.
    ///
    /// # Errors
    /// [`ShowError::Address`] when no show could have it: a list, stage or parameter that is not declared.
    pub fn parse(text: &str) -> Result<Self, ShowError> {
        let refuse = |what: String, accepted: String| {
            Err(ShowError::Address { address: text.to_owned(), what, accepted })
        };
        let parts: Vec<&str> = text.split('/').collect();
        let list = List::ALL.into_iter().find(|l| l.key() == parts[0]);
        match (list, parts.as_slice()) {
            (None, ["balance", key]) => match BalanceField::of_key(key) {
                Some(field) => Ok(Self::Balance(field)),
                None => refuse(format!("balance has no {key:?}"), keys_of("balance", BALANCE)),
            },
            (None, ["framing", key]) => match FramingField::of_key(key) {
                Some(field) => Ok(Self::Framing(field)),
                None => refuse(format!("framing has no {key:?}"), keys_of("framing", FRAMING)),
            },
            (None, ["output", name, key]) => {
                let Some(output) = Output::ALL.into_iter().find(|o| o.key() == *name) else {
                    return refuse(
                        format!("there is no output {name:?}"),
                        Output::ALL.map(Output::key).join(", "),
                    );
                };
                match TrimField::of_key(key) {
                    Some(field) => Ok(Self::Output(output, field)),
                    None => {
                        refuse(format!("an output has no {key:?}"), keys_of(&format!("output/{name}"), TRIM))
                    }
                }
            }
            (Some(List::Look), [_, STRENGTH]) => Ok(Self::LookStrength),
            (Some(list), [_, name, key]) => {
                let which = if let Some(kind) = stage(name) {
                    Which::First(kind)
                } else if let Ok(number @ 1..) = name.parse() {
                    Which::Position(number)
                } else {
                    return refuse(format!("there is no stage {name:?}"), stage_keys());
                };
                match which.part(key) {
                    Some(part) => Ok(Self::Stage { list, which, part }),
                    None => refuse(format!("{name} has no {key:?}"), which.part_keys()),
                }
            }
            _ => match TrimAddress::parse(&parts) {
                Some(Ok(trim)) => Ok(Self::Trim(trim)),
                Some(Err((what, accepted))) => refuse(what, accepted),
                None => refuse("it has another form".to_owned(), forms()),
            },
        }
    }
}

impl Which {
    fn kinds(self) -> Vec<Kind> {
        match self {
            Self::First(kind) => vec![kind],
            Self::Position(_) => (0..STAGES.len()).map(Kind).collect(),
        }
    }

    fn part(self, key: &str) -> Option<Part> {
        if key == STRENGTH {
            return Some(Part::Strength);
        }
        let parameters = self.kinds().into_iter().flat_map(|k| k.declaration().parameters);
        parameters.map(|p| p.key).find(|k| *k == key).map(Part::Parameter)
    }

    fn part_keys(self) -> String {
        let of = |kind: Kind| kind.declaration().parameters.iter().map(|p| p.key);
        let mut keys = vec![STRENGTH];
        for key in self.kinds().into_iter().flat_map(of) {
            if !keys.contains(&key) {
                keys.push(key);
            }
        }
        keys.join(", ")
    }
}

fn keys_of(part: &str, parameters: &[Parameter]) -> String {
    let keys: Vec<_> = parameters.iter().map(|p| format!("{part}/{}", p.key)).collect();
    keys.join(", ")
}

fn stage_keys() -> String {
    let keys: Vec<_> = STAGES.iter().map(|d| d.key).collect();
    format!("{}, or a position from 1", keys.join(", "))
}

fn forms() -> String {
    format!(
        "{}, {}, {} and the same of client and files, {}, look/strength, and LIST/STAGE/PARAMETER: LIST is before, look \
         or finish, STAGE is one of {}",
        keys_of("framing", FRAMING),
        keys_of("balance", BALANCE),
        keys_of("output/desk", TRIM),
        TrimAddress::FORMS,
        stage_keys()
    )
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Framing(field) => write!(f, "framing/{}", field.parameter().key),
            Self::Balance(field) => write!(f, "balance/{}", field.parameter().key),
            Self::Trim(trim) => trim.fmt(f),
            Self::Output(output, field) => {
                write!(f, "output/{}/{}", output.key(), field.parameter().key)
            }
            Self::LookStrength => write!(f, "look/{STRENGTH}"),
            Self::Stage { list, which, part } => {
                write!(f, "{}/", list.key())?;
                match which {
                    Which::First(kind) => write!(f, "{}/", kind.declaration().key)?,
                    Which::Position(number) => write!(f, "{number}/")?,
                }
                f.write_str(match part {
                    Part::Strength => STRENGTH,
                    Part::Parameter(key) => key,
                })
            }
        }
    }
}

/// The output whose display an address names, as in `output/client/display`. A display is no number, so this is not an
/// [`Address`]: the hand steps through displays with [`Show::display_beside`].
pub fn display_address(text: &str) -> Option<Output> {
    let name = text.strip_prefix("output/")?.strip_suffix("/display")?;
    Output::ALL.into_iter().find(|o| o.key() == name)
}

/// Every address that some show could have, with stages named by their kinds, in the order of the light; groups, whose
/// names are a show's own, left out.
pub fn addresses() -> Vec<String> {
    let keyed = |part: &str, parameters: &[Parameter]| -> Vec<String> {
        parameters.iter().map(|p| format!("{part}/{}", p.key)).collect()
    };
    let mut all = keyed("framing", FRAMING);
    all.extend(keyed("balance", BALANCE));
    all.push("shot/trim/look".to_owned());
    all.extend(STAGES.iter().map(|d| format!("shot/trim/{}", d.key)));
    all.push(format!("look/{STRENGTH}"));
    for list in List::ALL {
        for declaration in STAGES {
            let stage = format!("{}/{}", list.key(), declaration.key);
            all.push(format!("{stage}/{STRENGTH}"));
            all.extend(keyed(&stage, declaration.parameters));
        }
    }
    all.extend(Output::ALL.iter().flat_map(|o| keyed(&format!("output/{}", o.key()), TRIM)));
    all
}

/// Could this address exist in some show?
///
/// # Errors
/// What is wrong with it and what is accepted, as a sentence.
pub fn check_address(text: &str) -> Result<(), String> {
    Address::parse(text).map(|_| ()).map_err(|e| e.to_string())
}

impl Show {
    /// Where an address is in this show, when shot number `shot` (from 0) is the current one; `None` when
    /// it has no such shot or stage.
    pub fn resolve(&self, address: &Address, shot: usize) -> Option<Slot> {
        match *address {
            Address::Framing(field) => (shot < self.shots.len()).then_some(Slot::Framing { shot, field }),
            Address::Balance(field) => (shot < self.shots.len()).then_some(Slot::Balance { shot, field }),
            Address::Trim(ref trim) => self.resolve_trim(trim, shot),
            Address::Output(output, field) => Some(Slot::Output { output, field }),
            Address::LookStrength => Some(Slot::LookStrength),
            Address::Stage { list, which, part } => {
                let stages = self.chain.list(list);
                let at = match which {
                    Which::First(kind) => stages.iter().position(|s| s.kind == kind)?,
                    Which::Position(number) => number - 1,
                };
                let kind = stages.get(at)?.kind;
                Some(match part {
                    Part::Strength => Slot::Strength { list, at, kind },
                    Part::Parameter(key) => {
                        Slot::Parameter { list, at, kind, index: kind.declaration().index(key)? }
                    }
                })
            }
        }
    }

    /// The address that resolves to a slot: by the stage's key where it is the first of its kind in its
    /// list, else by its position.
    pub fn address(&self, slot: Slot) -> Address {
        let which = |list: List, at: usize, kind: Kind| {
            let first = self.chain.list(list).iter().position(|s| s.kind == kind);
            if first == Some(at) { Which::First(kind) } else { Which::Position(at + 1) }
        };
        match slot {
            Slot::Framing { field, .. } => Address::Framing(field),
            Slot::Balance { field, .. } => Address::Balance(field),
            Slot::ShotTrim { stage, .. } => Address::Trim(TrimAddress { of: TrimOf::Shot, stage }),
            Slot::GroupTrim { group, stage } => {
                // A group that is gone has no name, and its address leads nowhere.
                let name = self.groups.get(group).map_or(String::new(), |g| g.name.clone());
                Address::Trim(TrimAddress { of: TrimOf::Group(name), stage })
            }
            Slot::Output { output, field } => Address::Output(output, field),
            Slot::LookStrength => Address::LookStrength,
            Slot::Strength { list, at, kind } => {
                Address::Stage { list, which: which(list, at, kind), part: Part::Strength }
            }
            Slot::Parameter { list, at, kind, .. } => Address::Stage {
                list,
                which: which(list, at, kind),
                part: Part::Parameter(slot.parameter().key),
            },
        }
    }

    /// The value in a slot; `None` when the show has changed so that there is no such slot any more.
    pub fn get(&self, slot: Slot) -> Option<f64> {
        let stage = |list, at: usize, kind| {
            let found: Option<&Stage> = self.chain.list(list).get(at);
            found.filter(|s| s.kind == kind)
        };
        match slot {
            Slot::Framing { shot, field } => self.shots.get(shot).map(|s| s.framing.get(field)),
            Slot::Balance { shot, field } => self.shots.get(shot).map(|s| s.balance.get(field)),
            Slot::ShotTrim { shot, stage } => self.shots.get(shot).map(|s| s.trim.get(stage)),
            Slot::GroupTrim { group, stage } => self.groups.get(group).map(|g| g.trim.get(stage)),
            Slot::Output { output, field } => Some(self.outputs.get(output).trim.get(field)),
            Slot::LookStrength => Some(self.chain.look_strength),
            Slot::Strength { list, at, kind } => stage(list, at, kind).map(|s| s.strength),
            Slot::Parameter { list, at, kind, index } => {
                stage(list, at, kind).and_then(|s| s.values.get(index).copied())
            }
        }
    }

    /// Puts a number into a slot and returns the one from before; `None` when there is no such slot.
    pub(super) fn set(&mut self, slot: Slot, value: f64) -> Option<f64> {
        if let Some((trim, stage)) = self.trim_mut(slot) {
            return Some(trim.set(stage, value));
        }
        self.get_mut(slot).map(|place| std::mem::replace(place, value))
    }

    /// The number in a slot, to change, where every show has a place for it.
    fn get_mut(&mut self, slot: Slot) -> Option<&mut f64> {
        match slot {
            Slot::Framing { shot, field } => {
                self.shots.get_mut(shot).map(|s| &mut s.framing.values[field as usize])
            }
            Slot::Balance { shot, field } => {
                self.shots.get_mut(shot).map(|s| &mut s.balance.values[field as usize])
            }
            // A trim has no place for a stage that it leaves alone.
            Slot::ShotTrim { .. } | Slot::GroupTrim { .. } => None,
            Slot::Output { output, field } => {
                Some(&mut self.outputs.get_mut(output).trim.values[field as usize])
            }
            Slot::LookStrength => Some(&mut self.chain.look_strength),
            Slot::Strength { list, at, kind } => {
                let stage = self.chain.list_mut(list).get_mut(at).filter(|s| s.kind == kind);
                stage.map(|s| &mut s.strength)
            }
            Slot::Parameter { list, at, kind, index } => {
                let stage = self.chain.list_mut(list).get_mut(at).filter(|s| s.kind == kind);
                stage.and_then(|s| s.values.get_mut(index))
            }
        }
    }
}
