//! What the window system tells.

use winit::event::{ElementState, WindowEvent};
use winit::event_loop::ActiveEventLoop;
use winit::window::WindowId;

use super::super::keys::{action, let_go};
use super::Desk;

impl Desk {
    /// Takes an event in; false when it is time to end.
    pub(super) fn event(&mut self, events: &ActiveEventLoop, id: WindowId, event: &WindowEvent) -> bool {
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
                } else if self.types() {
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
                WindowEvent::RedrawRequested => self.draw(),
                WindowEvent::CloseRequested => return false,
                WindowEvent::KeyboardInput { .. } if !self.types() => {}
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

    /// Do keys go to the interface?
    fn types(&self) -> bool {
        self.egui.egui_wants_keyboard_input() || self.panes.saving.is_some()
    }
}
