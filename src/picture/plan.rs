//! What of a recipe a shader is compiled for, and where its numbers go.

use super::{Format, Recipe, Sample, Tail, Unpack};
use crate::colour::{CurveValues, Display, Encoding, Matrix, OutputTransform, ToneScale};
use crate::look::Kind;

/// What a pass writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Target {
    /// Signal as it is, single floats (`rgba32float`).
    Float,
    /// Integer codes of 8…16 bits (`rgba16uint`).
    Codes,
    /// Eight-bit signal for a window (`rgba8unorm`).
    Screen,
}

/// The shape of a recipe: what a pipeline is compiled for. Two recipes that differ only in numbers,
/// encodings, displays or pixel formats have the same structure.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Structure {
    /// Does it pass through balance and ACEScct?
    pub graded: bool,
    /// The chain's stages in order; those that are off are there with strength 0.
    pub stages: Vec<Kind>,
    /// The output transform, or none for an encoding.
    pub transform: Option<OutputTransform>,
    /// What is written.
    pub target: Target,
}

impl Structure {
    /// The structure of a recipe that writes to `target`.
    pub fn of(recipe: &Recipe, target: Target) -> Self {
        Self {
            graded: recipe.balance.is_some(),
            stages: recipe.stages.iter().map(|s| s.kind).collect(),
            transform: match recipe.tail {
                Tail::Display { transform, .. } => Some(transform),
                Tail::Encoding(_) => None,
            },
            target,
        }
    }
}

/// The storage buffer's contents: a head that is the same for every structure, then the stages.
///
/// `Head` in `shaders/pass/head.wgsl` names the same numbers in the same order; a test compares the two.
pub struct Layout;

impl Layout {
    /// Numbers in the head.
    pub const HEAD: usize = 18 + 12 + 9 + 4 + 5 + 9 + 12 + 3;

    /// Writes a recipe's numbers for a frame's format. `depth` is the bits of integer targets (0 for
    /// [`Target::Float`]); `dither` adds triangular noise before they are rounded.
    pub fn write(recipe: &Recipe, format: &Format, depth: u32, dither: bool) -> Vec<f32> {
        let mut out = Vec::with_capacity(Self::HEAD + 64);
        let u = Unpack::<f32>::of(format);
        out.push(match format.sample {
            Sample::U8 | Sample::U16 => 0.0,
            Sample::F16 => 1.0,
            Sample::F32 => 2.0,
        });
        out.extend(u.chroma_scale);
        out.extend(u.chroma_start);
        out.extend(u.matrix);
        out.extend(u.offset);
        // The frame number keeps its bits.
        out.push(f32::from_bits(recipe.frame));

        push_curve(&mut out, recipe.decode.encoding.curve.values());
        out.extend(recipe.decode.encoding.to_acescg().rows::<f32>());

        let balance = recipe.balance.unwrap_or_default().prepared::<f32>();
        out.push(balance.gain);
        out.extend(balance.offset);

        let (tone, matrix, curve) = tail_values::<f32>(&recipe.tail);
        out.extend([tone.m_2, tone.s_2, tone.g, tone.t_1, tone.peak]);
        out.extend(matrix.rows::<f32>());
        push_curve(&mut out, curve);

        out.push(if depth == 0 { 1.0 } else { ((1u32 << depth) - 1) as f32 });
        out.push(if dither { 1.0 } else { 0.0 });
        out.push(0.0);
        debug_assert_eq!(out.len(), Self::HEAD);

        for stage in &recipe.stages {
            out.push(stage.strength as f32);
            out.extend(stage.values.iter().map(|&v| v as f32));
        }
        out
    }
}

fn push_curve(out: &mut Vec<f32>, curve: CurveValues<f32>) {
    out.push(curve.family as u32 as f32);
    out.extend(curve.k);
}

/// The tone scale (used by [`OutputTransform::Plain`] only), matrix and curve of a tail.
pub(super) fn tail_values<T: crate::colour::Real>(tail: &Tail) -> (ToneScale<T>, Matrix, CurveValues<T>) {
    let of_display = |d: &Display| (ToneScale::for_peak(d.peak), d.from_acescg(), d.curve.values());
    let of_encoding = |e: &Encoding| (ToneScale::for_peak(100.0), e.from_acescg(), e.curve.values());
    match tail {
        Tail::Display { display, .. } => of_display(display),
        Tail::Encoding(encoding) => of_encoding(encoding),
    }
}
