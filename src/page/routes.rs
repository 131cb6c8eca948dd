//! What is served at which address. The addresses are versioned; `openapi` describes them.

use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Instant, SystemTime};

use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, FromRequestParts, Path, Query, RawPathParams, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Json, Router};
use futures_util::{StreamExt, stream};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use tokio::sync::mpsc;

use super::hub::{self, Joined};
use super::pairing::{Pairing, Tried};
use super::serve::Connection;
use super::site::{Overview, Shown, Site};
use super::stream::{Carries, Message, Seat};
use super::{BODY_MAX, OLDER_MAX, Said, Upstream, Wanted, assets, metrics, openapi};
use crate::book::Book;
use crate::book::moment::Moment;
use crate::report::causes::explained;
use crate::report::plot;
use crate::report::state::State as JobState;
use crate::report::today;

/// What all requests share.
#[derive(Clone)]
pub(super) struct Shared {
    pub(super) site: Arc<Site>,
    pub(super) pairing: Arc<Pairing>,
    pub(super) port: u16,
}

/// How something is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Method {
    Get,
    Post,
}

/// What is served of the page as a whole.
pub(super) const OF_ALL: &[(Method, &str)] = &[
    (Method::Get, "/v1/overview"),
    (Method::Get, "/v1/overview/changes"),
    (Method::Get, "/v1/paired"),
    (Method::Post, "/v1/pair"),
    (Method::Get, "/v1/openapi.json"),
    (Method::Get, "/metrics"),
];

/// What is served of each instrument, behind [`ONLY`] or [`NAMED`].
pub(super) const OF_ONE: &[(Method, &str)] = &[
    (Method::Get, "/state"),
    (Method::Get, "/events"),
    (Method::Get, "/changes"),
    (Method::Get, "/causes"),
    (Method::Get, "/today"),
    (Method::Get, "/plots/{plot}"),
    (Method::Post, "/say"),
];

/// The only instrument.
pub(super) const ONLY: &str = "/v1";
/// An instrument by its name.
pub(super) const NAMED: &str = "/v1/instruments/{instrument}";

/// The addresses and what answers at them.
pub(super) fn router(shared: Shared) -> Router {
    let mut router = Router::new();
    for (_, address) in OF_ALL {
        router = router.route(address, answering(address));
    }
    for (_, rest) in OF_ONE {
        for before in [ONLY, NAMED] {
            router = router.route(&format!("{before}{rest}"), answering(rest));
        }
    }
    for asset in assets::ALL {
        router = router.route(asset.address, get(|| async { assets::answer(asset) }));
    }
    router = router.route("/", get(first_page));
    for view in ["", "/operator", "/staff"] {
        router = router.route(&format!("/instruments/{{instrument}}{view}"), get(page_of_one));
    }
    router = router.route("/operator", get(page_of_only)).route("/staff", get(page_of_only));
    router
        .fallback(|| async { (StatusCode::NOT_FOUND, refused("nothing is at this address; see /v1/openapi.json")) })
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .with_state(shared)
}

fn answering(address: &str) -> MethodRouter<Shared> {
    match address {
        "/state" => get(state),
        "/events" => get(events),
        "/changes" => get(changes),
        "/causes" => get(causes),
        "/today" => get(today),
        "/plots/{plot}" => get(plot),
        "/say" => post(say),
        "/v1/overview" => get(overview),
        "/v1/overview/changes" => get(overview_changes),
        "/v1/paired" => get(paired),
        "/v1/pair" => post(pair),
        "/v1/openapi.json" => get(|| async { Json(openapi::document()) }),
        "/metrics" => get(metrics),
        _ => unreachable!("an address of the table without an answer"),
    }
}

/// An answer that says why not.
pub(super) fn refused(why: &str) -> Json<Value> {
    Json(json!({ "refused": why }))
}

/// The instrument that a request is about.
struct Which(Arc<Shown>);

impl FromRequestParts<Shared> for Which {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, shared: &Shared) -> Result<Self, Response> {
        let params = RawPathParams::from_request_parts(parts, shared).await.ok();
        let named = params.iter().flatten().find(|(name, _)| *name == "instrument").map(|(_, value)| value);
        let (found, why) = match named {
            Some(slug) => (shared.site.named(slug), "no instrument of this name; /v1/overview lists them"),
            None => (shared.site.only(), "several instruments are here; /v1/overview lists them"),
        };
        found.map(|shown| Which(Arc::clone(shown))).ok_or_else(|| (StatusCode::NOT_FOUND, refused(why)).into_response())
    }
}

/// The page of the only instrument, or the overview of several.
async fn first_page(State(shared): State<Shared>) -> Response {
    assets::answer(if shared.site.only().is_some() { &assets::PAGE } else { &assets::OVERVIEW })
}

/// A view of the only instrument; of several, one must be chosen first.
async fn page_of_only(State(shared): State<Shared>) -> Response {
    if shared.site.only().is_some() { assets::answer(&assets::PAGE) } else { Redirect::to("/").into_response() }
}

async fn page_of_one(_: Which) -> Response {
    assets::answer(&assets::PAGE)
}

async fn state(Which(shown): Which) -> Json<JobState> {
    Json(shown.hub.state())
}

async fn overview(State(shared): State<Shared>) -> Json<Overview> {
    Json(shared.site.overview())
}

async fn metrics(State(shared): State<Shared>) -> Response {
    ([(header::CONTENT_TYPE, metrics::TYPE)], metrics::text(&shared.site)).into_response()
}

#[derive(Deserialize)]
struct Since {
    since: Option<u64>,
}

async fn events(
    shared: State<Shared>,
    which: Which,
    connection: Extension<Connection>,
    since: Query<Since>,
    headers: HeaderMap,
) -> Response {
    open(Carries::Lines, shared.0, which.0, connection.0, last_seen(&since, &headers)).await
}

async fn changes(
    shared: State<Shared>,
    which: Which,
    connection: Extension<Connection>,
    since: Query<Since>,
    headers: HeaderMap,
) -> Response {
    open(Carries::Changes, shared.0, which.0, connection.0, last_seen(&since, &headers)).await
}

async fn overview_changes(State(shared): State<Shared>, Extension(connection): Extension<Connection>) -> Response {
    let Some(seat) = shared.site.seats.take() else { return no_seat() };
    let (to, from) = mpsc::channel(shared.site.limits.waiting);
    let join = |shown: &Arc<Shown>| shown.hub.join_overview(to.clone(), connection.cut.clone());
    let first = shared.site.all().iter().flat_map(join).collect();
    streamed(connection, seat, first, Some(from))
}

/// The last event that a client has seen: what it says when it comes again wins over what its address said first.
fn last_seen(since: &Since, headers: &HeaderMap) -> Option<u64> {
    let again = headers.get("last-event-id").and_then(|id| id.to_str().ok()).and_then(|id| id.parse().ok());
    again.or(since.since)
}

async fn open(
    carries: Carries,
    shared: Shared,
    shown: Arc<Shown>,
    connection: Connection,
    since: Option<u64>,
) -> Response {
    let Some(seat) = shared.site.seats.take() else { return no_seat() };
    let waiting = shared.site.limits.waiting;
    let mut since = since;
    let mut missed: Vec<Message> = Vec::new();
    let from = loop {
        match shown.hub.join(carries, since, waiting, connection.cut.clone()) {
            Joined::Yes(rest, from) => {
                missed.extend(rest);
                break Some(from);
            }
            Joined::Ended => {
                let why = refused("the recording has ended");
                return (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "5")], why).into_response();
            }
            Joined::ReadUpTo(event) => {
                let (shown, after) = (Arc::clone(&shown), since.unwrap_or(0));
                let read = tokio::task::spawn_blocking(move || older(&*shown.upstream, after, event)).await;
                match read.unwrap_or_else(|error| Err(error.to_string())) {
                    Ok(older) => {
                        since = Some(older.last);
                        missed.extend(older.lines);
                        if older.last < event {
                            // More than one resumption reads: the client comes again from here.
                            break None;
                        }
                    }
                    Err(why) => return (StatusCode::INTERNAL_SERVER_ERROR, refused(&why)).into_response(),
                }
            }
        }
    };
    streamed(connection, seat, missed, from)
}

fn no_seat() -> Response {
    let why = refused("as many streams as may be are open: close another page");
    (StatusCode::SERVICE_UNAVAILABLE, [(header::RETRY_AFTER, "5")], why).into_response()
}

/// Sends what was missed, then what comes, for as long as the client keeps up.
fn streamed(
    connection: Connection,
    seat: Seat,
    missed: Vec<Message>,
    from: Option<mpsc::Receiver<Message>>,
) -> Response {
    connection.streams.store(true, Ordering::Relaxed);
    let first = std::iter::once(Message::from_static(b"retry: 1000\n\n")).chain(missed);
    let coming = stream::unfold((from, seat), |(from, seat)| async move {
        let mut from = from?;
        from.recv().await.map(|message| (message, (Some(from), seat)))
    });
    let head = [(header::CONTENT_TYPE, "text/event-stream"), (header::CACHE_CONTROL, "no-store")];
    (head, Body::from_stream(stream::iter(first).chain(coming).map(Ok::<_, Infallible>))).into_response()
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

async fn causes(Which(shown): Which) -> Response {
    // A search over the whole book: neither the other clients nor what comes in wait for it.
    let (book, name) = (shown.hub.look(Book::clone), shown.name.clone());
    match tokio::task::spawn_blocking(move || explained(&book, &name, None)).await {
        Ok(explained) => Json(explained).into_response(),
        Err(error) => (StatusCode::INTERNAL_SERVER_ERROR, refused(&error.to_string())).into_response(),
    }
}

async fn today(Which(shown): Which) -> Response {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    let now = Moment::from_us(i64::try_from(since.as_micros()).unwrap_or(i64::MAX));
    Json(shown.hub.look(|book| today::list(book, &shown.name, now))).into_response()
}

#[derive(Deserialize)]
struct Drawn {
    width: Option<u32>,
    run: Option<u32>,
}

#[derive(Deserialize)]
struct PlotName {
    plot: String,
}

async fn plot(Which(shown): Which, Path(PlotName { plot: name }): Path<PlotName>, Query(of): Query<Drawn>) -> Response {
    let width = of.width.unwrap_or(720);
    let drawn = shown.hub.look(|book| {
        let run = match of.run {
            Some(number) => book.runs().iter().find(|run| run.number == number),
            None => book.runs().last(),
        };
        let draw = match name.as_str() {
            "misclosure.svg" => plot::misclosure,
            "profile.svg" => plot::profile,
            "balance.svg" => plot::balance,
            _ => return None,
        };
        Some(run.and_then(|run| draw(book, run, book.settings().unit, width)))
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
            shared.site.count(|counts| counts.refused += 1);
            let why = format!("not the code that the terminal shows; {left} tries are left");
            (StatusCode::FORBIDDEN, refused(&why)).into_response()
        }
        Tried::Shut(seconds) => {
            shared.site.count(|counts| counts.refused += 1);
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

async fn say(State(shared): State<Shared>, Which(shown): Which, headers: HeaderMap, body: Bytes) -> Response {
    // Before the body is looked at: who is not paired learns nothing of what would do.
    if !is_paired(&shared, &headers) {
        shared.site.count(|counts| counts.refused += 1);
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
    let Some(answer) = shown.upstream.say(words) else {
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
