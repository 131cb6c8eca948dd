//! What a person accepts is an event that names readings and what they are taken for: the run closes as was foretold, the
//! readings stay as they came, the folded book is the live one, and an undo brings everything back.

use closerun::adjust::explain::explain;
use closerun::book::event::{Body, Command, Taken};
use closerun::book::finding::FindingId;
use closerun::book::run::Run;
use closerun::book::{Book, judge};
use closerun::report::causes::{NotAccepted, accept};
use closerun::units::Length;

use crate::plant::{Family, plant};
use crate::table::{explained, is_true};

/// Accepts the true cause where it is found; gives the families in which it took something for something else.
fn accept_true(family: Family, seed: u64) -> Option<Taken> {
    let mut planted = plant(family, seed);
    let before = planted.book.clone();
    let explanation = explained(&planted);
    let at = explanation.causes.iter().position(|cause| is_true(family, &planted, cause))?;
    let cause = &explanation.causes[at];
    let reading = match &planted.truth {
        crate::plant::Truth::Reading(reading) => Some(*reading),
        _ => None,
    };
    let command = accept(&before, &explanation.finding, at + 1, reading).unwrap();
    let Command::Accept { taken, .. } = &command else { panic!("{command:?}") };
    let taken = taken.clone();
    planted.say(command);

    let readings = |book: &Book| book.entries().iter().map(|entry| entry.reading.clone()).collect::<Vec<_>>();
    assert_eq!(readings(&before), readings(&planted.book), "{family:?} {seed}: readings stay as they came");
    let mut folded = Book::fold(&planted.events);
    folded.settled();
    planted.book.settled();
    assert_eq!(folded, planted.book, "{family:?} {seed}: the folded book is the live one");
    let misclosure = |book: &Book| -> Option<Length> {
        let closures = book.runs().iter().flat_map(Run::closures).filter(|closure| closure.over());
        closures.map(|closure| closure.misclosure.abs()).max()
    };
    if taken == Taken::Booked {
        assert_eq!(misclosure(&before), misclosure(&planted.book), "{family:?} {seed}: booked as it was");
    } else if cause.sites.len() == 1 {
        let closes = |closure: &closerun::book::run::Closure| closure.misclosure == cause.after && !closure.over();
        let closed = planted.book.runs().iter().flat_map(Run::closures).any(closes);
        assert!(closed, "{family:?} {seed}: it closes as was foretold, by {:?}", cause.after);
    }

    let event = planted.book.amendments().latest().unwrap().event;
    planted.say(Command::Undo { event });
    assert_eq!(before.runs(), planted.book.runs(), "{family:?} {seed}: taken back");
    Some(taken)
}

#[test]
fn accepting_the_true_cause_closes_the_run_as_foretold() {
    let mut kinds = [0; 7];
    for family in Family::ALL.into_iter().filter(|family| !family.is_noise()) {
        for taken in (0..8).filter_map(|seed| accept_true(family, seed)) {
            kinds[match taken {
                Taken::Exchanged { .. } => 0,
                Taken::Read { .. } => 1,
                Taken::Repeat { .. } => 2,
                Taken::Struck { .. } => 3,
                Taken::Point { .. } => 4,
                Taken::Known { .. } => 5,
                Taken::Booked => 6,
            }] += 1;
        }
    }
    assert!(kinds.iter().all(|count| *count >= 6), "each way of taking was tried: {kinds:?}");
}

#[test]
fn a_misclosure_that_was_explained_is_withdrawn() {
    let mut planted = plant(Family::Exchanged, 3);
    let finding = explained(&planted).finding;
    for body in judge(&planted.book) {
        planted.keep(body);
    }
    assert!(planted.book.standing().contains_key(&finding));
    let command = accept(&planted.book, &finding, 1, None).unwrap();
    planted.say(command);
    assert!(judge(&planted.book).contains(&Body::Withdrawn { key: finding.clone() }));
    assert_eq!(explain(&planted.book, &finding), None, "nothing is left to explain");
}

#[test]
fn what_cannot_be_accepted_says_why() {
    let planted = plant(Family::WholeMetre, 1);
    let finding = explained(&planted).finding;
    let refusal = |number, reading| accept(&planted.book, &finding, number, reading).unwrap_err();
    let NotAccepted::WhichReading { number: 1, sites } = refusal(1, None) else { panic!("{}", refusal(1, None)) };
    assert_eq!(
        refusal(1, None).to_string(),
        format!("cause 1 may be in one of {sites} readings: say in which, as in \"accept 1 READING\"")
    );
    assert_eq!(refusal(1, Some(9999)), refusal(1, None), "a reading that is not among them");
    assert!(refusal(0, None).to_string().starts_with("no cause 0, one of 1 to "));
    let mut closed = planted.book.clone();
    closed.settled();
    let other = closerun::book::finding::FindingKey { id: FindingId::Balance, ..finding.clone() };
    let refusal = accept(&closed, &other, 1, None).unwrap_err().to_string();
    assert!(refusal.ends_with("tells of no misclosure over its allowance: there is nothing to explain"), "{refusal}");
}
