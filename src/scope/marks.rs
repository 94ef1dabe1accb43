//! Where on a scope published values lie.

use super::codes::System;
use super::{BINS, MOST, SPAN};

/// The six colours of the bars, in the order of the vectorscope's angles from +C_B.
pub const BARS: [(&str, [f64; 3]); 6] = [
    ("Mg", [1.0, 0.0, 1.0]),
    ("R", [1.0, 0.0, 0.0]),
    ("Yl", [1.0, 1.0, 0.0]),
    ("G", [0.0, 1.0, 0.0]),
    ("Cy", [0.0, 1.0, 1.0]),
    ("B", [0.0, 0.0, 1.0]),
];

/// Degrees from +C_B, counter-clockwise, of the line that guides skin. Common practice: the +I axis of analogue colour,
/// drawn at the same angle in the plane of C_B and C_R.
pub const SKIN: f64 = 123.0;

/// Where a signal of 0…1 lies on the vectorscope: C_B and C_R, each −0.5…0.5.
pub fn chroma(system: System, [r, g, b]: [f64; 3]) -> [f64; 2] {
    let [wr, wg, wb] = system.weights();
    let luma = wr * r + wg * g + wb * b;
    let [cb, cr] = system.divisors();
    [(b - luma) / cb, (r - luma) / cr]
}

/// Where a bar's colour lies when the bars have a height of 0…1 of the signal.
pub fn bar(system: System, colour: [f64; 3], height: f64) -> [f64; 2] {
    chroma(system, colour.map(|v| v * height))
}

/// A place in C_B and C_R on the vectorscope's bins, counted from the left and from below; whole numbers are the middles
/// of bins.
pub fn bins([cb, cr]: [f64; 2]) -> [f64; 2] {
    [cb, cr].map(|c| f64::from(BINS / 2) + f64::from(SPAN) * c)
}

/// What a scale of levels is labelled with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scale {
    /// Percent of the signal's range.
    #[default]
    Percent,
    /// Codes of ten bits, full range.
    Code,
    /// Light of the display, cd/m².
    Nits,
}

impl Scale {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Percent, Self::Code, Self::Nits];

    /// What it is called.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Percent => "percent",
            Self::Code => "10-bit code",
            Self::Nits => "cd/m²",
        }
    }
}

/// Lines of a scale: what is written, and the code of ten bits, which need not be whole. `light` gives the signal of 0…1
/// that a display shows so many cd/m² with, if it can.
pub fn lines(scale: Scale, light: &dyn Fn(f64) -> Option<f64>) -> Vec<(String, f64)> {
    let most = f64::from(MOST);
    match scale {
        Scale::Percent => (0..=10).map(|i| (format!("{}", 10 * i), most * f64::from(i) / 10.0)).collect(),
        Scale::Code => {
            [0, 128, 256, 384, 512, 640, 768, 896, 1023].map(|c| (c.to_string(), f64::from(c))).to_vec()
        }
        Scale::Nits => [0.0, 1.0, 5.0, 10.0, 25.0, 50.0, 100.0, 203.0, 400.0, 1000.0, 2000.0, 4000.0]
            .into_iter()
            .filter_map(|nits| Some((format!("{nits}"), most * light(nits)?)))
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Angles of the bars and radii at 75 %: from the luma coefficients of Rec. ITU-R BT.709-6 and BT.2020-2 with the
    /// bars of SMPTE EG 1 and Rec. ITU-R BT.471, worked out apart from this code.
    #[test]
    fn bars_lie_where_the_recommendations_put_them() {
        let bt709 = [49.680, 102.906, 174.761, 229.680, 282.906, 354.761];
        let bt2020 = [51.911, 105.603, 175.402, 231.911, 285.603, 355.402];
        let radii = [0.4467, 0.3847, 0.3766, 0.4467, 0.3847, 0.3766];
        for (system, angles) in [(System::Bt709, bt709), (System::Bt2020, bt2020)] {
            for (i, ((name, colour), angle)) in BARS.iter().zip(angles).enumerate() {
                let [cb, cr] = bar(system, *colour, 0.75);
                let found = cr.atan2(cb).to_degrees().rem_euclid(360.0);
                assert!((found - angle).abs() < 5e-4, "{name}: {found}");
                if system == System::Bt709 {
                    assert!((cb.hypot(cr) - radii[i]).abs() < 5e-5, "{name}");
                }
                // Half a bin: what integers count lies where the mark is drawn.
                let codes = colour.map(|v| (v * 0.75 * 1023.0_f64).round() as u32);
                let place = system.place(codes);
                let exact = bins([cb, cr]);
                for axis in 0..2 {
                    assert!(
                        (f64::from(place[axis]) - exact[axis]).abs() <= 0.55,
                        "{name}: {place:?} {exact:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn scales_have_the_displays_light() {
        let hundred = |nits: f64| (nits <= 100.0).then(|| (nits / 100.0).powf(1.0 / 2.4));
        let nits = lines(Scale::Nits, &hundred);
        assert_eq!(nits.last().unwrap(), &("100".to_owned(), 1023.0));
        assert_eq!(lines(Scale::Percent, &hundred)[5], ("50".to_owned(), 511.5));
        assert_eq!(lines(Scale::Code, &hundred).len(), 9);
    }
}
