//! The head of a field book: what the job is set to, where its limits come from, and what to mind.

use super::figure::ROUNDING;
use super::readings::sent;
use super::tree::{
    ClassView, Distribution, FieldBook, KnownRow, LimitRow, ListenedRow, ReadingRow, RunPart, SCHEMA, SaidRow, Shown,
    Told,
};
use super::{BookOptions, Source, findings, rises};
use crate::book::Book;
use crate::book::classes::{Basis, Class};
use crate::book::event::{Body, Event};
use crate::book::settings::{Corrections, StaffsInUse};
use crate::book::wording::Wording;

/// What every report says at its end.
const CAUTIONS: [&str; 8] = [
    "Heights here are computed from what the instrument sent and people said. The page check proves the arithmetic, \
     not the field work; an intermediate sight is single and unchecked.",
    "Keep away from edges and floor openings, and guard those that you open.",
    "Keep out of the way of traffic, cranes and plant; be seen.",
    "Keep staffs and tapes clear of overhead lines.",
    "Stop in lightning: put the staff down and go.",
    "A tripod on a slab slips: chain or seat its feet, and let nobody trip over it.",
    "Local codes rule over anything printed here.",
    "The responsible licensed surveyor or engineer decides what these heights may be used for.",
];

/// What was worked out before the head is put to it.
pub(super) struct Parts {
    pub(super) runs: Vec<RunPart>,
    pub(super) readings: Vec<ReadingRow>,
    pub(super) said: Vec<SaidRow>,
}

/// How the book's numbers are shown.
pub(super) fn shown(source: &Source<'_>, options: BookOptions) -> Shown {
    let scales = source.scales;
    Shown {
        form: options.form,
        unit: scales.unit,
        decimals: scales.decimals,
        height_unit: scales.say.height_scale().0,
        sight_unit: scales.say.sight_scale().0,
        job_unit: source.book.settings().unit,
        rounding: ROUNDING.to_owned(),
        distribution: options.distribution,
    }
}

/// The whole book.
pub(super) fn field_book(source: &Source<'_>, job: &str, shown: Shown, parts: Parts) -> FieldBook {
    let settings = source.book.settings();
    let opened = source.events.first();
    FieldBook {
        schema: SCHEMA,
        job: job.to_owned(),
        simulated: source.book.simulated(),
        program: opened.map(program).unwrap_or_default(),
        opened_at: opened.map(|event| event.at.to_string()).unwrap_or_default(),
        last_event: source.book.last_event(),
        last_at: source.book.last_at().to_string(),
        class: class(&settings.class, source.scales.say),
        sequence: settings.sequence.to_string(),
        equipment: equipment(source),
        corrections: corrections(&settings.corrections).into_iter().chain(commanded(source.book)).collect(),
        known: known(source),
        listened: source.events.iter().filter_map(listened).collect(),
        resettled: source.events.iter().filter_map(resettled).collect(),
        runs: parts.runs,
        rises: rises::rises(source),
        readings: parts.readings,
        findings: findings::findings(source),
        verdicts: findings::verdicts(source),
        said: parts.said,
        records: findings::records(source),
        cautions: CAUTIONS.map(str::to_owned).to_vec(),
        shown,
    }
}

fn program(event: &Event) -> String {
    match &event.body {
        Body::JobOpened { program, .. } => program.clone(),
        _ => String::new(),
    }
}

fn listened(event: &Event) -> Option<ListenedRow> {
    let Body::ListeningBegan { link, format, digest, .. } = &event.body else { return None };
    Some(ListenedRow {
        event: event.seq,
        at: event.at.to_string(),
        link: link.clone(),
        format: format.clone(),
        digest: digest.clone(),
    })
}

fn resettled(event: &Event) -> Option<Told> {
    matches!(event.body, Body::Resettled { .. }).then(|| Told { event: event.seq, at: event.at.to_string() })
}

fn known(source: &Source<'_>) -> Vec<KnownRow> {
    let row = |known: &crate::book::settings::KnownPoint| KnownRow {
        point: known.name.to_string(),
        given: sent(&known.elevation),
        elevation: source.scales.level(known.elevation.value()),
        assumed: known.assumed,
    };
    source.book.known().values().map(row).collect()
}

fn equipment(source: &Source<'_>) -> Vec<String> {
    let (settings, say) = (source.book.settings(), source.scales.say);
    let (staffs, instrument) = (&settings.staffs, &settings.instrument);
    let in_use = match staffs.in_use {
        StaffsInUse::One => "one staff",
        StaffsInUse::Pair => "a pair of staffs",
    };
    vec![
        format!("{in_use} of {}", say.sight(staffs.length)),
        format!(
            "instrument for sights of {} to {}, one reading good to {} (standard deviation)",
            say.sight(instrument.sight_min),
            say.sight(instrument.sight_max),
            say.height(instrument.reading_sd)
        ),
    ]
}

fn corrections(corrections: &Corrections) -> Vec<String> {
    let mut words = Vec::new();
    words.extend(corrections.collimation_mm_per_m.map(|c| format!("collimation: line of sight {c:+} mm per m")));
    words.extend(corrections.refraction_k.map(|k| format!("curvature and refraction: k = {k}")));
    words.extend(corrections.staff_scale_ppm.map(|ppm| format!("staff scale: {ppm:+} ppm")));
    words.extend(corrections.staff_expansion.map(|staff| {
        let now = match staff.staff_c {
            Some(celsius) => format!(", staff at {celsius} C unless a record says otherwise"),
            None => ", temperature from the records".to_owned(),
        };
        format!("staff temperature: {} ppm per C from {} C{now}", staff.ppm_per_c, staff.standard_c)
    }));
    words
}

/// Inclinations that people turned on, from which reading on.
fn commanded(book: &Book) -> impl Iterator<Item = String> {
    book.amendments().collimations().map(|(from, mm_per_m)| match mm_per_m {
        Some(c) => format!("collimation from reading {from} on: line of sight {c:+} mm per m"),
        None => format!("collimation from reading {from} on: none"),
    })
}

fn class(class: &Class, say: Wording) -> ClassView {
    let known = |basis: Basis| match basis.remark() {
        "" if basis == Basis::Own => "the job's own".to_owned(),
        "" => "published".to_owned(),
        remark => remark.trim_start_matches(", ").to_owned(),
    };
    let mut limits = Vec::new();
    let mut add = |what: &str, limit: Option<(String, Basis)>| {
        limits.extend(limit.map(|(limit, basis)| LimitRow { what: what.to_owned(), limit, basis: known(basis) }));
    };
    let rate = |rate: &crate::book::classes::Rate, per: &str| (format!("{} mm per root {per}", rate.mm), rate.basis);
    add("misclosure of a section", class.section_mm_per_sqrt_km.as_ref().map(|limit| rate(limit, "km")));
    add("misclosure of a loop", class.loop_mm_per_sqrt_km.as_ref().map(|limit| rate(limit, "km")));
    add("misclosure by setups", class.mm_per_sqrt_setup.as_ref().map(|limit| rate(limit, "setup")));
    let sight = |limit: &crate::book::classes::Limit| (say.sight(limit.value), limit.basis);
    let height = |limit: &crate::book::classes::Limit| (say.height(limit.value), limit.basis);
    add("longest sight", class.sight_max.as_ref().map(sight));
    add("balance of a setup", class.setup_imbalance_max.as_ref().map(sight));
    add("balance of a section", class.sum_imbalance_max.as_ref().map(sight));
    add("line of sight above the foot of the staff", class.line_of_sight_min.as_ref().map(sight));
    add("stated deviation, half the range of repeats", class.spread_max.as_ref().map(height));
    add("two height differences of a setup", class.two_differences_max.as_ref().map(height));
    add("number of setups between marks", class.even_setups.map(|basis| ("even".to_owned(), basis)));
    ClassView { id: class.id.clone(), title: class.title.clone(), source: class.source.clone(), limits }
}

impl Distribution {
    /// As lines are weighted where nobody says otherwise ([`crate::adjust::levelled::usual_deviation`]), so that the way by
    /// hand and the adjustment agree.
    pub const USUAL: Distribution = Distribution::BySetups;

    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Distribution::ByLength => "by length",
            Distribution::BySetups => "by setups",
            Distribution::None => "not shared out",
        }
    }
}
