//! Pictures for browsers, drawn only while somebody watches, and the curtain before all client outputs.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use super::core::Engine;
use super::draw::{Recipes, is_same};
use super::input::{Compare, Live};
use crate::gpu::{Fetch, Output as Picture, Pipeline};
use crate::picture::{Recipe, Structure, Target, Trim};
use crate::show::{Output, OutputSettings, Show, known_display, recipe};

/// What a browser's canvas takes a picture's codes for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Canvas {
    /// sRGB, as every browser does.
    Srgb,
    /// Display P3.
    P3,
    /// sRGB, and it is given the signal of a Rec. 709 monitor: the codes that the client's monitor gets.
    Signal,
}

impl Canvas {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Srgb, Self::P3, Self::Signal];

    /// The display that its picture is made for.
    pub const fn display(self) -> &'static str {
        match self {
            Self::Srgb => "srgb",
            Self::P3 => "display-p3",
            Self::Signal => "rec709",
        }
    }

    /// The canvas of a display.
    pub fn of_display(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.display() == id)
    }
}

/// A picture that browsers can have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct View {
    /// For which canvas.
    pub canvas: Canvas,
    /// Without the grade, whatever the operator compares.
    pub before: bool,
}

impl View {
    /// How many there are.
    pub const COUNT: usize = 6;

    /// All of them.
    pub fn all() -> impl Iterator<Item = Self> {
        Canvas::ALL.into_iter().flat_map(|canvas| [false, true].map(|before| Self { canvas, before }))
    }

    /// Its number among all.
    fn at(self) -> usize {
        self.canvas as usize * 2 + usize::from(self.before)
    }

    /// Where its finished pictures lie, among the places of all live outputs.
    pub(super) fn place(self) -> usize {
        Live::COUNT + self.at()
    }
}

/// Which pictures are wanted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Views(u8);

impl Views {
    /// With one more.
    #[must_use]
    pub fn with(self, view: View) -> Self {
        Self(self.0 | 1 << view.at())
    }

    /// Is it among them?
    pub fn has(self, view: View) -> bool {
        self.0 & 1 << view.at() != 0
    }

    /// Are all of them among others?
    pub fn is_in(self, others: Self) -> bool {
        self.0 & !others.0 == 0
    }

    /// None at all?
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }
}

impl FromIterator<View> for Views {
    fn from_iter<T: IntoIterator<Item = View>>(views: T) -> Self {
        views.into_iter().fold(Self::default(), Self::with)
    }
}

/// What stands between the desk and all client outputs: the client's window and browsers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Curtain {
    /// Nothing: clients see what the operator makes.
    #[default]
    Open,
    /// The picture that was on view when it fell.
    Held,
    /// No picture.
    Blank,
}

/// A picture without the grade: for which view, what of, and through what.
pub(super) type Plain = (View, Recipe, Vec<Arc<Pipeline>>);

/// Which view shows which of the recipes.
pub(super) type Shown = Vec<(View, usize)>;

/// What an output for a browser shows: the client's version, where its display goes as high.
fn settings(show: &Show, canvas: Canvas) -> Option<OutputSettings> {
    let display = known_display(canvas.display())?;
    show.check_display(&display).ok()?;
    let client = &show.outputs.client;
    let trim = if client.display.peak == display.peak { client.trim } else { Trim::default() };
    Some(OutputSettings { trim, ..OutputSettings::new(display) })
}

/// The recipe of what browsers get, before anything is left out of it; `None` where the show's own table has no picture for
/// that display, or there is no such shot.
pub fn recipe_of_view(show: &Show, shot: usize, canvas: Canvas, frame: u32) -> Option<Recipe> {
    recipe(show, shot, show.tail_of(&settings(show, canvas)?), frame)
}

impl Engine {
    /// The views to be drawn now. While it plays, none as long as the last ones were not taken: the next frame is soon.
    /// Those without the grade are left out until they are compiled.
    pub(super) fn views_now(&mut self, here: (usize, u64)) -> (Views, Vec<Plain>) {
        let waits = self.playing.is_some() && self.views_drawn > self.shared.taken.load(Ordering::Acquire);
        if self.views.is_empty() || waits || self.curtain != Curtain::Open {
            return (Views::default(), Vec::new());
        }
        let mut views: Views = View::all().filter(|v| !v.before && self.views.has(*v)).collect();
        let plain = self.plain(here);
        for (view, ..) in &plain {
            views = views.with(*view);
        }
        (views, plain)
    }

    /// Adds the recipes of views that are no comparison to those of the windows; which recipe is whose. Where a window shows the
    /// same, they share its picture.
    pub(super) fn add_views(
        &self,
        recipes: &mut Recipes,
        (shot, frame): (usize, u64),
        views: Views,
    ) -> Shown {
        let show = &self.on_view();
        let windows = [(Live::Desk, Output::Desk), (Live::Client, Output::Client)];
        let mut out = Shown::new();
        for view in View::all().filter(|v| !v.before && views.has(*v)) {
            let Some(settings) = settings(show, view.canvas) else { continue };
            let same = windows.iter().find(|(live, output)| {
                self.depths[*live as usize] == 8 && is_same(show.outputs.get(*output), &settings)
            });
            let shared =
                same.and_then(|(live, _)| recipes.iter().position(|(places, ..)| places.contains(live)));
            let at = shared.or_else(|| {
                let mut recipe = recipe(show, shot, show.tail_of(&settings), frame as u32)?;
                self.leave_out(&mut recipe, self.compare);
                recipes.push((Vec::new(), recipe, 8));
                Some(recipes.len() - 1)
            });
            out.extend(at.map(|at| (view, at)));
        }
        out
    }

    /// The pictures that go where somebody sees them, with those of browsers copied to memory.
    pub(super) fn let_through(
        &mut self,
        encoder: &mut wgpu::CommandEncoder,
        windows: Vec<(usize, Arc<Picture>)>,
        watched: Vec<(View, Arc<Picture>)>,
    ) -> Vec<(usize, Arc<Picture>, Option<Arc<Fetch>>)> {
        let open = self.curtain == Curtain::Open;
        let seen = windows.into_iter().filter(|(place, _)| open || *place == Live::Desk as usize);
        let mut out: Vec<_> = seen.map(|(place, picture)| (place, picture, None)).collect();
        for (view, picture) in watched.into_iter().filter(|_| open) {
            let fetch = self.gpu.fetch(encoder, &picture, &mut self.fetches);
            self.views_drawn = self.serial + 1;
            out.push((view.place(), picture, Some(fetch)));
        }
        out
    }

    fn plain(&self, (shot, frame): (usize, u64)) -> Vec<Plain> {
        let show = &self.on_view();
        let mut out = Vec::new();
        for view in View::all().filter(|v| v.before && self.views.has(*v)) {
            let Some(mut recipe) = recipe_of_view(show, shot, view.canvas, frame as u32) else { continue };
            self.leave_out(&mut recipe, Compare::Before);
            let wake = self.wake.clone();
            if !self.gpu.pipelines.tables_ready(&recipe, move || wake()) {
                continue;
            }
            let structures = Structure::of_parts(&recipe.parts(), Target::Half, self.target());
            let pipelines: Vec<_> = structures
                .iter()
                .map(|s| {
                    let wake = self.wake.clone();
                    self.gpu.pipelines.ready(s, move || wake())
                })
                .collect();
            if let Some(pipelines) = pipelines.into_iter().collect() {
                out.push((view, recipe, pipelines));
            }
        }
        out
    }

    /// A picture that was under way when the curtain fell is not to be seen either.
    pub(super) fn keep_blank(&self) {
        if self.curtain == Curtain::Blank {
            for place in &self.shared.places[Live::Client as usize..] {
                if place.load().is_some() {
                    place.store(None);
                }
            }
        }
    }

    /// The curtain rises or falls.
    pub(super) fn draw_curtain(&mut self, to: Curtain) {
        // The same again lifts it.
        self.curtain = if self.curtain == to { Curtain::Open } else { to };
        self.keep_blank();
        self.drawn = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn views_have_places_of_their_own() {
        let mut places: Vec<_> = View::all().map(View::place).collect();
        places.extend(Live::ALL.map(|l| l as usize));
        places.sort_unstable();
        places.dedup();
        assert_eq!(places, (0..Live::COUNT + View::COUNT).collect::<Vec<_>>());
        for view in View::all() {
            assert_eq!(
                View::all().filter(|v| Views::default().with(view).has(*v)).collect::<Vec<_>>(),
                [view]
            );
            assert_eq!(Canvas::of_display(view.canvas.display()), Some(view.canvas));
            assert!(known_display(view.canvas.display()).is_some());
        }
    }
}
