//! The same promises with a fault planted: each test of a promise must be seen to fail without it.

use std::time::Duration;

use super::browser::{comes_back, flickers};
use super::chrome::{Chrome, Theme};
use super::idle::idle_clients_are_cut;
use super::names::names_stay_text;
use super::run::Run;
use super::strangers::{refuses_strangers, unguarded};

const DESK: (u32, u32) = (1366, 768);

#[test]
fn a_door_without_a_guard_hears_strangers() {
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let why = refuses_strangers(unguarded(&run), &run).unwrap_err();
    assert!(why.contains("was answered with 200"), "{why}");
}

#[test]
fn a_stream_without_a_bound_holds_who_never_reads() {
    let why = idle_clients_are_cut(1 << 20, Duration::from_secs(1)).unwrap_err();
    assert!(why.contains("closerun_page_streams_cut_total{instrument=\"level\"} 0"), "{why}");
}

#[tokio::test]
async fn texts_that_become_markup_are_seen() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(DESK, Theme::Light).await;
    page.plant(
        "Element.prototype.append = function (...parts) {\
           for (const part of parts) part instanceof Node ? this.appendChild(part) : this.insertAdjacentHTML('beforeend', part);\
         };",
    )
    .await;
    let why = names_stay_text(&page, &mut run).await.unwrap_err();
    assert!(why.contains("the remark is shown as text"), "{why}");
}

#[tokio::test]
async fn a_page_that_does_not_watch_its_stream_does_not_come_back() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let page = chrome.open(DESK, Theme::Light).await;
    // It neither looks at the time nor hears that its stream has broken.
    page.plant(
        "window.setInterval = () => 0;\
         Object.defineProperty(EventSource.prototype, 'onerror', { set() {}, get() { return null; } });",
    )
    .await;
    let why = comes_back(&page, &folder.path().join("a.job"), Duration::from_secs(2)).await.unwrap_err();
    assert!(why.contains("the verdict \"not live\""), "{why}");
}

#[tokio::test]
async fn an_ear_without_memory_chatters() {
    let Some(mut chrome) = Chrome::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let page = chrome.open(DESK, Theme::Light).await;
    page.go(&format!("http://127.0.0.1:{}/operator", run.port)).await;
    let sounds = flickers(&page, "class extends Ear { hear(line) { this.told.clear(); super.hear(line); } }").await;
    assert_eq!(sounds, 200);
}
