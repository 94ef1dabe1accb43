//! A headless Chromium, driven through its DevTools protocol.

use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tungstenite::{Message, WebSocket};

use super::{PATIENCE, Process, wait_for};

pub struct Browser {
    line: WebSocket<TcpStream>,
    count: u64,
    _process: Process,
    _profile: tempfile::TempDir,
}

/// A page of it.
#[derive(Clone)]
pub struct Page {
    session: String,
}

impl Browser {
    pub fn start() -> Self {
        let profile = tempfile::tempdir().unwrap();
        let mut chromium = Command::new("/usr/bin/chromium");
        chromium
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
            .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
            .args(["--disable-dev-shm-usage", "--force-color-profile=srgb", "--remote-debugging-port=0"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        let process = Process::start(&mut chromium, "chromium");
        let (port, path) = wait_for("Chromium's port", || {
            let text = std::fs::read_to_string(profile.path().join("DevToolsActivePort")).ok()?;
            let (port, path) = text.trim().split_once('\n')?;
            Some((port.parse::<u16>().ok()?, path.to_owned()))
        });
        let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream.set_nodelay(true).unwrap();
        let (line, _) = tungstenite::client(format!("ws://127.0.0.1:{port}{path}"), stream).unwrap();
        Self { line, count: 0, _process: process, _profile: profile }
    }

    fn ask_of(&mut self, session: Option<&str>, method: &str, params: Value) -> Result<Value, String> {
        self.count += 1;
        let id = self.count;
        let mut message = json!({"id": id, "method": method, "params": params});
        if let Some(session) = session {
            message["sessionId"] = session.into();
        }
        self.line.send(Message::Text(message.to_string().into())).unwrap();
        loop {
            let Message::Text(text) = self.line.read().unwrap() else { continue };
            let answer: Value = serde_json::from_str(&text).unwrap();
            if answer["id"] == id {
                return match answer.get("error") {
                    Some(error) => Err(format!("{method}: {error}")),
                    None => Ok(answer["result"].clone()),
                };
            }
        }
    }

    /// A page of its own cookies (unless `beside` another), in a window of a size.
    pub fn page(&mut self, size: (u32, u32)) -> Page {
        let context = self.ask_of(None, "Target.createBrowserContext", json!({})).unwrap();
        self.page_in(&context["browserContextId"], size)
    }

    fn page_in(&mut self, context: &Value, size: (u32, u32)) -> Page {
        let target =
            json!({"url": "about:blank", "browserContextId": context, "width": size.0, "height": size.1});
        let target = self.ask_of(None, "Target.createTarget", target).unwrap();
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        let session = self.ask_of(None, "Target.attachToTarget", attach).unwrap()["sessionId"]
            .as_str()
            .unwrap()
            .to_owned();
        let page = Page { session };
        self.ask(&page, "Page.enable", json!({}));
        self.ask(&page, "Runtime.enable", json!({}));
        self.resize(&page, size, 1.0);
        page
    }

    pub fn resize(&mut self, page: &Page, (width, height): (u32, u32), dense: f64) {
        let metrics = json!({"width": width, "height": height, "deviceScaleFactor": dense, "mobile": false});
        self.ask(page, "Emulation.setDeviceMetricsOverride", metrics);
    }

    /// Asks something of a page by the protocol.
    pub fn ask(&mut self, page: &Page, method: &str, params: Value) -> Value {
        self.ask_of(Some(&page.session), method, params).unwrap_or_else(|e| panic!("{e}"))
    }

    pub fn open(&mut self, page: &Page, url: &str) {
        self.ask(page, "Page.navigate", json!({"url": url}));
    }

    /// What an expression of JavaScript comes to; promises are waited for.
    pub fn value(&mut self, page: &Page, expression: &str) -> Value {
        let of = json!({"expression": expression, "awaitPromise": true, "returnByValue": true});
        let answer = self.ask(page, "Runtime.evaluate", of);
        assert!(answer.get("exceptionDetails").is_none(), "{expression}: {}", answer["exceptionDetails"]);
        answer["result"]["value"].clone()
    }

    pub fn text(&mut self, page: &Page, expression: &str) -> String {
        self.value(page, expression).as_str().unwrap_or_default().to_owned()
    }

    /// Waits until an expression is true.
    pub fn comes(&mut self, page: &Page, what: &str, expression: &str) {
        let start = Instant::now();
        // Between two pages there is none.
        while self
            .ask_of(
                Some(&page.session),
                "Runtime.evaluate",
                json!({"expression": expression, "returnByValue": true}),
            )
            .map_or(true, |a| a["result"]["value"] != true)
        {
            if start.elapsed() > PATIENCE {
                let text = self.text(page, "document.body.innerText");
                panic!("{what} did not come ({expression}); the page says: {text}");
            }
            std::thread::sleep(Duration::from_millis(15));
        }
    }

    /// A canvas's codes, three bytes a pixel, in a colour space.
    pub fn codes(&mut self, page: &Page, id: &str, space: &str) -> ((u32, u32), Vec<u8>) {
        let (size, codes, _) = self.codes_and_about(page, id, space);
        (size, codes)
    }

    /// The same with what the page keeps about them.
    pub fn codes_and_about(&mut self, page: &Page, id: &str, space: &str) -> ((u32, u32), Vec<u8>, Value) {
        let expression = format!(
            "(() => {{ const c = document.getElementById({id:?}); const d = c.getContext('2d').getImageData(0, 0, c.width, c.height, \
             {{colorSpace: {space:?}}}).data; let s = ''; for (let i = 0; i < d.length; i += 8192) \
             s += String.fromCharCode(...d.subarray(i, i + 8192)); return [c.width, c.height, btoa(s), JSON.stringify({{...c.dataset}})]; }})()"
        );
        let value = self.value(page, &expression);
        let bytes = base64(value[2].as_str().unwrap());
        let codes = bytes.as_chunks::<4>().0.iter().flat_map(|p| [p[0], p[1], p[2]]).collect();
        let about = serde_json::from_str(value[3].as_str().unwrap()).unwrap();
        ((value[0].as_u64().unwrap() as u32, value[1].as_u64().unwrap() as u32), codes, about)
    }

    pub fn mouse(&mut self, page: &Page, kind: &str, (x, y): (f64, f64)) {
        let down = if kind == "mouseReleased" { 0 } else { 1 };
        let event = json!({"type": kind, "x": x, "y": y, "button": "left", "buttons": down, "clickCount": 1});
        self.ask(page, "Input.dispatchMouseEvent", event);
    }

    pub fn click(&mut self, page: &Page, at: (f64, f64)) {
        self.mouse(page, "mousePressed", at);
        self.mouse(page, "mouseReleased", at);
    }

    /// The middle of an element, or another place in shares of it.
    pub fn place(&mut self, page: &Page, id: &str, share: (f64, f64)) -> (f64, f64) {
        let b = self.value(page, &format!("(() => {{ const b = document.getElementById({id:?}).getBoundingClientRect(); return [b.x, b.y, b.width, b.height]; }})()"));
        let n = |i: usize| b[i].as_f64().unwrap();
        (n(0) + n(2) * share.0, n(1) + n(3) * share.1)
    }

    pub fn press(&mut self, page: &Page, id: &str) {
        let at = self.place(page, id, (0.5, 0.5));
        self.click(page, at);
    }

    pub fn types(&mut self, page: &Page, text: &str) {
        self.ask(page, "Input.insertText", json!({"text": text}));
    }

    pub fn key(&mut self, page: &Page, key: &str, code: u32) {
        for kind in ["keyDown", "keyUp"] {
            let text = if key.len() == 1 && kind == "keyDown" { key } else { "" };
            let event = json!({"type": kind, "key": key, "windowsVirtualKeyCode": code, "text": text});
            self.ask(page, "Input.dispatchKeyEvent", event);
        }
    }

    pub fn screenshot(&mut self, page: &Page, file: &Path) {
        let shot = self.ask(page, "Page.captureScreenshot", json!({"format": "png"}));
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(file, base64(shot["data"].as_str().unwrap())).unwrap();
    }
}

/// RFC 4648, 4.
fn base64(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let mut out = Vec::with_capacity(text.len() / 4 * 3);
    for four in text.as_bytes().chunks(4) {
        let bits = four
            .iter()
            .filter(|c| **c != b'=')
            .fold((0u32, 0), |(v, n), c| (v << 6 | u32::from(value(*c)), n + 6));
        let whole = bits.1 / 8;
        out.extend((bits.0 << (32 - bits.1)).to_be_bytes().iter().take(whole));
    }
    out
}
