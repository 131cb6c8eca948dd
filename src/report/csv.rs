//! The readings as a table for other programs: RFC 4180, one row a reading, struck ones included, the names of the
//! columns in the first row.
//!
//! | column | kind | what |
//! |---|---|---|
//! | `job` | text | name of the job |
//! | `simulated` | text | `SIMULATED` in every row of a job in which a simulated instrument was heard, else empty |
//! | `number` | number | number of the reading, from 1 through the job |
//! | `event` | number | number of the event that brought it |
//! | `time_utc` | text | when, RFC 3339 |
//! | `run`, `setup` | number | its run, and its setup within the run, from 1 |
//! | `role` | text | `back`, `fore`, `inter` |
//! | `state` | text | `counted`, `extra` (one more shot on the same staff), `struck`, `broken` (its setup was) |
//! | `point` | text | where the staff stood |
//! | `staff_digits`, `staff_unit` | number, text | the staff reading as sent: its digits, unaltered |
//! | `unit` | text | unit of the next five columns |
//! | `reading` | number | the staff reading in that unit |
//! | `corrected` | number | with its corrections; empty if none is on |
//! | `booked` | number | what its sight is booked with: the mean of its shots that count; empty if it does not count |
//! | `height_of_instrument` | number | of its setup; empty if it does not count |
//! | `elevation` | number | of its point by this sight; empty if it does not count |
//! | `sight_digits`, `sight_digits_unit` | number, text | the sight length as sent |
//! | `sight_length`, `sight_unit` | number, text | the sight length as shown |
//! | `spread_digits`, `spread_unit` | number, text | deviation that the instrument stated, as sent |
//! | `measurements` | number | single measurements that the instrument took |
//! | `temperature_c` | number | air temperature at the instrument |
//! | `instrument_number` | number | the instrument's own number for the record |
//! | `instrument_time` | text | the instrument's own time, as sent |
//! | `came` | text | `heard`, `keyed in` |
//! | `protection` | text | `unprotected` where no checksum stood over the record, else empty |
//! | `remarks` | text | what must be said beside it, `; ` between |
//!
//! Numbers are digits with a point and perhaps a sign, and never anything before them. A text that a spreadsheet would
//! take for a formula (it begins with `= + - @`, tab or return) has an apostrophe put before it; so has a text that
//! begins with an apostrophe, so that taking one off gives every text back: [`text_of`].

pub mod marks;

use std::borrow::Cow;

use super::document::FieldBook;
use super::document::tree::{CameView, Figure, ReadingRow, Sent};

/// What may not begin a text as it is.
const LEADS: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\''];

/// The readings as CSV.
///
/// # Panics
/// Never: memory takes every row.
pub fn print(book: &FieldBook) -> String {
    let booked = booked(book);
    let mut writer = ::csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS.map(|(name, _)| name)).expect("memory takes a row");
    for row in &book.readings {
        let sight = booked.get((row.number as usize).wrapping_sub(1)).copied().flatten();
        let at = At { book, row, booked: sight.filter(|_| row.state.counts()) };
        let cells = COLUMNS.map(|(_, kind)| match kind {
            Kind::Text(text) => cell_of(text(&at)),
            Kind::Number(number) => number(&at),
        });
        writer.write_record(cells.iter().map(|cell| cell.as_bytes())).expect("memory takes a row");
    }
    let bytes = writer.into_inner().expect("memory takes the last row");
    String::from_utf8(bytes).expect("every cell is text")
}

/// A text as it stands in a cell.
pub(super) fn cell_of(text: Cow<'_, str>) -> Cow<'_, str> {
    if text.starts_with(LEADS) { Cow::Owned(format!("'{text}")) } else { text }
}

/// The text that a cell stands for: one apostrophe before it is taken off.
pub fn text_of(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

/// A reading in its book.
struct At<'a> {
    book: &'a FieldBook,
    row: &'a ReadingRow,
    booked: Option<&'a Figure>,
}

/// What a column holds, and how it is read off.
#[derive(Clone, Copy)]
enum Kind {
    Text(for<'a> fn(&At<'a>) -> Cow<'a, str>),
    Number(for<'a> fn(&At<'a>) -> Cow<'a, str>),
}
use Kind::{Number, Text};

/// The columns, in order.
const COLUMNS: [(&str, Kind); 31] = [
    ("job", Text(|at| at.book.job.as_str().into())),
    ("simulated", Text(|at| if at.row.simulated { "SIMULATED" } else { "" }.into())),
    ("number", Number(|at| at.row.number.to_string().into())),
    ("event", Number(|at| at.row.event.to_string().into())),
    ("time_utc", Text(|at| at.row.at.as_str().into())),
    ("run", Number(|at| at.row.run.to_string().into())),
    ("setup", Number(|at| at.row.setup.to_string().into())),
    ("role", Text(|at| at.row.role.word().into())),
    ("state", Text(|at| at.row.state.word().into())),
    ("point", Text(|at| at.row.point.as_deref().unwrap_or("").into())),
    ("staff_digits", Number(|at| at.row.staff.digits.as_str().into())),
    ("staff_unit", Text(|at| at.row.staff.unit.symbol().into())),
    ("unit", Text(|at| at.book.shown.unit.symbol().into())),
    ("reading", Number(|at| at.row.reading.shown.as_str().into())),
    ("corrected", Number(|at| shown(at.row.corrected.as_ref()))),
    ("booked", Number(|at| shown(at.booked))),
    ("height_of_instrument", Number(|at| shown(at.row.height_of_instrument.as_ref()))),
    ("elevation", Number(|at| shown(at.row.elevation.as_ref()))),
    ("sight_digits", Number(|at| digits(at.row.sight.as_ref()))),
    ("sight_digits_unit", Text(|at| unit(at.row.sight.as_ref()))),
    ("sight_length", Number(|at| shown(at.row.sight_length.as_ref()))),
    ("sight_unit", Text(|at| at.row.sight_length.as_ref().map_or("", |_| at.book.shown.sight_unit.symbol()).into())),
    ("spread_digits", Number(|at| digits(at.row.spread.as_ref()))),
    ("spread_unit", Text(|at| unit(at.row.spread.as_ref()))),
    ("measurements", Number(|at| maybe(at.row.measurements))),
    ("temperature_c", Number(|at| maybe(at.row.temperature_c.filter(|celsius| celsius.is_finite())))),
    ("instrument_number", Number(|at| maybe(at.row.instrument_number))),
    ("instrument_time", Text(|at| at.row.instrument_time.as_deref().unwrap_or("").into())),
    ("came", Text(|at| came(at.row.came).into())),
    ("protection", Text(|at| if at.row.unprotected { "unprotected" } else { "" }.into())),
    ("remarks", Text(|at| at.row.remarks.join("; ").into())),
];

/// The columns that hold text; all others hold numbers.
pub fn text_columns() -> impl Iterator<Item = &'static str> {
    COLUMNS.iter().filter(|(_, kind)| matches!(kind, Text(_))).map(|(name, _)| *name)
}

fn shown(figure: Option<&Figure>) -> Cow<'_, str> {
    figure.map_or("", |figure| figure.shown.as_str()).into()
}

fn digits(sent: Option<&Sent>) -> Cow<'_, str> {
    sent.map_or("", |sent| sent.digits.as_str()).into()
}

fn unit(sent: Option<&Sent>) -> Cow<'_, str> {
    sent.map_or("", |sent| sent.unit.symbol()).into()
}

fn maybe(number: Option<impl ToString>) -> Cow<'static, str> {
    number.map(|number| number.to_string()).unwrap_or_default().into()
}

fn came(came: CameView) -> &'static str {
    match came {
        CameView::Heard => "heard",
        CameView::KeyedIn => "keyed in",
    }
}

/// What each reading's sight is booked with, by the reading's place.
fn booked(book: &FieldBook) -> Vec<Option<&Figure>> {
    let mut booked = vec![None; book.readings.len()];
    for line in book.runs.iter().flat_map(|run| &run.lines) {
        for sight in [&line.foresight, &line.intermediate, &line.backsight].into_iter().flatten() {
            for &number in &sight.shots {
                if let Some(place) = booked.get_mut((number as usize).wrapping_sub(1)) {
                    *place = sight.booked.as_ref();
                }
            }
        }
    }
    booked
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_looks_like_a_formula_is_made_safe_and_reads_back() {
        for text in ["=1+1", "+x", "-x", "@a", "\tx", "\rx", "'=1", "''", "BM-1", "", "1=1", "\u{e9}"] {
            let cell = cell_of(text.into());
            assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{text:?}");
            assert_eq!(text_of(&cell), text);
        }
    }
}
