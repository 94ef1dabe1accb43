//! The thread of the network: connections taken in, so many at a time, each with its limits.

use std::net::{IpAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use axum::{Extension, Router};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::sync::Semaphore;

use super::house::{House, MAX_CONNECTIONS};
use super::http::router;

/// Who is at the other end.
#[derive(Clone, Copy)]
pub(super) struct Peer(pub IpAddr);

/// Bytes of a request's head.
const MAX_HEAD: usize = 16 * 1024;
const MAX_HEADERS: usize = 64;
/// How long a request's head may take, and a connection that becomes no viewer's altogether.
const HEAD: Duration = Duration::from_secs(5);
const WHOLE: Duration = Duration::from_secs(60);
/// How long goodbyes may take.
const GOODBYES: Duration = Duration::from_millis(700);

/// Starts the thread.
pub(super) fn start(
    house: Arc<House>,
    listener: TcpListener,
) -> std::io::Result<std::thread::JoinHandle<()>> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let listener = {
        let _inside = runtime.enter();
        tokio::net::TcpListener::from_std(listener)?
    };
    std::thread::Builder::new().name("serve".into()).spawn(move || {
        runtime.block_on(async {
            let mut ends = house.ends.subscribe();
            tokio::select! {
                () = accept(&house, listener) => {}
                _ = ends.wait_for(|ends| *ends) => {}
            }
            let quiet = async {
                while !house.viewers().is_empty() {
                    tokio::time::sleep(Duration::from_millis(10)).await;
                }
            };
            let _ = tokio::time::timeout(GOODBYES, quiet).await;
        });
        runtime.shutdown_background();
    })
}

async fn accept(house: &Arc<House>, listener: tokio::net::TcpListener) {
    let router = router(house.clone());
    let places = Arc::new(Semaphore::new(MAX_CONNECTIONS));
    loop {
        // Those who find no place wait in the system's own queue.
        let Ok(place) = places.clone().acquire_owned().await else { return };
        let Ok((stream, from)) = listener.accept().await else {
            // Out of file handles, most likely: others will go.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let _ = stream.set_nodelay(true);
        let router = router.clone().layer(Extension(Peer(from.ip())));
        tokio::spawn(async move {
            let _ = tokio::time::timeout(WHOLE, serve(stream, router)).await;
            drop(place);
        });
    }
}

async fn serve(stream: tokio::net::TcpStream, router: Router) {
    let mut builder = hyper::server::conn::http1::Builder::new();
    builder
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(MAX_HEAD)
        .max_headers(MAX_HEADERS);
    let connection = builder.serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
    // What goes wrong is the other side's doing.
    let _ = connection.with_upgrades().await;
}
