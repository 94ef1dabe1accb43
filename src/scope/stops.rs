//! False colour: light in whole stops from middle grey, as steps of a scale that can be read without telling hues apart.

use crate::colour::{AP1, Encoding, GREY};

/// Whole stops under and over middle grey that have a step of their own; the outermost hold all beyond them, too.
pub const REACH: i32 = 7;
/// Steps of the scale.
pub const STEPS: usize = 2 * REACH as usize + 1;
/// The place, after the steps, of what lies under the footage's floor.
pub const FLOOR: usize = STEPS;
/// The place of what the camera's codes cannot hold.
pub const CLIP: usize = STEPS + 1;
/// Places of the scale.
pub const PLACES: usize = STEPS + 2;

/// sRGB codes of the steps, darkest first. In CIE L*a*b* (D65) lightness goes up by 6.3 from step to step, from 8.9 to 97.1,
/// grey is without colour at 53, hues go from violet to blue below it and from ochre to yellow above: light against dark and
/// blue against yellow is what the common kinds of colour blindness leave. `tests/oracle/false_colour.py` measures that.
pub const SCALE: [[u8; 3]; STEPS] = [
    [13, 18, 73],
    [0, 33, 95],
    [2, 50, 109],
    [0, 66, 124],
    [14, 83, 137],
    [57, 98, 137],
    [90, 113, 135],
    [126, 127, 127],
    [168, 136, 116],
    [198, 150, 107],
    [220, 166, 99],
    [237, 185, 92],
    [247, 206, 94],
    [254, 229, 111],
    [255, 248, 202],
];

/// Where a footage's codes end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ends {
    /// The camera's signal, 0…1 of full range, at which no channel tells light apart any more.
    pub floor: f32,
    /// The camera's signal from which on a channel is clipped; infinite where values are floats.
    pub clip: f32,
}

impl Ends {
    /// Of footage with so many codes from 0 to 1 of its signal; `None` for floats. `clip` is the share of full range at which
    /// the camera clips, 1 where only the codes do.
    ///
    /// The floor is where a code's step begins to be half a stop or more, with no light at all below: an encoding says nothing
    /// of a sensor's noise, which lies higher.
    pub fn of(encoding: &Encoding, codes: Option<u32>, clip: f64) -> Self {
        let curve = encoding.curve.values::<f64>();
        let black = curve.encode(0.0);
        let Some(codes) = codes else { return Self { floor: black as f32, clip: f32::INFINITY } };
        let step = 1.0 / f64::from(codes.max(1));
        let coarse = |code: f64| {
            let (here, next) = (curve.decode(code * step), curve.decode((code + 1.0) * step));
            here <= 0.0 || next / here > std::f64::consts::SQRT_2
        };
        let first = (black / step).floor();
        let floor = (0..codes).map(|n| first + f64::from(n)).take_while(|code| coarse(*code)).last();
        // Between codes, so that rounding on the way to R′G′B′ decides nothing.
        Self {
            floor: floor.map_or(black, |code| (code + 0.5) * step) as f32,
            clip: (clip - 0.5 * step) as f32,
        }
    }

    /// Is any channel clipped?
    pub fn clips(&self, camera: [f32; 3]) -> bool {
        camera.iter().any(|c| *c >= self.clip)
    }
}

/// Weights of ACEScg's channels in luminance.
pub fn luminance_weights() -> [f32; 3] {
    AP1.to_xyz().0[1].map(|w| w as f32)
}

/// What luminance is multiplied by, so that a step of the scale is from one power of two to the next: grey's step reaches half
/// a stop to both sides of it.
pub fn scale_factor() -> f32 {
    (std::f64::consts::SQRT_2 / GREY) as f32
}

/// The step of the scale that ACEScg light has, 0 … [`STEPS`] − 1. Twin: `marks_step`.
pub fn step(light: [f32; 3]) -> usize {
    let w = luminance_weights();
    let scaled = (w[0] * light[0] + w[1] * light[1] + w[2] * light[2]) * scale_factor();
    let stops = if scaled > 0.0 { (scaled.to_bits() >> 23) as i32 - 127 } else { -REACH };
    (stops.clamp(-REACH, REACH) + REACH) as usize
}

/// The place on the scale of light whose camera had this signal. Twin: `marks_place`.
pub fn place(light: [f32; 3], camera: [f32; 3], ends: &Ends) -> usize {
    if ends.clips(camera) {
        CLIP
    } else if camera.iter().all(|c| *c <= ends.floor) {
        FLOOR
    } else {
        step(light)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::encoding;

    #[test]
    fn steps_change_half_a_stop_beside_whole_stops() {
        for stops in -REACH..=REACH {
            let at = |by: f64| step([(GREY * (f64::from(stops) + by).exp2()) as f32; 3]) as i32 - REACH;
            assert_eq!([at(-0.499), at(0.0), at(0.499)], [stops; 3]);
        }
        assert_eq!(step([0.0; 3]), 0);
        assert_eq!(step([-1.0; 3]), 0);
        assert_eq!(step([f32::MAX / 1e3; 3]), STEPS - 1);
        assert_eq!(step([1e-30; 3]), 0);
        // White of the scene, 90 %, is 2.3 stops over grey.
        assert_eq!(step([0.9; 3]), REACH as usize + 2);
    }

    /// LogC3's published constants (ARRI, ALEXA Log C Curve: Usage in VFX, 2012, EI 800): a straight line of slope 5.367655 with
    /// 0.092809 for no light, below 0.010591. A ten-bit code of 1/1023 is there 0.00018211 of light, which is half a stop
    /// at 0.00018211 / (√2 − 1) = 0.00043966: signal 0.095169, code 97.36.
    #[test]
    fn a_floor_is_where_a_code_is_half_a_stop() {
        let logc3 = encoding("logc3").unwrap();
        let ends = Ends::of(logc3, Some(1023), 1.0);
        assert!((f64::from(ends.floor) - 97.5 / 1023.0).abs() < 1e-6, "{}", ends.floor * 1023.0);
        assert!((f64::from(ends.clip) - 1022.5 / 1023.0).abs() < 1e-6);
        // Finer codes reach deeper.
        assert!(Ends::of(logc3, Some(4095), 1.0).floor < ends.floor);
        let floats = Ends::of(encoding("acescg").unwrap(), None, 1.0);
        assert_eq!(floats, Ends { floor: 0.0, clip: f32::INFINITY });
        assert_eq!(place([0.18; 3], [0.09; 3], &ends), FLOOR);
        assert_eq!(place([0.18; 3], [0.09, 0.4, 0.09], &ends), REACH as usize);
        assert_eq!(place([0.18; 3], [0.4, 1.0, 0.4], &ends), CLIP);
    }
}
