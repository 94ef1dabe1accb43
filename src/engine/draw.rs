//! Drawing what is on view: the right frame, through the right plan, to every live output.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use super::beside::Finished;
use super::core::Engine;
use super::finish::Job;
use super::input::{Compare, Live};
use super::watch::{Curtain, Plain, Shown, View, Views};
use crate::gpu::{Gpu, GpuError, Output, Pipeline};
use crate::look::List;
use crate::picture::{Balance, Frame, Recipe, StageValues, Structure, Target};
use crate::show::{self, OutputSettings, recipe};

/// Pictures under way on the GPU at a time, so that it has the next when one is done.
const UNDER_WAY: usize = 2;

/// Everything that decides what is on view.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Drawn {
    pub shot: usize,
    pub frame: u64,
    pub revision: u64,
    /// For which views of browsers.
    pub views: Views,
    /// Drawn by an old plan, until the new one is compiled.
    pub makeshift: bool,
}

/// Recipes, each with the outputs that show it and the depth of their surfaces. They differ in their tails.
pub(super) type Recipes = Vec<(Vec<Live>, Recipe, u32)>;

/// Compiled passes for recipes that differ in their tails.
pub(super) struct Passes {
    /// Those of what they have in common; none where each recipe runs by itself.
    graded: Vec<Arc<Pipeline>>,
    /// Those of each of them, after that.
    own: Vec<Vec<Arc<Pipeline>>>,
}

impl Engine {
    /// May another picture be handed to the GPU? A software GPU gets one at a time: it has nothing to do in parallel, and what
    /// waits there only answers later.
    pub(super) fn has_room(&self) -> bool {
        self.finisher.under_way() < if self.software { 1 } else { UNDER_WAY }
    }

    /// Draws what is on view, if that differs from what was drawn last.
    pub(super) fn draw(&mut self, now: Instant) {
        let here = (self.document.shot, self.frame);
        if self.scopes_came(here) {
            self.drawn = None;
        }
        if self.marks_came(here) {
            self.drawn = None;
        }
        if self.aside.came.swap(false, Ordering::AcqRel) {
            // What the picture is to stand beside was not there before.
            self.drawn = None;
        }
        let (views, plain) = self.views_now(here);
        let wanted =
            Drawn { shot: here.0, frame: here.1, revision: self.document.revision, views, makeshift: false };
        // What was drawn for browsers too is drawn for fewer of them.
        let rests = self.playing.is_none();
        let drawn = self.drawn.map(|d| if !rests || views.is_in(d.views) { Drawn { views, ..d } } else { d });
        if drawn == Some(wanted) {
            self.drawn = drawn;
        }
        if self.drawn == Some(wanted) {
            // Back from a frame that could not be read.
            if self.unread.take().is_some() {
                self.set_broken(None);
            }
            return;
        }
        if !self.has_room() {
            return;
        }
        if self.drawn.is_none_or(|d| (d.shot, d.frame) != here) && self.unread != Some(here) {
            self.unread = None;
            self.set_broken(None);
        }
        let Some((key, number)) = self.frame_key(here) else { return };
        let frame = match self.feeds.get(&key, number) {
            Some(Ok(frame)) => frame,
            Some(Err(why)) => {
                self.unread = Some(here);
                self.set_broken(Some(why));
                self.clear(here.0);
                return;
            }
            None => return,
        };
        if self.unread.take().is_some() {
            self.set_broken(None);
        }
        let Some(raster) = self.raster().or_else(|| self.makeshift_raster(&frame)) else { return };
        let Some((mut recipes, shown, passes, makeshift)) = self.plan(here, wanted) else { return };
        let raster = self.pace.size(raster);
        for (_, recipe, _) in &mut recipes {
            recipe.raster = Some(raster);
            recipe.rough = self.pace.reduction() > 1;
        }
        if self.uploaded.as_ref().is_none_or(|u| (&u.0, u.1) != (&key, number)) {
            let old = self.uploaded.take().map(|u| u.2);
            match self.gpu.upload(&frame, old) {
                Ok(upload) => self.uploaded = Some((key, number, upload)),
                Err(e) => {
                    self.set_broken(Some(e.to_string().into()));
                    self.clear(here.0);
                    self.drawn = Some(wanted);
                    return;
                }
            }
        }
        if self.submit(&recipes, &passes, (&shown, &plain), &frame, here, makeshift, now) {
            self.drawn = Some(Drawn { makeshift, ..wanted });
            self.saw(here);
            self.shown_frame(now);
            self.stale = true;
        }
    }

    /// There is no picture of what is on view: the windows show none, rather than another. While it plays, the
    /// last one of the same shot stays, since a frame alone would flash.
    fn clear(&mut self, shot: usize) {
        let stays = self.playing.is_some() && self.drawn.is_some_and(|d| d.shot == shot);
        if stays || self.finisher.under_way() > 0 {
            return;
        }
        self.drawn = None;
        let all = self.shared.places.len();
        let open = if self.curtain == Curtain::Open { all } else { Live::Client as usize };
        for place in &self.shared.places[..open] {
            self.stale |= place.swap(None).is_some();
        }
    }

    /// Where the first shot cannot be opened and the show has no raster, that of the frame on view.
    fn makeshift_raster(&self, frame: &Frame) -> Option<(u32, u32)> {
        let (first, _) = self.source(0)?;
        self.feeds.failed(&first).then_some((frame.width, frame.height))
    }

    /// What is to be run now: the recipes with their compiled plan, or, until that is compiled, with the
    /// stages and tails of the last plan that was. Nothing if there is nothing new to draw.
    fn plan(&mut self, here: (usize, u64), wanted: Drawn) -> Option<(Recipes, Shown, Passes, bool)> {
        let mut recipes = self.recipes(here);
        if recipes.is_empty() {
            return None;
        }
        let shown = self.add_views(&mut recipes, here, wanted.views);
        let (ready, failure) = self.passes(&recipes);
        self.compiling = ready.is_none() && failure.is_none();
        if let Some(passes) = ready {
            self.warm(&recipes[0].1, recipes.len() > 1);
            if self.compare == Compare::After {
                self.ready = recipes.iter().map(|(_, recipe, _)| recipe.clone()).collect();
            }
            return Some((recipes, shown, passes, false));
        }
        if let Some(why) = failure {
            self.set_broken(Some(why.into()));
        }
        if self.drawn == Some(Drawn { makeshift: true, ..wanted }) {
            return None;
        }
        for (at, (_, recipe, _)) in recipes.iter_mut().enumerate() {
            let same = self.ready.iter().find(|old| is_same_display(old, recipe));
            let old = same.or(self.ready.get(at)).or(self.ready.first())?;
            recipe.stages = old.stages.clone();
            recipe.tail = old.tail.clone().trimmed(recipe.tail.trim());
            recipe.decode.rendered = old.decode.rendered;
        }
        let passes = self.passes(&recipes).0?;
        Some((recipes, shown, passes, true))
    }

    /// The passes of recipes that differ in their tails if they are compiled and their tables worked out, and why they
    /// never will be. Several outputs share one graded picture; until its passes are compiled each is drawn by those
    /// of its own, if there are those.
    fn passes(&self, recipes: &Recipes) -> (Option<Passes>, Option<String>) {
        let (pipelines, target) = (&self.gpu.pipelines, self.target());
        let wake = || {
            let wake = self.wake.clone();
            move || wake()
        };
        // All of them are asked for, whatever the first answers.
        let worked_out = recipes.iter().filter(|(_, r, _)| !pipelines.tables_ready(r, wake())).count() == 0;
        let ready = |structures: &[Structure]| {
            let each: Vec<_> = structures.iter().map(|s| pipelines.ready(s, wake())).collect();
            each.into_iter().collect::<Option<Vec<_>>>().filter(|_| worked_out)
        };
        let failure = |structures: &[Structure]| structures.iter().find_map(|s| pipelines.failure(s));
        let whole = |recipe: &Recipe| Structure::of_parts(&recipe.parts(), Target::Half, target);
        if let [(_, recipe, _)] = &recipes[..] {
            let whole = whole(recipe);
            let own = ready(&whole);
            let why = own.is_none().then(|| failure(&whole)).flatten();
            return (own.map(|own| Passes { graded: Vec::new(), own: vec![own] }), why);
        }
        let tails: Vec<_> = recipes.iter().map(|(_, r, _)| Structure::of(&r.tail_only(), target)).collect();
        let graded = Structure::of_parts(&recipes[0].1.without_tail().parts(), Target::Half, Target::Half);
        let (tails_ready, graded_ready) = (ready(&tails), ready(&graded));
        if let Some((own, graded)) = tails_ready.zip(graded_ready) {
            return (Some(Passes { graded, own: own.into_iter().map(|p| vec![p]).collect() }), None);
        }
        let compiled = |recipe: &Recipe| whole(recipe).iter().map(|s| pipelines.compiled(s)).collect();
        let each: Option<Vec<Vec<_>>> = recipes.iter().map(|(_, recipe, _)| compiled(recipe)).collect();
        let why = failure(&graded).or_else(|| failure(&tails));
        (each.filter(|_| worked_out).map(|own| Passes { graded: Vec::new(), own }), why)
    }

    /// Has compiled what one move away may ask for, so that no move waits for it: the plan for the footage of other
    /// shots, scene-referred or display-referred; those of less of the grade; since a stage that reads its neighbours
    /// takes passes of its own as soon as it acts and none when it does not, those with one of them switched; and those
    /// of the library's looks.
    fn warm(&mut self, recipe: &Recipe, several: bool) {
        if self.compare != Compare::After {
            return;
        }
        let target = if several { Target::Half } else { self.target() };
        let recipe = if several { recipe.without_tail() } else { recipe.clone() };
        let plan = |recipe: &Recipe| Structure::of_parts(&recipe.parts(), Target::Half, target);
        let structures = plan(&recipe);
        let of_document = (self.document.revision, structures);
        if self.warmed.as_ref() == Some(&of_document) {
            return;
        }
        let show = &self.document.show;
        let undone = |shot| show.decode(shot).undone().map(|(transform, _)| transform);
        let first = &of_document.1[0];
        let other = show.shots.iter().map(undone).find(|u| *u != first.undone);
        let mut wanted: Vec<Structure> =
            other.map(|undone| Structure { undone, ..first.clone() }).into_iter().collect();
        for compare in [Compare::Before, Compare::WithoutLook] {
            let mut less = recipe.clone();
            self.leave_out(&mut less, compare);
            wanted.extend(plan(&less));
        }
        // That of the version that is looked at.
        let other = self.aside.other.as_ref().map(|(_, _, show)| show);
        let other = other.and_then(|show| self::recipe(show, self.document.shot, recipe.tail.clone(), 0));
        wanted.extend(other.iter().flat_map(plan));
        let reads = |s: &StageValues| s.kind.declaration().neighbourhood.is_some();
        // Of a look that is tried no stage is switched before it is kept.
        let mine = |at: usize| !self.document.is_trying() || !self.is_of_look(at);
        for (i, stage) in recipe.stages.iter().enumerate().filter(|(at, s)| reads(s) && mine(*at)) {
            let mut one = recipe.clone();
            one.stages[i].strength = if stage.strength > 0.0 { 0.0 } else { 1.0 };
            wanted.extend(plan(&one));
        }
        self.warmed = Some(of_document);
        self.ready_soon(wanted);
        self.ready_library(&recipe, target);
    }

    fn submit(
        &mut self,
        recipes: &Recipes,
        passes: &Passes,
        (shown, plain): (&Shown, &[Plain]),
        frame: &Frame,
        (shot, number): (usize, u64),
        makeshift: bool,
        now: Instant,
    ) -> bool {
        let target = self.target();
        let mut targets = Vec::new();
        for (_, recipe, _) in recipes {
            match output(&self.gpu, &mut self.outputs, recipe.size(frame), target) {
                Ok(output) => targets.push(output),
                Err(e) => {
                    self.set_broken(Some(e.to_string().into()));
                    return false;
                }
            }
        }
        let graded = match &passes.graded[..] {
            [] => None,
            pipelines => {
                let recipe = recipes[0].1.without_tail();
                match output(&self.gpu, &mut self.graded, recipe.size(frame), Target::Half) {
                    Ok(output) => Some((pipelines, recipe.parts(), output)),
                    Err(e) => {
                        self.set_broken(Some(e.to_string().into()));
                        return false;
                    }
                }
            }
        };
        let Some((_, _, upload)) = &self.uploaded else { return false };
        let mut encoder = self.gpu.device.create_command_encoder(&Default::default());
        let (mut outputs, mut of_client, mut live) = (Vec::new(), None, Vec::<Finished>::new());
        let gpu = &self.gpu;
        let mut encoded = match &graded {
            Some((pipelines, parts, picture)) => {
                gpu.encode_parts(&mut encoder, pipelines, upload, parts, picture, 0, false)
            }
            None => Ok(()),
        };
        for (((places, recipe, depth), output), own) in recipes.iter().zip(targets).zip(&passes.own) {
            encoded = encoded.and_then(|()| match &graded {
                Some((_, _, picture)) => {
                    let tail = recipe.tail_only();
                    gpu.encode(&mut encoder, &own[0], &**picture, &tail, &output, *depth, true, None)
                }
                None => gpu.encode_parts(&mut encoder, own, upload, &recipe.parts(), &output, *depth, true),
            });
            let client = Some(&output).filter(|_| places.contains(&Live::Client));
            of_client = client.map(|o| (o.clone(), *depth, recipe)).or(of_client);
            live.push((places.clone(), output, *depth));
        }
        let mut watched: Vec<(View, Arc<Output>)> =
            shown.iter().filter_map(|(view, at)| Some((*view, live.get(*at)?.1.clone()))).collect();
        for (view, recipe, pipelines) in plain {
            let (raster, rough) = (recipes[0].1.raster, recipes[0].1.rough);
            let recipe = Recipe { raster, rough, ..recipe.clone() };
            let picture = output(&self.gpu, &mut self.outputs, recipe.size(frame), target);
            encoded = encoded.and_then(|()| {
                let picture = picture?;
                watched.push((*view, picture.clone()));
                gpu.encode_parts(&mut encoder, pipelines, upload, &recipe.parts(), &picture, 8, true)
            });
        }
        if let Err(e) = encoded {
            self.set_broken(Some(e.to_string().into()));
            return false;
        }
        let beside = self.put_beside(&mut encoder, &live, (shot, number));
        for ((places, picture, _), beside) in live.iter().zip(&beside) {
            outputs.extend(places.iter().map(|p| {
                let shown = beside.as_ref().filter(|_| self.aside.is_on(*p)).unwrap_or(picture);
                (*p as usize, shown.clone())
            }));
        }
        let traces =
            of_client.and_then(|(picture, depth, recipe)| self.trace(&mut encoder, &picture, depth, recipe));
        let shared = graded.map(|(.., picture)| picture);
        let marks = match makeshift {
            true => None,
            false => self.mark(&mut encoder, recipes, shared, &mut outputs, frame),
        };
        let outputs = self.let_through(&mut encoder, outputs, watched);
        let index = self.gpu.queue.submit([encoder.finish()]);
        outputs.iter().filter_map(|(.., fetched)| fetched.as_ref()).for_each(|fetch| fetch.begin());
        if let Some(marks) = &marks {
            marks.ask();
        }
        self.serial += 1;
        self.finisher.add(Job {
            index,
            outputs,
            traces,
            marks,
            shot,
            frame: number,
            show: self.on_view(),
            compare: self.compare,
            trying: self.document.is_trying().then(|| self.document.look_name().into()),
            serial: self.serial,
            submitted: now,
            // A makeshift picture does not hold what the message asked for.
            message: if makeshift { None } else { self.message.take() },
        });
        true
    }

    fn set_broken(&mut self, why: Option<Arc<str>>) {
        if self.broken != why {
            self.broken = why;
            self.stale = true;
        }
    }

    /// What live pictures are written to: deep as soon as one window is.
    pub(super) fn target(&self) -> Target {
        if self.depths.iter().all(|&bits| bits <= 8) { Target::Screen } else { Target::DeepScreen }
    }

    /// Leaves out of a recipe what is compared without. The look goes whole, so that one plan serves every look that may
    /// be tried; all else stays and does not act, so that nothing is compiled.
    pub(super) fn leave_out(&self, recipe: &mut Recipe, compare: Compare) {
        let look = self.first_of(List::Look)..self.first_of(List::Finish);
        match compare {
            Compare::After | Compare::OtherVersion => {}
            Compare::Before => {
                recipe.balance = Some(Balance::default());
                recipe.stages.iter_mut().for_each(|s| s.strength = 0.0);
                recipe.stages.drain(look);
            }
            Compare::WithoutLook => drop(recipe.stages.drain(look)),
            Compare::WithoutStage { list, at } => {
                let there = at < self.document.seen().chain.list(list).len();
                if let Some(stage) = recipe.stages.get_mut(self.first_of(list) + at).filter(|_| there) {
                    stage.strength = 0.0;
                }
            }
        }
    }

    /// Is the stage the look's that is number `at` of the whole chain?
    fn is_of_look(&self, at: usize) -> bool {
        (self.first_of(List::Look)..self.first_of(List::Finish)).contains(&at)
    }

    /// How many stages of the whole chain come before a list.
    fn first_of(&self, list: List) -> usize {
        let chain = &self.document.seen().chain;
        List::ALL.iter().take_while(|l| **l != list).map(|l| chain.list(*l).len()).sum()
    }

    /// A recipe for each distinct setting and depth among the live outputs, and the outputs that show it.
    pub(super) fn recipes(&self, (shot, frame): (usize, u64)) -> Recipes {
        let show = &self.on_view();
        let mut out = Recipes::new();
        let mut settings: Vec<(&OutputSettings, u32)> = Vec::new();
        for (live, output) in [(Live::Desk, show::Output::Desk), (Live::Client, show::Output::Client)] {
            let (of_output, depth) = (show.outputs.get(output), self.depths[live as usize]);
            if let Some(i) = settings.iter().position(|(s, d)| *d == depth && is_same(s, of_output)) {
                out[i].0.push(live);
                continue;
            }
            settings.push((of_output, depth));
            let Some(mut recipe) = recipe(show, shot, show.tail(output), frame as u32) else { continue };
            self.leave_out(&mut recipe, self.compare);
            out.push((vec![live], recipe, depth));
        }
        out
    }
}

/// Are two recipes for one display?
fn is_same_display(a: &Recipe, b: &Recipe) -> bool {
    use crate::picture::Tail::Display;
    matches!((&a.tail, &b.tail), (Display { display: a, .. }, Display { display: b, .. }) if a == b)
}

/// Do two outputs show the same? Tables are not looked into: every frame asks.
pub(super) fn is_same(a: &OutputSettings, b: &OutputSettings) -> bool {
    let table = |o: &OutputSettings| o.calibration.as_ref().map(|c| Arc::as_ptr(&c.lut));
    (&a.display, a.trim, table(a)) == (&b.display, b.trim, table(b))
}

/// A texture that nobody looks at, of the right size; a new one if there is none.
pub(super) fn output(
    gpu: &Gpu,
    pool: &mut Vec<Arc<Output>>,
    size: (u32, u32),
    target: Target,
) -> Result<Arc<Output>, GpuError> {
    pool.retain(|o| (o.width, o.height, o.target) == (size.0, size.1, target));
    if let Some(free) = pool.iter().find(|o| Arc::strong_count(o) == 1) {
        return Ok(free.clone());
    }
    let new = Arc::new(gpu.output(size.0, size.1, target)?);
    pool.push(new.clone());
    Ok(new)
}
