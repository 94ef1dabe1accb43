//! The pass that puts a picture beside a reference. Twin of `picture/beside.rs`.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

use super::assembly::{Assembly, WORKGROUP};
use super::device::{Gpu, GpuError};
use super::pipelines::{compile_entry, groups, single};
use super::run::{Output, target_format};
use crate::picture::{BesideValues, Target};

/// The compiled pass, for windows of eight bits and for deep ones.
pub struct BesidePasses {
    layouts: [wgpu::BindGroupLayout; 2],
    pipelines: [wgpu::ComputePipeline; 2],
}

type Compiled = Arc<OnceLock<Result<BesidePasses, GpuError>>>;

/// The pass, compiled when somebody first asks for it.
#[derive(Default)]
pub struct BesidePass {
    compiled: Compiled,
    started: AtomicBool,
}

/// The targets that pictures for windows have.
const TARGETS: [Target; 2] = [Target::Screen, Target::DeepScreen];

impl Assembly {
    /// The pass that puts a picture for windows beside a reference.
    pub fn beside(target: Target) -> Self {
        let (format, value) = match target {
            Target::Screen => ("rgba8unorm", "v"),
            _ => ("rgba16float", "nearest_halves(v)"),
        };
        let (wx, wy) = WORKGROUP;
        let main = format!(
            "@group(0) @binding(0) var picture: texture_2d<f32>;\n\
             @group(0) @binding(1) var reference: texture_2d<u32>;\n\
             @group(0) @binding(2) var<uniform> p: Beside;\n\
             @group(0) @binding(3) var target_picture: texture_storage_2d<{format}, write>;\n\n\
             @compute @workgroup_size({wx}, {wy})\n\
             fn main(@builtin(global_invocation_id) id: vec3<u32>) {{\n    \
             if any(id.xy >= textureDimensions(target_picture)) {{\n        return;\n    }}\n    \
             let v = beside(p, id.xy);\n    \
             textureStore(target_picture, vec2<i32>(id.xy), vec4({value}, 1.0));\n}}\n"
        );
        Self::of(&[
            ("picture/dither.wgsl", include_str!("../../shaders/picture/dither.wgsl")),
            ("pass/half.wgsl", include_str!("../../shaders/pass/half.wgsl")),
            ("picture/beside.wgsl", include_str!("../../shaders/picture/beside.wgsl")),
            ("the pass", &main),
        ])
    }
}

impl BesidePasses {
    fn new(device: &wgpu::Device) -> Result<Self, GpuError> {
        let entry = |binding, ty| wgpu::BindGroupLayoutEntry {
            binding,
            visibility: wgpu::ShaderStages::COMPUTE,
            ty,
            count: None,
        };
        let layout = |target| {
            let entries = [
                single(0),
                entry(
                    1,
                    wgpu::BindingType::Texture {
                        sample_type: wgpu::TextureSampleType::Uint,
                        view_dimension: wgpu::TextureViewDimension::D2,
                        multisampled: false,
                    },
                ),
                entry(
                    2,
                    wgpu::BindingType::Buffer {
                        ty: wgpu::BufferBindingType::Uniform,
                        has_dynamic_offset: false,
                        min_binding_size: None,
                    },
                ),
                entry(
                    3,
                    wgpu::BindingType::StorageTexture {
                        access: wgpu::StorageTextureAccess::WriteOnly,
                        format: target_format(target),
                        view_dimension: wgpu::TextureViewDimension::D2,
                    },
                ),
            ];
            device.create_bind_group_layout(&wgpu::BindGroupLayoutDescriptor {
                label: Some("beside"),
                entries: &entries,
            })
        };
        let layouts = TARGETS.map(layout);
        let compiled = |i: usize| compile_entry(device, &Assembly::beside(TARGETS[i]), &layouts[i], "main");
        Ok(Self { pipelines: [compiled(0)?, compiled(1)?], layouts })
    }
}

impl Gpu {
    /// The pass if it is compiled. If nobody has asked for it before, compiling starts on another thread and
    /// `when_ready` is called from there at its end.
    pub fn beside_ready(&self, when_ready: impl FnOnce() + Send + 'static) -> Option<&BesidePasses> {
        if !self.beside.started.swap(true, Ordering::AcqRel) {
            let (compiled, device) = (self.beside.compiled.clone(), self.device.clone());
            self.work.spawn(move || {
                if let Err(e) = compiled.get_or_init(|| BesidePasses::new(&device)) {
                    tracing::error!("{e}");
                }
                when_ready();
            });
        }
        self.beside.compiled.get().and_then(|made| made.as_ref().ok())
    }

    /// The pass, compiled here and now if need be.
    ///
    /// # Errors
    /// [`GpuError::Shader`] if it was refused.
    pub fn beside(&self) -> Result<&BesidePasses, GpuError> {
        let made = self.beside.compiled.get_or_init(|| BesidePasses::new(&self.device));
        made.as_ref().map_err(|e| GpuError::Shader {
            file: "picture/beside.wgsl".into(),
            line: 0,
            why: e.to_string(),
        })
    }

    /// Adds the pass to `encoder`: `picture` ([`Target::Screen`] or [`Target::DeepScreen`]) beside `reference`
    /// ([`Target::Codes`], 16 bits) into `output`, which is of the picture's kind. All three are as large as `values` say.
    pub fn encode_beside(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        passes: &BesidePasses,
        picture: &Output,
        reference: &Output,
        values: &BesideValues,
        output: &Output,
    ) {
        let which = usize::from(output.target != Target::Screen);
        let numbers = self.uniform(bytemuck::cast_slice(values.words().as_flattened()));
        let view = wgpu::BindingResource::TextureView;
        let resources =
            [view(&picture.view), view(&reference.view), numbers.as_entire_binding(), view(&output.view)];
        let entries: Vec<_> = (0..)
            .zip(resources)
            .map(|(binding, resource)| wgpu::BindGroupEntry { binding, resource })
            .collect();
        let group = self.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: Some("beside"),
            layout: &passes.layouts[which],
            entries: &entries,
        });
        let mut pass = encoder.begin_compute_pass(&Default::default());
        pass.set_pipeline(&passes.pipelines[which]);
        pass.set_bind_group(0, &group, &[]);
        let (x, y) = groups((output.width, output.height));
        pass.dispatch_workgroups(x, y, 1);
    }

    /// A reference on the GPU: `pixels` of signal in codes of 16 bits, row by row.
    ///
    /// # Errors
    /// [`GpuError::TooLarge`].
    pub fn reference(&self, (width, height): (u32, u32), pixels: &[[u16; 3]]) -> Result<Output, GpuError> {
        let output = self.output(width, height, Target::Codes)?;
        let texels: Vec<[u16; 4]> = pixels.iter().map(|[r, g, b]| [*r, *g, *b, 65_535]).collect();
        self.queue.write_texture(
            output.texture.as_image_copy(),
            bytemuck::cast_slice(&texels),
            wgpu::TexelCopyBufferLayout { offset: 0, bytes_per_row: Some(width * 8), rows_per_image: None },
            output.texture.size(),
        );
        Ok(output)
    }
}
