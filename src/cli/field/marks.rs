//! `closerun marks`: the register of a job, shared between jobs, and two epochs compared.

use std::path::Path;

use super::super::Failure;
use super::super::job::{print, read as read_job};
use super::super::say;
use super::desk::Desk;
use super::{Form, in_file, read_file};
use crate::book::Book;
use crate::book::activity::Agreement;
use crate::book::marks::Mark;
use crate::field::marks::{self, register};
use crate::units::{Length, Unit};

/// The marks of a job or a register.
pub(super) fn list(of: &Path, form: Form) -> Result<(), Failure> {
    let marks = marks_of(of)?;
    if form == Form::Csv {
        return print(&register::write(&marks));
    }
    let mut out = String::new();
    for mark in &marks {
        out.push_str(&line(mark));
    }
    if marks.is_empty() {
        out.push_str("no marks\n");
    }
    print(&out)
}

fn line(mark: &Mark) -> String {
    let (digits, unit) = (mark.elevation.digits(), mark.elevation.unit());
    let sd = match mark.sd {
        Some(sd) => format!("+/- {} mm", sd.show(Unit::Millimetre, 2)),
        None => "exact, no uncertainty stated".to_owned(),
    };
    let more = [&mark.datum, &mark.date, &mark.origin, &mark.description, &mark.photo];
    let more: Vec<&str> = more.into_iter().flatten().map(String::as_str).collect();
    let more = if more.is_empty() { String::new() } else { format!("  {}", more.join(", ")) };
    format!("{:<16} {digits:>12} {unit:<3} {sd}{more}\n", mark.name)
}

/// Puts the marks of a register into a job.
pub(super) fn add(file: &Path, job: &Path) -> Result<(), Failure> {
    let marks = register::read(&read_file(file)?).map_err(|error| in_file(file, &error))?;
    let mut desk = Desk::of_job(job, &Default::default())?;
    for mark in &marks {
        desk.say(&words(mark))?;
    }
    desk.close()?;
    say::line(format_args!("{} marks put into {}", marks.len(), job.display()));
    Ok(())
}

/// The words that register a mark.
fn words(mark: &Mark) -> Vec<String> {
    let (digits, unit) = (mark.elevation.digits(), mark.elevation.unit());
    let mut words = vec!["register".to_owned(), format!("{}={digits}{unit}", mark.name)];
    let sd = mark.sd.map(|sd| format!("{}mm", sd.show(Unit::Millimetre, 7)));
    for (key, value) in [
        ("sd", &sd),
        ("date", &mark.date),
        ("datum", &mark.datum),
        ("origin", &mark.origin),
        ("photo", &mark.photo),
        ("description", &mark.description),
    ] {
        if let Some(value) = value {
            words.extend([key.to_owned(), value.clone()]);
        }
    }
    words
}

/// Compares two epochs.
pub(super) fn compare(first: &Path, second: &Path) -> Result<(), Failure> {
    let (then, now) = (marks_of(first)?, marks_of(second)?);
    let unit = now.first().or(then.first()).map_or(Unit::Metre, |mark| mark.elevation.unit());
    let epochs = marks::compare(&then, &now);
    let mut out = String::new();
    for settled in &epochs.both {
        let way = match (settled.tested.agreement, settled.tested.difference > Length::ZERO) {
            (Agreement::Agrees, _) => "stands",
            (Agreement::Doubtful, _) => "doubtful",
            (Agreement::Moved, true) => "has risen",
            (Agreement::Moved, false) => "has settled",
        };
        out.push_str(&format!("{:<16} {way:<12} {}\n", settled.name, settled.tested.words(unit)));
    }
    for (names, how) in [
        (&epochs.lost, "only in the first"),
        (&epochs.new, "only in the second"),
        (&epochs.other_datum, "not compared: the two datums have different names"),
    ] {
        for name in names {
            out.push_str(&format!("{name:<16} {how}\n"));
        }
    }
    if epochs.both.is_empty() {
        return Err(Failure::outcome(format!(
            "{} and {} have no mark in common on one datum",
            first.display(),
            second.display()
        )));
    }
    print(&out)
}

/// The marks that count, of a job or of a register.
fn marks_of(path: &Path) -> Result<Vec<Mark>, Failure> {
    if path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("csv")) {
        let all = register::read(&read_file(path)?).map_err(|error| in_file(path, &error))?;
        return Ok(register::latest(&all));
    }
    Ok(of_book(&read_job(path)?.0))
}

fn of_book(book: &Book) -> Vec<Mark> {
    let known = book.known().keys();
    known.filter_map(|name| marks::registered(book, name)).collect()
}
