//! The windows' event loop.

mod act;
mod clients;
mod arrivals;
mod device;
mod draw;
mod events;
mod open;
mod options;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use egui_winit::accesskit_winit::Event as AssistEvent;
use winit::application::ApplicationHandler;
use winit::event::WindowEvent;
use winit::event_loop::{ActiveEventLoop, ControlFlow, EventLoop, EventLoopProxy};
use winit::keyboard::ModifiersState;
use winit::window::WindowId;

pub use self::options::{ClientWindow, DeskError, DeskOptions};
use super::client::Client;
use super::learner::Learner;
use super::library::Librarian;
use super::luts::Loader;
use super::panes::Panes;
use super::remembered::Memory;
use super::surround::Surround;
use super::window::{Blit, WindowSurface};
use crate::engine::{self, Handle};
use crate::gpu::Traces;
use crate::serve::Server;

/// What wakes the event loop.
enum News {
    /// Something is new elsewhere.
    Stirred,
    /// An assistive program wants something of the desk's window.
    Assist(AssistEvent),
}

impl From<AssistEvent> for News {
    fn from(event: AssistEvent) -> Self {
        Self::Assist(event)
    }
}

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
    /// What is remembered of them.
    memory: Memory,
    /// The surround that the client's window was drawn with.
    surround: Surround,
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

    fn user_event(&mut self, events: &ActiveEventLoop, news: News) {
        let Some(desk) = &mut self.desk else { return };
        if let News::Assist(event) = news {
            desk.assist(event.window_event);
            return;
        }
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
