//! What browsers say, and what is done about it.

use std::sync::Arc;
use std::time::{Duration, Instant};

use serde::Deserialize;
use serde_json::{Value, json};

use super::book::{Approval, Note, now};
use super::door::{Role, Session};
use super::house::House;
use super::panel;

/// Notes and approvals of one viewer within [`WINDOW`].
const MAX_ANSWERS: u32 = 30;
const WINDOW: Duration = Duration::from_secs(60);

/// A message of a page.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Said {
    /// Pictures for a window of so many pixels, or none for zeros.
    Want { width: u32, height: u32, display: String, before: bool },
    /// So many pictures have been shown since the page was opened.
    Seen(u64),
    /// A note at a place of a frame.
    Note { shot: String, frame: u64, at: [f64; 2], text: String },
    /// What whoever has the page open is called.
    Name(String),
    /// A shot is right as it was seen.
    Approve { shot: String, sum: String },
    /// It is not.
    Withdraw { shot: String },
    /// A note is done, or open.
    Done { id: u64, is: bool },
    /// A note is taken out.
    Remove { id: u64 },
    /// Look here.
    Point(Option<[f64; 2]>),
    /// An action by name.
    Press { action: String, down: bool },
    /// A parameter turned by so many of its steps.
    Turn { target: String, detents: f64 },
    /// A parameter put at a place of its range, 0…1.
    Set { target: String, to: f64 },
    /// A parameter put at its default.
    Reset { target: String },
    /// A control of the panel is touched, or let go.
    Hold { down: bool },
}

/// How often one viewer has answered.
#[derive(Default)]
pub(super) struct Pace(u32, Option<Instant>);

impl Pace {
    fn allows(&mut self, now: Instant) -> bool {
        if self.1.is_none_or(|since| now.duration_since(since) > WINDOW) {
            *self = Self(0, Some(now));
        }
        self.0 += 1;
        self.0 <= MAX_ANSWERS
    }
}

/// Does what a page said, if whoever has it open may; what the page is told of it. Pictures are the connection's own matter.
pub(super) fn answer(
    house: &House,
    session: &Session,
    said: Said,
    pace: &mut Pace,
) -> Result<Option<Value>, String> {
    let operator = session.role == Role::Operator;
    let only = |what: &str| if operator { Ok(()) } else { Err(format!("only the operator {what}")) };
    let mut often = || match pace.allows(Instant::now()) {
        true => Ok(()),
        false => Err("that was a lot in one minute; wait a little".to_owned()),
    };
    match said {
        Said::Want { .. } | Said::Seen(_) | Said::Name(_) => {}
        Said::Note { shot, frame, at, text } => {
            often()?;
            let s = house.link.snapshot();
            let place = s.show.shots.iter().position(|known| known.name == shot);
            let place = place.ok_or("that shot is no longer in the show")?;
            let frames = s.show.shots[place].frames();
            if frame >= frames.end - frames.start {
                return Err("that frame is no longer in the shot".into());
            }
            let timecode = s.timecode_of(place, frame);
            let (name, when) = (session.name.clone(), now());
            let note = Note { id: 0, shot, frame, timecode, at, text, name, when, done: false };
            let id = house.book.change(|book| book.add(note))?;
            house.stir();
            return Ok(Some(json!({"kept": id})));
        }
        Said::Approve { shot, sum } => {
            often()?;
            if !house.was_issued(&shot, &sum) {
                return Err("the picture has changed meanwhile; look again and approve that".into());
            }
            let (name, when) = (session.name.clone(), now());
            house.book.change(|book| book.approve(Approval { shot, name, when, sum }));
            house.stir();
        }
        Said::Withdraw { shot } => {
            often()?;
            house.book.change(|book| book.withdraw(&shot, &session.name));
            house.stir();
        }
        Said::Done { id, is } => {
            only("says what is done")?;
            house.book.change(|book| book.set_done(id, is));
            house.stir();
        }
        Said::Remove { id } => {
            only("takes notes out")?;
            house.book.change(|book| book.remove(id));
            house.stir();
        }
        Said::Point(at) => {
            only("points")?;
            house.point(at);
        }
        Said::Press { action, down } => {
            only("does that")?;
            panel::press(&house.link, &action, down)?;
        }
        Said::Turn { target, detents } => {
            only("moves the grade")?;
            panel::turn(&house.link, session.id, &target, detents)?;
        }
        Said::Set { target, to } => {
            only("moves the grade")?;
            panel::set(&house.link, session.id, &target, to)?;
        }
        Said::Reset { target } => {
            only("moves the grade")?;
            panel::reset(&house.link, &target)?;
        }
        Said::Hold { down } => {
            only("moves the grade")?;
            panel::hold(&house.link, session.id, down);
        }
    }
    Ok(None)
}

/// A page's message; why it is none.
pub(super) fn read(text: &str) -> Result<Said, Arc<str>> {
    serde_json::from_str(text).map_err(|e| format!("no message: {e}").into())
}
