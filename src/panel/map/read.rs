//! Reading a map from TOML: what is in it, in which bank and layer, and what means the same.

use super::read_ball::RawBall;
use super::read_button::RawButton;
use super::read_control::RawControl;
use super::target::{Entry, RawTarget, Targets};
use super::{Bank, Binding, Map, Page, Source, Target};
use crate::panel::message::FIRST_MODE_MESSAGE;
use crate::panel::{PanelError, Registered, is_registered};
use std::{ops::Range, sync::Arc};
use toml::Spanned;

/// The most that acceleration may multiply by.
const MOST_ACCELERATION: f64 = 100.0;

type Checker<'a> = &'a dyn Fn(&str) -> Result<(), String>;

impl Map {
    /// Reads a map. `file` is only named in errors. `known` says whether there is a parameter at an
    /// address, `known_action` whether there is an action of a name; if not, why not and what there is.
    ///
    /// # Errors
    /// [`PanelError::Map`] with file and line: for what is not TOML, an unknown key, a value out of its
    /// range, keys that do not go together, an address or action that its checker refuses, the name of a bank, page
    /// or layer that is not there, or two controls or buttons that mean the same message at a time.
    pub fn parse(
        text: &str,
        file: &str,
        known: Checker<'_>,
        known_action: Checker<'_>,
    ) -> Result<Self, PanelError> {
        let mut reader = Reader { text, file, known, known_action, taken: Vec::new(), layers: Vec::new() };
        let raw: RawMap = toml::from_str(text)
            .map_err(|e| reader.wrong(e.span().unwrap_or(0..0), e.message().to_owned()))?;
        reader.map(raw)
    }
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMap {
    name: String,
    #[serde(default)]
    port: String,
    output: Option<String>,
    #[serde(default)]
    control: Vec<Spanned<RawControl>>,
    #[serde(default)]
    ball: Vec<Spanned<RawBall>>,
    #[serde(default)]
    button: Vec<Spanned<RawButton>>,
    #[serde(default)]
    bank: Vec<RawBank>,
    #[serde(default)]
    page: Vec<RawPage>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawBank {
    name: Spanned<String>,
    #[serde(default)]
    control: Vec<Spanned<RawControl>>,
    #[serde(default)]
    ball: Vec<Spanned<RawBall>>,
    #[serde(default)]
    button: Vec<Spanned<RawButton>>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPage {
    name: Spanned<String>,
    banks: Spanned<Vec<Spanned<String>>>,
}

/// A message that has a meaning, and where.
pub(super) struct Taken {
    pub source: Source,
    pub channel: Option<u8>,
    pub bank: Option<usize>,
    pub layer: Option<usize>,
    pub touch: bool,
    pub label: Arc<str>,
    pub at: Range<usize>,
}

/// A layer: its name, where it is first used, and whether a button holds it.
struct Layer {
    name: Arc<str>,
    used: Option<Range<usize>>,
    held: bool,
}

pub(super) struct Reader<'a> {
    text: &'a str,
    file: &'a str,
    pub known: Checker<'a>,
    pub known_action: Checker<'a>,
    taken: Vec<Taken>,
    layers: Vec<Layer>,
}

impl Reader<'_> {
    pub(super) fn wrong(&self, at: Range<usize>, what: String) -> PanelError {
        let line = 1 + self.text.bytes().take(at.start).filter(|b| *b == b'\n').count();
        PanelError::Map { file: self.file.to_owned(), line, what }
    }

    fn map(&mut self, raw: RawMap) -> Result<Map, PanelError> {
        let mut map = Map {
            name: raw.name,
            port: raw.port,
            output: raw.output,
            controls: Vec::new(),
            buttons: Vec::new(),
            banks: Vec::new(),
            pages: Vec::new(),
            layers: Vec::new(),
        };
        let mut names = Vec::new();
        let mut groups = vec![(None, raw.control, raw.ball, raw.button)];
        for (at, bank) in raw.bank.into_iter().enumerate() {
            self.new_name("bank", &bank.name, &names)?;
            map.banks.push(Bank { name: bank.name.get_ref().as_str().into() });
            names.push(bank.name);
            groups.push((Some(at), bank.control, bank.ball, bank.button));
        }
        self.pages(&mut map, raw.page, &names)?;
        let mut buttons = Vec::new();
        for (bank, controls, balls, group) in groups {
            for entry in controls {
                let at = entry.span();
                let binding = self.control(entry, bank, map.controls.len())?;
                self.take(&binding, at)?;
                map.controls.push(binding);
            }
            for entry in balls {
                let at = entry.span();
                for binding in self.ball(entry.into_inner(), bank, map.controls.len())? {
                    self.take(&binding, at.clone())?;
                    map.controls.push(binding);
                }
            }
            buttons.extend(group.into_iter().map(|button| (bank, button)));
        }
        // After all controls: buttons name them.
        for (bank, entry) in buttons {
            let button = self.button(entry, bank, &map)?;
            map.buttons.push(button);
        }
        if let Some(layer) = self.layers.iter().find(|layer| !layer.held) {
            let name = &layer.name;
            let what = format!(
                "layer = \"{name}\": no button holds it; one that has layer = \"{name}\" and nothing else to do does"
            );
            return Err(self.wrong(layer.used.clone().unwrap_or(0..0), what));
        }
        if map.has_registered() {
            let clash = self.taken.iter().find(|t| matches!(t.source, Source::Cc(cc) if is_registered(cc)));
            if let Some(taken) = clash {
                let what =
                    "controllers 6, 38 and 96 to 101 are what nrpn and rpn are sent with, which this map has";
                return Err(self.wrong(taken.at.clone(), format!("“{}”: {what}", taken.label)));
            }
        }
        map.layers = self.layers.iter().map(|layer| layer.name.clone()).collect();
        Ok(map)
    }

    /// The pages of a map whose banks are read.
    fn pages(&self, map: &mut Map, raw: Vec<RawPage>, banks: &[Spanned<String>]) -> Result<(), PanelError> {
        let mut names = Vec::new();
        for page in raw {
            self.new_name("page", &page.name, &names)?;
            if page.banks.get_ref().is_empty() {
                let what = "banks = []: a page needs at least one bank".to_owned();
                return Err(self.wrong(page.banks.span(), what));
            }
            let row: Result<Vec<_>, _> =
                page.banks.get_ref().iter().map(|bank| self.index("banks", bank, banks)).collect();
            map.pages.push(Page { name: page.name.get_ref().as_str().into(), banks: row?.into() });
            names.push(page.name);
        }
        for (at, bank) in banks.iter().enumerate() {
            if !map.pages.is_empty() && !map.pages.iter().any(|page| page.banks.contains(&at)) {
                let what =
                    format!("bank \"{}\" is on no page, so that it would never be in force", bank.get_ref());
                return Err(self.wrong(bank.span(), what));
            }
        }
        Ok(())
    }

    fn new_name(
        &self,
        what: &str,
        name: &Spanned<String>,
        others: &[Spanned<String>],
    ) -> Result<(), PanelError> {
        match others.iter().any(|other| other.get_ref() == name.get_ref()) {
            true => Err(self.wrong(name.span(), format!("there is a {what} “{}” already", name.get_ref()))),
            false => Ok(()),
        }
    }

    /// Which of `names` is meant.
    pub(super) fn index(
        &self,
        key: &str,
        name: &Spanned<String>,
        names: &[Spanned<String>],
    ) -> Result<usize, PanelError> {
        let there = names.iter().map(|n| n.get_ref().as_str()).collect::<Vec<_>>();
        there.iter().position(|n| n == name.get_ref()).ok_or_else(|| {
            let there = if there.is_empty() { "none".to_owned() } else { there.join(", ") };
            self.wrong(
                name.span(),
                format!("{key} = \"{}\": there is no such name; there are {there}", name.get_ref()),
            )
        })
    }

    /// Which layer a name is. `used`: by what lies in it, and not by the button that holds it.
    pub(super) fn layer(&mut self, name: &Spanned<String>, used: bool) -> usize {
        let at = self.layers.iter().position(|layer| *layer.name == **name.get_ref()).unwrap_or_else(|| {
            self.layers.push(Layer { name: name.get_ref().as_str().into(), used: None, held: false });
            self.layers.len() - 1
        });
        match used {
            true => _ = self.layers[at].used.get_or_insert(name.span()),
            false => self.layers[at].held = true,
        }
        at
    }

    /// The parameters under a key, none of which is among `others`.
    pub(super) fn targets(
        &self,
        key: &str,
        raw: Spanned<Targets>,
        relative: bool,
        others: &[Target],
    ) -> Result<Vec<Target>, PanelError> {
        let at = raw.span();
        let list = match raw.into_inner() {
            Targets::One(one) => vec![Spanned::new(at.clone(), Entry(one))],
            Targets::Many(list) => list,
        };
        if list.is_empty() {
            return Err(self.wrong(at, format!("{key} = []: a control needs at least one address")));
        }
        let mut targets: Vec<Target> = Vec::new();
        for one in list {
            let at = one.span();
            let Entry(RawTarget { address, by }) = one.into_inner();
            (self.known)(&address)
                .map_err(|why| self.wrong(at.clone(), format!("{key} \"{address}\": {why}")))?;
            if targets.iter().chain(others).any(|t| *t.address == *address) {
                let what = format!("{key} \"{address}\" is listed twice: once is enough");
                return Err(self.wrong(at, what));
            }
            let by = self.factor("by", &by, relative)?.unwrap_or(1.0);
            targets.push(Target { address: address.into(), by });
        }
        Ok(targets)
    }

    pub(super) fn controller(&self, key: &str, given: &Spanned<i64>) -> Result<u8, PanelError> {
        let last = FIRST_MODE_MESSAGE - 1;
        ranged(given, 0, last).ok_or_else(|| {
            let what = format!("{key} = {}: controller numbers go from 0 to {last}", given.get_ref());
            self.wrong(given.span(), what)
        })
    }

    pub(super) fn note(&self, key: &str, given: &Spanned<i64>) -> Result<u8, PanelError> {
        ranged(given, 0, 127).ok_or_else(|| {
            self.wrong(given.span(), format!("{key} = {}: notes go from 0 to 127", given.get_ref()))
        })
    }

    pub(super) fn touch(&self, given: &Option<Spanned<i64>>) -> Result<Option<u8>, PanelError> {
        given.as_ref().map(|given| self.note("touch", given)).transpose()
    }

    pub(super) fn channel(&self, given: &Option<Spanned<i64>>) -> Result<Option<u8>, PanelError> {
        let Some(given) = given else { return Ok(None) };
        ranged(given, 1, 16).map(|c| Some(c - 1)).ok_or_else(|| {
            let what = format!("channel = {}: channels go from 1 to 16", given.get_ref());
            self.wrong(given.span(), what)
        })
    }

    /// The number, if something can be multiplied by it and still be turned both ways.
    pub(super) fn factor(
        &self,
        key: &str,
        given: &Option<Spanned<f64>>,
        relative: bool,
    ) -> Result<Option<f64>, PanelError> {
        match given {
            None => Ok(None),
            Some(given) if !relative => {
                let what = format!(
                    "{key} is for relative codings: an absolute control always covers the parameter's range"
                );
                Err(self.wrong(given.span(), what))
            }
            Some(given) => match *given.get_ref() {
                number if number.is_finite() && number != 0.0 => Ok(Some(number)),
                other => {
                    let what = format!("{key} = {other}: any finite number but 0 is accepted");
                    Err(self.wrong(given.span(), what))
                }
            },
        }
    }

    pub(super) fn acceleration(
        &self,
        given: &Option<Spanned<f64>>,
        relative: bool,
    ) -> Result<f64, PanelError> {
        match self.factor("acceleration", given, relative)? {
            None => Ok(1.0),
            Some(most) if (1.0..=MOST_ACCELERATION).contains(&most) => Ok(most),
            Some(other) => {
                let what = format!("acceleration = {other}: times, 1 to {MOST_ACCELERATION} are accepted");
                Err(self.wrong(given.as_ref().map_or(0..0, Spanned::span), what))
            }
        }
    }

    /// Notes what a control sends and its touch note.
    fn take(&mut self, binding: &Binding, at: Range<usize>) -> Result<(), PanelError> {
        let touch = binding.touch.map(|note| (Source::Note(note), true));
        let sources = binding.sources().into_iter().map(|source| (source, false));
        for (source, touch) in sources.chain(touch) {
            self.add(Taken {
                source,
                channel: binding.channel,
                bank: binding.bank,
                layer: binding.layer,
                touch,
                label: binding.label.clone(),
                at: at.clone(),
            })?;
        }
        Ok(())
    }

    /// Notes a message; an error if it has a meaning already where both can be in force.
    pub(super) fn add(&mut self, new: Taken) -> Result<(), PanelError> {
        let clash = self.taken.iter().find(|old| {
            let same = old.source == new.source
                && (old.channel.is_none() || new.channel.is_none() || old.channel == new.channel);
            let meet = old.bank.is_none() || new.bank.is_none() || old.bank == new.bank;
            match (old.touch, new.touch) {
                (true, true) => false,
                (false, false) => same && meet && old.layer == new.layer,
                _ => same,
            }
        });
        if let Some(old) = clash {
            let what = format!("this sends what “{}” sends: a message can have one control only", old.label);
            return Err(self.wrong(new.at, what));
        }
        self.taken.push(new);
        Ok(())
    }
}

pub(super) fn label(given: Option<String>, source: Source, channel: Option<u8>) -> Arc<str> {
    let sent = match source {
        Source::Cc(number) => format!("CC {number}"),
        Source::Steps { up, down } => format!("CC {up} and {down}"),
        Source::Note(number) => format!("note {number}"),
        Source::Bend => "bend".to_owned(),
        Source::Pressure => "pressure".to_owned(),
        Source::KeyPressure(number) => format!("pressure on {number}"),
        Source::Registered(Registered { registered: true, number }) => format!("RPN {number}"),
        Source::Registered(Registered { registered: false, number }) => format!("NRPN {number}"),
    };
    match (given, channel) {
        (Some(label), _) => label.into(),
        (None, None) => sent.into(),
        (None, Some(channel)) => format!("{sent}, channel {}", channel + 1).into(),
    }
}

/// The number, if it lies in `least..=most`.
fn ranged(given: &Spanned<i64>, least: u8, most: u8) -> Option<u8> {
    u8::try_from(*given.get_ref()).ok().filter(|n| (least..=most).contains(n))
}
