//! What arrives on a bad line: kept to the byte, named, and booked only if it is a reading.

use std::time::Duration;

use closerun::book::event::{Body, LinkState};
use closerun::book::finding::FindingId;
use closerun::book::moment::Moment;
use closerun::book::reading::Heard;
use closerun::link::LinkEvent;
use closerun::report::live::What;
use closerun::simulate::Chance;

use crate::rig::{Done, Floor, Start, assert_red, comma, invented, play, want};
use crate::stand_ins::{Write, honest};

#[tokio::test(start_paused = true)]
async fn half_a_record_is_not_glued_to_what_comes_after_an_unplugging() {
    let half_then_whole = async |floor: &mut Floor, unplug: bool| {
        floor.open().await;
        floor.send(&comma(1, "1.28340", "31.42")[..9]);
        if unplug {
            floor.unplug();
            floor.settle().await;
            floor.open().await;
        }
        floor.hear(&comma(2, "0.91215", "27.20")).await;
    };
    let check = |done: &Done<()>| {
        done.sound()?;
        let heard = done.heard();
        want(matches!(heard[0], (Heard::Unfinished, b"R,1,,1.28")), || format!("first {:?}", heard[0]))?;
        want(done.digits() == ["0.91215"], || format!("booked {:?}", done.digits()))
    };
    check(&play(Start::hearing("comma"), async |floor| half_then_whole(floor, true).await).await).unwrap();

    // Planted: a link that does not say that it was gone.
    let glued = play(Start::hearing("comma"), async |floor| half_then_whole(floor, false).await).await;
    assert_red(check(&glued), "first");
}

#[tokio::test(start_paused = true)]
async fn garbage_of_a_wrong_speed_is_never_booked_and_told_after_three_seconds() {
    // 1 MB in all, sent at one speed and read at another, at the pace of the line.
    for (format, sent, read, bytes) in [
        ("comma", 9_600, 4_800, 262_144),
        ("columns", 4_800, 9_600, 262_144),
        ("sentence", 19_200, 9_600, 262_144),
        ("packet", 115_200, 57_600, 262_144),
    ] {
        let garbage = at_wrong_speed(&records(format, bytes), sent, read);
        assert!(garbage.len() > bytes / 4, "{format}: {} bytes arrived", garbage.len());
        let done = play(Start::hearing(format), async |floor| babble(floor, &garbage, 1).await).await;
        nothing_of_it(&done).unwrap();
    }

    // Planted: a format that takes any two bytes for a reading.
    let lax = "format = 1\nname = \"lax\"\ntitle = \"anything goes\"\n[frame]\nkind = \"fixed\"\nsize = 2\n[[record]]\n\
               name = \"r\"\nkind = \"reading\"\nlayout = \"binary\"\nfields = [{ is = \"unsigned\", bytes = 2, means = \
               \"staff\", unit = \"m\", implied = 4 }]\n";
    let garbage = at_wrong_speed(&records("comma", 4_096), 9_600, 4_800);
    let lax = Start::speaking(invented(lax));
    assert_red(nothing_of_it(&play(lax, async |floor| babble(floor, &garbage, 1).await).await), "booked");

    // Planted: a loop that is never woken by time alone, as if three seconds never passed.
    let hasty = play(Start::hearing("comma"), async |floor| babble(floor, &garbage, 0).await).await;
    assert_red(nothing_of_it(&hasty), "babble");
}

/// Sends garbage, a second's worth each so many seconds.
async fn babble(floor: &mut Floor, garbage: &[u8], every_s: u64) {
    floor.open().await;
    for second in garbage.chunks(4_096) {
        floor.send(second);
        floor.pass(Duration::from_secs(every_s)).await;
    }
    floor.pass(Duration::from_secs(4 * every_s)).await;
    if every_s > 0 {
        assert!(floor.ledger.events().len() > 3, "it is kept meanwhile");
    }
}

fn nothing_of_it(done: &Done<()>) -> Result<(), String> {
    done.sound()?;
    want(done.digits().is_empty(), || format!("booked {:?}", done.digits()))?;
    let said: Vec<(&str, i64)> = done
        .events
        .iter()
        .filter_map(|event| match &event.body {
            Body::LinkChanged { state: LinkState::Babble { sample } } => Some((&sample[..], event.at.us())),
            _ => None,
        })
        .collect();
    let [(sample, at)] = said[..] else { return Err(format!("babble told {} times", said.len())) };
    let first = done.events.iter().find(|event| !event.raw.is_empty()).expect("something was kept");
    let all: Vec<u8> = done.events.iter().flat_map(|event| event.raw.iter().copied()).collect();
    let bytes: Vec<String> = all[..16].iter().map(|byte| format!("{byte:02X}")).collect();
    want(sample == bytes.join(" "), || format!("sample {sample}, first bytes {bytes:?}"))?;
    let after = Duration::from_micros((at - first.at.us()) as u64);
    want((3.0..4.5).contains(&after.as_secs_f64()), || format!("babble told after {after:?}"))?;
    want(done.announced(FindingId::LinkQuiet) == 1, || "babble announced more or less than once".to_owned())
}

/// Good records of a format, about so many bytes.
fn records(format: &str, bytes: usize) -> Vec<u8> {
    let mut stream = Vec::new();
    let mut number = 0;
    while stream.len() < bytes {
        number += 1;
        stream.extend(crate::chunks::record(format, number));
    }
    stream
}

/// What a receiver makes of bytes that were sent at another speed, both with eight bits, no parity, one stop bit. A
/// sender's bit lasts `read` ticks, a receiver's `sent`; each bit is looked at in its middle.
fn at_wrong_speed(bytes: &[u8], sent: usize, read: usize) -> Vec<u8> {
    let level = |bit: usize| match (bytes.get(bit / 10), bit % 10) {
        (Some(_), 0) => false,
        (Some(byte), place @ 1..=8) => byte >> (place - 1) & 1 == 1,
        (Some(_), _) | (None, _) => true,
    };
    let end = bytes.len() * 10 * read;
    let mut received = Vec::new();
    let mut now = 0;
    loop {
        // The start bit begins where the line falls; the sender changes it only where its bits begin.
        while now < end && level(now / read) {
            now = (now / read + 1) * read;
        }
        if now >= end {
            return received;
        }
        let sample = |bit: usize| level((now + sent * (2 * bit + 1) / 2) / read);
        received.push((1..=8).fold(0, |byte, bit| byte | u8::from(sample(bit)) << (bit - 1)));
        now += sent * 19 / 2;
        while now < end && !level(now / read) {
            now = (now / read + 1) * read;
        }
    }
}

#[test]
fn a_line_read_at_its_own_speed_says_what_was_sent() {
    let sent = b"R,12,TP6,1.28340,31.42,B\r\n";
    assert_eq!(at_wrong_speed(sent, 9_600, 9_600), sent);
    assert_ne!(at_wrong_speed(sent, 9_600, 19_200), sent);
}

#[tokio::test(start_paused = true)]
async fn the_tail_of_a_record_is_a_fragment_and_the_next_is_booked() {
    for format in ["comma", "columns", "sentence", "packet"] {
        let (first, second) = (crate::chunks::record(format, 1), crate::chunks::record(format, 2));
        let done = play(Start::hearing(format), async |floor| {
            floor.link(LinkEvent::Opened { what: "test line".to_owned(), simulated: closerun::link::Simulated::No });
            floor.hear(&[&first[5..], &second].concat()).await;
        })
        .await;
        done.assert_sound();
        let heard = done.heard();
        assert!(matches!(heard[0], (Heard::Fragment, raw) if raw == &first[5..]), "{format}: {:?}", heard[0]);
        assert!(matches!(heard[1..], [(Heard::Reading(_), raw)] if raw == second), "{format}: {:?}", &heard[1..]);
    }
}

#[tokio::test(start_paused = true)]
async fn what_no_check_protects_says_so_wherever_it_shows() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        let mut changed = comma(1, "1.28340", "31.42");
        let digit = changed.iter().position(|&byte| byte == b'8').unwrap();
        changed[digit] = b'9';
        floor.hear(&changed).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.digits(), ["1.29340"], "nobody can know");
    let remarks = done.seen.lines.iter().find_map(|line| match &line.what {
        What::Reading(reading) => Some(reading.remarks.clone()),
        _ => None,
    });
    assert_eq!(remarks, Some(vec!["unprotected".into()]));
    assert!(done.seen.text.iter().any(|text| text.contains("1.29340") && text.contains("unprotected")));
    assert!(done.book().entries()[0].reading.unprotected, "and the book and whatever is made from it knows");

    let guarded = play(Start::hearing("sentence"), async |floor| {
        floor.open().await;
        floor.hear(&crate::chunks::record("sentence", 1)).await;
    })
    .await;
    assert!(!guarded.seen.text.iter().any(|text| text.contains("unprotected")));
}

/// An invented format that echoes, prompts, and asks to be greeted.
const TALKER: &str = r#"
format = 1
name = "talker"
title = "a line that echoes and prompts"
[frame]
kind = "line"
end = "\n"
[[record]]
name = "shot"
kind = "reading"
begins = "S"
layout = "separated"
separator = ","
fields = [{ is = "decimal", means = "staff", unit = "m", decimals = 4 }]
[[record]]
name = "prompt"
kind = "ignored"
begins = "ready>"
[talk]
echo = true
greeting = ["hello\n"]
"#;

#[tokio::test(start_paused = true)]
async fn echo_prompts_and_noise_are_kept_each_under_its_name() {
    let done = play(Start::speaking(invented(TALKER)), async |floor| {
        floor.open().await;
        let greeting = floor.instrument.try_recv().expect("the format's greeting is sent");
        assert_eq!(greeting, b"hello\n");
        floor.hear(&greeting).await;
        floor.hear(b"ready> 1\n").await;
        floor.hear(b"S1.2345\n").await;
        floor.hear(b"\xff\x00@#\n").await;
        floor.hear(b"\n").await;
        floor.hear(b"S0.9876\nready> 2\nS0.98").await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.digits(), ["1.2345", "0.9876"]);
    let bytes = done.book().records().bytes;
    // hello and two shots; two prompts and an empty line; five bytes of noise; half a shot.
    assert_eq!((bytes.understood, bytes.ignored, bytes.refused, bytes.unfinished), (22, 19, 5, 5));
    let names: Vec<&str> = done
        .heard()
        .iter()
        .map(|(heard, _)| match heard {
            Heard::Echo => "echo",
            Heard::Ignored { .. } => "ignored",
            Heard::Reading(_) => "reading",
            Heard::Refused(_) => "refused",
            Heard::Unfinished => "unfinished",
            _ => "other",
        })
        .collect();
    assert_eq!(
        names,
        ["echo", "ignored", "reading", "refused", "ignored", "reading", "ignored", "unfinished"],
        "{:?}",
        done.heard()
    );
}

#[tokio::test(start_paused = true)]
async fn noise_of_any_kind_between_records_costs_no_record() {
    let mut chance = Chance::seeded(16);
    for format in ["comma", "columns", "sentence", "packet"] {
        let done = play(Start::hearing(format), async |floor| {
            floor.open().await;
            for number in 1..=40 {
                // What no record of these formats holds, so that the next line, or start byte, is a clean one.
                let noise: Vec<u8> = (0..chance.below(40)).map(|_| 0x80 | 0x0e ^ chance.below(2) as u8).collect();
                let ended = if matches!(format, "comma" | "columns") && !noise.is_empty() { &b"\r\n"[..] } else { b"" };
                let ended = if format == "columns" { &ended[..ended.len().min(1)] } else { ended };
                floor.hear(&[&noise, ended, &crate::chunks::record(format, number)].concat()).await;
            }
        })
        .await;
        done.assert_sound();
        assert_eq!(done.digits().len(), 40, "{format}");
    }
}

#[tokio::test(start_paused = true)]
async fn a_record_sent_twice_is_used_once_and_kept_twice() {
    let twice = async |floor: &mut Floor, apart_us: i64| {
        floor.open().await;
        let record = crate::chunks::record("columns", 7);
        let now = floor.now();
        floor.line.send_at(now, &record);
        floor.line.send_at(Moment::from_us(now.us() + apart_us), &record);
        floor.settle().await;
    };
    let check = |done: &Done<()>| {
        done.sound()?;
        let kept: Vec<u64> = done.events.iter().filter(|e| !e.raw.is_empty()).map(|e| e.seq).collect();
        want(kept.len() == 2, || format!("kept {kept:?}"))?;
        want(done.digits().len() == 1, || format!("booked {:?}", done.digits()))?;
        let named = done.heard().iter().any(|(heard, _)| matches!(heard, Heard::Repeated { of } if *of == kept[0]));
        want(named, || format!("named {:?}", done.heard()))?;
        want(done.announced(FindingId::RecordRepeated) == 1, || "announced otherwise than once".to_owned())
    };
    let resend_s = 1_500_000;
    check(&play(Start::hearing("columns"), async |floor| twice(floor, resend_s).await).await).unwrap();

    // Planted: a store that takes a second record for a mistake and leaves it out.
    let done = play(Start::hearing("columns"), async |floor| {
        floor.ledger.write_by(without_repeats());
        twice(floor, resend_s).await;
    })
    .await;
    assert_red(check(&done), "shown before they were kept");

    // Planted: a record without its number, so long after that it is taken for a new shot.
    let unnumbered = invented(UNNUMBERED);
    let done = play(Start::speaking(unnumbered), async |floor| {
        floor.open().await;
        floor.hear(b"S1.2345\n").await;
        floor.hear(b"S1.2345\n").await;
    })
    .await;
    assert_red(check(&done), "booked");
}

/// Records that an instrument keeps, and sends all at once when somebody presses the wrong key.
const MEMORY: usize = 500;

#[tokio::test(start_paused = true)]
async fn an_instrument_that_sends_its_memory_changes_nothing() {
    let shots: Vec<Vec<u8>> = (1..=MEMORY).map(|n| comma(n, &format!("{}.{:05}", 1 + n % 2, n * 7), "20.00")).collect();
    let dumped = async |memory: Vec<u8>| {
        play(Start::hearing("comma"), async |floor| {
            floor.open().await;
            for shot in &shots {
                floor.hear(shot).await;
            }
            floor.hear(&memory).await;
            floor.hear(&comma(MEMORY + 1, "1.99999", "20.00")).await;
        })
        .await
    };
    let check = |done: &Done<()>| {
        done.sound()?;
        want(done.digits().len() == MEMORY + 1, || format!("booked {}", done.digits().len()))?;
        let repeated = done.heard().iter().filter(|(heard, _)| matches!(heard, Heard::Repeated { .. })).count();
        want(repeated == MEMORY, || format!("{repeated} are known again"))
    };
    check(&dumped(shots.concat()).await).unwrap();

    // Planted: records whose numbers are other ones each time they are sent.
    let anew = (1..=MEMORY).flat_map(|n| comma(n + 1000, &format!("{}.{:05}", 1 + n % 2, n * 7), "20.00"));
    assert_red(check(&dumped(anew.collect()).await), "booked 1001");
}

/// An invented format that sends the instrument's own time.
const TIMED: &str = r#"
format = 1
name = "timed"
title = "a staff reading a line, with the time that the instrument has"
[frame]
kind = "line"
end = "\n"
[[record]]
name = "shot"
kind = "reading"
begins = "S"
layout = "separated"
separator = ","
fields = [
    { is = "decimal", means = "staff", unit = "m", decimals = 4 },
    { is = "text", means = "time" },
]
"#;

#[tokio::test(start_paused = true)]
async fn no_time_of_the_instrument_drops_or_moves_a_reading() {
    let times = ["2026-09-21 14:13:20", "2099-01-01 00:00:00", "1980-01-06 00:00:00", "2026-10-25 02:30:00"];
    let times = times.into_iter().chain(["2026-10-25 02:30:00", "2026-02-30 25:61:61", "half past nine"]);
    let times: Vec<&str> = times.collect();
    let done = play(Start::speaking(invented(TIMED)), async |floor| {
        floor.open().await;
        for (n, time) in times.iter().enumerate() {
            floor.hear(format!("S1.{n}000,{time}\n").as_bytes()).await;
        }
    })
    .await;
    done.assert_sound();
    let sent: Vec<String> = (0..times.len()).map(|n| format!("1.{n}000")).collect();
    assert_eq!(done.digits(), sent, "in the order in which they came");
    let heard = done.heard();
    let kept = heard.iter().filter_map(|(heard, _)| match heard {
        Heard::Reading(reading) => reading.time.as_deref(),
        _ => None,
    });
    assert_eq!(kept.collect::<Vec<_>>(), times, "and each is kept as it was sent");
}

/// An invented format whose records carry no number.
const UNNUMBERED: &str = r#"
format = 1
name = "bare"
title = "a staff reading a line"
[frame]
kind = "line"
end = "\n"
[[record]]
name = "shot"
kind = "reading"
begins = "S"
layout = "separated"
separator = ","
fields = [{ is = "decimal", means = "staff", unit = "m", decimals = 4 }]
"#;

fn without_repeats() -> Write {
    let mut write = honest();
    Box::new(move |log, events| {
        let repeats = |body: &Body| matches!(body, Body::Heard { heard: Heard::Repeated { .. } });
        let held: Vec<_> = events.iter().filter(|event| !repeats(&event.body)).cloned().collect();
        write(log, &held)
    })
}
