//! A shot's white balance, and exposure, from a patch that was grey in the scene.

use super::{Change, Show, ShowError, Slot};
use crate::colour::{AP1, GREY, neutral_shift};
use crate::picture::BalanceField;

impl Show {
    /// The change that makes a patch of shot number `shot` (from 0) neutral: warmth and tint, whatever the
    /// adaptation, and exposure besides if the patch is to lie `stops` from middle grey. `patch` is scene-linear
    /// ACEScg before any balance; it keeps its luminance unless `stops` says otherwise.
    ///
    /// # Errors
    /// [`ShowError::Change`] when no light gives a grey that colour, when it takes more than a parameter's
    /// range holds, or when there is no such shot.
    pub fn neutral(&self, shot: usize, patch: [f64; 3], stops: Option<f64>) -> Result<Change, ShowError> {
        if shot >= self.shots.len() {
            let accepted = format!("a shot from 1 to {}", self.shots.len());
            return Err(ShowError::change(format!("the show has no shot {}", shot + 1), accepted));
        }
        let (warmth, tint) = neutral_shift(patch).ok_or_else(|| {
            let [r, g, b] = patch;
            ShowError::change(
                format!("no light near a black body's or daylight gives a grey the colour of this patch ({r:.4} {g:.4} {b:.4})"),
                "a patch that was grey in the scene, not black and not clipped",
            )
        })?;
        let mut wanted = vec![(BalanceField::Warmth, warmth), (BalanceField::Tint, tint)];
        if let Some(stops) = stops {
            let luminance: f64 = (0..3).map(|c| AP1.to_xyz().0[1][c] * patch[c]).sum();
            wanted.push((BalanceField::Exposure, stops + (GREY / luminance).log2()));
        }
        let outside = wanted.iter().any(|(field, value)| {
            let p = field.parameter();
            !(p.min..=p.max).contains(value)
        });
        if outside {
            let list = |text: &dyn Fn(BalanceField, f64) -> String| {
                wanted
                    .iter()
                    .map(|&(f, v)| format!("{} {}", f.parameter().key, text(f, v)))
                    .collect::<Vec<_>>()
            };
            let takes = list(&|field, value| field.parameter().show(value)).join(", ");
            let holds = list(&|field, _| {
                let p = field.parameter();
                format!("{} to {}", p.show(p.min), p.show(p.max))
            });
            let what = format!("this patch is out of balance's reach: neutral would take {takes}");
            return Err(ShowError::change(what, holds.join(", ")));
        }
        let set = |(field, value)| Change::SetParameter { slot: Slot::Balance { shot, field }, value };
        Ok(Change::Together(wanted.into_iter().map(set).collect()))
    }
}
