//! `greyhold open`

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context;
use clap::ValueEnum;

use crate::desk::{self, ClientWindow, DeskOptions};
use crate::engine::{CACHE, Options, known_action, known_target};
use crate::panel::{Map, SHIPPED, SystemPorts, shipped};
use crate::show::{Lock, load};

/// What of the client's window is there at the start.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum ClientArgument {
    /// None; C opens it.
    Closed,
    /// A window; F makes it fullscreen.
    Window,
    /// The whole of a monitor.
    Fullscreen,
}

/// How windows and panel are opened.
#[derive(Debug, clap::Args)]
pub struct WindowArguments {
    /// The client's window at the start.
    #[arg(long, value_enum, default_value = "window")]
    client: ClientArgument,
    /// The client's monitor, by the name the system gives it; one that the desk is not on when not given.
    #[arg(long, value_name = "NAME")]
    monitor: Option<String>,
    /// Map of the panel: the name of one that ships (eight-encoders, eight-knobs-and-faders, three-balls) or a file. Given
    /// several times: of several panels at once, each on the ports that its map is for. The show's, or
    /// eight-encoders, when not given.
    #[arg(long = "panel", value_name = "MAP")]
    panels: Vec<String>,
    /// Part of the GPU's name, where there are several.
    #[arg(long, default_value = "", value_name = "NAME")]
    adapter: String,
    /// Size of the operator's window.
    #[arg(long, default_value = "1440x810", value_name = "WxH", value_parser = super::size)]
    size: (u32, u32),
    /// Size of the client's window; as large as 960x540, in the raster's shape, when not given.
    #[arg(long, value_name = "WxH", value_parser = super::size)]
    client_size: Option<(u32, u32)>,
    /// Play at once.
    #[arg(long)]
    play: bool,
}

/// Open a show on the desk, with the client's window and the panel.
///
/// F1 lists the keys. Everything is saved as it is changed.
///
/// Example: greyhold open winter --client fullscreen --panel three-balls
#[derive(Debug, clap::Args)]
pub struct Open {
    /// Folder of the show.
    dir: PathBuf,
    #[command(flatten)]
    windows: WindowArguments,
}

impl Open {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        open(&self.dir, self.windows)
    }
}

/// Opens a show and runs until its window is closed.
pub(super) fn open(dir: &Path, windows: WindowArguments) -> anyhow::Result<ExitCode> {
    let lock = Lock::take(dir)?;
    let show = load(dir)?;
    let wanted = if windows.panels.is_empty() { &show.panels } else { &windows.panels };
    let maps = match wanted.as_slice() {
        [] => vec![Arc::new(map(None)?)],
        names => names.iter().map(|name| Ok(Arc::new(map(Some(name))?))).collect::<anyhow::Result<_>>()?,
    };
    let dir = dir.to_owned();
    desk::run(DeskOptions {
        engine: Box::new(move |notify| Options {
            dir,
            show,
            lock: Some(lock),
            panel: Some((maps, Box::new(|| Box::new(SystemPorts::new())))),
            cache: CACHE,
            notify,
        }),
        client: match windows.client {
            ClientArgument::Closed => ClientWindow::Closed,
            ClientArgument::Window => ClientWindow::Window,
            ClientArgument::Fullscreen => ClientWindow::Fullscreen,
        },
        monitor: windows.monitor,
        size: windows.size,
        client_size: windows.client_size,
        adapter: windows.adapter,
        play: windows.play,
    })?;
    Ok(ExitCode::SUCCESS)
}

/// A map by the name of one that ships, or by its file.
pub(super) fn map(wanted: Option<&str>) -> anyhow::Result<Map> {
    let wanted = wanted.unwrap_or("eight-encoders");
    if let Some((file, text)) = shipped(wanted) {
        return Ok(Map::parse(text, file, &known_target, &known_action)?);
    }
    let names: Vec<_> = SHIPPED.iter().filter_map(|(file, _)| file.strip_suffix(".toml")).collect();
    let text = std::fs::read_to_string(wanted).with_context(|| {
        format!("no panel map {wanted:?}: it is no file that can be read, and none of {}", names.join(", "))
    })?;
    Ok(Map::parse(&text, wanted, &known_target, &known_action)?)
}
