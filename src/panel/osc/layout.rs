//! Layouts: what the fixed addresses of a tablet mean. For tablets whose pages can be set to any address none is needed.

use std::ops::Range;
use std::sync::Arc;

use toml::Spanned;

use super::super::{PanelError, Takeover};
use super::{LONGEST_ADDRESS, is_pattern};

/// The layouts that come with the program: file name and text.
pub const LAYOUTS: &[(&str, &str)] =
    &[("osc-tablet.toml", include_str!("../../../configs/panels/osc-tablet.toml"))];

/// A fader or knob of a tablet.
#[derive(Clone, Debug, PartialEq)]
pub struct Fader {
    /// Its name.
    pub label: Arc<str>,
    /// The address it sends to, with the slash before it.
    pub osc: Arc<str>,
    /// The address of the parameter it moves.
    pub target: Arc<str>,
    /// Steps of the parameter for 1, of one that turns; `None`: it sends where it stands, 0…1 of the parameter's range.
    pub steps: Option<f64>,
    /// How one that stands somewhere takes over.
    pub takeover: Takeover,
}

/// A button of a tablet.
#[derive(Clone, Debug, PartialEq)]
pub struct Push {
    /// Its name.
    pub label: Arc<str>,
    /// The address it sends to, with the slash before it.
    pub osc: Arc<str>,
    /// The name of what it does.
    pub action: Arc<str>,
}

/// What the fixed addresses of a tablet mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// The layout's own name.
    pub name: String,
    /// Its faders and knobs. No two of these and the buttons have one address.
    pub faders: Vec<Fader>,
    /// Its buttons.
    pub pushes: Vec<Push>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLayout {
    name: String,
    #[serde(default)]
    control: Vec<RawFader>,
    #[serde(default)]
    button: Vec<RawPush>,
}

#[derive(Clone, Copy, PartialEq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Sends {
    Absolute,
    Relative,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFader {
    label: Option<String>,
    osc: Spanned<String>,
    coding: Sends,
    takeover: Option<Spanned<Takeover>>,
    target: Spanned<String>,
    scale: Option<Spanned<f64>>,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct RawPush {
    label: Option<String>,
    osc: Spanned<String>,
    action: Spanned<String>,
}

impl Layout {
    /// Reads a layout. `file` is only named in errors. `known` says whether there is a parameter at an address,
    /// `known_action` whether there is an action of a name; if not, why not and what there is.
    ///
    /// # Errors
    /// [`PanelError::Map`] with file and line: for what is not TOML, an unknown key, a key that does not go with the
    /// coding, a target or action that its checker refuses, an `osc` that is no address, is a parameter's own or is
    /// there twice.
    pub fn parse(
        text: &str,
        file: &str,
        known: &dyn Fn(&str) -> Result<(), String>,
        known_action: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<Self, PanelError> {
        let wrong = |at: Range<usize>, what: String| PanelError::Map {
            file: file.to_owned(),
            line: 1 + text.bytes().take(at.start).filter(|b| *b == b'\n').count(),
            what,
        };
        let raw: RawLayout =
            toml::from_str(text).map_err(|e| wrong(e.span().unwrap_or(0..0), e.message().to_owned()))?;
        let mut layout = Self { name: raw.name, faders: Vec::new(), pushes: Vec::new() };
        let mut taken: Vec<Arc<str>> = Vec::new();
        let mut address = |osc: Spanned<String>| -> Result<Arc<str>, PanelError> {
            let (at, osc) = (osc.span(), osc.into_inner());
            let refuse = |what: &str| Err(wrong(at.clone(), format!("osc = {osc:?}: {what}")));
            let printable = osc.bytes().all(|b| b.is_ascii_graphic() && b != b'#' && b != b',');
            match osc.strip_prefix('/') {
                Some(rest)
                    if !rest.is_empty() && printable && !is_pattern(&osc) && osc.len() <= LONGEST_ADDRESS =>
                {
                    if rest.starts_with("do/") || rest == "hello" || rest == "bye" || known(rest).is_ok() {
                        return refuse("this address has a meaning of its own");
                    }
                }
                _ => return refuse("an address like \"/page1/slider1\" is accepted"),
            }
            let osc: Arc<str> = osc.as_str().into();
            if taken.contains(&osc) {
                return refuse("another control or button has this address");
            }
            taken.push(osc.clone());
            Ok(osc)
        };
        for fader in raw.control {
            let osc = address(fader.osc)?;
            let (at, target) = (fader.target.span(), fader.target.into_inner());
            known(&target).map_err(|why| wrong(at, format!("target \"{target}\": {why}")))?;
            let relative = fader.coding == Sends::Relative;
            if let Some(given) = fader.takeover.as_ref().filter(|_| relative) {
                let what = "takeover is for coding = \"absolute\": what turns has no position";
                return Err(wrong(given.span(), what.to_owned()));
            }
            if let Some(given) =
                fader.scale.as_ref().filter(|s| !relative || !s.get_ref().is_finite() || *s.get_ref() == 0.0)
            {
                let what = "scale is for coding = \"relative\", any finite number but 0";
                return Err(wrong(given.span(), what.to_owned()));
            }
            layout.faders.push(Fader {
                label: fader.label.map_or_else(|| osc.clone(), Arc::from),
                osc,
                target: target.into(),
                steps: relative.then(|| fader.scale.map_or(1.0, Spanned::into_inner)),
                takeover: fader.takeover.map(Spanned::into_inner).unwrap_or_default(),
            });
        }
        for push in raw.button {
            let osc = address(push.osc)?;
            let (at, action) = (push.action.span(), push.action.into_inner());
            known_action(&action).map_err(|why| wrong(at, format!("action \"{action}\": {why}")))?;
            layout.pushes.push(Push {
                label: push.label.map_or_else(|| osc.clone(), Arc::from),
                osc,
                action: action.into(),
            });
        }
        Ok(layout)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Layout, String> {
        let known = |a: &str| if a == "balance/exposure" { Ok(()) } else { Err("no".to_owned()) };
        let action = |a: &str| if a == "undo" { Ok(()) } else { Err("no".to_owned()) };
        Layout::parse(text, "t.toml", &known, &action).map_err(|e| e.to_string())
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        let head = "name = \"t\"\n[[control]]\n";
        let rest = "coding = \"absolute\"\ntarget = \"balance/exposure\"\n";
        assert_eq!(parse(&format!("{head}osc = \"/1/f\"\n{rest}")).unwrap().faders.len(), 1);
        for osc in ["1/f", "/", "/a*", "/a b", "/ä", "/balance/exposure", "/do/undo", "/hello"] {
            let error = parse(&format!("{head}osc = {osc:?}\n{rest}")).unwrap_err();
            assert!(error.starts_with("t.toml:3: osc"), "{osc}: {error}");
        }
        for (text, line) in [
            ("osc = \"/1/f\"\ncoding = \"absolute\"\ntarget = \"x\"\n", 5),
            ("osc = \"/1/f\"\ncoding = \"absolute\"\nscale = 2.0\ntarget = \"balance/exposure\"\n", 5),
            (
                "osc = \"/1/f\"\ncoding = \"relative\"\ntakeover = \"jump\"\ntarget = \"balance/exposure\"\n",
                5,
            ),
            ("osc = \"/1/f\"\ncoding = \"turned\"\ntarget = \"balance/exposure\"\n", 4),
            ("osc = \"/1/f\"\ncoding = \"relative\"\nbank = 1\ntarget = \"balance/exposure\"\n", 5),
            (
                "osc = \"/1/f\"\ncoding = \"relative\"\ntarget = \"balance/exposure\"\n[[button]]\nosc = \"/1/f\"\naction = \"undo\"\n",
                7,
            ),
            (
                "osc = \"/1/f\"\ncoding = \"relative\"\ntarget = \"balance/exposure\"\n[[button]]\nosc = \"/1/g\"\naction = \"sing\"\n",
                8,
            ),
        ] {
            let error = parse(&format!("{head}{text}")).unwrap_err();
            assert!(error.starts_with(&format!("t.toml:{line}: ")), "{text}: {error}");
        }
    }
}
