//! Pipelines by structure, compiled off the frame's thread.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex};

use super::assembly::{Assembly, WORKGROUP};
use super::device::GpuError;
use super::spread::Spread;
use super::work::Work;
use crate::colour::{Aces2, DISPLAYS};
use crate::look::Kind;
use crate::picture::{Recipe, Source, Structure, Target};

/// A compiled picture pass.
pub struct Pipeline {
    pub(super) pipeline: wgpu::ComputePipeline,
    pub(super) layout: wgpu::BindGroupLayout,
    /// How many textures it reads, LUTs and tables aside: three planes, or a picture and what is spread of it.
    pub(super) reads: u32,
    pub(super) target: Target,
    /// The passes before it, if it begins with a stage that reads its neighbours: with half and with single floats.
    pub(super) spread: Option<Arc<[Spread; 2]>>,
}

enum State {
    Building,
    Ready(Arc<Pipeline>),
    Failed(String),
}

/// The passes of stages that read their neighbours, by kind: every plan with that stage has the same ones.
type Spreads = Mutex<HashMap<Kind, Arc<[Spread; 2]>>>;

struct Shared {
    device: wgpu::Device,
    spreads: Spreads,
    queue: wgpu::Queue,
    known: Mutex<HashMap<Structure, State>>,
    built: Condvar,
    /// Are an output transform's tables being worked out?
    at_tables: AtomicBool,
    work: Work,
}

/// The cache.
pub struct Pipelines {
    shared: Arc<Shared>,
}

impl Pipelines {
    pub(super) fn new(device: wgpu::Device, queue: wgpu::Queue, work: Work) -> Self {
        let (known, built, at_tables) = (Mutex::default(), Condvar::new(), AtomicBool::new(false));
        Self {
            shared: Arc::new(Shared {
                device,
                queue,
                spreads: Mutex::default(),
                known,
                built,
                at_tables,
                work,
            }),
        }
    }

    /// The pipeline if it is compiled. If nobody has asked for it before, compiling starts on another
    /// thread and `when_ready` is called from there at its end. Never waits for a compiler.
    pub fn ready(
        &self,
        structure: &Structure,
        when_ready: impl FnOnce() + Send + 'static,
    ) -> Option<Arc<Pipeline>> {
        let mut known = lock(&self.shared.known);
        match known.get(structure) {
            Some(State::Ready(pipeline)) => Some(pipeline.clone()),
            Some(_) => None,
            None => {
                known.insert(structure.clone(), State::Building);
                drop(known);
                let (shared, structure) = (self.shared.clone(), structure.clone());
                self.shared.work.spawn(move || {
                    shared.compile(&structure);
                    when_ready();
                });
                None
            }
        }
    }

    /// The pipeline if it is compiled; nothing is started if it is not.
    pub fn compiled(&self, structure: &Structure) -> Option<Arc<Pipeline>> {
        match lock(&self.shared.known).get(structure) {
            Some(State::Ready(pipeline)) => Some(pipeline.clone()),
            _ => None,
        }
    }

    /// Are a recipe's tables worked out? If not, that starts on another thread and `when_ready` is called from there
    /// at its end. Never waits for them.
    pub fn tables_ready(&self, recipe: &Recipe, when_ready: impl FnOnce() + Send + 'static) -> bool {
        if recipe.is_worked_out() {
            return true;
        }
        // One at a time: whoever waits for another asks again when it is woken.
        if !self.shared.at_tables.swap(true, Ordering::AcqRel) {
            let (shared, recipe) = (self.shared.clone(), recipe.clone());
            self.shared.work.spawn(move || {
                drop(recipe.aces2());
                shared.at_tables.store(false, Ordering::Release);
                when_ready();
            });
        }
        false
    }

    /// Why a structure will never be ready, if its shader was refused.
    pub fn failure(&self, structure: &Structure) -> Option<String> {
        match lock(&self.shared.known).get(structure) {
            Some(State::Failed(why)) => Some(why.clone()),
            _ => None,
        }
    }

    /// The pipeline, compiled here and now if need be. For work that no frame waits for.
    pub fn wait(&self, structure: &Structure) -> Result<Arc<Pipeline>, GpuError> {
        let mut known = lock(&self.shared.known);
        loop {
            match known.get(structure) {
                Some(State::Ready(pipeline)) => return Ok(pipeline.clone()),
                Some(State::Failed(why)) => {
                    return Err(GpuError::Shader { file: "picture pass".into(), line: 0, why: why.clone() });
                }
                Some(State::Building) => {
                    known = self.shared.built.wait(known).unwrap_or_else(|e| e.into_inner());
                }
                None => {
                    known.insert(structure.clone(), State::Building);
                    drop(known);
                    self.shared.compile(structure);
                    known = lock(&self.shared.known);
                }
            }
        }
    }

    /// Compiles an assembly that is not in the cache.
    pub fn build(&self, assembly: &Assembly, structure: &Structure) -> Result<Arc<Pipeline>, GpuError> {
        build(&self.shared.device, &self.shared.spreads, assembly, structure).map(Arc::new)
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(|e| e.into_inner())
}

impl Shared {
    fn compile(&self, structure: &Structure) {
        if structure.has_tables() {
            // Worked out here, so that no frame waits for it.
            for display in DISPLAYS {
                Aces2::of(display);
            }
        }
        let state = match build(&self.device, &self.spreads, &Assembly::picture(structure), structure) {
            Ok(pipeline) => {
                self.warm(&pipeline);
                State::Ready(Arc::new(pipeline))
            }
            Err(e) => {
                tracing::error!("{e}");
                State::Failed(e.to_string())
            }
        };
        lock(&self.known).insert(structure.clone(), state);
        self.built.notify_all();
    }

    /// Some drivers compile at first use: use it once, on one pixel.
    fn warm(&self, pipeline: &Pipeline) {
        let format = match pipeline.reads {
            3 => wgpu::TextureFormat::R8Uint,
            _ => wgpu::TextureFormat::Rgba16Float,
        };
        let source = self.device.create_texture(&super::run::texture(
            1,
            1,
            format,
            wgpu::TextureUsages::TEXTURE_BINDING,
        ));
        let target = self.device.create_texture(&super::run::texture(
            1,
            1,
            super::run::target_format(pipeline.target),
            wgpu::TextureUsages::STORAGE_BINDING,
        ));
        let numbers = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: None,
            // More than any chain takes, and zero: every strength is 0.
            size: 65536,
            usage: wgpu::BufferUsages::UNIFORM,
            mapped_at_creation: false,
        });
        let view = |t: &wgpu::Texture| t.create_view(&Default::default());
        let source = view(&source);
        let planes = [&source, &source, &source];
        let no_lut = super::luts::empty(&self.device);
        let luts = std::array::from_fn(|_| &no_lut);
        let tables = view(&super::tables::rows(&self.device, 1, 1));
        let group = super::run::bind(&self.device, pipeline, planes, luts, &numbers, &view(&target), &tables);
        let mut encoder = self.device.create_command_encoder(&Default::default());
        super::run::dispatch(&mut encoder.begin_compute_pass(&Default::default()), pipeline, &group, (1, 1));
        let index = self.queue.submit([encoder.finish()]);
        let _ = self.device.poll(wgpu::PollType::Wait { submission_index: Some(index), timeout: None });
    }
}

fn build(
    device: &wgpu::Device,
    spreads: &Spreads,
    assembly: &Assembly,
    structure: &Structure,
) -> Result<Pipeline, GpuError> {
    let floats = wgpu::TextureSampleType::Float { filterable: false };
    let texture = |binding, sample_type, view_dimension| wgpu::BindGroupLayoutEntry {
        binding,
        visibility: wgpu::ShaderStages::COMPUTE,
        ty: wgpu::BindingType::Texture { sample_type, view_dimension, multisampled: false },
        count: None,
    };
    let plane = |binding| texture(binding, wgpu::TextureSampleType::Uint, wgpu::TextureViewDimension::D2);
    let table = |binding| texture(binding, floats, wgpu::TextureViewDimension::D3);
    let mut entries: Vec<_> = match structure.source {
        Source::Frame => (0..3).map(plane).collect(),
        Source::Signal | Source::Light => (0..reads(structure)).map(single).collect(),
    };
    entries.extend([
        wgpu::BindGroupLayoutEntry {
            binding: 3,
            visibility: wgpu::ShaderStages::COMPUTE,
            ty: wgpu::BindingType::Buffer {
                ty: wgpu::BufferBindingType::Uniform,
                has_dynamic_offset: false,
                min_binding_size: None,
            },
            count: None,
        },
        wgpu::BindGroupLayoutEntry {
            binding: 4,
            visibility: wgpu::ShaderStages::COMPUTE,
            ty: wgpu::BindingType::StorageTexture {
                access: wgpu::StorageTextureAccess::WriteOnly,
                format: super::run::target_format(structure.target),
                view_dimension: wgpu::TextureViewDimension::D2,
            },
            count: None,
        },
        single(5),
    ]);
    entries.extend((6..12).map(table));
    let (pipeline, layout) = compile(device, assembly, &entries)?;
    let spread = structure.spread().map(|kind| spread_of(device, spreads, kind)).transpose()?;
    Ok(Pipeline { pipeline, layout, reads: reads(structure), target: structure.target, spread })
}

/// A kind's passes, compiled the first time. Pictures in between are as fine as what comes of them: half or single floats.
fn spread_of(device: &wgpu::Device, spreads: &Spreads, kind: Kind) -> Result<Arc<[Spread; 2]>, GpuError> {
    let mut known = lock(spreads);
    if let Some(spread) = known.get(&kind) {
        return Ok(spread.clone());
    }
    let made = |target| Spread::new(device, kind, target);
    let spread = Arc::new([made(Target::Half)?, made(Target::Float)?]);
    known.insert(kind, spread.clone());
    Ok(spread)
}

/// How many textures a structure reads, LUTs and tables aside.
fn reads(structure: &Structure) -> u32 {
    match structure.source {
        Source::Frame => 3,
        Source::Signal | Source::Light => 1 + u32::from(structure.spread().is_some()),
    }
}

/// A texture of floats that is read pixel by pixel.
pub(super) fn single(binding: u32) -> wgpu::BindGroupLayoutEntry {
    wgpu::BindGroupLayoutEntry {
        binding,
        visibility: wgpu::ShaderStages::COMPUTE,
        ty: wgpu::BindingType::Texture {
            sample_type: wgpu::TextureSampleType::Float { filterable: false },
            view_dimension: wgpu::TextureViewDimension::D2,
            multisampled: false,
        },
        count: None,
    }
}

/// Compiles an assembly.
pub(super) fn compile(
    device: &wgpu::Device,
    assembly: &Assembly,
    entries: &[wgpu::BindGroupLayoutEntry],
) -> Result<(wgpu::ComputePipeline, wgpu::BindGroupLayout), GpuError> {
    let layout =
        device.create_bind_group_layout(&wgpu::BindGroupLayoutDescriptor { label: Some("picture"), entries });
    let pipeline = compile_entry(device, assembly, &layout, "main")?;
    Ok((pipeline, layout))
}

/// Compiles one function of an assembly.
pub(super) fn compile_entry(
    device: &wgpu::Device,
    assembly: &Assembly,
    layout: &wgpu::BindGroupLayout,
    entry: &str,
) -> Result<wgpu::ComputePipeline, GpuError> {
    let scope = device.push_error_scope(wgpu::ErrorFilter::Validation);
    let module = device.create_shader_module(wgpu::ShaderModuleDescriptor {
        label: Some(entry),
        source: wgpu::ShaderSource::Wgsl(assembly.text.as_str().into()),
    });
    let info = pollster::block_on(module.get_compilation_info());
    if let Some(message) =
        info.messages.iter().find(|m| m.message_type == wgpu::CompilationMessageType::Error)
    {
        drop(pollster::block_on(scope.pop()));
        let line = message.location.as_ref().map_or(0, |l| l.line_number as usize);
        let (file, line) = assembly.locate(line);
        return Err(GpuError::Shader { file: file.into(), line, why: message.message.clone() });
    }
    let pipeline_layout = device.create_pipeline_layout(&wgpu::PipelineLayoutDescriptor {
        label: Some(entry),
        bind_group_layouts: &[Some(layout)],
        immediate_size: 0,
    });
    let pipeline = device.create_compute_pipeline(&wgpu::ComputePipelineDescriptor {
        label: Some(entry),
        layout: Some(&pipeline_layout),
        module: &module,
        entry_point: Some(entry),
        compilation_options: Default::default(),
        cache: None,
    });
    if let Some(e) = pollster::block_on(scope.pop()) {
        return Err(GpuError::Shader { file: "picture pass".into(), line: 0, why: e.to_string() });
    }
    Ok(pipeline)
}

/// Workgroups for a picture.
pub(super) fn groups(size: (u32, u32)) -> (u32, u32) {
    (size.0.div_ceil(WORKGROUP.0), size.1.div_ceil(WORKGROUP.1))
}
