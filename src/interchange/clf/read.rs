//! Reading.

use super::{
    CdlParams, CdlStyle, Clf, Depth, ExponentParams, ExponentStyle, LogParams, LogStyle, Lut1d, Lut3d,
    MOST_NUMBERS, Node, Operation, SIZES_1D, SIZES_3D, Version, fits, is_odd_half,
};
use crate::colour::{HALVES, Interpolation};
use crate::interchange::Error;
use crate::interchange::text::{excerpt, utf8};
use crate::interchange::xml::{Element, Xml, unknown};
use half::f16;

const CHILDREN: &str = "Id, Description, InputDescriptor, OutputDescriptor, Info, Matrix, LUT1D, LUT3D, Range, \
                        Log, Exponent, ASC_CDL";

const DEPTHS: &str = "8i, 10i, 12i, 16i, 16f, 32f";

const MOST_WARNINGS: usize = 100;

impl Clf {
    /// Reads a CLF file.
    pub fn read(bytes: &[u8]) -> Result<Self, Error> {
        let text = utf8(bytes)?;
        let mut xml = Xml::new(text);
        let root = xml.child("ProcessList")?;
        let Some(mut root) = root else {
            let accepted = "one as the root".into();
            return Err(Error::Missing { line: xml.line(), what: "ProcessList".into(), accepted });
        };
        let prefix = match root.name.split_once(':') {
            Some((prefix, _)) => format!("{prefix}:"),
            None => String::new(),
        };
        if root.name.strip_prefix(&prefix) != Some("ProcessList") {
            return Err(unknown(&root, "ProcessList as the root"));
        }
        let version = version(&mut root, &prefix)?;
        let mut clf = Self { version, ..Self::new(String::new()) };
        let id = root.take("id");
        clf.id = match (id, version) {
            (Some(id), _) if !id.trim().is_empty() => id,
            (None, Version::St2136) => String::new(),
            (found, _) => {
                let what =
                    if found.is_some() { "id of ProcessList (it is empty)" } else { "id of ProcessList" };
                let accepted = "an id of its own".into();
                return Err(Error::Missing { line: root.line, what: what.into(), accepted });
            }
        };
        clf.name = root.take("name");
        clf.inverse_of = root.take("inverseOf");
        for (key, value) in std::mem::take(&mut root.attributes) {
            match key.strip_prefix("xmlns:") {
                Some(_) if prefix.strip_suffix(':') == key.strip_prefix("xmlns:") => {}
                Some(own) => clf.namespaces.push((own.to_owned(), value)),
                None => root.attributes.push((key, value)),
            }
        }
        clf.warn(root);
        let mut budget = MOST_NUMBERS;
        while let Some(mut element) = xml.child(CHILDREN)? {
            let Some(name) = element.name.strip_prefix(&prefix).map(str::to_owned) else {
                return Err(unknown(&element, CHILDREN));
            };
            let line = element.line;
            let once = |known: bool| match known {
                true => Err(Error::Value {
                    line,
                    what: name.clone(),
                    found: "a second one".into(),
                    accepted: "one".into(),
                }),
                false => Ok(()),
            };
            match name.as_str() {
                "Description" => clf.descriptions.push(xml.text()?.trim().to_owned()),
                "Id" => {
                    once(clf.urn.is_some())?;
                    clf.urn = Some(xml.text()?.trim().to_owned());
                }
                "InputDescriptor" => {
                    once(clf.input.is_some())?;
                    clf.input = Some(xml.text()?.trim().to_owned());
                }
                "OutputDescriptor" => {
                    once(clf.output.is_some())?;
                    clf.output = Some(xml.text()?.trim().to_owned());
                }
                "Info" => {
                    once(clf.info.is_some())?;
                    clf.info = Some(xml.raw()?.trim().to_owned());
                }
                "Matrix" | "LUT1D" | "LUT3D" | "Range" | "Log" | "Exponent" | "ASC_CDL" => {
                    let mut reading =
                        Reading { xml: &mut xml, clf: &mut clf, prefix: &prefix, budget: &mut budget };
                    let node = reading.node(&name, &mut element)?;
                    clf.push(node).map_err(|e| e.at(line))?;
                }
                _ => return Err(unknown(&element, CHILDREN)),
            }
            clf.warn(element);
        }
        if clf.nodes.is_empty() {
            let accepted = "one process or more".into();
            return Err(Error::Missing { line: xml.line(), what: "a process node".into(), accepted });
        }
        match xml.child("nothing after the root's end")? {
            None => Ok(clf),
            Some(element) => Err(unknown(&element, "nothing after the root's end")),
        }
    }

    /// Notes the attributes that nobody took.
    fn warn(&mut self, element: Element) {
        for (key, _) in element.attributes {
            let usual = key == "xmlns" || ["xmlns:", "xml:", "xsi:"].iter().any(|p| key.starts_with(p));
            if !usual && self.warnings.len() < MOST_WARNINGS {
                let text = format!("attribute {} of {} is unknown", excerpt(&key), excerpt(&element.name));
                self.warnings.push((element.line, text));
            }
        }
    }
}

fn version(root: &mut Element, prefix: &str) -> Result<Version, Error> {
    let line = root.line;
    let key = match prefix.strip_suffix(':') {
        Some(prefix) => format!("xmlns:{prefix}"),
        None => "xmlns".to_owned(),
    };
    let namespace = root.attributes.iter().find(|(k, _)| *k == key).map(|(_, v)| v.trim().to_owned());
    let by_namespace = match &namespace {
        None => None,
        Some(found) => match Version::ALL.into_iter().find(|v| v.namespace() == found) {
            Some(version) => Some(version),
            None => {
                let accepted = format!("none, {}", Version::ALL.map(Version::namespace).join(", "));
                let found = excerpt(found);
                return Err(Error::Unknown { line, what: "namespace".into(), found, accepted });
            }
        },
    };
    const VERSIONS: &str = "2.0, 3.0, ST2136-1:2024";
    let Some(stated) = root.take("compCLFversion") else {
        return match by_namespace {
            Some(Version::St2136) => Ok(Version::St2136),
            _ => {
                let what = "compCLFversion of ProcessList".into();
                Err(Error::Missing { line, what, accepted: VERSIONS.into() })
            }
        };
    };
    let of_smpte = by_namespace == Some(Version::St2136);
    match stated.trim() {
        "2" | "2.0" | "2.0.0" if !of_smpte => Ok(Version::V2),
        "3" | "3.0" | "3.0.0" if !of_smpte => Ok(Version::V3),
        "2" | "2.0" | "2.0.0" | "3" | "3.0" | "3.0.0" | "ST2136-1:2024" => Ok(Version::St2136),
        other => {
            let (what, found) = ("compCLFversion".into(), excerpt(other));
            Err(Error::Unknown { line, what, found, accepted: VERSIONS.into() })
        }
    }
}

fn choice<V: Copy>(line: usize, what: &str, all: &[(V, &'static str)], found: &str) -> Result<V, Error> {
    match all.iter().find(|(_, name)| *name == found.trim()) {
        Some((value, _)) => Ok(*value),
        None => {
            let accepted = all.iter().map(|(_, name)| *name).collect::<Vec<_>>().join(", ");
            Err(Error::Unknown { line, what: what.into(), found: excerpt(found), accepted })
        }
    }
}

fn number(line: usize, what: &str, found: &str) -> Result<f64, Error> {
    match found.trim().parse::<f64>() {
        Ok(x) if fits(x) => Ok(x),
        _ => Err(Error::Value {
            line,
            what: what.into(),
            found: excerpt(found),
            accepted: "a finite number of 32 bits".into(),
        }),
    }
}

/// A number of an array.
struct Entry<'w> {
    /// Its place, from 0.
    at: usize,
    value: f64,
    word: &'w str,
    /// How many there can be: as many as `dim` says, or as the rest of the file has room for.
    most: usize,
}

/// Reading the inside of a node.
struct Reading<'r, 'a> {
    xml: &'r mut Xml<'a>,
    clf: &'r mut Clf,
    prefix: &'r str,
    /// Numbers in arrays that are still accepted.
    budget: &'r mut usize,
}

impl Reading<'_, '_> {
    fn node(&mut self, kind: &str, element: &mut Element) -> Result<Node, Error> {
        let line = element.line;
        let id = element.take("id");
        let name = element.take("name");
        let mut depth = |which: &str| choice(line, which, &Depth::ALL, &element.need(which, DEPTHS)?);
        let (input, output) = (depth("inBitDepth")?, depth("outBitDepth")?);
        let mut descriptions = Vec::new();
        let operation = match kind {
            "Matrix" => self.matrix(line, &mut descriptions),
            "LUT1D" => self.lut1(element, &mut descriptions),
            "LUT3D" => self.lut3(element, &mut descriptions),
            "Range" => self.range(element, &mut descriptions),
            "Log" => self.log(element, &mut descriptions),
            "Exponent" => self.exponent(element, &mut descriptions),
            _ => self.cdl(element, &mut descriptions),
        }?;
        let node = Node::new(input, output, operation).map_err(|e| e.at(line))?;
        Ok(Node { id, name, descriptions, ..node })
    }

    /// The next element of a node, without its prefix; descriptions are kept.
    fn child(&mut self, accepted: &str, descriptions: &mut Vec<String>) -> Result<Option<Element>, Error> {
        loop {
            let Some(mut element) = self.xml.child(accepted)? else { return Ok(None) };
            let Some(name) = element.name.strip_prefix(self.prefix).map(str::to_owned) else {
                return Err(unknown(&element, accepted));
            };
            element.name = name;
            if element.name != "Description" {
                return Ok(Some(element));
            }
            descriptions.push(self.xml.text()?.trim().to_owned());
        }
    }

    /// The one array of a node: its dimensions, checked before anything is read, and its numbers.
    fn array<D>(
        &mut self,
        node: (usize, &str),
        descriptions: &mut Vec<String>,
        accepted: &str,
        check: impl Fn(&[usize]) -> Option<(D, usize)>,
        mut each: impl FnMut(Entry<'_>) -> bool,
    ) -> Result<D, Error> {
        let mut found = None;
        while let Some(mut element) = self.child("Description, Array", descriptions)? {
            let line = element.line;
            if element.name != "Array" || found.is_some() {
                return Err(unknown(&element, "Description, one Array"));
            }
            let dim = element.need("dim", accepted)?;
            self.clf.warn(element);
            let bad =
                || Error::Value { line, what: "dim".into(), found: excerpt(&dim), accepted: accepted.into() };
            let mut sizes = Vec::new();
            for word in dim.split_ascii_whitespace().take(5) {
                sizes.push(word.parse().map_err(|_| bad())?);
            }
            let (dimensions, wanted) = check(&sizes).ok_or_else(bad)?;
            if wanted > *self.budget {
                let found = format!("{wanted} numbers and those before");
                let accepted = format!("{MOST_NUMBERS} numbers in a file");
                return Err(Error::Value { line, what: "Array".into(), found, accepted });
            }
            *self.budget -= wanted;
            let (mut count, mut last) = (0, line);
            let most = wanted.min(self.xml.left() / 2 + 1);
            self.xml.numbers(|line, word| {
                if count == wanted {
                    let what = "numbers".into();
                    return Err(Error::Count { line, what, found: wanted + 1, wanted });
                }
                // What is not finite is for each() to accept or not.
                let good = word.parse().is_ok_and(|value| each(Entry { at: count, value, word, most }));
                count += 1;
                last = line;
                match good {
                    true => Ok(()),
                    false => Err(Error::Value {
                        line,
                        what: "number of Array".into(),
                        found: excerpt(word),
                        accepted: "a finite number of 32 bits, with rawHalfs 0 to 65535".into(),
                    }),
                }
            })?;
            if count < wanted {
                return Err(Error::Count { line: last, what: "numbers".into(), found: count, wanted });
            }
            found = Some(dimensions);
        }
        let (line, kind) = node;
        found.ok_or_else(|| Error::Missing {
            line,
            what: format!("Array of {kind}"),
            accepted: format!("one with dim {accepted}"),
        })
    }

    fn matrix(&mut self, line: usize, descriptions: &mut Vec<String>) -> Result<Operation, Error> {
        let mut numbers = Vec::new();
        let columns = self.array(
            (line, "Matrix"),
            descriptions,
            "\"3 3\" or \"3 4\", or as in version 2.0 \"3 3 3\" or \"3 4 3\"",
            |dim| match dim {
                [3, columns @ (3 | 4)] | [3, columns @ (3 | 4), 3] => Some((*columns, 3 * columns)),
                _ => None,
            },
            |entry| {
                numbers.push(entry.value);
                fits(entry.value)
            },
        )?;
        let mut rows = [[0.0; 4]; 3];
        for (row, numbers) in rows.iter_mut().zip(numbers.chunks(columns)) {
            row[..columns].copy_from_slice(numbers);
        }
        Ok(Operation::Matrix(rows))
    }

    fn lut1(&mut self, element: &mut Element, descriptions: &mut Vec<String>) -> Result<Operation, Error> {
        let line = element.line;
        let set = |found: Option<String>, what: &str| match found.as_deref() {
            None => Ok(false),
            Some("true") => Ok(true),
            Some(other) => Err(Error::Value {
                line,
                what: what.into(),
                found: excerpt(other),
                accepted: "\"true\", or no such attribute".into(),
            }),
        };
        let half_domain = set(element.take("halfDomain"), "halfDomain")?;
        let raw_halfs = set(element.take("rawHalfs"), "rawHalfs")?;
        if let Some(found) = element.take("interpolation") {
            choice(line, "interpolation", &[((), "linear")], &found)?;
        }
        let accepted = match half_domain {
            true => format!("\"{HALVES} 1\" or \"{HALVES} 3\", for halfDomain"),
            false => format!("\"n 1\" or \"n 3\", n from {} to {}", SIZES_1D.start(), SIZES_1D.end()),
        };
        let mut values: Vec<f32> = Vec::new();
        // The array's numbers come after its dimensions, so the closure learns them as it goes.
        let channels_of = std::cell::Cell::new(1);
        let channels = self.array(
            (line, "LUT1D"),
            descriptions,
            &accepted,
            |dim| match dim {
                [n, channels @ (1 | 3)] if SIZES_1D.contains(n) && (!half_domain || *n == HALVES) => {
                    channels_of.set(*channels);
                    Some((*channels, n * channels))
                }
                _ => None,
            },
            |Entry { at, value, word, most }| {
                let odd = half_domain && is_odd_half(at / channels_of.get());
                let value = match raw_halfs {
                    true => word.parse().map_or(f32::NAN, |bits| f16::from_bits(bits).to_f32()),
                    false => value as f32,
                };
                let whole = !raw_halfs || word.parse::<u16>().is_ok();
                if at == 0 {
                    values.reserve_exact(most);
                }
                values.push(value);
                whole && (odd || value.is_finite())
            },
        )?;
        Ok(Operation::Lut1(Lut1d { values, channels, half_domain, raw_halfs }))
    }

    fn lut3(&mut self, element: &mut Element, descriptions: &mut Vec<String>) -> Result<Operation, Error> {
        let line = element.line;
        let interpolation = match element.take("interpolation") {
            None => Interpolation::Trilinear,
            Some(found) => choice(line, "interpolation", &INTERPOLATIONS, &found)?,
        };
        let accepted = format!("\"n n n 3\", n from {} to {}", SIZES_3D.start(), SIZES_3D.end());
        let mut values: Vec<[f32; 3]> = Vec::new();
        let size = self.array(
            (line, "LUT3D"),
            descriptions,
            &accepted,
            |dim| match dim {
                [r, g, b, 3] if r == g && g == b && SIZES_3D.contains(r) => Some((*r, 3 * r * r * r)),
                _ => None,
            },
            |Entry { at, value, most, .. }| {
                if at == 0 {
                    values.reserve_exact(most / 3 + 1);
                }
                match values.last_mut().filter(|_| at % 3 != 0) {
                    Some(entry) => entry[at % 3] = value as f32,
                    None => values.push([value as f32, 0.0, 0.0]),
                }
                (value as f32).is_finite()
            },
        )?;
        Ok(Operation::Lut3(Lut3d { size, values, interpolation }))
    }

    fn range(&mut self, element: &mut Element, descriptions: &mut Vec<String>) -> Result<Operation, Error> {
        let clamp = match element.take("style") {
            None => true,
            Some(found) => choice(element.line, "style of Range", &RANGE_STYLES, &found)?,
        };
        const NAMES: [&str; 4] = ["minInValue", "minOutValue", "maxInValue", "maxOutValue"];
        let mut values = [None; 4];
        let accepted = "Description, minInValue, maxInValue, minOutValue, maxOutValue, each once";
        while let Some(child) = self.child(accepted, descriptions)? {
            let at = NAMES.iter().position(|n| *n == child.name).filter(|at| values[*at].is_none());
            let Some(at) = at else { return Err(unknown(&child, accepted)) };
            values[at] = Some(number(child.line, NAMES[at], &self.xml.text()?)?);
            self.clf.warn(child);
        }
        let pair = |a: usize, b: usize| match (values[a], values[b]) {
            (Some(x), Some(y)) => Ok(Some([x, y])),
            (None, None) => Ok(None),
            (given, _) => {
                let (has, lacks) = if given.is_some() { (a, b) } else { (b, a) };
                let (line, what) = (element.line, NAMES[lacks].into());
                Err(Error::Missing {
                    line,
                    what,
                    accepted: format!("both it and {}, or neither", NAMES[has]),
                })
            }
        };
        Ok(Operation::Range { min: pair(0, 1)?, max: pair(2, 3)?, clamp })
    }

    /// The elements with parameters of a node, for all channels or each for one.
    fn params<P: Copy>(
        &mut self,
        node: (usize, &str),
        descriptions: &mut Vec<String>,
        needed: bool,
        others: P,
        read: impl Fn(&mut Element) -> Result<P, Error>,
    ) -> Result<[P; 3], Error> {
        let (line, name) = node;
        let mut found: [Option<P>; 3] = [None; 3];
        let accepted = format!("Description, {name} once or one for each channel");
        while let Some(mut child) = self.child(&accepted, descriptions)? {
            if child.name != name {
                return Err(unknown(&child, &accepted));
            }
            let channel = child.take("channel");
            let params = read(&mut child)?;
            let channels = match channel {
                None => 0..3,
                Some(channel) => {
                    let c = choice(child.line, "channel", &[(0, "R"), (1, "G"), (2, "B")], &channel)?;
                    c..c + 1
                }
            };
            for c in channels {
                if found[c].replace(params).is_some() {
                    let (line, what) = (child.line, format!("{name} of channel {}", ["R", "G", "B"][c]));
                    let found = "a second one".into();
                    return Err(Error::Value { line, what, found, accepted: "one".into() });
                }
            }
            self.xml.numbers(|line, word| {
                let (what, found) = ("text".into(), excerpt(word));
                Err(Error::Unknown { line, what, found, accepted: "attributes".into() })
            })?;
            self.clf.warn(child);
        }
        if needed && found.iter().all(Option::is_none) {
            let accepted = "one, or one for each channel".into();
            return Err(Error::Missing { line, what: name.into(), accepted });
        }
        Ok(found.map(|p| p.unwrap_or(others)))
    }

    fn log(&mut self, element: &mut Element, descriptions: &mut Vec<String>) -> Result<Operation, Error> {
        let line = element.line;
        let style =
            choice(line, "style of Log", &LogStyle::ALL, &element.need("style", &names(&LogStyle::ALL))?)?;
        let read = |child: &mut Element| {
            let line = child.line;
            let mut get = |name: &str| match child.take(name) {
                Some(found) => number(line, name, &found).map(Some),
                None => Ok(None),
            };
            let usual = LogParams::default();
            let params = LogParams {
                base: get("base")?.unwrap_or(usual.base),
                log_slope: get("logSideSlope")?.unwrap_or(usual.log_slope),
                log_offset: get("logSideOffset")?.unwrap_or(usual.log_offset),
                lin_slope: get("linSideSlope")?.unwrap_or(usual.lin_slope),
                lin_offset: get("linSideOffset")?.unwrap_or(usual.lin_offset),
                lin_break: get("linSideBreak")?,
                linear_slope: get("linearSlope")?,
            };
            match style.has_params() {
                true => params.check(style).map_err(|e| e.at(line)).map(|()| params),
                false => Err(unknown(child, "no parameters for this style")),
            }
        };
        // A channel that has none of its own takes the usual ones, with the base of the others.
        let base = LogParams { base: f64::NAN, ..LogParams::default() };
        let mut params = self.params((line, "LogParams"), descriptions, style.has_params(), base, read)?;
        let base = params.iter().map(|p| p.base).find(|b| !b.is_nan()).unwrap_or(2.0);
        for p in params.iter_mut().filter(|p| p.base.is_nan()) {
            p.base = base;
        }
        Ok(Operation::Log { style, params })
    }

    fn exponent(
        &mut self,
        element: &mut Element,
        descriptions: &mut Vec<String>,
    ) -> Result<Operation, Error> {
        let line = element.line;
        let all = &ExponentStyle::ALL;
        let style = choice(line, "style of Exponent", all, &element.need("style", &names(all))?)?;
        let read = |child: &mut Element| {
            let line = child.line;
            let exponent = number(line, "exponent", &child.need("exponent", "a number")?)?;
            let offset = match (child.take("offset"), style.has_offset()) {
                (Some(found), true) => number(line, "offset", &found)?,
                (None, false) => 0.0,
                (None, true) => {
                    let (what, accepted) =
                        ("offset of ExponentParams".into(), "a number, for monCurve".into());
                    return Err(Error::Missing { line, what, accepted });
                }
                (Some(found), false) => {
                    let accepted = "none but for the monCurve styles".into();
                    return Err(Error::Value {
                        line,
                        what: "offset".into(),
                        found: excerpt(&found),
                        accepted,
                    });
                }
            };
            let params = ExponentParams { exponent, offset };
            params.check(style).map_err(|e| e.at(line))?;
            Ok(params)
        };
        let others = ExponentParams::default();
        let params = self.params((line, "ExponentParams"), descriptions, true, others, read)?;
        Ok(Operation::Exponent { style, params })
    }

    fn cdl(&mut self, element: &mut Element, descriptions: &mut Vec<String>) -> Result<Operation, Error> {
        let style = match element.take("style") {
            None => CdlStyle::Fwd,
            Some(found) => choice(element.line, "style of ASC_CDL", &CdlStyle::ALL, &found)?,
        };
        let mut params = CdlParams::default();
        let mut seen = [false; 2];
        let accepted = "Description, SOPNode and SatNode, each once";
        while let Some(child) = self.child(accepted, descriptions)? {
            let at = ["SOPNode", "SatNode"].iter().position(|n| *n == child.name).filter(|at| !seen[*at]);
            let Some(at) = at else { return Err(unknown(&child, accepted)) };
            seen[at] = true;
            if at == 0 {
                let [slope, offset, power] =
                    self.vectors(&child, ["Slope", "Offset", "Power"], 3, descriptions)?;
                (params.slope, params.offset, params.power) = (slope, offset, power);
            } else {
                let [saturation] = self.vectors(&child, ["Saturation"], 1, descriptions)?;
                params.saturation = saturation[0];
            }
            self.clf.warn(child);
        }
        Ok(Operation::Cdl { style, params })
    }

    /// The named elements within another, each with `length` numbers.
    fn vectors<const N: usize>(
        &mut self,
        parent: &Element,
        names: [&str; N],
        length: usize,
        descriptions: &mut Vec<String>,
    ) -> Result<[[f64; 3]; N], Error> {
        let mut found = [None; N];
        let accepted = format!("Description, {}, each once", names.join(", "));
        while let Some(child) = self.child(&accepted, descriptions)? {
            let at = names.iter().position(|n| *n == child.name).filter(|at| found[*at].is_none());
            let Some(at) = at else { return Err(unknown(&child, &accepted)) };
            let (mut values, mut count) = ([0.0; 3], 0);
            self.xml.numbers(|line, word| {
                if count == length {
                    let (what, found) = (format!("numbers of {}", names[at]), length + 1);
                    return Err(Error::Count { line, what, found, wanted: length });
                }
                values[count] = number(line, names[at], word)?;
                count += 1;
                Ok(())
            })?;
            if count < length {
                let (line, what) = (child.line, format!("numbers of {}", names[at]));
                return Err(Error::Count { line, what, found: count, wanted: length });
            }
            found[at] = Some(values);
            self.clf.warn(child);
        }
        if let Some(at) = found.iter().position(Option::is_none) {
            let (line, what) = (parent.line, format!("{} of {}", names[at], parent.name));
            return Err(Error::Missing { line, what, accepted });
        }
        Ok(found.map(Option::unwrap_or_default))
    }
}

/// Names of [`Interpolation`] in a file.
pub(super) const INTERPOLATIONS: [(Interpolation, &str); 2] =
    [(Interpolation::Trilinear, "trilinear"), (Interpolation::Tetrahedral, "tetrahedral")];

/// Names of whether a Range clamps.
pub(super) const RANGE_STYLES: [(bool, &str); 2] = [(true, "Clamp"), (false, "noClamp")];

fn names<V>(all: &[(V, &'static str)]) -> String {
    all.iter().map(|(_, name)| *name).collect::<Vec<_>>().join(", ")
}
