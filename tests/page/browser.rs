//! In a real browser: what the crew sees, what a click does, and what happens when the daemon is gone.

use std::io::Write;
use std::net::TcpListener;
use std::path::Path;
use std::time::Duration;

use super::chrome::{Chrome, Page, Theme};
use super::names::names_stay_text;
use super::run::Run;
use super::wire::Wire;

const DESK: (u32, u32) = (1366, 768);
const PHONE: (u32, u32) = (360, 740);
/// How soon a page must say that its daemon is gone.
const NOT_LIVE_WITHIN: Duration = Duration::from_secs(6);

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
    // Who, when and what stays to be read, and any command can be taken back.
    assert!(chief.text("#said-list li .what").await == "reading 4 struck out");
    assert!(chief.text("#said-list li .quiet").await.ends_with(" UTC, on the page"));
    chief.click("#said-list li button").await;
    for page in [&chief, &other] {
        page.until(
            "it is taken back",
            "document.querySelector('#said-list [data-taken-back] .what')?.textContent === 'reading 4 struck out'",
        )
        .await;
        page.until("the row counts", "document.querySelector('tr[data-number=\"4\"]').dataset.state !== 'struck'")
            .await;
    }
    // What was taken back can be said again.
    chief.click("tr[data-number=\"4\"] button").await;
    chief.click("#reading-keys button:first-child").await;
    for page in [&chief, &other] {
        page.until("the row is struck", "document.querySelector('tr[data-number=\"4\"]').dataset.state === 'struck'")
            .await;
        page.verdict("clear to move").await;
    }
    assert_eq!(chief.shown().await, other.shown().await);
    // A reload shows the same book.
    let before = chief.shown().await;
    chief.client.refresh().await.unwrap();
    chief.verdict("clear to move").await;
    assert_eq!(chief.shown().await, before);
    chief.picture("desktop-clear").await;
    other.picture("phone-clear-dark").await;
}

/// Watches a daemon die and come back, with the page open.
///
/// # Errors
/// The page did not say so in time, or did not come back.
pub(crate) async fn comes_back(page: &Page, job: &Path, not_live_within: Duration) -> Result<(), String> {
    let mut run = Run::start(job);
    page.go(&format!("http://127.0.0.1:{}/", run.port)).await;
    run.good_setup();
    page.verdict("clear to move").await;
    let (port, shots) = (run.port, run.shots);
    run.kill();
    page.verdict_within(not_live_within, "not live").await?;
    let text = page.text("#live-text").await;
    assert!(text.starts_with("not live since ") && text.ends_with(", trying again"), "{text}");
    page.picture("desktop-not-live").await;

    // Meanwhile another answers at the same address, as a proxy without its server does.
    let stub = TcpListener::bind(("127.0.0.1", port)).expect("the address is free again");
    let (mut asked, _) = stub.accept().unwrap();
    asked.write_all(b"HTTP/1.1 502 Bad Gateway\r\ncontent-length: 5\r\nconnection: close\r\n\r\nsorry").unwrap();
    drop((asked, stub));

    let mut run = Run::start_at(job, port);
    run.shots = shots;
    page.verdict("clear to move").await;
    run.shot("", "1.45000", "30.00", 'B');
    page.verdict("fore due").await;
    assert_eq!(page.script("return document.querySelectorAll('#rows tr').length").await, 3);
    Ok(())
}

#[tokio::test]
async fn a_daemon_that_died_is_said_at_once_and_the_page_comes_back_by_itself() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let page = chrome.open(DESK, Theme::Light).await;
    comes_back(&page, &folder.path().join("a.job"), NOT_LIVE_WITHIN).await.unwrap();
}

#[tokio::test]
async fn a_dead_network_is_said_and_mends_itself() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    let wire = Wire::to(run.port);
    page.go(&format!("http://127.0.0.1:{}/", wire.port)).await;
    run.good_setup();
    page.verdict("clear to move").await;
    wire.alive(false);
    page.verdict_within(2 * NOT_LIVE_WITHIN, "not live").await.unwrap();
    run.shot("", "1.45000", "30.00", 'B');
    wire.alive(true);
    page.verdict("fore due").await;
}

#[tokio::test]
async fn a_hidden_page_lets_go_of_its_stream_and_the_seventh_opens_at_once() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    let page = chrome.open(DESK, Theme::Light).await;
    // A browser opens six connections to one host: six pages that kept theirs would shut the seventh out.
    for tab in 1..=7 {
        if tab > 1 {
            let opened = page.client.new_window(true).await.unwrap();
            page.client.switch_to_window(opened.handle).await.unwrap();
        }
        page.go(&format!("http://127.0.0.1:{}/", run.port)).await;
        page.verdict("clear to move").await;
    }
    let streams = || run.get("/metrics").body.lines().any(|line| line == "closerun_page_streams 1");
    let until = std::time::Instant::now() + super::run::PATIENCE;
    while !streams() {
        assert!(std::time::Instant::now() < until, "one stream was wanted: {}", run.get("/metrics").body);
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    // The first one is looked at again, as a phone that woke.
    let first = page.client.windows().await.unwrap().remove(0);
    page.client.switch_to_window(first).await.unwrap();
    page.verdict("clear to move").await;
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
    names_stay_text(&page, &mut run).await.unwrap();
}

/// Notes what a page says aloud, in `window.aloud`.
const LISTEN: &str = "window.aloud = [];\
    window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };\
    Object.defineProperty(window, 'speechSynthesis', { value: { cancel() {}, speak(words) { window.aloud.push(words.text); } } });";

#[tokio::test]
async fn the_operator_hears_a_hold_once_and_a_restart_announces_nothing_anew() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("a.job");
    let mut run = Run::start(&job);
    let page = chrome.open(PHONE, Theme::Light).await;
    page.plant(LISTEN).await;
    page.go(&format!("http://127.0.0.1:{}/operator", run.port)).await;
    assert!(page.text("#ear-text").await.contains("Sound off: tap. A browser stays silent until it is tapped once"));
    run.good_setup();
    page.verdict("clear to move").await;
    page.click("#ear-on").await;
    page.until("sound is on", "document.getElementById('ear-text').textContent.startsWith('Sound is on')").await;
    bad_setup(&mut run);
    page.verdict("HOLD").await;
    // That the setup before was clear may be said too, if the sound was turned on soon enough.
    let holds = "window.aloud.filter((words) => words.startsWith('hold'))";
    page.until("it is said", &format!("{holds}.length > 0")).await;
    page.picture("phone-operator").await;
    let hold = "hold: sights out of balance by 7 metres. put the forward staff 7 metres nearer and shoot it again";
    assert_eq!(page.script(&format!("return {holds}")).await, serde_json::json!([hold]));

    let (port, shots) = (run.port, run.shots);
    run.kill();
    page.verdict("not live").await;
    page.until("that is said too", "window.aloud.at(-1) === 'not live'").await;
    let mut run = Run::start_at(&job, port);
    run.shots = shots;
    page.verdict("HOLD").await;
    // What comes next is the first sound after the restart.
    let cookie = run.pair();
    assert_eq!(run.post("/v1/say", r#"{"say":["strike","4"]}"#, Some(&cookie)).status, 200);
    run.shot("", "1.40000", "30.20", 'F');
    page.until("clear is said", "window.aloud.at(-1) === 'clear to move, setup 2'").await;
    let aloud =
        page.script("return window.aloud.slice(window.aloud.findIndex((words) => words.startsWith('hold')))").await;
    assert_eq!(aloud, serde_json::json!([hold, "not live", "clear to move, setup 2"]));
}

#[tokio::test]
async fn a_phone_that_may_not_sound_or_stay_awake_says_so() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    // As over the network without TLS, on a browser without sound.
    page.plant("Object.defineProperty(navigator, 'wakeLock', { value: undefined }); delete window.AudioContext;").await;
    page.go(&format!("http://127.0.0.1:{}/operator", run.port)).await;
    page.verdict("ready").await;
    page.until("it may sleep", "document.getElementById('ear-awake').textContent.includes('screen may sleep')").await;
    page.click("#ear-on").await;
    let silent = "This browser gives no sound: the machine that records still does.";
    page.until("no sound", &format!("document.getElementById('ear-text').textContent === {silent:?}")).await;
}

#[tokio::test]
async fn the_staff_holder_reads_one_figure_that_follows_each_reading() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/staff", run.port)).await;
    page.verdict("ready").await;
    run.good_setup();
    let counted =
        |count: u32| format!("document.getElementById('stand-count').textContent.startsWith('{count} reading')");
    page.until("two readings", &counted(2)).await;
    run.shot("", "1.50000", "30.00", 'B');
    page.until("three readings", &counted(3)).await;
    // The setup before left the sum at 30.00 - 30.10: the foresight that brings it to nothing is 30.00 - 0.10.
    assert_eq!(page.text("#stand-figure").await, "29.90 m");
    assert_eq!(page.text("#stand-role").await, "fore staff, from the instrument");
    page.picture("phone-staff").await;
    page.look(PHONE, Theme::Dark).await;
    page.picture("phone-staff-dark").await;
}

/// Lets a value flicker across its limit 200 times before an ear of this kind; gives how often it sounds.
pub(crate) async fn flickers(page: &Page, ear: &str) -> u64 {
    let script = format!(
        "const {{ Ear }} = await import('/sound.js'); let now = 0; const ear = new ({ear})(() => now); let sounds = 0;\
         for (let i = 0; i < 200; i += 1) {{\
           ear.hear({{ type: 'finding', key: 'a@1', priority: 'warn', fact: 'x', todo: 'y' }}); now += 300;\
           if (ear.next()) sounds += 1;\
           ear.hear({{ type: 'withdrawn', key: 'a@1' }}); now += 3000;\
         }} return sounds;"
    );
    page.script(&script).await.as_u64().unwrap()
}

#[tokio::test]
async fn an_ear_hears_one_sound_a_cause() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/operator", run.port)).await;
    assert_eq!(flickers(&page, "Ear").await, 1, "a value that flickers across its limit");
    let told = page
        .script(
            "const { Ear } = await import('/sound.js'); let now = 0; const ear = new Ear(() => now); const told = [];\
             const line = (key, priority = 'hold') => ({ type: 'finding', key, priority, fact: key, todo: 'y' });\
             for (let i = 0; i < 30; i += 1) ear.hear(line('a' + i)); told.push(ear.next());\
             for (let i = 0; i < 600; i += 1) { now += 1000; if (i % 20 === 0) ear.hear(line('b' + i)); told.push(ear.next()); }\
             const many = told.filter(Boolean);\
             ear.hear({ type: 'withdrawn', key: ear.held.key }); ear.hear(line('next')); const next = ear.next();\
             ear.hear(line('c', 'warn')); ear.hear(line('d')); ear.hear({ type: 'withdrawn', key: 'd' }); const last = ear.next();\
             return [many.length, many[0].text, next.text, last.text]",
        )
        .await;
    let [sounds, first, next, last] = &told.as_array().unwrap()[..] else { panic!("{told}") };
    // One a minute at most: the first at once, the last as the ten minutes end.
    assert!((2..=11).contains(&sounds.as_u64().unwrap()), "sounds in ten minutes: {sounds}");
    assert_eq!(first, "hold: a0. y. And 29 more", "thirty findings of one setup");
    assert_eq!(next, "hold: next. y", "the cause that was sounded is gone: the next is heard at once");
    assert_eq!(last, "c. y", "what is gone before it is said is not said");
}

/// Notes each word that the verdict has been.
const WATCH: &str = "document.addEventListener('DOMContentLoaded', () => { window.words = [];\
    const word = document.getElementById('verdict-text');\
    new MutationObserver(() => window.words.push(word.textContent))\
      .observe(word, { childList: true, characterData: true, subtree: true }); });";

#[tokio::test]
async fn a_simulated_run_goes_to_hold_and_back_before_the_chief() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let demo = Run::demo(&folder.path().join("demo.job"));
    let page = chrome.open(DESK, Theme::Light).await;
    page.plant(WATCH).await;
    page.go(&format!("http://127.0.0.1:{}/", demo.port)).await;
    page.until("hold", "window.words?.includes('HOLD')").await;
    page.picture("desktop-demo").await;
    page.until("and back", "window.words.indexOf('clear to move', window.words.indexOf('HOLD')) > 0").await;
    assert_eq!(page.text("#simulated").await, "SIMULATED: nothing here was measured");
    assert_eq!(page.script("return document.getElementById('simulated').hidden").await, false);
    page.until("it ends", "document.getElementById('verdict-text').textContent === 'ended'").await;
    assert_eq!(page.text("#live-text").await, "the recording has ended");
    assert!(page.script("return document.querySelectorAll('tr[data-state=struck]').length").await.as_u64() > Some(0));
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

    page.click("#key-in").await;
    page.click("input[name=how][value=three]").await;
    for (wire, text) in [("upper", "1.652"), ("middle", "1.501"), ("lower", "1.350")] {
        page.type_in(&format!("[data-field={wire}]"), text).await;
    }
    page.click("#keypad-book").await;
    let remarks = "document.querySelector('tr[data-number=\"2\"] .remarks')?.textContent";
    page.until("the wires stay", &format!("{remarks}?.includes('three wires 1.652, 1.501, 1.350 m')")).await;
    assert!(page.text("tr[data-number=\"2\"] .remarks").await.contains("keyed in"));

    // In the record it is the command of the terminal. By hand: (1.652 + 1.501 + 1.350) / 3 = 1.501, 0.302 x 100 = 30.2.
    let row = |cell: &str| format!("document.querySelector('tr[data-number=\"2\"] {cell}')?.textContent");
    page.until("their mean", &format!("{}?.includes('1.5010')", row(""))).await;
    page.until("the sight from the interval", &format!("{}?.includes('30.20')", row(""))).await;
    let three = page
        .script(
            "const { check } = await import('/keypad.js'); return [\
             check('three', { upper: '1.652', middle: '1.501', lower: '1.350' }, 'm', '4.00'),\
             check('three', { upper: '1.350', middle: '1.501', lower: '1.652' }, 'm', '4.00').text,\
             check('three', { upper: '4.31', middle: '4.16', lower: '4.02' }, 'ft', '13.00').text,\
             check('three', { upper: '1.652', middle: '1.510', lower: '1.350' }, 'm', '4.00').wrong,\
             check('three', { upper: '1.652', middle: '1.701', lower: '1.350' }, 'm', '4.00').wrong]",
        )
        .await;
    assert_eq!(
        three,
        serde_json::json!([
            { "words": ["wires", "1.652", "1.501", "1.350"], "text": "three wires: mean 1.5010 m, sight 30.200 m" },
            "three wires: mean 1.5010 m, sight 30.200 m",
            // 12.49 / 3 = 4.1633; rounding alone makes 0.02 ft of readings to 0.01.
            "three wires: mean 4.163 ft, sight 29.00 ft",
            "the half intervals differ by 0.0180 m (limit 0.0030 m): read the wires again",
            "the wires 1.652, 1.701, 1.350 are out of order: the middle one lies between the others",
        ])
    );
}

#[tokio::test]
async fn a_test_of_the_level_is_led_on_the_page_in_the_words_of_the_terminal() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/#pair={}", run.port, run.code)).await;
    page.until("paired", "document.body.hasAttribute('data-paired')").await;
    let next = "document.getElementById('beside-next').textContent";
    for (words, wanted) in [
        ("test two-peg mid-outside 40 10", "set up midway, 20.0 m from A and 20.0 m from B; shoot peg A"),
        ("key 1.5000", "shoot peg B"),
        ("key 1.2500", "set up beyond B, 50.0 m from A and 10.0 m from B; shoot peg A"),
        ("key 1.4000", "shoot peg B"),
    ] {
        page.type_in("#say-words", words).await;
        page.click("#say button").await;
        page.until(words, &format!("{next} === '{wanted}'")).await;
    }
    assert_eq!(page.text("#beside-head").await, "two-peg test");
    page.picture("phone-beside").await;
    page.type_in("#say-words", "key 1.1500").await;
    page.click("#say button").await;
    page.until("it is done", "document.getElementById('beside-head').textContent === 'two-peg test done'").await;
    assert!(page.text("#beside-words").await.starts_with("the line of sight"));
    page.click("#today-ask").await;
    page.until("the day's list", "document.querySelector('#today-list [data-group]')").await;
    assert!(page.text("#today-list").await.contains("two-peg test, "), "in the words of the terminal");
}

/// What our own look at a page finds wrong: nameless controls, ids given twice, headings that skip a level, targets too
/// small for a glove (24 CSS pixels, WCAG 2.2, target size minimum), anything wider than the window.
const LOOK: &str = "const shown = (e) => e.checkVisibility(); const all = (css) => [...document.querySelectorAll(css)].filter(shown);\
    const brief = (why) => (e) => `${why}: ${e.outerHTML.slice(0, 90)}`;\
    const named = (e) => e.textContent.trim() && e.matches('button, a, th, legend') || e.labels?.length || e.hasAttribute('aria-label')\
      || document.getElementById(e.getAttribute('aria-labelledby'));\
    const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);\
    const levels = all('h1, h2, h3').map((e) => Number(e.localName[1]));\
    return [\
      ...all('button, input, select, a, section, dialog').filter((e) => !named(e)).map(brief('no name')),\
      ...ids.filter((id, index) => ids.indexOf(id) !== index).map((id) => `twice: ${id}`),\
      ...levels.filter((level, index) => level > (levels[index - 1] ?? 0) + 1).map((level) => `h${level} skips`),\
      ...all('button, input:not([type=radio]), select, nav a').filter((e) => Math.min(e.offsetWidth, e.offsetHeight) < 24).map(brief('small')),\
      ...['header', 'main', 'h1'].filter((css) => all(css).length !== 1).map((css) => `not one ${css}`),\
      ...(document.documentElement.scrollWidth > innerWidth ? ['wider than the window'] : []),\
    ]";

#[tokio::test]
async fn our_own_look_finds_nothing_wrong_from_small_phones_to_projectors() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(PHONE, Theme::Light).await;
    run.good_setup();
    bad_setup(&mut run);
    page.go(&format!("http://127.0.0.1:{}/#pair={}", run.port, run.code)).await;
    page.until("paired", "document.body.hasAttribute('data-paired')").await;
    for view in ["", "operator", "staff"] {
        page.go(&format!("http://127.0.0.1:{}/{view}", run.port)).await;
        page.verdict("HOLD").await;
        for size in [PHONE, (768, 1024), DESK, (1920, 1080)] {
            page.look(size, Theme::Light).await;
            assert_eq!(page.script(LOOK).await, serde_json::json!([]), "/{view} at {size:?}");
        }
    }
    // The look can find something.
    page.script("document.querySelector('nav a').textContent = ''; document.querySelector('h1').remove()").await;
    let found = page.script(LOOK).await;
    assert!(found.as_array().unwrap().len() >= 2, "{found}");
}

#[tokio::test]
async fn the_page_is_worked_by_keyboard_alone() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/#pair={}", run.port, run.code)).await;
    page.until("paired", "document.body.hasAttribute('data-paired')").await;
    run.good_setup();
    page.verdict("clear to move").await;
    let focused = "document.activeElement.getAttribute('aria-label') ?? document.activeElement.textContent";
    // Tab until the first reading's commands are reached, as somebody without a mouse does.
    for _ in 0..60 {
        page.press("Tab", 9).await;
        if page.script(&format!("return {focused}")).await == "commands for reading 1" {
            break;
        }
    }
    page.until("the reading is reached", &format!("{focused} === 'commands for reading 1'")).await;
    page.press("Enter", 13).await;
    page.until("its commands", "document.getElementById('reading').open").await;
    page.until("the focus is inside", "document.getElementById('reading').contains(document.activeElement)").await;
    page.press("Enter", 13).await;
    page.until("it is struck", "document.querySelector('tr[data-number=\"1\"]').dataset.state === 'struck'").await;
}

/// Where `tests/run.sh` lays the accessibility checker.
const CHECKER: &str = "target/axe/node_modules/axe-core/axe.min.js";

#[tokio::test]
async fn an_accessibility_checker_finds_nothing() {
    let Ok(checker) = std::fs::read_to_string(format!("{}/{CHECKER}", env!("CARGO_MANIFEST_DIR"))) else {
        eprintln!("skipped: no accessibility checker at {CHECKER}; the page's own checks stand alone");
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
