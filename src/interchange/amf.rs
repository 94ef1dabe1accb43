//! ACES Metadata Files, version 2.0, written: how one clip's picture is made.
//!
//! Academy S-2019-001 with the schema of namespace `urn:ampas:aces:amf:v2.0`: clip, input transform, look transforms in order
//! (a colour decision on its working encoding, then files), output transform. A transform is named by the Academy's
//! identifier where it has one, else by a file.

use std::fmt::Write as _;

use super::Error;
use super::xml::{attribute, element, escaped};
use crate::colour::Cdl;

/// What a transform is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Transform {
    /// One of the Academy's, by its identifier: `urn:ampas:aces:transformId:…`.
    Id(String),
    /// A file, relative to this one, with its SHA-256 in base 64.
    File {
        /// Its URI.
        uri: String,
        /// Its checksum.
        sha256: String,
    },
}

/// A look transform.
#[derive(Clone, Debug, PartialEq)]
pub enum Look {
    /// A file that takes ACES2065-1 and gives it.
    File(Transform),
    /// A colour decision.
    Decision {
        /// The ten numbers.
        cdl: Cdl<f64>,
        /// From ACES2065-1 to the decision's encoding, if that is not the inverse of the way back.
        to: Option<Transform>,
        /// From the decision's encoding to ACES2065-1.
        from: Transform,
    },
}

/// A file.
#[derive(Clone, Debug, PartialEq)]
pub struct Amf {
    /// What it is, for people.
    pub description: String,
    /// When it was made: XML Schema's dateTime.
    pub made: String,
    /// Its own UUID, without `urn:uuid:`.
    pub uuid: String,
    /// Its pipeline's UUID.
    pub pipeline: String,
    /// The clip's name.
    pub clip: String,
    /// The clip's file, as a URI.
    pub file: String,
    /// The ACES version: major, minor, patch, each 0…9.
    pub version: [u8; 3],
    /// From the clip to ACES2065-1, with a description.
    pub input: (String, Transform),
    /// The looks in order, each with a description.
    pub looks: Vec<(String, Look)>,
    /// From ACES2065-1 to the display, with a description.
    pub output: (String, Transform),
}

/// A path as a URI (RFC 3986): what is no unreserved character, `/` or `:` is escaped.
pub fn uri(path: &str) -> String {
    let mut out = String::new();
    for b in path.bytes() {
        if b.is_ascii_alphanumeric() || b"-._~/:".contains(&b) {
            out.push(char::from(b));
        } else {
            let _ = write!(out, "%{b:02X}");
        }
    }
    out
}

impl Amf {
    /// The file's text.
    ///
    /// # Errors
    /// [`Error::Invalid`] for numbers that no colour decision has.
    pub fn write(&self) -> Result<String, Error> {
        let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<aces:acesMetadataFile");
        attribute(&mut out, "xmlns:aces", "urn:ampas:aces:amf:v2.0");
        attribute(&mut out, "xmlns:cdl", super::cdl::NAMESPACE);
        out.push_str(" version=\"2.0\">\n  <aces:amfInfo>\n");
        self.info(&mut out, "    ", &self.description, &self.uuid);
        out.push_str("  </aces:amfInfo>\n  <aces:clipId>\n");
        element(&mut out, "    ", "aces:clipName", &self.clip);
        element(&mut out, "    ", "aces:file", &self.file);
        out.push_str("  </aces:clipId>\n  <aces:pipeline>\n    <aces:pipelineInfo>\n");
        self.info(&mut out, "      ", "", &self.pipeline);
        out.push_str("      <aces:systemVersion>\n");
        for (name, n) in ["majorVersion", "minorVersion", "patchVersion"].iter().zip(self.version) {
            element(&mut out, "        ", &format!("aces:{name}"), &n.min(9).to_string());
        }
        out.push_str("      </aces:systemVersion>\n    </aces:pipelineInfo>\n");
        out.push_str("    <aces:inputTransform applied=\"false\">\n");
        transform(&mut out, "      ", Some(&self.input.0), &self.input.1);
        out.push_str("    </aces:inputTransform>\n");
        for (description, look) in &self.looks {
            out.push_str("    <aces:lookTransform applied=\"false\">\n");
            match look {
                Look::File(file) => transform(&mut out, "      ", Some(description), file),
                Look::Decision { cdl, to, from } => {
                    super::cdl::check(cdl)?;
                    element(&mut out, "      ", "aces:description", description);
                    out.push_str("      <aces:cdlWorkingSpace>\n");
                    if let Some(to) = to {
                        out.push_str("        <aces:toCdlWorkingSpace>\n");
                        transform(&mut out, "          ", None, to);
                        out.push_str("        </aces:toCdlWorkingSpace>\n");
                    }
                    out.push_str("        <aces:fromCdlWorkingSpace>\n");
                    transform(&mut out, "          ", None, from);
                    out.push_str("        </aces:fromCdlWorkingSpace>\n      </aces:cdlWorkingSpace>\n      <cdl:SOPNode>\n");
                    for (name, v) in [("Slope", cdl.slope), ("Offset", cdl.offset), ("Power", cdl.power)] {
                        let three = v.map(|x| x.to_string()).join(" ");
                        element(&mut out, "        ", &format!("cdl:{name}"), &three);
                    }
                    out.push_str("      </cdl:SOPNode>\n      <cdl:SatNode>\n");
                    element(&mut out, "        ", "cdl:Saturation", &cdl.saturation.to_string());
                    out.push_str("      </cdl:SatNode>\n");
                }
            }
            out.push_str("    </aces:lookTransform>\n");
        }
        out.push_str("    <aces:outputTransform applied=\"false\">\n");
        transform(&mut out, "      ", Some(&self.output.0), &self.output.1);
        out.push_str("    </aces:outputTransform>\n  </aces:pipeline>\n</aces:acesMetadataFile>\n");
        Ok(out)
    }

    fn info(&self, out: &mut String, indent: &str, description: &str, uuid: &str) {
        if !description.is_empty() {
            element(out, indent, "aces:description", description);
        }
        let _ = writeln!(out, "{indent}<aces:dateTime>");
        for name in ["creationDateTime", "modificationDateTime"] {
            element(out, &format!("{indent}  "), &format!("aces:{name}"), &self.made);
        }
        let _ = writeln!(out, "{indent}</aces:dateTime>");
        element(out, indent, "aces:uuid", &format!("urn:uuid:{uuid}"));
    }
}

fn transform(out: &mut String, indent: &str, description: Option<&str>, transform: &Transform) {
    if let Some(description) = description {
        element(out, indent, "aces:description", description);
    }
    match transform {
        Transform::Id(id) => element(out, indent, "aces:transformId", id),
        Transform::File { uri, sha256 } => {
            let _ = writeln!(
                out,
                "{indent}<aces:hash algorithm=\"http://www.w3.org/2001/04/xmlenc#sha256\">{}</aces:hash>",
                escaped(sha256)
            );
            element(out, indent, "aces:file", uri);
        }
    }
}
