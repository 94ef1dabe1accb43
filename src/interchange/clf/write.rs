//! Writing.

use super::read::{INTERPOLATIONS, RANGE_STYLES};
use super::{
    CdlStyle, Clf, ExponentParams, ExponentStyle, LogParams, LogStyle, Node, Operation, Version, named,
};
use crate::interchange::Error;
use crate::interchange::text::digits;
use crate::interchange::xml::{attribute, element};
use half::f16;
use std::fmt::Write as _;

fn row<'a>(out: &mut String, numbers: impl IntoIterator<Item = &'a f64>) {
    let shown: Vec<_> = numbers.into_iter().map(|x| digits(*x)).collect();
    let _ = writeln!(out, "{}", shown.join(" "));
}

/// XML Schema's spelling.
fn float(x: f32) -> String {
    if x.is_nan() {
        "NaN".into()
    } else if x.is_infinite() {
        if x > 0.0 { "INF".into() } else { "-INF".into() }
    } else {
        digits(x)
    }
}

impl Clf {
    /// The file's text, in the form of its [`Version`]. Numbers read back as the same.
    ///
    /// Fails for a list without processes or, but for ST 2136-1, without an id: [`Error::Invalid`].
    pub fn write(&self) -> Result<String, Error> {
        if self.nodes.is_empty() {
            return Err(Error::invalid("process nodes", 0, "one or more"));
        }
        if self.id.trim().is_empty() && self.version != Version::St2136 {
            return Err(Error::invalid("id", "none", "an id of the file's own"));
        }
        let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<ProcessList");
        attribute(&mut out, "xmlns", self.version.namespace());
        for (prefix, namespace) in &self.namespaces {
            attribute(&mut out, &format!("xmlns:{prefix}"), namespace);
        }
        if !self.id.trim().is_empty() {
            attribute(&mut out, "id", &self.id);
        }
        // Readers of version 3.0 take an ST 2136-1 file that says this, and ST 2136-1 allows it.
        attribute(&mut out, "compCLFversion", if self.version == Version::V2 { "2.0" } else { "3.0" });
        for (key, value) in [("name", &self.name), ("inverseOf", &self.inverse_of)] {
            if let Some(value) = value {
                attribute(&mut out, key, value);
            }
        }
        out.push_str(">\n");
        if let Some(urn) = &self.urn
            && self.version == Version::St2136
        {
            element(&mut out, "  ", "Id", urn);
        }
        for text in &self.descriptions {
            element(&mut out, "  ", "Description", text);
        }
        for (name, text) in [("InputDescriptor", &self.input), ("OutputDescriptor", &self.output)] {
            if let Some(text) = text {
                element(&mut out, "  ", name, text);
            }
        }
        if let Some(info) = &self.info {
            let _ = writeln!(out, "  <Info>\n{info}\n  </Info>");
        }
        for node in &self.nodes {
            self.node(&mut out, node);
        }
        out.push_str("</ProcessList>\n");
        Ok(out)
    }

    fn node(&self, out: &mut String, node: &Node) {
        let name = node.operation.name();
        let _ = write!(out, "  <{name}");
        for (key, value) in [("id", &node.id), ("name", &node.name)] {
            if let Some(value) = value {
                attribute(out, key, value);
            }
        }
        attribute(out, "inBitDepth", node.input.name());
        attribute(out, "outBitDepth", node.output.name());
        match &node.operation {
            Operation::Lut1(lut) => {
                if lut.half_domain {
                    attribute(out, "halfDomain", "true");
                }
                if lut.raw_halfs {
                    attribute(out, "rawHalfs", "true");
                }
            }
            Operation::Lut3(lut) => {
                attribute(out, "interpolation", named(&INTERPOLATIONS, lut.interpolation))
            }
            Operation::Range { clamp, .. } => attribute(out, "style", named(&RANGE_STYLES, *clamp)),
            Operation::Log { style, .. } => attribute(out, "style", named(&LogStyle::ALL, *style)),
            Operation::Exponent { style, .. } => attribute(out, "style", named(&ExponentStyle::ALL, *style)),
            Operation::Cdl { style, .. } => attribute(out, "style", named(&CdlStyle::ALL, *style)),
            Operation::Matrix(_) => {}
        }
        out.push_str(">\n");
        for text in &node.descriptions {
            element(out, "    ", "Description", text);
        }
        self.operation(out, &node.operation);
        let _ = writeln!(out, "  </{name}>");
    }

    fn operation(&self, out: &mut String, operation: &Operation) {
        match operation {
            Operation::Matrix(rows) => {
                let columns = if rows.iter().all(|row| row[3] == 0.0) { 3 } else { 4 };
                let third = if self.version == Version::V2 { " 3" } else { "" };
                let _ = writeln!(out, "    <Array dim=\"3 {columns}{third}\">");
                rows.iter().for_each(|r| row(out, &r[..columns]));
                out.push_str("    </Array>\n");
            }
            Operation::Lut1(lut) => {
                let _ =
                    writeln!(out, "    <Array dim=\"{} {}\">", lut.values.len() / lut.channels, lut.channels);
                for row in lut.values.chunks(lut.channels) {
                    let shown: Vec<String> = match lut.raw_halfs {
                        true => row.iter().map(|x| f16::from_f32(*x).to_bits().to_string()).collect(),
                        false => row.iter().map(|x| float(*x)).collect(),
                    };
                    let _ = writeln!(out, "{}", shown.join(" "));
                }
                out.push_str("    </Array>\n");
            }
            Operation::Lut3(lut) => {
                let n = lut.size;
                let _ = writeln!(out, "    <Array dim=\"{n} {n} {n} 3\">");
                for entry in &lut.values {
                    let _ = writeln!(out, "{}", entry.map(digits).join(" "));
                }
                out.push_str("    </Array>\n");
            }
            Operation::Range { min, max, .. } => {
                let ends = [
                    ("minInValue", min, 0),
                    ("maxInValue", max, 0),
                    ("minOutValue", min, 1),
                    ("maxOutValue", max, 1),
                ];
                for (name, end, at) in ends {
                    if let Some(end) = end {
                        element(out, "    ", name, &digits(end[at]));
                    }
                }
            }
            Operation::Log { style, params } if style.has_params() => {
                by_channel(out, "LogParams", params, |out, p: &LogParams| {
                    let all = [
                        ("base", p.base),
                        ("logSideSlope", p.log_slope),
                        ("logSideOffset", p.log_offset),
                        ("linSideSlope", p.lin_slope),
                        ("linSideOffset", p.lin_offset),
                    ];
                    all.iter().for_each(|(name, x)| attribute(out, name, &digits(*x)));
                    for (name, x) in [("linSideBreak", p.lin_break), ("linearSlope", p.linear_slope)] {
                        if let Some(x) = x {
                            attribute(out, name, &digits(x));
                        }
                    }
                });
            }
            Operation::Log { .. } => {}
            Operation::Exponent { style, params } => {
                by_channel(out, "ExponentParams", params, |out, p: &ExponentParams| {
                    attribute(out, "exponent", &digits(p.exponent));
                    if style.has_offset() {
                        attribute(out, "offset", &digits(p.offset));
                    }
                });
            }
            Operation::Cdl { params: p, .. } => {
                let three = |v: [f64; 3]| v.map(digits).join(" ");
                out.push_str("    <SOPNode>\n");
                element(out, "      ", "Slope", &three(p.slope));
                element(out, "      ", "Offset", &three(p.offset));
                element(out, "      ", "Power", &three(p.power));
                out.push_str("    </SOPNode>\n    <SatNode>\n");
                element(out, "      ", "Saturation", &digits(p.saturation));
                out.push_str("    </SatNode>\n");
            }
        }
    }
}

/// One element for all channels if they agree, else one for each.
fn by_channel<P: PartialEq>(
    out: &mut String,
    name: &str,
    params: &[P; 3],
    attributes: impl Fn(&mut String, &P),
) {
    let same = params[1] == params[0] && params[2] == params[0];
    for (c, p) in params.iter().enumerate().take(if same { 1 } else { 3 }) {
        let _ = write!(out, "    <{name}");
        if !same {
            attribute(out, "channel", ["R", "G", "B"][c]);
        }
        attributes(out, p);
        out.push_str("/>\n");
    }
}
