//! What a crew sees of whole runs: how they are drawn, and the pictures that are kept of them.

use closerun::book::event::{Command, StruckPlace};
use closerun::page::Limits;

use super::chrome::{Chrome, Page, Theme};
use super::fed::{Fed, Setup, crew_between_benchmarks, home, out, shoot};

const DESK: (u32, u32) = (1366, 768);
const WIDE: (u32, u32) = (1920, 1080);
const PHONE: (u32, u32) = (360, 740);

async fn pictures(page: &Page, of: &str) {
    for (name, size, theme) in [
        ("desktop", DESK, Theme::Light),
        ("desktop-dark", DESK, Theme::Dark),
        ("wide", WIDE, Theme::Light),
        ("phone", PHONE, Theme::Light),
        ("phone-dark", PHONE, Theme::Dark),
    ] {
        page.look(size, theme).await;
        let fits = "[...document.querySelectorAll('.plot svg')].every((svg) =>\
            Math.abs(svg.viewBox.baseVal.width - Math.max(280, svg.parentElement.clientWidth)) < 2)";
        page.until("the plots are drawn for this size", fits).await;
        page.picture(&format!("{of}-{name}")).await;
    }
    // The whole page, as one who scrolls sees it.
    for (name, width) in [("whole", DESK.0), ("whole-phone", PHONE.0)] {
        page.look((width, 740), Theme::Light).await;
        let height = page.script("return document.documentElement.scrollHeight").await.as_u64().unwrap();
        page.look((width, height as u32), Theme::Light).await;
        page.picture(&format!("{of}-{name}")).await;
    }
    page.look(DESK, Theme::Light).await;
}

#[tokio::test]
async fn a_run_that_closes_is_drawn_in_its_envelope() {
    let Some(mut chrome) = Chrome::start() else { return };
    let mut fed = Fed::start(Limits::usual(), &["level-3"]);
    let mut crew = crew_between_benchmarks();
    out(&mut crew);
    fed.show(0, &crew);
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", fed.port)).await;
    // By hand: the errors of the four setups are 9 - 14 + 21 + 17 = 33 hundredths of a millimetre, and a foresight that
    // reads more puts its point lower. The page rounds to a tenth.
    let closure = "document.getElementById('f-closure').textContent";
    page.until("the known point", &format!("{closure}.startsWith('\u{2212}0.3 mm of ')")).await;
    home(&mut crew);
    crew.say(Command::EndRun { reading: None });
    fed.show(0, &crew);
    // With those of the way home, -12 + 19 + 8 - 11 = 4, they are 37.
    page.until("the loop", &format!("{closure}.startsWith('\u{2212}0.4 mm of ')")).await;
    page.verdict("clear to move").await;
    page.until("the plots", "document.querySelectorAll('.plot svg').length === 3").await;
    let marks = |css: &str| format!("document.querySelectorAll('[data-plot=misclosure] {css}').length");
    // Two known points as areas on their corners, beside the two bands; three common points, round.
    page.until("known points", &format!("{} === 2", marks("path.observed"))).await;
    page.until("common points", &format!("{} === 3", marks("circle.observed"))).await;
    page.until("allowance and expectation", &format!("{} === 2", marks(":is(path.allowed, path.expected)"))).await;
    let said = page.text("[data-plot=misclosure] figcaption").await;
    assert!(said.starts_with("Run 1: after ") && said.contains("the latest closure at BM-1: closes"), "{said}");
    pictures(&page, "closed").await;
}

#[tokio::test]
async fn a_run_that_holds_says_why_and_struck_lines_stay() {
    let Some(mut chrome) = Chrome::start() else { return };
    let mut fed = Fed::start(Limits::usual(), &["level-3"]);
    let mut crew = crew_between_benchmarks();
    out(&mut crew);
    shoot(
        &mut crew,
        &Setup { back: 5_310_000, fore: ("TP3", 5_233_000), over: 84_310, sights: ("25.10", "29.65"), error: -12 },
    );
    crew.say(Command::Strike { reading: 4, place: StruckPlace::Empty });
    crew.say(Command::Undo { event: crew.book.amendments().latest().unwrap().event });
    crew.say(Command::Note { reading: Some(3), text: "wind from the north".to_owned() });
    fed.show(0, &crew);
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", fed.port)).await;
    page.verdict("HOLD").await;
    page.until("the plots", "document.querySelectorAll('.plot svg').length === 3").await;
    let amounts = page.text("#findings-list li .amounts").await;
    assert!(amounts.contains("4.55 m") && amounts.contains("limit2.00 m"), "{amounts}");
    assert!(page.text("#said-list").await.contains("taken back"));
    pictures(&page, "hold").await;
    // A run that has just begun looks designed too.
    fed.end(0);
    page.until("ended", "document.getElementById('verdict-text').textContent === 'ended'").await;
    page.picture("ended-desktop").await;
}

#[tokio::test]
async fn an_empty_page_says_what_it_waits_for() {
    let Some(mut chrome) = Chrome::start() else { return };
    let mut fed = Fed::start(Limits::usual(), &["level-3"]);
    fed.show(0, &crew_between_benchmarks());
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", fed.port)).await;
    page.verdict("ready").await;
    assert_eq!(page.text("#reason").await, "waiting for the first reading");
    page.picture("empty-desktop").await;
}
