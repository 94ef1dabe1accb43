//! The tables of a show and of a shot.

use super::files::{Folder, Written, plain};
use super::measure::{Distance, Path};
use super::samples::Sampled;
use super::tables::{Ahead, Codes, Ends, cube};
use super::{Decision, HandoffError, Job, ShotReport, decisions, processes, transform_text};
use crate::colour::{Curve, Encoding, Reference, encoding};
use crate::interchange::cdl::{Correction, Corrections, Kind};
use crate::picture::Tail;

/// What a table holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LutKind {
    /// The show's chain, from the working encoding to it.
    Chain,
    /// The show's chain and output transform, from the working encoding to a display's signal.
    ChainToDisplay,
    /// The show's chain from ACES2065-1 to ACES2065-1, as an ACES look transform.
    Aces,
    /// One shot's whole path, from its camera's signal to a display's.
    Shot,
}

/// A table as it was handed over.
#[derive(Clone, Debug)]
pub struct Lut {
    /// Its file.
    pub file: Written,
    /// What it holds.
    pub kind: LutKind,
    /// What it reads and gives, for people.
    pub about: String,
    /// How far it is from the live path on the show's own colours.
    pub distance: Distance,
    /// Colours of the show that lie outside what it reads, of how many.
    pub outside: (usize, usize),
    /// Processes of a CLF, and whether a cube is among them; none for `.cube`.
    pub processes: Option<(usize, bool)>,
}

/// A path with the colours that it is measured on.
struct Measured<'a> {
    path: &'a Path,
    inputs: Vec<[f64; 3]>,
    live: Vec<[f64; 3]>,
}

impl<'a> Measured<'a> {
    fn new(path: &'a Path, inputs: Vec<[f64; 3]>) -> Self {
        let live = path.pixels(&inputs);
        Self { path, inputs, live }
    }

    /// Writes a `.cube`.
    fn cube(
        &self,
        folder: &mut Folder,
        stem: &str,
        kind: LutKind,
        ends: Ends,
        size: usize,
        shaped: bool,
        about: &str,
    ) -> Result<Lut, HandoffError> {
        let highest = self.inputs.iter().flatten().fold(1.0, |a: f64, b| a.max(*b));
        // Light as bright as what the show has, and a little more.
        let peak = highest.log2().ceil().exp2().clamp(16.0, 256.0);
        let light = ends.from.curve == Curve::Linear;
        let ahead = match (light, shaped) {
            (true, _) => Ahead::Light(peak),
            (false, true) => Ahead::Curve,
            (false, false) => Ahead::Nothing,
        };
        let made = cube(self.path, ends, size, ahead, format!("{about}, {size} a side"))?;
        let lut = made.lut.to::<f64>();
        let (low, high) = (-1e-9, if ends.from.curve == Curve::Linear { peak } else { 1.0 + 1e-9 });
        let placed: Vec<_> = self.inputs.iter().map(|v| v.map(|x| ends.input.place(x))).collect();
        let outside = placed.iter().filter(|v| v.iter().any(|x| !(low..=high).contains(x))).count();
        let given: Vec<_> = placed.iter().map(|v| lut.apply(*v).map(|y| ends.output.signal(y))).collect();
        let distance = Distance::between(&given, &self.live);
        let legal = if ends.input == Codes::Legal || ends.output == Codes::Legal { "_legal" } else { "" };
        let curve = if ahead == Ahead::Curve { "_shaped" } else { "" };
        let file = folder.write(&format!("{stem}_{size}{curve}{legal}.cube"), made.write()?.as_bytes())?;
        let sides = match (ends.input, ends.output) {
            (Codes::Full, Codes::Full) => "full-range codes",
            (Codes::Legal, Codes::Legal) => "legal-range codes in and out",
            (Codes::Full, Codes::Legal) => "legal-range codes out",
            (Codes::Legal, Codes::Full) => "legal-range codes in",
        };
        const PRACTICE: &str = "common practice, in no published specification";
        let first = match ahead {
            Ahead::Nothing => String::new(),
            Ahead::Curve => format!(", a curve first ({PRACTICE})"),
            Ahead::Light(peak) => format!(", a curve of light from 0 to {peak} first ({PRACTICE})"),
        };
        let about = format!("{about}; {size}³, {sides}{first}");
        Ok(Lut { file, kind, about, distance, outside: (outside, self.inputs.len()), processes: None })
    }

    /// Writes a CLF.
    fn clf(
        &self,
        folder: &mut Folder,
        stem: &str,
        kind: LutKind,
        size: usize,
        on_acescct: f64,
        (input, output): (&str, &str),
    ) -> Result<Lut, HandoffError> {
        let id = format!("urn:uuid:{}", super::files::uuid(&format!("{stem} {input} {output}")));
        let made = processes::clf(self.path, size, on_acescct, &id, input, output)?;
        let process = made.process::<f64>();
        let given: Vec<_> = self.inputs.iter().map(|v| process.apply(*v)).collect();
        let distance = Distance::between(&given, &self.live);
        let has_cube = made.nodes().iter().any(|n| n.operation().name() == "LUT3D");
        let file = folder.write(&format!("{stem}.clf"), made.write()?.as_bytes())?;
        let count = made.nodes().len();
        let how = if has_cube {
            format!("{count} processes, one a cube of {size}³")
        } else {
            format!("{count} processes, no cube")
        };
        let about = format!("{input} to {output}; {how}");
        Ok(Lut {
            file,
            kind,
            about,
            distance,
            outside: (0, self.inputs.len()),
            processes: Some((count, has_cube)),
        })
    }
}

/// The highest ACEScct of colours, in steps that do not hang on a single one.
fn top(colours: &[[f64; 3]]) -> f64 {
    let highest = colours.iter().flatten().fold(1.0, |a: f64, b| a.max(*b));
    if highest > 1.0 { 1.468 } else { 1.0 }
}

/// Writes the show's tables. `light` is what comes to the chain, in ACEScct.
pub fn of_show(
    job: &Job<'_>,
    light: &[[f64; 3]],
    folder: &mut Folder,
) -> Result<(Vec<Lut>, Vec<&'static str>), HandoffError> {
    let acescct = encoding("acescct").ok_or(HandoffError::Nothing)?;
    let aces = encoding("aces2065-1").ok_or(HandoffError::Nothing)?;
    let display = job.display();
    let input = job.input;
    let (chain, left_out) = job.chain(input, Tail::Encoding(acescct));
    let (whole, _) = job.chain(input, job.tail());
    let (as_aces, _) = job.chain(aces, Tail::Encoding(aces));
    let conversion = |to: &'static Encoding| chain.part(acescct, None, Tail::Encoding(to)).without_stages();
    let own = conversion(input).pixels(light);
    let in_aces = conversion(aces).pixels(light);
    let top = top(light);
    let mut all = Vec::new();
    let picture = format!("{} by {}", display.name, transform_text(job.show));
    let to_display = plain(&format!("chain_{}_to_{}", input.id, display.id));
    let to_chain = plain(&format!("chain_{}_to_acescct", input.id));

    let measured = Measured::new(&whole, own.clone());
    let about = format!("the show's chain, {} to {picture}", input.name);
    let ends = Ends { from: input, input: Codes::Full, output: job.codes };
    // Light has its own curve.
    let ways: &[bool] = if input.curve == Curve::Linear { &[false] } else { &[false, true] };
    for (size, shaped) in job.sizes.iter().flat_map(|size| ways.iter().map(move |w| (*size, *w))) {
        let stem = format!("luts/{to_display}");
        all.push(measured.cube(folder, &stem, LutKind::ChainToDisplay, ends, size, shaped, &about)?);
    }
    let stem = format!("luts/{to_display}");
    all.push(measured.clf(
        folder,
        &stem,
        LutKind::ChainToDisplay,
        job.clf_size,
        top,
        (input.name, &picture),
    )?);

    let measured = Measured::new(&chain, own);
    let about = format!("the show's chain, {} to ACEScct", input.name);
    let ends = Ends { output: Codes::Full, ..ends };
    for size in job.sizes {
        let stem = format!("luts/{to_chain}");
        all.push(measured.cube(folder, &stem, LutKind::Chain, ends, *size, false, &about)?);
    }
    let stem = format!("luts/{to_chain}");
    all.push(measured.clf(folder, &stem, LutKind::Chain, job.clf_size, top, (input.name, "ACEScct"))?);

    // Light has no codes: its differences are measured on ACEScct.
    let measured = Measured::new(&as_aces, in_aces);
    let mut lut = measured.clf(
        folder,
        "luts/look_aces2065-1",
        LutKind::Aces,
        job.clf_size,
        top,
        (aces.name, aces.name),
    )?;
    let back = chain.part(aces, None, Tail::Encoding(acescct)).without_stages();
    let made = processes::clf(&as_aces, job.clf_size, top, "x", aces.name, aces.name)?.process::<f64>();
    let given: Vec<_> = measured.inputs.iter().map(|v| made.apply(*v)).collect();
    lut.distance = Distance::between(&back.pixels(&given), &back.pixels(&measured.live));
    all.push(lut);
    Ok((all, left_out))
}

/// Works out a shot's decision and writes it, and its tables.
pub fn of_shot(
    job: &Job<'_>,
    shot: usize,
    sampled: &Sampled,
    folder: &mut Folder,
) -> Result<ShotReport, HandoffError> {
    let own = &job.show.shots[shot];
    let decision = decisions::decide(job, shot, sampled)?;
    let stem = format!("shots/{}", plain(&own.name));
    let one = Corrections {
        kind: Kind::One,
        descriptions: vec![],
        input: None,
        viewing: None,
        all: vec![correction(job, shot, &decision)],
        notes: vec![],
    };
    let files = vec![folder.write(&format!("{stem}.cc"), one.write()?.as_bytes())?];
    let (path, left_out) = job.path(shot, job.tail()).ok_or(HandoffError::Nothing)?;
    let mut luts = Vec::new();
    if job.shot_luts {
        let display = job.display();
        let picture = format!("{} by {}", display.name, transform_text(job.show));
        let measured = Measured::new(&path, sampled.camera.clone());
        let about = format!("the shot {:?}, {} to {picture}", own.name, own.encoding.name);
        // A camera's legal-range codes are its recording's, and of no concern to what decodes them; on a cable they are
        // as legal as what goes out.
        let ends = Ends { from: own.encoding, input: job.codes, output: job.codes };
        for (size, shaped) in job.sizes.iter().flat_map(|size| [(*size, false), (*size, true)]) {
            luts.push(measured.cube(folder, &stem, LutKind::Shot, ends, size, shaped, &about)?);
        }
        let top = match own.encoding.reference {
            Reference::Scene => {
                let acescct = encoding("acescct").ok_or(HandoffError::Nothing)?;
                let balanced = path.part(own.encoding, path.recipe.balance, Tail::Encoding(acescct));
                top(&balanced.without_stages().pixels(&sampled.camera))
            }
            Reference::Display => 1.0,
        };
        let sides = (own.encoding.name, picture.as_str());
        luts.push(measured.clf(folder, &stem, LutKind::Shot, job.clf_size, top, sides)?);
    }
    Ok(ShotReport { shot, decision, luts, left_out, files })
}

/// A shot's decision as files have it.
pub fn correction(job: &Job<'_>, shot: usize, decision: &Decision) -> Correction {
    let own = &job.show.shots[shot];
    let mut one = Correction::new(own.name.clone());
    let how = if decision.fitted {
        format!(
            "fitted to balance; on the display, in 10-bit codes of this shot's colours: {}",
            decision.distance.text()
        )
    } else {
        "balance exactly".to_owned()
    };
    one.descriptions = vec![how];
    one.input = Some(format!(
        "{} ({}); values are not held to 0…1, power leaves negative ones alone",
        job.space.name, job.space.source
    ));
    one.viewing = Some(format!("{} by {}", job.display().name, transform_text(job.show)));
    one.media = vec![own.source.to_string_lossy().into_owned()];
    one.cdl = decision.cdl;
    one
}
