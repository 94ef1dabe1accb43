//! `greyhold add`

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};

use super::find::note_media;
use super::media::clips;
use super::{matrix_named, range_named};
use crate::colour::{Encoding, Range, YcbcrMatrix};
use crate::engine::incoming::{pieces, placed};
use crate::media::{ClipInfo, CodePoints, Interpretation, Rate, open};
use crate::show::{Change, Lock, Shot, Show, load, raster_text, save, source_in_show};

/// Add clips to a show, each as a shot at the end of the running order.
///
/// A clip is a video file, or an image sequence given by its first file, its folder, or a pattern
/// (`shot.####.dpx`, `shot.%04d.exr`). Of a folder every clip in it and below it is added, in the order of their names. A clip that cannot be read is named and adds nothing; the others
/// are added. A show without a raster gets the size of its first clip.
///
/// Example: greyhold add winter A001.mov B002.####.dpx --encoding logc4
///
/// By a list: greyhold add winter footage --edl reel-one.edl --encoding logc4
#[derive(Debug, clap::Args)]
pub struct Add {
    /// Folder of the show.
    dir: PathBuf,
    /// Clips.
    #[arg(required = true, value_name = "CLIP")]
    clips: Vec<PathBuf>,
    /// An edit decision list: the clips become shots as it cuts them, in its order, found by reel, name and timecode.
    #[arg(long, value_name = "FILE")]
    edl: Option<PathBuf>,
    /// The same from an OpenTimelineIO file.
    #[arg(long, value_name = "FILE", conflicts_with = "edl")]
    otio: Option<PathBuf>,
    /// Encoding of the clips; `greyhold encodings` lists them.
    #[arg(long, value_name = "ID", value_parser = super::encoding_named)]
    encoding: &'static Encoding,
    /// Read the codes as narrow or full, whatever the file says.
    #[arg(long, value_parser = range_named)]
    range: Option<Range>,
    /// Read Y'CbCr with the weights of bt601, bt709 or bt2020, whatever the file says.
    #[arg(long, value_parser = matrix_named)]
    matrix: Option<YcbcrMatrix>,
}

impl Add {
    pub(super) fn run(self) -> anyhow::Result<ExitCode> {
        let _lock = Lock::take(&self.dir)?;
        let mut show = load(&self.dir)?;
        let laid_on = Rate::new(show.rate.0, show.rate.1);
        let interpretation =
            Interpretation { range: self.range, matrix: self.matrix, laid_on, ..Default::default() };
        let (mut added, mut failed) = (0, 0);
        let clips = clips(&self.clips);
        if let Some(list) = self.edl.as_ref().or(self.otio.as_ref()) {
            return self.by_list(show, list, &clips, &interpretation);
        }
        for clip in &clips {
            let info = match open(clip, &interpretation) {
                Ok(source) => source.info().clone(),
                Err(e) => {
                    eprintln!("greyhold: {e}");
                    failed += 1;
                    continue;
                }
            };
            let mut shot =
                Shot::new(name(clip, &info), source_in_show(&self.dir, clip), 0..info.frames, self.encoding);
            shot.range = self.range;
            shot.matrix = self.matrix;
            if show.raster.is_none() && show.shots.is_empty() {
                show.apply(Change::SetRaster(Some((info.width, info.height))))?;
                println!("raster: {}", raster_text((info.width, info.height)));
            }
            show.apply(Change::AddShot { at: show.shots.len(), shot })?;
            added += 1;
            let name = show.shots.last().map_or("", |s| s.name.as_str());
            println!("{name}: {} frames, {}×{}, {}", info.frames, info.width, info.height, info.description);
            if info.points != CodePoints::default() {
                println!("  tags: {}", info.points.text());
            }
        }
        if added > 0 {
            save(&show, &self.dir)?;
            note_media(&show, &self.dir);
        }
        if failed > 0 {
            bail!("{failed} of {} clips could not be added", clips.len());
        }
        Ok(ExitCode::SUCCESS)
    }
}

impl Add {
    /// Makes the shots that a list cuts out of clips.
    fn by_list(
        &self,
        mut show: Show,
        list: &Path,
        clips: &[PathBuf],
        interpretation: &Interpretation,
    ) -> anyhow::Result<ExitCode> {
        let bytes = std::fs::read(list).with_context(|| format!("{} cannot be read", list.display()))?;
        let (pieces, notes) = pieces(list, &bytes).with_context(|| list.display().to_string())?;
        notes.iter().for_each(|n| println!("{n}"));
        let mut opened = Vec::new();
        for clip in clips {
            match open(clip, interpretation) {
                Ok(source) => opened.push((clip, source.info().clone())),
                Err(e) => eprintln!("greyhold: {e}"),
            }
        }
        let infos: Vec<&ClipInfo> = opened.iter().map(|o| &o.1).collect();
        let (mut changes, mut failed) = (Vec::new(), 0);
        for piece in &pieces {
            let (at, frames, by) = match placed(piece, &infos) {
                Ok(found) => found,
                Err(why) => {
                    eprintln!("greyhold: {why}");
                    failed += 1;
                    continue;
                }
            };
            let (clip, info) = &opened[at];
            println!("{}: {}, frames {} to {}, by {by}", piece.says, info.name, frames.start, frames.end);
            let mut shot =
                Shot::new(name(clip, info), source_in_show(&self.dir, clip), frames, self.encoding);
            (shot.range, shot.matrix) = (self.range, self.matrix);
            if show.raster.is_none() && show.shots.is_empty() && changes.is_empty() {
                changes.push(Change::SetRaster(Some((info.width, info.height))));
            }
            let shots = changes.iter().filter(|c| matches!(c, Change::AddShot { .. })).count();
            changes.push(Change::AddShot { at: show.shots.len() + shots, shot });
        }
        if !changes.is_empty() {
            show.apply(Change::Together(changes))?;
            save(&show, &self.dir)?;
            note_media(&show, &self.dir);
        }
        if failed > 0 {
            bail!("{failed} of {} pieces of {} have no clip", pieces.len(), list.display());
        }
        Ok(ExitCode::SUCCESS)
    }
}

/// What a shot is called: the clip's name without its numbers and ending.
fn name(clip: &Path, info: &ClipInfo) -> String {
    let stem =
        Path::new(&info.name).file_stem().map_or(info.name.clone(), |s| s.to_string_lossy().into_owned());
    let plain = stem.trim_end_matches(|c: char| c == '#' || "._- ".contains(c));
    let folder = || clip.file_name().map_or("shot".into(), |n| n.to_string_lossy().into_owned());
    if plain.is_empty() { folder() } else { plain.to_owned() }
}
