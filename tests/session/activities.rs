//! Activities fed by the same hands-free readings as the run: they go where they are wanted, and a replay sees the same.

use closerun::book::event::{Body, Event, Origin};
use closerun::daemon::Answer;
use closerun::daemon::replay::replay;

use crate::rig::{Start, comma, play};

fn kept(events: &[Event], kind: &str) -> usize {
    events.iter().filter(|event| event.body.kind() == kind).count()
}

#[tokio::test(start_paused = true)]
async fn hands_free_readings_go_to_the_test_under_way_and_then_to_the_run_again() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.hear(&comma(1, "1.50000", "20.00")).await;
        let begun = floor.say("test two-peg mid-outside 40 10 k none", Origin::Tell).await;
        let Answer::Done(begun) = begun else { panic!("{begun:?}") };
        assert!(begun.iter().any(|line| line.contains("set up midway")), "{begun:?}");
        for (number, staff, sight) in
            [(2, "1.50000", "20.00"), (3, "1.25000", "20.00"), (4, "1.39600", "50.00"), (5, "1.15000", "10.00")]
        {
            floor.hear(&comma(number, staff, sight)).await;
        }
        floor.hear(&comma(6, "1.20000", "20.00")).await;
    })
    .await;
    done.assert_sound();
    let book = done.book();
    assert_eq!(book.entries().len(), 2, "the run has its backsight and its foresight");
    assert_eq!(kept(&done.events, "activity-done"), 1);
    let shown = done.seen.text.join("\n");
    assert!(shown.contains("two-peg test, shot 2: 1.25000 m, sight 20.00 m"), "{shown}");
    assert!(shown.contains("the line of sight falls: -0.100 mm/m"), "{shown}");
    let replayed = replay(&done.events, None).unwrap();
    assert_eq!(replayed.differences, [], "computed again from the bytes, it is the same");
    assert_eq!(replayed.readings, 2);

    // The replay does compare: another result than the one that was kept is a difference.
    let mut altered = done.events.clone();
    for event in &mut altered {
        if let Body::ActivityDone { said, .. } = &mut event.body {
            said[0] = "the line of sight is level".to_owned();
        }
    }
    assert_eq!(replay(&altered, None).unwrap().differences.len(), 1);
}

#[tokio::test(start_paused = true)]
async fn readings_that_came_in_one_go_end_the_test_where_each_by_itself_does() {
    let mut records = vec![
        comma(1, "1.50000", "20.00"),
        comma(2, "1.25000", "20.00"),
        comma(3, "1.39600", "50.00"),
        comma(4, "1.15000", "10.00"),
    ];
    // The readings behind are the run's, and so many that they are kept in a group.
    records.extend((5..21).map(|number| comma(number, if number % 2 == 1 { "1.50000" } else { "1.20000" }, "20.00")));
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.told("test two-peg mid-outside 40 10 k none").await;
        floor.hear(&records.concat()).await;
    })
    .await;
    done.assert_sound();
    assert_eq!(kept(&done.events, "activity-done"), 1);
    assert_eq!(done.book().entries().len(), 16, "what came behind it is the run's");
    assert_eq!(replay(&done.events, None).unwrap().differences, []);
}

#[tokio::test(start_paused = true)]
async fn a_restart_takes_an_activity_up_where_it_was() {
    let first = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.told("test two-peg mid-outside 40 10 k none").await;
        floor.hear(&comma(1, "1.50000", "20.00")).await;
        floor.hear(&comma(2, "1.25000", "20.00")).await;
    })
    .await;
    let mut start = Start::hearing("comma");
    start.kept = first.events;
    let second = play(start, async |floor| {
        floor.open().await;
        floor.hear(&comma(3, "1.40000", "50.00")).await;
        floor.hear(&comma(4, "1.15000", "10.00")).await;
    })
    .await;
    second.assert_sound();
    assert_eq!(kept(&second.events, "activity-done"), 1);
    assert!(second.book().entries().is_empty());
}

#[tokio::test(start_paused = true)]
async fn what_cannot_be_done_is_refused_in_a_sentence_and_nothing_is_kept() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        let before = floor.ledger.events().len();
        let short = floor.say("test two-peg mid-outside 10 5", Origin::Page).await;
        assert!(matches!(&short, Answer::Refused(why) if why.starts_with("the layout is too short")), "{short:?}");
        let far = floor.say("set C-5 10.000", Origin::Terminal).await;
        assert!(matches!(&far, Answer::Refused(why) if why.contains("no line of sight")), "{far:?}");
        assert_eq!(floor.ledger.events().len(), before);
    })
    .await;
    done.assert_sound();
}
