//! In a real browser: what the crew sees, what a click does, and what happens when the daemon is gone.

use std::time::Duration;

use super::chrome::{Chrome, Theme};
use super::run::Run;

const DESK: (u32, u32) = (1280, 900);
const PHONE: (u32, u32) = (390, 844);

/// A setup whose sights are out of balance by 7 m: 2 m are allowed.
fn bad_setup(run: &mut Run) {
    run.shot("", "1.50000", "30.00", 'B');
    run.shot("", "1.40000", "37.00", 'F');
}

#[tokio::test]
async fn the_verdict_goes_to_hold_and_back_and_two_pages_stay_equal() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let (chief, other) = (chrome.open(DESK, Theme::Light).await, chrome.open(PHONE, Theme::Dark).await);
    let url = format!("http://127.0.0.1:{}/", run.port);
    chief.go(&format!("{url}#pair={}", run.code)).await;
    other.go(&url).await;
    chief.until("paired by the address alone", "document.body.hasAttribute('data-paired')").await;
    assert!(!chief.client.current_url().await.unwrap().as_str().contains(&run.code), "the code leaves the address");
    assert_eq!(other.script("return document.body.hasAttribute('data-paired')").await, false);

    run.good_setup();
    for page in [&chief, &other] {
        page.verdict("clear to move").await;
    }
    bad_setup(&mut run);
    for page in [&chief, &other] {
        page.verdict("HOLD").await;
        assert!(page.text("#reason").await.contains("out of balance by 7.00 m"), "{}", page.text("#reason").await);
    }
    chief.picture("desktop-hold").await;
    other.picture("phone-hold-dark").await;

    // Struck from the page: in the terminal, on both pages, and the verdict is open again.
    chief.click("tr[data-number=\"4\"] button").await;
    chief.click("#reading-keys button:first-child").await;
    let command = run.line("command");
    assert_eq!((&command["text"], &command["by"]), (&"reading 4 struck out".into(), &"page".into()));
    for page in [&chief, &other] {
        page.until("the row is struck", "document.querySelector('tr[data-number=\"4\"]').dataset.state === 'struck'")
            .await;
        page.verdict("fore due").await;
    }
    run.shot("", "1.40000", "30.20", 'F');
    for page in [&chief, &other] {
        page.verdict("clear to move").await;
    }
    chief.until("a plot of each kind", "document.querySelectorAll('.plot svg').length === 3").await;
    assert_eq!(chief.shown().await, other.shown().await);
    // A reload shows the same book.
    let before = chief.shown().await;
    chief.client.refresh().await.unwrap();
    chief.verdict("clear to move").await;
    assert_eq!(chief.shown().await, before);
    chief.picture("desktop-clear").await;
    other.picture("phone-clear-dark").await;
}

#[tokio::test]
async fn a_daemon_that_died_is_said_at_once_and_the_page_comes_back_by_itself() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("a.job");
    let mut run = Run::start(&job);
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", run.port)).await;
    run.good_setup();
    page.verdict("clear to move").await;
    let (port, shots) = (run.port, run.shots);
    run.kill();
    let took = page.verdict("not live").await;
    assert!(took < Duration::from_secs(6), "{took:?}");
    assert!(page.text("#live-text").await.starts_with("not live since "), "{}", page.text("#live-text").await);
    page.picture("desktop-not-live").await;

    let mut run = Run::start_at(&job, port);
    run.shots = shots;
    page.verdict("clear to move").await;
    run.shot("", "1.45000", "30.00", 'B');
    page.verdict("fore due").await;
    assert_eq!(page.script("return document.querySelectorAll('#rows tr').length").await, 3);
}

#[tokio::test]
async fn a_daemon_that_hangs_is_said_within_six_seconds() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", run.port)).await;
    run.good_setup();
    page.verdict("clear to move").await;
    run.freeze();
    let took = page.verdict("not live").await;
    assert!(took < Duration::from_secs(7), "{took:?}");
    run.thaw();
    page.verdict("clear to move").await;
}

#[tokio::test]
async fn a_hostile_name_is_shown_as_text() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/", run.port)).await;
    let names = ["<img src=x>", "'\"><b>", "=1+1", "../x", "&lt;i&gt;", "</title>"];
    for name in names {
        run.shot("", "1.50000", "30.00", 'B');
        run.shot(name, "1.40000", "30.10", 'F');
    }
    run.state_with(2 * names.len());
    let cookie = run.pair();
    let long = "<script>document.title='owned'</script><svg/onload=alert(1)>";
    let said = run.post("/v1/say", &serde_json::json!({ "say": ["point", "2", long] }).to_string(), Some(&cookie));
    assert_eq!(said.status, 200, "{}", said.body);
    let note = "<img src=x onerror=document.title='owned'>";
    let said = run.post("/v1/say", &serde_json::json!({ "say": ["note", "2", note] }).to_string(), Some(&cookie));
    assert_eq!(said.status, 200, "{}", said.body);
    page.until(
        "the note is shown",
        "document.querySelector('tr[data-number=\"2\"] .remarks').textContent.includes('onerror')",
    )
    .await;
    page.until("the plots are drawn", "document.querySelectorAll('.plot svg').length === 3").await;
    assert_eq!(page.text("tr[data-number=\"2\"] .point").await, long);
    for (index, name) in names.iter().enumerate().skip(1) {
        assert_eq!(page.text(&format!("tr[data-number=\"{}\"] .point", 2 * index + 2)).await, *name);
    }
    let strangers =
        "return document.querySelectorAll('main img, main script, main b, main i, .plot a, .plot script').length";
    assert_eq!(page.script(strangers).await, 0);
    assert!(page.script("return document.title").await.as_str().unwrap().ends_with("closerun"));
}

#[tokio::test]
async fn the_operator_hears_a_hold_once_and_the_staff_holder_reads_one_figure() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let (operator, staff) = (chrome.open(PHONE, Theme::Light).await, chrome.open(PHONE, Theme::Light).await);
    operator.go(&format!("http://127.0.0.1:{}/operator", run.port)).await;
    staff.go(&format!("http://127.0.0.1:{}/staff", run.port)).await;
    assert!(operator.text("#ear-text").await.contains("silent until it is tapped once"));
    run.good_setup();
    operator.verdict("clear to move").await;
    operator.click("#ear-on").await;
    operator.until("sound is on", "document.getElementById('ear-text').textContent.startsWith('Sound is on')").await;
    bad_setup(&mut run);
    operator.verdict("HOLD").await;
    operator
        .until(
            "it is said",
            "document.getElementById('ear-said').textContent.startsWith('hold: sights out of balance by 7 metres.')",
        )
        .await;
    operator.picture("phone-operator").await;

    staff.until("the figure", "document.getElementById('stand-figure').textContent !== '–'").await;
    // The setup before left the sum at 30.00 - 30.10: the foresight that brings it to nothing is 30.00 - 0.10.
    assert_eq!(staff.text("#stand-figure").await, "29.90 m");
    staff.picture("phone-staff").await;

    let heard = operator
        .script(
            "const { Ear } = await import('/sound.js'); let now = 0; const ear = new Ear(() => now);\
             const told = []; const line = (key) => ({ type: 'finding', key, priority: 'hold', fact: 'x', todo: 'y' });\
             for (let i = 0; i < 30; i += 1) ear.hear(line('a@' + i)); told.push(ear.next());\
             for (let i = 0; i < 200; i += 1) { now += 90; ear.hear(line('a@1')); told.push(ear.next()); }\
             return told.filter(Boolean).map((said) => said.text)",
        )
        .await;
    assert_eq!(heard, serde_json::json!(["hold: x. y. And 29 more"]), "thirty findings, then one that flickers");
}

#[tokio::test]
async fn a_reading_is_keyed_in_and_checked_as_it_is_typed() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/#pair={}", run.port, run.code)).await;
    page.until("paired", "document.body.hasAttribute('data-paired')").await;
    page.verdict("ready").await;
    page.click("#key-in").await;
    page.type_in("[data-field=staff]", "14.5").await;
    assert_eq!(page.text("#keypad-check").await, "▲ staff: the staff is 4.00 m long");
    assert_eq!(page.script("return document.getElementById('keypad-book').disabled").await, true);
    page.script("document.querySelector('[data-field=staff]').value = ''").await;
    page.type_in("[data-field=staff]", "1.4").await;
    page.click("#keypad-keys button:nth-child(5)").await;
    assert_eq!(page.text("#keypad-check").await, "staff 1.45 m, without a sight length, keyed in");
    page.picture("phone-keypad").await;
    page.click("#keypad-book").await;
    page.until("booked", "document.querySelector('tr[data-number=\"1\"]')").await;
    assert!(page.text("tr[data-number=\"1\"] .remarks").await.contains("keyed in"));

    // Three wires. By hand: (1.652 + 1.501 + 1.350) / 3 = 1.501, (1.652 - 1.350) * 100 = 30.2.
    let three = page
        .script(
            "const { check } = await import('/keypad.js'); return [\
             check('three', { upper: '1.652', middle: '1.501', lower: '1.350' }, 'm', '4.00').words,\
             check('three', { upper: '1.652', middle: '1.510', lower: '1.350' }, 'm', '4.00').wrong]",
        )
        .await;
    assert_eq!(
        three,
        serde_json::json!([["1.50100", "30.2000"], "the halves differ by -0.0180 m: read the three wires again"])
    );
}

#[tokio::test]
async fn every_control_has_a_name_and_nothing_is_wider_than_a_small_phone() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open((360, 640), Theme::Light).await;
    run.good_setup();
    for view in ["", "operator", "staff"] {
        page.go(&format!("http://127.0.0.1:{}/{view}", run.port)).await;
        page.verdict("clear to move").await;
        let wide = page.script("return document.documentElement.scrollWidth").await;
        assert_eq!(wide, 360, "/{view}");
        let nameless = page
            .script(
                "return [...document.querySelectorAll('button, input, select, a, section, dialog')].filter((e) => !(\
                 e.textContent.trim() && e.matches('button, a') || e.labels?.length || e.hasAttribute('aria-label') ||\
                 document.getElementById(e.getAttribute('aria-labelledby')))).map((e) => e.outerHTML.slice(0, 80))",
            )
            .await;
        assert_eq!(nameless, serde_json::json!([]), "/{view}");
    }
    let landmarks =
        page.script("return ['header', 'nav', 'main', 'h1'].map((e) => document.querySelectorAll(e).length)").await;
    assert_eq!(landmarks, serde_json::json!([1, 1, 1, 1]));
}

/// Where `tests/run.sh` lays the accessibility checker.
const CHECKER: &str = "target/axe/node_modules/axe-core/axe.min.js";

#[tokio::test]
async fn an_accessibility_checker_finds_nothing() {
    let Ok(checker) = std::fs::read_to_string(format!("{}/{CHECKER}", env!("CARGO_MANIFEST_DIR"))) else {
        assert!(std::env::var("CI").as_deref() != Ok("true"), "{CHECKER} is wanted under CI=true");
        eprintln!("skipped: no accessibility checker at {CHECKER}");
        return;
    };
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    bad_setup(&mut run);
    for theme in [Theme::Light, Theme::Dark] {
        let page = chrome.open(PHONE, theme).await;
        page.go(&format!("http://127.0.0.1:{}/#pair={}", run.port, run.code)).await;
        page.until("paired", "document.body.hasAttribute('data-paired')").await;
        for (view, dialog) in
            [("", ""), ("operator", ""), ("staff", ""), ("", "tr[data-number=\"4\"] button"), ("", "#key-in")]
        {
            page.go(&format!("http://127.0.0.1:{}/{view}", run.port)).await;
            page.verdict("HOLD").await;
            if !dialog.is_empty() {
                page.until("paired", "document.body.hasAttribute('data-paired')").await;
                page.click(dialog).await;
            }
            page.script(&checker).await;
            let found = page
                .script(
                    "return (await axe.run()).violations.map((v) => `${v.id}: ${v.help}: ${v.nodes.map((n) => n.html).join(' | ')}`)",
                )
                .await;
            assert_eq!(found, serde_json::json!([]), "{theme:?} /{view} {dialog}");
            let looked = page.script("return (await axe.run()).passes.length").await;
            assert!(looked.as_u64().unwrap() > 15, "the checker looked at something: {looked}");
        }
    }
}
