//! The windows are opened.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use arc_swap::ArcSwap;
use egui_wgpu::RendererOptions;
use winit::event_loop::{ActiveEventLoop, EventLoopProxy};
use winit::keyboard::ModifiersState;
use winit::window::Window;

use super::super::client::Client;
use super::super::learner::Learner;
use super::super::library::Librarian;
use super::super::look;
use super::super::luts::Loader;
use super::super::panes::Panes;
use super::super::remembered::Memory;
use super::super::soundness::Soundness;
use super::super::surface::Beside;
use super::super::walk::{Remembered, Walk, is_demo};
use super::super::window::{Blit, WindowSurface, of_shape};
use super::device::check_device;
use super::{ClientWindow, Desk, DeskError, DeskOptions, News};
use crate::engine::{self, Command, Input, Live};
use crate::gpu::{Gpu, Request};
use crate::serve::Server;
use crate::show::{own_desk_file, own_panels_folder};

/// The client's window when nobody says otherwise and the raster has this shape.
const CLIENT_SIZE: (u32, u32) = (960, 540);

impl Desk {
    pub(super) fn open(
        events: &ActiveEventLoop,
        options: DeskOptions,
        proxy: EventLoopProxy<News>,
    ) -> Result<Self, DeskError> {
        let attributes = Window::default_attributes()
            .with_title("Greyhold · desk")
            .with_inner_size(winit::dpi::LogicalSize::new(options.size.0, options.size.1))
            // Assistive programs have to know of it before it is seen.
            .with_visible(false);
        let window = Arc::new(events.create_window(attributes).map_err(DeskError::window)?);
        let display = Box::new(events.owned_display_handle());
        let instance =
            wgpu::Instance::new(wgpu::InstanceDescriptor::new_with_display_handle_from_env(display));
        let surface =
            instance.create_surface(window.clone()).map_err(|e| DeskError::Surface(e.to_string()))?;
        let news = proxy.clone();
        let notify: Arc<dyn Fn() + Send + Sync> = Arc::new(move || {
            let _ = news.send_event(News::Stirred);
        });
        let gpu = Gpu::open(instance, Some(&surface), Request { adapter: &options.adapter })?;
        let options_of_engine = (options.engine)(notify);
        let output = options_of_engine.show.outputs.desk.clone();
        let mode = wgpu::PresentMode::AutoVsync;
        let surface = WindowSurface::new(&gpu, window.clone(), surface, mode, &output, Beside::Interface)?;
        let blit = Blit::new(&gpu, surface.config.format);
        let egui = egui::Context::default();
        look::apply(&egui);
        let mut input = egui_winit::State::new(
            egui.clone(),
            egui::ViewportId::ROOT,
            &window,
            Some(window.scale_factor() as f32),
            None,
            Some(gpu.device.limits().max_texture_dimension_2d as usize),
        );
        input.init_accesskit(events, &window, proxy.clone());
        window.set_visible(true);
        let renderer =
            egui_wgpu::Renderer::new(&gpu.device, surface.config.format, RendererOptions::default());
        let device = Arc::new(ArcSwap::from_pointee(gpu.adapter.get_info().name));
        check_device(&gpu, &device, proxy.clone());
        let news = proxy.clone();
        let luts = Loader::new(move || {
            let _ = news.send_event(News::Stirred);
        });
        let (news, stirred) = (proxy.clone(), Arc::<AtomicBool>::default());
        let stir = stirred.clone();
        let librarian = Librarian::new(move || {
            stir.store(true, Ordering::Relaxed);
            let _ = news.send_event(News::Stirred);
        });
        let (news, stirred_too) = (proxy.clone(), stirred.clone());
        let learner = Learner::new(options.maps, own_panels_folder(), move || {
            stirred_too.store(true, Ordering::Relaxed);
            let _ = news.send_event(News::Stirred);
        });
        let engine = engine::start(gpu, options_of_engine)?;
        let server = match (options.serve, engine.link()) {
            (Some(serve), Some(link)) => Some(Server::start(serve, link)?),
            _ => None,
        };
        engine.send(Input::Depth { output: Live::Desk, bits: surface.bits() });
        if let Some(osc) = options.osc {
            engine.send(Input::Osc(osc));
        }
        if options.play {
            engine.send(Input::Command(Command::TogglePlay));
        }
        let (memory, remembered, wrong) = Memory::open(own_desk_file());
        let mut panes = Panes::new(device);
        panes.recall(remembered);
        panes.note = wrong;
        let mut desk = Self {
            server,
            engine,
            surface,
            blit,
            egui,
            input,
            renderer,
            panes,
            memory,
            surround: Default::default(),
            luts,
            librarian,
            learner,
            client: None,
            client_size: options.client_size,
            raster: None,
            monitor: options.monitor,
            mods: ModifiersState::empty(),
            redraw_at: None,
            drawn: (0, std::sync::Weak::new()),
            traces: None,
            looks_away: false,
            proxy,
            stirred,
        };
        desk.librarian.read(&desk.engine.snapshot().dir);
        if let Some(server) = &desk.server {
            server.on_news(Box::new(desk.teller()));
        }
        desk.panes.soundness = Some(Soundness::new(desk.teller()));
        let remembered = Remembered::own();
        if is_demo(&desk.engine.snapshot().show) && !remembered.was_offered() {
            remembered.offered();
            desk.panes.walk = Walk::Offered;
        }
        if options.client != ClientWindow::Closed {
            desk.open_client(events);
            if options.client == ClientWindow::Fullscreen {
                desk.toggle_fullscreen();
            }
        }
        window.request_redraw();
        Ok(desk)
    }

    /// Gives the client's window the shape of a raster that is new, unless its size was asked for.
    pub(super) fn follow_raster(&mut self) {
        let raster = self.engine.snapshot().raster;
        if raster.is_none() || raster == self.raster {
            return;
        }
        self.raster = raster;
        if let (Some(client), Some(raster), None) = (&self.client, raster, self.client_size) {
            client.take_shape(raster);
        }
    }

    pub(super) fn open_client(&mut self, events: &ActiveEventLoop) {
        self.raster = self.engine.snapshot().raster;
        let size =
            self.client_size.unwrap_or_else(|| of_shape(CLIENT_SIZE, self.raster.unwrap_or(CLIENT_SIZE)));
        match Client::open(events, &self.engine, size) {
            Ok(client) => {
                client.surface.window.request_redraw();
                self.client = Some(client);
            }
            Err(e) => self.panes.note = Some(e.to_string()),
        }
    }

    pub(super) fn toggle_fullscreen(&mut self) {
        if let Some(client) = &self.client
            && let Err(e) = client.toggle_fullscreen(&self.surface.window, self.monitor.as_deref())
        {
            self.panes.note = Some(e);
        }
    }
}
