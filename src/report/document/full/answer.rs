//! The answer of the first page: what was carried where, how well it closed, may it be used.

use super::tree::{AdjustmentView, Answer, ClosedRow, JobStanding, RecordView, StandingCount};
use crate::book::finding::Priority;
use crate::report::document::tree::{
    ClosureRow, FieldBook, FindingRow, FindingState, RiseView, RunPart, RunStanding, TieOrigin,
};

/// What a reader looks for first.
pub(super) fn answer(book: &FieldBook, record: &RecordView, adjustment: &AdjustmentView) -> Answer {
    let standing = standing(book);
    Answer {
        standing,
        verdict: verdict(book, standing),
        carried: book
            .runs
            .iter()
            .map(|run| carried(book, run))
            .chain(book.rises.iter().map(|rise| risen(book, rise)))
            .collect(),
        closed: book.runs.iter().flat_map(|run| run.closures.iter().map(|closure| closed(run, closure))).collect(),
        reliance: reliance(book, record, adjustment, standing),
    }
}

/// The weakest of the runs speaks for the job.
fn standing(book: &FieldBook) -> JobStanding {
    let any = |wanted: RunStanding| book.runs.iter().any(|run| run.standing == wanted);
    if book.runs.is_empty() {
        if book.rises.is_empty() { JobStanding::Empty } else { JobStanding::Provisional }
    } else if any(RunStanding::DoesNotClose) {
        JobStanding::DoesNotClose
    } else if any(RunStanding::Provisional) || any(RunStanding::ClosesInPart) {
        JobStanding::Provisional
    } else if any(RunStanding::NotJudged) {
        JobStanding::NotJudged
    } else {
        JobStanding::Closes
    }
}

fn verdict(book: &FieldBook, standing: JobStanding) -> String {
    let worst = |of: &[RunStanding]| book.runs.iter().find(|run| of.contains(&run.standing));
    match standing {
        JobStanding::Empty => "no reading was booked".to_owned(),
        JobStanding::Closes if book.runs.len() == 1 => {
            format!("the run closes within what {} allows", book.class.title)
        }
        JobStanding::Closes => format!("all {} runs close within what {} allows", book.runs.len(), book.class.title),
        JobStanding::NotJudged => format!("it closed, and {} has no allowance to judge it by", book.class.title),
        JobStanding::Provisional => match worst(&[RunStanding::Provisional, RunStanding::ClosesInPart]) {
            Some(run) if run.standing == RunStanding::Provisional => {
                format!("run {}, {} to {}, has not closed", run.number, run.from, run.to)
            }
            Some(run) => format!("run {}, {} to {}: {}", run.number, run.from, run.to, run.standing_words),
            None => "no run was levelled that could close".to_owned(),
        },
        JobStanding::DoesNotClose => {
            let over = |run: &RunPart| run.closures.iter().rfind(|closure| closure.verdict.is_over()).cloned();
            let telling = book.runs.iter().find_map(|run| Some((run.number, over(run)?)));
            telling
                .map_or_else(String::new, |(run, closure)| format!("run {run} at {}: {}", closure.point, closure.words))
        }
    }
}

fn carried(book: &FieldBook, run: &RunPart) -> String {
    let unit = book.shown.unit;
    let from = match run.ties.first() {
        Some(Some(tie)) if tie.setup == 0 => {
            let how = match tie.origin {
                TieOrigin::Given => "known",
                TieOrigin::Assumed => "ASSUMED",
                TieOrigin::Carried => "carried",
            };
            format!("{} ({how}, {} {unit})", run.from, tie.elevation.shown)
        }
        _ => run.from.clone(),
    };
    let last = run.lines.iter().rev().find(|line| line.foresight.is_some()).and_then(|line| line.elevation.as_ref());
    let to = match last {
        Some(elevation) => format!("{} (observed {} {unit})", run.to, elevation.shown),
        None => run.to.clone(),
    };
    let setups = if run.setups == 1 { "1 setup".to_owned() } else { format!("{} setups", run.setups) };
    let length = match run.length_lacks {
        true => "length not known".to_owned(),
        false => format!("{} {}", run.length.shown, book.shown.sight_unit),
    };
    format!("run {}: from {from} to {to}, {setups}, {length}", run.number)
}

fn risen(book: &FieldBook, rise: &RiseView) -> String {
    format!(
        "{} from {} to {}: a rise of {} {}, standard deviation {} {}; {}",
        rise.method.words(),
        rise.from,
        rise.to,
        rise.rise.shown,
        book.shown.unit,
        rise.deviation.shown,
        book.shown.height_unit,
        rise.standing
    )
}

fn closed(run: &RunPart, closure: &ClosureRow) -> ClosedRow {
    let share = closure.allowance.as_ref().filter(|allowance| allowance.exact.tenth_nm() > 0).map(|allowance| {
        let share = 100.0 * closure.misclosure.exact.to_f64_m().abs() / allowance.exact.to_f64_m();
        // The cast holds what is larger than a whole number can be.
        share.round() as u32
    });
    ClosedRow {
        run: run.number,
        setup: closure.setup,
        point: closure.point.clone(),
        against: closure.against.clone(),
        length: closure.length.clone(),
        setups: closure.setups,
        misclosure: closure.misclosure.clone(),
        allowance: closure.allowance.clone(),
        share,
        verdict: closure.verdict,
    }
}

/// What a reader must know before relying on it, the weightiest first.
fn reliance(book: &FieldBook, record: &RecordView, adjustment: &AdjustmentView, standing: JobStanding) -> Vec<String> {
    let mut words = Vec::new();
    if book.simulated {
        words.push("SIMULATED: a simulated instrument was heard; nothing here was measured.".to_owned());
    }
    if let Some(damage) = &record.damage {
        words.push(format!("The record is not as it was kept: {damage}."));
    }
    words.push(
        match standing {
            JobStanding::Closes => "Every run closes within its allowance.",
            JobStanding::NotJudged => "Somebody must judge the misclosures: the class does not.",
            JobStanding::Provisional => {
                "Elevations beyond the last closure are provisional: a mistake there would show nowhere."
            }
            JobStanding::DoesNotClose => "Elevations of a run that does not close are not to be used.",
            JobStanding::Empty => "There is nothing to use.",
        }
        .to_owned(),
    );
    if book.known.iter().any(|known| known.assumed && tied(book, &known.point)) {
        words.push("The datum is assumed: elevations are good among themselves only.".to_owned());
    }
    let unchecked = book.rises.iter().filter(|rise| !rise.checked).count();
    if unchecked > 0 {
        let rises = if unchecked == 1 { "A rise".to_owned() } else { format!("{unchecked} rises") };
        words.push(format!("{rises} by tape or across a gap: no second one agrees, a mistake there may show nowhere."));
    }
    let stands = standing_counts(book);
    if let Some(hold) = stands.iter().find(|count| count.priority == Priority::Hold) {
        let acknowledged = match hold.standing - hold.open {
            0 => String::new(),
            seen if seen == hold.standing => ", acknowledged".to_owned(),
            seen => format!(", {seen} of them acknowledged"),
        };
        let (noun, verb) = if hold.standing == 1 { ("finding", "holds") } else { ("findings", "hold") };
        words.push(format!("{} {noun} still {verb}{acknowledged}: see Findings.", hold.standing));
    }
    if let Some(figures) = &adjustment.figures {
        if figures.global.as_ref().is_some_and(|global| !global.passed && global.statistic > global.upper) {
            words.push("The adjustment fails its test as a whole: see Adjustment.".to_owned());
        }
        if !figures.doubts.is_empty() {
            words.push("The adjustment doubts single lines: see Adjustment.".to_owned());
        }
    }
    if let Some(why) = &adjustment.not_adjusted {
        words.push(format!("Elevations are as observed, without uncertainties: {why}."));
    }
    if book.runs.iter().flat_map(|run| &run.lines).any(|line| line.intermediate.is_some()) {
        words.push("Points seen by an intermediate sight are single and unchecked.".to_owned());
    }
    if book.readings.iter().any(|reading| reading.unprotected) {
        words.push("Some records came without a checksum: a changed digit could not be noticed.".to_owned());
    }
    words
}

fn tied(book: &FieldBook, point: &str) -> bool {
    book.runs.iter().flat_map(|run| &run.ties).flatten().any(|tie| tie.point == point)
}

/// How many findings stand, the most urgent first; priorities of which none stands are left out.
pub fn standing_counts(book: &FieldBook) -> Vec<StandingCount> {
    let count = |priority: Priority| {
        let stands = |row: &&FindingRow| row.state == FindingState::Stands && row.priority == priority;
        let open = |row: &&FindingRow| {
            let told = row.announced.last().map(|told| told.event);
            row.acknowledged.last().map(|seen| seen.event) <= told
        };
        StandingCount {
            priority,
            standing: book.findings.iter().filter(stands).count(),
            open: book.findings.iter().filter(stands).filter(open).count(),
        }
    };
    let counts = [Priority::Hold, Priority::Warn, Priority::Note].map(count);
    counts.into_iter().filter(|count| count.standing > 0).collect()
}
