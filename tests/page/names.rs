//! Hostile names and remarks: shown as text, whatever they look like.

use std::time::Duration;

use serde_json::json;

use super::chrome::Page;
use super::run::{PATIENCE, Run};

/// As an instrument sends them.
const SENT: &[&str] = &["<img src=x>", "'\"><b>", "=1+1", "-x", "../x", "&lt;i&gt;", "</title>", "CON", "nul.csv"];
/// As a person types it.
const TYPED: &str = "<script>document.title='owned'</script><svg/onload=alert(1)>";
const REMARK: &str = "<img src=x onerror=document.title='owned'>";

/// Sends them all, and looks at what the page makes of them.
///
/// # Errors
/// One of them was taken for markup, or not shown as it is.
pub(crate) async fn names_stay_text(page: &Page, run: &mut Run) -> Result<(), String> {
    page.go(&format!("http://127.0.0.1:{}/", run.port)).await;
    for name in SENT {
        run.shot("", "1.50000", "30.00", 'B');
        run.shot(name, "1.40000", "30.10", 'F');
    }
    run.state_with(2 * SENT.len());
    let cookie = run.pair();
    let say = |words: &[&str]| run.post("/v1/say", &json!({ "say": words }).to_string(), Some(&cookie)).status;
    assert_eq!(say(&["point", "2", TYPED]), 200);
    assert_eq!(say(&["note", "2", REMARK]), 200);
    // Names that no person types are refused.
    for name in ["a\u{0}b", "a\u{202e}b", &"x".repeat(10_000)] {
        assert_eq!(say(&["point", "2", name]), 422, "{name:?}");
    }
    let shown = "document.querySelector('tr[data-number=\"2\"] .remarks')?.textContent.includes('onerror')";
    page.within(PATIENCE, "the remark is shown as text", shown).await?;
    page.within(PATIENCE, "the plots are drawn", "document.querySelectorAll('.plot svg').length === 3").await?;
    let strangers = "document.querySelectorAll('main img, main script, main b, main i, .plot a, .plot script').length";
    page.within(Duration::from_millis(500), "no markup of strangers", &format!("{strangers} === 0")).await?;
    assert!(page.script("return document.title").await.as_str().unwrap().ends_with("closerun"));
    assert_eq!(page.text("tr[data-number=\"2\"] .point").await, TYPED);
    for (index, sent) in SENT.iter().enumerate().skip(1) {
        assert_eq!(page.text(&format!("tr[data-number=\"{}\"] .point", 2 * index + 2)).await, *sent);
    }
    Ok(())
}
