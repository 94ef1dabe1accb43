//! The tables of output transforms as textures.

use std::sync::{Arc, Mutex};

use crate::colour::Aces2;
use crate::picture::Recipe;

/// Output transforms whose tables a pass reads: the tail's, and the one that the footage is taken back through.
type Pair = [Option<Arc<Aces2>>; 2];

/// A texture for each pair of output transforms that was asked for, and one for passes without tables.
pub struct Tables {
    none: wgpu::TextureView,
    known: Mutex<Vec<(Pair, wgpu::TextureView)>>,
}

impl Tables {
    pub(super) fn new(device: &wgpu::Device) -> Self {
        Self { none: rows(device, 1, 1).create_view(&Default::default()), known: Mutex::default() }
    }

    /// What a recipe's pass binds: a row of texels for each of the pair.
    pub(super) fn of(
        &self,
        device: &wgpu::Device,
        queue: &wgpu::Queue,
        recipe: &Recipe,
    ) -> wgpu::TextureView {
        let pair: Pair = [recipe.aces2(), recipe.undone_aces2()];
        let count = pair.iter().rposition(Option::is_some).map_or(0, |last| last + 1);
        if count == 0 {
            return self.none.clone();
        }
        let mut known = self.known.lock().unwrap_or_else(|e| e.into_inner());
        let key = |pair: &Pair| pair.each_ref().map(|a| a.as_ref().map(Arc::as_ptr));
        if let Some((_, view)) = known.iter().find(|(p, _)| key(p) == key(&pair)) {
            return view.clone();
        }
        // What nobody else keeps any more.
        known.retain(|(pair, _)| pair.iter().flatten().all(|a| Arc::strong_count(a) > 1));
        let texels: Vec<[f32; 4]> = pair[..count]
            .iter()
            .flat_map(|a| a.as_ref().map_or_else(|| vec![[0.0; 4]; Aces2::TEXELS], |a| a.texels()))
            .collect();
        let texture = rows(device, Aces2::TEXELS as u32, count as u32);
        queue.write_texture(
            texture.as_image_copy(),
            bytemuck::cast_slice(&texels),
            wgpu::TexelCopyBufferLayout {
                offset: 0,
                bytes_per_row: Some(Aces2::TEXELS as u32 * 16),
                rows_per_image: None,
            },
            texture.size(),
        );
        let view = texture.create_view(&Default::default());
        known.push((pair, view.clone()));
        view
    }
}

/// A texture of four single floats a texel; zero at first.
pub(super) fn rows(device: &wgpu::Device, width: u32, height: u32) -> wgpu::Texture {
    device.create_texture(&super::run::texture(
        width,
        height,
        wgpu::TextureFormat::Rgba32Float,
        wgpu::TextureUsages::TEXTURE_BINDING | wgpu::TextureUsages::COPY_DST,
    ))
}
