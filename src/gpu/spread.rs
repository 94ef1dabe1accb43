//! Passes of stages that read their neighbours: a pyramid down, a ring, and up again. See `picture/spread.rs`.

use std::sync::Arc;

use super::assembly::{Assembly, WORKGROUP};
use super::device::{Gpu, GpuError};
use super::pipelines::{compile, groups, single};
use super::run::{Output, target_format, texture};
use crate::look::{Kernel, Kind};
use crate::picture::{Layout, StageValues, Target, coarser, ring_taps};

/// The compiled passes of a stage that reads its neighbours, for pictures of one kind.
pub(super) struct Spread {
    target: Target,
    source: Pass,
    down: Pass,
    ring: Pass,
    up: Pass,
}

struct Pass {
    pipeline: wgpu::ComputePipeline,
    layout: wgpu::BindGroupLayout,
}

impl Pass {
    fn new(
        device: &wgpu::Device,
        assembly: &Assembly,
        target: Target,
        textures: u32,
        numbers: bool,
    ) -> Result<Self, GpuError> {
        let mut entries: Vec<_> = (0..textures).map(single).collect();
        if numbers {
            entries.push(wgpu::BindGroupLayoutEntry {
                binding: 3,
                visibility: wgpu::ShaderStages::COMPUTE,
                ty: wgpu::BindingType::Buffer {
                    ty: wgpu::BufferBindingType::Uniform,
                    has_dynamic_offset: false,
                    min_binding_size: None,
                },
                count: None,
            });
        }
        entries.push(wgpu::BindGroupLayoutEntry {
            binding: 4,
            visibility: wgpu::ShaderStages::COMPUTE,
            ty: wgpu::BindingType::StorageTexture {
                access: wgpu::StorageTextureAccess::WriteOnly,
                format: target_format(target),
                view_dimension: wgpu::TextureViewDimension::D2,
            },
            count: None,
        });
        let (pipeline, layout) = compile(device, assembly, &entries)?;
        Ok(Self { pipeline, layout })
    }

    fn run(
        &self,
        gpu: &Gpu,
        encoder: &mut wgpu::CommandEncoder,
        read: &[&wgpu::TextureView],
        numbers: Option<&[f32]>,
        output: &Output,
    ) {
        let numbers = numbers.map(|n| gpu.uniform(n));
        let mut entries: Vec<_> = (0..)
            .zip(read)
            .map(|(binding, view)| wgpu::BindGroupEntry {
                binding,
                resource: wgpu::BindingResource::TextureView(view),
            })
            .collect();
        if let Some(buffer) = &numbers {
            entries.push(wgpu::BindGroupEntry { binding: 3, resource: buffer.as_entire_binding() });
        }
        let target = wgpu::BindingResource::TextureView(&output.view);
        entries.push(wgpu::BindGroupEntry { binding: 4, resource: target });
        let group = gpu.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: None,
            layout: &self.layout,
            entries: &entries,
        });
        let mut pass = encoder.begin_compute_pass(&Default::default());
        pass.set_pipeline(&self.pipeline);
        pass.set_bind_group(0, &group, &[]);
        let (x, y) = groups((output.width, output.height));
        pass.dispatch_workgroups(x, y, 1);
    }
}

impl Spread {
    /// Compiles the passes of a stage, for pictures that are kept as `target` says.
    pub fn new(device: &wgpu::Device, kind: Kind, target: Target) -> Result<Self, GpuError> {
        let [source, down, ring, up] = Assembly::spread(kind, target);
        Ok(Self {
            target,
            source: Pass::new(device, &source, target, 1, true)?,
            down: Pass::new(device, &down, target, 1, false)?,
            ring: Pass::new(device, &ring, target, 1, true)?,
            up: Pass::new(device, &up, target, 2, true)?,
        })
    }

    /// What is spread of `picture`, at half its size.
    pub fn encode(
        &self,
        gpu: &Gpu,
        encoder: &mut wgpu::CommandEncoder,
        stage: &StageValues,
        kernel: &Kernel,
        picture: &Output,
    ) -> Result<Arc<Output>, GpuError> {
        let mut size = (picture.width, picture.height);
        let mut next = || {
            size = coarser(size);
            gpu.scratch(size, self.target)
        };
        let mut levels = vec![next()?];
        self.source.run(gpu, encoder, &[&picture.view], Some(&Layout::write_stage(stage)), &levels[0]);
        while levels.len() < kernel.weights.len() {
            let level = next()?;
            self.down.run(gpu, encoder, &[&levels[levels.len() - 1].view], None, &level);
            levels.push(level);
        }
        let mut sum = levels.pop().expect("a kernel has a level");
        if let Some(ring) = &kernel.ring {
            let taps: Vec<f32> = ring_taps(ring).into_iter().flat_map(|[x, y, s]| [x, y, s, 0.0]).collect();
            let made = gpu.scratch((sum.width, sum.height), self.target)?;
            self.ring.run(gpu, encoder, &[&sum.view], Some(&taps), &made);
            sum = made;
        }
        let weight = |l: usize| kernel.weights[l].map(|w| w as f32);
        // What the coarsest level itself weighs is taken on the way up from it.
        let mut more = weight(levels.len());
        while let Some(level) = levels.pop() {
            let made = gpu.scratch((level.width, level.height), self.target)?;
            let [own, from] = [weight(levels.len()), more].map(|[r, g, b]| [r, g, b, 0.0]);
            self.up.run(gpu, encoder, &[&level.view, &sum.view], Some(&[own, from].concat()), &made);
            (sum, more) = (made, [1.0; 3]);
        }
        Ok(sum)
    }
}

impl Gpu {
    /// A texture for passes in between, of which nobody holds on to the contents: work is done in the order in which it
    /// is encoded, so that it may be used again as soon as it is let go.
    pub(super) fn scratch(&self, size: (u32, u32), target: Target) -> Result<Arc<Output>, GpuError> {
        let mut pool = self.scratch.lock().unwrap_or_else(|e| e.into_inner());
        let free = pool.iter().position(|o| {
            (o.width, o.height, o.target) == (size.0, size.1, target) && Arc::strong_count(o) == 1
        });
        if let Some(free) = free {
            // Moved to the end: what has not been used for longest goes first.
            let found = pool.remove(free);
            pool.push(found.clone());
            return Ok(found);
        }
        if pool.len() >= SCRATCH {
            if let Some(old) = pool.iter().position(|o| Arc::strong_count(o) == 1) {
                pool.remove(old);
            }
        }
        let texture = self.device.create_texture(&texture(
            size.0,
            size.1,
            target_format(target),
            wgpu::TextureUsages::STORAGE_BINDING | wgpu::TextureUsages::TEXTURE_BINDING,
        ));
        let view = texture.create_view(&Default::default());
        let made = Arc::new(Output { width: size.0, height: size.1, target, texture, view });
        pool.push(made.clone());
        Ok(made)
    }
}

/// Textures kept for passes in between: more than the levels of two sizes of picture take.
const SCRATCH: usize = 64;

// What a workgroup shares in `spread_down.wgsl` is laid out for this shape.
const _: () = assert!(WORKGROUP.0 == 8 && WORKGROUP.1 == 8);
