//! Looks for a grey card: a flat rectangle of the colour that a grey has in the picture, set off from what is around it.
//!
//! A white wall's poster is one too, so that what is found is a guess; a hand that clicks the card is what is sure.

use super::flat::{Flat, flats};
use super::neutral::angle;
use crate::picture::{Reduced, luminance};

/// Something that looks like a grey card.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// From its upper left to its lower right, in shares 0…1 of the picture's width and height.
    pub bounds: [[f64; 2]; 2],
    /// Its mean light.
    pub light: [f64; 3],
    /// Degrees between its colour and the picture's grey.
    pub apart: f64,
    /// Deviation of its luminance, in stops.
    pub uneven: f64,
}

/// Parts of the picture that a card may cover.
const SIZE: std::ops::Range<f64> = 0.004..0.12;
/// Degrees that its colour may be from the picture's grey.
const APART: f64 = 6.0;
/// Stops that its luminance may vary by.
const UNEVEN: f64 = 0.05;
/// Stops by which its surroundings differ, and for how many of them.
const SET_OFF: (f64, f64) = (0.25, 0.85);
/// Stops that it may be from the picture's median.
const LEVELS: f64 = 2.5;

/// What looks most like a grey card, given the colour that a grey has in the picture.
pub fn card(picture: &Reduced, grey: [f64; 3]) -> Option<Card> {
    let all = (picture.width * picture.height) as f64;
    let mut ys = picture.luminance();
    ys.sort_by(f64::total_cmp);
    let (median, top) = (ys[ys.len() / 2], *ys.last()?);
    let fits = |f: &Flat| {
        let y = luminance(f.light);
        SIZE.contains(&(f.area / all))
            && (0.93..1.07).contains(&f.fill)
            && f.aspect < 2.0
            && f.uneven < UNEVEN
            && y < 0.9 * top
            && (y / median).log2().abs() < LEVELS
            && angle(f.light, grey) < APART
            && set_off(picture, f) > SET_OFF.1
    };
    let least = (SIZE.start * all) as usize;
    let found = flats(picture, least.max(25)).into_iter().filter(fits);
    let nearest = found.min_by(|a, b| angle(a.light, grey).total_cmp(&angle(b.light, grey)))?;
    let [left, top, right, bottom] = nearest.bounds.map(|v| v as f64);
    let (w, h) = (picture.width as f64, picture.height as f64);
    Some(Card {
        bounds: [[left / w, top / h], [right / w, bottom / h]],
        light: nearest.light,
        apart: angle(nearest.light, grey),
        uneven: nearest.uneven,
    })
}

/// The part of what lies around a region, two pixels off, that differs from it.
fn set_off(picture: &Reduced, flat: &Flat) -> f64 {
    let (w, h) = (picture.width as i64, picture.height as i64);
    let mut inside = vec![false; (w * h) as usize];
    flat.pixels.iter().for_each(|i| inside[*i] = true);
    let (mut differs, mut count) = (0usize, 0usize);
    let mut seen = vec![false; inside.len()];
    for i in &flat.pixels {
        let (x, y) = (*i as i64 % w, *i as i64 / w);
        for (dx, dy) in [(-3, 0), (3, 0), (0, -3), (0, 3)] {
            // From its rim alone, outwards.
            let next = (x + dx / 3, y + dy / 3);
            if (0..w).contains(&next.0) && (0..h).contains(&next.1) && inside[(next.1 * w + next.0) as usize]
            {
                continue;
            }
            let (x, y) = (x + dx, y + dy);
            // What leaves the picture is not seen whole.
            if !(0..w).contains(&x) || !(0..h).contains(&y) {
                count += 1;
                continue;
            }
            let at = (y * w + x) as usize;
            if inside[at] || std::mem::replace(&mut seen[at], true) {
                continue;
            }
            count += 1;
            let light = picture.light[at];
            let stops = |c: usize| (light[c].max(1e-6) / flat.light[c].max(1e-6)).log2().abs();
            differs += usize::from((0..3).map(stops).fold(0.0, f64::max) > SET_OFF.0);
        }
    }
    if count > 0 { differs as f64 / count as f64 } else { 0.0 }
}
