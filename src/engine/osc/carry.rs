//! Requests carried out on the engine's thread.

use std::time::Instant;

use super::super::core::Engine;
use super::super::document::OSC_CONTROLS;
use super::super::input::Command;
use super::super::targets::To;
use super::methods::{FRAME, Place, SHUTTLE, View, Wanted, place, wanted};
use super::{Osc, OscOptions};
use crate::panel::osc::{Item, Request};
use crate::panel::{Moved, Pickup, TOLERANCE};
use crate::show::{Change, Outputs, Slot};

/// Surfaces whose faders are remembered.
const MOST_PICKUPS: usize = 16;

impl Engine {
    /// Listens to OSC from now on, there and nowhere else.
    pub(in super::super) fn listen(&mut self, options: OscOptions) {
        // The port may be the same.
        self.osc = None;
        self.osc = Some(Osc::start(options, self.shared.clone(), self.wake.clone()));
    }

    /// Carries out what surfaces asked for.
    pub(in super::super) fn read_osc(&mut self, now: Instant) {
        let Some(mut osc) = self.osc.take() else { return };
        let (before, first) = (self.document.revision, self.document.shot);
        for request in osc.common.requests.take() {
            self.stale = true;
            let footing = self.document.footing;
            self.carry_out(&mut osc, request, now);
            if self.document.footing != footing {
                osc.reset();
                self.reset_panels();
            }
        }
        self.stale |= osc.refresh();
        self.osc = Some(osc);
        if self.document.shot != first {
            self.frame = self.frame.min(self.shot_frames().saturating_sub(1));
        }
        self.answer(before, now);
    }

    /// What one packet asks for. Its parameters change as one, so that they are one step to undo.
    fn carry_out(&mut self, osc: &mut Osc, Request { surface, items }: Request, now: Instant) {
        let control = OSC_CONTROLS + surface;
        let mut together = Together::default();
        for item in items {
            match item {
                Item::Set(address, argument) => {
                    let Some(place) = self.place(&address) else { continue };
                    let show = &**self.document.seen();
                    match (place, wanted(show, place, &argument)) {
                        (Place::Parameter(slot), Some(Wanted::Number(value))) => together.set(slot, value),
                        (Place::On { list, at, .. }, Some(Wanted::Switch(on))) => {
                            let is = show.chain.list(list).get(at).is_some_and(|s| s.on == on);
                            if !is {
                                together.0.push(Change::SetStageOn { list, at, on });
                            }
                        }
                        (Place::Display(output), Some(Wanted::Display(display))) => {
                            together.make(self, control, now);
                            self.show_on(output, display, control, now);
                        }
                        (Place::Frame, Some(Wanted::Number(frame))) => {
                            together.make(self, control, now);
                            self.command(Command::Seek(frame.max(0.0).round() as u64), now);
                        }
                        (Place::Measure(measure), Some(Wanted::Number(value))) => {
                            self.set_measure(measure, value);
                        }
                        (Place::Shuttle, Some(Wanted::Number(speed))) => {
                            together.make(self, control, now);
                            self.command(Command::Shuttle(speed), now);
                        }
                        _ => {}
                    }
                }
                Item::Turn(address, steps) => match self.place(&address) {
                    Some(Place::Parameter(slot)) => {
                        let value = together.get(self, slot);
                        together.set(slot, value + slot.parameter().step * steps);
                    }
                    Some(Place::Display(output)) => {
                        together.make(self, control, now);
                        let by = if steps < 0.0 { steps.floor() } else { steps.ceil() };
                        let display = self.document.seen().display_beside(output, by as i32);
                        self.show_on(output, display, control, now);
                    }
                    Some(place @ (Place::Frame | Place::Shuttle | Place::Measure(_))) => {
                        together.make(self, control, now);
                        self.travel(place, To::Turned(steps), now);
                    }
                    _ => {}
                },
                Item::Reset(address) => match self.place(&address) {
                    Some(Place::Parameter(slot)) => together.set(slot, slot.parameter().default),
                    Some(Place::Display(output)) => {
                        together.make(self, control, now);
                        let display = Outputs::default().get(output).display.clone();
                        self.show_on(output, display, control, now);
                    }
                    Some(Place::On { list, at, .. }) => {
                        together.0.push(Change::SetStageOn { list, at, on: true });
                    }
                    Some(place @ (Place::Frame | Place::Shuttle | Place::Measure(_))) => {
                        together.make(self, control, now);
                        self.travel(place, To::Default, now);
                    }
                    None => {}
                },
                Item::Press(action, down) => {
                    together.make(self, control, now);
                    self.press(&action, down, now);
                }
                Item::Fader(index, number) => {
                    let (fader, asks) = ((surface, index, number), &mut together);
                    if let Some((place, to)) = self.fader(osc, fader, asks) {
                        together.make(self, control, now);
                        let stands = self.travel(place, to, now);
                        let held = osc.pickups.get_mut(&surface).and_then(|all| all.get_mut(index));
                        if let (Some(pickup), To::At(_)) = (held, to) {
                            pickup.put(stands);
                        }
                    }
                }
            }
        }
        together.make(self, control, now);
    }

    fn place(&self, address: &str) -> Option<Place> {
        let document = &self.document;
        place(View { show: document.seen(), shot: document.shot, focus: document.focus }, address)
            .ok()
            .flatten()
    }

    /// Another frame, another speed, another way to compare; gives where that then stands in its range.
    fn travel(&mut self, place: Place, to: To, now: Instant) -> f64 {
        let target = match place {
            Place::Frame => FRAME,
            Place::Measure(measure) => measure.address(),
            _ => SHUTTLE,
        };
        // Nothing of the document changes by it.
        self.moved(target, to, now);
        self.position(target).unwrap_or_default()
    }

    /// A fader of the layout moved; gives what it moves that is not in the document.
    fn fader(
        &self,
        osc: &mut Osc,
        (surface, index, number): (u32, usize, f64),
        together: &mut Together,
    ) -> Option<(Place, To)> {
        let layout = osc.common.layout.clone()?;
        let fader = layout.faders.get(index)?;
        let place = self.place(&fader.target)?;
        let value = match place {
            Place::Parameter(slot) => together.get(self, slot),
            _ => 0.0,
        };
        if let Some(steps) = fader.steps {
            match place {
                Place::Parameter(slot) => together.set(slot, value + slot.parameter().step * steps * number),
                Place::On { list, at, .. } if number != 0.0 => {
                    together.0.push(Change::SetStageOn { list, at, on: steps * number > 0.0 });
                }
                Place::Frame | Place::Shuttle | Place::Measure(_) => {
                    return Some((place, To::Turned(steps * number)));
                }
                Place::On { .. } | Place::Display(_) => {}
            }
            return None;
        }
        let stands = match place {
            Place::Parameter(slot) => slot.parameter().position(value),
            _ => self.position(&fader.target)?,
        };
        if osc.pickups.len() == MOST_PICKUPS && !osc.pickups.contains_key(&surface) {
            osc.pickups.pop_first();
        }
        let pickups =
            osc.pickups.entry(surface).or_insert_with(|| vec![Pickup::default(); layout.faders.len()]);
        let control = number.clamp(0.0, 1.0);
        let moved = Moved { control, parameter: stands, bound: stands, tolerance: TOLERANCE, fine: false };
        let goal = pickups[index].goal(fader.takeover, moved)?;
        pickups[index].put(goal);
        match place {
            Place::Parameter(slot) => together.set(slot, slot.parameter().at(goal)),
            Place::On { list, at, .. } => {
                let on = goal >= 0.5;
                pickups[index].put(f64::from(on));
                together.0.push(Change::SetStageOn { list, at, on });
            }
            Place::Frame | Place::Shuttle | Place::Measure(_) => return Some((place, To::At(goal))),
            Place::Display(_) => {}
        }
        None
    }
}

/// Changes of one packet.
#[derive(Default)]
struct Together(Vec<Change>);

impl Together {
    /// What a parameter will be.
    fn get(&self, engine: &Engine, slot: Slot) -> f64 {
        let found = self.0.iter().rev().find_map(|change| match change {
            Change::SetParameter { slot: s, value } if *s == slot => Some(*value),
            _ => None,
        });
        found.or_else(|| engine.document.seen().get(slot)).unwrap_or(slot.parameter().default)
    }

    fn set(&mut self, slot: Slot, value: f64) {
        let value = slot.parameter().held(value);
        for change in &mut self.0 {
            match change {
                Change::SetParameter { slot: s, value: v } if *s == slot => {
                    *v = value;
                    return;
                }
                _ => {}
            }
        }
        self.0.push(Change::SetParameter { slot, value });
    }

    /// Makes them, and begins anew. A packet that says what is so already makes no change: surfaces repeat themselves.
    fn make(&mut self, engine: &mut Engine, control: u32, now: Instant) {
        let mut changes = std::mem::take(&mut self.0);
        let show = engine.document.seen();
        let is_so = |change: &Change| match change {
            Change::SetParameter { slot, value } => show.get(*slot) == Some(*value),
            Change::SetStageOn { list, at, on } => {
                show.chain.list(*list).get(*at).is_some_and(|s| s.on == *on)
            }
            _ => false,
        };
        if changes.iter().all(is_so) {
            return;
        }
        let change = match changes.len() {
            1 => changes.remove(0),
            _ => Change::Together(changes),
        };
        engine.document.change(change, control, now);
    }
}
