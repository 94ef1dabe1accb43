//! `greyhold serve`

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use crate::engine::{CACHE, Command, Handle, Input, Options, OscOptions, start};
use crate::gpu::{Gpu, Request};
use crate::serve::{PORT, Role, ServeOptions, Server};
use crate::show::{Lock, load};

/// How clients are let in.
#[derive(Clone, Debug, clap::Args)]
pub struct ServeArguments {
    /// Let clients watch in browsers, there: a port of this machine alone (8420 when nothing is given), or ADDRESS:PORT;
    /// 0.0.0.0:8420 is for the whole local network. Ctrl W shows the address and the word that lets in.
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, default_missing_value = "8420", value_parser = address)]
    serve: Option<SocketAddr>,
    /// Hours that an access word holds.
    #[arg(long, default_value_t = 12, value_name = "HOURS", value_parser = clap::value_parser!(u32).range(1..=720))]
    word_hours: u32,
    /// Pictures for browsers are no larger than this.
    #[arg(long, default_value = "1920x1080", value_name = "WxH", value_parser = super::size)]
    largest: (u32, u32),
}

impl ServeArguments {
    /// What is asked for, if anything is.
    pub(super) fn options(&self) -> Option<ServeOptions> {
        self.serve.map(|address| self.at(address))
    }

    fn at(&self, address: SocketAddr) -> ServeOptions {
        if !address.ip().is_loopback() {
            eprintln!(
                "greyhold: caution: what goes through {address} is not encrypted: on a network that strangers share, \
                 they can read access words and pictures"
            );
        }
        let word_lasts = Duration::from_secs(u64::from(self.word_hours) * 3600);
        ServeOptions { address, word_lasts, largest: self.largest }
    }
}

/// A port, of this machine alone, or an address with a port.
fn address(text: &str) -> Result<SocketAddr, String> {
    let port = text.parse().ok().map(|port| SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), port));
    port.or_else(|| text.parse().ok()).ok_or_else(|| {
        format!("a port ({PORT}) or an address with a port (0.0.0.0:{PORT}, 192.168.1.20:{PORT}, [::1]:{PORT}) is accepted")
    })
}

/// Let clients watch a show in browsers, without a window here.
///
/// The addresses are written to standard output, each with its access word behind `#`: the client's, and that of the
/// operator's pocket panel. It goes on until it is interrupted, and saves.
///
/// Example: greyhold serve winter --serve 0.0.0.0:8420 --play
#[derive(Debug, clap::Args)]
pub struct Serve {
    /// Folder of the show.
    dir: PathBuf,
    #[command(flatten)]
    serve: ServeArguments,
    /// Listen to OSC there, too: a port of this machine alone, or ADDRESS:PORT.
    #[arg(long, value_name = "PORT", value_parser = address)]
    osc: Option<SocketAddr>,
    /// Part of the GPU's name, where there are several.
    #[arg(long, default_value = "", value_name = "NAME")]
    adapter: String,
    /// Play at once.
    #[arg(long)]
    play: bool,
}

impl Serve {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let lock = Lock::take(&self.dir)?;
        let show = load(&self.dir)?;
        let gpu = Gpu::headless(Request { adapter: &self.adapter })?;
        let notify = Arc::new(|| ());
        let options = Options { dir: self.dir, show, lock: Some(lock), panel: None, cache: CACHE, notify };
        let engine = start(gpu, options)?;
        let link = engine.link().expect("it has just been started");
        let here = SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), PORT);
        let options = self.serve.options().unwrap_or_else(|| self.serve.at(here));
        let server = Server::start(options, link)?;
        if let Some(address) = self.osc {
            engine.send(Input::Osc(OscOptions { address, layout: None }));
        }
        if self.play {
            engine.send(Input::Command(Command::TogglePlay));
        }
        let word = |role| server.invitation(role).word;
        println!("clients:  {}#{}", server.url(), word(Role::Viewer));
        println!("operator: {}panel#{}", server.url(), word(Role::Operator));
        until_told(&engine)?;
        drop(server);
        engine.stop()?;
        Ok(ExitCode::SUCCESS)
    }
}

/// Waits until the process is interrupted or asked to end, or the engine is gone.
fn until_told(engine: &Handle) -> std::io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let gone = async {
            while engine.running() {
                tokio::time::sleep(Duration::from_millis(200)).await;
            }
        };
        #[cfg(unix)]
        {
            use tokio::signal::unix::{SignalKind, signal};
            let (mut end, mut hung_up) = (signal(SignalKind::terminate())?, signal(SignalKind::hangup())?);
            tokio::select! {
                () = gone => {}
                interrupted = tokio::signal::ctrl_c() => interrupted?,
                _ = end.recv() => {}
                _ = hung_up.recv() => {}
            }
        }
        #[cfg(not(unix))]
        tokio::select! {
            () = gone => {}
            interrupted = tokio::signal::ctrl_c() => interrupted?,
        }
        Ok(())
    })
}
