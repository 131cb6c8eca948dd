//! What the crew must be told: findings that are new, findings whose cause is gone, and the verdict on a setup.
//!
//! One finding is told once. It stands until its cause is gone, or until it has fallen far enough below its limit.
//! It is told again only if it has become more urgent.

use super::Book;
use super::event::{Body, Verdict};
use super::finding::{Finding, FindingKey, Priority};
use super::fold::Touched;
use super::run::{Run, Setup};
use super::wording::Wording;
use crate::units::push_whole;

/// Events that must be kept before the crew is told what they say. None if there is nothing to tell.
pub fn judge(book: &Book) -> Vec<Body> {
    let mut bodies = Vec::new();
    if !book.is_open() {
        return bodies;
    }
    match &book.touched {
        Touched::Setups(touched) => {
            for &(run, setup) in touched {
                let Some(run) = book.flow.runs.get(run) else { continue };
                let Some(setup) = run.setups.get(setup) else { continue };
                compare(book, &setup.findings, &setup.announced, &mut bodies);
            }
            if let Some(run) = book.flow.runs.last() {
                compare(book, &run.findings, &run.announced, &mut bodies);
            }
            compare(book, book.records.findings(), &book.records.announced, &mut bodies);
        }
        Touched::All => {
            let found: Vec<&Finding> = book
                .flow
                .runs
                .iter()
                .flat_map(|run| run.setups.iter().flat_map(|setup| &setup.findings).chain(&run.findings))
                .chain(book.records.findings())
                .collect();
            let announced: Vec<FindingKey> = book.standing.keys().cloned().collect();
            compare(book, found.iter().copied(), &announced, &mut bodies);
        }
    }
    bodies.extend(verdict(book));
    bodies
}

fn compare<'a>(
    book: &Book,
    found: impl IntoIterator<Item = &'a Finding> + Clone,
    announced: &[FindingKey],
    bodies: &mut Vec<Body>,
) {
    for finding in found.clone() {
        let before = book.standing.get(&finding.key).map(|standing| standing.priority);
        if finding.over && before < Some(finding.priority) {
            bodies.push(Body::Announced {
                key: finding.key.clone(),
                priority: finding.priority,
                fact: finding.fact.clone(),
                todo: finding.todo.clone(),
            });
        }
    }
    for key in announced {
        if !found.clone().into_iter().any(|finding| finding.key == *key) {
            bodies.push(Body::Withdrawn { key: key.clone() });
        }
    }
}

/// The verdict on the setup that the crew stands at, once all its places are taken: after each reading in it, and
/// whenever it comes out otherwise than it was given.
fn verdict(book: &Book) -> Option<Body> {
    let (run, setup) = book.current()?;
    if !setup.reduced.complete
        || matches!(&book.touched, Touched::Setups(touched) if touched.is_empty() && !book.verdict_due)
    {
        return None;
    }
    let held = holding(book, run, setup);
    let (verdict, text) = match held.first() {
        Some(finding) => (Verdict::Hold, finding.fact.clone()),
        None => (Verdict::ClearToMove, clear(book, setup)),
    };
    let given = book.last_verdict.as_ref().filter(|given| (given.run, given.setup) == (run.number, setup.number));
    let same = given.is_some_and(|given| given.verdict == verdict && given.text == text);
    // A setup that has none yet gets its verdict when it is shot, not because a command touched it.
    if !book.verdict_due && (same || given.is_none()) {
        return None;
    }
    Some(Body::VerdictGiven { run: run.number, setup: setup.number, verdict, text })
}

/// Findings that keep the crew at this setup: urgent, not acknowledged, at the setup or on the run as it stands.
fn holding<'a>(book: &'a Book, run: &'a Run, setup: &'a Setup) -> Vec<&'a Finding> {
    let acknowledged = |key: &FindingKey| book.standing.get(key).is_some_and(|standing| standing.acknowledged);
    let stands = |finding: &&Finding| finding.over || book.standing.contains_key(&finding.key);
    setup
        .findings
        .iter()
        .chain(&run.findings)
        .filter(stands)
        .filter(|finding| finding.priority == Priority::Hold && !acknowledged(&finding.key))
        .collect()
}

/// Room for the usual sentence: it is made for every setup.
const CLEAR_LENGTH: usize = 64;

fn clear(book: &Book, setup: &Setup) -> String {
    let say = Wording::new(book.settings().unit);
    let mut text = String::with_capacity(CLEAR_LENGTH);
    text.push_str("setup ");
    push_whole(&mut text, setup.number.into());
    let Some(imbalance) = setup.reduced.imbalance else {
        text.push_str(", balance not known: no sight lengths");
        return text;
    };
    text.push_str(", balance ");
    say.push_signed_sight(&mut text, imbalance);
    text.push_str(", sum ");
    say.push_signed_sight(&mut text, setup.imbalance_sum());
    if let Some(limit) = &book.settings().class.sum_imbalance_max {
        text.push_str(" of ");
        say.push_sight(&mut text, limit.value);
    }
    text
}
