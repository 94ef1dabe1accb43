//! Pictures put beside their references on the way to the windows.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use super::comparing::With;
use super::core::Engine;
use super::draw::output;
use super::input::{Compare, Live};
use super::keeper::Job;
use crate::gpu::{Output as GpuOutput, Pipeline};
use crate::picture::{Recipe, Structure, Target};
use crate::show::{self, OutputSettings, Show, recipe};

/// A still on the GPU, for outputs as they are set.
pub(super) struct StillReference {
    pub id: Arc<str>,
    pub raster: (u32, u32),
    pub outputs: Vec<OutputSettings>,
    pub pictures: Vec<Arc<GpuOutput>>,
}

/// A reference that was graded live, and all that it depends on.
pub(super) struct LiveReference {
    of: (With, u64, (usize, u64), show::Output, (u32, u32)),
    picture: Arc<GpuOutput>,
}

/// A finished live picture: where it goes, the picture, and bits of its codes.
pub(super) type Finished = (Vec<Live>, Arc<GpuOutput>, u32);

impl Engine {
    /// Adds what puts live pictures beside the reference where that is wanted; one result for each, `None` where the picture
    /// is shown alone.
    pub(super) fn put_beside(
        &mut self,
        encoder: &mut wgpu::CommandEncoder,
        finished: &[Finished],
        here: (usize, u64),
    ) -> Vec<Option<Arc<GpuOutput>>> {
        if self.aside.on {
            self.aside.waiting = None;
        }
        finished.iter().map(|one| self.put_one_beside(encoder, one, here)).collect()
    }

    fn put_one_beside(
        &mut self,
        encoder: &mut wgpu::CommandEncoder,
        (places, picture, depth): &Finished,
        here: (usize, u64),
    ) -> Option<Arc<GpuOutput>> {
        let place = *places.iter().find(|p| self.aside.is_on(**p))?;
        let of = match place {
            Live::Desk => show::Output::Desk,
            Live::Client => show::Output::Client,
        };
        let size = (picture.width, picture.height);
        let reference = match self.aside.with.clone()? {
            With::Still(id) => self.still_reference(&id, size, of),
            with => self.live_reference(encoder, with, size, of, here),
        };
        let ready = self.gpu.beside_ready(self.when_it_comes()).is_some();
        let Some(reference) = reference.filter(|_| ready) else {
            let why = if self.aside.failed { "it cannot be shown" } else { "preparing …" };
            self.aside.waiting = self.aside.waiting.take().or(Some(why.into()));
            return None;
        };
        let to = output(&self.gpu, &mut self.aside.composed, size, picture.target).ok()?;
        let passes = self.gpu.beside().ok()?;
        let values = self.aside.beside.prepared(size, *depth, here.1 as u32);
        self.gpu.encode_beside(encoder, passes, picture, &reference, &values, &to);
        Some(to)
    }

    /// The still as an output shows it; asked for if it is not there.
    fn still_reference(
        &mut self,
        id: &Arc<str>,
        raster: (u32, u32),
        of: show::Output,
    ) -> Option<Arc<GpuOutput>> {
        let outputs = &self.document.show.outputs;
        let wanted = outputs.get(of);
        let found = self.aside.reference.as_ref().filter(|r| r.id == *id && r.raster == raster);
        let at = found.and_then(|r| r.outputs.iter().position(|o| shows_alike(o, wanted)));
        if let (Some(found), Some(at)) = (found, at) {
            return found.pictures.get(at).cloned();
        }
        let mut all = vec![outputs.desk.clone()];
        if self.aside.on_client && !shows_alike(&outputs.client, &outputs.desk) {
            all.push(outputs.client.clone());
        }
        let mut key: Vec<u64> = vec![raster.0.into(), raster.1.into()];
        for o in &all {
            key.extend(o.display.id.bytes().map(u64::from));
            key.push(o.calibration.as_ref().map_or(0, |c| Arc::as_ptr(&c.lut) as usize as u64));
        }
        let asked = Some((With::Still(id.clone()), key));
        if self.aside.asked != asked {
            (self.aside.asked, self.aside.failed) = (asked, false);
            self.aside.keeper.ask(Job::Reference { id: id.clone(), raster, outputs: all });
        }
        None
    }

    /// Another shot or another version of this frame, graded as an output shows it.
    fn live_reference(
        &mut self,
        encoder: &mut wgpu::CommandEncoder,
        with: With,
        size: (u32, u32),
        of: show::Output,
        here: (usize, u64),
    ) -> Option<Arc<GpuOutput>> {
        let (show, shot, number) = match &with {
            With::Shot(name) => {
                let show = self.document.seen().clone();
                let Some(shot) = show.shots.iter().position(|s| s.name == **name) else {
                    self.aside.waiting = Some("the show has no such shot".into());
                    return None;
                };
                let number = self.other_shot(&show, shot)?;
                (show, shot, number)
            }
            With::Version(_) => (self.aside.other.as_ref()?.2.clone(), here.0, here.1),
            With::Still(_) => return None,
        };
        let key = (with.clone(), self.document.revision, (shot, number), of, size);
        if let Some(known) = self.aside.live.iter().find(|l| l.of == key) {
            return Some(known.picture.clone());
        }
        let mut recipe = recipe(&show, shot, show.tail(of), u32::try_from(number).unwrap_or(u32::MAX))?;
        recipe.raster = Some(size);
        let pipelines = self.reference_pipelines(&recipe)?;
        let upload = match &with {
            With::Shot(_) => &self.aside.other_shot.as_ref()?.2,
            _ => &self.uploaded.as_ref()?.2,
        };
        let picture = output(&self.gpu, &mut self.aside.references, size, Target::Codes).ok()?;
        let parts = recipe.parts();
        self.gpu.encode_parts(encoder, &pipelines, upload, &parts, &picture, 16, false).ok()?;
        self.aside.live.retain(|l| l.of.3 != of);
        self.aside.live.push(LiveReference { of: key, picture: picture.clone() });
        Some(picture)
    }

    /// The number of the frame of another shot that is at hand; asked for if none is.
    fn other_shot(&mut self, show: &Arc<Show>, shot: usize) -> Option<u64> {
        let s = &show.shots[shot];
        let here = self.document.shot == shot;
        let last = self.aside.seen_last.get(&s.name).copied().filter(|n| !here && *n < s.end - s.start);
        let number = last.unwrap_or(s.representative() - s.start);
        if self.aside.other_shot.as_ref().is_some_and(|(of, n, _)| *of == s.name && *n == number) {
            return Some(number);
        }
        let asked = Some((With::Shot(s.name.as_str().into()), vec![number]));
        if self.aside.asked != asked {
            (self.aside.asked, self.aside.failed) = (asked, false);
            self.aside.keeper.ask(Job::OtherShot { show: show.clone(), shot, number });
        }
        None
    }

    /// The compiled passes of a reference that is graded live.
    fn reference_pipelines(&self, recipe: &Recipe) -> Option<Vec<Arc<Pipeline>>> {
        let pipelines = &self.gpu.pipelines;
        let tables = pipelines.tables_ready(recipe, self.when_it_comes());
        let structures = Structure::of_parts(&recipe.parts(), Target::Half, Target::Codes);
        let each: Vec<_> = structures.iter().map(|s| pipelines.ready(s, self.when_it_comes())).collect();
        each.into_iter().collect::<Option<Vec<_>>>().filter(|_| tables)
    }

    /// Has the picture drawn again, from any thread.
    fn when_it_comes(&self) -> impl FnOnce() + Send + 'static {
        let (came, wake) = (self.aside.came.clone(), self.wake.clone());
        move || {
            came.store(true, Ordering::Release);
            wake();
        }
    }

    /// Remembers which frame of a shot was seen.
    pub(super) fn saw(&mut self, (shot, frame): (usize, u64)) {
        let Some(shot) = self.document.show.shots.get(shot) else { return };
        if self.compare == Compare::After && self.aside.seen_last.get(&shot.name) != Some(&frame) {
            self.aside.seen_last.insert(shot.name.clone(), frame);
        }
    }
}

/// Do two outputs show a still alike? Their trims are in the still already.
fn shows_alike(a: &OutputSettings, b: &OutputSettings) -> bool {
    let table = |o: &OutputSettings| o.calibration.as_ref().map(|c| Arc::as_ptr(&c.lut));
    a.display == b.display && table(a) == table(b)
}
