//! An ACES Metadata File for each shot.

use std::collections::BTreeMap;

use super::files::{Folder, Written, bytes_of, date_time, plain, uuid};
use super::measure::Path;
use super::{HandoffError, Job, Lut, LutKind, ShotReport, processes, transform_text};
use crate::check::base64;
use crate::colour::{Encoding, OutputTransform, encoding};
use crate::interchange::amf::{Amf, Look, Transform, uri};
use crate::picture::{Balance, Recipe, Tail};

/// Encodings that the Academy has published a transform to ACES2065-1 for, as far as its own examples of version 2.0 of the
/// file (github.com/ampas/aces-amf) show its identifier.
const KNOWN: &[(&str, &str)] = &[
    ("acescct", "urn:ampas:aces:transformId:v2.0:CSC.Academy.ACEScct_to_ACES.a2.v1"),
    ("logc4", "urn:ampas:aces:transformId:v2.0:CSC.Arri.LogC4_to_ACES.a2.v1"),
];

/// Displays likewise.
const KNOWN_OUTPUTS: &[(&str, &str)] = &[(
    "rec709",
    "urn:ampas:aces:transformId:v2.0:Output.Academy.Rec709-D65_100nit_in_Rec709-D65_BT1886.a2.v1",
)];

/// Conversions between encodings, each a CLF that is written once.
struct Conversions<'a> {
    job: &'a Job<'a>,
    made: BTreeMap<String, Transform>,
}

impl Conversions<'_> {
    fn file(
        &mut self,
        folder: &mut Folder,
        name: &str,
        recipe: Recipe,
        sides: (&str, &str),
    ) -> Result<Transform, HandoffError> {
        if let Some(known) = self.made.get(name) {
            return Ok(known.clone());
        }
        let id = format!("urn:uuid:{}", uuid(name));
        let (path, _) = Path::new(recipe);
        let clf = processes::clf(&path, self.job.clf_size, 1.468, &id, sides.0, sides.1)?;
        let written = folder.write(&format!("luts/{name}.clf"), clf.write()?.as_bytes())?;
        let transform = file(&written);
        self.made.insert(name.to_owned(), transform.clone());
        Ok(transform)
    }

    /// From a shot's encoding to ACES2065-1.
    fn from(
        &mut self,
        folder: &mut Folder,
        e: &'static Encoding,
        aces: &'static Encoding,
    ) -> Result<Transform, HandoffError> {
        if let Some((_, id)) = KNOWN.iter().find(|(known, _)| *known == e.id) {
            return Ok(Transform::Id((*id).to_owned()));
        }
        let recipe = Recipe::conversion(e, Tail::Encoding(aces)).rendered_by(self.job.show.transform);
        self.file(folder, &plain(&format!("{}_to_aces2065-1", e.id)), recipe, (e.name, aces.name))
    }

    /// From ACES2065-1 to the output's display.
    fn output(&mut self, folder: &mut Folder, aces: &'static Encoding) -> Result<Transform, HandoffError> {
        let job = self.job;
        let display = job.display();
        let plainly = job.show.transform == OutputTransform::Aces2 && !super::is_trimmed(&job.settings());
        if let Some((_, id)) = KNOWN_OUTPUTS.iter().find(|(known, _)| plainly && display.id == *known) {
            return Ok(Transform::Id((*id).to_owned()));
        }
        let recipe = Recipe::conversion(aces, job.tail());
        let name = plain(&format!("aces2065-1_to_{}", display.id));
        self.file(folder, &name, recipe, (aces.name, &display.name))
    }
}

/// A file of the hand-off, seen from the folder of the shots.
fn file(written: &Written) -> Transform {
    Transform::File { uri: uri(&format!("../{}", written.path)), sha256: base64(&bytes_of(&written.sha256)) }
}

/// Writes `shots/SHOT.amf` for each shot.
pub fn write(
    job: &Job<'_>,
    luts: &[Lut],
    reports: &mut [ShotReport],
    folder: &mut Folder,
) -> Result<(), HandoffError> {
    let aces = encoding("aces2065-1").ok_or(HandoffError::Nothing)?;
    let mut conversions = Conversions { job, made: BTreeMap::new() };
    let output = conversions.output(folder, aces)?;
    let back = conversions.from(folder, job.space, aces)?;
    let to = match &back {
        Transform::Id(_) => None,
        Transform::File { .. } => {
            let recipe = Recipe::conversion(aces, Tail::Encoding(job.space));
            let name = plain(&format!("aces2065-1_to_{}", job.space.id));
            Some(conversions.file(folder, &name, recipe, (aces.name, job.space.name))?)
        }
    };
    let look = luts.iter().find(|l| l.kind == LutKind::Aces).map(|l| file(&l.file));
    for report in reports {
        let shot = &job.show.shots[report.shot];
        let input = conversions.from(folder, shot.encoding, aces)?;
        let mut looks = Vec::new();
        if report.decision.cdl != crate::colour::Cdl::IDENTITY || shot.balance != Balance::default() {
            let how = if report.decision.fitted { "balance, as near as a decision comes" } else { "balance" };
            let decision = Look::Decision { cdl: report.decision.cdl, to: to.clone(), from: back.clone() };
            looks.push((format!("{how}, on {}", job.space.name), decision));
        }
        if let Some(look) = &look {
            looks.push(("the show's chain".to_owned(), Look::File(look.clone())));
        }
        let key = format!("{} {} {}", job.show.name, shot.name, job.now);
        let amf = Amf {
            description: format!("{}: {}", job.show.name, shot.name),
            made: date_time(job.now),
            uuid: uuid(&key),
            pipeline: uuid(&format!("{key} pipeline")),
            clip: shot.name.clone(),
            file: uri(&shot.source.to_string_lossy().replace('\\', "/")),
            version: [2, 0, 0],
            input: (format!("{} to ACES2065-1", shot.encoding.name), input),
            looks,
            output: (format!("{} by {}", job.display().name, transform_text(job.show)), output.clone()),
        };
        let stem = format!("shots/{}", plain(&shot.name));
        report.files.push(folder.write(&format!("{stem}.amf"), amf.write()?.as_bytes())?);
    }
    Ok(())
}
