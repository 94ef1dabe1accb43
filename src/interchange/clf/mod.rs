//! The Common LUT Format: a list of processes, from matrices to 3D LUTs, that a colour goes through in order.
//!
//! SMPTE ST 2136-1, and the Academy's S-2014-006 in versions 2.0 and 3.0. Read here from the Academy's CLF
//! specification 3.0 and its implementation guide; ST 2136-1 differs in its namespace, in `Id` as an element
//! and in that the root's `id` and `compCLFversion` may be missing (from its public committee draft's samples).
//!
//! - [`Clf`] is the file: [`Clf::read`], [`Clf::write`]. Its numbers are the file's, scaled as its bit depths say.
//! - [`Process`] is what it does to a colour, 0…1 in and out: [`Clf::process`], [`Process::apply`].
//! - [`Process::bake`] makes a shaper and a 3D LUT of it, and says how far they are from it; [`Process::fit`] chooses
//!   tables for a stage.

mod bake;
mod cdl;
mod process;
mod read;
mod write;

pub use bake::{Baked, Domain, Fitted, Residual, Shaping};
pub use process::Process;

use super::Error;
use crate::colour::{HALVES, Interpolation};

/// Entries of a LUT1D that are accepted; the specification asks for 65536 at most, the Academy's own test
/// files have one of twice as many.
pub const SIZES_1D: std::ops::RangeInclusive<usize> = 2..=131_072;

/// Entries along an axis of a LUT3D that are accepted; the specification advises against more than 128.
pub const SIZES_3D: std::ops::RangeInclusive<usize> = 2..=129;

/// Numbers in all the arrays of one file that are accepted: three of the largest LUT3D.
pub const MOST_NUMBERS: usize = 3 * 129 * 129 * 129 * 3;

/// A CLF file.
#[derive(Clone, Debug, PartialEq)]
pub struct Clf {
    /// Which document the file follows.
    pub version: Version,
    /// The root's `id`; ST 2136-1 files may have none.
    pub id: String,
    /// ST 2136-1's `Id`, a `urn:uuid:`.
    pub urn: Option<String>,
    /// A short name.
    pub name: Option<String>,
    /// The `id` of the file that this one is the inverse of.
    pub inverse_of: Option<String>,
    /// Descriptions, in order.
    pub descriptions: Vec<String>,
    /// What the input is.
    pub input: Option<String>,
    /// What the output is.
    pub output: Option<String>,
    /// What is inside `Info`, as it stands in the file.
    pub info: Option<String>,
    /// Namespaces with a prefix that the root declares; `Info` may use them.
    pub namespaces: Vec<(String, String)>,
    /// What was read over: unknown attributes, each with its line. At most 100.
    pub warnings: Vec<(usize, String)>,
    nodes: Vec<Node>,
}

/// The document that a file follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Version {
    /// Academy S-2014-006, 2.0: no Log, no Exponent.
    V2,
    /// Academy S-2014-006, 3.0.
    V3,
    /// SMPTE ST 2136-1.
    St2136,
}

impl Version {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::V2, Self::V3, Self::St2136];

    /// The namespace of its files.
    pub fn namespace(self) -> &'static str {
        match self {
            Self::V2 => "urn:NATAS:AMPAS:LUT:v2.0",
            Self::V3 => "urn:AMPAS:CLF:v3.0",
            Self::St2136 => "http://www.smpte-ra.org/ns/2136-1/2024",
        }
    }
}

/// How a file scales what goes in or out: it never rounds and never clamps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// 8-bit integers.
    I8,
    /// 10-bit integers.
    I10,
    /// 12-bit integers.
    I12,
    /// 16-bit integers.
    I16,
    /// Half floats.
    F16,
    /// Single floats.
    F32,
}

impl Depth {
    /// All of them, with their names.
    pub const ALL: [(Self, &str); 6] = [
        (Self::I8, "8i"),
        (Self::I10, "10i"),
        (Self::I12, "12i"),
        (Self::I16, "16i"),
        (Self::F16, "16f"),
        (Self::F32, "32f"),
    ];

    /// What stands for 1.0: 2ⁿ − 1, or 1 for floats.
    pub fn scale(self) -> f64 {
        match self {
            Self::I8 => 255.0,
            Self::I10 => 1023.0,
            Self::I12 => 4095.0,
            Self::I16 => 65535.0,
            Self::F16 | Self::F32 => 1.0,
        }
    }

    fn name(self) -> &'static str {
        named(&Self::ALL, self)
    }
}

fn named<V: Copy + PartialEq>(all: &[(V, &'static str)], value: V) -> &'static str {
    all.iter().find(|(v, _)| *v == value).map_or("", |(_, name)| name)
}

/// One process of the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// An id of its own.
    pub id: Option<String>,
    /// A short name.
    pub name: Option<String>,
    /// Descriptions, in order.
    pub descriptions: Vec<String>,
    input: Depth,
    output: Depth,
    operation: Operation,
}

impl Node {
    /// A node, if the operation is a possible one.
    pub fn new(input: Depth, output: Depth, operation: Operation) -> Result<Self, Error> {
        operation.check(input, output)?;
        Ok(Self { id: None, name: None, descriptions: vec![], input, output, operation })
    }

    /// How its parameters scale the input.
    pub fn input(&self) -> Depth {
        self.input
    }

    /// How its parameters scale the output.
    pub fn output(&self) -> Depth {
        self.output
    }

    /// What it does.
    pub fn operation(&self) -> &Operation {
        &self.operation
    }
}

/// What a node does, in the file's numbers.
#[derive(Clone, Debug, PartialEq)]
pub enum Operation {
    /// Rows of a matrix and what is added to each: output scale over input scale, and output scale.
    Matrix([[f64; 4]; 3]),
    /// A 1D LUT.
    Lut1(Lut1d),
    /// A 3D LUT.
    Lut3(Lut3d),
    /// Scale, offset and clamp.
    Range {
        /// Lowest input (input scale) and what it becomes (output scale).
        min: Option<[f64; 2]>,
        /// Highest input and what it becomes.
        max: Option<[f64; 2]>,
        /// Whether the output is held between them.
        clamp: bool,
    },
    /// Logarithm or its inverse, on 0…1 whatever the depths.
    Log {
        /// Which.
        style: LogStyle,
        /// For R, G and B.
        params: [LogParams; 3],
    },
    /// Power, on 0…1 whatever the depths.
    Exponent {
        /// Which.
        style: ExponentStyle,
        /// For R, G and B.
        params: [ExponentParams; 3],
    },
    /// The ASC's Color Decision List, on 0…1 whatever the depths.
    Cdl {
        /// Which way, and whether it clamps.
        style: CdlStyle,
        /// The numbers.
        params: CdlParams,
    },
}

/// A 1D LUT in a file's numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut1d {
    /// Entries, the output's scale; 1 or 3 numbers for each. Where `half_domain` is set, those of infinities
    /// and of what is no number may be anything.
    pub values: Vec<f32>,
    /// 1 (the same for R, G and B) or 3.
    pub channels: usize,
    /// One entry for each of the 65536 halves.
    pub half_domain: bool,
    /// Written as the bits of halves.
    pub raw_halfs: bool,
}

/// A 3D LUT in a file's numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut3d {
    /// Entries along an axis.
    pub size: usize,
    /// Entries, the output's scale, **blue fastest** as in the file.
    pub values: Vec<[f32; 3]>,
    /// Between entries; a file that does not say means trilinear.
    pub interpolation: Interpolation,
}

/// Styles of a Log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names are the standard's")]
pub enum LogStyle {
    Log10,
    AntiLog10,
    Log2,
    AntiLog2,
    LinToLog,
    LogToLin,
    CameraLinToLog,
    CameraLogToLin,
}

impl LogStyle {
    /// All of them, with their names.
    pub const ALL: [(Self, &str); 8] = [
        (Self::Log10, "log10"),
        (Self::AntiLog10, "antiLog10"),
        (Self::Log2, "log2"),
        (Self::AntiLog2, "antiLog2"),
        (Self::LinToLog, "linToLog"),
        (Self::LogToLin, "logToLin"),
        (Self::CameraLinToLog, "cameraLinToLog"),
        (Self::CameraLogToLin, "cameraLogToLin"),
    ];

    fn has_params(self) -> bool {
        !matches!(self, Self::Log10 | Self::AntiLog10 | Self::Log2 | Self::AntiLog2)
    }

    fn has_break(self) -> bool {
        matches!(self, Self::CameraLinToLog | Self::CameraLogToLin)
    }
}

/// Parameters of a Log; [`LogStyle::Log10`], `Log2` and their inverses have none and leave these aside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogParams {
    /// The logarithm's base, the same for all channels.
    pub base: f64,
    /// Slope on the logarithm's side.
    pub log_slope: f64,
    /// Offset on the logarithm's side.
    pub log_offset: f64,
    /// Slope on the linear side.
    pub lin_slope: f64,
    /// Offset on the linear side.
    pub lin_offset: f64,
    /// Light below which a camera style goes on in a line.
    pub lin_break: Option<f64>,
    /// Slope of that line; if there is none, the logarithm's at the break.
    pub linear_slope: Option<f64>,
}

impl Default for LogParams {
    fn default() -> Self {
        Self {
            base: 2.0,
            log_slope: 1.0,
            log_offset: 0.0,
            lin_slope: 1.0,
            lin_offset: 0.0,
            lin_break: None,
            linear_slope: None,
        }
    }
}

/// Styles of an Exponent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names are the standard's")]
pub enum ExponentStyle {
    BasicFwd,
    BasicRev,
    BasicMirrorFwd,
    BasicMirrorRev,
    BasicPassThruFwd,
    BasicPassThruRev,
    MonCurveFwd,
    MonCurveRev,
    MonCurveMirrorFwd,
    MonCurveMirrorRev,
}

impl ExponentStyle {
    /// All of them, with their names.
    pub const ALL: [(Self, &str); 10] = [
        (Self::BasicFwd, "basicFwd"),
        (Self::BasicRev, "basicRev"),
        (Self::BasicMirrorFwd, "basicMirrorFwd"),
        (Self::BasicMirrorRev, "basicMirrorRev"),
        (Self::BasicPassThruFwd, "basicPassThruFwd"),
        (Self::BasicPassThruRev, "basicPassThruRev"),
        (Self::MonCurveFwd, "monCurveFwd"),
        (Self::MonCurveRev, "monCurveRev"),
        (Self::MonCurveMirrorFwd, "monCurveMirrorFwd"),
        (Self::MonCurveMirrorRev, "monCurveMirrorRev"),
    ];

    fn has_offset(self) -> bool {
        use ExponentStyle::*;
        matches!(self, MonCurveFwd | MonCurveRev | MonCurveMirrorFwd | MonCurveMirrorRev)
    }
}

/// Parameters of an Exponent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExponentParams {
    /// The power: more than 0, and 1 to 10 for the `monCurve` styles.
    pub exponent: f64,
    /// 0 to 0.9, for the `monCurve` styles; 0 for the others.
    pub offset: f64,
}

impl Default for ExponentParams {
    fn default() -> Self {
        Self { exponent: 1.0, offset: 0.0 }
    }
}

/// Styles of an ASC_CDL.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "the names are the standard's")]
pub enum CdlStyle {
    Fwd,
    Rev,
    FwdNoClamp,
    RevNoClamp,
}

impl CdlStyle {
    /// All of them, with their names.
    pub const ALL: [(Self, &str); 4] = [
        (Self::Fwd, "Fwd"),
        (Self::Rev, "Rev"),
        (Self::FwdNoClamp, "FwdNoClamp"),
        (Self::RevNoClamp, "RevNoClamp"),
    ];

    fn is_reverse(self) -> bool {
        matches!(self, Self::Rev | Self::RevNoClamp)
    }
}

/// The ASC CDL's numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CdlParams {
    /// 0 or more; more than 0 to be reversed.
    pub slope: [f64; 3],
    /// Any.
    pub offset: [f64; 3],
    /// More than 0.
    pub power: [f64; 3],
    /// 0 or more; more than 0 to be reversed.
    pub saturation: f64,
}

impl Default for CdlParams {
    fn default() -> Self {
        Self { slope: [1.0; 3], offset: [0.0; 3], power: [1.0; 3], saturation: 1.0 }
    }
}

/// Whether an entry of a table over the halves stands for an infinity or for what is no number.
fn is_odd_half(entry: usize) -> bool {
    entry & 0x7c00 == 0x7c00
}

/// Whether f32 can hold a number.
fn fits(x: f64) -> bool {
    x.abs() <= f32::MAX.into()
}

impl Operation {
    /// The name of its element.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Matrix(_) => "Matrix",
            Self::Lut1(_) => "LUT1D",
            Self::Lut3(_) => "LUT3D",
            Self::Range { .. } => "Range",
            Self::Log { .. } => "Log",
            Self::Exponent { .. } => "Exponent",
            Self::Cdl { .. } => "ASC_CDL",
        }
    }

    fn check(&self, input: Depth, output: Depth) -> Result<(), Error> {
        let finite = |what: &str, all: &[f64]| match all.iter().find(|x| !fits(**x)) {
            Some(x) => Err(Error::invalid(what, x, "finite numbers of 32 bits")),
            None => Ok(()),
        };
        match self {
            Self::Matrix(rows) => finite("Matrix", rows.as_flattened()),
            Self::Lut1(lut) => lut.check(),
            Self::Lut3(lut) => lut.check(),
            Self::Range { min, max, clamp } => {
                finite("Range", [*min, *max].into_iter().flatten().collect::<Vec<_>>().as_flattened())?;
                match (min, max) {
                    (Some(low), Some(high)) if high[0] <= low[0] => Err(Error::invalid(
                        "maxInValue",
                        high[0],
                        format!("more than minInValue, {}", low[0]),
                    )),
                    (Some(low), Some(high)) if high[1] < low[1] => Err(Error::invalid(
                        "maxOutValue",
                        high[1],
                        format!("minOutValue, {}, or more", low[1]),
                    )),
                    (Some(_), Some(_)) => Ok(()),
                    (None, None) => Err(Error::invalid("Range", "no values", "a minimum, a maximum or both")),
                    _ if !clamp => {
                        Err(Error::invalid("noClamp Range", "one end", "both a minimum and a maximum"))
                    }
                    (Some(end), None) | (None, Some(end)) => {
                        let same = end[0] / input.scale() * output.scale();
                        let near = (end[1] - same).abs() <= 1e-5 * same.abs().max(output.scale());
                        let what = "output end of a one-sided Range";
                        if near {
                            Ok(())
                        } else {
                            Err(Error::invalid(
                                what,
                                end[1],
                                format!("{same}, its input end in the output's depth"),
                            ))
                        }
                    }
                }
            }
            Self::Log { style, params } if style.has_params() => {
                params.iter().try_for_each(|p| p.check(*style))?;
                match params.iter().find(|p| p.base != params[0].base) {
                    Some(p) => Err(Error::invalid("base", p.base, "the same for all channels")),
                    None => Ok(()),
                }
            }
            Self::Log { .. } => Ok(()),
            Self::Exponent { style, params } => params.iter().try_for_each(|p| p.check(*style)),
            Self::Cdl { style, params: p } => {
                finite("ASC_CDL", &[p.slope, p.offset, p.power, [p.saturation; 3]].concat())?;
                let reverse = style.is_reverse();
                let positive = |what: &str, all: &[f64], reverse: bool| {
                    let (bad, accepted) = match reverse {
                        false => (all.iter().find(|x| **x < 0.0), "0 or more"),
                        true => (all.iter().find(|x| **x <= 0.0), "more than 0"),
                    };
                    bad.map_or(Ok(()), |x| Err(Error::invalid(what, x, accepted)))
                };
                positive("Slope", &p.slope, reverse)?;
                positive("Power", &p.power, true)?;
                positive("Saturation", &[p.saturation], reverse)
            }
        }
    }
}

impl Lut1d {
    fn check(&self) -> Result<(), Error> {
        if !matches!(self.channels, 1 | 3) {
            return Err(Error::invalid("channels of LUT1D", self.channels, "1 or 3"));
        }
        let entries = self.values.len() / self.channels;
        if entries * self.channels != self.values.len() || !SIZES_1D.contains(&entries) {
            let accepted = format!("{} to {}", SIZES_1D.start(), SIZES_1D.end());
            return Err(Error::invalid("entries of LUT1D", entries, accepted));
        }
        if self.half_domain && entries != HALVES {
            return Err(Error::invalid("entries of a halfDomain LUT1D", entries, HALVES.to_string()));
        }
        let odd = |i: usize| self.half_domain && is_odd_half(i / self.channels);
        let bad = |(i, x): &(usize, &f32)| !x.is_finite() && !odd(*i);
        match self.values.iter().enumerate().find(bad) {
            Some((_, x)) => Err(Error::invalid("entry of LUT1D", x, "finite numbers of 32 bits")),
            None => Ok(()),
        }
    }
}

impl Lut3d {
    fn check(&self) -> Result<(), Error> {
        if !SIZES_3D.contains(&self.size) {
            let accepted = format!("{} to {}", SIZES_3D.start(), SIZES_3D.end());
            return Err(Error::invalid("entries along an axis of LUT3D", self.size, accepted));
        }
        let wanted = self.size.pow(3);
        if self.values.len() != wanted {
            return Err(Error::invalid("entries of LUT3D", self.values.len(), wanted.to_string()));
        }
        match self.values.as_flattened().iter().find(|x| !x.is_finite()) {
            Some(x) => Err(Error::invalid("entry of LUT3D", x, "finite numbers of 32 bits")),
            None => Ok(()),
        }
    }
}

impl LogParams {
    fn check(&self, style: LogStyle) -> Result<(), Error> {
        let all = [self.base, self.log_slope, self.log_offset, self.lin_slope, self.lin_offset];
        let more = [self.lin_break.unwrap_or(0.0), self.linear_slope.unwrap_or(1.0)];
        if let Some(x) = all.iter().chain(&more).find(|x| !fits(**x)) {
            return Err(Error::invalid("LogParams", x, "finite numbers of 32 bits"));
        }
        if self.base <= 0.0 || self.base == 1.0 {
            return Err(Error::invalid("base", self.base, "more than 0 and not 1"));
        }
        for (what, x) in [("logSideSlope", all[1]), ("linSideSlope", all[3]), ("linearSlope", more[1])] {
            if x == 0.0 {
                return Err(Error::invalid(what, x, "anything but 0"));
            }
        }
        match (style.has_break(), self.lin_break) {
            (true, None) => {
                Err(Error::invalid("linSideBreak", "missing", "a number, which camera styles need"))
            }
            (true, Some(x)) => match self.lin_slope * x + self.lin_offset {
                inner if inner > 0.0 => Ok(()),
                inner => {
                    Err(Error::invalid("linSideSlope × linSideBreak + linSideOffset", inner, "more than 0"))
                }
            },
            (false, None) if self.linear_slope.is_none() => Ok(()),
            (false, _) => Err(Error::invalid(
                "linSideBreak or linearSlope",
                "given",
                "these only for cameraLinToLog and cameraLogToLin",
            )),
        }
    }
}

impl ExponentParams {
    fn check(&self, style: ExponentStyle) -> Result<(), Error> {
        if style.has_offset() {
            if !(1.0..=10.0).contains(&self.exponent) {
                return Err(Error::invalid("exponent of a monCurve", self.exponent, "1 to 10"));
            }
            if !(0.0..=0.9).contains(&self.offset) {
                return Err(Error::invalid("offset", self.offset, "0 to 0.9"));
            }
        } else {
            if self.exponent <= 0.0 || !fits(self.exponent) {
                return Err(Error::invalid("exponent", self.exponent, "more than 0"));
            }
            if self.offset != 0.0 {
                return Err(Error::invalid("offset", self.offset, "none but for the monCurve styles"));
            }
        }
        Ok(())
    }
}

impl Clf {
    /// A list without processes yet, as ST 2136-1 has it and so that readers of version 3.0 take it too.
    pub fn new(id: impl Into<String>) -> Self {
        Self {
            version: Version::St2136,
            id: id.into(),
            urn: None,
            name: None,
            inverse_of: None,
            descriptions: vec![],
            input: None,
            output: None,
            info: None,
            namespaces: vec![],
            warnings: vec![],
            nodes: vec![],
        }
    }

    /// The processes, in order.
    pub fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Adds a process at the end, if its input has the depth of the last one's output.
    pub fn push(&mut self, node: Node) -> Result<(), Error> {
        if let Some(last) = self.nodes.last()
            && last.output != node.input
        {
            let accepted = format!("{}, the outBitDepth before it", last.output.name());
            return Err(Error::invalid("inBitDepth", node.input.name(), accepted));
        }
        let log = matches!(node.operation, Operation::Log { .. } | Operation::Exponent { .. });
        if self.version == Version::V2 && log {
            let accepted = "Matrix, LUT1D, LUT3D, Range and ASC_CDL, or compCLFversion 3.0";
            return Err(Error::invalid("node of a version 2.0 file", node.operation.name(), accepted));
        }
        self.nodes.push(node);
        Ok(())
    }
}
