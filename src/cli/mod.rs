//! The command line: one file a command.

mod add;
mod balance;
mod bench;
mod bench_render;
mod cdl;
mod check;
mod check_shots;
mod copy_balance;
mod cut;
mod demo;
mod displays;
mod look;
mod encodings;
mod find;
mod group;
mod handoff;
mod learn;
mod media;
mod new;
mod open;
mod panel;
mod render;
mod serve;
mod sheet;
mod sit;
mod stage;
mod still;
mod suggest;
mod survey;
mod values;
mod version;

use std::sync::Arc;

use clap::{Parser, Subcommand, ValueEnum};

use crate::colour::{self, Display, Encoding, OutputTransform, Range, YcbcrMatrix};
use crate::look::Intent;
use crate::show::{Output, Show, known_displays};

/// Which processor computes a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum On {
    /// The GPU's shaders.
    Gpu,
    /// Their CPU twins.
    Cpu,
}

/// A real-time preview server for colour grading, driven by a hardware panel.
///
/// Camera-original log footage goes in; a graded picture goes to the operator's window and the
/// client's, and out to files. `greyhold demo` makes a small show and opens it.
#[derive(Debug, Parser)]
#[command(name = "greyhold", version, max_term_width = 100)]
pub struct Arguments {
    #[command(subcommand)]
    command: Command,
    /// Say more about what happens (twice: everything).
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    pub verbose: u8,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Demo),
    New(new::New),
    Add(add::Add),
    Media(media::Media),
    Find(find::Find),
    Cut(cut::Cut),
    Balance(balance::Balance),
    CopyBalance(copy_balance::CopyBalance),
    Suggest(suggest::Suggest),
    Match(sit::Match),
    Survey(survey::SurveyShow),
    Encoding(survey::EncodingOf),
    Open(open::Open),
    Serve(serve::Serve),
    Stage(stage::PutIn),
    Look(look::Look),
    Group(group::Group),
    Render(render::Render),
    Sheet(sheet::Sheet),
    Handoff(handoff::Handoff),
    Cdl(cdl::Cdl),
    Still(still::Still),
    Version(version::Version),
    Values(values::Values),
    Encodings(encodings::Encodings),
    Displays(displays::Displays),
    Panel(panel::Panel),
    Check(check::Check),
    Bench(bench::Bench),
}

impl Arguments {
    /// Runs the command that was asked for; the exit status of the process.
    pub fn run(self) -> anyhow::Result<std::process::ExitCode> {
        match self.command {
            Command::Demo(c) => c.run(),
            Command::New(c) => c.run(),
            Command::Add(c) => c.run(),
            Command::Media(c) => c.run(),
            Command::Find(c) => c.run(),
            Command::Cut(c) => c.run(),
            Command::Balance(c) => c.run(),
            Command::CopyBalance(c) => c.run(),
            Command::Suggest(c) => c.run(),
            Command::Match(c) => c.run(),
            Command::Survey(c) => c.run(),
            Command::Encoding(c) => c.run(),
            Command::Open(c) => c.run(),
            Command::Serve(c) => c.run(),
            Command::Stage(c) => c.run(),
            Command::Look(c) => c.run(),
            Command::Group(c) => c.run(),
            Command::Render(c) => c.run(),
            Command::Sheet(c) => c.run(),
            Command::Handoff(c) => c.run(),
            Command::Cdl(c) => c.run(),
            Command::Still(c) => c.run(),
            Command::Version(c) => c.run(),
            Command::Values(c) => c.run(),
            Command::Encodings(c) => c.run(),
            Command::Displays(c) => c.run(),
            Command::Panel(c) => c.run(),
            Command::Check(c) => c.run(),
            Command::Bench(c) => c.run(),
        }
    }
}

fn named<T>(
    found: Option<T>,
    text: &str,
    kind: &str,
    accepted: impl Iterator<Item = &'static str>,
) -> Result<T, String> {
    found.ok_or_else(|| {
        format!("no {kind} is called {text:?}; accepted: {}", accepted.collect::<Vec<_>>().join(", "))
    })
}

fn encoding_named(text: &str) -> Result<&'static Encoding, String> {
    named(colour::encoding(text), text, "encoding", colour::ENCODINGS.iter().map(|e| e.id))
}

fn intent_named(text: &str) -> Result<Intent, String> {
    named(Intent::named(text), text, "intent", Intent::ALL.into_iter().map(Intent::id))
}

/// A display by its name: one of a show's own, or one that comes with the program.
fn display_named(show: Option<&Show>, text: &str) -> anyhow::Result<Arc<Display>> {
    let own = show.map_or(&[][..], |show| &show.displays);
    let all: Vec<_> = known_displays().chain(own.iter().cloned()).collect();
    all.iter().find(|d| d.id == text).cloned().ok_or_else(|| {
        let ids: Vec<_> = all.iter().map(|d| d.id.as_ref()).collect();
        let hint = if show.is_some() { "" } else { ", and with --show a show's own" };
        anyhow::anyhow!("no display is called {text:?}; accepted: {}{hint}", ids.join(", "))
    })
}

/// Shots by their names, in the order of the names; all of them when none is named.
fn shots_named(show: &Show, wanted: &[String]) -> anyhow::Result<Vec<usize>> {
    let mut shots = Vec::new();
    for name in wanted {
        let names = || show.shots.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", ");
        let found = show.shots.iter().position(|s| s.name == *name);
        let at = found.ok_or_else(|| anyhow::anyhow!("no shot is called {name:?}; accepted: {}", names()))?;
        if !shots.contains(&at) {
            shots.push(at);
        }
    }
    Ok(if wanted.is_empty() { (0..show.shots.len()).collect() } else { shots })
}

/// A shot by its name, or by its number from 1.
fn shot_of(show: &Show, text: &str) -> anyhow::Result<usize> {
    let named = show.shots.iter().position(|s| s.name == text);
    let numbered = || text.parse::<usize>().ok()?.checked_sub(1).filter(|i| *i < show.shots.len());
    named.or_else(numbered).ok_or_else(|| {
        let names = show.shots.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", ");
        anyhow::anyhow!(
            "no shot is called {text:?}; accepted: {names}, or a number from 1 to {}",
            show.shots.len()
        )
    })
}

/// A number from 0 to 1.
fn share(text: &str) -> Result<f64, String> {
    let share = text.parse().ok().filter(|v| (0.0..=1.0).contains(v));
    share.ok_or_else(|| format!("{text:?} is no number from 0 to 1"))
}

fn output_named(text: &str) -> Result<Output, String> {
    let found = Output::ALL.into_iter().find(|o| o.key() == text);
    named(found, text, "output", Output::ALL.iter().map(|o| o.key()))
}

fn transform_named(text: &str) -> Result<OutputTransform, String> {
    let all = colour::OUTPUT_TRANSFORMS.iter().map(|t| t.id());
    named(colour::output_transform(text), text, "output transform", all)
}

fn range_named(text: &str) -> Result<Range, String> {
    let found = match text {
        "narrow" => Some(Range::Narrow),
        "full" => Some(Range::Full),
        _ => None,
    };
    named(found, text, "range", ["narrow", "full"].into_iter())
}

fn matrix_named(text: &str) -> Result<YcbcrMatrix, String> {
    let found = match text {
        "bt601" => Some(YcbcrMatrix::Bt601),
        "bt709" => Some(YcbcrMatrix::Bt709),
        "bt2020" => Some(YcbcrMatrix::Bt2020),
        _ => None,
    };
    named(found, text, "matrix", ["bt601", "bt709", "bt2020"].into_iter())
}

/// A size as in 1920x1080.
fn size(text: &str) -> Result<(u32, u32), String> {
    let side = |s: &str| s.parse::<u32>().ok().filter(|v| (1..=crate::picture::MAX_SIDE).contains(v));
    text.split_once(['x', '×'])
        .and_then(|(w, h)| Some((side(w)?, side(h)?)))
        .ok_or_else(|| format!("{text:?} is no size; 1920x1080 is one"))
}
