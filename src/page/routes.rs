//! What is served at which address. The addresses are versioned; `openapi` describes them.

use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Json, Router};
use futures_util::{StreamExt, stream};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::hub::{self, Carries, Hub, Joined, Message};
use super::pairing::{Pairing, Tried};
use super::serve::Connection;
use super::{BODY_MAX, OLDER_MAX, Said, Upstream, Wanted, assets, metrics, openapi};
use crate::book::Book;
use crate::report::plot;
use crate::report::state::State as JobState;

/// What every request may look at.
#[derive(Clone)]
pub(super) struct Shared {
    pub(super) hub: Arc<Hub>,
    pub(super) pairing: Arc<Pairing>,
    pub(super) upstream: Arc<dyn Upstream>,
    pub(super) port: u16,
}

/// How an address is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Method {
    Get,
    Post,
}

/// Every address of the interface, as the description names it.
pub(super) const ADDRESSES: &[(Method, &str)] = &[
    (Method::Get, "/v1/state"),
    (Method::Get, "/v1/events"),
    (Method::Get, "/v1/changes"),
    (Method::Get, "/v1/plots/{name}"),
    (Method::Get, "/v1/paired"),
    (Method::Post, "/v1/pair"),
    (Method::Post, "/v1/say"),
    (Method::Get, "/v1/openapi.json"),
    (Method::Get, "/metrics"),
];

/// The addresses and what answers at them.
pub(super) fn router(shared: Shared) -> Router {
    let mut router = Router::new();
    for (_, address) in ADDRESSES {
        router = router.route(address, answering(address));
    }
    for asset in assets::ALL {
        router = router.route(asset.address, get(|| async { assets::answer(asset) }));
    }
    router
        .fallback(|| async { (StatusCode::NOT_FOUND, refused("nothing is at this address; see /v1/openapi.json")) })
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .with_state(shared)
}

fn answering(address: &str) -> MethodRouter<Shared> {
    match address {
        "/v1/state" => get(state),
        "/v1/events" => get(events),
        "/v1/changes" => get(changes),
        "/v1/plots/{name}" => get(plot),
        "/v1/paired" => get(paired),
        "/v1/pair" => post(pair),
        "/v1/say" => post(say),
        "/v1/openapi.json" => get(|| async { Json(openapi::document()) }),
        "/metrics" => get(metrics),
        _ => unreachable!("an address of the table without an answer"),
    }
}

/// An answer that says why not.
pub(super) fn refused(why: &str) -> Json<Value> {
    Json(json!({ "refused": why }))
}

async fn state(State(shared): State<Shared>) -> Json<JobState> {
    Json(shared.hub.state())
}

async fn metrics(State(shared): State<Shared>) -> Response {
    let health = shared.hub.health();
    let text = shared.hub.look(|book| metrics::text(book, &health));
    ([(header::CONTENT_TYPE, metrics::TYPE)], text).into_response()
}

#[derive(Deserialize)]
struct Since {
    since: Option<u64>,
}

async fn events(
    shared: State<Shared>,
    connection: Extension<Connection>,
    since: Query<Since>,
    headers: HeaderMap,
) -> Response {
    open(Carries::Lines, shared.0, connection.0, last_seen(&since, &headers)).await
}

async fn changes(
    shared: State<Shared>,
    connection: Extension<Connection>,
    since: Query<Since>,
    headers: HeaderMap,
) -> Response {
    open(Carries::Changes, shared.0, connection.0, last_seen(&since, &headers)).await
}

/// The last event that a client has seen: what it says when it comes again wins over what its address said first.
fn last_seen(since: &Since, headers: &HeaderMap) -> Option<u64> {
    let again = headers.get("last-event-id").and_then(|id| id.to_str().ok()).and_then(|id| id.parse().ok());
    again.or(since.since)
}

async fn open(carries: Carries, shared: Shared, connection: Connection, since: Option<u64>) -> Response {
    let mut since = since;
    let mut missed: Vec<Message> = Vec::new();
    let (rest, from) = loop {
        match shared.hub.join(carries, since, connection.cut.clone()) {
            Joined::Yes(rest, from) => break (rest, Some(from)),
            Joined::Full => {
                let why = refused("as many streams as may be are open: close another page");
                return (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "5")], why).into_response();
            }
            Joined::ReadUpTo(event) => {
                let (upstream, after) = (Arc::clone(&shared.upstream), since.unwrap_or(0));
                let read = tokio::task::spawn_blocking(move || older(&*upstream, after, event)).await;
                match read.unwrap_or_else(|error| Err(error.to_string())) {
                    Ok(older) => {
                        since = Some(older.last);
                        missed.extend(older.lines);
                        if older.last < event {
                            // More than one resumption reads: the client comes again from here.
                            break (Vec::new(), None);
                        }
                    }
                    Err(why) => return (StatusCode::INTERNAL_SERVER_ERROR, refused(&why)).into_response(),
                }
            }
        }
    };
    connection.streams.store(true, Ordering::Relaxed);
    let first: Message = "retry: 1000\n\n".into();
    let first = std::iter::once(first).chain(missed).chain(rest);
    let coming = stream::unfold(from, |from| async move {
        let mut from = from?;
        from.recv().await.map(|message| (message, Some(from)))
    });
    let all =
        stream::iter(first).chain(coming).map(|message| Ok::<_, Infallible>(Bytes::from(message.as_bytes().to_vec())));
    let head = [(header::CONTENT_TYPE, "text/event-stream"), (header::CACHE_CONTROL, "no-store")];
    (head, Body::from_stream(all)).into_response()
}

/// Lines that are older than those in memory.
struct Older {
    lines: Vec<Message>,
    last: u64,
}

/// Reads the lines of the events after one up to and with another, by folding the job from its start.
fn older(upstream: &dyn Upstream, after: u64, up_to: u64) -> Result<Older, String> {
    let mut book = Book::new();
    let mut older = Older { lines: Vec::new(), last: after };
    upstream.kept(&mut |event| {
        if event.seq > up_to || older.lines.len() == OLDER_MAX {
            return Wanted::Enough;
        }
        book.apply(event);
        if event.seq > after {
            older.lines.push(hub::line_message(&book, event));
            older.last = event.seq;
        }
        Wanted::More
    })?;
    if older.last == after {
        return Err(format!("the events after {after} cannot be found in the job"));
    }
    Ok(older)
}

#[derive(Deserialize)]
struct Size {
    width: Option<u32>,
}

async fn plot(State(shared): State<Shared>, Path(name): Path<String>, Query(size): Query<Size>) -> Response {
    let width = size.width.unwrap_or(720);
    let drawn = shared.hub.look(|book| match name.as_str() {
        _ if !book.is_open() => Some(None),
        "misclosure.svg" => Some(plot::misclosure(book, width)),
        "profile.svg" => Some(plot::profile(book, width)),
        "balance.svg" => Some(plot::balance(book, width)),
        _ => None,
    });
    match drawn {
        Some(Some(plot)) => {
            ([(header::CONTENT_TYPE, "image/svg+xml"), (header::CACHE_CONTROL, "no-store")], plot.svg).into_response()
        }
        Some(None) => StatusCode::NO_CONTENT.into_response(),
        None => {
            let why = refused("no plot of this name: misclosure.svg, profile.svg or balance.svg was wanted");
            (StatusCode::NOT_FOUND, why).into_response()
        }
    }
}

async fn paired(State(shared): State<Shared>, headers: HeaderMap) -> Json<Value> {
    Json(json!({ "paired": is_paired(&shared, &headers) }))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Code {
    code: String,
}

async fn pair(State(shared): State<Shared>, Json(code): Json<Code>) -> Response {
    let tried = match shared.pairing.attempt(&code.code, Instant::now()) {
        Ok(tried) => tried,
        Err(error) => return (StatusCode::INTERNAL_SERVER_ERROR, refused(&error.to_string())).into_response(),
    };
    match tried {
        Tried::Paired(secret) => {
            let cookie = format!("{}={secret}; Path=/; HttpOnly; SameSite=Strict", cookie_name(shared.port));
            ([(header::SET_COOKIE, cookie)], Json(json!({ "paired": true }))).into_response()
        }
        Tried::Wrong(left) => {
            shared.hub.count(|counts| counts.refused += 1);
            let why = format!("not the code that the terminal shows; {left} tries are left");
            (StatusCode::FORBIDDEN, refused(&why)).into_response()
        }
        Tried::Shut(seconds) => {
            shared.hub.count(|counts| counts.refused += 1);
            let why = format!("too many wrong codes: wait {seconds} s");
            (StatusCode::TOO_MANY_REQUESTS, [(header::RETRY_AFTER, seconds.to_string())], refused(&why)).into_response()
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Say {
    say: Vec<String>,
}

#[derive(Serialize)]
struct Done {
    done: Vec<String>,
}

async fn say(State(shared): State<Shared>, headers: HeaderMap, body: Bytes) -> Response {
    // Before the body is looked at: who is not paired learns nothing of what would do.
    if !is_paired(&shared, &headers) {
        shared.hub.count(|counts| counts.refused += 1);
        return (StatusCode::FORBIDDEN, refused("pair first, with the code that the terminal shows")).into_response();
    }
    let words = match serde_json::from_slice::<Say>(&body) {
        Ok(Say { say }) => say,
        Err(error) => {
            let why =
                json!({ "not-understood": format!("{{\"say\":[\"strike\",\"14\"]}} or the like was wanted: {error}") });
            return (StatusCode::UNPROCESSABLE_ENTITY, Json(why)).into_response();
        }
    };
    let Some(answer) = shared.upstream.say(words) else {
        let why = refused("too many commands wait already: say it again");
        return (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "1")], why).into_response();
    };
    match answer.await {
        Ok(Said::Done(done)) => Json(Done { done }).into_response(),
        Ok(Said::Refused(why)) => (StatusCode::CONFLICT, refused(&why)).into_response(),
        Ok(Said::NotUnderstood(why)) => {
            (StatusCode::UNPROCESSABLE_ENTITY, Json(json!({ "not-understood": why }))).into_response()
        }
        Err(_) => (StatusCode::SERVICE_UNAVAILABLE, refused("the recording is stopping")).into_response(),
    }
}

/// Browsers keep cookies of all ports of a machine together, so the name tells one page from another.
fn cookie_name(port: u16) -> String {
    format!("closerun-{port}")
}

fn is_paired(shared: &Shared, headers: &HeaderMap) -> bool {
    let name = cookie_name(shared.port);
    let all = headers.get_all(header::COOKIE).iter().filter_map(|cookies| cookies.to_str().ok());
    let mut pairs = all.flat_map(|cookies| cookies.split(';')).filter_map(|cookie| cookie.trim().split_once('='));
    pairs.any(|(found, secret)| found == name && shared.pairing.knows(secret))
}
