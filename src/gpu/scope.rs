//! Scopes on the GPU: counts of a picture's codes, and traces drawn from them. Twin of the room `scope`.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

use super::assembly::Assembly;
use super::device::{Gpu, GpuError};
use super::run::{Output, texture};
use crate::scope::{BINS, CHANNELS, Counts, LEVELS, Setting, columns};

/// The compiled passes.
pub struct ScopePasses {
    layout: wgpu::BindGroupLayout,
    wave: wgpu::ComputePipeline,
    histogram: wgpu::ComputePipeline,
    vector: wgpu::ComputePipeline,
    draw_wave: wgpu::ComputePipeline,
    draw_vector: wgpu::ComputePipeline,
}

type Compiled = Arc<OnceLock<Result<ScopePasses, GpuError>>>;

/// The passes, compiled when somebody first asks for them.
#[derive(Default)]
pub struct Scopes {
    compiled: Compiled,
    started: AtomicBool,
    encoded: AtomicU64,
}

/// What scopes are of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ScopeOf {
    /// The client's signal, as it is on view.
    #[default]
    Signal,
    /// What the client's signal would be with the shot's balance alone: no stage of the chain acts.
    Balance,
}

/// How counts are made and drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScopeView {
    /// How is counted.
    pub setting: Setting,
    /// Brightness of the traces; 1 is what suits an ordinary picture.
    pub brightness: f32,
    /// Of what.
    pub of: ScopeOf,
}

impl Default for ScopeView {
    fn default() -> Self {
        Self { setting: Setting::default(), brightness: 1.0, of: ScopeOf::default() }
    }
}

/// Counts and traces of one picture.
pub struct Traces {
    /// Columns of each waveform.
    pub columns: u32,
    /// Four waveforms side by side, luma, red, green, blue, each [`Traces::columns`] × [`LEVELS`], and under each its
    /// histogram, as tall. Premultiplied.
    pub wave: wgpu::TextureView,
    /// The vectorscope, [`BINS`] either way. Premultiplied.
    pub vector: wgpu::TextureView,
    counts: [wgpu::Buffer; 3],
}

impl Traces {
    /// Room for the counts of pictures so wide.
    pub fn new(gpu: &Gpu, width: u32) -> Self {
        let (columns, _) = columns(width);
        let buffer = |numbers: u32| {
            gpu.device.create_buffer(&wgpu::BufferDescriptor {
                label: Some("counts"),
                size: u64::from(numbers) * 4,
                usage: wgpu::BufferUsages::STORAGE
                    | wgpu::BufferUsages::COPY_SRC
                    | wgpu::BufferUsages::COPY_DST,
                mapped_at_creation: false,
            })
        };
        let trace = |width, height| {
            let usage = wgpu::TextureUsages::STORAGE_BINDING
                | wgpu::TextureUsages::TEXTURE_BINDING
                | wgpu::TextureUsages::COPY_SRC;
            let format = wgpu::TextureFormat::Rgba8Unorm;
            let made = gpu.device.create_texture(&texture(width, height, format, usage));
            made.create_view(&Default::default())
        };
        Self {
            columns,
            wave: trace(CHANNELS * columns, 2 * LEVELS),
            vector: trace(BINS, BINS),
            counts: [columns * CHANNELS * LEVELS, CHANNELS * LEVELS, BINS * BINS].map(buffer),
        }
    }

    /// The counts, read back; waits for the GPU.
    ///
    /// # Errors
    /// [`GpuError::Lost`] when it stops answering.
    pub fn counts(&self, gpu: &Gpu) -> Result<Counts, GpuError> {
        let [wave, histogram, vector] = &self.counts;
        let read = |buffer| gpu.read_numbers(buffer);
        Ok(Counts {
            columns: self.columns,
            wave: read(wave)?,
            histogram: read(histogram)?,
            vector: read(vector)?,
        })
    }
}

impl ScopePasses {
    fn new(device: &wgpu::Device) -> Result<Self, GpuError> {
        let assembly = Assembly::of(&[("pass/scope.wgsl", include_str!("../../shaders/pass/scope.wgsl"))]);
        let entry = |binding, ty| wgpu::BindGroupLayoutEntry {
            binding,
            visibility: wgpu::ShaderStages::COMPUTE,
            ty,
            count: None,
        };
        let buffer = |ty| wgpu::BindingType::Buffer { ty, has_dynamic_offset: false, min_binding_size: None };
        let numbers = || buffer(wgpu::BufferBindingType::Storage { read_only: false });
        let trace = || wgpu::BindingType::StorageTexture {
            access: wgpu::StorageTextureAccess::WriteOnly,
            format: wgpu::TextureFormat::Rgba8Unorm,
            view_dimension: wgpu::TextureViewDimension::D2,
        };
        let entries = [
            super::pipelines::single(0),
            entry(1, buffer(wgpu::BufferBindingType::Uniform)),
            entry(2, numbers()),
            entry(3, numbers()),
            entry(4, numbers()),
            entry(5, trace()),
            entry(6, trace()),
        ];
        let layout = device.create_bind_group_layout(&wgpu::BindGroupLayoutDescriptor {
            label: Some("scope"),
            entries: &entries,
        });
        let compiled = |name| super::pipelines::compile_entry(device, &assembly, &layout, name);
        Ok(Self {
            wave: compiled("scope_wave")?,
            histogram: compiled("scope_histogram")?,
            vector: compiled("scope_vector")?,
            draw_wave: compiled("scope_draw_wave")?,
            draw_vector: compiled("scope_draw_vector")?,
            layout,
        })
    }
}

impl Gpu {
    /// The passes of scopes if they are compiled. If nobody has asked for them before, compiling starts on another thread
    /// and `when_ready` is called from there at its end.
    pub fn scopes_ready(&self, when_ready: impl FnOnce() + Send + 'static) -> Option<&ScopePasses> {
        if !self.scopes.started.swap(true, Ordering::AcqRel) {
            let (compiled, device) = (self.scopes.compiled.clone(), self.device.clone());
            self.work.spawn(move || {
                if let Err(e) = compiled.get_or_init(|| ScopePasses::new(&device)) {
                    tracing::error!("{e}");
                }
                when_ready();
            });
        }
        self.scopes.compiled.get().and_then(|made| made.as_ref().ok())
    }

    /// The passes of scopes, compiled here and now if need be.
    ///
    /// # Errors
    /// [`GpuError::Shader`] if they were refused.
    pub fn scopes(&self) -> Result<&ScopePasses, GpuError> {
        let made = self.scopes.compiled.get_or_init(|| ScopePasses::new(&self.device));
        made.as_ref().map_err(|e| GpuError::Shader {
            file: "pass/scope.wgsl".into(),
            line: 0,
            why: e.to_string(),
        })
    }

    /// How many times scopes were counted and drawn on this GPU.
    pub fn scopes_encoded(&self) -> u64 {
        self.scopes.encoded.load(Ordering::Relaxed)
    }

    /// Counts a picture for windows, whose codes have `depth` bits (8 or 10), and draws the traces.
    #[allow(clippy::too_many_arguments)]
    pub fn encode_scopes(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        passes: &ScopePasses,
        picture: &Output,
        depth: u32,
        view: &ScopeView,
        traces: &Traces,
        timestamps: Option<wgpu::ComputePassTimestampWrites<'_>>,
    ) {
        self.scopes.encoded.fetch_add(1, Ordering::Relaxed);
        let (columns, stride) = columns(picture.width);
        let (across, down) = (picture.width.div_ceil(stride), picture.height.div_ceil(stride));
        let setting = &view.setting;
        let [red, green, blue] = setting.system.whole_weights();
        let [cb, cr] = setting.system.factors();
        let most = if depth > 8 { 1023 } else { 255 };
        // A level that each pixel of a column is as likely to have as any other is lit to a half; on the vectorscope,
        // whose pictures are mostly near the middle, four times that.
        let pixels = (across * down) as f32;
        let of_wave = view.brightness * (LEVELS * columns) as f32 / pixels * 0.35;
        let of_vector = view.brightness * (BINS * BINS) as f32 / pixels * 0.12;
        let full = pixels * 6.0 / LEVELS as f32;
        let words = [
            [across, down, columns, stride],
            [red, green, blue, most],
            [cb as u32, cr as u32, setting.window.low, setting.window.shift],
            [of_wave.to_bits(), of_vector.to_bits(), full.to_bits(), 0],
        ];
        let numbers = self.uniform(bytemuck::cast_slice(words.as_flattened()));
        let view = wgpu::BindingResource::TextureView;
        let [wave, histogram, vector] = &traces.counts;
        let resources = [
            view(&picture.view),
            numbers.as_entire_binding(),
            wave.as_entire_binding(),
            histogram.as_entire_binding(),
            vector.as_entire_binding(),
            view(&traces.wave),
            view(&traces.vector),
        ];
        let entries: Vec<_> = (0..)
            .zip(resources)
            .map(|(binding, resource)| wgpu::BindGroupEntry { binding, resource })
            .collect();
        let group = self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("scope"),
            layout: &passes.layout,
            entries: &entries,
        });
        encoder.clear_buffer(vector, 0, None);
        let mut pass = encoder.begin_compute_pass(&wgpu::ComputePassDescriptor {
            label: Some("scopes"),
            timestamp_writes: timestamps,
        });
        pass.set_bind_group(0, &group, &[]);
        let tiles = |x: u32, y: u32| (x.div_ceil(8), y.div_ceil(8));
        for (pipeline, (x, y)) in [
            (&passes.wave, (columns, 1)),
            (&passes.histogram, (CHANNELS * LEVELS / 64, 1)),
            (&passes.vector, tiles(across, down)),
            (&passes.draw_wave, tiles(CHANNELS * columns, 2 * LEVELS)),
            (&passes.draw_vector, tiles(BINS, BINS)),
        ] {
            pass.set_pipeline(pipeline);
            pass.dispatch_workgroups(x, y, 1);
        }
    }

    /// A buffer's numbers; waits for the GPU.
    fn read_numbers(&self, buffer: &wgpu::Buffer) -> Result<Vec<u32>, GpuError> {
        let staging = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: None,
            size: buffer.size(),
            usage: wgpu::BufferUsages::MAP_READ | wgpu::BufferUsages::COPY_DST,
            mapped_at_creation: false,
        });
        let mut encoder = self.device.create_command_encoder(&Default::default());
        encoder.copy_buffer_to_buffer(buffer, 0, &staging, 0, buffer.size());
        self.queue.submit([encoder.finish()]);
        let (tell, told) = std::sync::mpsc::channel();
        staging.map_async(wgpu::MapMode::Read, .., move |result| {
            let _ = tell.send(result);
        });
        self.wait()?;
        let lost = |why: String| GpuError::Lost(why);
        told.recv().map_err(|e| lost(e.to_string()))?.map_err(|e| lost(e.to_string()))?;
        let mapped = staging.get_mapped_range(..).map_err(|e| lost(e.to_string()))?;
        Ok(bytemuck::cast_slice(&mapped).to_vec())
    }
}
