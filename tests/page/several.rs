//! Several instruments under one page: an overview, and a page of its own for each.

use closerun::page::Limits;
use serde_json::Value;

use super::chrome::{Chrome, Theme};
use super::fed::{Fed, Setup, crew_between_benchmarks, home, out, shoot};
use super::harness::crew::{Crew, settings};
use super::run::Stream;

const DESK: (u32, u32) = (1366, 768);

/// One in good order, one that holds, one that has closed.
fn three() -> (Fed, Vec<Crew>) {
    let mut fed = Fed::start(Limits::usual(), &["North core", "South core", "Level B2"]);
    let mut crews = vec![Crew::new(settings()), Crew::new(settings()), crew_between_benchmarks()];
    shoot(&mut crews[0], &good(5_000_000, "TP1"));
    shoot(&mut crews[1], &Setup { sights: ("30.00", "37.10"), ..good(5_000_000, "TP1") });
    out(&mut crews[2]);
    home(&mut crews[2]);
    for (index, crew) in crews.iter().enumerate() {
        fed.show(index, crew);
    }
    (fed, crews)
}

fn good(back: i64, fore: &str) -> Setup<'_> {
    Setup { back, fore: (fore, back + 50_000), over: 150_000, sights: ("30.00", "30.10"), error: 0 }
}

#[test]
fn each_has_its_addresses_and_none_is_meant_without_a_name() {
    let (fed, crews) = three();
    for (slug, crew) in ["north-core", "south-core", "level-b2"].iter().zip(&crews) {
        fed.holds(slug, crew.book.last_event());
        assert!(fed.get(&format!("/instruments/{slug}/staff")).body.contains("id=\"verdict\""));
    }
    let overview: Value = serde_json::from_str(&fed.get("/v1/overview").body).unwrap();
    let of = |index: usize, what: &str| overview["instruments"][index][what].clone();
    assert_eq!([of(0, "name"), of(1, "name")], ["North core", "South core"]);
    assert_eq!([&of(0, "now")["verdict"], &of(1, "now")["verdict"]], ["clear-to-move", "hold"]);
    for path in ["/v1/state", "/v1/events", "/v1/instruments/east/state", "/instruments/east"] {
        assert_eq!(fed.get(path).status, 404, "{path}");
    }
    let to_choose = fed.get("/operator");
    assert_eq!((to_choose.status, to_choose.header("location")), (303, Some("/")));
    assert!(fed.get("/").body.contains("id=\"instruments\""));
    let metrics = fed.get("/metrics").body;
    for line in [
        "closerun_readings_total{instrument=\"north-core\"} 2",
        "closerun_findings_standing{instrument=\"south-core\",priority=\"hold\"} 1",
    ] {
        assert!(metrics.contains(line), "{metrics}");
    }
    assert_eq!(metrics.matches("# TYPE closerun_readings_total").count(), 1, "one family, however many instruments");
}

#[test]
fn one_that_ends_leaves_the_others_going() {
    let (mut fed, mut crews) = three();
    let mut own = Stream::at(fed.port, "/v1/instruments/north-core/events", None);
    let mut all = Stream::at(fed.port, "/v1/overview/changes", None);
    fed.end(0);
    assert_eq!(last_of(&mut own), "ended");
    shoot(&mut crews[1], &good(5_050_000, "TP2"));
    fed.show(1, &crews[1]);
    let (mut ended, mut went_on) = (false, false);
    while !(ended && went_on) {
        let message = all.next().expect("the overview goes on");
        ended |= message.event == "ended" && message.data["instrument"] == "north-core";
        went_on |= message.event == "instrument" && message.data["now"]["readings"] == 4;
    }
    assert_eq!(fed.get("/v1/instruments/north-core/events").status, 503);
    assert_eq!(fed.get("/v1/instruments/north-core/state").status, 200, "its book can still be read");
}

fn last_of(stream: &mut Stream) -> String {
    let mut last = String::new();
    while let Some(message) = stream.next() {
        last = message.event;
    }
    last
}

#[tokio::test]
async fn the_overview_shows_each_and_leads_to_its_page() {
    let Some(mut chrome) = Chrome::start() else { return };
    let (mut fed, mut crews) = three();
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", fed.port)).await;
    let word = |index: usize, word: &str| {
        format!("document.querySelectorAll('#instruments .word')[{index}]?.textContent === {word:?}")
    };
    page.until("one is clear", &word(0, "clear to move")).await;
    page.until("one holds", &word(1, "HOLD")).await;
    page.picture("several-desktop").await;
    page.look((360, 740), Theme::Dark).await;
    page.picture("several-phone-dark").await;
    page.look(DESK, Theme::Light).await;

    shoot(&mut crews[0], &Setup { sights: ("30.00", "37.10"), ..good(5_050_000, "TP2") });
    fed.show(0, &crews[0]);
    page.until("it holds at once", &word(0, "HOLD")).await;
    fed.end(1);
    page.until("an ended one says so", &word(1, "ended")).await;
    page.until("the others are live", "document.body.dataset.is === 'live'").await;

    page.click("#instruments li:nth-child(3) a").await;
    page.verdict("clear to move").await;
    assert_eq!(page.text("#name").await, "Level B2");
    page.click("nav [data-view=staff]").await;
    page.verdict("clear to move").await;
    let path = page.script("return location.pathname").await;
    assert_eq!(path, "/instruments/level-b2/staff");
}
