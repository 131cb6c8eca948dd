//! A plan written as a format file, held against the whole capture, and furnished with examples out of it.

use std::sync::Arc;

use super::capture::Capture;
use super::checks::Found;
use super::compose::{self, Composed};
use super::cutting::Cutting;
use super::plan::Plan;
use super::seen::Seen;
use super::trial::{Read, Trial, trial};
use super::{Confidence, Draft, Unseen};
use crate::protocol::Format;
use crate::protocol::record::counted;

/// A draft that was held against the capture.
pub(super) struct Candidate {
    pub(super) draft: Draft,
    pub(super) trial: Trial,
    /// How many checks it has.
    pub(super) checks: usize,
}

/// Writes a plan out, if it is a good file that reads what was seen.
pub(super) fn candidate(
    cutting: &Cutting,
    checks: &[Found],
    plan: &Plan,
    composed: &Composed,
    capture: &Capture,
    seen: &[Seen],
) -> Option<Candidate> {
    let format = Arc::new(Format::parse(&composed.body).ok()?);
    let trial = trial(&format, capture);
    let shows = trial.shows(seen)?;
    let shown: Vec<Read> = shows.iter().map(|place| trial.readings[*place]).collect();
    let examples = examples(cutting, checks, composed, &format, &shown, capture);
    let mut questions = cutting.questions.clone();
    questions.extend(plan.questions.iter().cloned());
    if checks.is_empty() {
        questions
            .push("is there a check? None of the catalogue agrees: readings will be shown as unprotected".to_owned());
    }
    if trial.readings.iter().all(|read| read.staff.value().tenth_nm() >= 0) {
        questions.push("how is the reading of an inverted staff sent? None was negative".to_owned());
    }
    if trial.readings.iter().all(|read| read.sight.is_none()) {
        questions.push("where does the sight length stand? Give it with the readings: 1.2834/31.42".to_owned());
    }
    let unseen = plan.unseen.iter().map(|unknown| {
        let frame = &cutting.frames[unknown.row];
        let (field, value) = (unknown.field.clone(), unknown.value.clone());
        Unseen { field, value, frames: unknown.frames, place: frame.at..frame.at + frame.len }
    });
    let mut draft = Draft {
        text: String::new(),
        readings: trial.readings.len(),
        refused: trial.refused,
        explained_percent: (trial.explained * 100 / capture.bytes.len().max(1)) as u8,
        confidence: Confidence::Low,
        found: plan.found.clone(),
        questions,
        unseen: unseen.collect(),
    };
    for check in checks {
        let (agrees, of) = check.agrees;
        let bits = check.bits;
        draft
            .found
            .push(format!("check: agrees with {agrees} of {of} frames looked at; luck would do that once in 2^{bits}"));
    }
    draft.confidence = confidence(&draft, checks, seen);
    draft.text = file(&draft, capture, seen, &composed.body, &examples);
    // What is handed out is checked as any file is: its examples must come out, and go back.
    let format = Format::parse(&draft.text).ok()?;
    let examined = format.examine();
    (examined.failures.is_empty() && examined.one_way.is_empty()).then_some(Candidate {
        draft,
        trial,
        checks: checks.len(),
    })
}

/// The fewest readings of the display that speak for a draft: two numbers agree by chance more often than three.
const GIVEN_MIN: usize = 3;

fn confidence(draft: &Draft, checks: &[Found], seen: &[Seen]) -> Confidence {
    let refused_few = draft.refused * 20 <= draft.readings;
    let understood = draft.explained_percent >= 90;
    match seen.len() >= GIVEN_MIN && draft.explained_percent >= 50 && draft.refused <= draft.readings {
        false => Confidence::Low,
        true if !checks.is_empty() && refused_few && understood && draft.unseen.is_empty() => Confidence::High,
        true => Confidence::Fair,
    }
}

/// The file with its comments in front and its examples behind.
fn file(draft: &Draft, capture: &Capture, seen: &[Seen], body: &str, examples: &str) -> String {
    let mut text = format!(
        "# Drafted from a capture of {} bytes, {}: {}, {} refused, {} % of the bytes understood.\n# What the display showed \
         was given for {}; all of them stand in it.\n#\n",
        capture.bytes.len(),
        draft.confidence.words(),
        counted(draft.readings, "reading"),
        counted(draft.refused, "frame"),
        draft.explained_percent,
        counted(seen.len(), "reading"),
    );
    if capture.left_out > 0 {
        text.push_str(&format!("# {} more were left out.\n", counted(capture.left_out, "byte")));
    }
    for found in &draft.found {
        text.push_str(&format!("# found: {found}\n"));
    }
    for question in &draft.questions {
        text.push_str(&format!("# open: {question}\n"));
    }
    for unseen in &draft.unseen {
        let Unseen { field, value, frames, place } = unseen;
        text.push_str(&format!(
            "# open: {field} is {value:?} in {}, the first at byte {}, and in no reading that was given: what does \
             the display show there? Until that is known they are refused\n",
            counted(*frames, "frame"),
            place.start
        ));
    }
    text.push('\n');
    text.push_str(body);
    text.push_str(examples);
    text
}

/// Frames that show what the file does: readings, other records, and one that is damaged.
fn examples(
    cutting: &Cutting,
    checks: &[Found],
    composed: &Composed,
    format: &Format,
    shown: &[Read],
    capture: &Capture,
) -> String {
    let mut text = String::new();
    let sent = |read: &Read| &capture.bytes[read.at..read.at + read.len];
    for place in compose::chosen(&(0..shown.len()).collect::<Vec<_>>()) {
        let read = &shown[place];
        let mut gives = format!("staff = \"{} {}\"", read.staff.digits(), read.staff.unit());
        if let Some(sight) = read.sight {
            gives.push_str(&format!(", sight = \"{} {}\"", sight.digits(), sight.unit()));
        }
        text.push_str(&compose::example("as the display showed it", sent(read), "reading", &gives));
    }
    for (name, frame) in &composed.others {
        let frame = &cutting.frames[*frame];
        let bytes = &capture.bytes[frame.at..frame.at + frame.len];
        if format.read(bytes).is_ok_and(|record| record.name == *name) {
            text.push_str(&compose::example("one of another kind", bytes, name, &String::new()));
        }
    }
    if let (Some(read), false) = (shown.first(), checks.is_empty()) {
        text.push_str(&damaged(format, sent(read)).unwrap_or_default());
    }
    text
}

/// A frame with one bit turned that the check refuses.
fn damaged(format: &Format, sent: &[u8]) -> Option<String> {
    for at in (0..sent.len()).rev() {
        let mut bytes = sent.to_vec();
        bytes[at] ^= 1;
        if let Err(refusal) = format.read(&bytes)
            && refusal.reason.contains("computed")
        {
            let reason = refusal.reason.split(" found").next()?.to_owned();
            return Some(compose::refused("one bit turned", &bytes, &reason));
        }
    }
    None
}
