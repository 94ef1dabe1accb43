//! Balance: a shot's own technical correction.
//!
//! In scene-linear light: white balance and exposure, folded into one matrix. In ACEScct, in this order:
//!
//! 1. zones: exposure and colour of shadows, then of highlights;
//! 2. contrast about middle grey, `p + c·(x − p)`, folded into what follows;
//! 3. slope, offset, power, saturation: [`Cdl::forward_no_clamp`], the form of ASC CDL that S-2016-001
//!    appendix A has for ACEScct.
//!
//! Zones are additions to ACEScct: where it is a straight line (0.0078 and below), a zone's exposure lifts or
//! lowers black as an offset does. They hold neither middle grey, when their transitions reach it, nor black.

use super::parameters::parameters;
use crate::colour::{
    ADAPTATIONS, Adaptation, Cdl, GREY_ACESCCT, Matrix, POINT_ACESCCT, Real, STOP_ACESCCT, YcbcrMatrix,
    apply, luma_709, white_shift,
};

parameters! {
    /// The parameters of balance, in the order of [`BalanceField`].
    BALANCE,
    /// A parameter of balance.
    BalanceField;

    /// Light, in stops; + is brighter.
    Exposure "exposure": Stops = 0.0 in -8.0..8.0 step 0.05 Even;
    /// White balance along the Planckian locus, in mired; + is warmer, for a shot lit by colder light.
    Warmth "warmth": Mired = 0.0 in -250.0..150.0 step 1.0 Even;
    /// White balance across the Planckian locus, in thousandths of Duv; + is greener, − more magenta.
    Tint "tint": Duv = 0.0 in -30.0..30.0 step 0.25 Even;
    /// How other colours follow the white: von Kries adaptation in CIECAM16's cone space, in CIECAM02's, or
    /// Bradford's.
    Adaptation "adaptation": Choice(ADAPTATIONS) = 0.0 in 0.0..2.0 step 1.0 Even;
    /// Light of the shadows, in stops; + is brighter. The transition is made softer where that is what it
    /// takes to keep greys in order.
    ShadowExposure "shadow-exposure": Stops = 0.0 in -3.0..3.0 step 0.02 Even;
    /// Colour of the shadows, at constant luma; + is bluer, − yellower.
    ShadowCb "shadow-cb": Points = 0.0 in -24.0..24.0 step 0.25 Even;
    /// Colour of the shadows, at constant luma; + is redder, − more cyan.
    ShadowCr "shadow-cr": Points = 0.0 in -24.0..24.0 step 0.25 Even;
    /// Middle of the shadows' transition, from middle grey.
    ShadowPivot "shadow-pivot": Stops = -2.0 in -6.0..2.0 step 0.05 Even;
    /// From the middle of the shadows' transition to either end of it.
    ShadowSoftness "shadow-softness": Stops = 1.5 in 0.2..4.0 step 0.05 Even;
    /// Light of the highlights, in stops; + is brighter. The transition is made softer where that is what
    /// it takes to keep greys in order.
    HighlightExposure "highlight-exposure": Stops = 0.0 in -3.0..3.0 step 0.02 Even;
    /// Colour of the highlights, at constant luma; + is bluer, − yellower.
    HighlightCb "highlight-cb": Points = 0.0 in -24.0..24.0 step 0.25 Even;
    /// Colour of the highlights, at constant luma; + is redder, − more cyan.
    HighlightCr "highlight-cr": Points = 0.0 in -24.0..24.0 step 0.25 Even;
    /// Middle of the highlights' transition, from middle grey.
    HighlightPivot "highlight-pivot": Stops = 2.0 in -2.0..6.0 step 0.05 Even;
    /// From the middle of the highlights' transition to either end of it.
    HighlightSoftness "highlight-softness": Stops = 1.5 in 0.2..4.0 step 0.05 Even;
    /// Contrast about middle grey, in ACEScct; 1 leaves it.
    Contrast "contrast": Ratio = 1.0 in 0.5..2.0 step 0.01 Ratios;
    /// Red, a factor on ACEScct; 1 leaves it.
    SlopeR "slope-r": Ratio = 1.0 in 0.0..4.0 step 0.005 Even;
    /// Green, a factor on ACEScct; 1 leaves it.
    SlopeG "slope-g": Ratio = 1.0 in 0.0..4.0 step 0.005 Even;
    /// Blue, a factor on ACEScct; 1 leaves it.
    SlopeB "slope-b": Ratio = 1.0 in 0.0..4.0 step 0.005 Even;
    /// Red, in printer points of ACEScct; + is more.
    OffsetR "offset-r": Points = 0.0 in -60.0..60.0 step 0.25 Even;
    /// Green, in printer points of ACEScct; + is more.
    OffsetG "offset-g": Points = 0.0 in -60.0..60.0 step 0.25 Even;
    /// Blue, in printer points of ACEScct; + is more.
    OffsetB "offset-b": Points = 0.0 in -60.0..60.0 step 0.25 Even;
    /// Red, an exponent on ACEScct; under 1 is brighter, 1 leaves it.
    PowerR "power-r": Ratio = 1.0 in 0.25..4.0 step 0.005 Ratios;
    /// Green, an exponent on ACEScct; under 1 is brighter, 1 leaves it.
    PowerG "power-g": Ratio = 1.0 in 0.25..4.0 step 0.005 Ratios;
    /// Blue, an exponent on ACEScct; under 1 is brighter, 1 leaves it.
    PowerB "power-b": Ratio = 1.0 in 0.25..4.0 step 0.005 Ratios;
    /// Distance of colours from their luma; 0 is monochrome, 1 leaves it.
    Saturation "saturation": Ratio = 1.0 in 0.0..4.0 step 0.01 Even;
}

use BalanceField as F;

/// A shot's balance: a number for each of [`BALANCE`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// The numbers, in the declaration's order.
    pub values: [f64; BalanceField::COUNT],
}

impl Default for Balance {
    fn default() -> Self {
        Self { values: std::array::from_fn(|i| BALANCE[i].default) }
    }
}

impl Balance {
    /// One of its numbers.
    pub fn get(&self, field: BalanceField) -> f64 {
        self.values[field as usize]
    }

    /// The same with another number; not held to its range.
    pub fn with(mut self, field: BalanceField, value: f64) -> Self {
        self.values[field as usize] = value;
        self
    }

    /// As a twin computes with it.
    pub fn prepared<T: Real>(&self) -> BalanceValues<T> {
        let gain = self.get(F::Exposure).exp2();
        let matrix = Matrix::diagonal([gain; 3]).after(&self.white_balance());
        let [shadow, highlight] = self.zones();
        BalanceValues {
            matrix: matrix.rows(),
            shadow: shadow.prepared(-1.0),
            highlight: highlight.prepared(1.0),
            cdl: self.cdl().prepared(),
        }
    }

    /// White balance alone, on ACEScg.
    pub fn white_balance(&self) -> Matrix {
        let adaptation = F::Adaptation.parameter().held(self.get(F::Adaptation)) as usize;
        white_shift(self.get(F::Warmth), self.get(F::Tint), Adaptation::ALL[adaptation])
    }

    /// Contrast and what follows it, as one ASC CDL on ACEScct.
    pub fn cdl(&self) -> Cdl<f64> {
        // y = p + c·(x − p) before slope s and offset o is slope s·c and offset s·p·(1 − c) + o.
        let slope = [F::SlopeR, F::SlopeG, F::SlopeB].map(|f| self.get(f));
        let offset = [F::OffsetR, F::OffsetG, F::OffsetB].map(|f| self.get(f) * POINT_ACESCCT);
        let contrast = self.get(F::Contrast);
        let lift = GREY_ACESCCT * (1.0 - contrast);
        Cdl {
            slope: slope.map(|s| s * contrast),
            offset: std::array::from_fn(|c| slope[c] * lift + offset[c]),
            power: [F::PowerR, F::PowerG, F::PowerB].map(|f| self.get(f)),
            saturation: self.get(F::Saturation),
        }
    }

    /// Shadows and highlights, kept from turning the order of greys round in any channel.
    fn zones(&self) -> [Zone; 2] {
        let mut shadow =
            self.zone([F::ShadowExposure, F::ShadowCb, F::ShadowCr, F::ShadowPivot, F::ShadowSoftness]);
        let mut highlight = self.zone([
            F::HighlightExposure,
            F::HighlightCb,
            F::HighlightCr,
            F::HighlightPivot,
            F::HighlightSoftness,
        ]);
        // Raised shadows and lowered highlights are what flattens a ramp.
        let raised = shadow.amount.map(|a| a.max(0.0));
        let lowered = highlight.amount.map(|a| (-a).max(0.0));
        shadow.soften(raised);
        highlight.soften(lowered);
        // Where the transitions overlap, both flatten it.
        let together = (0..3).map(|c| most_taken((&shadow, raised[c]), (&highlight, lowered[c])));
        let share = MOST_TAKEN / together.fold(MOST_TAKEN, f64::max);
        for zone in [&mut shadow, &mut highlight] {
            zone.amount = zone.amount.map(|a| a * share);
        }
        [shadow, highlight]
    }

    fn zone(&self, [exposure, cb, cr, pivot, softness]: [BalanceField; 5]) -> Zone {
        let chroma = [0.0, self.get(cb) * POINT_ACESCCT, self.get(cr) * POINT_ACESCCT];
        let colour = YcbcrMatrix::Bt709.to_rgb().times(chroma);
        Zone {
            amount: colour.map(|c| self.get(exposure) * STOP_ACESCCT + c),
            pivot: GREY_ACESCCT + self.get(pivot) * STOP_ACESCCT,
            softness: self.get(softness) * STOP_ACESCCT,
        }
    }
}

/// Steepest slope of the smooth step over −1…1, in its middle.
const STEEPEST: f64 = 0.75;

/// How much of a grey ramp's slope zones may take away.
const MOST_TAKEN: f64 = 0.95;

/// A zone in ACEScct.
struct Zone {
    /// Added to each channel where all of it acts.
    amount: [f64; 3],
    /// Luma at which half of it acts.
    pivot: f64,
    /// From there to where none or all of it does.
    softness: f64,
}

impl Zone {
    /// Softens the transition as far as it takes for `against`, the amounts that flatten a ramp.
    fn soften(&mut self, against: [f64; 3]) {
        let most = against.into_iter().fold(0.0, f64::max);
        self.softness = self.softness.max(most * STEEPEST / MOST_TAKEN);
    }

    /// What `against` takes of a ramp's slope at a luma: the smooth step's derivative is a parabola.
    fn taken(&self, against: f64, luma: f64) -> f64 {
        let x = (luma - self.pivot) / self.softness;
        against * STEEPEST / self.softness * (1.0 - x * x).max(0.0)
    }

    /// `side` is +1 for a zone above its pivot, −1 for one below.
    fn prepared<T: Real>(&self, side: f64) -> ZoneValues<T> {
        let rate = 0.5 * side / self.softness;
        ZoneValues {
            amount: self.amount.map(T::of),
            rate: T::of(rate),
            start: T::of(0.5 - self.pivot * rate),
        }
    }
}

/// The most that two zones take of a ramp's slope together: at either parabola's top, or at the top of
/// their sum.
fn most_taken(a: (&Zone, f64), b: (&Zone, f64)) -> f64 {
    let bend = |(zone, against): (&Zone, f64)| against / zone.softness.powi(3);
    let bends = bend(a) + bend(b);
    let both = if bends > 0.0 { (bend(a) * a.0.pivot + bend(b) * b.0.pivot) / bends } else { a.0.pivot };
    let at = |luma| a.0.taken(a.1, luma) + b.0.taken(b.1, luma);
    at(a.0.pivot).max(at(b.0.pivot)).max(at(both))
}

/// A zone ready for the pixel loop.
#[derive(Clone, Copy, Debug)]
pub struct ZoneValues<T> {
    /// Addition to ACEScct where all of it acts.
    pub amount: [T; 3],
    /// Steps of the weight's argument for each of luma.
    pub rate: T,
    /// The weight's argument at luma 0; the weight is the smooth step of 0…1.
    pub start: T,
}

impl<T: Real> ZoneValues<T> {
    /// How much of the zone acts at a luma, 0…1. Twin: `zone_weight`.
    pub fn weight(&self, luma: T) -> T {
        let t = (luma * self.rate + self.start).at_least(T::of(0.0)).at_most(T::of(1.0));
        t * t * (T::of(3.0) - T::of(2.0) * t)
    }
}

/// Balance ready for the pixel loop. Twin: `shaders/picture/balance.wgsl`.
#[derive(Clone, Copy, Debug)]
pub struct BalanceValues<T> {
    /// On scene-linear light: white balance and exposure, row by row.
    pub matrix: [T; 9],
    /// Shadows.
    pub shadow: ZoneValues<T>,
    /// Highlights.
    pub highlight: ZoneValues<T>,
    /// ASC CDL on ACEScct, with contrast in it.
    pub cdl: Cdl<T>,
}

impl<T: Real> BalanceValues<T> {
    /// The part on scene-linear light. Twin: `balance_linear`.
    pub fn linear(&self, rgb: [T; 3]) -> [T; 3] {
        apply(&self.matrix, rgb)
    }

    /// The part on ACEScct. Twin: `balance_acescct`.
    pub fn acescct(&self, rgb: [T; 3]) -> [T; 3] {
        let l = luma_709(rgb);
        let (shadow, highlight) = (self.shadow.weight(l), self.highlight.weight(l));
        self.cdl.forward_no_clamp(std::array::from_fn(|c| {
            rgb[c] + shadow * self.shadow.amount[c] + highlight * self.highlight.amount[c]
        }))
    }
}
