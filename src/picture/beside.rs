//! A picture beside another: parted by a line, both of them whole, or what they differ by. Of display signal.

use super::{noise, quantise};
use crate::colour::{Adaptation, CurveValues, Display, Matrix, White, apply, conversion};

/// How two pictures share one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Way {
    /// A line parts them; the reference lies on the side that the line's normal comes from.
    Wipe,
    /// The reference on the left and the picture on the right, each whole, half as wide and half as tall.
    Side,
    /// How far each channel is from the reference's, times a number.
    Difference,
}

impl Way {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Wipe, Self::Side, Self::Difference];
}

/// What a difference may be multiplied by.
pub const TIMES: [f64; 7] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0];

/// How a picture is shown beside a reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// How they share the place.
    pub way: Way,
    /// Where the line is, 0…1: at 0 all is the picture, at 1 all is the reference, at ½ it goes through the middle.
    pub place: f64,
    /// Turn of the line in degrees, clockwise: at 0 it is upright with the reference on its left, at 90 level with the
    /// reference above it.
    pub angle: f64,
    /// What a difference is multiplied by.
    pub times: f64,
}

impl Default for Beside {
    fn default() -> Self {
        Self { way: Way::Wipe, place: 0.5, angle: 0.0, times: 8.0 }
    }
}

impl Beside {
    /// Where the reference lies, in words.
    pub fn side(angle: f64) -> &'static str {
        let turned = angle.rem_euclid(360.0);
        match turned {
            t if (45.0..135.0).contains(&t) => "above the line",
            t if (135.0..225.0).contains(&t) => "right of the line",
            t if (225.0..315.0).contains(&t) => "below the line",
            _ => "left of the line",
        }
    }

    /// The line's normal, from the reference to the picture, and how far from the middle the line is at either end of
    /// its way, in pixels of a picture of this size.
    pub fn line(&self, (width, height): (f64, f64)) -> ([f64; 2], f64) {
        let turn = self.angle.to_radians();
        let normal = [turn.cos(), turn.sin()];
        (normal, (normal[0].abs() * width + normal[1].abs() * height) / 2.0)
    }

    /// Which place of the line goes through a point, in pixels from the upper left corner.
    pub fn place_through(&self, size: (f64, f64), at: [f64; 2]) -> f64 {
        let (normal, half) = self.line(size);
        let along = (at[0] - size.0 / 2.0) * normal[0] + (at[1] - size.1 / 2.0) * normal[1];
        (0.5 + along / (2.0 * half)).clamp(0.0, 1.0)
    }

    /// As a twin computes with it, for pictures of a size whose codes have `depth` bits. `frame` is what their dither
    /// goes by.
    pub fn prepared(&self, (width, height): (u32, u32), depth: u32, frame: u32) -> BesideValues {
        let size = (f64::from(width), f64::from(height));
        let (normal, half) = self.line(size);
        BesideValues {
            width,
            height,
            way: self.way as u32,
            frame,
            normal: normal.map(|v| v as f32),
            line: ((2.0 * self.place - 1.0) * half) as f32,
            times: self.times as f32,
            code_max: ((1u32 << depth) - 1) as f32,
            surround: SURROUND,
        }
    }
}

/// What is around pictures that are shown smaller: display signal, about 2 % of white's light (viewing practice for a
/// suite).
const SURROUND: f32 = 0.195;

/// A [`Beside`] ready for the pixel loop. Twin: `shaders/picture/beside.wgsl`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BesideValues {
    width: u32,
    height: u32,
    way: u32,
    frame: u32,
    normal: [f32; 2],
    line: f32,
    times: f32,
    code_max: f32,
    surround: f32,
}

impl BesideValues {
    /// The numbers as the shader reads them.
    pub fn words(&self) -> [[u32; 4]; 3] {
        let bits = f32::to_bits;
        [
            [self.width, self.height, self.way, self.frame],
            [bits(self.normal[0]), bits(self.normal[1]), bits(self.line), bits(self.times)],
            [bits(self.code_max), bits(self.surround), 0, 0],
        ]
    }

    /// A signal as the code nearest to it after dither, as every live picture has it. Twin: `beside_code`.
    fn code(&self, x: u32, y: u32, signal: [f32; 3]) -> [f32; 3] {
        std::array::from_fn(|c| {
            quantise(signal[c], self.code_max, noise(x, y, c as u32, self.frame)) / self.code_max
        })
    }

    /// The signal at a pixel. `picture` holds signal 0…1 in codes of the depth, `reference` signal in codes of 16 bits;
    /// both are as large as the result, row by row. Twin: `beside`.
    pub fn pixel(&self, picture: &[[f32; 3]], reference: &[[u16; 3]], x: u32, y: u32) -> [f32; 3] {
        let at = |x: u32, y: u32| (y * self.width + x) as usize;
        let signal = |x: u32, y: u32| reference[at(x, y)].map(|code| f32::from(code) / 65_535.0);
        match self.way {
            0 => {
                let across = (x as f32 + 0.5 - self.width as f32 * 0.5) * self.normal[0];
                let down = (y as f32 + 0.5 - self.height as f32 * 0.5) * self.normal[1];
                if across + down < self.line { self.code(x, y, signal(x, y)) } else { picture[at(x, y)] }
            }
            1 => {
                let half = [self.width / 2, self.height / 2];
                let top = (self.height - half[1]) / 2;
                let left = x < half[0];
                let right = x >= self.width - half[0];
                if !(left || right) || y < top || y >= top + half[1] {
                    return [self.surround; 3];
                }
                let from = [2 * if left { x } else { x - (self.width - half[0]) }, 2 * (y - top)];
                let mean = |of: &dyn Fn(u32, u32) -> [f32; 3]| {
                    let [a, b] = [of(from[0], from[1]), of(from[0] + 1, from[1])];
                    let [c, d] = [of(from[0], from[1] + 1), of(from[0] + 1, from[1] + 1)];
                    std::array::from_fn(|i| ((a[i] + b[i]) + (c[i] + d[i])) * 0.25)
                };
                let v = if left { mean(&signal) } else { mean(&|x, y| picture[at(x, y)]) };
                self.code(x, y, v)
            }
            _ => {
                let (own, other) = (picture[at(x, y)], self.code(x, y, signal(x, y)));
                std::array::from_fn(|c| ((own[c] - other[c]).abs() * self.times).min(1.0))
            }
        }
    }

    /// A whole picture, row by row.
    pub fn picture(&self, picture: &[[f32; 3]], reference: &[[u16; 3]]) -> Vec<[f32; 3]> {
        let rows = 0..self.height;
        rows.flat_map(|y| (0..self.width).map(move |x| self.pixel(picture, reference, x, y))).collect()
    }
}

/// A display's signal on its way to another display: the light stays the same in cd/m², as far as that one has it.
#[derive(Clone, Debug)]
pub struct Carried {
    decode: CurveValues<f32>,
    matrix: [f32; 9],
    widening: Option<[f32; 9]>,
    encode: CurveValues<f32>,
}

impl Carried {
    /// From one display to another; `None` where their signals mean the same.
    pub fn between(from: &Display, to: &Display) -> Option<Self> {
        if from.same_signal(to) {
            return None;
        }
        let share = Matrix::diagonal([from.peak / to.peak; 3]);
        let matrix = conversion(&from.primaries, &to.limit, Adaptation::Bradford).after(&share);
        let widening = Display { white: White::Own, ..to.clone() }.widening();
        Some(Self {
            decode: from.curve.values(),
            matrix: matrix.rows(),
            widening: widening.map(|m| m.rows()),
            encode: to.curve.values(),
        })
    }

    /// Signal to signal.
    pub fn apply(&self, signal: [f32; 3]) -> [f32; 3] {
        let held = |v: [f32; 3]| v.map(|x| x.clamp(0.0, 1.0));
        let mut light = held(apply(&self.matrix, self.decode.decode_light(held(signal))));
        if let Some(widening) = &self.widening {
            light = held(apply(widening, light));
        }
        self.encode.encode_light(light)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_goes_from_one_end_to_the_other() {
        for angle in [0.0, 37.0, 90.0, 135.0, -120.0, 180.0] {
            let mut beside = Beside { angle, ..Beside::default() };
            let share = |place: f64, beside: &mut Beside| {
                beside.place = place;
                let values = beside.prepared((64, 36), 8, 0);
                let (picture, reference) = (vec![[0.0; 3]; 64 * 36], vec![[65_535; 3]; 64 * 36]);
                let white = values.picture(&picture, &reference).iter().filter(|p| p[0] == 1.0).count();
                white as f64 / (64.0 * 36.0)
            };
            assert_eq!(share(0.0, &mut beside), 0.0, "{angle}");
            assert_eq!(share(1.0, &mut beside), 1.0, "{angle}");
            assert!((share(0.5, &mut beside) - 0.5).abs() < 0.02, "{angle}");
            assert!(share(0.25, &mut beside) < share(0.75, &mut beside), "{angle}");
            // A line through a point leads back to its place.
            beside.place = 0.3;
            let (normal, half) = beside.line((64.0, 36.0));
            let along = (2.0 * 0.3 - 1.0) * half;
            let at = [32.0 + normal[0] * along, 18.0 + normal[1] * along];
            assert!((beside.place_through((64.0, 36.0), at) - 0.3).abs() < 1e-12, "{angle}");
        }
    }

    #[test]
    fn a_reference_lies_where_the_words_say() {
        for (angle, words, inside) in [
            (0.0, "left of the line", (4, 18)),
            (90.0, "above the line", (32, 2)),
            (180.0, "right of the line", (60, 18)),
            (-90.0, "below the line", (32, 33)),
            (30.0, "left of the line", (4, 18)),
        ] {
            assert_eq!(Beside::side(angle), words);
            let values = Beside { angle, ..Beside::default() }.prepared((64, 36), 8, 0);
            let (picture, reference) = (vec![[0.0; 3]; 64 * 36], vec![[65_535; 3]; 64 * 36]);
            assert_eq!(values.pixel(&picture, &reference, inside.0, inside.1), [1.0; 3], "{angle}");
        }
    }

    #[test]
    fn whole_pictures_stand_side_by_side() {
        let (width, height) = (9, 6);
        let picture: Vec<_> = (0..width * height).map(|i| [(i % width) as f32 / 255.0; 3]).collect();
        let reference = vec![[65_535; 3]; (width * height) as usize];
        let values = Beside { way: Way::Side, ..Beside::default() }.prepared((width, height), 16, 3);
        let all = values.picture(&picture, &reference);
        let row = |y: usize| &all[y * 9..y * 9 + 9];
        // Three rows of the six, from the second on.
        for y in [0, 4, 5] {
            assert_eq!(row(y), [[SURROUND; 3]; 9], "row {y}");
        }
        assert_eq!(row(1)[..4], [[1.0; 3]; 4]);
        assert_eq!(row(1)[4], [SURROUND; 3]);
        for (i, v) in row(2)[5..].iter().enumerate() {
            assert!((v[0] - (2.0 * i as f32 + 0.5) / 255.0).abs() < 2.0 / 65_535.0, "{i}: {v:?}");
        }
    }

    #[test]
    fn a_difference_is_what_lies_between() {
        let values = Beside { way: Way::Difference, times: 4.0, ..Beside::default() }.prepared((2, 1), 16, 0);
        let all =
            values.picture(&[[0.5, 0.25, 0.0], [1.0, 0.0, 0.5]], &[[32_768, 0, 0], [65_535, 65_535, 0]]);
        let near = |a: [f32; 3], b: [f32; 3]| (0..3).all(|c| (a[c] - b[c]).abs() < 2e-4);
        assert!(near(all[0], [0.0, 1.0, 0.0]) && near(all[1], [0.0, 1.0, 1.0]), "{all:?}");
    }
}
