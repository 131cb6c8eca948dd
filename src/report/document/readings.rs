//! Every reading of the job by its number, with its place, its corrections and what was said of it.

use std::collections::BTreeMap;

use super::Source;
use super::figure::has_corrections;
use super::said::{by_words, when};
use super::tree::{CameView, CorrectionRow, Figure, ReadingRow, SaidRow, Sent, State};
use crate::book::corrections::{self, Corrected, Correction, Part};
use crate::book::event::{Body, Command};
use crate::book::reading::{PointName, Role};
use crate::book::run::{Level, Run, Setup};
use crate::book::{Came, Entry, Spot, SpotState};
use crate::report::live::{command_words, role_words, taken_words, wires_words};
use crate::units::Measured;

/// Every reading, in order.
pub(super) fn readings(source: &Source<'_>, said: &[SaidRow]) -> Vec<ReadingRow> {
    let said = said_of(source, said);
    let correct = has_corrections(source.book);
    let entries = source.book.entries().iter().zip(1..);
    entries
        .filter_map(|(entry, number)| {
            let spot = source.book.spot(number)?;
            let said = said.get(&number).map_or(&[][..], Vec::as_slice);
            Some(reading(source, number, entry, spot, said, correct))
        })
        .collect()
}

/// What people said, by the reading that it is about; a broken setup by each of its readings.
fn said_of<'s>(source: &Source<'_>, said: &'s [SaidRow]) -> BTreeMap<u32, Vec<&'s SaidRow>> {
    let mut by_reading: BTreeMap<u32, Vec<&SaidRow>> = BTreeMap::new();
    for row in said {
        let Some(reading) = row.reading else { continue };
        if let Some(Command::Accept { taken, .. }) = command_of(source, row) {
            taken.readings().iter().for_each(|reading| by_reading.entry(*reading).or_default().push(row));
            continue;
        }
        // A break that was taken back broke nothing.
        let broke = matches!(command_of(source, row), Some(Command::Break { .. })) && row.taken_back_by.is_none();
        let first = if broke { first_broken_with(source, reading) } else { reading };
        for reading in first..=reading {
            by_reading.entry(reading).or_default().push(row);
        }
    }
    by_reading
}

/// The first reading of the broken setup that ends with this one.
fn first_broken_with(source: &Source<'_>, last: u32) -> u32 {
    let setup_of = |number: u32| source.book.spot(number).map(|spot| (spot.run, spot.setup, spot.state));
    let here = setup_of(last);
    let breaks = |number: u32| source.book.amendments().of(number).is_some_and(|amendment| amendment.broken);
    (1..last).rev().take_while(|&number| setup_of(number) == here && !breaks(number)).last().unwrap_or(last)
}

fn reading(
    source: &Source<'_>,
    number: u32,
    entry: &Entry,
    spot: Spot,
    said: &[&SaidRow],
    correct: bool,
) -> ReadingRow {
    let (scales, held) = (source.scales, &entry.reading);
    let run = source.book.runs().get((spot.run as usize).wrapping_sub(1));
    let setup = run.and_then(|run| run.setups.get((spot.setup as usize).checked_sub(1)?));
    let state = match spot.state {
        SpotState::Counted => State::Counted,
        SpotState::Extra => State::Extra,
        SpotState::Struck => State::Struck,
        SpotState::Broken => State::Broken,
    };
    let corrected = correct.then(|| {
        let sight = held.sight.map(|sight| sight.value());
        let asked = source.book.amendments().corrections(number, &source.book.settings().corrections);
        let staff = source.book.amendments().staff(number, held);
        corrections::correct(staff.value(), sight, held.temperature_c, &asked)
    });
    let (height_of_instrument, elevation) = match (run, setup) {
        (Some(run), Some(setup)) if state.counts() => heights(source, run, setup, number, spot.role),
        _ => (None, None),
    };
    ReadingRow {
        number,
        event: entry.event,
        at: entry.at.to_string(),
        simulated: source.book.simulated(),
        run: spot.run,
        setup: spot.setup,
        role: spot.role,
        state,
        point: point(source, number, spot, setup).map(|point| point.to_string()),
        staff: sent(&held.staff),
        reading: scales.reading(&held.staff),
        corrected: corrected.map(|corrected| scales.level(corrected.corrected)),
        corrections: corrected.map(|corrected| correction_rows(source, corrected)).unwrap_or_default(),
        sight: held.sight.as_ref().map(sent),
        sight_length: held.sight.map(|sight| scales.sight(sight.value())),
        spread: held.spread.as_ref().map(sent),
        measurements: held.count,
        temperature_c: held.temperature_c,
        instrument_number: held.sequence,
        instrument_time: held.time.clone(),
        height_of_instrument,
        elevation,
        came: came(entry.came),
        unprotected: held.unprotected,
        remarks: remarks(source, entry, state, said),
        said: said.iter().map(|row| row.event).collect(),
    }
}

pub(super) fn sent(measured: &Measured) -> Sent {
    Sent { digits: measured.digits().to_string(), unit: measured.unit() }
}

pub(super) fn came(came: Came) -> CameView {
    match came {
        Came::Heard => CameView::Heard,
        Came::KeyedIn => CameView::KeyedIn,
    }
}

/// Height of instrument, and elevation of the point that the reading's sight gives or rests on.
fn heights(source: &Source<'_>, run: &Run, setup: &Setup, number: u32, role: Role) -> (Option<Figure>, Option<Figure>) {
    let elevation = |level: Option<Level>| Some(source.scales.level(run.elevation(level?)?));
    let point = match role {
        Role::Back => Some(setup.before.level),
        Role::Fore => setup.fore_level(),
        Role::Intermediate => {
            setup.sides.iter().find(|side| side.shot.reading == number).and_then(|side| setup.side_level(side))
        }
    };
    (elevation(setup.instrument()), elevation(point))
}

/// Where the staff stood. A reading that does not count has only the name that it came with or was given.
fn point(source: &Source<'_>, number: u32, spot: Spot, setup: Option<&Setup>) -> Option<PointName> {
    let side = || setup?.sides.iter().find(|side| side.shot.reading == number).map(|side| side.point.clone());
    let placed = match spot.role {
        _ if spot.state == SpotState::Broken => None,
        Role::Back => setup.map(|setup| setup.back_point.clone()),
        Role::Fore => setup.and_then(|setup| setup.fore_point.clone()),
        Role::Intermediate => side(),
    };
    placed.or_else(|| named(source, number))
}

/// The name that a reading came with or was given by a person.
pub(super) fn named(source: &Source<'_>, number: u32) -> Option<PointName> {
    let amendments = source.book.amendments();
    let given = amendments.of(number).and_then(|amendment| amendment.point.clone());
    let sent = || source.book.entry(number)?.reading.point.clone();
    given.or_else(sent).map(|point| amendments.name(point))
}

fn correction_rows(source: &Source<'_>, corrected: Corrected) -> Vec<CorrectionRow> {
    let parts = Correction::ALL.into_iter().zip(corrected.parts);
    let row = |(correction, part): (Correction, Part)| {
        let (added, not_made) = match part {
            Part::Off => return None,
            Part::Added(length) => (Some(source.scales.correction(length)), None),
            Part::NotMade(why) => (None, Some(why.words().to_owned())),
        };
        Some(CorrectionRow { what: correction.name().to_owned(), added, not_made })
    };
    parts.filter_map(row).collect()
}

fn remarks(source: &Source<'_>, entry: &Entry, state: State, said: &[&SaidRow]) -> Vec<String> {
    let own = source.book.settings().unit;
    let staff = &entry.reading.staff;
    let declared = staff.unit() != own && (staff.unit().is_foot() || own.is_foot());
    let made =
        |row: &SaidRow| row.taken_back_by.is_none() && matches!(command_of(source, row), Some(Command::Repeat { .. }));
    let plain = [
        (state == State::Extra && !said.iter().any(|row| made(row)), "repeat"),
        (entry.came == Came::KeyedIn, "keyed in"),
        (entry.reading.unprotected, "unprotected"),
    ];
    let mut remarks: Vec<String> =
        plain.into_iter().filter(|(so, _)| *so).map(|(_, remark)| remark.to_owned()).collect();
    remarks.extend(wires_words(source.book, entry));
    if declared {
        remarks.push(format!("sent as {} {}", staff.digits(), staff.unit()));
    }
    for row in said {
        let Some(command) = command_of(source, row) else { continue };
        let mut words = format!("{} {} {}", beside(command), when(source, &row.at), by_words(&row.by));
        if let Some(event) = row.taken_back_by {
            words += &format!(" (taken back by event {event})");
        }
        remarks.push(words);
    }
    remarks
}

fn command_of<'a>(source: &'a Source<'_>, row: &SaidRow) -> Option<&'a Command> {
    match &source.event(row.event)?.body {
        Body::Commanded { command, .. } => Some(command),
        _ => None,
    }
}

/// A command in words, as it stands beside the reading that it is about.
fn beside(command: &Command) -> String {
    match command {
        Command::Strike { .. } => "struck out".to_owned(),
        Command::Restore { .. } => "restored".to_owned(),
        Command::Repeat { .. } => "made a repeat".to_owned(),
        Command::Role { role, point: None, .. } => format!("made {}", role_words(*role)),
        Command::Role { role, point: Some(point), .. } => format!("made {} on {point}", role_words(*role)),
        Command::Point { point, .. } => format!("put on {point}"),
        Command::Note { text, .. } => format!("note \"{text}\""),
        Command::Break { .. } => "setup broken off".to_owned(),
        Command::TakeOffer { point: Some(point), .. } => format!("taken to be on {point}, as offered"),
        Command::EndRun { .. } => "run ended here".to_owned(),
        Command::Accept { taken, .. } => taken_words(taken).unwrap_or_else(|| command_words(command)),
        other => command_words(other),
    }
}
