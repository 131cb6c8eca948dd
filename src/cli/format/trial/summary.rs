//! What a trial came to, in numbers.

use std::fmt;

use serde::Serialize;

use crate::book::reading::Heard;
use crate::protocol::Piece;
use crate::units::Measured;

/// The most reasons of refusal that are told apart; of others only the number is kept.
const REASONS_MAX: usize = 20;

/// The numbers so far.
#[derive(Debug, Default, Serialize)]
pub(super) struct Summary {
    /// All bytes.
    pub(super) bytes: u64,
    pub(super) simulated: bool,
    readings: u64,
    states: u64,
    faults: u64,
    echoes: u64,
    ignored: u64,
    ignored_bytes: u64,
    refused: u64,
    refused_bytes: u64,
    unfinished: u64,
    fragments: u64,
    staff: Range,
    sight: Range,
    reasons: Vec<Reason>,
    other_reasons: u64,
}

/// The least and the most of a length, each with its digits as sent.
#[derive(Debug, Default, Serialize)]
struct Range(Option<(Measured, Measured)>);

impl Range {
    fn take(&mut self, found: Measured) {
        let (least, most) = self.0.unwrap_or((found, found));
        let least = if found.value() < least.value() { found } else { least };
        let most = if found.value() > most.value() { found } else { most };
        self.0 = Some((least, most));
    }

    fn text(&self) -> Option<[String; 2]> {
        self.0.map(|(least, most)| [least, most].map(|length| format!("{} {}", length.digits(), length.unit())))
    }
}

/// Why something was refused, how often, and where first.
#[derive(Debug, Serialize)]
struct Reason {
    reason: String,
    times: u64,
    first_at_byte: u64,
}

impl Summary {
    /// Counts a piece in.
    pub(super) fn count(&mut self, piece: &Piece) {
        let length = piece.raw.len() as u64;
        match &piece.heard {
            Heard::Reading(reading) | Heard::SetAside { reading, .. } => {
                self.readings += 1;
                self.staff.take(reading.staff);
                reading.sight.into_iter().for_each(|sight| self.sight.take(sight));
            }
            Heard::Status(_) => self.states += 1,
            Heard::Fault { .. } => self.faults += 1,
            Heard::Echo => self.echoes += 1,
            Heard::Ignored { .. } | Heard::Repeated { .. } => {
                self.ignored += 1;
                self.ignored_bytes += length;
            }
            Heard::Refused(refusal) => {
                self.refused += 1;
                self.refused_bytes += length;
                self.reason(&refusal.reason, self.bytes + refusal.at_byte as u64);
            }
            Heard::Unfinished => self.unfinished += 1,
            Heard::Fragment => self.fragments += 1,
        }
        self.bytes += length;
    }

    fn reason(&mut self, reason: &str, at_byte: u64) {
        let room = self.reasons.len() < REASONS_MAX;
        match self.reasons.iter_mut().find(|known| known.reason == reason) {
            Some(known) => known.times += 1,
            None if room => {
                self.reasons.push(Reason { reason: reason.to_owned(), times: 1, first_at_byte: at_byte });
            }
            None => self.other_reasons += 1,
        }
    }

    /// How many records were understood.
    pub(super) fn understood(&self) -> u64 {
        self.readings + self.states + self.faults + self.echoes
    }
}

/// Some lines, for people.
impl fmt::Display for Summary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let simulated = if self.simulated { "  SIMULATED" } else { "" };
        let counted = [
            (self.readings, "reading", "readings"),
            (self.states, "state", "states"),
            (self.faults, "fault", "faults"),
            (self.echoes, "echo", "echoes"),
            (self.refused, "refused", "refused"),
            (self.unfinished, "unfinished", "unfinished"),
            (self.fragments, "fragment", "fragments"),
            (self.ignored, "set aside", "set aside"),
        ];
        let said = counted.iter().filter(|(count, ..)| *count > 0);
        let said = said.map(|(count, one, many)| format!("{count} {}", if *count == 1 { one } else { many }));
        let said: Vec<String> = said.collect();
        let said = if said.is_empty() { "no frame".to_owned() } else { said.join(", ") };
        writeln!(f, "{said} in {} bytes{simulated}", self.bytes)?;
        if self.refused_bytes + self.ignored_bytes > 0 {
            writeln!(f, "of the bytes {} refused and {} set aside", self.refused_bytes, self.ignored_bytes)?;
        }
        for (what, range) in [("staff", &self.staff), ("sight", &self.sight)] {
            if let Some([least, most]) = range.text() {
                writeln!(f, "{what} from {least} to {most}")?;
            }
        }
        for Reason { reason, times, first_at_byte } in &self.reasons {
            writeln!(f, "refused {times}x, first at byte {first_at_byte}: {reason}")?;
        }
        if self.other_reasons > 0 {
            writeln!(f, "refused {}x for other reasons", self.other_reasons)?;
        }
        Ok(())
    }
}
