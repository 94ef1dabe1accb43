//! What was done on other threads goes where it belongs.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use super::super::library::Done;
use super::super::luts::Wish;
use super::super::panes::{MOUSE, TraceTextures};
use super::super::stills::BringIn;
use super::{Desk, News};
use crate::engine::stills::is_picture_file;
use crate::engine::{Input, Live};
use crate::gpu::Gpu;
use crate::show::is_lut_file;

impl Desk {
    /// A file was dropped on the desk: a LUT goes into the chain, where it belongs; of a picture it is asked what it is.
    pub(super) fn dropped(&mut self, path: &Path) {
        if is_picture_file(path) {
            let display = self.engine.snapshot().show.outputs.desk.display.id.to_string();
            self.panes.bringing_in = Some(BringIn { file: path.to_owned(), name: String::new(), display });
            return;
        }
        if !is_lut_file(path) {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            self.panes.note = Some(format!(
                "{name}: only .cube and .clf files and pictures (.png, .tif, .exr, .dpx, .jpg) can be dropped here"
            ));
            return;
        }
        let wish = Wish { stage: None, file: path.to_owned(), said: [None; 2] };
        self.luts.begin(&self.engine.snapshot().dir, wish);
    }

    /// The library goes to the engine; what became of a look that was saved goes on the desk.
    pub(super) fn take_looks(&mut self) {
        for done in self.librarian.finished() {
            match done {
                Done::Read(looks, wrong) => {
                    self.engine.send(Input::Library(looks.into()));
                    self.panes.note = wrong.into_iter().next().or(self.panes.note.take());
                }
                Done::Saved(Ok(file)) => {
                    self.panes.note = Some(format!("saved: {}", file.display()));
                    self.panes.saving = None;
                }
                Done::Saved(Err(why)) => match &mut self.panes.saving {
                    Some(form) => form.refused = Some(why),
                    None => self.panes.note = Some(why),
                },
            }
        }
    }

    /// What was learned is used at once.
    pub(super) fn take_learned(&mut self) {
        for kept in self.learner.finished() {
            self.panes.note = Some(match kept.done {
                Ok((file, map)) => {
                    self.engine.send(Input::Map { at: kept.at, map });
                    self.engine.send(Input::Learn { target: None });
                    format!("kept in {}", file.display())
                }
                Err(why) => why,
            });
            self.surface.window.request_redraw();
        }
    }

    /// LUTs that have been read go into the chain.
    pub(super) fn take_luts(&mut self) {
        for change in self.luts.finished(&self.engine.snapshot().show) {
            match change {
                Ok(change) => self.engine.send(Input::Change { change, control: MOUSE }),
                Err(e) => self.panes.note = Some(e),
            }
            self.surface.window.request_redraw();
        }
    }

    /// Gives the newest traces to the panes.
    pub(super) fn show_traces(&mut self, gpu: &Gpu) {
        let newest = self.engine.picture(Live::Desk).and_then(|p| p.traces.clone());
        self.panes.scopes.current = newest.is_some();
        let Some(traces) = newest.filter(|_| self.panes.scopes.shown) else { return };
        let shown = self.traces.as_ref().is_some_and(|t| Arc::ptr_eq(t, &traces));
        if shown {
            return;
        }
        let (filter, views) = (wgpu::FilterMode::Linear, [&traces.wave, &traces.vector]);
        let ids = match self.panes.scopes.textures {
            Some(TraceTextures { wave, vector }) => {
                for (id, view) in [wave, vector].into_iter().zip(views) {
                    self.renderer.update_egui_texture_from_wgpu_texture(&gpu.device, view, filter, id);
                }
                TraceTextures { wave, vector }
            }
            None => {
                let [wave, vector] =
                    views.map(|view| self.renderer.register_native_texture(&gpu.device, view, filter));
                TraceTextures { wave, vector }
            }
        };
        self.panes.scopes.textures = Some(ids);
        self.traces = Some(traces);
    }

    /// Has the panes drawn again, from any thread.
    pub(super) fn teller(&self) -> impl Fn() + Send + Sync + 'static {
        let (proxy, stirred) = (self.proxy.clone(), self.stirred.clone());
        move || {
            stirred.store(true, Ordering::Relaxed);
            let _ = proxy.send_event(News::Stirred);
        }
    }
}
