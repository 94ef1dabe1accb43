//! LUT files for the chain, read and baked on another thread, so that the windows go on.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use crate::colour::Space;
use crate::look::{List, NamedLut, Stage, stage};
use crate::show::{Change, Show, ShowError, load_lut_as, source_in_show};

/// What a stage's LUT is asked to be.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Wish {
    /// The stage that has it, if one has; else it is put in where it belongs.
    pub stage: Option<(List, usize)>,
    /// The file.
    pub file: PathBuf,
    /// What it is said to expect and give.
    pub said: [Option<Space>; 2],
}

impl Wish {
    /// The change that fulfils it in a show as it is by then.
    fn change(&self, show: &Show, lut: NamedLut) -> Result<Change, String> {
        let Some((list, at)) = self.stage else {
            let kind = stage("lut").expect("the stage is in the list");
            let (list, at) = show.chain.place_for(kind);
            return Ok(Change::AddStage { list, at, stage: Stage { lut: Some(lut), ..Stage::new(kind) } });
        };
        let now = show.chain.list(list).get(at).and_then(|s| s.lut.as_ref());
        match now {
            Some(now) if now.file == self.file => Ok(Change::SetLut { list, at, lut: Some(lut) }),
            _ => Err(format!("{} is not at {}/{} any more", self.file.display(), list.key(), at + 1)),
        }
    }
}

type Done = (Wish, Result<NamedLut, ShowError>);

/// Reads LUT files and tells when one is done.
pub(super) struct Loader {
    done: (Sender<Done>, Receiver<Done>),
    tell: Arc<dyn Fn() + Send + Sync>,
}

impl Loader {
    pub fn new(tell: impl Fn() + Send + Sync + 'static) -> Self {
        Self { done: channel(), tell: Arc::new(tell) }
    }

    /// Begins to read a file for the show in a folder.
    pub fn begin(&self, folder: &Path, wish: Wish) {
        let (folder, done, tell) = (folder.to_owned(), self.done.0.clone(), self.tell.clone());
        rayon::spawn(move || {
            // One that a stage has keeps its name, by which it is known again.
            let file = match wish.stage {
                Some(_) => wish.file.clone(),
                None => source_in_show(&folder, &wish.file),
            };
            let lut = load_lut_as(&folder, &file, wish.said);
            let _ = done.send((Wish { file, ..wish }, lut));
            tell();
        });
    }

    /// What has been read since: changes, or why there is none.
    pub fn finished(&self, show: &Show) -> Vec<Result<Change, String>> {
        let one = |(wish, lut): Done| wish.change(show, lut.map_err(|e| e.to_string())?);
        self.done.1.try_iter().map(one).collect()
    }
}
