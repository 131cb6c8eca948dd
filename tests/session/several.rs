//! Several instruments under one daemon: each has its own job, none waits for another, and what ends one of them leaves
//! the others.

use std::time::Duration;

use closerun::book::event::{Body, Event};
use closerun::daemon::{Ending, Outcome, Post, attend};
use closerun::link::{Gone, Stop};
use tokio::task::LocalSet;

use crate::rig::{Done, Floor, Start, comma, set_up};
use crate::stand_ins::Ledger;

const NAMES: [&str; 3] = ["north", "south", "east"];

/// One post for each name, and what moves it.
fn three(stop: &Stop) -> (Vec<Post<Ledger>>, Vec<Floor>) {
    NAMES.iter().map(|name| set_up(Some(name), Start::hearing("comma"), stop)).unzip()
}

/// Plays a script beside all of them, then stops them as a signal would.
async fn play_three(script: impl AsyncFnOnce(&mut [Floor])) -> Vec<Done<()>> {
    let stop = Stop::new();
    let (posts, mut floors) = three(&stop);
    let playing = async {
        script(&mut floors).await;
        stop.ask();
        floors.iter().filter_map(|floor| floor.line.take()).for_each(|line| line.end(Gone::Ended));
        floors
    };
    let (outcomes, floors) = tokio::join!(attend(posts, &stop), playing);
    let done = |(floor, Outcome { ending, book }): (Floor, Outcome)| Done::of(floor, ending, book, ());
    floors.into_iter().zip(outcomes).map(done).collect()
}

fn ended_because(events: &[Event]) -> &str {
    match &events.last().expect("a job that was begun").body {
        Body::ListeningEnded { reason } => reason,
        other => panic!("the last event is {other:?}"),
    }
}

#[tokio::test(start_paused = true)]
async fn one_dies_and_the_others_go_on() {
    let done = play_three(async |floors| {
        for floor in &*floors {
            floor.open().await;
            floor.hear(&comma(1, "1.50000", "20.00")).await;
        }
        let line = floors[1].line.take().unwrap();
        line.end(Gone::Died { why: "planted".to_owned() });
        floors[1].settle().await;
        // Its job is complete while the others are heard.
        assert_eq!(
            ended_because(&floors[1].ledger.events()),
            "a part of the program failed: the thread that reads the port ended: planted"
        );
        for floor in [&floors[0], &floors[2]] {
            floor.hear(&comma(2, "1.20000", "20.00")).await;
            floor.told("note still here").await;
        }
    })
    .await;
    done.iter().for_each(Done::assert_sound);
    let readings: Vec<usize> = done.iter().map(|done| done.digits().len()).collect();
    assert_eq!(readings, [2, 1, 2]);
    assert!(matches!(&done[1].ending, Ending::Bad { why } if why.contains("planted")), "{:?}", done[1].ending);
    for (done, name) in done.iter().zip(NAMES) {
        assert!(!done.seen.lines.is_empty());
        assert!(done.seen.lines.iter().all(|line| line.instrument.as_deref() == Some(name)), "{name}");
        assert!(done.seen.text.iter().all(|line| line.starts_with(&format!("{name}  "))), "{:#?}", done.seen.text);
    }
    for done in [&done[0], &done[2]] {
        assert_eq!((&done.ending, ended_because(&done.events)), (&Ending::Good, "told to stop, or the input ended"));
    }
}

#[tokio::test(start_paused = true)]
async fn one_whose_disk_is_full_holds_nobody_else_up() {
    let done = play_three(async |floors| {
        for floor in &*floors {
            floor.open().await;
        }
        floors[0].ledger.break_down("disk full");
        for n in 1..=20 {
            floors.iter().for_each(|floor| floor.send(&comma(n, &format!("1.{n:05}"), "20.00")));
            floors[0].pass(Duration::from_secs(1)).await;
        }
        let kept: Vec<usize> = floors.iter().map(|floor| floor.ledger.readings()).collect();
        assert_eq!(kept, [0, 20, 20]);
        floors[0].ledger.mend();
        floors[0].pass(Duration::from_secs(5)).await;
    })
    .await;
    done.iter().for_each(Done::assert_sound);
    assert!(done.iter().all(|done| done.digits().len() == 20));
}

#[tokio::test(start_paused = true)]
async fn one_that_has_much_to_hear_lets_the_others_have_their_turn() {
    const BACKLOG: usize = 5000;
    play_three(async |floors| {
        for floor in &*floors {
            floor.open().await;
        }
        for n in 1..=BACKLOG {
            floors[0].send(&comma(n, &format!("1.{n:05}"), "20.00"));
        }
        floors[1].send(&comma(1, "1.50000", "20.00"));
        while floors[1].ledger.readings() == 0 {
            tokio::task::yield_now().await;
        }
        let before = floors[0].ledger.readings();
        assert!(before < BACKLOG / 10, "{before} readings of another were kept first");
        floors[0].settle().await;
        assert_eq!(floors[0].ledger.readings(), BACKLOG);
    })
    .await
    .iter()
    .for_each(Done::assert_sound);
}

/// A fault of the program itself is not hidden: it ends with it, and the other jobs are completed first.
#[tokio::test(start_paused = true)]
async fn a_panic_ends_all_of_them_in_good_order() {
    let stop = Stop::new();
    let (posts, floors) = three(&stop);
    floors[1].ledger.write_by(Box::new(|_, _| panic!("planted")));
    let here = LocalSet::new();
    let attending = here.spawn_local(async move { attend(posts, &stop).await });
    let ended = here.run_until(attending).await;
    assert!(ended.unwrap_err().is_panic());
    for floor in [&floors[0], &floors[2]] {
        assert_eq!(ended_because(&floor.ledger.events()), "told to stop, or the input ended");
    }
}
