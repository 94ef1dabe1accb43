//! Changes: the only way in which a show becomes another one.

use std::path::PathBuf;
use std::sync::Arc;

use super::cdl_safe::check_balance;
use super::document::{
    RASTERS, RATES, check_chosen, check_fits, check_frames, raster_is_usable, rate_is_usable,
};
use super::lut_file::check_lut;
use super::{Group, Output, Shot, Show, ShowError, Slot};
use crate::colour::{Display, Encoding, OutputTransform, Range, YcbcrMatrix};
use crate::look::{List, MAX_LUTS, NamedLut, Origin, Stage};
use crate::picture::{BALANCE, FRAMING, ShowLut};

/// One change to a show. Shots and stages are counted from 0.
#[derive(Clone, Debug)]
pub enum Change {
    /// A parameter gets a value, held to its range.
    SetParameter {
        /// Which parameter.
        slot: Slot,
        /// In the parameter's unit.
        value: f64,
    },
    /// A stage is switched on or off.
    SetStageOn {
        /// In which list.
        list: List,
        /// Which of its stages.
        at: usize,
        /// Does it act?
        on: bool,
    },
    /// A stage is put into a list, its numbers held to their ranges.
    AddStage {
        /// Into which list.
        list: List,
        /// Where it will stand, 0 … the list's length.
        at: usize,
        /// The stage.
        stage: Stage,
    },
    /// A stage is taken out.
    RemoveStage {
        /// Of which list.
        list: List,
        /// Which of its stages.
        at: usize,
    },
    /// A stage gets another place in its list.
    MoveStage {
        /// In which list.
        list: List,
        /// Where it stands.
        from: usize,
        /// Where it will stand.
        to: usize,
    },
    /// A stage reads another LUT, or the same file with other words on what it expects and gives.
    SetLut {
        /// In which list.
        list: List,
        /// Which of its stages.
        at: usize,
        /// The LUT; `None`: the stage does nothing.
        lut: Option<NamedLut>,
    },
    /// Another look: the middle of the chain. It is known as none until [`Change::SetOrigin`] says otherwise:
    /// [`Look::change`](super::Look::change) does both.
    ReplaceLook {
        /// The look's stages, their numbers held to their ranges.
        stages: Vec<Stage>,
        /// Its strength as a whole.
        strength: f64,
    },
    /// The look is known as one of a library, or as none.
    SetOrigin(Option<Origin>),
    /// A group of shots is made; no shot belongs to it yet.
    AddGroup {
        /// Where it will stand, 0 … the number of groups.
        at: usize,
        /// The group. No other may have its name.
        group: Group,
    },
    /// A group is taken out, and its shots out of it.
    RemoveGroup {
        /// Which group.
        at: usize,
    },
    /// A group gets another name, which no other group may have; its shots stay in it.
    RenameGroup {
        /// Which group.
        group: usize,
        /// The name.
        name: String,
    },
    /// A shot belongs to other groups, each of them one of the show's.
    SetShotGroups {
        /// Which shot.
        shot: usize,
        /// The groups' names.
        groups: Vec<String>,
    },
    /// A shot is put into the running order. Its name gets a number if it is taken.
    AddShot {
        /// Where it will stand, 0 … the number of shots.
        at: usize,
        /// The shot.
        shot: Shot,
    },
    /// A shot is taken out.
    RemoveShot {
        /// Which shot.
        at: usize,
    },
    /// A shot gets another place in the running order.
    MoveShot {
        /// Where it stands.
        from: usize,
        /// Where it will stand.
        to: usize,
    },
    /// A shot gets another name, which no other shot may have.
    RenameShot {
        /// Which shot.
        shot: usize,
        /// The name.
        name: String,
    },
    /// A shot's footage is elsewhere.
    SetShotSource {
        /// Which shot.
        shot: usize,
        /// Relative to the show's folder when inside it.
        source: PathBuf,
    },
    /// A shot's values mean something else.
    SetShotEncoding {
        /// Which shot.
        shot: usize,
        /// The encoding.
        encoding: &'static Encoding,
    },
    /// A shot shows other frames of its source. A frame that was chosen to stand for it and is none of them does so no more.
    SetShotRange {
        /// Which shot.
        shot: usize,
        /// The first frame.
        start: u64,
        /// The first frame that no longer belongs to it.
        end: u64,
    },
    /// A shot is read as narrow or full, or as its file says.
    SetSignalRange {
        /// Which shot.
        shot: usize,
        /// `None`: as the file says.
        range: Option<Range>,
    },
    /// A shot is read with other luma weights, or as its file says.
    SetMatrix {
        /// Which shot.
        shot: usize,
        /// `None`: as the file says.
        matrix: Option<YcbcrMatrix>,
    },
    /// Another frame stands for a shot.
    SetRepresentative {
        /// Which shot.
        shot: usize,
        /// A frame of its range, counted from 0 at the source's first; `None`: the middle one.
        frame: Option<u64>,
    },
    /// Another output transform. One by the show's own table takes [`Change::SetShowLut`].
    SetTransform(OutputTransform),
    /// The show's own table in the output transform's place.
    SetShowLut(Arc<ShowLut>),
    /// Another display for an output: one of the show's own, or one that comes with the program.
    SetDisplay {
        /// Which output.
        output: Output,
        /// The display.
        display: Arc<Display>,
    },
    /// Another table on an output's signal, or none.
    SetCalibration {
        /// Which output.
        output: Output,
        /// The table.
        calibration: Option<NamedLut>,
    },
    /// Another name for the show.
    SetName(String),
    /// Another rate, 1 to 1000 frames a second.
    SetRate((u32, u32)),
    /// Another size of every output, or that of the first shot's frames.
    SetRaster(Option<(u32, u32)>),
    /// Other panel maps, or whichever fits.
    SetPanels(Vec<String>),
    /// Is balance held to what an ASC CDL on ACEScct carries exactly? Refused while a shot's is not.
    SetCdlSafe(bool),
    /// Several changes, in order, as one: all of them or none.
    Together(Vec<Change>),
}

impl Change {
    /// The slots that it sets, in order; `None` when it does anything but set parameters.
    pub fn slots(&self) -> Option<Vec<Slot>> {
        match self {
            Self::SetParameter { slot, .. } => Some(vec![*slot]),
            Self::Together(changes) => {
                let parts: Option<Vec<_>> = changes.iter().map(Self::slots).collect();
                parts.map(|p| p.concat())
            }
            _ => None,
        }
    }

    /// May an address lead elsewhere after it: do stages, shots or groups come, go or change places?
    pub fn moves_addresses(&self) -> bool {
        match self {
            Self::AddStage { .. }
            | Self::RemoveStage { .. }
            | Self::MoveStage { .. }
            | Self::ReplaceLook { .. }
            | Self::AddShot { .. }
            | Self::RemoveShot { .. }
            | Self::MoveShot { .. }
            | Self::AddGroup { .. }
            | Self::RemoveGroup { .. }
            | Self::RenameGroup { .. } => true,
            Self::Together(changes) => changes.iter().any(Self::moves_addresses),
            _ => false,
        }
    }

    /// The shot that it is about, if it is about one.
    pub fn shot(&self) -> Option<usize> {
        match self {
            Self::SetParameter {
                slot: Slot::Balance { shot, .. } | Slot::Framing { shot, .. } | Slot::ShotTrim { shot, .. },
                ..
            }
            | Self::RenameShot { shot, .. }
            | Self::SetShotSource { shot, .. }
            | Self::SetShotGroups { shot, .. }
            | Self::SetShotEncoding { shot, .. }
            | Self::SetShotRange { shot, .. }
            | Self::SetSignalRange { shot, .. }
            | Self::SetMatrix { shot, .. }
            | Self::SetRepresentative { shot, .. } => Some(*shot),
            Self::Together(changes) => changes.iter().find_map(Self::shot),
            _ => None,
        }
    }
}

/// Refuses more LUTs than a shader has places for.
pub(super) fn check_tables(count: usize) -> Result<(), ShowError> {
    if count <= MAX_LUTS {
        return Ok(());
    }
    Err(ShowError::change(
        format!("a chain of {count} LUTs"),
        format!("at most {MAX_LUTS} stages lut in a chain"),
    ))
}

impl Show {
    /// Makes a change and returns the one that takes it back.
    ///
    /// # Errors
    /// [`ShowError::Change`] or [`ShowError::Path`] when the change does not fit the show, which is then
    /// as it was.
    pub fn apply(&mut self, change: Change) -> Result<Change, ShowError> {
        use Change::*;
        Ok(match change {
            SetParameter { slot, value } => {
                self.check_carried(slot, value)?;
                let before = self.set(slot, slot.parameter().held(value)).ok_or_else(|| no_slot(slot))?;
                SetParameter { slot, value: before }
            }
            SetStageOn { list, at, on } => {
                let before = std::mem::replace(&mut self.stage_mut(list, at)?.on, on);
                SetStageOn { list, at, on: before }
            }
            AddStage { list, at, stage } => {
                let stage = held_stage(stage)?;
                check_tables(self.chain.tables() + usize::from(stage.declaration().table))?;
                let stages = self.chain.list_mut(list);
                check_place(list.key(), at, stages.len() + 1)?;
                stages.insert(at, stage);
                RemoveStage { list, at }
            }
            RemoveStage { list, at } => {
                self.stage_mut(list, at)?;
                AddStage { list, at, stage: self.chain.list_mut(list).remove(at) }
            }
            MoveStage { list, from, to } => {
                shift(list.key(), self.chain.list_mut(list), from, to)?;
                MoveStage { list, from: to, to: from }
            }
            SetLut { list, at, lut } => {
                let stage = self.stage_mut(list, at)?;
                let key = stage.declaration().key;
                if !stage.declaration().table {
                    return Err(ShowError::change(
                        format!("the stage {key} reads no LUT"),
                        "a stage that does",
                    ));
                }
                lut.as_ref().map_or(Ok(()), check_lut)?;
                SetLut { list, at, lut: std::mem::replace(&mut stage.lut, lut) }
            }
            ReplaceLook { stages, strength } => {
                let stages = stages.into_iter().map(held_stage).collect::<Result<Vec<_>, _>>()?;
                let tables = |stages: &[Stage]| stages.iter().filter(|s| s.declaration().table).count();
                check_tables(self.chain.tables() - tables(&self.chain.look) + tables(&stages))?;
                let strength = Slot::LookStrength.parameter().held(strength);
                let back = ReplaceLook {
                    stages: std::mem::replace(&mut self.chain.look, stages),
                    strength: std::mem::replace(&mut self.chain.look_strength, strength),
                };
                match self.chain.origin.take() {
                    None => back,
                    origin => Together(vec![back, SetOrigin(origin)]),
                }
            }
            SetOrigin(origin) => SetOrigin(std::mem::replace(&mut self.chain.origin, origin)),
            AddGroup { at, mut group } => {
                check_place(GROUPS, at, self.groups.len() + 1)?;
                self.check_group_name(&group.name, None)?;
                group.trim = group.trim.held();
                self.groups.insert(at, group);
                RemoveGroup { at }
            }
            RemoveGroup { at } => {
                check_place(GROUPS, at, self.groups.len())?;
                let group = self.groups.remove(at);
                let mut back = Vec::new();
                for (i, shot) in
                    self.shots.iter_mut().enumerate().filter(|(_, s)| s.groups.contains(&group.name))
                {
                    back.push(SetShotGroups { shot: i, groups: shot.groups.clone() });
                    shot.groups.retain(|g| *g != group.name);
                }
                back.insert(0, AddGroup { at, group });
                Together(back)
            }
            RenameGroup { group, name } => {
                check_place(GROUPS, group, self.groups.len())?;
                self.check_group_name(&name, Some(group))?;
                let before = std::mem::replace(&mut self.groups[group].name, name.clone());
                let names = self.shots.iter_mut().flat_map(|s| &mut s.groups);
                names.filter(|n| **n == before).for_each(|n| n.clone_from(&name));
                RenameGroup { group, name: before }
            }
            SetShotGroups { shot, groups } => {
                self.shot_mut(shot)?;
                self.check_groups(&groups)?;
                let mut each: Vec<String> = Vec::with_capacity(groups.len());
                for name in groups {
                    if !each.contains(&name) {
                        each.push(name);
                    }
                }
                SetShotGroups { shot, groups: std::mem::replace(&mut self.shots[shot].groups, each) }
            }
            AddShot { at, mut shot } => {
                check_place(SHOTS, at, self.shots.len() + 1)?;
                check_frames(shot.start, shot.end)?;
                check_chosen(&shot, shot.chosen)?;
                check_source(&shot.source)?;
                shot.name = self.unique_name(&shot.name, None);
                let balance = shot.balance.values.iter_mut().zip(BALANCE);
                for (value, parameter) in balance.chain(shot.framing.values.iter_mut().zip(FRAMING)) {
                    *value = parameter.held(*value);
                }
                shot.trim = shot.trim.held();
                if self.cdl_safe {
                    check_balance(&shot.name, &shot.balance)?;
                }
                self.check_groups(&shot.groups)?;
                self.shots.insert(at, shot);
                RemoveShot { at }
            }
            RemoveShot { at } => {
                self.shot_mut(at)?;
                AddShot { at, shot: self.shots.remove(at) }
            }
            MoveShot { from, to } => {
                shift(SHOTS, &mut self.shots, from, to)?;
                MoveShot { from: to, to: from }
            }
            RenameShot { shot, name } => {
                self.shot_mut(shot)?;
                if name.is_empty() || self.unique_name(&name, Some(shot)) != name {
                    return Err(ShowError::change(
                        format!("a shot cannot be called {name:?}"),
                        "a name that is not empty and that no other shot has",
                    ));
                }
                RenameShot { shot, name: std::mem::replace(&mut self.shot_mut(shot)?.name, name) }
            }
            SetShotSource { shot, source } => {
                check_source(&source)?;
                let before = std::mem::replace(&mut self.shot_mut(shot)?.source, source);
                SetShotSource { shot, source: before }
            }
            SetShotEncoding { shot, encoding } => {
                let before = std::mem::replace(&mut self.shot_mut(shot)?.encoding, encoding);
                SetShotEncoding { shot, encoding: before }
            }
            SetShotRange { shot, start, end } => {
                check_frames(start, end)?;
                let s = self.shot_mut(shot)?;
                let (before_start, before_end) = (s.start, s.end);
                (s.start, s.end) = (start, end);
                let back = SetShotRange { shot, start: before_start, end: before_end };
                match s.chosen.take_if(|frame| !(start..end).contains(frame)) {
                    None => back,
                    chosen => Together(vec![back, SetRepresentative { shot, frame: chosen }]),
                }
            }
            SetSignalRange { shot, range } => {
                let before = std::mem::replace(&mut self.shot_mut(shot)?.range, range);
                SetSignalRange { shot, range: before }
            }
            SetMatrix { shot, matrix } => {
                let before = std::mem::replace(&mut self.shot_mut(shot)?.matrix, matrix);
                SetMatrix { shot, matrix: before }
            }
            SetRepresentative { shot, frame } => {
                let s = self.shot_mut(shot)?;
                check_chosen(s, frame)?;
                SetRepresentative { shot, frame: std::mem::replace(&mut s.chosen, frame) }
            }
            SetTransform(OutputTransform::Lut) => {
                return Err(ShowError::change(
                    "an output transform by a look-up table, without the table",
                    "a .cube file with what it expects and gives",
                ));
            }
            SetTransform(transform) => {
                let before = std::mem::replace(&mut self.transform, transform);
                self.show_lut.take().map_or(SetTransform(before), SetShowLut)
            }
            SetShowLut(lut) => {
                self.check_known(&lut.gives)?;
                check_path(&lut.lut.file)?;
                Output::ALL.into_iter().try_for_each(|o| check_fits(&lut, &self.outputs.get(o).display))?;
                let before = std::mem::replace(&mut self.transform, OutputTransform::Lut);
                self.show_lut.replace(lut).map_or(SetTransform(before), SetShowLut)
            }
            SetDisplay { output, display } => {
                self.check_known(&display)?;
                self.check_display(&display)?;
                let before = std::mem::replace(&mut self.outputs.get_mut(output).display, display);
                SetDisplay { output, display: before }
            }
            SetCalibration { output, calibration } => {
                if let Some(lut) = &calibration {
                    check_path(&lut.file)?;
                }
                let before = std::mem::replace(&mut self.outputs.get_mut(output).calibration, calibration);
                SetCalibration { output, calibration: before }
            }
            SetName(name) => SetName(std::mem::replace(&mut self.name, name)),
            SetRate(rate) => {
                if !rate_is_usable(rate) {
                    let what = format!("a show cannot run at {}/{} frames a second", rate.0, rate.1);
                    return Err(ShowError::change(what, RATES));
                }
                SetRate(std::mem::replace(&mut self.rate, rate))
            }
            SetRaster(raster) => {
                if let Some((width, height)) = raster.filter(|r| !raster_is_usable(*r)) {
                    let what = format!("a raster cannot have {width}×{height} pixels");
                    return Err(ShowError::change(what, RASTERS));
                }
                SetRaster(std::mem::replace(&mut self.raster, raster))
            }
            SetPanels(panels) => SetPanels(std::mem::replace(&mut self.panels, panels)),
            SetCdlSafe(safe) => {
                if safe {
                    self.shots.iter().try_for_each(|s| check_balance(&s.name, &s.balance))?;
                }
                SetCdlSafe(std::mem::replace(&mut self.cdl_safe, safe))
            }
            Together(changes) => self.apply_together(changes)?,
        })
    }

    fn apply_together(&mut self, changes: Vec<Change>) -> Result<Change, ShowError> {
        let mut inverses = Vec::with_capacity(changes.len());
        for change in changes {
            match self.apply(change) {
                Ok(inverse) => inverses.push(inverse),
                Err(error) => {
                    for inverse in inverses.into_iter().rev() {
                        self.apply(inverse).expect("the inverse of what was just applied fits");
                    }
                    return Err(error);
                }
            }
        }
        inverses.reverse();
        Ok(Change::Together(inverses))
    }

    fn check_groups(&self, names: &[String]) -> Result<(), ShowError> {
        let known = |name: &String| self.groups.iter().any(|g| g.name == *name);
        match names.iter().find(|n| !known(n)) {
            None => Ok(()),
            Some(name) => {
                let names: Vec<_> = self.groups.iter().map(|g| g.name.as_str()).collect();
                let accepted =
                    if names.is_empty() { "none, there is no group".into() } else { names.join(", ") };
                Err(ShowError::change(format!("the show has no group {name:?}"), accepted))
            }
        }
    }

    /// Refuses a name that is empty, or that a group other than `except` has.
    fn check_group_name(&self, name: &str, except: Option<usize>) -> Result<(), ShowError> {
        let taken = self.groups.iter().enumerate().any(|(i, g)| Some(i) != except && g.name == name);
        if !name.is_empty() && !taken {
            return Ok(());
        }
        Err(ShowError::change(
            format!("a group cannot be called {name:?}"),
            "a name that is not empty and that no other group has",
        ))
    }

    /// Refuses a display that the show could not read back by its name.
    fn check_known(&self, display: &Display) -> Result<(), ShowError> {
        if self.display(&display.id).is_some_and(|known| *known == *display) {
            return Ok(());
        }
        let ids: Vec<_> = self.all_displays().map(|d| d.id.to_string()).collect();
        Err(ShowError::change(
            format!("the show has no display {:?} of this kind", display.id),
            ids.join(", "),
        ))
    }

    fn stage_mut(&mut self, list: List, at: usize) -> Result<&mut Stage, ShowError> {
        let stages = self.chain.list_mut(list);
        check_place(list.key(), at, stages.len())?;
        Ok(&mut stages[at])
    }

    fn shot_mut(&mut self, at: usize) -> Result<&mut Shot, ShowError> {
        check_place(SHOTS, at, self.shots.len())?;
        Ok(&mut self.shots[at])
    }
}

const SHOTS: &str = "the running order";
const GROUPS: &str = "the list of groups";

fn no_slot(slot: Slot) -> ShowError {
    let what = match slot {
        Slot::Balance { shot, .. } | Slot::Framing { shot, .. } | Slot::ShotTrim { shot, .. } => {
            format!("the show has no shot {}", shot + 1)
        }
        Slot::GroupTrim { group, .. } => format!("the show has no group {}", group + 1),
        Slot::Output { output, .. } => format!("{} has no trim", output.key()),
        Slot::LookStrength => "the look has no strength".to_owned(),
        Slot::Strength { list, at, kind } | Slot::Parameter { list, at, kind, .. } => {
            format!("the show has no {} at {}/{}", kind.declaration().key, list.key(), at + 1)
        }
    };
    ShowError::change(what, "a slot that the show as it is now resolves an address to")
}

fn check_place(of: &str, at: usize, places: usize) -> Result<(), ShowError> {
    if at < places {
        return Ok(());
    }
    let accepted = if places == 0 { "none, it is empty".to_owned() } else { format!("1 to {places}") };
    Err(ShowError::change(format!("{of} has no place {}", at + 1), accepted))
}

fn shift<T>(of: &str, items: &mut [T], from: usize, to: usize) -> Result<(), ShowError> {
    check_place(of, from, items.len())?;
    check_place(of, to, items.len())?;
    if from < to {
        items[from..=to].rotate_left(1);
    } else {
        items[to..=from].rotate_right(1);
    }
    Ok(())
}

fn check_source(source: &std::path::Path) -> Result<(), ShowError> {
    if source.as_os_str().is_empty() {
        return Err(ShowError::change("a shot cannot be without a source", "the path of its footage"));
    }
    source.to_str().map(|_| ()).ok_or_else(|| ShowError::Path(source.to_owned()))
}

fn check_path(file: &std::path::Path) -> Result<(), ShowError> {
    file.to_str().map(|_| ()).ok_or_else(|| ShowError::Path(file.to_owned()))
}

fn held_stage(mut stage: Stage) -> Result<Stage, ShowError> {
    let declaration = stage.declaration();
    if stage.values.len() != declaration.parameters.len() {
        return Err(ShowError::change(
            format!("{} cannot have {} values", declaration.key, stage.values.len()),
            format!("{}, one for each parameter", declaration.parameters.len()),
        ));
    }
    stage.lut.as_ref().map_or(Ok(()), check_lut)?;
    stage.strength = declaration.strength.held(stage.strength);
    for (value, parameter) in stage.values.iter_mut().zip(declaration.parameters) {
        *value = parameter.held(*value);
    }
    Ok(stage)
}
