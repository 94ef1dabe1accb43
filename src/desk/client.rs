//! The client's window: the picture and nothing else.

use std::sync::Arc;
use std::time::Instant;

use winit::event_loop::ActiveEventLoop;
use winit::monitor::MonitorHandle;
use winit::window::{Fullscreen, Window};

use super::app::{DeskError, RETRY};
use super::surface::Beside;
use super::surround::Surround;
use super::window::{Blit, Place, WindowSurface, clear_to, of_shape};
use crate::engine::{Handle, Input, Live};

pub(super) struct Client {
    pub surface: WindowSurface,
    blit: Blit,
    /// Serial of the picture that was presented last; 0 for none.
    shown: u64,
    /// When to try again what could not be drawn.
    pub redraw_at: Option<Instant>,
}

/// The name that the client's window has.
pub(super) const TITLE: &str = "Greyhold · client";

impl Client {
    pub fn open(events: &ActiveEventLoop, engine: &Handle, size: (u32, u32)) -> Result<Self, DeskError> {
        let gpu = &engine.gpu;
        let attributes = Window::default_attributes()
            .with_title(TITLE)
            .with_inner_size(winit::dpi::PhysicalSize::new(size.0, size.1));
        let window = Arc::new(events.create_window(attributes).map_err(DeskError::window)?);
        let surface =
            gpu.instance.create_surface(window.clone()).map_err(|e| DeskError::Surface(e.to_string()))?;
        // Only the operator's window waits for its screen; without Mailbox there is no other way that
        // does not tear.
        let offers = surface.get_capabilities(&gpu.adapter).present_modes;
        let mode = match offers.contains(&wgpu::PresentMode::Mailbox) {
            true => wgpu::PresentMode::Mailbox,
            false => wgpu::PresentMode::Fifo,
        };
        let output = engine.snapshot().show.outputs.client.clone();
        let surface = WindowSurface::new(gpu, window, surface, mode, &output, Beside::Nothing)?;
        let blit = Blit::new(gpu, surface.config.format);
        engine.send(Input::Depth { output: Live::Client, bits: surface.bits() });
        Ok(Self { surface, blit, shown: 0, redraw_at: None })
    }

    /// Is there another picture than the one on screen, or none any more?
    pub fn is_behind(&self, engine: &Handle) -> bool {
        engine.picture(Live::Client).map_or(0, |p| p.serial) != self.shown
    }

    /// The window has another size, and is perhaps on another monitor.
    pub fn resize(&mut self, engine: &Handle, width: u32, height: u32) {
        self.surface.resize(&engine.gpu, width, height);
        self.choose_surface(engine, true);
    }

    /// Chooses a surface again where the output's display is another one, or `again`.
    pub fn choose_surface(&mut self, engine: &Handle, again: bool) {
        if self.surface.choose(&engine.gpu, &engine.snapshot().show.outputs.client, again) {
            self.blit = Blit::new(&engine.gpu, self.surface.config.format);
            engine.send(Input::Depth { output: Live::Client, bits: self.surface.bits() });
        }
    }

    pub fn draw(&mut self, engine: &Handle, surround: Surround) {
        let gpu = &engine.gpu;
        self.choose_surface(engine, false);
        let Some(texture) = self.surface.acquire(gpu) else {
            self.redraw_at = Some(Instant::now() + RETRY);
            return;
        };
        let view = texture.texture.create_view(&Default::default());
        let around = surround.signal(&engine.snapshot().show.outputs.client.display);
        let picture = engine.picture(Live::Client);
        let mut encoder = gpu.device.create_command_encoder(&Default::default());
        {
            let mut pass = encoder.begin_render_pass(&wgpu::RenderPassDescriptor {
                label: Some("client"),
                color_attachments: &[Some(wgpu::RenderPassColorAttachment {
                    view: &view,
                    depth_slice: None,
                    resolve_target: None,
                    ops: wgpu::Operations {
                        load: wgpu::LoadOp::Clear(clear_to(around)),
                        store: wgpu::StoreOp::Store,
                    },
                })],
                ..Default::default()
            });
            if let Some(picture) = &picture {
                let area = [self.surface.config.width as f32, self.surface.config.height as f32];
                let place = Place::fit((picture.output.width, picture.output.height), [0.0, 0.0], area);
                let group = self.blit.bind(gpu, picture, place, around);
                self.blit.draw(&mut pass, &group);
            }
        }
        gpu.queue.submit([encoder.finish()]);
        self.surface.window.pre_present_notify();
        gpu.queue.present(texture);
        let serial = picture.map_or(0, |p| p.serial);
        if self.shown != 0 && serial > self.shown {
            engine.presented(serial - self.shown - 1);
        }
        self.shown = serial;
    }

    /// Takes a picture's shape; the whole of a monitor stays what it is.
    pub fn take_shape(&self, picture: (u32, u32)) {
        let window = &self.surface.window;
        let size = window.inner_size();
        if window.fullscreen().is_none() && size.width > 0 && size.height > 0 {
            let (width, height) = of_shape((size.width, size.height), picture);
            if (width, height) != (size.width, size.height) {
                // Whether it is granted at once or not, `Resized` tells.
                let _ = window.request_inner_size(winit::dpi::PhysicalSize::new(width, height));
            }
        }
    }

    /// Goes fullscreen on the wanted monitor, or back to a window. Without that monitor it stays as it is.
    pub fn toggle_fullscreen(&self, desk: &Window, wanted: Option<&str>) -> Result<(), String> {
        let window = &self.surface.window;
        if window.fullscreen().is_some() {
            window.set_fullscreen(None);
            return Ok(());
        }
        let monitor = monitor(desk, wanted)?;
        window.set_fullscreen(Some(Fullscreen::Borderless(Some(monitor))));
        Ok(())
    }
}

/// The monitor of that name; without a name, one that the desk is not on, or the only one.
pub(super) fn monitor(desk: &Window, wanted: Option<&str>) -> Result<MonitorHandle, String> {
    let all: Vec<MonitorHandle> = desk.available_monitors().collect();
    let name = |m: &MonitorHandle| m.name().unwrap_or_default();
    if let Some(wanted) = wanted {
        return all.iter().find(|m| name(m) == wanted).cloned().ok_or_else(|| {
            let names: Vec<_> = all.iter().map(name).collect();
            format!("no monitor is called {wanted:?}; there are: {}", names.join(", "))
        });
    }
    let here = desk.current_monitor();
    all.iter()
        .find(|m| Some(*m) != here.as_ref())
        .or(all.first())
        .cloned()
        .ok_or_else(|| "the window system names no monitor".to_owned())
}
