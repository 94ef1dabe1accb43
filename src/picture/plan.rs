//! What of a recipe a shader is compiled for, and where its numbers go.

use super::balance::BalanceValues;
use super::framing::FramingValues;
use super::{Format, Recipe, Sample, StageValues, Tail, Unpack};
use crate::colour::{Curve, CurveValues, Display, Encoding, Matrix, OutputTransform, ToneScale};
use crate::look::Kind;

/// What a pass reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Source {
    /// A frame's planes.
    Frame,
    /// The footage's signal in floats, as large as the raster.
    Signal,
    /// Scene-linear ACEScg in floats, as large as the raster: what an earlier pass wrote.
    Light,
}

/// What a pass ends in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ending {
    /// Scene-linear ACEScg, for passes to come.
    Light,
    /// An encoding's values.
    Encoding,
    /// A display's signal.
    Display(OutputTransform),
}

/// What a pass writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Target {
    /// Values as they are, single floats (`rgba32float`).
    Float,
    /// Values rounded to half floats (`rgba16float`), held within ±65504.
    Half,
    /// Integer codes of 8…16 bits (`rgba16uint`).
    Codes,
    /// Eight-bit signal for a window (`rgba8unorm`).
    Screen,
    /// Signal of 8 or 10 bits for a window, where one has more than eight: codes over the largest code, as the
    /// half floats nearest to them, which lie within a quarter of a 10-bit code (`rgba16float`).
    DeepScreen,
}

/// The shape of a recipe: what a pipeline is compiled for. Two recipes that differ only in numbers,
/// encodings, displays or pixel formats have the same structure.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Structure {
    /// What is read.
    pub source: Source,
    /// The output transform that display-referred footage is taken back through.
    pub undone: Option<OutputTransform>,
    /// Does it pass through balance?
    pub graded: bool,
    /// The chain's stages in order; those that are off are there with strength 0.
    pub stages: Vec<Kind>,
    /// What it ends in.
    pub ending: Ending,
    /// Is there a table on the signal?
    pub calibrated: bool,
    /// What is written.
    pub target: Target,
}

impl Structure {
    /// The structure of a recipe that writes to `target`.
    pub fn of(recipe: &Recipe, target: Target) -> Self {
        Self {
            source: recipe.source,
            undone: recipe.undone().map(|(transform, _)| transform),
            graded: recipe.balance.is_some(),
            stages: recipe.stages.iter().map(|s| s.kind).collect(),
            ending: match (&recipe.tail, recipe.tail.transform()) {
                (_, Some(transform)) => Ending::Display(transform),
                (Tail::Light, None) => Ending::Light,
                (_, None) => Ending::Encoding,
            },
            calibrated: recipe.tail.calibration().is_some(),
            target,
        }
    }

    /// The structures of a recipe's parts: the last writes to `last`, those before to `between`.
    pub fn of_parts(parts: &[Recipe], between: Target, last: Target) -> Vec<Self> {
        let target = |i| if i + 1 == parts.len() { last } else { between };
        parts.iter().enumerate().map(|(i, part)| Self::of(part, target(i))).collect()
    }

    /// The stage that reads its neighbours and that it begins with, if it does.
    pub fn spread(&self) -> Option<Kind> {
        self.stages.first().copied().filter(|k| k.declaration().neighbourhood.is_some())
    }

    /// Does its shader read the tables of output transforms?
    pub fn has_tables(&self) -> bool {
        let aces2 = OutputTransform::Aces2;
        self.ending == Ending::Display(aces2) || self.undone == Some(aces2)
    }
}

/// The uniform buffer's contents: a head that is the same for every structure, what it takes display-referred footage
/// back with, the ACES 2.0 output transform or the show's own table where a structure has it, the calibration's table
/// where it has that, then the stages.
///
/// `Head` in `shaders/pass/head.wgsl` names the same numbers in the same order; a test compares the sizes.
/// A uniform buffer, because software GPUs read a storage buffer lane by lane.
pub struct Layout;

impl Layout {
    /// Numbers in the head.
    pub const HEAD: usize = 20 + 20 + 12 + 12 + 32 + 8 + 8 + 12 + 12 + 12 + 4;

    /// Numbers of the show's own table.
    pub const SHOW_LUT: usize = 12 + 12 + 12 + 12 + 16 + 4;

    /// Writes a recipe's numbers for frames of a format and size, in a raster. `depth` is the bits of integer targets (0 for
    /// [`Target::Float`]); `dither` adds triangular noise before they are rounded.
    pub fn write(
        recipe: &Recipe,
        format: &Format,
        frame: (u32, u32),
        raster: (u32, u32),
        depth: u32,
        dither: bool,
    ) -> Vec<f32> {
        let mut out = Vec::with_capacity(Self::HEAD + 64);
        let u = Unpack::<f32>::of(format);
        push_matrix(&mut out, u.matrix, u.offset);
        out.extend(u.chroma_scale);
        out.extend(u.chroma_start);
        out.push(match format.sample {
            Sample::U8 | Sample::U16 => 0.0,
            Sample::F16 => 1.0,
            Sample::F32 => 2.0,
        });
        // The frame number keeps its bits.
        out.push(f32::from_bits(recipe.frame));
        align(&mut out);
        push_framing(&mut out, &recipe.placing(frame, raster));

        push_curve(&mut out, recipe.decode.encoding.curve.values());
        push_matrix(&mut out, recipe.decode.encoding.to_acescg().rows(), [0.0; 3]);

        push_balance(&mut out, &recipe.balance.unwrap_or_default().prepared());

        let trim = recipe.tail.trim().prepared::<f32>();
        out.extend(trim.luminance);
        out.extend([trim.gain, trim.saturation, trim.bend, trim.start]);
        align(&mut out);

        let (tone, matrix, curve) = tail_values::<f32>(&recipe.tail);
        push_tone(&mut out, &tone);
        push_matrix(&mut out, matrix.rows(), [0.0; 3]);
        let widening = recipe.tail.widening();
        push_matrix(&mut out, widening.unwrap_or(Matrix::IDENTITY).rows(), [0.0; 3]);
        push_curve(&mut out, curve);

        out.push(if depth == 0 { 1.0 } else { ((1u32 << depth) - 1) as f32 });
        out.push(if dither { 1.0 } else { 0.0 });
        out.push(if widening.is_some() { 1.0 } else { 0.0 });
        align(&mut out);
        debug_assert_eq!(out.len(), Self::HEAD);

        if let Some((_, display)) = recipe.undone() {
            push_tone(&mut out, &ToneScale::for_peak(display.peak));
        }
        if let Some(aces2) = recipe.undone_aces2() {
            out.extend(aces2.inverse_uniform());
        }
        if let Some(aces2) = recipe.aces2() {
            out.extend(aces2.uniform());
        }
        if let (Tail::Display { display, .. }, Some(lut)) = (&recipe.tail, recipe.tail.show_lut()) {
            let v = lut.prepared::<f32>(display);
            push_matrix(&mut out, v.to_expected, [0.0; 3]);
            push_curve(&mut out, v.expects);
            push_curve(&mut out, v.gives);
            push_matrix(&mut out, v.matrix, [0.0; 3]);
            out.extend(lut.lut.lut.numbers().map(|n| n as f32));
            out.push(if v.passes { 0.0 } else { 1.0 });
            align(&mut out);
        }
        if let Some(table) = recipe.tail.calibration() {
            out.extend(table.numbers().map(|n| n as f32));
        }

        if let Some(kernel) = recipe.spread().and_then(|s| s.kernel(raster)) {
            out.extend(kernel.rest().map(|r| r as f32));
            align(&mut out);
        }
        for stage in &recipe.stages {
            push_stage(&mut out, stage.strength, &stage.placed(raster));
        }
        out
    }

    /// Writes a stage's numbers alone: for the first pass of one that reads its neighbours.
    pub fn write_stage(stage: &StageValues) -> Vec<f32> {
        let mut out = Vec::new();
        push_stage(&mut out, stage.strength, &stage.values);
        out
    }
}

fn push_stage(out: &mut Vec<f32>, strength: f64, values: &[f64]) {
    out.push(strength as f32);
    out.extend(values.iter().map(|&v| v as f32));
    align(out);
}

/// Fills up to the 16 bytes at which the next structure begins.
fn align(out: &mut Vec<f32>) {
    out.resize(out.len().next_multiple_of(4), 0.0);
}

fn push_framing(out: &mut Vec<f32>, f: &FramingValues<f32>) {
    // Whole numbers keep their bits.
    let [x, y] = f.start;
    for numbers in [f.step, x, y, [f.size[0], f.size[1], f.first, f.stride]] {
        out.extend(numbers.map(|n| f32::from_bits(n as u32)));
    }
    out.extend([f32::from_bits(f.count as u32), f.rate]);
    align(out);
}

fn push_balance(out: &mut Vec<f32>, b: &BalanceValues<f32>) {
    push_matrix(out, b.matrix, [0.0; 3]);
    for (three, one) in [
        (b.shadow.amount, b.shadow.rate),
        (b.highlight.amount, b.highlight.rate),
        (b.cdl.slope, b.shadow.start),
        (b.cdl.offset, b.highlight.start),
        (b.cdl.power, b.cdl.saturation),
    ] {
        out.extend(three);
        out.push(one);
    }
}

fn push_tone(out: &mut Vec<f32>, tone: &ToneScale<f32>) {
    out.extend([tone.m_2, tone.s_2, tone.g, tone.t_1, 1.0 / tone.peak]);
    align(out);
}

fn push_matrix(out: &mut Vec<f32>, m: [f32; 9], add: [f32; 3]) {
    for r in 0..3 {
        out.extend([m[3 * r], m[3 * r + 1], m[3 * r + 2], add[r]]);
    }
}

fn push_curve(out: &mut Vec<f32>, curve: CurveValues<f32>) {
    out.push(curve.family as u32 as f32);
    out.extend(curve.k);
}

/// The tone scale, matrix and curve of a tail.
pub(super) fn tail_values<T: crate::colour::Real>(tail: &Tail) -> (ToneScale<T>, Matrix, CurveValues<T>) {
    let of_display = |d: &Display| (ToneScale::for_peak(d.peak), d.from_acescg(), d.curve.values());
    let of_encoding = |e: &Encoding| (ToneScale::for_peak(100.0), e.from_acescg(), e.curve.values());
    match tail {
        Tail::Display { display, .. } => of_display(display),
        Tail::Encoding(encoding) => of_encoding(encoding),
        Tail::Light => (ToneScale::for_peak(100.0), Matrix::IDENTITY, Curve::Linear.values()),
    }
}
