//! Casts, scenes and colour differences.

use greyhold::colour::{ACES_WHITE, AP1, Adaptation, Ictcp, Matrix, beside_locus, delta_e_itp};
use greyhold::picture::Reduced;

/// Ten casts: kelvin, Duv and stops.
pub const CASTS: [(f64, f64, f64); 10] = [
    (2500.0, 0.0, -2.0),
    (2800.0, 0.01, 1.0),
    (3200.0, 0.0, 0.0),
    (3600.0, -0.02, -1.0),
    (4300.0, 0.02, 2.0),
    (5000.0, -0.01, -0.5),
    (5600.0, 0.02, 0.5),
    (6500.0, 0.0, -1.5),
    (7500.0, -0.02, 1.5),
    (9000.0, 0.01, -1.0),
];

/// What light of a cast makes of ACEScg: Bradford, which is not the program's own default, so that colours other than
/// neutrals differ a little, and stops.
pub fn cast((kelvin, duv, stops): (f64, f64, f64)) -> Matrix {
    let white = beside_locus(1e6 / kelvin, duv);
    let xyz = AP1.to_xyz();
    let turn = xyz.inverse().after(&Adaptation::Bradford.matrix(ACES_WHITE, white)).after(&xyz);
    Matrix::diagonal([stops.exp2(); 3]).after(&turn)
}

/// ΔE_ITP (ITU-R BT.2124) between two ACEScg lights, 1 being 100 cd/m².
pub fn delta_e(a: [f64; 3], b: [f64; 3]) -> f64 {
    let itp = Ictcp::of(&AP1, 100.0);
    delta_e_itp(itp.apply(a), itp.apply(b))
}

/// Random numbers 0…1, the same everywhere.
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// A room of surfaces that are no squares: slanting stripes, discs and gradients in the colours of wood, cloth and wall.
pub fn scene(width: usize, height: usize, seed: u64) -> Reduced {
    let mut dice = Dice(seed);
    let mut light = vec![[0.0; 3]; width * height];
    let tone = |dice: &mut Dice| {
        let y = (-3.5 + 4.0 * dice.roll()).exp2() * 0.5;
        [y * (0.75 + 0.6 * dice.roll()), y, y * (0.6 + 0.7 * dice.roll())]
    };
    let (a, b) = (tone(&mut dice), tone(&mut dice));
    let discs: Vec<_> = (0..60)
        .map(|_| {
            let (x, y) = (dice.roll() * width as f64, dice.roll() * height as f64);
            (x, y, (4.0 + 40.0 * dice.roll() * dice.roll()) * width as f64 / 480.0, tone(&mut dice))
        })
        .collect();
    for (i, pixel) in light.iter_mut().enumerate() {
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let slant = ((x * 0.031 + y * 0.047) * 480.0 / width as f64).sin() * 0.5 + 0.5;
        *pixel = std::array::from_fn(|c| a[c] + (b[c] - a[c]) * slant);
        for (cx, cy, r, colour) in &discs {
            if (x - cx).hypot(y - cy) < *r {
                *pixel = colour.map(|v| v * (1.0 + 0.2 * (x - cx) / r));
            }
        }
    }
    Reduced { width, height, light }
}

/// A picture with grain: normal by the sum of twelve, in parts of the light.
pub fn grained(picture: &Reduced, deviation: f64, seed: u64) -> Reduced {
    let mut dice = Dice(seed);
    let light = picture.light.iter().map(|l| {
        l.map(|v| {
            let normal = (0..12).map(|_| dice.roll()).sum::<f64>() - 6.0;
            (v * (1.0 + deviation * normal) + 0.002 * normal * deviation).max(0.0)
        })
    });
    Reduced { light: light.collect(), ..*picture }
}
