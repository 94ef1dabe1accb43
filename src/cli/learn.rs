//! `greyhold panel learn`

use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};

use super::panel::describe;
use crate::engine::{ACTIONS, known_action, known_target, own_addresses};
use crate::panel::{
    Guess, Map, PANEL_ACTIONS, Plug, Plugs, Purpose, Queue, RawMessage, Recogniser, Surface, SystemPorts,
    add_learned, empty_map, read,
};
use crate::show::{addresses, write_atomically};

/// How long nothing may come before what was moved counts as done.
const QUIET: Duration = Duration::from_millis(700);

/// Learn a control: move it, see what it is, try it, keep it in a map.
///
/// Turn an encoder a little to the right, then to the left; move a knob or fader over some of its way; press a
/// button three times, shortly. What was recognised is shown and can be tried before it is saved. A message that the
/// map has a meaning for already is shown and not overwritten. Everything else in the map's file stays as it is.
///
/// Example: greyhold panel learn my-panel.toml --target balance/exposure --label Exposure
#[derive(Debug, clap::Args)]
pub struct Learn {
    /// The map's file. It is made if it is not there.
    #[arg(required_unless_present = "list")]
    map: Option<PathBuf>,
    /// Address of the parameter that the control is to move.
    #[arg(long, value_name = "ADDRESS", conflicts_with = "action")]
    target: Option<String>,
    /// What the button is to do.
    #[arg(long, value_name = "ACTION")]
    action: Option<String>,
    /// The control's name on the panel mirror.
    #[arg(long)]
    label: Option<String>,
    /// Part of the port's name; that of the map when not given.
    #[arg(long, value_name = "NAME")]
    port: Option<String>,
    /// List the addresses and actions that there are, and do nothing else.
    #[arg(long)]
    list: bool,
    /// Save what was recognised without asking.
    #[arg(long)]
    yes: bool,
    /// Give up after so many seconds; 0 waits until interrupted.
    #[arg(long, default_value_t = 0)]
    seconds: u64,
}

impl Learn {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        if self.list {
            let mut out = std::io::stdout().lock();
            for address in addresses().into_iter().chain(own_addresses()) {
                writeln!(out, "{address}")?;
            }
            let actions = ACTIONS.iter().map(|action| (action.name, action.doc));
            for (name, doc) in actions.chain(PANEL_ACTIONS.iter().copied()) {
                writeln!(out, "--action {name}: {doc}")?;
            }
            return Ok(ExitCode::SUCCESS);
        }
        let Some(path) = &self.map else { bail!("name the map's file") };
        let purpose = match (&self.target, &self.action) {
            (Some(address), _) => {
                known_target(address).map_err(anyhow::Error::msg)?;
                Purpose::Move(address)
            }
            (None, Some(action)) => {
                if !PANEL_ACTIONS.iter().any(|(name, _)| name == action) {
                    known_action(action).map_err(anyhow::Error::msg)?;
                }
                Purpose::Do(action)
            }
            (None, None) => bail!("what is it for? --target ADDRESS or --action ACTION; --list shows both"),
        };
        self.learn(path, purpose)
    }

    fn learn(&self, path: &Path, purpose: Purpose<'_>) -> anyhow::Result<ExitCode> {
        let before = match std::fs::read_to_string(path) {
            Ok(text) => Some(text),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => None,
            Err(e) => return Err(e).with_context(|| format!("{} cannot be read", path.display())),
        };
        let known = before.as_deref().map(|text| parse(text, path)).transpose()?;
        if let (Some(map), Purpose::Move(address)) = (&known, purpose) {
            for other in map.controls.iter().filter(|c| c.targets.iter().any(|t| *t.address == *address)) {
                println!("“{}” moves {address} already; both will", other.label);
            }
        }
        let pattern = match (&self.port, &known) {
            (Some(port), _) => port.as_str(),
            (None, Some(map)) => map.port.as_str(),
            (None, None) => "",
        };
        match purpose {
            Purpose::Move(address) => println!(
                "{address}: turn an encoder a little to the right, then to the left; move a knob or fader some way"
            ),
            Purpose::Do(action) => println!("{action}: press the button three times, shortly"),
        }
        let mut session = Session::new(pattern, self.seconds);
        let (guess, port) = loop {
            let Some(found) = session.recognise() else {
                println!("nothing was recognised; nothing is saved");
                return Ok(ExitCode::FAILURE);
            };
            let text = before.clone().unwrap_or_else(|| {
                let name = path.file_stem().map_or("learned".into(), |s| s.to_string_lossy());
                empty_map(&name, self.port.as_deref().unwrap_or(&found.1))
            });
            let map = parse(&text, path)?;
            let added = add_learned(&text, &map, &found.0, purpose, self.label.as_deref(), Some(&found.1));
            let text = match added {
                Ok(text) => text,
                Err(why) => {
                    println!("{why}; nothing is saved");
                    return Ok(ExitCode::FAILURE);
                }
            };
            let map = Arc::new(parse(&text, path)?);
            match if self.yes { Answer::Keep } else { session.trial(map) } {
                Answer::Keep => {
                    write_atomically(path, |out| out.write_all(text.as_bytes()))?;
                    break found;
                }
                Answer::Again => session.forget(),
                Answer::Leave => {
                    println!("nothing is saved");
                    return Ok(ExitCode::FAILURE);
                }
            }
        };
        println!("saved in {}: {}, channel {}, from {port}", path.display(), guess.kind, guess.channel + 1);
        Ok(ExitCode::SUCCESS)
    }
}

fn parse(text: &str, path: &Path) -> anyhow::Result<Map> {
    Ok(Map::parse(text, &path.display().to_string(), &known_target, &known_action)?)
}

enum Answer {
    Keep,
    Again,
    Leave,
}

struct Open {
    port: usize,
    name: String,
    queue: Queue,
    heard: Recogniser,
    since: Instant,
    said: String,
}

struct Session {
    plugs: Plugs,
    open: Vec<Open>,
    lines: Receiver<String>,
    end: Option<Instant>,
}

impl Session {
    fn new(pattern: &str, seconds: u64) -> Self {
        let me = std::thread::current();
        let plugs = Plugs::new(Box::new(SystemPorts::new()), pattern, Arc::new(move || me.unpark()));
        let (tell, lines) = channel();
        let me = std::thread::current();
        // It ends with the process: nothing wakes a thread that waits for a person.
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    return;
                }
                me.unpark();
            }
            drop(tell);
            me.unpark();
        });
        let end = (seconds > 0).then(|| Instant::now() + Duration::from_secs(seconds));
        Self { plugs, open: Vec::new(), lines, end }
    }

    fn forget(&mut self) {
        for open in &mut self.open {
            open.heard.clear();
            open.said.clear();
        }
    }

    /// Looks at the ports and waits a little; false when time is up.
    fn wait(&mut self) -> bool {
        for plug in self.plugs.poll(Instant::now()) {
            match plug {
                Plug::Opened { port, name, queue, .. } => {
                    println!("{name}: open");
                    let (heard, since) = (Recogniser::new(), Instant::now());
                    self.open.push(Open { port, name, queue, heard, since, said: String::new() });
                }
                Plug::Closed { port, name } => {
                    println!("{name}: gone");
                    self.open.retain(|o| o.port != port);
                }
                Plug::Refused { why, .. } | Plug::Absent { why } | Plug::Unavailable { why } => {
                    println!("{why}");
                }
                Plug::Answering { .. } => {}
            }
        }
        std::thread::park_timeout(Duration::from_millis(50));
        self.end.is_none_or(|end| Instant::now() < end)
    }

    /// What was moved, once that is sure and it rests, and by which port; `None` when time is up.
    fn recognise(&mut self) -> Option<(Guess, String)> {
        while self.wait() {
            for open in &mut self.open {
                let heard = &mut open.heard;
                let mut any = false;
                open.queue.drain(|message| {
                    any = true;
                    heard.hear(message.at, message.bytes());
                });
                if any {
                    open.since = Instant::now();
                }
                let Some(guess) = heard.guess() else { continue };
                let sure = format!("{:.0} % sure", 100.0 * guess.certainty);
                let said = match guess.need {
                    Some(need) => format!("{}: {need} (so far {})", open.name, guess.kind),
                    None => format!("{}: {}, channel {}", open.name, guess.kind, guess.channel + 1),
                };
                if said != open.said {
                    println!("{said}, {sure}");
                    open.said = said;
                }
                if guess.need.is_none() && open.since.elapsed() >= QUIET {
                    return Some((guess, open.name.clone()));
                }
            }
        }
        None
    }

    /// Shows what the map makes of messages until somebody says what is to be done with it.
    fn trial(&mut self, map: Arc<Map>) -> Answer {
        println!("try it: Enter saves, a and Enter starts again, q and Enter leaves");
        let mut surface = Surface::new(map);
        while self.wait() {
            match self.lines.try_recv() {
                Ok(line) if line.trim().is_empty() => return Answer::Keep,
                Ok(line) if line.trim() == "a" => return Answer::Again,
                Ok(_) | Err(TryRecvError::Disconnected) => return Answer::Leave,
                Err(TryRecvError::Empty) => {}
            }
            for open in &mut self.open {
                let port = open.port;
                open.queue.drain(|message: RawMessage| {
                    let Some(event) = read(port, message.bytes()) else { return };
                    // Parameters are taken to stand in the middle, as there is no show here.
                    let moves = surface.feed(message.at, &event, &|_| Some(0.5));
                    if !moves.is_empty() {
                        println!("{}", describe(&moves));
                    }
                });
            }
        }
        Answer::Leave
    }
}
