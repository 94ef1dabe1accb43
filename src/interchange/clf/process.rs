//! What a file does to a colour.

use super::cdl::Cdl;
use super::{Clf, ExponentParams, ExponentStyle, LogParams, LogStyle, Node, Operation};
use crate::colour::{Lut1, Lut3, Matrix, Real};

/// A list of processes, ready to be computed. Colours go in and come out with 0…1 for the whole of a depth,
/// whatever depths the file has; nothing is clamped but where a process says so.
#[derive(Clone, Debug)]
pub struct Process<T> {
    pub(super) steps: Vec<Step<T>>,
}

/// A node whose parameters are scaled to 0…1.
#[derive(Clone, Debug)]
pub(super) enum Step<T> {
    Matrix([[T; 4]; 3]),
    Lut1(Lut1<T>),
    Lut3(Lut3<T>),
    Range { scale: T, offset: T, low: Option<T>, high: Option<T> },
    Log([LogCurve<T>; 3]),
    Exponent(ExponentStyle, [PowerCurve<T>; 3]),
    Cdl(Cdl<T>),
}

impl Clf {
    /// What the file does to a colour, in f32 or f64.
    pub fn process<T: Real>(&self) -> Process<T> {
        Process { steps: self.nodes.iter().filter_map(Step::new).collect() }
    }
}

impl<T: Real> Process<T> {
    /// The same list where it takes light, or gives light, as ACEScct's signal (S-2016-001): the curve undone
    /// ahead of it, or done after it, on each channel.
    pub fn by_acescct(mut self, input: bool, output: bool) -> Self {
        let curve = LogParams {
            log_slope: 1.0 / 17.52,
            log_offset: 9.72 / 17.52,
            lin_break: Some(0.007_812_5),
            linear_slope: Some(10.540_237_741_654_5),
            ..LogParams::default()
        };
        let step = |style| Step::Log(std::array::from_fn(|_| LogCurve::new(style, &curve)));
        if input {
            self.steps.insert(0, step(LogStyle::CameraLogToLin));
        }
        if output {
            self.steps.push(step(LogStyle::CameraLinToLog));
        }
        self
    }

    /// The colour after all processes. An input that is not a number counts as 0, and so does an output.
    pub fn apply(&self, v: [T; 3]) -> [T; 3] {
        number(self.steps.iter().fold(number(v), |v, step| step.apply(v)))
    }
}

fn number<T: Real>(v: [T; 3]) -> [T; 3] {
    v.map(|x| if x.magnitude() >= T::of(0.0) { x } else { T::of(0.0) })
}

impl<T: Real> Step<T> {
    /// None only for tables that [`Node::new`] refuses.
    fn new(node: &Node) -> Option<Self> {
        let (input, output) = (node.input.scale(), node.output.scale());
        Some(match &node.operation {
            Operation::Matrix(rows) => Self::Matrix(rows.map(|row| {
                std::array::from_fn(|c| {
                    let scale = if c < 3 { input / output } else { 1.0 / output };
                    T::of(row[c] * scale)
                })
            })),
            Operation::Lut1(lut) => {
                let value = |i: usize, c: usize| {
                    let at = if lut.channels == 1 { i } else { 3 * i + c };
                    T::of(f64::from(lut.values[at]) / output)
                };
                let entries = lut.values.len() / lut.channels;
                let values = (0..entries).map(|i| std::array::from_fn(|c| value(i, c))).collect();
                Self::Lut1(match lut.half_domain {
                    true => Lut1::halves(values)?,
                    false => Lut1::even(values, [0.0; 3], [1.0; 3])?,
                })
            }
            Operation::Lut3(lut) => {
                let n = lut.size;
                let entry = |i: usize| {
                    let (r, g, b) = (i % n, i / n % n, i / n / n);
                    lut.values[(r * n + g) * n + b].map(|x| T::of(f64::from(x) / output))
                };
                let values = (0..n * n * n).map(entry).collect();
                Self::Lut3(Lut3::new(n, values, [0.0; 3], [1.0; 3], lut.interpolation)?)
            }
            Operation::Range { min, max, clamp } => {
                let scaled = |end: &[f64; 2]| [end[0] / input, end[1] / output];
                let (min, max) = (min.as_ref().map(scaled), max.as_ref().map(scaled));
                let (scale, offset) = match (min, max) {
                    (Some(low), Some(high)) => {
                        let scale = (high[1] - low[1]) / (high[0] - low[0]);
                        (scale, low[1] - low[0] * scale)
                    }
                    _ => (1.0, 0.0),
                };
                let end = |end: Option<[f64; 2]>| end.filter(|_| *clamp).map(|e| T::of(e[1]));
                Self::Range { scale: T::of(scale), offset: T::of(offset), low: end(min), high: end(max) }
            }
            Operation::Log { style, params } => {
                Self::Log(std::array::from_fn(|c| LogCurve::new(*style, &params[c])))
            }
            Operation::Exponent { style, params } => {
                let reverse = matches!(
                    style,
                    ExponentStyle::BasicRev | ExponentStyle::BasicMirrorRev | ExponentStyle::BasicPassThruRev
                );
                let curve = |p: &ExponentParams| match style.has_offset() {
                    true => PowerCurve::with_toe(p.exponent, p.offset),
                    false => PowerCurve::plain(if reverse { 1.0 / p.exponent } else { p.exponent }),
                };
                Self::Exponent(*style, std::array::from_fn(|c| curve(&params[c])))
            }
            Operation::Cdl { style, params } => Self::Cdl(Cdl::new(*style, params)),
        })
    }

    pub(super) fn apply(&self, v: [T; 3]) -> [T; 3] {
        match self {
            Self::Matrix(rows) => rows.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2] + row[3]),
            Self::Lut1(lut) => lut.apply(v),
            Self::Lut3(lut) => lut.apply(v),
            Self::Range { scale, offset, low, high } => v.map(|x| {
                let x = x * *scale + *offset;
                let x = low.map_or(x, |low| x.at_least(low));
                high.map_or(x, |high| x.at_most(high))
            }),
            Self::Log(curves) => std::array::from_fn(|c| curves[c].apply(v[c])),
            Self::Exponent(style, curves) => std::array::from_fn(|c| curves[c].apply(*style, v[c])),
            Self::Cdl(cdl) => cdl.apply(v),
        }
    }

    /// Whether each channel's output depends on that channel alone.
    pub(super) fn is_by_channel(&self) -> bool {
        match self {
            Self::Matrix(rows) => (0..3).all(|r| (0..3).all(|c| r == c || rows[r][c] == T::of(0.0))),
            Self::Lut1(_) | Self::Range { .. } | Self::Log(_) | Self::Exponent(..) => true,
            Self::Cdl(cdl) => cdl.is_by_channel(),
            Self::Lut3(_) => false,
        }
    }

    /// The same in more steps, where some of them work on each channel alone.
    pub(super) fn parts(self) -> Vec<Self> {
        let Self::Cdl(cdl) = &self else { return vec![self] };
        match cdl.parts() {
            Some((first, saturation, held)) if !cdl.is_by_channel() => {
                let (low, high) = (Some(T::of(0.0)), Some(T::of(1.0)));
                let hold = Self::Range { scale: T::of(1.0), offset: T::of(0.0), low, high };
                let mut parts = vec![Self::Cdl(first), Self::Matrix(saturation)];
                parts.extend(held.then_some(hold));
                parts
            }
            _ => vec![self],
        }
    }

    /// The matrix, if it is one that adds nothing.
    pub(super) fn matrix(&self) -> Option<Matrix> {
        match self {
            Self::Matrix(rows) if rows.iter().all(|r| r[3] == T::of(0.0)) => {
                Some(Matrix(rows.map(|r| [r[0], r[1], r[2]].map(T::to_f64))))
            }
            _ => None,
        }
    }

    /// Entries along an axis, if it is a 3D LUT.
    pub(super) fn cube_size(&self) -> Option<usize> {
        match self {
            Self::Lut3(lut) => Some(lut.size()),
            _ => None,
        }
    }

    /// Entries, if it is an even 1D LUT.
    pub(super) fn curve_length(&self) -> Option<usize> {
        match self {
            Self::Lut1(lut) => lut.domain().map(|_| lut.values().len()),
            _ => None,
        }
    }

    /// Whether it holds its input between 0 and 1.
    pub(super) fn takes_0_to_1(&self) -> bool {
        match self {
            Self::Lut1(lut) => lut.domain().is_some(),
            Self::Lut3(_) => true,
            _ => false,
        }
    }
}

/// `logSlope · log(linSlope · x + linOffset) + logOffset`, or its inverse, with a line below the break.
/// CLF 3.0, Log.
#[derive(Clone, Copy, Debug)]
pub(super) struct LogCurve<T> {
    inverse: bool,
    /// Factor of the base-2 logarithm; of what becomes its exponent if inverse.
    log_slope: T,
    log_offset: T,
    /// By what light is multiplied; the quotient's inverse if inverse.
    lin_slope: T,
    lin_offset: T,
    /// Where the line ends, its slope and its offset, on the side of the input.
    line: Option<[T; 3]>,
}

impl<T: Real> LogCurve<T> {
    fn new(style: LogStyle, params: &LogParams) -> Self {
        let plain = |base: f64| LogParams { base, ..LogParams::default() };
        let p = match style {
            LogStyle::Log10 | LogStyle::AntiLog10 => plain(10.0),
            LogStyle::Log2 | LogStyle::AntiLog2 => plain(2.0),
            _ => *params,
        };
        let inverse = matches!(
            style,
            LogStyle::AntiLog10 | LogStyle::AntiLog2 | LogStyle::LogToLin | LogStyle::CameraLogToLin
        );
        let log_slope = p.log_slope / p.base.log2();
        let line = p.lin_break.filter(|_| style.has_break()).map(|lin_break| {
            let inner = p.lin_slope * lin_break + p.lin_offset;
            let log_break = log_slope * inner.log2() + p.log_offset;
            let derivative = p.log_slope * p.lin_slope / (inner * p.base.ln());
            let slope = p.linear_slope.unwrap_or(derivative);
            let offset = log_break - slope * lin_break;
            match inverse {
                true => [log_break, 1.0 / slope, -offset / slope],
                false => [lin_break, slope, offset],
            }
        });
        Self {
            inverse,
            log_slope: T::of(if inverse { 1.0 / log_slope } else { log_slope }),
            log_offset: T::of(p.log_offset),
            lin_slope: T::of(if inverse { 1.0 / p.lin_slope } else { p.lin_slope }),
            lin_offset: T::of(p.lin_offset),
            line: line.map(|line| line.map(T::of)),
        }
    }

    fn apply(&self, x: T) -> T {
        if let Some([end, slope, offset]) = self.line
            && x <= end
        {
            return slope * x + offset;
        }
        if self.inverse {
            (((x - self.log_offset) * self.log_slope).exp_2() - self.lin_offset) * self.lin_slope
        } else {
            // The logarithm itself holds its argument above 1.175494e-38, as the specification asks.
            self.log_slope * (self.lin_slope * x + self.lin_offset).log_2() + self.log_offset
        }
    }
}

/// A power, plain or with a line near 0. CLF 3.0, Exponent.
#[derive(Clone, Copy, Debug)]
pub(super) struct PowerCurve<T> {
    exponent: T,
    inverse: T,
    offset: T,
    /// `1 / (1 + offset)`.
    share: T,
    slope: T,
    /// Light where the line ends, and what it is there.
    ends: [T; 2],
}

impl<T: Real> PowerCurve<T> {
    fn plain(exponent: f64) -> Self {
        Self::made(exponent, 0.0, 0.0, [0.0; 2])
    }

    fn made(exponent: f64, offset: f64, slope: f64, ends: [f64; 2]) -> Self {
        Self {
            exponent: T::of(exponent),
            inverse: T::of(1.0 / exponent),
            offset: T::of(offset),
            share: T::of(1.0 / (1.0 + offset)),
            slope: T::of(slope),
            ends: ends.map(T::of),
        }
    }

    /// The `monCurve`. The specification's formulas divide by 0 where the exponent is 1 or the offset 0; what
    /// stands for them is what they tend to there: a line of slope 1/(1 + offset), and a power that begins at 0.
    fn with_toe(g: f64, k: f64) -> Self {
        if k == 0.0 {
            return Self::made(g, 0.0, if g == 1.0 { 1.0 } else { 0.0 }, [0.0; 2]);
        }
        if g == 1.0 {
            return Self::made(g, k, 1.0 / (1.0 + k), [f32::MAX.into(); 2]);
        }
        let end = k / (g - 1.0);
        let at_end = (k * g / ((g - 1.0) * (1.0 + k))).powf(g);
        Self::made(g, k, at_end / end, [end, at_end])
    }

    fn apply(&self, style: ExponentStyle, x: T) -> T {
        use ExponentStyle::*;
        let zero = T::of(0.0);
        let mirrored = |f: &dyn Fn(T) -> T| if x >= zero { f(x) } else { -f(-x) };
        match style {
            BasicFwd | BasicRev => x.power(self.exponent),
            BasicMirrorFwd | BasicMirrorRev => mirrored(&|x| x.power(self.exponent)),
            BasicPassThruFwd | BasicPassThruRev if x < zero => x,
            BasicPassThruFwd | BasicPassThruRev => x.power(self.exponent),
            MonCurveFwd => self.forward(x),
            MonCurveRev => self.reverse(x),
            MonCurveMirrorFwd => mirrored(&|x| self.forward(x)),
            MonCurveMirrorRev => mirrored(&|x| self.reverse(x)),
        }
    }

    fn forward(&self, x: T) -> T {
        if x >= self.ends[0] { ((x + self.offset) * self.share).power(self.exponent) } else { x * self.slope }
    }

    fn reverse(&self, y: T) -> T {
        if y >= self.ends[1] {
            y.power(self.inverse) / self.share - self.offset
        } else if self.slope > T::of(0.0) {
            y / self.slope
        } else {
            T::of(0.0)
        }
    }
}
