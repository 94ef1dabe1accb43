//! Reading a control of a map.

use super::read::{Reader, label};
use super::target::Targets;
use super::{Binding, Source};
use crate::panel::feedback_map::{self, RawRing, RawText, Way, When};
use crate::panel::{Coding, FINE_MOST, LSB_ABOVE, PanelError, Registered, Takeover};
use std::ops::Range;
use toml::Spanned;

/// The longest that a move may be spread over, in milliseconds.
const LONGEST_SMOOTH: i64 = 2_000;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(super) struct RawControl {
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

impl Reader<'_> {
    /// One control of a map.
    pub(super) fn control(
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
}
