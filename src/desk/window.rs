//! A window's surface, and the blit that puts a finished picture into it.

use std::sync::Arc;

use winit::window::Window;

use super::app::DeskError;
use crate::engine::Picture;
use crate::gpu::Gpu;

/// A window with its surface.
pub(super) struct WindowSurface {
    pub window: Arc<Window>,
    pub surface: wgpu::Surface<'static>,
    pub config: wgpu::SurfaceConfiguration,
}

impl WindowSurface {
    /// Chooses a format that holds display signal as it is: eight bits, not sRGB-converted on the way.
    pub fn new(
        gpu: &Gpu,
        window: Arc<Window>,
        surface: wgpu::Surface<'static>,
        present_mode: wgpu::PresentMode,
    ) -> Result<Self, DeskError> {
        let offers = surface.get_capabilities(&gpu.adapter);
        let wanted = [wgpu::TextureFormat::Bgra8Unorm, wgpu::TextureFormat::Rgba8Unorm];
        let format = wanted.into_iter().find(|f| offers.formats.contains(f)).ok_or_else(|| {
            DeskError::Surface(format!(
                "the window system offers the picture formats {:?}; one of {wanted:?} is needed (a screen of \
                 24 bits of colour has them)",
                offers.formats
            ))
        })?;
        let size = window.inner_size();
        let mut config = surface
            .get_default_config(&gpu.adapter, size.width.max(1), size.height.max(1))
            .ok_or_else(|| DeskError::Surface("this GPU cannot draw to this window".into()))?;
        config.format = format;
        config.present_mode = present_mode;
        config.desired_maximum_frame_latency = 1;
        surface.configure(&gpu.device, &config);
        Ok(Self { window, surface, config })
    }

    pub fn resize(&mut self, gpu: &Gpu, width: u32, height: u32) {
        let limit = gpu.device.limits().max_texture_dimension_2d;
        if width > 0 && height > 0 {
            self.config.width = width.min(limit);
            self.config.height = height.min(limit);
            self.surface.configure(&gpu.device, &self.config);
        }
    }

    /// The next texture to draw to; `None` where the window cannot be seen now.
    pub fn acquire(&mut self, gpu: &Gpu) -> Option<wgpu::SurfaceTexture> {
        for _ in 0..2 {
            match self.surface.get_current_texture() {
                wgpu::CurrentSurfaceTexture::Success(texture) => return Some(texture),
                wgpu::CurrentSurfaceTexture::Suboptimal(texture) => return Some(texture),
                wgpu::CurrentSurfaceTexture::Outdated | wgpu::CurrentSurfaceTexture::Lost => {
                    self.surface.configure(&gpu.device, &self.config);
                }
                _ => return None,
            }
        }
        None
    }
}

/// Where a picture goes in a window, in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub origin: [f32; 2],
    pub size: [f32; 2],
}

impl Place {
    /// The largest place of the picture's shape in the middle of an area; whole pixels, and the very size
    /// of the picture where that fits within one part in fifty.
    pub fn fit(picture: (u32, u32), origin: [f32; 2], area: [f32; 2]) -> Self {
        let (w, h) = (picture.0 as f32, picture.1 as f32);
        let scale = (area[0] / w).min(area[1] / h).max(0.0);
        let scale = if (1.0..1.02).contains(&scale) { 1.0 } else { scale };
        let size = [(w * scale).round().max(1.0), (h * scale).round().max(1.0)];
        let origin = std::array::from_fn(|i| (origin[i] + (area[i] - size[i]) / 2.0).round());
        Self { origin, size }
    }
}

/// The size of a picture's shape that has as many pixels as `size`; `size` itself if it has that shape.
pub(super) fn of_shape(size: (u32, u32), picture: (u32, u32)) -> (u32, u32) {
    let area = f64::from(size.0) * f64::from(size.1);
    let ratio = f64::from(picture.0) / f64::from(picture.1);
    let side = |v: f64| v.round().max(1.0) as u32;
    let found = (side((area * ratio).sqrt()), side((area / ratio).sqrt()));
    // A pixel is what rounding did.
    if found.0.abs_diff(size.0).max(found.1.abs_diff(size.1)) <= 1 { size } else { found }
}

/// The last step to a window.
pub(super) struct Blit {
    pipeline: wgpu::RenderPipeline,
    sampler: wgpu::Sampler,
}

/// What is around a picture: display signal, about 2 % of white's light (viewing practice for a suite).
pub(super) const SURROUND: f32 = 0.195;

impl Blit {
    pub fn new(gpu: &Gpu, format: wgpu::TextureFormat) -> Self {
        let module = gpu.device.create_shader_module(wgpu::ShaderModuleDescriptor {
            label: Some("blit"),
            source: wgpu::ShaderSource::Wgsl(include_str!("../../shaders/pass/blit.wgsl").into()),
        });
        let pipeline = gpu.device.create_render_pipeline(&wgpu::RenderPipelineDescriptor {
            label: Some("blit"),
            layout: None,
            vertex: wgpu::VertexState {
                module: &module,
                entry_point: Some("corner"),
                compilation_options: Default::default(),
                buffers: &[],
            },
            fragment: Some(wgpu::FragmentState {
                module: &module,
                entry_point: Some("fill"),
                compilation_options: Default::default(),
                targets: &[Some(format.into())],
            }),
            primitive: Default::default(),
            depth_stencil: None,
            multisample: Default::default(),
            multiview_mask: None,
            cache: None,
        });
        let sampler = gpu.device.create_sampler(&wgpu::SamplerDescriptor {
            mag_filter: wgpu::FilterMode::Linear,
            min_filter: wgpu::FilterMode::Linear,
            ..Default::default()
        });
        Self { pipeline, sampler }
    }

    /// What a draw of `picture` at `place` binds.
    pub fn bind(&self, gpu: &Gpu, picture: &Picture, place: Place) -> wgpu::BindGroup {
        let numbers = [
            place.origin[0],
            place.origin[1],
            place.size[0],
            place.size[1],
            SURROUND,
            SURROUND,
            SURROUND,
            1.0,
        ];
        let buffer = gpu.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("placement"),
            size: 32,
            usage: wgpu::BufferUsages::UNIFORM | wgpu::BufferUsages::COPY_DST,
            mapped_at_creation: false,
        });
        gpu.queue.write_buffer(&buffer, 0, bytemuck::cast_slice(&numbers));
        gpu.device.create_bind_group(&wgpu::BindGroupDescriptor {
            label: None,
            layout: &self.pipeline.get_bind_group_layout(0),
            entries: &[
                wgpu::BindGroupEntry {
                    binding: 0,
                    resource: wgpu::BindingResource::TextureView(&picture.output.view),
                },
                wgpu::BindGroupEntry { binding: 1, resource: wgpu::BindingResource::Sampler(&self.sampler) },
                wgpu::BindGroupEntry { binding: 2, resource: buffer.as_entire_binding() },
            ],
        })
    }

    /// Draws into the part of the window that a scissor leaves.
    pub fn draw(&self, pass: &mut wgpu::RenderPass<'_>, group: &wgpu::BindGroup) {
        pass.set_pipeline(&self.pipeline);
        pass.set_bind_group(0, group, &[]);
        pass.draw(0..3, 0..1);
    }
}

/// The surround as a clear colour.
pub(super) fn surround() -> wgpu::Color {
    let v = f64::from(SURROUND);
    wgpu::Color { r: v, g: v, b: v, a: 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_that_fits_is_shown_pixel_for_pixel() {
        let place = Place::fit((960, 540), [0.0, 0.0], [960.0, 540.0]);
        assert_eq!(place, Place { origin: [0.0, 0.0], size: [960.0, 540.0] });
        let place = Place::fit((960, 540), [200.0, 0.0], [970.0, 600.0]);
        assert_eq!(place.size, [960.0, 540.0]);
        assert_eq!(place.origin, [205.0, 30.0]);
    }

    #[test]
    fn a_window_takes_a_pictures_shape() {
        assert_eq!(of_shape((960, 540), (1920, 1080)), (960, 540));
        assert_eq!(of_shape((960, 540), (1080, 1920)), (540, 960));
        assert_eq!(of_shape((960, 540), (4, 3)), (831, 624));
        assert_eq!(of_shape((831, 624), (16, 9)), (960, 540));
        assert_eq!(of_shape((961, 541), (16, 9)), (961, 541));
    }

    #[test]
    fn a_picture_keeps_its_shape() {
        let place = Place::fit((1920, 1080), [0.0, 0.0], [960.0, 960.0]);
        assert_eq!(place.size, [960.0, 540.0]);
        assert_eq!(place.origin, [0.0, 210.0]);
    }
}
