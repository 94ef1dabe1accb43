//! `greyhold balance`

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context, bail};

use crate::colour::light_temperature;
use crate::media::{Interpretation, Rate, open};
use crate::picture::{Area, BalanceField, mean_light};
use crate::show::{Lock, load, save};

/// Balance a shot by what is known of its picture: a patch that was grey in the scene.
///
/// The patch is read from the decoded footage, before any balance. Warmth and tint are set so that it becomes
/// neutral, at the light it has; with --stops exposure is set, too. The show is saved; what else is in the
/// shot's balance stays.
///
/// Example: greyhold balance winter platform --neutral 640,300 --stops 0
#[derive(Debug, clap::Args)]
pub struct Balance {
    /// Folder of the show.
    dir: PathBuf,
    /// Name of the shot.
    shot: String,
    /// Middle of the patch in pixels of the footage, from its upper left corner, and the patch's side (9 when
    /// not given).
    #[arg(long, value_name = "X,Y[,SIZE]", required = true, value_parser = patch)]
    neutral: Patch,
    /// Frame of the shot that the patch is on, from 0.
    #[arg(long, value_name = "N", default_value_t = 0)]
    frame: u64,
    /// Stops from middle grey that the patch is brought to.
    #[arg(long, value_name = "STOPS", allow_negative_numbers = true)]
    stops: Option<f64>,
}

#[derive(Clone, Copy, Debug)]
struct Patch {
    x: u32,
    y: u32,
    size: u32,
}

fn patch(text: &str) -> Result<Patch, String> {
    let numbers: Option<Vec<u32>> = text.split(',').map(|w| w.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[x, y]) => Ok(Patch { x, y, size: 9 }),
        Some(&[x, y, size]) if size > 0 => Ok(Patch { x, y, size }),
        _ => Err(format!("{text:?} is no patch; 640,300 is one, and 640,300,25, in whole pixels")),
    }
}

/// A patch for other commands: its middle and its side.
pub(super) fn patch_numbers(text: &str) -> Result<[u32; 3], String> {
    patch(text).map(|p| [p.x, p.y, p.size])
}

impl Balance {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let names = || show.shots.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", ");
        let at = show
            .shots
            .iter()
            .position(|s| s.name == self.shot)
            .with_context(|| format!("no shot is called {:?}; accepted: {}", self.shot, names()))?;
        let shot = &show.shots[at];
        let frames = shot.frames().end - shot.frames().start;
        if self.frame >= frames {
            bail!("{} has no frame {}; accepted: 0 to {}", shot.name, self.frame, frames - 1);
        }
        let laid_on = Rate::new(show.rate.0, show.rate.1);
        let interpretation =
            Interpretation { range: shot.range, matrix: shot.matrix, laid_on, ..Interpretation::default() };
        let mut source = open(&shot.source_path(&self.dir), &interpretation)?;
        let frame = source.frame(shot.start + self.frame)?;
        let Patch { x, y, size } = self.neutral;
        let area = Area::around(&frame, x, y, size).with_context(|| {
            format!(
                "{x},{y} is outside the picture; accepted: 0,0 to {},{}",
                frame.width - 1,
                frame.height - 1
            )
        })?;
        let light = mean_light(&frame, show.decode(shot), area);
        let change = show.neutral(at, light, self.stops)?;
        let exposed = self.stops.is_some();
        show.apply(change)?;
        save(&show, &self.dir)?;

        let shot = &show.shots[at];
        let [r, g, b] = light;
        println!(
            "{}: {}×{} pixels at {},{} of frame {} read {r:.4} {g:.4} {b:.4} (ACEScg)",
            shot.name, area.width, area.height, area.x, area.y, self.frame
        );
        let value = |field: BalanceField| field.parameter().show(shot.balance.get(field));
        let (kelvin, duv) =
            light_temperature(shot.balance.get(BalanceField::Warmth), shot.balance.get(BalanceField::Tint));
        println!("light of {kelvin:.0} K, Duv {duv:+.4}, becomes white");
        println!("warmth {}, tint {}", value(BalanceField::Warmth), value(BalanceField::Tint));
        if exposed {
            println!("exposure {}", value(BalanceField::Exposure));
        }
        Ok(ExitCode::SUCCESS)
    }
}
