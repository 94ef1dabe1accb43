//! The inverse of the ACES 2.0 output transform: a display's linear light to ACEScg light.
//!
//! Each step of the forward transform undone, in the opposite order. All but one have a closed inverse: the line
//! that gamut compression moves a colour on depends, towards white, on the lightness that the colour had before,
//! which is found by iteration.

use super::super::{AP1, Matrix, Real, apply};
use super::model::Model;
use super::{Aces2, Aces2Values, AtHue, aces2_cone_compress, aces2_cone_expand, aces2_hue, aces2_hull};

/// Rounds of the iteration for colours near white: after four, light comes back to 2e-6 of peak in Rec. 709 and 5e-5 in P3.
const ROUNDS: usize = 4;

/// The inverse transform's numbers, as a twin computes with them.
#[derive(Clone, Debug)]
pub struct Aces2InverseValues<T> {
    /// RGB of the encoding primaries to RGB of the limiting gamut.
    from_encoding: [T; 9],
    /// RGB of the limiting gamut with peak 1 to adapted cone responses.
    to_cone: [T; 9],
    /// Adapted cone responses to ACEScg.
    from_cone: [T; 9],
    /// The transform that is undone.
    forward: Aces2Values<T>,
}

impl Aces2 {
    /// The numbers of the struct `Aces2Inverse` in `shaders/colour/aces2_inverse.wgsl`, in its order; a multiple of
    /// 16 bytes. It ends with those of [`Aces2::uniform`].
    pub fn inverse_uniform(&self) -> [f32; Self::INVERSE_UNIFORM] {
        let v = self.inverse_values::<f32>();
        let matrices = [v.from_encoding, v.to_cone, v.from_cone];
        let rows = matrices.iter().flat_map(|m| m.chunks(3).flat_map(|r| [r[0], r[1], r[2], 0.0]));
        let mut out = [0.0; Self::INVERSE_UNIFORM];
        out.iter_mut().zip(rows.chain(self.uniform())).for_each(|(to, from)| *to = from);
        out
    }

    /// Numbers of [`Aces2::inverse_uniform`].
    pub const INVERSE_UNIFORM: usize = 3 * 12 + Self::UNIFORM;

    /// The inverse as numbers of a twin.
    pub fn inverse_values<T: Real>(&self) -> Aces2InverseValues<T> {
        let share = Matrix::diagonal([self.peak / 100.0; 3]);
        Aces2InverseValues {
            from_encoding: self.to_encoding.inverse().rows(),
            to_cone: self.numbers.limit.to_cone.after(&share).rows(),
            from_cone: Model::of(&AP1).to_cone.inverse().rows(),
            forward: self.values(),
        }
    }
}

impl<T: Real> Aces2InverseValues<T> {
    /// Linear light of the display, peak 1, to ACEScg light. Twin: `aces2_inverse`.
    ///
    /// Light is held within the limiting gamut and its peak, the result within what the forward transform takes.
    /// Where that is not reached the inverse has none that gives the very light: colours more saturated than ACEScg's
    /// (the greens and cyans of BT.2020), and lights that other light gives as well (black, peak white).
    pub fn apply(&self, light: [T; 3]) -> [T; 3] {
        let (zero, one) = (T::of(0.0), T::of(1.0));
        let n = &self.forward;
        let limited = apply(&self.from_encoding, light).map(|x| x.at_least(zero).at_most(one));
        let [a, p, q] = apply(&n.to_opponent, apply(&self.to_cone, limited).map(aces2_cone_compress));
        if a <= zero {
            return [zero; 3];
        }
        let m = (p * p + q * q).root();
        let has_hue = m > zero;
        let (cos, sin) = if has_hue { (p / m, q / m) } else { (one, zero) };

        let j = T::of(100.0) * a.power(n.power_j);
        let (mut a_toned, mut m_toned) = (a, zero);
        if has_hue && j <= n.shape.j_max {
            let hue = n.at_hue(aces2_hue(cos, sin));
            let (j, m) = self.expand_gamut(j, m, &hue);
            a_toned = (j / T::of(100.0)).power(n.power_a).at_least(T::of(1e-6));
            m_toned = self.expand_chroma(m, a_toned, j, hue.reach, cos, sin);
        }
        let light = n.tone.invert(aces2_cone_expand(n.white * a_toned) / n.cone_of_light);
        let a_scene = aces2_cone_compress(light / n.light_of_cone) / n.white;
        let m_scene = m_toned * a_scene / a_toned;
        let cone = apply(&n.from_opponent, [a_scene, m_scene * cos, m_scene * sin]).map(aces2_cone_expand);
        apply(&self.from_cone, cone).map(|x| x.at_least(zero).at_most(n.highest))
    }

    /// J and M that were moved into the limiting gamut. Twin: `aces2_expand_gamut`.
    fn expand_gamut(&self, j: T, m: T, hue: &AtHue<T>) -> (T, T) {
        let (zero, one) = (T::of(0.0), T::of(1.0));
        let (n, shape) = (&self.forward, &self.forward.shape);
        let mut before = (j, m);
        for _ in 0..ROUNDS {
            let line = shape.line(j, m, before.0, hue);
            let boundary = shape.boundary(&line, hue);
            let reach = aces2_hull(line.foot, line.slope, n.power_a, shape.j_max, hue.reach, shape.j_max);
            let start = (boundary / reach).at_least(T::of(0.75)) * boundary;
            let (over, inner, outer) = (m - start, boundary - start, reach - start);
            if boundary <= zero || over <= zero || inner <= zero {
                return (j, m);
            }
            let scale = outer / (outer / inner - one);
            // Nothing is moved further out than to `scale`.
            let m = start + scale * over / (scale - over).at_least(T::of(0.001) * scale);
            before = (line.foot + m * line.slope, m);
            if before.0 <= shape.flattening(hue) {
                return before;
            }
        }
        before
    }

    /// Colourfulness before it was made to go with the tone scale. Twin: `aces2_expand_chroma`.
    fn expand_chroma(&self, m: T, a: T, j: T, reach: T, cos: T, sin: T) -> T {
        let n = &self.forward;
        let norm = n.chroma_norm(cos, sin);
        let share = j / n.shape.j_max;
        let rest = (T::of(1.0) - share).at_least(T::of(0.0));
        let limit = a / n.a_max * reach / norm;
        let floor = (share * share + n.expand_floor).root();
        let expanded = aces2_toe_inverse(m / norm, limit, share * n.compress, rest);
        let chroma =
            limit - aces2_toe_inverse(limit - expanded, limit - T::of(0.001), rest * n.expand, floor);
        norm * chroma
    }
}

/// The inverse of the toe. Twin: `aces2_toe_inverse`.
fn aces2_toe_inverse<T: Real>(y: T, limit: T, k_1: T, k_2: T) -> T {
    if y > limit {
        return y;
    }
    let k_2 = k_2.at_least(T::of(0.001));
    let k_1 = (k_1 * k_1 + k_2 * k_2).root();
    let k_3 = (limit + k_1) / (limit + k_2);
    y * (y + k_1) / (k_3 * (y + k_2).at_least(T::of(0.01) * k_2))
}
