//! XML, as little of it as the formats here need: elements, attributes, text. No document type, no entities but XML's
//! own five, a bounded depth, and the line of everything.

use super::Error;
use super::text::{excerpt, newlines};
use quick_xml::Reader;
use quick_xml::escape::{resolve_xml_entity, unescape_with};
use quick_xml::events::{BytesStart, Event};
use std::borrow::Cow;
use std::fmt::Write as _;

/// Elements within elements; no format here needs ten, the rest is for what lies within and is passed over.
const DEEPEST: usize = 32;

/// Attributes of one element.
const MOST_ATTRIBUTES: usize = 64;

const ENTITIES: &str = "&amp; &lt; &gt; &apos; &quot; and the numbers of characters";

/// A file being read.
pub(super) struct Xml<'a> {
    reader: Reader<&'a [u8]>,
    text: &'a str,
    depth: usize,
    /// How far lines have been counted.
    counted: usize,
    line: usize,
}

/// What comes next in a file.
pub(super) enum Item<'a> {
    Open(Element),
    Close,
    Text(Cow<'a, str>),
    /// All is read.
    End,
}

/// A start tag.
#[derive(Debug)]
pub(super) struct Element {
    /// With its prefix.
    pub name: String,
    pub line: usize,
    /// In order; taken out as they are used.
    pub attributes: Vec<(String, String)>,
}

impl Element {
    /// The name without its prefix.
    pub fn local(&self) -> &str {
        self.name.rsplit(':').next().unwrap_or(&self.name)
    }

    /// The value of an attribute, once.
    pub fn take(&mut self, name: &str) -> Option<String> {
        let at = self.attributes.iter().position(|(key, _)| key == name)?;
        Some(self.attributes.remove(at).1)
    }

    /// The value of an attribute that must be there.
    pub fn need(&mut self, name: &str, accepted: &str) -> Result<String, Error> {
        let (line, what) = (self.line, format!("{name} of {}", excerpt(&self.name)));
        self.take(name).ok_or_else(|| Error::Missing { line, what, accepted: accepted.into() })
    }
}

impl<'a> Xml<'a> {
    pub fn new(text: &'a str) -> Self {
        let mut reader = Reader::from_str(text);
        reader.config_mut().expand_empty_elements = true;
        Self { reader, text, depth: 0, counted: 0, line: 1 }
    }

    fn at(&self) -> usize {
        (self.reader.buffer_position() as usize).min(self.text.len())
    }

    /// Bytes that are still to be read.
    pub fn left(&self) -> usize {
        self.text.len() - self.at()
    }

    /// The line of a place that lies no further back than the last one asked for.
    fn line_at(&mut self, place: usize) -> usize {
        let place = place.clamp(self.counted, self.text.len());
        self.line += newlines(&self.text.as_bytes()[self.counted..place]);
        self.counted = place;
        self.line
    }

    /// The line of what was read last.
    pub fn line(&self) -> usize {
        self.line
    }

    fn broken(&self, what: impl Into<String>, accepted: impl Into<String>) -> Error {
        Error::Xml { line: self.line, what: what.into(), accepted: accepted.into() }
    }

    /// The next item; comments and processing instructions are passed over.
    pub fn next(&mut self) -> Result<Item<'a>, Error> {
        loop {
            let start = self.at();
            let event = self.reader.read_event();
            self.line_at(start);
            match event {
                Ok(Event::Start(tag)) => {
                    self.depth += 1;
                    if self.depth > DEEPEST {
                        let accepted = format!("at most {DEEPEST}");
                        return Err(self.broken("too many elements within each other", accepted));
                    }
                    // A tag's text begins with its name, whose line is what is reported.
                    return Ok(Item::Open(self.element(&tag)?));
                }
                Ok(Event::End(_)) => {
                    self.depth -= 1;
                    return Ok(Item::Close);
                }
                Ok(Event::Text(text)) => return Ok(Item::Text(text.into_inner())),
                Ok(Event::CData(text)) => return Ok(Item::Text(text.into_inner())),
                Ok(Event::GeneralRef(name)) => {
                    let known = match name.resolve_char_ref() {
                        Ok(Some(c)) => Some(c.to_string()),
                        Ok(None) => resolve_xml_entity(&name).map(str::to_owned),
                        Err(_) => None,
                    };
                    return match known {
                        Some(text) => Ok(Item::Text(text.into())),
                        None => Err(self.broken(format!("unknown entity {}", excerpt(&name)), ENTITIES)),
                    };
                }
                Ok(Event::DocType(_)) => {
                    return Err(self.broken("a document type declaration", "a file without one"));
                }
                Ok(Event::Decl(declaration)) => {
                    if start != 0 {
                        return Err(self.broken("an XML declaration", "one at the very beginning only"));
                    }
                    if let Some(Ok(encoding)) = declaration.encoding()
                        && !encoding.eq_ignore_ascii_case("utf-8")
                        && !self.text.is_ascii()
                    {
                        return Err(self.broken(format!("encoding {}", excerpt(&encoding)), "UTF-8"));
                    }
                }
                Ok(Event::Comment(_) | Event::PI(_)) => {}
                Ok(Event::Eof) if self.depth == 0 => return Ok(Item::End),
                Ok(Event::Eof) => {
                    let open = self.depth;
                    return Err(
                        self.broken(format!("the file ends within {open} open elements"), "their ends")
                    );
                }
                Ok(_) => {}
                Err(e) => {
                    let what =
                        format!("not well-formed: {}", e.to_string().chars().take(120).collect::<String>());
                    return Err(self.broken(what, "XML 1.0"));
                }
            }
        }
    }

    fn element(&self, tag: &BytesStart<'_>) -> Result<Element, Error> {
        let mut attributes: Vec<(String, String)> = Vec::new();
        // The reader's own check for twins compares each attribute with all before it.
        for attribute in tag.attributes().with_checks(false) {
            let attribute =
                attribute.map_err(|e| self.broken(format!("attribute: {e}"), "name=\"value\""))?;
            let key = attribute.key.into_inner();
            let value = unescape_with(&attribute.value, resolve_xml_entity).map_err(|_| {
                self.broken(format!("unknown entity in attribute {}", excerpt(key)), ENTITIES)
            })?;
            if attributes.iter().any(|(k, _)| k == key) {
                return Err(self.broken(format!("two attributes {}", excerpt(key)), "one of a name"));
            }
            if attributes.len() == MOST_ATTRIBUTES {
                return Err(self.broken("too many attributes", format!("at most {MOST_ATTRIBUTES}")));
            }
            attributes.push((key.to_owned(), value.into_owned()));
        }
        let name = tag.name().into_inner().to_owned();
        Ok(Element { name, line: self.line, attributes })
    }

    /// The text of an element that holds nothing else, up to its end.
    pub fn text(&mut self) -> Result<String, Error> {
        let mut all = String::new();
        loop {
            match self.next()? {
                Item::Text(text) => all.push_str(&text),
                Item::Open(inner) => return Err(unknown(&inner, "text")),
                Item::Close | Item::End => return Ok(all),
            }
        }
    }

    /// Whatever is in an element, as it stands, up to its end.
    pub fn raw(&mut self) -> Result<&'a str, Error> {
        let (start, depth) = (self.at(), self.depth);
        loop {
            let end = self.at();
            if let Item::Close = self.next()?
                && self.depth < depth
            {
                return Ok(&self.text[start..end]);
            }
        }
    }

    /// The next element within the one that is open, or none at its end.
    pub fn child(&mut self, accepted: &str) -> Result<Option<Element>, Error> {
        loop {
            match self.next()? {
                Item::Open(element) => return Ok(Some(element)),
                Item::Text(text) if text.trim().is_empty() => {}
                Item::Text(text) => {
                    let found = excerpt(&text);
                    return Err(Error::Unknown {
                        line: self.line,
                        what: "text".into(),
                        found,
                        accepted: accepted.into(),
                    });
                }
                Item::Close | Item::End => return Ok(None),
            }
        }
    }

    /// All numbers of an element that holds nothing else, one by one with their lines.
    pub fn numbers(&mut self, mut each: impl FnMut(usize, &str) -> Result<(), Error>) -> Result<(), Error> {
        loop {
            match self.next()? {
                Item::Text(text) => {
                    let mut line = self.line;
                    for row in text.split('\n') {
                        row.split_ascii_whitespace().try_for_each(|word| each(line, word))?;
                        line += 1;
                    }
                }
                Item::Open(inner) => return Err(unknown(&inner, "numbers")),
                Item::Close | Item::End => return Ok(()),
            }
        }
    }
}

/// The error for an element that has no business where it is.
pub(super) fn unknown(element: &Element, accepted: &str) -> Error {
    Error::Unknown {
        line: element.line,
        what: "element".into(),
        found: excerpt(&element.name),
        accepted: accepted.into(),
    }
}

/// Text with XML's own characters escaped, and without those that XML 1.0 cannot hold.
pub(super) fn escaped(text: &str) -> String {
    let allowed =
        |c: &char| matches!(c, '\t' | '\n' | '\r') || (*c >= ' ' && !matches!(c, '\u{fffe}' | '\u{ffff}'));
    let mut out = String::with_capacity(text.len());
    for c in text.chars().filter(allowed) {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            // A reader of attributes makes spaces of these.
            '\t' | '\n' | '\r' => {
                let _ = write!(out, "&#{};", c as u32);
            }
            c => out.push(c),
        }
    }
    out
}

/// An attribute of a start tag that is being written.
pub(super) fn attribute(out: &mut String, name: &str, value: &str) {
    let _ = write!(out, " {name}=\"{}\"", escaped(value));
}

/// An element with text in it, on a line of its own.
pub(super) fn element(out: &mut String, indent: &str, name: &str, text: &str) {
    let _ = writeln!(out, "{indent}<{name}>{}</{name}>", escaped(text));
}
