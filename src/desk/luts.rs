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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::space;
    use std::time::Duration;

    const CUBE: &str = "LUT_1D_SIZE 2\n0 0 0\n1 1 1\n";

    /// One file, read on the other thread.
    fn one(
        loader: &Loader,
        told: &Receiver<()>,
        folder: &Path,
        wish: Wish,
        show: &Show,
    ) -> Result<Change, String> {
        loader.begin(folder, wish);
        told.recv_timeout(Duration::from_secs(40)).expect("the loader tells");
        loader.finished(show).pop().expect("one is done")
    }

    #[test]
    fn what_is_read_goes_where_it_belongs_by_then() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a.cube");
        std::fs::write(&file, CUBE).unwrap();
        let (tell, told) = channel();
        let loader = Loader::new(move || tell.send(()).unwrap());
        let mut show = Show::new("snow");
        let drop = || Wish { stage: None, file: file.clone(), said: [None; 2] };
        let change = one(&loader, &told, folder.path(), drop(), &show).unwrap();
        let empty = show.clone();
        let back = show.apply(change).unwrap();
        let lut = show.chain.look[0].lut.clone().unwrap();
        assert_eq!(lut.file, Path::new("a.cube"));
        // Another word on it, and back.
        let wish =
            Wish { stage: Some((List::Look, 0)), file: lut.file.clone(), said: [space("logc4"), None] };
        let change = one(&loader, &told, folder.path(), wish.clone(), &show).unwrap();
        let undo = show.apply(change).unwrap();
        assert_eq!(show.chain.look[0].lut.as_ref().unwrap().expects.by_hand(), space("logc4"));
        show.apply(undo).unwrap();
        assert_eq!(show.chain.look[0].lut, Some(lut));
        show.apply(back).unwrap();
        assert_eq!(show, empty);
        // The stage went away meanwhile; the file is broken.
        let e = one(&loader, &told, folder.path(), wish, &show).unwrap_err();
        assert!(e.contains("a.cube is not at look/1 any more"), "{e}");
        std::fs::write(&file, "LUT_1D_SIZE 2\n0 0 0\n").unwrap();
        let e = one(&loader, &told, folder.path(), drop(), &show).unwrap_err();
        assert!(e.contains("a.cube") && e.contains("1 of 2"), "{e}");
    }
}
