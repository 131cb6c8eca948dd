//! What intended runs would give, as a document: before anybody goes out.

mod csv;
mod text;

use schemars::JsonSchema;
use serde::Serialize;

use super::network::figures::{Figures, Shown, Size};
use crate::adjust::outcome::Standing;
use crate::adjust::plan::{ExtraRun, Origin, Plan};
use crate::adjust::{MarkId, Section};

pub use csv::print as csv;
pub use text::print as text;

/// Version of the document.
pub const SCHEMA: u32 = 1;

/// What intended runs would give.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlanReport {
    /// Version of this form: 1.
    pub schema: u32,
    /// The file that was read.
    pub file: String,
    /// Units and decimals of what is shown.
    pub shown: Shown,
    /// How the runs were weighed.
    pub weights: String,
    /// Redundant observations.
    pub degrees_of_freedom: usize,
    /// Chance that an interval would hold the true value.
    pub confidence: f64,
    /// Chance that a mistake of the smallest detectable size would be found.
    pub power: f64,
    /// Every mark.
    pub marks: Vec<PlannedMarkRow>,
    /// Every intended run.
    pub runs: Vec<PlannedRunRow>,
    /// Runs that could be added, the most helpful first.
    pub extra: Vec<ExtraRow>,
    /// What must be said of the whole, in sentences.
    pub remarks: Vec<String>,
}

/// What a mark would have.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlannedMarkRow {
    /// The mark.
    pub mark: String,
    /// Standard deviation of its elevation.
    pub deviation: Size,
    /// Half of its interval.
    pub half_interval: Size,
    /// held, checked or unchecked.
    pub standing: &'static str,
    /// The run that it hangs on unchecked.
    pub hangs_on: Option<usize>,
    /// The smallest detectable mistake: the worst that one just below it in a single run could do to the mark.
    pub detectable: Option<Size>,
    /// In this run.
    pub detectable_in: Option<usize>,
}

/// What a run would have.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlannedRunRow {
    /// Its number, as handed in.
    pub number: usize,
    /// From this mark.
    pub from: String,
    /// To this one.
    pub to: String,
    /// How far, and in how many setups, as far as the plan says.
    pub effort: String,
    /// Share of a mistake that would show in its residual.
    pub redundancy: f64,
    /// The smallest mistake that would be found; none where nothing checks the run.
    pub detectable: Option<Size>,
}

/// A run that could be added.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ExtraRow {
    /// From this mark.
    pub from: String,
    /// To this one.
    pub to: String,
    /// Asked for in the file, or again over intended runs.
    pub origin: &'static str,
    /// How far, and in how many setups, as far as that is known.
    pub effort: String,
    /// Its own standard deviation.
    pub deviation: Size,
    /// How many marks it would put under check.
    pub newly_checked: usize,
    /// The largest standard deviation of any mark with it.
    pub worst: Size,
    /// Root of the mean variance of the marks with it.
    pub mean: Size,
}

/// What a plan is called and how it was weighed.
#[derive(Clone, Debug)]
pub struct Planned<'a> {
    /// The file.
    pub file: &'a str,
    /// How the runs were weighed, in words.
    pub weights: String,
    /// Chance that an interval would hold the true value.
    pub confidence: f64,
    /// Chance that a mistake of the smallest detectable size would be found.
    pub power: f64,
    /// Runs that could be added, as they were asked for.
    pub asked: &'a [Section<crate::book::reading::PointName>],
}

/// The document.
pub fn document(plan: &Plan, planned: &Planned<'_>, figures: Figures) -> PlanReport {
    let name = |mark: MarkId| plan.network.name(mark).to_string();
    let marks = plan.marks.iter().zip(plan.network.names()).map(|(mark, name)| {
        let (standing, hangs_on) = match mark.standing {
            Standing::Held => ("held", None),
            Standing::Checked => ("checked", None),
            Standing::HangsOn(run) => ("unchecked", Some(run.index() + 1)),
        };
        // Beside a run that nothing checks, what the tests would just miss is no matter.
        let exposure = mark.exposure.filter(|_| hangs_on.is_none());
        PlannedMarkRow {
            mark: name.to_string(),
            deviation: figures.size(mark.deviation_m),
            half_interval: figures.size(plan.interval_multiplier * mark.deviation_m),
            standing,
            hangs_on,
            detectable: exposure.map(|exposure| figures.size(exposure.by_m.abs())),
            detectable_in: exposure.map(|exposure| exposure.section.index() + 1),
        }
    });
    let runs = plan.network.sections().iter().zip(&plan.runs).enumerate().map(|(at, (run, planned))| PlannedRunRow {
        number: at + 1,
        from: name(run.from),
        to: name(run.to),
        effort: effort(figures, run.length, run.setups),
        redundancy: planned.redundancy,
        detectable: planned.detectable_m.map(|metres| figures.size(metres)),
    });
    let extra = plan.extra.iter().map(|extra: &ExtraRun| {
        let (origin, effort) = match extra.origin {
            Origin::Asked(at) => {
                let run = planned.asked.get(at);
                let known = run.map(|run| effort(figures, run.length, run.setups));
                ("asked for", known.unwrap_or_default())
            }
            Origin::Again { length, setups } => ("again over intended runs", effort(figures, length, setups)),
        };
        ExtraRow {
            from: name(extra.from),
            to: name(extra.to),
            origin,
            effort,
            deviation: figures.size(extra.run_deviation_m),
            newly_checked: extra.newly_checked,
            worst: figures.size(extra.worst_m),
            mean: figures.size(extra.mean_m),
        }
    });
    PlanReport {
        schema: SCHEMA,
        file: planned.file.to_owned(),
        shown: figures.shown(),
        weights: planned.weights.clone(),
        degrees_of_freedom: plan.degrees_of_freedom,
        confidence: planned.confidence,
        power: planned.power,
        marks: marks.collect(),
        runs: runs.collect(),
        extra: extra.collect(),
        remarks: remarks(plan),
    }
}

fn effort(figures: Figures, length: Option<crate::units::Length>, setups: Option<u32>) -> String {
    let length = length.map(|length| figures.distance_words(length));
    let setups = setups.map(|setups| if setups == 1 { "1 setup".to_owned() } else { format!("{setups} setups") });
    [length, setups].into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn remarks(plan: &Plan) -> Vec<String> {
    let unchecked = plan.marks.iter().filter(|mark| matches!(mark.standing, Standing::HangsOn(_))).count();
    let mut remarks = Vec::new();
    match unchecked {
        0 => remarks.push("a mistake in any one run would show, if it is large enough".to_owned()),
        1 => remarks.push("1 mark would hang on a single line: a mistake on it would show nowhere".to_owned()),
        many => remarks.push(format!("{many} marks would hang on single lines: a mistake on them would show nowhere")),
    }
    if plan.network.known().len() == plan.network.parts().len() {
        remarks.push(
            "only one known mark is touched: take in a second one, or that it has moved will not show".to_owned(),
        );
    }
    remarks
}

/// JSON Schema of the document.
pub fn schema() -> serde_json::Value {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    settings.into_generator().into_root_schema_for::<PlanReport>().to_value()
}
