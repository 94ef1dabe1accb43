//! False colours and marks on the desk's picture: what is wanted, and its passes beside those of the picture.

use std::sync::Arc;

use super::core::Engine;
use super::draw::{Recipes, output};
use super::input::{Command, Live};
use crate::colour::{Range, encoding};
use crate::gpu::{MarkCounts, MarkInputs, MarkView, Output, Pipeline};
use crate::picture::{Decode, Format, Frame, Recipe, Sample, Source, Structure, Tail, Target};
use crate::scope::patterns::Marked;
use crate::scope::stops::Ends;
use crate::show;

/// Which light false colours tell of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LightOf {
    /// After the shot's balance, before the chain.
    #[default]
    Balance,
    /// As the camera had it, before balance.
    Camera,
}

/// What is told on the desk's picture; never on the client's, nor in files.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marks {
    /// Is it in false colours?
    pub false_colour: bool,
    /// Of which light they tell.
    pub light: LightOf,
    /// Are the ends of the client's signal and of the camera's codes marked?
    pub clipping: bool,
    /// Is marked what lies outside the limiting primaries of the client's display?
    pub gamut: bool,
    /// The share of full range at which the camera clips, [`Marks::LEAST_CLIP`]…1; at 1 only its codes do.
    pub clip: f64,
}

impl Default for Marks {
    fn default() -> Self {
        let light = LightOf::default();
        Self { false_colour: false, light, clipping: false, gamut: false, clip: 1.0 }
    }
}

impl Marks {
    /// The lowest share of full range that a camera can be said to clip at.
    pub const LEAST_CLIP: f64 = 0.5;

    /// Is anything told?
    pub fn any(&self) -> bool {
        self.false_colour || self.clipping || self.gamut
    }

    /// Is a command's button lit?
    pub(super) fn lit(&self, command: MarkCommand) -> Option<bool> {
        Some(match command {
            MarkCommand::FalseColour => self.false_colour,
            MarkCommand::Light => self.light == LightOf::Camera,
            MarkCommand::Clipping => self.clipping,
            MarkCommand::Gamut => self.gamut,
            MarkCommand::ClipAt(_) => return None,
        })
    }

    fn marked(&self) -> Marked {
        Marked { false_colour: self.false_colour, clipping: self.clipping, gamut: self.gamut }
    }
}

/// Something that marks are asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MarkCommand {
    /// False colours, or none: the other one of them.
    FalseColour,
    /// The other light that false colours tell of.
    Light,
    /// Marks where signals end, or none.
    Clipping,
    /// Marks on what lies outside the output's primaries, or none.
    Gamut,
    /// The share of full range at which the camera clips.
    ClipAt(f64),
}

/// What is run for marks before they are drawn.
struct Plan {
    camera: (Recipe, Arc<Pipeline>),
    light: Option<(Recipe, Arc<Pipeline>)>,
    graded: Option<(Vec<Recipe>, Vec<Arc<Pipeline>>)>,
    signal: Option<(Recipe, Arc<Pipeline>)>,
}

/// What marks are drawn with, kept from picture to picture.
#[derive(Default)]
pub(super) struct Marking {
    pub wanted: Marks,
    /// Has the last picture got them, if they are wanted?
    pub drawn: bool,
    floats: Vec<Arc<Output>>,
    counts: Vec<Arc<MarkCounts>>,
}

impl Engine {
    pub(super) fn mark_command(&mut self, command: MarkCommand) {
        let marks = &mut self.marking.wanted;
        match command {
            MarkCommand::FalseColour => marks.false_colour = !marks.false_colour,
            MarkCommand::Light => {
                marks.light = match marks.light {
                    LightOf::Balance => LightOf::Camera,
                    LightOf::Camera => LightOf::Balance,
                }
            }
            MarkCommand::Clipping => marks.clipping = !marks.clipping,
            MarkCommand::Gamut => marks.gamut = !marks.gamut,
            MarkCommand::ClipAt(share) if share.is_nan() => {}
            MarkCommand::ClipAt(share) => marks.clip = share.clamp(Marks::LEAST_CLIP, 1.0),
        }
        (self.drawn, self.marking.drawn) = (None, false);
    }

    /// Were marks wanted that the last picture has not got, and can it get them now?
    pub(super) fn marks_came(&self, here: (usize, u64)) -> bool {
        if !self.marking.wanted.any() || self.marking.drawn {
            return false;
        }
        let recipes = self.recipes(here);
        of_client(&recipes).is_some_and(|recipe| self.mark_plan(recipe).is_some())
    }

    /// The passes, if they are compiled.
    fn mark_plan(&self, recipe: &Recipe) -> Option<Plan> {
        let wake = || {
            let wake = self.wake.clone();
            move || wake()
        };
        let marks = &self.marking.wanted;
        let ready = |recipe: Recipe, target: Target| {
            let pipeline = self.gpu.pipelines.ready(&Structure::of(&recipe, target), wake());
            (recipe, pipeline)
        };
        let (camera, light) = (camera_of(recipe), light_of(recipe, marks.light));
        // All of them are asked for, whatever the first answers.
        let passes = self.gpu.marks_ready(wake()).is_some();
        let camera = ready(camera, Target::Float);
        let light = marks.false_colour.then(|| ready(light, Target::Float));
        let signal = marks.clipping.then(|| ready(recipe.tail_only(), Target::Float));
        let graded = (marks.clipping || marks.gamut).then(|| {
            let parts = recipe.without_tail().parts();
            let structures = Structure::of_parts(&parts, Target::Half, Target::Half);
            let each: Vec<_> = structures.iter().map(|s| self.gpu.pipelines.ready(s, wake())).collect();
            (parts, each)
        });
        let whole = |(recipe, pipeline): (Recipe, Option<Arc<Pipeline>>)| Some((recipe, pipeline?));
        // Of an option: nothing asked for is ready, too.
        let all = |part: Option<(Recipe, Option<Arc<Pipeline>>)>| match part {
            None => Some(None),
            Some(part) => whole(part).map(Some),
        };
        let graded = match graded {
            None => None,
            Some((parts, each)) => Some((parts, each.into_iter().collect::<Option<Vec<_>>>()?)),
        };
        let plan = Plan { camera: whole(camera)?, light: all(light)?, graded, signal: all(signal)? };
        passes.then_some(plan)
    }

    /// Draws marks over what the desk is given, if they are wanted and compiled. `graded` is the graded picture, if the
    /// outputs share one.
    pub(super) fn mark(
        &mut self,
        encoder: &mut wgpu::CommandEncoder,
        recipes: &Recipes,
        graded: Option<Arc<Output>>,
        outputs: &mut [(usize, Arc<Output>)],
        frame: &Frame,
    ) -> Option<Arc<MarkCounts>> {
        let marks = self.marking.wanted;
        if !marks.any() {
            return None;
        }
        self.marking.drawn = false;
        let recipe = of_client(recipes)?;
        let plan = self.mark_plan(recipe)?;
        let depth = recipes.iter().find(|(places, ..)| places.contains(&Live::Desk))?.2;
        let gpu = self.gpu.clone();
        let place = outputs.iter_mut().find(|(place, _)| *place == Live::Desk as usize)?;
        let (size, base) = ((place.1.width, place.1.height), place.1.clone());
        let upload = &self.uploaded.as_ref()?.2;
        let floats = &mut self.marking.floats;
        let mut float = |encoder: &mut wgpu::CommandEncoder,
                         (recipe, pipeline): &(Recipe, Arc<Pipeline>),
                         input: Option<&Output>| {
            let to = output(&gpu, floats, size, Target::Float).ok()?;
            match input {
                Some(picture) => gpu.encode(encoder, pipeline, picture, recipe, &to, 0, false, None).ok()?,
                None => gpu.encode(encoder, pipeline, upload, recipe, &to, 0, false, None).ok()?,
            }
            Some(to)
        };
        let camera = float(encoder, &plan.camera, None)?;
        let light = match &plan.light {
            Some(light) => float(encoder, light, None)?,
            None => camera.clone(),
        };
        let graded = match (&plan.graded, graded) {
            (None, _) => camera.clone(),
            (_, Some(graded)) => graded,
            (Some((parts, pipelines)), None) => {
                let to = output(&gpu, &mut self.graded, size, Target::Half).ok()?;
                gpu.encode_parts(encoder, pipelines, upload, parts, &to, 0, false).ok()?;
                to
            }
        };
        let signal = match &plan.signal {
            Some(signal) => float(encoder, signal, Some(&*graded))?,
            None => camera.clone(),
        };
        let to = output(&gpu, &mut self.outputs, size, base.target).ok()?;
        self.marking.counts.retain(|c| c.is_free() || Arc::strong_count(c) > 1);
        let free = self.marking.counts.iter().find(|c| Arc::strong_count(c) == 1).cloned();
        let counts = free.unwrap_or_else(|| {
            let new = Arc::new(MarkCounts::new(&gpu));
            self.marking.counts.push(new.clone());
            new
        });
        let settings = self.document.seen().outputs.get(show::Output::Desk);
        let Tail::Display { display: client, .. } = &recipe.tail else { return None };
        let view = MarkView {
            marked: marks.marked(),
            ends: Ends::of(recipe.decode.encoding, codes(&frame.format), marks.clip),
            client,
            desk: &settings.display,
            calibration: settings.calibration.as_ref().map(|c| &*c.lut),
            depth,
        };
        let inputs =
            MarkInputs { base: &base, camera: &camera, light: &light, signal: &signal, graded: &graded };
        gpu.encode_marks(encoder, gpu.marks().ok()?, &inputs, &view, &to, &counts, None);
        place.1 = to;
        self.marking.drawn = true;
        Some(counts)
    }
}

/// The recipe of the client's picture.
fn of_client(recipes: &Recipes) -> Option<&Recipe> {
    recipes.iter().find(|(places, ..)| places.contains(&Live::Client)).map(|(_, recipe, _)| recipe)
}

/// The camera's signal as it is, in the picture's framing.
pub(crate) fn camera_of(recipe: &Recipe) -> Recipe {
    let acescg = encoding("acescg").expect("in the table");
    let (decode, tail) = (Decode::from(acescg), Tail::Light);
    Recipe { source: Source::Frame, decode, balance: None, stages: Vec::new(), tail, ..recipe.clone() }
}

/// Scene light before the chain.
pub(crate) fn light_of(recipe: &Recipe, of: LightOf) -> Recipe {
    let balance = if of == LightOf::Camera { None } else { recipe.balance };
    Recipe { balance, stages: Vec::new(), tail: Tail::Light, ..recipe.clone() }
}

/// Codes from 0 to 1 of a format's signal; `None` for floats.
fn codes(format: &Format) -> Option<u32> {
    match (format.sample, format.range) {
        (Sample::F16 | Sample::F32, _) => None,
        (_, Range::Full) => Some((1 << format.depth) - 1),
        (_, Range::Narrow) => Some(219 << (format.depth - 8)),
    }
}

/// What a name asks for.
pub(super) const fn mark(command: MarkCommand) -> Command {
    Command::Mark(command)
}
