//! Output transforms: scene-referred light to display-referred light.

use super::Real;

/// How scene light becomes display light.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OutputTransform {
    /// A tone scale on each ACEScg channel, then the display's primaries, then a clip. Saturated
    /// highlights skew in hue; it is nobody's standard rendering.
    Plain,
    /// The ACES 2.0 output transform, limited to the display's own gamut and peak: see [`super::Aces2`].
    Aces2,
    /// None: scene light is display light, clipped.
    None,
    /// A production's own look-up table from log to a display's signal; which one stands beside it.
    Lut,
}

impl OutputTransform {
    /// What files and commands call it.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Aces2 => "aces2",
            Self::None => "none",
            Self::Lut => "lut",
        }
    }

    /// One line about it.
    pub const fn doc(self) -> &'static str {
        match self {
            Self::Plain => {
                "a tone scale on each channel; grey at 10 % of peak; saturated highlights skew in hue"
            }
            Self::Aces2 => {
                "the Academy's ACES 2.0 output transform; grey at 10 cd/m² of 100; hues hold in highlights"
            }
            Self::None => "no rendering: light passes as it is, clipped",
            Self::Lut => "the show's own look-up table, from log to a display's signal",
        }
    }
}

/// Every output transform that needs nothing more, the default first.
pub static OUTPUT_TRANSFORMS: &[OutputTransform] =
    &[OutputTransform::Aces2, OutputTransform::Plain, OutputTransform::None];

/// The output transform called `id`.
pub fn output_transform(id: &str) -> Option<OutputTransform> {
    OUTPUT_TRANSFORMS.iter().copied().find(|t| t.id() == id)
}

/// Scene light that the tone scale brings to a peak of `peak` cd/m².
pub(super) fn highest_light(peak: f64) -> f64 {
    128.0 + 768.0 * (peak / 100.0).ln() / 100f64.ln()
}

/// The tone scale published with the ACES 2 output transforms, in closed form.
#[derive(Clone, Copy, Debug)]
pub struct ToneScale<T> {
    /// Scale of the compressed light.
    pub m_2: T,
    /// Where the compression bends.
    pub s_2: T,
    /// Contrast.
    pub g: T,
    /// Toe.
    pub t_1: T,
    /// Peak of the display over 100 cd/m².
    pub peak: T,
}

impl<T: Real> ToneScale<T> {
    /// The scale for a display of `peak` cd/m².
    pub fn for_peak(peak: f64) -> Self {
        let (n_r, g, c, c_d, w_g, t_1) = (100.0, 1.15, 0.18, 10.013, 0.14, 0.04);
        let r_hit = highest_light(peak);
        let m_0 = peak / n_r;
        let m_1 = 0.5 * (m_0 + (m_0 * (m_0 + 4.0 * t_1)).sqrt());
        let u = ((r_hit / m_1) / (r_hit / m_1 + 1.0)).powf(g);
        let m = m_1 / u;
        let c_t = c_d / n_r * (1.0 + w_g * (peak / n_r).log2());
        let g_ip = 0.5 * (c_t + (c_t * (c_t + 4.0 * t_1)).sqrt());
        let root = (g_ip / m).powf(1.0 / g);
        let g_ipp2 = -m_1 * root / (root - 1.0);
        let w_2 = c / g_ipp2;
        let s_2 = w_2 * m_1;
        let u_2 = ((r_hit / m_1) / (r_hit / m_1 + w_2)).powf(g);
        Self { m_2: T::of(m_1 / u_2), s_2: T::of(s_2), g: T::of(g), t_1: T::of(t_1), peak: T::of(m_0) }
    }

    /// Scene light to display light with peak 1. Twin: `tone_scale`.
    pub fn apply(&self, x: T) -> T {
        let x = x.at_least(T::of(0.0));
        let f = self.m_2 * (x / (x + self.s_2)).power(self.g);
        f * f / (f + self.t_1) / self.peak
    }

    /// Display light with peak 1, held to 0…1, to scene light: the inverse of [`ToneScale::apply`]. Peak gives the
    /// scene light that the scale brings to it. Twin: `tone_scale_inverse`.
    pub fn invert(&self, y: T) -> T {
        let light = y.at_least(T::of(0.0)).at_most(T::of(1.0)) * self.peak;
        let f = T::of(0.5) * (light + (light * (light + T::of(4.0) * self.t_1)).root());
        let share = (f / self.m_2).power(T::of(1.0) / self.g);
        self.s_2 * share / (T::of(1.0) - share)
    }
}
