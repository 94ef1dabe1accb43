//! What is said about the GPU.

use std::sync::Arc;

use arc_swap::ArcSwap;
use winit::event_loop::EventLoopProxy;

use super::News;
use crate::gpu::{Gpu, self_check};

/// Has the GPU checked on another thread: compiling what that takes must not hold up the windows.
pub(super) fn check_device(gpu: &Arc<Gpu>, line: &Arc<ArcSwap<String>>, proxy: EventLoopProxy<News>) {
    let (gpu, line, at_work) = (gpu.clone(), line.clone(), gpu.at_work());
    rayon::spawn(move || {
        let _at_work = at_work;
        line.store(Arc::new(device_line(&gpu)));
        let _ = proxy.send_event(News::Stirred);
    });
}

/// The GPU's name and what its own check found.
fn device_line(gpu: &Gpu) -> String {
    let name = gpu.adapter.get_info().name;
    match self_check(gpu) {
        Ok(report) if report.all.holds() => {
            let share = 100.0 * report.all.worst_share;
            format!("{name}\nagrees with the reference within {share:.0} % of what is allowed")
        }
        Ok(report) => format!(
            "{name}\n⚠ differs from the reference by {:.1} times what is allowed ({}): its pictures cannot be trusted",
            report.all.worst_share, report.worst
        ),
        Err(e) => format!("{name}\n⚠ {e}"),
    }
}
