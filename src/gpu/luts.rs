//! Look-up tables on the GPU, each sent once.

use std::sync::{Arc, Mutex, Weak};

use crate::colour::Shaped;
use crate::look::MAX_LUTS;
use crate::picture::Recipe;

/// Places for tables that a pass has: the chain's, the output transform's, the calibration's.
pub(super) const PLACES: usize = MAX_LUTS + 2;

/// The tables that recipes have used lately.
pub(super) struct Luts {
    empty: wgpu::TextureView,
    known: Mutex<Vec<(Weak<Shaped<f32>>, wgpu::TextureView)>>,
}

impl Luts {
    pub fn new(device: &wgpu::Device) -> Self {
        Self { empty: empty(device), known: Mutex::default() }
    }

    /// The tables of a recipe's stages, in the order light takes, and those of its tail.
    pub fn of(
        &self,
        device: &wgpu::Device,
        queue: &wgpu::Queue,
        recipe: &Recipe,
    ) -> [wgpu::TextureView; PLACES] {
        let mut out: [_; PLACES] = std::array::from_fn(|_| self.empty.clone());
        let stages = recipe.stages.iter().filter(|s| s.kind.declaration().table);
        for (place, stage) in out[..MAX_LUTS].iter_mut().zip(stages) {
            if let Some(lut) = &stage.lut {
                *place = self.one(device, queue, lut);
            }
        }
        let of_tail = [recipe.tail.show_lut().map(|l| &l.lut.lut), recipe.tail.calibration()];
        for (place, lut) in out[MAX_LUTS..].iter_mut().zip(of_tail) {
            if let Some(lut) = lut {
                *place = self.one(device, queue, lut);
            }
        }
        out
    }

    fn one(&self, device: &wgpu::Device, queue: &wgpu::Queue, lut: &Arc<Shaped<f32>>) -> wgpu::TextureView {
        let mut known = self.known.lock().unwrap_or_else(|e| e.into_inner());
        known.retain(|(weak, _)| weak.strong_count() > 0);
        if let Some((_, view)) = known.iter().find(|(weak, _)| std::ptr::eq(weak.as_ptr(), Arc::as_ptr(lut)))
        {
            return view.clone();
        }
        let view = send(device, queue, lut);
        known.push((Arc::downgrade(lut), view.clone()));
        view
    }
}

fn texture(device: &wgpu::Device, width: u32, slices: u32) -> wgpu::Texture {
    device.create_texture(&wgpu::TextureDescriptor {
        label: Some("table"),
        size: wgpu::Extent3d { width, height: width, depth_or_array_layers: slices },
        mip_level_count: 1,
        sample_count: 1,
        dimension: wgpu::TextureDimension::D3,
        format: wgpu::TextureFormat::Rgba32Float,
        usage: wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
        view_formats: &[],
    })
}

/// What stands where no stage has a table.
pub(super) fn empty(device: &wgpu::Device) -> wgpu::TextureView {
    texture(device, 1, 1).create_view(&Default::default())
}

/// A cube's entries at (red, green, blue), then the curve's in the slices behind, row after row.
fn send(device: &wgpu::Device, queue: &wgpu::Queue, lut: &Shaped<f32>) -> wgpu::TextureView {
    if *lut == Shaped::default() {
        return empty(device);
    }
    let size = lut.cube.as_ref().map_or(0, |c| c.size());
    let entries = lut.shaper.as_ref().map_or(0, |s| s.values().len());
    // Wide enough that the curve's slices stay few.
    let width = size.max(if entries > 16 * size * size { 64 } else { 1 });
    let slices = size + entries.div_ceil(width * width);
    let texture = texture(device, width as u32, slices as u32);
    let copy = |slice: usize, texels: &[[f32; 4]], extent: (usize, usize, usize)| {
        queue.write_texture(
            wgpu::TexelCopyTextureInfo {
                origin: wgpu::Origin3d { x: 0, y: 0, z: slice as u32 },
                ..texture.as_image_copy()
            },
            bytemuck::cast_slice(texels),
            wgpu::TexelCopyBufferLayout {
                offset: 0,
                bytes_per_row: Some(extent.0 as u32 * 16),
                rows_per_image: Some(extent.1 as u32),
            },
            wgpu::Extent3d {
                width: extent.0 as u32,
                height: extent.1 as u32,
                depth_or_array_layers: extent.2 as u32,
            },
        );
    };
    let texel = |[r, g, b]: &[f32; 3]| [*r, *g, *b, 0.0];
    if let Some(cube) = &lut.cube {
        for (blue, slice) in cube.values().chunks(size * size).enumerate() {
            let texels: Vec<[f32; 4]> = slice.iter().map(texel).collect();
            copy(blue, &texels, (size, size, 1));
        }
    }
    if let Some(shaper) = &lut.shaper {
        for (i, slice) in shaper.values().chunks(width * width).enumerate() {
            let mut texels: Vec<[f32; 4]> = slice.iter().map(texel).collect();
            texels.resize(width * width, [0.0; 4]);
            copy(size + i, &texels, (width, width, 1));
        }
    }
    texture.create_view(&Default::default())
}
