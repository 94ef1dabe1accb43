//! ASC CDL in XML: one correction (`.cc`), a collection (`.ccc`) or a list of decisions (`.cdl`).
//!
//! Pines & Reisner, *ASC CDL Transfer Functions and Interchange Syntax*, version 1.2 (2009): `ColorCorrection` with a
//! `SOPNode` (`Slope`, `Offset`, `Power`) and a `SatNode` (`Saturation`), either of which may be missing;
//! `ColorCorrectionCollection` of them; `ColorDecisionList` of `ColorDecision`s, each with media and a correction or a
//! reference to one. Read as well, as files in use have them: any namespace or none, with a prefix or without,
//! `SATNode`, `SopNode`, and the names `ASC_SOP` and `ASC_SAT` that ACES Metadata Files use.
//!
//! No file says which values its numbers are for; that is for people, in a description. Nor is it said whether
//! results are held to 0…1: see [`Cdl::forward`] and [`Cdl::forward_no_clamp`].

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::Error;
use super::text::{excerpt, utf8};
use super::xml::{Element, Xml, attribute, element, unknown};
use crate::colour::Cdl;

/// The namespace that the files are written in.
pub const NAMESPACE: &str = "urn:ASC:CDL:v1.01";

const MOST_NOTES: usize = 100;
const ROOTS: &str = "ColorCorrection, ColorCorrectionCollection or ColorDecisionList as the root";
const PARTS: &str = "SOPNode, SatNode, Description, InputDescription, ViewingDescription";

/// The three kinds of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One correction: `.cc`.
    One,
    /// A collection: `.ccc`.
    Collection,
    /// Decisions, each with its media: `.cdl`.
    Decisions,
}

impl Kind {
    /// How its files' names end.
    pub fn extension(self) -> &'static str {
        match self {
            Self::One => "cc",
            Self::Collection => "ccc",
            Self::Decisions => "cdl",
        }
    }
}

/// One correction.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Its id, in a collection that of a shot as a rule; empty if there is none.
    pub id: String,
    /// Descriptions, in order; those of its nodes too.
    pub descriptions: Vec<String>,
    /// What values it is for.
    pub input: Option<String>,
    /// How the picture was seen.
    pub viewing: Option<String>,
    /// What a decision says about its media (`MediaRef`), in order.
    pub media: Vec<String>,
    /// The ten numbers.
    pub cdl: Cdl<f64>,
}

impl Correction {
    /// A correction that does nothing.
    pub fn new(id: impl Into<String>) -> Self {
        Self {
            id: id.into(),
            descriptions: vec![],
            input: None,
            viewing: None,
            media: vec![],
            cdl: Cdl::IDENTITY,
        }
    }
}

/// A file's corrections.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrections {
    /// Which kind of file.
    pub kind: Kind,
    /// What is said about all of them.
    pub descriptions: Vec<String>,
    /// What values they are for.
    pub input: Option<String>,
    /// How the pictures were seen.
    pub viewing: Option<String>,
    /// The corrections, in the file's order; one for a file of [`Kind::One`].
    pub all: Vec<Correction>,
    /// What was read over, each with its line. At most 100.
    pub notes: Vec<(usize, String)>,
}

/// What may stand around a correction and around all of them.
#[derive(Default)]
struct About {
    descriptions: Vec<String>,
    input: Option<String>,
    viewing: Option<String>,
}

impl About {
    /// Takes a description; `false` if the element is none.
    fn take(&mut self, child: &Element, xml: &mut Xml<'_>) -> Result<bool, Error> {
        let text = |xml: &mut Xml<'_>| Ok::<_, Error>(xml.text()?.trim().to_owned());
        match child.local() {
            "Description" => self.descriptions.push(text(xml)?),
            "InputDescription" => self.input = Some(text(xml)?),
            "ViewingDescription" => self.viewing = Some(text(xml)?),
            _ => return Ok(false),
        }
        Ok(true)
    }
}

struct Reading<'a> {
    xml: Xml<'a>,
    notes: Vec<(usize, String)>,
}

impl Reading<'_> {
    /// Passes over an element that is not known, with a note.
    fn pass(&mut self, child: &Element) -> Result<(), Error> {
        if self.notes.len() < MOST_NOTES {
            self.notes.push((child.line, format!("{} is not known and was left out", excerpt(&child.name))));
        }
        self.xml.raw().map(|_| ())
    }

    fn correction(&mut self, mut element: Element) -> Result<Correction, Error> {
        let mut found = Correction::new(element.take("id").unwrap_or_default().trim());
        let (mut about, mut seen) = (About::default(), [false; 2]);
        while let Some(child) = self.xml.child(PARTS)? {
            let node = match child.local() {
                "SOPNode" | "SopNode" | "ASC_SOP" => 0,
                "SatNode" | "SATNode" | "ASC_SAT" => 1,
                _ if about.take(&child, &mut self.xml)? => continue,
                _ => {
                    self.pass(&child)?;
                    continue;
                }
            };
            if std::mem::replace(&mut seen[node], true) {
                return Err(Error::Value {
                    line: child.line,
                    what: child.local().to_owned(),
                    found: "given twice".into(),
                    accepted: "one in a ColorCorrection".into(),
                });
            }
            match node {
                0 => self.sop(&child, &mut found)?,
                _ => self.saturation(&child, &mut found)?,
            }
        }
        found.descriptions.splice(0..0, about.descriptions);
        (found.input, found.viewing) = (about.input, about.viewing);
        Ok(found)
    }

    fn sop(&mut self, node: &Element, found: &mut Correction) -> Result<(), Error> {
        let mut seen = [false; 3];
        while let Some(child) = self.xml.child("Slope, Offset, Power, Description")? {
            let at = match child.local() {
                "Slope" => 0,
                "Offset" => 1,
                "Power" => 2,
                "Description" => {
                    found.descriptions.push(self.xml.text()?.trim().to_owned());
                    continue;
                }
                _ => {
                    self.pass(&child)?;
                    continue;
                }
            };
            seen[at] = true;
            let three = numbers::<3>(&child, &self.xml.text()?)?;
            match at {
                0 => found.cdl.slope = three,
                1 => found.cdl.offset = three,
                _ => found.cdl.power = three,
            }
            check(&found.cdl).map_err(|e| e.at(child.line))?;
        }
        for (name, seen) in ["Slope", "Offset", "Power"].iter().zip(seen) {
            if !seen {
                let what = format!("{name} of {}", node.local());
                let accepted = "Slope, Offset and Power, three numbers each".into();
                return Err(Error::Missing { line: node.line, what, accepted });
            }
        }
        Ok(())
    }

    fn saturation(&mut self, node: &Element, found: &mut Correction) -> Result<(), Error> {
        let mut seen = false;
        while let Some(child) = self.xml.child("Saturation, Description")? {
            match child.local() {
                "Saturation" => {
                    [found.cdl.saturation] = numbers::<1>(&child, &self.xml.text()?)?;
                    check(&found.cdl).map_err(|e| e.at(child.line))?;
                    seen = true;
                }
                "Description" => found.descriptions.push(self.xml.text()?.trim().to_owned()),
                _ => self.pass(&child)?,
            }
        }
        if seen {
            return Ok(());
        }
        let what = format!("Saturation of {}", node.local());
        Err(Error::Missing { line: node.line, what, accepted: "one number, 0 or more".into() })
    }
}

/// Exactly `N` finite numbers.
fn numbers<const N: usize>(element: &Element, text: &str) -> Result<[f64; N], Error> {
    let parsed: Vec<f64> = text
        .split(|c: char| c.is_whitespace() || c == ',')
        .filter(|w| !w.is_empty())
        .take(N + 1)
        .map(|w| w.parse().unwrap_or(f64::NAN))
        .collect();
    let good = parsed.iter().all(|x| x.is_finite() && x.abs() <= f64::from(f32::MAX));
    match <[f64; N]>::try_from(parsed) {
        Ok(found) if good => Ok(found),
        _ => Err(Error::Value {
            line: element.line,
            what: element.local().to_owned(),
            found: excerpt(text),
            accepted: if N == 1 { "one finite number".into() } else { format!("{N} finite numbers") },
        }),
    }
}

/// Refuses numbers that version 1.2 does not allow.
pub(super) fn check(cdl: &Cdl<f64>) -> Result<(), Error> {
    let finite = |x: &f64| x.is_finite();
    if let Some(x) = cdl.slope.iter().find(|x| !finite(x) || **x < 0.0) {
        return Err(Error::invalid("Slope", x, "0 or more"));
    }
    if let Some(x) = cdl.offset.iter().find(|x| !finite(x)) {
        return Err(Error::invalid("Offset", x, "any finite number"));
    }
    if let Some(x) = cdl.power.iter().find(|x| !finite(x) || **x <= 0.0) {
        return Err(Error::invalid("Power", x, "more than 0"));
    }
    if !finite(&cdl.saturation) || cdl.saturation < 0.0 {
        return Err(Error::invalid("Saturation", cdl.saturation, "0 or more"));
    }
    Ok(())
}

impl Corrections {
    /// Reads a file of any of the three kinds. A reference in a `.cdl` stands for the correction of that id in the same file.
    ///
    /// # Errors
    /// With the line, what is wrong and what is accepted; a reference to nothing among them.
    pub fn read(bytes: &[u8]) -> Result<Self, Error> {
        let text = utf8(bytes)?;
        let mut reading = Reading { xml: Xml::new(text), notes: vec![] };
        let Some(root) = reading.xml.child(ROOTS)? else {
            let (line, what) = (reading.xml.line(), "a root element".into());
            return Err(Error::Missing { line, what, accepted: ROOTS.into() });
        };
        let kind = match root.local() {
            "ColorCorrection" => Kind::One,
            "ColorCorrectionCollection" => Kind::Collection,
            "ColorDecisionList" => Kind::Decisions,
            _ => return Err(unknown(&root, ROOTS)),
        };
        let line = root.line;
        let (mut about, mut all) = (About::default(), Vec::new());
        if kind == Kind::One {
            all.push(reading.correction(root)?);
        } else {
            // Decisions that cite a correction, by place, with the id and its line.
            let mut cited: Vec<(usize, String, usize)> = Vec::new();
            let accepted =
                "ColorDecision, ColorCorrection, Description, InputDescription, ViewingDescription";
            while let Some(child) = reading.xml.child(accepted)? {
                match child.local() {
                    "ColorCorrection" => all.push(reading.correction(child)?),
                    "ColorDecision" if kind == Kind::Decisions => reading.decision(&mut all, &mut cited)?,
                    _ if about.take(&child, &mut reading.xml)? => {}
                    _ => reading.pass(&child)?,
                }
            }
            resolve(&mut all, cited)?;
        }
        if let Some(more) = reading.xml.child("nothing after the root's end")? {
            return Err(unknown(&more, "nothing after the root's end"));
        }
        if all.is_empty() {
            let what = "a ColorCorrection".into();
            return Err(Error::Missing { line, what, accepted: "one or more".into() });
        }
        let About { descriptions, input, viewing } = about;
        Ok(Self { kind, descriptions, input, viewing, all, notes: reading.notes })
    }

    /// The file's text. Numbers read back as the same and have no exponents.
    ///
    /// # Errors
    /// [`Error::Invalid`] for numbers that version 1.2 does not allow, no correction, or more than one in a file of one.
    pub fn write(&self) -> Result<String, Error> {
        let wanted = if self.kind == Kind::One { 1..=1 } else { 1..=usize::MAX };
        if !wanted.contains(&self.all.len()) {
            let accepted = if self.kind == Kind::One { "1" } else { "one or more" };
            return Err(Error::invalid("corrections of a file", self.all.len(), accepted));
        }
        let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
        let root = match self.kind {
            Kind::One => return correction(&mut out, "", true, &self.all[0]).map(|()| out),
            Kind::Collection => "ColorCorrectionCollection",
            Kind::Decisions => "ColorDecisionList",
        };
        let _ = write!(out, "<{root}");
        attribute(&mut out, "xmlns", NAMESPACE);
        out.push_str(">\n");
        self.descriptions.iter().for_each(|d| element(&mut out, "  ", "Description", d));
        for (name, text) in [("InputDescription", &self.input), ("ViewingDescription", &self.viewing)] {
            if let Some(text) = text {
                element(&mut out, "  ", name, text);
            }
        }
        for one in &self.all {
            if self.kind == Kind::Collection {
                correction(&mut out, "  ", false, one)?;
                continue;
            }
            out.push_str("  <ColorDecision>\n");
            for media in &one.media {
                out.push_str("    <MediaRef");
                attribute(&mut out, "ref", media);
                out.push_str("/>\n");
            }
            correction(&mut out, "    ", false, one)?;
            out.push_str("  </ColorDecision>\n");
        }
        let _ = writeln!(out, "</{root}>");
        Ok(out)
    }
}

impl Reading<'_> {
    fn decision(
        &mut self,
        all: &mut Vec<Correction>,
        cited: &mut Vec<(usize, String, usize)>,
    ) -> Result<(), Error> {
        let (mut media, mut about, first) = (Vec::new(), About::default(), all.len());
        while let Some(mut child) =
            self.xml.child("MediaRef, ColorCorrection, ColorCorrectionRef, Description")?
        {
            match child.local() {
                "ColorCorrection" => all.push(self.correction(child)?),
                "ColorCorrectionRef" => {
                    let id = child.need("ref", "the id of a ColorCorrection")?;
                    cited.push((all.len(), id.trim().to_owned(), child.line));
                    all.push(Correction::new(""));
                    self.xml.raw()?;
                }
                "MediaRef" => {
                    let text = child.take("ref");
                    let inside = self.xml.text()?.trim().to_owned();
                    media.push(text.unwrap_or(inside));
                }
                _ if about.take(&child, &mut self.xml)? => {}
                _ => self.pass(&child)?,
            }
        }
        for one in &mut all[first..] {
            one.media.clone_from(&media);
            one.descriptions.splice(0..0, about.descriptions.iter().cloned());
            one.input = one.input.take().or_else(|| about.input.clone());
            one.viewing = one.viewing.take().or_else(|| about.viewing.clone());
        }
        Ok(())
    }
}

/// Puts the corrections that are cited where they are cited.
fn resolve(all: &mut [Correction], cited: Vec<(usize, String, usize)>) -> Result<(), Error> {
    let places: Vec<usize> = cited.iter().map(|c| c.0).collect();
    let mut known: BTreeMap<String, usize> = BTreeMap::new();
    for (at, one) in all.iter().enumerate() {
        if !one.id.is_empty() && places.binary_search(&at).is_err() {
            known.entry(one.id.clone()).or_insert(at);
        }
    }
    for (at, id, line) in cited {
        let Some(&from) = known.get(&id) else {
            let what = "ref of ColorCorrectionRef".into();
            let accepted = "the id of a ColorCorrection of this file".into();
            return Err(Error::Unknown { line, what, found: excerpt(&id), accepted });
        };
        let cdl = all[from].cdl;
        (all[at].id, all[at].cdl) = (id, cdl);
    }
    Ok(())
}

fn correction(out: &mut String, indent: &str, root: bool, one: &Correction) -> Result<(), Error> {
    check(&one.cdl)?;
    let three = |v: [f64; 3]| v.map(|x| x.to_string()).join(" ");
    let _ = write!(out, "{indent}<ColorCorrection");
    if root {
        attribute(out, "xmlns", NAMESPACE);
    }
    if !one.id.is_empty() {
        attribute(out, "id", &one.id);
    }
    out.push_str(">\n");
    let deeper = format!("{indent}  ");
    one.descriptions.iter().for_each(|d| element(out, &deeper, "Description", d));
    for (name, text) in [("InputDescription", &one.input), ("ViewingDescription", &one.viewing)] {
        if let Some(text) = text {
            element(out, &deeper, name, text);
        }
    }
    let _ = writeln!(out, "{deeper}<SOPNode>");
    for (name, v) in [("Slope", one.cdl.slope), ("Offset", one.cdl.offset), ("Power", one.cdl.power)] {
        element(out, &format!("{deeper}  "), name, &three(v));
    }
    let _ = writeln!(out, "{deeper}</SOPNode>\n{deeper}<SatNode>");
    element(out, &format!("{deeper}  "), "Saturation", &one.cdl.saturation.to_string());
    let _ = writeln!(out, "{deeper}</SatNode>\n{indent}</ColorCorrection>");
    Ok(())
}
