//! A window's surface, and the blit that puts a finished picture into it.

use std::sync::Arc;

use winit::window::Window;

use super::app::DeskError;
use super::surface::{Beside, Choice};
use crate::colour::Display;
use crate::engine::Picture;
use crate::gpu::Gpu;
use crate::show::OutputSettings;

/// A window with its surface.
pub(super) struct WindowSurface {
    pub window: Arc<Window>,
    pub surface: wgpu::Surface<'static>,
    pub config: wgpu::SurfaceConfiguration,
    beside: Beside,
    /// The display that the surface was chosen for.
    display: Arc<Display>,
    /// Is the signal calibrated for its monitor?
    calibrated: bool,
    choice: Choice,
}

fn chosen(
    display: &Display,
    calibrated: bool,
    beside: Beside,
    offers: &[wgpu::SurfaceFormatCapabilities],
) -> Option<Choice> {
    if calibrated { Choice::untouched(offers) } else { Choice::best(display, beside, offers) }
}

impl WindowSurface {
    /// Chooses a surface for an output's signal; see [`Choice::best`].
    pub fn new(
        gpu: &Gpu,
        window: Arc<Window>,
        surface: wgpu::Surface<'static>,
        present_mode: wgpu::PresentMode,
        output: &OutputSettings,
        beside: Beside,
    ) -> Result<Self, DeskError> {
        let offers = surface.get_capabilities(&gpu.adapter).format_capabilities;
        let (display, calibrated) = (output.display.clone(), output.calibration.is_some());
        let choice = chosen(&display, calibrated, beside, &offers).ok_or_else(|| {
            let formats: Vec<_> = offers.iter().map(|o| o.format).collect();
            DeskError::Surface(format!(
                "the window system offers the picture formats {formats:?}; one of {:?} is needed, as sRGB (a screen of \
                 24 bits of colour has one)",
                Choice::FORMATS
            ))
        })?;
        let size = window.inner_size();
        let mut config = surface
            .get_default_config(&gpu.adapter, size.width.max(1), size.height.max(1))
            .ok_or_else(|| DeskError::Surface("this GPU cannot draw to this window".into()))?;
        (config.format, config.color_space) = (choice.format, choice.space);
        config.present_mode = present_mode;
        config.desired_maximum_frame_latency = 1;
        surface.configure(&gpu.device, &config);
        Ok(Self { window, surface, config, beside, display, calibrated, choice })
    }

    /// Chooses again where the display is another one, or `again`: on another monitor other surfaces may be offered.
    /// With the interface beside it the format stays, since what draws that is made for it. Tells whether the format
    /// or its meaning is another.
    pub fn choose(&mut self, gpu: &Gpu, output: &OutputSettings, again: bool) -> bool {
        let calibrated = output.calibration.is_some();
        if self.display == output.display && self.calibrated == calibrated && !again {
            return false;
        }
        (self.display, self.calibrated) = (output.display.clone(), calibrated);
        let mut offers = self.surface.get_capabilities(&gpu.adapter).format_capabilities;
        if self.beside == Beside::Interface {
            offers.retain(|o| o.format == self.config.format);
        }
        let Some(choice) = chosen(&self.display, calibrated, self.beside, &offers) else {
            return false;
        };
        let other = choice != self.choice;
        if other {
            self.choice = choice;
            (self.config.format, self.config.color_space) = (choice.format, choice.space);
            self.surface.configure(&gpu.device, &self.config);
        }
        other
    }

    /// Bits of a channel.
    pub fn bits(&self) -> u32 {
        self.choice.bits()
    }

    /// What is true of what the window shows.
    pub fn truth(&self) -> String {
        self.choice.truth(&self.display)
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

    /// What a draw of `picture` at `place` binds, with a signal around it.
    pub fn bind(&self, gpu: &Gpu, picture: &Picture, place: Place, around: f32) -> wgpu::BindGroup {
        let numbers =
            [place.origin[0], place.origin[1], place.size[0], place.size[1], around, around, around, 1.0];
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

/// The same signal in all channels, as a clear colour.
pub(super) fn clear_to(signal: f32) -> wgpu::Color {
    let v = f64::from(signal);
    wgpu::Color { r: v, g: v, b: v, a: 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::encoding;
    use crate::picture::{Frame, Recipe, Structure, Tail, Target, cpu};

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

    /// A dithered picture on its way to windows of 8 and 10 bits, which may share one device: what is drawn into their
    /// formats are the codes that the CPU twin says.
    #[test]
    fn a_window_of_ten_bits_gets_ten() {
        use wgpu::TextureFormat::{Bgra8Unorm, Rgb10a2Unorm};
        let gpu = Gpu::headless(Default::default()).expect("the tests need an adapter");
        let (width, height) = (256u32, 16);
        let ramp: Vec<[f32; 3]> = (0..width * height)
            .map(|i| [0.0, 0.3, 1.0].map(|from: f32| (from + i as f32 / 4095.0).fract()))
            .collect();
        let frame = Frame::from_rgb(width, &ramp).unwrap();
        let acescg = encoding("acescg").unwrap();
        let recipe = Recipe::conversion(acescg, Tail::Encoding(acescg)).at_frame(7);
        for (target, depth, format) in [
            (Target::Screen, 8, Bgra8Unorm),
            (Target::DeepScreen, 8, Bgra8Unorm),
            (Target::DeepScreen, 10, Rgb10a2Unorm),
        ] {
            let pipeline = gpu.pipelines.wait(&Structure::of(&recipe, target)).unwrap();
            let upload = gpu.upload(&frame, None).unwrap();
            let output = Arc::new(gpu.output(width, height, target).unwrap());
            let mut encoder = gpu.device.create_command_encoder(&Default::default());
            gpu.encode(&mut encoder, &pipeline, &upload, &recipe, &output, depth, true, None).unwrap();
            gpu.queue.submit([encoder.finish()]);
            let time = std::time::Duration::ZERO;
            let picture = Picture {
                output,
                traces: None,
                tally: None,
                shot: 0,
                show: Arc::new(crate::show::Show::new("")),
                compare: crate::engine::Compare::After,
                trying: None,
                fetched: None,
                frame: 7,
                serial: 1,
                cost: time,
                delay: None,
            };
            let bytes = drawn(&gpu, &picture, format);
            let wanted = cpu::codes(&recipe, &frame, depth, true).pixels;
            assert_eq!(bytes.len(), wanted.len());
            let mut other = 0;
            for (word, wanted) in bytes.into_iter().zip(&wanted) {
                let [b0, b1, b2, _] = word;
                let packed = u32::from_le_bytes(word);
                let found = match format {
                    Rgb10a2Unorm => [packed & 1023, packed >> 10 & 1023, packed >> 20 & 1023],
                    _ => [b2, b1, b0].map(u32::from),
                };
                for c in 0..3 {
                    let off = found[c].abs_diff(wanted[c].into());
                    // On the nearer side of a rounding.
                    assert!(off <= 1, "{target:?} {depth}: {found:?} {wanted:?}");
                    other += off;
                }
            }
            println!(
                "{target:?} {depth} bit into {format:?}: {other} of {} codes are others",
                3 * wanted.len()
            );
            assert!(other * 1000 < 3 * wanted.len() as u32, "{target:?} {depth}: {other}");
        }
    }

    /// The texels that a picture is drawn into pixel for pixel.
    fn drawn(gpu: &Gpu, picture: &Picture, format: wgpu::TextureFormat) -> Vec<[u8; 4]> {
        let (width, height) = (picture.output.width, picture.output.height);
        let size = wgpu::Extent3d { width, height, depth_or_array_layers: 1 };
        let texture = gpu.device.create_texture(&wgpu::TextureDescriptor {
            label: None,
            size,
            mip_level_count: 1,
            sample_count: 1,
            dimension: wgpu::TextureDimension::D2,
            format,
            usage: wgpu::TextureUsages::RENDER_ATTACHMENT | wgpu::TextureUsages::COPY_SRC,
            view_formats: &[],
        });
        let blit = Blit::new(gpu, format);
        let area = [width as f32, height as f32];
        let group = blit.bind(gpu, picture, Place::fit((width, height), [0.0; 2], area), 0.2);
        let buffer = gpu.device.create_buffer(&wgpu::BufferDescriptor {
            label: None,
            size: u64::from(width * height * 4),
            usage: wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ,
            mapped_at_creation: false,
        });
        let mut encoder = gpu.device.create_command_encoder(&Default::default());
        {
            let view = texture.create_view(&Default::default());
            let mut pass = encoder.begin_render_pass(&wgpu::RenderPassDescriptor {
                color_attachments: &[Some(wgpu::RenderPassColorAttachment {
                    view: &view,
                    depth_slice: None,
                    resolve_target: None,
                    ops: wgpu::Operations {
                        load: wgpu::LoadOp::Clear(clear_to(0.2)),
                        store: wgpu::StoreOp::Store,
                    },
                })],
                ..Default::default()
            });
            blit.draw(&mut pass, &group);
        }
        let layout =
            wgpu::TexelCopyBufferLayout { offset: 0, bytes_per_row: Some(width * 4), rows_per_image: None };
        let to = wgpu::TexelCopyBufferInfo { buffer: &buffer, layout };
        encoder.copy_texture_to_buffer(texture.as_image_copy(), to, size);
        gpu.queue.submit([encoder.finish()]);
        buffer.map_async(wgpu::MapMode::Read, .., |_| ());
        gpu.wait().unwrap();
        buffer.get_mapped_range(..).unwrap().as_chunks::<4>().0.to_vec()
    }
}
