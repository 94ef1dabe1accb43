//! What the window system tells.

use egui_winit::accesskit_winit::WindowEvent as Assist;
use winit::event::{ElementState, WindowEvent};
use winit::event_loop::ActiveEventLoop;
use winit::keyboard::Key;
use winit::window::WindowId;

use super::super::focus::goes_to_interface;
use super::super::keys::{Action, action, let_go};
use super::Desk;

impl Desk {
    /// Takes an event in; false when it is time to end.
    pub(super) fn event(&mut self, events: &ActiveEventLoop, id: WindowId, event: &WindowEvent) -> bool {
        // Before it is carried out: what a key opens must not be given the same key.
        let taken = match event {
            WindowEvent::KeyboardInput { event: key, .. } => self.types(&key.logical_key),
            _ => false,
        };
        match event {
            WindowEvent::ModifiersChanged(mods) => self.mods = mods.state(),
            // A key that is down while the focus moves between the windows is pressed again by the window
            // system: not by the hand. What it lets go counts.
            WindowEvent::KeyboardInput { event: key, is_synthetic, .. }
                if !*is_synthetic || key.state == ElementState::Released =>
            {
                if key.state == ElementState::Released
                    && let Some(what) = let_go(&key.logical_key)
                {
                    self.act(events, what, false, false);
                } else if taken {
                    // The interface has it.
                } else if let Some(what) = action(&key.logical_key, self.mods) {
                    self.act(events, what, key.state == ElementState::Pressed, key.repeat);
                }
            }
            _ => {}
        }
        if id == self.surface.window.id() {
            let window = self.surface.window.clone();
            match event {
                WindowEvent::RedrawRequested => {
                    self.draw();
                    for what in std::mem::take(&mut self.panes.wants) {
                        match what {
                            // Nobody will let go of it: the next time does.
                            Action::WithoutStage => self.leave_stage_out(!self.looks_away),
                            _ => self.act(events, what, true, false),
                        }
                    }
                }
                WindowEvent::CloseRequested => return false,
                WindowEvent::KeyboardInput { .. } if !taken => {}
                WindowEvent::DroppedFile(path) => {
                    self.dropped(path);
                    window.request_redraw();
                }
                _ => {
                    if let WindowEvent::Resized(size) = event {
                        self.surface.resize(&self.engine.gpu, size.width, size.height);
                    }
                    if self.input.on_window_event(&window, event).repaint {
                        window.request_redraw();
                    }
                }
            }
        } else if let Some(client) = self.client.as_mut().filter(|c| c.surface.window.id() == id) {
            match event {
                WindowEvent::RedrawRequested => client.draw(&self.engine, self.panes.view.surround),
                WindowEvent::Resized(size) => {
                    client.resize(&self.engine, size.width, size.height);
                    client.surface.window.request_redraw();
                }
                WindowEvent::CloseRequested => self.client = None,
                _ => {}
            }
        }
        true
    }

    /// Does a key go to the interface?
    fn types(&self, key: &Key) -> bool {
        // A row whose value begins to be typed gets the rest in its next frame.
        let begun = self.panes.begin.is_some();
        let open = begun
            || self.panes.saving.is_some()
            || self.panes.finder.is_some()
            || self.panes.bringing_in.is_some();
        open || goes_to_interface(&self.egui, key)
    }

    /// What an assistive program asks of the desk's window.
    pub(super) fn assist(&mut self, event: Assist) {
        match event {
            Assist::InitialTreeRequested => self.egui.enable_accesskit(),
            Assist::ActionRequested(request) => self.input.on_accesskit_action_request(request),
            Assist::AccessibilityDeactivated => self.egui.disable_accesskit(),
        }
        self.surface.window.request_redraw();
    }
}
