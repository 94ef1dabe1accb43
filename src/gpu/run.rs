//! Frames up, passes run, pictures back.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};

use super::device::{Gpu, GpuError};
use super::luts::PLACES;
use super::pipelines::{Pipeline, groups};
use crate::colour::Range;
use crate::picture::{Chroma, Format, Frame, Layout, Model, Recipe, Sample, Siting, Structure, Target};

/// A frame's planes on the GPU.
pub struct Upload {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// What the planes hold.
    pub format: Format,
    textures: [wgpu::Texture; 3],
    planes: [wgpu::TextureView; 3],
}

/// What a pass reads.
#[derive(Clone, Copy)]
pub enum Input<'a> {
    /// A frame.
    Frame(&'a Upload),
    /// What another pass wrote, in floats.
    Picture(&'a Output),
}

impl<'a> From<&'a Upload> for Input<'a> {
    fn from(upload: &'a Upload) -> Self {
        Self::Frame(upload)
    }
}

impl<'a> From<&'a Output> for Input<'a> {
    fn from(picture: &'a Output) -> Self {
        Self::Picture(picture)
    }
}

/// A texture that a pass writes.
pub struct Output {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// What is written.
    pub target: Target,
    /// The texture.
    pub texture: wgpu::Texture,
    /// A view of all of it.
    pub view: wgpu::TextureView,
}

pub(super) fn texture<'a>(
    width: u32,
    height: u32,
    format: wgpu::TextureFormat,
    usage: wgpu::TextureUsages,
) -> wgpu::TextureDescriptor<'a> {
    wgpu::TextureDescriptor {
        label: None,
        size: wgpu::Extent3d { width, height, depth_or_array_layers: 1 },
        mip_level_count: 1,
        sample_count: 1,
        dimension: wgpu::TextureDimension::D2,
        format,
        usage,
        view_formats: &[],
    }
}

pub(super) fn target_format(target: Target) -> wgpu::TextureFormat {
    match target {
        Target::Float => wgpu::TextureFormat::Rgba32Float,
        Target::Half => wgpu::TextureFormat::Rgba16Float,
        Target::Codes => wgpu::TextureFormat::Rgba16Uint,
        Target::Screen => wgpu::TextureFormat::Rgba8Unorm,
        Target::DeepScreen => wgpu::TextureFormat::Rgba16Float,
    }
}

/// As a pass's picture would be stored; a pass that reads one has no use for it.
const PICTURE: Format = Format {
    model: Model::Rgb,
    sample: Sample::F32,
    depth: 32,
    range: Range::Full,
    chroma: Chroma::C444,
    siting: Siting::Left,
};

fn plane_format(sample: Sample) -> wgpu::TextureFormat {
    match sample {
        Sample::U8 => wgpu::TextureFormat::R8Uint,
        Sample::U16 | Sample::F16 => wgpu::TextureFormat::R16Uint,
        Sample::F32 => wgpu::TextureFormat::R32Uint,
    }
}

pub(super) fn bind(
    device: &wgpu::Device,
    pipeline: &Pipeline,
    planes: [&wgpu::TextureView; 3],
    luts: [&wgpu::TextureView; PLACES],
    numbers: &wgpu::Buffer,
    target: &wgpu::TextureView,
    tables: &wgpu::TextureView,
) -> wgpu::BindGroup {
    let view = wgpu::BindingResource::TextureView;
    let entry = |binding, resource| wgpu::BindGroupEntry { binding, resource };
    let planes = &planes[..pipeline.reads as usize];
    let mut entries: Vec<_> = (0..).zip(planes).map(|(at, plane)| entry(at, view(plane))).collect();
    entries.extend([entry(3, numbers.as_entire_binding()), entry(4, view(target)), entry(5, view(tables))]);
    entries.extend((6..).zip(luts).map(|(at, lut)| entry(at, view(lut))));
    device.create_bind_group(&wgpu::BindGroupDescriptor {
        label: None,
        layout: &pipeline.layout,
        entries: &entries,
    })
}

pub(super) fn dispatch(
    pass: &mut wgpu::ComputePass<'_>,
    pipeline: &Pipeline,
    group: &wgpu::BindGroup,
    size: (u32, u32),
) {
    pass.set_pipeline(&pipeline.pipeline);
    pass.set_bind_group(0, group, &[]);
    let (x, y) = groups(size);
    pass.dispatch_workgroups(x, y, 1);
}

impl Gpu {
    fn check_size(&self, width: u32, height: u32) -> Result<(), GpuError> {
        let limit = self.device.limits().max_texture_dimension_2d;
        if width > limit || height > limit {
            return Err(GpuError::TooLarge { width, height, limit });
        }
        Ok(())
    }

    /// Copies a frame's planes to the GPU. `old` is used again if it has the same shape.
    pub fn upload(&self, frame: &Frame, old: Option<Upload>) -> Result<Upload, GpuError> {
        self.check_size(frame.width, frame.height)?;
        let upload = match old {
            Some(o) if (o.width, o.height, o.format) == (frame.width, frame.height, frame.format) => o,
            _ => {
                let textures: [wgpu::Texture; 3] = std::array::from_fn(|i| {
                    let p = &frame.planes[i];
                    self.device.create_texture(&texture(
                        p.width,
                        p.height,
                        plane_format(frame.format.sample),
                        wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
                    ))
                });
                let planes = std::array::from_fn(|i| textures[i].create_view(&Default::default()));
                Upload { width: frame.width, height: frame.height, format: frame.format, textures, planes }
            }
        };
        for (plane, texture) in frame.planes.iter().zip(&upload.textures) {
            self.queue.write_texture(
                texture.as_image_copy(),
                &plane.data,
                wgpu::TexelCopyBufferLayout {
                    offset: 0,
                    bytes_per_row: Some(plane.width * frame.format.sample.bytes() as u32),
                    rows_per_image: None,
                },
                texture.size(),
            );
        }
        Ok(upload)
    }

    /// A texture for a pass to write.
    pub fn output(&self, width: u32, height: u32, target: Target) -> Result<Output, GpuError> {
        self.check_size(width, height)?;
        let texture = self.device.create_texture(&texture(
            width,
            height,
            target_format(target),
            wgpu::TextureUsages::STORAGE_BINDING
                | wgpu::TextureUsages::TEXTURE_BINDING
                | wgpu::TextureUsages::COPY_SRC
                | wgpu::TextureUsages::COPY_DST,
        ));
        let view = texture.create_view(&Default::default());
        Ok(Output { width, height, target, texture, view })
    }

    /// Adds the pass of one part of a recipe to `encoder`, see [`Recipe::parts`]; its raster is as large as `output`.
    /// `input` is what the part's source says: a frame, or a picture of the same size. `depth` and `dither` are for integer
    /// targets; a [`Target::Screen`] has a depth of 8, a [`Target::DeepScreen`] its window's.
    ///
    /// # Errors
    /// [`GpuError::TooLarge`] for a picture in between.
    #[allow(clippy::too_many_arguments)]
    pub fn encode<'a>(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        pipeline: &Pipeline,
        input: impl Into<Input<'a>>,
        part: &Recipe,
        output: &Output,
        depth: u32,
        dither: bool,
        timestamps: Option<wgpu::ComputePassTimestampWrites<'_>>,
    ) -> Result<(), GpuError> {
        let mut pass = encoder
            .begin_compute_pass(&wgpu::ComputePassDescriptor { label: None, timestamp_writes: timestamps });
        self.encode_in(&mut pass, pipeline, input.into(), part, output, depth, dither)
    }

    /// The same within a pass that is open: opening one costs the GPU as much as a small dispatch.
    #[allow(clippy::too_many_arguments)]
    fn encode_in(
        &self,
        pass: &mut wgpu::ComputePass<'_>,
        pipeline: &Pipeline,
        input: Input<'_>,
        part: &Recipe,
        output: &Output,
        depth: u32,
        dither: bool,
    ) -> Result<(), GpuError> {
        let raster = (output.width, output.height);
        let spread = match (&input, &pipeline.spread, part.spread()) {
            (Input::Picture(picture), Some(spread), Some(stage)) => {
                let [half, float] = &**spread;
                let passes = if picture.target == Target::Half { half } else { float };
                let kernel = stage.kernel(raster).expect("it reads its neighbours");
                Some(passes.encode(self, pass, stage, &kernel, picture)?)
            }
            _ => None,
        };
        let (frame, format, mut planes) = match input {
            Input::Frame(u) => ((u.width, u.height), u.format, u.planes.each_ref()),
            Input::Picture(p) => ((p.width, p.height), PICTURE, [&p.view; 3]),
        };
        if let Some(spread) = &spread {
            planes[1] = &spread.view;
        }
        let buffer = self.uniform(&Layout::write(part, &format, frame, raster, depth, dither));
        let luts = self.luts.of(&self.device, &self.queue, part);
        let luts = std::array::from_fn(|i| &luts[i]);
        let tables = self.tables.of(&self.device, &self.queue, part);
        let group = bind(&self.device, pipeline, planes, luts, &buffer, &output.view, &tables);
        dispatch(pass, pipeline, &group, (output.width, output.height));
        Ok(())
    }

    /// Adds the passes of a recipe's parts one after the other. `pipelines` has one for each part.
    ///
    /// # Errors
    /// [`GpuError::TooLarge`] for a picture in between.
    #[allow(clippy::too_many_arguments)]
    pub fn encode_parts(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        pipelines: &[Arc<Pipeline>],
        input: &Upload,
        parts: &[Recipe],
        output: &Output,
        depth: u32,
        dither: bool,
    ) -> Result<(), GpuError> {
        self.encode_parts_of(encoder, pipelines, Input::Frame(input), parts, output, depth, dither, None)
    }

    /// The same for whatever the first part reads.
    #[allow(clippy::too_many_arguments)]
    pub(super) fn encode_parts_of(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        pipelines: &[Arc<Pipeline>],
        input: Input<'_>,
        parts: &[Recipe],
        output: &Output,
        depth: u32,
        dither: bool,
        timestamps: Option<wgpu::ComputePassTimestampWrites<'_>>,
    ) -> Result<(), GpuError> {
        let mut pass = encoder
            .begin_compute_pass(&wgpu::ComputePassDescriptor { label: None, timestamp_writes: timestamps });
        let mut picture: Option<Arc<Output>> = None;
        for (i, (pipeline, part)) in pipelines.iter().zip(parts).enumerate() {
            let between = match i + 1 < parts.len() {
                true => Some(self.scratch((output.width, output.height), pipeline.target)?),
                false => None,
            };
            let to = between.as_deref().unwrap_or(output);
            let input = picture.as_deref().map_or(input, Input::Picture);
            self.encode_in(&mut pass, pipeline, input, part, to, depth, dither)?;
            picture = between;
        }
        Ok(())
    }

    /// Numbers in a buffer.
    pub(super) fn uniform(&self, numbers: &[f32]) -> wgpu::Buffer {
        let bytes: &[u8] = bytemuck::cast_slice(numbers);
        let buffer = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("numbers"),
            size: bytes.len() as u64,
            usage: wgpu::BufferUsages::UNIFORM | wgpu::BufferUsages::COPY_DST,
            mapped_at_creation: false,
        });
        self.queue.write_buffer(&buffer, 0, bytes);
        buffer
    }

    /// Runs a recipe to a picture in floats and waits for it.
    pub fn signal(&self, recipe: &Recipe, frame: &Frame) -> Result<Vec<[f32; 3]>, GpuError> {
        self.signal_through(recipe, frame, Target::Float)
    }

    /// The same with pictures between passes kept as `between` says, [`Target::Half`] or [`Target::Float`].
    pub fn signal_through(
        &self,
        recipe: &Recipe,
        frame: &Frame,
        between: Target,
    ) -> Result<Vec<[f32; 3]>, GpuError> {
        let (parts, pipelines) = self.parts(recipe, between, Target::Float)?;
        let upload = self.upload(frame, None)?;
        let (width, height) = recipe.size(frame);
        let output = self.output(width, height, Target::Float)?;
        let mut encoder = self.device.create_command_encoder(&Default::default());
        self.encode_parts(&mut encoder, &pipelines, &upload, &parts, &output, 0, false)?;
        self.read_float(encoder, &output).finish(self)
    }

    /// A recipe's parts and their pipelines, compiled here and now if need be.
    fn parts(
        &self,
        recipe: &Recipe,
        between: Target,
        last: Target,
    ) -> Result<(Vec<Recipe>, Vec<Arc<Pipeline>>), GpuError> {
        let parts = recipe.parts();
        let pipelines = Structure::of_parts(&parts, between, last)
            .iter()
            .map(|s| self.pipelines.wait(s))
            .collect::<Result<_, _>>()?;
        Ok((parts, pipelines))
    }

    /// The same with a given pipeline, onto a target first filled with `poison`.
    pub fn signal_with(
        &self,
        pipeline: &Pipeline,
        recipe: &Recipe,
        frame: &Frame,
        poison: Option<f32>,
    ) -> Result<Vec<[f32; 3]>, GpuError> {
        let upload = self.upload(frame, None)?;
        let (width, height) = recipe.size(frame);
        let output = self.output(width, height, Target::Float)?;
        if let Some(poison) = poison {
            let fill = vec![poison; width as usize * height as usize * 4];
            self.queue.write_texture(
                output.texture.as_image_copy(),
                bytemuck::cast_slice(&fill),
                wgpu::TexelCopyBufferLayout {
                    offset: 0,
                    bytes_per_row: Some(width * 16),
                    rows_per_image: None,
                },
                output.texture.size(),
            );
        }
        let mut encoder = self.device.create_command_encoder(&Default::default());
        self.encode(&mut encoder, pipeline, &upload, recipe, &output, 0, false, None)?;
        self.read_float(encoder, &output).finish(self)
    }

    /// Runs a recipe to codes of `depth` bits; the result is collected with
    /// [`CodesReadback::finish`], so that several frames can be under way.
    pub fn codes(
        &self,
        recipe: &Recipe,
        frame: &Frame,
        depth: u32,
        dither: bool,
    ) -> Result<CodesReadback, GpuError> {
        let (parts, pipelines) = self.parts(recipe, Target::Float, Target::Codes)?;
        let upload = self.upload(frame, None)?;
        let (width, height) = recipe.size(frame);
        let output = self.output(width, height, Target::Codes)?;
        let mut encoder = self.device.create_command_encoder(&Default::default());
        self.encode_parts(&mut encoder, &pipelines, &upload, &parts, &output, depth, dither)?;
        Ok(CodesReadback(self.read_back(encoder, &output)))
    }

    /// Submits `encoder` and starts copying a float output back.
    pub fn read_float(&self, encoder: wgpu::CommandEncoder, output: &Output) -> FloatReadback {
        FloatReadback(self.read_back(encoder, output))
    }

    fn read_back(&self, mut encoder: wgpu::CommandEncoder, output: &Output) -> Readback {
        let texel = match output.target {
            Target::Float => 16,
            Target::Half | Target::Codes | Target::DeepScreen => 8,
            Target::Screen => 4,
        };
        let stride = (output.width * texel).next_multiple_of(wgpu::COPY_BYTES_PER_ROW_ALIGNMENT);
        let buffer = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("read back"),
            size: u64::from(stride) * u64::from(output.height),
            usage: wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ,
            mapped_at_creation: false,
        });
        encoder.copy_texture_to_buffer(
            output.texture.as_image_copy(),
            wgpu::TexelCopyBufferInfo {
                buffer: &buffer,
                layout: wgpu::TexelCopyBufferLayout {
                    offset: 0,
                    bytes_per_row: Some(stride),
                    rows_per_image: None,
                },
            },
            output.texture.size(),
        );
        let submission = self.queue.submit([encoder.finish()]);
        let (tx, mapped) = channel();
        buffer.map_async(wgpu::MapMode::Read, .., move |result| {
            let _ = tx.send(result);
        });
        Readback { buffer, stride, texel, width: output.width, height: output.height, submission, mapped }
    }

    /// Reads an eight-bit output back and waits for it: RGBA bytes, row by row.
    pub fn read_screen(&self, output: &Output) -> Result<Vec<[u8; 4]>, GpuError> {
        let encoder = self.device.create_command_encoder(&Default::default());
        self.read_back(encoder, output).rows(self, |row, out: &mut Vec<[u8; 4]>| {
            out.extend(row.as_chunks::<4>().0);
        })
    }
}

impl Gpu {
    /// Reads a deep output back and waits for it: signal 0…1, row by row.
    pub fn read_deep_screen(&self, output: &Output) -> Result<Vec<[f32; 3]>, GpuError> {
        let encoder = self.device.create_command_encoder(&Default::default());
        self.read_back(encoder, output).rows(self, |row, out| {
            let half = |b: &[u8; 2]| half::f16::from_le_bytes(*b).to_f32();
            out.extend(row.as_chunks::<8>().0.iter().map(|t| {
                let t = t.as_chunks::<2>().0;
                [half(&t[0]), half(&t[1]), half(&t[2])]
            }));
        })
    }
}

struct Readback {
    buffer: wgpu::Buffer,
    stride: u32,
    texel: u32,
    width: u32,
    height: u32,
    submission: wgpu::SubmissionIndex,
    mapped: Receiver<Result<(), wgpu::BufferAsyncError>>,
}

impl Readback {
    fn rows<T>(self, gpu: &Gpu, read: impl Fn(&[u8], &mut Vec<T>)) -> Result<Vec<T>, GpuError> {
        let lost = |e: &dyn std::fmt::Display| GpuError::Lost(e.to_string());
        gpu.device
            .poll(wgpu::PollType::Wait { submission_index: Some(self.submission), timeout: None })
            .map_err(|e| lost(&e))?;
        self.mapped.recv().map_err(|e| lost(&e))?.map_err(|e| lost(&e))?;
        let view = self.buffer.get_mapped_range(..).map_err(|e| lost(&e))?;
        let mut out = Vec::with_capacity(self.width as usize * self.height as usize);
        for row in view.chunks_exact(self.stride as usize) {
            // Rows are padded to wgpu's alignment.
            read(&row[..(self.width * self.texel) as usize], &mut out);
        }
        Ok(out)
    }
}

/// A float picture on its way back.
pub struct FloatReadback(Readback);

impl FloatReadback {
    /// Waits for it: pixels row by row.
    pub fn finish(self, gpu: &Gpu) -> Result<Vec<[f32; 3]>, GpuError> {
        self.0.rows(gpu, |row, out| {
            out.extend(row.as_chunks::<16>().0.iter().map(|t| {
                std::array::from_fn(|c| {
                    f32::from_le_bytes([t[4 * c], t[4 * c + 1], t[4 * c + 2], t[4 * c + 3]])
                })
            }));
        })
    }
}

/// A picture in codes on its way back.
pub struct CodesReadback(Readback);

impl CodesReadback {
    /// Waits for it: codes row by row.
    pub fn finish(self, gpu: &Gpu) -> Result<Vec<[u16; 3]>, GpuError> {
        self.0.rows(gpu, |row, out| {
            out.extend(
                row.as_chunks::<8>()
                    .0
                    .iter()
                    .map(|t| std::array::from_fn(|c| u16::from_le_bytes([t[2 * c], t[2 * c + 1]]))),
            );
        })
    }
}
