//! The tables of output transforms as textures.

use std::sync::{Arc, Mutex};

use crate::colour::Aces2;
use crate::picture::Recipe;

/// A texture for each output transform that was asked for, and one for those without tables.
pub struct Tables {
    none: wgpu::TextureView,
    known: Mutex<Vec<(Arc<Aces2>, wgpu::TextureView)>>,
}

impl Tables {
    pub(super) fn new(device: &wgpu::Device) -> Self {
        Self { none: row(device, 1).create_view(&Default::default()), known: Mutex::default() }
    }

    /// What a recipe's pass binds.
    pub(super) fn of(
        &self,
        device: &wgpu::Device,
        queue: &wgpu::Queue,
        recipe: &Recipe,
    ) -> wgpu::TextureView {
        let Some(aces2) = recipe.aces2() else { return self.none.clone() };
        let mut known = self.known.lock().unwrap_or_else(|e| e.into_inner());
        if let Some((_, view)) = known.iter().find(|(a, _)| Arc::ptr_eq(a, &aces2)) {
            return view.clone();
        }
        // What nobody else keeps any more.
        known.retain(|(a, _)| Arc::strong_count(a) > 1);
        let texels = aces2.texels();
        let texture = row(device, texels.len() as u32);
        queue.write_texture(
            texture.as_image_copy(),
            bytemuck::cast_slice(&texels),
            wgpu::TexelCopyBufferLayout {
                offset: 0,
                bytes_per_row: Some(texels.len() as u32 * 16),
                rows_per_image: None,
            },
            texture.size(),
        );
        let view = texture.create_view(&Default::default());
        known.push((aces2, view.clone()));
        view
    }
}

/// A texture of one row of four single floats a texel; zero at first.
pub(super) fn row(device: &wgpu::Device, width: u32) -> wgpu::Texture {
    device.create_texture(&super::run::texture(
        width,
        1,
        wgpu::TextureFormat::Rgba32Float,
        wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
    ))
}
