//! The scopes' pictures: of the client's signal, or of what balance alone would make of it.

use std::sync::Arc;
use std::time::Instant;

use super::core::Engine;
use super::draw::output;
use super::input::Live;
use crate::gpu::{Output, Pipeline, ScopeOf, ScopePasses, Traces};
use crate::picture::{Balance, Recipe, Structure};
use crate::show::{Change, Pusher, ShowError};

impl Engine {
    /// Moves the shot's balance by what is done to the signal that scopes show. What that takes is prepared once, and again
    /// only when something else has changed meanwhile.
    pub(super) fn move_signal(
        &mut self,
        control: u32,
        now: Instant,
        change: impl FnOnce(&mut Pusher, Balance) -> Result<Change, ShowError>,
    ) {
        let (shot, show) = (self.document.shot, self.document.seen().clone());
        let of = self.scopes.map_or(ScopeOf::Signal, |view| view.of);
        let key = (self.document.revision, shot, of);
        if self.pusher.as_ref().is_none_or(|(made_of, _)| *made_of != key) {
            self.pusher = match Pusher::of(&show, shot, of == ScopeOf::Signal) {
                Ok(pusher) => Some((key, pusher)),
                Err(e) => return self.document.change_if(Err(e), control, now),
            };
        }
        let Some((made_of, pusher)) = &mut self.pusher else { return };
        let change = change(pusher, show.shots[shot].balance);
        self.document.change_if(change, control, now);
        // All that has changed is the shot's balance.
        made_of.0 = self.document.revision;
    }

    /// Were scopes wanted that the last picture has not got, and can it get them now?
    pub(super) fn scopes_came(&self, here: (usize, u64)) -> bool {
        if self.traced || self.scopes_ready().is_none() {
            return false;
        }
        match self.scopes.map(|view| view.of) {
            None => false,
            Some(ScopeOf::Signal) => true,
            Some(ScopeOf::Balance) => {
                let recipes = self.recipes(here);
                let client = recipes.iter().find(|(places, ..)| places.contains(&Live::Client));
                client.is_some_and(|(_, recipe, _)| self.balance_alone(recipe).is_some())
            }
        }
    }

    /// The passes of scopes, if they are wanted and compiled.
    fn scopes_ready(&self) -> Option<&ScopePasses> {
        self.scopes?;
        let wake = self.wake.clone();
        self.gpu.scopes_ready(move || wake())
    }

    /// The recipe without any stage, and its pass, if that is compiled.
    fn balance_alone(&self, recipe: &Recipe) -> Option<(Recipe, Arc<Pipeline>)> {
        let recipe = Recipe { stages: Vec::new(), ..recipe.clone() };
        let wake = self.wake.clone();
        let pipeline = self.gpu.pipelines.ready(&Structure::of(&recipe, self.target()), move || wake())?;
        Some((recipe, pipeline))
    }

    /// The scopes of the client's picture, made by `recipe`, or of what balance alone makes of it, if they are wanted and
    /// compiled.
    pub(super) fn trace(
        &mut self,
        encoder: &mut wgpu::CommandEncoder,
        picture: &Arc<Output>,
        depth: u32,
        recipe: &Recipe,
    ) -> Option<Arc<Traces>> {
        let view = self.scopes?;
        self.traced = false;
        self.scopes_ready()?;
        let gpu = self.gpu.clone();
        let picture = match view.of {
            ScopeOf::Signal => picture.clone(),
            ScopeOf::Balance => {
                let (recipe, pipeline) = self.balance_alone(recipe)?;
                let size = (picture.width, picture.height);
                let to = output(&gpu, &mut self.outputs, size, picture.target).ok()?;
                let upload = &self.uploaded.as_ref()?.2;
                gpu.encode(encoder, &pipeline, upload, &recipe, &to, depth, true, None).ok()?;
                to
            }
        };
        let passes = gpu.scopes().ok()?;
        let (columns, _) = crate::scope::columns(picture.width);
        self.traces.retain(|t| t.columns == columns);
        let free = self.traces.iter().find(|t| Arc::strong_count(t) == 1).cloned();
        let traces = free.unwrap_or_else(|| {
            let new = Arc::new(Traces::new(&gpu, picture.width));
            self.traces.push(new.clone());
            new
        });
        gpu.encode_scopes(encoder, passes, &picture, depth, &view, &traces, None);
        self.traced = true;
        Some(traces)
    }
}
