//! What scopes and marks cost beside the picture that they are of, measured in one run.

use std::sync::Arc;

use super::bench::{BenchRow, Timer, row, time_rounds};
use super::marks::{MarkCounts, MarkInputs, MarkView};
use super::run::{Input, Output, Upload};
use super::scope::{ScopeView, Traces};
use super::{Gpu, GpuError, Pipeline};
use crate::colour::{DISPLAYS, encoding};
use crate::picture::{Recipe, Structure, Tail, Target};
use crate::scope::patterns::Marked;
use crate::scope::stops::Ends;

/// The name of the row of a picture without anything else: scopes hidden, nothing marked.
pub const BARE_ROW: &str = "a picture, scopes hidden";
/// The names of rows of the same picture with something else.
pub const MORE_ROWS: [&str; 2] = ["the same with scopes", "the same with false colour and marks"];

/// What is timed besides the picture.
enum More<'a> {
    Nothing,
    Scopes(&'a Traces),
    Marks { light: &'a Output, to: &'a Output, counts: &'a MarkCounts },
}

/// Rows of a picture alone, with scopes, and with false colours and all marks. The pictures that marks read, of the camera's
/// signal and light and of the client's signal in floats, are made within the time.
pub(super) fn rows(
    gpu: &Gpu,
    timer: &Timer,
    recipe: &Recipe,
    upload: &Upload,
    size: (u32, u32),
    rounds: usize,
) -> Result<Vec<BenchRow>, GpuError> {
    let output = |target| gpu.output(size.0, size.1, target);
    let (screen, marked) = (output(Target::Screen)?, output(Target::Screen)?);
    let (camera, light, signal) = (output(Target::Float)?, output(Target::Float)?, output(Target::Float)?);
    let graded = output(Target::Half)?;
    let pass = |recipe: Recipe, target| -> Result<(Recipe, Arc<Pipeline>), GpuError> {
        let pipeline = gpu.pipelines.wait(&Structure::of(&recipe, target))?;
        Ok((recipe, pipeline))
    };
    let acescg = encoding("acescg").expect("in the table");
    let whole = pass(recipe.clone(), Target::Screen)?;
    let of_camera = pass(Recipe::conversion(acescg, Tail::Light), Target::Float)?;
    let of_light = pass(Recipe { stages: Vec::new(), tail: Tail::Light, ..recipe.clone() }, Target::Float)?;
    let of_graded = pass(recipe.without_tail(), Target::Half)?;
    let of_signal = pass(recipe.tail_only(), Target::Float)?;
    let traces = Traces::new(gpu, size.0);
    let (scopes, view) = (gpu.scopes()?, ScopeView::default());
    let marks = gpu.marks()?;
    let counts = MarkCounts::new(gpu);
    let mark = MarkView {
        marked: Marked { false_colour: true, clipping: true, gamut: true },
        ends: Ends::of(recipe.decode.encoding, Some(876), 1.0),
        client: &DISPLAYS[0],
        desk: &DISPLAYS[0],
        calibration: None,
        depth: 8,
    };
    let time = |more: More<'_>| {
        time_rounds(rounds, || {
            timer.time(gpu, &|encoder, stamps| {
                let set = stamps.query_set;
                let stamp = |first, last| {
                    Some(wgpu::ComputePassTimestampWrites {
                        query_set: set,
                        beginning_of_pass_write_index: first,
                        end_of_pass_write_index: last,
                    })
                };
                let alone = matches!(more, More::Nothing);
                let (recipe, pipeline) = &whole;
                let frame = Input::Frame(upload);
                let first = stamp(Some(0), alone.then_some(1));
                gpu.encode(encoder, pipeline, frame, recipe, &screen, 8, true, first)?;
                let run = |encoder: &mut wgpu::CommandEncoder,
                           (recipe, pipeline): &(Recipe, Arc<Pipeline>),
                           input: Input<'_>,
                           to: &Output| {
                    gpu.encode(encoder, pipeline, input, recipe, to, 0, false, None)
                };
                match &more {
                    More::Nothing => {}
                    More::Scopes(traces) => {
                        gpu.encode_scopes(encoder, scopes, &screen, 8, &view, traces, stamp(None, Some(1)));
                    }
                    More::Marks { light, to, counts } => {
                        run(encoder, &of_camera, frame, &camera)?;
                        run(encoder, &of_light, frame, light)?;
                        run(encoder, &of_graded, frame, &graded)?;
                        run(encoder, &of_signal, Input::Picture(&graded), &signal)?;
                        let inputs = MarkInputs {
                            base: &screen,
                            camera: &camera,
                            light,
                            signal: &signal,
                            graded: &graded,
                        };
                        gpu.encode_marks(encoder, marks, &inputs, &mark, to, counts, stamp(None, Some(1)));
                    }
                }
                Ok(())
            })
        })
    };
    let mut rows = vec![row(BARE_ROW, size, time(More::Nothing)?)];
    rows.push(row(MORE_ROWS[0], size, time(More::Scopes(&traces))?));
    rows.push(row(MORE_ROWS[1], size, time(More::Marks { light: &light, to: &marked, counts: &counts })?));
    Ok(rows)
}
