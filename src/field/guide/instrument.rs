//! Guided tests of the instrument: the two-peg test and the field test.

use super::wording::{inclination, inclination_size};
use super::{Guide, Look};
use crate::book::activity::{Judged, Outcome, Procedure, StatedLimit, TakenShot, Task};
use crate::field::field_test::{self, Against, Pair};
use crate::field::quantiles::Z_95;
use crate::field::two_peg::{self, Collimation, Model, Position, Sight};
use crate::units::{Length, Unit};

/// Whether the layout can tell anything.
pub(super) fn permit_two_peg(task: &Task) -> Result<(), String> {
    let Task::TwoPeg { distances, shots, reading_sd, limit, .. } = task else { return Ok(()) };
    if *shots == 0 {
        return Err("no shots on a peg found, at least one was wanted".to_owned());
    }
    if let Some(negative) = distances.iter().flatten().find(|distance| **distance < Length::ZERO) {
        let metres = negative.show(Unit::Metre, 2);
        return Err(format!("the layout would put a peg at {metres} m from the instrument: give longer distances"));
    }
    match two_peg::check_layout(distances, *shots, *reading_sd, limit.mm_per_m) {
        Ok(_) => Ok(()),
        Err(short) => Err(short.to_string()),
    }
}

/// The two-peg test.
pub(super) fn two_peg(look: &Look<'_>) -> Guide {
    let Task::TwoPeg { layout, distances, shots, reading_sd, refraction_k, limit, .. } = &look.activity.task else {
        return Guide::default();
    };
    let unit = look.book.settings().unit;
    let slot = look.activity.next_slot();
    let mut guide = Guide::default();
    let first = position(look, 0, *shots, distances);
    if let Some(first) = first {
        guide.so_far.push(format!("from the first position B is higher by {}", look.elevation(first.rise())));
    }
    if !look.activity.full() {
        let (at, peg) = ((slot / (2 * shots)) as usize, if (slot / shots).is_multiple_of(2) { "A" } else { "B" });
        let count = if *shots > 1 { format!(", shot {} of {shots}", slot % shots + 1) } else { String::new() };
        let stand = two_peg::where_to_stand(*layout, at, distances, unit);
        let at_start = slot.is_multiple_of(2 * shots);
        guide.next = Some(match at_start {
            true => format!("set up {stand}; shoot peg {peg}{count}"),
            false => format!("shoot peg {peg}{count}"),
        });
        return guide;
    }
    let (Some(first), Some(second)) = (first, position(look, 1, *shots, distances)) else { return guide };
    let model = Model { reading_sd: *reading_sd, refraction_k: *refraction_k };
    match two_peg::two_peg(&first, &second, &model) {
        Ok(found) => {
            let (outcome, said) = collimation(&found, limit, unit, *refraction_k);
            Guide { result: Some((outcome, said)), ..guide }
        }
        Err(nothing) => Guide { next: Some(format!("{nothing}: strike the shots from there")), ..guide },
    }
}

/// What was read from one position, once it is all there. The distances are those that came with the readings; those of
/// the layout where any came without.
fn position(look: &Look<'_>, at: u32, shots: u32, distances: &[[Length; 2]; 2]) -> Option<Position> {
    let sight = |peg: u32| {
        let from = (2 * at + peg) * shots;
        let taken = look.activity.at_slots(from..from + shots)?;
        let measured: Option<Vec<Length>> =
            taken.iter().map(|shot| shot.reading.sight.map(|sight| sight.value())).collect();
        let laid_out = distances[at as usize][peg as usize];
        Some(Sight {
            reading: Length::mean(taken.iter().map(|shot| shot.reading.staff.value()))?,
            distance: measured.and_then(Length::mean).unwrap_or(laid_out),
            shots,
        })
    };
    Some(Position { a: sight(0)?, b: sight(1)? })
}

fn collimation(
    found: &Collimation,
    limit: &StatedLimit,
    unit: Unit,
    refraction_k: Option<f64>,
) -> (Outcome, Vec<String>) {
    let judged = found.judged(limit.mm_per_m);
    let way = if found.mm_per_m < 0.0 { "falls" } else { "climbs" };
    let doubt = inclination_size(Z_95 * found.sd_mm_per_m, unit);
    let limit = format!("{}, {}", inclination_size(limit.mm_per_m, unit), limit.basis);
    let curved = match refraction_k {
        Some(k) => format!("curvature and refraction taken out with k = {k}"),
        None => "curvature and refraction left in".to_owned(),
    };
    let verdict = match judged {
        Judged::Within => format!("within the limit ({limit})"),
        Judged::Doubtful => {
            format!(
                "in doubt: the limit ({limit}) lies within the uncertainty; test again with more shots or longer sights"
            )
        }
        Judged::Over => {
            format!("over the limit ({limit}): have it adjusted, or take it out of readings: correct collimation on")
        }
    };
    let said = vec![
        format!("the line of sight {way}: {}, to {doubt} at 95 %", inclination(found.mm_per_m, unit)),
        verdict,
        format!(
            "the two rises differ by {} {unit} over {} {unit} of distance; {curved}",
            found.discrepancy.show_signed(unit, 5),
            found.base.abs().show(unit, 2)
        ),
    ];
    (Outcome::Collimation { mm_per_m: found.mm_per_m, sd_mm_per_m: found.sd_mm_per_m, judged }, said)
}

/// The field test.
pub(super) fn field_test(look: &Look<'_>) -> Guide {
    let Task::FieldTest { procedure, permitted, stated, .. } = &look.activity.task else { return Guide::default() };
    let wanted = procedure.pairs_a_set();
    let [first, second] = [0, 1].map(|set| pairs(look, set, wanted));
    if !look.activity.full() {
        return Guide { so_far: scatter(look, *procedure, &first, &second), ..next_reading(look, *procedure) };
    }
    let earlier = look.book.activities().outcomes().rev().find_map(|(_, done)| match done.outcome {
        Outcome::FieldTest { procedure: Procedure::Full, s_m, nu, .. } => Some((s_m, nu)),
        _ => None,
    });
    let against = Against { permitted: *permitted, stated: *stated, earlier };
    match field_test::field_test(*procedure, &first, &second, &against) {
        Ok(test) => {
            let judged = if test.passed() { Judged::Within } else { Judged::Over };
            let outcome = Outcome::FieldTest { procedure: *procedure, s_m: test.s_m, nu: test.nu, judged };
            let verdict = if test.passed() { "the test is passed" } else { "the test is not passed" };
            Guide::done(outcome, [vec![verdict.to_owned()], test.words()].concat())
        }
        Err(error) => Guide::next(format!("{error}; strike what is wrong and shoot it again")),
    }
}

/// The pairs of a set that are whole.
fn pairs(look: &Look<'_>, set: u32, wanted: u32) -> Vec<Pair> {
    let reading = |shot: &TakenShot| shot.reading.staff.value();
    let pair = |at: u32| {
        let back = 2 * (set * wanted + at);
        Some(Pair { back: reading(look.activity.at_slot(back)?), fore: reading(look.activity.at_slot(back + 1)?) })
    };
    (0..wanted).filter_map(pair).collect()
}

/// How the set that is being shot scatters so far.
fn scatter(look: &Look<'_>, procedure: Procedure, first: &[Pair], second: &[Pair]) -> Vec<String> {
    let wanted = procedure.pairs_a_set();
    let (name, set) = if second.is_empty() { ("first", first) } else { ("second", second) };
    let differences: Vec<Length> = set.iter().map(|pair| pair.back - pair.fore).collect();
    let Some(last) = differences.last() else { return Vec::new() };
    let mut words = format!("{name} set, pair {} of {wanted}: difference {}", set.len(), look.elevation(*last));
    if let (Some(mean), true) = (Length::mean(differences.iter().copied()), set.len() > 1) {
        let squares: f64 = differences.iter().map(|d| (*d - mean).to_f64_mm().powi(2)).sum();
        let s = (squares / (set.len() as f64 - 1.0)).sqrt();
        words += &format!(", standard deviation so far {s:.2} mm");
    }
    vec![words]
}

fn next_reading(look: &Look<'_>, procedure: Procedure) -> Guide {
    let slot = look.activity.next_slot();
    let set_readings = 2 * procedure.pairs_a_set();
    let staff = if slot.is_multiple_of(2) { "back" } else { "fore" };
    let before = match (slot, procedure) {
        (0, _) => "set up midway between two staffs 60 m apart; ".to_owned(),
        (slot, Procedure::Simplified) if slot == set_readings => {
            "set up 10 m from the back staff and 50 m from the fore staff, both staying; ".to_owned()
        }
        (slot, Procedure::Full) if slot == set_readings => "exchange the two staffs; ".to_owned(),
        (slot, _) if slot.is_multiple_of(2) => "lift the instrument and set it up anew; ".to_owned(),
        _ => String::new(),
    };
    Guide::next(format!("{before}shoot the {staff} staff"))
}
