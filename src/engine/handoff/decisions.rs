//! A shot's colour decision: its balance where an ASC CDL carries it, else the one that comes nearest.

use super::fit::{exact, least_squares, start};
use super::measure::{Distance, Path};
use super::samples::Sampled;
use super::{HandoffError, Job};
use crate::colour::{Cdl, encoding};
use crate::picture::Tail;

/// Colours that a decision is fitted to, at most; every third of what is measured as a rule.
const MOST: usize = 2500;

/// Weight of differences on the working encoding beside those of the display's signal, so that what the display
/// clips has a say too.
const BESIDE: f64 = 0.05;

/// A shot's colour decision.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decision {
    /// The ten numbers, without holding values to 0…1.
    pub cdl: Cdl<f64>,
    /// Were they fitted, because balance does what no decision on this encoding does?
    pub fitted: bool,
    /// How far the display's signal is from the live one, on the shot's own colours.
    pub distance: Distance,
}

/// Works out a shot's decision.
///
/// # Errors
/// That the shot is not there.
pub fn decide(job: &Job<'_>, shot: usize, sampled: &Sampled) -> Result<Decision, HandoffError> {
    let acescct = encoding("acescct").ok_or(HandoffError::Nothing)?;
    let (live, _) = job.path(shot, job.tail()).ok_or(HandoffError::Nothing)?;
    let (own, balance) = (live.recipe.decode.encoding, live.recipe.balance);
    let space = job.space;
    let onto = |balance| live.part(own, balance, Tail::Encoding(space)).without_stages();
    let after = live.part(space, None, job.tail());
    let before = onto(None).pixels(&sampled.camera);
    let signal = live.pixels(&sampled.camera);
    let measured = |cdl: &Cdl<f64>| {
        let decided: Vec<_> = before.iter().map(|v| cdl.forward_no_clamp(*v)).collect();
        Distance::between(&after.pixels(&decided), &signal)
    };
    let balance = balance.unwrap_or_default();
    if space.id == acescct.id
        && let Some(cdl) = exact(&balance)
    {
        return Ok(Decision { cdl, fitted: false, distance: measured(&cdl) });
    }
    let wanted = onto(Some(balance)).pixels(&sampled.camera);
    // An odd step goes through all columns of the grid.
    let step = (before.len() / MOST + 1) | 1;
    let pick = |all: &[[f64; 3]]| all.iter().step_by(step).copied().collect::<Vec<_>>();
    let (from, to, seen) = (pick(&before), pick(&wanted), pick(&signal));
    let on_space = |cdl: &Cdl<f64>| -> Vec<f64> {
        from.iter().zip(&to).flat_map(|(x, y)| differences(cdl.forward_no_clamp(*x), *y)).collect()
    };
    let first = if space.id == acescct.id { start(&balance) } else { Cdl::IDENTITY };
    let near = least_squares(first, 60, on_space);
    let on_display = |cdl: &Cdl<f64>| on_display(&after, &from, &to, &seen, cdl);
    let nearer = least_squares(near, 12, on_display);
    let (a, b) = (measured(&near), measured(&nearer));
    let (cdl, distance) = if b.p99 <= a.p99 { (nearer, b) } else { (near, a) };
    Ok(Decision { cdl, fitted: true, distance })
}

fn differences(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|c| a[c] - b[c])
}

fn on_display(
    after: &Path,
    from: &[[f64; 3]],
    to: &[[f64; 3]],
    seen: &[[f64; 3]],
    cdl: &Cdl<f64>,
) -> Vec<f64> {
    let decided: Vec<_> = from.iter().map(|v| cdl.forward_no_clamp(*v)).collect();
    let shown = after.pixels(&decided);
    let on_signal = shown.iter().zip(seen).flat_map(|(a, b)| differences(*a, *b));
    let on_space = decided.iter().zip(to).flat_map(|(a, b)| differences(*a, *b).map(|d| d * BESIDE));
    on_signal.chain(on_space).collect()
}
