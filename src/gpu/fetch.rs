//! Pictures on their way back to memory, with nobody waiting: copied in the submission that draws them.

use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};

use super::device::{Gpu, GpuError};
use super::run::Output;
use crate::picture::Target;

const IDLE: u8 = 0;
const UNDER_WAY: u8 = 1;
const THERE: u8 = 2;
const FAILED: u8 = 3;

/// A picture of eight bits a channel that is copied to memory. It is there once its submission is done and the
/// device was polled since.
pub struct Fetch {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    target: Target,
    stride: u32,
    buffer: wgpu::Buffer,
    state: Arc<AtomicU8>,
}

impl Gpu {
    /// Adds the copy of a [`Target::Screen`] or [`Target::DeepScreen`] to `encoder`, into memory of `pool` that nobody
    /// else holds. [`Fetch::begin`] has to follow the submission.
    pub fn fetch(
        &self,
        encoder: &mut wgpu::CommandEncoder,
        output: &Output,
        pool: &mut Vec<Arc<Fetch>>,
    ) -> Arc<Fetch> {
        pool.retain(|f| (f.width, f.height, f.target) == (output.width, output.height, output.target));
        let free = pool.iter().find(|f| Arc::strong_count(f) == 1).cloned();
        let fetch = free.unwrap_or_else(|| {
            let new = Arc::new(self.new_fetch(output));
            pool.push(new.clone());
            new
        });
        if fetch.state.swap(IDLE, Ordering::AcqRel) != IDLE {
            fetch.buffer.unmap();
        }
        encoder.copy_texture_to_buffer(
            output.texture.as_image_copy(),
            wgpu::TexelCopyBufferInfo {
                buffer: &fetch.buffer,
                layout: wgpu::TexelCopyBufferLayout {
                    offset: 0,
                    bytes_per_row: Some(fetch.stride),
                    rows_per_image: None,
                },
            },
            output.texture.size(),
        );
        fetch
    }

    fn new_fetch(&self, output: &Output) -> Fetch {
        let (width, height, target) = (output.width, output.height, output.target);
        let stride = (width * texel(target)).next_multiple_of(wgpu::COPY_BYTES_PER_ROW_ALIGNMENT);
        let buffer = self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some("fetch"),
            size: u64::from(stride) * u64::from(height),
            usage: wgpu::BufferUsages::COPY_DST | wgpu::BufferUsages::MAP_READ,
            mapped_at_creation: false,
        });
        Fetch { width, height, target, stride, buffer, state: Arc::default() }
    }
}

fn texel(target: Target) -> u32 {
    match target {
        Target::Screen => 4,
        Target::Float => 16,
        Target::Half | Target::Codes | Target::DeepScreen => 8,
    }
}

impl Fetch {
    /// Asks for the memory, after the submission that copies into it.
    pub fn begin(&self) {
        self.state.store(UNDER_WAY, Ordering::Release);
        let state = self.state.clone();
        self.buffer.map_async(wgpu::MapMode::Read, .., move |result| {
            state.store(if result.is_ok() { THERE } else { FAILED }, Ordering::Release);
        });
    }

    /// Its codes, three bytes a pixel, row by row.
    ///
    /// # Errors
    /// [`GpuError::Lost`] where it did not come.
    pub fn codes(&self) -> Result<Vec<u8>, GpuError> {
        let lost = |e: &dyn std::fmt::Display| GpuError::Lost(e.to_string());
        if self.state.load(Ordering::Acquire) != THERE {
            return Err(lost(&"a picture was not copied"));
        }
        let view = self.buffer.get_mapped_range(..).map_err(|e| lost(&e))?;
        let mut out = Vec::with_capacity(self.width as usize * self.height as usize * 3);
        for row in view.chunks_exact(self.stride as usize) {
            let row = &row[..(self.width * texel(self.target)) as usize];
            match self.target {
                Target::Screen => {
                    for t in row.as_chunks::<4>().0 {
                        out.extend_from_slice(&t[..3]);
                    }
                }
                _ => {
                    // Dithered to eight bits, in halves, which hold those exactly enough to be told apart.
                    let code = |b: &[u8; 2]| (half::f16::from_le_bytes(*b).to_f32() * 255.0).round() as u8;
                    for t in row.as_chunks::<8>().0 {
                        let t = t.as_chunks::<2>().0;
                        out.extend([code(&t[0]), code(&t[1]), code(&t[2])]);
                    }
                }
            }
        }
        Ok(out)
    }
}
