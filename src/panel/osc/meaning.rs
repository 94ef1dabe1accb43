//! What a message asks for.

use super::super::PanelError;
use super::{Argument, Layout, Message};

/// What a message asks for. Addresses are without the slash before them and may be patterns.
#[derive(Clone, Debug, PartialEq)]
pub enum Meaning {
    /// Everything is to be told, from now on to this port of the sender if it names one.
    Hello(Option<u16>),
    /// Nothing is to be told any more.
    Bye,
    /// A parameter is to be told.
    Ask(String),
    /// A parameter gets a value in its own unit.
    Set(String, Argument),
    /// A parameter is turned by so many of its steps.
    Turn(String, f64),
    /// A parameter gets its default.
    Reset(String),
    /// An action's button goes down, or up.
    Press(String, bool),
    /// A fader of the layout, by its number there, sends a number.
    Fader(usize, f64),
    /// A button was let go that does nothing then.
    Nothing,
}

/// What a message asks for, on a surface of that layout if it has one.
///
/// - `/hello`, `/hello PORT`, `/bye`;
/// - `/do/ACTION`: pressed without argument or with one that is not 0, let go with 0 or `F`;
/// - `/ADDRESS/turn STEPS`, `/ADDRESS/reset` (with 0 nothing, so that a button that tells when it is let go resets once);
/// - `/ADDRESS VALUE`, and without argument the question what the value is.
///
/// In a pattern `do`, `turn` and `reset` have to be written out.
///
/// # Errors
/// [`PanelError::Packet`] when the argument is none that the address takes.
pub fn meaning(message: &Message, layout: Option<&Layout>) -> Result<Meaning, PanelError> {
    let refuse = |what: &str| Err(PanelError::Packet { why: format!("{}: {what}", message.address) });
    let number = match message.argument {
        Some(Argument::Number(number)) => Some(number),
        Some(Argument::Switch(on)) => Some(f64::from(u8::from(on))),
        _ => None,
    };
    let text = matches!(message.argument, Some(Argument::Text(_)));
    // How a button is pressed and let go.
    let down = number.is_none_or(|n| n != 0.0);
    if let Some(layout) = layout {
        if let Some(index) = layout.faders.iter().position(|f| *f.osc == *message.address) {
            return match number {
                Some(number) => Ok(Meaning::Fader(index, number)),
                None => refuse("a number is needed"),
            };
        }
        if let Some(push) = layout.pushes.iter().find(|p| *p.osc == *message.address) {
            return match text {
                false => Ok(Meaning::Press(push.action.to_string(), down)),
                true => refuse("a button takes a number"),
            };
        }
    }
    let address = message.address.strip_prefix('/').unwrap_or_default();
    match address {
        "hello" => {
            return match number {
                None if text => refuse("the port is a number"),
                None => Ok(Meaning::Hello(None)),
                Some(port) if port.fract() == 0.0 && (1.0..=65_535.0).contains(&port) => {
                    Ok(Meaning::Hello(Some(port as u16)))
                }
                Some(_) => refuse("ports are numbers from 1 to 65535"),
            };
        }
        "bye" => return Ok(Meaning::Bye),
        _ => {}
    }
    if let Some(action) = address.strip_prefix("do/") {
        return match text {
            false => Ok(Meaning::Press(action.to_owned(), down)),
            true => refuse("an action takes a number"),
        };
    }
    if let Some(target) = address.strip_suffix("/turn") {
        return match number {
            Some(steps) => Ok(Meaning::Turn(target.to_owned(), steps)),
            None => refuse("a number of steps is needed"),
        };
    }
    if let Some(target) = address.strip_suffix("/reset") {
        return Ok(if down { Meaning::Reset(target.to_owned()) } else { Meaning::Nothing });
    }
    Ok(match &message.argument {
        None => Meaning::Ask(address.to_owned()),
        Some(argument) => Meaning::Set(address.to_owned(), argument.clone()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_messages_ask_for() {
        use Argument::{Number, Switch, Text};
        let of = |address: &str, argument: Option<Argument>| {
            meaning(&Message { address: address.to_owned(), argument }, None)
        };
        let is =
            |address: &str, argument, wanted: Meaning| assert_eq!(of(address, argument).unwrap(), wanted);
        is("/hello", None, Meaning::Hello(None));
        is("/hello", Some(Number(9001.0)), Meaning::Hello(Some(9001)));
        is("/bye", Some(Number(1.0)), Meaning::Bye);
        is("/balance/exposure", None, Meaning::Ask("balance/exposure".into()));
        is("/balance/exposure", Some(Number(0.5)), Meaning::Set("balance/exposure".into(), Number(0.5)));
        is("/look/*/strength/turn", Some(Number(-2.0)), Meaning::Turn("look/*/strength".into(), -2.0));
        is("/look/2/strength/reset", None, Meaning::Reset("look/2/strength".into()));
        is("/look/2/strength/reset", Some(Number(0.0)), Meaning::Nothing);
        is("/do/undo", None, Meaning::Press("undo".into(), true));
        is("/do/before", Some(Switch(false)), Meaning::Press("before".into(), false));
        for (address, argument) in [
            ("/hello", Some(Number(70_000.0))),
            ("/hello", Some(Text("9".into()))),
            ("/do/undo", Some(Text("now".into()))),
            ("/look/strength/turn", None),
        ] {
            assert!(of(address, argument).is_err(), "{address}");
        }
    }
}
