//! The adapter and device that pictures are made on.

use std::sync::{Arc, Mutex};

use super::luts::Luts;
use super::work::{AtWork, Work};
use super::{BesidePass, Marks, Output, Pipelines, Scopes, Tables};

/// Why there is no GPU to work on, or why it would not do something.
#[derive(Debug, thiserror::Error)]
pub enum GpuError {
    /// No adapter.
    #[error(
        "no GPU adapter was found{wanted}. A software one comes with the package mesa-vulkan-drivers \
         (Debian, Ubuntu: apt-get install mesa-vulkan-drivers); `--on cpu` needs none"
    )]
    NoAdapter {
        /// What was asked for, if anything special.
        wanted: String,
    },
    /// The adapter would not give a device.
    #[error("the GPU adapter {adapter} would not start: {why}")]
    Device {
        /// Its name.
        adapter: String,
        /// What it said.
        why: String,
    },
    /// A shader was refused.
    #[error("a shader was refused at {file}:{line}: {why}")]
    Shader {
        /// Which part of it.
        file: String,
        /// Line in that part.
        line: usize,
        /// What the compiler said.
        why: String,
    },
    /// The picture is larger than this GPU takes.
    #[error("a picture of {width}×{height} is larger than this GPU takes (sides to {limit})")]
    TooLarge {
        /// Pixels across.
        width: u32,
        /// Rows.
        height: u32,
        /// Its limit.
        limit: u32,
    },
    /// The GPU stopped answering.
    #[error("the GPU stopped answering: {0}")]
    Lost(String),
}

/// What kind of adapter is wanted.
#[derive(Clone, Copy, Debug, Default)]
pub struct Request<'a> {
    /// Part of the adapter's name; anything when empty.
    pub adapter: &'a str,
}

/// A GPU, its queue, and the pipelines compiled on it.
pub struct Gpu {
    /// The wgpu instance.
    pub instance: wgpu::Instance,
    /// The adapter.
    pub adapter: wgpu::Adapter,
    /// The device.
    pub device: wgpu::Device,
    /// Its queue.
    pub queue: wgpu::Queue,
    /// Compiled pipelines.
    pub pipelines: Pipelines,
    /// Passes of scopes.
    pub(super) scopes: Scopes,
    /// The pass that compares pictures.
    pub(super) beside: BesidePass,
    /// The pass of marks.
    pub(super) marks: Marks,
    /// LUTs on it.
    pub(super) luts: Luts,
    /// Tables of output transforms.
    pub tables: Tables,
    /// Who is at work on it beside the frame's thread.
    pub(super) work: Work,
    /// Textures for passes in between.
    pub(super) scratch: Mutex<Vec<Arc<Output>>>,
}

impl Gpu {
    /// Opens a GPU without a window.
    pub fn headless(request: Request<'_>) -> Result<Arc<Self>, GpuError> {
        let instance = wgpu::Instance::new(wgpu::InstanceDescriptor::new_without_display_handle_from_env());
        Self::open(instance, None, request)
    }

    /// Opens a GPU that can present to `surface`.
    pub fn open(
        instance: wgpu::Instance,
        surface: Option<&wgpu::Surface<'_>>,
        request: Request<'_>,
    ) -> Result<Arc<Self>, GpuError> {
        pollster::block_on(async {
            let adapter = if request.adapter.is_empty() {
                instance
                    .request_adapter(&wgpu::RequestAdapterOptions {
                        power_preference: wgpu::PowerPreference::HighPerformance,
                        compatible_surface: surface,
                        ..Default::default()
                    })
                    .await
                    .map_err(|_| GpuError::NoAdapter { wanted: String::new() })?
            } else {
                let wanted = request.adapter.to_lowercase();
                instance
                    .enumerate_adapters(wgpu::Backends::all())
                    .await
                    .into_iter()
                    .find(|a| a.get_info().name.to_lowercase().contains(&wanted))
                    .ok_or_else(|| GpuError::NoAdapter { wanted: format!(" with {wanted:?} in its name") })?
            };
            let info = adapter.get_info();
            let has = adapter.limits();
            let limits = wgpu::Limits {
                max_texture_dimension_2d: has.max_texture_dimension_2d,
                max_buffer_size: has.max_buffer_size,
                max_storage_buffer_binding_size: has.max_storage_buffer_binding_size,
                ..wgpu::Limits::default()
            };
            let (device, queue) = adapter
                .request_device(&wgpu::DeviceDescriptor {
                    label: Some("greyhold"),
                    required_features: adapter.features() & wgpu::Features::TIMESTAMP_QUERY,
                    required_limits: limits,
                    ..Default::default()
                })
                .await
                .map_err(|e| GpuError::Device { adapter: info.name.clone(), why: e.to_string() })?;
            device.on_uncaptured_error(Arc::new(|e| tracing::error!("GPU: {e}")));
            let work = Work::default();
            let pipelines = Pipelines::new(device.clone(), queue.clone(), work.clone());
            let luts = Luts::new(&device);
            let tables = Tables::new(&device);
            Ok(Arc::new(Self {
                instance,
                adapter,
                device,
                queue,
                pipelines,
                scopes: Scopes::default(),
                beside: BesidePass::default(),
                marks: Marks::default(),
                luts,
                tables,
                work,
                scratch: Mutex::default(),
            }))
        })
    }

    /// Somebody begins to work with it on another thread, and is at it for as long as what comes back is there.
    pub fn at_work(&self) -> AtWork {
        self.work.begin()
    }

    /// Waits until nobody is at work with it: before the program ends.
    pub fn settle(&self) {
        self.work.settle();
    }

    /// What the adapter calls itself, with its driver.
    pub fn name(&self) -> String {
        let info = self.adapter.get_info();
        if info.driver_info.is_empty() { info.name } else { format!("{} ({})", info.name, info.driver_info) }
    }

    /// Waits until everything submitted so far is done.
    pub fn wait(&self) -> Result<(), GpuError> {
        self.device
            .poll(wgpu::PollType::wait_indefinitely())
            .map(|_| ())
            .map_err(|e| GpuError::Lost(e.to_string()))
    }

    /// Can it time its passes?
    pub fn has_timestamps(&self) -> bool {
        self.device.features().contains(wgpu::Features::TIMESTAMP_QUERY)
    }
}
