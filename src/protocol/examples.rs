//! The examples of a format file, run through the same decoder as a live port.

use std::fmt;
use std::sync::Arc;

use super::format::file::Means;
use super::grammar::{Example, Wanted};
use super::{Decoder, Format, Piece};
use crate::book::moment::Moment;
use crate::book::reading::Heard;

/// An example that does not come out as the file says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ExampleFailure {
    /// Its number in the file, counted from 1.
    pub number: usize,
    /// Line in the file where it stands, counted from 1.
    pub line: usize,
    /// What it shows, if the file says so.
    pub about: Option<String>,
    /// What came out and what was wanted.
    pub reason: String,
}

impl fmt::Display for ExampleFailure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "example {} at line {}", self.number, self.line)?;
        if let Some(about) = &self.about {
            write!(f, " ({about})")?;
        }
        write!(f, ": {}", self.reason)
    }
}

impl ExampleFailure {
    pub(super) fn new(format: &Format, place: usize, example: &Example, reason: String) -> Self {
        let line = format.text()[..example.span.start].bytes().filter(|&byte| byte == b'\n').count() + 1;
        ExampleFailure { number: place + 1, line, about: example.about.clone(), reason }
    }
}

/// Runs all of them.
pub(super) fn run(format: &Format, examples: &[Example]) -> Vec<ExampleFailure> {
    // The decoder wants to share the format; parsing it again is the price of `&self`, paid once a run.
    let Ok(shared) = Format::parse(format.text()) else { return Vec::new() };
    let shared = Arc::new(shared);
    let failure = |(place, example): (usize, &Example)| {
        let reason = one(&shared, example).err()?;
        Some(ExampleFailure::new(format, place, example, reason))
    };
    examples.iter().enumerate().filter_map(failure).collect()
}

fn one(format: &Arc<Format>, example: &Example) -> Result<(), String> {
    let mut decoder = Decoder::new(Arc::clone(format));
    let mut pieces: Vec<Piece> = Vec::new();
    let at = Moment::from_us(0);
    decoder.push(&example.bytes, at, &mut pieces);
    decoder.silence(Moment::from_us(i64::MAX), &mut pieces);
    let [piece] = &pieces[..] else {
        let found: Vec<_> = pieces.iter().map(|piece| what(&piece.heard)).collect();
        return Err(format!("{} pieces came out ({}), one was wanted", pieces.len(), found.join("; ")));
    };
    match &example.wanted {
        Wanted::Noise => match &piece.heard {
            Heard::Ignored { .. } => Ok(()),
            other => Err(format!("{} came out, noise was wanted", what(other))),
        },
        Wanted::Refused(part) => match &piece.heard {
            Heard::Refused(refusal) if refusal.reason.contains(part) => Ok(()),
            other => Err(format!("{} came out, a refusal that says {part:?} was wanted", what(other))),
        },
        Wanted::Record { name, gives } => {
            let Ok(reread) = super::decoder::reread(format, &piece.raw) else {
                return Err(format!("{} came out, a {name} was wanted", what(&piece.heard)));
            };
            let (rule, record) = (reread.rule(format), reread.record(format));
            if record.name != *name {
                return Err(format!("a {} came out, a {name} was wanted", record.name));
            }
            for (field, wanted) in gives {
                let means = Means::ALL.into_iter().find(|means| means.word() == field);
                let means = means.filter(|means| rule.slot(*means).is_some());
                let meant = means.and_then(|means| super::meaning::show(means, &piece.heard));
                let found = meant.or_else(|| record.get(field).map(|content| content.as_str().to_owned()));
                match found {
                    Some(found) if found == *wanted => {}
                    Some(found) => return Err(format!("{field} came out as {found:?}, {wanted:?} was wanted")),
                    None if wanted.is_empty() => {}
                    None => return Err(format!("{field} is absent, {wanted:?} was wanted")),
                }
            }
            Ok(())
        }
    }
}

/// What came out, in a few words.
fn what(heard: &Heard) -> String {
    match heard {
        Heard::Reading(_) => "a reading".to_owned(),
        Heard::Status(_) => "a status".to_owned(),
        Heard::Fault { code, .. } => format!("the fault {code}"),
        Heard::Echo => "an echo".to_owned(),
        Heard::Ignored { rule } => format!("what {rule} sets aside"),
        Heard::Refused(refusal) => format!("a refusal ({} at byte {})", refusal.reason, refusal.at_byte),
        Heard::Unfinished => "an unfinished record".to_owned(),
        Heard::Fragment => "a fragment".to_owned(),
        Heard::Repeated { of } => format!("a repeat of {of}"),
        Heard::SetAside { why, .. } => format!("a reading set aside ({why})"),
    }
}
