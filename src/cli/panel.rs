//! `greyhold panel`

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use clap::Subcommand;

use crate::panel::{Move, Plug, Plugs, PortClock, Ports, Surface, SystemPorts, read, svg, table};
use crate::show::write_atomically;

/// Look at the physical control surface.
///
/// Example: greyhold panel watch --map three-balls
#[derive(Debug, clap::Args)]
pub struct Panel {
    #[command(subcommand)]
    command: PanelCommand,
}

#[derive(Debug, Subcommand)]
enum PanelCommand {
    /// List the MIDI ports that a panel can be on.
    ///
    /// Example: greyhold panel ports
    Ports,
    /// Show messages as they come, and what they become.
    ///
    /// Example: greyhold panel watch --map my-panel.toml
    Watch {
        /// Map: the name of one that ships, or a file.
        #[arg(long, default_value = "eight-encoders")]
        map: String,
        /// End after so many seconds; 0 goes on until interrupted.
        #[arg(long, default_value_t = 0)]
        seconds: u64,
    },
    Learn(super::learn::Learn),
    /// Draw a map: its controls with their messages and what they do.
    ///
    /// Example: greyhold panel draw my-panel.toml my-panel.svg
    Draw {
        /// Map: the name of one that ships, or a file.
        map: String,
        /// The drawing's file, SVG; a table of text is printed when not given.
        drawing: Option<PathBuf>,
    },
}

impl Panel {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        match self.command {
            PanelCommand::Ports => ports(),
            PanelCommand::Watch { map, seconds } => watch(&map, seconds),
            PanelCommand::Learn(learn) => learn.run(),
            PanelCommand::Draw { map, drawing } => draw(&map, drawing.as_deref()),
        }
    }
}

fn ports() -> anyhow::Result<ExitCode> {
    let list = SystemPorts::new().list()?;
    if list.is_empty() {
        println!("no MIDI port that messages can come from");
    }
    for port in list {
        println!("{}", port.name);
    }
    Ok(ExitCode::SUCCESS)
}

fn draw(map: &str, drawing: Option<&Path>) -> anyhow::Result<ExitCode> {
    let map = super::open::map(Some(map))?;
    match drawing {
        None => print!("{}\n\n{}", map.name, table(&map)),
        Some(path) => write_atomically(path, |out| out.write_all(svg(&map).as_bytes()))?,
    }
    Ok(ExitCode::SUCCESS)
}

fn watch(map: &str, seconds: u64) -> anyhow::Result<ExitCode> {
    let map = Arc::new(super::open::map(Some(map))?);
    let me = std::thread::current();
    let mut plugs = Plugs::new(Box::new(SystemPorts::new()), &map.port, Arc::new(move || me.unpark()));
    let mut open = Vec::new();
    let start = Instant::now();
    println!("watching with the map {:?}; messages appear as they come", map.name);
    while seconds == 0 || start.elapsed() < Duration::from_secs(seconds) {
        for plug in plugs.poll(Instant::now()) {
            match plug {
                Plug::Opened { port, name, queue, .. } => {
                    println!("{name}: open");
                    open.push((port, name, queue, Surface::new(map.clone()), PortClock::default()));
                }
                Plug::Answering { port } => {
                    if let Some(o) = open.iter().find(|o| o.0 == port) {
                        println!("{}: can be told things", o.1);
                    }
                }
                Plug::Closed { port, name } => {
                    println!("{name}: gone");
                    open.retain(|o| o.0 != port);
                }
                Plug::Refused { name, why } => println!("{name}: {why}"),
                Plug::Absent { why } | Plug::Unavailable { why } => println!("{why}"),
            }
        }
        let mut nap = Duration::from_millis(100);
        for (port, name, queue, surface, clock) in &mut open {
            queue.drain(|message| {
                clock.heard(message.at, Instant::now());
                let bytes: Vec<String> = message.bytes().iter().map(|b| format!("{b:02X}")).collect();
                // Parameters are taken to stand in the middle, as there is no show here.
                let moves = read(*port, message.bytes())
                    .map(|event| surface.feed(message.at, &event, &|_| Some(0.5)))
                    .unwrap_or_default();
                let became = match &moves[..] {
                    [] if surface.due().is_some() => "more to come".to_owned(),
                    [] => "nothing".to_owned(),
                    moves => describe(moves),
                };
                println!("{name}: {}  →  {became}", bytes.join(" "));
            });
            let now = Instant::now();
            let settled = clock.at(now).map(|at| surface.settle(at, &|_| Some(0.5))).unwrap_or_default();
            if !settled.is_empty() {
                println!("{name}: in time  →  {}", describe(&settled));
            }
            let due = surface.due().and_then(|at| clock.when(at));
            nap = due.map_or(nap, |due| nap.min(due.saturating_duration_since(now)));
        }
        std::thread::park_timeout(nap);
    }
    Ok(ExitCode::SUCCESS)
}

pub(super) fn describe(moves: &[Move]) -> String {
    let one = |m: &Move| match m {
        Move::Turn { target, detents, .. } => format!("{target} {detents:+} steps"),
        Move::Add { target, amount, .. } => format!("{target} {amount:+}"),
        Move::Set { target, position, .. } => {
            format!("{target} to {:.1} % of its range", position * 100.0)
        }
        Move::Reset { target } => format!("{target} to its default"),
        Move::Hold { down, .. } => if *down { "a hand on it" } else { "no hand on it" }.to_owned(),
        Move::Press { action, down } => {
            format!("{action} {}", if *down { "pressed" } else { "let go" })
        }
    };
    moves.iter().map(one).collect::<Vec<_>>().join(", ")
}
