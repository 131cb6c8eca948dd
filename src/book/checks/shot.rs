//! Checks of single shots: the staff, the ground, the sight length, the spread, and a staff read twice.

use super::super::finding::{Amount, Finding, FindingId, Place, Priority};
use super::super::reading::Role;
use super::super::run::{Shot, ShotStanding};
use super::{At, Counted, Stands, compare, measured, plain};
use crate::units::Length;

/// Two shots that agree within this, at sight lengths that agree within [`SAME_SIGHT`], look like one staff.
/// Common practice, no source: a person re-reads a staff to within a millimetre.
const SAME_STAFF: Length = Length::from_mm(1);
const SAME_SIGHT: Length = Length::from_mm(100);

/// `reading-off-staff`: outside the staff, or nearer its ends than allowed; `unit-doubt` where feet would fit it.
pub(super) fn reading_off_staff(at: &At<'_>, shots: &Counted<'_>, found: &mut Vec<Finding>) {
    let (staffs, say) = (&at.settings().staffs, at.wording());
    for &(_, shot) in shots {
        // An inverted staff reads negative; its scale is the same.
        let raw = at.staff(shot.reading);
        let size = raw.value().abs();
        let place = Place::Reading(shot.reading);
        let off = size > staffs.length;
        if !off && size <= staffs.length - staffs.margin && size >= staffs.margin {
            continue;
        }
        let shown = format!("{} {}", raw.digits(), raw.unit());
        let length = say.sight(staffs.length);
        if off && !raw.unit().is_foot() && size.share(3048, 10_000) <= staffs.length {
            found.push(plain(
                FindingId::UnitDoubt,
                place.clone(),
                Priority::Hold,
                format!("reading {} is {shown} on a staff of {length}: it would fit in feet", shot.reading),
                "look at the unit that the instrument is set to; strike the reading and shoot again".to_owned(),
            ));
        }
        let (fact, todo) = if off {
            (
                format!("reading {} is {shown}, beyond a staff of {length}", shot.reading),
                "strike it and shoot again, or give the staff its true length".to_owned(),
            )
        } else {
            (
                format!(
                    "reading {} is {shown}, nearer the end of the staff than {}",
                    shot.reading,
                    say.sight(staffs.margin)
                ),
                "set the instrument higher or lower, or move the staff, and shoot again".to_owned(),
            )
        };
        let base =
            plain(FindingId::ReadingOffStaff, place, if off { Priority::Hold } else { Priority::Warn }, fact, todo);
        let limit = if off { staffs.length } else { staffs.margin };
        found.push(measured(
            base,
            Stands::Over,
            Amount::Sight(size),
            Amount::Sight(limit),
            "the staff in use".to_owned(),
        ));
    }
}

/// `line-low`: the line of sight is nearer the foot of an upright staff than the class allows.
pub(super) fn line_low(at: &At<'_>, shots: &Counted<'_>, found: &mut Vec<Finding>) {
    let Some(limit) = &at.class().line_of_sight_min else { return };
    for &(_, shot) in shots {
        let raw = at.staff(shot.reading).value();
        if raw < Length::ZERO || raw >= limit.value {
            continue;
        }
        let say = at.wording();
        let basis = at.basis(limit);
        let base = plain(
            FindingId::LineLow,
            Place::Reading(shot.reading),
            Priority::Warn,
            format!(
                "line of sight {} above the foot of the staff (at least {}, {basis})",
                say.sight(raw),
                say.sight(limit.value)
            ),
            "keep the line higher: refraction near a warm floor is not what the formula takes".to_owned(),
        );
        found.push(measured(base, Stands::Over, Amount::Sight(raw), Amount::Sight(limit.value), basis));
    }
}

/// `sight-long`, `sight-short`: outside the class or the instrument's range.
pub(super) fn sight_length(at: &At<'_>, shots: &Counted<'_>, found: &mut Vec<Finding>) {
    let instrument = &at.settings().instrument;
    let of_class = at.class().sight_max.as_ref().filter(|limit| limit.value <= instrument.sight_max);
    let longest = of_class.map_or(instrument.sight_max, |limit| limit.value);
    for &(role, shot) in shots {
        let Some(sight) = shot.sight else { continue };
        if sight > longest {
            let basis = of_class.map_or_else(|| "the instrument's range".to_owned(), |limit| at.basis(limit));
            found.push(sight_long(at, role, shot, sight, longest, basis));
        } else if sight < instrument.sight_min {
            found.push(sight_short(at, role, shot, sight, instrument.sight_min));
        }
    }
}

fn sight_long(at: &At<'_>, role: Role, shot: &Shot, sight: Length, longest: Length, basis: String) -> Finding {
    let say = at.wording();
    let base = plain(
        FindingId::SightLong,
        Place::Reading(shot.reading),
        Priority::Hold,
        format!("{} sight of {} (limit {}, {basis})", role_word(role), say.sight(sight), say.sight(longest)),
        match role {
            Role::Back => format!("begin the setup anew {} nearer the back staff: break", say.sight(sight - longest)),
            _ => format!("bring the staff {} nearer and shoot it again", say.sight(sight - longest)),
        },
    );
    measured(base, Stands::Over, Amount::Sight(sight), Amount::Sight(longest), basis)
}

fn sight_short(at: &At<'_>, role: Role, shot: &Shot, sight: Length, shortest: Length) -> Finding {
    let say = at.wording();
    let basis = "the instrument's range".to_owned();
    let base = plain(
        FindingId::SightShort,
        Place::Reading(shot.reading),
        Priority::Warn,
        format!("{} sight of {} (at least {}, {basis})", role_word(role), say.sight(sight), say.sight(shortest)),
        "move the staff or the instrument apart and shoot again".to_owned(),
    );
    measured(base, Stands::Over, Amount::Sight(sight), Amount::Sight(shortest), basis)
}

/// `spread`: the deviation that the instrument states, or half the range of repeats, is over its limit.
pub(super) fn spread(at: &At<'_>, shots: &Counted<'_>, found: &mut Vec<Finding>) {
    let Some(limit) = &at.class().spread_max else { return };
    let say = at.wording();
    for &(_, shot) in shots {
        let Some(stated) = shot.spread else { continue };
        let Some(stands) = compare(stated, limit.value) else { continue };
        let basis = at.basis(limit);
        let base = plain(
            FindingId::Spread,
            Place::Reading(shot.reading),
            Priority::Hold,
            format!(
                "reading {} spreads by {} (limit {}, {basis})",
                shot.reading,
                say.height(stated),
                say.height(limit.value)
            ),
            "wait for the air and the staff to settle, strike it and shoot again".to_owned(),
        );
        found.push(measured(base, stands, Amount::Height(stated), Amount::Height(limit.value), basis));
    }
    for role in [Role::Back, Role::Fore] {
        let values = || shots.iter().filter(|(of, _)| *of == role).map(|(_, shot)| shot.value);
        let (Some(least), Some(most)) = (values().min(), values().max()) else { continue };
        let half = (most - least).divide(2);
        let Some(stands) = compare(half, limit.value) else { continue };
        let basis = at.basis(limit);
        let base = plain(
            FindingId::Spread,
            at.here(),
            Priority::Hold,
            format!(
                "the {}sights of setup {} range over {} (limit {}, {basis})",
                role.word(),
                at.setup.number,
                say.height(most - least),
                say.height(limit.value + limit.value)
            ),
            format!("find the one that is off, strike it and shoot the {} staff again", role.word()),
        );
        found.push(measured(base, stands, Amount::Height(half), Amount::Height(limit.value), basis));
        // One finding a setup: its key stays the same however many repeats follow.
        return;
    }
}

/// `same-sight`: a shot that agrees with the one before it where the other staff was due.
///
/// Heights carried at equal level with balanced sights look just like it, so the shot is booked by the sequence, and
/// a person says which it was.
pub(super) fn same_sight(at: &At<'_>, shots: &Counted<'_>, found: &mut Vec<Finding>) {
    for &(role, shot) in shots {
        if role == Role::Intermediate || shot.standing != ShotStanding::Counted {
            continue;
        }
        let Some(before) = (shot.reading as usize).checked_sub(2) else { continue };
        let spot = at.flow.spots[before];
        let entry = &at.entries[before];
        let due_elsewhere = spot.role != role && spot.role != Role::Intermediate && spot.run == at.run.number;
        if !due_elsewhere
            || !matches!(spot.state, super::super::flow::SpotState::Counted | super::super::flow::SpotState::Extra)
        {
            continue;
        }
        // A record or a person that names the role leaves nothing to guess.
        let this = &at.entries[shot.reading as usize - 1];
        let named = this.reading.role.is_some() || at.amendments().of(shot.reading).is_some_and(|a| a.role.is_some());
        let (Some(sight), Some(other)) = (this.reading.sight, entry.reading.sight) else { continue };
        let height = at.staff(shot.reading).value() - at.staff(shot.reading - 1).value();
        if named || height.abs() > SAME_STAFF || (sight.value() - other.value()).abs() > SAME_SIGHT {
            continue;
        }
        let say = at.wording();
        let base = plain(
            FindingId::SameSight,
            Place::Reading(shot.reading),
            Priority::Hold,
            format!(
                "reading {} looks like one more shot on the staff of reading {}: {} and {} apart",
                shot.reading,
                shot.reading - 1,
                say.height(height.abs()),
                say.sight((sight.value() - other.value()).abs())
            ),
            format!("if it was, say: repeat {}; if it was the other staff, acknowledge", shot.reading),
        );
        let basis = "common practice, no source".to_owned();
        found.push(measured(base, Stands::Over, Amount::Height(height.abs()), Amount::Height(SAME_STAFF), basis));
    }
}

fn role_word(role: Role) -> &'static str {
    match role {
        Role::Back => "back",
        Role::Fore => "fore",
        Role::Intermediate => "intermediate",
    }
}
