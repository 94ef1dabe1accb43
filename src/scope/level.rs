//! How much light a picture has: its log-average, and how evenly it lies about that.

use crate::colour::GREY;
use crate::picture::Reduced;

/// Parts of the pixels from the darkest and the brightest that are left out of the mean.
const TRIMMED: f64 = 0.1;
/// Light under this part of the median counts as that much, so that black has a logarithm.
const FLOOR: f64 = 1.0 / 256.0;

/// A picture's light, in stops from middle grey.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// The log-average luminance ("key": Reinhard and others, "Photographic Tone Reproduction for Digital Images", SIGGRAPH
    /// 2002), without the darkest and the brightest tenth.
    pub mean: f64,
    /// The median.
    pub median: f64,
    /// From the darkest tenth's end to the brightest tenth's beginning.
    pub spread: f64,
}

/// Stops of every pixel's luminance from middle grey, in ascending order; `None` for a picture with less light than dark.
pub(super) fn stops(picture: &Reduced) -> Option<Vec<f64>> {
    let mut ys = picture.luminance();
    ys.sort_by(f64::total_cmp);
    let floor = FLOOR * ys.get(ys.len() / 2).copied().filter(|m| *m > 0.0)?;
    Some(ys.into_iter().map(|y| (y.max(floor) / GREY).log2()).collect())
}

/// The value of a part 0…1 of sorted values.
pub(super) fn part(sorted: &[f64], part: f64) -> f64 {
    sorted[((sorted.len() - 1) as f64 * part).round() as usize]
}

/// How much light a picture has; `None` for one with less light than dark.
pub fn level(picture: &Reduced) -> Option<Level> {
    let sorted = stops(picture)?;
    let cut = (sorted.len() as f64 * TRIMMED) as usize;
    let kept = &sorted[cut..sorted.len() - cut];
    Some(Level {
        mean: kept.iter().sum::<f64>() / kept.len() as f64,
        median: part(&sorted, 0.5),
        spread: part(&sorted, 1.0 - TRIMMED) - part(&sorted, TRIMMED),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_more_light_is_a_stop_more() {
        let light: Vec<[f64; 3]> = (0..400).map(|i| [0.01 + f64::from(i * 7919 % 400) / 100.0; 3]).collect();
        let picture = Reduced { width: 20, height: 20, light };
        let (before, after) =
            (level(&picture).unwrap(), level(&picture.mapped(|l| l.map(|v| 2.0 * v))).unwrap());
        assert!((after.mean - before.mean - 1.0).abs() < 1e-12);
        assert!((after.median - before.median - 1.0).abs() < 1e-12);
        assert!((after.spread - before.spread).abs() < 1e-12);
        let grey = Reduced { width: 4, height: 4, light: vec![[GREY; 3]; 16] };
        assert!(level(&grey).unwrap().mean.abs() < 1e-9);
        assert_eq!(level(&grey.mapped(|_| [0.0; 3])), None, "no light, no level");
    }
}
