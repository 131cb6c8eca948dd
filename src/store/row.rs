//! An event as a row, and a row as an event.

use rusqlite::{Connection, Row as SqlRow};
use serde::Deserialize;
use serde::de::IntoDeserializer;

use super::chain::{Content, Digest, Head};
use super::fault::{Fault, Trouble};
use crate::book::event::{Body, Event};
use crate::book::moment::Moment;

/// How many rows are fetched at once by whoever walks through a job: memory stays flat, whatever its length.
pub(super) const PAGE: u16 = 256;

/// A row of the table, owned.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) seq: u64,
    pub(super) at: String,
    pub(super) kind: String,
    pub(super) simulated: bool,
    pub(super) body: String,
    pub(super) raw: Vec<u8>,
    pub(super) hash: Digest,
}

impl Row {
    /// The row that `event` becomes behind `before`.
    ///
    /// It is read back before it is kept: an event that JSON cannot carry (a number that is none) is refused here and
    /// not found years later.
    pub(super) fn of(event: &Event, before: Head) -> Result<Row, Fault> {
        let wanted = before.seq + 1;
        if event.seq != wanted {
            return Err(Fault::Gap { wanted, found: event.seq });
        }
        let unkeepable = |why: String| Fault::Unkeepable { seq: event.seq, why };
        let mut row = Row {
            seq: event.seq,
            at: event.at.to_string(),
            kind: event.body.kind().to_owned(),
            simulated: event.simulated,
            body: serde_json::to_string(&event.body).map_err(|error| unkeepable(error.to_string()))?,
            raw: event.raw.clone(),
            hash: before.hash,
        };
        row.hash = before.after(row.content()).hash;
        match row.event() {
            Ok(same) if same == *event => Ok(row),
            Ok(_) => Err(unkeepable(format!("it reads back as another one: {}", row.body))),
            Err(Fault::Unreadable { why, .. }) => Err(unkeepable(why)),
            Err(other) => Err(other),
        }
    }

    /// The event that this row holds.
    pub(super) fn event(&self) -> Result<Event, Fault> {
        let unreadable = |why: String| Fault::Unreadable { seq: self.seq, why };
        let at = Moment::deserialize(self.at.as_str().into_deserializer());
        let at = at.map_err(|error: serde::de::value::Error| unreadable(format!("its time {:?}: {error}", self.at)))?;
        let body: Body = serde_json::from_str(&self.body).map_err(|error| unreadable(format!("its body: {error}")))?;
        Ok(Event { seq: self.seq, at, simulated: self.simulated, body, raw: self.raw.clone() })
    }

    /// The head that this row claims.
    pub(super) fn head(&self) -> Head {
        Head { seq: self.seq, hash: self.hash }
    }

    /// What its hash is over.
    pub(super) fn content(&self) -> Content<'_> {
        Content {
            seq: self.seq,
            at: &self.at,
            kind: &self.kind,
            simulated: self.simulated,
            body: &self.body,
            raw: &self.raw,
        }
    }

    fn from_sql(row: &SqlRow<'_>) -> rusqlite::Result<Row> {
        Ok(Row {
            seq: seq(row)?,
            at: row.get(1)?,
            kind: row.get(2)?,
            simulated: row.get(3)?,
            body: row.get(4)?,
            raw: row.get(5)?,
            hash: Digest(row.get(6)?),
        })
    }
}

/// Writes one row. The caller holds a transaction.
pub(super) fn insert(connection: &Connection, row: &Row) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "INSERT INTO event (seq, at, kind, simulated, body, raw, hash) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    statement.execute((number(row.seq), &row.at, &row.kind, row.simulated, &row.body, &row.raw, row.hash.0))?;
    Ok(())
}

/// The head that the last row claims.
pub(super) fn last(connection: &Connection) -> Result<Head, Trouble> {
    let mut statement = connection.prepare_cached("SELECT seq, hash FROM event ORDER BY seq DESC LIMIT 1")?;
    let found = statement.query_row([], |row| Ok(Head { seq: seq(row)?, hash: Digest(row.get(1)?) }));
    match found {
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(Head::start()),
        other => Ok(other?),
    }
}

/// The next rows after number `seq`, at most [`PAGE`].
pub(super) fn after(connection: &Connection, seq: u64) -> rusqlite::Result<Vec<Row>> {
    let mut rows = Vec::new();
    collect_after(connection, seq, &mut rows)?;
    Ok(rows)
}

/// As [`after`]; what could be read before an error is left in `rows`.
pub(super) fn collect_after(connection: &Connection, seq: u64, rows: &mut Vec<Row>) -> rusqlite::Result<()> {
    let mut statement = connection.prepare_cached(
        "SELECT seq, at, kind, simulated, body, raw, hash FROM event WHERE seq > ?1 ORDER BY seq LIMIT ?2",
    )?;
    let mut found = statement.query((number(seq), PAGE))?;
    while let Some(row) = found.next()? {
        rows.push(Row::from_sql(row)?);
    }
    Ok(())
}

/// The head that the row of number `seq` claims; the start for number 0.
pub(super) fn head_at(connection: &Connection, seq: u64) -> Result<Option<Head>, Trouble> {
    if seq == 0 {
        return Ok(Some(Head::start()));
    }
    let found = connection.query_row("SELECT hash FROM event WHERE seq = ?1", [number(seq)], |row| row.get(0));
    match found {
        Ok(hash) => Ok(Some(Head { seq, hash: Digest(hash) })),
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

/// An event's number as SQLite counts; beyond its range there is none.
fn number(seq: u64) -> i64 {
    i64::try_from(seq).unwrap_or(i64::MAX)
}

/// The number in the first column.
fn seq(row: &SqlRow<'_>) -> rusqlite::Result<u64> {
    let found: i64 = row.get(0)?;
    u64::try_from(found).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(0, found))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::book::reading::{Heard, PointName, Reading, Status};
    use crate::units::{Measured, Unit};

    fn heard(heard: Heard, at: Moment, raw: Vec<u8>) -> Event {
        Event { seq: 1, at, simulated: false, body: Body::Heard { heard }, raw }
    }

    proptest! {
        /// Whatever comes over the wire can be kept: names, texts, bytes, numbers, times.
        #[test]
        fn every_reading_is_kept_as_it_is(
            name in "\\PC{0,80}|[ \\x00-\\x7f\u{200b}-\u{202e}]{0,80}|[a-z]{63} x",
            time in ".*",
            number in prop::num::f64::NORMAL | prop::num::f64::SUBNORMAL | prop::num::f64::ZERO,
            us in any::<i64>(),
            raw in prop::collection::vec(any::<u8>(), 0..100),
        ) {
            let mut reading = Reading::of(Measured::parse("1.2830", Unit::Metre).unwrap());
            reading.point = PointName::from_wire(&name);
            reading.time = Some(time);
            reading.temperature_c = Some(number);
            let event = heard(Heard::Reading(reading), Moment::from_us(us), raw);
            let row = Row::of(&event, Head::start());
            prop_assert_eq!(row.and_then(|row| row.event()), Ok(event));
        }
    }

    #[test]
    fn a_number_that_is_none_is_refused_before_it_is_kept() {
        let status = Status { battery_percent: Some(f64::NAN), ..Status::default() };
        let fault = Row::of(&heard(Heard::Status(status), Moment::default(), Vec::new()), Head::start()).unwrap_err();
        let body = r#"{"kind":"heard","heard":{"what":"status","battery_percent":null}}"#;
        assert_eq!(fault, Fault::Unkeepable { seq: 1, why: format!("it reads back as another one: {body}") });
    }
}
