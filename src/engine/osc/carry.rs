//! Requests carried out on the engine's thread.

use std::time::Instant;

use super::super::core::Engine;
use super::super::document::OSC_CONTROLS;
use super::methods::{Place, Wanted, place, wanted};
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
                    let show = &**self.document.seen();
                    let Ok(Some(place)) = place(show, self.document.shot, &address) else { continue };
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
                        _ => {}
                    }
                }
                Item::Turn(address, steps) => match self.parameter(&address) {
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
                    _ => {}
                },
                Item::Reset(address) => match self.parameter(&address) {
                    Some(Place::Parameter(slot)) => together.set(slot, slot.parameter().default),
                    Some(Place::Display(output)) => {
                        together.make(self, control, now);
                        let display = Outputs::default().get(output).display.clone();
                        self.show_on(output, display, control, now);
                    }
                    Some(Place::On { list, at, .. }) => {
                        together.0.push(Change::SetStageOn { list, at, on: true });
                    }
                    None => {}
                },
                Item::Press(action, down) => {
                    together.make(self, control, now);
                    self.press(&action, down, now);
                }
                Item::Fader(index, number) => self.fader(osc, surface, index, number, &mut together),
            }
        }
        together.make(self, control, now);
    }

    fn parameter(&self, address: &str) -> Option<Place> {
        place(self.document.seen(), self.document.shot, address).ok().flatten()
    }

    /// A fader of the layout moved.
    fn fader(&self, osc: &mut Osc, surface: u32, index: usize, number: f64, together: &mut Together) {
        let Some(layout) = osc.common.layout.clone() else { return };
        let Some(fader) = layout.faders.get(index) else { return };
        let Some(Place::Parameter(slot)) = self.parameter(&fader.target) else { return };
        let (parameter, value) = (slot.parameter(), together.get(self, slot));
        if let Some(steps) = fader.steps {
            together.set(slot, value + parameter.step * steps * number);
            return;
        }
        if osc.pickups.len() == MOST_PICKUPS && !osc.pickups.contains_key(&surface) {
            osc.pickups.pop_first();
        }
        let pickups =
            osc.pickups.entry(surface).or_insert_with(|| vec![Pickup::default(); layout.faders.len()]);
        let stands = parameter.position(value);
        let control = number.clamp(0.0, 1.0);
        let moved = Moved { control, parameter: stands, bound: stands, tolerance: TOLERANCE, fine: false };
        if let Some(place) = pickups[index].goal(fader.takeover, moved) {
            pickups[index].put(place);
            together.set(slot, parameter.at(place));
        }
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
