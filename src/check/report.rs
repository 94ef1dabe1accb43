//! The report: measured values, limits, verdicts.

use serde::Serialize;

use super::lattice::Lattice;
use super::limits::{Limit, Limits};
use super::{Rendering, Subject, banding, clipping, folds, grey, hue, noise, skin, table, tone, toning};
use crate::look::Intent;

/// What is measured, declared once.
#[derive(Debug, Serialize)]
pub struct Declared {
    /// What limits and messages call it.
    pub key: &'static str,
    /// Which of the ten measurements it belongs to.
    pub measure: &'static str,
    /// What people call it.
    pub name: &'static str,
    /// What its number counts; empty for slopes and for a number of things.
    pub unit: &'static str,
    /// Decimals that people are shown.
    #[serde(skip)]
    pub digits: usize,
    /// How it is measured.
    pub definition: &'static str,
    /// Where that comes from.
    pub source: &'static str,
}

/// Everything that is measured, M1 to M10.
pub fn rows() -> impl Iterator<Item = &'static Declared> {
    let files = [
        grey::ROWS,
        toning::ROWS,
        tone::ROWS,
        folds::ROWS,
        banding::ROWS,
        hue::ROWS,
        skin::ROWS,
        clipping::ROWS,
        noise::ROWS,
        table::ROWS,
    ];
    files.into_iter().flatten()
}

/// A measured value on its way to a row.
pub(super) struct Found {
    key: &'static str,
    value: f64,
    note: String,
}

impl Found {
    pub fn new(key: &'static str, value: f64) -> Self {
        Self { key, value, note: String::new() }
    }

    pub fn noted(self, note: impl Into<String>) -> Self {
        Self { note: note.into(), ..self }
    }
}

/// What is said of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Within its limit.
    Pass,
    /// Past its limit.
    Fail,
    /// Past a limit that only advises.
    Advice,
    /// Told, not judged.
    Told,
}

impl Verdict {
    /// What a limit says of a value; without one it is told.
    pub(super) fn of(limit: Option<&Limit>, value: f64) -> Self {
        match limit {
            Some(l) if l.told => Self::Told,
            Some(l) if l.holds(value) => Self::Pass,
            Some(l) if l.advice => Self::Advice,
            Some(_) => Self::Fail,
            None => Self::Told,
        }
    }
}

/// One measured value.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// What it is.
    #[serde(flatten)]
    pub declared: &'static Declared,
    /// The value.
    pub value: f64,
    /// What it is held to.
    pub limit: Option<Limit>,
    /// What is said of it.
    pub verdict: Verdict,
    /// Where on the look it was found, and the like; may be empty.
    pub note: String,
}

impl Row {
    /// The value as people are shown it, with its unit.
    pub fn shown(&self) -> String {
        let unit = self.declared.unit;
        let space = if matches!(unit, "" | "°" | "%") { "" } else { " " };
        if self.value.abs() >= 1e7 {
            return format!("{:.1e}{space}{unit}", self.value);
        }
        // Adding zero turns −0 into 0.
        format!("{:.*}{space}{unit}", self.declared.digits, self.value + 0.0)
    }
}

/// Curves and places behind the rows, for pictures of them.
#[derive(Clone, Debug, Default)]
pub struct Figures {
    /// Tint of neutrals: stops over grey, ΔE_ITP.
    pub toning: Vec<[f64; 2]>,
    /// The tone curve.
    pub tone: tone::Curve,
    /// The rings of hues.
    pub rings: Vec<hue::Ring>,
    /// Skins at exposures.
    pub skins: Vec<skin::Skin>,
    /// Where volumes shrink or fold.
    pub folds: folds::Map,
    /// Ramps without the look and with it.
    pub ramps: Vec<banding::Ramp>,
}

/// What a check found.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The look's name.
    pub name: String,
    /// The strength that it was checked at.
    pub strength: f64,
    /// What it says that it means to do.
    #[serde(serialize_with = "intent_id")]
    pub intent: Option<Intent>,
    /// Whether every judged row passes.
    pub passes: bool,
    /// What to know about the verdicts: a line each.
    pub notes: Vec<String>,
    /// The values.
    pub rows: Vec<Row>,
    /// What pictures are drawn from.
    #[serde(skip)]
    pub figures: Figures,
}

fn intent_id<S: serde::Serializer>(intent: &Option<Intent>, to: S) -> Result<S::Ok, S::Error> {
    intent.map(Intent::id).serialize(to)
}

impl Report {
    /// A row by its key.
    pub fn row(&self, key: &str) -> Option<&Row> {
        self.rows.iter().find(|r| r.declared.key == key)
    }

    /// The rows that fail.
    pub fn failures(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(|r| r.verdict == Verdict::Fail)
    }

    fn new(
        subject: &Subject,
        strength: f64,
        dimensions: usize,
        limits: &Limits,
        found: Vec<Found>,
        figures: Figures,
    ) -> Self {
        let says = subject.intent;
        let mut notes = subject.left_out.clone();
        let rows: Vec<Row> = rows()
            .filter_map(|declared| {
                let Found { value, note, .. } = found.iter().find(|f| f.key == declared.key)?;
                let mut limit = limits.of(declared.key, says, dimensions).cloned();
                if declared.key == "dimensions" {
                    limit = dimensions_limit(says, dimensions, strength, limit, &mut notes);
                }
                let verdict = Verdict::of(limit.as_ref(), *value);
                Some(Row { declared, value: *value, limit, verdict, note: note.clone() })
            })
            .collect();
        let has = |key: &str| rows.iter().any(|r| r.declared.key == key);
        if !has("hue-winding") {
            notes.push("What it makes of colours is too pale to have a hue: M6 is not measured.".into());
        }
        if !has("skin-drift") && has("clip-excess") {
            notes.push("What it makes of skin has no hue: M7 is not measured.".into());
        }
        let passes = rows.iter().all(|r| r.verdict != Verdict::Fail);
        Self { name: subject.name.clone(), strength, intent: says, passes, notes, rows, figures }
    }
}

/// What the number of dimensions is held to. Two cases are not the table's: a look that speaks of the whole of
/// itself is not held to it at a part of its strength, where colours still spread; and one that says nothing and
/// makes one image of three channels everywhere is taken for what it is.
fn dimensions_limit(
    says: Option<Intent>,
    dimensions: usize,
    strength: f64,
    limit: Option<Limit>,
    notes: &mut Vec<String>,
) -> Option<Limit> {
    let told = |why: &str| Some(Limit { told: true, why: why.into(), ..Limit::default() });
    let holds = limit.as_ref().is_none_or(|l| l.holds(dimensions as f64));
    match says {
        Some(intent) if !holds && strength < 1.0 && dimensions == 3 => {
            notes.push(format!(
                "It says {:?} of its whole strength; at {strength} colours spread over three dimensions, and it is judged as a colour look",
                intent.id()
            ));
            told("at a part of its strength")
        }
        None if dimensions == 1 => {
            notes.push(
                "It makes one image of three channels everywhere and does not say so (intent): judged by its neutral axis, as monochrome looks are, with a colour look's limits of tint"
                    .into(),
            );
            told("recognised: one image of three channels")
        }
        _ => {
            if dimensions < 3 && holds {
                let intent = says.map_or("", Intent::id);
                notes.push(format!(
                    "It says {intent:?}: judged by its neutral axis, by light that must not darken it, and for folds at lower strengths"
                ));
            }
            limit
        }
    }
}

/// Checks a look at a strength.
pub fn check(subject: &Subject, strength: f64, limits: &Limits) -> Report {
    let t = Rendering::fixed();
    let f = subject.at(strength);
    let dimensions = folds::dimensions(&f);
    let lattice = Lattice::of(&f, folds::SIZE);
    let mut figures = Figures::default();
    let mut found = grey::measure(&f);
    let (rows, toning) = toning::measure(&f, t, 400);
    found.extend(rows);
    figures.toning = toning;
    let (rows, tone) = tone::measure(&f, t, 1);
    found.extend(rows);
    figures.tone = tone;
    let (rows, map) = folds::measure(subject, strength, &lattice, dimensions);
    found.extend(rows);
    figures.folds = map;
    found.extend(banding::measure(&f, t, 1));
    figures.ramps = banding::ramps(&f, t);
    let (rows, rings) = hue::measure(&f, t, false);
    found.extend(rows);
    figures.rings = rings;
    let (rows, skins) = skin::measure(&f, t);
    found.extend(rows);
    figures.skins = skins;
    found.extend(clipping::measure(&f, t));
    found.extend(noise::measure(&f, t, &lattice));
    let enough = |error: f64| {
        limits.of("lut-error", subject.intent, dimensions).is_none_or(|l| l.told || l.holds(error))
    };
    found.extend(table::measure(&f, t, &lattice, enough));
    Report::new(subject, strength, dimensions, limits, found, figures)
}

/// The part of a check that is quick enough to follow a hand (some milliseconds): M1 and M2 in fewer places, M3 and
/// M5 at every ninth code, M6 by 5°. It may miss what lies between its places and reports none that is not there:
/// whatever fails here fails in [`check`], or within the difference of two neighbouring places of it.
pub fn check_points(subject: &Subject, strength: f64, limits: &Limits) -> Report {
    let t = Rendering::fixed();
    let f = subject.at(strength);
    let dimensions = folds::dimensions(&f);
    let mut figures = Figures::default();
    let mut found = grey::measure(&f);
    let (rows, toning) = toning::measure(&f, t, 60);
    found.extend(rows);
    figures.toning = toning;
    let (rows, tone) = tone::measure(&f, t, banding::COARSE);
    found.extend(rows);
    figures.tone = tone;
    found.extend(banding::measure(&f, t, banding::COARSE));
    let (rows, rings) = hue::measure(&f, t, true);
    found.extend(rows);
    figures.rings = rings;
    Report::new(subject, strength, dimensions, limits, found, figures)
}
