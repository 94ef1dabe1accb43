//! One viewer: pictures and words out, answers in.

use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::extract::ws::{CloseFrame, Message, WebSocket};
use serde_json::json;
use tokio::sync::watch;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::answer::{Pace, Said, answer, read};
use super::book::tidy_name;
use super::door::{Role, Session};
use super::house::{House, Seat};
use super::pictures::{Need, Packet};
use crate::engine::{Canvas, View};

/// Pictures under way to a page that has not shown them.
const AHEAD: u64 = 2;
/// A page that takes nothing for so long is given up.
const PATIENCE: Duration = Duration::from_secs(20);
/// Between questions whether anybody is there, and how long an answer may take.
const ASK: Duration = Duration::from_secs(10);
const SILENCE: Duration = Duration::from_secs(35);
/// Messages that make no sense, from one page.
const MAX_NONSENSE: u32 = 20;
/// The largest message of a page, in bytes.
pub(super) const MAX_MESSAGE: usize = 8 * 1024;

/// Why a connection ends (4000 and above are an application's own, RFC 6455, 7.4.2).
const PUT_OUT: (u16, &str) = (4001, "the access word no longer holds");
const NONSENSE: (u16, &str) = (1008, "these are no messages of the page");
const GOING: (u16, &str) = (1001, "the desk has closed");

type Pictures = Option<watch::Receiver<Packet>>;

struct Watching {
    socket: WebSocket,
    house: Arc<House>,
    session: Session,
    token: String,
    seat: Seat,
    /// The picture, and the picture without the grade.
    pictures: [Pictures; 2],
    sent: u64,
    seen: u64,
    nonsense: u32,
    heard: Instant,
    pace: Pace,
}

/// Serves a viewer until either side ends.
pub(super) async fn watch(socket: WebSocket, house: Arc<House>, session: Session, token: String, seat: Seat) {
    let (pictures, heard, pace) = ([None, None], Instant::now(), Pace::default());
    let mut watching = Watching {
        socket,
        house,
        session,
        token,
        seat,
        pictures,
        sent: 0,
        seen: 0,
        nonsense: 0,
        heard,
        pace,
    };
    if let Err(Some((code, why))) = watching.run().await {
        let frame = CloseFrame { code, reason: why.into() };
        let _ = timeout(Duration::from_secs(1), watching.socket.send(Message::Close(Some(frame)))).await;
    }
}

/// Why it ends, if the other side is to be told.
type End = Option<(u16, &'static str)>;

async fn next(pictures: &mut Pictures) -> bool {
    match pictures {
        Some(receiver) => receiver.changed().await.is_ok(),
        None => std::future::pending().await,
    }
}

impl Watching {
    async fn run(&mut self) -> Result<(), End> {
        let house = self.house.clone();
        let (mut told, mut answers) = (house.told.subscribe(), house.answers.subscribe());
        let mut controls = (self.session.role == Role::Operator).then(|| house.controls.subscribe());
        let (mut put_out, mut ends) = (house.put_out.subscribe(), house.ends.subscribe());
        let hello = json!({"hello": {"role": self.session.role.key(), "name": self.session.name}});
        self.say(hello.to_string()).await?;
        told.mark_changed();
        answers.mark_changed();
        if let Some(controls) = &mut controls {
            controls.mark_changed();
            house.stir();
        }
        let mut ask = interval(ASK);
        ask.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            let room = self.sent < self.seen + AHEAD;
            let [after, before] = &mut self.pictures;
            tokio::select! {
                message = self.socket.recv() => match message {
                    Some(Ok(message)) => self.hear(message).await?,
                    _ => return Err(None),
                },
                _ = told.changed() => {
                    let text = told.borrow_and_update().clone();
                    self.say(text.to_string()).await?;
                }
                _ = answers.changed() => {
                    let text = answers.borrow_and_update().clone();
                    self.say(text.to_string()).await?;
                }
                _ = async { match &mut controls { Some(c) => c.changed().await, None => std::future::pending().await } } => {
                    let text = controls.as_mut().map(|c| c.borrow_and_update().clone());
                    self.say(text.map_or(String::new(), |t| t.to_string())).await?;
                }
                there = next(after), if room => self.show(0, there).await?,
                there = next(before), if room => self.show(1, there).await?,
                _ = put_out.changed() => self.check()?,
                _ = ends.changed() => return Err(Some(GOING)),
                _ = ask.tick() => {
                    self.check()?;
                    if self.heard.elapsed() > SILENCE {
                        return Err(None);
                    }
                    self.send(Message::Ping(Default::default())).await?;
                }
            }
        }
    }

    /// May this viewer still be here?
    fn check(&self) -> Result<(), End> {
        let session = self.house.session(&self.token);
        if session.as_ref() == Some(&self.session) { Ok(()) } else { Err(Some(PUT_OUT)) }
    }

    async fn send(&mut self, message: Message) -> Result<(), End> {
        match timeout(PATIENCE, self.socket.send(message)).await {
            Ok(Ok(())) => Ok(()),
            _ => Err(None),
        }
    }

    async fn say(&mut self, text: String) -> Result<(), End> {
        if text.is_empty() {
            return Ok(());
        }
        self.send(Message::Text(text.into())).await
    }

    async fn show(&mut self, which: usize, there: bool) -> Result<(), End> {
        let Some(receiver) = self.pictures[which].as_mut().filter(|_| there) else {
            self.pictures[which] = None;
            return Ok(());
        };
        let packet = receiver.borrow_and_update().clone();
        match packet {
            Some(bytes) => {
                self.sent += 1;
                self.send(Message::Binary(bytes)).await
            }
            None => self.say(json!({"nothing": {"before": which == 1}}).to_string()).await,
        }
    }

    async fn hear(&mut self, message: Message) -> Result<(), End> {
        self.heard = Instant::now();
        let text = match message {
            Message::Text(text) => text,
            Message::Ping(_) | Message::Pong(_) => return Ok(()),
            Message::Close(_) => return Err(None),
            Message::Binary(_) => return Err(Some(NONSENSE)),
        };
        let said = match read(&text) {
            Ok(said) => said,
            Err(why) => {
                self.nonsense += 1;
                if self.nonsense > MAX_NONSENSE {
                    return Err(Some(NONSENSE));
                }
                return self.say(json!({"refused": &*why}).to_string()).await;
            }
        };
        match said {
            Said::Seen(count) => self.seen = count.clamp(self.seen, self.sent),
            Said::Name(name) => {
                let name = tidy_name(&name);
                if let Some(session) = self.house.doors(|doors| doors.rename(&self.token, &name)) {
                    self.session = session;
                    self.house.is_called(self.seat.1, &name);
                }
            }
            Said::Want { width, height, display, before } => self.want((width, height), &display, before),
            said => match answer(&self.house, &self.session, said, &mut self.pace) {
                Ok(None) => {}
                Ok(Some(told)) => self.say(told.to_string()).await?,
                Err(why) => self.say(json!({"refused": why}).to_string()).await?,
            },
        }
        Ok(())
    }

    fn want(&mut self, window: (u32, u32), display: &str, before: bool) {
        let canvas = Canvas::of_display(display).unwrap_or(Canvas::Srgb);
        let raster = self.house.link.snapshot().raster.unwrap_or((1920, 1080));
        let nothing = window.0 == 0 || window.1 == 0;
        let house = &self.house;
        let join = |before| {
            let view = View { canvas, before };
            house.slots.join(Need::new(view, window, raster, house.largest))
        };
        self.pictures = match nothing {
            true => [None, None],
            false => [Some(join(false)), before.then(|| join(true))],
        };
        house.sits(self.seat.1, if nothing { (0, 0) } else { window }, canvas);
        house.stir();
    }
}
