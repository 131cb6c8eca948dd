//! Guided check of a mark against another.

use super::{Guide, Look};
use crate::book::Book;
use crate::book::activity::{Agreement, Outcome, Task};
use crate::field::marks;
use crate::units::Length;

/// Whether both marks are known.
pub(super) fn permit(book: &Book, task: &Task) -> Result<(), String> {
    let Task::CheckMark { against, mark, .. } = task else { return Ok(()) };
    if against == mark {
        return Err(format!("{mark} cannot be checked against itself: name another mark"));
    }
    match [against, mark].into_iter().find(|name| !book.known().contains_key(*name)) {
        Some(unknown) => Err(format!("{unknown} has no known elevation: register it first")),
        None => Ok(()),
    }
}

/// Checking.
pub(super) fn check_mark(look: &Look<'_>) -> Guide {
    let Task::CheckMark { against, mark, reading_sd } = &look.activity.task else { return Guide::default() };
    let (Some(from), Some(to)) = (marks::registered(look.book, against), marks::registered(look.book, mark)) else {
        return Guide::next("a mark of the check has lost its elevation: leave it");
    };
    let [first, second] = [0, 1].map(|slot| look.activity.at_slot(slot).map(|shot| look.corrected(&shot.reading)));
    let (Some(first), Some(second)) = (first, second) else {
        let on = if first.is_none() { against } else { mark };
        return Guide::next(format!("shoot the staff on {on}"));
    };
    let observed_sd = Length::from_f64_m(2f64.sqrt() * reading_sd.to_f64_m()).unwrap_or(*reading_sd);
    let tested = marks::agree(&from, &to, first - second, observed_sd);
    let unit = look.book.settings().unit;
    let verdict = match tested.agreement {
        Agreement::Agrees => format!("{mark} agrees with {against}"),
        Agreement::Doubtful => format!("{mark} is doubtful against {against}: shoot both again from another height"),
        Agreement::Moved => {
            format!("{mark} or {against} has moved, or one elevation is wrong: check both against a third before use")
        }
    };
    let mut said = vec![verdict, tested.words(unit)];
    let exact: Vec<&str> = [&from, &to].into_iter().filter(|m| m.sd.is_none()).map(|m| m.name.as_str()).collect();
    if !exact.is_empty() {
        said.push(format!("taken as exact, no uncertainty stated: {}", exact.join(", ")));
    }
    let t = tested.t.is_finite().then_some(tested.t);
    Guide::done(Outcome::Checked { off: tested.difference, t, agreement: tested.agreement }, said)
}
