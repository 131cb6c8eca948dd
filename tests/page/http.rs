//! Over bare sockets: the stream, who is heard, commands, limits, the end.

use std::io::{Read, Write};
use std::process::Command;
use std::time::{Duration, Instant};

use closerun::book::event::{self, Body, Origin};
use closerun::store::Job;
use serde_json::Value;

use super::run::{Message, Run, Stream, connect};
use super::strangers::refuses_strangers;

fn ids(messages: &[Message]) -> Vec<u64> {
    messages.iter().map(|message| message.id.unwrap()).collect()
}

#[test]
fn a_stream_that_comes_again_has_no_gap_and_no_repeat() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    let last = run.state_with(2)["event"].as_u64().unwrap();
    let first = Stream::open(&run, "/v1/events?since=0", None).up_to(last);
    assert_eq!(ids(&first), (1..=last).collect::<Vec<_>>());

    run.good_setup();
    run.good_setup();
    let later = run.state_with(6)["event"].as_u64().unwrap();
    // What a browser says when it comes again wins over what its address said first.
    let rest = Stream::open(&run, "/v1/events?since=0", Some(last)).up_to(later);
    assert_eq!(ids(&rest), (last + 1..=later).collect::<Vec<_>>());

    // The terminal's lines are the same, word for word.
    let shown: Vec<Value> = (0..6).map(|_| run.line("reading")).collect();
    let streamed = first.into_iter().chain(rest).map(|message| message.data);
    assert_eq!(streamed.filter(|line| line["type"] == "reading").collect::<Vec<_>>(), shown);
}

#[test]
fn what_was_kept_before_the_start_is_read_from_the_job() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("a.job");
    let mut run = Run::start(&job);
    run.good_setup();
    let last = run.state_with(2)["event"].as_u64().unwrap();
    let before = Stream::open(&run, "/v1/events?since=0", None).up_to(last);
    let shots = run.shots;
    run.kill();

    let mut run = Run::start(&job);
    run.shots = shots;
    run.good_setup();
    let now = run.state_with(4)["event"].as_u64().unwrap();
    let all = Stream::open(&run, "/v1/events?since=0", None).up_to(now);
    assert_eq!(ids(&all), (1..=now).collect::<Vec<_>>());
    assert_eq!(all[..before.len()], before);
}

#[test]
fn a_number_of_another_job_begins_anew() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    run.state_with(2);
    let mut stream = Stream::open(&run, "/v1/changes", Some(1_000_000));
    assert_eq!(stream.next().unwrap().event, "reset");
    assert_eq!(stream.next().unwrap().event, "whole");
}

#[test]
fn a_page_that_follows_the_changes_has_the_same_book_as_one_that_asks_anew() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    let cookie = run.pair();
    let mut stream = Stream::open(&run, "/v1/changes", None);
    let mut rows: Vec<Value> = Vec::new();
    run.good_setup();
    run.good_setup();
    run.shot("BM-1", "1.70000", "30.00", 'B');
    run.state_with(5);
    for say in [r#"["strike","2"]"#, r#"["restore","2"]"#, r#"["point","4","<b>x</b>"]"#, r#"["strike","5"]"#] {
        let answer = run.post("/v1/say", &format!("{{\"say\":{say}}}"), Some(&cookie));
        assert_eq!(answer.status, 200, "{}", answer.body);
    }
    let wanted: Value = serde_json::from_str(&run.get("/v1/state").body).unwrap();
    loop {
        let message = stream.next().unwrap();
        match &*message.event {
            "whole" => rows = message.data["readings"].as_array().unwrap().clone(),
            "changes" => {
                for row in message.data["rows"].as_array().unwrap() {
                    let index = row["number"].as_u64().unwrap() as usize - 1;
                    rows.resize(rows.len().max(index + 1), Value::Null);
                    rows[index] = row.clone();
                }
                if message.data["event"] == wanted["event"] {
                    assert_eq!(message.data["now"], wanted["now"]);
                    break;
                }
            }
            _ => {}
        }
    }
    assert_eq!(Value::Array(rows), wanted["readings"]);
}

#[test]
fn who_is_foreign_or_not_paired_is_refused_at_every_address_and_leaves_no_event() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    let before = run.line("verdict")["event"].clone();
    refuses_strangers(run.port, &run).unwrap();
    assert_eq!(run.state_with(2)["event"], before);
}

#[test]
fn a_strike_from_the_page_is_in_the_terminal_and_in_the_job() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("a.job");
    let mut run = Run::start(&job);
    run.good_setup();
    run.state_with(2);
    let cookie = run.pair();
    let answer = run.post("/v1/say", r#"{"say":["strike","2"]}"#, Some(&cookie));
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert!(answer.body.contains("reading 2 struck out"), "{}", answer.body);
    let line = run.line("command");
    assert_eq!((&line["text"], &line["by"]), (&"reading 2 struck out".into(), &"page".into()));
    assert_eq!(run.state_with(2)["readings"][1]["state"], "struck");

    let wrong = run.post("/v1/say", r#"{"say":["strike","99"]}"#, Some(&cookie));
    assert_eq!(wrong.status, 409, "{}", wrong.body);
    let wrong = run.post("/v1/say", r#"{"say":["strik","2"]}"#, Some(&cookie));
    assert_eq!(wrong.status, 422);
    assert!(wrong.body.contains("strike was probably meant"), "{}", wrong.body);

    assert!(run.end().0.success());
    let reader = Job::read(&job).unwrap();
    let strikes = reader.events().map(Result::unwrap).filter(|event| {
        matches!(&event.body, Body::Commanded { command: event::Command::Strike { reading: 2, .. }, by: Origin::Page })
    });
    assert_eq!(strikes.count(), 1);
}

#[test]
fn wrong_codes_are_few() {
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let tried = |code: &str| run.post("/v1/pair", &format!("{{\"code\":\"{code}\"}}"), None).status;
    assert_eq!((0..5).map(|_| tried("no")).collect::<Vec<_>>(), [403, 403, 403, 403, 429]);
    assert_eq!(tried(&run.code), 429, "the right code waits too");
}

#[test]
fn the_end_comes_soon_with_streams_open() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    run.state_with(2);
    let mut streams: Vec<Stream> = (0..8).map(|_| Stream::open(&run, "/v1/events", None)).collect();
    let (status, took) = run.end();
    assert!(status.success());
    // A second for the page, and what a loaded machine takes for the rest.
    assert!(took < Duration::from_secs(3), "{took:?}");
    for stream in &mut streams {
        let mut last = None;
        while let Some(message) = stream.next() {
            last = Some(message.event);
        }
        assert_eq!(last.as_deref(), Some("ended"));
    }
}

#[test]
fn too_many_connections_are_turned_away_and_idle_ones_let_go() {
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let began = Instant::now();
    let mut half: Vec<_> = (0..1000).map(|_| connect(run.port)).collect();
    half[0].write_all(b"GET / HT").unwrap();
    // Whoever comes now is told to come again, or finds the door shut; the page opens again when the idle are let go.
    let mut turned_away = 0;
    loop {
        let mut next = connect(run.port);
        let mut answer = String::new();
        let asked = next.write_all(format!("GET / HTTP/1.0\r\nHost: {}\r\n\r\n", run.host()).as_bytes());
        if asked.is_ok() && next.read_to_string(&mut answer).is_ok() && answer.starts_with("HTTP/1.0 200") {
            break;
        }
        turned_away += 1;
        assert!(began.elapsed() < Duration::from_secs(25), "still shut");
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(turned_away > 0);
    assert!(began.elapsed() > Duration::from_secs(8), "they were let go after {:?}", began.elapsed());
}

#[test]
fn a_request_too_large_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    let cookie = run.pair();
    let large = format!("{{\"say\":[\"note\",\"{}\"]}}", "x".repeat(70 * 1024));
    assert_eq!(run.post("/v1/say", &large, Some(&cookie)).status, 413);
}

#[test]
fn every_answer_forbids_what_is_not_ours() {
    let folder = tempfile::tempdir().unwrap();
    let run = Run::start(&folder.path().join("a.job"));
    for path in ["/", "/page.js", "/v1/state", "/nothing"] {
        let answer = run.get(path);
        let policy = answer.header("content-security-policy").expect(path);
        assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"));
    }
    let metrics = run.get("/metrics").body;
    assert!(metrics.contains("closerun_recording{instrument=\"a\"} 1"), "{metrics}");
}

/// Whether a text holds the code as a word of its own; six digits inside a longer number are somebody else's.
fn tells(text: &str, code: &str) -> bool {
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    text.match_indices(code)
        .any(|(at, _)| !digit(text[..at].chars().next_back()) && !digit(text[at + code.len()..].chars().next()))
}

#[test]
fn no_secret_of_the_pairing_is_told_anywhere_but_in_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("a.job");
    let mut run = Run::start(&job);
    run.good_setup();
    run.state_with(2);
    let cookie = run.pair();
    let secret = cookie.split_once('=').unwrap().1.to_owned();
    let mut told = vec![run.post("/v1/pair", r#"{"code":"x"}"#, None).body];
    told.push(run.post("/v1/say", r#"{"say":["note","a","word"]}"#, Some(&cookie)).body);
    told.push(run.post("/v1/say", r#"{"say":["nothing"]}"#, Some(&cookie)).body);
    for path in ["/v1/state", "/v1/paired", "/v1/overview", "/v1/openapi.json", "/metrics", "/", "/page.js", "/no"] {
        let answer = run.get(path);
        told.push(answer.head);
        told.push(answer.body);
    }
    let events = Stream::open(&run, "/v1/events?since=0", None).up_to(3);
    told.extend(events.iter().map(|message| message.data.to_string()));
    let code = run.code.clone();
    told.extend(run.rest());
    assert!(
        told.len() > 20 && told.iter().any(|text| text.contains("\"type\":\"reading\"")),
        "all of it was looked at"
    );
    for text in &told {
        assert!(!text.contains(&secret) && !tells(text, &code), "{text}");
    }
    // Of the record's bytes only the secret is looked for: six digits may stand in them by chance.
    let kept = std::fs::read(&job).unwrap();
    assert!(kept.windows(secret.len()).all(|part| part != secret.as_bytes()));
    assert!(tells(&format!("code {code}."), &code) && !tells(&format!("1{code}"), &code));
}

#[test]
fn the_stream_is_read_by_curl_and_goes_on_where_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::start(&folder.path().join("a.job"));
    run.good_setup();
    // The last that follows from a setup.
    let last = run.line("verdict")["event"].as_u64().unwrap();
    let url = format!("http://{}/v1/events?since=0", run.host());
    let read = |last_seen: u64| {
        let header = format!("Last-Event-ID: {last_seen}");
        let mut curl = Command::new("curl");
        curl.args(["--silent", "--no-buffer", "--max-time", "3", "--header", &header, &url]);
        curl.output().map(|output| String::from_utf8(output.stdout).unwrap())
    };
    let Ok(all) = read(0) else {
        assert!(std::env::var("CI").as_deref() != Ok("true"), "curl is wanted under CI=true");
        eprintln!("skipped: no curl");
        return;
    };
    let ids =
        |text: &str| -> Vec<u64> { text.lines().filter_map(|line| line.strip_prefix("id: ")?.parse().ok()).collect() };
    assert_eq!(ids(&all), (1..=last).collect::<Vec<_>>());
    assert!(all.contains("event: line\ndata: {\"schema\":1,") && all.contains("event: beat\n"), "{all}");
    assert_eq!(ids(&read(last - 2).unwrap()), [last - 1, last]);
}
