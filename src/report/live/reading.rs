//! A reading as it stands in the book.

use std::borrow::Cow;

use super::ReadingLine;
use crate::book::decimals::reading_shown;
use crate::book::event::Command;
use crate::book::reading::Role;
use crate::book::wording::Wording;
use crate::book::{Book, Came, Entry, SpotState};

/// A reading as it stands in the book.
pub fn reading_view(book: &Book, number: u32) -> Option<ReadingLine> {
    let (entry, spot) = (book.entry(number)?, book.spot(number)?);
    let unit = book.settings().unit;
    let say = Wording::new(unit);
    let run = book.runs().get(spot.run as usize - 1)?;
    let setup = (spot.setup as usize).checked_sub(1).and_then(|index| run.setups.get(index));
    let decimals = book.decimals();
    let side = setup.and_then(|setup| setup.sides.iter().find(|side| side.shot.reading == number));
    let (point, level) = match (spot.role, setup) {
        (_, None) => (None, None),
        (Role::Back, Some(setup)) => (Some(setup.back_point.clone()), None),
        (Role::Fore, Some(setup)) => (setup.fore_point.clone(), setup.fore_level()),
        (Role::Intermediate, Some(setup)) => {
            (side.map(|side| side.point.clone()), side.and_then(|side| setup.side_level(side)))
        }
    };
    let counts = matches!(spot.state, SpotState::Counted | SpotState::Extra);
    let elevation = level.filter(|_| counts).and_then(|level| run.elevation(level));
    let staff = entry.reading.staff;
    let wires = wires_words(book, entry).map(Cow::Owned);
    let remarks = [
        (spot.state == SpotState::Extra, "repeat"),
        (spot.role == Role::Intermediate, "single, unchecked"),
        (entry.came == Came::KeyedIn, "keyed in"),
        (entry.reading.unprotected, "unprotected"),
        (book.amendments().of(number).is_some_and(|said| said.read_as.is_some()), "taken for another value"),
    ];
    Some(ReadingLine {
        number,
        run: spot.run,
        setup: spot.setup,
        role: spot.role,
        point: point.map(|point| point.to_string()).unwrap_or_default(),
        staff: staff.digits().to_string(),
        staff_unit: staff.unit(),
        staff_shown: reading_shown(&staff, unit),
        sight: entry.reading.sight.map(|sight| say.bare_sight(sight.value())),
        elevation: elevation.map(|elevation| elevation.show(unit, decimals)),
        unit,
        state: match spot.state {
            SpotState::Counted => "counted",
            SpotState::Extra => "extra",
            SpotState::Struck => "struck",
            SpotState::Broken => "broken",
        },
        remarks: remarks.into_iter().filter(|(so, _)| *so).map(|(_, remark)| remark.into()).chain(wires).collect(),
    })
}

/// The wires that a reading is the mean of, as they were keyed in; none for any other.
pub(in crate::report) fn wires_words(book: &Book, entry: &Entry) -> Option<String> {
    if entry.came != Came::KeyedIn {
        return None;
    }
    let said = book.amendments().said();
    let at = said.binary_search_by_key(&entry.event, |said| said.event).ok()?;
    let Command::KeyInWires { wires, .. } = &said[at].command else { return None };
    let [upper, middle, lower] = wires.each_ref().map(|wire| wire.digits());
    Some(format!("three wires {upper}, {middle}, {lower} {}", wires[0].unit()))
}
