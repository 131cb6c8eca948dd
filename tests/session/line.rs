//! The link comes, goes, falls silent or dies, and the clock jumps: said when it happens, and nothing else moves.

use std::time::Duration;

use closerun::book::event::{Body, Event, LinkState};
use closerun::book::finding::FindingId;
use closerun::book::reading::Heard;
use closerun::daemon::Ending;
use closerun::link::{Gone, LinkEvent, Simulated, Trouble};

use crate::rig::{Done, Floor, Start, announced, assert_red, comma, play, want};

const SECOND: Duration = Duration::from_secs(1);

#[tokio::test(start_paused = true)]
async fn a_cable_pulled_while_idle_is_told_at_once() {
    let idle_then_pulled = async |floor: &mut Floor, says_so: bool| {
        floor.open().await;
        floor.hear(&comma(1, "1.28340", "31.42")).await;
        floor.pass(60 * SECOND).await;
        let pulled = floor.now();
        if says_so {
            floor.unplug();
        }
        floor.pass(5 * SECOND).await;
        if says_so {
            floor.open().await;
            floor.hear(&comma(2, "0.91215", "31.20")).await;
        }
        pulled
    };
    let check = |done: &Done<_>| {
        done.sound()?;
        let state = |wanted: fn(&LinkState) -> bool| {
            let matching = |event: &&Event| matches!(&event.body, Body::LinkChanged { state } if wanted(state));
            done.events.iter().find(matching)
        };
        let lost = state(|state| matches!(state, LinkState::Lost { .. })).ok_or("the loss is no event")?;
        want(lost.at.since(done.gave) <= SECOND, || format!("told after {:?}", lost.at.since(done.gave)))?;
        want(done.announced(FindingId::LinkLost) == 1, || "the loss was not announced once".to_owned())?;
        let told =
            done.seen.text.iter().any(|text| text.starts_with("[HOLD]") && text.contains("link lost: the cable"));
        want(told, || format!("the crew saw {:?}", done.seen.text))?;
        let open = state(|state| *state == LinkState::Open).ok_or("its coming back is no event")?;
        want(open.at > lost.at, || "it came back before it went".to_owned())?;
        want(done.digits().len() == 2, || format!("booked {:?}", done.digits()))
    };
    check(&play(Start::hearing("comma"), async |floor| idle_then_pulled(floor, true).await).await).unwrap();

    // Planted: a port that takes the end of a line for one more silence.
    let silent = play(Start::hearing("comma"), async |floor| idle_then_pulled(floor, false).await).await;
    assert_red(check(&silent), "the loss is no event");
}

#[tokio::test(start_paused = true)]
async fn a_job_left_with_its_link_lost_learns_that_it_is_back() {
    let left = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.unplug();
        floor.settle().await;
    })
    .await;
    let mut again = Start { kept: left.events, ..Start::hearing("comma") };
    again.quiet_after = Some(20 * SECOND);
    let done = play(again, async |floor| {
        floor.open().await;
        assert!(!floor.seen().block.iter().any(|line| line.contains("link lost")), "{:?}", floor.seen().block);
        floor.pass(30 * SECOND).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.announced(FindingId::LinkQuiet), 1, "and its silence is watched again");
}

#[tokio::test(start_paused = true)]
async fn a_silent_link_is_told_when_it_is_due_and_taken_back_when_it_speaks() {
    let start = Start { quiet_after: Some(30 * SECOND), ..Start::hearing("comma") };
    let done = play(start, async |floor| {
        floor.open().await;
        floor.pass(28 * SECOND).await;
        assert_eq!(announced(&floor.ledger.events(), FindingId::LinkQuiet), 0);
        floor.pass(3 * SECOND).await;
        assert_eq!(announced(&floor.ledger.events(), FindingId::LinkQuiet), 1);
        floor.pass(600 * SECOND).await;
        assert_eq!(announced(&floor.ledger.events(), FindingId::LinkQuiet), 1, "once a silence");
        floor.hear(&comma(1, "1.28340", "31.42")).await;
        floor.pass(40 * SECOND).await;
        assert_eq!(announced(&floor.ledger.events(), FindingId::LinkQuiet), 2, "and once more for the next");
    })
    .await;
    done.assert_sound();
}

#[tokio::test(start_paused = true)]
async fn a_jump_of_the_wall_clock_is_an_event_and_moves_no_age_and_no_wait() {
    let start = Start { quiet_after: Some(30 * SECOND), ..Start::hearing("comma") };
    let (hours, records) = ([2 * 3600, -3600], [comma(1, "1.28340", "31.42"), comma(2, "0.91215", "31.20")]);
    let done = play(start, async |floor| {
        floor.open().await;
        for (step, record) in hours.iter().zip(&records) {
            // Inside a record, the clock is set.
            floor.send(&record[..9]);
            floor.settle().await;
            floor.clock.step_s(*step);
            floor.pass(SECOND).await;
            floor.send(&record[9..]);
            // The age is drawn anew each second or so.
            floor.pass(10 * SECOND + SECOND / 10).await;
            assert_eq!(
                floor.seen().heard_ago.map(|age| age.as_secs()),
                Some(10),
                "an age is no matter of the wall clock"
            );
        }
        floor.clock.step_s(7200);
        floor.pass(15 * SECOND).await;
        assert_eq!(announced(&floor.ledger.events(), FindingId::LinkQuiet), 0, "nor is a wait");
    })
    .await;
    done.assert_sound();
    assert_eq!(done.digits(), ["1.28340", "0.91215"]);
    assert!(done.heard().iter().all(|(heard, _)| matches!(heard, Heard::Reading(_))), "{:?}", done.heard());
    let steps: Vec<i64> = done
        .events
        .iter()
        .filter_map(|event| match event.body {
            Body::ClockStepped { by_ms } => Some(by_ms),
            _ => None,
        })
        .collect();
    assert_eq!(steps, [7_200_000, -3_600_000, 7_200_000]);
    assert_eq!(done.announced(FindingId::ClockStepped), 3);
}

#[tokio::test(start_paused = true)]
async fn a_machine_that_slept_says_so_and_holds_until_the_link_is_heard_again() {
    #[derive(Clone, Copy, PartialEq)]
    enum Clocks {
        /// One of them tells of the sleep.
        Telling,
        /// Planted: none does; the wall clock just goes on.
        Dumb,
    }
    let sleeps = async |floor: &mut Floor, clocks: Clocks| {
        floor.open().await;
        floor.hear(&comma(1, "1.28340", "31.42")).await;
        floor.hear(&comma(2, "0.91215", "31.20")).await;
        // Inside a record.
        floor.send(&comma(3, "1.50000", "20.00")[..9]);
        floor.settle().await;
        match clocks {
            Clocks::Telling => floor.clock.sleep(725 * SECOND),
            Clocks::Dumb => floor.clock.step_s(725),
        }
        floor.pass(2 * SECOND).await;
        let held = floor.seen().text.iter().any(|line| line.starts_with("[HOLD]") && line.contains("slept for 12 min"));
        let ago = floor.seen().heard_ago.expect("it was heard");
        let standing = floor.seen().block;
        floor.hear(&comma(4, "1.40000", "20.00")).await;
        (held, ago, standing)
    };
    let check = |done: &Done<(bool, Duration, Vec<String>)>| {
        done.sound()?;
        let slept = |event: &&Event| matches!(event.body, Body::MachineSlept { for_s: 725 });
        want(done.events.iter().filter(slept).count() == 1, || "the sleep is no event".to_owned())?;
        let (held, ago, standing) = &done.gave;
        want(*held, || format!("the crew saw {:?}", done.seen.text))?;
        want(*ago > 725 * SECOND, || format!("last heard {ago:?} ago, says the page"))?;
        want(standing.iter().any(|line| line.contains("slept")), || format!("{standing:?}"))?;
        want(done.announced(FindingId::ClockStepped) == 0, || "the clock was right".to_owned())?;
        let gone = |event: &&Event| matches!(&event.body, Body::Withdrawn { key } if key.id == FindingId::MachineSlept);
        want(done.events.iter().filter(gone).count() == 1, || "a record shows that the link is well".to_owned())?;
        want(done.digits() == ["1.28340", "0.91215", "1.40000"], || format!("booked {:?}", done.digits()))
    };
    check(&play(Start::hearing("comma"), async |floor| sleeps(floor, Clocks::Telling).await).await).unwrap();
    let dumb = play(Start::hearing("comma"), async |floor| sleeps(floor, Clocks::Dumb).await).await;
    assert_red(check(&dumb), "the sleep is no event");
}

/// Frozen in the middle of a record, the program finds the rest of it when it lives again: no silence is between them.
#[tokio::test(start_paused = true)]
async fn a_record_in_whose_middle_the_program_stood_still_is_whole() {
    let record = comma(1, "1.28340", "31.42");
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.send(&record[..9]);
        floor.settle().await;
        floor.clock.hold(30 * SECOND);
        // It wakes by the time first, and then by what the port's thread has read.
        floor.settle().await;
        floor.link(LinkEvent::StoodStill { time: 30 * SECOND });
        floor.send(&record[9..]);
        floor.pass(SECOND).await;
        // A silence is one all the same.
        floor.send(&record[..9]);
        floor.pass(30 * SECOND).await;
        floor.send(&record[9..]);
        floor.pass(SECOND).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(done.digits(), ["1.28340"]);
    assert!(matches!(done.heard()[1], (Heard::Unfinished, _)), "{:?}", done.heard());
}

#[tokio::test(start_paused = true)]
async fn a_dead_port_thread_ends_the_run_badly() {
    #[derive(Clone, Copy, PartialEq)]
    enum Death {
        Noticed,
        Unnoticed,
    }
    let dies = async |floor: &mut Floor, death: Death| {
        floor.open().await;
        floor.hear(&comma(1, "1.28340", "31.42")).await;
        let line = floor.line.take();
        let thread = std::thread::spawn(move || {
            if death == Death::Unnoticed {
                std::mem::forget(line);
            } else {
                let _line = line;
                panic!("planted");
            }
        });
        let _ = thread.join();
        floor.pass(SECOND).await;
    };
    let check = |done: &Done<_>| {
        done.sound()?;
        want(matches!(&done.ending, Ending::Bad { .. }), || format!("ended {:?}", done.ending))?;
        want(done.digits().len() == 1, || "what had been heard is not kept".to_owned())
    };
    let noticed = play(Start::hearing("comma"), async |floor| dies(floor, Death::Noticed).await).await;
    check(&noticed).unwrap();

    // Planted: a thread that dies without its queue hearing of it, and a live view over a dead listener.
    let unnoticed = play(Start::hearing("comma"), async |floor| dies(floor, Death::Unnoticed).await).await;
    assert_red(check(&unnoticed), "ended Good");
}

#[tokio::test(start_paused = true)]
async fn told_to_stop_inside_a_record_it_keeps_the_half() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.hear(&comma(1, "1.28340", "31.42")).await;
        floor.send(&comma(2, "0.91215", "31.20")[..11]);
        floor.stop.ask();
        // What the port's thread still reads when it is told so.
        floor.send(&comma(2, "0.91215", "31.20")[11..14]);
        floor.line.take().expect("it lives until now").end(Gone::Ended);
    })
    .await;
    done.assert_sound();
    assert_eq!(done.ending, Ending::Good);
    assert!(matches!(done.heard()[1], (Heard::Unfinished, raw) if raw.len() == 14), "{:?}", done.heard());
    assert!(matches!(done.events.last().unwrap().body, Body::ListeningEnded { .. }));
}

#[tokio::test(start_paused = true)]
async fn a_port_that_is_not_there_at_the_start_is_waited_for() {
    let missing = || LinkEvent::Waiting { why: Trouble::Missing { what: "serial port /dev/ttyUSB9".to_owned() } };
    let waits = play(Start::hearing("comma"), async |floor| {
        floor.link(missing());
        floor.pass(600 * SECOND).await;
        floor.link(LinkEvent::Opened { what: "serial".to_owned(), simulated: Simulated::No });
        floor.pass(SECOND).await;
        floor.hear(&comma(1, "1.28340", "31.42")).await;
    })
    .await;
    waits.assert_sound();
    assert_eq!((waits.digits().len(), waits.announced(FindingId::LinkLost)), (1, 1));
}
