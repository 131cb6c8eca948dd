//! The runs of a job as a network: what was levelled between the marks that matter, and how good the class says it is.
//!
//! A turning point that has only its number, and at which nothing else happens, is no mark: its setups are summed into
//! the line that goes through it. Sums are exact.
//!
//! - A line that comes back to the mark from which it set out is cut at its middle turning point, so that it closes.
//! - An intermediate sight hangs on the fore point of its setup by the difference of the two readings, with the deviation
//!   of one setup: a residual moves all points seen from a setup alike, as in the sharing out by hand.
//! - A rise that was observed otherwise than by a run, up a tape or across a gap, is a section of its own.
//! - Each states the standard deviation that its readings let expect.
//! - What is tied to no known point, and an assumed elevation where a given one rules, is left out and said to be.
//!
//! It decides nothing about the adjustment itself; [`super::Network`] checks what comes out of here.

mod ties;
mod usual;

use std::collections::BTreeSet;

use super::given::{Given, Section};
use crate::book::Book;
use crate::book::reading::PointName;
use crate::book::run::{Run, Setup, Side};
use crate::units::Length;

pub use ties::LeftOut;
pub use usual::{usual_deviation, usual_words};

/// The runs of a job as a network.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Levelled {
    /// The network, to be checked by [`super::Network::new`].
    pub given: Given,
    /// Where each of its sections comes from, in their order.
    pub origins: Vec<Origin>,
    /// Marks that are turning points without a name of their own.
    pub turning: BTreeSet<PointName>,
    /// What stands in the job and not in the network.
    pub left_out: Vec<LeftOut>,
}

/// Where a section comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A line of a run.
    Line {
        /// The run, counted from 1.
        run: u32,
        /// Its first setup.
        first: u32,
        /// Its last.
        last: u32,
    },
    /// An intermediate sight, which hangs on a line.
    Side {
        /// The run, counted from 1.
        run: u32,
        /// The setup that it was seen from.
        setup: u32,
    },
    /// A rise that was observed otherwise than by a run.
    Rise {
        /// The activity, counted from 1 through the job.
        activity: u32,
    },
}

/// Which points become marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Known and named ones, and those at which a line ends or on which something hangs.
    Marks,
    /// Every turning point too: each setup is a line.
    TurningPoints,
}

/// The network of all runs of a job.
pub fn levelled(book: &Book) -> Levelled {
    let found = found(book, Detail::Marks, |_| true);
    let turning: BTreeSet<PointName> = (book.runs().iter().flat_map(|run| &run.setups))
        .filter(|setup| !setup.fore_named)
        .filter_map(|setup| setup.fore_point.clone())
        .filter(|point| !book.known().contains_key(point))
        .collect();
    ties::tied(book, found, turning)
}

/// What the runs of a job come to, with those of its intermediate sights that are wanted.
pub(super) fn found(book: &Book, detail: Detail, wanted: impl Fn(&Side) -> bool) -> Found {
    let hangs = |side: &Side| side.shot.counts() && wanted(side);
    let marks = marks(book, detail, &hangs);
    let mut found = Found::default();
    for run in book.runs() {
        lines(run, &marks, &mut found);
        sides(run, &hangs, &mut found);
    }
    for section in &mut found.sections {
        section.deviation = usual_deviation(book.settings(), section.setups.unwrap_or(1));
    }
    rises(book, &mut found);
    found
}

/// What runs come to, before anything is left out.
#[derive(Debug, Default)]
pub(super) struct Found {
    pub(super) sections: Vec<Section<PointName>>,
    pub(super) origins: Vec<Origin>,
    left_out: Vec<LeftOut>,
}

impl Found {
    fn put(&mut self, section: Section<PointName>, origin: Origin) {
        self.sections.push(section);
        self.origins.push(origin);
    }
}

/// Every point that must be a mark: ends of runs and of stretches without a gap, points with a name, known points, ends
/// of what was carried up a tape or across a gap, and points on which intermediate sights hang.
fn marks(book: &Book, detail: Detail, hangs: &impl Fn(&Side) -> bool) -> BTreeSet<PointName> {
    let mut marks: BTreeSet<PointName> = book.known().keys().cloned().collect();
    let ends = book.activities().rises().filter_map(|observed| observed.activity.task.ends());
    marks.extend(ends.flat_map(|(from, to)| [from.clone(), to.clone()]));
    for run in book.runs() {
        marks.insert(run.start.clone());
        for (index, setup) in run.setups.iter().enumerate() {
            let goes_on = run.setups.get(index + 1).is_some_and(|next| next.reduced.rise().is_some());
            let hangs = setup.sides.iter().any(hangs);
            if setup.fore_named || !goes_on || hangs || detail == Detail::TurningPoints {
                marks.extend(setup.fore_point.clone());
            }
            let begins = index == 0 || run.setups[index - 1].reduced.rise().is_none();
            if begins || (hangs && setup.reduced.rise().is_none()) {
                marks.insert(setup.back_point.clone());
            }
        }
    }
    marks
}

/// The lines of a run from mark to mark.
fn lines(run: &Run, marks: &BTreeSet<PointName>, found: &mut Found) {
    let mut open: Vec<&Setup> = Vec::new();
    for setup in &run.setups {
        let Some(point) = setup.fore_point.as_ref().filter(|_| setup.reduced.rise().is_some()) else {
            open.clear();
            continue;
        };
        open.push(setup);
        if marks.contains(point) {
            line(run, &std::mem::take(&mut open), found);
        }
    }
}

/// One line; in two halves if it comes back to where it set out.
fn line(run: &Run, setups: &[&Setup], found: &mut Found) {
    let ([first, ..], [.., last]) = (setups, setups) else { return };
    let Some(to) = &last.fore_point else { return };
    let origin =
        |part: &[&Setup]| Origin::Line { run: run.number, first: part[0].number, last: part[part.len() - 1].number };
    if first.back_point != *to {
        found.put(section(first.back_point.clone(), to.clone(), setups), origin(setups));
        return;
    }
    let (out, back) = setups.split_at(setups.len() / 2);
    match out.last().and_then(|middle| middle.fore_point.clone()).filter(|middle| middle != to) {
        Some(middle) => {
            found.put(section(to.clone(), middle.clone(), out), origin(out));
            found.put(section(middle, to.clone(), back), origin(back));
        }
        None => found.left_out.push(LeftOut::OnItself { run: run.number, setup: last.number, point: to.clone() }),
    }
}

fn section(from: PointName, to: PointName, setups: &[&Setup]) -> Section<PointName> {
    let rise = setups.iter().filter_map(|setup| setup.reduced.rise()).sum();
    let length = setups.iter().try_fold(Length::ZERO, |sum, setup| Some(sum + setup.reduced.length()?));
    let length = length.filter(|length| *length > Length::ZERO);
    Section { length, setups: Some(setups.len() as u32), ..Section::new(from, to, rise) }
}

/// The intermediate sights of a run.
fn sides(run: &Run, hangs: &impl Fn(&Side) -> bool, found: &mut Found) {
    for setup in &run.setups {
        let ahead = setup.fore_point.as_ref().zip(setup.reduced.fore).filter(|_| setup.reduced.back.is_some());
        let behind = || Some((&setup.back_point, setup.reduced.back?));
        let Some((host, reading)) = ahead.or_else(behind) else { continue };
        let sight = if ahead.is_some() { setup.reduced.fore_sight } else { setup.reduced.back_sight };
        for side in setup.sides.iter().filter(|side| hangs(side) && side.point != *host) {
            let hanging = Section {
                length: sight.zip(side.shot.sight).map(|(to_host, to_side)| to_host + to_side),
                setups: Some(1),
                ..Section::new(host.clone(), side.point.clone(), reading - side.shot.value)
            };
            found.put(hanging, Origin::Side { run: run.number, setup: setup.number });
        }
    }
}

/// What was carried up a tape or across a gap.
fn rises(book: &Book, found: &mut Found) {
    for observed in book.activities().rises() {
        let Some((from, to)) = observed.activity.task.ends() else { continue };
        let section = Section::new(from.clone(), to.clone(), observed.rise);
        let origin = Origin::Rise { activity: observed.activity.number };
        found.put(Section { deviation: Some(observed.sd), ..section }, origin);
    }
}
