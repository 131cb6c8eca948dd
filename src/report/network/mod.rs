//! An adjusted network as a document: what the text, the CSV and the JSON print, worked out once.
//!
//! Lengths are given exactly in metres and as shown. Standard deviations are with the sigma that the document names; both
//! tests of single observations stand side by side, |w| with the a-priori sigma and |tau| with the a-posteriori one.

mod csv;
pub mod figures;
pub(super) mod lines;
mod row;
mod text;

use schemars::JsonSchema;
use serde::Serialize;

use super::document::tree::Figure;
use crate::adjust::outcome::Adjustment;
use crate::adjust::significance::{Sigma, Verdict};
use crate::adjust::snoop::{Suspect, propose};
use crate::adjust::{Network, Outcome, levelled};
use crate::book::Book;
use figures::{Figures, Size};

pub use csv::print as csv;
pub use text::print as text;

/// Version of the document.
pub const SCHEMA: u32 = 1;

/// What a network was made from, and how it is to be shown.
#[derive(Clone, Debug)]
pub struct Origin {
    /// The job files and network files that were read.
    pub files: Vec<String>,
    /// Anything of them came from a simulated instrument.
    pub simulated: bool,
    /// The number of each section as it was handed in: taking some out does not change those of the others.
    pub numbers: Vec<usize>,
    /// The numbers of those that were taken out.
    pub set_aside: Vec<usize>,
    /// Where the sections come from that jobs gave, in the order in which they were handed in; those of network files
    /// follow.
    pub came: Vec<Came>,
    /// How the sections were weighed, in words.
    pub weights: String,
}

/// Where a section comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Came {
    /// In words.
    pub words: String,
    /// The activity that observed it, if no run did.
    pub activity: Option<u32>,
}

impl Came {
    /// From the book of a job, which has this name beside others.
    pub fn of(book: &Book, job: Option<&str>, origin: levelled::Origin) -> Self {
        let mut words = match origin {
            levelled::Origin::Line { run, first, last } if first == last => format!("run {run}, setup {first}"),
            levelled::Origin::Line { run, first, last } => format!("run {run}, setups {first} to {last}"),
            levelled::Origin::Side { run, setup } => format!("run {run}, intermediate sight at setup {setup}"),
            levelled::Origin::Rise { activity } => {
                let name =
                    book.activities().all().get((activity as usize).wrapping_sub(1)).map(|held| held.task.name());
                format!("{}, activity {activity}", name.unwrap_or("rise"))
            }
        };
        words.extend(job.map(|job| format!(" of {job}")));
        let activity = match origin {
            levelled::Origin::Rise { activity } => Some(activity),
            levelled::Origin::Line { .. } | levelled::Origin::Side { .. } => None,
        };
        Came { words, activity }
    }
}

/// An adjusted network.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NetworkReport {
    /// Version of this form: 1.
    pub schema: u32,
    /// The files that were read.
    pub files: Vec<String>,
    /// Anything of them came from a simulated instrument.
    pub simulated: bool,
    /// Units and decimals of what is shown.
    pub shown: figures::Shown,
    /// How the sections were weighed.
    pub weights: String,
    /// With which sigma the standard deviations are.
    pub sigma: SigmaName,
    /// The sigma itself: 1 a priori.
    pub sigma_value: f64,
    /// Chance that an interval holds the true value.
    pub confidence: f64,
    /// Chances of the tests.
    pub levels: LevelsView,
    /// With one known mark held in each part: what the new work says by itself.
    pub free: Summary,
    /// With all known marks held; none where there is but one in each part.
    pub held: Option<Summary>,
    /// Known marks.
    pub known: Vec<KnownRow>,
    /// Every mark, in the order in which the sections name them.
    pub marks: Vec<MarkRow>,
    /// Every section that was adjusted.
    pub sections: Vec<SectionRow>,
    /// Sections that were taken out, not adjusted.
    pub set_aside: Vec<AsideRow>,
    /// The observation to doubt first, by the a-priori test, and by the a-posteriori one if that names another.
    pub doubts: Vec<Doubt>,
    /// What must be said of the whole, in sentences.
    pub remarks: Vec<String>,
}

/// Which sigma.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SigmaName {
    /// As the weights were stated.
    APriori,
    /// As the residuals turned out.
    APosteriori,
}

/// Chances of the tests.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LevelsView {
    /// That the global test refuses a sound network.
    pub global: f64,
    /// That the test of one observation refuses a sound one.
    pub single: f64,
    /// That it finds a mistake of the smallest detectable size.
    pub power: f64,
}

/// One adjustment in short.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Summary {
    /// Sections, and known elevations with a standard deviation.
    pub observations: usize,
    /// Heights that were not held.
    pub unknowns: usize,
    /// Observations less unknowns.
    pub degrees_of_freedom: usize,
    /// v'Pv.
    pub weighted_squares: f64,
    /// The a-posteriori sigma; none without degrees of freedom.
    pub s0: Option<f64>,
    /// Between which v'Pv is taken for chance.
    pub chance: Option<[f64; 2]>,
    /// passed, too-large or too-small; none without degrees of freedom.
    pub global_test: Option<&'static str>,
    /// What |w| is compared with.
    pub critical_w: f64,
    /// What |tau| is compared with; none with fewer than two degrees of freedom.
    pub critical_tau: Option<f64>,
    /// The same in a sentence.
    pub words: String,
}

/// A known mark.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct KnownRow {
    /// The mark.
    pub mark: String,
    /// As it was given.
    pub elevation: Figure,
    /// Its standard deviation; none if it is fixed.
    pub deviation: Option<Size>,
    /// Some section touches it.
    pub used: bool,
    /// The free adjustment less what was given; none for the mark that it is carried from.
    pub free_difference: Option<Size>,
    /// Standard deviation of that difference.
    pub free_difference_deviation: Option<Size>,
    /// What is to be said of it.
    pub words: String,
}

/// A mark.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MarkRow {
    /// The mark.
    pub mark: String,
    /// Adjusted.
    pub elevation: Figure,
    /// Its standard deviation.
    pub deviation: Size,
    /// Half of its interval.
    pub half_interval: Size,
    /// held, checked or unchecked.
    pub standing: &'static str,
    /// The unchecked section that it hangs on.
    pub hangs_on: Option<usize>,
    /// The worst that a mistake just missed by the tests could do to it; none for very large networks.
    pub exposure: Option<ExposureView>,
}

/// What an undetected mistake could do.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ExposureView {
    /// A mistake in this section.
    pub section: usize,
    /// Moves the mark by so much.
    pub by: Size,
}

/// A section that was adjusted.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SectionRow {
    /// Its number, as handed in.
    pub number: usize,
    /// From this mark.
    pub from: String,
    /// To this one.
    pub to: String,
    /// Where it comes from, in words: the setups of a run, a tape transfer; none for one of a network file.
    pub came: Option<String>,
    /// The activity that observed it, up a tape or across a gap; none for one of a run or of a network file.
    pub activity: Option<u32>,
    /// The standard deviation that it states; none where a rule weighs it.
    pub stated: Option<Size>,
    /// The rise as observed.
    pub observed: Figure,
    /// The rise as adjusted.
    pub adjusted: Figure,
    /// Adjusted less observed.
    pub residual: Size,
    /// Standard deviation of the adjusted rise.
    pub deviation: Size,
    /// Half of its interval.
    pub half_interval: Size,
    /// How far it was levelled.
    pub length: Option<String>,
    /// In how many setups.
    pub setups: Option<u32>,
    /// Share of a mistake that shows in the residual.
    pub redundancy: f64,
    /// Residual over its standard deviation, a-priori sigma; none where nothing checks it.
    pub w: Option<f64>,
    /// The same with the a-posteriori sigma.
    pub tau: Option<f64>,
    /// The smallest mistake that would be found.
    pub detectable: Option<Size>,
    /// The mark that such a mistake moves most.
    pub moves: Option<String>,
    /// By so much.
    pub moves_by: Option<Size>,
}

/// A section that was taken out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AsideRow {
    /// Its number, as handed in; none if the network file had it taken out.
    pub number: Option<usize>,
    /// From this mark.
    pub from: String,
    /// To this one.
    pub to: String,
    /// The rise as observed.
    pub observed: Figure,
}

/// An observation to doubt.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Doubt {
    /// By the test with that sigma.
    pub sigma: SigmaName,
    /// Its statistic.
    pub statistic: f64,
    /// What it exceeds.
    pub critical: f64,
    /// The sections; several where the network cannot tell them apart.
    pub sections: Vec<usize>,
    /// The known marks with a standard deviation.
    pub marks: Vec<String>,
    /// In a sentence.
    pub words: String,
    /// The flag that takes it out, once a person has decided.
    pub to_take_out: String,
}

/// The document.
pub fn document(network: &Network, outcome: &Outcome, origin: &Origin, figures: Figures) -> NetworkReport {
    let last = outcome.last();
    let rows = row::Rows { network, outcome, origin, figures };
    NetworkReport {
        schema: SCHEMA,
        files: origin.files.clone(),
        simulated: origin.simulated,
        shown: figures.shown(),
        weights: origin.weights.clone(),
        sigma: sigma_name(last.sigma),
        sigma_value: last.sigma_value,
        confidence: last.levels.confidence,
        levels: LevelsView { global: last.levels.global, single: last.levels.single, power: last.levels.power },
        free: summary(&outcome.free, "free"),
        held: outcome.held.as_ref().map(|held| summary(held, "held")),
        known: rows.known(),
        marks: rows.marks(),
        sections: rows.sections(),
        set_aside: rows.set_aside(),
        doubts: doubts(&rows, last),
        remarks: rows.remarks(),
    }
}

fn sigma_name(sigma: Sigma) -> SigmaName {
    match sigma {
        Sigma::APriori => SigmaName::APriori,
        Sigma::APosteriori => SigmaName::APosteriori,
    }
}

impl SigmaName {
    /// As it is said.
    pub fn words(self) -> &'static str {
        match self {
            SigmaName::APriori => "a-priori",
            SigmaName::APosteriori => "a-posteriori",
        }
    }
}

fn summary(adjustment: &Adjustment, which: &str) -> Summary {
    let verdict = adjustment.global.map(|global| global.verdict());
    let chance = adjustment.global.map(|global| [global.lower, global.upper]);
    let says = match verdict {
        Some(Verdict::Passed) => "the residuals are as large as the weights let expect",
        Some(Verdict::TooLarge) => {
            "the residuals are larger than the weights let expect: a mistake, a moved mark, or deviations stated too small"
        }
        Some(Verdict::TooSmall) => {
            "the residuals are smaller than the weights let expect: deviations stated too large, or sections that are not \
             independent"
        }
        None => "nothing is left over to test it by",
    };
    let within = match chance {
        Some([lower, upper]) => {
            format!("v'Pv {:.2}, by chance {lower:.2} to {upper:.2}: ", adjustment.weighted_squares)
        }
        None => String::new(),
    };
    Summary {
        observations: adjustment.observations,
        unknowns: adjustment.unknowns,
        degrees_of_freedom: adjustment.degrees_of_freedom(),
        weighted_squares: adjustment.weighted_squares,
        s0: adjustment.variance_factor.map(f64::sqrt),
        chance,
        global_test: verdict.map(|verdict| match verdict {
            Verdict::Passed => "passed",
            Verdict::TooLarge => "too-large",
            Verdict::TooSmall => "too-small",
        }),
        critical_w: adjustment.critical.w,
        critical_tau: adjustment.critical.tau,
        words: format!("{which}: {within}{says}"),
    }
}

/// What each of the two tests would doubt first; the second only if it names something else.
fn doubts(rows: &row::Rows<'_>, adjustment: &Adjustment) -> Vec<Doubt> {
    let mut doubts: Vec<Doubt> = Vec::new();
    for sigma in [Sigma::APriori, Sigma::APosteriori] {
        let Some(proposal) = propose(adjustment, sigma) else { continue };
        let mut sections = Vec::new();
        let mut marks = Vec::new();
        for (suspect, _) in &proposal.suspects {
            match suspect {
                Suspect::Section(section) => sections.push(rows.number(section.index())),
                Suspect::Known(mark) => marks.push(rows.network.name(*mark).to_string()),
            }
        }
        if doubts.iter().any(|held| (&held.sections, &held.marks) == (&sections, &marks)) {
            continue;
        }
        let mistake = proposal.suspects.first().map_or(0.0, |(_, test)| test.mistake_m);
        let names: Vec<String> = proposal.suspects.iter().map(|(suspect, _)| rows.suspect_words(*suspect)).collect();
        let which = match &names[..] {
            [only] => only.clone(),
            several => format!("one of {}: the network cannot tell which", several.join(", ")),
        };
        let (statistic, letter) = match sigma {
            Sigma::APriori => ("a-priori", "|w|"),
            Sigma::APosteriori => ("a-posteriori", "|tau|"),
        };
        doubts.push(Doubt {
            sigma: sigma_name(sigma),
            statistic: proposal.statistic,
            critical: proposal.critical,
            words: format!(
                "{which}; {letter} {:.2} over {:.2} ({statistic} sigma), as a mistake of {} would make it",
                proposal.statistic,
                proposal.critical,
                rows.figures.signed_size_words(mistake)
            ),
            to_take_out: match (sections.first(), marks.first()) {
                (Some(section), _) => format!("--set-aside {section}"),
                (None, Some(mark)) => format!("--release {mark}"),
                (None, None) => String::new(),
            },
            sections,
            marks,
        });
    }
    doubts
}

/// JSON Schema of the document.
pub fn schema() -> serde_json::Value {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    settings.into_generator().into_root_schema_for::<NetworkReport>().to_value()
}
