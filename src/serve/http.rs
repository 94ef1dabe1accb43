//! Pages, the door, and the way to the pictures.

use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::extract::rejection::JsonRejection;
use axum::extract::{DefaultBodyLimit, Request, State, WebSocketUpgrade};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Json, Router};
use serde::Deserialize;
use serde_json::json;

use super::accept::Peer;
use super::book::tidy_name;
use super::door::Refusal;
use super::house::House;
use super::socket::{self, MAX_MESSAGE};

/// Bytes of a request's body.
const MAX_BODY: usize = 2 * 1024;
/// How long an answer may take, its request's body included.
const ANSWER: Duration = Duration::from_secs(5);

/// Nothing from elsewhere, no frames around it, forms to nowhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; \
                      connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

const HEADERS: [(&str, &str); 8] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("x-frame-options", "DENY"),
    ("cache-control", "no-store"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
];

/// The pages' files, by path: kind and contents.
const FILES: &[(&str, &str, &str)] = &[
    ("/", "text/html; charset=utf-8", include_str!("page/sofa.html")),
    ("/panel", "text/html; charset=utf-8", include_str!("page/panel.html")),
    ("/house.css", "text/css; charset=utf-8", include_str!("page/house.css")),
    ("/door.js", "text/javascript; charset=utf-8", include_str!("page/door.js")),
    ("/sofa.js", "text/javascript; charset=utf-8", include_str!("page/sofa.js")),
    ("/picture.js", "text/javascript; charset=utf-8", include_str!("page/picture.js")),
    ("/answers.js", "text/javascript; charset=utf-8", include_str!("page/answers.js")),
    ("/panel.js", "text/javascript; charset=utf-8", include_str!("page/panel.js")),
    ("/icon.svg", "image/svg+xml", include_str!("page/icon.svg")),
];

pub(super) fn router(house: Arc<House>) -> Router {
    let mut router = Router::new();
    for (path, kind, text) in FILES {
        router = router.route(path, get(move || async move { ([(header::CONTENT_TYPE, *kind)], *text) }));
    }
    router
        .route("/enter", post(enter))
        .route("/leave", post(leave))
        .route("/me", get(me))
        .route("/live", get(live))
        .layer(DefaultBodyLimit::max(MAX_BODY))
        .layer(middleware::from_fn(guard))
        .with_state(house)
}

/// What holds for every request: it is meant for this server, comes from its own pages where it does anything, and is
/// answered in time and with the headers that keep others out.
async fn guard(request: Request, next: Next) -> Response {
    let headers = request.headers();
    let upgrade = headers.contains_key(header::UPGRADE);
    let does = request.method() != Method::GET && request.method() != Method::HEAD;
    let mut response = if !is_for_us(headers) {
        StatusCode::MISDIRECTED_REQUEST.into_response()
    } else if (does || upgrade) && !is_own_origin(headers) {
        StatusCode::FORBIDDEN.into_response()
    } else {
        match tokio::time::timeout(ANSWER, next.run(request)).await {
            Ok(response) => response,
            Err(_) => StatusCode::REQUEST_TIMEOUT.into_response(),
        }
    };
    for (name, value) in HEADERS {
        response.headers_mut().insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    response
}

/// Is the host an address of this machine rather than a name? A name that somebody else has may lead here, too (DNS
/// rebinding).
fn is_for_us(headers: &HeaderMap) -> bool {
    let Some(host) = headers.get(header::HOST).and_then(|h| h.to_str().ok()) else { return false };
    let Ok(authority) = host.parse::<axum::http::uri::Authority>() else { return false };
    let name = authority.host().trim_start_matches('[').trim_end_matches(']');
    let local = name == "localhost" || name.ends_with(".local");
    (local || name.parse::<std::net::IpAddr>().is_ok()) && !host.contains('@')
}

/// Does the request come from a page of this server?
fn is_own_origin(headers: &HeaderMap) -> bool {
    let text = |name| headers.get(name).and_then(|h| h.to_str().ok());
    let (Some(host), Some(origin)) = (text(header::HOST), text(header::ORIGIN)) else { return false };
    let own = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
    own.is_some_and(|own| own.eq_ignore_ascii_case(host))
}

/// The token in the request's cookies.
fn token<'a>(house: &House, headers: &'a HeaderMap) -> Option<&'a str> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|c| c.to_str().ok());
    all.flat_map(|c| c.split(';')).find_map(|c| {
        let (name, value) = c.trim().split_once('=')?;
        (name == house.cookie).then_some(value)
    })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entering {
    word: String,
    #[serde(default)]
    name: String,
}

async fn enter(
    State(house): State<Arc<House>>,
    Extension(Peer(from)): Extension<Peer>,
    entering: Result<Json<Entering>, JsonRejection>,
) -> Response {
    let Ok(Json(Entering { word, name })) = entering else { return StatusCode::BAD_REQUEST.into_response() };
    let name = tidy_name(&name);
    match house.doors(|doors| doors.enter(&word, &name, from, Instant::now())) {
        Ok((token, session)) => {
            let cookie = format!("{}={token}; Path=/; HttpOnly; SameSite=Strict", house.cookie);
            ([(header::SET_COOKIE, cookie)], Json(json!({"role": session.role.key(), "name": session.name})))
                .into_response()
        }
        Err(Refusal::Wrong) => StatusCode::UNAUTHORIZED.into_response(),
        Err(Refusal::TooOften) => StatusCode::TOO_MANY_REQUESTS.into_response(),
        Err(Refusal::Full) => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    }
}

async fn leave(State(house): State<Arc<House>>, headers: HeaderMap) -> Response {
    if let Some(token) = token(&house, &headers) {
        house.doors(|doors| doors.leave(token));
        house.put_out.send_modify(|n| *n += 1);
    }
    let gone = format!("{}=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict", house.cookie);
    ([(header::SET_COOKIE, gone)], StatusCode::NO_CONTENT).into_response()
}

async fn me(State(house): State<Arc<House>>, headers: HeaderMap) -> Response {
    match token(&house, &headers).and_then(|token| house.session(token)) {
        Some(session) => Json(json!({"role": session.role.key(), "name": session.name})).into_response(),
        None => StatusCode::UNAUTHORIZED.into_response(),
    }
}

async fn live(State(house): State<Arc<House>>, headers: HeaderMap, upgrade: WebSocketUpgrade) -> Response {
    let Some((token, session)) =
        token(&house, &headers).and_then(|token| Some((token.to_owned(), house.session(token)?)))
    else {
        return StatusCode::UNAUTHORIZED.into_response();
    };
    let Some(seat) = house.seat(&session) else { return StatusCode::SERVICE_UNAVAILABLE.into_response() };
    upgrade
        .max_message_size(MAX_MESSAGE)
        .max_frame_size(MAX_MESSAGE)
        .on_upgrade(move |socket| socket::watch(socket, house, session, token, seat))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(all: &[(HeaderName, &str)]) -> HeaderMap {
        all.iter().map(|(name, value)| (name.clone(), value.parse().unwrap())).collect()
    }

    #[test]
    fn only_addresses_are_meant_for_us() {
        for (host, is) in [
            ("127.0.0.1:8420", true),
            ("[::1]:8420", true),
            ("192.168.1.20", true),
            ("localhost:8420", true),
            ("suite.local:8420", true),
            ("example.com:8420", false),
            ("127.0.0.1.example.com", false),
            ("a@127.0.0.1", false),
            ("", false),
        ] {
            assert_eq!(is_for_us(&headers(&[(header::HOST, host)])), is, "{host}");
        }
        assert!(!is_for_us(&headers(&[])));
    }

    #[test]
    fn only_our_own_pages_do_anything() {
        let host = (header::HOST, "127.0.0.1:8420");
        for (origin, is) in [
            ("http://127.0.0.1:8420", true),
            ("http://127.0.0.1:8421", false),
            ("http://127.0.0.1", false),
            ("http://localhost:8420", false),
            ("http://example.com", false),
            ("null", false),
        ] {
            assert_eq!(is_own_origin(&headers(&[host.clone(), (header::ORIGIN, origin)])), is, "{origin}");
        }
        assert!(!is_own_origin(&headers(&[host])));
    }
}
