//! A format file proposed from a capture and from what the instrument's display showed.
//!
//! Every way in which the bytes could be framed, checked and taken apart is followed as far as it goes; each that ends
//! with what was seen is written as a format file and held against the whole capture. Where several fit and read the
//! capture differently, none of them is chosen: they are handed back side by side, with the frame that would decide.
//!
//! Nothing here looks at frames by itself: framing, checks and reading are those of the language, so that a draft does
//! what it was drafted for.

mod binary;
mod candidate;
mod capture;
mod checks;
mod compose;
mod cutting;
mod decide;
mod figures;
mod framings;
mod plan;
mod scale;
mod seen;
mod tables;
mod text;
mod trial;
mod words;

#[cfg(test)]
mod tests;

use std::ops::Range;

use super::framing::Kind;
use candidate::{Candidate, candidate};
use capture::Capture;
pub use capture::{CAPTURE_MAX, Chunk};
use checks::{Catalogue, Found};
use cutting::Cutting;
use plan::Plan;
pub use seen::{Seen, SeenError};

/// What came of a capture.
#[derive(Debug)]
pub enum Drafted {
    /// One draft fits, or all that fit read the capture alike.
    One(Box<Draft>),
    /// Several fit and read it differently: nobody but a person can tell.
    Several {
        /// The drafts.
        drafts: Vec<Draft>,
        /// Where they part: what the display showed there decides.
        apart: Vec<Apart>,
    },
    /// None fits.
    Nothing {
        /// How far it came, a sentence each.
        reasons: Vec<String>,
    },
}

/// A format file that fits a capture.
#[derive(Debug)]
pub struct Draft {
    /// The file.
    pub text: String,
    /// What it reads.
    pub readings: usize,
    /// Frames that it refuses.
    pub refused: usize,
    /// Its share of the bytes of the capture that are in records it knows, in per cent.
    pub explained_percent: u8,
    /// How sure it is.
    pub confidence: Confidence,
    /// What was found where and what speaks for it, a sentence each.
    pub found: Vec<String>,
    /// What a person has to find out, a question each; the file has them as comments.
    pub questions: Vec<String>,
    /// What no reading that was seen had: such frames are refused until somebody knows what it means.
    pub unseen: Vec<Unseen>,
}

/// How sure a draft is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Confidence {
    /// Too little was given, or too little of the capture is understood, to rely on it.
    Low,
    /// What was given comes out, and nothing speaks against it.
    Fair,
    /// A check stands over every frame and agrees, and several readings come out.
    High,
}

impl Confidence {
    /// In a word or two.
    pub fn words(self) -> &'static str {
        match self {
            Confidence::Low => "not sure",
            Confidence::Fair => "fairly sure",
            Confidence::High => "sure",
        }
    }
}

/// A value of a field that no reading that was seen had.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unseen {
    /// The field.
    pub field: String,
    /// Its value.
    pub value: String,
    /// In how many frames it stands.
    pub frames: usize,
    /// Where the first of them lies in the capture.
    pub place: Range<usize>,
}

/// A frame that drafts read differently.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Apart {
    /// Where it lies in the capture.
    pub place: Range<usize>,
    /// What each draft reads, in their order; `None` if it reads nothing there.
    pub readings: Vec<Option<String>>,
}

/// The most drafts that are tried on the capture.
const DRAFTS_MAX: usize = 64;

/// The most readings of a display that are looked for: those beyond are not looked at.
pub const SEEN_MAX: usize = 64;

/// Proposes a format file.
///
/// `seen` is what the display showed, in the order in which it was shot; others may lie between.
pub fn draft(chunks: &[Chunk<'_>], seen: &[Seen]) -> Drafted {
    let capture = Capture::of(chunks);
    let seen = &seen[..seen.len().min(SEEN_MAX)];
    if seen.is_empty() {
        return nothing("no reading of the display was given: nothing tells which number is the staff reading");
    }
    let catalogue = Catalogue::new();
    let mut tried = Vec::new();
    let cuttings = framings::framings(&capture);
    if cuttings.is_empty() {
        return nothing("no rule was found by which the bytes fall into frames");
    }
    let checks: Vec<Vec<Found>> = cuttings.iter().map(|cutting| checks::checks(cutting, &catalogue)).collect();
    // A check that luck cannot explain rules out all cuttings without one: they are only looked at where those with
    // one lead nowhere.
    for with_check in [true, false] {
        for (cutting, checks) in cuttings.iter().zip(&checks).filter(|(_, checks)| checks.is_empty() != with_check) {
            candidates(cutting, checks, &capture, seen, &mut tried);
        }
        if !tried.is_empty() {
            break;
        }
    }
    decide::decide(tried, &capture, &cuttings, seen)
}

fn nothing(reason: &str) -> Drafted {
    Drafted::Nothing { reasons: vec![reason.to_owned()] }
}

/// Follows one cutting to its drafts.
fn candidates(cutting: &Cutting, checks: &[Found], capture: &Capture, seen: &[Seen], tried: &mut Vec<Candidate>) {
    if tried.len() >= DRAFTS_MAX {
        return;
    }
    let behind_end = checks.iter().any(|found| found.check.stands == super::format::file::Stands::BehindEnd);
    if matches!(&cutting.framer.kind, Kind::Delimited(delimited) if delimited.trail > 0) != behind_end {
        return;
    }
    let taken = checks::taken(checks);
    let bodies: Vec<&[u8]> =
        cutting.frames.iter().map(|frame| frame.body()).map(|body| &body[..body.len().saturating_sub(taken)]).collect();
    for plan in plans(cutting, &bodies, seen) {
        if tried.len() >= DRAFTS_MAX {
            return;
        }
        let composed = compose::compose(cutting, checks, &bodies, &plan);
        tried.extend(candidate(cutting, checks, &plan, &composed, capture, seen));
    }
}

fn plans(cutting: &Cutting, bodies: &[&[u8]], seen: &[Seen]) -> Vec<Plan> {
    let text = bodies.iter().filter(|body| tables::is_text(body)).count();
    if text * 3 >= bodies.len() * 2 {
        let end = match &cutting.framer.kind {
            Kind::Block(block) => Some(&*block.end),
            _ => None,
        };
        return tables::tables(bodies, end).iter().flat_map(|table| text::plans(bodies, table, seen)).collect();
    }
    let length = match &cutting.framer.kind {
        Kind::Prefixed(prefixed) if prefixed.in_record => {
            let at = prefixed.length.at - prefixed.start.len();
            Some(at..at + prefixed.length.bytes)
        }
        _ => None,
    };
    binary::plans(bodies, length, seen)
}
