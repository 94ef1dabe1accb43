//! What an OSCQuery page is asked through: one request a connection, HTTP/1.1, GET only, little memory.

use std::io::{Read, Write};

/// Bytes of a request that are read.
pub const MOST_HEAD: usize = 8_192;
const MOST_HEADERS: usize = 64;

/// What came on a connection.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    /// A request for this: path and query, as they came.
    Get {
        /// What is asked for.
        target: String,
        /// What the asker calls this machine.
        host: Option<String>,
    },
    /// It is answered with this status.
    Refused(u16),
    /// Nothing came: there is nobody to answer.
    Nothing,
}

/// Reads a request, at most [`MOST_HEAD`] bytes of it. It ends with its empty line: a GET has no body.
pub fn read(stream: &mut impl Read) -> Asked {
    let mut head = Vec::new();
    let mut piece = [0; 1024];
    loop {
        let got = match stream.read(&mut piece) {
            Ok(0) | Err(_) if head.is_empty() => return Asked::Nothing,
            Ok(0) => return Asked::Refused(400),
            Err(_) => return Asked::Refused(408),
            Ok(got) => got,
        };
        head.extend_from_slice(&piece[..got]);
        let mut headers = [httparse::EMPTY_HEADER; MOST_HEADERS];
        let mut request = httparse::Request::new(&mut headers);
        match request.parse(&head) {
            Ok(httparse::Status::Complete(_)) => {
                let host = request.headers.iter().find(|h| h.name.eq_ignore_ascii_case("host"));
                let host = host.and_then(|h| std::str::from_utf8(h.value).ok()).map(str::to_owned);
                return match (request.method, request.path) {
                    (Some("GET"), Some(path)) => Asked::Get { target: path.to_owned(), host },
                    _ => Asked::Refused(405),
                };
            }
            Ok(httparse::Status::Partial) if head.len() < MOST_HEAD => {}
            Ok(httparse::Status::Partial) | Err(httparse::Error::TooManyHeaders) => {
                return Asked::Refused(431);
            }
            Err(_) => return Asked::Refused(400),
        }
    }
}

/// Writes an answer; the connection ends with it.
///
/// # Errors
/// Of the stream.
pub fn write(stream: &mut impl Write, status: u16, body: Option<&str>) -> std::io::Result<()> {
    let reason = match status {
        200 => "OK",
        204 => "No Content",
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        408 => "Request Timeout",
        431 => "Request Header Fields Too Large",
        503 => "Service Unavailable",
        _ => "Bad Request",
    };
    let mut text = format!("HTTP/1.1 {status} {reason}\r\nConnection: close\r\nCache-Control: no-store\r\n");
    if status == 405 {
        text.push_str("Allow: GET\r\n");
    }
    match body {
        Some(body) => {
            let length = body.len();
            text.push_str(&format!(
                "Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n{body}"
            ));
        }
        // RFC 9110, 8.6: no length goes with 204.
        None if status == 204 => text.push_str("\r\n"),
        None => text.push_str("Content-Length: 0\r\n\r\n"),
    }
    stream.write_all(text.as_bytes())?;
    stream.flush()
}

/// May a page of this machine be read under that name? A name that somebody gave to 127.0.0.1 may not: a web site could
/// have done so to read it through its visitor's browser.
pub fn is_plain(host: Option<&str>) -> bool {
    let Some(host) = host else { return true };
    let name = match host.rsplit_once(':') {
        Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => host,
    };
    let name = name.trim_start_matches('[').trim_end_matches(']');
    name.eq_ignore_ascii_case("localhost") || name.parse::<std::net::IpAddr>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn requests_are_read_as_rfc_9112_has_them() {
        let asked = |text: &str| read(&mut text.as_bytes());
        assert_eq!(
            asked("GET /look?VALUE HTTP/1.1\r\nHost: localhost:9000\r\n\r\n"),
            Asked::Get { target: "/look?VALUE".into(), host: Some("localhost:9000".into()) }
        );
        assert_eq!(asked("POST / HTTP/1.1\r\n\r\n"), Asked::Refused(405));
        assert_eq!(asked("GET / HTTP/1.1\r\nHo"), Asked::Refused(400));
        assert_eq!(asked("\u{1}\u{2}\r\n\r\n"), Asked::Refused(400));
        assert_eq!(asked(""), Asked::Nothing);
        let many = format!("GET / HTTP/1.1\r\n{}\r\n", "a: b\r\n".repeat(65));
        assert_eq!(asked(&many), Asked::Refused(431));
        // Without an end it is not read without end.
        let mut endless = Read::chain(&b"GET /"[..], std::io::repeat(b'a'));
        assert_eq!(read(&mut endless), Asked::Refused(431));
    }

    #[test]
    fn names_of_this_machine() {
        for host in [None, Some("localhost"), Some("127.0.0.1:9000"), Some("[::1]:9000"), Some("[::1]")] {
            assert!(is_plain(host), "{host:?}");
        }
        for host in ["evil.example:9000", "localhost.evil.example", ""] {
            assert!(!is_plain(Some(host)), "{host}");
        }
    }
}
