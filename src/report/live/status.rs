//! How a run stands at any moment, and what is said when it is over.

use super::words::{closure_words, given_words, next_words};
use super::{Ink, Painter, Status, activity_words};
use crate::book::finding::Priority;
use crate::book::wording::Wording;
use crate::book::{Book, next_staff};
use crate::units::Length;

/// How the run stands now.
pub fn status(book: &Book) -> Status {
    let activity = activity_words(book);
    let Some((run, setup)) = book.current() else { return Status { activity, ..Status::default() } };
    let say = Wording::new(book.settings().unit);
    let sum = setup.imbalance_sum();
    let known_balance = setup.reduced.imbalance.is_some() || setup.before.imbalance_sum != Length::ZERO;
    let sum = known_balance.then(|| match &book.settings().class.sum_imbalance_max {
        Some(limit) => format!("{} of {}", say.signed_sight(sum), say.sight(limit.value)),
        None => say.signed_sight(sum),
    });
    let holding = book.standing().iter().rev().filter(|(_, s)| s.priority == Priority::Hold && !s.acknowledged);
    let facts = holding.filter_map(|(key, _)| book.finding(key)).map(|finding| finding.fact.clone());
    let mut facts: Vec<String> = facts.take(HOLDING_MAX).collect();
    facts.reverse();
    Status {
        run: run.number,
        setup: setup.number,
        balance: setup.reduced.imbalance.map(|imbalance| say.signed_sight(imbalance)),
        balance_sum: sum,
        next: next_staff(book).map(|next| next_words(say, next)),
        due: Some(book.next_role()),
        activity,
        closure: run.closures().next_back().map(|closure| closure_words(say, closure)),
        holding: facts,
    }
}

/// How many facts that hold the crew are said at once: nobody mends more of them before the next line.
const HOLDING_MAX: usize = 8;

/// How the run stands, in words.
pub fn status_in_words(book: &Book) -> Vec<String> {
    let status = status(book);
    let mut words = activity_words(book);
    words.push(format!("run {}, setup {}, {} readings", status.run, status.setup, book.entries().len()));
    words.extend(book.last_verdict().map(given_words));
    words.extend(status.balance_sum.map(|sum| format!("balance {}, sum {sum}", status.balance.unwrap_or_default())));
    words.extend(status.next);
    words.extend(status.closure.map(|closure| format!("closure {closure}")));
    words.extend(status.holding.into_iter().map(|fact| format!("hold: {fact}")));
    words
}

/// How the runs have closed, the verdict first, as lines of at most `width` columns.
pub fn closing_lines(book: &Book, width: usize) -> Vec<String> {
    let say = Wording::new(book.settings().unit);
    let painter = Painter::new(Ink::Plain, width);
    let lines = book.runs().iter().flat_map(|run| {
        let words = match run.closures().next_back() {
            None => "provisional, it has not closed".to_owned(),
            Some(closure) => closure_words(say, closure),
        };
        painter.wrap(&format!("run {}: ", run.number), &words)
    });
    lines.collect()
}
