//! Reading a button of a map.

use super::read::{Reader, Taken, label};
use super::{Button, Map, Mode, PANEL_ACTIONS, Resets, Source, Task};
use crate::panel::PanelError;
use crate::panel::feedback_map::{self, RawLight, When};
use std::sync::Arc;
use toml::Spanned;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawButton {
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

impl Reader<'_> {
    /// One button of a map.
    pub(super) fn button(
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
        Ok(Button {
            light,
            label,
            source,
            channel,
            mode: raw.mode,
            task,
            action: action.into(),
            resets,
            bank,
            layer,
        })
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
}
