//! A parameter's value as a person types it.

use super::{Parameter, Unit};
use crate::colour::light_temperature;

/// Printer points in a stop: a point is 0.025 of log10 exposure (trade practice).
const POINTS_IN_A_STOP: f64 = std::f64::consts::LOG10_2 / 0.025;

impl Parameter {
    /// The value that `text` means: a number with or without a unit, `1/3`, `1 1/3`, a decimal comma, `default`, `least`,
    /// `most`; of one that chooses a name, or its beginning where no other begins so. Units that can be worked out are
    /// accepted beside the parameter's own: points for stops and stops for points, per cent of a ratio,
    /// millimetres, and kelvin for mired, as the light that becomes white.
    ///
    /// # Errors
    /// What is wrong with it, and what is accepted, as a sentence. A value outside the range is refused, not held to it.
    pub fn typed(&self, text: &str) -> Result<f64, String> {
        let text = text.trim();
        let refuse = |what: String| Err(format!("{what}; accepted: {}", self.accepted()));
        match text {
            "" => return refuse("nothing was typed".into()),
            "default" => return Ok(self.default),
            "least" => return Ok(self.min),
            "most" => return Ok(self.max),
            _ => {}
        }
        if !self.choices().is_empty() {
            return match self.chosen(text) {
                Some(value) => Ok(value),
                None => refuse(format!("“{text}” is none of its names")),
            };
        }
        let (number, unit) = split(text);
        let Some(number) = read_number(number) else {
            return refuse(format!("“{text}” is no number"));
        };
        let Some(value) = self.in_own_unit(number, unit) else {
            return refuse(format!("“{unit}” is no unit of it"));
        };
        // What is shown as an end is the end, however it was rounded.
        let slack = 1e-9 * (self.max - self.min);
        if !(self.min - slack..=self.max + slack).contains(&value) {
            return refuse(format!("{text} is outside its range"));
        }
        Ok(value.clamp(self.min, self.max))
    }

    /// What [`Parameter::typed`] accepts, as a line.
    pub fn accepted(&self) -> String {
        if !self.choices().is_empty() {
            return self.choices().join(", ");
        }
        let (min, max) = (self.show(self.min), self.show(self.max));
        let more = match self.unit {
            Unit::Ratio => ", or per cent: 50 %",
            Unit::Stops => ", as 0.5 or 1/3 stop, or in points: 4 pts",
            Unit::Points => ", or in stops: 1/2 stop",
            Unit::Mired => ", or kelvin: 5600 K",
            Unit::Micrometres => ", or millimetres: 0.01 mm",
            Unit::Degrees | Unit::Duv | Unit::Choice(_) => "",
        };
        format!("{min} … {max}{more}")
    }

    fn chosen(&self, text: &str) -> Option<f64> {
        let (names, wanted) = (self.choices(), plain(text));
        let place = |at: usize| at as f64;
        if let Some(at) = names.iter().position(|name| plain(name) == wanted) {
            return Some(place(at));
        }
        let mut begin = names.iter().enumerate().filter(|(_, name)| plain(name).starts_with(&wanted));
        match (begin.next(), begin.next()) {
            (Some((at, _)), None) => Some(place(at)),
            _ => None,
        }
    }

    /// A number in a unit, in the parameter's own; `None` where that unit does not fit.
    fn in_own_unit(&self, number: f64, unit: &str) -> Option<f64> {
        let unit = unit.to_lowercase();
        Some(match (self.unit, unit.as_str()) {
            (_, "") => number,
            (Unit::Ratio, "%" | "per cent" | "percent") => number / 100.0,
            (Unit::Ratio, "x" | "×") => number,
            (Unit::Stops, "stop" | "stops" | "ev") => number,
            (Unit::Stops, "pt" | "pts" | "point" | "points") => number / POINTS_IN_A_STOP,
            (Unit::Points, "pt" | "pts" | "point" | "points") => number,
            (Unit::Points, "stop" | "stops") => number * POINTS_IN_A_STOP,
            (Unit::Degrees, "°" | "deg" | "degree" | "degrees") => number,
            (Unit::Mired, "mired" | "mireds") => number,
            // Of the light that becomes white: 10⁶ / K is a difference from the white's.
            (Unit::Mired, "k" | "kelvin") if number > 0.0 => {
                1e6 / light_temperature(0.0, 0.0).0 - 1e6 / number
            }
            (Unit::Duv, "‰ duv" | "‰" | "‰ duv green") => number,
            (Unit::Duv, "‰ duv magenta") if number <= 0.0 => number,
            (Unit::Duv, "duv") => number * 1000.0,
            (Unit::Micrometres, "µm" | "μm" | "um") => number,
            (Unit::Micrometres, "mm") => number * 1000.0,
            _ => return None,
        })
    }
}

/// Where the number ends and the unit begins.
fn split(text: &str) -> (&str, &str) {
    let of_number = |c: char| c.is_ascii_digit() || "+-−–.,/ ".contains(c) || c.is_whitespace();
    let end = text.find(|c| !of_number(c)).unwrap_or(text.len());
    (text[..end].trim(), text[end..].trim())
}

/// `0.5`, `0,5`, `.5`, `+1`, `−1`, `1/3`, `-1 1/3`: the sign is that of the whole.
fn read_number(text: &str) -> Option<f64> {
    let (sign, rest) = match text.strip_prefix(['-', '−', '–']) {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    let mut sum = None;
    for part in rest.split_whitespace() {
        let value = match part.split_once('/') {
            Some((above, below)) => plain_number(above)? / plain_number(below).filter(|b| *b != 0.0)?,
            // A whole number may stand before a fraction, nothing else before anything.
            None if sum.is_some() => return None,
            None => plain_number(part)?,
        };
        if sum.is_some_and(|whole: f64| whole.fract() != 0.0) {
            return None;
        }
        sum = Some(sum.unwrap_or(0.0) + value);
    }
    sum.map(|value| sign * value).filter(|value| value.is_finite())
}

/// Digits with one point or comma at most, and no sign.
fn plain_number(text: &str) -> Option<f64> {
    let digits = text.chars().all(|c| c.is_ascii_digit() || ".,".contains(c));
    let text = text.replace(',', ".");
    (digits && text != "." && text.matches('.').count() <= 1).then(|| text.parse().ok())?
}

/// A name without what hands leave out.
fn plain(name: &str) -> String {
    name.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect()
}
