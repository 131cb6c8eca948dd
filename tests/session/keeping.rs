//! The disk is slow, full or dishonest: nothing is shown that is not kept, the crew is told at once, and what came
//! meanwhile follows in order when it can be kept again.

use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;

use closerun::book::event::{Body, Event, Origin};
use closerun::book::finding::Priority;
use closerun::daemon::{Answer, Clock, Ending, NotKept, Worry};
use closerun::report::live::What;
use closerun::store::PathState;

use crate::rig::{Done, Floor, Start, assert_red, comma, digits, play, want};
use crate::stand_ins::{Seen, Write, honest};

const SECOND: Duration = Duration::from_secs(1);

/// How long the slow disk takes to keep something.
const SLOW: Duration = Duration::from_secs(2);
/// What a line of 9,600 Bd brings in that time, at ten bits a byte.
const BROUGHT: usize = 1_920;
/// In so many parts.
const PARTS: usize = 20;
/// What a kernel holds of a line that nobody reads.
const KERNEL_MAX: usize = 4_096;

/// Who reads the port.
#[derive(Clone, Copy)]
enum Reader {
    /// A thread of its own, as it should be.
    Thread,
    /// Planted: the loop itself, when it is not waiting for the disk.
    Loop,
}

#[tokio::test(start_paused = true)]
async fn a_slow_disk_loses_nothing_and_the_lag_is_told() {
    let mut stream = Vec::new();
    let mut sent = Vec::new();
    while stream.len() < 16 * 1024 {
        let staff = format!("1.{:05}", sent.len() * 7 + 10_000);
        stream.extend(comma(sent.len() + 1, &staff, "20.00"));
        sent.push(staff);
    }
    let check = |done: &Done<()>| {
        done.sound()?;
        want(done.digits() == sent, || format!("{} of {} readings booked", done.digits().len(), sent.len()))?;
        want(done.shown() == sent, || "shown otherwise than booked".to_owned())?;
        let told = notices(&done.seen, Priority::Warn).iter().filter(|text| text.contains("lags behind")).count();
        want(told == 1, || format!("the lag was told {told} times"))
    };
    check(&play(Start::hearing("comma"), async |floor| slowly(floor, stream.clone(), Reader::Thread).await).await)
        .unwrap();
    let lossy = play(Start::hearing("comma"), async |floor| slowly(floor, stream.clone(), Reader::Loop).await).await;
    assert_red(check(&lossy), "readings booked");
}

/// The bytes come in at the speed of the line, whatever the disk does.
async fn slowly(floor: &mut Floor, stream: Vec<u8>, reader: Reader) {
    floor.open().await;
    let rest = Rc::new(RefCell::new(stream.into_iter()));
    let kernel = Rc::new(RefCell::new(Vec::new()));
    floor.ledger.write_by({
        let (line, rest, kernel) = (floor.line.clone(), Rc::clone(&rest), Rc::clone(&kernel));
        let clock = floor.clock.clone();
        let mut write = honest();
        Box::new(move |log, events| {
            for _ in 0..PARTS {
                clock.hold(SLOW / PARTS as u32);
                let brought: Vec<u8> = rest.borrow_mut().by_ref().take(BROUGHT / PARTS).collect();
                match reader {
                    Reader::Thread if brought.is_empty() => {}
                    Reader::Thread => line.send(&brought),
                    Reader::Loop => {
                        let room = KERNEL_MAX - kernel.borrow().len();
                        kernel.borrow_mut().extend(brought.into_iter().take(room));
                    }
                }
            }
            write(log, events)
        })
    });
    floor.told("note the line begins to speak").await;
    while rest.borrow().len() > 0 || !kernel.borrow().is_empty() {
        let held = std::mem::take(&mut *kernel.borrow_mut());
        if !held.is_empty() {
            floor.send(&held);
        }
        floor.settle().await;
    }
    floor.settle().await;
    floor.ledger.write_by(honest());
}

fn notices(seen: &Seen, wanted: Priority) -> Vec<String> {
    let text = |line: &closerun::report::live::Line| match &line.what {
        What::Notice { priority, text } if *priority == wanted => Some(text.clone()),
        _ => None,
    };
    seen.lines.iter().filter_map(text).collect()
}

#[tokio::test(start_paused = true)]
async fn what_could_not_be_kept_is_not_shown_and_follows_when_it_can_be() {
    let records: Vec<Vec<u8>> = (1..=6).map(|n| comma(n, &format!("1.{n}0000"), "20.00")).collect();
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.hear(&records[0]).await;
        floor.hear(&records[1]).await;
        floor.ledger.break_down("the disk is full");
        let before = floor.seen().lines.len();
        floor.send(&records[2]);
        floor.settle().await;
        // Told at once: no time has passed.
        let seen = floor.seen();
        assert_eq!(notices(&seen, Priority::Hold).len(), 1);
        assert_eq!(seen.lines.len(), before + 1, "and nothing else is shown");
        assert!(seen.text.last().unwrap().starts_with("   ") || seen.text.last().unwrap().starts_with("[HOLD]"));
        assert!(seen.text.concat().contains("NOT RECORDING: the disk is full"));

        floor.hear(&records[3]).await;
        let refused = floor.say("strike 1", Origin::Tell).await;
        assert!(matches!(&refused, Answer::Refused(why) if why.contains("the disk is full")), "{refused:?}");
        assert!(matches!(floor.say("status", Origin::Tell).await, Answer::Done(_)), "what is kept can be asked for");
        floor.send(&records[4]);
        floor.pass(600 * SECOND).await;
        assert_eq!(floor.ledger.readings(), 2);
        assert_eq!(floor.seen().lines.len(), before + 1, "told once");

        floor.ledger.mend();
        floor.pass(3 * SECOND).await;
        assert_eq!(floor.ledger.readings(), 5, "within the time of two tries");
        floor.hear(&records[5]).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.digits(), ["1.10000", "1.20000", "1.30000", "1.40000", "1.50000", "1.60000"]);
    assert_eq!(done.shown(), done.digits());
    let resumed = |event: &&Event| matches!(&event.body, Body::RecordingResumed { cause } if cause.contains("full"));
    assert_eq!(done.events.iter().filter(resumed).count(), 1, "the gap is in the record");
    assert!(notices(&done.seen, Priority::Warn).iter().any(|text| text.contains("recording again")));
    // What came meanwhile has the times at which it came.
    let times: Vec<u64> =
        done.events.iter().filter(|e| !e.raw.is_empty()).map(|e| e.at.us() as u64 / 1_000_000).collect();
    assert!(times[3] - times[2] < 2 && times[4] - times[3] < 6, "{times:?}");
}

#[tokio::test(start_paused = true)]
async fn a_store_that_only_says_it_kept_is_found_out() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.hear(&comma(1, "1.28340", "20.00")).await;
        floor.ledger.write_by(Box::new(|_, _| Ok(())));
        floor.hear(&comma(2, "0.91215", "20.00")).await;
    })
    .await;
    assert_red(done.sound(), "shown before they were kept");
}

/// What a failing write leaves behind.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Leaves {
    Nothing,
    /// It was kept after all, and only the answer was lost.
    All,
}

/// Four shots, an unplugging, a strike, one more shot: what a crew does.
async fn a_while(floor: &mut Floor) -> Option<Answer> {
    floor.open().await;
    for (number, staff) in ["1.50000", "1.20000", "1.40000", "1.10000"].iter().enumerate() {
        floor.hear(&comma(number + 1, staff, if number == 3 { "24.00" } else { "20.00" })).await;
    }
    floor.unplug();
    floor.pass(4 * SECOND).await;
    floor.open().await;
    let struck = floor.say("strike 4", Origin::Tell).await;
    floor.pass(4 * SECOND).await;
    floor.hear(&comma(5, "1.10010", "20.10")).await;
    floor.pass(4 * SECOND).await;
    Some(struck)
}

#[tokio::test(start_paused = true)]
async fn whichever_write_fails_nothing_is_lost_doubled_or_told_twice() {
    let whole = play(Start::hearing("comma"), a_while).await;
    whole.assert_sound();
    let appends = {
        let count = Rc::new(RefCell::new(0));
        let counted = Rc::clone(&count);
        let mut write = honest();
        let start = Start::hearing("comma");
        play(start, async move |floor| {
            floor.ledger.write_by(Box::new(move |log, events| {
                *counted.borrow_mut() += 1;
                write(log, events)
            }));
            a_while(floor).await
        })
        .await
        .assert_sound();
        *count.borrow()
    };
    assert!(appends > 10, "{appends}");

    for fails in 1..=appends {
        for leaves in [Leaves::Nothing, Leaves::All] {
            let done = play(Start::hearing("comma"), async |floor| {
                floor.ledger.write_by(failing_at(fails, leaves));
                a_while(floor).await
            })
            .await;
            let at = format!("write {fails} leaves {leaves:?}");
            done.sound().unwrap_or_else(|why| panic!("{at}: {why}"));
            let struck = matches!(done.gave, Some(Answer::Done(_)));
            let commands = done.events.iter().filter(|e| matches!(e.body, Body::Commanded { .. })).count();
            // A person who is told "not recording" says it again; it is not done behind their back, unless it was
            // on the disk already.
            assert!(struck == (commands == 1) || leaves == Leaves::All, "{at}: {:?}", done.gave);
            assert_eq!(done.digits(), whole.digits(), "{at}");
            assert_eq!(done.shown(), whole.digits(), "{at}");
            assert_eq!(notices(&done.seen, Priority::Hold).len(), 1, "{at}: {:?}", done.seen.text);
            let shown: Vec<u64> = done
                .seen
                .lines
                .iter()
                .filter(|line| !matches!(line.what, What::Notice { .. }))
                .map(|line| line.event)
                .collect();
            let mut once = shown.clone();
            once.dedup();
            assert_eq!(shown, once, "{at}: each event is shown once");
            if commands == 1 {
                let kinds = |done: &Done<_>| -> Vec<Body> {
                    let ours = |body: &Body| !matches!(body, Body::RecordingResumed { .. });
                    done.events.iter().map(|event| event.body.clone()).filter(ours).collect()
                };
                assert_eq!(kinds(&done).len(), kinds(&whole).len(), "{at}");
            }
        }
    }
}

fn failing_at(fails: usize, leaves: Leaves) -> Write {
    let mut appends = 0;
    let mut write = honest();
    Box::new(move |log, events| {
        appends += 1;
        if appends != fails {
            return write(log, events);
        }
        if leaves == Leaves::All {
            write(log, events)?;
        }
        Err(NotKept { cause: "input/output error".to_owned(), stops: true })
    })
}

/// Readings that wait when the run is told to stop: half an hour of a busy crew.
const BACKLOG: usize = 2000;

/// What a backlog comes to when each append goes by `write`, and how long the clock stood in the stop.
async fn stopped_with_a_backlog(write: Write) -> (Done<()>, Duration) {
    let clock = RefCell::new(None);
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        let (hands, mut write) = (floor.clock.clone(), write);
        *clock.borrow_mut() = Some((hands.clone(), hands.steady()));
        floor.ledger.write_by(Box::new(move |log, events| {
            hands.hold(SYNC);
            write(log, events)
        }));
        for n in 0..BACKLOG {
            floor.send(&comma(n + 1, &format!("1.{:05}", n * 7), "20.00"));
        }
    })
    .await;
    let (hands, began) = clock.into_inner().expect("the script was played");
    (done, hands.steady() - began)
}

/// What a disk takes to keep something.
const SYNC: Duration = Duration::from_millis(20);

#[tokio::test(start_paused = true)]
async fn a_stop_with_a_backlog_keeps_all_of_it_within_a_second() {
    let (done, took) = stopped_with_a_backlog(honest()).await;
    done.assert_sound();
    assert_eq!(done.digits().len(), BACKLOG);
    assert_eq!(done.shown(), done.digits());
    assert!(took < SECOND, "the disk was waited for {took:?}");
    // One by one it comes to the same book.
    let one_by_one = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        for n in 0..BACKLOG {
            floor.send(&comma(n + 1, &format!("1.{:05}", n * 7), "20.00"));
            floor.settle().await;
        }
    })
    .await;
    let bodies = |done: &Done<()>| done.events.iter().map(|event| event.body.clone()).collect::<Vec<_>>();
    assert!(bodies(&one_by_one) == bodies(&done), "a group is the same as one by one");
}

#[tokio::test(start_paused = true)]
async fn a_group_that_fails_is_kept_once_and_not_shown_before() {
    for leaves in [Leaves::Nothing, Leaves::All] {
        for fails in [1, 2, 5] {
            let (done, _) = stopped_with_a_backlog(failing_at(fails, leaves)).await;
            let at = format!("append {fails} leaves {leaves:?}");
            done.sound().unwrap_or_else(|why| panic!("{at}: {why}"));
            assert_eq!(done.digits().len(), BACKLOG, "{at}");
            assert_eq!(done.shown(), done.digits(), "{at}");
            assert_eq!(notices(&done.seen, Priority::Hold).len(), 1, "{at}");
        }
    }
}

#[tokio::test(start_paused = true)]
async fn a_stop_while_nothing_can_be_kept_tries_once_more_and_says_what_is_lost() {
    let run = async |mended: bool| {
        play(Start::hearing("comma"), async move |floor| {
            floor.open().await;
            floor.hear(&comma(1, "1.28340", "20.00")).await;
            floor.ledger.break_down("the disk is full");
            floor.hear(&comma(2, "0.91215", "20.00")).await;
            floor.send(&comma(3, "0.81215", "20.00"));
            if mended {
                floor.ledger.mend();
            }
        })
        .await
    };
    let saved = run(true).await;
    saved.assert_sound();
    assert_eq!(saved.digits().len(), 3);
    let lost = run(false).await;
    assert_eq!(lost.ending, Ending::Good);
    let why = lost.closed.unwrap_err().cause;
    assert!(why.contains("could not be kept") && why.contains("the disk is full"), "{why}");
    assert_eq!(digits(&lost.events).len(), 1);
}

#[tokio::test(start_paused = true)]
async fn a_store_that_was_only_busy_is_tried_again_without_a_recovery() {
    let mut tries = 0;
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        let mut write = honest();
        floor.ledger.write_by(Box::new(move |log, events| {
            tries += 1;
            if tries <= 3 {
                return Err(NotKept { cause: "another program holds the job file".to_owned(), stops: false });
            }
            write(log, events)
        }));
        floor.hear(&comma(1, "1.28340", "20.00")).await;
        floor.pass(20 * SECOND).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.shown(), ["1.28340"]);
}

#[tokio::test(start_paused = true)]
async fn worries_about_the_disk_are_told_once_and_a_moved_file_stops_the_recording() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.ledger.worry_about(Worry::LittleRoom(150 << 20));
        floor.pass(10 * SECOND).await;
        floor.ledger.worry_about(Worry::LittleRoom(140 << 20));
        floor.pass(10 * SECOND).await;
        assert_eq!(notices(&floor.seen(), Priority::Warn), ["only 150 MiB are free on the job's disk: make room"]);
        floor.ledger.worry_about(Worry::LastEvents);
        floor.pass(3 * SECOND).await;
        assert_eq!(notices(&floor.seen(), Priority::Hold).len(), 1);
        floor.ledger.worry_about(Worry::Moved(PathState::Replaced));
        floor.pass(5 * SECOND).await;
        assert_eq!(notices(&floor.seen(), Priority::Hold).len(), 2);
        floor.hear(&comma(1, "1.28340", "20.00")).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.shown(), ["1.28340"], "it goes on where the store found a place");
}
