//! Codes in whole numbers: eight bits to ten, luma, and colour differences to places on the vectorscope.

use super::{BINS, MOST, SPAN};

/// The code of ten bits nearest to one of eight.
pub fn ten_bits(code: u32) -> u32 {
    (code * MOST + 127) / 255
}

/// Which luma a signal has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum System {
    /// Rec. ITU-R BT.709-6, item 3.2; for P3 too, which has no luma of its own.
    #[default]
    Bt709,
    /// Rec. ITU-R BT.2020-2, table 4, and BT.2100.
    Bt2020,
}

impl System {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Bt709, Self::Bt2020];

    /// Luma's weights of red, green and blue.
    pub const fn weights(self) -> [f64; 3] {
        match self {
            Self::Bt709 => [0.2126, 0.7152, 0.0722],
            Self::Bt2020 => [0.2627, 0.6780, 0.0593],
        }
    }

    /// The same in parts of 65536, which they sum to.
    pub const fn whole_weights(self) -> [u32; 3] {
        match self {
            Self::Bt709 => [13933, 46871, 4732],
            Self::Bt2020 => [17216, 44434, 3886],
        }
    }

    /// What B′−Y′ and R′−Y′ are divided by to give C_B and C_R.
    pub fn divisors(self) -> [f64; 2] {
        let [red, _, blue] = self.weights();
        [2.0 * (1.0 - blue), 2.0 * (1.0 - red)]
    }

    /// From a difference in 256ths of a code to a place on the vectorscope, in parts of 2²³.
    pub fn factors(self) -> [i32; 2] {
        let per_code = f64::from(SPAN) / (256.0 * f64::from(MOST));
        self.divisors().map(|d| (per_code * f64::from(1 << 23) / d).round() as i32)
    }

    /// Luma of a pixel in parts of 65536 of a code.
    pub fn luma(self, [r, g, b]: [u32; 3]) -> u32 {
        let [red, green, blue] = self.whole_weights();
        red * r + green * g + blue * b
    }

    /// Where a pixel lies on the vectorscope: C_B across, C_R up, each 0 … [`BINS`] − 1 with the middle of bin
    /// [`BINS`] / 2 for none.
    pub fn place(self, pixel: [u32; 3]) -> [u32; 2] {
        let luma = self.luma(pixel) as i32;
        let factors = self.factors();
        [(pixel[2], factors[0]), (pixel[0], factors[1])].map(|(code, factor)| {
            let difference = (((code as i32) << 16) - luma) >> 8;
            let from_middle = (difference * factor + (1 << 22)) >> 23;
            (from_middle + BINS as i32 / 2).clamp(0, BINS as i32 - 1) as u32
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_bits_are_the_nearest_ten() {
        for code in 0..256u32 {
            let exact = f64::from(code) * 1023.0 / 255.0;
            assert!((f64::from(ten_bits(code)) - exact).abs() <= 0.5, "{code}");
        }
        assert_eq!([0, 128, 255].map(ten_bits), [0, 514, 1023]);
    }

    /// Against the definitions in real numbers, on every 41st code of each channel.
    #[test]
    fn whole_numbers_do_what_the_definitions_say() {
        for system in System::ALL {
            assert_eq!(system.whole_weights().iter().sum::<u32>(), 65536);
            let (weights, divisors) = (system.weights(), system.divisors());
            let step = || (0..=MOST).step_by(41).chain([MOST]);
            for (r, g, b) in step().flat_map(|r| step().flat_map(move |g| step().map(move |b| (r, g, b)))) {
                let [x, y, z] = [r, g, b].map(f64::from);
                let luma = weights[0] * x + weights[1] * y + weights[2] * z;
                assert!((f64::from(system.luma([r, g, b])) / 65536.0 - luma).abs() < 0.02);
                let place = system.place([r, g, b]);
                for (found, difference) in
                    place.iter().zip([(z - luma) / divisors[0], (x - luma) / divisors[1]])
                {
                    let exact = 128.0 + 254.0 * difference / 1023.0;
                    assert!((f64::from(*found) - exact).abs() < 0.55, "{r} {g} {b}");
                }
            }
            for code in 0..=MOST {
                assert_eq!(system.place([code; 3]), [128; 2], "a neutral lies in the middle");
            }
        }
    }
}
