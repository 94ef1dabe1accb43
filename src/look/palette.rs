//! Palette: hue, saturation and density of six families of colour.

use crate::colour::{LUMA_709, POINT_ACESCCT, Real, STOP_ACESCCT};

crate::look::declare! {
    /// Hue, saturation and density of reds, yellows, greens, cyans, blues and magentas, each blending into
    /// the next. What is near neutral stays, and hues keep their order.
    Palette "palette", shader "look/palette.wgsl" {
        nature: Colour,
        domain: Acescct,
        reach: Point,
        holds_grey: true,
        monotone: true,
        strength: 1.0,
    }
    parameters {
        /// Turns reds: + toward yellow, − toward magenta.
        red_hue "red-hue": Degrees = 0.0 in -30.0..30.0 step 0.5 Even;
        /// Strength of reds.
        red_saturation "red-saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Density of reds: + deepens them, − lightens.
        red_density "red-density": Points = 0.0 in -12.0..12.0 step 0.25 Even;
        /// Turns yellows: + toward green, − toward red.
        yellow_hue "yellow-hue": Degrees = 0.0 in -30.0..30.0 step 0.5 Even;
        /// Strength of yellows.
        yellow_saturation "yellow-saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Density of yellows: + deepens them, − lightens.
        yellow_density "yellow-density": Points = 0.0 in -12.0..12.0 step 0.25 Even;
        /// Turns greens: + toward cyan, − toward yellow.
        green_hue "green-hue": Degrees = 0.0 in -30.0..30.0 step 0.5 Even;
        /// Strength of greens.
        green_saturation "green-saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Density of greens: + deepens them, − lightens.
        green_density "green-density": Points = 0.0 in -12.0..12.0 step 0.25 Even;
        /// Turns cyans: + toward blue, − toward green.
        cyan_hue "cyan-hue": Degrees = 0.0 in -30.0..30.0 step 0.5 Even;
        /// Strength of cyans.
        cyan_saturation "cyan-saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Density of cyans: + deepens them, − lightens.
        cyan_density "cyan-density": Points = 0.0 in -12.0..12.0 step 0.25 Even;
        /// Turns blues: + toward magenta, − toward cyan.
        blue_hue "blue-hue": Degrees = 0.0 in -30.0..30.0 step 0.5 Even;
        /// Strength of blues.
        blue_saturation "blue-saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Density of blues: + deepens them, − lightens.
        blue_density "blue-density": Points = 0.0 in -12.0..12.0 step 0.25 Even;
        /// Turns magentas: + toward red, − toward blue.
        magenta_hue "magenta-hue": Degrees = 0.0 in -30.0..30.0 step 0.5 Even;
        /// Strength of magentas.
        magenta_saturation "magenta-saturation": Ratio = 1.0 in 0.0..2.0 step 0.01 Even;
        /// Density of magentas: + deepens them, − lightens.
        magenta_density "magenta-density": Points = 0.0 in -12.0..12.0 step 0.25 Even;
    }
    derived {
        /// Tangent of half the angle that magentas turn by.
        magenta_turn;
        /// Saturation of magentas less 1.
        magenta_gain;
        /// Density of magentas in ACEScct.
        magenta_drop;
        /// The same of reds.
        red_turn;
        /// The same of reds.
        red_gain;
        /// The same of reds.
        red_drop;
        /// The same of yellows.
        yellow_turn;
        /// The same of yellows.
        yellow_gain;
        /// The same of yellows.
        yellow_drop;
        /// The same of greens.
        green_turn;
        /// The same of greens.
        green_gain;
        /// The same of greens.
        green_drop;
        /// The same of cyans.
        cyan_turn;
        /// The same of cyans.
        cyan_gain;
        /// The same of cyans.
        cyan_drop;
        /// The same of blues.
        blue_turn;
        /// The same of blues.
        blue_gain;
        /// The same of blues.
        blue_drop;
    }
}

/// Direction of magenta in the (C_B, C_R) plane: cosine and sine of 49.680° (BT.709 bars). Green lies
/// opposite.
const MAGENTA: [f64; 2] = [0.647_061_420_1, 0.762_437_878_5];
/// Red, 102.906°; cyan lies opposite.
const RED: [f64; 2] = [-0.223_355_361_1, 0.974_737_083_9];
/// Yellow, 174.761°; blue lies opposite.
const YELLOW: [f64; 2] = [-0.995_822_413_3, 0.091_311_123];

/// The six directions in degrees, magenta first, counter-clockwise.
const DIRECTIONS: [f64; 6] = [49.680, 102.906, 174.761, 229.680, 282.906, 354.761];

/// Distance from neutral, in the (C_B, C_R) plane, at which half of hue and saturation acts.
const HOLD: f64 = 0.04 * STOP_ACESCCT;
/// The same for density, which would make noise of colour into noise of brightness.
const HOLD_DENSITY: f64 = 0.4 * STOP_ACESCCT;

/// Difference of neighbours' turns, in degrees, that squeezes the hues between them to a tenth.
///
/// Between two directions `gap` apart the share of the second is `s(t)`, `t = sin α ÷ (sin α + sin β)`, which
/// rises fastest in the middle: `1.5 · cot(gap ÷ 2) ÷ 2` a radian.
fn squeeze(gap: f64) -> f64 {
    (0.9 * (gap.to_radians() / 2.0).tan() * 2.0 / 1.5).to_degrees()
}

/// Turns that keep the order of hues: neighbours that would squeeze the hues between them too much are both
/// drawn back.
fn ordered(turns: [f64; 6]) -> [f64; 6] {
    let share: [f64; 6] = std::array::from_fn(|i| {
        let j = (i + 1) % 6;
        let gap = (DIRECTIONS[j] - DIRECTIONS[i]).rem_euclid(360.0);
        (squeeze(gap) / (turns[i] - turns[j]).max(1e-9)).min(1.0)
    });
    std::array::from_fn(|i| turns[i] * share[i].min(share[(i + 5) % 6]))
}

fn prepare(p: &Palette<f64>) -> [f64; 18] {
    let turns = ordered([p.magenta_hue, p.red_hue, p.yellow_hue, p.green_hue, p.cyan_hue, p.blue_hue]);
    let gains = [
        p.magenta_saturation,
        p.red_saturation,
        p.yellow_saturation,
        p.green_saturation,
        p.cyan_saturation,
        p.blue_saturation,
    ];
    let drops =
        [p.magenta_density, p.red_density, p.yellow_density, p.green_density, p.cyan_density, p.blue_density];
    std::array::from_fn(|n| {
        let i = n / 3;
        match n % 3 {
            0 => (turns[i].to_radians() / 2.0).tan(),
            1 => gains[i] - 1.0,
            _ => drops[i] * POINT_ACESCCT,
        }
    })
}

fn cross<T: Real>(direction: [f64; 2], cb: T, cr: T) -> T {
    T::of(direction[0]) * cr - T::of(direction[1]) * cb
}

/// Turn, gain and drop at a hue: those of the two directions it lies between, by the sines of the angles to
/// them. Half the circle is looked at; the other half is its mirror image.
fn blend<T: Real>(p: &Palette<T>, cb: T, cr: T) -> [T; 3] {
    let zero = T::of(0.0);
    let magenta = [p.magenta_turn, p.magenta_gain, p.magenta_drop];
    let green = [p.green_turn, p.green_gain, p.green_drop];
    let (m, r, y) = (cross(MAGENTA, cb, cr), cross(RED, cb, cr), cross(YELLOW, cb, cr));
    let upper = m > zero;
    let (m, r, y) = if upper { (m, r, y) } else { (-m, -r, -y) };
    let first = if upper { magenta } else { green };
    let last = if upper { green } else { magenta };
    let second =
        if upper { [p.red_turn, p.red_gain, p.red_drop] } else { [p.cyan_turn, p.cyan_gain, p.cyan_drop] };
    let third = if upper {
        [p.yellow_turn, p.yellow_gain, p.yellow_drop]
    } else {
        [p.blue_turn, p.blue_gain, p.blue_drop]
    };
    let (low, high, past, short) = if !(r > zero) {
        (first, second, m, -r)
    } else if !(y > zero) {
        (second, third, r, -y)
    } else {
        (third, last, y, m)
    };
    // A neutral has no hue; what is added keeps 0 ÷ 0 away.
    let t = past / (past + short + T::of(1e-12));
    let share = t * t * (T::of(3.0) - T::of(2.0) * t);
    std::array::from_fn(|i| low[i].toward(high[i], share))
}

/// Turns and stretches the pixel's place in the (C_B, C_R) plane and takes density off its luma, the less the
/// nearer to neutral. A turn by the angle whose half has the tangent h is exact in h alone:
/// cos = (1 − h²) ÷ (1 + h²), sin = 2h ÷ (1 + h²).
fn apply<T: Real>(p: &Palette<T>, rgb: [T; 3]) -> [T; 3] {
    let one = T::of(1.0);
    let [kr, kg, kb] = LUMA_709;
    let red = rgb[0] - rgb[1];
    let blue = rgb[2] - rgb[1];
    let above = red * T::of(kr) + blue * T::of(kb);
    let cb = (blue - above) * T::of(0.5 / (1.0 - kb));
    let cr = (red - above) * T::of(0.5 / (1.0 - kr));
    let [turn, gain, drop] = blend(p, cb, cr);
    let squared = cb * cb + cr * cr;
    let distance = squared.root();
    let near = distance / (distance + T::of(HOLD));
    let h = turn * near;
    let g = one + gain * near;
    let scale = g / (one + h * h);
    let (cos, sin) = ((one - h * h) * scale, T::of(2.0) * h * scale);
    let b = (cb * cos - cr * sin - cb) * T::of(2.0 * (1.0 - kb));
    let r = (cb * sin + cr * cos - cr) * T::of(2.0 * (1.0 - kr));
    let darker = drop * (squared / (squared + T::of(HOLD_DENSITY * HOLD_DENSITY)));
    [
        rgb[0] + (r - darker),
        rgb[1] - (r * T::of(kr / kg) + b * T::of(kb / kg) + darker),
        rgb[2] + (b - darker),
    ]
}
