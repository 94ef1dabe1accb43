//! `greyhold values`

use std::io::{BufRead, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};
use clap::ValueEnum;

use crate::colour::{Encoding, OUTPUT_TRANSFORMS, OutputTransform};
use crate::gpu::{ACES2_SIGNAL, DARK_SIGNAL, Gpu, OF_PIXEL, Request, agreement};
use crate::picture::{Frame, Recipe, Tail, cpu};
use crate::show::{Output, OutputSettings, load, look_named};

/// What becomes of a code value? Reads `r g b` lines, prints `r g b` lines.
///
/// Lines on stdin hold three numbers, with spaces or commas between; empty lines and lines that begin
/// with # are passed over. `--to` converts through scene-linear light with each encoding's published
/// adaptation, and through balance and chain too where a show or look is given. `--display` runs balance,
/// chain, output transform and display encoding; without a show or look the first two are empty. `--output` does that as
/// an output of the show has it, trim and calibration with it. Numbers of a
/// display's encoding (bt1886, srgb) are first taken back through the output transform. Results have nine significant digits. With `--on both` a line holds the
/// CPU's three numbers, the GPU's three and their differences, and the exit status is 1 if any is past
/// the tolerance. A shot's framing does not act: it moves values and mixes them with their neighbours. Nor do stages
/// that are not the same all over the picture (vignette, grain).
///
/// Example: echo 0.278 0.278 0.278 | greyhold values --from logc4 --display rec709
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("goal").required(true))]
pub struct Values {
    /// Encoding of the numbers that come in.
    #[arg(long, value_name = "ENC", value_parser = super::encoding_named)]
    from: &'static Encoding,
    /// Encoding of the numbers that go out.
    #[arg(long, value_name = "ENC", group = "goal", value_parser = super::encoding_named)]
    to: Option<&'static Encoding>,
    /// Display whose signal goes out: one that comes with the program, or the show's own.
    #[arg(long, value_name = "ID", group = "goal")]
    display: Option<String>,
    /// Output of the show whose signal goes out, with its display, trim and calibration: desk, client or files.
    #[arg(long, value_name = "NAME", group = "goal", requires = "show", value_parser = super::output_named)]
    output: Option<Output>,
    /// Show whose chain (and, with --shot, balance) acts.
    #[arg(long, value_name = "DIR")]
    show: Option<PathBuf>,
    /// Shot of the show whose balance acts.
    #[arg(long, value_name = "NAME", requires = "show")]
    shot: Option<String>,
    /// Look that takes the place of the show's: a look file, or a name as `greyhold look list` has it.
    #[arg(long, value_name = "FILE")]
    look: Option<PathBuf>,
    /// Output transform; when not given the show's, or aces2 to a display and none to an encoding.
    #[arg(long, value_name = "NAME", value_parser = super::transform_named)]
    output_transform: Option<OutputTransform>,
    /// What computes.
    #[arg(long, value_enum, default_value_t = Where::Cpu)]
    on: Where,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Where {
    /// The CPU twins, in single floats as the GPU computes.
    Cpu,
    /// The GPU's shaders.
    Gpu,
    /// Both, and their difference.
    Both,
}

/// Width of the frame that the numbers travel in.
const WIDTH: u32 = 4096;

impl Values {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let recipe = self.recipe()?;
        let pixels = read(std::io::stdin().lock())?;
        if pixels.is_empty() {
            return Ok(ExitCode::SUCCESS);
        }
        let count = pixels.len();
        let width = WIDTH.min(count as u32);
        let mut padded = pixels;
        padded.resize(count.next_multiple_of(width as usize), [0.0; 3]);
        let frame = Frame::from_rgb(width, &padded).context("too many lines at once")?;
        let mut out = std::io::BufWriter::new(std::io::stdout().lock());
        let on_gpu = || -> anyhow::Result<Vec<[f32; 3]>> {
            let gpu = Gpu::headless(Request::default())?;
            Ok(gpu.signal(&recipe, &frame)?)
        };
        match self.on {
            Where::Cpu => print(&mut out, &cpu::signal(&recipe, &frame).pixels[..count])?,
            Where::Gpu => print(&mut out, &on_gpu()?[..count])?,
            Where::Both => {
                let (c, g) = (cpu::signal(&recipe, &frame).pixels, on_gpu()?);
                for (a, b) in c[..count].iter().zip(&g[..count]) {
                    let difference: [f32; 3] = std::array::from_fn(|i| b[i] - a[i]);
                    writeln!(out, "{}  {}  {}", line(a), line(b), line(&difference))?;
                }
                out.flush()?;
                let tolerance = match recipe.tail {
                    Tail::Display { transform: OutputTransform::Aces2, .. } => ACES2_SIGNAL,
                    Tail::Display { .. } => DARK_SIGNAL,
                    Tail::Encoding(_) | Tail::Light => OF_PIXEL,
                };
                let found = agreement(&c[..count], &g[..count], tolerance);
                if !found.holds() {
                    eprintln!(
                        "greyhold: {} of {} values differ by more than {:e} + {:e} of the value; worst {:e}",
                        found.outside, found.count, tolerance.abs, tolerance.rel, found.worst
                    );
                    return Ok(ExitCode::from(1));
                }
            }
        }
        out.flush()?;
        Ok(ExitCode::SUCCESS)
    }
}

impl Values {
    /// The recipe asked for: a plain conversion, or the path through a show's or look's settings.
    fn recipe(&self) -> anyhow::Result<Recipe> {
        let show = self.show.as_deref().map(load).transpose()?;
        let mut chain = show.as_ref().map(|s| s.chain.clone()).unwrap_or_default();
        if let Some(path) = &self.look {
            chain.look = look_named(path, self.show.as_deref())?.stages;
            chain.look_strength = 1.0;
        }
        let shot = match (&show, &self.shot) {
            (Some(show), Some(name)) => {
                Some(show.shots.iter().find(|s| s.name == *name).with_context(|| {
                    let names: Vec<_> = show.shots.iter().map(|s| s.name.as_str()).collect();
                    format!("no shot is called {name:?}; accepted: {}", names.join(", "))
                })?)
            }
            _ => None,
        };
        let balance = shot.map(|s| s.balance).unwrap_or_default();
        let usual = if self.to.is_some() { OutputTransform::None } else { OUTPUT_TRANSFORMS[0] };
        let transform = self.output_transform.or(show.as_ref().map(|s| s.transform)).unwrap_or(usual);
        let tail = match (self.to, &self.display, self.output, &show) {
            (Some(encoding), ..) => Tail::Encoding(encoding),
            (None, Some(id), ..) => {
                let display = super::display_named(show.as_ref(), id)?;
                match (self.output_transform, &show) {
                    (None, Some(show)) => {
                        show.check_display(&display)?;
                        show.tail_of(&OutputSettings::new(display))
                    }
                    (transform, _) => Tail::display(transform.unwrap_or(OUTPUT_TRANSFORMS[0]), display),
                }
            }
            (None, None, Some(output), Some(show)) => show.tail(output),
            _ => bail!("--to, --display or --output says what the numbers become"),
        };
        let mut recipe = if self.to.is_some() && show.is_none() && self.look.is_none() {
            Recipe::conversion(self.from, tail)
        } else {
            Recipe::graded(self.from, balance, &chain, tail)
        };
        recipe.stages.retain(|s| !s.kind.declaration().spot);
        Ok(recipe.rendered_by(transform))
    }
}

fn read(input: impl BufRead) -> anyhow::Result<Vec<[f32; 3]>> {
    let mut out = Vec::new();
    for (number, text) in input.lines().enumerate() {
        let text = text.context("stdin could not be read")?;
        let trimmed = text.trim();
        if trimmed.is_empty() || trimmed.starts_with('#') {
            continue;
        }
        let words: Vec<&str> =
            trimmed.split(|c: char| c == ',' || c.is_whitespace()).filter(|w| !w.is_empty()).collect();
        let numbers: Option<Vec<f32>> = words.iter().map(|w| w.parse().ok()).collect();
        match numbers.as_deref() {
            Some(&[r, g, b]) => out.push([r, g, b]),
            _ => bail!("stdin:{}: {trimmed:?} is not three numbers, as in `0.5 0.5 0.5`", number + 1),
        }
    }
    Ok(out)
}

/// Nine significant digits: enough to give the same f32 back.
fn line(p: &[f32; 3]) -> String {
    p.map(|v| significant(f64::from(v))).join(" ")
}

fn significant(v: f64) -> String {
    if v == 0.0 {
        return "0".into();
    }
    let exponent = v.abs().log10().floor() as i32;
    if (-5..9).contains(&exponent) {
        format!("{v:.*}", (8 - exponent).max(0) as usize)
    } else {
        format!("{v:.8e}")
    }
}

fn print(out: &mut impl Write, pixels: &[[f32; 3]]) -> std::io::Result<()> {
    pixels.iter().try_for_each(|p| writeln!(out, "{}", line(p)))
}
