//! What the crew is told: once, in time, of the right thing, and so that it can be read afterwards.

use std::time::Duration;

use closerun::book::event::{Body, Command, Event, Origin, Taken, Verdict};
use closerun::book::finding::FindingId;
use closerun::book::reading::Heard;
use closerun::book::{Book, SpotState};
use closerun::link::Simulated;
use closerun::report::live::What;
use closerun::units::Unit;

use crate::rig::{Done, Floor, Start, announced, assert_red, comma, is_reading, play, want};
use crate::stand_ins::Write;

/// Records of the shipped format with columns, in feet and in metres.
const IN_FEET: &[u8] = b"LV 0001              0049210 F  06560  \r";
const IN_METRES: &[u8] = b"LV 0001              0149990 M  02000  \r";

#[tokio::test(start_paused = true)]
async fn a_record_in_another_unit_is_kept_out_of_the_book() {
    let run = async |job: Unit, also: Vec<Unit>, record: &[u8]| {
        let mut start = Start::hearing("columns");
        start.settings.unit = job;
        start.settings.also_units = also;
        // Known points are given with their own unit.
        play(start, async |floor| {
            floor.open().await;
            floor.hear(record).await;
        })
        .await
    };
    let check = |done: &Done<()>| {
        done.sound()?;
        want(done.book().entries().is_empty(), || format!("booked {:?}", done.digits()))?;
        let kept = done.heard();
        want(matches!(kept[..], [(Heard::SetAside { .. }, _)]), || format!("heard {kept:?}"))?;
        want(done.announced(FindingId::UnitDoubt) == 1, || "no doubt was announced".to_owned())?;
        want(done.seen.text.iter().any(|line| line.starts_with("[HOLD]")), || "nobody was held".to_owned())
    };
    check(&run(Unit::Metre, vec![], IN_FEET).await).unwrap();
    check(&run(Unit::Foot, vec![], IN_METRES).await).unwrap();
    // The two feet differ by 2 parts in a million: which one a bare "ft" is, nobody guesses.
    check(&run(Unit::SurveyFoot, vec![], IN_FEET).await).unwrap();

    // Planted: a conversion that nobody asked for.
    assert_red(check(&run(Unit::Metre, vec![Unit::Foot], IN_FEET).await), "booked");
    assert_red(check(&run(Unit::Foot, vec![Unit::Metre], IN_METRES).await), "booked");
}

#[tokio::test(start_paused = true)]
async fn a_limit_met_exactly_is_kept_and_the_last_digit_beyond_is_not() {
    // Two metres of imbalance are allowed in the class for building work.
    for (fore, wanted) in [("22.00", Verdict::ClearToMove), ("22.01", Verdict::Hold), ("17.99", Verdict::Hold)] {
        let done = play(Start::hearing("comma"), async |floor| {
            floor.open().await;
            floor.hear(&comma(1, "1.50000", "20.00")).await;
            floor.hear(&comma(2, "1.20000", fore)).await;
        })
        .await;
        done.assert_sound();
        let verdicts: Vec<Verdict> = done
            .events
            .iter()
            .filter_map(|event| match event.body {
                Body::VerdictGiven { verdict, .. } => Some(verdict),
                _ => None,
            })
            .collect();
        assert_eq!(verdicts, [wanted], "{fore}");
        assert_eq!(done.announced(FindingId::Balance), usize::from(wanted == Verdict::Hold), "{fore}");
    }
}

/// Setups whose sum of imbalances climbs over ten metres and then crosses that limit at each one.
struct Crossing(usize);

impl Crossing {
    /// The records of the next setup.
    fn next(&mut self) -> Vec<u8> {
        self.0 += 1;
        let number = 2 * self.0;
        let (back, fore) = match self.0 {
            1..=10 => ("21.05", "20.00"),
            n if n % 2 == 1 => ("20.00", "20.60"),
            _ => ("20.60", "20.00"),
        };
        // No two setups alike: a second shot on the same staff would be another finding.
        let staff = |metres: usize, tenths_mm: usize| format!("{metres}.{:05}", 20_000 + tenths_mm * 110 % 60_000);
        [comma(number - 1, &staff(1, number), back), comma(number, &staff(0, 3 * number), fore)].concat()
    }
}

#[tokio::test(start_paused = true)]
async fn a_value_that_crosses_its_limit_two_hundred_times_is_announced_once() {
    let once = |times: usize| want(times == 1, || format!("announced {times} times"));
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        let mut crossing = Crossing(0);
        for _ in 0..210 {
            floor.hear(&crossing.next()).await;
        }
    })
    .await;
    done.assert_sound();
    assert_eq!(done.digits().len(), 420);
    once(done.announced(FindingId::BalanceSum)).unwrap();

    // Planted: a store that forgets what was announced, and a program that is started anew at each setup.
    let mut crossing = Crossing(0);
    let mut kept = Vec::new();
    let mut times = 0;
    for _ in 0..30 {
        let start = Start { kept, ..Start::hearing("comma") };
        let record = crossing.next();
        let done = play(start, async |floor| {
            floor.open().await;
            floor.hear(&record).await;
        })
        .await;
        times += announced(&done.events, FindingId::BalanceSum);
        kept = without_announcements(&done.events);
    }
    assert_red(once(times), "announced");
}

/// The same events without what the crew was told, in order and without gaps.
fn without_announcements(events: &[Event]) -> Vec<Event> {
    let told = |body: &Body| matches!(body, Body::Announced { .. });
    let left = events.iter().filter(|event| !told(&event.body)).cloned();
    left.zip(1..).map(|(event, seq)| Event { seq, ..event }).collect()
}

#[tokio::test(start_paused = true)]
async fn a_restart_announces_nothing_anew() {
    let first = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.hear(&comma(1, "1.50000", "24.00")).await;
        floor.hear(&comma(2, "1.20000", "20.00")).await;
        floor.hear(b"R,3,,1.2x000,20.00,\r\n").await;
    })
    .await;
    first.assert_sound();
    let standing = first.book().standing().clone();
    assert!(standing.len() >= 2, "{standing:?}");
    let check = |kept: &[Event], again: &Done<()>| {
        again.sound()?;
        let told = |event: &&Event| {
            matches!(event.body, Body::Announced { .. } | Body::Withdrawn { .. } | Body::VerdictGiven { .. })
        };
        let anew = again.events.iter().filter(told).count() - kept.iter().filter(told).count();
        want(anew == 0, || format!("{anew} things told anew"))?;
        let lines: Vec<&What> = again.seen.lines.iter().map(|line| &line.what).collect();
        let quiet = matches!(lines[..], [What::Job(_), What::Listening { .. }, What::Ended { .. }]);
        want(quiet, || format!("shown {lines:?}"))?;
        want(*again.book().standing() == standing, || "the standing findings differ".to_owned())?;
        want(again.seen.block[0].starts_with("[HOLD]"), || format!("the foot says {:?}", again.seen.block))
    };
    check(&first.events, &started_again(&first.events).await).unwrap();

    // Planted: a store that forgets what was announced.
    let forgetful = without_announcements(&first.events);
    assert_red(check(&forgetful, &started_again(&forgetful).await), "told anew");
}

/// A run over what an earlier one kept, in which nothing happens.
async fn started_again(kept: &[Event]) -> Done<()> {
    let start = Start { kept: kept.to_vec(), ..Start::hearing("comma") };
    play(start, async |floor: &mut Floor| floor.open().await).await
}

#[tokio::test(start_paused = true)]
async fn what_was_struck_moved_or_taken_back_can_still_be_read() {
    let said = [
        ("strike 2", Origin::Terminal),
        ("note 2 the staff was not plumb", Origin::Tell),
        ("role 3 inter LEDGE", Origin::Tell),
        ("undo", Origin::Terminal),
    ];
    let day = async |floor: &mut Floor, write: Option<Write>| {
        floor.open().await;
        for (number, staff) in ["1.50000", "1.20000", "1.20010", "1.30000"].iter().enumerate() {
            floor.hear(&comma(number + 1, staff, "20.00")).await;
        }
        let before = floor.ledger.events();
        if let Some(write) = write {
            floor.ledger.write_by(write);
        }
        for (words, by) in said.clone() {
            floor.say(words, by).await;
            floor.pass(Duration::from_secs(1)).await;
        }
        before
    };
    let check = |done: &Done<Vec<Event>>| {
        let before = &done.gave;
        want(done.events.starts_with(before), || "earlier entries are not as they were".to_owned())?;
        done.sound()?;
        let commands: Vec<(&Command, &Origin, i64)> = done
            .events
            .iter()
            .filter_map(|event| match &event.body {
                Body::Commanded { command, by } => Some((command, by, event.at.us())),
                _ => None,
            })
            .collect();
        want(commands.len() == 4, || format!("commands {commands:?}"))?;
        // Who and when; and why, in a person's own words.
        for ((_, by), (command, found, at)) in said.iter().zip(&commands) {
            want(by == *found, || format!("{command:?} by {found:?}"))?;
            want(*at > before.last().unwrap().at.us(), || format!("{command:?} has no time of its own"))?;
        }
        let book = done.book();
        want(book.spot(2).map(|spot| spot.state) == Some(SpotState::Struck), || "not struck".to_owned())?;
        want(book.entry(2).unwrap().reading.staff.digits().to_string() == "1.20000", || "digits changed".to_owned())?;
        let notes = &book.amendments().of(2).expect("something was said of reading 2").notes;
        want(*notes == ["the staff was not plumb"], || format!("notes {notes:?}"))?;
        let role = book.amendments().said().iter().find(|said| matches!(said.command, Command::Role { .. }));
        let role = role.ok_or("the role that was taken back is gone")?;
        want(!book.amendments().stands(role.event), || "the role still stands".to_owned())?;
        want(done.seen.text.iter().any(|text| text.contains("> reading 2 struck out")), || "not shown".to_owned())
    };
    check(&play(Start::hearing("comma"), async |floor| day(floor, None).await).await).unwrap();

    // Planted: a store that takes a struck reading out.
    let deletes: Write = Box::new(|log, events| {
        log.extend_from_slice(events);
        if events
            .iter()
            .any(|e| matches!(e.body, Body::Commanded { command: Command::Strike { reading, .. }, .. } if reading == 2))
        {
            let second = log.iter().enumerate().filter(|(_, event)| is_reading(event)).nth(1).unwrap().0;
            log.remove(second);
        }
        Ok(())
    });
    let mut deletes = Some(deletes);
    let done = play(Start::hearing("comma"), async |floor| day(floor, deletes.take()).await).await;
    assert_red(check(&done), "earlier entries are not as they were");
}

#[tokio::test(start_paused = true)]
async fn everything_of_a_simulated_run_says_so() {
    let done = play(Start { simulated: Simulated::Yes, ..Start::hearing("comma") }, async |floor| {
        floor.open().await;
        floor.hear(&comma(1, "1.50000", "24.00")).await;
        floor.hear(&comma(2, "1.20000", "20.00")).await;
        floor.told("note wind").await;
        floor.unplug();
        floor.settle().await;
    })
    .await;
    done.assert_sound();
    assert!(done.events.iter().all(|event| event.simulated));
    assert!(done.seen.lines.iter().all(|line| line.simulated));
    assert!(Book::fold(&done.events).simulated());
    let text = &done.seen.text;
    assert!(text[0].contains("SIMULATED"), "{text:?}");
    for head in ["listening:", "run 1"] {
        let line = text.iter().find(|line| line.starts_with(head)).unwrap();
        assert!(line.contains("SIMULATED"), "{line}");
    }

    // A link that only turns out to be simulated when it is opened: everything from there on.
    let late = play(Start::hearing("comma"), async |floor| {
        floor.link(closerun::link::LinkEvent::Opened { what: "test line".to_owned(), simulated: Simulated::Yes });
        floor.pass(Duration::from_secs(1)).await;
        floor.hear(&comma(1, "1.50000", "20.00")).await;
    })
    .await;
    late.assert_sound();
    assert!(late.events.iter().filter(|e| !matches!(e.body, Body::JobOpened { .. })).all(|event| event.simulated));
    assert!(late.seen.text.iter().any(|line| line.starts_with("listening:") && line.contains("SIMULATED")));
}

/// A loop of three setups, the second of which was read the wrong way round: staff readings and sights.
const EXCHANGED: [(&str, &str); 6] = [
    ("1.50000", "20.00"),
    ("1.20000", "20.10"),
    ("1.45000", "21.00"),
    ("1.20000", "21.20"),
    ("1.40000", "19.00"),
    ("1.45010", "19.10"),
];

#[tokio::test(start_paused = true)]
async fn a_misclosure_is_explained_at_once_and_what_is_accepted_is_kept() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        for (number, (staff, sight)) in (1..).zip(EXCHANGED) {
            floor.hear(&comma(number, staff, sight)).await;
        }
        floor.told("point 6 BM-1").await;
        let told = floor.seen().text;
        floor.told("accept 1").await;
        told
    })
    .await;
    done.assert_sound();
    let at = done.gave.iter().position(|line| line.contains("misclosure at BM-1 +499.9 mm")).unwrap();
    let wanted = [
        "         single mistakes that explain it, likeliest first; nothing is altered",
        "      1  backsight and foresight exchanged at setup 2 (readings 3, 4)",
    ];
    let after: Vec<&str> = done.gave[at..].iter().map(String::as_str).collect();
    assert!(after.windows(2).any(|lines| lines == wanted), "{after:#?}");
    let causes = done.seen.lines.iter().filter(|line| matches!(line.what, What::Causes(_))).count();
    assert_eq!(causes, 1, "told once");
    let accepted = done.events.iter().find_map(|event| match &event.body {
        Body::Commanded { command: Command::Accept { cause, taken, .. }, by: Origin::Tell } => Some((cause, taken)),
        _ => None,
    });
    let (cause, taken) = accepted.expect("the acceptance is an event");
    assert_eq!(cause, "backsight and foresight exchanged at setup 2 (readings 3, 4)");
    assert_eq!(*taken, Taken::Exchanged { readings: vec![3, 4] });
    let closure = done.book().runs()[0].closures().next().unwrap().clone();
    assert_eq!((closure.misclosure.show_signed(Unit::Millimetre, 2), closure.over()), ("-0.10".to_owned(), false));
    assert_eq!(done.digits(), EXCHANGED.map(|(staff, _)| staff.to_owned()), "the readings stay as they came");
    assert!(done.seen.text.iter().any(|line| line.contains("no longer: misclosure@")), "{:#?}", done.seen.text);
}

#[tokio::test(start_paused = true)]
async fn an_outlet_that_died_is_said_by_the_others_within_a_second() {
    let done = play(Start::hearing("comma"), async |floor| {
        floor.open().await;
        floor.outlet_dies("the page has died");
        floor.pass(Duration::from_secs(1)).await;
    })
    .await;
    done.assert_sound();
    let said: Vec<&String> = done.seen.text.iter().filter(|line| line.contains("the page has died")).collect();
    assert_eq!(said, ["[warn]   the page has died"]);
}
