//! Connections: how many, how long, and who is closed.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use axum::response::{IntoResponse, Response};
use hyper::body::Incoming;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tower_service::Service;

use super::pairing::Pairing;
use super::routes::{self, Shared};
use super::site::Site;
use super::stream::Cut;
use super::{ANSWER_TIME, HEAD_TIME, guard};

/// How long to wait after the system could not take a connection (too many open files), so as not to spin.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// One connection, as its requests see it.
#[derive(Clone)]
pub(super) struct Connection {
    /// Closes it.
    pub(super) cut: Cut,
    /// It carries a stream: it may stay open for as long as it keeps up.
    pub(super) streams: Arc<AtomicBool>,
}

/// Serves until told to stop, then until all connections have ended.
pub(super) async fn serve(
    listener: TcpListener,
    own: SocketAddr,
    site: Arc<Site>,
    pairing: Arc<Pairing>,
    mut stop: watch::Receiver<bool>,
) {
    let router = routes::router(Shared { site: Arc::clone(&site), pairing, port: own.port() });
    let most = site.limits.connections;
    let mut open = JoinSet::new();
    loop {
        let accepted = tokio::select! {
            _ = stop.wait_for(|stop| *stop) => break,
            Some(_) = open.join_next() => { site.count(|counts| counts.connections -= 1); continue }
            accepted = listener.accept() => accepted,
        };
        match accepted {
            Ok((stream, _)) if open.len() < most => {
                site.count(|counts| counts.connections += 1);
                open.spawn(connection(stream, own, Arc::clone(&site), router.clone(), stop.clone()));
            }
            Ok((stream, _)) => {
                site.count(|counts| counts.turned_away += 1);
                // Best effort: whoever comes beyond the limit gets no wait from us.
                let _ = stream.try_write(b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 5\r\ncontent-length: 0\r\nconnection: close\r\n\r\n");
            }
            Err(_) => tokio::time::sleep(ACCEPT_PAUSE).await,
        }
    }
    while open.join_next().await.is_some() {}
}

async fn connection(
    stream: TcpStream,
    own: SocketAddr,
    site: Arc<Site>,
    router: Router,
    mut stop: watch::Receiver<bool>,
) {
    // A small message must not wait for a larger one to go with.
    let _ = stream.set_nodelay(true);
    let this = Connection { cut: Cut::new(), streams: Arc::new(AtomicBool::new(false)) };
    let asked = Arc::new(AtomicBool::new(false));
    let service = hyper::service::service_fn({
        let (this, asked) = (this.clone(), Arc::clone(&asked));
        move |request: Request<Incoming>| {
            asked.store(true, Ordering::Relaxed);
            answer(request, own, Arc::clone(&site), router.clone(), this.clone())
        }
    });
    let mut builder = hyper::server::conn::http1::Builder::new();
    builder.timer(TokioTimer::new()).header_read_timeout(HEAD_TIME);
    let serving = builder.serve_connection(TokioIo::new(stream), service);
    let mut serving = std::pin::pin!(serving);
    let mut stopped = false;
    loop {
        tokio::select! {
            _ = &mut serving => return,
            () = this.cut.wait() => return,
            _ = stop.wait_for(|stop| *stop), if !stopped => {
                stopped = true;
                serving.as_mut().graceful_shutdown();
            }
            // One who neither asks nor takes what it asked for is let go.
            () = tokio::time::sleep(ANSWER_TIME) => {
                if !this.streams.load(Ordering::Relaxed) && !asked.swap(false, Ordering::Relaxed) {
                    return;
                }
            }
        }
    }
}

async fn answer(
    request: Request<Incoming>,
    own: SocketAddr,
    site: Arc<Site>,
    mut router: Router,
    this: Connection,
) -> Result<Response, Infallible> {
    let mut response = match guard::check(own, request.method(), request.headers()) {
        Err(foreign) => {
            site.count(|counts| counts.refused += 1);
            (StatusCode::FORBIDDEN, routes::refused(foreign.words())).into_response()
        }
        Ok(()) => {
            let mut request = request.map(Body::new);
            request.extensions_mut().insert(this);
            match tokio::time::timeout(ANSWER_TIME, router.call(request)).await {
                Ok(Ok(response)) => response,
                Ok(Err(never)) => match never {},
                Err(_) => StatusCode::REQUEST_TIMEOUT.into_response(),
            }
        }
    };
    for (name, value) in guard::ALWAYS {
        response.headers_mut().insert(*name, axum::http::HeaderValue::from_static(value));
    }
    Ok(response)
}
