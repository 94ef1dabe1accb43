//! A viewer without a browser: what a page does, in few lines.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use tungstenite::client::IntoClientRequest;
use tungstenite::{Message, WebSocket};

use super::PATIENCE;

pub struct Line(pub WebSocket<TcpStream>);

impl Line {
    /// Comes in by a word: the cookie, or the answer's first line.
    pub fn enter(here: SocketAddr, word: &str) -> Result<String, String> {
        let mut stream = TcpStream::connect(here).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let body = format!(r#"{{"word":"{word}","name":"line"}}"#);
        let head = format!(
            "POST /enter HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let cookie =
            answer.lines().find_map(|l| l.strip_prefix("set-cookie: ")).and_then(|c| c.split(';').next());
        cookie.map(str::to_owned).ok_or_else(|| answer.lines().next().unwrap_or("").to_owned())
    }

    pub fn open(here: SocketAddr, word: &str) -> Result<Self, String> {
        let cookie = Self::enter(here, word)?;
        Self::with(here, &cookie)
    }

    pub fn with(here: SocketAddr, cookie: &str) -> Result<Self, String> {
        let mut request = format!("ws://{here}/live").into_client_request().unwrap();
        request.headers_mut().insert("Origin", format!("http://{here}").parse().unwrap());
        request.headers_mut().insert("Cookie", cookie.parse().unwrap());
        let stream = TcpStream::connect(here).map_err(|e| e.to_string())?;
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream.set_nodelay(true).unwrap();
        let (socket, _) = tungstenite::client(request, stream).map_err(|e| e.to_string())?;
        Ok(Self(socket))
    }

    pub fn say(&mut self, text: &str) {
        let _ = self.0.send(Message::Text(text.into()));
    }

    pub fn want(&mut self, width: u32, height: u32) {
        self.say(&format!(
            r#"{{"want":{{"width":{width},"height":{height},"display":"srgb","before":false}}}}"#
        ));
    }

    /// The first text that is so.
    pub fn hears(&mut self, is: impl Fn(&str) -> bool) -> String {
        let start = Instant::now();
        while start.elapsed() < PATIENCE {
            match self.0.read() {
                Ok(Message::Text(text)) if is(&text) => return text.to_string(),
                Ok(_) => {}
                Err(e) => panic!("the line broke: {e}"),
            }
        }
        panic!("nothing of the kind was said");
    }

    /// The next picture and what is said about it; `None` when the time is over.
    pub fn picture(&mut self, within: Duration) -> Option<(serde_json::Value, Vec<u8>)> {
        let end = Instant::now() + within;
        loop {
            let left = end.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return None;
            }
            self.0.get_mut().set_read_timeout(Some(left)).unwrap();
            match self.0.read() {
                Ok(Message::Binary(bytes)) => {
                    let length = u32::from_le_bytes(bytes[..4].try_into().unwrap()) as usize;
                    let about = serde_json::from_slice(&bytes[4..4 + length]).unwrap();
                    return Some((about, bytes[4 + length..].to_vec()));
                }
                Ok(_) => {}
                Err(_) => return None,
            }
        }
    }
}
