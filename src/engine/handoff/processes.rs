//! A path as a CLF: each step as a process of its own where there is one, the rest as a cube behind a scale.

use super::HandoffError;
use super::measure::Path;
use super::shaping::{Shaping, entries};
use crate::colour::{Curve, Matrix, Reference, encoding};
use crate::interchange::clf::{
    CdlParams, CdlStyle, Clf, Depth, LogParams, LogStyle, Lut1d, Lut3d, Node, Operation,
};
use crate::look::Domain;
use crate::picture::cpu::Grader;
use crate::picture::{BalanceField, Recipe, StageValues, Tail};

/// Half floats, as many as a table over them has entries.
const HALVES: usize = 65536;

/// A CLF in the making.
struct Making {
    clf: Clf,
    /// A matrix that is still to be written, since the next may fold into it.
    matrix: Option<[[f64; 4]; 3]>,
    /// Do the values at hand lie on ACEScct, or are they light in ACEScg?
    on_curve: bool,
}

impl Making {
    fn node(&mut self, operation: Operation, says: &str) -> Result<(), HandoffError> {
        let mut node = Node::new(Depth::F32, Depth::F32, operation)?;
        node.descriptions = vec![says.to_owned()];
        Ok(self.clf.push(node)?)
    }

    fn flush(&mut self) -> Result<(), HandoffError> {
        let identity = [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]];
        match self.matrix.take() {
            Some(m) if m != identity => self.node(Operation::Matrix(m), "matrix"),
            _ => Ok(()),
        }
    }

    fn push(&mut self, operation: Operation, says: &str) -> Result<(), HandoffError> {
        self.flush()?;
        self.node(operation, says)
    }

    /// An affine map after what is there.
    fn affine(&mut self, m: [[f64; 4]; 3]) {
        let before =
            self.matrix.unwrap_or([[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]]);
        self.matrix = Some(std::array::from_fn(|r| {
            std::array::from_fn(|c| {
                let inner: f64 = (0..3).map(|k| m[r][k] * before[k][c]).sum();
                if c == 3 { inner + m[r][3] } else { inner }
            })
        }));
    }

    fn matrix(&mut self, m: &Matrix) {
        let rows: [f64; 9] = m.rows();
        self.affine(std::array::from_fn(|r| [rows[3 * r], rows[3 * r + 1], rows[3 * r + 2], 0.0]));
    }

    /// To ACEScct or away from it.
    fn curve(&mut self, on: bool) -> Result<(), HandoffError> {
        if self.on_curve != on {
            let acescct = encoding("acescct").map(|e| &e.curve);
            let params = acescct.and_then(log_params).ok_or(HandoffError::Nothing)?;
            let style = if on { LogStyle::CameraLinToLog } else { LogStyle::CameraLogToLin };
            self.push(Operation::Log { style, params: [params; 3] }, "ACEScct, Academy S-2016-001")?;
            self.on_curve = on;
        }
        Ok(())
    }
}

/// A logarithmic encoding's curve as CLF's parameters, which make the line below the break meet the logarithm.
fn log_params(curve: &Curve) -> Option<LogParams> {
    match *curve {
        Curve::Log { a, b, c, d, cut, e, .. } => Some(LogParams {
            base: 2.0,
            log_slope: c,
            log_offset: d,
            lin_slope: a,
            lin_offset: b,
            lin_break: Some(cut),
            linear_slope: Some(e),
        }),
        _ => None,
    }
}

/// The matrix and offset that a function is, if it is one, over a range of values.
fn affine_of(low: f64, high: f64, f: impl Fn([f64; 3]) -> [f64; 3]) -> Option<[[f64; 4]; 3]> {
    let span = high - low;
    let base = [low + 0.4 * span; 3];
    let at = f(base);
    let step = 0.2 * span;
    let columns: [[f64; 3]; 3] = std::array::from_fn(|c| {
        let mut moved = base;
        moved[c] += step;
        let there = f(moved);
        std::array::from_fn(|r| (there[r] - at[r]) / step)
    });
    let m: [[f64; 4]; 3] = std::array::from_fn(|r| {
        let linear: f64 = (0..3).map(|c| columns[c][r] * base[c]).sum();
        [columns[0][r], columns[1][r], columns[2][r], at[r] - linear]
    });
    // Corners and many places between them, the same ones every time.
    let place = |i: usize, c: usize| {
        let n = (i * 3 + c) as u64;
        let share = match i {
            0..8 => ((i >> c) & 1) as f64,
            _ => (n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40) as f64 / (1u64 << 24) as f64,
        };
        low + share * span
    };
    let good = (0..300).all(|i| {
        let v: [f64; 3] = std::array::from_fn(|c| place(i, c));
        let (wanted, scale) = (f(v), span.max(1.0));
        (0..3).all(|r| {
            let found = m[r][0] * v[0] + m[r][1] * v[1] + m[r][2] * v[2] + m[r][3];
            (found - wanted[r]).abs() <= 1e-9 * scale
        })
    });
    good.then_some(m)
}

/// Each channel's curve, if a function works on each channel alone.
fn curves_of(f: impl Fn([f64; 3]) -> [f64; 3]) -> Option<impl Fn(f64) -> [f64; 3]> {
    for i in 0..60 {
        let x = -0.3 + 0.03 * i as f64;
        let alone = f([x; 3]);
        for (a, b) in [(0.1, 0.9), (1.1, 0.0), (0.5, -0.2)] {
            for c in 0..3 {
                let mut v = [a, b, a];
                v[c] = x;
                if (f(v)[c] - alone[c]).abs() > 1e-9 {
                    return None;
                }
            }
        }
    }
    Some(move |x| f([x; 3]))
}

/// A stage alone, on values of its domain.
fn stage(stage: &StageValues) -> impl Fn([f64; 3]) -> [f64; 3] + use<> {
    let acescct = encoding("acescct");
    let domain = stage.kind.declaration().domain;
    let recipe =
        acescct.map(|e| Recipe { stages: vec![stage.clone()], ..Recipe::conversion(e, Tail::Encoding(e)) });
    let grader = recipe.map(|r| Grader::<f64>::new(&r));
    move |v| {
        let Some(grader) = &grader else { return v };
        match domain {
            Domain::Acescct => grader.chain(v),
            Domain::Linear => {
                let there = grader.chain(v.map(crate::colour::acescct_encode));
                there.map(crate::colour::acescct_decode)
            }
        }
    }
}

/// A path as processes. `size` is that of the cube, where one is needed; `top` the highest ACEScct that comes to it, at
/// least 1.
///
/// # Errors
/// Numbers that no CLF holds.
pub fn clf(
    path: &Path,
    size: usize,
    top: f64,
    id: &str,
    input: &str,
    output: &str,
) -> Result<Clf, HandoffError> {
    let acescct = encoding("acescct").ok_or(HandoffError::Nothing)?;
    let recipe = &path.recipe;
    let from = recipe.decode.encoding;
    let mut clf = Clf::new(id);
    (clf.input, clf.output) = (Some(input.to_owned()), Some(output.to_owned()));
    let mut making = Making { clf, matrix: None, on_curve: false };

    if from.reference == Reference::Display {
        // Light comes back from a display through what only a cube holds.
        table(&mut making, path, size, 1.0)?;
        return Ok(making.clf);
    }
    // What comes in, to light of the scene or to ACEScct.
    if from.id == acescct.id {
        making.on_curve = true;
    } else {
        match (&from.curve, log_params(&from.curve)) {
            (Curve::Linear, _) => {}
            (_, Some(params)) => making
                .push(Operation::Log { style: LogStyle::CameraLogToLin, params: [params; 3] }, from.name)?,
            (curve, None) => {
                let values = curve.values::<f64>();
                making.push(Operation::Lut1(halves(|x| [values.decode(x); 3])), from.name)?;
            }
        }
        making.matrix(&from.to_acescg());
    }
    // Balance, as far as it has processes.
    let mut rest = recipe.clone();
    rest.decode.encoding = acescct;
    if let Some(balance) = recipe.balance {
        let light = [BalanceField::Exposure, BalanceField::Warmth, BalanceField::Tint];
        if light.iter().any(|f| balance.get(*f) != 0.0) {
            making.curve(false)?;
            let gain = balance.get(BalanceField::Exposure).exp2();
            making.matrix(&Matrix::diagonal([gain; 3]).after(&balance.white_balance()));
        }
        let zones = light.iter().fold(balance, |b, f| b.with(*f, 0.0));
        if zones.outside_cdl().is_empty() {
            let cdl = zones.cdl();
            if cdl != crate::colour::Cdl::IDENTITY {
                making.curve(true)?;
                let (slope, offset, power, saturation) = (cdl.slope, cdl.offset, cdl.power, cdl.saturation);
                let params = CdlParams { slope, offset, power, saturation };
                making.push(Operation::Cdl { style: CdlStyle::FwdNoClamp, params }, "balance")?;
            }
            rest.balance = None;
        } else {
            rest.balance = Some(zones);
        }
    }
    // The chain, as far as it has.
    while rest.balance.is_none() && !rest.stages.is_empty() {
        let declaration = rest.stages[0].kind.declaration();
        let f = stage(&rest.stages[0]);
        let linear = declaration.domain == Domain::Linear;
        let (low, high) = if linear { (0.0, 60.0) } else { (-0.3, 1.5) };
        if let Some(m) = affine_of(low, high, &f) {
            making.curve(!linear)?;
            making.affine(m);
        } else if let Some(curves) = (!linear).then(|| curves_of(&f)).flatten() {
            making.curve(true)?;
            making.push(Operation::Lut1(halves(curves)), declaration.key)?;
        } else {
            break;
        }
        rest.stages.remove(0);
    }
    let end = match &recipe.tail {
        Tail::Encoding(e) => Some(*e),
        Tail::Display { .. } | Tail::Light => None,
    };
    let analytic = end.is_some_and(|e| e.curve == Curve::Linear || log_params(&e.curve).is_some());
    if analytic {
        rest.tail = Tail::Encoding(acescct);
    }
    if rest.balance.is_some() || !rest.stages.is_empty() || !analytic {
        making.curve(true)?;
        table(&mut making, &path_of(rest), size, top)?;
    }
    // What goes out.
    if let Some(e) = end.filter(|_| analytic) {
        let on = e.id == acescct.id;
        making.curve(on)?;
        if !on {
            making.matrix(&e.from_acescg());
            if let Some(params) = log_params(&e.curve) {
                making
                    .push(Operation::Log { style: LogStyle::CameraLinToLog, params: [params; 3] }, e.name)?;
            }
        }
    }
    making.flush()?;
    if making.clf.nodes().is_empty() {
        let rows = [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]];
        making.node(Operation::Matrix(rows), "nothing is done")?;
    }
    Ok(making.clf)
}

fn path_of(recipe: Recipe) -> Path {
    Path::new(recipe).0
}

/// A curve over all half floats.
fn halves(curve: impl Fn(f64) -> [f64; 3]) -> Lut1d {
    let at = |i: usize| {
        let x = half::f16::from_bits(i as u16).to_f64();
        if x.is_finite() { curve(x).map(|y| y.clamp(-65504.0, 65504.0) as f32) } else { [0.0; 3] }
    };
    let rows: Vec<[f32; 3]> = (0..HALVES).map(at).collect();
    let same = rows.iter().all(|r| r[1] == r[0] && r[2] == r[0]);
    let values = if same { rows.iter().map(|r| r[0]).collect() } else { rows.concat() };
    Lut1d { values, channels: if same { 1 } else { 3 }, half_domain: true, raw_halfs: false }
}

/// A cube on ACEScct from 0 to `top`.
fn table(making: &mut Making, path: &Path, size: usize, top: f64) -> Result<(), HandoffError> {
    let top = top.max(1.0);
    if top != 1.0 {
        let share = 1.0 / top;
        making.affine([[share, 0.0, 0.0, 0.0], [0.0, share, 0.0, 0.0], [0.0, 0.0, share, 0.0]]);
    }
    let shaping = Shaping::of(path, 0.0, top);
    let display = matches!(path.recipe.tail, Tail::Display { .. });
    let red_first = entries(size, display, |place| path.pixel(place.map(|p| shaping.undone(p) * top)));
    let curve =
        Lut1d { values: shaping.values().to_vec(), channels: 1, half_domain: false, raw_halfs: false };
    making.push(Operation::Lut1(curve), "where the entries of the cube lie")?;
    // CLF has blue fastest.
    let entry = |i: usize| red_first[i / size / size + i / size % size * size + i % size * size * size];
    let values = (0..size.pow(3)).map(entry).collect();
    let lut = Lut3d { size, values, interpolation: crate::colour::Interpolation::Tetrahedral };
    making.push(Operation::Lut3(lut), "the rest of the chain")
}
