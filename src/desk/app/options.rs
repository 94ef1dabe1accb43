//! How the desk opens, and why it could not.

use std::sync::Arc;

use crate::engine::{EngineError, Options, OscOptions};
use crate::gpu::GpuError;
use crate::serve::{ServeError, ServeOptions};

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
    pub(in super::super) fn window(error: winit::error::OsError) -> Self {
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
