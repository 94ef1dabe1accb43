//! `greyhold stage`

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::bail;

use crate::colour::{ENCODINGS, Space, space};
use crate::look::{Kind, List, STAGES, Stage, stage};
use crate::show::{Change, Lock, load, load_lut_as, save, source_in_show};

/// Put a stage into a show's chain, as designed.
///
/// It goes where it belongs: texture ahead of the first stage of tone, grain last of all, everything else
/// at the end of the look. `--list`, with or without `--at`, puts it elsewhere.
///
/// Examples: greyhold stage winter contrast --list before --at 1
/// greyhold stage winter lut --file print.cube
/// greyhold stage winter lut --file film.clf --expects logc4 --gives acescct
#[derive(Debug, clap::Args)]
pub struct PutIn {
    /// Folder of the show.
    dir: PathBuf,
    /// The stage.
    #[arg(value_name = "STAGE", value_parser = kind_named)]
    kind: Kind,
    /// One of before, look, finish.
    #[arg(long, value_name = "LIST", value_parser = list_named)]
    list: Option<List>,
    /// The .cube or .clf file of a LUT.
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    /// What the LUT expects: one of `greyhold encodings`. Without it what a CLF's InputDescriptor names, else acescct.
    #[arg(long, value_name = "ENCODING", value_parser = space_named, requires = "file")]
    expects: Option<Space>,
    /// What the LUT gives. Without it what a CLF's OutputDescriptor names, else acescct.
    #[arg(long, value_name = "ENCODING", value_parser = space_named, requires = "file")]
    gives: Option<Space>,
    /// Its place there, counted from 1; the end when not given.
    #[arg(long, value_name = "N", requires = "list")]
    at: Option<usize>,
}

fn kind_named(text: &str) -> Result<Kind, String> {
    super::named(stage(text), text, "stage", STAGES.iter().map(|d| d.key))
}

fn space_named(text: &str) -> Result<Space, String> {
    let scene = ENCODINGS.iter().filter(|e| Space::Encoding(e).scene().is_some());
    super::named(space(text), text, "encoding", scene.map(|e| e.id))
}

fn list_named(text: &str) -> Result<List, String> {
    let found = List::ALL.into_iter().find(|l| l.key() == text);
    super::named(found, text, "list", List::ALL.iter().map(|l| l.key()))
}

impl PutIn {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let (list, at) = match (self.list, self.at) {
            (Some(_), Some(0)) => bail!("places are counted from 1"),
            (Some(list), Some(place)) => (list, place - 1),
            (Some(list), None) => (list, show.chain.list(list).len()),
            (None, _) => show.chain.place_for(self.kind),
        };
        let mut stage = Stage::new(self.kind);
        match (self.kind.declaration().table, &self.file) {
            (true, Some(file)) => {
                let file = source_in_show(&self.dir, file);
                stage.lut = Some(load_lut_as(&self.dir, &file, [self.expects, self.gives])?);
            }
            (true, None) => {
                bail!("the stage {} needs --file, a .cube or .clf file", self.kind.declaration().key)
            }
            (false, Some(_)) => bail!("the stage {} reads no file", self.kind.declaration().key),
            (false, None) => {}
        }
        let lut = stage.lut.clone();
        show.apply(Change::AddStage { list, at, stage })?;
        save(&show, &self.dir)?;
        println!("{}/{}: {}", list.key(), at + 1, self.kind.declaration().key);
        if let Some(lut) = lut {
            let lines = [Some(lut.sides_text()), lut.descriptors_text(), lut.bake_text()];
            lines.iter().flatten().for_each(|line| println!("  {line}"));
        }
        Ok(ExitCode::SUCCESS)
    }
}
