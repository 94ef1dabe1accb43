//! Marks on a picture: what a signal cannot hold, as patterns of dark and light that need no colour to be told apart.

use super::stops::{Ends, PLACES, place};

/// What share of its largest channel a colour's smallest may lie below 0 in the output's limiting primaries before it is
/// marked: half floats and matrices leave a boundary's colours this near to it.
pub const EXCESS: f32 = 1.0 / 256.0;
/// The ends of a display's signal: within half a code of ten bits, as the look check has it.
pub const AT_END: f32 = 0.5 / 1023.0;

/// What there is to know of a pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pixel {
    /// The camera's signal, R′G′B′.
    pub camera: [f32; 3],
    /// ACEScg light that false colour tells of.
    pub light: [f32; 3],
    /// The client's signal, 0…1, not dithered.
    pub signal: [f32; 3],
    /// The graded light in the limiting primaries of the client's display.
    pub limited: [f32; 3],
}

/// What is counted: places of the false colours' scale, then these.
pub const UPPER: usize = PLACES;
/// Pixels with a channel at the lower end of the display's signal.
pub const LOWER: usize = PLACES + 1;
/// Pixels that the camera's codes clip.
pub const CAMERA: usize = PLACES + 2;
/// Pixels outside the output's limiting primaries.
pub const GAMUT: usize = PLACES + 3;
/// Pixels inside the frame: what shares are shares of.
pub const INSIDE: usize = PLACES + 4;
/// How much is counted.
pub const COUNTS: usize = PLACES + 5;

/// What is so about a pixel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// Its place on the scale of false colours.
    pub place: usize,
    /// A channel is at the upper end of the display's signal.
    pub upper: bool,
    /// A channel is at its lower end.
    pub lower: bool,
    /// The camera's codes clip it.
    pub camera: bool,
    /// It lies outside the output's limiting primaries.
    pub gamut: bool,
}

/// Looks at a pixel. Twin: `marks_found`.
pub fn found(pixel: &Pixel, ends: &Ends) -> Found {
    let [r, g, b] = pixel.limited;
    let (least, most) = (r.min(g).min(b), r.max(g).max(b));
    Found {
        place: place(pixel.light, pixel.camera, ends),
        upper: pixel.signal.iter().any(|s| *s >= 1.0 - AT_END),
        lower: pixel.signal.iter().any(|s| *s <= AT_END),
        camera: ends.clips(pixel.camera),
        gamut: least < -EXCESS * most.max(0.0) && least < -1e-5,
    }
}

/// What is drawn where a mark is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    /// The display's black.
    Dark,
    /// Its white for the eye, that of the scale's paper.
    Light,
}

/// Pixels of the picture that a cell of a pattern is wide: patterns keep their size in pictures of any size.
pub fn unit(width: u32) -> u32 {
    ((width + 480) / 960).max(1)
}

/// Stripes, two cells dark, two light, four left: rising to the right, or falling. Twin: `marks_stripes`.
pub fn stripes(x: u32, y: u32, rising: bool) -> Option<Ink> {
    let along = if rising { x.wrapping_add(y) } else { x.wrapping_sub(y) };
    match along & 7 {
        0 | 1 => Some(Ink::Dark),
        2 | 3 => Some(Ink::Light),
        _ => None,
    }
}

/// Dark dots in light rings, one to a square of eight cells. Twin: `marks_dots`.
pub fn dots(x: u32, y: u32) -> Option<Ink> {
    let far = (x & 7).abs_diff(3).max((y & 7).abs_diff(3));
    match far {
        0 | 1 => Some(Ink::Dark),
        2 => Some(Ink::Light),
        _ => None,
    }
}

/// Dark crosses with light edges, one to a square of eight cells, between the dots. Twin: `marks_crosses`.
pub fn crosses(x: u32, y: u32) -> Option<Ink> {
    let (across, down) = ((x.wrapping_add(4) & 7).abs_diff(3), (y.wrapping_add(4) & 7).abs_diff(3));
    let (near, far) = (across.min(down), across.max(down));
    match (near, far) {
        (0, 0..=2) => Some(Ink::Dark),
        (0, 3) | (1, 0..=3) => Some(Ink::Light),
        _ => None,
    }
}

/// What is marked.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Marked {
    /// The picture is drawn in false colours.
    pub false_colour: bool,
    /// The ends of the display's signal and of the camera's codes.
    pub clipping: bool,
    /// Colours outside the output's limiting primaries.
    pub gamut: bool,
}

/// The ink of a pixel in a column and row, if it gets any: what a camera clipped is drawn over what the display does, and that
/// over what lies outside its primaries. Twin: `marks_ink`.
pub fn ink(found: &Found, marked: Marked, x: u32, y: u32, unit: u32) -> Option<Ink> {
    let (x, y) = (x / unit, y / unit);
    let all = [
        (marked.clipping && found.camera).then(|| dots(x, y)),
        (marked.clipping && found.upper).then(|| stripes(x, y, true)),
        (marked.clipping && found.lower).then(|| stripes(x, y, false)),
        (marked.gamut && found.gamut).then(|| crosses(x, y)),
    ];
    all.into_iter().flatten().flatten().next()
}

/// Numbers of pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally(pub [u32; COUNTS]);

impl Tally {
    /// Takes a pixel in.
    pub fn add(&mut self, found: &Found) {
        let so = [found.upper, found.lower, found.camera, found.gamut, true];
        self.0[found.place] += 1;
        for (count, so) in self.0[UPPER..].iter_mut().zip(so) {
            *count += u32::from(so);
        }
    }

    /// What share of the frame's pixels one of the counts is, 0…1.
    pub fn share(&self, of: usize) -> f64 {
        f64::from(self.0[of]) / f64::from(self.0[INSIDE].max(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns_differ_and_leave_the_picture_to_be_seen() {
        let drawn = |ink: &dyn Fn(u32, u32) -> Option<Ink>| -> Vec<Option<Ink>> {
            (0..64).map(|i| ink(i % 8, i / 8)).collect()
        };
        let all = [
            drawn(&|x, y| stripes(x, y, true)),
            drawn(&|x, y| stripes(x, y, false)),
            drawn(&dots),
            drawn(&crosses),
        ];
        for (i, a) in all.iter().enumerate() {
            let inked = a.iter().flatten().count();
            assert!((16..=34).contains(&inked), "{i}: {inked} of 64");
            // Both inks, so that it is seen on dark and on light.
            for ink in [Ink::Dark, Ink::Light] {
                assert!(a.iter().flatten().filter(|i| **i == ink).count() >= 7, "{i} {ink:?}");
            }
            for b in &all[..i] {
                assert!(a.iter().zip(b).filter(|(a, b)| a != b).count() >= 16);
            }
        }
    }

    #[test]
    fn a_pixel_is_found_for_its_own_reason() {
        let ends = Ends { floor: 0.1, clip: 0.999 };
        let plain =
            Pixel { camera: [0.4; 3], light: [0.18; 3], signal: [0.4; 3], limited: [0.18, 0.2, 0.22] };
        let nothing = Found { place: 7, upper: false, lower: false, camera: false, gamut: false };
        assert_eq!(found(&plain, &ends), nothing);
        let upper = Pixel { signal: [0.2, 1.0, 0.5], ..plain };
        assert_eq!(found(&upper, &ends), Found { upper: true, ..nothing });
        let lower = Pixel { signal: [0.2, 0.0, 0.5], ..plain };
        assert_eq!(found(&lower, &ends), Found { lower: true, ..nothing });
        let gamut = Pixel { limited: [1.0, 0.5, -0.005], ..plain };
        assert_eq!(found(&gamut, &ends), Found { gamut: true, ..nothing });
        assert_eq!(found(&Pixel { limited: [1.0, 0.5, -0.003], ..plain }, &ends), nothing);
        let camera = Pixel { camera: [1.0, 0.2, 0.2], ..plain };
        assert_eq!(
            found(&camera, &ends),
            Found { place: super::super::stops::CLIP, camera: true, ..nothing }
        );
        let mut tally = Tally::default();
        [plain, upper, gamut, camera].iter().for_each(|p| tally.add(&found(p, &ends)));
        assert_eq!((tally.share(UPPER), tally.share(CAMERA), tally.share(LOWER)), (0.25, 0.25, 0.0));
        assert_eq!(tally.0[..PLACES].iter().sum::<u32>(), tally.0[INSIDE]);
    }
}
