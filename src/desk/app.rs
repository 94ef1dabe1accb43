//! The windows' event loop.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use arc_swap::ArcSwap;
use egui_wgpu::{RendererOptions, ScreenDescriptor};
use winit::application::ApplicationHandler;
use winit::event::{ElementState, WindowEvent};
use winit::event_loop::{ActiveEventLoop, ControlFlow, EventLoop, EventLoopProxy};
use winit::keyboard::ModifiersState;
use winit::window::{Window, WindowId};

use super::client::Client;
use super::keys::{Action, action, let_go};
use super::learner::Learner;
use super::library::{Done, Librarian, SaveForm};
use super::luts::{Loader, Wish};
use super::panes::{Ask, MOUSE, Panes, TraceTextures, stage_of};
use super::picker::pick_neutral;
use super::probe::probe;
use super::sheet::LookSheet;
use super::sofa::{self, Seen};
use super::soundness::Soundness;
use super::surface::Beside;
use super::window::{Blit, Place, WindowSurface, of_shape, surround};
use crate::engine::{
    self, Command, Compare, EngineError, Handle, Input, Live, Options, OscOptions, known_target,
};
use crate::gpu::{Gpu, GpuError, Request, Traces, self_check};
use crate::panel::Act;
use crate::serve::{ServeError, ServeOptions, Server};
use crate::show::{is_lut_file, own_panels_folder};

/// Control number of the keyboard.
const KEYBOARD: u32 = 1;

/// Why the desk could not open.
#[derive(Debug, thiserror::Error)]
pub enum DeskError {
    /// There is no display server.
    #[error(
        "no window can be opened here: {0}. A desktop session (DISPLAY or WAYLAND_DISPLAY set) is needed, \
         with the packages libx11-6 libx11-xcb1 libxcursor1 libxi6 libxkbcommon-x11-0 on X11; \
         `greyhold render` works without"
    )]
    NoDisplay(String),
    /// A window was refused.
    #[error("the window system refused a window: {0}")]
    Window(String),
    /// The window cannot be drawn to.
    #[error("a window cannot be drawn to: {0}")]
    Surface(String),
    /// The GPU.
    #[error(transparent)]
    Gpu(#[from] GpuError),
    /// The engine.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The server for clients.
    #[error(transparent)]
    Serve(#[from] ServeError),
}

impl DeskError {
    pub(super) fn window(error: winit::error::OsError) -> Self {
        Self::Window(error.to_string())
    }
}

/// What of the client's window is there at the start.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClientWindow {
    /// None.
    Closed,
    /// A window.
    Window,
    /// The whole of a monitor.
    Fullscreen,
}

/// How the desk opens.
pub struct DeskOptions {
    /// Makes the engine's options around the notifier that the desk gives.
    pub engine: Box<dyn FnOnce(Arc<dyn Fn() + Send + Sync>) -> Options>,
    /// The client's window.
    pub client: ClientWindow,
    /// The client's monitor by name; any that the desk is not on when `None`.
    pub monitor: Option<String>,
    /// Size of the operator's window, in points.
    pub size: (u32, u32),
    /// Size of the client's window, in pixels; as large as 960×540 in the raster's shape when `None`.
    pub client_size: Option<(u32, u32)>,
    /// Part of the GPU's name, where there are several.
    pub adapter: String,
    /// Begin to play at once.
    pub play: bool,
    /// Listen to OSC.
    pub osc: Option<OscOptions>,
    /// Let clients watch in browsers.
    pub serve: Option<ServeOptions>,
    /// What the engine's maps are called: names of maps that ship, or files.
    pub maps: Vec<String>,
}

struct News;

/// The client's window when nobody says otherwise and the raster has this shape.
const CLIENT_SIZE: (u32, u32) = (960, 540);

/// How soon a window that could not be drawn to is tried again.
pub(super) const RETRY: Duration = Duration::from_millis(200);

/// Opens the windows and runs until the operator's is closed.
pub fn run(options: DeskOptions) -> Result<(), DeskError> {
    // Without libxkbcommon-x11 winit panics instead of saying so.
    let made = std::panic::catch_unwind(|| EventLoop::<News>::with_user_event().build());
    let events = match made {
        Ok(Ok(events)) => events,
        Ok(Err(e)) => return Err(DeskError::NoDisplay(e.to_string())),
        Err(_) => return Err(DeskError::NoDisplay("the window system's libraries are not all there".into())),
    };
    events.set_control_flow(ControlFlow::Wait);
    let mut app = App { proxy: events.create_proxy(), options: Some(options), desk: None, failed: None };
    events.run_app(&mut app).map_err(|e| DeskError::Window(e.to_string()))?;
    match app.failed.take() {
        Some(e) => Err(e),
        None => Ok(()),
    }
}

struct App {
    proxy: EventLoopProxy<News>,
    options: Option<DeskOptions>,
    desk: Option<Desk>,
    failed: Option<DeskError>,
}

struct Desk {
    /// Ahead of the engine, so that it goes first.
    server: Option<Server>,
    engine: Handle,
    surface: WindowSurface,
    blit: Blit,
    egui: egui::Context,
    input: egui_winit::State,
    renderer: egui_wgpu::Renderer,
    panes: Panes,
    luts: Loader,
    librarian: Librarian,
    learner: Learner,
    client: Option<Client>,
    client_size: Option<(u32, u32)>,
    /// The raster whose shape the client's window has.
    raster: Option<(u32, u32)>,
    monitor: Option<String>,
    mods: ModifiersState,
    /// When the interface wants to be drawn again without an event.
    redraw_at: Option<Instant>,
    /// Serial of the picture, and the snapshot, that were drawn last.
    drawn: (u64, std::sync::Weak<engine::Snapshot>),
    /// The traces that the panes show, which live as long as they do.
    traces: Option<Arc<Traces>>,
    /// Does a key leave a stage out of the picture?
    looks_away: bool,
    proxy: EventLoopProxy<News>,
    /// Something that panes show has gone on elsewhere.
    stirred: Arc<AtomicBool>,
}

impl ApplicationHandler<News> for App {
    fn resumed(&mut self, events: &ActiveEventLoop) {
        let Some(options) = self.options.take() else { return };
        match Desk::open(events, options, self.proxy.clone()) {
            Ok(desk) => self.desk = Some(desk),
            Err(e) => {
                self.failed = Some(e);
                events.exit();
            }
        }
    }

    fn user_event(&mut self, events: &ActiveEventLoop, _: News) {
        let Some(desk) = &mut self.desk else { return };
        if !desk.engine.running() {
            self.end(events);
            return;
        }
        desk.follow_raster();
        desk.take_luts();
        desk.take_looks();
        desk.take_learned();
        if desk.is_behind() || desk.stirred.swap(false, Ordering::Relaxed) {
            desk.surface.window.request_redraw();
        }
        if let Some(client) = desk.client.as_ref().filter(|c| c.is_behind(&desk.engine)) {
            client.surface.window.request_redraw();
        }
    }

    fn about_to_wait(&mut self, events: &ActiveEventLoop) {
        self.timed_redraws(events);
    }

    fn window_event(&mut self, events: &ActiveEventLoop, id: WindowId, event: WindowEvent) {
        let Some(desk) = &mut self.desk else { return };
        if !desk.engine.running() || !desk.event(events, id, &event) {
            self.end(events);
        }
    }
}

impl App {
    /// Draws what asked to be drawn at a time that has come, and sleeps until the next.
    fn timed_redraws(&mut self, events: &ActiveEventLoop) {
        let Some(desk) = &mut self.desk else { return };
        let now = Instant::now();
        if desk.redraw_at.is_some_and(|at| at <= now) {
            desk.redraw_at = None;
            desk.surface.window.request_redraw();
        }
        if let Some(client) = &mut desk.client
            && client.redraw_at.is_some_and(|at| at <= now)
        {
            client.redraw_at = None;
            client.surface.window.request_redraw();
        }
        let next =
            [desk.redraw_at, desk.client.as_ref().and_then(|c| c.redraw_at)].into_iter().flatten().min();
        events.set_control_flow(next.map_or(ControlFlow::Wait, ControlFlow::WaitUntil));
    }

    /// Stops the engine, which saves, and leaves the event loop.
    fn end(&mut self, events: &ActiveEventLoop) {
        if let Some(Err(e)) = self.desk.take().map(Desk::close) {
            self.failed = Some(e.into());
        }
        events.exit();
    }
}

impl Desk {
    fn open(
        events: &ActiveEventLoop,
        options: DeskOptions,
        proxy: EventLoopProxy<News>,
    ) -> Result<Self, DeskError> {
        let attributes = Window::default_attributes()
            .with_title("Greyhold · desk")
            .with_inner_size(winit::dpi::LogicalSize::new(options.size.0, options.size.1));
        let window = Arc::new(events.create_window(attributes).map_err(DeskError::window)?);
        let display = Box::new(events.owned_display_handle());
        let instance =
            wgpu::Instance::new(wgpu::InstanceDescriptor::new_with_display_handle_from_env(display));
        let surface =
            instance.create_surface(window.clone()).map_err(|e| DeskError::Surface(e.to_string()))?;
        let news = proxy.clone();
        let notify: Arc<dyn Fn() + Send + Sync> = Arc::new(move || {
            let _ = news.send_event(News);
        });
        let gpu = Gpu::open(instance, Some(&surface), Request { adapter: &options.adapter })?;
        let options_of_engine = (options.engine)(notify);
        let output = options_of_engine.show.outputs.desk.clone();
        let mode = wgpu::PresentMode::AutoVsync;
        let surface = WindowSurface::new(&gpu, window.clone(), surface, mode, &output, Beside::Interface)?;
        let blit = Blit::new(&gpu, surface.config.format);
        let egui = egui::Context::default();
        super::look::apply(&egui);
        let input = egui_winit::State::new(
            egui.clone(),
            egui::ViewportId::ROOT,
            &window,
            Some(window.scale_factor() as f32),
            None,
            Some(gpu.device.limits().max_texture_dimension_2d as usize),
        );
        let renderer =
            egui_wgpu::Renderer::new(&gpu.device, surface.config.format, RendererOptions::default());
        let device = Arc::new(ArcSwap::from_pointee(gpu.adapter.get_info().name));
        check_device(&gpu, &device, proxy.clone());
        let news = proxy.clone();
        let luts = Loader::new(move || {
            let _ = news.send_event(News);
        });
        let (news, stirred) = (proxy.clone(), Arc::<AtomicBool>::default());
        let stir = stirred.clone();
        let librarian = Librarian::new(move || {
            stir.store(true, Ordering::Relaxed);
            let _ = news.send_event(News);
        });
        let (news, stirred_too) = (proxy.clone(), stirred.clone());
        let learner = Learner::new(options.maps, own_panels_folder(), move || {
            stirred_too.store(true, Ordering::Relaxed);
            let _ = news.send_event(News);
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
        let mut desk = Self {
            server,
            engine,
            surface,
            blit,
            egui,
            input,
            renderer,
            panes: Panes::new(device),
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
        if options.client != ClientWindow::Closed {
            desk.open_client(events);
            if options.client == ClientWindow::Fullscreen {
                desk.toggle_fullscreen();
            }
        }
        window.request_redraw();
        Ok(desk)
    }

    /// Says goodbye to viewers and stops the engine.
    fn close(self) -> Result<(), EngineError> {
        drop(self.server);
        self.engine.stop()
    }

    /// Is there anything newer than what is drawn? While playing, the next picture brings the rest along.
    fn is_behind(&self) -> bool {
        let snapshot = self.engine.snapshot();
        let picture = self.engine.picture(Live::Desk).map_or(0, |p| p.serial);
        let same = std::ptr::eq(self.drawn.1.as_ptr(), Arc::as_ptr(&snapshot));
        picture != self.drawn.0 || (!same && (!snapshot.playing || snapshot.trouble.is_some()))
    }

    /// Gives the client's window the shape of a raster that is new, unless its size was asked for.
    fn follow_raster(&mut self) {
        let raster = self.engine.snapshot().raster;
        if raster.is_none() || raster == self.raster {
            return;
        }
        self.raster = raster;
        if let (Some(client), Some(raster), None) = (&self.client, raster, self.client_size) {
            client.take_shape(raster);
        }
    }

    fn open_client(&mut self, events: &ActiveEventLoop) {
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

    fn toggle_fullscreen(&mut self) {
        if let Some(client) = &self.client
            && let Err(e) = client.toggle_fullscreen(&self.surface.window, self.monitor.as_deref())
        {
            self.panes.note = Some(e);
        }
    }

    /// Takes an event in; false when it is time to end.
    fn event(&mut self, events: &ActiveEventLoop, id: WindowId, event: &WindowEvent) -> bool {
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
                WindowEvent::RedrawRequested => client.draw(&self.engine),
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

    /// A file was dropped on the desk: a LUT goes into the chain, where it belongs.
    fn dropped(&mut self, path: &Path) {
        if !is_lut_file(path) {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            self.panes.note = Some(format!("{name}: only .cube and .clf files can be dropped here"));
            return;
        }
        let wish = Wish { stage: None, file: path.to_owned(), said: [None; 2] };
        self.luts.begin(&self.engine.snapshot().dir, wish);
    }

    /// The library goes to the engine; what became of a look that was saved goes on the desk.
    fn take_looks(&mut self) {
        for done in self.librarian.finished() {
            match done {
                Done::Read(looks, wrong) => {
                    self.engine.send(Input::Library(looks.into()));
                    self.panes.note = wrong.into_iter().next().or(self.panes.note.take());
                }
                Done::Saved(Ok(file)) => {
                    self.panes.note = Some(format!("saved: {}", file.display()));
                    self.panes.saving = None;
                }
                Done::Saved(Err(why)) => match &mut self.panes.saving {
                    Some(form) => form.refused = Some(why),
                    None => self.panes.note = Some(why),
                },
            }
        }
    }

    /// What was learned is used at once.
    fn take_learned(&mut self) {
        for kept in self.learner.finished() {
            self.panes.note = Some(match kept.done {
                Ok((file, map)) => {
                    self.engine.send(Input::Map { at: kept.at, map });
                    self.engine.send(Input::Learn { target: None });
                    format!("kept in {}", file.display())
                }
                Err(why) => why,
            });
            self.surface.window.request_redraw();
        }
    }

    /// LUTs that have been read go into the chain.
    fn take_luts(&mut self) {
        for change in self.luts.finished(&self.engine.snapshot().show) {
            match change {
                Ok(change) => self.engine.send(Input::Change { change, control: MOUSE }),
                Err(e) => self.panes.note = Some(e),
            }
            self.surface.window.request_redraw();
        }
    }

    /// Gives the newest traces to the panes.
    fn show_traces(&mut self, gpu: &Gpu) {
        let newest = self.engine.picture(Live::Desk).and_then(|p| p.traces.clone());
        let Some(traces) = newest.filter(|_| self.panes.scopes.shown) else { return };
        let shown = self.traces.as_ref().is_some_and(|t| Arc::ptr_eq(t, &traces));
        if shown {
            return;
        }
        let (filter, views) = (wgpu::FilterMode::Linear, [&traces.wave, &traces.vector]);
        let ids = match self.panes.scopes.textures {
            Some(TraceTextures { wave, vector }) => {
                for (id, view) in [wave, vector].into_iter().zip(views) {
                    self.renderer.update_egui_texture_from_wgpu_texture(&gpu.device, view, filter, id);
                }
                TraceTextures { wave, vector }
            }
            None => {
                let [wave, vector] =
                    views.map(|view| self.renderer.register_native_texture(&gpu.device, view, filter));
                TraceTextures { wave, vector }
            }
        };
        self.panes.scopes.textures = Some(ids);
        self.traces = Some(traces);
    }

    /// Has the panes drawn again, from any thread.
    fn teller(&self) -> impl Fn() + Send + Sync + 'static {
        let (proxy, stirred) = (self.proxy.clone(), self.stirred.clone());
        move || {
            stirred.store(true, Ordering::Relaxed);
            let _ = proxy.send_event(News);
        }
    }

    /// The sheet of looks on the shot on view, or the picture again.
    fn toggle_sheet(&mut self) {
        if self.panes.sheet.take().is_none() {
            let sheet = LookSheet::begin(&self.engine.snapshot(), &self.engine.gpu, self.teller());
            self.panes.sheet = Some(sheet);
        }
        self.surface.window.request_redraw();
    }

    /// Does what the window about clients asks for.
    fn about_clients(&mut self, wish: sofa::Wish) {
        use sofa::Wish;
        match (&self.server, wish) {
            (_, Wish::Open { network }) => match self.engine.link() {
                Some(link) => match Server::start(sofa::options(network), link) {
                    Ok(server) => {
                        server.on_news(Box::new(self.teller()));
                        self.server = Some(server);
                    }
                    Err(e) => self.panes.note = Some(e.to_string()),
                },
                None => {}
            },
            (_, Wish::Close) => self.server = None,
            (None, _) => {}
            (Some(server), Wish::Renew(role)) => {
                if let Err(e) = server.renew(role) {
                    self.panes.note = Some(e.to_string());
                }
            }
            (Some(server), Wish::Done(note, done)) => server.set_done(note, done),
            (Some(server), Wish::Remove(note)) => server.remove(note),
            (Some(server), Wish::Point(at)) => server.point(at),
        }
        self.surface.window.request_redraw();
    }

    /// Do keys go to the interface?
    fn types(&self) -> bool {
        self.egui.egui_wants_keyboard_input() || self.panes.saving.is_some()
    }

    /// Leaves the stage in hand out of the picture, or takes it in again.
    fn leave_stage_out(&mut self, out: bool) {
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

    fn act(&mut self, events: &ActiveEventLoop, what: Action, down: bool, repeat: bool) {
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
        if what == Action::WithoutStage {
            if !repeat {
                self.leave_stage_out(down);
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
            Action::Leave => {
                self.engine.send(Input::Command(Command::Picking(false)));
                // The form and the sheet first: what was clicked on that stays on trial.
                if self.panes.saving.take().is_none() && self.panes.sheet.take().is_none() {
                    self.engine.send(Input::Command(Command::LeaveLook));
                }
            }
            Action::SaveLook if !repeat => self.panes.asks.push(Ask::SaveForm),
            Action::Sofa if !repeat => self.panes.sofa.shown = !self.panes.sofa.shown,
            Action::Probe if !repeat => self.panes.probing = !self.panes.probing,
            Action::Scopes if !repeat => self.panes.scopes.shown = !self.panes.scopes.shown,
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
            Action::Panes if !repeat => self.panes.shown = !self.panes.shown,
            Action::Keys if !repeat => self.panes.keys = !self.panes.keys,
            _ => {}
        }
    }

    fn draw(&mut self) {
        let gpu = self.engine.gpu.clone();
        let snapshot = self.engine.snapshot();
        let window = self.surface.window.clone();
        let picture = self.engine.picture(Live::Desk);
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
        self.panes.sofa.seen = self.server.as_ref().map(Seen::of);
        let panes = &mut self.panes;
        let mut full = self.egui.run_ui(raw, |ui| {
            area = panes.draw(ui, &snapshot, presentation, &mut inputs);
            if let Some(picture) = picture.as_deref().filter(|_| snapshot.picking) {
                pick_neutral(ui, area, picture, &mut inputs);
            }
            let seen =
                picture.as_deref().filter(|_| panes.probing && !snapshot.picking && panes.sheet.is_none());
            probe(ui, area, seen, &snapshot, &mut panes.probed, &mut inputs);
            panes.sofa.over(ui, area, picture.as_deref());
        });
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
            self.redraw_at = Some(Instant::now() + RETRY);
        }
        for id in std::mem::take(&mut full.textures_delta.free) {
            self.renderer.free_texture(&id);
        }
        // Hover texts, for one, come after a while without any event.
        let repaint = full.viewport_output.values().map(|v| v.repaint_delay).min();
        match repaint {
            Some(delay) if delay.is_zero() => window.request_redraw(),
            Some(delay) if delay < Duration::from_secs(60) => self.redraw_at = Some(Instant::now() + delay),
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
        let clear = if self.panes.shown { super::look::pane() } else { surround() };
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
                let group = self.blit.bind(gpu, picture, place);
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

/// Has the GPU checked on another thread: compiling what that takes must not hold up the windows.
fn check_device(gpu: &Arc<Gpu>, line: &Arc<ArcSwap<String>>, proxy: EventLoopProxy<News>) {
    let (gpu, line) = (gpu.clone(), line.clone());
    rayon::spawn(move || {
        line.store(Arc::new(device_line(&gpu)));
        let _ = proxy.send_event(News);
    });
}

/// The GPU's name and what its own check found.
fn device_line(gpu: &Gpu) -> String {
    let name = gpu.adapter.get_info().name;
    match self_check(gpu) {
        Ok(report) if report.all.holds() => {
            let share = 100.0 * report.all.worst_share;
            format!("{name}\nagrees with the reference within {share:.0} % of what is allowed")
        }
        Ok(report) => format!(
            "{name}\n⚠ differs from the reference by {:.1} times what is allowed ({}): its pictures cannot be trusted",
            report.all.worst_share, report.worst
        ),
        Err(e) => format!("{name}\n⚠ {e}"),
    }
}
