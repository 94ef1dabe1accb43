//! The running order: an edit decision list with colour decisions, and all decisions in one file.

use super::files::{Folder, plain};
use super::luts::correction;
use super::samples::Sampled;
use super::{HandoffError, Job, ShotReport};
use crate::interchange::cdl::{Corrections, Kind};
use crate::interchange::edl::{Edl, Event, Label, Transition};
use crate::media::timecode::Counting;
use crate::media::{ClipInfo, Rate};
use crate::show::Shot;

/// The hour at which a programme begins, by common practice.
const PROGRAMME: u64 = 1;

/// Writes `NAME.edl`, `NAME.ccc` and `NAME.cdl`.
pub fn write(
    job: &Job<'_>,
    sampled: &[Sampled],
    reports: &[ShotReport],
    folder: &mut Folder,
) -> Result<(), HandoffError> {
    let name = plain(&job.show.name);
    let list = edl(job, sampled, reports);
    folder.write(&format!("{name}.edl"), list.write()?.as_bytes())?;
    for kind in [Kind::Collection, Kind::Decisions] {
        let all = reports.iter().map(|r| correction(job, r.shot, &r.decision)).collect();
        let corrections = Corrections {
            kind,
            descriptions: vec![format!("{}: the decisions of all its shots", job.show.name)],
            input: None,
            viewing: None,
            all,
            notes: vec![],
        };
        folder.write(&format!("{name}.{}", kind.extension()), corrections.write()?.as_bytes())?;
    }
    Ok(())
}

/// How the show's frames are counted: with labels dropped where its sources' are and its rate has that.
pub fn counting(job: &Job<'_>, sampled: &[Sampled]) -> Counting {
    let rate = Rate::new(job.show.rate.0, job.show.rate.1).unwrap_or(Rate::FPS_24);
    let dropping = !sampled.is_empty() && sampled.iter().all(|s| s.info.drop_frame);
    Counting::of(rate, dropping)
}

/// The frame from midnight that frame 0 of a source is: its timecode's, else its number in its name.
pub fn first_frame(info: &ClipInfo) -> u64 {
    info.timecode_start.unwrap_or(info.first_number)
}

/// The reel of a shot: its source's name, without its numbers and ending.
pub fn reel(shot: &Shot, info: &ClipInfo) -> String {
    let stem = std::path::Path::new(&info.name).file_stem().map(|s| s.to_string_lossy().into_owned());
    let stem = stem.unwrap_or_else(|| shot.name.clone());
    let stem = stem.trim_end_matches(|c: char| c == '#' || "._- ".contains(c));
    plain(if stem.is_empty() { &shot.name } else { stem })
}

fn label(counting: Counting, frame: u64) -> Label {
    let parsed = Label::parse(&counting.text(frame));
    parsed.unwrap_or(Label { hours: 0, minutes: 0, seconds: 0, frames: 0, dropping: false })
}

/// The running order as cuts.
fn edl(job: &Job<'_>, sampled: &[Sampled], reports: &[ShotReport]) -> Edl {
    let record = counting(job, sampled);
    let mut at = record.count(&format!("{PROGRAMME:02}:00:00:00")).unwrap_or(0);
    let mut list = Edl { title: job.show.name.clone(), ..Edl::default() };
    for (i, (report, sampled)) in reports.iter().zip(sampled).enumerate() {
        let shot = &job.show.shots[report.shot];
        let source = Counting::of(sampled.info.rate, sampled.info.drop_frame);
        let (first, length) = (first_frame(&sampled.info) + shot.start, shot.end - shot.start);
        list.events.push(Event {
            number: (i + 1).to_string(),
            reel: reel(shot, &sampled.info),
            track: "V".into(),
            transition: Transition::Cut,
            source_in: label(source, first),
            source_out: label(source, first + length),
            record_in: label(record, at),
            record_out: label(record, at + length),
            dropping: record.is_dropping(),
            clip: Some(sampled.info.name.clone()),
            file: Some(shot.source.to_string_lossy().into_owned()),
            speed: None,
            cdl: Some(report.decision.cdl),
            comments: vec![
                format!("SHOT: {}", shot.name),
                format!("ASC CDL ON {}", job.space.id.to_uppercase()),
            ],
            line: 0,
        });
        at += length;
    }
    list
}
