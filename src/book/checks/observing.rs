//! Checks of how is observed: the sequence that the class asks for, and corrections that lack what they need.

use super::super::corrections::{Correction, NotMade, correct};
use super::super::event::ReadingNumber;
use super::super::finding::{Finding, FindingId, Place, Priority};
use super::super::run::Setup;
use super::super::settings::Corrections;
use super::{At, plain};

/// `sequence`: the class asks for another observing sequence than the job's.
pub(super) fn sequence(at: &At<'_>, found: &mut Vec<Finding>) {
    let (observed, class) = (at.settings().sequence, at.class());
    let Some(asked) = class.sequence.filter(|asked| !observed.meets(*asked)) else { return };
    found.push(plain(
        FindingId::Sequence,
        Place::Run(at.run.number),
        Priority::Warn,
        format!("the setups are observed {observed}, {} asks for {asked}", class.title),
        format!("set the sequence to {asked} for the next run, or choose the class that the work needs"),
    ));
}

/// `uncorrected`: a correction that is on could not be made. Once for setups in a row: what one reading lacks, those
/// that follow mostly lack too.
pub(super) fn uncorrected(at: &At<'_>, found: &mut Vec<Finding>) {
    if at.settings().corrections == Corrections::default() {
        return;
    }
    let Some((reading, correction, why)) = not_made(at, at.setup) else { return };
    let before = (at.setup.number as usize).checked_sub(2).and_then(|index| at.run.setups.get(index));
    if before.is_some_and(|before| not_made(at, before).is_some()) {
        return;
    }
    found.push(plain(
        FindingId::Uncorrected,
        at.here(),
        Priority::Warn,
        format!("{} at reading {reading} {}", correction.name(), why.words()),
        format!("{}; heights without it are marked in the book", what_would_do(why)),
    ));
}

/// The first reading of a setup that lacks a correction.
fn not_made(at: &At<'_>, setup: &Setup) -> Option<(ReadingNumber, Correction, NotMade)> {
    let sides = setup.sides.iter().map(|side| &side.shot);
    let shots = setup.back.iter().chain(&setup.fore).chain(sides).filter(|shot| shot.counts());
    shots.into_iter().find_map(|shot| {
        let temperature = at.entries[shot.reading as usize - 1].reading.temperature_c;
        let corrected = correct(at.staff(shot.reading).value(), shot.sight, temperature, &at.settings().corrections);
        corrected.not_made().next().map(|(correction, why)| (shot.reading, correction, why))
    })
}

fn what_would_do(why: NotMade) -> &'static str {
    match why {
        NotMade::NoSightLength => "let the instrument send sight lengths, or turn the correction off",
        NotMade::NoTemperature => "give the temperature of the staff in the settings, or turn the correction off",
        NotMade::TooLarge => "look at the value that the settings give for the correction",
    }
}
