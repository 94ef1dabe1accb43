//! ICtCp, and the colour difference that is built on it.

use super::{BT2020, Curve, CurveValues, Matrix, Primaries, conversion};
use crate::colour::Adaptation;

/// Linear BT.2020 light to the three signals between cones (BT.2100-2, table 7: whole numbers over 4096).
const TO_LMS: Matrix = Matrix([
    [1688.0 / 4096.0, 2146.0 / 4096.0, 262.0 / 4096.0],
    [683.0 / 4096.0, 2951.0 / 4096.0, 462.0 / 4096.0],
    [99.0 / 4096.0, 309.0 / 4096.0, 3688.0 / 4096.0],
]);

/// Those by PQ to I, C_T and C_P (BT.2100-2, table 7).
const TO_ICTCP: Matrix = Matrix([
    [0.5, 0.5, 0.0],
    [6610.0 / 4096.0, -13613.0 / 4096.0, 7003.0 / 4096.0],
    [17933.0 / 4096.0, -17390.0 / 4096.0, -543.0 / 4096.0],
]);

/// A display's light to ICtCp by PQ.
#[derive(Clone, Debug)]
pub struct Ictcp {
    to_lms: [f64; 9],
    pq: CurveValues<f64>,
}

impl Ictcp {
    /// For light in `primaries`, 1 being `peak` cd/m². A white other than D65 is adapted by Bradford.
    pub fn of(primaries: &Primaries, peak: f64) -> Self {
        let to_lms = TO_LMS.after(&conversion(primaries, &BT2020, Adaptation::Bradford)).rows();
        Self { to_lms, pq: Curve::Pq { peak }.values() }
    }

    /// I, C_T and C_P of a light.
    pub fn apply(&self, light: [f64; 3]) -> [f64; 3] {
        TO_ICTCP.times(super::apply(&self.to_lms, light).map(|x| self.pq.encode(x.max(0.0))))
    }
}

/// The difference of two colours in ICtCp, ΔE_ITP (ITU-R BT.2124): 1 is just visible where it shows most.
pub fn delta_e_itp(a: [f64; 3], b: [f64; 3]) -> f64 {
    let [i, t, p] = std::array::from_fn(|k| a[k] - b[k]);
    720.0 * (i * i + 0.25 * t * t + p * p).sqrt()
}

/// Hue in degrees, −180 to 180: the angle in the plane of ½·C_T and C_P, in which BT.2124 measures.
pub fn hue_itp(ictcp: [f64; 3]) -> f64 {
    ictcp[2].atan2(0.5 * ictcp[1]).to_degrees()
}
