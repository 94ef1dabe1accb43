//! How long passes take on this GPU, beside a plain copy measured in the same run.

use super::run::{Input, Output, Upload, texture};
use super::{Gpu, GpuError};
use crate::colour::{DISPLAYS, OutputTransform, Range, YcbcrMatrix, encoding};
use crate::look::{Chain, Kind, STAGES, Stage};
use crate::picture::{
    BALANCE, Balance, BalanceField, Chroma, Format, Frame, Framing, FramingField, Model, Recipe, Sample,
    Siting, Source, Structure, Tail, Target,
};

/// One measured pass.
#[derive(Clone, Debug, serde::Serialize)]
pub struct BenchRow {
    /// What was measured.
    pub pass: String,
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Median GPU time, ms.
    pub median_ms: f64,
    /// 10th percentile, ms.
    pub p10_ms: f64,
    /// 90th percentile, ms.
    pub p90_ms: f64,
    /// Median over the plain copy's median at the same size.
    pub copies: f64,
}

pub(super) struct Timer {
    /// A software GPU's timestamps come out near 0 for passes that take tens of milliseconds (seen on
    /// lavapipe, Mesa 22.3): there the clock on the wall is read, from submission to completion.
    wall: bool,
    set: wgpu::QuerySet,
    resolve: wgpu::Buffer,
    read: wgpu::Buffer,
}

impl Timer {
    fn new(gpu: &Gpu) -> Self {
        let buffer = |usage| {
            gpu.device.create_buffer(&wgpu::BufferDescriptor {
                label: None,
                size: 16,
                usage,
                mapped_at_creation: false,
            })
        };
        Self {
            wall: is_software(gpu),
            set: gpu.device.create_query_set(&wgpu::QuerySetDescriptor {
                label: None,
                ty: wgpu::QueryType::Timestamp,
                count: 2,
            }),
            resolve: buffer(wgpu::BufferUsages::QUERY_RESOLVE | wgpu::BufferUsages::COPY_SRC),
            read: buffer(wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ),
        }
    }

    /// Runs a pass with timestamps around it; ms.
    pub(super) fn time(
        &self,
        gpu: &Gpu,
        pass: &dyn Fn(
            &mut wgpu::CommandEncoder,
            wgpu::ComputePassTimestampWrites<'_>,
        ) -> Result<(), GpuError>,
    ) -> Result<f64, GpuError> {
        let mut encoder = gpu.device.create_command_encoder(&Default::default());
        pass(
            &mut encoder,
            wgpu::ComputePassTimestampWrites {
                query_set: &self.set,
                beginning_of_pass_write_index: Some(0),
                end_of_pass_write_index: Some(1),
            },
        )?;
        encoder.resolve_query_set(&self.set, 0..2, &self.resolve, 0);
        encoder.copy_buffer_to_buffer(&self.resolve, 0, &self.read, 0, 16);
        let submitted = std::time::Instant::now();
        gpu.queue.submit([encoder.finish()]);
        gpu.wait()?;
        if self.wall {
            return Ok(submitted.elapsed().as_secs_f64() * 1e3);
        }
        self.read.map_async(wgpu::MapMode::Read, .., |_| {});
        gpu.wait()?;
        let ticks = {
            let view = self.read.get_mapped_range(..).map_err(|e| GpuError::Lost(e.to_string()))?;
            let at = |i: usize| u64::from_le_bytes(std::array::from_fn(|b| view[8 * i + b]));
            at(1).saturating_sub(at(0))
        };
        self.read.unmap();
        Ok(ticks as f64 * f64::from(gpu.queue.get_timestamp_period()) / 1e6)
    }
}

/// Is this GPU a program on the CPU? Its passes are then timed by the clock on the wall.
pub fn is_software(gpu: &Gpu) -> bool {
    gpu.adapter.get_info().device_type == wgpu::DeviceType::Cpu
}

/// A 10-bit 4:4:4 frame of some content.
fn test_frame(width: u32, height: u32) -> Frame {
    let format = Format {
        model: Model::Ycbcr(YcbcrMatrix::Bt709),
        sample: Sample::U16,
        depth: 10,
        range: Range::Narrow,
        chroma: Chroma::C444,
        siting: Siting::Left,
    };
    let planes = std::array::from_fn(|plane| {
        let bytes: Vec<u8> = (0..width * height)
            .flat_map(|i| {
                let (x, y) = (i % width, i / width);
                let code = if plane == 0 { 64 + (x * 7 + y * 3) % 877 } else { 400 + (x + 2 * y) % 224 };
                (code as u16).to_le_bytes()
            })
            .collect();
        bytes.into()
    });
    Frame::new(width, height, format, planes).expect("the planes are made to fit")
}

fn aces2() -> Tail {
    Tail::display(OutputTransform::Aces2, &DISPLAYS[0])
}

fn recipe(stages: Vec<Stage>, balance: Option<Balance>) -> Recipe {
    let tail = Tail::display(OutputTransform::Plain, &DISPLAYS[0]);
    let camera = encoding("logc4").expect("in the table");
    if let Some(balance) = balance {
        Recipe::graded(camera, balance, &Chain { look: stages, ..Chain::default() }, tail)
    } else {
        Recipe::conversion(camera, tail)
    }
}

/// What most shots get: exposure, and printer points.
fn plain_balance() -> Balance {
    Balance::default()
        .with(BalanceField::Exposure, 0.5)
        .with(BalanceField::OffsetR, 1.0)
        .with(BalanceField::OffsetG, -1.0)
        .with(BalanceField::OffsetB, 2.0)
}

/// Every part of it at work.
fn busy_balance() -> Balance {
    Balance { values: std::array::from_fn(|i| BALANCE[i].at(0.6)) }
}

/// A stage at settings that leave no branch out.
fn busy(kind: Kind) -> Stage {
    let mut stage = Stage::new(kind);
    stage.strength = 0.7;
    stage.values = stage.declaration().parameters.iter().map(|p| p.at(0.6)).collect();
    stage
}

pub(super) fn row(pass: &str, size: (u32, u32), mut times: Vec<f64>) -> BenchRow {
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times[((times.len() - 1) as f64 * share).round() as usize];
    BenchRow {
        pass: pass.into(),
        width: size.0,
        height: size.1,
        median_ms: at(0.5),
        p10_ms: at(0.1),
        p90_ms: at(0.9),
        copies: 1.0,
    }
}

/// From the footage's signal in half floats to a display's signal in half floats, beside the copy that moves as much: what
/// the arithmetic costs, without unpacking, framing and dither.
fn half_rows(six: &Recipe) -> Vec<(String, Recipe)> {
    let whole = Recipe { source: Source::Signal, ..six.clone() };
    let path = Recipe { balance: None, stages: Vec::new(), ..whole.clone() };
    let names = ["log to display", "every part of balance and six stages"];
    let both = |name: &str, recipe: Recipe| {
        [
            (format!("half floats: {name}"), recipe.clone()),
            (format!("half floats: {name}, by ACES 2.0"), Recipe { tail: aces2(), ..recipe }),
        ]
    };
    let mut rows: Vec<_> = [path, whole].into_iter().zip(names).flat_map(|(r, name)| both(name, r)).collect();
    rows.push((
        "half floats: the last of these, up to its tail".into(),
        Recipe { source: Source::Signal, ..six.without_tail() },
    ));
    rows.push((
        "half floats: each output's tail by ACES 2.0".into(),
        Recipe { tail: aces2(), ..six.tail_only() },
    ));
    rows
}

/// A look to be measured.
pub struct BenchLook {
    /// What people call it.
    pub name: String,
    /// Its stages.
    pub stages: Vec<Stage>,
}

/// Which looks get a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BenchLooks {
    /// The one whose stages, each measured alone in the same run, cost most together.
    Heaviest,
    /// All of them.
    All,
}

/// A whole look at strength 1 by ACES 2.0, with every part of balance, from the footage's signal in half floats to a
/// display's in half floats.
fn look_row(look: &BenchLook) -> (String, Recipe) {
    let whole = recipe(look.stages.clone(), Some(busy_balance()));
    let name = format!("half floats: the look {}, by ACES 2.0", look.name);
    (name, Recipe { source: Source::Signal, tail: aces2(), ..whole })
}

/// The name of the row of a stage alone.
fn alone_name(kind: Kind) -> String {
    format!("with balance and {}", kind.declaration().key)
}

/// The look whose stages cost most together: what the row of each has beyond balance, at one size.
fn heaviest<'a>(looks: &'a [BenchLook], rows: &[BenchRow]) -> Option<&'a BenchLook> {
    let median = |name: &str| rows.iter().find(|r| r.pass == name).map_or(0.0, |r| r.median_ms);
    let cost = |look: &BenchLook| -> f64 {
        let acting = look.stages.iter().filter(|s| s.on && s.strength > 0.0);
        acting.map(|s| median(&alone_name(s.kind)) - median(BALANCE_ROW)).sum()
    };
    looks.iter().max_by(|a, b| cost(a).total_cmp(&cost(b)))
}

const BALANCE_ROW: &str = "with balance";

/// Measures a plain copy, the path without and with balance, by ACES 2.0, a frame of another size, each stage alone,
/// all point stages together and all stages, and the whole balance with six stages by either transform, the same with half floats in and out,
/// and in parts as for several outputs; last whole looks: the heaviest of `looks` or all of them. `rounds` times each, at each size. `progress` is told what comes next.
pub fn bench(
    gpu: &Gpu,
    sizes: &[(u32, u32)],
    rounds: usize,
    (looks, which): (&[BenchLook], BenchLooks),
    progress: &dyn Fn(&str),
) -> Result<Vec<BenchRow>, GpuError> {
    let timer = Timer::new(gpu);
    let (spread, points): (Vec<Kind>, Vec<Kind>) =
        (0..STAGES.len()).map(Kind).partition(|k| k.declaration().neighbourhood.is_some());
    let mut passes = vec![
        ("log to display".to_owned(), recipe(vec![], None)),
        ("log to display by ACES 2.0".to_owned(), Recipe { tail: aces2(), ..recipe(vec![], None) }),
        (BALANCE_ROW.to_owned(), recipe(vec![], Some(plain_balance()))),
        ("with every part of balance".to_owned(), recipe(vec![], Some(busy_balance()))),
    ];
    // Every pixel from 4 × 4 of the frame's; and from 8 × 8, in the middle quarter of the raster.
    for (name, scale) in
        [("with balance, the frame enlarged", 1.5), ("with balance, the frame at half size", 0.5)]
    {
        let framing = Framing::default().with(FramingField::Scale, scale);
        passes.push((name.into(), recipe(vec![], Some(plain_balance())).framed(framing, None)));
    }
    let alone = |kind: Kind| (alone_name(kind), recipe(vec![busy(kind)], Some(plain_balance())));
    passes.extend(points.iter().map(|kind| alone(*kind)));
    passes.push((
        "with balance and every point stage".into(),
        recipe(points.iter().map(|k| busy(*k)).collect(), Some(plain_balance())),
    ));
    passes.push((
        "with every part of balance and six stages".into(),
        recipe(points.iter().take(6).map(|k| busy(*k)).collect(), Some(busy_balance())),
    ));
    let (_, six) = passes.last().expect("passes were put in above");
    let halves = half_rows(six);
    passes.push(("the same by ACES 2.0".into(), Recipe { tail: aces2(), ..six.clone() }));
    // Last, since they have slowed down what was measured after them.
    let mut texture: Vec<(String, Recipe)> = spread.iter().map(|kind| alone(*kind)).collect();
    texture.push((
        "with balance and every stage".into(),
        recipe(points.iter().chain(&spread).map(|k| busy(*k)).collect(), Some(plain_balance())),
    ));
    let mut rows = Vec::new();
    for &size in sizes {
        progress(&format!("{}×{}", size.0, size.1));
        let upload = gpu.upload(&test_frame(size.0, size.1), None)?;
        let output = gpu.output(size.0, size.1, Target::Screen)?;
        let signal = half_signal(gpu, &upload, size)?;
        let half = gpu.output(size.0, size.1, Target::Half)?;
        let (copy, group) = copy_pass(gpu, size);
        let copies = time_rounds(rounds, || {
            timer.time(gpu, &|encoder, stamps| {
                let mut pass = encoder.begin_compute_pass(&wgpu::ComputePassDescriptor {
                    label: None,
                    timestamp_writes: Some(stamps),
                });
                pass.set_pipeline(&copy);
                pass.set_bind_group(0, &group, &[]);
                pass.dispatch_workgroups(size.0.div_ceil(64), size.1, 1);
                Ok(())
            })
        })?;
        let copy_row = row("plain copy, half floats", size, copies);
        let yardstick = copy_row.median_ms;
        rows.push(copy_row);
        let first = rows.len();
        for (name, recipe) in &passes {
            let times = time_pass(gpu, &timer, recipe, Input::Frame(&upload), &output, rounds)?;
            rows.push(row(name, size, times));
        }
        for (name, recipe) in &halves {
            let times = time_pass(gpu, &timer, recipe, Input::Picture(&signal), &half, rounds)?;
            rows.push(row(name, size, times));
        }
        for (name, recipe) in &texture {
            let times = time_pass(gpu, &timer, recipe, Input::Frame(&upload), &output, rounds)?;
            rows.push(row(name, size, times));
        }
        let played = Recipe {
            tail: aces2(),
            ..recipe(points.iter().take(6).map(|k| busy(*k)).collect(), Some(plain_balance()))
        };
        rows.extend(super::bench_scopes::rows(gpu, &timer, &played, &upload, size, rounds)?);
        let wanted: Vec<&BenchLook> = match which {
            BenchLooks::All => looks.iter().collect(),
            BenchLooks::Heaviest => heaviest(looks, &rows[first..]).into_iter().collect(),
        };
        for look in wanted {
            let (name, recipe) = look_row(look);
            let times = time_pass(gpu, &timer, &recipe, Input::Picture(&signal), &half, rounds)?;
            rows.push(row(&name, size, times));
        }
        for row in &mut rows[first..] {
            row.copies = row.median_ms / yardstick;
        }
    }
    Ok(rows)
}

pub(super) fn time_rounds(
    rounds: usize,
    mut once: impl FnMut() -> Result<f64, GpuError>,
) -> Result<Vec<f64>, GpuError> {
    // The first uses compile and fill caches.
    for _ in 0..3 {
        once()?;
    }
    (0..rounds).map(|_| once()).collect()
}

fn time_pass(
    gpu: &Gpu,
    timer: &Timer,
    recipe: &Recipe,
    input: Input<'_>,
    output: &Output,
    rounds: usize,
) -> Result<Vec<f64>, GpuError> {
    let parts = recipe.parts();
    let pipelines = Structure::of_parts(&parts, Target::Half, output.target)
        .iter()
        .map(|s| gpu.pipelines.wait(s))
        .collect::<Result<Vec<_>, _>>()?;
    time_rounds(rounds, || {
        timer.time(gpu, &|encoder, stamps| {
            gpu.encode_parts_of(encoder, &pipelines, input, &parts, output, 8, true, Some(stamps))
        })
    })
}

/// The frame's signal in half floats.
fn half_signal(gpu: &Gpu, upload: &Upload, (width, height): (u32, u32)) -> Result<Output, GpuError> {
    let acescg = encoding("acescg").expect("in the table");
    let recipe = Recipe::conversion(acescg, Tail::Light);
    let pipeline = gpu.pipelines.wait(&Structure::of(&recipe, Target::Half))?;
    let output = gpu.output(width, height, Target::Half)?;
    let mut encoder = gpu.device.create_command_encoder(&Default::default());
    gpu.encode(&mut encoder, &pipeline, upload, &recipe, &output, 0, false, None)?;
    gpu.queue.submit([encoder.finish()]);
    gpu.wait()?;
    Ok(output)
}

fn copy_pass(gpu: &Gpu, size: (u32, u32)) -> (wgpu::ComputePipeline, wgpu::BindGroup) {
    let module = gpu.device.create_shader_module(wgpu::ShaderModuleDescriptor {
        label: Some("copy"),
        source: wgpu::ShaderSource::Wgsl(include_str!("../../shaders/pass/copy.wgsl").into()),
    });
    let pipeline = gpu.device.create_compute_pipeline(&wgpu::ComputePipelineDescriptor {
        label: Some("copy"),
        layout: None,
        module: &module,
        entry_point: Some("main"),
        compilation_options: Default::default(),
        cache: None,
    });
    let half = |usage| {
        gpu.device
            .create_texture(&texture(size.0, size.1, wgpu::TextureFormat::Rgba16Float, usage))
            .create_view(&Default::default())
    };
    let (from, to) = (half(wgpu::TextureUsages::TEXTURE_BINDING), half(wgpu::TextureUsages::STORAGE_BINDING));
    let group = gpu.device.create_bind_group(&wgpu::BindGroupDescriptor {
        label: None,
        layout: &pipeline.get_bind_group_layout(0),
        entries: &[
            wgpu::BindGroupEntry { binding: 0, resource: wgpu::BindingResource::TextureView(&from) },
            wgpu::BindGroupEntry { binding: 1, resource: wgpu::BindingResource::TextureView(&to) },
        ],
    });
    (pipeline, group)
}
