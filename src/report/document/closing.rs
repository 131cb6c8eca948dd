//! How each run closes, and whether it may be relied on.

use super::Source;
use super::distribution::{Stretch, carried_from, section, stretches};
use super::lines::lines;
use super::page_check::page_check;
use super::tree::{
    Closes, ClosureRow, Distribution, Reached, ReadingRow, RuleView, RunPart, RunStanding, Section, Shown, Tie,
    TieOrigin,
};
use crate::book::closure::Rule;
use crate::book::reading::PointName;
use crate::book::run::{ClosesOn, Closure, Datum, DatumOrigin, Run, Setup};

/// The runs of the job.
pub(super) fn runs(source: &Source<'_>, by: Distribution, shown: &Shown, readings: &[ReadingRow]) -> Vec<RunPart> {
    let runs = source.book.runs();
    let stretches = stretches(runs, by);
    let part = |(run, own): (&Run, &Vec<Stretch<'_>>)| {
        let sections = match by {
            Distribution::None => Vec::new(),
            _ => own.iter().map(|stretch| section(source, stretch, by)).collect(),
        };
        part(source, shown, run, standing(runs, &stretches, run), sections, readings)
    };
    runs.iter().zip(&stretches).map(part).collect()
}

fn part(
    source: &Source<'_>,
    shown: &Shown,
    run: &Run,
    (standing, standing_words): (RunStanding, String),
    sections: Vec<Section>,
    readings: &[ReadingRow],
) -> RunPart {
    let lines = lines(source, run, readings);
    let risen = || run.setups.iter().filter(|setup| setup.reduced.rise().is_some());
    RunPart {
        number: run.number,
        from: run.start.to_string(),
        to: run.last_point().to_string(),
        ended: run.ended,
        setups: risen().count() as u32,
        length: source.scales.sight(run.distance()),
        length_lacks: risen().any(|setup| setup.reduced.length().is_none()),
        datums: run.chains.iter().map(|chain| datum_words(source, chain.datum.as_ref())).collect(),
        ties: run.chains.iter().map(|chain| Some(tie(source, run, chain.datum.as_ref()?))).collect(),
        standing,
        standing_words,
        page_checks: page_check(shown, &lines),
        lines,
        closures: run
            .setups
            .iter()
            .flat_map(|setup| setup.closures.iter().map(move |closure| closure_row(source, run, setup, closure)))
            .collect(),
        sections,
    }
}

fn datum_words(source: &Source<'_>, datum: Option<&Datum>) -> String {
    let Some(datum) = datum else { return "not tied to any known point: no elevations".to_owned() };
    let met = if datum.setup == 0 { String::new() } else { format!(", met at setup {}", datum.setup) };
    let unit = source.scales.unit;
    match (datum.origin, source.book.known().get(&datum.point)) {
        (DatumOrigin::Carried, _) => format!("elevations rest on {}, as an earlier run carried it there", datum.point),
        (_, Some(known)) if known.assumed => {
            let elevation = source.scales.level(known.elevation.value()).shown;
            format!("assumed datum: {} was taken as {elevation} {unit} to have one to start from{met}", datum.point)
        }
        (_, Some(known)) => {
            let elevation = source.scales.level(known.elevation.value()).shown;
            format!("elevations rest on {}, known as {elevation} {unit}{met}", datum.point)
        }
        (_, None) => format!("elevations rest on {}{met}", datum.point),
    }
}

fn tie(source: &Source<'_>, run: &Run, datum: &Datum) -> Tie {
    let earlier = &source.book.runs()[..run.number as usize - 1];
    let (origin, carried_from) = match datum.origin {
        DatumOrigin::Given => (TieOrigin::Given, None),
        DatumOrigin::Assumed => (TieOrigin::Assumed, None),
        DatumOrigin::Carried => (TieOrigin::Carried, carried_from(earlier, &datum.point)),
    };
    let elevation = match source.book.known().get(&datum.point) {
        Some(known) if origin != TieOrigin::Carried => known.elevation.value(),
        // A carried datum is the start of its run, at level nought.
        _ => datum.offset,
    };
    Tie {
        point: datum.point.to_string(),
        setup: datum.setup,
        origin,
        elevation: source.scales.level(elevation),
        carried_from: carried_from.map(|(index, _, setup)| Reached { run: index as u32 + 1, setup }),
    }
}

/// Whether a closure is within its allowance.
pub(super) fn closes(closure: &Closure) -> Closes {
    match &closure.allowance {
        None => Closes::NotJudged,
        Some(_) if closure.over() => Closes::DoesNotClose,
        Some(_) => Closes::Closes,
    }
}

fn closure_row(source: &Source<'_>, run: &Run, setup: &Setup, closure: &Closure) -> ClosureRow {
    let scales = source.scales;
    let allowance = closure.allowance.as_ref();
    ClosureRow {
        point: closure.point.to_string(),
        setup: setup.number,
        against: match closure.on {
            ClosesOn::Known if source.book.known().get(&closure.point).is_some_and(|known| known.assumed) => {
                "against its assumed elevation".to_owned()
            }
            ClosesOn::Known => "against its known elevation".to_owned(),
            ClosesOn::Earlier { run: earlier, setup: 0 } if earlier == run.number => {
                "against the start of this run".to_owned()
            }
            ClosesOn::Earlier { run: earlier, setup } if earlier == run.number => {
                format!("against setup {setup} of this run")
            }
            ClosesOn::Earlier { run, setup: 0 } => format!("against the start of run {run}"),
            ClosesOn::Earlier { run, setup } => format!("against setup {setup} of run {run}"),
        },
        earlier: match closure.on {
            ClosesOn::Known => None,
            ClosesOn::Earlier { run, setup } => Some(Reached { run, setup }),
        },
        misclosure: scales.misclosure(closure.misclosure),
        length: closure.length.map(|length| scales.sight(length)),
        setups: closure.setups,
        allowance: allowance.map(|allowance| scales.height(allowance.value)),
        rule: allowance.map(|allowance| match allowance.rule {
            Rule::ByLength => RuleView::ByLength,
            Rule::BySetups => RuleView::BySetups,
            Rule::ReadingNoise => RuleView::ReadingNoise,
        }),
        allowance_words: allowance.map(|allowance| allowance.words.clone()),
        words: match allowance {
            Some(allowance) => scales.say.share(closure.misclosure, allowance.value),
            None => scales.say.signed_height(closure.misclosure),
        },
        verdict: closes(closure),
    }
}

/// A check that a run, or a later one, makes of this run's heights up to a setup.
struct Checked {
    upto: u32,
    verdict: Closes,
    /// The other run that makes it.
    by: Option<(u32, PointName)>,
}

/// Whether a run may be relied on, and the words for it.
fn standing(runs: &[Run], stretches: &[Vec<Stretch<'_>>], run: &Run) -> (RunStanding, String) {
    let mut checks: Vec<Checked> = run
        .setups
        .iter()
        .flat_map(|setup| {
            let own = setup.closures.iter();
            own.map(|closure| Checked { upto: setup.number, verdict: closes(closure), by: None })
        })
        .collect();
    for (later, closed) in runs.iter().zip(stretches).filter(|(later, _)| later.number > run.number) {
        let by = |closure: &Closure| Some((later.number, closure.point.clone()));
        for closure in later.closures() {
            if let ClosesOn::Earlier { run: of, setup } = closure.on
                && of == run.number
            {
                checks.push(Checked { upto: setup, verdict: closes(closure), by: by(closure) });
            }
        }
        for stretch in closed {
            let Some(closure) = stretch.closure else { continue };
            for leg in stretch.legs.iter().filter(|leg| leg.run.number == run.number) {
                checks.push(Checked { upto: leg.to, verdict: closes(closure), by: by(closure) });
            }
        }
    }
    let reached = run.setups.iter().rfind(|setup| setup.reduced.rise().is_some()).map_or(0, |setup| setup.number);
    let Some(farthest) = checks.iter().max_by_key(|check| check.upto) else {
        return (RunStanding::Provisional, "provisional: the run has not closed".to_owned());
    };
    if checks.iter().any(|check| check.verdict == Closes::DoesNotClose) {
        return (RunStanding::DoesNotClose, "does not close".to_owned());
    }
    if farthest.upto < reached {
        let point = match farthest.upto.checked_sub(1) {
            None => Some(&run.start),
            Some(index) => run.setups.get(index as usize).and_then(|setup| setup.fore_point.as_ref()),
        };
        let beyond = point.map(|point| format!(" beyond {point}")).unwrap_or_default();
        return (RunStanding::ClosesInPart, format!("provisional{beyond}: from there the run has not closed"));
    }
    let through = farthest.by.as_ref().map(|(run, point)| format!(" through run {run} at {point}"));
    let through = through.unwrap_or_default();
    if checks.iter().any(|check| check.verdict == Closes::NotJudged) {
        (RunStanding::NotJudged, format!("closed{through}, not judged: the class has no allowance for it"))
    } else {
        (RunStanding::Closes, format!("closes{through}"))
    }
}
