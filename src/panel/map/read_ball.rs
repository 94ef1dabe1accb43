//! Reading a ball of a map.

use super::read::Reader;
use super::target::Targets;
use super::{Binding, Source, Target};
use crate::panel::ball::{Lie, Plane};
use crate::panel::{Coding, PanelError, Takeover, Told};
use std::sync::Arc;
use toml::Spanned;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub(super) struct RawBall {
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

impl Reader<'_> {
    /// The controls of one ball.
    pub(super) fn ball(
        &mut self,
        raw: RawBall,
        bank: Option<usize>,
        hand: usize,
    ) -> Result<Vec<Binding>, PanelError> {
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
}
