//! The operator's window is drawn.

use std::sync::Arc;
use std::time::{Duration, Instant};

use egui_wgpu::ScreenDescriptor;

use super::super::beside::beside;
use super::super::library::SaveForm;
use super::super::look;
use super::super::panes::{Ask, outline};
use super::super::picker::{pick_neutral, place};
use super::super::probe::probe;
use super::super::sofa::Seen;
use super::super::window::{Place, WindowSurface, clear_to};
use super::{Desk, RETRY};
use crate::engine::{self, Live};
use crate::gpu::Gpu;

impl Desk {
    /// Is there anything newer than what is drawn? While playing, the next picture brings the rest along.
    pub(super) fn is_behind(&self) -> bool {
        let snapshot = self.engine.snapshot();
        let picture = self.engine.picture(Live::Desk).map_or(0, |p| p.serial);
        let same = std::ptr::eq(self.drawn.1.as_ptr(), Arc::as_ptr(&snapshot));
        picture != self.drawn.0 || (!same && (!snapshot.playing || snapshot.trouble.is_some()))
    }

    /// Draws again at that time at the latest.
    fn redraw_by(&mut self, at: Instant) {
        self.redraw_at = Some(self.redraw_at.map_or(at, |other| other.min(at)));
    }

    /// What is to be remembered of the panes is saved once it rests. The client's window has the same surround.
    fn remember(&mut self) {
        let now = Instant::now();
        if let Some(left) = self.memory.take(self.panes.remembered(), now) {
            self.redraw_by(now + left);
        }
        if let Some(client) = &self.client
            && std::mem::replace(&mut self.surround, self.panes.view.surround) != self.panes.view.surround
        {
            client.surface.window.request_redraw();
        }
    }

    pub(super) fn draw(&mut self) {
        let gpu = self.engine.gpu.clone();
        let snapshot = self.engine.snapshot();
        let window = self.surface.window.clone();
        let picture = self.engine.picture(Live::Desk);
        self.egui.set_zoom_factor(self.panes.view.zoom());
        let raw = self.input.take_egui_input(&window);
        let mut inputs = Vec::new();
        let mut area = egui::Rect::NOTHING;
        let presentation = self.engine.presentation();
        self.surface.choose(&gpu, &snapshot.show.outputs.desk, false);
        if let Some(client) = &mut self.client {
            client.choose_surface(&self.engine, false);
        }
        self.panes.windows = [Some(&self.surface), self.client.as_ref().map(|c| &c.surface)]
            .map(|window| window.map(WindowSurface::truth));
        self.show_traces(&gpu);
        self.panes.tally = picture.as_ref().and_then(|p| p.tally);
        self.panes.sofa.seen = self.server.as_ref().map(Seen::of);
        let panes = &mut self.panes;
        let mut full = self.egui.run_ui(raw, |ui| {
            area = panes.draw(ui, &snapshot, presentation, &mut inputs);
            if let Some(picture) =
                picture.as_deref().filter(|_| panes.sheet.is_none() && panes.stills.is_none())
            {
                let size = (picture.output.width, picture.output.height);
                outline(ui, &snapshot, place(area, size, ui.pixels_per_point()));
            }
            if let Some(picture) = picture.as_deref().filter(|_| snapshot.picking) {
                pick_neutral(ui, area, picture, &mut inputs);
            }
            let bare = panes.sheet.is_none() && panes.stills.is_none();
            let quiet = panes.probing || snapshot.picking;
            beside(ui, area, picture.as_deref().filter(|_| bare), &snapshot, quiet, &mut inputs);
            let seen = picture.as_deref().filter(|_| panes.probing && !snapshot.picking && bare);
            probe(ui, area, seen, &snapshot, &mut panes.probed, &mut inputs);
            panes.sofa.over(ui, area, picture.as_deref().filter(|_| bare));
        });
        self.remember();
        self.input.handle_platform_output(&window, full.platform_output);
        for input in inputs {
            self.engine.send(input);
        }
        for wish in std::mem::take(&mut self.panes.sofa.wishes) {
            self.about_clients(wish);
        }
        for ask in std::mem::take(&mut self.panes.asks) {
            match ask {
                Ask::Sheet => self.toggle_sheet(),
                Ask::KeepControl => {
                    if let Some(learning) = &snapshot.panel.learning {
                        self.learner.keep(learning);
                    }
                }
                Ask::SaveForm => self.panes.saving = Some(SaveForm::of(&snapshot.show)),
                Ask::SaveLook => {
                    if let Some(form) = &self.panes.saving {
                        self.librarian.save(form.clone(), &snapshot.show, &snapshot.dir);
                    }
                }
            }
        }
        if let Some(wish) = self.panes.lut_wish.take() {
            self.luts.begin(&snapshot.dir, wish);
        }
        // Deltas must be applied even when nothing is drawn.
        for (id, deltas) in std::mem::take(&mut full.textures_delta.set) {
            for delta in deltas {
                self.renderer.update_texture(&gpu.device, &gpu.queue, id, &delta);
            }
        }
        let points = full.pixels_per_point;
        let jobs = self.egui.tessellate(full.shapes, points);
        if let Some(texture) = self.surface.acquire(&gpu) {
            self.drawn = (picture.as_ref().map_or(0, |p| p.serial), Arc::downgrade(&snapshot));
            self.present(&gpu, texture, &jobs, points, area, picture.as_deref());
        } else {
            // Nobody may see it now; look again soon.
            self.redraw_by(Instant::now() + RETRY);
        }
        for id in std::mem::take(&mut full.textures_delta.free) {
            self.renderer.free_texture(&id);
        }
        // Hover texts, for one, come after a while without any event.
        let repaint = full.viewport_output.values().map(|v| v.repaint_delay).min();
        match repaint {
            Some(delay) if delay.is_zero() => window.request_redraw(),
            Some(delay) if delay < Duration::from_secs(60) => self.redraw_by(Instant::now() + delay),
            _ => {}
        }
    }

    fn present(
        &mut self,
        gpu: &Gpu,
        texture: wgpu::SurfaceTexture,
        jobs: &[egui::ClippedPrimitive],
        points: f32,
        area: egui::Rect,
        picture: Option<&engine::Picture>,
    ) {
        let view = texture.texture.create_view(&Default::default());
        let size = [self.surface.config.width, self.surface.config.height];
        let screen = ScreenDescriptor { size_in_pixels: size, pixels_per_point: points };
        let display = &self.engine.snapshot().show.outputs.desk.display;
        let around = self.panes.view.surround.signal(display);
        let clear = if self.panes.layout.picture_only { clear_to(around) } else { look::pane() };
        let mut encoder = gpu.device.create_command_encoder(&Default::default());
        let mut commands = self.renderer.update_buffers(&gpu.device, &gpu.queue, &mut encoder, jobs, &screen);
        {
            let mut pass = encoder
                .begin_render_pass(&wgpu::RenderPassDescriptor {
                    label: Some("desk"),
                    color_attachments: &[Some(wgpu::RenderPassColorAttachment {
                        view: &view,
                        depth_slice: None,
                        resolve_target: None,
                        ops: wgpu::Operations {
                            load: wgpu::LoadOp::Clear(clear),
                            store: wgpu::StoreOp::Store,
                        },
                    })],
                    ..Default::default()
                })
                .forget_lifetime();
            // The picture first, in its own draw; the interface lies beside it and over it.
            let (origin, extent) = (
                [area.left() * points, area.top() * points],
                [area.width() * points, area.height() * points],
            );
            if let Some(picture) = picture.filter(|_| extent[0] >= 1.0 && extent[1] >= 1.0) {
                let place = Place::fit((picture.output.width, picture.output.height), origin, extent);
                let group = self.blit.bind(gpu, picture, place, around);
                let clip = |v: f32, limit: u32| (v.max(0.0).round() as u32).min(limit);
                let (x, y) = (clip(origin[0], size[0]), clip(origin[1], size[1]));
                pass.set_scissor_rect(x, y, clip(extent[0], size[0] - x), clip(extent[1], size[1] - y));
                self.blit.draw(&mut pass, &group);
                pass.set_scissor_rect(0, 0, size[0], size[1]);
            }
            self.renderer.render(&mut pass, jobs, &screen);
        }
        commands.push(encoder.finish());
        gpu.queue.submit(commands);
        self.surface.window.pre_present_notify();
        gpu.queue.present(texture);
    }
}
