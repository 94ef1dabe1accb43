//! Reading a map from TOML.

use super::target::{Entry, RawTarget, Targets};
use super::{Bank, Binding, Button, Map, Mode, PANEL_ACTIONS, Page, Resets, Source, Target, Task};
use crate::panel::ball::{Lie, Plane};
use crate::panel::feedback_map::{self, RawLight, RawRing, RawText, Told, Way, When};
use crate::panel::message::FIRST_MODE_MESSAGE;
use crate::panel::{Coding, FINE_MOST, LSB_ABOVE, PanelError, Registered, Takeover, is_registered};
use std::{ops::Range, sync::Arc};
use toml::Spanned;

/// The longest that a move may be spread over, in milliseconds.
const LONGEST_SMOOTH: i64 = 2_000;

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

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct RawControl {
    label: Option<String>,
    cc: Option<Spanned<i64>>,
    down: Option<Spanned<i64>>,
    nrpn: Option<Spanned<i64>>,
    rpn: Option<Spanned<i64>>,
    bend: Option<Spanned<bool>>,
    pressure: Option<Spanned<bool>>,
    key_pressure: Option<Spanned<i64>>,
    bits: Option<Spanned<i64>>,
    channel: Option<Spanned<i64>>,
    coding: Option<Spanned<Coding>>,
    takeover: Option<Spanned<Takeover>>,
    target: Spanned<Targets>,
    gang: Option<Spanned<Targets>>,
    scale: Option<Spanned<f64>>,
    step: Option<Spanned<f64>>,
    acceleration: Option<Spanned<f64>>,
    smooth: Option<Spanned<i64>>,
    touch: Option<Spanned<i64>>,
    layer: Option<Spanned<String>>,
    feedback: Option<When>,
    ring: Option<Spanned<RawRing>>,
    text: Option<Spanned<RawText>>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct RawBall {
    label: Option<String>,
    cc: Spanned<Vec<Spanned<i64>>>,
    channel: Option<Spanned<i64>>,
    coding: Spanned<Coding>,
    plane: Option<Spanned<Vec<Spanned<String>>>>,
    colour: Option<Spanned<Vec<Spanned<String>>>>,
    ring: Option<Spanned<Targets>>,
    ring_scale: Option<Spanned<f64>>,
    rotation: Option<Spanned<f64>>,
    #[serde(default)]
    invert: Vec<Axis>,
    sensitivity: Option<Spanned<f64>>,
    acceleration: Option<Spanned<f64>>,
    touch: Option<Spanned<i64>>,
    layer: Option<Spanned<String>>,
}

#[derive(Clone, Copy, PartialEq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Axis {
    X,
    Y,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawButton {
    label: Option<String>,
    cc: Option<Spanned<i64>>,
    note: Option<Spanned<i64>>,
    channel: Option<Spanned<i64>>,
    #[serde(default)]
    mode: Mode,
    action: Option<Spanned<String>>,
    bank: Option<Spanned<String>>,
    page: Option<Spanned<String>>,
    layer: Option<Spanned<String>>,
    resets: Option<Spanned<String>>,
    feedback: Option<When>,
    light: Option<Spanned<RawLight>>,
}

/// A message that has a meaning, and where.
struct Taken {
    source: Source,
    channel: Option<u8>,
    bank: Option<usize>,
    layer: Option<usize>,
    touch: bool,
    label: Arc<str>,
    at: Range<usize>,
}

/// A layer: its name, where it is first used, and whether a button holds it.
struct Layer {
    name: Arc<str>,
    used: Option<Range<usize>>,
    held: bool,
}

struct Reader<'a> {
    text: &'a str,
    file: &'a str,
    known: Checker<'a>,
    known_action: Checker<'a>,
    taken: Vec<Taken>,
    layers: Vec<Layer>,
}

impl Reader<'_> {
    fn wrong(&self, at: Range<usize>, what: String) -> PanelError {
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
    fn index(
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
    fn layer(&mut self, name: &Spanned<String>, used: bool) -> usize {
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

    /// One control of a map.
    fn control(
        &mut self,
        entry: Spanned<RawControl>,
        bank: Option<usize>,
        hand: usize,
    ) -> Result<Binding, PanelError> {
        let at = entry.span();
        let raw = entry.into_inner();
        let coding = raw.coding.as_ref().map(|c| *c.get_ref());
        let source = self.source(&raw, at.clone())?;
        let coding = match (source, coding) {
            (Source::Bend | Source::Pressure | Source::KeyPressure(_), None) => Coding::Absolute,
            (Source::Bend | Source::Pressure | Source::KeyPressure(_), Some(given)) => match given {
                Coding::Absolute => given,
                other => {
                    let what = format!("coding = \"{}\": bend and pressure are absolute", other.name());
                    return Err(self.wrong(raw.coding.map_or(at, |c| c.span()), what));
                }
            },
            (_, Some(given)) => given,
            (_, None) => {
                let what = "coding is missing: twos-complement, binary-offset, sign-magnitude, increment or absolute";
                return Err(self.wrong(at, what.to_owned()));
            }
        };
        let relative = coding.is_relative();
        let fine = match (&raw.bits, source) {
            (None, Source::Bend) => true,
            (None, Source::Registered(_)) => !relative,
            (None, _) => false,
            (Some(given), Source::Bend | Source::Pressure | Source::KeyPressure(_)) => {
                let what = "bits is for cc, nrpn and rpn: a bender has 14 bits, pressure 7";
                return Err(self.wrong(given.span(), what.to_owned()));
            }
            (Some(given), _) => match given.get_ref() {
                7 => false,
                14 if !relative => true,
                14 => {
                    let what = "bits = 14 is for coding = \"absolute\": relative codings have one byte";
                    return Err(self.wrong(given.span(), what.to_owned()));
                }
                other => {
                    return Err(self.wrong(given.span(), format!("bits = {other}: 7 or 14 is accepted")));
                }
            },
        };
        if let (Source::Cc(cc @ LSB_ABOVE..), true) = (source, fine) {
            let what = format!(
                "cc = {cc} with bits = 14: controllers 0 to {} have a lower half (on cc + {LSB_ABOVE})",
                LSB_ABOVE - 1
            );
            return Err(self.wrong(raw.cc.map_or(at, |cc| cc.span()), what));
        }
        let channel = self.channel(&raw.channel)?;
        if let (Some(given), true) = (&raw.takeover, relative) {
            let what = "takeover is for coding = \"absolute\": a relative control has no position";
            return Err(self.wrong(given.span(), what.to_owned()));
        }
        if let (Some(given), true) = (&raw.smooth, relative) {
            let what = "smooth is for absolute controls: a relative one moves in steps of its own";
            return Err(self.wrong(given.span(), what.to_owned()));
        }
        let scale = self.factor("scale", &raw.scale, relative)?;
        let step = self.factor("step", &raw.step, relative)?;
        if let (Some(given), Some(_)) = (&raw.step, scale) {
            let what = "scale and step both say what a detent does: one of the two is enough";
            return Err(self.wrong(given.span(), what.to_owned()));
        }
        let acceleration = self.acceleration(&raw.acceleration, relative)?;
        let smooth = match &raw.smooth {
            None => 0,
            Some(given) if (1..=LONGEST_SMOOTH).contains(given.get_ref()) => *given.get_ref() as u64 * 1_000,
            Some(given) => {
                let what =
                    format!("smooth = {}: milliseconds, 1 to {LONGEST_SMOOTH} are accepted", given.get_ref());
                return Err(self.wrong(given.span(), what));
            }
        };
        let touch = self.touch(&raw.touch)?;
        let targets = self.targets("target", raw.target, relative, &[])?;
        let gang = match raw.gang {
            None => Vec::new(),
            Some(gang) => self.targets("gang", gang, relative, &targets)?,
        };
        let layer = raw.layer.as_ref().map(|name| self.layer(name, true));
        let own = match source {
            _ if relative => None,
            Source::Cc(number) if fine => Some(Way::Fine { number }),
            Source::Cc(number) => Some(Way::Cc { number, from: 0, to: 127 }),
            Source::Bend => Some(Way::Bend),
            _ => None,
        };
        let wrong = |at, what| self.wrong(at, what);
        let feedback = feedback_map::told(raw.feedback, raw.ring, raw.text, own, channel, &wrong)?;
        Ok(Binding {
            feedback,
            label: label(raw.label, source, channel),
            source,
            fine,
            channel,
            coding,
            takeover: raw.takeover.map(Spanned::into_inner).unwrap_or_default(),
            targets: targets.into(),
            gang: gang.into(),
            scale: scale.unwrap_or(1.0),
            step,
            acceleration,
            smooth,
            touch,
            bank,
            layer,
            hand,
        })
    }

    /// What a control sends.
    fn source(&self, raw: &RawControl, at: Range<usize>) -> Result<Source, PanelError> {
        let mut all = Vec::new();
        if let Some(cc) = &raw.cc {
            all.push(Source::Cc(self.controller("cc", cc)?));
        }
        for (given, registered) in [(&raw.nrpn, false), (&raw.rpn, true)] {
            // Registered parameter 16383 is none.
            let last = FINE_MOST - u16::from(registered);
            if let Some(given) = given {
                let number =
                    u16::try_from(*given.get_ref()).ok().filter(|n| *n <= last).ok_or_else(|| {
                        let key = if registered { "rpn" } else { "nrpn" };
                        let what =
                            format!("{key} = {}: parameter numbers go from 0 to {last}", given.get_ref());
                        self.wrong(given.span(), what)
                    })?;
                all.push(Source::Registered(Registered { registered, number }));
            }
        }
        for (given, key, source) in
            [(&raw.bend, "bend", Source::Bend), (&raw.pressure, "pressure", Source::Pressure)]
        {
            match given {
                None => {}
                Some(given) if *given.get_ref() => all.push(source),
                Some(given) => {
                    let what = format!("{key} = false: true is accepted, or no {key} at all");
                    return Err(self.wrong(given.span(), what));
                }
            }
        }
        if let Some(key) = &raw.key_pressure {
            all.push(Source::KeyPressure(self.note("key-pressure", key)?));
        }
        let [source] = all[..] else {
            let what = "a control sends one of cc, nrpn, rpn, bend, pressure and key-pressure";
            return Err(self.wrong(at, what.to_owned()));
        };
        let increment = raw.coding.as_ref().filter(|c| *c.get_ref() == Coding::Increment);
        match (&raw.down, source) {
            (None, Source::Cc(_)) => match increment {
                None => Ok(source),
                Some(given) => {
                    let what = "coding = \"increment\" with cc needs down, the controller for one down";
                    Err(self.wrong(given.span(), what.to_owned()))
                }
            },
            (None, _) => Ok(source),
            (Some(down), Source::Cc(up)) if increment.is_some() => {
                let number = self.controller("down", down)?;
                if number == up {
                    let what = format!("down = {number} is cc: up and down need a controller each");
                    return Err(self.wrong(down.span(), what));
                }
                Ok(Source::Steps { up, down: number })
            }
            (Some(down), _) => {
                let what = "down goes with cc and coding = \"increment\" only";
                Err(self.wrong(down.span(), what.to_owned()))
            }
        }
    }

    /// The controls of one ball.
    fn ball(&mut self, raw: RawBall, bank: Option<usize>, hand: usize) -> Result<Vec<Binding>, PanelError> {
        let numbers: Result<Vec<_>, _> =
            raw.cc.get_ref().iter().map(|cc| self.controller("cc", cc)).collect();
        let numbers = numbers?;
        if !(2..=3).contains(&numbers.len()) {
            let what =
                "cc of a ball has two controllers, to the right and away from you, or with the ring's three";
            return Err(self.wrong(raw.cc.span(), what.to_owned()));
        }
        let coding = *raw.coding.get_ref();
        if matches!(coding, Coding::Absolute | Coding::Increment) {
            let what = format!(
                "coding = \"{}\": a ball's is twos-complement, binary-offset or sign-magnitude",
                coding.name()
            );
            return Err(self.wrong(raw.coding.span(), what));
        }
        let plane = match (&raw.plane, &raw.colour) {
            (Some(given), None) => Plane::Two(self.addresses("plane", given)?),
            (None, Some(given)) => Plane::Colour(self.addresses("colour", given)?),
            _ => {
                let what = "a ball has a plane, two addresses, or a colour, those of red, green and blue: one of the two";
                return Err(self.wrong(raw.cc.span(), what.to_owned()));
            }
        };
        let rotation = match &raw.rotation {
            None => 0.0,
            Some(given) if given.get_ref().is_finite() => *given.get_ref(),
            Some(given) => {
                let what = format!("rotation = {}: degrees, any finite number is accepted", given.get_ref());
                return Err(self.wrong(given.span(), what));
            }
        };
        let lie = Lie {
            rotation,
            invert: [Axis::X, Axis::Y].map(|axis| raw.invert.contains(&axis)),
            sensitivity: self.factor("sensitivity", &raw.sensitivity, true)?.unwrap_or(1.0),
        };
        let ring = match (raw.ring, numbers.get(2)) {
            (Some(ring), Some(cc)) => Some((*cc, self.targets("ring", ring, true, &[])?)),
            (None, None) => None,
            (Some(ring), None) => {
                let what = "ring has no controller: a ball with a ring has three in cc";
                return Err(self.wrong(ring.span(), what.to_owned()));
            }
            (None, Some(_)) => {
                let what = "cc has a ring's controller and ring, what it moves, is missing";
                return Err(self.wrong(raw.cc.span(), what.to_owned()));
            }
        };
        let (channel, touch) = (self.channel(&raw.channel)?, self.touch(&raw.touch)?);
        let acceleration = self.acceleration(&raw.acceleration, true)?;
        let ring_scale = self.factor("ring-scale", &raw.ring_scale, true)?.unwrap_or(1.0);
        let layer = raw.layer.as_ref().map(|name| self.layer(name, true));
        let name = raw.label.unwrap_or_else(|| format!("ball CC {}", numbers[0]));
        let binding = |part: &str, cc: u8, targets: Arc<[Target]>, scale: f64, hand: usize| Binding {
            label: format!("{name} {part}").into(),
            source: Source::Cc(cc),
            fine: false,
            channel,
            coding,
            takeover: Takeover::default(),
            targets,
            gang: Arc::default(),
            scale,
            step: None,
            acceleration,
            smooth: 0,
            touch,
            bank,
            layer,
            hand,
            feedback: Told::nothing(),
        };
        let [x, y] = plane.axes(&lie);
        let mut all =
            vec![binding("across", numbers[0], x, 1.0, hand), binding("away", numbers[1], y, 1.0, hand)];
        all.extend(ring.map(|(cc, targets)| binding("ring", cc, targets.into(), ring_scale, hand + 2)));
        Ok(all)
    }

    /// So many addresses, each another one.
    fn addresses<const N: usize>(
        &self,
        key: &str,
        given: &Spanned<Vec<Spanned<String>>>,
    ) -> Result<[Arc<str>; N], PanelError> {
        let mut all: Vec<Arc<str>> = Vec::new();
        for one in given.get_ref() {
            let address = one.get_ref();
            (self.known)(address)
                .map_err(|why| self.wrong(one.span(), format!("{key} \"{address}\": {why}")))?;
            if all.iter().any(|other| **other == **address) {
                let what = format!("{key} \"{address}\" is listed twice");
                return Err(self.wrong(one.span(), what));
            }
            all.push(address.as_str().into());
        }
        let count = all.len();
        all.try_into()
            .map_err(|_| self.wrong(given.span(), format!("{key} has {count} addresses: {N} are accepted")))
    }

    /// The parameters under a key, none of which is among `others`.
    fn targets(
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

    /// One button of a map.
    fn button(
        &mut self,
        entry: Spanned<RawButton>,
        bank: Option<usize>,
        map: &Map,
    ) -> Result<Button, PanelError> {
        let at = entry.span();
        let raw = entry.into_inner();
        let source = match (&raw.cc, &raw.note) {
            (Some(cc), None) => Source::Cc(self.controller("cc", cc)?),
            (None, Some(note)) => Source::Note(self.note("note", note)?),
            _ => {
                return Err(self.wrong(at, "a button has a cc or a note, one of the two".to_owned()));
            }
        };
        let channel = self.channel(&raw.channel)?;
        let resets = raw.resets.as_ref().map(|what| self.resets(what, map)).transpose()?;
        let does = [&raw.action, &raw.bank, &raw.page].into_iter().flatten().count();
        // Alone, it is what the button does; beside something to do, where it does it.
        let holds = does == 0 && resets.is_none();
        let layer = raw.layer.as_ref().map(|name| self.layer(name, !holds));
        let names = |all: &mut dyn Iterator<Item = &Arc<str>>| {
            all.map(|name| Spanned::new(0..0, name.to_string())).collect::<Vec<_>>()
        };
        let (task, action) = match (&raw.action, &raw.bank, &raw.page) {
            (Some(action), None, None) => (self.task(action)?, action.get_ref().clone()),
            (None, Some(name), None) => {
                let bank = self.index("bank", name, &names(&mut map.banks.iter().map(|b| &b.name)))?;
                (Task::Bank(bank), format!("bank {}", name.get_ref()))
            }
            (None, None, Some(name)) => {
                let page = self.index("page", name, &names(&mut map.pages.iter().map(|p| &p.name)))?;
                (Task::Page(page), format!("page {}", name.get_ref()))
            }
            (None, None, None) => match (&raw.layer, layer, &raw.resets) {
                (Some(name), Some(layer), None) => (Task::Layer(layer), format!("layer {}", name.get_ref())),
                (_, _, Some(what)) => (Task::None, format!("reset {}", what.get_ref())),
                _ => {
                    let what = "a button has an action, bank, page, layer or resets";
                    return Err(self.wrong(at, what.to_owned()));
                }
            },
            _ => {
                let what = "action, bank and page each say what a button does: one of them is accepted";
                return Err(self.wrong(at, what.to_owned()));
            }
        };
        let label = label(raw.label, source, channel);
        let layer = layer.filter(|_| !holds);
        self.add(Taken { source, channel, bank, layer, touch: false, label: label.clone(), at })?;
        let wrong = |at, what| self.wrong(at, what);
        let light = feedback_map::light(raw.feedback, raw.light, source, channel, &wrong)?;
        let (mode, action) = (raw.mode, action.into());
        Ok(Button { label, source, channel, mode, task, action, resets, bank, layer, light })
    }

    /// What an action's name asks for.
    fn task(&self, action: &Spanned<String>) -> Result<Task, PanelError> {
        let name = action.get_ref();
        Ok(match name.as_str() {
            "fine" => Task::Fine,
            "fine-latch" => Task::FineLatch,
            "gang" => Task::Gang,
            "bank-next" => Task::BankStep(1),
            "bank-previous" => Task::BankStep(-1),
            _ => {
                (self.known_action)(name).map_err(|why| {
                    let own = PANEL_ACTIONS.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
                    let what = format!("action \"{name}\": {why}; of the panel itself there are {own}");
                    self.wrong(action.span(), what)
                })?;
                Task::Action(name.as_str().into())
            }
        })
    }

    fn resets(&self, what: &Spanned<String>, map: &Map) -> Result<Resets, PanelError> {
        let name = what.get_ref();
        // A ball's name is that of both its axes.
        let parts = [name.clone(), format!("{name} across"), format!("{name} away")];
        let labelled = map.controls.iter().enumerate().filter(|(_, c)| parts.iter().any(|p| *c.label == **p));
        let controls: Vec<usize> = labelled.map(|(at, _)| at).collect();
        if !controls.is_empty() {
            return Ok(Resets::Controls(controls));
        }
        (self.known)(name).map_err(|why| {
            let why = format!("resets \"{name}\": no control has this label, and as an address: {why}");
            self.wrong(what.span(), why)
        })?;
        Ok(Resets::Address(name.as_str().into()))
    }

    fn controller(&self, key: &str, given: &Spanned<i64>) -> Result<u8, PanelError> {
        let last = FIRST_MODE_MESSAGE - 1;
        ranged(given, 0, last).ok_or_else(|| {
            let what = format!("{key} = {}: controller numbers go from 0 to {last}", given.get_ref());
            self.wrong(given.span(), what)
        })
    }

    fn note(&self, key: &str, given: &Spanned<i64>) -> Result<u8, PanelError> {
        ranged(given, 0, 127).ok_or_else(|| {
            self.wrong(given.span(), format!("{key} = {}: notes go from 0 to 127", given.get_ref()))
        })
    }

    fn touch(&self, given: &Option<Spanned<i64>>) -> Result<Option<u8>, PanelError> {
        given.as_ref().map(|given| self.note("touch", given)).transpose()
    }

    fn channel(&self, given: &Option<Spanned<i64>>) -> Result<Option<u8>, PanelError> {
        let Some(given) = given else { return Ok(None) };
        ranged(given, 1, 16).map(|c| Some(c - 1)).ok_or_else(|| {
            let what = format!("channel = {}: channels go from 1 to 16", given.get_ref());
            self.wrong(given.span(), what)
        })
    }

    /// The number, if something can be multiplied by it and still be turned both ways.
    fn factor(
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

    fn acceleration(&self, given: &Option<Spanned<f64>>, relative: bool) -> Result<f64, PanelError> {
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
    fn add(&mut self, new: Taken) -> Result<(), PanelError> {
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

fn label(given: Option<String>, source: Source, channel: Option<u8>) -> Arc<str> {
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
