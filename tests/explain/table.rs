//! How often the planted mistake is found: a hundred cases of each family, as a table.

use closerun::adjust::explain::{Cause, Explanation, Mistake, explain, misclosures};

use crate::plant::{Family, Planted, Truth, plant};

/// Cases of each family.
pub(crate) const CASES: u64 = 100;

/// What came out for one family.
pub(crate) struct Row {
    pub(crate) family: Family,
    /// Cases in which the true cause stands first, before plain noise too; of noise, in which noise does.
    pub(crate) first: usize,
    /// Cases in which it is among the first three.
    pub(crate) in_three: usize,
    /// Cases in which plain noise stands first.
    pub(crate) noise_first: usize,
    /// The median of the number of places that the true cause names.
    pub(crate) places: usize,
}

pub(crate) fn row(family: Family) -> Row {
    let mut row = Row { family, first: 0, in_three: 0, noise_first: 0, places: 0 };
    let mut places = Vec::new();
    for seed in 0..CASES {
        let planted = plant(family, seed);
        let explanation = explained(&planted);
        let before_noise = |cause: &Cause| cause.share > explanation.noise;
        let noise_first = !explanation.causes.first().is_some_and(before_noise);
        row.noise_first += usize::from(noise_first);
        let found = explanation.causes.iter().position(|cause| is_true(family, &planted, cause));
        // Plain noise takes a place in the order too.
        let rank = found.map(|at| at + usize::from(!before_noise(&explanation.causes[at])));
        row.first += usize::from(if family.is_noise() { noise_first } else { rank == Some(0) });
        row.in_three += usize::from(rank.is_some_and(|rank| rank < 3));
        places.extend(found.map(|at| explanation.causes[at].sites.len()));
    }
    places.sort_unstable();
    row.places = places.get(places.len() / 2).copied().unwrap_or(0);
    row
}

/// The latest misclosure of a planted run, explained.
pub(crate) fn explained(planted: &Planted) -> Explanation {
    let finding = misclosures(&planted.book, None).pop().expect("a planted run does not close");
    explain(&planted.book, &finding).expect("what is over its allowance is explained")
}

/// Whether a cause names the planted mistake, and the place of it among those that it cannot tell apart.
pub(crate) fn is_true(family: Family, planted: &Planted, cause: &Cause) -> bool {
    let kind = match (&cause.mistake, family) {
        (Mistake::Exchanged, Family::Exchanged)
        | (Mistake::Repeat, Family::Repeat)
        | (Mistake::SignLost, Family::SignLost)
        | (Mistake::DigitsTurned, Family::DigitsTurned)
        | (Mistake::ElevationTurned { .. }, Family::ElevationTurned)
        | (Mistake::AgainstRepeats { .. }, Family::AgainstRepeats)
        | (Mistake::WrongMark { .. }, Family::WrongMark)
        | (Mistake::KnownMoved { .. }, Family::KnownMoved)
        | (Mistake::TurningPoint { .. }, Family::TurningPoint)
        | (Mistake::StaffZero { .. }, Family::StaffZero)
        | (Mistake::Collimation { .. }, Family::Collimation) => true,
        (Mistake::WholeUnit { step }, _) => {
            let tenth_nm = match family {
                Family::WholeMetre => 10_000_000_000,
                Family::WholeDecimetre => 1_000_000_000,
                Family::WholeFoot => 3_048_000_000,
                Family::WholeTenth => 304_800_000,
                _ => 0,
            };
            step.tenth_nm() == tenth_nm
        }
        _ => false,
    };
    let here = |site: &closerun::adjust::explain::Site| match &planted.truth {
        Truth::Setup(setup) => site.setup == Some(*setup),
        Truth::Reading(reading) => site.is_at(*reading),
        Truth::Point(point) => site.points.contains(point),
        Truth::Run => true,
    };
    kind && cause.sites.iter().any(here)
}

/// The table as it is published.
pub(crate) fn print(rows: &[Row]) -> String {
    let mut out = String::from(HEAD);
    for row in rows {
        let (first, in_three) = match row.family.is_noise() {
            true => ("-".to_owned(), "-".to_owned()),
            false => (row.first.to_string(), row.in_three.to_string()),
        };
        let places = if row.family.is_noise() { "-".to_owned() } else { row.places.to_string() };
        out += &format!("| {} | {first} | {in_three} | {} | {places} |\n", words(row.family), row.noise_first);
    }
    out
}

const HEAD: &str = "\
# How often the true cause is found

Simulated runs of 8 to 20 setups, 100 of each family, each with one planted mistake that takes the run over its allowance
(8 mm a root kilometre). Readings carry normal noise of 0.3 mm, as the job states; half of the runs return to their start,
half pass over a known mark on the way. Typed readings are those of two setups of each run. `cargo bench --bench explain`
writes this table anew.

*First*: the true mistake, at its true place, stands before all others and before plain noise. *Places*: so many places the
line names where nothing that was booked tells them apart (median). *Noise first*: plain noise is said to explain it best;
for runs in which nothing was planted that is right.

| planted | first | in first three | noise first | places |
|---|---|---|---|---|
";

fn words(family: Family) -> &'static str {
    match family {
        Family::Exchanged => "backsight and foresight exchanged",
        Family::Repeat => "a repeat booked as the next sight",
        Family::SignLost => "a sign lost on an inverted staff",
        Family::WholeMetre => "a whole metre, typed reading",
        Family::WholeDecimetre => "a whole decimetre, typed reading",
        Family::WholeFoot => "a whole foot, typed reading",
        Family::WholeTenth => "a tenth of a foot, typed reading",
        Family::DigitsTurned => "digits exchanged in a typed reading",
        Family::ElevationTurned => "digits exchanged in a known elevation",
        Family::AgainstRepeats => "one shot against its repeats, 10 to 200 mm off",
        Family::WrongMark => "the wrong mark at the end",
        Family::KnownMoved => "a known point that moved by 5 to 100 mm",
        Family::TurningPoint => "a turning point disturbed by 5 to 100 mm",
        Family::StaffZero => "staff zeros 1 mm apart (standard deviation), pair of staffs, 3 mm a root kilometre",
        Family::Collimation => {
            "line of sight inclined by 0.1 mm/m (standard deviation), 3 to 12 m out of balance a setup"
        }
        Family::Noise => "nothing: noise as the job states",
        Family::WiderNoise => "nothing: noise twice as large as the job states",
    }
}
