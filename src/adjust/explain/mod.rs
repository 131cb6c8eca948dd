//! Why a run does not close: every single mistake that would bring it inside its allowance, the likeliest first.
//!
//! ```text
//! book ──▶ conditions ──▶ candidates ──▶ rank ──▶ Explanation
//!          closures as    one family      against plain noise (noise),
//!          sums of rises  a file          with how often each happens (priors)
//! ```
//!
//! Pure, a function of the book. All closures of the run are looked at together, later ones too: a run that closes again
//! farther on says more of where the mistake lies.
//! Nothing is corrected here. Accepting a cause is a person's command (`Command::Accept`), and an event.
//! Never: two mistakes at once. They are rarer by the square, and any misclosure can be made of two.
//! What one loop cannot tell apart is one cause with several sites, and said so.
//! Checked against: planted mistakes, a hundred of each family (`tests/explain.rs`, `fixtures/explain/table.md`).

mod candidates;
mod conditions;
mod dense;
mod digits;
mod noise;
pub mod priors;
mod rank;
mod site;

use crate::book::Book;
use crate::book::closure::Allowance;
use crate::book::event::Taken;
use crate::book::finding::{FindingId, FindingKey, Place, Priority};
use crate::book::reading::PointName;
use crate::units::Length;
use conditions::Conditions;
pub use site::{Probe, Site};

/// So many causes are kept: more than anybody would go and look at.
pub const CAUSES_MAX: usize = 8;

/// What could be behind one misclosure.
#[derive(Clone, Debug, PartialEq)]
pub struct Explanation {
    /// The finding that it explains.
    pub finding: FindingKey,
    /// The run.
    pub run: u32,
    /// The setup at which it closes.
    pub setup: u32,
    /// The point on which it closes.
    pub point: PointName,
    /// By how much it does not.
    pub misclosure: Length,
    /// What is allowed.
    pub allowance: Allowance,
    /// Closures that were looked at together.
    pub closures: usize,
    /// Mistakes that would explain it, the likeliest first.
    pub causes: Vec<Cause>,
    /// So many more would, and are less likely.
    pub more: usize,
    /// The share of plain noise among all that was weighed, 0 to 1.
    pub noise: f64,
}

/// One mistake that would explain a misclosure.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// What.
    pub mistake: Mistake,
    /// Where: more than one where nothing that was booked tells them apart.
    pub sites: Vec<Site>,
    /// What the misclosure would be then.
    pub after: Length,
    /// How many times as likely as plain noise.
    pub odds: f64,
    /// Its share among all that was weighed, 0 to 1.
    pub share: f64,
    /// One shot from where the instrument stands that would tell, at the likeliest site, or at the middle one of several:
    /// there it tells on which side of it the mistake lies.
    pub probe: Option<Probe>,
}

/// A mistake.
#[derive(Clone, Debug, PartialEq)]
pub enum Mistake {
    /// Backsight and foresight exchanged at a setup.
    Exchanged,
    /// A repeat booked as the next sight, the sequence slipped from there on.
    Repeat,
    /// A sign lost on an inverted staff.
    SignLost,
    /// A whole metre, decimetre, foot or tenth.
    WholeUnit {
        /// Which.
        step: Length,
    },
    /// Neighbouring digits exchanged in a reading that was typed.
    DigitsTurned,
    /// One shot against its own repeats.
    AgainstRepeats {
        /// The shot less the mean of the others.
        off_by: Length,
    },
    /// The wrong mark sighted or named.
    WrongMark {
        /// As it was named.
        named: PointName,
        /// The known point that fits.
        fits: PointName,
    },
    /// Neighbouring digits exchanged in a known elevation.
    ElevationTurned {
        /// Of this point.
        point: PointName,
    },
    /// A known point that has moved.
    KnownMoved {
        /// Which.
        point: PointName,
        /// By so much, up is positive.
        by: Length,
    },
    /// A turning point that was disturbed.
    TurningPoint {
        /// By so much, up is positive.
        by: Length,
    },
    /// Staffs whose zeros differ, over an odd number of setups.
    StaffZero {
        /// By so much.
        by: Length,
    },
    /// A line of sight out of adjustment, fed by sights out of balance.
    Collimation {
        /// The inclination that it would have to have besides what is applied, positive where it climbs.
        mm_per_m: f64,
        /// What is applied, from the last test, if one is.
        applied_mm_per_m: Option<f64>,
    },
}

/// What could be behind the misclosure that a finding tells of; `None` if it tells of none that stands.
pub fn explain(book: &Book, finding: &FindingKey) -> Option<Explanation> {
    let (FindingId::Misclosure, Place::Point { run, setup, point }) = (finding.id, &finding.place) else { return None };
    let conditions = Conditions::new(book, *run, *setup, point)?;
    if !conditions.closure.over() {
        return None;
    }
    let (causes, more, noise) = rank::rank(&conditions, candidates::all(&conditions));
    Some(Explanation {
        finding: finding.clone(),
        run: *run,
        setup: *setup,
        point: point.clone(),
        misclosure: conditions.closure.misclosure,
        allowance: conditions.closure.allowance.clone()?,
        closures: conditions.count(),
        causes,
        more,
        noise,
    })
}

/// The misclosures over their allowance, in the order in which they were met; of one run if it is named.
pub fn misclosures(book: &Book, run: Option<u32>) -> Vec<FindingKey> {
    let over = |key: &&FindingKey| match &key.place {
        Place::Point { run: at, .. } => key.id == FindingId::Misclosure && run.is_none_or(|run| run == *at),
        _ => false,
    };
    let findings = book.findings().filter(|finding| finding.priority == Priority::Hold).map(|finding| &finding.key);
    findings.filter(over).cloned().collect()
}

/// What accepting a cause takes the record for, at the site of that reading or at its only one; `None` if the cause has
/// several sites and none was named, or the named one is not among them.
pub fn taken(cause: &Cause, reading: Option<u32>) -> Option<&Taken> {
    let mut fits = cause.sites.iter().filter(|site| reading.is_none_or(|reading| site.is_at(reading)));
    match (fits.next(), reading, &cause.sites[..]) {
        (Some(site), Some(_), _) | (Some(site), None, [_]) => Some(&site.taken),
        // Where no reading is taken for another it is no matter at which of the sites.
        (Some(site), None, _) if site.taken == Taken::Booked => Some(&site.taken),
        _ => None,
    }
}
