//! `greyhold open`

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context;
use clap::ValueEnum;

use crate::desk::{self, ClientWindow, DeskOptions, MapFile};
use crate::engine::{CACHE, Options, OscOptions, known_action, known_target};
use crate::panel::osc::{LAYOUTS, Layout};
use crate::panel::{Map, SystemPorts};
use crate::show::{Lock, load};

/// The map where nobody says otherwise.
const FIRST_MAP: &str = "eight-encoders";

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
    /// Listen to OSC there: a port of this machine alone, or ADDRESS:PORT. The addresses are the parameters';
    /// http://127.0.0.1:PORT/ lists them (OSCQuery).
    #[arg(long, value_name = "PORT", value_parser = osc_address)]
    osc: Option<SocketAddr>,
    /// What the fixed addresses of a tablet mean: osc-tablet, which ships, or a file.
    #[arg(long, value_name = "LAYOUT", requires = "osc")]
    osc_layout: Option<String>,
    #[command(flatten)]
    serve: super::serve::ServeArguments,
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
    let names = if wanted.is_empty() { vec![FIRST_MAP.to_owned()] } else { wanted.clone() };
    let maps = names.iter().map(|name| Ok(Arc::new(map(Some(name))?))).collect::<anyhow::Result<Vec<_>>>()?;
    let osc = osc(&windows)?;
    let serve = windows.serve.options();
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
        osc,
        serve,
        maps: names,
    })?;
    Ok(ExitCode::SUCCESS)
}

/// A port, of this machine alone, or an address with a port.
fn osc_address(text: &str) -> Result<SocketAddr, String> {
    let port = text.parse().ok().map(|port| SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), port));
    port.or_else(|| text.parse().ok()).filter(|a| a.port() > 0).ok_or_else(|| {
        "a port (9000) or an address with a port (0.0.0.0:9000, 192.168.1.20:9000, [::1]:9000) is accepted"
            .to_owned()
    })
}

/// What OSC is asked for.
fn osc(windows: &WindowArguments) -> anyhow::Result<Option<OscOptions>> {
    let Some(address) = windows.osc else { return Ok(None) };
    let layout = windows.osc_layout.as_deref().map(layout).transpose()?.map(Arc::new);
    if !address.ip().is_loopback() {
        eprintln!(
            "greyhold: caution: OSC on {address} has no password: whoever is on that network can read this show's \
             parameters and move the grade"
        );
    }
    Ok(Some(OscOptions { address, layout }))
}

/// A layout by the name of one that ships, or by its file.
fn layout(wanted: &str) -> anyhow::Result<Layout> {
    let shipped = LAYOUTS.iter().find(|(file, _)| file.strip_suffix(".toml") == Some(wanted));
    if let Some((file, text)) = shipped {
        return Ok(Layout::parse(text, file, &known_target, &known_action)?);
    }
    let names: Vec<_> = LAYOUTS.iter().filter_map(|(file, _)| file.strip_suffix(".toml")).collect();
    let text = std::fs::read_to_string(wanted).with_context(|| {
        format!("no OSC layout {wanted:?}: it is no file that can be read, and none of {}", names.join(", "))
    })?;
    Ok(Layout::parse(&text, wanted, &known_target, &known_action)?)
}

/// A map by the name of one that ships, of which the user's copy comes first, or by its file.
pub(super) fn map(wanted: Option<&str>) -> anyhow::Result<Map> {
    let found = MapFile::of(wanted.unwrap_or(FIRST_MAP)).map_err(anyhow::Error::msg)?;
    Ok(found.map()?)
}
