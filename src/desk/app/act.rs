//! What keys ask for is done.

use winit::event_loop::ActiveEventLoop;

use super::super::finder::Finder;
use super::super::keys::Action;
use super::super::panes::{Ask, KEYBOARD, Pane, stage_of};
use super::super::sheet::LookSheet;
use super::super::stills::StillSheet;
use super::super::surround::View;
use super::Desk;
use crate::engine::{self, Command, Compare, Comparing, Input, Keep, known_target};
use crate::panel::Act;

impl Desk {
    /// The sheet of looks on the shot on view, or the picture again.
    pub(super) fn toggle_sheet(&mut self) {
        self.panes.stills = None;
        if self.panes.sheet.take().is_none() {
            let sheet = LookSheet::begin(&self.engine.snapshot(), &self.engine.gpu, self.teller());
            self.panes.sheet = Some(sheet);
        }
        self.surface.window.request_redraw();
    }

    /// Leaves the stage in hand out of the picture, or takes it in again.
    pub(super) fn leave_stage_out(&mut self, out: bool) {
        if !out && !std::mem::take(&mut self.looks_away) {
            return;
        }
        self.looks_away = out;
        let stage = stage_of(&self.engine.snapshot(), &self.panes.in_hand);
        let compare = match stage {
            Some((list, at)) if out => Compare::WithoutStage { list, at },
            _ => Compare::After,
        };
        self.engine.send(Input::Command(Command::Compare(compare)));
    }

    /// Leaves the stage in hand out of the picture until that is asked for again.
    fn stay_without_stage(&mut self) {
        let s = self.engine.snapshot();
        if let Some((list, at)) = stage_of(&s, &self.panes.in_hand) {
            let stay = Comparing::Stay(Compare::WithoutStage { list, at });
            self.engine.send(Input::Command(Command::Comparing(stay)));
        }
    }

    /// The sheet of stills and versions, or the picture again.
    fn toggle_stills(&mut self) {
        if self.panes.stills.take().is_none() {
            self.panes.sheet = None;
            self.panes.stills = Some(StillSheet::new(self.teller()));
            self.engine.send(Input::Keep(Keep::List));
        }
        self.surface.window.request_redraw();
    }

    pub(super) fn act(&mut self, events: &ActiveEventLoop, what: Action, down: bool, repeat: bool) {
        self.surface.window.request_redraw();
        if down {
            self.panes.note = None;
        }
        if let Action::Engine(name) = what {
            if !repeat || engine::action(name).is_some_and(|a| a.repeats) {
                self.engine.send(Input::Press { action: name.into(), down });
            }
            return;
        }
        if let Action::TurnThis(target, detents) = what {
            if down {
                self.engine.send(Input::Turn { target: target.into(), detents, control: KEYBOARD });
            }
            return;
        }
        if what == Action::WithoutStage {
            if !repeat {
                self.leave_stage_out(down);
            }
            return;
        }
        if what == Action::Keys && !repeat {
            if down {
                self.panes.overlay.press()
            } else {
                self.panes.overlay.release()
            }
            return;
        }
        if !down {
            return;
        }
        let in_hand = self.panes.in_hand.clone();
        match what {
            Action::Step(by) => self.engine.send(Input::Command(Command::Step(by))),
            Action::Leave if self.engine.snapshot().panel.learning.is_some() => {
                self.engine.send(Input::Learn { target: None });
            }
            Action::Learn if !repeat => {
                let learning = self.engine.snapshot().panel.learning.is_some();
                match known_target(&in_hand) {
                    Ok(()) => {
                        self.engine.send(Input::Learn { target: (!learning).then_some(in_hand) });
                    }
                    Err(why) => self.panes.note = Some(why),
                }
            }
            Action::Control(at, by) => {
                if let Some(control) = self.engine.snapshot().panel.controls.get(at) {
                    self.engine.send(Input::Panel(Act::Turn { control: control.index, by }));
                }
            }
            Action::Leave
                if std::mem::take(&mut self.panes.overlay.shown) || self.panes.walk.leave_card() => {}
            Action::Leave => {
                self.engine.send(Input::Command(Command::Picking(false)));
                // The form and the sheet first: what was clicked on that stays on trial.
                if self.panes.bringing_in.take().is_none()
                    && self.panes.saving.take().is_none()
                    && self.panes.stills.take().is_none()
                    && self.panes.sheet.take().is_none()
                {
                    self.engine.send(Input::Command(Command::LeaveLook));
                }
            }
            Action::StayWithoutStage if !repeat => self.stay_without_stage(),
            Action::Stills if !repeat => self.toggle_stills(),
            Action::KeepVersion if !repeat => {
                self.engine.send(Input::Keep(Keep::Version { name: String::new() }));
            }
            Action::SaveLook if !repeat => self.panes.asks.push(Ask::SaveForm),
            Action::Sofa if !repeat => self.panes.sofa.shown = !self.panes.sofa.shown,
            Action::Probe if !repeat => self.panes.probing = !self.panes.probing,
            Action::Scopes if !repeat => self.panes.toggle(Pane::Scopes),
            Action::Sheet if !repeat => self.toggle_sheet(),
            Action::Pick(by) => self.panes.pick(by),
            Action::Turn(detents) => {
                if let Some(control) = self.panes.hands.control(&self.engine.snapshot()) {
                    self.engine.send(Input::Panel(Act::Turn { control: control.index, by: detents }));
                    return;
                }
                self.engine.send(Input::Turn { target: in_hand, detents, control: KEYBOARD });
            }
            Action::Reset => match self.panes.hands.control(&self.engine.snapshot()) {
                Some(control) => {
                    for target in &*control.targets {
                        self.engine.send(Input::Reset { target: target.address.clone() });
                    }
                }
                None => self.engine.send(Input::Reset { target: in_hand }),
            },
            Action::Client if !repeat => match self.client.take() {
                Some(_) => {}
                None => self.open_client(events),
            },
            Action::ClientFullscreen if !repeat => {
                if self.client.is_none() {
                    self.open_client(events);
                }
                self.toggle_fullscreen();
            }
            Action::Panes if !repeat => {
                self.panes.layout.picture_only = !self.panes.layout.picture_only;
            }
            Action::Pane(pane) if !repeat => self.panes.toggle(pane),
            Action::Text(by) => {
                let view = &mut self.panes.view;
                *view = if by == 0 { View { text: View::TEXTS[0], ..*view } } else { view.scaled(by) };
            }
            Action::Surround if !repeat => {
                self.panes.view.surround = self.panes.view.surround.next();
            }
            Action::Find if !repeat => self.panes.finder = Some(Finder::default()),
            Action::Walk if !repeat => {
                let scopes = self.panes.scopes.shown;
                if let Some(row) = self.panes.walk.toggle(&self.engine.snapshot(), scopes) {
                    self.panes.take_row(&row);
                }
            }
            Action::Type(first) => (self.panes.begin, self.panes.reveal) = (Some(first), true),
            _ => {}
        }
    }
}
