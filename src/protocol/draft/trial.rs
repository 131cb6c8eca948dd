//! A draft held against the whole capture: what it reads, what it refuses, and whether what was seen comes out.

use std::sync::Arc;

use super::capture::Capture;
use super::scale::{Minus, Scale, agreeing, in_order};
use super::seen::Seen;
use crate::book::moment::Moment;
use crate::book::reading::Heard;
use crate::protocol::{Decoder, Format};
use crate::units::{Decimal, Length, Measured, Unit};

/// What a draft makes of a capture.
pub(super) struct Trial {
    pub(super) readings: Vec<Read>,
    /// Frames that it refuses.
    pub(super) refused: usize,
    /// Bytes in records that it knows.
    pub(super) explained: usize,
}

/// A reading that came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Read {
    pub(super) staff: Measured,
    pub(super) sight: Option<Measured>,
    /// Where its frame begins in the capture, and how long it is.
    pub(super) at: usize,
    pub(super) len: usize,
}

impl Read {
    /// The middle of its frame: what one draft takes for the end of a frame may be the beginning of the next to another.
    pub(super) fn middle(&self) -> usize {
        self.at + self.len / 2
    }
}

/// Long enough to end every record.
const SILENCE_US: i64 = 3_600_000_000;

/// Reads the capture by a format.
pub(super) fn trial(format: &Arc<Format>, capture: &Capture) -> Trial {
    let (mut decoder, mut pieces) = (Decoder::new(Arc::clone(format)), Vec::new());
    let mut last = Moment::from_us(0);
    for chunk in capture.chunks() {
        decoder.push(chunk.bytes, chunk.at, &mut pieces);
        last = chunk.at;
    }
    decoder.silence(Moment::from_us(last.us().saturating_add(SILENCE_US)), &mut pieces);
    let mut trial = Trial { readings: Vec::new(), refused: 0, explained: 0 };
    let mut at = 0;
    for piece in pieces {
        let len = piece.raw.len();
        match piece.heard {
            Heard::Reading(reading) => {
                trial.readings.push(Read { staff: reading.staff, sight: reading.sight, at, len });
                trial.explained += len;
            }
            Heard::Ignored { rule } if rule.starts_with("record other-") => trial.explained += len,
            Heard::Refused(_) | Heard::SetAside { .. } => trial.refused += 1,
            _ => {}
        }
        at += len;
    }
    trial
}

impl Trial {
    /// The readings in which what was seen stands in order, if it does.
    pub(super) fn shows(&self, seen: &[Seen]) -> Option<Vec<usize>> {
        let staffs: Vec<Measured> = seen.iter().map(|seen| seen.staff).collect();
        let sights: Vec<Measured> = seen.iter().map(|seen| seen.sight.unwrap_or(seen.staff)).collect();
        let (row, unit) = row(self.readings.iter().map(|read| Some(read.staff)));
        let (sight_row, sight_unit) = row_of_sights(&self.readings);
        let has_sights = sight_row.iter().any(Option::is_some);
        let mut staff_agrees = agreeing(&row, unit, &staffs, Minus::Sent);
        let mut sight_agrees = agreeing(&sight_row, sight_unit, &sights, Minus::Sent);
        in_order(self.readings.len(), seen.len(), &mut |read, shown| {
            staff_agrees(read, shown) && (!has_sights || seen[shown].sight.is_none() || sight_agrees(read, shown))
        })
    }

    /// Whether both never say different things of the same frame: each may refuse a few that the other reads, one of
    /// them many, and one may round.
    pub(super) fn agrees(&self, other: &Trial) -> bool {
        let length = |trial: &Trial| trial.readings.iter().map(|read| read.len).sum::<usize>();
        let fine = length(self) * other.readings.len() <= length(other) * self.readings.len();
        let (lines, blocks) = if fine { (self, other) } else { (other, self) };
        let mut rest = blocks.readings.iter().peekable();
        let (mut both, mut same) = (0, true);
        for read in &lines.readings {
            while rest.next_if(|other| other.at + other.len <= read.middle()).is_some() {}
            if let Some(other) = rest.peek().filter(|other| other.at <= read.middle()) {
                both += 1;
                same &=
                    alike(&read.staff, &other.staff) && read.sight.zip(other.sight).is_none_or(|(a, b)| alike(&a, &b));
            }
        }
        let (alone, other_alone) = (lines.readings.len() - both, blocks.readings.len().saturating_sub(both));
        let few = self.readings.len().max(other.readings.len()) / 10;
        same && (alone <= few || other_alone <= few)
    }

    /// How many decimals all its readings have.
    pub(super) fn decimals(&self) -> usize {
        let decimals = |measured: &Measured| usize::from(measured.digits().decimals());
        self.readings.iter().map(|read| decimals(&read.staff) + read.sight.as_ref().map_or(0, decimals)).sum()
    }
}

/// Whether two lengths are the same but for the steps in which the coarser is sent.
fn alike(a: &Measured, b: &Measured) -> bool {
    let step = |measured: &Measured| {
        let one = Decimal { mantissa: 1, decimals: measured.digits().decimals() };
        Length::from_decimal(one, measured.unit()).map_or(0, Length::tenth_nm)
    };
    (a.value() - b.value()).abs().tenth_nm() < step(a).max(step(b)).max(1)
}

fn row_of_sights(readings: &[Read]) -> (Vec<Option<Decimal>>, Scale) {
    row(readings.iter().map(|read| read.sight))
}

/// Numbers with the scale that they are read with: their own unit, nothing implied.
fn row(measured: impl Iterator<Item = Option<Measured>>) -> (Vec<Option<Decimal>>, Scale) {
    let mut unit = Unit::Metre;
    let row = measured
        .map(|measured| {
            let measured = measured?;
            unit = measured.unit();
            measured.digits().as_str().parse().ok()
        })
        .collect();
    (row, Scale { implied: 0, times: 1, unit })
}
