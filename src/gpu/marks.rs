//! False colours and marks on the desk's picture: the pass that draws them, and what it counts. Twin of
//! [`crate::scope::stops`] and [`crate::scope::patterns`].

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock};

use super::assembly::Assembly;
use super::device::{Gpu, GpuError};
use super::run::{Output, texture};
use crate::colour::{Adaptation, BT709, Display, Shaped, conversion, encoding};
use crate::picture::Target;
use crate::scope::patterns::{AT_END, COUNTS, EXCESS, Marked, Tally, unit};
use crate::scope::stops::{Ends, SCALE, luminance_weights, scale_factor};

/// Diffuse white of HDR pictures, cd/m² (Rec. ITU-R BT.2408): how bright the scale's white is where a display goes further.
const PAPER: f64 = 203.0;
/// sRGB codes of what patterns and the ends of the scale are drawn in: dark, light.
const INKS: [[u8; 3]; 2] = [[0; 3], [235; 3]];

/// The compiled pass, for windows of eight bits and for deeper ones.
pub struct MarkPasses {
    each: [(wgpu::BindGroupLayout, wgpu::ComputePipeline); 2],
}

/// The pass, compiled when somebody first asks for it.
#[derive(Default)]
pub struct Marks {
    compiled: Arc<OnceLock<Result<MarkPasses, GpuError>>>,
    started: AtomicBool,
    pub(super) encoded: AtomicU64,
}

/// Pictures that the pass reads, all of one size. What is not marked is not looked at.
pub struct MarkInputs<'a> {
    /// What the desk would show.
    pub base: &'a Output,
    /// The camera's signal, with 0 in the fourth channel beside the frame.
    pub camera: &'a Output,
    /// Light that false colours tell of, ACEScg.
    pub light: &'a Output,
    /// The client's signal in floats, not dithered.
    pub signal: &'a Output,
    /// The graded light, ACEScg.
    pub graded: &'a Output,
}

/// How it is marked.
pub struct MarkView<'a> {
    /// What is marked.
    pub marked: Marked,
    /// Where the camera's codes end.
    pub ends: Ends,
    /// The display whose primaries are the limit.
    pub client: &'a Display,
    /// The display that the marks are drawn for, with its monitor's table.
    pub desk: &'a Display,
    /// That table, if there is one.
    pub calibration: Option<&'a Shaped<f32>>,
    /// Bits of the window's channels.
    pub depth: u32,
}

/// Counts of one picture.
pub struct MarkCounts {
    counts: wgpu::Buffer,
    read: wgpu::Buffer,
    told: Mutex<Option<std::sync::mpsc::Receiver<bool>>>,
}

impl MarkCounts {
    /// Room for them.
    pub fn new(gpu: &Gpu) -> Self {
        let buffer = |usage| {
            gpu.device.create_buffer(&wgpu::BufferDescriptor {
                label: Some("tally"),
                size: COUNTS as u64 * 4,
                usage,
                mapped_at_creation: false,
            })
        };
        use wgpu::BufferUsages as Use;
        Self {
            counts: buffer(Use::STORAGE | Use::COPY_SRC | Use::COPY_DST),
            read: buffer(Use::COPY_DST | Use::MAP_READ),
            told: Mutex::default(),
        }
    }

    /// Is nobody waiting for them?
    pub fn is_free(&self) -> bool {
        self.told.lock().unwrap_or_else(|e| e.into_inner()).is_none()
    }

    /// Asks for them to be read back, once the pass is submitted; never waits.
    pub fn ask(&self) {
        let (tell, told) = std::sync::mpsc::channel();
        self.read.map_async(wgpu::MapMode::Read, .., move |result| {
            let _ = tell.send(result.is_ok());
        });
        *self.told.lock().unwrap_or_else(|e| e.into_inner()) = Some(told);
    }

    /// The counts, if they were asked for and have come.
    pub fn take(&self) -> Option<Tally> {
        let mut told = self.told.lock().unwrap_or_else(|e| e.into_inner());
        let mapped = told.as_ref()?.try_recv().ok()?;
        *told = None;
        if !mapped {
            return None;
        }
        let tally = {
            let view = self.read.get_mapped_range(..).ok()?;
            let numbers: &[u32] = bytemuck::cast_slice(&view);
            Tally(std::array::from_fn(|i| numbers[i]))
        };
        self.read.unmap();
        Some(tally)
    }
}

impl MarkPasses {
    /// The pass's text for windows of eight bits, or deeper ones.
    pub fn assembly(deep: bool) -> Assembly {
        let (format, stored) = match deep {
            false => ("rgba8unorm", "v"),
            true => ("rgba16float", "vec4(nearest_halves(v.xyz), v.w)"),
        };
        let store = format!(
            "@group(0) @binding(8) var marked_picture: texture_storage_2d<{format}, write>;\n\n\
             fn marks_stored(at: vec2<i32>, v: vec4<f32>) {{\n    \
             textureStore(marked_picture, at, {stored});\n}}\n"
        );
        Assembly::of(&[
            ("colour/matrix.wgsl", include_str!("../../shaders/colour/matrix.wgsl")),
            ("pass/half.wgsl", include_str!("../../shaders/pass/half.wgsl")),
            ("the store", &store),
            ("pass/marks.wgsl", include_str!("../../shaders/pass/marks.wgsl")),
        ])
    }

    fn new(device: &wgpu::Device) -> Result<Self, GpuError> {
        let of = |deep| {
            let entry = |binding, ty| wgpu::BindGroupLayoutEntry {
                binding,
                visibility: wgpu::ShaderStages::COMPUTE,
                ty,
                count: None,
            };
            let buffer =
                |ty| wgpu::BindingType::Buffer { ty, has_dynamic_offset: false, min_binding_size: None };
            let mut entries: Vec<_> = (0..6).map(super::pipelines::single).collect();
            entries.extend([
                entry(6, buffer(wgpu::BufferBindingType::Uniform)),
                entry(7, buffer(wgpu::BufferBindingType::Storage { read_only: false })),
                entry(
                    8,
                    wgpu::BindingType::StorageTexture {
                        access: wgpu::StorageTextureAccess::WriteOnly,
                        format: super::run::target_format(target(deep)),
                        view_dimension: wgpu::TextureViewDimension::D2,
                    },
                ),
            ]);
            let (pipeline, layout) = super::pipelines::compile(device, &Self::assembly(deep), &entries)?;
            Ok((layout, pipeline))
        };
        Ok(Self { each: [of(false)?, of(true)?] })
    }
}

fn target(deep: bool) -> Target {
    if deep { Target::DeepScreen } else { Target::Screen }
}

/// The signals of the scale's steps and of the two inks on a display, as whole codes of so many bits over the greatest. Where
/// a display goes further than BT.2408's diffuse white, that is the scale's white.
pub fn palette(desk: &Display, calibration: Option<&Shaped<f32>>, depth: u32) -> Vec<[f32; 3]> {
    let srgb = encoding("srgb").expect("in the table").curve.values::<f64>();
    let matrix = conversion(&BT709, &desk.primaries, Adaptation::Bradford);
    let white = desk.peak.min(PAPER) / desk.peak;
    let white = if desk.peak <= 100.0 { 1.0 } else { white };
    let most = ((1u32 << depth) - 1) as f32;
    let shown = |codes: &[u8; 3]| {
        let light = matrix.times(codes.map(|c| srgb.decode(f64::from(c) / 255.0)));
        let light = light.map(|v| (v * white).clamp(0.0, 1.0));
        let signal = desk.curve.values::<f64>().encode_light(light).map(|v| v as f32);
        let signal = calibration.map_or(signal, |table| table.apply(signal));
        signal.map(|v| (v.clamp(0.0, 1.0) * most + 0.5).floor() / most)
    };
    // Two places between the steps and the inks are those of the ends of the scale, which have patterns.
    let ends = [&INKS[0], &INKS[1]];
    SCALE.iter().chain(ends).chain(&INKS).map(shown).collect()
}

impl Gpu {
    /// The pass of marks if it is compiled. If nobody has asked for it before, compiling starts on another thread and
    /// `when_ready` is called from there at its end.
    pub fn marks_ready(&self, when_ready: impl FnOnce() + Send + 'static) -> Option<&MarkPasses> {
        if !self.marks.started.swap(true, Ordering::AcqRel) {
            let (compiled, device) = (self.marks.compiled.clone(), self.device.clone());
            self.work.spawn(move || {
                if let Err(e) = compiled.get_or_init(|| MarkPasses::new(&device)) {
                    tracing::error!("{e}");
                }
                when_ready();
            });
        }
        self.marks.compiled.get().and_then(|made| made.as_ref().ok())
    }

    /// The pass, compiled here and now if need be.
    ///
    /// # Errors
    /// [`GpuError::Shader`] if it was refused.
    pub fn marks(&self) -> Result<&MarkPasses, GpuError> {
        let made = self.marks.compiled.get_or_init(|| MarkPasses::new(&self.device));
        made.as_ref().map_err(|e| GpuError::Shader {
            file: "pass/marks.wgsl".into(),
            line: 0,
            why: e.to_string(),
        })
    }

    /// How many times marks were drawn on this GPU.
    pub fn marks_encoded(&self) -> u64 {
        self.marks.encoded.load(Ordering::Relaxed)
    }

    /// Draws a picture with marks into `to`, which is as large and of the same target, and counts.
    pub fn encode_marks(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        passes: &MarkPasses,
        inputs: &MarkInputs<'_>,
        view: &MarkView<'_>,
        to: &Output,
        counts: &MarkCounts,
        timestamps: Option<wgpu::ComputePassTimestampWrites<'_>>,
    ) {
        self.marks.encoded.fetch_add(1, Ordering::Relaxed);
        let (layout, pipeline) = &passes.each[usize::from(to.target == Target::DeepScreen)];
        let colours = palette(view.desk, view.calibration, view.depth);
        let texels: Vec<[f32; 4]> = colours.iter().map(|[r, g, b]| [*r, *g, *b, 1.0]).collect();
        let row = self.device.create_texture(&texture(
            texels.len() as u32,
            1,
            wgpu::TextureFormat::Rgba32Float,
            wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
        ));
        self.queue.write_texture(
            row.as_image_copy(),
            bytemuck::cast_slice(&texels),
            wgpu::TexelCopyBufferLayout {
                offset: 0,
                bytes_per_row: Some(texels.len() as u32 * 16),
                rows_per_image: None,
            },
            row.size(),
        );
        let row = row.create_view(&Default::default());
        let numbers = self.uniform(&numbers(view, to.width));
        let texture = wgpu::BindingResource::TextureView;
        let resources = [
            texture(&inputs.base.view),
            texture(&inputs.camera.view),
            texture(&inputs.light.view),
            texture(&inputs.signal.view),
            texture(&inputs.graded.view),
            texture(&row),
            numbers.as_entire_binding(),
            counts.counts.as_entire_binding(),
            texture(&to.view),
        ];
        let entries: Vec<_> = (0..)
            .zip(resources)
            .map(|(binding, resource)| wgpu::BindGroupEntry { binding, resource })
            .collect();
        let group = self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("marks"),
            layout,
            entries: &entries,
        });
        encoder.clear_buffer(&counts.counts, 0, None);
        {
            let mut pass = encoder.begin_compute_pass(&wgpu::ComputePassDescriptor {
                label: Some("marks"),
                timestamp_writes: timestamps,
            });
            pass.set_pipeline(pipeline);
            pass.set_bind_group(0, &group, &[]);
            pass.dispatch_workgroups(to.width.div_ceil(8), to.height.div_ceil(8), 1);
        }
        encoder.copy_buffer_to_buffer(&counts.counts, 0, &counts.read, 0, COUNTS as u64 * 4);
    }
}

/// The uniform buffer, as `MarkSetting` in `shaders/pass/marks.wgsl` has it.
fn numbers(view: &MarkView<'_>, width: u32) -> Vec<f32> {
    let rows = view.client.from_acescg().rows::<f32>();
    let mut out = Vec::new();
    for row in rows.as_chunks::<3>().0 {
        out.extend(row);
        out.push(0.0);
    }
    out.extend(luminance_weights());
    let Marked { false_colour, clipping, gamut } = view.marked;
    let what = u32::from(false_colour) | u32::from(clipping) << 1 | u32::from(gamut) << 2;
    out.extend([EXCESS, view.ends.floor, view.ends.clip.min(f32::MAX), 1.0 - AT_END, AT_END, scale_factor()]);
    out.extend([unit(width), what, 0].map(f32::from_bits));
    out
}
