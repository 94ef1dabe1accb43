//! Passes of stages that read their neighbours: a pyramid down, a ring, and up again; the small levels in one dispatch.
//! See `picture/spread.rs`.

use std::sync::Arc;

use super::assembly::Assembly;
use super::device::{Gpu, GpuError};
use super::pipelines::{compile, groups, single};
use super::run::{Output, target_format, texture};
use crate::look::{Kernel, Kind, MOST_LEVELS};
use crate::picture::{Layout, StageValues, Target, coarser, ring_taps};

/// The compiled passes of a stage that reads its neighbours, for pictures of one kind.
pub(super) struct Spread {
    target: Target,
    source: Pass,
    down: Pass,
    ring: Pass,
    tail: Pass,
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

    /// Adds it to a pass. `numbers` are a buffer and where in it its own are.
    fn run(
        &self,
        gpu: &Gpu,
        pass: &mut wgpu::ComputePass<'_>,
        read: &[&wgpu::TextureView],
        numbers: Option<(&wgpu::Buffer, Block)>,
        output: &Output,
        groups: (u32, u32),
    ) {
        let mut entries: Vec<_> = (0..)
            .zip(read)
            .map(|(binding, view)| wgpu::BindGroupEntry {
                binding,
                resource: wgpu::BindingResource::TextureView(view),
            })
            .collect();
        if let Some((buffer, block)) = numbers {
            let resource = wgpu::BindingResource::Buffer(wgpu::BufferBinding {
                buffer,
                offset: block.offset,
                size: std::num::NonZeroU64::new(block.size),
            });
            entries.push(wgpu::BindGroupEntry { binding: 3, resource });
        }
        let target = wgpu::BindingResource::TextureView(&output.view);
        entries.push(wgpu::BindGroupEntry { binding: 4, resource: target });
        let group = gpu.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: None,
            layout: &self.layout,
            entries: &entries,
        });
        pass.set_pipeline(&self.pipeline);
        pass.set_bind_group(0, &group, &[]);
        pass.dispatch_workgroups(groups.0, groups.1, 1);
    }
}

/// Where in a buffer a pass's numbers are, bytes.
#[derive(Clone, Copy)]
struct Block {
    offset: u64,
    size: u64,
}

/// The numbers of all passes of a stage, which share a buffer.
#[derive(Default)]
struct Blocks(Vec<f32>);

impl Blocks {
    fn push(&mut self, numbers: &[f32]) -> Block {
        // As WebGPU's limits allow everywhere.
        self.0.resize(self.0.len().next_multiple_of(64), 0.0);
        let block = Block { offset: 4 * self.0.len() as u64, size: 4 * numbers.len() as u64 };
        self.0.extend(numbers);
        block
    }
}

impl Spread {
    /// Compiles the passes of a stage, for pictures that are kept as `target` says.
    pub fn new(device: &wgpu::Device, kind: Kind, target: Target) -> Result<Self, GpuError> {
        let [source, down, ring, tail, up] = Assembly::spread(kind, target);
        Ok(Self {
            target,
            source: Pass::new(device, &source, target, 1, true)?,
            down: Pass::new(device, &down, target, 1, false)?,
            ring: Pass::new(device, &ring, target, 1, true)?,
            tail: Pass::new(device, &tail, target, 1, true)?,
            up: Pass::new(device, &up, target, 2, true)?,
        })
    }

    /// What is spread of `picture`, at half its size.
    pub fn encode(
        &self,
        gpu: &Gpu,
        pass: &mut wgpu::ComputePass<'_>,
        stage: &StageValues,
        kernel: &Kernel,
        picture: &Output,
    ) -> Result<Arc<Output>, GpuError> {
        let weight = |l: usize| kernel.weights[l].map(|w| w as f32);
        let mut sizes = vec![coarser((picture.width, picture.height))];
        while sizes.len() < kernel.weights.len() {
            sizes.push(coarser(sizes[sizes.len() - 1]));
        }
        // From which level on one workgroup does the rest, if that saves anything.
        let pixels = |size: &(u32, u32)| u64::from(size.0) * u64::from(size.1);
        let fits = |from: &usize| sizes[from + 1..].iter().map(pixels).sum::<u64>() <= TAIL_PIXELS;
        let most = if kernel.ring.is_some() { 0 } else { sizes.len().saturating_sub(2) };
        let tail = (0..most).find(fits);
        let made = tail.map_or(sizes.len(), |from| from + 1);

        let mut blocks = Blocks::default();
        let of_source = blocks.push(&Layout::write_stage(stage));
        let of_tail = tail.map(|from| {
            let mut numbers = vec![0.0; 4 * (MOST_LEVELS + 1)];
            let mut begins = 0;
            for (i, l) in (from..sizes.len()).enumerate() {
                numbers[4 * i..4 * i + 3].copy_from_slice(&weight(l));
                if i > 0 {
                    numbers[4 * i + 3] = begins as f32;
                    begins += pixels(&sizes[l]);
                }
            }
            numbers[4 * MOST_LEVELS] = (sizes.len() - 1 - from) as f32;
            blocks.push(&numbers)
        });
        let of_ring = kernel.ring.as_ref().map(|ring| {
            let taps: Vec<f32> = ring_taps(ring).into_iter().flat_map(|[x, y, s]| [x, y, s, 0.0]).collect();
            blocks.push(&taps)
        });
        // What the coarsest level itself weighs is taken on the way up from it.
        let mut more = if tail.is_some() { [1.0; 3] } else { weight(sizes.len() - 1) };
        let ups: Vec<Block> = (0..made - 1)
            .rev()
            .map(|l| {
                let [own, from] = [weight(l), more].map(|[r, g, b]| [r, g, b, 0.0]);
                more = [1.0; 3];
                blocks.push(&[own, from].concat())
            })
            .collect();
        let buffer = &gpu.uniform(&blocks.0);

        let scratch = |l: usize| gpu.scratch(sizes[l], self.target);
        let mut levels = vec![scratch(0)?];
        self.source.run(
            gpu,
            pass,
            &[&picture.view],
            Some((buffer, of_source)),
            &levels[0],
            down_groups(sizes[0]),
        );
        for l in 1..made {
            let level = scratch(l)?;
            self.down.run(gpu, pass, &[&levels[l - 1].view], None, &level, down_groups(sizes[l]));
            levels.push(level);
        }
        let mut sum = levels.pop().expect("a kernel has a level");
        let on_last = of_tail.map(|b| (&self.tail, b, (1, 1)));
        let on_last = on_last.or(of_ring.map(|b| (&self.ring, b, groups(sizes[made - 1]))));
        if let Some((last, block, by)) = on_last {
            let made = scratch(made - 1)?;
            last.run(gpu, pass, &[&sum.view], Some((buffer, block)), &made, by);
            sum = made;
        }
        for block in ups {
            let level = levels.pop().expect("there is a block for each");
            let size = (level.width, level.height);
            let made = gpu.scratch(size, self.target)?;
            self.up.run(gpu, pass, &[&level.view, &sum.view], Some((buffer, block)), &made, groups(size));
            sum = made;
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

/// Pixels that one workgroup can share: WebGPU's 16 KiB, see `spread_tail.wgsl`.
const TAIL_PIXELS: u64 = 1024;

/// Textures kept for passes in between: more than the levels of two sizes of picture take.
const SCRATCH: usize = 64;

/// Workgroups of `spread_down.wgsl` for a level: 16 × 4 invocations make 2 × 4 pixels each.
fn down_groups(size: (u32, u32)) -> (u32, u32) {
    (size.0.div_ceil(32), size.1.div_ceil(16))
}

// The tail's numbers are laid out for so many.
const _: () = assert!(MOST_LEVELS == 12);
