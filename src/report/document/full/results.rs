//! Every mark with its elevation, in the order in which the runs reached them, known points first; then those that only a
//! tape or a sight across a gap reached.

use std::collections::HashMap;

use super::super::figure::Scales;
use super::adjusted::metres;
use super::tree::{MarkKind, ResultRow, standing_words};
use crate::adjust::levelled::Levelled;
use crate::adjust::outcome::{AdjustedMark, Adjustment, Standing};
use crate::adjust::{Network, Outcome};
use crate::book::Book;
use crate::book::reading::PointName;
use crate::book::run::{Level, Run};
use crate::report::document::tree::{FieldBook, Figure, RunStanding};
use crate::units::Length;

/// The marks. A turning point without a name of its own is one only where a run ends on it.
pub(super) fn results(
    book: &Book,
    field_book: &FieldBook,
    levelled: &Levelled,
    outcome: Option<&(Network, Outcome)>,
) -> Vec<ResultRow> {
    let maker = Maker {
        book,
        field_book,
        scales: Scales::from(&field_book.shown),
        adjusted: outcome.map(|(network, outcome)| Marks::of(network, outcome.last())),
    };
    let ends = |point: &PointName| book.runs().iter().any(|run| run.last_point() == point);
    let shown = |seen: &Seen| !levelled.turning.contains(&seen.point) || ends(&seen.point);
    let (known, others): (Vec<Seen>, Vec<Seen>) =
        seen(book).into_iter().filter(shown).partition(|seen| book.known().contains_key(&seen.point));
    known.into_iter().chain(others).filter_map(|seen| maker.row(&seen)).collect()
}

/// A point that the runs saw.
struct Seen {
    point: PointName,
    /// Its elevation when it was last reached.
    elevation: Option<Length>,
    /// Some foresight or backsight stood on it.
    on_line: bool,
    runs: Vec<u32>,
}

/// The points that the runs saw, each once, in order.
fn seen(book: &Book) -> Vec<Seen> {
    let mut places: HashMap<PointName, usize> = HashMap::new();
    let mut all: Vec<Seen> = Vec::new();
    let mut see = |run: &Run, point: &PointName, level: Option<Level>, on_line: bool| {
        let at = *places.entry(point.clone()).or_insert_with(|| {
            all.push(Seen { point: point.clone(), elevation: None, on_line: false, runs: Vec::new() });
            all.len() - 1
        });
        let held = &mut all[at];
        held.elevation = level.and_then(|level| run.elevation(level)).or(held.elevation);
        held.on_line |= on_line;
        if held.runs.last() != Some(&run.number) {
            held.runs.push(run.number);
        }
    };
    for run in book.runs() {
        let start = Level { chain: 0, height: Length::ZERO };
        see(run, &run.start, Some(start).filter(|_| book.known().get(&run.start).is_none()), true);
        for setup in &run.setups {
            for side in setup.sides.iter().filter(|side| side.shot.counts()) {
                see(run, &side.point, setup.side_level(side), false);
            }
            if let Some(point) = setup.fore_point.as_ref().filter(|_| setup.reduced.fore.is_some()) {
                see(run, point, setup.fore_level(), true);
            }
        }
    }
    let ends = book.activities().rises().filter_map(|observed| observed.activity.task.ends());
    for point in ends.flat_map(|(from, to)| [from, to]) {
        if !places.contains_key(point) {
            places.insert(point.clone(), all.len());
            all.push(Seen { point: point.clone(), elevation: None, on_line: true, runs: Vec::new() });
        }
    }
    all
}

/// The marks of an adjustment by their names.
struct Marks<'a> {
    adjustment: &'a Adjustment,
    places: HashMap<&'a PointName, usize>,
}

impl<'a> Marks<'a> {
    fn of(network: &'a Network, adjustment: &'a Adjustment) -> Self {
        Marks { adjustment, places: network.names().iter().zip(0..).collect() }
    }

    fn get(&self, point: &PointName) -> Option<AdjustedMark> {
        Some(self.adjustment.marks[*self.places.get(point)?])
    }
}

struct Maker<'a> {
    book: &'a Book,
    field_book: &'a FieldBook,
    scales: Scales,
    adjusted: Option<Marks<'a>>,
}

impl Maker<'_> {
    /// The row of a point; none for one that has no elevation.
    fn row(&self, seen: &Seen) -> Option<ResultRow> {
        let known = self.book.known().get(&seen.point);
        let adjusted = self.adjusted.as_ref().and_then(|marks| marks.get(&seen.point));
        let kind = match known {
            Some(known) if known.assumed => MarkKind::Assumed,
            Some(_) => MarkKind::Known,
            None if seen.on_line => MarkKind::Carried,
            None => MarkKind::Intermediate,
        };
        let given = known.map(|known| known.elevation.value());
        let elevation = adjusted.map(|mark| mark.elevation).or(given).or(seen.elevation)?;
        let moved = adjusted.filter(|mark| mark.standing != Standing::Held);
        let deviation = |of: fn(&Marks<'_>, f64) -> f64| -> Option<Figure> {
            let marks = self.adjusted.as_ref()?;
            Some(self.scales.deviation(metres(of(marks, moved?.deviation_m))))
        };
        Some(ResultRow {
            point: seen.point.to_string(),
            kind,
            observed: seen.elevation.map(|elevation| self.scales.level(elevation)),
            elevation: self.scales.level(elevation),
            deviation: deviation(|_, deviation_m| deviation_m),
            interval: deviation(|marks, deviation_m| marks.adjustment.half_interval_m(deviation_m)),
            remarks: self.remarks(seen, kind, adjusted),
            runs: seen.runs.clone(),
        })
    }

    fn remarks(&self, seen: &Seen, kind: MarkKind, adjusted: Option<AdjustedMark>) -> Vec<String> {
        let runs = || self.field_book.runs.iter().filter(|run| seen.runs.contains(&run.number));
        let mut remarks = Vec::new();
        match (kind, adjusted) {
            (MarkKind::Known, Some(AdjustedMark { standing: Standing::Held, .. })) => {
                remarks.push("known, held".into())
            }
            (MarkKind::Known, _) => remarks.push("known".to_owned()),
            (MarkKind::Assumed, _) => remarks.push("ASSUMED to have one to start from".to_owned()),
            (MarkKind::Intermediate, Some(AdjustedMark { standing: Standing::Checked, .. })) => {}
            (MarkKind::Intermediate, _) => remarks.push("single, unchecked".to_owned()),
            (MarkKind::Carried, Some(mark)) => {
                remarks.extend(standing_words(mark.standing).map(|words| format!("provisional: {words}")));
            }
            (MarkKind::Carried, None) => {
                remarks.push("as observed, not adjusted".to_owned());
                if !seen.runs.is_empty() && runs().all(|run| run.standing == RunStanding::Provisional) {
                    remarks.push("provisional: the run has not closed".to_owned());
                }
            }
        }
        if seen.runs.is_empty() {
            let rises = self
                .field_book
                .rises
                .iter()
                .filter(|rise| seen.point.as_str() == rise.from || seen.point.as_str() == rise.to);
            remarks.extend(rises.map(|rise| format!("by {}, activity {}", rise.method.words(), rise.activity)));
        }
        if matches!(kind, MarkKind::Carried | MarkKind::Intermediate)
            && let Some(run) = runs().find(|run| run.standing == RunStanding::DoesNotClose)
        {
            remarks.push(format!("not to be used: run {} does not close", run.number));
        }
        remarks
    }
}
