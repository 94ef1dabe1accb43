//! What a frame says of how it was lit and exposed: the light that a grey of 18 % has in it, and how sure that is.

use super::card::{Card, card};
use super::chart::{Chart, chart};
use super::level::{Level, level};
use super::neutral::{Neutral, angle, neutral};
use crate::colour::AP1;
use crate::colour::{GREY, from_locus};
use crate::picture::{Reduced, luminance};

/// What a reading was taken from.
#[derive(Clone, Debug, PartialEq)]
pub enum Evidence {
    /// A chart of 24 patches in the picture.
    Chart(Box<Chart>),
    /// Something in the picture that looks like a grey card.
    Card(Card),
    /// A patch that a hand said is a grey of 18 %.
    Hand,
    /// Edges, grey pixels and the log-average of the whole picture.
    Statistics(Neutral),
}

impl Evidence {
    /// In a word, for people.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Chart(_) => "chart",
            Self::Card(_) => "grey card",
            Self::Hand => "patch",
            Self::Statistics(_) => "statistics",
        }
    }
}

/// The light that a grey of 18 % has in a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Scene-linear ACEScg, of the picture that was read.
    pub grey: [f64; 3],
    /// What it was taken from.
    pub evidence: Evidence,
    /// How sure the colour is, 0…1.
    pub colour_sure: f64,
    /// How sure the amount is, 0…1.
    pub level_sure: f64,
    /// What was measured, a line each.
    pub measured: Vec<String>,
}

impl Reading {
    /// Corners of what it was taken from, in shares 0…1 of the picture's width and height; none for the whole of it.
    pub fn outline(&self) -> Vec<[f64; 2]> {
        match &self.evidence {
            Evidence::Chart(chart) => [0, 5, 23, 18].map(|i| chart.places[i]).to_vec(),
            Evidence::Card(Card { bounds: [[l, t], [r, b]], .. }) => {
                vec![[*l, *t], [*r, *t], [*r, *b], [*l, *b]]
            }
            Evidence::Hand | Evidence::Statistics(_) => Vec::new(),
        }
    }

    /// Stops of the grey from middle grey: + where the picture is too bright.
    pub fn stops(&self) -> f64 {
        (luminance(self.grey) / GREY).log2()
    }

    /// Kelvin (correlated) and Duv of the light that the grey is lit by; `None` far from any black body.
    pub fn temperature(&self) -> Option<(f64, f64)> {
        temperature(self.grey)
    }

    /// Of a patch that a hand said is a grey of 18 %.
    pub fn by_hand(light: [f64; 3]) -> Self {
        let [r, g, b] = light;
        let measured = vec![format!("the patch reads {r:.4} {g:.4} {b:.4} (ACEScg)")];
        Self { grey: light, evidence: Evidence::Hand, colour_sure: 1.0, level_sure: 1.0, measured }
    }
}

/// Kelvin (correlated) and Duv of an ACEScg light.
fn temperature(light: [f64; 3]) -> Option<(f64, f64)> {
    let [x, y, z] = AP1.to_xyz().times(light);
    let (mired, duv) = from_locus([x / (x + y + z), y / (x + y + z)])?;
    Some((1e6 / mired, duv))
}

/// How sure, in a word.
pub fn sure_word(sure: f64) -> &'static str {
    match sure {
        s if s >= 0.85 => "sure",
        s if s >= 0.5 => "likely",
        s if s >= 0.25 => "a guess",
        _ => "hardly a guess",
    }
}

/// All that a frame says.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// By a chart.
    pub chart: Option<Reading>,
    /// By what looks like a grey card.
    pub card: Option<Reading>,
    /// By statistics of the whole picture.
    pub statistics: Option<Reading>,
}

/// Pixels across of the picture that statistics are made of.
const ACROSS: usize = 160;

impl Readings {
    /// Of a picture, best [`CHART_ACROSS`](super::CHART_ACROSS) pixels across.
    pub fn of(picture: &Reduced) -> Self {
        let small = picture.smaller(ACROSS);
        let statistics = neutral(&small).zip(level(&small)).map(|(n, l)| by_statistics(n, l));
        let card = statistics.as_ref().and_then(|s| {
            let card = card(&picture.smaller(320), s.grey)?;
            // Of what only looks like a card the level is believed where the picture's own is not far.
            let stops = (luminance(card.light) / GREY).log2() - s.stops();
            Some(by_card(card, s, stops))
        });
        Self { chart: chart(picture).map(by_chart), card, statistics }
    }

    /// The one to go by: a chart before a card before statistics.
    pub fn best(&self) -> Option<&Reading> {
        self.chart.as_ref().or(self.card.as_ref()).or(self.statistics.as_ref())
    }
}

fn by_chart(chart: Chart) -> Reading {
    let measured = vec![
        format!("a chart of 24 patches; its greys agree within {:.2} stops", chart.spread),
        format!("its colours lie {:.2} stops beside the chart's, in the middle", chart.beside),
    ];
    let sure = (1.0 - chart.spread).clamp(0.5, 0.99);
    Reading {
        grey: chart.grey,
        colour_sure: sure,
        level_sure: sure,
        evidence: Evidence::Chart(Box::new(chart)),
        measured,
    }
}

fn by_card(card: Card, statistics: &Reading, stops: f64) -> Reading {
    let far = stops.abs() > 1.0;
    let mut measured = vec![format!(
        "something like a grey card: even within {:.2} stops, {:.1}° from the grey of the statistics",
        card.uneven, card.apart
    )];
    let (y, level_sure) = if far {
        measured.push(format!("its level is {stops:+.1} stops from the picture's, so the picture's counts"));
        (luminance(statistics.grey), statistics.level_sure)
    } else {
        (luminance(card.light), 0.6)
    };
    let by = y / luminance(card.light);
    Reading {
        grey: card.light.map(|v| v * by),
        colour_sure: (0.8 - 0.05 * card.apart).clamp(0.3, 0.8),
        level_sure,
        evidence: Evidence::Card(card),
        measured,
    }
}

fn by_statistics(n: Neutral, l: Level) -> Reading {
    let mut measured =
        vec![format!("by edges and grey pixels; the picture's quarters lie {:.1}° from that", n.apart)];
    if let Some((kelvin, duv)) = temperature(n.grey) {
        measured.push(format!("together: a light of {kelvin:.0} K, Duv {duv:+.4}"));
    }
    measured.push(format!(
        "log-average {:+.2} stops from grey, median {:+.2}, eight tenths within {:.1} stops",
        l.mean, l.median, l.spread
    ));
    let level_sure = 0.75 - 0.4 * (l.mean - l.median).abs() - 0.05 * (l.spread - 4.0).max(0.0);
    Reading {
        grey: n.grey.map(|v| v * GREY * l.mean.exp2()),
        colour_sure: (0.75 - n.apart / 24.0).clamp(0.05, 0.75),
        level_sure: level_sure.clamp(0.1, 0.75),
        evidence: Evidence::Statistics(n),
        measured,
    }
}

/// How two balanced pictures differ, by evidence that both have.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Colour of grey in the first and in the second, of luminance 1.
    pub greys: [[f64; 3]; 2],
    /// Stops by which the second is brighter.
    pub stops: f64,
    /// How sure the colours are, 0…1.
    pub colour_sure: f64,
    /// How sure the stops are, 0…1.
    pub level_sure: f64,
    /// What it was taken from, in a word.
    pub evidence: &'static str,
    /// What was measured, a line each.
    pub measured: Vec<String>,
}

/// How a picture differs from another: by charts if both hold one, else by statistics; `None` where those fail.
pub fn difference(one: &Reduced, other: &Reduced) -> Option<Difference> {
    let (a, b) = (Readings::of(one), Readings::of(other));
    let unit = |r: &Reading| r.grey.map(|v| v / luminance(r.grey));
    if let (Some(a), Some(b)) = (&a.chart, &b.chart) {
        let stops = (luminance(b.grey) / luminance(a.grey)).log2();
        return Some(Difference {
            greys: [unit(a), unit(b)],
            stops,
            evidence: "chart",
            colour_sure: a.colour_sure.min(b.colour_sure),
            level_sure: a.level_sure.min(b.level_sure),
            measured: vec![format!(
                "a chart in both: the other's greys {stops:+.2} stops brighter, {:.1}° apart in colour",
                angle(a.grey, b.grey)
            )],
        });
    }
    let (sa, sb) = (a.statistics?, b.statistics?);
    let (la, lb) = (super::level::stops(&one.smaller(ACROSS))?, super::level::stops(&other.smaller(ACROSS))?);
    // From the second to the eighth tenth: what is in one picture alone, sky or lamp, lies at the ends.
    let mut steps: Vec<f64> = (4..=16)
        .map(|i| f64::from(i) / 20.0)
        .map(|p| super::level::part(&lb, p) - super::level::part(&la, p))
        .collect();
    steps.sort_by(f64::total_cmp);
    let (stops, range) = (steps[steps.len() / 2], steps[steps.len() - 1] - steps[0]);
    Some(Difference {
        greys: [unit(&sa), unit(&sb)],
        stops,
        evidence: "statistics",
        colour_sure: sa.colour_sure.min(sb.colour_sure),
        level_sure: (0.85 - 0.25 * range).clamp(0.1, 0.85),
        measured: vec![
            format!(
                "tones from the second to the eighth tenth: {stops:+.2} stops in the middle, {range:.2} between them"
            ),
            format!("the colours of grey lie {:.1}° apart", angle(sa.grey, sb.grey)),
        ],
    })
}
