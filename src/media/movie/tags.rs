//! What a movie's codes mean, as code points, and the light that is in it.
//!
//! Code points: ITU-T H.273 (07/2021), tables 2 (primaries), 3 (transfer) and 4 (matrix), which MOV, MP4, Matroska, H.264, H.265
//! and ProRes share. Mastering display: SMPTE ST 2086:2018. Content light level: CTA-861.3-A (MaxCLL, MaxFALL).

use crate::colour::{BT709, BT2020, Curve, CurveValues, Display, P3_D65, Primaries, White, YcbcrMatrix};

/// The code point for "unspecified".
const UNSPECIFIED: u8 = 2;

/// What a movie says of its codes.
#[derive(Clone, Debug, PartialEq)]
pub struct Tags {
    /// Colour primaries, H.273 table 2.
    pub primaries: u8,
    /// Transfer characteristics, H.273 table 3.
    pub transfer: u8,
    /// Luma weights.
    pub matrix: YcbcrMatrix,
    /// Is it one of BT.2020 and BT.2100?
    pub wide: bool,
    /// The display that it was made for, where that is written: PQ and HLG.
    pub mastering: Option<Mastering>,
    /// Is the signal absolute light, so that there are content light levels to be measured?
    pub absolute: bool,
    /// What no code point says.
    pub notes: Vec<String>,
}

/// The display that a picture was mastered for, SMPTE ST 2086.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mastering {
    /// x and y of red, green, blue and white.
    pub chromaticities: [[f64; 2]; 4],
    /// Least and most luminance, cd/m².
    pub luminance: [f64; 2],
}

/// The smallest luminance above none that ST 2086 has a number for.
const DARKEST: f64 = 0.0001;

impl Tags {
    /// Those of a display's signal.
    pub fn of(display: &Display) -> Self {
        let known = |p: &Primaries| match p {
            p if *p == BT709 => Some(1),
            p if *p == BT2020 => Some(9),
            p if *p == P3_D65 => Some(12),
            _ => None,
        };
        let mut notes = Vec::new();
        let primaries = known(&display.primaries).unwrap_or_else(|| {
            notes.push(format!("no code point says the primaries of {}: untagged", display.id));
            UNSPECIFIED
        });
        let wide = primaries == 9;
        let transfer = match display.curve {
            Curve::Pq { .. } => 16,
            Curve::Hlg { .. } => 18,
            Curve::Linear => 8,
            // What is shown by BT.1886 is tagged by the camera curve of its own system: 14 for BT.2020 at 10 bits, else 1.
            Curve::Power { gamma } if gamma == 2.4 && wide => 14,
            Curve::Power { gamma } if gamma == 2.4 => 1,
            Curve::Power { gamma } if gamma == 2.2 => 4,
            Curve::Power { gamma } if gamma == 2.8 => 5,
            Curve::PowerToe { gamma, offset, .. } if (gamma, offset) == (2.4, 0.055) => 13,
            Curve::Power { gamma } => {
                notes.push(format!("no code point says gamma {gamma}: the transfer is untagged"));
                UNSPECIFIED
            }
            _ => {
                notes.push(format!("no code point says the curve of {}: untagged", display.id));
                UNSPECIFIED
            }
        };
        if display.white != White::Own {
            notes.push("the picture's white is D60, which no tag says".into());
        }
        let absolute = transfer == 16;
        let mastering = (absolute || transfer == 18).then(|| Mastering {
            chromaticities: [
                display.limit.rgb[0],
                display.limit.rgb[1],
                display.limit.rgb[2],
                display.limit.white,
            ],
            luminance: [DARKEST, display.peak],
        });
        let matrix = if wide { YcbcrMatrix::Bt2020 } else { YcbcrMatrix::Bt709 };
        Self { primaries, transfer, matrix, wide, mastering, absolute, notes }
    }

    /// Those of values that are no display's.
    pub fn none() -> Self {
        let (primaries, transfer) = (UNSPECIFIED, UNSPECIFIED);
        let matrix = YcbcrMatrix::Bt709;
        Self { primaries, transfer, matrix, wide: false, mastering: None, absolute: false, notes: Vec::new() }
    }

    /// The matrix's code point, H.273 table 4; `rgb`: for planes that are R, G, B.
    pub fn matrix_code(&self, rgb: bool) -> u8 {
        match self.matrix {
            _ if rgb => 0,
            YcbcrMatrix::Bt709 => 1,
            YcbcrMatrix::Bt601 => 6,
            YcbcrMatrix::Bt2020 => 9,
        }
    }
}

/// Content light levels, cd/m².
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ContentLight {
    /// The largest of R, G and B of any pixel: MaxCLL.
    pub most: f64,
    /// The largest mean over a frame of each pixel's largest: MaxFALL.
    pub most_mean: f64,
}

impl ContentLight {
    /// That of both.
    pub fn and(self, other: Self) -> Self {
        Self { most: self.most.max(other.most), most_mean: self.most_mean.max(other.most_mean) }
    }
}

/// Measures content light of PQ signal.
pub struct LightMeter {
    /// Light, cd/m², at equal steps of signal: the eye's own steps, so that lines between them are near enough.
    table: Vec<f32>,
}

const STEPS: usize = 8192;

impl LightMeter {
    /// A meter for a display's signal; none where signal is not absolute light.
    pub fn of(display: &Display) -> Option<Self> {
        let Curve::Pq { peak } = display.curve else { return None };
        let values: CurveValues<f64> = display.curve.values();
        let light = |i: usize| (values.decode(i as f64 / STEPS as f64) * peak) as f32;
        Some(Self { table: (0..=STEPS).map(light).collect() })
    }

    fn light(&self, signal: f32) -> f32 {
        let at = signal.clamp(0.0, 1.0) * STEPS as f32;
        let low = (at as usize).min(STEPS - 1);
        let (a, b) = (self.table[low], self.table[low + 1]);
        a + (b - a) * (at - low as f32)
    }

    /// What a picture holds.
    pub fn measure(&self, pixels: &[[f32; 3]]) -> ContentLight {
        let (mut most, mut sum) = (0f32, 0f64);
        for p in pixels {
            let light = self.light(p[0].max(p[1]).max(p[2]));
            most = most.max(light);
            sum += f64::from(light);
        }
        ContentLight { most: most.into(), most_mean: sum / pixels.len().max(1) as f64 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::display;

    #[test]
    fn displays_have_the_code_points_of_h273() {
        for (id, primaries, transfer, matrix) in [
            ("rec709", 1, 1, 1),
            ("srgb", 1, 13, 1),
            ("display-p3", 12, 13, 1),
            ("rec2020", 9, 14, 9),
            ("rec2100-pq-1000", 9, 16, 9),
            ("rec2100-pq-1000-p3", 9, 16, 9),
            ("rec2100-hlg-1000", 9, 18, 9),
        ] {
            let tags = Tags::of(display(id).unwrap());
            assert_eq!(
                (tags.primaries, tags.transfer, tags.matrix_code(false)),
                (primaries, transfer, matrix),
                "{id}"
            );
            assert!(tags.notes.is_empty(), "{id}: {:?}", tags.notes);
        }
        // SMPTE RP 431-2's 2.6 has no code point of its own: 17 is ST 428-1's, which is scaled.
        let p3 = Tags::of(display("p3-d65").unwrap());
        assert_eq!((p3.primaries, p3.transfer), (12, 2));
        assert!(p3.notes[0].contains("2.6"));
    }

    #[test]
    fn light_is_that_of_st_2084() {
        // SMPTE ST 2084 / BT.2100-2 table 4: signal 0.508078 is 100 cd/m², 0.751827 is 1000 (BT.2408 has 58 % for 203).
        let meter = LightMeter::of(display("rec2100-pq-1000").unwrap()).unwrap();
        for (signal, light) in [(0.508_078f32, 100.0), (0.751_827, 1000.0), (0.580_689, 203.0)] {
            let found = meter.measure(&[[0.0, signal, 0.1]]).most;
            assert!((found / light - 1.0).abs() < 1e-3, "{signal}: {found}");
        }
        let two = meter.measure(&[[0.0; 3], [0.508_078, 0.0, 0.0]]);
        assert!((two.most_mean - 50.0).abs() < 0.1, "{two:?}");
        assert!(LightMeter::of(display("rec709").unwrap()).is_none());
    }
}
