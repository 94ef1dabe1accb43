//! Clients in browsers: let in, answered, said goodbye to.

use super::super::sofa::{self, Wish};
use super::Desk;
use crate::engine::EngineError;
use crate::serve::Server;

impl Desk {
    /// Does what the window about clients asks for.
    pub(super) fn about_clients(&mut self, wish: Wish) {
        match (&self.server, wish) {
            (_, Wish::Open { network }) => {
                let Some(link) = self.engine.link() else { return };
                match Server::start(sofa::options(network), link) {
                    Ok(server) => {
                        server.on_news(Box::new(self.teller()));
                        self.server = Some(server);
                    }
                    Err(e) => self.panes.note = Some(e.to_string()),
                }
            }
            (_, Wish::Close) => self.server = None,
            (None, _) => {}
            (Some(server), Wish::Renew(role)) => {
                if let Err(e) = server.renew(role) {
                    self.panes.note = Some(e.to_string());
                }
            }
            (Some(server), Wish::Done(note, done)) => server.set_done(note, done),
            (Some(server), Wish::Remove(note)) => server.remove(note),
            (Some(server), Wish::Point(at)) => server.point(at),
        }
        self.surface.window.request_redraw();
    }

    /// Says goodbye to viewers, writes down how the desk is laid out, and stops the engine, which saves.
    pub(super) fn close(mut self) -> Result<(), EngineError> {
        drop(self.server.take());
        self.memory.take(self.panes.remembered(), std::time::Instant::now());
        self.memory.finish();
        self.engine.stop()
    }
}
